"""A result with its uncertainty."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["Band", "band"]

_LEVELS = (0.025, 0.5, 0.975)


@dataclass(frozen=True, eq=False)
class Band:
    """Median and the ends of the central 95 % of an uncertain result; floats, or arrays of one shape."""

    median: Any
    low: Any
    high: Any

    def to_dict(self) -> dict[str, Any]:
        """``{"median": …, "low": …, "high": …}`` in plain values."""
        return {
            k: getattr(self, k).tolist() if isinstance(getattr(self, k), np.ndarray) else getattr(self, k)
            for k in ("median", "low", "high")
        }

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Band):
            return NotImplemented
        return all(bool(np.array_equal(getattr(self, k), getattr(other, k))) for k in ("median", "low", "high"))

    def __hash__(self) -> int:
        return hash(tuple(np.asarray(getattr(self, k)).tobytes() for k in ("median", "low", "high")))


def band(samples: NDArray[np.float64]) -> Band:
    """Band over the first axis of ``samples``; a one-dimensional input gives floats."""
    n = samples.shape[0]
    ordered = np.sort(samples, axis=0)
    ends = []
    for level in _LEVELS:
        place = level * (n - 1)
        below = int(place)
        share = place - below
        value = ordered[below] + share * (ordered[min(below + 1, n - 1)] - ordered[below])
        ends.append(float(value) if value.ndim == 0 else value)
    return Band(median=ends[1], low=ends[0], high=ends[2])
