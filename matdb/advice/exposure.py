"""What the parts will be flown at: forecasts, altitudes, take-off hours and a warm car turned into temperatures."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any, Final, TypedDict, Unpack

import numpy as np
from numpy.typing import ArrayLike

from matdb.advice.requirement import VERDICTS
from matdb.arrays import Array, Whole
from matdb.bench.thermal.body import Body, body_of, thermal_of
from matdb.checks import checked_number, checked_state
from matdb.curve.curve import Curve
from matdb.errors import InputError
from matdb.form.part import Part
from matdb.material.crystallisation import crystallisation_of
from matdb.material.record import Material
from matdb.weather.forecast import COLDEST_C, HOTTEST_C, Forecast, at_altitude, forecast_range, take_off_window
from matdb.weather.hourly import hourly_csv, monthly_csv
from matdb.weather.lag import part_temperature
from matdb.weather.reports import metar_forecast, taf_forecast

#: A record of more temperatures than these is rounded to so many kelvin.
_MOST_TEMPERATURES, _COARSE_K = 181, 0.5
#: Temperatures of lagging parts are rounded to this, so that parts of a material share them.
_LAG_K: Final = 0.25
#: A part leaves a warm car once a day; more days than these are a season, in which it hardly matters.
_MOST_DAYS: Final = 31
#: What a part that leaves a car is taken to rest outside where no times are known, and before in a cold car, hours.
_OUTSIDE_H, _NIGHT_H = 8.0, 12.0


@dataclass(frozen=True, eq=False)
class Flight:
    """The air that will be flown in, and where the parts come from.

    Attributes
    ----------
    forecast : Forecast
        Air temperatures at the site.
    take_off : tuple of float or None
        Hours of the day between which there will be flying, 0 to 24; hours since the start of a forecast that does
        not know its date. None is all of it.
    car_c : float or None
        Temperature of the warm car or cold shed that the parts leave when the take-off hours begin, degrees Celsius;
        None when they have the air's temperature.
    air : str
        ``"still"`` or ``"fanned"`` (in the rotors' wash): how fast they take it on.
    rest_h : float or None
        Hours that they rest in the cold, where some families crystallise; None for those that the forecast's times
        tell, a day's where it knows none but they leave a car, and however many else; a night more in a cold car.
    """

    forecast: Forecast
    take_off: tuple[float, float] | None = None
    car_c: float | None = None
    air: str = "still"
    rest_h: float | None = None

    def __post_init__(self) -> None:
        if self.car_c is not None:
            checked_number("car_c", self.car_c, COLDEST_C, HOTTEST_C, "degrees Celsius")
        if self.rest_h is not None:
            checked_number("rest_h", self.rest_h, 0.0, 1e6, "h")

    @property
    def flown(self) -> Forecast:
        """The air during the take-off hours. Raises InputError when the forecast holds none of them."""
        if self.take_off is None:
            return self.forecast
        return take_off_window(self.forecast, *self.take_off, daily=self.forecast.start is not None)

    @property
    def rest_taken(self) -> str:
        """How long parts that leave a car are taken to rest in the cold; empty where it is told, or without a car."""
        if self.car_c is None or self.rest_h is not None:
            return ""
        outside = f"{_OUTSIDE_H:g} h" if _times(self.flown) is None else "the hours"
        return f"taken as {outside} outside, {_NIGHT_H:g} h more were the car so cold; --rest tells another"

    @property
    def rest_told(self) -> str:
        """The rest in the cold that was told, in words; empty where none was."""
        if self.rest_h is None:
            return ""
        return f"{60.0 * self.rest_h:.3g} min" if self.rest_h < 1.0 else f"{self.rest_h:.3g} h"

    @property
    def notes(self) -> tuple[str, ...]:
        """What was left out, assumed or told of the air, the car and the rest in the cold."""
        said = [*self.flown.notes]
        if self.car_c is not None:
            said.append(f"parts leave a car at {self.car_c:g} degC and take on the air's temperature by their size")
        rest = self.rest_taken or (self.rest_told and f"of {self.rest_told}")
        return tuple(dict.fromkeys([*said, *([f"rest in the cold {rest}"] if rest else [])]))

    def part_air(self, part: Part, material: Material) -> Forecast:
        """The temperature of a part during the take-off hours.

        Parameters
        ----------
        part, material
            For the size and the conductivity.

        Raises
        ------
        InputError
            A form without dimensions, or more than a month of days with a car.
        """
        if self.car_c is None:
            return self.flown
        body = body_of(part.form)
        if body is None:
            raise InputError("form", part.form.kind, "one with a height or a diameter")
        thermal = thermal_of(material.family)
        lagging = partial(part_temperature, body=body, start_c=self.car_c, thermal=thermal, air=self.air)
        flown = self.flown
        if (times := _times(flown)) is None:
            known = lagging(Forecast(flown.temperature_c, source=flown.source, notes=flown.notes))
            return replace(forecast_range(known.low_c, known.high_c), source=known.source, notes=known.notes)
        days = _days(times)
        if len(days) > _MOST_DAYS:
            shown, allowed = f"{self.car_c:g} degC on {len(days)} days", f"given for at most {_MOST_DAYS} days"
            raise InputError("car_c", shown, allowed, "leave it out")
        several = [replace(flown, temperature_c=flown.temperature_c[d], times=times[d], notes=()) for d in days]
        each = [lagging(day) for day in several]
        times = np.concatenate([f.times for f in each if f.times is not None])
        temperature, notes = np.concatenate([f.temperature_c for f in each]), (*flown.notes, *each[0].notes)
        return replace(flown, temperature_c=temperature, times=times, notes=notes)


class Flown(TypedDict, total=False):
    """Where the parts come from and when they are flown: the fields of :class:`Flight` beside its forecast."""

    take_off: tuple[float, float] | None
    car_c: float | None
    air: str
    rest_h: float | None


class HourlyTable(TypedDict, total=False):
    """What of an hourly table cannot be told from itself."""

    temperature_column: str | None
    time_column: str | None
    date: dt.date | None


class FlownByTable(Flown, HourlyTable, total=False):
    """Both."""


#: Temperatures as callers give them.
Temperatures = ArrayLike | Forecast | Flight


def flight(
    *,
    low_c: float | None = None,
    high_c: float | None = None,
    csv: str | bytes | None = None,
    monthly: str | bytes | None = None,
    metar: str | None = None,
    taf: str | None = None,
    what: str = "forecast",
    unit: str | None = None,
    issued: dt.date | None = None,
    forecast_altitude_m: float | None = None,
    site_altitude_m: float | None = None,
    **flown: Unpack[FlownByTable],
) -> Flight:
    """Temperatures of a flight from what a user has: one source, and corrections to it.

    Parameters
    ----------
    low_c, high_c : float, optional
        A range, degrees Celsius; ``low_c`` alone is one temperature.
    csv, monthly : str or bytes, optional
        An hourly table, or one of monthly extremes, as :func:`matdb.weather.hourly.hourly_csv` and
        :func:`~matdb.weather.hourly.monthly_csv` read them.
    metar, taf : str, optional
        An aviation report.
    what, unit, issued
        Name of the file for messages, unit where the table does not name it, about when a report was issued.
    forecast_altitude_m, site_altitude_m : float, optional
        Give both or none; metres above sea level.
    **flown
        ``take_off``, ``car_c``, ``air``, ``rest_h`` as for :class:`Flight`; ``temperature_column``, ``time_column`` and
        ``date`` of an hourly table, as :func:`matdb.weather.hourly.hourly_csv` has them.

    Returns
    -------
    Flight

    Raises
    ------
    InputError
        No source or several, one altitude without the other, or a source that cannot be read.
    """
    more: dict[str, Any] = dict(flown)
    hourly = {name: more.pop(name) for name in HourlyTable.__annotations__ if name in more}
    sources: dict[str, tuple[Any, Callable[[Any], Forecast]]] = {
        "low_c": (low_c, lambda low: forecast_range(low, low if high_c is None else high_c)),
        "csv": (csv, partial(hourly_csv, what=what, unit=unit, **hourly)),
        "monthly": (monthly, partial(monthly_csv, what=what, unit=unit)),
        "metar": (metar, partial(metar_forecast, issued=issued)),
        "taf": (taf, partial(taf_forecast, issued=issued)),
    }
    named = {name: source for name, source in sources.items() if source[0] is not None}
    if len(named) != 1:
        allowed = "told by one source: a range, an hourly or monthly table, a METAR or a TAF"
        raise InputError("temperatures", " and ".join(named) or None, allowed)
    ((value, read),) = named.values()
    forecast = read(value)
    if (forecast_altitude_m is None) != (site_altitude_m is None):
        allowed = "both given, the forecast's and the site's, or none"
        raise InputError("altitudes", "one of two", allowed, "6.5 K per kilometre between them")
    if forecast_altitude_m is not None and site_altitude_m is not None:
        forecast = at_altitude(forecast, forecast_altitude_m, site_altitude_m)
    found = Flight(forecast, **more)
    _ = found.flown  # refuses take-off hours that the forecast does not hold
    return found


def temperature_steps(temperature_c: ArrayLike, hours: ArrayLike | None = None) -> tuple[Array, Array, Whole]:
    """Distinct temperatures, the hours that each stands for, and which of them each entry is.

    Long records are rounded to 0.5 K.

    Parameters
    ----------
    temperature_c : array_like
        Degrees Celsius.
    hours : array_like, optional
        Hours that each stands for; 1 when None.

    Raises
    ------
    InputError
        No temperature, or one out of range.
    """
    t = np.atleast_1d(checked_state(temperature_c, 1.0)[0]).reshape(-1)
    if not t.size:
        raise InputError("temperature_c", None, "at least one temperature")
    weight = np.ones(t.size) if hours is None else np.asarray(hours, dtype=float).reshape(-1)
    steps, place = np.unique(t, return_inverse=True)
    if steps.size > _MOST_TEMPERATURES:
        steps, place = np.unique(np.round(t / _COARSE_K) * _COARSE_K, return_inverse=True)
    place = place.reshape(-1).astype(np.int64)
    hours_at = np.asarray(np.bincount(place, weights=weight, minlength=steps.size), dtype=float)
    return np.asarray(steps, dtype=float), hours_at, place


@dataclass(frozen=True, eq=False)
class Exposure:
    """Temperatures of all candidates over one flight or season.

    Attributes
    ----------
    steps : ndarray, shape (steps,)
        Distinct temperatures, degrees Celsius, rising.
    weight : ndarray, shape (rows, steps)
        Hours at each; one row that all share, or several.
    row : ndarray of int, shape (candidates,)
        The row of each candidate.
    sequence : tuple of ndarray of int
        For each row the step of each hour in the order of the record.
    forecasts : tuple of Forecast or None
        For each row where it comes from; None for bare numbers.
    outside : tuple of Forecast or None
        For each row the whole time in the air, flown or not.
    notes : tuple of str
        What was assumed.
    rest_h : float or None
        Hours of rest in the cold; by the times of the whole time in the air when None.
    car_c : float or None
        Temperature of the car that the parts leave, degrees Celsius.
    """

    steps: Array
    weight: Array
    row: Whole
    sequence: tuple[Whole, ...]
    forecasts: tuple[Forecast | None, ...]
    outside: tuple[Forecast | None, ...]
    notes: tuple[str, ...] = field(default=())
    rest_h: float | None = None
    car_c: float | None = None

    @property
    def hours(self) -> float:
        """Hours in all (entries, where no times are known)."""
        return float(self.weight[0].sum())

    @property
    def counted(self) -> str:
        """What the hours of the first row are: "hours", or "temperatures" of a range that knows no times."""
        known = self.forecasts[0]
        return "temperatures" if known is not None and known.times is None else "hours"

    def felt(self, candidates: Sequence[Any], axis: str) -> Iterator[tuple[Curve, Any]]:
        """Of each candidate its curve after rest in the cold, and itself with the curve through its form along an axis.

        Candidates of a material that rest alike share the first.
        """
        found: dict[tuple[int, int], tuple[Curve, float]] = {}
        for each, row in zip(candidates, self.row, strict=True):
            if (key := (id(each.curve), int(row))) not in found:
                rested = self._rested(each.curve, int(row))
                found[key] = rested, rested.ln_stiffest(self.steps)
            rested, stiffest = found[key]
            yield rested, replace(each, curve=rested.through(each.part.form, axis, stiffest))

    def _rested(self, curve: Curve, row: int) -> Curve:
        """A curve after a row's rest in the cold; crystals stay in milder hours until it is so warm that they melt."""
        outside, flown, cold = self.outside[row], self.forecasts[row], crystallisation_of(curve.family)
        if cold is None or outside is None or flown is None:
            return curve.rested(self.rest_h)
        night = _NIGHT_H if self.car_c is not None and cold.shows(self.car_c) else 0.0
        if (times := _times(outside)) is None or flown.times is None:
            day = _OUTSIDE_H if cold.shows(outside.temperature_c) else 0.0
            return curve.rested(day + night if self.rest_h is None and self.car_c is not None else self.rest_h)
        hours, share, mornings = _hours_of(outside), cold.share(outside.temperature_c), [d[0] for d in _days(times)]
        hours[mornings] += night
        hours = np.where(share > 0.0, hours, 0.0)
        molten = outside.temperature_c > cold.melts_c
        if outside.monthly:  # The months are days apart.
            molten[mornings] = True
        since = np.cumsum(hours)
        rest_h = float((since - np.maximum.accumulate(np.where(molten, since - hours, 0.0))).max())
        # The latest hour, of those since the last molten one, at which most crystals form.
        rank = share + 2.0 * np.cumsum(molten)
        latest = np.maximum.accumulate(np.where(rank == np.maximum.accumulate(rank), np.arange(rank.size), 0))
        before = outside.temperature_c[latest][np.searchsorted(times, flown.times, side="right") - 1]
        order, formed = np.argsort(cold.share(before)), self.steps.copy()
        formed[self.sequence[row][order]] = before[order]  # Of equal steps the last, which has most.
        formed = np.where(cold.share(formed) > cold.share(self.steps), formed, self.steps)
        return replace(curve.rested(rest_h if self.rest_h is None else self.rest_h), formed=(self.steps, formed))

    def when(self, candidate: int, step: int) -> str:
        """The first time at which a candidate has a temperature; empty where not known, or of one alone."""
        row = int(self.row[candidate])
        forecast = self.forecasts[row]
        if forecast is None or forecast.times is None or len(forecast) < 2:
            return ""
        return forecast.label(int(np.argmax(self.sequence[row] == step)))

    def failing(self, candidate: int, probability: Array) -> dict[str, Any]:
        """The months of a table of months in which a candidate rather fails than holds at times, or is open there.

        Parameters
        ----------
        candidate : int
            Its place among those given.
        probability : ndarray, shape (steps,)
            That it holds at each temperature.
        """
        row, least = int(self.row[candidate]), dict[str, float]()
        forecast = self.forecasts[row]
        if forecast is not None and forecast.monthly:
            for k, p in enumerate(probability[self.sequence[row]].tolist()):
                least[forecast.label(k)] = min(p, least.get(forecast.label(k), 1.0))
        limits = {"fails_in": (0.0, 0.5), "may_fail_in": (0.5, VERDICTS[1][0])}
        return {name: tuple(m for m, p in least.items() if low <= p < high) for name, (low, high) in limits.items()}


def exposure(parts: Sequence[tuple[Part, Material]], temperature_c: Temperatures) -> Exposure:
    """Temperatures of parts from what a caller gives.

    Parameters
    ----------
    parts : sequence of (Part, Material)
        The candidates.
    temperature_c : array_like, Forecast or Flight
        Degrees Celsius, one an hour when hours are to be counted.

    Raises
    ------
    InputError
        A temperature out of range, or take-off hours outside the forecast.
    """
    if isinstance(temperature_c, Flight) and temperature_c.car_c is not None:
        return _lagging(parts, temperature_c)
    row = np.zeros(len(parts), dtype=np.int64)
    if isinstance(temperature_c, Forecast):
        temperature_c = Flight(temperature_c)
    if isinstance(temperature_c, Flight):
        flown = temperature_c.flown
        steps, weight, place = temperature_steps(flown.temperature_c, _hours_of(flown))
        known = (flown,), (temperature_c.forecast,), temperature_c.notes, temperature_c.rest_h
        return Exposure(steps, weight[None], row, (place,), *known)
    steps, weight, place = temperature_steps(temperature_c)
    return Exposure(steps, weight[None], row, (place,), (None,), (None,))


def _lagging(parts: Sequence[tuple[Part, Material]], flown: Flight) -> Exposure:
    # Parts of one size and family share their temperatures.
    keys = [(body, material.family) if (body := body_of(part.form)) else None for part, material in parts]
    found: dict[tuple[Body, str] | None, Forecast] = {}
    notes: list[str] = []
    for key, (part, material) in zip(keys, parts, strict=True):
        if key is None and key not in found:
            notes.append(f"{part.name}: its lag behind the air is not known; taken as none")
        if key not in found:
            found[key] = flown.flown if key is None else flown.part_air(part, material)
    rows = {key: row for row, key in enumerate(found)}
    forecasts = tuple(found.values()) or (flown.flown,)
    rounded = [np.round(f.temperature_c / _LAG_K) * _LAG_K for f in forecasts]
    steps = np.unique(np.concatenate(rounded))
    places = tuple(np.searchsorted(steps, t) for t in rounded)
    hours = map(_hours_of, forecasts)
    weight = np.array([np.bincount(at, each, steps.size) for at, each in zip(places, hours, strict=True)])
    said = dict.fromkeys([*flown.notes, *notes])
    row = np.array([rows[key] for key in keys], dtype=np.int64)
    outside = forecasts if _times(flown.flown) is not None else (flown.flown,) * len(forecasts)
    return Exposure(steps, weight, row, places, forecasts, outside, tuple(said), flown.rest_h, flown.car_c)


def _times(forecast: Forecast) -> Array | None:
    """The hours of a forecast; None of a range, or of a report of one moment."""
    return None if len(forecast) < 2 else forecast.times


def _hours_of(forecast: Forecast) -> Array:
    """Hours that each entry stands for: half of the way to its neighbours; a gap counts for nothing."""
    if forecast.times is None or forecast.times.size < 2:
        return np.ones(len(forecast))
    usual = max(float(np.median(np.diff(forecast.times))), 1.0)
    hours = []
    for stretch in _days(forecast.times):
        steps = np.diff(forecast.times[stretch])
        if not steps.size:
            hours.append(np.array([usual]))
            continue
        hours.append(0.5 * (np.append(steps[:1], steps) + np.append(steps, steps[-1:])))
    return np.concatenate(hours)


def _days(times: Array) -> list[Whole]:
    """Stretches of a forecast that are interrupted by more than a usual step."""
    if times.size < 2:
        return [np.arange(times.size)]
    steps = np.diff(times)
    return np.split(np.arange(times.size), np.flatnonzero(steps > max(3.0, 2.0 * float(np.median(steps)))) + 1)
