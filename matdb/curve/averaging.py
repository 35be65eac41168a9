"""Cells of temperature and frequency and averages in them: thousands of readings become some dozens of rows."""

from __future__ import annotations

import heapq
import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from matdb.arrays import Array, Whole

#: What counts as one step in a cell's size: so many kelvin, so much in ln of frequency (half a decade).
CELL_K: Final = 5.0
CELL_LN_HZ: Final = 1.15
#: Readings of one run share part of their error (specimen, calibration): correlation between any two (an estimate).
SHARED: Final = 0.1
#: From so many standard deviations on a reading counts nothing in its cell.
_REJECT: Final = 4.685
_ROUNDS: Final = 30


@dataclass(frozen=True, eq=False)
class Average:
    """Average of one cell.

    Attributes
    ----------
    weight : ndarray, shape (n,)
        Share of each reading, adding up to 1; 0 for one that does not fit the others.
    values : ndarray, shape (k,)
        Value of each component at the weighted mean state.
    spreads : ndarray, shape (k,)
        Standard deviation of each.
    """

    weight: Array
    values: Array
    spreads: Array


def split(places: Array, pool: Whole, stretch: Array, most: int) -> list[Whole]:
    """Share readings out to at most ``most`` cells (or one a pool, if there are more pools).

    The cell that spans most is halved at the middle of its longer side until the number is reached or every cell
    holds a single state.

    Parameters
    ----------
    places : ndarray, shape (n, 2)
        Temperature in K and ln of frequency.
    pool : ndarray of int, shape (n,)
        Readings of different pools never share a cell.
    stretch : ndarray, shape (n,)
        How much finer than usual a reading's pool is cut.
    most : int
        Number of cells wanted.

    Returns
    -------
    list of ndarray of int
        Indices of each cell, ascending; cells in the order of their first index.
    """
    scaled = places / np.array([CELL_K, CELL_LN_HZ]) * stretch[:, None]
    heap: list[tuple[float, int, Whole]] = []

    def push(cell: Whole) -> None:
        span = float(np.ptp(scaled[cell], axis=0).max())
        heapq.heappush(heap, (-span, int(cell[0]), cell))

    for each in np.unique(pool):
        push(np.flatnonzero(pool == each))
    while len(heap) < most and heap[0][0] < -1e-9:
        cell = heapq.heappop(heap)[2]
        here = scaled[cell]
        axis = int(np.argmax(np.ptp(here, axis=0)))
        side = here[:, axis] > 0.5 * (here[:, axis].min() + here[:, axis].max())
        push(cell[~side])
        push(cell[side])
    return sorted((cell for _, _, cell in heap), key=lambda cell: int(cell[0]))


def average(places: Array, values: Array, spreads: Array) -> Average:
    """Average the readings of one cell robustly, about a plane in temperature and ln of frequency.

    Weights are those of inverse variance times Tukey's biweight [1]_ of the residual. The standard deviation of the
    mean has a floor, because errors within one run are shared: sd^2 [r + (1 - r)/n], r = 0.1 [2]_.

    Parameters
    ----------
    places : ndarray, shape (n, 2)
        Temperature in K and ln of frequency.
    values, spreads : ndarray, shape (n, k)
        Components (logarithms) and their standard deviations.

    References
    ----------
    .. [1] A. E. Beaton, J. W. Tukey, Technometrics 16 (1974) 147 (from memory).
    .. [2] L. Kish, Survey Sampling, 1965 (the design effect; from memory).
    """
    n = len(values)
    base = spreads[:, 0] ** -2.0
    keep = np.ones(n)
    if n > 2:
        for k in range(values.shape[1]):
            keep = np.minimum(keep, _biweight(places, values[:, k], spreads[:, k], base))
    weight = base * keep
    weight = weight / weight.sum()
    number = 1.0 / float(np.sum(weight**2))
    mean_square = weight @ spreads**2
    return Average(weight, weight @ values, np.sqrt(mean_square * (SHARED + (1.0 - SHARED) / number)))


def _biweight(places: Array, values: Array, spreads: Array, base: Array) -> Array:
    """Robust weights of one component, 0 to 1, about a plane fitted to it (a constant when there are few)."""
    n = len(values)
    design = np.ones((n, 1))
    if n >= 8:
        centred = (places - places.mean(axis=0)) / np.array([CELL_K, CELL_LN_HZ])
        design = np.hstack([design, centred])
    # A whisper of shrinkage keeps the plane defined when all temperatures or frequencies agree.
    ridge = np.diag([0.0, *([1e-6] * (design.shape[1] - 1))]) * n
    residual = values - np.median(values)
    share = np.ones(n)
    for step in range(_ROUNDS):
        scale = np.maximum(spreads, 1.4826 * float(np.median(np.abs(residual))))
        z = np.abs(residual) / scale
        # Least absolute deviations first, for a start that one gross reading cannot pull; then the biweight.
        if step < _ROUNDS // 2:
            share = 1.0 / np.maximum(z, 0.05)
        else:
            share = np.where(z < _REJECT, (1.0 - (z / _REJECT) ** 2) ** 2, 0.0)
        w = base * share
        normal = design.T @ (design * w[:, None])
        fit = np.linalg.solve(normal + ridge * w.mean(), design.T @ (w * values))
        residual = values - design @ fit
    return np.asarray(share)


def disagree(values: Array, spreads: Array) -> bool:
    """Whether two readings of one state lie further apart than noise explains (4 standard deviations)."""
    apart = np.abs(values[0] - values[1]) / np.hypot(spreads[0], spreads[1])
    return bool(apart.max() > 4.0) and math.isfinite(float(apart.max()))
