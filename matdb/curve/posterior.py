"""The fit: prior and evidence to weighed laws and draws."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from matdb.arrays import Array, Whole
from matdb.curve.evidence import GROUPS, Evidence
from matdb.curve.parameters import DIMENSION, LAWS, PIECE_SD
from matdb.curve.prior import Prior
from matdb.curve.sampler import Population, temper

#: Particles of one run, and draws kept of all laws together.
PARTICLES: Final = 800
DRAWS: Final = 400
#: Scale of the model's own misfit, ln of modulus (half-normal).
MISFIT_SCALE: Final = 0.016


@dataclass(frozen=True)
class Variant:
    """One model: a shift law with or without skew."""

    law: int
    skewed: bool

    @property
    def name(self) -> str:
        """The law as reports name it."""
        return tuple(LAWS)[self.law] + ("" if self.skewed else ", four parameters")

    def draws(self, prior: Prior, u: Array) -> Array:
        """The curve's parameters from the sampler's coordinates."""
        return prior.draws(u[:, :DIMENSION], self.law, skewed=self.skewed)

    def ln_facts(self, prior: Prior, extra_sd: float, u: Array) -> Array:
        """Log likelihood of what is known of the family, shape (n,)."""
        return prior.fact_log_likelihood(self.draws(prior, u), extra_sd)


VARIANTS: Final = tuple(Variant(law, skewed) for law in range(len(LAWS)) for skewed in (True, False))
#: The skewed curve is the usual one; the plain one is kept for data that cannot tell.
_PRIOR_WEIGHT: Final = {True: 0.75, False: 0.25}


@dataclass(frozen=True, eq=False)
class Posterior:
    """Draws of the posterior, laws mixed by their weights.

    Attributes
    ----------
    draws : ndarray, shape (n, 13)
        Curve parameters.
    offsets : ndarray, shape (n, specimens + pieces + turns)
        ln offsets of the specimens, weighted mean zero; of the pieces that were told, and of the other directions that
        were read, from them.
    noise : ndarray, shape (n, groups)
        Noise factors.
    misfit : ndarray, shape (n,)
        ln standard deviation of the model's own misfit.
    drift : ndarray, shape (n, sessions)
        What the thermometer of each bench session shows too much, K.
    softening : ndarray, shape (n, 2) or (n, 0)
        Share of the modulus that amplitude takes away and critical strain, where amplitudes tell of them.
    rest : ndarray, shape (n, 2) or (n, 0)
        How far and how slowly it crystallises, where a reading after a soak in the cold tells of it.
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
    drift: Array
    softening: Array
    rest: Array
    weights: dict[str, float]
    log_evidence: dict[str, float]
    coordinates: Array


def unpack(prior: Prior, evidence: Evidence, contrasts: Array, u: Array) -> tuple[Array, ...]:
    """Offsets, noise factors, misfit, thermometers, softening and rest from the coordinates after the curve's own."""
    start = DIMENSION + contrasts.shape[1]
    offsets = _heavy(u[:, DIMENSION:start] @ contrasts.T) * evidence.specimen_sd
    noise = np.exp(np.array(list(GROUPS.values())) * u[:, start : start + len(GROUPS)])
    misfit = MISFIT_SCALE * np.abs(u[:, [start + len(GROUPS)]])
    shared = u[:, start + len(GROUPS) + 1 :]
    places = np.cumsum([len(evidence.sessions), evidence.pieces, len(evidence.turns), 2 * evidence.softens])
    drift, pieces, turns, soft, rest = np.split(shared, places, axis=1)
    soft = prior.softening(soft) if evidence.softens else soft
    apart = np.hstack([PIECE_SD * pieces, evidence.turn_sd * _heavy(turns)])
    return np.hstack([offsets, apart]), noise, misfit, drift * evidence.session_sd, soft, rest


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
def _prior_layer(prior: Prior, variant: Variant, extra_sd: float, particles: int, seed: int) -> tuple[Array, Array]:
    rng = np.random.default_rng([seed, variant.law, int(variant.skewed), 1])
    u = rng.standard_normal((particles, DIMENSION))
    done = temper(Population(u, _ln_normal(u)), _ln_normal, lambda v: variant.ln_facts(prior, extra_sd, v), rng)
    return done.u, done.base


def _ln_normal(u: Array) -> Array:
    return np.asarray(-0.5 * np.sum(u**2, axis=1))


def prior_population(prior: Prior, seed: int = 0, extra_sd: float = 0.0, draws: int = DRAWS) -> Posterior:
    """Draws of the family prior: what is answered without readings."""
    total = sum(_PRIOR_WEIGHT[v.skewed] for v in VARIANTS)
    weights = {v.name: _PRIOR_WEIGHT[v.skewed] / total for v in VARIANTS}
    runs = [_prior_layer(prior, variant, extra_sd, PARTICLES, seed)[0] for variant in VARIANTS]
    curve, u = _mixed(runs, list(weights.values()), draws, lambda variant, u: (variant.draws(prior, u), u))
    n = len(curve)
    none = np.zeros((n, 0))
    return Posterior(curve, none, np.ones((n, len(GROUPS))), np.zeros(n), none, none, none, weights, {}, u)


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

    def run(index: int, variant: Variant) -> Population:
        first, base = _prior_layer(prior, variant, evidence.common_sd, particles, seed)
        rng = np.random.default_rng([seed, variant.law, int(variant.skewed), 2])
        rest = rng.standard_normal((particles, contrasts.shape[1] + len(GROUPS) + 1 + evidence.shared))
        return temper(
            Population(np.hstack([first, rest]), base + _ln_normal(rest)),
            lambda u: variant.ln_facts(prior, evidence.common_sd, u) + _ln_normal(u),
            lambda u: evidence.log_likelihood(variant.draws(prior, u), *unpack(prior, evidence, contrasts, u)),
            rng,
            progress=None if progress is None else lambda share: progress((index + share) / len(VARIANTS)),
        )

    runs = [run(index, variant) for index, variant in enumerate(VARIANTS)]
    score = np.array([r.log_evidence + math.log(_PRIOR_WEIGHT[v.skewed]) for r, v in zip(runs, VARIANTS, strict=True)])
    weight = np.exp(score - score.max())
    weight /= weight.sum()
    curve, offsets, noise, misfit, drift, soft, rest, u = _mixed(
        [run.u for run in runs],
        list(weight),
        draws,
        lambda variant, u: (variant.draws(prior, u), *unpack(prior, evidence, contrasts, u), u),
    )
    return Posterior(
        curve,
        offsets,
        noise,
        misfit[:, 0],
        drift,
        soft,
        rest,
        {v.name: float(w) for v, w in zip(VARIANTS, weight, strict=True)},
        {v.name: float(r.log_evidence) for v, r in zip(VARIANTS, runs, strict=True)},
        u,
    )


def _mixed(
    runs: list[Array], weights: list[float], draws: int, of: Callable[[Variant, Array], tuple[Array, ...]]
) -> list[Array]:
    """``of`` each variant's coordinates, taken in proportion to its weight, one variant after the other."""
    taken = [
        of(variant, u[_evenly(len(u), n)])
        for variant, u, n in zip(VARIANTS, runs, _shares(weights, draws), strict=True)
    ]
    return [np.concatenate(each) for each in zip(*taken, strict=True)]


def _evenly(n: int, wanted: int) -> Whole:
    """``wanted`` indices spread evenly over ``n`` equally weighted particles."""
    return (np.arange(wanted) * n // max(wanted, 1)).astype(np.int64)


def _shares(weights: list[float], total: int) -> list[int]:
    """Whole numbers in proportion to the weights that add up to ``total`` (largest remainders)."""
    exact = np.asarray(weights) / sum(weights) * total
    count = np.floor(exact).astype(int)
    for k in np.argsort(-(exact - count), kind="stable")[: total - int(count.sum())]:
        count[k] += 1
    return [int(c) for c in count]
