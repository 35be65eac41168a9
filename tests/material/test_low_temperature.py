"""The torsion test's angles."""

import numpy as np
import pytest

from matdb.errors import InputError
from matdb.material.low_temperature import modulus_ratio_from_twist, twist_at_modulus_ratio


def test_there_and_back():
    ratio = np.array([1.0, 2.0, 7.0, 100.0])
    assert modulus_ratio_from_twist(twist_at_modulus_ratio(ratio, 165.0), 165.0) == pytest.approx(ratio)
    assert float(twist_at_modulus_ratio(1.0, 165.0)) == pytest.approx(165.0)


@pytest.mark.parametrize("angle", [0.0, 180.0, -5.0, float("nan")])
def test_an_angle_out_of_range_is_refused(angle):
    with pytest.raises(InputError, match="twist"):
        modulus_ratio_from_twist(angle, 150.0)


def test_a_ratio_out_of_range_is_refused():
    with pytest.raises(InputError, match="ratio"):
        twist_at_modulus_ratio(0.0, 150.0)
