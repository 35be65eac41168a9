"""Twist angles of the torsion test against the standards' figures."""

import pytest

from matdb.material.low_temperature import twist_at_modulus_ratio


def test_twist_at_t2_t5_t10_t100():
    # ISO 1432 and ASTM D1053, table of twist angles for 150 degrees at 23 degC (from memory).
    got = twist_at_modulus_ratio([2.0, 5.0, 10.0, 100.0], 150.0)
    assert got == pytest.approx([128.6, 90.0, 60.0, 8.6], abs=0.05)
