r"""Transient conduction: how the temperature of a slab, a cylinder or a disc follows the air around it.

A body at one temperature is put into air of another; ``theta`` is the share of that difference that is left,

.. math:: \theta = \frac{T - T_\infty}{T_0 - T_\infty} = \sum_n A_n \varphi_n(x) e^{-\lambda_n^2 Fo},
   \quad Fo = \alpha t/L^2, \quad Bi = hL/k

with L half the thickness of a slab or the radius of a cylinder. A short cylinder is the product of the two.

References
----------
.. [1] Y. A. Cengel, Heat and Mass Transfer, ch. 4, Table 4-2 (from memory).
.. [2] H. S. Carslaw and J. C. Jaeger, Conduction of Heat in Solids, 2nd ed., 3.11 and 7.7 (from memory).

"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matdb.checks import checked_array

Array = NDArray[np.float64]

#: Terms of the series; enough for 1e-6 from a Fourier number of 1e-3 on.
TERMS = 40


def slab_roots(biot: ArrayLike, terms: int = TERMS) -> Array:
    r"""Positive roots of lambda tan(lambda) = Bi.

    Parameters
    ----------
    biot : array_like
        Biot number on the half thickness, above 0, at most 1e8.
    terms : int
        Number of roots, 1 or more.

    Returns
    -------
    array, shape (..., terms)
        The roots in ascending order, to machine precision.

    Raises
    ------
    InputError
        A Biot number not above 0.

    Notes
    -----
    Newton's method on lambda - n pi - atan(Bi / lambda), which is increasing and concave, started below each
    root (the first: tan x <= x / (1 - 4 x^2 / pi^2)), so it climbs to the root without overshoot. Source:
    [1]_.

    """
    bi = checked_array("biot", biot, 0.0, math.inf, open_low=True)[..., None]
    n = np.arange(terms, dtype=float)
    root = np.where(n == 0, np.sqrt(bi / (1.0 + 4.0 * bi / np.pi**2)), n * np.pi) + np.zeros_like(bi)
    for _ in range(12):
        root -= (root - n * np.pi - np.arctan2(bi, root)) / (1.0 + bi / (root * root + bi * bi))
    return root


def cylinder_roots(biot: ArrayLike, terms: int = TERMS) -> Array:
    r"""Positive roots of lambda J1(lambda) = Bi J0(lambda).

    Parameters
    ----------
    biot : array_like
        Biot number on the radius, above 0, at most 1e8.
    terms : int
        Number of roots, 1 to 40.

    Returns
    -------
    array, shape (..., terms)
        The roots in ascending order, to machine precision.

    Raises
    ------
    InputError
        A Biot number not above 0.

    Notes
    -----
    Each root lies between a zero of J1 and the next zero of J0; Newton steps that leave the bracket are
    replaced by its middle. Source: [1]_.

    """
    from scipy.special import jn_zeros

    bi, place = np.unique(checked_array("biot", biot, 0.0, math.inf, open_low=True), return_inverse=True)
    n = np.arange(terms, dtype=float)
    low = np.broadcast_to(np.append(0.0, jn_zeros(1, terms)[:-1]), (bi.size, terms)).copy()
    high = np.broadcast_to(jn_zeros(0, terms), (bi.size, terms)).copy()
    sign = np.where(n % 2 == 0, 1.0, -1.0)
    root = low + (high - low) * bi[:, None] / (bi[:, None] + 1.0 + n)
    for _ in range(60):
        j0, j1 = _bessel(root)
        value = sign * (root * j1 - bi[:, None] * j0)
        low, high = np.where(value < 0, root, low), np.where(value < 0, high, root)
        step = root - value / (sign * (root * j0 + bi[:, None] * j1))
        new = np.where((step > low) & (step < high), step, 0.5 * (low + high))
        done = bool(np.all(np.abs(new - root) <= 1e-14 * np.abs(new)))
        root = new
        if done:
            break
    shaped: Array = root[place].reshape(*np.shape(biot), terms)
    return shaped


class Decay:
    """The series of one shape for given Biot numbers: rates and weights once, then theta at any Fourier number.

    Parameters
    ----------
    shape : str
        ``"slab"`` or ``"cylinder"``.
    biot : array_like
        Biot number on the half thickness or the radius.
    at : str
        ``"core"``, or ``"mean"`` over the thickness or the section.
    terms : int
        Terms of the series, 1 to 40; one is good to 2 % from a Fourier number of 0.2 on.

    Raises
    ------
    InputError
        A Biot number not above 0.

    Notes
    -----
    Sources: [1]_, [2]_ (see the module).

    """

    def __init__(self, shape: str, biot: ArrayLike, at: str, terms: int = TERMS) -> None:
        self.at = at
        if shape == "slab":
            root = slab_roots(biot, terms)
            weight, mean = 4.0 * np.sin(root) / (2.0 * root + np.sin(2.0 * root)), np.sin(root) / root
        else:
            root = cylinder_roots(biot, terms)
            j0, j1 = _bessel(root)
            weight, mean = 2.0 * j1 / (root * (j0 * j0 + j1 * j1)), 2.0 * j1 / root
        self.rate, self.weight = root * root, weight * mean if at == "mean" else weight

    def __call__(self, fourier: Array) -> Array:
        """Theta at the Fourier numbers, which broadcast with the Biot numbers."""
        theta: Array = np.sum(self.weight * np.exp(-self.rate * fourier[..., None]), axis=-1)
        # A truncated series wavers at the start; there heat has not reached the core yet.
        if self.at == "core":
            theta = np.where(fourier < 2e-3, 1.0, theta)
        return np.clip(np.where(fourier == 0.0, 1.0, theta), 0.0, 1.0)


def _bessel(x: Array) -> tuple[Array, Array]:
    """J0 and J1."""
    from scipy.special import j0, j1

    return j0(x), j1(x)
