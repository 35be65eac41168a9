"""Every form: checks, the way to and from plain values, limits that need no finite elements."""

import json
import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from matdb.errors import InputError
from matdb.form import (
    FORMS,
    BentLeg,
    Bush,
    CableLoop,
    Grommet,
    GrommetPair,
    Measured,
    Pad,
    PrintedStrut,
    Ring,
    Strut,
    Taper,
    form_from_dict,
    form_from_text,
)
from matdb.form.base import UNKNOWN_SD
from matdb.form.squeeze_law import LoadCurve

SAMPLES = [
    Pad(10, 5),
    Pad(10, 5, bonded=False, load_points=((0.5, 4.0), (1.0, 10.0))),
    Ring(16, 6, 5),
    Bush(12, 6, 10),
    Strut(8, length_mm=20),
    Strut(8, 4, 20),
    PrintedStrut(10, 4, 25, wall_mm=0.8, infill_share=0.2, pattern="bend", build="lying"),
    PrintedStrut(8, 0, 30, walls=3, infill_share=0.2, pattern="honeycomb", flare_mm=12, flare_length_mm=4),
    BentLeg(4, 2, 8, 180, 5, 3),
    Taper(12, 8, 10),
    CableLoop(30, ((1, 2), (3, 5)), 0.2),
    Measured(),
    Measured(height_mm=8, shear_share=0.4),
    Grommet(12, 4.2, 3.5, 2.5, 2, 7, neck_outer_mm=6.4, sleeve_mm=4.0, thread="M3", spacer_mm=7.5),
    GrommetPair(Ring(12, 5, 4), Pad(10, 3), plate_mm=2, thread="M3", spacer_mm=8.5),
]


@pytest.mark.parametrize("form", SAMPLES, ids=lambda f: f.label())
def test_round_trip_through_json(form):
    values = json.loads(json.dumps(form.to_dict()))
    again = form_from_dict(values)
    assert again == form
    assert hash(again) == hash(form)


@pytest.mark.parametrize("form", SAMPLES, ids=lambda f: f.label())
def test_stiffness_scales_with_the_modulus_and_broadcasts(form):
    for axis in form.axes:
        if axis == "shear" and not getattr(form, "bonded", True):
            continue
        one = form.stiffness_n_per_mm(1.0, axis)
        assert isinstance(one, float)
        assert one > 0.0
        many = form.stiffness_n_per_mm(np.array([[0.5], [2.0 + 0.4j]]), axis)
        assert many.shape == (2, 1)
        assert form.stiffness_n_per_mm(1.0, axis, squeeze_mm=np.zeros(3)) == pytest.approx(np.full(3, one))
        assert form.stiffness_n_per_mm(1.0, axis, bulk_modulus_mpa=[[9e9], [8e9]]).shape == (2, 1)
        assert many.ravel() == pytest.approx([0.5 * one, (2.0 + 0.4j) * one])
        assert form.offset_sd(axis) > 0.0
        assert all(isinstance(text, str) and "\n" not in text for text in form.warnings(axis))


def test_forms_in_words():
    assert form_from_text("Ring 16x6x5") == Ring(16, 6, 5)
    assert GrommetPair("ring 12x5x4", "pad 10x3", plate_mm=2) == GrommetPair(Ring(12, 5, 4), Pad(10, 3), 2)
    assert Pad(10, 5, load_points="0.5:4, 1:10").load_points == ((0.5, 4.0), (1.0, 10.0))
    for bad in ("cube 3", "ring", "ring 16", "ring 16x6x5x4x3x2", "pad 10xq"):
        with pytest.raises(InputError) as caught:
            form_from_text(bad)
        assert "\n" not in str(caught.value)


def test_every_form_has_a_sample():
    assert {type(f) for f in SAMPLES} == set(FORMS.values())


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: Pad(0, 5), "pad diameter_mm"),
        (lambda: Pad(10, math.nan), "pad height_mm"),
        (lambda: Pad(10, 5, bonded="yes"), "pad bonded"),
        (lambda: Pad(10, 5, load_points=((1, 2), (1, 3))), "pad load_points"),
        (lambda: Pad(10, 5, load_points="1;2"), "pad load_points"),
        (lambda: Ring(6, 16, 5), "ring inner_mm"),
        (lambda: Bush(6, 6, 5), "bush inner_mm"),
        (lambda: Strut(8), "strut length_mm"),
        (lambda: Strut(8, -1, 20), "strut inner_mm"),
        (lambda: PrintedStrut(8, 0, 20, infill_share=20), "printed-strut infill_share"),
        (lambda: PrintedStrut(8, 0, 20, pattern="honey"), "printed-strut pattern"),
        (lambda: PrintedStrut(8, 9, 20), "printed-strut inner_mm"),
        (lambda: Taper(8, 0, 20), "taper top_mm"),
        (lambda: CableLoop(30), "cable-loop load_points"),
        (lambda: CableLoop(30, ((1, 2),), 0.9), "cable-loop damping_ratio"),
        (lambda: Measured(shear_share=0), "measured shear_share"),
        (lambda: GrommetPair(Bush(6, 3, 5)), "grommet-pair lower"),
        (lambda: GrommetPair(Pad(6, 3), thread="W1"), "thread"),
        (lambda: GrommetPair(Pad(6, 3), plate_mm=2, spacer_mm=1.5), "grommet-pair spacer_mm"),
        (lambda: GrommetPair(Pad(6, 3), plate_mm=2, spacer_mm=4), "grommet-pair spacer_mm"),
        (lambda: form_from_dict({"form": "cube"}), "form"),
        (lambda: form_from_dict({"form": "pad", "size": 3}), "pad size"),
        (lambda: form_from_dict({"form": "pad", "height_mm": 3}), "pad diameter_mm"),
        (lambda: Pad(10, 5).stiffness_n_per_mm(1.0, "radial"), "axis"),
        (lambda: Pad(10, 5).stiffness_n_per_mm(-1.0), "youngs_modulus_mpa"),
        (lambda: Pad(10, 5).stiffness_n_per_mm("1"), "youngs_modulus_mpa"),
        (lambda: Pad(10, 5).stiffness_n_per_mm(1.0, bulk_modulus_mpa=0.0), "bulk_modulus_mpa"),
        (lambda: Pad(10, 5).stiffness_n_per_mm(1.0, squeeze_mm=[0.1, 2.6]), "squeeze_mm"),
        (lambda: Pad(10, 5).force_n(1.0, -0.1), "squeeze_mm"),
        (lambda: Pad(10, 5, bonded=False).stiffness_n_per_mm(1.0, "shear"), "axis"),
        (lambda: Bush(12, 6, 10, bonded=False).stiffness_n_per_mm(1.0), "axis"),
        (lambda: Bush(12, 6, 10, bonded=False).torsional_stiffness_n_mm_per_rad(1.0), "axis"),
        (lambda: Bush(12, 6, 10).stiffness_n_per_mm(1.0, squeeze_mm=0.1), "squeeze_mm"),
        (lambda: Strut(4, length_mm=40).stiffness_n_per_mm(1.0, "lateral", squeeze_mm=2.0), "squeeze_mm"),
    ],
)
def test_what_cannot_be_is_said_in_one_line(make, field):
    with pytest.raises(InputError) as caught:
        make()
    assert caught.value.field == field
    assert "\n" not in str(caught.value)


def test_frictionless_faces_squeeze_uniformly():
    pad, ring = Pad(10, 5, bonded=False), Ring(16, 6, 5, bonded=False)
    for form in (pad, ring):
        assert form.stiffness_n_per_mm(2.0) == pytest.approx(2.0 * form.area_mm2 / 5.0)
    strut = Strut(8, 2, 20, bonded=False)
    assert strut.stiffness_n_per_mm(1.0) == pytest.approx(strut.area_mm2 / 20.0)


def test_force_is_the_integral_of_the_tangent():
    for form in (Pad(10, 5), Ring(16, 6, 5), Pad(10, 5, bonded=False), SAMPLES[1], Pad(20, 3)):
        q = np.linspace(0.0, 0.5 * form.height_mm, 2001)
        tangent = form.stiffness_n_per_mm(1.0, squeeze_mm=q)
        summed = np.concatenate([[0.0], np.cumsum((tangent[1:] + tangent[:-1]) / 2.0 * np.diff(q))])
        assert form.force_n(1.0, q) == pytest.approx(summed, rel=2e-4, abs=1e-9)


def test_a_pad_is_a_ring_without_a_hole():
    for axis in Pad.axes:
        assert Ring(10, 1e-5, 4).stiffness_n_per_mm(1.0, axis) == pytest.approx(
            Pad(10, 4).stiffness_n_per_mm(1.0, axis), rel=1e-3
        )


def test_a_tall_pad_is_a_strut():
    for height in (10.0, 20.0, 29.0, 33.0, 60.0):
        pad, strut = Pad(10, height), Strut(10, length_mm=height)
        assert pad.stiffness_n_per_mm(1.0) == pytest.approx(strut.stiffness_n_per_mm(1.0), rel=1e-9)
        assert pad.stiffness_n_per_mm(1.0, "shear") == pytest.approx(strut.stiffness_n_per_mm(1.0, "lateral"), rel=1e-9)


@example(outer=4.0, share=0.2, height=10.0, size=0.2)
@settings(deadline=None)
@given(outer=st.floats(4, 40), share=st.floats(0.0, 0.95), height=st.floats(0.3, 100), size=st.floats(0.2, 5))
def test_stiffness_depends_on_shape_times_size(outer, share, height, size):
    one = Ring(outer, max(share * outer, 1e-3), height)
    other = Ring(size * one.outer_mm, size * one.inner_mm, size * height)
    for axis in Ring.axes:
        assert other.stiffness_n_per_mm(1.0, axis) == pytest.approx(size * one.stiffness_n_per_mm(1.0, axis), rel=1e-6)


@settings(deadline=None)
@given(hole=st.floats(0.01, 0.9), height=st.floats(0.4, 40.0))
def test_a_taller_ring_is_softer_and_a_smaller_hole_stiffer(hole, height):
    ring = Ring(10, 10 * hole, height)
    for axis in Ring.axes:
        k = ring.stiffness_n_per_mm(1.0, axis)
        assert Ring(10, 10 * hole, 1.05 * height).stiffness_n_per_mm(1.0, axis) < k
        # A tiny hole changes less than the tables differ where one takes over from the other.
        assert Ring(10, 9.5 * hole, height).stiffness_n_per_mm(1.0, axis) > k * (1.0 - 3e-4)


def test_outside_the_tables_is_flagged_wider_and_continuous():
    inside, outside = Pad(10, 10 / 31.9), Pad(10, 10 / 32.1)
    assert inside.covered
    assert not outside.covered
    assert inside.offset_sd() == Pad.inside_sd
    assert outside.offset_sd() == Pad.outside_sd
    assert any("outside the finite-element tables" in text for text in outside.warnings())
    assert not any("outside" in text for text in inside.warnings())
    assert outside.stiffness_n_per_mm(1.0) == pytest.approx(inside.stiffness_n_per_mm(1.0), rel=0.03)
    for far in (Bush(10, 9.5, 5), Bush(10, 1, 5), Bush(10, 5, 60), Strut(4, length_mm=80), Ring(10, 9.5, 2)):
        assert far.offset_sd() == Pad.outside_sd
        assert far.warnings()


def test_frictionless_faces_are_less_certain_than_bonded_ones():
    assert Pad(10, 5, bonded=False).offset_sd() > Pad(10, 5).offset_sd()
    assert any("friction" in text for text in Pad(10, 5, bonded=False).warnings())


def test_a_finite_bulk_modulus_softens_thin_pads_and_takes_some_damping():
    thin = Pad(24, 1)
    rigid = thin.stiffness_n_per_mm(2.0)
    soft = thin.stiffness_n_per_mm(2.0, bulk_modulus_mpa=2000.0)
    assert 0.90 < soft / rigid < 0.97
    assert thin.stiffness_n_per_mm(2.0, bulk_modulus_mpa=1e9) == pytest.approx(rigid, rel=1e-5)
    damped = thin.stiffness_n_per_mm(2.0 + 0.4j, bulk_modulus_mpa=2000.0)
    assert 0.17 < damped.imag / damped.real < 0.195
    many = thin.stiffness_n_per_mm(np.full(5, 2.0), bulk_modulus_mpa=np.full((3, 1), 2000.0))
    assert many == pytest.approx(np.full((3, 5), soft))


def test_measured_points_override_the_shape_of_the_curve():
    plain = Pad(10, 5)
    curved = Pad(10, 5, load_points=((0.25, 1.0), (0.5, 2.2), (1.0, 6.0)))
    assert curved.stiffness_n_per_mm(1.0) == pytest.approx(plain.stiffness_n_per_mm(1.0))
    ratio = curved.force_n(1.0, [0.25, 0.5, 1.0]) / curved.force_n(1.0, 0.25)
    assert ratio == pytest.approx([1.0, 2.2, 6.0])
    straight = Pad(10, 5, load_points=((1.0, 7.0),))
    assert straight.stiffness_n_per_mm(1.0, squeeze_mm=[0.0, 0.4, 2.0]) == pytest.approx(
        np.full(3, plain.stiffness_n_per_mm(1.0))
    )


def test_load_curve_passes_its_points_and_rises():
    points = ((0.5, 1.0), (1.0, 1.1), (2.0, 6.0), (2.5, 6.05))
    curve = LoadCurve(points)
    x, y = np.array(points).T
    assert curve.force_n(x) == pytest.approx(y)
    fine = np.linspace(0.0, 4.0, 4001)
    assert (np.diff(curve.force_n(fine)) > 0.0).all()
    middle = (fine[1:] + fine[:-1]) / 2.0
    assert np.diff(curve.force_n(fine)) / np.diff(fine) == pytest.approx(curve.stiffness_n_per_mm(middle), abs=0.02)


def test_a_squeezed_strut_loses_lateral_stiffness_until_it_buckles():
    strut = Strut(8, length_mm=40)
    k0, k1 = strut.stiffness_n_per_mm(1.0, "lateral", squeeze_mm=[0.0, 0.4])
    share = 1.0 - 0.4 / (strut.buckling_share * 40.0)
    assert k1 / k0 == pytest.approx(share)
    # Euler's strain of a slender leg whose ends stay parallel: pi^2 rho^2 / L^2.
    assert Strut(1, length_mm=50).buckling_share == pytest.approx(math.pi**2 / 16 / 2500, rel=0.01)
    assert any("buckles" in text for text in strut.warnings())


def test_a_full_print_lying_down_is_the_solid_strut():
    solid, printed = Strut(10, 4, 25), PrintedStrut(10, 4, 25, infill_share=1.0, build="lying")
    for axis in ("axial", "lateral"):
        assert printed.stiffness_n_per_mm(1.0, axis) == pytest.approx(solid.stiffness_n_per_mm(1.0, axis), rel=1e-9)


def test_infill_weighs_by_pattern_and_the_wall_matters_more_sideways():
    solid = PrintedStrut(10, 0, 40, build="lying")
    ks = {}
    for pattern in ("stretch", "mixed", "bend"):
        form = PrintedStrut(10, 0, 40, wall_mm=1.0, infill_share=0.25, pattern=pattern, build="lying")
        ks[pattern] = [form.stiffness_n_per_mm(1.0, a) / solid.stiffness_n_per_mm(1.0, a) for a in form.axes]
        assert ks[pattern][0] == pytest.approx(form.beam_share["axial"], rel=0.03)
        ks[pattern].append(form.beam_share["axial"])
    # By area: wall 36 %, core 64 % with 0.25, 0.125, 0.0625.
    assert [ks[p].pop() for p in ks] == pytest.approx([0.52, 0.44, 0.40])
    assert all(sideways > along for along, sideways in ks.values())
    upright = PrintedStrut(10, 0, 40, build="upright").stiffness_n_per_mm(1.0)
    assert 0.7 <= upright / solid.stiffness_n_per_mm(1.0) < 1.0


def test_a_taper_of_equal_ends_is_a_pad_and_a_steep_one_is_between_its_ends():
    for axis in ("axial", "shear"):
        pad = Pad(10, 8).stiffness_n_per_mm(1.0, axis)
        assert Taper(10, 10, 8).stiffness_n_per_mm(1.0, axis) == pytest.approx(pad, rel=1e-3)
        cone = Taper(12, 8, 8).stiffness_n_per_mm(1.0, axis)
        assert Pad(8, 8).stiffness_n_per_mm(1.0, axis) < cone < Pad(12, 8).stiffness_n_per_mm(1.0, axis)
        assert Taper(8, 12, 8).stiffness_n_per_mm(1.0, axis) == pytest.approx(cone)


def test_forms_without_geometry_leave_the_scale_to_readings():
    for form in (Measured(), CableLoop(30, ((1, 2),))):
        assert not form.has_geometry
        assert form.made_of_sd("axial", "silicone") == UNKNOWN_SD
    assert Measured(shear_share=0.4).stiffness_n_per_mm(1.0, "shear") == 0.4
    assert CableLoop(30, ((1, 2), (3, 5))).stiffness_n_per_mm(1.0, squeeze_mm=3.0) < 2.0


@pytest.mark.parametrize("share", [0.001, 0.05, 0.15])
def test_what_a_finite_bulk_modulus_takes_is_what_the_stiffness_says(share):
    pad = Pad(diameter_mm=20, height_mm=5)
    for axis in ("axial", "shear"):
        want = pad.stiffness_n_per_mm(share, axis, bulk_modulus_mpa=1.0) / pad.stiffness_n_per_mm(share, axis)
        assert np.exp(pad.ln_bulk_softening(axis, np.log(share), 1.0)) == pytest.approx(want, rel=1e-12)
    # Across it only the shear modulus of a given Young's modulus changes: E / (3 - E / 3B).
    assert 0.0 < pad.ln_bulk_softening("shear", np.log(share), 1.0) < -np.log(1.0 - share / 9.0)
