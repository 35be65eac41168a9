"""What conduction sees of a part: its body, its material's conductivity, the air around it.

References
----------
.. [1] Y. A. Cengel, Heat and Mass Transfer, ch. 4 (transient conduction) and 12 (radiation), from memory.

"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matdb.bench.thermal.conduction import TERMS, Decay
from matdb.checks import ABSOLUTE_ZERO_C, checked_array, checked_number
from matdb.errors import InputError
from matdb.material.families import family_named

Array = NDArray[np.float64]

#: Share of a temperature difference left at the ``"core"`` or in the ``"mean"``; then, where they are doubted, factors
#: on film coefficient and seconds (another heat capacity only stretches them), and seconds to add.
Share = Callable[..., Array]

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

    def __post_init__(self) -> None:
        if self.height_mm is None and self.diameter_mm is None:
            raise InputError("body", None, "given by a height_mm, a diameter_mm, or both")
        for field in ("height_mm", "diameter_mm"):
            if getattr(self, field) is not None:
                checked_number(field, getattr(self, field), 0.0, math.inf, "mm", open_low=True)
        if self.diameter_mm is not None and not 0.0 <= self.bore_mm < self.diameter_mm:
            raise InputError("bore_mm", self.bore_mm, f"from 0 to below the diameter ({self.diameter_mm:g} mm)")


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


def film_coefficient(air: str | ArrayLike, surface_c: ArrayLike, air_c: ArrayLike) -> Any:
    r"""Film coefficient of a small part in air: convection plus radiation.

    .. math:: h = h_{conv} + \varepsilon\sigma (T_s^2 + T_a^2)(T_s + T_a)

    Parameters
    ----------
    air : str or array_like
        ``"still"``, ``"fanned"``, or a convective coefficient in W/(m2 K).
    surface_c, air_c : array_like
        Temperatures of surface and surroundings, degrees Celsius.

    Returns
    -------
    float or array
        W/(m2 K); radiation adds 3 to 6.

    Raises
    ------
    InputError
        An unknown word for the air, a coefficient not above 0, a temperature below absolute zero.

    Notes
    -----
    Source: [1]_.

    """
    ts, ta = (
        checked_array(field, values, ABSOLUTE_ZERO_C, math.inf, "degrees Celsius", open_low=True) - ABSOLUTE_ZERO_C
        for field, values in (("surface_c", surface_c), ("air_c", air_c))
    )
    return (_air(air)[0] + _EMISSIVITY * _SIGMA * (ts * ts + ta * ta) * (ts + ta))[()]


def film_sd(air: str | ArrayLike) -> float:
    """Relative standard deviation of the convective film. Raises InputError as :func:`film_coefficient`."""
    return _air(air)[1]


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


def _air(air: str | ArrayLike) -> tuple[Array, float]:
    if isinstance(air, str):
        if air not in AIR:
            raise InputError("air", air, "still, fanned, or a film coefficient in W/(m2 K)")
        value, sd = AIR[air]
        return np.asarray(value), sd
    return checked_array("air", air, 0.0, math.inf, "W/(m2 K)", open_low=True), 0.10
