"""Shift laws: continuity at the joints and limits."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from matdb.material.shift import arrhenius_as_wlf, wlf_ln_shift


@given(tg=st.floats(150.0, 270.0), c1=st.floats(8.0, 20.0), c2=st.floats(30.0, 120.0), above=st.floats(40.0, 150.0))
def test_value_and_slope_are_continuous_at_both_joints(tg, c1, c2, above):
    for joint in (tg, tg + above):
        t = joint + np.array([-2e-4, -1e-4, 0.0, 1e-4, 2e-4])
        ln_a = wlf_ln_shift(t, tg, c1, c2, tg + above)
        steps = np.diff(ln_a)
        assert steps == pytest.approx(np.full(4, steps[0]), rel=1e-3)


def test_below_the_glass_transition_it_is_the_tangent_arrhenius_law():
    tg, c1, c2 = 230.0, 17.44, 51.6
    over_gas = np.log(10.0) * c1 / c2 * tg**2
    t = np.array([150.0, 200.0, 229.0])
    assert wlf_ln_shift(t, tg, c1, c2) == pytest.approx(over_gas * (1.0 / t - 1.0 / tg), rel=1e-12)


def test_arrhenius_is_one_case_of_it():
    t, energy = np.array([150.0, 296.15, 300.0, 420.0]), 8.31446261815324 * 5000.0
    law = arrhenius_as_wlf(296.15, energy)
    assert wlf_ln_shift(t, *law) == pytest.approx(5000.0 * (1.0 / t - 1.0 / 296.15), rel=1e-12)


def test_shift_falls_with_temperature():
    t = np.linspace(120.0, 420.0, 400)
    assert np.all(np.diff(wlf_ln_shift(t, 230.0, 16.0, 50.0, 330.0)) < 0.0)
