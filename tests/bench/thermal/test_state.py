"""The temperature that a fit takes: as typed without soak and seconds, else as the exact series have it."""

import dataclasses

import numpy as np
import pytest

import matdb
from matdb.bench.thermal.body import Body, body_of
from matdb.bench.thermal.soak import actual_temperatures, bench_state, check_soak, drift
from matdb.curve.gathering import gather
from matdb.form.measured import Measured

PAD = matdb.Part(name="puck", material="amber", form=matdb.Pad(10, 8))
RING = matdb.Part(name="ring", material="amber", form=matdb.Ring(14, 5, 7))
UNKNOWN = matdb.Part(name="bought", material="amber", form=Measured())
PARTS = {p.name: p for p in (PAD, RING, UNKNOWN)}


def tap(part="puck", temperature_c=-20.0, **more):
    return matdb.RingDown(part=part, temperature_c=temperature_c, mass_kg=0.2, frequency_hz=30.0, **more)


def test_without_soak_and_seconds_nothing_changes():
    readings = [tap(), tap(temperature_c=-0.1, temperature_sd_c=0.7), tap("bought", 33.3)]
    at, sd = actual_temperatures(readings, PARTS, "silicone")
    assert at.tolist() == [-20.0, -0.1, 33.3]
    assert sd.tolist() == [0.3, 0.7, 0.3]
    hard = matdb.HardnessReading(material="amber", temperature_c=-18.0, value="40 A", soak_min=1.0, seconds_out=50.0)
    assert actual_temperatures([hard], PARTS, "silicone")[0].tolist() == [-18.0]


@pytest.mark.parametrize("part", [PAD, RING])
@pytest.mark.parametrize("temperature", [-20.0, 5.0, 60.0])
@pytest.mark.parametrize("seconds", [1.0, 8.0, 60.0])
def test_drift_is_that_of_the_full_series(part, temperature, seconds):
    at, sd = actual_temperatures([tap(part.name, temperature, seconds_out=seconds)], PARTS, "silicone")
    full = drift(body_of(part.form), temperature, seconds, family="silicone", chamber_sd_k=0.3)
    assert at[0] == pytest.approx(full.temperature_c, abs=2e-3 * abs(23.0 - temperature))
    assert sd[0] == pytest.approx(full.temperature_sd_k, rel=0.02)


def test_a_short_soak_moves_the_temperature_and_doubts_it():
    at, sd = actual_temperatures([tap(soak_min=m) for m in (2.0, 8.0, 30.0, 240.0)], PARTS, "silicone")
    full = check_soak(Body(8.0, 10.0), [2.0, 8.0, 30.0, 240.0], -20.0, family="silicone")
    assert at == pytest.approx(full.mean_c, abs=0.1)
    assert np.all(np.diff(sd) < 0.0)
    # As typed lies within two standard deviations: the part may have been measured itself.
    assert np.all(np.abs(at + 20.0) <= 2.0 * sd)
    assert (at[-1], sd[-1]) == (pytest.approx(-20.0, abs=1e-3), pytest.approx(0.3, abs=1e-3))


def test_drift_starts_where_a_short_soak_ended():
    soaked = actual_temperatures([tap(soak_min=8.0)], PARTS, "silicone")
    both = actual_temperatures([tap(soak_min=8.0, seconds_out=20.0)], PARTS, "silicone")
    assert both[0][0] > soaked[0][0]
    assert both[1][0] > soaked[1][0]


def test_a_part_without_dimensions_is_doubted_not_moved():
    at, sd = actual_temperatures([tap("bought", seconds_out=30.0)], PARTS, "silicone")
    assert at[0] == -20.0
    assert sd[0] > 3.0
    said = bench_state(tap("bought", seconds_out=30.0), UNKNOWN, "silicone")
    assert "dimensions of bought are not known" in said.warnings[0]


@pytest.mark.slow
def test_many_readings_agree_with_one_by_one():
    rng = np.random.default_rng(4)
    readings = [
        tap(
            rng.choice(["puck", "ring", "bought"]),
            float(rng.uniform(-30, 70)),
            soak_min=None if rng.random() < 0.3 else float(rng.uniform(0, 60)),
            seconds_out=None if rng.random() < 0.3 else float(rng.uniform(0, 60)),
        )
        for _ in range(60)
    ]
    at, sd = actual_temperatures(readings, PARTS, "silicone")
    for k, reading in enumerate(readings):
        one = bench_state(reading, PARTS[reading.part], "silicone")
        assert (one.temperature_c, one.temperature_sd_k) == (pytest.approx(at[k]), pytest.approx(sd[k]))


def test_warnings_name_the_core_and_the_corrected_temperature():
    state = bench_state(tap(soak_min=5.0, seconds_out=8.0), PAD, "silicone")
    assert state.soak is not None
    assert not state.soak.enough
    assert "the core is likely at" in state.warnings[0]
    assert f"a fit takes {state.temperature_c:.1f}" in state.warnings[0]
    fine = bench_state(tap(soak_min=60.0, seconds_out=4.0), PAD, "silicone")
    assert fine.warnings == ()
    assert fine.drift.seconds_left > 0.0
    late = bench_state(tap(soak_min=60.0, seconds_out=40.0), PAD, "silicone")
    assert "has drifted by about" in late.warnings[0]
    assert late.drift.seconds_left == 0.0
    long = bench_state(tap(soak_min=300.0, temperature_c=-25.0), PAD, "natural rubber")
    assert "crystallises" in long.warnings[0]


def test_every_form_is_a_body_or_says_none():
    assert body_of(matdb.Strut(outer_mm=6, inner_mm=4, length_mm=10)) == Body(10.0, 6.0, 4.0)
    assert body_of(Measured()) is None
    for form in (matdb.Pad(10, 8), matdb.Ring(14, 5, 7), matdb.Bush(outer_mm=16, inner_mm=6, length_mm=10)):
        assert isinstance(body_of(form), Body)


def test_a_fit_sees_the_corrected_temperature():
    typed = gather([tap()], PARTS, "silicone")
    late = gather([tap(seconds_out=20.0)], PARTS, "silicone")
    at, sd = actual_temperatures([tap(seconds_out=20.0)], PARTS, "silicone")
    assert typed.temperature_k[0] == -20.0 + 273.15
    assert late.temperature_k[0] == at[0] + 273.15
    assert late.temperature_sd[0] == sd[0] > typed.temperature_sd[0]


def test_a_reading_outside_the_service_range_is_warned_of():
    reading = matdb.HardnessReading(material="tan", temperature_c=250.0, value="40 A")
    assert any("service range" in text for text in bench_state(reading, None, "natural rubber").warnings)


def test_the_reading_keeps_what_was_typed():
    reading = tap(soak_min=5.0, seconds_out=8.0)
    before = dataclasses.asdict(reading)
    gather([reading], PARTS, "silicone")
    assert dataclasses.asdict(reading) == before
