"""What commands share on temperatures: a range, a table, an aviation report; altitudes, take-off hours, a warm car."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Any

import typer

from matdb.cli.options import is_range

if TYPE_CHECKING:
    from matdb.advice.exposure import Flight

__all__ = ["clock_hours", "flight_content", "flight_from_options", "flight_lines"]

TempOption = Annotated[
    str | None,
    typer.Option("--temp", metavar="RANGE", help="Temperatures of the flight, such as -10C..25C, or one such as -5C."),
]
ForecastOption = Annotated[
    str | None,
    typer.Option(
        "--forecast", metavar="FILE", help="An hourly table of time and temperature (CSV), instead of --temp."
    ),
]
MonthlyOption = Annotated[
    str | None,
    typer.Option("--monthly", metavar="FILE", help="A table of month, low and high (CSV), instead of --temp."),
]
MetarOption = Annotated[
    str | None, typer.Option("--metar", metavar="TEXT", help="An aviation weather report, instead of --temp.")
]
TafOption = Annotated[
    str | None,
    typer.Option("--taf", metavar="TEXT", help="An aviation forecast with its extremes, instead of --temp."),
]
UnitOption = Annotated[
    str | None,
    typer.Option("--unit", metavar="UNIT", help="Unit of a table that does not name it: C, F or K."),
]
ForecastAltitudeOption = Annotated[
    str | None,
    typer.Option(
        "--forecast-altitude", metavar="ALTITUDE", help="Altitude that the temperatures hold at, such as 450m."
    ),
]
SiteAltitudeOption = Annotated[
    str | None,
    typer.Option(
        "--site-altitude",
        metavar="ALTITUDE",
        help="Altitude of the flight, such as 1800m: 6.5 K less per kilometre up.",
    ),
]
TakeOffOption = Annotated[
    str | None,
    typer.Option("--take-off", metavar="HOURS", help="Hours of the day that will be flown in, such as 06:00..10:00."),
]
CarOption = Annotated[
    str | None,
    typer.Option(
        "--car", metavar="TEMPERATURE", help="The parts leave a car this warm when the hours begin, such as 22C."
    ),
]
FannedOption = Annotated[
    bool, typer.Option("--fanned", help="They stand in the rotors' wash, and take on the air's temperature sooner.")
]

_CLOCK = re.compile(r"(\d{1,2})(?::(\d{2}))?\s*(?:h|o'clock)?")


def clock_hours(text: str, option: str = "--take-off") -> tuple[float, float]:
    """Hours of the day from text such as ``06:00..10:30``; over midnight when the end is the smaller.

    Raises
    ------
    InputError
        Not two times of the day.
    """
    from matdb.errors import InputError

    ends = re.split(r"\s*(?:\.\.\.?|…|\s+to\s+)\s*", text.strip())
    found = []
    for end in ends:
        match = _CLOCK.fullmatch(end.strip())
        if match is None:
            break
        hour, minute = int(match.group(1)), int(match.group(2) or 0)
        if minute > 59 or hour + minute / 60.0 > 24.0:
            break
        found.append(hour + minute / 60.0)
    if len(found) != 2 or len(ends) != 2 or found[0] == found[1]:
        raise InputError(option, text, "two times of the day, such as 06:00..10:00")
    return found[0], found[1]


def flight_from_options(
    *,
    temp: str | None = None,
    forecast: str | None = None,
    monthly: str | None = None,
    metar: str | None = None,
    taf: str | None = None,
    unit: str | None = None,
    forecast_altitude: str | None = None,
    site_altitude: str | None = None,
    take_off: str | None = None,
    car: str | None = None,
    fanned: bool = False,
) -> Flight:
    """Temperatures from a command's words.

    Raises
    ------
    InputError
        No source or several, or one that cannot be read.
    OSError
        A file that cannot be read.
    """
    import datetime as dt
    from pathlib import Path

    from matdb.advice.exposure import flight
    from matdb.delimited import file_bytes
    from matdb.errors import InputError
    from matdb.units import parse, parse_range

    sources = {"--temp": temp, "--forecast": forecast, "--monthly": monthly, "--metar": metar, "--taf": taf}
    given = [name for name, value in sources.items() if value is not None]
    if len(given) != 1:
        raise InputError(
            " and ".join(given) or "--temp",
            "both" if len(given) > 1 else None,
            "one source of temperatures: --temp, --forecast, --monthly, --metar or --taf",
            "" if given else "for instance --temp -10C..25C",
        )
    more: dict[str, Any] = {}
    if temp is not None:
        if is_range(temp):
            more["low_c"], more["high_c"] = parse_range(temp, "temperature", "--temp")
        else:
            more["low_c"] = parse(temp, "temperature", "--temp")
    for name, file in (("csv", forecast), ("monthly", monthly)):
        if file is not None:
            more |= {name: file_bytes(file), "what": Path(file).name}
    if unit is not None and not (forecast or monthly):
        raise InputError("--unit", unit, "given with --forecast or --monthly")
    for option, text, field in (
        ("--forecast-altitude", forecast_altitude, "forecast_altitude_m"),
        ("--site-altitude", site_altitude, "site_altitude_m"),
    ):
        if text is not None:
            more[field] = parse(text, "altitude", option)
    if (forecast_altitude is None) != (site_altitude is None):
        missing = "--site-altitude" if site_altitude is None else "--forecast-altitude"
        raise InputError(missing, None, "given with the other altitude, such as 450m")
    if (metar or taf) and take_off is not None:
        # A report names the day of the month only.
        more["issued"] = dt.datetime.now(dt.UTC).date()
    return flight(
        metar=metar,
        taf=taf,
        unit=unit,
        take_off=None if take_off is None else clock_hours(take_off),
        car_c=None if car is None else parse(car, "temperature", "--car"),
        air="fanned" if fanned else "still",
        **more,
    )


def flight_content(flown: Flight) -> dict[str, Any]:
    """The air of a flight in plain values, without its every hour."""
    air = flown.flown
    return {
        "source": air.source,
        "temperature_c": {"low": air.low_c, "high": air.high_c},
        "entries": len(air),
        "take_off_hours": None if flown.take_off is None else list(flown.take_off),
        "car_c": flown.car_c,
        "notes": list(air.notes),
    }


def flight_lines(flown: Flight, notes: Sequence[str] = ()) -> None:
    """Print where the temperatures come from and what was assumed; nothing for a plain range."""
    from matdb.cli.screen import lines, show

    air = flown.flown
    said = [*air.notes, *notes]
    if flown.car_c is not None:
        said.append(f"parts leave a car at {flown.car_c:g} degC and take on the air's temperature by their size")
    if air.times is not None or said:
        span = f"{air.low_c:.1f} to {air.high_c:.1f} degC" if air.high_c > air.low_c else f"{air.low_c:.1f} degC"
        show(f"Air: {air.source.replace('…', ' to ').replace('°C', 'degC')}, {span}.")
        lines("Assumed of the air:", dict.fromkeys(said))
