"""The fit: prior and evidence to weighed laws and draws."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from matdb.curve.evidence import GROUPS, Evidence
from matdb.curve.parameters import LAWS
from matdb.curve.prior import DIMENSION, Prior
from matdb.curve.sampler import Population, temper

__all__ = ["DRAWS", "PARTICLES", "Posterior", "fit_posterior", "prior_population"]

Array = NDArray[np.float64]

#: Particles of one run, and draws kept of all laws together.
PARTICLES: Final = 800
DRAWS: Final = 400
#: ln standard deviation of the learned noise factors: benches differ little, laboratories much.
_NOISE_SPREAD: Final = (0.2, 0.2, 0.8, 0.8, 0.2)
#: Scale of the model's own misfit, ln of modulus (half-normal).
MISFIT_SCALE: Final = 0.016


@dataclass(frozen=True)
class Variant:
    """One model: a shift law with or without skew."""

    law: int
    skewed: bool

    @property
    def name(self) -> str:
        return LAWS[self.law] + ("" if self.skewed else ", four parameters")


VARIANTS: Final = tuple(Variant(law, skewed) for law in range(len(LAWS)) for skewed in (True, False))
#: The skewed curve is the usual one; the plain one is kept for data that cannot tell.
_PRIOR_WEIGHT: Final = {True: 0.75, False: 0.25}


@dataclass(frozen=True, eq=False)
class Posterior:
    """Draws of the posterior, laws mixed by their weights.

    Attributes
    ----------
    draws : ndarray, shape (n, 12)
        Curve parameters.
    offsets : ndarray, shape (n, specimens)
        ln offsets of the specimens, weighted mean zero.
    noise : ndarray, shape (n, groups)
        Noise factors.
    misfit : ndarray, shape (n,)
        ln standard deviation of the model's own misfit.
    weights : dict
        Posterior weight of each variant.
    log_evidence : dict
        ln evidence of each variant.
    coordinates : ndarray, shape (n, d)
        Standard-normal coordinates, for telling what came from the data.
    """

    draws: Array
    offsets: Array
    noise: Array
    misfit: Array
    weights: dict[str, float]
    log_evidence: dict[str, float]
    coordinates: Array


def unpack(evidence: Evidence | None, contrasts: Array, u: Array) -> tuple[Array, Array, Array]:
    """Offsets, noise factors and misfit from the coordinates after the curve's own."""
    k = contrasts.shape[1]
    offsets = _heavy(u[:, DIMENSION : DIMENSION + k] @ contrasts.T)
    if evidence is not None and k:
        offsets = offsets * evidence.specimen_sd
    start = DIMENSION + k
    noise = np.exp(np.array(_NOISE_SPREAD) * u[:, start : start + len(GROUPS)])
    misfit = MISFIT_SCALE * np.abs(u[:, [start + len(GROUPS)]])
    return offsets, noise, misfit


def _heavy(z: Array) -> Array:
    """Student's t with three degrees of freedom from a standard normal [1]_.

    A part that is built otherwise than its drawing says must be able to differ far more than tolerances would have it.

    References
    ----------
    .. [1] D. L. Wallace, Ann. Math. Stat. 30 (1959) 1121 (normalising transformation of t, inverted; from memory).
    """
    nu = 3.0
    stretch = (8.0 * nu + 3.0) / (8.0 * nu + 1.0)
    # Scaled so that the central two thirds are those of the normal.
    return np.asarray(0.85 * np.sign(z) * np.sqrt(nu * np.expm1(np.minimum((z / stretch) ** 2, 80.0) / nu)))


@lru_cache(maxsize=64)
def _prior_layer(
    prior: Prior, law: int, skewed: bool, extra_sd: float, particles: int, seed: int
) -> tuple[Array, Array]:
    rng = np.random.default_rng([seed, law, int(skewed), 1])
    u = rng.standard_normal((particles, DIMENSION))
    start = Population(u, -0.5 * np.sum(u**2, axis=1))
    done = temper(
        start,
        lambda v: -0.5 * np.sum(v**2, axis=1),
        lambda v: prior.fact_log_likelihood(prior.draws(v, law, skewed=skewed), extra_sd),
        rng,
    )
    return done.u, done.base


def prior_population(prior: Prior, seed: int = 0, extra_sd: float = 0.0, draws: int = DRAWS) -> Posterior:
    """Draws of the family prior: what is answered without readings."""
    kept, used = [], []
    total = sum(_PRIOR_WEIGHT[v.skewed] for v in VARIANTS)
    weights = {v.name: _PRIOR_WEIGHT[v.skewed] / total for v in VARIANTS}
    for variant, n in zip(VARIANTS, _shares(list(weights.values()), draws), strict=True):
        u, _ = _prior_layer(prior, variant.law, variant.skewed, extra_sd, PARTICLES, seed)
        chosen = u[_evenly(len(u), n)]
        kept.append(prior.draws(chosen, variant.law, skewed=variant.skewed))
        used.append(chosen)
    n = sum(map(len, kept))
    return Posterior(
        np.concatenate(kept),
        np.zeros((n, 0)),
        np.ones((n, len(GROUPS))),
        np.zeros(n),
        weights,
        {},
        np.concatenate(used),
    )


def fit_posterior(
    prior: Prior,
    evidence: Evidence,
    *,
    seed: int = 0,
    particles: int = PARTICLES,
    draws: int = DRAWS,
    progress: Callable[[float], None] | None = None,
) -> Posterior:
    """Sample the posterior of every variant, weigh them by evidence, mix their draws.

    Parameters
    ----------
    prior, evidence
        What is known before and from readings (at least one row).
    seed : int
        Same seed, same readings: the same answer to the last digit.
    particles, draws : int
        Particles of each run; draws kept in total.
    progress : callable, optional
        Called with the share done, 0 to 1.
    """
    contrasts = evidence.contrasts()
    extra = evidence.common_sd
    width = contrasts.shape[1] + len(GROUPS) + 1
    runs: list[Population] = []
    for index, variant in enumerate(VARIANTS):
        first, base = _prior_layer(prior, variant.law, variant.skewed, extra, particles, seed)
        rng = np.random.default_rng([seed, variant.law, int(variant.skewed), 2])
        rest = rng.standard_normal((particles, width))
        start = Population(np.hstack([first, rest]), base - 0.5 * np.sum(rest**2, axis=1))

        def before(u: Array, v: Variant = variant) -> Array:
            facts = prior.fact_log_likelihood(prior.draws(u[:, :DIMENSION], v.law, skewed=v.skewed), extra)
            return np.asarray(facts - 0.5 * np.sum(u**2, axis=1))

        def layer(u: Array, v: Variant = variant) -> Array:
            curve = prior.draws(u[:, :DIMENSION], v.law, skewed=v.skewed)
            return evidence.log_likelihood(curve, *unpack(evidence, contrasts, u))

        def report(share: float, index: int = index) -> None:
            if progress is not None:
                progress((index + share) / len(VARIANTS))

        runs.append(temper(start, before, layer, rng, progress=report))
    score = np.array([r.log_evidence + math.log(_PRIOR_WEIGHT[v.skewed]) for r, v in zip(runs, VARIANTS, strict=True)])
    weight = np.exp(score - score.max())
    weight /= weight.sum()
    kept: list[tuple[Array, Array, Array, Array, Array]] = []
    for run, variant, n in zip(runs, VARIANTS, _shares(list(weight), draws), strict=True):
        u = run.u[_evenly(particles, n)]
        offsets, noise, misfit = unpack(evidence, contrasts, u)
        kept.append(
            (
                prior.draws(u[:, :DIMENSION], variant.law, skewed=variant.skewed),
                offsets,
                noise,
                misfit[:, 0],
                u,
            )
        )
    columns = [np.concatenate(c) for c in zip(*kept, strict=True)]
    return Posterior(
        columns[0],
        columns[1],
        columns[2],
        columns[3],
        {v.name: float(w) for v, w in zip(VARIANTS, weight, strict=True)},
        {v.name: float(r.log_evidence) for v, r in zip(VARIANTS, runs, strict=True)},
        columns[4],
    )


def _evenly(n: int, wanted: int) -> NDArray[np.int64]:
    """``wanted`` indices spread evenly over ``n`` equally weighted particles."""
    return (np.arange(wanted) * n // max(wanted, 1)).astype(np.int64)


def _shares(weights: list[float], total: int) -> list[int]:
    """Whole numbers in proportion to the weights that add up to ``total`` (largest remainders)."""
    exact = np.asarray(weights) / sum(weights) * total
    count = np.floor(exact).astype(int)
    for k in np.argsort(-(exact - count), kind="stable")[: total - int(count.sum())]:
        count[k] += 1
    return [int(c) for c in count]
