"""Printed and bent legs against finite elements held aside, and what their dimensions mean.

``legs_aside.csv`` was made by ``python -m tests.generators.finite_elements --aside-legs 40 --seed 7`` after the tables,
``bent_legs_aside.csv`` by ``--aside-bent-legs 40 --seed 7``, whose seed 5 the constants were fitted to.
"""

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from matdb.errors import InputError
from matdb.form import BentLeg, PrintedStrut, Strut, form_from_dict

HERE = Path(__file__).parent
_WORDS = {"pattern", "build"}


def aside(kind):
    """(mode, ours over finite elements, form) of every row of a file."""
    name, make = {"printed": ("legs_aside.csv", PrintedStrut), "bent": ("bent_legs_aside.csv", BentLeg)}[kind]
    with (HERE / name).open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            mode, value = row.pop("mode"), float(row.pop("value"))
            sizes = {k: v if k in _WORDS else int(v) if k == "walls" else float(v) for k, v in row.items() if v}
            form = make(**sizes)
            if mode == "tilt":
                ours = form.tilting_stiffness_n_mm_per_rad(1.0)
            else:
                ours = form.buckling_share if mode == "buckling" else form.stiffness_n_per_mm(1.0, mode)
            yield mode, ours / value, form


def test_printed_legs_meet_points_held_aside():
    found = list(aside("printed"))
    straight = np.array([abs(ratio - 1.0) for _, ratio, leg in found if leg.flare_mm is None])
    flared = np.array([abs(ratio - 1.0) for _, ratio, leg in found if leg.flare_mm is not None])
    assert (straight.size, flared.size) == (120, 40)
    assert np.median(straight) < 0.002
    assert straight.max() < 0.02
    assert np.median(flared) < 0.002
    assert flared.max() < 0.02


def test_bent_legs_meet_points_held_aside():
    found = [(mode, abs(ratio - 1.0)) for mode, ratio, _ in aside("bent")]
    assert len(found) == 120
    off = np.array([off for _, off in found])
    assert np.median(off) < 0.005
    assert off.max() < 0.03


def test_two_half_rings_are_a_ring_between_plates():
    # Roark's Formulas for Stress and Strain, circular rings, case 1: two opposite loads shorten a thin ring by
    # W R^3 / (E I) (pi/4 - 2/pi) (from memory); each half carries W / 2.
    radius, thick = 100.0, 1.0
    leg = BentLeg(1.0, thick, radius, 180.0)
    ring = 1.0 / 12.0 / (2.0 * (math.pi / 4.0 - 2.0 / math.pi) * radius**3)
    assert leg.stiffness_n_per_mm(1.0) == pytest.approx(ring, rel=0.006)
    # Either end may be called the foot.
    first, second = BentLeg(3, 2, 8, 90, 5, 9), BentLeg(3, 2, 8, 90, 9, 5)
    assert first.stiffness_n_per_mm(1.0) == pytest.approx(second.stiffness_n_per_mm(1.0, "lateral"), rel=1e-9)
    assert first.stiffness_n_per_mm(1.0, "out-of-plane") == pytest.approx(
        second.stiffness_n_per_mm(1.0, "out-of-plane"), rel=1e-9
    )
    for bad in ({"radius_mm": 1.0}, {"angle_deg": 20.0}, {"foot_mm": -1.0}):
        with pytest.raises(InputError):
            BentLeg(**({"width_mm": 3.0, "thickness_mm": 2.0, "radius_mm": 8.0} | bad))


def test_walls_are_a_thickness_in_lines():
    leg = PrintedStrut(10, 0, 40, walls=3, line_mm=0.45, infill_share=0.2)
    assert leg.wall_mm == pytest.approx(1.35)
    thick = PrintedStrut(10, 0, 40, wall_mm=1.35, infill_share=0.2)
    assert leg.stiffness_n_per_mm(1.0) == pytest.approx(thick.stiffness_n_per_mm(1.0))
    assert form_from_dict(leg.to_dict()) == leg
    # As stores of before kept it.
    old = {"form": "printed-strut", "outer_mm": 10.0, "inner_mm": 0.0, "length_mm": 40.0, "wall_mm": 1.2}
    assert form_from_dict(old | {"infill_share": 0.2, "pattern": "bend", "build": "upright"}).wall_mm == 1.2
    flares = (
        {"flare_mm": 8.0, "flare_length_mm": 3.0},
        {"flare_mm": 12.0},
        {"flare_mm": 12.0, "flare_length_mm": 21.0},
    )
    for bad in ({"wall_mm": 2.0}, {"walls": 0}, {"line_mm": 0.0}, *flares):
        with pytest.raises(InputError):
            PrintedStrut(10, 0, 40, **({"walls": 3} | bad))


def test_a_leg_of_soft_infill_leans_later_than_a_solid_one_and_is_softer_sideways_than_its_section():
    leg, solid = PrintedStrut(8, 0, 32, walls=2, infill_share=0.15, build="lying"), Strut(8, length_mm=32)
    assert leg.buckling_share > 1.2 * solid.buckling_share
    section = leg.beam_share["tilt"] * solid.stiffness_n_per_mm(1.0, "lateral")
    assert 0.7 < leg.stiffness_n_per_mm(1.0, "lateral") / section < 0.97


def test_ends_that_flare_beyond_the_tables_say_so():
    for bore, length in ((0.0, 1.0), (2.0, 4.0)):
        steep = PrintedStrut(6, bore, 24, walls=2, infill_share=0.3, flare_mm=10, flare_length_mm=length)
        assert any("steep" in text for text in steep.warnings())
    gentle = PrintedStrut(6, 0, 24, walls=2, infill_share=0.3, flare_mm=10, flare_length_mm=4)
    assert not any("steep" in text for text in gentle.warnings())


def test_ends_that_flare_stiffen_most_in_bending():
    plain = PrintedStrut(6, 0, 30, walls=2, infill_share=0.3)
    flared = PrintedStrut(6, 0, 30, walls=2, infill_share=0.3, flare_mm=10, flare_length_mm=5)
    gain = {axis: flared.stiffness_n_per_mm(1.0, axis) / plain.stiffness_n_per_mm(1.0, axis) for axis in plain.axes}
    assert 1.0 < gain["axial"] < gain["lateral"]
    assert flared.buckling_share > plain.buckling_share


@pytest.mark.parametrize("pattern", ["grid", "triangles", "honeycomb"])
def test_upright_walls_of_an_infill_carry_their_share_along_the_build_and_less_across(pattern):
    # Gibson and Ashby, Cellular Solids (from memory): prisms loaded along their axis, E / Es = relative density; across
    # it a grid has half of it, triangles a third, hexagons 1.5 times its cube.
    upright, lying = (PrintedStrut(8, 0, 30, infill_share=0.1, pattern=pattern, build=b) for b in ("upright", "lying"))
    across = {"grid": 0.5, "triangles": 1.0 / 3.0, "honeycomb": 1.5}[pattern] ** 0.9
    across *= 0.1 ** (3.0 if pattern == "honeycomb" else 1.0)
    assert upright.core[0] == pytest.approx(0.1)
    assert lying.core[0] == pytest.approx(across)
    assert PrintedStrut(8, 0, 30, infill_share=1.0, pattern=pattern).core == pytest.approx((1.0, 1.0))
