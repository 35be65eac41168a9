"""The fit: prior and evidence to weighed laws and draws."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

import numpy as np

from matdb.arrays import Array, Whole
from matdb.curve.evidence import GROUPS, Evidence
from matdb.curve.parameters import DIMENSION, LAWS, PIECE_SD, WLF, WLF_ARRHENIUS
from matdb.curve.prior import EXCEPTIONS, FACT_HZ, Prior, ln_modulus
from matdb.curve.sampler import Population, evenly_by_weight, temper
from matdb.curve.tolerance import ln_tolerant, tolerant_slope
from matdb.material.shift import ZERO_C

#: Particles, rounds of them that are kept, and draws that are kept of those.
PARTICLES: Final = 600
_KEPT: Final = 8
DRAWS: Final = 400
#: Particles of the prior that say what each model has of it.
PRIOR_PARTICLES: Final = 1200
#: Scale of the model's own misfit, ln of modulus (half-normal).
MISFIT_SCALE: Final = 0.016

#: The models: each shift law with and without skew, by the name that reports give it, and its weight beforehand. The
#: skewed curve is the usual one; the plain one is kept for data that cannot tell.
VARIANTS: Final = tuple((law, skewed) for law in range(len(LAWS)) for skewed in (True, False))
NAMES: Final = tuple(tuple(LAWS)[law] + ("" if skewed else ", four parameters") for law, skewed in VARIANTS)
_WEIGHT: Final = np.array([0.75 if skewed else 0.25 for _, skewed in VARIANTS]) / len(LAWS)
_LAW, _SKEWED = np.array(VARIANTS).T
#: Where the WLF law becomes Arrhenius' far above is one coordinate more: all others mean the same.
_ALIKE: Final = np.array([VARIANTS.index((WLF if law == WLF_ARRHENIUS else law, skewed)) for law, skewed in VARIANTS])
#: Candidates for each particle of the fit, and for the prior's draws at most.
_STARTS: Final = 14
_MOST_CANDIDATES: Final = 100_000
#: Where draws must stand for all of them, K, and cuts along the two directions in which they differ most.
_SPREAD_AT_K: Final = tuple(celsius + ZERO_C for celsius in (-20.0, 0.0, 23.0, 45.0))
_SLABS, _RODS = 10, 8


def draws_of(prior: Prior, u: Array, model: Any) -> Array:
    """The curve's parameters from the sampler's coordinates, and an index into ``VARIANTS`` or one a draw."""
    return prior.draws(u[:, :DIMENSION], _LAW[model], skewed=_SKEWED[model].astype(bool))


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
    softening : ndarray, shape (n, 3) or (n, 0)
        Share of the modulus that amplitude takes away, critical strain, power of loss, where amplitudes tell of them.
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
    from scipy.special import ndtr, ndtri

    start = DIMENSION + contrasts.shape[1]
    offsets = _heavy(u[:, DIMENSION:start] @ contrasts.T) * evidence.specimen_sd
    noise = np.exp(np.array(list(GROUPS.values())) * u[:, start : start + len(GROUPS)])
    # Half-normal, one value of the coordinate for each.
    misfit = -MISFIT_SCALE * ndtri(0.5 * ndtr(-u[:, [start + len(GROUPS)]]))
    shared = u[:, start + len(GROUPS) + 1 :]
    places = np.cumsum([len(evidence.sessions), evidence.pieces, len(evidence.turns), 3 * evidence.softens])
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
def _prior_layer(prior: Prior, extra_sd: float, particles: int, seed: int) -> tuple[Population, Array]:
    """Draws of the family prior, each model by its weight, and what ln density each must have for it.

    Draws are chosen from candidates by how well they agree with the facts, from more of them where few do.
    """
    rng, counts = np.random.default_rng([seed, 1]), _shares(_WEIGHT, particles)
    # The same candidates for all models, so that chance says little of which agrees better.
    u, log_weight = np.zeros((0, DIMENSION)), np.zeros((len(VARIANTS), 0))
    while len(u) < _MOST_CANDIDATES:
        more = rng.standard_normal((max(len(u), 2 * particles), DIMENSION))
        agree = [prior.fact_log_likelihood(draws_of(prior, more, k), extra_sd) for k in range(len(VARIANTS))]
        u, log_weight = np.concatenate([u, more]), np.hstack([log_weight, agree])
        weight = np.exp(log_weight - log_weight.max(axis=1, keepdims=True))
        if (weight.sum(axis=1) ** 2 > counts * (weight**2).sum(axis=1)).all():
            break
    chosen = [u[evenly_by_weight(w, count, rng)] for w, count in zip(weight, counts, strict=True)]
    ln_size = log_weight.max(axis=1) + np.log(weight.mean(axis=1))
    return Population(np.concatenate(chosen), np.repeat(np.arange(len(VARIANTS)), counts)), np.log(_WEIGHT) - ln_size


def prior_population(
    prior: Prior, seed: int = 0, extra_sd: float = 0.0, draws: int = DRAWS, particles: int = 4 * PRIOR_PARTICLES
) -> Posterior:
    """Draws of the family prior: what is answered without readings."""
    first, _ = _prior_layer(prior, extra_sd, particles, seed)
    alike = np.ones(len(first.u))
    curve = draws_of(prior, first.u, first.model)
    curve, u = _representative(curve, first.u, alike, draws, np.random.default_rng([seed, 4]))
    none = np.zeros((len(u), 0))
    weights = dict(zip(NAMES, _WEIGHT.tolist(), strict=True))
    return Posterior(curve, none, np.ones((len(u), len(GROUPS))), np.zeros(len(u)), none, none, none, weights, {}, u)


def fit_posterior(
    prior: Prior,
    evidence: Evidence,
    *,
    seed: int = 0,
    particles: int = PARTICLES,
    draws: int = DRAWS,
    progress: Callable[[float], None] | None = None,
) -> Posterior:
    """Sample the posterior of all models at once, each in proportion to its evidence.

    Parameters
    ----------
    prior, evidence
        What is known before and from readings (at least one row).
    seed : int
        Same seed, same readings: the same answer to the last digit.
    particles, draws : int
        Particles in all; draws that are kept.
    progress : callable, optional
        Called with the share done, 0 to 1.
    """
    from threadpoolctl import threadpool_limits

    contrasts = evidence.contrasts()

    facts = len(prior.facts(evidence.common_sd))

    def density(u: Array, model: Whole) -> tuple[Array, Array]:
        curve = draws_of(prior, u, model)
        known = prior.fact_residuals(curve, evidence.common_sd)
        read = evidence.residuals(curve, *unpack(prior, evidence, contrasts, u))
        return ahead[model] - 0.5 * np.sum(u**2, axis=1), np.hstack([known, read])

    def tempered(terms: Array, power: float) -> Array:
        known = ln_tolerant(terms[:, :facts], *EXCEPTIONS).sum(axis=1)
        return np.asarray(known + evidence.ln_tempered(terms[:, facts:], power))

    def slope(terms: Array, power: float) -> Array:
        known = tolerant_slope(terms[:, :facts], *EXCEPTIONS)
        return np.hstack([known, evidence.ln_tempered_slope(terms[:, facts:], power)])

    _, ahead = _prior_layer(prior, evidence.common_sd, PRIOR_PARTICLES, seed)
    rng, counts = np.random.default_rng([seed, 2]), _shares(_WEIGHT, _STARTS * particles)
    u = rng.standard_normal((_STARTS * particles, DIMENSION + contrasts.shape[1] + len(GROUPS) + 1 + evidence.shared))
    start = Population(u, np.repeat(np.arange(len(VARIANTS)), counts))
    # Drawn by a model's weight, so that the density of each counts for itself.
    ln_start = np.log(_WEIGHT)[start.model] - 0.5 * np.sum(u**2, axis=1)
    # Many small products: sharing them out takes longer than they do, and how they are shared out moves last digits.
    with threadpool_limits(1, user_api="blas"):
        found = temper(
            start,
            ln_start,
            density,
            rng,
            particles=particles,
            tempered=tempered,
            slope=slope,
            alike=_ALIKE,
            keep=_KEPT,
            progress=progress,
        )
    share = found.share
    weight = (share / np.maximum(np.bincount(found.model, minlength=len(VARIANTS)), 1))[found.model]
    curve, u = _representative(draws_of(prior, found.u, found.model), found.u, weight, draws, rng)
    offsets, noise, misfit, drift, soft, rest = unpack(prior, evidence, contrasts, u)
    # A model that died out explains the readings worse than one that kept a single particle.
    log_evidence = found.log_evidence + np.log(np.maximum(share, 1.0 / particles) / _WEIGHT)
    return Posterior(
        curve,
        offsets,
        noise,
        misfit[:, 0],
        drift,
        soft,
        rest,
        dict(zip(NAMES, share.tolist(), strict=True)),
        dict(zip(NAMES, log_evidence.tolist(), strict=True)),
        u,
    )


def _representative(
    curve: Array, u: Array, weight: Array, wanted: int, rng: np.random.Generator
) -> tuple[Array, Array]:
    """``wanted`` of many weighted draws and their coordinates, evenly from all cells of what they predict.

    Cells are cut along the directions in which ln E and ln of the loss factor at some states differ most, so that
    means and bands of a few draws are those of all.
    """
    value = ln_modulus(curve, np.array(_SPREAD_AT_K), np.full(len(_SPREAD_AT_K), FACT_HZ))
    asked = np.nan_to_num(np.hstack([value.real, np.log(np.maximum(np.tan(value.imag), 1e-9))]))
    asked = (asked - asked.mean(axis=0)) / np.maximum(asked.std(axis=0), 1e-9)
    # Two models may say the same of one place: rounded, so that no last digit decides which comes first.
    first, second, third = np.round(asked @ np.linalg.eigh(asked.T @ asked)[1][:, :-4:-1], 9).T
    slabs = np.array_split(np.argsort(first, kind="stable"), _SLABS)
    rods = [rod for slab in slabs for rod in np.array_split(slab[np.argsort(second[slab], kind="stable")], _RODS)]
    order = np.concatenate([rod[np.argsort(third[rod], kind="stable")] for rod in rods])
    upto = np.cumsum(weight[order])
    place = (np.arange(wanted) + rng.random(wanted)) / wanted * upto[-1]
    chosen = order[np.searchsorted(upto, place, side="right").clip(max=len(u) - 1)]
    return curve[chosen], u[chosen]


def _shares(weights: Array, total: int) -> Whole:
    """Whole numbers in proportion to the weights that add up to ``total`` (largest remainders)."""
    exact = weights / weights.sum() * total
    count = np.floor(exact).astype(np.int64)
    count[np.argsort(count - exact, kind="stable")[: total - int(count.sum())]] += 1
    return np.asarray(count)
