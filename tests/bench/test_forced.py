"""Forced records of known truth: resonance and loss factor with honest intervals, and refusals."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import butter, sosfiltfilt

from matdb.bench.forced import fit_again, fit_forced
from matdb.bench.trace.record import Trace
from matdb.bench.transfer import transfer_function
from matdb.errors import InputError


def _record(seed, f0, eta, *, rate=400.0, seconds=60.0, noise=0.05, tones=(), base_noise=0.02, gain=1.0, p=0.0, q=0.0):
    """Coloured random base motion, a mass on a spring k(f/f0)^p (1 + i eta (f/f0)^q), rotor lines on both."""
    rng = np.random.default_rng([31, seed])
    n = int(seconds * rate)
    f = np.fft.rfftfreq(2 * n, 1 / rate)
    drive = np.fft.rfft(rng.normal(size=2 * n)) / np.sqrt(1 + (f / 30) ** 2)
    time = np.arange(2 * n) / rate
    for hz, size in tones:
        drive += np.fft.rfft(size * np.sin(2 * np.pi * hz * time))
    over = np.maximum(f / f0, 1e-9)
    stiff = (1 + 1j * eta * over**q) * over**p
    ratio = gain * stiff / (stiff - (f / f0) ** 2)
    base, payload = (np.fft.irfft(v)[n // 2 : n // 2 + n] for v in (drive, drive * ratio))
    payload = payload + noise * payload.std() * rng.normal(size=n)
    base = base + base_noise * base.std() * rng.normal(size=n)
    return Trace(np.arange(n) / rate, payload + 9.81, (), base + 9.81)


@pytest.mark.slow
def test_truth_is_found_within_its_intervals():
    z, errors = [], []
    rng = np.random.default_rng(4)
    for seed in range(12):
        f0, eta = np.exp(rng.uniform(np.log(8), np.log(60))), np.exp(rng.uniform(np.log(0.05), np.log(0.5)))
        fit = fit_forced(_record(seed, f0, eta, seconds=rng.uniform(30, 100)))
        assert fit.verdict == "good", fit.reasons
        z.append([(fit.frequency_hz - f0) / fit.frequency_sd_hz, (fit.loss_factor - eta) / fit.loss_factor_sd])
        errors.append([fit.frequency_hz / f0 - 1, fit.loss_factor / eta - 1])
    assert np.max(np.abs(errors), axis=0) == pytest.approx([0, 0], abs=0.03)
    assert np.all(np.mean(np.abs(z) < 1.96, axis=0) >= 0.75)
    assert np.all(np.mean(np.abs(z) < 1.0, axis=0) >= 0.4)


def test_rotor_lines_do_not_pull_the_fit():
    fit = fit_forced(_record(1, 22.0, 0.2, tones=[(85.0, 3.0), (170.0, 1.0), (41.0, 0.5)], noise=0.02))
    assert fit.frequency_hz == pytest.approx(22.0, rel=0.02)
    assert fit.loss_factor == pytest.approx(0.2, rel=0.1)


def test_noise_of_the_base_sensor_is_told_from_damping():
    noisy = _record(7, 22.0, 0.2, base_noise=0.5, seconds=240.0)
    plain, coupled = fit_forced(noisy), fit_forced(noisy, coupled=True)
    assert coupled.frequency_hz == pytest.approx(22.0, rel=0.01)
    assert coupled.loss_factor == pytest.approx(0.2, rel=0.05)
    assert abs(coupled.gain - 1.0) < 0.03 < abs(plain.gain - 1.0)


@pytest.mark.parametrize("size", [0.1, 0.15, 0.2, 0.25])
def test_noise_of_the_base_that_is_not_white_opens_the_damping(size):
    """Noise from 24 to 80 Hz alone, as of lines that show folded, at a resonance of 30 Hz: the level gives it away."""
    made = _record(7, 30.0, 0.3, base_noise=0.0, seconds=180.0, noise=0.02, p=2.0 / np.pi * np.arctan(0.3))
    band = butter(4, (24.0, 80.0), "bandpass", fs=400.0, output="sos")
    noise = sosfiltfilt(band, np.random.default_rng(8).normal(size=made.base.shape), axis=0)
    base = made.base + size * (made.base - 9.81).std() / noise.std() * noise
    fit = fit_forced(replace(made, base=base), coupled=True, frequency_range_hz=(5.0, 100.0))
    assert abs(fit.loss_factor - 0.3) < 1.96 * fit.loss_factor_sd
    assert fit.frequency_hz == pytest.approx(30.0, rel=0.02)
    assert fit.verdict == ("good" if size == 0.1 else "flagged")


@pytest.mark.parametrize("law", [(0.0, 0.0), (1.0, 0.0), (0.9, 0.3)])
def test_a_laws_slopes_are_told_from_damping(law):
    """A power law's loss angle is pi / 2 times its power (Booij and Thoone, Rheol. Acta 21 (1982) 15, from memory)."""
    power = law[0] * 2 / np.pi * np.arctan(0.35)
    made = _record(11, 22.0, 0.35, p=power, q=law[1], noise=0.0, base_noise=0.0, seconds=240.0)
    fit = fit_forced(made, coupled=True)
    for true, (found, sd) in zip(law, fit.law, strict=True):
        assert abs(found - true) < min(2.0 * sd, 0.2)
    assert abs(fit.frequency_hz - 22.0) < min(2.0 * fit.frequency_sd_hz, 0.2)
    known = fit_again(fit, 0.0, [(each, 1e-3) for each in law], (4.0, 60.0))
    other = fit_again(fit, 0.0, [(1.0 - law[0], 1e-3), (0.4 - law[1], 1e-3)], (4.0, 60.0))
    assert known.frequency_hz == pytest.approx(22.0, rel=0.003)
    assert known.loss_factor == pytest.approx(0.35, rel=0.01)
    assert other.verdict == "refused" or abs(other.loss_factor / 0.35 - 1.0) > 0.03


def test_two_modes_that_noise_hides_in_each_other_are_refused():
    """About half of it each at 20 and 21.5 Hz, of a loss that makes them one peak, in a record too short for two."""
    one, other = (_record(8, f0, 0.3, noise=0.0, base_noise=0.0, seconds=25.0) for f0 in (20.0, 21.5))
    rng = np.random.default_rng(9)
    payload = 0.55 * one.signal + 0.45 * other.signal
    noise = payload.std() * rng.normal(size=payload.shape)
    mixed = Trace(one.time_s, payload + noise, (), one.base)
    fit = fit_forced(mixed, coupled=True)
    assert fit.verdict != "good"
    known = fit_again(fit, 0.0, [(0.0, 1e-3)] * 2, (2.0, 160.0))
    assert known.verdict == "refused"
    assert "as likely" in known.reasons[0]


def test_unequal_sensors_are_fitted_and_flagged():
    fit = fit_forced(_record(2, 22.0, 0.2, gain=0.5))
    assert fit.loss_factor == pytest.approx(0.2, rel=0.1)
    assert fit.verdict == "flagged"
    assert any("0.50, not 1" in r for r in fit.reasons)


def test_noisy_payload_is_flagged_or_refused():
    fit = fit_forced(_record(3, 22.0, 0.2, noise=15.0, seconds=20.0))
    assert fit.verdict != "good"
    assert fit.reasons


def test_unrelated_signals_are_refused():
    rng = np.random.default_rng(1)
    fit = fit_forced(Trace(np.arange(20000) / 400, rng.normal(size=20000), (), rng.normal(size=20000)))
    assert fit.verdict == "refused"
    with pytest.raises(InputError, match="clear resonance"):
        fit.reading("p", 20.0, 0.3)


def test_reading_carries_width_and_uncertainty():
    fit = fit_forced(_record(5, 25.0, 0.25))
    reading = fit.reading("ring", -5.0, 0.4, count=4)
    assert reading.half_power_width_hz == pytest.approx(fit.loss_factor * fit.frequency_hz)
    assert reading.frequency_sd_hz == pytest.approx(fit.frequency_sd_hz)
    assert fit.damping_ratio == pytest.approx(fit.loss_factor / 2)
    assert fit.amplification == pytest.approx(np.sqrt(1 + fit.loss_factor**2) / fit.loss_factor)


def test_coherence_and_deviation_of_the_transfer_function():
    trace = _record(6, 25.0, 0.25, noise=0.0, base_noise=0.0)
    clean = transfer_function(trace, resolution_hz=0.5)
    near = (clean.frequency_hz > 10) & (clean.frequency_hz < 40)
    assert np.min(clean.coherence[near]) > 0.98
    noisy = transfer_function(_record(6, 25.0, 0.25, noise=0.5), resolution_hz=0.5)
    assert np.median(noisy.sd[near]) > 3 * np.median(clean.sd[near])
    rest = (noisy.ratio - clean.ratio)[near].real / noisy.sd[near]
    assert 0.7 < np.std(rest) < 1.4


@pytest.mark.parametrize(
    ("change", "field"),
    [
        (lambda t: fit_forced(Trace(t.time_s, t.signal)), "base"),
        (lambda t: fit_forced(t, frequency_range_hz=(30.0, 10.0)), "frequency_range_hz"),
        (lambda t: transfer_function(t, resolution_hz=0.01), "record"),
        (lambda t: transfer_function(Trace(t.time_s[:90], t.signal[:90], (), t.base[:90])), "record"),
    ],
)
def test_refusals_name_the_field(change, field):
    with pytest.raises(InputError) as caught:
        change(_record(7, 20.0, 0.2, seconds=20.0))
    assert caught.value.field == field


@pytest.mark.parametrize("f0", [12.0, 27.0, 60.0])
def test_a_viscous_mount_is_one_mode(f0):
    """Its loss grows as frequency does: eta f / f0."""
    fit = fit_forced(_record(3, f0, 0.18, q=1.0, noise=0.01, base_noise=0.01))
    assert fit.verdict == "good", fit.reasons
    assert fit.frequency_hz == pytest.approx(f0, rel=0.003)
    assert fit.loss_factor == pytest.approx(0.18, rel=0.02)
    assert abs(fit.loss_factor - 0.18) < 3.0 * fit.loss_factor_sd


def test_a_second_mode_is_no_growing_loss():
    one, two = (_record(5, hz, 0.15, noise=0.01, base_noise=0.0) for hz in (24.0, 33.0))
    both = replace(one, signal=0.6 * one.signal + 0.4 * two.signal)
    fit = fit_forced(both)
    assert fit.verdict == "flagged"
    assert "not that of one mode" in fit.reasons[0]
