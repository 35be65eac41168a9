"""Soak and drift: minutes until a part's core has the chamber's temperature, and what it loses outside.

Lengths in mm, temperatures in degrees Celsius, soak in minutes, drift in seconds. Everything broadcasts.

References
----------
.. [1] Y. A. Cengel, Heat and Mass Transfer, ch. 4 (transient conduction) and 12 (radiation), from memory.
.. [2] A. N. Gent, ed., Engineering with Rubber; L. A. Wood, Rubber Chem. Technol. 19:1145 (1946):
       crystallisation of rubber at rest (from memory).

"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matdb.bench.conduction import TERMS, Decay, positive
from matdb.errors import InputError
from matdb.material.families import family_named

__all__ = [
    "AIR",
    "Body",
    "Drift",
    "Soak",
    "SoakCheck",
    "Thermal",
    "body_theta",
    "check_soak",
    "core_temperature",
    "crystallisation_note",
    "drift",
    "film_coefficient",
    "service_note",
    "soak",
    "thermal_of",
]

Array = NDArray[np.float64]

ROOM_C = 23.0
#: Stefan-Boltzmann constant, W/(m2 K4).
_SIGMA = 5.670374e-8
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
    source : str
        Where the figures come from.

    """

    conductivity_w_mk: float
    diffusivity_mm2_s: float
    relative_sd: float
    source: str

    @property
    def heat_mj_m3k(self) -> float:
        """Heat capacity per volume, MJ/(m3 K)."""
        return self.conductivity_w_mk / self.diffusivity_mm2_s


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
    within_k : float
        The limit, K.
    note : str
        What else to know: attached masses, crystallisation.

    """

    minutes: Any
    minutes_safe: Any
    within_k: float
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
    minutes_needed : float or array
        Minutes that it takes, best estimate.
    warning : str
        One line when any soak is too short, else empty.

    """

    enough: Any
    core_c: Any
    core_sd_k: Any
    mean_c: Any
    minutes_needed: Any
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
    spread_k : float or array
        How far the average runs ahead of the core, K.
    seconds_left : float or array
        Seconds until the drift passes the limit; 0 when it has, infinity when it never will.
    limit_k : float
        The limit, K.
    warning : str
        One line when a drift has passed the limit, else empty.

    """

    temperature_c: Any
    temperature_sd_k: Any
    drift_k: Any
    spread_k: Any
    seconds_left: Any
    limit_k: float
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
        Conductivity, diffusivity, spread, source.

    Raises
    ------
    InputError
        No such family.

    """
    row = family_named(family)
    conductivity, diffusivity = row["conductivity"], row["diffusivity"]
    return Thermal(conductivity.value, 0.1 * diffusivity.value, diffusivity.spread, diffusivity.source)


def film_coefficient(
    air: str | ArrayLike, surface_c: ArrayLike = ROOM_C, air_c: ArrayLike = ROOM_C, *, emissivity: float = 0.9
) -> Any:
    r"""Film coefficient of a small part in air: convection plus radiation.

    .. math:: h = h_{conv} + \varepsilon\sigma (T_s^2 + T_a^2)(T_s + T_a)

    Parameters
    ----------
    air : str or array_like
        ``"still"``, ``"fanned"``, or a convective coefficient in W/(m2 K).
    surface_c, air_c : array_like
        Temperatures of surface and surroundings, degrees Celsius.
    emissivity : float
        Of the surface, 0 to 1; elastomers 0.85 to 0.95.

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
    convective, _ = _air(air)
    ts, ta = _kelvin("surface_c", surface_c), _kelvin("air_c", air_c)
    if not 0.0 <= emissivity <= 1.0:
        raise InputError("emissivity", emissivity, "from 0 to 1")
    return (convective + emissivity * _SIGMA * (ts * ts + ta * ta) * (ts + ta))[()]


def core_temperature(
    body: Body,
    minutes: ArrayLike,
    *,
    start_c: ArrayLike,
    chamber_c: ArrayLike,
    film_w_m2k: ArrayLike,
    conductivity_w_mk: ArrayLike,
    diffusivity_mm2_s: ArrayLike,
    at: str = "core",
    terms: int = TERMS,
) -> Any:
    """Temperature of a body some minutes after it was put into air of another temperature.

    Parameters
    ----------
    body : Body
        Its dimensions, mm.
    minutes : array_like
        Time, minutes, 0 or more.
    start_c, chamber_c : array_like
        Temperature of the body at the start and of the air, degrees Celsius.
    film_w_m2k, conductivity_w_mk, diffusivity_mm2_s : array_like
        Film coefficient W/(m2 K), conductivity W/(m K), diffusivity mm2/s.
    at : str
        ``"core"``, ``"mean"`` or ``"surface"``.
    terms : int
        Terms of the series; 1 for the one-term solution.

    Returns
    -------
    float or array
        Degrees Celsius.

    Raises
    ------
    InputError
        A value out of range.

    Notes
    -----
    A disc is the product of slab and cylinder, exact for a uniform film; a ring takes the lesser of two upper
    bounds, the full disc and a plate of twice the wall. Source: [1]_.

    """
    seconds = 60.0 * _nonnegative("minutes", minutes, "min")
    start, chamber = np.asarray(start_c, dtype=float), np.asarray(chamber_c, dtype=float)
    theta = body_theta(body, film_w_m2k, conductivity_w_mk, diffusivity_mm2_s, at, terms)
    return (chamber + (start - chamber) * theta(seconds))[()]


def soak(
    body: Body,
    chamber_c: ArrayLike,
    *,
    start_c: ArrayLike = ROOM_C,
    family: str = "unknown",
    air: str | ArrayLike = "still",
    within_k: float = 1.0,
    thermal: Thermal | None = None,
) -> Soak:
    """Minutes that a part must stay in a freezer or an oven until its core is within ``within_k`` of it.

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
    within_k : float
        The limit, K, above 0.
    thermal : Thermal, optional
        Properties to take instead of the family's.

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
    props = thermal or thermal_of(family)
    limit = float(positive("within_k", within_k, "K"))
    start, chamber = np.broadcast_arrays(np.asarray(start_c, dtype=float), np.asarray(chamber_c, dtype=float))
    gap = np.abs(start - chamber)
    h = film_coefficient(air, 0.5 * (start + chamber), chamber)
    target = np.minimum(limit / np.where(gap > 0, gap, 1.0), 1.0)
    target = np.where(gap > limit, target, 1.0)
    best = _time_to(body_theta(body, h, props.conductivity_w_mk, props.diffusivity_mm2_s), target) / 60.0
    poor = h * np.exp(-1.64 * _air(air)[1])
    slow = props.diffusivity_mm2_s * np.exp(-1.64 * props.relative_sd)
    safe = _time_to(body_theta(body, poor, props.conductivity_w_mk, slow), target) / 60.0
    note = "for the part alone; with a plate or a mass on it soak several times longer, or soak it apart"
    return Soak(best[()], safe[()], limit, note)


def check_soak(
    body: Body,
    minutes: ArrayLike,
    chamber_c: ArrayLike,
    *,
    start_c: ArrayLike = ROOM_C,
    family: str = "unknown",
    air: str | ArrayLike = "still",
    within_k: float = 1.0,
    thermal: Thermal | None = None,
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
    family, air, within_k, thermal
        As in :func:`soak`.

    Returns
    -------
    SoakCheck
        Verdict, likely core temperature, minutes needed, a line of warning.

    Raises
    ------
    InputError
        A value out of range.

    """
    props = thermal or thermal_of(family)
    time = 60.0 * _nonnegative("minutes", minutes, "min")
    start, chamber = np.asarray(start_c, dtype=float), np.asarray(chamber_c, dtype=float)
    needed = soak(body, chamber, start_c=start, family=family, air=air, within_k=within_k, thermal=props)
    h = film_coefficient(air, 0.5 * (start + chamber), chamber)
    k, alpha = props.conductivity_w_mk, props.diffusivity_mm2_s
    theta = body_theta(body, h, k, alpha)(time)
    mean = chamber + (start - chamber) * body_theta(body, h, k, alpha, "mean")(time)
    by_film = body_theta(body, h * np.exp(-_air(air)[1]), k, alpha)(time) - theta
    by_heat = body_theta(body, h, k, alpha * np.exp(-props.relative_sd))(time) - theta
    core = chamber + (start - chamber) * theta
    sd = np.abs(start - chamber) * np.hypot(by_film, by_heat)
    enough = np.abs(core - chamber) <= needed.within_k * (1.0 + 1e-9)
    warning = ""
    if not np.all(enough):
        worst = int(np.argmax(np.ravel(np.abs(core - chamber))))
        shown = [
            float(np.ravel(np.broadcast_to(v, np.shape(core)))[worst]) for v in (minutes, needed.minutes, core, chamber)
        ]
        warning = (
            f"soaked {shown[0]:.3g} min of about {shown[1]:.0f}: the core is likely at {shown[2]:.1f} degC, "
            f"not at the chamber's {shown[3]:.1f} degC"
        )
    return SoakCheck(enough[()], core[()], sd[()], mean[()], needed.minutes, warning)


def drift(
    body: Body,
    chamber_c: ArrayLike,
    seconds_out: ArrayLike,
    *,
    room_c: ArrayLike = ROOM_C,
    family: str = "unknown",
    air: str | ArrayLike = "still",
    chamber_sd_k: ArrayLike = 0.5,
    room_sd_k: ArrayLike = 2.0,
    seconds_sd: ArrayLike = 1.0,
    limit_k: float = 2.0,
    thermal: Thermal | None = None,
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
    family, air, thermal
        As in :func:`soak`.
    chamber_sd_k, room_sd_k, seconds_sd : array_like
        Standard deviations of chamber and room temperature (K) and of the seconds.
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
    The mean over the volume follows the exact series. Its uncertainty adds, in squares: chamber, room,
    clock, air film, heat capacity, and a quarter of the difference between average and core (the strain need
    not be spread like the temperature). Moisture that freezes on a cold part adds heat that is not counted.
    Source: [1]_.

    """
    props = thermal or thermal_of(family)
    limit = float(positive("limit_k", limit_k, "K"))
    time = _nonnegative("seconds_out", seconds_out, "s")
    chamber, room = np.asarray(chamber_c, dtype=float), np.asarray(room_c, dtype=float)
    h = film_coefficient(air, chamber, room)
    k, alpha = props.conductivity_w_mk, props.diffusivity_mm2_s
    mean = body_theta(body, h, k, alpha, "mean", bore_open=True)
    theta, gap = mean(time), room - chamber
    by_film = body_theta(body, h * np.exp(_air(air)[1]), k, alpha, "mean", bore_open=True)(time) - theta
    by_heat = body_theta(body, h, k, alpha * np.exp(props.relative_sd), "mean", bore_open=True)(time) - theta
    by_clock = mean(time + np.asarray(seconds_sd, dtype=float)) - theta
    core = body_theta(body, h, k, alpha, "core", bore_open=True)(time)
    spread = gap * (core - theta)
    moved = gap * (1.0 - theta)
    variance = (
        np.asarray(chamber_sd_k, dtype=float) ** 2
        + (np.asarray(room_sd_k, dtype=float) * (1.0 - theta)) ** 2
        + gap**2 * (by_film**2 + by_heat**2 + by_clock**2)
        + (0.25 * spread) ** 2
    )
    far = np.abs(gap) > limit
    target = np.where(far, 1.0 - limit / np.where(far, np.abs(gap), 2.0 * limit), 1.0)
    left = np.where(far, np.maximum(_time_to(mean, target) - time, 0.0), np.inf)
    warning = ""
    if np.any(np.abs(moved) > limit):
        warning = (
            f"out of the chamber for {float(np.max(time)):.0f} s: the part has drifted by about "
            f"{float(np.max(np.abs(moved))):.1f} K; its temperature is corrected and less certain"
        )
    return Drift((chamber + moved)[()], np.sqrt(variance)[()], moved[()], spread[()], left[()], limit, warning)


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
    terms: int = TERMS,
    *,
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
        ``"core"``, ``"mean"`` or ``"surface"``.
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


def _kelvin(field: str, values: ArrayLike) -> Array:
    try:
        kelvin = np.asarray(values, dtype=float) + 273.15
    except (TypeError, ValueError, OverflowError):
        raise InputError(field, values, "a temperature in degrees Celsius") from None
    if not np.all((kelvin > 0.0) & np.isfinite(kelvin)):
        raise InputError(field, np.min(kelvin) - 273.15, "above -273.15 degrees Celsius")
    return kelvin


def _nonnegative(field: str, values: ArrayLike, unit: str) -> Array:
    try:
        array = np.asarray(values, dtype=float)
    except (TypeError, ValueError, OverflowError):
        raise InputError(field, values, f"0 {unit} or more") from None
    if not np.all((array >= 0.0) & np.isfinite(array)):
        raise InputError(field, np.min(array), f"0 {unit} or more")
    return array
