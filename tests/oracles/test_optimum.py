"""The optimiser core and the most probable parameters of a fit."""

import numpy as np
import pytest
import virtual
from oracles.optimum import Objective, least_squares, most_probable

from matdb.curve.gathering import gather
from matdb.curve.parameters import COLUMNS
from matdb.curve.posterior import VARIANTS, fit_posterior
from matdb.curve.prior import prior_of
from matdb.errors import InputError
from matdb.material.record import Material


@pytest.fixture(scope="module")
def fitted():
    readings = virtual.readings(virtual.specimen(0), virtual.DESIGNS[1], np.random.default_rng(0))
    prior = prior_of(Material(name="virtual", family="unknown"))
    evidence = gather(readings, {"virtual": virtual.PART})
    return prior, evidence, fit_posterior(prior, evidence)


def test_linear_least_squares_agrees_with_the_normal_equations():
    rng = np.random.default_rng(0)
    matrix, y = rng.standard_normal((30, 4)), rng.standard_normal(30)
    found = least_squares(lambda x: x @ matrix.T - y, np.zeros(4), scale=1.0)
    assert found.x == pytest.approx(np.linalg.lstsq(matrix, y, rcond=None)[0], rel=1e-9)
    assert found.covariance == pytest.approx(np.linalg.inv(matrix.T @ matrix), rel=1e-8)
    assert found.scaled_standard_errors == pytest.approx(
        found.standard_errors * np.sqrt(found.sum_of_squares / 26), rel=1e-12
    )


def test_a_parameter_that_nothing_depends_on_has_no_standard_error():
    found = least_squares(lambda x: np.stack([x[:, 0] - 1.0, 2.0 * x[:, 0]], axis=1), np.array([3.0, 5.0]))
    assert found.x[0] == pytest.approx(0.2)
    assert np.isinf(found.standard_errors).all()


def test_a_start_without_finite_residuals_is_refused():
    with pytest.raises(InputError, match="start"):
        least_squares(lambda x: np.log(x), np.array([-1.0]))


@pytest.mark.slow
def test_most_probable_beats_every_particle_and_is_stationary(fitted):
    prior, evidence, posterior = fitted
    best = most_probable(prior, evidence, posterior)
    objective = Objective(prior, evidence, posterior)
    of_particles = np.sum(objective.residuals(objective.particles) ** 2, axis=1)
    assert best.minimum.sum_of_squares < of_particles.min()
    rng = np.random.default_rng(0)
    nearby = best.minimum.x + 1e-3 * rng.standard_normal((200, objective.dimension))
    assert np.sum(objective.residuals(nearby) ** 2, axis=1).min() >= best.minimum.sum_of_squares


def test_sum_of_squares_differs_from_the_posterior_by_a_constant(fitted):
    prior, evidence, posterior = fitted
    objective = Objective(prior, evidence, posterior)
    # With noise and misfit that leave the scales alone, the sampler's own log posterior must agree.
    u = objective.particles[:40]
    draws, offsets = objective.parameters(u)
    stiff, loss, _, _ = evidence.predict(draws, offsets)
    z = (evidence.stiff - stiff) / objective.stiff_sd
    y = (evidence.loss - loss) / objective.loss_sd

    def tolerant(v):
        return np.log(0.98 * np.exp(-0.5 * v**2) + 0.002 * np.exp(-0.5 * (v / 10.0) ** 2))

    want = tolerant(z).sum(axis=1) + tolerant(y).sum(axis=1)
    want += prior.fact_log_likelihood(draws, evidence.common_sd) - 0.5 * np.sum(u**2, axis=1)
    got = -0.5 * np.sum(objective.residuals(u) ** 2, axis=1)
    assert got - got[0] == pytest.approx(want - want[0], abs=1e-6)


def test_most_probable_lies_among_the_draws_of_its_model(fitted):
    prior, evidence, posterior = fitted
    best = most_probable(prior, evidence, posterior, variant=VARIANTS[0])
    assert best.variant == "WLF"
    draws = posterior.draws[(posterior.draws[:, -1] == 0.0) & (posterior.draws[:, 3] != 1.0)]
    for name in ("ln_rubbery_mpa", "ln_glassy_mpa", "alpha", "glass_transition_k", "wlf_c1"):
        k = COLUMNS.index(name)
        assert abs(best.draw[k] - draws[:, k].mean()) < 3.0 * draws[:, k].std(), name
        assert 0.2 * draws[:, k].std() < best.standard_errors[name] < 5.0 * draws[:, k].std(), name
