r"""What conduction sees of a part, and how its temperature follows the air around it.

A body at one temperature is put into air of another; ``theta`` is the share of that difference that is left,

.. math:: \theta = \frac{T - T_\infty}{T_0 - T_\infty} = \sum_n A_n \varphi_n(x) e^{-\lambda_n^2 Fo},
   \quad Fo = \alpha t/L^2, \quad Bi = hL/k

with L half the thickness of a slab or the radius of a cylinder. A short cylinder is the product of the two.

References
----------
.. [1] Y. A. Cengel, Heat and Mass Transfer, ch. 4 (transient conduction, Table 4-2) and 12 (radiation), from memory.
.. [2] H. S. Carslaw and J. C. Jaeger, Conduction of Heat in Solids, 2nd ed., 3.11 and 7.7 (from memory).

"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from matdb.arrays import Array
from matdb.checks import ABSOLUTE_ZERO_C, checked_array
from matdb.errors import InputError
from matdb.form.base import FormBase
from matdb.material.families import family_named

#: Share of a temperature difference left at the ``"core"`` or in the ``"mean"``; then, where they are doubted, factors
#: on film coefficient and seconds (another heat capacity only stretches them), and seconds to add.
Share = Callable[..., Array]

#: Terms of the series; enough for 1e-6 from a Fourier number of 1e-3 on.
TERMS = 40
#: Stefan-Boltzmann constant, W/(m2 K4).
_SIGMA = 5.670374e-8
#: Emissivity of elastomers; 0.85 to 0.95.
_EMISSIVITY = 0.9
#: Air around a part: convective film coefficient in W/(m2 K) and its relative standard deviation.
#: Still air 6 to 9 for a body of this size, a fan 15 to 40 (common practice, no source).
AIR: dict[str, tuple[float, float]] = {"still": (7.5, 0.15), "fanned": (25.0, 0.30)}


@dataclass(frozen=True)
class Thermal:
    """Thermal properties of a family of elastomers.

    Attributes
    ----------
    conductivity_w_mk : float
        Conductivity, W/(m K).
    diffusivity_mm2_s : float
        Diffusivity, mm2/s (1e-6 m2/s).
    relative_sd : float
        Relative standard deviation of the heat capacity per volume within the family (fillers).

    """

    conductivity_w_mk: float
    diffusivity_mm2_s: float
    relative_sd: float


@dataclass(frozen=True)
class Body:
    """What conduction sees of a part: a slab, a long cylinder, or a disc, perhaps with a bore.

    Attributes
    ----------
    height_mm : float or None
        Thickness between two faces in air; None for a long cylinder.
    diameter_mm : float or None
        Outer diameter; None for a wide slab.
    bore_mm : float
        Diameter of a bore, 0 without one; air goes through it.

    """

    height_mm: float | None = None
    diameter_mm: float | None = None
    bore_mm: float = 0.0


def body_of(form: FormBase) -> Body | None:
    """What conduction sees of a form; None when its dimensions do not say.

    Parameters
    ----------
    form : Form
        Any form. Of a pair the taller half counts, of a taper the mean diameter.

    Returns
    -------
    Body or None
        Its body; None for forms known by readings alone and for cable loops.
    """
    return None if form.solid_mm is None else Body(*form.solid_mm)


def thermal_of(family: str) -> Thermal:
    """Thermal properties of a family, from the shipped table of families.

    Parameters
    ----------
    family : str
        The family's name; ``"unknown"`` gives middling values with a wide band.

    Returns
    -------
    Thermal
        Conductivity, diffusivity, spread.

    Raises
    ------
    InputError
        No such family.

    """
    row = family_named(family)
    conductivity, diffusivity = row["conductivity"], row["diffusivity"]
    return Thermal(conductivity.value, 0.1 * diffusivity.value, diffusivity.spread)


def film_coefficient(air: str, surface_c: ArrayLike, air_c: ArrayLike) -> Any:
    r"""Film coefficient of a small part in air: convection plus radiation.

    .. math:: h = h_{conv} + \varepsilon\sigma (T_s^2 + T_a^2)(T_s + T_a)

    Parameters
    ----------
    air : str
        ``"still"`` or ``"fanned"``.
    surface_c, air_c : array_like
        Temperatures of surface and surroundings, degrees Celsius.

    Returns
    -------
    float or array
        W/(m2 K); radiation adds 3 to 6.

    Raises
    ------
    InputError
        An unknown word for the air, a temperature below absolute zero.

    Notes
    -----
    Source: [1]_.

    """
    ts, ta = (
        checked_array(field, values, ABSOLUTE_ZERO_C, math.inf, "degrees Celsius", open_low=True) - ABSOLUTE_ZERO_C
        for field, values in (("surface_c", surface_c), ("air_c", air_c))
    )
    return (_air(air)[0] + _EMISSIVITY * _SIGMA * (ts * ts + ta * ta) * (ts + ta))[()]


def film_sd(air: str) -> float:
    """Relative standard deviation of the convective film. Raises InputError as :func:`film_coefficient`."""
    return _air(air)[1]


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


def body_theta(
    body: Body,
    film: Array | float,
    conductivity: float,
    diffusivity: Array | float,
    at: str = "core",
    *,
    terms: int = TERMS,
) -> Callable[[Array], Array]:
    """Share of the temperature difference that a body has left, as a function of seconds.

    Parameters
    ----------
    body : Body
        Its dimensions, mm.
    film, conductivity, diffusivity : array
        Film coefficient W/(m2 K), conductivity W/(m K), diffusivity mm2/s, above 0.
    at : str
        ``"core"`` or ``"mean"``.
    terms : int
        Terms of the series.

    Returns
    -------
    callable
        From seconds (an array, broadcasts with the rest) to theta, 1 at the start and 0 in the end.

    Notes
    -----
    A disc is the product of slab and cylinder, exact for a uniform film. A ring with air in its bore takes the
    cylinder whose radius is its wall, which has the same surface over volume: against the exact series of the hollow
    cylinder it is up to 2 % slow for parts of 16 mm, 4 % for 30 mm. Source: [1]_.

    """
    h, k, alpha = film, conductivity, diffusivity

    def shape(kind: str, half_mm: float) -> Callable[[Array], Array]:
        series = Decay(kind, np.asarray(1e-3 * h * half_mm / k), at, terms)
        return lambda seconds: series(np.asarray(alpha * seconds / half_mm**2))

    product = []
    if body.height_mm is not None:
        product.append(shape("slab", 0.5 * body.height_mm))
    if body.diameter_mm is not None:
        product.append(shape("cylinder", 0.5 * (body.diameter_mm - body.bore_mm)))
    return lambda seconds: np.asarray(math.prod(each(seconds) for each in product))


def share_left(body: Body, film: Array, props: Thermal, seconds: Array) -> Share:
    """The exact series of a body as a :data:`Share`."""

    def left(at: str, film_by: float = 1.0, seconds_by: float = 1.0, later_s: float = 0.0) -> Array:
        series = body_theta(body, film * film_by, props.conductivity_w_mk, props.diffusivity_mm2_s, at)
        return series(seconds * seconds_by + later_s)

    return left


def _air(air: str) -> tuple[float, float]:
    if air not in AIR:
        raise InputError("air", air, "still or fanned")
    return AIR[air]
