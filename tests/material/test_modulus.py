"""The modulus in real arithmetic against the complex form."""

import numpy as np
from oracles.fractional import ln_fractional_modulus

from matdb.material.modulus import ln_steady_modulus


def test_steady_vibration_in_real_arithmetic_is_the_same_modulus():
    rng = np.random.default_rng(5)
    ln_omega_tau = rng.uniform(-60.0, 60.0, (40, 50))
    shape = (rng.uniform(-3, 0, (40, 1)), rng.uniform(6, 8, (40, 1)), rng.uniform(0.05, 1, (40, 1)))
    gamma = rng.uniform(0.005, 1.0, (40, 1))
    for slope in (False, True):
        expected = ln_fractional_modulus(ln_omega_tau + 0.5j * np.pi, *shape, gamma)
        found = ln_steady_modulus(ln_omega_tau, *shape, gamma, slope=slope)
        np.testing.assert_allclose(found[0], expected[0], rtol=0, atol=1e-10)
        assert (found[1] is None) == (not slope)
        if slope:
            np.testing.assert_allclose(found[1], expected[1], rtol=0, atol=1e-10)


def test_steady_vibration_has_both_limits_however_far():
    found, slope = ln_steady_modulus(np.array([-1e5, 1e5]), 0.0, 7.0, 0.4, 0.5)
    np.testing.assert_allclose(found, [0.0, 7.0], atol=1e-9)
    np.testing.assert_allclose(slope, 0.0, atol=1e-9)
