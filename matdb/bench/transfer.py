"""How one sensor's motion follows from another's: averaged spectra, their ratio and its coherence.

References
----------
.. [1] J. S. Bendat, A. G. Piersol, Random Data, 4th ed., ch. 9: variance of estimated responses (from memory).
.. [2] P. D. Welch, IEEE Trans. Audio Electroacoustics 15 (1967) 70: averaged periodograms (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from matdb.arrays import Array, Complex
from matdb.bench.trace.record import Trace
from matdb.errors import InputError

#: Readings of a spectrum at least.
LEAST_SIZE: Final = 32
#: How much a payload moves over its base where a soft mount passes all on, least and most.
GAIN: Final = (0.7, 1.4)
#: Values whose spectra are made together.
_AT_ONCE: Final = 1 << 18
#: Which share of a causal power law's slope the stiffness has, and the power of frequency that its loss factor grows
#: with, while nothing is known; the standard deviation of each.
LAW: Final = ((0.5, 0.5), (0.1, 0.2))


@dataclass(frozen=True)
class TransferFunction:
    """Payload over base.

    Attributes
    ----------
    frequency_hz : array, shape (bins,)
        Hz.
    ratio : array of complex, shape (bins,)
        Transfer function (H1: cross spectrum over the base's spectrum).
    coherence : array, shape (bins,)
        0 to 1: the share of the payload's motion that follows from the base's.
    sd : array, shape (bins,)
        Standard deviation of the real and of the imaginary part each.
    averages : float
        Number of independent averages.
    resolution_hz : float
        Distance of the bins, Hz.
    base : array, shape (bins,)
        Power spectral density of the base's motion, its sensor's noise included.
    delay_s : float or None
        How late the payload's signal is by what else is known, s; None where nothing is.
    law : ((float, float), (float, float))
        ``law`` of :class:`matdb.bench.forced.ForcedFit` by what else is known.
    noise : array, shape (bins,), or None
        How noise of the base's sensor may go with frequency; None: white.
    """

    frequency_hz: Array
    ratio: Complex
    coherence: Array
    sd: Array
    averages: float
    resolution_hz: float
    base: Array
    delay_s: float | None = None
    law: Sequence[Sequence[float]] = LAW
    noise: Array | None = None


def transfer_function(
    trace: Trace, *, channel: int = 0, resolution_hz: float | None = None, beside: Array | None = None
) -> TransferFunction:
    """Transfer function from base to payload by Welch's averaged spectra.

    Parameters
    ----------
    trace : Trace
        A record with a base sensor.
    channel : int
        Which axis, from 0.
    resolution_hz : float, optional
        Wanted distance of the bins, Hz; else the record's length over 16.
    beside : array, shape (n, others), optional
        Other motions of the base at the same times, whose share in the payload's motion is taken out.

    Returns
    -------
    TransferFunction
        Ratio, coherence, standard deviation.

    Raises
    ------
    InputError
        A record too short for the resolution.

    Notes
    -----
    Hann windows, half overlapped, each with its linear trend removed. Variance of the estimate: (1 - coherence)
    S_yy / S_xx / averages, half of it in each part; with other motions, of conditioned spectra. Sources: [1]_, [2]_.

    """
    assert trace.base is not None
    rate = trace.rate_hz
    grid = np.arange(trace.time_s[0], trace.time_s[-1], 1.0 / rate)
    known = np.column_stack([trace.base[:, channel], trace.signal[:, channel], *(() if beside is None else beside.T)])
    size = 2 * grid.size // 17 if resolution_hz is None else round(rate / resolution_hz)
    if size < LEAST_SIZE or 3 * size > 2 * grid.size:
        allowed = f"at least {max(1.5 * size, 272):.0f} for this resolution"
        raise InputError("record", f"{grid.size} readings", allowed, "record longer")
    if np.abs(trace.time_s - trace.time_s[0] - np.arange(len(known)) / rate).max() > 1e-3 / rate:
        known = np.stack([np.interp(grid, trace.time_s, x) for x in known.T], axis=1)
    f, found, pieces = spectra(known[: grid.size], rate, size)
    averages = pieces / (1.0 + 2.0 * (1.0 / 6.0) ** 2) if pieces > 1 else 1.0
    # What goes with other motions of the base is taken out of both first.
    own, other = found[:, :2, :2], found[:, 2:, 2:]
    if beside is not None:
        scale = np.sqrt(np.maximum(np.einsum("fii->fi", other).real, 1e-300))
        unit = other / (scale[:, :, None] * scale[:, None, :]) + 1e-6 * np.eye(other.shape[1])
        shared = found[:, :2, 2:] / scale[:, None, :]
        own = own - shared @ np.linalg.solve(unit, np.conj(np.swapaxes(shared, 1, 2)))
    sxx, syy = (np.maximum(own[:, k, k].real, 1e-300) for k in (0, 1))
    sxy = own[:, 1, 0]
    coherence = np.clip(np.abs(sxy) ** 2 / (sxx * syy), 0.0, 1.0)
    # Averages cannot see coherence below one over their number, and each other motion takes one.
    left = max(averages - 1.0 - other.shape[1], 0.5)
    unexplained = np.maximum(1.0 - coherence, 1e-9) * syy * averages / left
    sd = np.sqrt(0.5 * smoothed(unexplained) / smoothed(sxx) / averages)
    return TransferFunction(f, sxy / sxx, coherence, sd, float(averages), float(f[1] - f[0]), sxx)


def spectra(x: Array, rate_hz: float, size: int) -> tuple[Array, Complex, int]:
    """Averaged spectra of every column with every other, [2]_: frequencies, (bins, columns, columns), their number.

    Element i, j is the mean of column i times the conjugate of column j, in the columns' units squared per Hz.
    """
    pieces = np.lib.stride_tricks.sliding_window_view(x, size, axis=0)[:: size - size // 2]
    window, trend = np.hanning(size + 1)[:-1], np.linspace(-1.0, 1.0, size)
    line = np.stack([np.full(size, 1.0 / math.sqrt(size)), trend / math.sqrt(np.sum(trend**2))])
    total: Any = 0.0
    # As many at once as a processor holds close by.
    for some in np.array_split(pieces, max(1, pieces.size // _AT_ONCE)):
        piece = np.array(some, dtype=float)
        piece -= (piece @ line.T) @ line
        piece *= window
        seen = np.fft.rfft(piece).transpose(2, 1, 0)
        total = total + seen @ np.conj(seen.swapaxes(1, 2))
    f = np.fft.rfftfreq(size, 1.0 / rate_hz)
    return np.asarray(f), np.asarray(2.0 * total / (len(pieces) * rate_hz * np.sum(window**2))), len(pieces)


def smoothed(x: Array, half: int = 3) -> Array:
    """Running mean over a few bins, so that weights do not follow each bin's own luck."""
    padded = np.pad(x, half, mode="edge")
    return np.convolve(padded, np.full(2 * half + 1, 1.0 / (2 * half + 1)), mode="valid")
