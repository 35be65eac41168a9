"""The temperature that a part really had when it was read: after a soak that may have been short, and out of the
chamber for some seconds.

A reading keeps what was typed: the chamber's temperature, the soak, the seconds. Fits take the temperature from here.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

import numpy as np

from matdb.arrays import Array
from matdb.bench.readings import Reading
from matdb.bench.thermal.body import Body, Share, Thermal, body_theta, film_coefficient, film_sd, thermal_of
from matdb.bench.thermal.soak import (
    ROOM_C,
    Drift,
    SoakCheck,
    check_soak,
    crystallisation_note,
    doubted,
    drift,
    drifted,
    service_note,
)
from matdb.form.base import FormBase
from matdb.form.part import Part

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
