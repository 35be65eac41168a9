"""The answers as a store gives them; and that the reading which is said to settle a verdict does."""

import re

import numpy as np
import pytest

import matdb
from matdb.advice.exposure import flight
from matdb.units import parse
from matdb.weather.forecast import Forecast

HOURS = np.linspace(-10.0, 25.0, 36)


@pytest.fixture
def store(tmp_path):
    with matdb.open_store(tmp_path / "bench.sqlite") as opened:
        opened.add(matdb.Material(name="gel", family="silicone gel", hardness="30 OO"))
        opened.add(matdb.Part(name="ring", material="gel", form=matdb.Ring(12, 5, 8)))
        opened.add(matdb.Part(name="pad", material="gel", form=matdb.Pad(14, 6)))
        opened.add(matdb.Part(name="bush", material="gel", form=matdb.Bush(20, 8, 15)))
        opened.add(matdb.Mounting(name="cam", mass_kg=0.6, count=4, rpm_idle=4500, rpm_full=9000, manoeuvre_hz=5.0))
        yield opened


@pytest.mark.slow
def test_bare_numbers_forecasts_and_flights_agree(store):
    plain = store.suit("cam", HOURS)
    as_forecast = store.suit("cam", Forecast(HOURS, np.arange(36.0)))
    as_flight = store.suit("cam", flight(low_c=-10.0, high_c=25.0))
    for a, b, c in zip(plain, as_forecast, as_flight, strict=True):
        assert a.part == b.part == c.part
        assert a.probability == b.probability == c.probability
    assert re.fullmatch(r"hour \d+", as_forecast[0].worst_when)
    assert {r.part for r in plain} == {"ring", "pad", "bush"}
    assert [r.part for r in store.suit("cam", HOURS, parts=["pad"])] == ["pad"]


def test_cover_of_a_store(store):
    found = store.cover("cam", HOURS, share=0.5)
    assert found.hours == 36.0
    assert found.members[0].part in {"ring", "pad", "bush"}
    with pytest.raises(matdb.NotFound, match="'lens'"):
        store.cover("cam", HOURS, parts=["lens"])
    with pytest.raises(matdb.NotFound, match="'cram'"):
        store.cover("cram", HOURS)


@pytest.mark.slow
def test_the_readings_that_are_asked_for_settle_the_verdict(store):
    def asked():
        return {r.part: r for r in store.suit("cam", HOURS, squeeze_mm=0.0)}["ring"]

    first = before = asked()
    assert 0.02 <= before.probability < 0.98
    for _ in range(2):
        told = re.fullmatch(r"a ring-down on ring at (-?[\d.]+) degC with (.*) on 4, .*", before.settle)
        mass_kg = parse(told[2], "mass", "mass")
        # Taken on a specimen in the middle of the window: 18 Hz under the camera, lightly damped.
        where = {"part": "ring", "temperature_c": float(told[1]), "mass_kg": mass_kg, "count": 4}
        hertz = 18.0 * np.sqrt(store.mounting("cam").mass_kg / mass_kg)
        store.add(matdb.RingDown(**where, frequency_hz=hertz, log_decrement=0.3))
        before = asked()
        if not before.open_to_readings:
            break
    assert before.verdict == "probably suits"  # judged up and down only
    assert before.probability >= 0.98
    assert before.settle == ""
    assert before.basis == "readings"
    width = [r.worst.natural_frequency_hz.high / r.worst.natural_frequency_hz.low for r in (first, before)]
    assert width[1] < 0.7 * width[0]
