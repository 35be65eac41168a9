"""The median and the ends of a result's draws."""

import math

import numpy as np
import pytest
from scipy.stats.mstats import hdquantiles

from matdb.curve.band import band


def test_the_median_is_that_of_the_published_weights():
    # Harrell and Davis, Biometrika 69 (1982) 635, in a general library; ours leaves out weights below a hundredth.
    draws = np.random.default_rng(1).lognormal(size=400)
    assert band(draws).median == pytest.approx(float(hdquantiles(draws, [0.5])[0]), rel=2e-3)


def test_ends_are_those_of_the_linear_rule():
    draws = np.random.default_rng(2).normal(size=(400, 3))
    low, high = np.quantile(draws, [0.025, 0.975], axis=0)
    got = band(draws)
    np.testing.assert_allclose([got.low, got.high], [low, high], rtol=1e-12)


@pytest.mark.parametrize("n", [1, 2, 3, 4, 400, 401])
def test_symmetric_draws_have_their_centre_as_median(n):
    draws = 5.0 + np.linspace(-1.0, 1.0, n) if n > 1 else np.array([5.0])
    assert band(draws).median == pytest.approx(5.0, rel=1e-12)


def test_one_column_does_not_change_another():
    draws = np.random.default_rng(3).normal(size=(100, 2))
    alone = band(draws[:, :1]).median[0]
    draws[:70, 1] = math.inf
    got = band(draws)
    assert got.median[0] == pytest.approx(alone, rel=1e-12)
    assert got.median[1] == math.inf


def test_the_median_moves_smoothly_where_a_middle_draw_jumps():
    # Curves that cross: the middle draw alone changes hands at every crossing.
    t = np.linspace(0.0, 1.0, 201)
    rng = np.random.default_rng(4)
    draws = np.exp(rng.normal(size=(400, 1)) * np.sin(3.0 * t + rng.uniform(0.0, 6.0, (400, 1))))

    def roughness(values):
        return float(np.abs(np.diff(np.log(values), 2)).sum())

    assert roughness(band(draws).median) < 0.5 * roughness(np.median(draws, axis=0))


def test_a_column_does_not_depend_on_its_neighbours():
    # To the last digit: a ranking of many parts is one array, and their order must not matter.
    samples = np.random.default_rng(3).lognormal(size=(100, 40))
    whole = band(samples)
    order = np.random.default_rng(4).permutation(40)
    for shuffled in (samples[:, order], np.ascontiguousarray(samples[:, order]), np.asfortranarray(samples[:, order])):
        found = band(shuffled)
        for name in ("median", "low", "high"):
            assert np.array_equal(getattr(found, name), getattr(whole, name)[order])
    assert np.array_equal(band(samples[:, :7]).median, whole.median[:7])
