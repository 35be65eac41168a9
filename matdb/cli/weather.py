"""What commands share on temperatures: a range, a table, an aviation report; altitudes, take-off hours, a warm car."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from matdb.advice.exposure import Flight, flight
from matdb.cli.answering import RestOption, rest_hours
from matdb.cli.options import ends, option, quantity
from matdb.cli.screen import lines, show
from matdb.delimited import file_bytes
from matdb.errors import InputError
from matdb.fields import low_high
from matdb.units import range_ends


@dataclass(frozen=True)
class AirOptions:
    """Where the temperatures come from."""

    temp: str | None = option("RANGE", "Temperatures of the flight, such as -10C..25C, or one such as -5C.")
    forecast: str | None = option("FILE", "An hourly table of time and temperature (CSV), instead of --temp.")
    monthly: str | None = option("FILE", "A table of month, low and high (CSV), instead of --temp.")
    metar: str | None = option("TEXT", "An aviation weather report, instead of --temp.")
    taf: str | None = option("TEXT", "An aviation forecast with its extremes, instead of --temp.")
    unit: str | None = option("UNIT", "Unit of a table that does not name it: C, F or K.")
    temp_column: str | None = option("TITLE", "The column of air temperatures in --forecast, where that is not plain.")
    time_column: str | None = option("TITLE", "The column of its times, where that is not plain.")
    date: str | None = option("DATE", "The day of its first row, such as 2026-01-31, where it has times of day alone.")
    forecast_altitude: str | None = option("ALTITUDE", "Altitude that the temperatures hold at, such as 450m.")
    site_altitude: str | None = option(
        "ALTITUDE", "Altitude of the flight, such as 1800m: 6.5 K less per kilometre up."
    )
    take_off: str | None = option("HOURS", "Hours of the day that will be flown in, such as 06:00..10:00.")
    rest: RestOption = None


@dataclass(frozen=True)
class FlightOptions(AirOptions):
    """The same, and what the parts were in before."""

    car: str | None = option("TEMPERATURE", "The parts leave a car this warm when the hours begin, such as 22C.")
    fanned: bool = option(
        None, "They stand in the rotors' wash, and take on the air's temperature sooner.", default=False
    )


_CLOCK = re.compile(r"(\d{1,2})(?::([0-5]\d))?\s*(?:h|o'clock)?")


def clock_hours(text: str) -> tuple[float, float]:
    """Hours of the day from text such as ``06:00..10:30``; over midnight when the end is the smaller.

    Raises
    ------
    InputError
        Not two times of the day.
    """
    clocks = [_CLOCK.fullmatch(end) for end in range_ends(text)]
    found = [int(clock[1]) + int(clock[2] or 0) / 60.0 for clock in clocks if clock]
    if len(clocks) != 2 or len(set(found)) != 2 or max(found) > 24.0:
        raise InputError("--take-off", text, "two times of the day, such as 06:00..10:00")
    return found[0], found[1]


def flight_of(said: AirOptions) -> Flight:
    """Temperatures from a command's words.

    Raises
    ------
    InputError
        No source or several, or one that cannot be read.
    OSError
        A file that cannot be read.
    """
    sources = ("temp", "forecast", "monthly", "metar", "taf")
    given = [f"--{name}" for name in sources if getattr(said, name) is not None]
    if len(given) != 1:
        allowed = "one source of temperatures: --temp, --forecast, --monthly, --metar or --taf"
        cure = "" if given else "for instance --temp -10C..25C"
        raise InputError(" and ".join(given) or "--temp", "both" if given else None, allowed, cure)
    more: dict[str, Any] = {}
    if said.temp is not None:
        more["low_c"], more["high_c"] = ends(said.temp, "temperature", "--temp")
    for name, file in (("csv", said.forecast), ("monthly", said.monthly)):
        if file is not None:
            more |= {name: file_bytes(file), "what": Path(file).name}
    if said.unit is not None and not (said.forecast or said.monthly):
        raise InputError("--unit", said.unit, "given with --forecast or --monthly")
    named = {"--temp-column": said.temp_column, "--time-column": said.time_column, "--date": said.date}
    for name, value in named.items():
        if value is not None and said.forecast is None:
            raise InputError(name, value, "given with --forecast")
    more |= {"temperature_column": said.temp_column, "time_column": said.time_column, "date": _day(said.date)}
    more["forecast_altitude_m"] = quantity(said.forecast_altitude, "altitude", "--forecast-altitude")
    more["site_altitude_m"] = quantity(said.site_altitude, "altitude", "--site-altitude")
    if (said.forecast_altitude is None) != (said.site_altitude is None):
        missing = "--site-altitude" if said.site_altitude is None else "--forecast-altitude"
        raise InputError(missing, None, "given with the other altitude, such as 450m")
    if (said.metar or said.taf) and said.take_off is not None:
        # A report names the day of the month only.
        more["issued"] = dt.datetime.now(dt.UTC).date()
    if isinstance(said, FlightOptions):
        more |= {"car_c": quantity(said.car, "temperature", "--car"), "air": "fanned" if said.fanned else "still"}
    more["rest_h"] = rest_hours(said.rest)
    take_off = None if said.take_off is None else clock_hours(said.take_off)
    return flight(metar=said.metar, taf=said.taf, unit=said.unit, take_off=take_off, **more)


def _day(text: str | None) -> dt.date | None:
    try:
        return None if text is None else dt.date.fromisoformat(text)
    except ValueError:
        raise InputError("--date", text, "a date such as 2026-01-31") from None


def flight_content(flown: Flight) -> dict[str, Any]:
    """The air of a flight in plain values, without its every hour."""
    air = flown.flown
    return {
        "source": air.source,
        "temperature_c": low_high((air.low_c, air.high_c)),
        "entries": len(air),
        "take_off_hours": None if flown.take_off is None else list(flown.take_off),
        "car_c": flown.car_c,
        "notes": list(flown.notes),
    }


def flight_lines(flown: Flight) -> None:
    """Print where the temperatures come from and what was assumed; nothing for a plain range."""
    air = flown.flown
    if air.times is not None or flown.notes:
        span = f"{air.low_c:.1f} to {air.high_c:.1f} degC" if air.high_c > air.low_c else f"{air.low_c:.1f} degC"
        show(f"Air: {air.source.replace('…', ' to ').replace('°C', 'degC')}, {span}.")
        lines("Assumed of the air:", flown.notes)
