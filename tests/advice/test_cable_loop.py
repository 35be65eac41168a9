"""A loop of wire rope that was never read: its own load points say how stiff it is."""

import math

import pytest

from matdb.advice.effective import effective
from matdb.bench.readings import Deflection
from matdb.curve.fit import prior_curve
from matdb.curve.gathering import gather
from matdb.form import CableLoop, Measured, Part, Ring
from matdb.material.record import Material

LOOP = CableLoop(25, ((1.0, 4.0), (2.0, 8.0)))


def answer(form, family, temperature_c=23.0, **at):
    material = Material(name="rope", family=family)
    part = Part(name="loop", material="rope", form=form)
    return effective(prior_curve(material), material, part, temperature_c, **(at or {"frequency_hz": 20.0}))


def test_its_points_say_how_stiff_it_is_within_a_factor_of_two_or_so():
    # Quick small shaking finds it stiffer than slow pressing: 1 to 3 times the 4 N/mm of its points.
    band = answer(LOOP, "steel cable").stiffness_n_per_mm
    assert 1.2 * 4.0 < band.median < 2.0 * 4.0
    assert 0.6 * 4.0 < band.low < 4.0
    assert band.high < 3.5 * 4.0
    slow = answer(LOOP, "steel cable", frequency_hz=0.1).stiffness_n_per_mm
    assert slow.median == pytest.approx(4.0, rel=0.1)


def test_cold_hardly_stiffens_it_and_friction_damps_it():
    warm, cold = (answer(LOOP, "steel cable", t) for t in (23.0, -20.0))
    assert 1.0 < cold.stiffness_n_per_mm.median / warm.stiffness_n_per_mm.median < 1.05
    for each in (warm, cold):
        assert 0.03 < each.damping_ratio.low < 0.07 < each.damping_ratio.median < 0.12 < each.damping_ratio.high < 0.25


@pytest.mark.parametrize(("form", "family"), [(LOOP, "silicone"), (Ring(12, 5, 5), "steel cable")])
def test_rope_and_rubber_do_not_mix_and_the_answer_says_so(form, family):
    told = answer(form, family)
    assert told.stiffness_n_per_mm.high > 50.0 * told.stiffness_n_per_mm.low
    assert "can be anything until it is read" in told.warnings[0]
    assert "can be anything" not in " ".join(answer(form, "steel cable" if form is LOOP else "silicone").warnings)


def test_a_weight_that_sinks_as_its_points_say_agrees_with_them():
    # Softening: 8 N/mm at first, 2 N/mm at the end; 8 N press it by 2 mm, 4 N/mm on the whole.
    loop = CableLoop(25, ((0.5, 4.0), (2.0, 8.0)))
    part, weight = Part(name="loop", material="rope", form=loop), 8.0 / 9.80665
    reading = Deflection(part="loop", temperature_c=23.0, mass_kg=weight, deflection_mm=2.0, dwell_s=10.0)
    assert gather([reading], {"loop": part}, "steel cable").stiff[0] == pytest.approx(0.0, abs=1e-6)
    # Rubber keeps the tangent.
    ring = Part(name="loop", material="rope", form=Ring(16, 6, 5))
    assert gather([reading], {"loop": ring}).stiff[0] == pytest.approx(math.log(4.0 / ring.form.stiffness_n_per_mm()))


def test_a_part_known_by_its_readings_may_be_of_either():
    assert Measured().fits("steel cable")
    assert Measured().fits("silicone")
