"""The modulus in real arithmetic against the complex form."""

import numpy as np
from oracles.fractional import ln_fractional_modulus

from matdb.material.modulus import polar_modulus


def test_steady_vibration_in_real_arithmetic_is_the_same_modulus():
    rng = np.random.default_rng(5)
    ln_omega_tau = rng.uniform(-60.0, 60.0, (40, 50))
    shape = (rng.uniform(-3, 0, (40, 1)), rng.uniform(6, 8, (40, 1)), rng.uniform(0.05, 1, (40, 1)))
    gamma = rng.uniform(0.005, 1.0, (40, 1))
    for slope in (False, True):
        expected = ln_fractional_modulus(ln_omega_tau + 0.5j * np.pi, *shape, gamma)
        size, angle, *rise = polar_modulus(ln_omega_tau, 0.5 * np.pi, *shape, gamma, slope=slope)
        np.testing.assert_allclose(size + 1j * angle, expected[0], rtol=0, atol=1e-10)
        assert len(rise) == 2 * slope
        if slope:
            np.testing.assert_allclose(rise[0] + 1j * rise[1], expected[1], rtol=0, atol=1e-10)


def test_steady_vibration_has_both_limits_however_far():
    size, *rest = polar_modulus(np.array([-1e5, 1e5]), 0.5 * np.pi, 0.0, 7.0, 0.4, 0.5)
    np.testing.assert_allclose(size, [0.0, 7.0], atol=1e-9)
    np.testing.assert_allclose(rest, 0.0, atol=1e-9)


def test_single_precision_tells_a_soft_gel_far_below_its_glassy_limit():
    # As a difference to the glassy limit, a modulus of 1 kPa beside 3 GPa would be lost in seven digits.
    rng = np.random.default_rng(6)
    at, alpha = rng.uniform(-40.0, 10.0, 500), rng.uniform(0.1, 0.9, 500)
    law = np.full(500, np.log(1e-3)), np.full(500, np.log(3e3)), alpha, rng.uniform(0.01, 1.0, 500)
    angle = rng.uniform(1.5, 3.0, 500)
    expected, _ = ln_fractional_modulus(at + 1j * angle, *law)
    single = (each.astype(np.float32) for each in (at, angle, *law))
    size, turned, *rise = polar_modulus(*single)
    assert {each.dtype for each in (size, turned, *rise)} == {np.dtype(np.float32)}
    np.testing.assert_allclose(size + 1j * turned, expected, rtol=0, atol=2e-5)
