"""Published values of shift laws, hardness and the fractional model; the source stands beside each check."""

import math

import numpy as np
import pytest
from oracles.fractional import ln_fractional_modulus

from matdb.material.hardness import (
    modulus_from_shore_a,
    modulus_from_shore_a_or_d,
    modulus_from_sphere_indentation,
    spring_force_n,
)
from matdb.material.modulus import polar_modulus
from matdb.material.shift import GAS_CONSTANT, arrhenius_as_wlf, wlf_ln_shift


def log10_shift(t, t0, c1, c2):
    """The published form, -C1 (T - T0) / (C2 + T - T0)."""
    return -c1 * (t - t0) / (c2 + t - t0)


def law_from(t, t0, start, c1, c2):
    """Decimal logarithm of the shift from T0 to T by the law whose constants hold at ``start``."""
    return (wlf_ln_shift(t, start, c1, c2) - wlf_ln_shift(t0, start, c1, c2)) / math.log(10.0)


def test_wlf_universal_constants_moved_by_50_k():
    # Ferry, Viscoelastic Properties of Polymers, 3rd ed. 1980, chapter 11: 17.44/51.6 at Tg is 8.86/101.6 at Tg + 50.
    t = np.linspace(260.0, 350.0, 10)
    assert law_from(t, 300.0, 250.0, 17.44, 51.6) == pytest.approx(log10_shift(t, 300.0, 8.857, 101.6), abs=1e-3)


def test_wlf_natural_rubber_moved_to_298_k():
    # Ferry 1980, Table 11-II, natural rubber T0 248 K, 8.86/101.6 (from memory): 5.938/151.6 at 298 K.
    assert float(law_from(253.0, 298.0, 248.0, 8.86, 101.6)) == pytest.approx(2.507, abs=1e-3)
    assert log10_shift(253.0, 298.0, 5.938, 151.6) == pytest.approx(2.507, abs=1e-3)


@pytest.mark.parametrize(
    ("name", "t0", "c1", "c2", "tg"),
    [
        # Ferry 1980, Table 11-II (from memory): T0 and constants there, glass transition, all in K.
        ("polyisobutylene", 298.0, 8.61, 200.4, 205.0),
        ("polyurethane", 283.0, 8.86, 101.6, 238.0),
        ("styrene-butadiene", 298.0, 4.57, 113.6, 210.0),
        ("butyl", 298.0, 9.03, 201.6, 205.0),
    ],
)
def test_law_at_the_glass_transition_agrees_with_the_law_at_the_reference(name, t0, c1, c2, tg):
    # Moving the reference by dT makes C2' = C2 + dT and C1' = C1 C2 / C2'.
    at_glass = c2 + tg - t0
    t = np.linspace(tg + 1.0, tg + 100.0, 12)
    moved = law_from(t, t0, tg, c1 * c2 / at_glass, at_glass)
    assert moved == pytest.approx(log10_shift(t, t0, c1, c2), abs=1e-9), name


def test_apparent_activation_energy_of_silicone():
    # Ferry 1980, Table 11-II, poly(dimethyl siloxane) T0 303 K, 1.90/222 (from memory): 15.04 kJ/mol at 303 K.
    # Below the joint the law goes on with the energy that it has there.
    energy = GAS_CONSTANT * float(wlf_ln_shift(290.0, 303.0, 1.90, 222.0)) / (1.0 / 290.0 - 1.0 / 303.0)
    assert energy / 1e3 == pytest.approx(15.04, abs=0.02)


def test_arrhenius_shift():
    # Definition (Arrhenius): 15 kJ/mol from 298.15 to 253.15 K.
    assert math.exp(float(wlf_ln_shift(253.15, *arrhenius_as_wlf(298.15, 15e3)))) == pytest.approx(2.932, abs=2e-3)


@pytest.mark.parametrize(("shore", "modulus"), [(30, 1.142), (50, 2.456), (70, 5.520)])
def test_modulus_from_shore_a(shore, modulus):
    # Gent, Rubber Chem. Technol. 31 (1958) 896.
    assert float(modulus_from_shore_a(shore)) == pytest.approx(modulus, abs=1e-3)


@pytest.mark.parametrize(("shore", "scale", "modulus"), [(50, "A", 3.425), (40, "D", 29.83)])
def test_modulus_from_shore_a_or_d(shore, scale, modulus):
    # Qi, Joyce, Boyce, Rubber Chem. Technol. 76 (2003) 419; the logarithm is decimal.
    assert float(modulus_from_shore_a_or_d(shore, scale)) == pytest.approx(modulus, abs=1e-2)


@pytest.mark.parametrize(("shore", "force"), [(0, 0.203), (100, 1.111)])
def test_spring_force_of_a_sphere(shore, force):
    # ASTM D2240, Shore OO (from memory).
    assert float(spring_force_n(shore)) == pytest.approx(force, abs=1e-3)


def test_sphere_indentation_is_hertz():
    # Johnson, Contact Mechanics 1985, section 4.2: F = 4/3 E/(1 - nu^2) sqrt(R) d^1.5, nu = 0.5 (from memory).
    for scale, radius in (("OO", 1.195), ("OOO", 6.35)):
        e = float(modulus_from_sphere_indentation(40.0, scale))
        depth = 2.5 * 0.6
        force = 4.0 / 3.0 * e / 0.75 * math.sqrt(radius) * depth**1.5
        assert force == pytest.approx(float(spring_force_n(40.0)), rel=1e-12)


def test_peak_loss_factor_of_the_fractional_zener_model():
    # Pritz, J. Sound Vib. 195 (1996) 103: alpha 0.6, modulus ratio 1000 peaks at 1.2403 where omega tau = 3.162e-3.
    wt = np.geomspace(1e-5, 1.0, 20001)
    # The model here puts E0 in the numerator's place, tau differs by no factor: the product stays.
    law = 0.0, math.log(1000.0), 0.6, 1.0
    for angle in (
        polar_modulus(np.log(wt), 0.5 * np.pi, *law)[1],
        ln_fractional_modulus(np.log(1j * wt), *law)[0].imag,
    ):
        loss = np.tan(angle)
        k = int(np.argmax(loss))
        assert loss[k] == pytest.approx(1.2403, abs=5e-4)
        assert wt[k] == pytest.approx(3.162e-3, rel=0.02)


@pytest.mark.parametrize(("slope", "low_by"), [(0.1, 0.008), (0.2, 0.033), (0.3, 0.075)])
def test_local_kramers_kronig_against_the_power_law(slope, low_by):
    # A power law (i omega)^n has loss factor tan(pi n / 2) exactly, against pi/2 times the slope: H. C. Booij,
    # G. P. J. M. Thoone, Rheol. Acta 21 (1982) 15 (from memory). Between its plateaus the model is a power law.
    _, angle, steep, _ = polar_modulus(np.array([-12.0 / slope]), 0.5 * np.pi, -60.0, 0.0, slope, 1.0)
    assert float(steep[0]) == pytest.approx(slope, rel=1e-4)
    local = 0.5 * math.pi * float(steep[0])
    assert 1.0 - local / math.tan(float(angle[0])) == pytest.approx(low_by, abs=1e-3)
