"""The ranking of next readings: what it must prefer, and that it says about what then happens."""

import dataclasses
import json

import numpy as np
import pytest
import virtual

from matdb.advice.requirement import Candidate, Requirement
from matdb.advice.suit import next_readings
from matdb.bench.readings import RingDown
from matdb.curve.fit import fit_curve, prior_curve
from matdb.curve.next_reading import Affordable, rank_next_readings
from matdb.errors import InputError
from matdb.form import Pad, Part
from matdb.material.record import Material
from matdb.mounting.record import Mounting

MATERIAL = Material(name="virtual", family="unknown")
PARTS = {"virtual": virtual.PART}
ABLE = Affordable(temperatures_c=(-20.0, 5.0, 23.0, 60.0))
HERTZ = 30.0


def take(truth, reading, rng):
    """The ring-down that the truth gives where ``reading`` was proposed."""
    f, decrement = truth.ring(reading.temperature_c, reading.mass_kg)
    return RingDown(
        part="virtual",
        temperature_c=reading.temperature_c,
        mass_kg=reading.mass_kg,
        frequency_hz=f * np.exp(0.03 * rng.standard_normal()),
        log_decrement=decrement * np.exp(0.15 * rng.standard_normal()),
    )


@pytest.fixture(scope="module")
def started():
    readings = virtual.readings(virtual.specimen(9), virtual.DESIGNS[0], np.random.default_rng(9))[1:2]
    return readings, fit_curve(MATERIAL, PARTS, readings)


def test_a_cold_question_is_answered_by_a_cold_reading(started):
    _, curve = started
    ranked = rank_next_readings(curve, MATERIAL, virtual.PART, (-20.0, 0.0), HERTZ, affordable=ABLE)
    assert ranked[0].temperature_c == -20.0
    assert ranked[0].kind == "ring-down"
    assert "the coldest reading so far is at 23 degC" in ranked[0].why
    assert [r.width_after for r in ranked] == sorted(r.width_after for r in ranked)
    again = next(r for r in ranked if r.temperature_c == 23.0 and r.kind == "ring-down")
    assert again.narrowing < 0.6 * ranked[0].narrowing


def test_bands_and_words_agree(started):
    _, curve = started
    asked = np.array([-20.0, -10.0, 0.0])
    best = rank_next_readings(curve, MATERIAL, virtual.PART, asked, HERTZ, affordable=ABLE)[0]
    for width, band in ((best.width_before, best.band_before), (best.width_after, best.band_after)):
        assert width == pytest.approx(np.mean(np.log(band.high / band.low)))
    assert best.narrowing == pytest.approx(1.0 - best.width_after / best.width_before)
    assert f"by {100.0 * best.narrowing:.0f} %" in best.why
    # The band now is the curve's own, within Monte Carlo error.
    now = curve.modulus(asked, HERTZ).storage_mpa
    assert best.band_before.median == pytest.approx(virtual.UNIT * now.median, rel=0.2)
    assert json.loads(json.dumps(best.to_dict()))["band_after"]["low"] == best.band_after.low.tolist()


def test_same_question_same_answer(started):
    _, curve = started
    one, two = (
        rank_next_readings(curve, MATERIAL, virtual.PART, (0.0, 20.0), mass_kg=0.5, affordable=ABLE) for _ in range(2)
    )
    assert [r.to_dict() for r in one] == [r.to_dict() for r in two]


def test_without_readings_the_first_one_is_worth_most():
    curve = prior_curve(MATERIAL)
    ranked = rank_next_readings(curve, MATERIAL, virtual.PART, (0.0, 30.0), HERTZ, affordable=ABLE)
    assert ranked[0].narrowing > 0.4
    assert "nothing was read" in ranked[0].why


def test_a_part_of_its_own_geometry_can_be_asked_about(started):
    _, curve = started
    pad = Part(name="pad", material="virtual", form=Pad(diameter_mm=12, height_mm=8))
    ranked = rank_next_readings(curve, MATERIAL, pad, (20.0, 26.0), HERTZ, affordable=ABLE)
    # Its geometry is what is open, and a reading at room temperature settles it.
    assert ranked[0].part == "pad"
    assert max(r.narrowing for r in ranked if r.temperature_c == 23.0) > 0.15


def test_readings_that_strain_too_far_or_ring_too_fast_are_left_out(started):
    _, curve = started
    heavy = Affordable(temperatures_c=(23.0,), masses_kg=(900.0,), kinds=("deflection",))
    assert rank_next_readings(curve, MATERIAL, virtual.PART, (0.0, 20.0), affordable=heavy) == []
    light = Affordable(temperatures_c=(23.0,), masses_kg=(1e-5,), kinds=("ring-down",))
    assert rank_next_readings(curve, MATERIAL, virtual.PART, (0.0, 20.0), affordable=light) == []
    frail = dataclasses.replace(MATERIAL, service_max_c=30.0, service_min_c=0.0)
    ranked = rank_next_readings(curve, frail, virtual.PART, (0.0, 20.0), affordable=ABLE)
    assert {r.temperature_c for r in ranked} == {5.0, 23.0}


def test_bad_questions_are_refused(started):
    _, curve = started
    for kwargs, field in (
        ({"frequency_hz": 30.0, "mass_kg": 1.0}, "frequency_hz"),
        ({"mass_kg": -1.0}, "mass_kg"),
        ({"count": 0}, "count"),
    ):
        with pytest.raises(InputError, match=field):
            rank_next_readings(curve, MATERIAL, virtual.PART, (0.0, 20.0), **kwargs)
    with pytest.raises(InputError, match="temperatures_c"):
        rank_next_readings(curve, MATERIAL, virtual.PART, ())
    with pytest.raises(InputError, match="affordable kind"):
        Affordable(kinds=("guess",))


@pytest.mark.slow
def test_what_was_promised_is_about_what_is_got():
    # A small version of tests/benchmarks/next_reading.py.
    ratio, better = [], []
    asked = np.linspace(-20.0, 10.0, 7)
    for seed in (20, 21, 24):
        truth, rng = virtual.specimen(seed), np.random.default_rng(seed)
        start = virtual.readings(truth, virtual.DESIGNS[0], rng)[1:2]
        curve = fit_curve(MATERIAL, PARTS, start)
        ranked = rank_next_readings(
            curve, MATERIAL, virtual.PART, asked, HERTZ, affordable=dataclasses.replace(ABLE, kinds=("ring-down",))
        )
        widths = []
        for chosen in (ranked[0], ranked[-1]):
            got = fit_curve(MATERIAL, PARTS, [*start, take(truth, chosen, rng)]).modulus(asked, HERTZ).storage_mpa
            widths.append(float(np.mean(np.log(got.high / got.low))))
        ratio.append(ranked[0].narrowing / (1.0 - widths[0] / ranked[0].width_before))
        better.append(widths[0] < widths[1])
    assert sum(better) >= 2
    assert 0.6 < np.median(ratio) < 1.5


@pytest.mark.parametrize(
    ("decides", "axis"), [("yaw", "shear"), ("lateral", "shear"), ("pitch", "axial"), ("travel", "axial")]
)
def test_for_a_mounting_it_asks_for_what_decides_where_it_does(decides, axis):
    mounting = Mounting(name="cam", mass_kg=0.6, count=4, rpm_idle=9000, rpm_full=17000)
    candidate = Candidate(virtual.PART, MATERIAL, prior_curve(MATERIAL))
    what = Requirement(name=decides, probability=0.6, margin=0.1, temperature_c=31.0)
    found = next_readings(candidate, mounting, what, affordable=ABLE)
    assert found
    assert {(each.axis, each.asked_c, each.count, each.part) for each in found} == {(axis, 31.0, 4, "virtual")}
    assert found[0].in_words.startswith("a sideways " if axis == "shear" else "a ring-down")
    # A reading where it decides tells more than one far from there.
    by = {each.temperature_c: each.narrowing for each in reversed(found) if each.kind == "ring-down"}
    assert by[min(by, key=lambda t: abs(t - 31.0))] == max(by.values())
