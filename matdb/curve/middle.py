"""The plain median, for the hot path and for start-up."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["middle"]


def middle(samples: NDArray[np.float64]) -> NDArray[np.float64]:
    """Median over the first axis: the numbers of ``numpy.median``, which loads masked arrays when it is first called.

    Parameters
    ----------
    samples : ndarray, shape (n, *S)
        Numbers, none of them nan.
    """
    n = samples.shape[0]
    half = n // 2
    if n % 2:
        return np.asarray(np.partition(samples, half, axis=0)[half])
    ordered = np.partition(samples, (half - 1, half), axis=0)
    return np.asarray(0.5 * (ordered[half - 1] + ordered[half]))
