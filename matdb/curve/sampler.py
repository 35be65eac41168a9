"""Sequential Monte Carlo: from a prior to a posterior in tempered steps, many particles at once.

It gives draws and the evidence in one run, copes with curved and many-peaked posteriors, and evaluates the likelihood
for all particles in one vectorised call. Rival models are one population: each particle belongs to one of them and may
change over, so that a model that explains the readings badly dies out early.

References
----------
.. [1] P. Del Moral, A. Doucet, A. Jasra, J. R. Stat. Soc. B 68 (2006) 411.
.. [2] S. L. Cotter, G. O. Roberts, A. M. Stuart, D. White, Stat. Sci. 28 (2013) 424 (the move: autoregressive
       proposals, here around a bent normal fitted to the particles).
.. [3] R. M. Neal, Stat. Comput. 11 (2001) 125 (the densities between need not be powers; from memory).
.. [4] H. Haario, E. Saksman, J. Tamminen, Comput. Stat. 14 (1999) 375 (a normal bent by squares, as a test density;
       from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Final

import numpy as np

from matdb.arrays import Array, Whole
from matdb.curve.force import Force

#: Of coordinates, shape (n, d), and each particle's model, (n,): see :func:`temper`.
Density = Callable[[Array, Whole], tuple[Array, Array]]

#: Share of the particles that must stay effective when the power rises, and up to which no higher one is sought.
_LEAST, _ENOUGH = 0.6, 0.63
_MOST_STEPS: Final = 60
#: Rounds of moves after each step, also while most are taken: fewer find too little of what few particles explain.
#: With a flight each so many are enough.
_ROUNDS, _ROUNDS_WITH_FLIGHTS = 6, 3
#: How long a move within a model is, drawn by chance, so that both a good and a poor fit get along.
_REACHES: Final = (0.25, 0.5, 0.8, 1.0)
#: Share of the moves that try another model, and the share of the density below which a model is left to die out.
_TRY_ANOTHER, _LEAST_SHARE = 0.2, 0.001
#: Any other has this share of the particles at least: it may have more of the density at a higher power.
_FLOOR: Final = 0.07
#: Flights go by what the last rounds of so many saw, that is likely up to about so many nepers less than is usual now;
#: by so many terms at most.
_SEEN, _TOLD_BY, _MOST_TERMS = 6, 6.0, 400
#: How readily a model is taken for another by the numbers of their particles alone.
_LEAST_FLOW: Final = 1e-3
#: So many directions, the loosest, bend the others; a model of fewer particles than this for each bend is not bent.
_LOOSE: Final = 6
_FOR_A_BEND: Final = 12
#: How many times the number of directions a model must have in particles to count as much as all others in its spread.
_LEAN: Final = 8


@dataclass(eq=False)
class Population:
    """Equally weighted particles.

    Attributes
    ----------
    u : ndarray, shape (n, d)
        Coordinates.
    model : ndarray of int, shape (n,)
        The model that each belongs to.
    log_evidence : float
        ln of the normalising constant, over all models.
    share : ndarray, shape (models,)
        What each model has of it; the particles of a model may be more or fewer.
    """

    u: Array
    model: Whole
    log_evidence: float = 0.0
    share: Array = field(default_factory=lambda: np.ones(1))


def temper(
    start: Population,
    ln_start: Array,
    density: Density,
    rng: np.random.Generator,
    *,
    particles: int,
    tempered: Callable[[Array, float], Array] = lambda terms, power: power * terms,
    slope: Callable[[Array, float], Array] | None = None,
    alike: Whole | None = None,
    keep: int = 1,
    progress: Callable[[float], None] | None = None,
) -> Population:
    """Draws of a density and the likelihood beside it.

    Parameters
    ----------
    start : Population
        Candidates, as many as the particles or far more: the more, the smaller may be what is not overlooked.
    ln_start : ndarray, shape (n,)
        The log density that they were drawn from, up to a constant.
    density : callable
        From coordinates and models: the log density without the likelihood, (n,), and the terms of the likelihood,
        (n, ...).
    rng : numpy.random.Generator
        Source of chance; the result depends on it and on the candidates' order only.
    particles : int
        How many of them go on.
    tempered : callable
        The log likelihood, (n,), from terms and power: all of it at 1, level at 0. The terms times the power by
        default; what tolerates outliers must tolerate no more of them at a small power [3]_.
    slope : callable, optional
        How the log likelihood rises with each term, (n, terms), of terms and power: with it particles fly by quadratic
        fits of the terms, which get along where a bent normal fits badly.
    alike : ndarray of int, shape (models,), optional
        A group for each model: where coordinates mean the same in two models, a particle may change over where it is.
    keep : int
        The particles after so many of the last rounds come back, one round after the other.
    progress : callable, optional
        Called with the share done, 0 to 1.

    Returns
    -------
    Population
        ``keep`` times the particles, each model by its evidence.

    Raises
    ------
    FloatingPointError
        The likelihood is a number nowhere.
    """
    models = np.arange(start.model.max() + 1)
    walk = _Walk(start, ln_start, density, tempered, slope, particles, models if alike is None else alike)
    log_evidence, kept = 0.0, list[tuple[Array, Whole, Array]]()
    for step in range(_MOST_STEPS):
        log_evidence += walk.weigh(1.0 if step == _MOST_STEPS - 1 else walk.next_power(), rng)
        rounds = _ROUNDS_WITH_FLIGHTS if walk.flies else _ROUNDS
        for _ in range(rounds if walk.power < 1.0 else max(rounds, keep)):
            walk.move(rng)
            walk.fly(rng)
            if walk.power >= 1.0:
                kept.append((walk.u.copy(), walk.model, walk.value))
        if progress is not None:
            progress(float(walk.power**0.25))  # the power grows by a factor a step
        if walk.power >= 1.0:
            break
    u, model, value = (np.concatenate(each) for each in zip(*kept[-keep:], strict=True))
    found = Population(u, model, log_evidence)
    found.share = walk.shares(found, value, rng)
    return found


class _Walk:
    """A population on its way, at one power."""

    def __init__(
        self,
        start: Population,
        ln_start: Array,
        density: Density,
        tempered: Callable[[Array, float], Array],
        slope: Callable[[Array, float], Array] | None,
        particles: int,
        alike: Whole,
    ) -> None:
        self.u, self.model, self.power = start.u, start.model, 0.0
        self._density, self._tempered, self._slope = density, tempered, slope
        self._particles, self._alike = particles, alike
        self._base, self._terms = density(self.u, self.model)
        self._force: Force | None = None
        self._lift = np.zeros(len(alike))
        self._seen = list[tuple[Array, Whole, Array, Array]]()
        self._counting = np.zeros(0, dtype=np.int64)
        if slope is not None and self._terms.shape[1] <= _MOST_TERMS:
            self._counting = self._coordinates_that_count()
            self._see(self.u, self.model, self._base, self._terms)
        # What the candidates lack of the density without readings, then of that at the power before.
        self._before = ln_start - self._base
        if not np.isfinite(self._at(self._terms, 0.0)).any():
            raise FloatingPointError("no draw gives a number at the readings")

    @property
    def flies(self) -> bool:
        """Whether there is a force at this power."""
        return self._force is not None

    @property
    def value(self) -> Array:
        """All of the log density at each particle."""
        return self._base + self._before

    def _at(self, terms: Array, power: float) -> Array:
        with np.errstate(invalid="ignore"):
            found = self._tempered(terms, power)
        # A draw whose law gives no number at a reading, far below its glass transition, cannot be the truth.
        return np.where(np.isnan(found), -np.inf, found)

    def _log_weight(self, power: float) -> Array:
        return self._at(self._terms, power) - self._before

    def next_power(self) -> float:
        """The highest power that keeps enough particles effective, or one that keeps hardly more."""

        def effective(power: float) -> float:
            found = self._log_weight(power)
            weight = np.exp(found - found.max())
            return float(weight.sum() ** 2 / (weight**2).sum()) / self._particles

        low, high = self.power, min(8.0 * self.power or 1.0, 1.0)
        while effective(high) >= _LEAST:
            if high == 1.0:
                return 1.0
            low, high = high, min(8.0 * high, 1.0)
        for _ in range(40):
            # The first powers are small, and so are their steps.
            middle = math.sqrt(low * high) if low > 0.0 else 0.1 * high
            found = effective(middle)
            low, high = (middle, high) if found >= _LEAST else (low, middle)
            if _LEAST <= found < _ENOUGH:
                break
        return max(low, self.power + 1e-9)

    def weigh(self, power: float, rng: np.random.Generator) -> float:
        """Take on another power, by choice among the particles; what that adds to the log evidence."""
        log_weight = self._log_weight(power)
        top = log_weight.max()
        weight = np.exp(log_weight - top)
        share = np.bincount(self.model, weights=weight, minlength=len(self._lift)) / weight.sum() / np.exp(self._lift)
        rise = float(top + np.log(weight.mean() * share.sum()))
        share /= share.sum()
        self._rivals = np.flatnonzero(share > _LEAST_SHARE)
        wanted = np.where(share > _LEAST_SHARE, np.maximum(share, _FLOOR), share)
        lift = np.log(np.where(share > 0.0, wanted / np.maximum(share, 1e-300), 1.0) / wanted.sum())
        weight *= np.exp(lift - self._lift)[self.model]
        self._lift = lift
        self.power, self._fit = power, _BentNormals(self.u, weight, self._alike[self.model])
        chosen = evenly_by_weight(weight, self._particles, rng)
        self.u, self.model, self._base = self.u[chosen], self.model[chosen], self._base[chosen]
        self._terms = self._terms[chosen]
        self._before = self._at(self._terms, power)
        self._white = self._fit.white(self.u, self._alike[self.model])
        self._set_force()
        return rise

    def move(self, rng: np.random.Generator) -> None:
        """One round: each particle may go elsewhere, now and then to another model."""
        n = len(self.u)
        tries = (rng.random(n) < _TRY_ANOTHER) & np.isin(self.model, self._rivals)
        model = np.where(tries, rng.choice(self._rivals, size=n), self.model)
        reach = np.where(model == self.model, rng.choice(_REACHES, size=n), 0.0)[:, None]
        white = np.sqrt(1.0 - reach**2) * self._white + reach * rng.standard_normal(self.u.shape)
        u, base, terms, likelihood, weight = self._there(white, model)
        self._see(u, model, base, terms)
        take = np.log(rng.random(n)) < weight - self._weight(self.value, self._white, self.model)
        self.model = np.where(take, model, self.model)
        self.u[take], self._white[take], self._base[take] = u[take], white[take], base[take]
        self._terms[take], self._before[take] = terms[take], likelihood[take]

    def _there(self, white: Array, model: Whole) -> tuple[Array, Array, Array, Array, Array]:
        """Coordinates, all of the density, and its weight against the bent normals."""
        u = self._fit.coloured(white, self._alike[model])
        base, terms = self._density(u, model)
        likelihood = self._at(terms, self.power)
        return u, base, terms, likelihood, self._weight(base + likelihood, white, model)

    def _weight(self, value: Array, white: Array, model: Whole) -> Array:
        tall = self._fit.ln_size[self._alike[model]] + self._lift[model]
        return np.asarray(value + 0.5 * np.sum(white**2, axis=1) + tall)

    def fly(self, rng: np.random.Generator) -> None:
        """One round by the forces, where there are any: far, and each particle in its model."""
        if self._force is None:
            return
        kin, u, counting = self._alike[self.model], self.u.copy(), self._counting
        kick, by = rng.standard_normal((len(u), len(counting))), rng.uniform((0.7, 0.6), (1.3, 1.2))
        u[:, counting], gain = self._force.fly(u[:, counting], kin, kick, by)
        base, terms = self._density(u, self.model)
        self._see(u, self.model, base, terms)
        likelihood = self._at(terms, self.power)
        take = np.log(rng.random(len(u))) < base + likelihood + gain - self.value
        self.u[take], self._base[take] = u[take], base[take]
        self._terms[take], self._before[take] = terms[take], likelihood[take]
        self._white = self._fit.white(self.u, kin)

    def shares(self, kept: Population, value: Array, rng: np.random.Generator) -> Array:
        """What each model has of the density: so that as much would go over from one to another as would come back.

        The numbers of particles tell it too, but they hang on all that happened on the way.
        """
        share = np.bincount(kept.model, minlength=len(self._alike)) / len(kept.model)
        rivals = len(self._rivals)
        flow = _LEAST_FLOW * np.tile(share[self._rivals], (rivals, 1))
        for k, own in enumerate(self._rivals.tolist()):
            rows = np.flatnonzero(kept.model == own)
            to = rng.integers(rivals, size=len(rows))
            white = self._fit.white(kept.u[rows], self._alike[kept.model[rows]])
            less = self._weight(value[rows], white, kept.model[rows])
            more = self._there(white, self._rivals[to])[-1]
            chance = np.bincount(to, weights=np.exp(np.minimum(more - less, 0.0)), minlength=rivals)
            flow[k] += chance / np.maximum(np.bincount(to, minlength=rivals), 1)
        np.fill_diagonal(flow, 0.0)
        balance = flow.T - np.diag(flow.sum(axis=1))
        balance[-1] = 1.0
        among = np.maximum(np.linalg.solve(balance, np.eye(rivals)[-1]), 0.0)
        share[self._rivals] = share[self._rivals].sum() * among / among.sum()
        share /= np.exp(self._lift)
        return np.asarray(share / share.sum())

    def _see(self, u: Array, model: Whole, base: Array, terms: Array) -> None:
        if self._counting.size:
            self._seen = [*self._seen[1 - _SEEN :], (u, self._alike[model], base, terms)]

    def _coordinates_that_count(self) -> Whole:
        """Those on which a term depends in any model."""
        d, some = self.u.shape[1], min(4, len(self.u))
        models = np.unique(self.model)
        near = np.tile(self.u[:some], (len(models), d + 1, 1, 1))
        near[:, np.arange(d), :, np.arange(d)] += 0.3
        terms = self._density(near.reshape(-1, d), np.repeat(models, (d + 1) * some))[1]
        terms = np.nan_to_num(terms).reshape(*near.shape[:3], -1)
        return np.flatnonzero((terms[:, :-1] != terms[:, -1:]).any(axis=(0, 2, 3)))

    def _set_force(self) -> None:
        slope, power = self._slope, self.power
        if slope is None or not self._seen:
            return
        u, group, base, terms = (np.concatenate(each) for each in zip(*self._seen, strict=True))
        value, now, kin = self._at(terms, power) + base, self.value, self._alike[self.model]
        usable = np.isfinite(value) & np.isfinite(terms).all(axis=1)
        # What is no likelihood is one term more.
        terms = np.column_stack([terms, base])

        def rise(each: Array) -> Array:
            return np.column_stack([slope(each[:, :-1], power), np.ones(len(each))])

        self._force = Force(rise)
        for k in np.unique(kin).tolist():
            rows, own = usable & (group == k), kin == k
            if rows.any():
                weight = np.exp(np.minimum(0.5 * (value[rows] - np.median(now[own]) + _TOLD_BY), 0.0))
                ours = self.u[own][:, self._counting]
                self._force.learn(k, ours, u[rows][:, self._counting], terms[rows], weight)


def evenly_by_weight(weight: Array, wanted: int, rng: np.random.Generator) -> Whole:
    """``wanted`` indices in proportion to the weights, with as little chance as can be (systematic resampling)."""
    place = (rng.random() + np.arange(wanted)) / wanted * weight.sum()
    return np.asarray(np.searchsorted(np.cumsum(weight), place).clip(max=len(weight) - 1), dtype=np.int64)


class _BentNormals:
    """A normal bent by squares [4]_ fitted to the weighted particles of each model.

    What readings tell well is bent over what they hardly tell: squares and products of the loosest directions shear
    the others, which leaves the volume as it is. A model of few particles leans on the spread of all others.
    """

    def __init__(self, u: Array, weight: Array, model: Whole) -> None:
        d = u.shape[1]
        lean = _LEAN * d
        share = np.bincount(model, weights=weight) / weight.sum()
        present = np.flatnonzero(np.bincount(model)).tolist()
        own = {k: _moments(u[model == k], weight[model == k]) for k in present}
        common = sum((share[k] * spread for k, (_, spread, _, _) in own.items()), np.zeros((d, d)))
        self.ln_size = np.zeros(len(share))
        self._fits = {}
        for k, (centre, spread, size, w) in own.items():
            values, axes = np.linalg.eigh((size * spread + lean * common) / (size + lean) + 1e-9 * np.eye(d))
            axes, length = axes[:, ::-1], np.sqrt(values[::-1])
            flat = (u[model == k] - centre) @ axes / length
            bends, tight = _squares(flat), flat[:, _LOOSE:]
            bend = np.zeros((bends.shape[1], tight.shape[1]))
            level = w @ bends
            if size > _FOR_A_BEND * len(level):
                weighed = (bends - level).T * w
                bend = np.linalg.solve(
                    weighed @ (bends - level) + np.eye(len(level)) * len(level) / size, weighed @ tight
                )
            left = tight - (bends - level) @ bend
            spread = (size * (left.T * w) @ left + lean * np.eye(left.shape[1])) / (size + lean)
            root = np.linalg.cholesky(spread)
            self._fits[k] = centre, axes, length, level, bend, root.T, np.linalg.inv(root).T
            self.ln_size[k] = np.log(length).sum() + np.log(np.diag(root)).sum()

    def white(self, u: Array, model: Whole) -> Array:
        """Coordinates in which each model's fit is a standard normal."""
        out = np.empty_like(u)
        for k, (centre, axes, length, level, bend, _, inverse) in self._fits.items():
            rows = model == k
            flat = (u[rows] - centre) @ (axes / length)
            flat[:, _LOOSE:] = (flat[:, _LOOSE:] - (_squares(flat) - level) @ bend) @ inverse
            # Turned back, so that a coordinate means about the same in each model.
            out[rows] = flat @ axes.T
        return out

    def coloured(self, white: Array, model: Whole) -> Array:
        """Back from :meth:`white`."""
        out = np.empty_like(white)
        for k, (centre, axes, length, level, bend, root, _) in self._fits.items():
            rows = model == k
            flat = white[rows] @ axes
            flat[:, _LOOSE:] = flat[:, _LOOSE:] @ root + (_squares(flat) - level) @ bend
            out[rows] = centre + flat @ (axes * length).T
        return out


def _moments(u: Array, weight: Array) -> tuple[Array, Array, float, Array]:
    """Mean, covariance and effective number of weighted particles, and the weights so that they add up to 1."""
    w = np.maximum(weight, 1e-300)
    w = w / w.sum()
    centre = w @ u
    away = u - centre
    return centre, (away.T * w) @ away, float(1.0 / (w @ w)), w


def _squares(flat: Array) -> Array:
    """Squares and products of the loosest coordinates, shape (n, bends)."""
    first, second = _pairs(min(_LOOSE, flat.shape[1]))
    return flat[:, first] * flat[:, second]


_pairs = lru_cache(np.triu_indices)
