"""The decrement: inverses, amplitudes, refusals."""

import math

import pytest

from matdb.bench.decrement import damping_ratio_from_decrement, decrement_from_amplitudes, decrement_from_damping_ratio
from matdb.errors import InputError


@pytest.mark.parametrize("zeta", [0.0, 0.01, 0.3, 0.9])
def test_decrement_and_damping_ratio_are_inverse(zeta):
    assert damping_ratio_from_decrement(decrement_from_damping_ratio(zeta)) == pytest.approx(zeta, rel=1e-12)


def test_decrement_from_synthetic_peaks():
    assert decrement_from_amplitudes(8.0, 1.0, 3.0) == pytest.approx(math.log(2.0))


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ((1.0, 2.0, 1.0), "last amplitude"),
        ((0.0, 2.0, 1.0), "first amplitude"),
        ((2.0, 1.0, 0.0), "cycles"),
        ((math.nan, 1.0, 1.0), "first amplitude"),
    ],
)
def test_refusals_name_the_field(values, field):
    with pytest.raises(InputError) as caught:
        decrement_from_amplitudes(*values)
    assert caught.value.field == field
    assert "\n" not in str(caught.value)
