"""Twist angles of the torsion test against the standards' figures."""

import pytest

from matdb.curve.low_temperature import INDEX_RATIOS


def test_twist_at_t2_t5_t10_t100():
    # ISO 1432 and ASTM D1053, table of twist angles for 150 degrees at 23 degC (from memory).
    # The torsional modulus is proportional to (180 - theta)/theta.
    got = [180.0 / (1.0 + ratio * (180.0 - 150.0) / 150.0) for ratio in INDEX_RATIOS]
    assert got == pytest.approx([128.6, 90.0, 60.0, 8.6], abs=0.05)
