"""A result with its uncertainty."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

import numpy as np

from matdb.arrays import Array, Complex
from matdb.checks import checked_number, checked_whole
from matdb.fields import PlainRecord

#: Share of the draws that a band holds.
SHARE: Final = 0.95


@dataclass(frozen=True, eq=False)
class Band(PlainRecord):
    """Median and ends of the central 95 % (or share asked for) of a result; floats, or arrays of one shape."""

    median: Any
    low: Any
    high: Any

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Band):
            return NotImplemented
        return all(np.array_equal(a, b) for a, b in zip(self._ends, other._ends, strict=True))

    def __hash__(self) -> int:
        return hash(tuple(np.asarray(value).tobytes() for value in self._ends))

    def at(self, place: Any) -> Band:
        """The band of one entry (or some) of an array's, floats for a single one."""
        ends = [np.asarray(end)[place] for end in self._ends]
        return Band(*(ends if ends[0].ndim else [end.item() for end in ends]))

    @classmethod
    def joined(cls, bands: Iterable[Band]) -> Band:
        """Bands of one number each as a band over them."""
        return cls(*(np.array(ends) for ends in zip(*(each._ends for each in bands), strict=True)))

    @property
    def _ends(self) -> tuple[Any, Any, Any]:
        return self.median, self.low, self.high


@dataclass(frozen=True)
class ModulusBands(PlainRecord):
    """Storage modulus in MPa and loss factor as bands; ``extrapolated`` tells where the measured range ends."""

    temperature_c: Any
    frequency_hz: Any
    storage_mpa: Band
    loss_factor: Band
    extrapolated: Any


def band(samples: Array, share: float = SHARE) -> Band:
    """Band over the first axis of ``samples`` that holds a share of them; one dimension gives floats.

    Its median is that of :func:`median`.
    """
    n = samples.shape[0]
    ordered = np.sort(samples, axis=0)
    ends = []
    for level in (0.5 * (1.0 - share), 0.5 * (1.0 + share)):
        place = level * (n - 1)
        below = int(place)
        part = place - below
        # Not as a + part (b - a), which of two infinities makes no number.
        ends.append((1.0 - part) * ordered[below] + part * ordered[below + 1] if part else ordered[below])
    found = Band(_of_ordered(ordered), *ends)
    return found if samples.ndim > 1 else found.at(())


def drawn(ln_values: Complex, n: int, seed: int) -> Complex:
    """So many draws of what every draw's ln is, shape (n, *S); all once before any comes again. Raises InputError."""
    n, seed = checked_whole("n", n, 1, 100_000), checked_whole("seed", seed, 0, 2**32)
    rng, whole = np.random.default_rng(seed), len(ln_values)
    rows = np.concatenate([rng.permutation(whole) for _ in range(-(-n // whole))])[:n]
    return np.asarray(np.exp(ln_values)[rows])


def checked_share(share: float) -> float:
    """The share of the draws that a band is to hold. Raises InputError."""
    return checked_number("share", share, 0.0, 1.0, open_low=True)


def median(samples: Array) -> Any:
    """Median over the first axis of ``samples``; a one-dimensional input gives a number.

    It is a weighted mean of the middle order statistics [1]_, [2]_, which moves smoothly with temperature where the
    middle draw alone would jump from draw to draw.

    References
    ----------
    .. [1] F. E. Harrell, C. E. Davis, Biometrika 69 (1982) 635 (beta weights).
    .. [2] A. Akinshin, Commun. Stat. Simul. Comput. 53 (2024) 1348 (trimmed to where the weights are).
    """
    return _of_ordered(np.sort(samples, axis=0))


def plain_median(samples: Array) -> Array:
    """The middle draw over the first axis, or the mean of the middle two: NumPy's own median, several times as fast."""
    if len(samples) == 1:
        return np.asarray(samples[0])
    low, high = (len(samples) - 1) // 2, len(samples) // 2
    parted = np.partition(samples, (low, high), axis=0)
    return np.asarray(0.5 * (parted[low] + parted[high]))


def _of_ordered(ordered: Array) -> Any:
    first, weights = _middle(ordered.shape[0])
    middle = ordered[first : first + weights.size]
    # Row by row, so that the last digit of a column does not depend on which columns stand beside it.
    column = weights.reshape(-1, *(1,) * (middle.ndim - 1))
    whole = np.isfinite(middle[0]) & np.isfinite(middle[-1])
    if whole.all():
        return np.add.reduce(np.multiply(column, middle, order="C"), axis=0)
    found = np.add.reduce(np.multiply(column, np.where(whole, middle, 0.0), order="C"), axis=0)
    # A weight of infinity tells nothing: what has no end keeps the plain median.
    return np.where(whole, found, middle[(weights.size - 1) // 2])


@lru_cache(maxsize=16)
def _middle(n: int) -> tuple[int, Array]:
    """Where the weights of the median of ``n`` order statistics start, and the weights, symmetric, of sum 1."""
    half = 0.5 * (n + 1)
    # Beta(half, half), cut at three of its standard deviations.
    reach = min(3.0 * 0.5 / math.sqrt(n + 2.0), 0.5)
    first = max(math.floor(n * (0.5 - reach)), 0)
    edges = np.linspace(first / n, 1.0 - first / n, 16 * (n - 2 * first) + 1)
    x = 0.5 * (edges[1:] + edges[:-1])
    density = np.exp((half - 1.0) * np.log(4.0 * x * (1.0 - x)))
    weights = density.reshape(n - 2 * first, 16).sum(axis=1)
    weights = 0.5 * (weights + weights[::-1])
    return first, weights / weights.sum()
