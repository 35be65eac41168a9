"""Where a density pulls its particles, told by quadratic fits of the terms that it is made of.

What readings lack of a prediction is a smooth function of the coordinates even where the density bends sharply: a
quadratic fit of each term, told by particles that were looked at before, gives the slope of the density at the price
of two products of matrices. A flight by it that is taken or refused by the density itself leaves the density as it is,
however rough the fit.

References
----------
.. [1] R. M. Neal, in Handbook of Markov Chain Monte Carlo, 2011, chapter 5 (flights by any force; from memory).
.. [2] C. E. Rasmussen, Bayesian Statistics 7 (2003) 651 (the slope of a fit in place of the density's; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Final

import numpy as np

from matdb.arrays import Array, Whole

#: Of terms, (n, m): how the log density rises with each, (n, m).
Slope = Callable[[Array], Array]

#: Points that tell a fit, for each of its unknowns; with fewer than the least there is none.
_POINTS, _LEAST_POINTS = 3.0, 1.3
#: Draws the fit to its mean where points tell nothing.
_RIDGE: Final = 0.01
#: Particles at which the narrowest width is looked for, the share of them that a step suits, and the longest step.
_LOOKED_AT, _SUITED, _LONGEST = 16, 0.7, 0.5
#: A flight goes about as far as the particles are spread, in so many steps at most.
_FAR, _MOST_STEPS = 1.0, 14
#: No further out than a normal ever reaches.
_FARTHEST: Final = 9.0


class Force:
    """The pull on particles, each of one of some groups.

    Parameters
    ----------
    slope : callable
        How the log density rises with each term.
    """

    def __init__(self, slope: Slope) -> None:
        self._slope = slope
        self._groups = dict[int, _Fit]()

    def learn(self, group: int, u: Array, seen: Array, terms: Array, weight: Array) -> None:
        """Fit the terms for a group, or leave it alone where they are told by too few points.

        Parameters
        ----------
        group : int
            Its number.
        u : ndarray, shape (n, d)
            Its particles.
        seen, terms, weight : ndarray, shape (k, d), (k, m) and (k,)
            Points at which the density was looked at, its terms there, and how much each of them counts.
        """
        unknowns = 1 + u.shape[1] * (u.shape[1] + 3) // 2
        rows = np.flatnonzero(weight > 0.01)[-int(_POINTS * unknowns) :]
        if len(u) >= 2 * u.shape[1] and len(rows) >= _LEAST_POINTS * unknowns:
            self._groups[group] = _Fit(u, seen[rows], terms[rows], weight[rows], self._slope)

    def fly(self, u: Array, group: Whole, kick: Array, by: Array) -> tuple[Array, Array]:
        """Where particles come to rest after a kick, and what that adds to the log density to be held against it.

        Parameters
        ----------
        u : ndarray, shape (n, d)
            The particles.
        group : ndarray of int, shape (n,)
            The group of each.
        kick : ndarray, shape (n, d)
            Standard normal.
        by : ndarray, shape (2,)
            Factors of the usual step and of the usual way, about 1 and drawn anew for each flight.

        Returns
        -------
        two ndarrays, shape (n, d) and (n,)
            Minus infinity for what has no fit.
        """
        there, gain = u.copy(), np.full(len(u), -np.inf)
        order = np.argsort(group, kind="stable")
        order = order[np.isin(group[order], list(self._groups))]
        if not order.size:
            return there, gain
        fits = [(fit, np.flatnonzero(group[order] == k)) for k, fit in self._groups.items()]
        parts = [(fit, slice(rows[0], rows[-1] + 1)) for fit, rows in fits if rows.size]
        x, step = np.empty((u.shape[1], len(order))), np.empty(len(order))
        for fit, part in parts:
            x[:, part], step[part] = fit.into @ (u[order[part]].T - fit.centre), by[0] * fit.step
        steps = min(max(round(_FAR * by[1] / step.min()), 2), _MOST_STEPS)
        step = np.minimum(step, _FAR * by[1] / steps)
        # Far outside, a fit may throw them anywhere.
        with np.errstate(over="ignore", invalid="ignore"):
            speed = kick[order].T
            speed = speed + 0.5 * step * self._pull(x, parts)
            for left in range(steps, 0, -1):
                x = x + step * speed
                speed = speed + (step if left > 1 else 0.5 * step) * self._pull(x, parts)
            for fit, part in parts:
                there[order[part]] = (fit.centre + fit.out @ x[:, part]).T
            gain[order] = 0.5 * np.sum(kick[order] ** 2 - speed.T**2, axis=1)
            lost = ~(np.abs(there).max(axis=1) < _FARTHEST)
        there[lost], gain[lost] = u[lost], -np.inf
        return there, gain

    def _pull(self, x: Array, parts: Sequence[tuple[_Fit, slice]]) -> Array:
        bent = [fit.bend @ x[:, part] for fit, part in parts]
        terms = np.hstack([fit.terms(x[:, part], each) for (fit, part), each in zip(parts, bent, strict=True)])
        rise = self._slope(terms.T).T
        return np.hstack([fit.pull(rise[:, part], each) for (fit, part), each in zip(parts, bent, strict=True)])


class _Fit:
    """Of one group: coordinates in which its particles are spread evenly, a quadratic of each term, and a step."""

    def __init__(self, u: Array, seen: Array, terms: Array, weight: Array, slope: Slope) -> None:
        d = u.shape[1]
        self.centre = u.mean(axis=0)[:, None]
        values, axes = np.linalg.eigh(np.cov(u.T) + 1e-6 * np.eye(d))
        self.into, self.out = (axes / np.sqrt(values)).T, axes * np.sqrt(values)
        features = _features(self.into @ (seen.T - self.centre))
        weighed, middle = features * weight, weight @ terms / weight.sum()
        found = np.linalg.solve(weighed @ features.T + _RIDGE * np.eye(len(features)), weighed @ (terms - middle)).T
        self._level, self._rise = found[:, :1] + middle[:, None], found[:, 1 : 1 + d]
        first, second = np.triu_indices(d)
        bend = np.zeros((len(found), d, d))
        bend[:, first, second] = found[:, 1 + d :]
        # Twice the symmetric part, on top of each other.
        self.bend = (bend + bend.transpose(0, 2, 1)).reshape(-1, d)
        self.step = self._suited(self.into @ (u[:: max(1, len(u) // _LOOKED_AT)].T - self.centre), slope)

    def terms(self, x: Array, bent: Array) -> Array:
        """The terms, (m, n), at coordinates, (d, n), of which ``bent`` is the product with ``bend``."""
        d, n = x.shape
        return np.asarray(self._level + self._rise @ x + 0.5 * np.einsum("kdn,dn->kn", bent.reshape(-1, d, n), x))

    def pull(self, rise: Array, bent: Array) -> Array:
        """How the log density rises with the coordinates, (d, n), where it rises so with the terms, (m, n)."""
        n = rise.shape[1]
        return np.asarray(self._rise.T @ rise + np.einsum("kn,kdn->dn", rise, bent.reshape(len(rise), -1, n)))

    def _suited(self, x: Array, slope: Slope) -> float:
        """The step that suits the narrowest width at most of these points."""
        d, n = x.shape
        bent = self.bend @ x
        terms = self.terms(x, bent).T
        curved = np.maximum(slope(terms - 1e-4) - slope(terms + 1e-4), 0.0) / 2e-4
        rise = (self._rise[:, :, None] + bent.reshape(-1, d, n)).transpose(2, 1, 0)
        tightest = np.linalg.eigvalsh((rise * curved[:, None]) @ rise.transpose(0, 2, 1))[:, -1]
        return min(1.0 / math.sqrt(max(float(np.quantile(tightest, _SUITED)), 1.0)), _LONGEST)


def _features(x: Array) -> Array:
    """One, the coordinates and their products in pairs, (features, n), from (d, n)."""
    first, second = np.triu_indices(len(x))
    return np.concatenate([np.ones((1, x.shape[1])), x, x[first] * x[second]])
