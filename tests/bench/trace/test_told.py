"""What a record leaves open is asked: which mode it is, whether it is an alias; packets and blows are seen through."""

import numpy as np
import pytest

from matdb.bench.trace.fit import fit_trace
from matdb.bench.trace.record import Trace
from matdb.errors import InputError
from tests.benchmarks.trace_table import struck_table

LOG = {"part": "ring", "temperature_c": 23.0, "mass_kg": 0.25}


def decays(time, *modes, starts=(0.4, 1.6, 2.8, 4.0), noise=0.01, blow=0.0):
    """Modes (Hz, decrement, size) that ring after every start, and a blow of some milliseconds at each."""
    x = noise * np.random.default_rng(5).normal(size=time.size)
    for start in starts:
        t = np.maximum(time - start, 0.0)
        for hz, decrement, size in modes:
            x += (time >= start) * size * np.exp(-decrement * hz * t) * np.sin(2 * np.pi * hz * t)
        x += blow * np.where((time > start - 0.006) & (time < start), np.sin(np.pi * (start - time) / 0.006), 0.0)
    return x


def at(rate, seconds=5.2):
    return np.arange(int(rate * seconds)) / rate


@pytest.mark.slow
def test_a_camera_struck_in_simulation_is_read_right_or_asked_about():
    _, counts = struck_table(range(40, 46))
    assert all(silent == 0 for *_, silent in counts.values())
    assert sum(right + asked for right, asked, *_ in counts.values()) >= 0.95 * 6 * len(counts)
    assert counts["hit", False][0] == counts["batched", False][0] == 6
    assert counts["two", True][0] >= 2


@pytest.mark.parametrize("hz", [62.0, 88.0])
def test_a_mode_above_half_the_rate_is_asked_about_until_its_range_is_told(hz):
    trace = Trace(at(100.0), decays(at(100.0), (hz, 0.3, 1.0)))
    fit = fit_trace(trace)
    assert fit.verdict == "asked"
    assert any(abs(each - hz) < 0.2 for each in fit.modes[0].aliases_hz)
    with pytest.raises(InputError, match="readings a second show"):
        fit.ring_down(**LOG)
    mode = fit_trace(trace, frequency_range_hz=(55.0, 95.0)).modes[0]
    assert (mode.frequency_hz, mode.log_decrement) == (pytest.approx(hz, rel=0.01), pytest.approx(0.3, rel=0.1))
    assert not mode.aliases_hz
    # A part that is expected there may be softer than expected; expected below, it has no other place.
    assert fit_trace(trace, foretold_hz=(60.0, 85.0)).verdict == "asked"
    below = fit_trace(trace, foretold_hz=(0.9 * (100.0 - hz), 1.1 * (100.0 - hz)))
    assert (below.verdict != "asked", below.modes[0].aliases_hz) == (True, ())
    # Told to lie below half the rate, it is what it looks like.
    assert fit_trace(trace, frequency_range_hz=(5.0, 49.0)).modes[0].frequency_hz == pytest.approx(100.0 - hz, rel=0.01)


def test_a_fast_record_has_no_alias_to_ask_about():
    fit = fit_trace(Trace(at(400.0), decays(at(400.0), (38.0, 0.3, 1.0))))
    assert (fit.verdict, fit.modes[0].aliases_hz, fit.chosen) == ("good", (), 0)


def test_which_of_two_modes_is_asked_or_follows_from_what_is_foretold():
    trace = Trace(at(400.0), decays(at(400.0), (18.0, 0.3, 1.0), (27.0, 0.35, 0.7)))
    fit = fit_trace(trace)
    assert (fit.verdict, fit.chosen) == ("asked", None)
    with pytest.raises(InputError, match="bounce and rocking"):
        fit.ring_down(**LOG)
    assert fit.ring_down(**LOG, mode=1).frequency_hz == pytest.approx(27.0, rel=0.01)
    assert fit_trace(trace, foretold_hz=(15.0, 20.0)).chosen == 0
    assert fit_trace(trace, foretold_hz=(23.0, 32.0)).chosen == 1
    # A band that holds both does not tell; that rocking is 1.5 times bounce does, and so does two thirds of it.
    assert fit_trace(trace, foretold_hz=(12.0, 34.0)).chosen is None
    assert fit_trace(trace, foretold_hz=(12.0, 34.0), beside=(1.5, 2.4)).chosen == 0
    assert fit_trace(trace, foretold_hz=(12.0, 34.0), beside=(0.66, 0.4)).chosen == 1


@pytest.mark.parametrize("stamp", ["packet", "quick", "clock"])
def test_times_by_the_packet_are_spread_evenly(stamp):
    true = at(400.0)
    n = np.arange(true.size)
    given = true[np.minimum(n // 8 * 8 + 7, true.size - 1)] + 0.02
    given = given + (n % 8) * 2e-4 if stamp == "quick" else np.floor(true / 0.01) * 0.01 if stamp == "clock" else given
    trace = Trace(given, decays(true, (21.0, 0.3, 1.0)))
    assert trace.time_s.size == true.size
    assert trace.rate_hz == pytest.approx(400.0, rel=1e-3)
    assert "packets" in trace.notes[0]
    fit = fit_trace(trace)
    assert fit.verdict == "good"
    assert fit.modes[0].frequency_hz == pytest.approx(21.0, rel=0.003)


def test_packets_with_a_gap_are_refused_and_even_times_stay():
    true = at(400.0)
    n = np.arange(true.size)
    given = true[n // 8 * 8]
    signal = decays(true, (21.0, 0.3, 1.0))
    for first, last in ((800, 840), (800, 808), (240, 248)):
        lost = (n >= first) & (n < last)
        with pytest.raises(InputError, match="packets with gaps"):
            Trace(given[~lost], signal[~lost])
    # A packet that is late by half its length is no gap.
    late = given + np.where(n // 8 == 60, 0.01, 0.0)
    assert Trace(late, signal).rate_hz == pytest.approx(400.0, rel=1e-3)
    with pytest.raises(InputError, match="more packets"):
        Trace(true[n // 400 * 400], signal)
    tremble = true + np.random.default_rng(1).uniform(-0.4, 0.4, true.size) / 400.0
    np.testing.assert_array_equal(Trace(tremble, true).time_s, np.sort(tremble))


@pytest.mark.parametrize("hz", [14.0, 23.0, 34.0])
def test_the_blow_itself_is_no_part_of_the_decay(hz):
    fit = fit_trace(Trace(at(400.0), decays(at(400.0), (hz, 0.4, 1.0), blow=1.5)))
    assert (fit.verdict, len(fit.taps_s)) == ("good", 4), fit.reasons
    assert fit.modes[0].frequency_hz == pytest.approx(hz, rel=0.005)
    assert fit.modes[0].log_decrement == pytest.approx(0.4, rel=0.03)
