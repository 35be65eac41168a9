"""The sampler against cases with closed answers."""

import math

import numpy as np
import pytest
from scipy.stats import norm

from matdb.curve.force import Force
from matdb.curve.sampler import Population, temper


def tempered(particles, d, layer, seed, **options):
    """A standard normal times a layer, by that many particles from four times as many candidates."""
    rng = np.random.default_rng(seed)
    start = Population(rng.standard_normal((4 * particles, d)), np.zeros(4 * particles, dtype=np.int64))

    def density(u, _):
        return -0.5 * np.sum(u**2, axis=1), layer(u)

    return temper(start, density(start.u, None)[0], density, rng, particles=particles, **options)


def test_normal_times_normal_has_the_closed_mean_spread_and_evidence():
    # N(0, 1) prior in six dimensions, one reading of the first two with known noise.
    sd, seen = 0.1, np.array([1.5, -0.5])

    def layer(u):
        return np.sum(-0.5 * ((u[:, :2] - seen) / sd) ** 2 - math.log(sd * math.sqrt(2 * math.pi)), axis=1)

    done = tempered(1500, 6, layer, 1)
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

    shares = [float((tempered(1000, 3, layer, k).u[:, 0] > 0).mean()) for k in range(6)]
    assert np.mean(shares) == pytest.approx(2.0 / 3.0, abs=0.07)


def test_same_seed_same_draws():
    def layer(u):
        return -0.5 * ((u[:, 0] - 1.0) / 0.2) ** 2

    first = tempered(200, 4, layer, 3)
    again = tempered(200, 4, layer, 3)
    assert np.array_equal(first.u, again.u)
    assert first.log_evidence == again.log_evidence


@pytest.mark.slow
def test_outliers_are_tolerated_no_more_at_a_small_power():
    """Three readings agree but for noise; the prior says that one is an outlier. Closed answer by a grid."""
    share, sd = 0.02, 0.02

    def density(z, power):
        good, bad = math.log(1.0 - share) - 0.5 * power * z**2, math.log(share / 50.0) - 0.5 * power * (z / 50.0) ** 2
        return np.logaddexp(good, bad).sum(axis=1)

    def layer(u):
        return (u[:, :1] - [2.0, 2.02, 2.03]) / sd + 40.0 * u[:, 1:2] * [1.0, 0.0, 0.0]

    x = np.linspace(-6.0, 6.0, 1201)
    grid = np.stack(np.meshgrid(x, np.linspace(-4.0, 4.0, 2001), indexing="ij"), axis=-1).reshape(-1, 2)
    want = float(np.logaddexp.reduce(density(layer(grid), 1.0) - 0.5 * (grid**2).sum(axis=1)))
    want += math.log(0.01 * 0.004 / (2.0 * math.pi))
    runs = [tempered(1000, 2, layer, k, tempered=density) for k in range(6)]
    assert np.mean([each.log_evidence for each in runs]) == pytest.approx(want, abs=0.15)


def test_rival_models_share_by_their_evidence():
    """Two models of one reading, one twice as wide and a constant worse: closed evidence of each."""
    width, less = np.array([1.0, 2.0]), np.array([0.0, 0.4])
    rng = np.random.default_rng(0)
    start = Population(rng.standard_normal((4000, 5)), np.repeat([0, 1], 2000))

    def density(u, model):
        return -0.5 * np.sum(u**2, axis=1), -0.5 * ((width[model] * u[:, 0] - 1.5) / 0.1) ** 2 - less[model]

    def of(seed):
        drawn = -0.5 * np.sum(start.u**2, axis=1)
        return temper(start, drawn, density, np.random.default_rng(seed), particles=1000, keep=4)

    evidence = [norm.pdf(1.5, 0.0, math.hypot(w, 0.1)) * math.exp(-c) for w, c in zip(width, less, strict=True)]
    runs = [of(seed) for seed in range(6)]
    want = evidence[1] / sum(evidence)
    assert np.mean([run.share[1] for run in runs]) == pytest.approx(want, abs=0.015)
    assert np.mean([run.model.mean() for run in runs]) == pytest.approx(want, abs=0.03)


def test_a_model_that_hardly_counts_keeps_particles_and_is_told_its_share():
    """Of two models of one reading the second is 40 times less likely."""
    start = Population(np.random.default_rng(0).standard_normal((4000, 5)), np.repeat([0, 1], 2000))

    def density(u, model):
        return -0.5 * np.sum(u**2, axis=1), -0.5 * ((u[:, 0] - 1.5) / 0.1) ** 2 - math.log(40.0) * model

    drawn = -0.5 * np.sum(start.u**2, axis=1)
    runs = [temper(start, drawn, density, np.random.default_rng(k), particles=1000, keep=4) for k in range(6)]
    assert all(0.03 < run.model.mean() < 0.08 for run in runs)
    assert np.mean([run.share[1] for run in runs]) == pytest.approx(1.0 / 41.0, rel=0.1)


def test_a_bent_ridge_is_walked_along():
    """A reading of y - x^2: mean and spread of both by quadrature (the banana of Haario and others 1999)."""

    def layer(u):
        return -0.5 * ((u[:, 1] - u[:, 0] ** 2 + 1.0) / 0.05) ** 2

    x = np.linspace(-4.0, 4.0, 801)
    weight = np.exp(-0.5 * x**2 - 0.5 * (x**2 - 1.0) ** 2 / (1.0 + 0.05**2))
    weight /= weight.sum()
    runs = [tempered(1000, 8, layer, k, keep=4).u for k in range(4)]
    assert np.mean([u[:, 0].std() for u in runs]) == pytest.approx(math.sqrt(weight @ x**2), rel=0.04)
    assert np.mean([u[:, 1].mean() for u in runs]) == pytest.approx(weight @ (x**2 - 1.0) / 1.0025, abs=0.04)


def test_a_flight_by_quadratic_terms_keeps_the_density_and_the_kick_in_balance():
    """Terms that are quadratic are fitted exactly: what the density gains the kick loses, but for the steps."""
    rng = np.random.default_rng(4)
    curved = rng.standard_normal((3, 4, 4))

    def terms(u):
        bent = np.einsum("ni,kij,nj->nk", u, curved, u)
        return np.column_stack([2.0 * u[:, :3] + 0.1 * bent, -0.5 * np.sum(u**2, axis=1)])

    def slope(z):
        return np.column_stack([-z[:, :3], np.ones(len(z))])

    def density(u):
        z = terms(u)
        return -0.5 * np.sum(z[:, :3] ** 2, axis=1) + z[:, 3]

    seen, u = rng.standard_normal((300, 4)), 0.4 * rng.standard_normal((60, 4))
    force = Force(slope)
    force.learn(7, u, seen, terms(seen), np.ones(300))
    kick, group = rng.standard_normal((60, 4)), np.full(60, 7)
    for part, bound in ((1.0, 0.2), (0.25, 0.02)):
        there, gain = force.fly(u, group, kick, np.array([part, 1.0]))
        assert np.linalg.norm(there - u, axis=1).mean() > 0.2
        assert np.median(np.abs(density(there) - density(u) + gain)) < bound
    assert np.isneginf(force.fly(u, np.full(60, 3), kick, np.ones(2))[1]).all()


def test_thin_sheets_are_flown_along_to_their_ends():
    """Four readings of y - x^2 each in coordinates of its own: spread of each x by quadrature."""
    sd, pairs = 0.05, 4

    def layer(u):
        return (u[:, 1 : 2 * pairs : 2] - u[:, : 2 * pairs : 2] ** 2 + 1.0) / sd

    def likelihood(z, power):
        return -0.5 * power * np.sum(z**2, axis=1)

    x = np.linspace(-4.0, 4.0, 801)
    weight = np.exp(-0.5 * x**2 - 0.5 * (x**2 - 1.0) ** 2 / (1.0 + sd**2))
    weight /= weight.sum()
    runs = [
        tempered(1000, 12, layer, k, tempered=likelihood, slope=lambda z, power: -power * z, keep=4).u for k in range(4)
    ]
    spread = np.array([u[:, : 2 * pairs : 2].std(axis=0) for u in runs])
    assert spread.mean() == pytest.approx(math.sqrt(weight @ x**2), rel=0.03)
    assert spread.min() > 0.85 * math.sqrt(weight @ x**2)
