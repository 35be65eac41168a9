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
from collections.abc import Callable
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
#: Particles that fly together: what is worked out for them stays in a processor's own memory.
_BLOCK: Final = 128
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
        for k, fit in self._groups.items():
            step, steps = fit.paces(by)
            rows = np.flatnonzero(group == k)
            for some in np.split(rows, range(_BLOCK, len(rows), _BLOCK)) if rows.size else ():
                there[some], gain[some] = fit.fly(u[some], kick[some], step, steps, self._slope)
        # Far outside, a fit may throw them anywhere.
        lost = ~(np.abs(there).max(axis=1) < _FARTHEST)
        there[lost], gain[lost] = u[lost], -np.inf
        return there, gain


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
        self._bend = (bend + bend.transpose(0, 2, 1)).reshape(-1, d)
        self.step = self._suited(self.into @ (u[:: max(1, len(u) // _LOOKED_AT)].T - self.centre), slope)

    def paces(self, by: Array) -> tuple[float, int]:
        """A step and their number, by these factors of the usual step and way."""
        steps = min(max(round(_FAR * by[1] / (self.step * by[0])), 2), _MOST_STEPS)
        return min(self.step * by[0], _FAR * by[1] / steps), steps

    def fly(self, u: Array, kick: Array, step: float, steps: int, slope: Slope) -> tuple[Array, Array]:
        """So many leapfrog steps of particles of this group; see :meth:`Force.fly`."""
        x, speed = self.into @ (u.T - self.centre), kick.T
        with np.errstate(over="ignore", invalid="ignore"):
            speed = speed + 0.5 * step * self._pull(x, slope)
            for left in range(steps, 0, -1):
                x = x + step * speed
                speed = speed + (step if left > 1 else 0.5 * step) * self._pull(x, slope)
            return (self.centre + self.out @ x).T, 0.5 * np.sum(kick**2 - speed.T**2, axis=1)

    def _pull(self, x: Array, slope: Slope) -> Array:
        """How the log density rises with the coordinates, (d, n)."""
        d, n = x.shape
        bent = (self._bend @ x).reshape(-1, d, n)
        rise = slope(self._terms(x, bent).T).T
        return np.asarray(self._rise.T @ rise + np.einsum("kn,kdn->dn", rise, bent))

    def _terms(self, x: Array, bent: Array) -> Array:
        """The terms, (m, n), at coordinates, (d, n), by which their quadratic part was multiplied once already."""
        return np.asarray(self._level + self._rise @ x + 0.5 * np.einsum("kdn,dn->kn", bent, x))

    def _suited(self, x: Array, slope: Slope) -> float:
        """The step that suits the narrowest width at most of these points."""
        d, n = x.shape
        bent = (self._bend @ x).reshape(-1, d, n)
        terms = self._terms(x, bent).T
        curved = np.maximum(slope(terms - 1e-4) - slope(terms + 1e-4), 0.0) / 2e-4
        rise = (self._rise[:, :, None] + bent).transpose(2, 1, 0)
        tightest = np.linalg.eigvalsh((rise * curved[:, None]) @ rise.transpose(0, 2, 1))[:, -1]
        return min(1.0 / math.sqrt(max(float(np.quantile(tightest, _SUITED)), 1.0)), _LONGEST)


def _features(x: Array) -> Array:
    """One, the coordinates and their products in pairs, (features, n), from (d, n)."""
    first, second = np.triu_indices(len(x))
    return np.concatenate([np.ones((1, x.shape[1])), x, x[first] * x[second]])
