"""Published values of shift laws, hardness and the fractional model; the source stands beside each check."""

import math

import numpy as np
import pytest

from matdb.material.hardness import (
    modulus_from_shore_a,
    modulus_from_shore_a_or_d,
    modulus_from_sphere_indentation,
    spring_force_n,
)
from matdb.material.modulus import fractional_modulus, local_loss_factor
from matdb.material.shift import (
    apparent_activation_energy,
    arrhenius_ln_shift,
    wlf_change_reference,
    wlf_ln_shift,
    wlf_log10_shift,
)


def test_wlf_universal_constants_moved_by_50_k():
    # Ferry, Viscoelastic Properties of Polymers, 3rd ed. 1980, chapter 11: 17.44/51.6 at Tg is 8.86/101.6 at Tg + 50.
    c1, c2 = wlf_change_reference(17.44, 51.6, 50.0)
    assert c1 == pytest.approx(8.857, abs=1e-3)
    assert c2 == pytest.approx(101.6, abs=1e-3)


def test_wlf_natural_rubber_moved_to_298_k():
    # Ferry 1980, Table 11-II, natural rubber T0 248 K, 8.86/101.6 (from memory).
    c1, c2 = wlf_change_reference(8.86, 101.6, 298.0 - 248.0)
    assert c1 == pytest.approx(5.938, abs=1e-3)
    assert c2 == pytest.approx(151.6, abs=1e-3)
    assert float(wlf_log10_shift(253.0, 298.0, c1, c2)) == pytest.approx(2.507, abs=1e-3)


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
    glass = wlf_change_reference(c1, c2, tg - t0)
    t = np.linspace(tg + 1.0, tg + 100.0, 12)
    direct = wlf_log10_shift(t, t0, c1, c2)
    moved = (wlf_ln_shift(t, tg, *glass) - wlf_ln_shift(t0, tg, *glass)) / math.log(10.0)
    assert moved == pytest.approx(direct, abs=1e-9), name


def test_apparent_activation_energy_of_silicone():
    # Ferry 1980, Table 11-II, poly(dimethyl siloxane) T0 303 K, 1.90/222 (from memory): 15.04 kJ/mol at 303 K.
    assert float(apparent_activation_energy(303.0, 303.0, 1.90, 222.0)) / 1e3 == pytest.approx(15.04, abs=0.02)


def test_arrhenius_shift():
    # Definition (Arrhenius): 15 kJ/mol from 298.15 to 253.15 K.
    assert math.exp(float(arrhenius_ln_shift(253.15, 298.15, 15e3))) == pytest.approx(2.932, abs=2e-3)


@pytest.mark.parametrize(("shore", "modulus"), [(30, 1.142), (50, 2.456), (70, 5.520)])
def test_modulus_from_shore_a(shore, modulus):
    # Gent, Rubber Chem. Technol. 31 (1958) 896.
    assert float(modulus_from_shore_a(shore)) == pytest.approx(modulus, abs=1e-3)


@pytest.mark.parametrize(("shore", "scale", "modulus"), [(50, "A", 3.425), (40, "D", 29.83)])
def test_modulus_from_shore_a_or_d(shore, scale, modulus):
    # Qi, Joyce, Boyce, Rubber Chem. Technol. 76 (2003) 419; the logarithm is decimal.
    assert float(modulus_from_shore_a_or_d(shore, scale)) == pytest.approx(modulus, abs=1e-2)


@pytest.mark.parametrize(
    ("shore", "scale", "force"), [(50, "A", 4.300), (100, "A", 8.050), (100, "D", 44.45), (100, "OO", 1.111)]
)
def test_spring_force(shore, scale, force):
    # ASTM D2240 (from memory).
    assert float(spring_force_n(shore, scale)) == pytest.approx(force, abs=1e-3)


def test_sphere_indentation_is_hertz():
    # Johnson, Contact Mechanics 1985, section 4.2: F = 4/3 E/(1 - nu^2) sqrt(R) d^1.5, nu = 0.5 (from memory).
    for scale, radius in (("OO", 1.195), ("OOO", 6.35)):
        e = float(modulus_from_sphere_indentation(40.0, scale))
        depth = 2.5 * 0.6
        force = 4.0 / 3.0 * e / 0.75 * math.sqrt(radius) * depth**1.5
        assert force == pytest.approx(float(spring_force_n(40.0, scale)), rel=1e-12)


def test_peak_loss_factor_of_the_fractional_zener_model():
    # Pritz, J. Sound Vib. 195 (1996) 103: alpha 0.6, modulus ratio 1000 peaks at 1.2403 where omega tau = 3.162e-3.
    wt = np.geomspace(1e-5, 1.0, 20001)
    e = fractional_modulus(1j * wt, 1.0, 1000.0, 0.6)
    loss = e.imag / e.real
    k = int(np.argmax(loss))
    # The model here puts E0 in the numerator's place, tau differs by no factor: the product stays.
    assert loss[k] == pytest.approx(1.2403, abs=5e-4)
    assert wt[k] == pytest.approx(3.162e-3, rel=0.02)


@pytest.mark.parametrize(("slope", "low_by"), [(0.1, 0.008), (0.2, 0.033), (0.3, 0.075)])
def test_local_kramers_kronig_against_the_power_law(slope, low_by):
    # A power law (i omega)^n has loss factor tan(pi n / 2) exactly.
    exact = math.tan(math.pi * slope / 2.0)
    assert 1.0 - float(local_loss_factor(slope)) / exact == pytest.approx(low_by, abs=1e-3)
