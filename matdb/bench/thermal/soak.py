"""Soak and drift: minutes until a part's core has the chamber's temperature, what it loses outside, and the temperature
that it really had when it was read.

A reading keeps what was typed: the chamber's temperature, the soak, the seconds. Fits take the temperature from here.
Lengths in mm, temperatures in degrees Celsius, soak in minutes, drift in seconds. Soak and drift broadcast.

References
----------
.. [1] Y. A. Cengel, Heat and Mass Transfer, ch. 4 (transient conduction) and 12 (radiation), from memory.

"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike

from matdb.arrays import Array
from matdb.bench.readings import Reading
from matdb.bench.thermal.body import (
    Body,
    Share,
    Thermal,
    body_of,
    body_theta,
    film_coefficient,
    film_sd,
    share_left,
    thermal_of,
)
from matdb.checks import checked_array
from matdb.form.part import Part
from matdb.material.crystallisation import Crystallisation, crystallisation_of
from matdb.material.families import family_named

#: Temperature of the bench, and of a part before its soak, degrees Celsius.
ROOM_C = 23.0
#: Standard deviations of the room's temperature (K) and of the stop watch (s).
ROOM_SD_K, CLOCK_SD_S = 2.0, 1.0
#: A core is soaked through when it is so close to the chamber, K.
WITHIN_K = 1.0
#: Usual standard deviation of a bench thermometer, K.
USUAL_SD_K: Final = 0.3
#: A part without known dimensions is taken to move like a puck of this size, mm.
_PUCK: Final = Body(8.0, 10.0)
#: Half of what a short soak leaves is doubted: the air in the chamber and the start are not known.
_DOUBT: Final = 0.5
#: Step of ln film coefficient between which the series is interpolated, and its terms: together within 0.2 %.
_FILM_STEP: Final = 0.2
_TERMS: Final = 12
#: A long soak in the cold may show crystallisation, minutes.
LONG_SOAK_MIN: Final = 120.0


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

    @property
    def planned_min(self) -> Any:
        """The safe minutes as they are told everywhere: 10 at least, up to the next five; choice."""
        return np.maximum(10.0, np.ceil(np.asarray(self.minutes_safe) / 5.0) * 5.0)[()]


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


@dataclass(frozen=True)
class BenchState:
    """A part at the moment of its reading.

    Attributes
    ----------
    temperature_c : float
        Likely temperature averaged over the part, degrees Celsius: what a fit takes.
    temperature_sd_k : float
        Its standard deviation, K.
    soak : SoakCheck or None
        The soak, where it was told and the part's dimensions are known.
    drift : Drift or None
        The way since it left the chamber, likewise.
    warnings : tuple of str
        What to know, one line each.
    """

    temperature_c: float
    temperature_sd_k: float
    soak: SoakCheck | None
    drift: Drift | None
    warnings: tuple[str, ...]


def soak(
    body: Body, chamber_c: ArrayLike, *, start_c: ArrayLike = ROOM_C, family: str = "unknown", air: str = "still"
) -> Soak:
    """Minutes that a part must stay in a freezer or an oven until its core is within 1 K of it.

    Parameters
    ----------
    body : Body
        The part's dimensions, mm; ``body_of(form)`` makes it.
    chamber_c : array_like
        Temperature of the chamber, degrees Celsius.
    start_c : array_like
        Temperature of the part at the start, degrees Celsius.
    family : str
        The material's family, for conductivity and diffusivity.
    air : str
        ``"still"`` or ``"fanned"``.

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
    air: str = "still",
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
    time = 60.0 * checked_array("minutes", minutes, 0.0, math.inf, "min")
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
    family
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
    time = checked_array("seconds_out", seconds_out, 0.0, math.inf, "s")
    chamber, room = np.asarray(chamber_c, dtype=float), np.asarray(room_c, dtype=float)
    h, gap = film_coefficient("still", chamber, room), room - chamber
    moved, variance = drifted(share_left(body, h, props, time), gap, film_sd("still"), props)
    mean = body_theta(body, h, props.conductivity_w_mk, props.diffusivity_mm2_s, "mean")
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
    Over hours at rest it stiffens the part beyond what any shift law says: :mod:`matdb.material.crystallisation`.

    """
    found = crystallisation_of(family)
    if found is None or not found.share(temperature_c) > 0.0:
        return ""
    where = f"{family} crystallises at rest within hours here (fastest near {found.peak_c:g} degC)"
    if soak_min is not None and soak_min >= 120.0:
        return f"{where}: this long soak may show it; repeat after a short one to tell it from the glass transition"
    return f"{where}: a short soak does not show it, a day in the cold may be far stiffer"


def soak_not_told(family: str, reading: Reading) -> str:
    """A line that asks how long a part lay in such cold that it may have crystallised; empty where that is known."""
    found = crystallisation_of(family) if reading.subject == "part" and reading.soak_min is None else None
    if found is None or not _stiffens(found, reading.temperature_c):
        return ""
    return (
        f"how long it lay at {reading.temperature_c:g} degC was not told, so it counts as freshly cooled: {family} "
        f"crystallises at rest there ({found.hours} near {found.peak_c:g} degC) and is far stiffer then; tell the "
        "soak, such as 30min or 24h"
    )


@lru_cache(maxsize=256)
def _stiffens(cold: Crystallisation, temperature_c: float) -> bool:
    return cold.matters(np.array([temperature_c]), math.inf)


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


def bench_state(reading: Reading, part: Part | None, family: str) -> BenchState:
    """Likely state of a part at its reading, and what to warn of when it is logged.

    Parameters
    ----------
    reading : Reading
        With ``soak_min`` and ``seconds_out`` where they are known.
    part : Part or None
        What was read; None for readings on a material.
    family : str
        The material's family.

    Returns
    -------
    BenchState
        Temperature with its standard deviation, checks, warnings.

    Raises
    ------
    InputError
        No such family.
    """
    body = None if part is None else body_of(part.form)
    warnings = [service_note(family, reading.temperature_c)]
    soaked: SoakCheck | None = None
    out: Drift | None = None
    parts = {} if part is None else {part.name: part}
    at, sd = (float(value[0]) for value in actual_temperatures([reading], parts, family))
    if part is not None and body is not None:
        if reading.soak_min is not None:
            soaked = check_soak(body, reading.soak_min, reading.temperature_c, family=family)
            warnings.append(soaked.warning and f"{soaked.warning}; a fit takes {at:.1f} +- {sd:.1f} degC")
        if reading.seconds_out is not None:
            start = reading.temperature_c if soaked is None else float(soaked.mean_c)
            out = drift(body, start, reading.seconds_out, family=family, chamber_sd_k=_typed_sd(reading))
            warnings.append(out.warning and f"{out.warning}: {at:.1f} +- {sd:.1f} degC")
    elif part is not None and (reading.soak_min is not None or reading.seconds_out is not None):
        warnings.append(
            f"the dimensions of {part.name} are not known: soak and seconds out are kept but cannot be reckoned with; "
            f"a fit takes {at:.1f} +- {sd:.1f} degC"
        )
    if reading.soak_min is not None and reading.soak_min >= LONG_SOAK_MIN:
        warnings.append(crystallisation_note(family, reading.temperature_c, reading.soak_min))
    return BenchState(at, sd, soaked, out, tuple(filter(None, warnings)))


def actual_temperatures(
    readings: Sequence[Reading], parts: Mapping[str, Part], family: str = "unknown"
) -> tuple[Array, Array]:
    """Temperature of every reading's part when it was read, for a fit.

    Parameters
    ----------
    readings : sequence of Reading
        All of one material.
    parts : mapping of str to Part
        The parts that they name.
    family : str
        The material's family.

    Returns
    -------
    array, array of shape (readings,)
        Degrees Celsius and standard deviation in K. Readings without ``soak_min`` and ``seconds_out`` keep what was
        typed, to the last digit.

    Raises
    ------
    InputError
        No such family.
    """
    at = np.array([r.temperature_c for r in readings], dtype=float)
    sd = np.array([_typed_sd(r) for r in readings], dtype=float)
    groups: dict[str, list[int]] = {}
    for index, reading in enumerate(readings):
        name = getattr(reading, "part", None)
        if name is not None and not (reading.soak_min is None and reading.seconds_out is None):
            groups.setdefault(name, []).append(index)
    for name, rows in groups.items():
        # A bench day has few different states: each is reckoned once.
        told = [(at[i], sd[i], readings[i].soak_min, readings[i].seconds_out) for i in rows]
        states = np.array(told, dtype=float)  # None becomes nan
        few, inverse = np.unique(np.nan_to_num(states, nan=-1.0), axis=0, return_inverse=True)
        few[:, 2:] = np.where(few[:, 2:] < 0.0, np.nan, few[:, 2:])
        now, wide = _moved(body_of(parts[name].form), few, family)
        at[rows], sd[rows] = now[inverse.ravel()], wide[inverse.ravel()]
    return at, sd


def _moved(body: Body | None, states: Array, family: str) -> tuple[Array, Array]:
    """Temperature and spread now; a row of ``states`` is chamber temperature, its spread, minutes, seconds."""
    seen, props, ln_film = body or _PUCK, thermal_of(family), film_sd("still")
    chamber = states[:, 0]
    at, variance = chamber.copy(), states[:, 1] ** 2
    soaked = np.flatnonzero(~np.isnan(states[:, 2]))
    if soaked.size:
        film = film_coefficient("still", 0.5 * (ROOM_C + chamber[soaked]), chamber[soaked])
        left, doubt = doubted(
            _between_films(seen, props, film, 60.0 * states[soaked, 2]), "mean", -ln_film, -props.relative_sd
        )
        at[soaked] += (ROOM_C - chamber[soaked]) * left
        variance[soaked] += (ROOM_C - chamber[soaked]) ** 2 * (doubt + (_DOUBT * left) ** 2)
    out = np.flatnonzero(~np.isnan(states[:, 3]))
    if out.size:
        film = film_coefficient("still", at[out], ROOM_C)
        share = _between_films(seen, props, film, states[out, 3])
        moved, doubt = drifted(share, ROOM_C - at[out], ln_film, props)
        at[out] += moved
        variance[out] += doubt
    if body is None:
        # Another size would have moved otherwise: what a puck loses is doubt, not a correction.
        return chamber.copy(), np.sqrt(variance + (at - chamber) ** 2)
    return at, np.sqrt(variance)


def _between_films(body: Body, props: Thermal, film: Array, seconds: Array) -> Share:
    """Share of the difference left; between a few air films, so that many readings cost no more than one."""

    def left(at: str, film_by: float = 1.0, seconds_by: float = 1.0, later_s: float = 0.0) -> Array:
        place, time = np.log(film * film_by) / _FILM_STEP, seconds * seconds_by + later_s
        low = np.floor(place)
        share = np.empty(len(time))
        for node in np.unique(low):
            rows = np.flatnonzero(low == node)
            ends = [_decay(body, props, int(node) + k, at)(time[rows]) for k in (0, 1)]
            weight = place[rows] - node
            share[rows] = (1.0 - weight) * ends[0] + weight * ends[1]
        return share

    return left


@lru_cache(maxsize=512)
def _decay(body: Body, props: Thermal, node: int, at: str) -> Callable[[Array], Array]:
    film = math.exp(_FILM_STEP * node)
    return body_theta(body, film, props.conductivity_w_mk, props.diffusivity_mm2_s, at, terms=_TERMS)


def _typed_sd(reading: Any) -> float:
    return USUAL_SD_K if reading.temperature_sd_c is None else float(reading.temperature_sd_c)
