"""Geometry against values and trends published, or stated beforehand; the source stands beside each check."""

import math

import numpy as np
import pytest
from oracles.closed_form import hole_factor

from matdb.form import Bush, Pad, Ring, Strut


def apparent(form):
    """Apparent over true Young's modulus."""
    return form.stiffness_n_per_mm(1.0) * form.height_mm / form.area_mm2


@pytest.mark.parametrize(
    ("computed", "stated"),
    [
        # Converged finite elements made independently of this program, E = 1, incompressible, D = 1.
        (lambda: apparent(Pad(1, 1 / 2)), 1.5447),
        (lambda: apparent(Pad(1, 1 / 4)), 2.9552),
        (lambda: apparent(Pad(1, 1 / 8)), 8.7578),
        (lambda: apparent(Ring(1, 0.5, 0.25)), 1.7381),
        (lambda: apparent(Ring(1, 0.5, 0.125)), 2.7224),
        (lambda: 3 * Pad(1, 0.2).stiffness_n_per_mm(1.0, "shear") * 0.2 / (math.pi / 4), 0.9523),
        (lambda: 3 * Pad(1, 1.0).stiffness_n_per_mm(1.0, "shear") / (math.pi / 4), 0.7038),
        (lambda: Bush(2, 1, 1).stiffness_n_per_mm(1.0, "axial"), 2.6827),
        (lambda: Bush(2, 1, 1).stiffness_n_per_mm(1.0, "radial"), 11.464),
        (lambda: Strut(1, length_mm=3).stiffness_n_per_mm(1.0, "axial"), 0.27682),
        (lambda: Strut(1, length_mm=3).stiffness_n_per_mm(1.0, "lateral"), 0.018708),
    ],
)
def test_anchors_of_independent_finite_elements(computed, stated):
    assert computed() == pytest.approx(stated, rel=2e-4)


@pytest.mark.parametrize("shape", [0.1, 0.25, 0.5, 1.0, 2.0, 4.0, 6.0])
def test_shape_factor_trend(shape):
    # Gent & Lindley, Proc. Inst. Mech. Eng. 173 (1959) 111: Ea = E (1 + 2 S^2) (from memory); off by -6...+3 %.
    ours = apparent(Pad(1, 1 / (4 * shape)))
    assert -0.065 < (1 + 2 * shape**2) / ours - 1 < 0.035


def test_shape_factor_of_a_puck():
    # S = D / 4h: 10 mm by 5 mm is 0.5.
    assert Pad(10, 5).shape_factor == 0.5


def test_softening_factor_belongs_to_its_own_table():
    # Lindley's k = 0.57 at 60 IRHD (from memory) with the true modulus is 42 % low for a thin disc.
    ours = apparent(Pad(1, 1 / 24))
    assert (1 + 2 * 0.57 * 36) / ours - 1 == pytest.approx(-0.42, abs=0.015)


@pytest.mark.parametrize(
    ("e0", "k", "g"),
    # Lindley, Engineering Design with Natural Rubber (from memory): E0, k and G in MPa at 30, 40, 50, 60, 70 IRHD.
    [(0.92, 0.93, 0.30), (1.50, 0.85, 0.45), (2.20, 0.73, 0.64), (4.45, 0.57, 1.06), (7.35, 0.53, 1.73)],
)
def test_lindley_table_with_its_own_modulus(e0, k, g):
    # With its own E0 his formula and ours with E = 3 G agree about S = 1, where both were used; his table rounds.
    for shape in (0.75, 1.0, 1.25):
        theirs = e0 * (1 + 2 * k * shape**2)
        ours = 3 * g * apparent(Pad(1, 1 / (4 * shape)))
        assert theirs / ours == pytest.approx(1.0, abs=0.12)


def test_thin_ring_factor():
    # Constantinou, Kartoum & Kelly 1992 (from memory): F falls from 1 to 2/3; a narrow ring is a long strip,
    # Ea = 4/3 E (1 + S^2) (Gent & Lindley 1959, from memory).
    assert hole_factor([0.0, 0.999999]) == pytest.approx([1.0, 2.0 / 3.0], abs=1e-4)
    for hole in (0.1, 0.3, 0.5, 0.8):
        for shape in (4.0, 6.0):
            theirs = 4 / 3 + 2 * hole_factor(hole) * shape**2
            assert apparent(Ring(1, hole, (1 - hole) / (4 * shape))) == pytest.approx(theirs, rel=0.03)
    assert apparent(Ring(100, 87, 6.5 / 8)) == pytest.approx(4 / 3 * (1 + 16), rel=0.03)


def test_bulk_modulus():
    # Chalhoub & Kelly 1990 (from memory): Ea = E + B [1 - 2 I1(x) / (x I0(x))], x = 2 S sqrt(12 G / B).
    from scipy.special import iv

    for shape, ratio in ((4.0, 0.001), (6.0, 0.002), (6.0, 0.01)):
        x = 2 * shape * math.sqrt(12 * ratio / 3)
        theirs = 1 + (1 - 2 * iv(1, x) / (x * iv(0, x))) / ratio
        pad = Pad(1, 1 / (4 * shape))
        ours = pad.stiffness_n_per_mm(1.0, bulk_modulus_mpa=1 / ratio) * pad.height_mm / pad.area_mm2
        assert theirs / ours == pytest.approx(1.0, abs=0.03)


@pytest.mark.parametrize(("outer", "inner", "length"), [(2.0, 1.0, 1.0), (20.0, 5.0, 3.0)])
def test_bush_torsion_is_exact(outer, inner, length):
    # 4 pi G L / (1/a^2 - 1/b^2): textbook, any length, because the free ends carry no stress in torsion.
    a, b = inner / 2, outer / 2
    moment = 4 * math.pi / 3 * length / (1 / a**2 - 1 / b**2)
    assert Bush(outer, inner, length).torsional_stiffness_n_mm_per_rad(1.0) == pytest.approx(moment, rel=1e-12)


def test_long_bush():
    # 2 pi G L / ln(b/a) for a long one; Adkins & Gent 1954 (from memory) for the radial limits, long and short.
    long = Bush(20, 10, 50)
    assert long.stiffness_n_per_mm(1.0) == pytest.approx(2 * math.pi / 3 * 50 / math.log(2), rel=0.03)
    plane = 4 * math.pi * 1.25 / (1.25 * math.log(2) - 0.75) * 50 / 3
    assert 0.6 < long.stiffness_n_per_mm(1.0, "radial") / plane < 1.0
    short = Bush(20, 10, 0.8)
    thin = 80 * math.pi * 1.25 / (25 * 1.25 * math.log(2) - 9 * 0.75) * 0.8 / 3
    assert short.stiffness_n_per_mm(1.0, "radial") == pytest.approx(thin, rel=0.08)


@pytest.mark.parametrize("inner", [0.0, 0.5, 0.8])
def test_slender_strut(inner):
    # Bar and Euler-Bernoulli beam, fixed-guided: E A / L and 12 E I / L^3.
    strut = Strut(1, inner, 60)
    area, second = math.pi / 4 * (1 - inner**2), math.pi / 64 * (1 - inner**4)
    assert strut.stiffness_n_per_mm(1.0) == pytest.approx(area / 60, rel=0.005)
    assert strut.stiffness_n_per_mm(1.0, "lateral") == pytest.approx(12 * second / 60**3, rel=0.01)


def test_neo_hookean_tangent():
    # (1 + 2 lambda^-3) / 3 of a uniformly squeezed incompressible neo-Hookean body: 1.248 and 1.419.
    pad = Pad(10, 10, bonded=False)
    ratio = pad.stiffness_n_per_mm(1.0, squeeze_mm=[1.0, 1.5]) / pad.stiffness_n_per_mm(1.0)
    assert ratio == pytest.approx([1.248, 1.419], abs=5e-4)


def test_bonded_pads_stiffen_from_a_little_less_to_much_more():
    # Independent nonlinear finite elements at 10 % squeeze: 1.22 at S = 0.25 to 1.51 at S = 2.
    ratio = []
    for shape in (0.25, 2.0):
        pad = Pad(10, 10 / (4 * shape))
        ratio.append(pad.stiffness_n_per_mm(1.0, squeeze_mm=pad.height_mm / 10) / pad.stiffness_n_per_mm(1.0))
    assert ratio == pytest.approx([1.22, 1.51], abs=0.02)
    assert np.diff(ratio) > 0
