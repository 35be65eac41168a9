"""The best set of a given size out of many options, each of which serves every temperature with some probability.

At each temperature the best member of a set serves, so the share of a set is the sum of hours times the largest
probability in it: a facility-location problem. Its gain diminishes as a set grows, which bounds what any completion of
a partial set can bring [1]_; the search is exact.

Sources
-------
.. [1] Nemhauser, G. L.; Wolsey, L. A.; Fisher, M. L.: An analysis of approximations for maximizing submodular set
   functions, Math. Programming 14 (1978) 265 (memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from matdb.arrays import Array, Whole

#: Differences of share below this are rounding.
_ROUNDING: Final = 1e-12
#: Multiplications after which the search stops and says what it could not exclude.
_MOST_WORK: Final = 2e9


@dataclass(frozen=True)
class Best:
    """A set and what is known of all others of its size.

    Attributes
    ----------
    options : tuple of int
        Rising.
    share : float
        Of the hours.
    at_most : float
        No set of this size has a larger share; equal to ``share`` when the search came to its end.
    """

    options: tuple[int, ...]
    share: float
    at_most: float


def undominated(inside: ArrayLike, tolerance: float = 0.0) -> Whole:
    """Options that no other is as good as at every temperature, in the order of their sums.

    Parameters
    ----------
    inside : array_like, shape (options, steps)
        Probabilities; among equal rows the first stays.
    tolerance : float
        Also drops options that another comes this close to everywhere: it costs a set at most so much of its share.
    """
    p = np.asarray(inside, dtype=float)
    order = np.argsort(-p.sum(axis=1), kind="stable")
    kept = np.empty_like(p)
    found: list[int] = []
    for k in order:
        if not (kept[: len(found)] >= p[k] - (tolerance + _ROUNDING)).all(axis=1).any():
            kept[len(found)] = p[k]
            found.append(int(k))
    return np.array(found, dtype=np.int64)


def best_set(inside: ArrayLike, weight: ArrayLike, size: int, *, most_work: float = _MOST_WORK) -> Best:
    """The set of ``size`` options with the largest expected share of hours, by branch and bound.

    Parameters
    ----------
    inside : array_like, shape (options, steps)
        Probability of each option at each temperature.
    weight : array_like, shape (steps,)
        Hours at each temperature; any positive scale.
    size : int
        At least 1; at most the number of options.
    most_work : float
        Multiplications after which to give up the proof; the set is then the best found.
    """
    hours = np.asarray(weight, dtype=float)
    search = _Search(np.asarray(inside, dtype=float), hours / hours.sum(), size, most_work)
    return Best(tuple(sorted(search.chosen)), search.share, max(search.share, search.unexplored))


class _Search:
    def __init__(self, p: Array, w: Array, size: int, most_work: float) -> None:
        self.p, self.w, self.size, self.left = p, w, size, most_work
        self.unexplored = 0.0
        self.chosen, self.share = self._improved(self._greedy())
        self._visit(np.arange(len(self.p)), (), np.zeros(self.p.shape[1]))

    def _greedy(self) -> tuple[int, ...]:
        chosen: tuple[int, ...] = ()
        have = np.zeros(self.p.shape[1])
        for _ in range(self.size):
            gains = np.maximum(self.p - have, 0.0) @ self.w
            gains[list(chosen)] = -1.0
            chosen = (*chosen, int(np.argmax(gains)))
            have = np.maximum(have, self.p[chosen[-1]])
        return chosen

    def _improved(self, chosen: tuple[int, ...]) -> tuple[tuple[int, ...], float]:
        """Exchange one member at a time while that helps: a good set early lets the search skip more."""
        share = float(self.p[list(chosen)].max(axis=0) @ self.w)
        while True:
            trials = []
            for place in range(self.size):
                rest = chosen[:place] + chosen[place + 1 :]
                have = self.p[list(rest)].max(axis=0) if rest else np.zeros(self.p.shape[1])
                shares = np.maximum(self.p, have) @ self.w
                shares[list(rest)] = -1.0
                best = int(np.argmax(shares))
                trials.append((float(shares[best]), (*rest, best)))
            found, other = max(trials, key=lambda trial: trial[0])
            if found <= share + _ROUNDING:
                return chosen, share
            chosen, share = other, found

    def _visit(self, options: Whole, chosen: tuple[int, ...], have: Array) -> None:
        missing = self.size - len(chosen)
        if len(options) < missing:
            return
        base = float(have @ self.w)
        gains = np.maximum(self.p[options] - have, 0.0) @ self.w
        self.left -= options.size * self.p.shape[1]
        order = np.argsort(-gains, kind="stable")
        options, gains = options[order], gains[order]
        if missing == 1:
            if base + float(gains[0]) > self.share + _ROUNDING:
                self.share, self.chosen = base + float(gains[0]), (*chosen, int(options[0]))
            return
        # Gains only shrink as a set grows: the next ones added up bound every completion.
        sums = np.concatenate([[0.0], np.cumsum(gains)])
        for k in range(options.size - missing + 1):
            bound = base + float(sums[k + missing] - sums[k])
            if bound <= self.share + _ROUNDING:
                return
            if self.left <= 0.0:
                self.unexplored = max(self.unexplored, bound)
                return
            self._visit(options[k + 1 :], (*chosen, int(options[k])), np.maximum(have, self.p[options[k]]))
