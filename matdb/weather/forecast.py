"""A forecast as every source gives it: temperatures, when, from where; moved to a site, cut to a flight.

Sources
-------
.. [1] ICAO Doc 7488: Manual of the ICAO Standard Atmosphere; ISO 2533 (memory): 6.5 K/km up to 11 km.
"""

from __future__ import annotations

import calendar
import datetime as dt
import math
from collections.abc import Collection
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Any, Final

import numpy as np

from matdb.arrays import Array
from matdb.checks import checked_number, checked_text, numbers
from matdb.errors import InputError

#: No air on Earth is colder or hotter, rounded outward; what is beyond is a wrong unit or a missing value.
COLDEST_C, HOTTEST_C = -95.0, 65.0
#: Fall of temperature with (geopotential) altitude, K/m, and where the linear fall ends, m [1]_.
_LAPSE_K_PER_M, _TROPOPAUSE_M = 0.0065, 11000.0
#: Lowest altitude taken, m; below every place on land.
_LOWEST_M = -1000.0
#: Hours of a month, of a year of 365.25 days.
MONTH_H: Final = 730.5
#: A range is cut into steps of a kelvin; a very wide one into so many temperatures at most.
_MOST_TEMPERATURES = 181


@dataclass(frozen=True, eq=False)
class Forecast:
    """Air temperatures to fly in.

    Attributes
    ----------
    temperature_c : ndarray, shape (N,)
        Degrees Celsius; of a range without times, evenly from the lowest to the highest.
    times : ndarray, shape (N,), or None
        Hours since ``start``, rising; None when only a range is known.
    source : str
        Where it comes from, for tables.
    notes : tuple of str
        What was left out, assumed or shifted, one sentence each.
    start : datetime or None
        The date and time of hour 0; with a time zone where the source tells it.
    monthly : bool
        Whether the hours are a day of each month, a twelfth of a year apart.

    """

    temperature_c: Array
    times: Array | None = None
    source: str = ""
    notes: tuple[str, ...] = ()
    start: dt.datetime | None = None
    monthly: bool = False

    def __post_init__(self) -> None:
        t = numbers("forecast", self.temperature_c, "one or more numbers in a row")
        if t.ndim != 1 or t.size == 0:
            raise InputError("forecast", f"an array of shape {t.shape}", "one or more temperatures in a row")
        outside = ~((t >= COLDEST_C) & (t <= HOTTEST_C))
        if np.any(outside):
            allowed = f"from {COLDEST_C:g} to {HOTTEST_C:g} degrees Celsius"
            raise InputError("forecast temperature", float(t[outside][0]), allowed, "check the unit")
        t.flags.writeable = False
        object.__setattr__(self, "temperature_c", t)
        if self.times is not None:
            hours = numbers("forecast times", self.times, "one or more numbers in a row")
            if hours.shape != t.shape or not np.all(np.isfinite(hours)) or np.any(np.diff(hours) <= 0.0):
                allowed = f"{t.size} rising hours, one per temperature"
                raise InputError("forecast times", f"{hours.size} values", allowed)
            hours.flags.writeable = False
            object.__setattr__(self, "times", hours)
        checked_text("forecast source", self.source, 300)
        if not isinstance(self.notes, tuple | list) or not all(isinstance(note, str) for note in self.notes):
            raise InputError("forecast notes", self.notes, "sentences in a tuple")
        object.__setattr__(self, "notes", tuple(self.notes))
        if self.start is not None and not isinstance(self.start, dt.datetime):
            raise InputError("forecast start", self.start, "a date and time, or None")

    def __len__(self) -> int:
        return int(self.temperature_c.size)

    @property
    def low_c(self) -> float:
        """Lowest temperature, degrees Celsius."""
        return float(self.temperature_c.min())

    @property
    def high_c(self) -> float:
        """Highest temperature, degrees Celsius."""
        return float(self.temperature_c.max())

    def label(self, index: int) -> str:
        """What one entry is called in a table: its date and hour, its month, its hour, or its temperature."""
        if self.times is None:
            return f"{self.temperature_c[index]:.1f} °C"
        hour = float(self.times[index])
        if self.monthly:
            return calendar.month_name[int(hour // MONTH_H) + 1]
        if self.start is None:
            return f"hour {hour:g}"
        return (self.start + dt.timedelta(hours=hour)).strftime("%Y-%m-%d %H:%M")

    def with_note(self, note: str, **changes: Any) -> Forecast:
        """A copy with one more note, and other changes."""
        return replace(self, notes=(*self.notes, note), **changes)

    def to_dict(self) -> dict[str, Any]:
        """The forecast as plain values fit for JSON."""
        return {
            "source": self.source,
            "start": self.start.isoformat() if self.start else None,
            "hours": None if self.times is None else self.times.tolist(),
            "temperature_c": self.temperature_c.tolist(),
            "notes": list(self.notes),
        }


def months_text(names: Collection[str]) -> str:
    """Months in words, three or more in a row by their ends: "November to February, May"."""
    order = list(calendar.month_name)[1:]
    start = next((k for k, name in enumerate(order) if name not in names), None)
    if start is None:
        return "every month"
    runs = [list(run) for inside, run in groupby(order[start:] + order[:start], names.__contains__) if inside]
    runs.sort(key=lambda run: order.index(run[0]))
    return ", ".join(f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(run) for run in runs)


def forecast_range(low_c: float, high_c: float) -> Forecast:
    """A forecast of which only the lowest and the highest temperature are known.

    Parameters
    ----------
    low_c, high_c : float
        Degrees Celsius, low <= high; the forecast holds both, and what lies between in steps of at most 1 K.

    Raises
    ------
    InputError
        A temperature that no air has, or low above high.

    """
    low = checked_number("low temperature", low_c, COLDEST_C, HOTTEST_C, "degrees Celsius", cure="check the unit")
    high = checked_number("high temperature", high_c, COLDEST_C, HOTTEST_C, "degrees Celsius", cure="check the unit")
    if low > high:
        raise InputError("low temperature", low_c, f"at most the high one ({high:g} degrees Celsius)", "swap them")
    steps = min(math.ceil(high - low) + 1, _MOST_TEMPERATURES)
    return Forecast(np.linspace(low, high, steps), source=f"range {low:g}…{high:g} °C")


def at_altitude(forecast: Forecast, forecast_altitude_m: float, site_altitude_m: float) -> Forecast:
    """The forecast moved from the altitude that it was made for to that of the site.

    Parameters
    ----------
    forecast : Forecast
        At ``forecast_altitude_m``.
    forecast_altitude_m, site_altitude_m : float
        Above sea level, m, -1000 to 11000.

    Raises
    ------
    InputError
        An altitude out of range.

    Source: [1]_. Altitudes are taken as those of maps, which is 0.2 K off at the tropopause and 0.01 K at 2000 m.

    """
    for altitude in (forecast_altitude_m, site_altitude_m):
        checked_number("altitude_m", altitude, _LOWEST_M, _TROPOPAUSE_M, "m above sea level")
    climb = site_altitude_m - forecast_altitude_m
    shift = -_LAPSE_K_PER_M * climb
    if shift == 0.0:
        return forecast
    note = (
        f"site {abs(climb):g} m {'above' if climb > 0 else 'below'} the forecast: {shift:+.1f} K "
        "(standard atmosphere; on clear still nights valleys are colder)"
    )
    return forecast.with_note(note, temperature_c=forecast.temperature_c + shift)


def take_off_window(forecast: Forecast, begin_hour: float, end_hour: float, *, daily: bool = False) -> Forecast:
    """The part of a forecast in which there will be flying.

    Temperatures at the window's own ends are interpolated, so that half an hour of an hourly forecast is not
    empty. A range without times is returned as it is, with a note.

    Parameters
    ----------
    forecast : Forecast
        With times, or a range.
    begin_hour, end_hour : float
        Hours since the forecast's start, begin <= end. With ``daily`` hours of the day, 0 to 24, on each day,
        over midnight when the end is the smaller.
    daily : bool
        Every day's hours instead of one stretch; needs a forecast that knows its start.

    Raises
    ------
    InputError
        Hours that cannot be, an unknown start, or a window that holds no hour of the forecast.

    """
    most = 24.0 if daily else 1e6
    begin = checked_number("take-off window begin", begin_hour, 0.0, most, "hours")
    end = checked_number("take-off window end", end_hour, 0.0, most, "hours")
    if not daily and begin > end:
        raise InputError("take-off window", f"{begin:g} to {end:g}", "a begin that is not after the end, in hours")
    if forecast.times is None:
        return forecast.with_note("the take-off window does not narrow a range without times")
    hours, t = forecast.times, forecast.temperature_c
    edges: Array = np.array([begin, end])
    if daily:
        if forecast.start is None:
            raise InputError("take-off window", "hours of the day", "used with a forecast that knows its date and time")
        clock = forecast.start.hour + forecast.start.minute / 60.0 + forecast.start.second / 3600.0
        length = (end - begin) % 24.0 if end != begin + 24.0 else 24.0
        first = math.floor((hours[0] + clock) / 24.0) - 1
        last = math.floor((hours[-1] + clock) / 24.0) + 1
        days = np.arange(first, last + 1)[:, None] * 24.0 - clock
        edges = (days + np.array([begin, begin + length])).ravel()
    ends = np.asarray(edges)
    inside = np.any((hours >= ends[::2, None]) & (hours <= ends[1::2, None]), axis=0)
    chosen = np.union1d(hours[inside], ends[(ends >= hours[0]) & (ends <= hours[-1])])
    if chosen.size == 0:
        allowed = f"within the forecast, hours {hours[0]:g} to {hours[-1]:g}"
        raise InputError("take-off window", f"{begin:g} to {end:g} h", allowed)
    what = "every day" if daily else "since its start"
    return forecast.with_note(
        f"only hours {begin:g} to {end:g} {what}", times=chosen, temperature_c=np.interp(chosen, hours, t)
    )
