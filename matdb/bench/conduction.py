r"""Transient conduction: how the temperature of a slab, a cylinder or a disc follows the air around it.

A body at one temperature is put into air of another; ``theta`` is the share of that difference that is left,

.. math:: \theta = \frac{T - T_\infty}{T_0 - T_\infty} = \sum_n A_n \varphi_n(x) e^{-\lambda_n^2 Fo},
   \quad Fo = \alpha t/L^2, \quad Bi = hL/k

with L half the thickness of a slab or the radius of a cylinder. A short cylinder is the product of the two.

Lengths in mm, conductivity in W/(m K), diffusivity in mm2/s (1e-6 m2/s), film coefficient in W/(m2 K), time
in s.

References
----------
.. [1] Y. A. Cengel, Heat and Mass Transfer, ch. 4, Table 4-2 (from memory).
.. [2] H. S. Carslaw and J. C. Jaeger, Conduction of Heat in Solids, 2nd ed., 3.11 and 7.7 (from memory).

"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matdb.errors import InputError

__all__ = [
    "biot_number",
    "cylinder_roots",
    "cylinder_theta",
    "fourier_number",
    "lumped_theta",
    "slab_roots",
    "slab_theta",
]

Array = NDArray[np.float64]

#: Terms of the series; enough for 1e-6 from a Fourier number of 1e-3 on.
TERMS = 40
_NODES = np.sin((np.arange(48) + 0.5) * np.pi / 96)


def positive(field: str, values: ArrayLike, unit: str) -> Array:
    """The values as floats, refused unless all are finite and above 0."""
    try:
        array = np.asarray(values, dtype=float)
    except (TypeError, ValueError, OverflowError):
        raise InputError(field, values, f"above 0 {unit}".rstrip()) from None
    good = (array > 0.0) & np.isfinite(array)
    if not np.all(good):
        raise InputError(field, np.ravel(array)[~np.ravel(good)][0], f"above 0 {unit}".rstrip())
    return array


def biot_number(film_w_m2k: ArrayLike, length_mm: ArrayLike, conductivity_w_mk: ArrayLike) -> Any:
    """Biot number Bi = h L / k: resistance inside the body over resistance of the air film.

    Parameters
    ----------
    film_w_m2k : array_like
        Film coefficient h, W/(m2 K), above 0.
    length_mm : array_like
        Half thickness or radius L, mm, above 0.
    conductivity_w_mk : array_like
        Thermal conductivity k, W/(m K), above 0.

    Returns
    -------
    float or array
        Biot number.

    Raises
    ------
    InputError
        A value not above 0.

    Examples
    --------
    >>> round(float(biot_number(20.0, 3.0, 0.2)), 6)
    0.3

    """
    h = positive("film_w_m2k", film_w_m2k, "W/(m2 K)")
    k = positive("conductivity_w_mk", conductivity_w_mk, "W/(m K)")
    return (h * positive("length_mm", length_mm, "mm") * 1e-3 / k)[()]


def fourier_number(diffusivity_mm2_s: ArrayLike, time_s: ArrayLike, length_mm: ArrayLike) -> Any:
    """Fourier number Fo = alpha t / L^2: time over the time that heat needs to cross the body.

    Parameters
    ----------
    diffusivity_mm2_s : array_like
        Thermal diffusivity, mm2/s, above 0.
    time_s : array_like
        Time, s, 0 or more.
    length_mm : array_like
        Half thickness or radius L, mm, above 0.

    Returns
    -------
    float or array
        Fourier number.

    Raises
    ------
    InputError
        A value out of range.

    """
    t = np.asarray(time_s, dtype=float)
    if not np.all((t >= 0.0) & np.isfinite(t)):
        raise InputError("time_s", np.min(t), "0 s or more")
    alpha = positive("diffusivity_mm2_s", diffusivity_mm2_s, "mm2/s")
    return (alpha * t / positive("length_mm", length_mm, "mm") ** 2)[()]


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
    bi = positive("biot", biot, "")[..., None]
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
    bi, place = np.unique(positive("biot", biot, ""), return_inverse=True)
    n = np.arange(terms, dtype=float)
    low = np.broadcast_to(np.where(n == 0, 0.0, _zero(1, n)), (bi.size, terms)).copy()
    high = np.broadcast_to(_zero(0, n + 1), (bi.size, terms)).copy()
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


def slab_theta(biot: ArrayLike, fourier: ArrayLike, *, at: str | float = "core", terms: int = TERMS) -> Any:
    """Share of the temperature difference left in a slab that air washes on both faces.

    Parameters
    ----------
    biot, fourier : array_like
        Biot and Fourier number on the half thickness.
    at : str or float
        ``"core"``, ``"surface"``, ``"mean"`` over the thickness, or a place x/L from 0 (core) to 1 (face).
    terms : int
        Terms of the series; 1 gives the one-term solution (good to 2 % from a Fourier number of 0.2 on).

    Returns
    -------
    float or array
        Theta, 1 at the start, 0 in the end.

    Raises
    ------
    InputError
        A value out of range.

    Notes
    -----
    Source: [1]_, [2]_.

    """
    return Decay("slab", biot, at, terms)(np.asarray(fourier, dtype=float))[()]


def cylinder_theta(biot: ArrayLike, fourier: ArrayLike, *, at: str | float = "core", terms: int = TERMS) -> Any:
    """Share of the temperature difference left in a long cylinder in air.

    Parameters
    ----------
    biot, fourier : array_like
        Biot and Fourier number on the radius.
    at : str or float
        ``"core"``, ``"surface"``, ``"mean"`` over the section, or a place r/R from 0 (axis) to 1 (surface).
    terms : int
        Terms of the series; 1 gives the one-term solution (good to 2 % from a Fourier number of 0.2 on).

    Returns
    -------
    float or array
        Theta, 1 at the start, 0 in the end.

    Raises
    ------
    InputError
        A value out of range.

    Notes
    -----
    Source: [1]_, [2]_.

    """
    return Decay("cylinder", biot, at, terms)(np.asarray(fourier, dtype=float))[()]


def lumped_theta(
    time_s: ArrayLike, film_w_m2k: ArrayLike, volume_over_area_mm: ArrayLike, heat_mj_m3k: ArrayLike
) -> Any:
    """Share of the temperature difference left in a body of one temperature: exp(-h t / (rho c V/A)).

    Parameters
    ----------
    time_s : array_like
        Time, s.
    film_w_m2k : array_like
        Film coefficient, W/(m2 K), above 0.
    volume_over_area_mm : array_like
        Volume over washed area, mm, above 0.
    heat_mj_m3k : array_like
        Heat capacity per volume, MJ/(m3 K), above 0.

    Returns
    -------
    float or array
        Theta; right within a few percent while h (V/A) / k is below 0.1.

    Raises
    ------
    InputError
        A value out of range.

    Notes
    -----
    Source: [1]_.

    """
    h = positive("film_w_m2k", film_w_m2k, "W/(m2 K)")
    length = positive("volume_over_area_mm", volume_over_area_mm, "mm")
    heat = positive("heat_mj_m3k", heat_mj_m3k, "MJ/(m3 K)")
    return np.exp(-h * np.asarray(time_s, dtype=float) / (1e3 * heat * length))[()]


class Decay:
    """The series of one shape for given Biot numbers: roots and weights once, then any Fourier number.

    Parameters
    ----------
    shape : str
        ``"slab"`` or ``"cylinder"``.
    biot : array_like
        Biot number on the half thickness or the radius.
    at : str or float
        As in :func:`slab_theta`.
    terms : int
        Terms of the series.

    """

    def __init__(self, shape: str, biot: ArrayLike, at: str | float = "core", terms: int = TERMS) -> None:
        if not 1 <= int(terms) <= TERMS:
            raise InputError("terms", terms, f"from 1 to {TERMS}")
        place = {"core": 0.0, "surface": 1.0, "mean": np.nan}.get(at, -1.0) if isinstance(at, str) else float(at)
        if not (np.isnan(place) or 0.0 <= place <= 1.0):
            raise InputError("at", at, "core, surface, mean, or a place from 0 to 1")
        self.place, self.terms = place, int(terms)
        if shape == "slab":
            root = slab_roots(biot, self.terms)
            weight = 4.0 * np.sin(root) / (2.0 * root + np.sin(2.0 * root))
            weight *= np.sin(root) / root if np.isnan(place) else np.cos(root * place)
        else:
            root = cylinder_roots(biot, self.terms)
            j0, j1 = _bessel(root)
            weight = 2.0 * j1 / (root * (j0 * j0 + j1 * j1))
            weight *= 2.0 * j1 / root if np.isnan(place) else _bessel(root * place)[0]
        self.rate, self.weight = root * root, weight

    def __call__(self, fourier: Array) -> Array:
        """Theta at the Fourier numbers, which broadcast with the Biot numbers."""
        theta: Array = np.sum(self.weight * np.exp(-self.rate * fourier[..., None]), axis=-1)
        if self.terms == 1:
            return theta
        # A truncated series wavers at the start; there heat has not reached the core yet.
        if self.place == 0.0:
            theta = np.where(fourier < 2e-3, 1.0, theta)
        return np.clip(np.where(fourier == 0.0, 1.0, theta), 0.0, 1.0)


def _zero(order: int, n: Array) -> Array:
    """The n-th positive zero of J0 or J1: McMahon's expansion, then Newton."""
    beta = (n + 0.5 * order - 0.25) * np.pi
    beta = np.where(beta > 0, beta, 1.0)
    mu = 4.0 * order
    z: Array = beta - (mu - 1.0) / (8.0 * beta) - 4.0 * (mu - 1.0) * (7.0 * mu - 31.0) / (3.0 * (8.0 * beta) ** 3)
    for _ in range(4):
        j0, j1 = _bessel(z)
        z = z + j0 / j1 if order == 0 else z - j1 / (j0 - j1 / z)
    return z


def _bessel(x: Array) -> tuple[Array, Array]:
    """J0 and J1 by the midpoint rule on Bessel's integral: exact to 1e-15 for x up to 130 with 48 nodes."""
    phase = x[..., None] * _NODES
    return np.mean(np.cos(phase), axis=-1), np.mean(np.sin(phase) * _NODES, axis=-1)
