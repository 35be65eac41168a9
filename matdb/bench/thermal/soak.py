"""Soak and drift: minutes until a part's core has the chamber's temperature, and what it loses outside.

Lengths in mm, temperatures in degrees Celsius, soak in minutes, drift in seconds. Everything broadcasts.

References
----------
.. [1] Y. A. Cengel, Heat and Mass Transfer, ch. 4 (transient conduction) and 12 (radiation), from memory.
.. [2] A. N. Gent, ed., Engineering with Rubber; L. A. Wood, Rubber Chem. Technol. 19:1145 (1946):
       crystallisation of rubber at rest (from memory).

"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matdb.bench.thermal.conduction import TERMS, Decay, positive
from matdb.errors import InputError
from matdb.material.families import family_named

__all__ = [
    "AIR",
    "CLOCK_SD_S",
    "ROOM_C",
    "ROOM_SD_K",
    "Body",
    "Drift",
    "Share",
    "Soak",
    "SoakCheck",
    "Thermal",
    "body_theta",
    "check_soak",
    "crystallisation_note",
    "doubted",
    "drift",
    "drifted",
    "film_coefficient",
    "film_sd",
    "service_note",
    "soak",
    "thermal_of",
]

Array = NDArray[np.float64]

#: Share of a temperature difference left at the ``"core"`` or in the ``"mean"``; then, where they are doubted, factors
#: on film coefficient and seconds (another heat capacity only stretches them), and seconds to add.
Share = Callable[..., Array]

#: Temperature of the bench, and of a part before its soak, degrees Celsius.
ROOM_C = 23.0
#: Standard deviations of the room's temperature (K) and of the stop watch (s).
ROOM_SD_K, CLOCK_SD_S = 2.0, 1.0
#: A core is soaked through when it is so close to the chamber, K.
WITHIN_K = 1.0
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


#: Family, temperature of fastest crystallisation at rest, half width of the range where it matters (both
#: degC, K).
_CRYSTALLISATION = {
    "natural rubber": (-25.0, 20.0),
    "chloroprene": (-12.0, 18.0),
    "silicone": (-45.0, 15.0),
}


@dataclass(frozen=True)
class Body:
    """What conduction sees of a part: a slab, a long cylinder, or a disc, perhaps with a bore.

    Attributes
    ----------
    height_mm : float, array or None
        Thickness between two faces in air; None for a long cylinder.
    diameter_mm : float, array or None
        Outer diameter; None for a wide slab.
    bore_mm : float or array
        Diameter of a bore, 0 without one. For the soak it is taken as filled (no air, no heat through it),
        for the drift as open: each is the safe side.

    """

    height_mm: Any = None
    diameter_mm: Any = None
    bore_mm: Any = 0.0

    def __post_init__(self) -> None:
        if self.height_mm is None and self.diameter_mm is None:
            raise InputError("body", None, "given by a height_mm, a diameter_mm, or both")
        if self.height_mm is not None:
            positive("height_mm", self.height_mm, "mm")
        if self.diameter_mm is None:
            return
        outer = positive("diameter_mm", self.diameter_mm, "mm")
        bore = np.asarray(self.bore_mm, dtype=float)
        if not np.all((bore >= 0.0) & (bore < outer)):
            raise InputError("bore_mm", np.ravel(bore)[0], f"from 0 to below the diameter ({np.ravel(outer)[0]:g} mm)")

    @classmethod
    def of(cls, form: object) -> Body:
        """The body of a form, from its dimensions ``height_mm`` or ``length_mm``, ``outer_mm``, ``inner_mm``.

        Parameters
        ----------
        form : Form
            Any form with such dimensions.

        Returns
        -------
        Body
            Its body.

        Raises
        ------
        InputError
            The form has none of these dimensions; give a Body by hand.

        """
        height = getattr(form, "height_mm", None) or getattr(form, "length_mm", None)
        outer = getattr(form, "diameter_mm", None) or getattr(form, "outer_mm", None)
        if height is None and outer is None:
            shown = getattr(form, "kind", "") or type(form).__name__
            raise InputError("form", shown, "one with a height or a diameter", "give the part's thickness instead")
        return cls(height, outer, getattr(form, "inner_mm", None) or 0.0)


@dataclass(frozen=True)
class Soak:
    """How long a part must stay: arrays over whatever was asked.

    Attributes
    ----------
    minutes : float or array
        Minutes until the core is within the limit, best estimate.
    minutes_safe : float or array
        The same with a poor air film and a high heat capacity (1.64 standard deviations each): plan with
        this.
    note : str
        What else to know: attached masses, crystallisation.

    """

    minutes: Any
    minutes_safe: Any
    note: str


@dataclass(frozen=True)
class SoakCheck:
    """Whether a soak was long enough.

    Attributes
    ----------
    enough : bool or array
        True when the core is within the limit by the best estimate.
    core_c : float or array
        Likely temperature of the core, degrees Celsius.
    core_sd_k : float or array
        Its standard deviation from the air film and the heat capacity, K.
    mean_c : float or array
        Likely temperature averaged over the part: what its stiffness answers to.
    warning : str
        One line when any soak is too short, else empty.

    """

    enough: Any
    core_c: Any
    core_sd_k: Any
    mean_c: Any
    warning: str


@dataclass(frozen=True)
class Drift:
    """Where a part's temperature has gone since it left the chamber.

    Attributes
    ----------
    temperature_c : float or array
        Temperature averaged over the part now: the one to log.
    temperature_sd_k : float or array
        Its standard deviation, with the chamber's own in it, K.
    drift_k : float or array
        Temperature now less chamber temperature, K.
    seconds_left : float or array
        Seconds until the drift passes the limit; 0 when it has, infinity when it never will.
    warning : str
        One line when a drift has passed the limit, else empty.

    """

    temperature_c: Any
    temperature_sd_k: Any
    drift_k: Any
    seconds_left: Any
    warning: str


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
        273.15 + _least(field, values, -273.15, "degrees Celsius", above=True)
        for field, values in (("surface_c", surface_c), ("air_c", air_c))
    )
    return (_air(air)[0] + _EMISSIVITY * _SIGMA * (ts * ts + ta * ta) * (ts + ta))[()]


def film_sd(air: str | ArrayLike) -> float:
    """Relative standard deviation of the convective film. Raises InputError as :func:`film_coefficient`."""
    return _air(air)[1]


def soak(
    body: Body,
    chamber_c: ArrayLike,
    *,
    start_c: ArrayLike = ROOM_C,
    family: str = "unknown",
    air: str | ArrayLike = "still",
) -> Soak:
    """Minutes that a part must stay in a freezer or an oven until its core is within 1 K of it.

    Parameters
    ----------
    body : Body
        The part's dimensions, mm; ``Body.of(form)`` makes it.
    chamber_c : array_like
        Temperature of the chamber, degrees Celsius.
    start_c : array_like
        Temperature of the part at the start, degrees Celsius.
    family : str
        The material's family, for conductivity and diffusivity.
    air : str or array_like
        ``"still"``, ``"fanned"``, or a convective coefficient in W/(m2 K), radiation then still added.

    Returns
    -------
    Soak
        Minutes, best and safe.

    Raises
    ------
    InputError
        A value out of range.

    Notes
    -----
    The part alone in air. A plate or camera left on it sets the pace instead: its heat capacity is hundreds
    of times the part's. Source: [1]_.

    """
    props = thermal_of(family)
    start, chamber = np.broadcast_arrays(np.asarray(start_c, dtype=float), np.asarray(chamber_c, dtype=float))
    gap = np.abs(start - chamber)
    h = film_coefficient(air, 0.5 * (start + chamber), chamber)
    target = np.where(gap > WITHIN_K, np.minimum(WITHIN_K / np.where(gap > 0, gap, 1.0), 1.0), 1.0)
    k, alpha = props.conductivity_w_mk, props.diffusivity_mm2_s
    best = _time_to(body_theta(body, h, k, alpha), target) / 60.0
    poor, slow = h * np.exp(-1.64 * film_sd(air)), alpha * np.exp(-1.64 * props.relative_sd)
    safe = _time_to(body_theta(body, poor, k, slow), target) / 60.0
    note = "for the part alone; with a plate or a mass on it soak several times longer, or soak it apart"
    return Soak(best[()], safe[()], note)


def check_soak(
    body: Body,
    minutes: ArrayLike,
    chamber_c: ArrayLike,
    *,
    start_c: ArrayLike = ROOM_C,
    family: str = "unknown",
    air: str | ArrayLike = "still",
) -> SoakCheck:
    """Was the soak long enough, and if not, how warm is the core likely to be.

    Parameters
    ----------
    body : Body
        The part's dimensions, mm.
    minutes : array_like
        Minutes in the chamber, 0 or more.
    chamber_c, start_c : array_like
        Temperature of the chamber, and of the part before, degrees Celsius.
    family, air
        As in :func:`soak`.

    Returns
    -------
    SoakCheck
        Verdict, likely core temperature, a line of warning.

    Raises
    ------
    InputError
        A value out of range.

    """
    props = thermal_of(family)
    time = 60.0 * _least("minutes", minutes, 0.0, "min")
    start, chamber = np.asarray(start_c, dtype=float), np.asarray(chamber_c, dtype=float)
    left = share_left(body, film_coefficient(air, 0.5 * (start + chamber), chamber), props, time)
    theta, variance = doubted(left, "core", -film_sd(air), -props.relative_sd)
    core, mean = (chamber + (start - chamber) * share for share in (theta, left("mean")))
    enough = np.abs(core - chamber) <= WITHIN_K * (1.0 + 1e-9)
    warning = ""
    if not np.all(enough):
        needed = soak(body, chamber, start_c=start, family=family, air=air).minutes
        worst = int(np.argmax(np.ravel(np.abs(core - chamber))))
        shown = [float(np.ravel(np.broadcast_to(v, np.shape(core)))[worst]) for v in (minutes, needed, core, chamber)]
        warning = (
            f"soaked {shown[0]:.3g} min of about {shown[1]:.0f}: the core is likely at {shown[2]:.1f} degC, "
            f"not at the chamber's {shown[3]:.1f} degC"
        )
    return SoakCheck(enough[()], core[()], (np.abs(start - chamber) * np.sqrt(variance))[()], mean[()], warning)


def drift(
    body: Body,
    chamber_c: ArrayLike,
    seconds_out: ArrayLike,
    *,
    room_c: ArrayLike = ROOM_C,
    family: str = "unknown",
    air: str | ArrayLike = "still",
    chamber_sd_k: ArrayLike = 0.5,
    limit_k: float = 2.0,
) -> Drift:
    """Temperature of a part ``seconds_out`` after it left the chamber, and the seconds that remain.

    Parameters
    ----------
    body : Body
        The part's dimensions, mm, taken as free in air all round.
    chamber_c : array_like
        Temperature at which it was soaked through, degrees Celsius.
    seconds_out : array_like
        Seconds since it left the chamber, 0 or more.
    room_c : array_like
        Air temperature at the bench, degrees Celsius.
    family, air
        As in :func:`soak`.
    chamber_sd_k : array_like
        Standard deviation of the chamber's temperature, K.
    limit_k : float
        Drift that makes a reading useless unless it is corrected, K.

    Returns
    -------
    Drift
        Temperature now with its standard deviation, drift, seconds left.

    Raises
    ------
    InputError
        A value out of range.

    Notes
    -----
    The mean over the volume follows the exact series; for its uncertainty see :func:`drifted`. Moisture that freezes
    on a cold part adds heat that is not counted. Source: [1]_.

    """
    props = thermal_of(family)
    time = _least("seconds_out", seconds_out, 0.0, "s")
    chamber, room = np.asarray(chamber_c, dtype=float), np.asarray(room_c, dtype=float)
    h, gap = film_coefficient(air, chamber, room), room - chamber
    moved, variance = drifted(share_left(body, h, props, time, bore_open=True), gap, film_sd(air), props)
    mean = body_theta(body, h, props.conductivity_w_mk, props.diffusivity_mm2_s, "mean", bore_open=True)
    far = np.abs(gap) > limit_k
    target = np.where(far, 1.0 - limit_k / np.where(far, np.abs(gap), 2.0 * limit_k), 1.0)
    left = np.where(far, np.maximum(_time_to(mean, target) - time, 0.0), np.inf)
    warning = ""
    if np.any(np.abs(moved) > limit_k):
        warning = (
            f"out of the chamber for {float(np.max(time)):.0f} s: the part has drifted by about "
            f"{float(np.max(np.abs(moved))):.1f} K; its temperature is corrected and less certain"
        )
    sd = np.sqrt(np.asarray(chamber_sd_k, dtype=float) ** 2 + variance)
    return Drift((chamber + moved)[()], sd[()], moved[()], left[()], warning)


def share_left(body: Body, film: Array, props: Thermal, seconds: Array, *, bore_open: bool = False) -> Share:
    """The exact series of a body as a :data:`Share`."""

    def left(at: str, film_by: float = 1.0, seconds_by: float = 1.0, later_s: float = 0.0) -> Array:
        series = body_theta(
            body, film * film_by, props.conductivity_w_mk, props.diffusivity_mm2_s, at, bore_open=bore_open
        )
        return series(seconds * seconds_by + later_s)

    return left


def doubted(left: Share, at: str, ln_film: float, ln_heat: float) -> tuple[Array, Array]:
    """Share left of core or mean, and its variance if the film and the heat are off by these deviations of ln."""
    share = left(at)
    by_film = left(at, math.exp(ln_film)) - share
    by_heat = left(at, 1.0, math.exp(ln_heat)) - share
    return share, by_film**2 + by_heat**2


def drifted(left: Share, gap: Array, ln_film: float, props: Thermal) -> tuple[Array, Array]:
    """How far a part's mean has moved outside the chamber, K, and the variance of that, K2.

    Doubts add in squares: air film, heat capacity, clock, room, and a quarter of the difference between average and
    core (the strain need not be spread like the temperature).
    """
    share, variance = doubted(left, "mean", ln_film, props.relative_sd)
    by_clock, spread = left("mean", later_s=CLOCK_SD_S) - share, left("core") - share
    variance = gap**2 * (variance + by_clock**2 + (0.25 * spread) ** 2) + (ROOM_SD_K * (1.0 - share)) ** 2
    return gap * (1.0 - share), variance


def service_note(family: str, temperature_c: float) -> str:
    """A warning where a chamber is set outside the family's usual service range; empty inside it.

    Parameters
    ----------
    family : str
        A family of ``data/families.csv``.
    temperature_c : float
        Degrees Celsius.

    Raises
    ------
    InputError
        Unknown family.
    """
    table = family_named(family)
    low, high = table["service_min"].value, table["service_max"].value
    if low <= temperature_c <= high:
        return ""
    harm = "it can smoke, melt or set" if temperature_c > high else "it can turn brittle and crack"
    return f"{temperature_c:g} degC is outside the usual service range of {family} ({low:g} to {high:g} degC): {harm}"


def crystallisation_note(family: str, temperature_c: float, soak_min: float | None = None) -> str:
    """A line about crystallisation at rest, for families and temperatures where it matters; else empty.

    Parameters
    ----------
    family : str
        The material's family.
    temperature_c : float
        Soak temperature, degrees Celsius.
    soak_min : float, optional
        Minutes soaked; None when not known yet.

    Returns
    -------
    str
        One line, or an empty string.

    Notes
    -----
    Fastest for natural rubber at -25, chloroprene at -12, silicone near -45 degrees Celsius, over hours at
    rest; it stiffens the part beyond what any shift law says. Half widths of the ranges: common practice.
    Source: [2]_.

    """
    name = family.strip().lower().replace("_", " ").replace("-", " ")
    found = next((v for k, v in _CRYSTALLISATION.items() if k in name and "gel" not in name), None)
    if found is None or abs(temperature_c - found[0]) > found[1]:
        return ""
    where = f"{family} crystallises at rest within hours here (fastest near {found[0]:g} degC)"
    if soak_min is not None and soak_min >= 120.0:
        return f"{where}: this long soak may show it; repeat after a short one to tell it from the glass transition"
    return f"{where}: a short soak does not show it, a day in the cold may be far stiffer"


def body_theta(
    body: Body,
    film: ArrayLike,
    conductivity: ArrayLike,
    diffusivity: ArrayLike,
    at: str = "core",
    *,
    terms: int = TERMS,
    bore_open: bool = False,
) -> Callable[[Array], Array]:
    """Share of the temperature difference that a body has left, as a function of seconds.

    Parameters
    ----------
    body : Body
        Its dimensions, mm.
    film, conductivity, diffusivity : array_like
        Film coefficient W/(m2 K), conductivity W/(m K), diffusivity mm2/s, above 0.
    at : str
        ``"core"`` or ``"mean"``.
    terms : int
        Terms of the series.
    bore_open : bool
        Air in the bore: heat goes through it too.

    Returns
    -------
    callable
        From seconds (an array, broadcasts with the rest) to theta, 1 at the start and 0 in the end.

    Raises
    ------
    InputError
        A value that is not above 0.

    Notes
    -----
    Another heat capacity only stretches the seconds. Source: [1]_.

    """
    h = positive("film_w_m2k", film, "W/(m2 K)")
    k = positive("conductivity_w_mk", conductivity, "W/(m K)")
    alpha = positive("diffusivity_mm2_s", diffusivity, "mm2/s")

    def shape(kind: str, half_mm: Array) -> Callable[[Array], Array]:
        series = Decay(kind, np.asarray(1e-3 * h * half_mm / k), at, terms)
        return lambda seconds: series(np.asarray(alpha * seconds / half_mm**2))

    one = lambda seconds: np.ones(np.shape(seconds))  # noqa: E731
    flat = one if body.height_mm is None else shape("slab", 0.5 * np.asarray(body.height_mm, dtype=float))
    if body.diameter_mm is None:
        return flat
    outer, bore = np.asarray(body.diameter_mm, dtype=float), np.asarray(body.bore_mm, dtype=float)
    wall = 0.5 * (outer - bore)
    round_ = shape("cylinder", 0.5 * outer)
    if not np.any(bore > 0.0):
        return lambda seconds: flat(seconds) * round_(seconds)
    plate = shape("slab", 0.5 * wall if bore_open else wall)

    def hollow(seconds: Array) -> Array:
        full, ring = round_(seconds), plate(seconds)
        return flat(seconds) * np.where(bore > 0.0, np.minimum(full, ring), full)

    return hollow


def _time_to(theta: Callable[[Array], Array], target: Array) -> Array:
    """Seconds until theta has fallen to the target (0 where the target is 1): doubling, then halving."""
    shape = np.broadcast_shapes(np.shape(theta(np.asarray(1.0))), target.shape)
    high = np.full(shape, 1.0)
    for _ in range(60):
        above = (theta(high) > target) & (target < 1.0)
        if not np.any(above):
            break
        high = np.where(above, 2.0 * high, high)
    low = np.zeros(shape)
    for _ in range(60):
        middle = 0.5 * (low + high)
        above = theta(middle) > target
        low, high = np.where(above, middle, low), np.where(above, high, middle)
        if np.all(high - low <= 1e-10 * high):
            break
    return np.where(target < 1.0, high, 0.0)


def _air(air: str | ArrayLike) -> tuple[Array, float]:
    if isinstance(air, str):
        if air not in AIR:
            raise InputError("air", air, "still, fanned, or a film coefficient in W/(m2 K)")
        value, sd = AIR[air]
        return np.asarray(value), sd
    return positive("air", air, "W/(m2 K)"), 0.10


def _least(field: str, values: ArrayLike, low: float, unit: str, *, above: bool = False) -> Array:
    """The values as floats. Raises InputError unless all are finite and at least (or above) the lowest allowed."""
    allowed = f"above {low:g} {unit}" if above else f"{low:g} {unit} or more"
    try:
        array = np.asarray(values, dtype=float)
    except (TypeError, ValueError, OverflowError):
        raise InputError(field, values, allowed) from None
    if not np.all(((array > low) if above else (array >= low)) & np.isfinite(array)):
        raise InputError(field, np.min(array), allowed)
    return array
