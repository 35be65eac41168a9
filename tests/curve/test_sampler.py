"""The sampler against cases with closed answers."""

import math

import numpy as np
import pytest

from matdb.curve.sampler import Population, temper


def standard(u):
    return -0.5 * np.sum(u**2, axis=1)


def start(n, d, seed=0):
    u = np.random.default_rng(seed).standard_normal((n, d))
    return Population(u, standard(u))


def test_normal_times_normal_has_the_closed_mean_spread_and_evidence():
    # N(0, 1) prior in six dimensions, one reading of the first two with known noise.
    sd, seen = 0.1, np.array([1.5, -0.5])

    def layer(u):
        return np.sum(-0.5 * ((u[:, :2] - seen) / sd) ** 2 - math.log(sd * math.sqrt(2 * math.pi)), axis=1)

    done = temper(start(1500, 6), standard, layer, np.random.default_rng(1))
    spread = sd / math.sqrt(1 + sd**2)
    assert done.u[:, 0].mean() == pytest.approx(1.5 / (1 + sd**2), abs=0.02)
    assert done.u[:, 1].mean() == pytest.approx(-0.5 / (1 + sd**2), abs=0.02)
    assert done.u[:, 0].std() == pytest.approx(spread, rel=0.12)
    assert done.u[:, 3].std() == pytest.approx(1.0, abs=0.08)
    evidence = sum(-0.5 * x**2 / (1 + sd**2) - 0.5 * math.log(2 * math.pi * (1 + sd**2)) for x in seen)
    assert done.log_evidence == pytest.approx(evidence, abs=0.25)


def test_two_peaks_are_both_kept_in_proportion():
    def layer(u):
        left = -0.5 * ((u[:, 0] + 1.5) / 0.1) ** 2
        right = -0.5 * ((u[:, 0] - 1.5) / 0.1) ** 2 + math.log(2.0)
        return np.logaddexp(left, right)

    shares = [
        float((temper(start(1000, 3, k), standard, layer, np.random.default_rng(k)).u[:, 0] > 0).mean())
        for k in range(6)
    ]
    assert np.mean(shares) == pytest.approx(2.0 / 3.0, abs=0.07)


def test_same_seed_same_draws():
    def layer(u):
        return -0.5 * ((u[:, 0] - 1.0) / 0.2) ** 2

    first = temper(start(200, 4), standard, layer, np.random.default_rng(3))
    again = temper(start(200, 4), standard, layer, np.random.default_rng(3))
    assert np.array_equal(first.u, again.u)
    assert first.log_evidence == again.log_evidence
