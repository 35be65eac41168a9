"""A part that cannot carry its load is not offered as if it could."""

import numpy as np
import pytest

from matdb.advice.effective import effective
from matdb.advice.suit import Candidate, suit
from matdb.curve.fit import prior_curve
from matdb.form import GrommetPair, Part, Ring, Strut
from matdb.material.record import Material
from matdb.mounting.record import Mounting

MATERIAL = Material(name="print", family="thermoplastic polyurethane ether", hardness="85 A")


def test_a_slender_leg_that_buckles_under_the_manoeuvre_does_not_suit():
    curve = prior_curve(MATERIAL)
    leg = Part(name="leg", material="print", form=Strut(outer_mm=3, inner_mm=2.4, length_mm=40))
    mounting = Mounting(name="m", mass_kg=0.8, count=4, rpm_idle=6000, rpm_full=9000, manoeuvre_hz=4)
    (row,) = suit([Candidate(leg, MATERIAL, curve)], mounting, np.array([15.0, 25.0]))
    assert row.travel_margin < 0.0
    assert row.verdict == "does not suit"
    # A leg like this never gets to its full height's half: it bends aside first, and that is what is said.
    assert row.reason.startswith("buckles at load factor")
    assert "leans over" in row.reason
    assert any(text.startswith("buckles: at load factor") for text in row.warnings)
    assert not any("bottom" in text for text in (row.reason, *row.warnings))
    told = effective(curve, MATERIAL, leg, 20.0, mass_kg=0.8, count=4).warnings
    assert any(text.startswith("buckles: a leg so slender") and "it sags" in text for text in told)


def test_a_mass_that_flattens_a_part_is_said():
    gel = Material(name="gel", family="silicone gel", hardness="30 OO")
    ring = Part(name="ring", material="gel", form=Ring(outer_mm=14, inner_mm=5, height_mm=7))
    told = effective(prior_curve(gel), gel, ring, 20.0, mass_kg=3.0).warnings
    # What may break is told before what the answer rests on, though it is found later.
    assert told[0].startswith("overloaded: sags ")
    assert told[1].startswith("no reading of gel")
    light = effective(prior_curve(gel), gel, ring, 20.0, mass_kg=0.05).warnings
    assert not any("sags" in text or "overloaded" in text for text in light)


def test_a_pair_is_held_against_the_half_that_the_weight_presses():
    gel = Material(name="gel", family="silicone gel", hardness="30 OO")
    alone = Part(name="ring", material="gel", form=Ring(outer_mm=14, inner_mm=5, height_mm=7))
    taller = Part(name="pair", material="gel", form=GrommetPair(alone.form, Ring(14, 5, 5), plate_mm=2.0))
    said = [effective(prior_curve(gel), gel, part, 20.0, mass_kg=12.0).warnings for part in (alone, taller)]
    for told in said:
        (text,) = [each for each in told if each.startswith("overloaded")]
        assert text.endswith("of 7 mm there are")


@pytest.mark.parametrize("at_c", [-100.0, -200.0, 250.0])
def test_a_temperature_that_a_material_is_not_made_for_is_said_before_all_else(at_c):
    gel = Material(name="gel", family="silicone gel", hardness="30 OO", service_min_c=-40.0)
    pair = Part(name="pair", material="gel", form=GrommetPair(Ring(14, 5, 7), Ring(14, 5, 5), plate_mm=2.0))
    told = effective(prior_curve(gel), gel, pair, [20.0, at_c], mass_kg=0.1, squeeze_mm=0.1).warnings
    assert len(told) > 2
    words = ("outside the service range", "within 10 K of the glass", "far below the glass")
    first = [text for text in told if text.startswith(words)]
    assert first
    assert told[: len(first)] == tuple(first)
    assert any(("brittle" if at_c < 0.0 else "melt") in text for text in first)
