"""Traces of known truth: taps, modes, intervals, flags and refusals."""

import numpy as np
import pytest
from scipy.linalg import expm
from scipy.stats import norm

from matdb.bench.trace.fit import fit_trace
from matdb.bench.trace.record import Trace
from matdb.errors import InputError
from tests.bench.synthetic import record

RATE = 800.0
TIME = np.arange(4000) / RATE


def _decays(f=20.0, decrement=0.3, *, noise=0.02, starts=(0.4, 1.4, 2.4, 3.4), seed=0):
    signal = np.zeros(TIME.size)
    for start in starts:
        t = np.maximum(TIME - start, 0.0)
        signal += (start <= TIME) * np.exp(-decrement * f * t) * np.sin(2 * np.pi * f * t)
    return signal + noise * np.random.default_rng(seed).normal(size=TIME.size)


@pytest.mark.slow
def test_random_records_are_right_or_say_so():
    z, within, silent = [], [], 0
    for seed in (1001, 1002, 1003, 1004, 1007, 1008):
        truth = record(seed)
        fit = fit_trace(truth.trace)
        good = False
        for place, mode in enumerate(fit.modes):
            i = int(np.argmin(np.abs(np.log(truth.frequency_hz / mode.frequency_hz))))
            error_f = mode.frequency_hz - truth.frequency_hz[i]
            error_d = mode.log_decrement - truth.log_decrement[i]
            right = abs(error_f) < 0.01 * truth.frequency_hz[i] and abs(error_d) < 0.1 * truth.log_decrement[i]
            if place == 0:
                good = right
                z.append([error_f / mode.frequency_sd_hz, error_d / mode.log_decrement_sd])
            silent += fit.verdict == "good" and not right and not mode.flags
        within.append(good)
    assert silent == 0
    assert np.mean(within) >= 0.8
    assert np.all(np.mean(np.abs(z) < 1.96, axis=0) >= 0.78)


@pytest.mark.slow
def test_the_peak_amplitude_follows_from_what_the_column_says_it_is():
    signal = 0.5 * _decays()

    def peak(title):
        fit = fit_trace(Trace(TIME, signal, (title,)))
        return fit.ring_down("ring", 23.0, 0.25).amplitude_mm

    assert peak("z (mm)") == pytest.approx(0.5, rel=0.03)
    # x = Im exp(s t) has the acceleration Im s^2 exp(s t).
    square = abs(complex(-0.3 * 20.0, 2.0 * np.pi * 20.0)) ** 2
    assert peak("acceleration_m_s2") == pytest.approx(0.5e3 / square, rel=0.03)
    assert peak("payload [g]") == pytest.approx(9.80665 * 0.5e3 / square, rel=0.03)
    assert peak("roll (deg/s)") is None
    assert peak("signal_in") is None


@pytest.mark.slow
def test_two_axes_swing_by_their_root_of_squares_and_what_was_told_goes_first():
    both = np.stack([0.3 * _decays(), 0.4 * _decays(seed=1)], axis=1)
    fit = fit_trace(Trace(TIME, both, ("x (mm)", "y (mm)")))
    assert fit.ring_down("ring", 23.0, 0.25).amplitude_mm == pytest.approx(0.5, rel=0.03)
    assert fit.ring_down("ring", 23.0, 0.25, amplitude_mm=0.1).amplitude_mm == 0.1
    assert fit_trace(Trace(TIME, both, ("x (mm)", "y"))).amplitude_mm() is None


def test_taps_offset_hum_and_drift():
    signal = 9.81 + _decays() + 0.2 * np.sin(2 * np.pi * 50.02 * TIME) + 0.3 * np.sin(TIME) + 0.1 * TIME
    fit = fit_trace(Trace(TIME + 100.0, signal))
    assert fit.verdict == "good", fit.reasons
    np.testing.assert_allclose(fit.taps_s, [100.4, 101.4, 102.4, 103.4], atol=0.02)
    assert fit.modes[0].frequency_hz == pytest.approx(20.0, rel=0.002)
    assert fit.modes[0].log_decrement == pytest.approx(0.3, rel=0.03)
    assert fit.noise[0] == pytest.approx(0.02, rel=0.1)
    assert fit.hum_hz == pytest.approx(50.02, abs=0.02)
    assert fit.hum_amplitude == pytest.approx(0.2, rel=0.1)
    known = np.isfinite(fit.fitted[:, 0])
    assert np.std((fit.fitted[:, 0] - signal)[known]) == pytest.approx(0.02, rel=0.15)


def test_two_close_modes_are_separated():
    both = _decays(20.0, 0.15, noise=0.01) + 0.6 * _decays(23.0, 0.2, noise=0.01, seed=1)
    fit = fit_trace(Trace(TIME, both))
    assert [m.frequency_hz for m in fit.modes] == pytest.approx([20.0, 23.0], rel=0.003)
    assert [m.log_decrement for m in fit.modes] == pytest.approx([0.15, 0.2], rel=0.05)
    assert fit.modes[0].share > fit.modes[1].share


@pytest.mark.slow
def test_clipped_peaks_do_not_bias_the_decrement():
    free, clipped = _decays(noise=0.05), np.clip(_decays(noise=0.05), -0.55, 0.55)
    fit = fit_trace(Trace(TIME, clipped))
    assert fit.clipped > 0.005
    assert fit.modes[0].log_decrement == pytest.approx(0.3, abs=3 * fit.modes[0].log_decrement_sd)
    assert fit.modes[0].log_decrement_sd > fit_trace(Trace(TIME, free)).modes[0].log_decrement_sd


def test_readings_at_the_limit_count_as_beyond_it():
    # At the best fit the score of the censored likelihood is square to every wave of the model.
    signal = np.clip(_decays(45.0, 0.2, noise=0.15), -0.45, 0.6)
    fit = fit_trace(Trace(TIME, signal))
    assert fit.clipped > 0.01
    mode, sigma, fitted = fit.modes[0], fit.noise[0], fit.fitted[:, 0]
    assert mode.log_decrement == pytest.approx(0.2, abs=3 * mode.log_decrement_sd)
    assert mode.log_decrement_sd < 0.02
    at = np.where(signal >= 0.6, 1.0, np.where(signal <= -0.45, -1.0, 0.0))
    gap = at * (signal - fitted) / sigma
    score = np.where(at == 0.0, signal - fitted, at * sigma * norm.pdf(gap) / norm.sf(gap))
    known = np.flatnonzero(np.isfinite(fitted))
    for rows in np.split(known, np.flatnonzero(np.diff(known) > 1) + 1):
        t = TIME[rows] - TIME[rows[0]]
        wave = np.exp((2j * np.pi - mode.log_decrement) * mode.frequency_hz * t)
        for column in (wave.real, wave.imag):
            assert abs(score[rows] @ column) < 0.15 * sigma * np.linalg.norm(column)


@pytest.mark.slow
def test_clipped_and_noisy_decays_keep_their_taps_and_intervals():
    z = []
    for seed in range(8):
        signal = np.clip(_decays(30.0, 0.35, noise=0.17, seed=seed), -0.55, 0.55)
        fit = fit_trace(Trace(TIME, signal))
        np.testing.assert_allclose(fit.taps_s, [0.4, 1.4, 2.4, 3.4], atol=0.03)
        mode = fit.modes[0]
        z.append(
            [(mode.frequency_hz - 30.0) / mode.frequency_sd_hz, (mode.log_decrement - 0.35) / mode.log_decrement_sd]
        )
    assert np.all(np.abs(np.mean(z, axis=0)) < 1.0)
    assert np.all(np.sqrt(np.mean(np.square(z), axis=0)) < 1.6)


@pytest.mark.slow
def test_the_ratio_at_the_edge_is_the_one_that_is_told():
    fit = fit_trace(Trace(TIME, _decays(20.0, 4.3, noise=0.002)))
    (edge,) = (text for text in fit.reasons if "at the edge" in text)
    assert edge.startswith(f"damping ratio {fit.modes[0].damping_ratio:.2g} is")


def test_clean_slow_record_keeps_its_only_mode():
    # Nearly no noise: what the drift's polynomial leaves over must not become a mode.
    fit = fit_trace(record(20307).trace)
    assert len(fit.modes) == 1
    assert fit.modes[0].frequency_hz == pytest.approx(8.3336569, rel=1e-4)


def test_uneven_sampling_missing_rows_and_axes():
    rng = np.random.default_rng(3)
    keep = rng.random(TIME.size) > 0.1
    time = TIME + rng.uniform(-0.3, 0.3, TIME.size) / RATE
    order = np.argsort(time)
    decay = np.interp(time, TIME, _decays(noise=0.0))
    axes = np.column_stack([decay, -0.4 * decay, 0.0 * decay]) + 0.03 * rng.normal(size=(TIME.size, 3))
    axes[5] = np.nan
    fit = fit_trace(Trace(time[order][keep[order]], axes[order][keep[order]]))
    assert fit.modes[0].frequency_hz == pytest.approx(20.0, rel=0.003)
    assert fit.modes[0].log_decrement == pytest.approx(0.3, rel=0.06)
    assert np.all(fit.modes[0].amplitude[:, 0] > 2 * fit.modes[0].amplitude[:, 1])


@pytest.mark.slow
def test_softening_with_amplitude_is_reported():
    signal, size, phase = np.zeros(TIME.size), 0.0, 0.0
    for i in range(TIME.size):
        if i % 800 == 300:
            size, phase = 1.0, 0.0
        f = 20.0 * (1.0 - 0.08 * size)
        size *= np.exp(-0.3 * f / RATE)
        phase += 2 * np.pi * f / RATE
        signal[i] = size * np.sin(phase)
    fit = fit_trace(Trace(TIME, signal + 0.02 * np.random.default_rng(2).normal(size=TIME.size)))
    assert fit.verdict == "flagged"
    assert len(fit.modes) == 1
    assert fit.amplitude.significant
    assert fit.amplitude.early_hz == pytest.approx(20 * (1 - 0.064), rel=0.004)
    assert fit.amplitude.late_hz == pytest.approx(20 * (1 - 0.008), rel=0.004)
    assert fit.modes[0].frequency_sd_hz > 0.3
    assert any("changes with amplitude" in r for r in fit.reasons)
    steady = fit_trace(Trace(TIME, _decays()))
    assert not steady.amplitude.significant


@pytest.mark.slow
def test_moving_base_is_taken_off():
    # payload 0.3 kg at 20 Hz on a 2 kg base that stands on its own spring
    m, base, f0, zeta = 0.3, 2.0, 20.0, 0.06
    k, c = m * (2 * np.pi * f0) ** 2, 2 * zeta * m * 2 * np.pi * f0
    kb, cb = base * (2 * np.pi * 60) ** 2, 20.0
    system = np.zeros((4, 4))
    system[0, 2] = system[1, 3] = 1.0
    system[2] = [-k / m, k / m, -c / m, c / m]
    system[3] = [k / base, -(k + kb) / base, c / base, -(c + cb) / base]
    step, state, out = expm(system / RATE), np.zeros(4), np.zeros((TIME.size, 2))
    for i in range(TIME.size):
        if i % 800 == 300:
            state[2] += 1.0
        out[i] = (system @ state)[2:]
        state = step @ state
    out += 0.02 * out.std() * np.random.default_rng(0).normal(size=out.shape)
    fit = fit_trace(Trace(TIME, out[:, 0], (), out[:, 1]))
    truth = f0 * np.sqrt(1 - zeta**2), 2 * np.pi * zeta / np.sqrt(1 - zeta**2)
    assert fit.modes[0].frequency_hz < 0.995 * truth[0]
    assert fit.fixed_base.frequency_hz == pytest.approx(truth[0], abs=4 * fit.fixed_base.frequency_sd_hz)
    assert fit.fixed_base.log_decrement == pytest.approx(truth[1], abs=4 * fit.fixed_base.log_decrement_sd)
    assert any("the base moves by" in r for r in fit.reasons)
    reading = fit.ring_down("ring", 5.0, 0.3)
    assert reading.frequency_hz == fit.fixed_base.frequency_hz


@pytest.mark.parametrize(
    ("signal", "why"),
    [
        (np.zeros(TIME.size), "never changes"),
        (np.random.default_rng(1).normal(size=TIME.size), "noise"),
        (np.sin(2 * np.pi * 31 * TIME) + 0.05 * np.random.default_rng(1).normal(size=TIME.size), "steady"),
        (np.sin(2 * np.pi * 50 * TIME) + 0.05 * np.random.default_rng(1).normal(size=TIME.size), "noise"),
        (np.clip(_decays(starts=np.arange(0.1, 4.9, 0.1)), -0.05, 0.05), "limit"),
    ],
)
def test_records_without_a_ring_down_are_refused(signal, why):
    fit = fit_trace(Trace(TIME, signal))
    assert fit.verdict == "refused"
    assert why in fit.reasons[0]
    assert fit.modes == ()
    with pytest.raises(InputError, match="clear ring-down"):
        fit.ring_down("p", 20.0, 0.2)


def test_short_and_slow_records_are_refused():
    assert "readings" in fit_trace(Trace(TIME[:20], _decays()[:20])).reasons[0]
    slow = fit_trace(Trace(np.arange(60) * 0.5, np.random.default_rng(0).normal(size=60)))
    assert "sample faster" in slow.reasons[0]


def test_reading_carries_the_uncertainty():
    fit = fit_trace(Trace(TIME, _decays()))
    reading = fit.ring_down("ring", -5.0, 0.25, count=4)
    mode = fit.modes[0]
    assert (reading.frequency_hz, reading.log_decrement) == (mode.frequency_hz, mode.log_decrement)
    assert (reading.frequency_sd_hz, reading.log_decrement_sd) == (mode.frequency_sd_hz, mode.log_decrement_sd)
    assert reading.count == 4
    assert mode.damping_ratio == pytest.approx(0.0477, rel=0.05)
    with pytest.raises(InputError, match="mode"):
        fit.ring_down("ring", -5.0, 0.25, mode=3)


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: Trace([0.0], [1.0]), "time_s"),
        (lambda: fit_trace(Trace(TIME, TIME), frequency_range_hz=(9.0, 3.0)), "frequency_range_hz"),
    ],
)
def test_refusals_name_the_field(call, field):
    with pytest.raises(InputError) as caught:
        call()
    assert caught.value.field == field
