"""Hourly temperatures from any CSV, and a season from monthly extremes.

Takes what weather services and loggers write: any names of columns, a unit in the title, in the cells or told
by the caller, missing hours, clock changes, a byte order mark, semicolons and decimal commas.
"""

from __future__ import annotations

import datetime as dt
import re
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matdb.delimited import BLANKS, Table, read_table
from matdb.errors import InputError, UnitError
from matdb.units import counted, parse
from matdb.weather.forecast import COLDEST_C, HOTTEST_C, Forecast

__all__ = ["hourly_csv", "monthly_csv"]

Array = NDArray[np.float64]

_TEMPERATURE = re.compile(r"temp|^t$|^t[_ (\[]|^t2m|^tt|°\s*[cf]|^deg ?[cf]$|dry.?bulb|^tmp|^ta$|^air$|^tair")
_OTHER_TEMPERATURE = re.compile(
    r"dew|wet|feel|apparent|felt|soil|ground|surface|water|sea|chill|heat.?index|tau|boden|taupunkt"
    r"|min|max|flag|source|src|qual|uncert|code|low|high"
)
_TIME = re.compile(r"time|date|zeit|datum|stunde|valid|utc|hour|heure|fecha|hora|^ts$|epoch|local|jour")
#: Written for "no value" by loggers and services.
_SENTINELS = (-9999.0, -999.9, -999.0, -99.9, 999.0, 999.9, 9999.0)
_UNIT_IN_TITLE = re.compile(r"(?:[\[(]\s*(?:in\s+)?([^\])]+?)\s*[\])]|(?:[_\s,]|\bin\s)\s*(°?\s*[a-z]+\.?))\s*$")
_MOST_MISSING = 0.5
#: Clocks are set back once a year: hours between two such steps.
_RARELY_H = 4000.0


def hourly_csv(
    text: str | bytes,
    *,
    what: str = "forecast CSV",
    unit: str | None = None,
    temperature_column: str | None = None,
    time_column: str | None = None,
) -> Forecast:
    """Read a forecast or a year of weather from CSV.

    Parameters
    ----------
    text : str or bytes
        The file's content. Lines before the header are skipped.
    what : str
        Its name, for messages and tables.
    unit : str or None
        Unit of the temperatures (C, F or K), where neither title nor cells name it.
    temperature_column, time_column : str or None
        Titles of the columns to take, where they cannot be told from their names.

    Returns
    -------
    Forecast
        Times in hours since the first row. Missing temperatures are left out and counted in the notes.

    Raises
    ------
    InputError
        No or several possible columns, no unit, a time or temperature that cannot be read, times that
        run backwards, ambiguous dates, more than half of the temperatures missing; each names the line.

    """
    table = read_table(what, text, is_header=_looks_like_header)
    if not table.rows:
        raise InputError(what, "a header alone", "a table with one row per hour")
    column = _temperature_column(table, temperature_column, unit)
    notes: list[str] = []
    temperature = _temperatures(table, column, unit, notes)
    moments, start, order = _hours(table, _time_columns(table, time_column, column), notes)
    temperature = temperature[order]
    known = np.isfinite(temperature)
    missing = int(np.sum(~known))
    if missing > _MOST_MISSING * known.size:
        raise InputError(what, f"{missing} of {known.size} temperatures missing", "a table with at least half of them")
    if missing:
        notes.append(f"{counted(missing, 'rows')} without a temperature left out")
    moments, temperature = moments[known], temperature[known]
    first = float(moments[0])
    if moments.size > 2:
        steps = np.diff(moments)
        usual = float(np.median(steps))
        gaps = int(np.sum(np.round(steps[steps > 1.5 * usual] / usual) - 1)) - missing
        if gaps > 0:
            notes.append(f"{counted(gaps, 'hours' if usual == 1.0 else 'steps')} missing in the times")
    return Forecast(
        temperature,
        moments - first,
        source=what,
        notes=tuple(notes),
        start=None if start is None else start + dt.timedelta(hours=first),
    )


def _looks_like_header(cells: tuple[str, ...]) -> bool:
    names = [c.casefold() for c in cells]
    return any(_TEMPERATURE.search(n) for n in names) and not any(re.fullmatch(r"[-+]?\d+([.,]\d+)?", n) for n in names)


def _named(table: Table, title: str) -> int:
    """The column of that title; case and blanks at the ends do not count."""
    names = [h.casefold() for h in table.header]
    wanted = title.strip().casefold()
    if wanted not in names:
        raise InputError(f"{table.what} column", title, "one of " + ", ".join(table.header))
    return names.index(wanted)


def _temperature_column(table: Table, title: str | None, unit: str | None) -> int:
    if title is not None:
        return _named(table, title)
    names = [h.casefold() for h in table.header]
    found = [i for i, n in enumerate(names) if _TEMPERATURE.search(n) and not _OTHER_TEMPERATURE.search(n)]
    if len(found) > 1:  # prefer the air's
        air = [i for i in found if re.search(r"air|dry|2 ?m|lufttemp", names[i])]
        found = air if len(air) == 1 else found
    if len(found) != 1:
        shown = ", ".join(table.header[i] for i in found) if found else ", ".join(table.header)
        raise InputError(
            f"{table.what} columns",
            shown,
            "a table with one column that is plainly the air temperature",
            "name it with the temperature column option",
        )
    return found[0]


def _unit_of_title(title: str) -> str | None:
    """The unit that a column title names: C, F or K; None without one."""
    text = title.casefold().replace("º", "°").replace("˚", "°")
    match = _UNIT_IN_TITLE.search(text)
    if not match:
        return None
    unit = re.sub(r"[\s.]|deg(?:rees?)?|°|grad", "", match.group(1) or match.group(2))
    return {"c": "C", "celsius": "C", "f": "F", "fahrenheit": "F", "k": "K", "kelvin": "K", "℃": "C", "℉": "F"}.get(
        unit
    )


def _temperatures(table: Table, column: int, unit: str | None, notes: list[str]) -> Array:
    """The temperatures in degrees Celsius, NaN where missing."""
    title = table.header[column]
    named = _unit_of_title(title)
    if unit is not None:
        given = _unit_of_title(f"({unit})")
        if given is None:
            raise UnitError("temperature unit", unit, "C, F or K")
        if named is not None and named != given:
            raise UnitError("temperature unit", unit, f"{named}, as the column {title} says")
        named = given
    cells = table.column(column)
    with_unit = next((c for c in cells if re.search(r"\d\s*°?\s*[a-zA-Z℃℉]+$", c)), None)
    if with_unit is not None:
        values = np.array([_cell(table, i, column, c) for i, c in enumerate(cells)])
        return _checked(table, column, values)
    values = table.numbers(column)
    sentinel = np.isin(values, _SENTINELS) & ~((values >= COLDEST_C) & (values <= HOTTEST_C))
    if named is None:
        raise UnitError(
            f"{table.what} column {title}",
            "no unit",
            "a temperature in C, F or K",
            f"write {title} (C) or give the unit",
        )
    values = np.where(sentinel, np.nan, values)
    if named == "F":
        values = (values - 32.0) * 5.0 / 9.0
    elif named == "K":
        values = values - 273.15
    return _checked(table, column, np.round(values, 9))


def _cell(table: Table, row: int, column: int, cell: str) -> float:
    if cell.casefold() in BLANKS:
        return np.nan
    where = f"{table.what}, line {table.lines[row]}, {table.header[column]}"
    return parse(cell if table.separator == "," else re.sub(r"(?<=\d),(?=\d)", ".", cell), "temperature", where)


def _checked(table: Table, column: int, values: Array) -> Array:
    wrong = np.isfinite(values) & ~((values >= COLDEST_C) & (values <= HOTTEST_C))
    if np.any(wrong):
        row = int(np.argmax(wrong))
        raise InputError(
            f"{table.what}, line {table.lines[row]}, {table.header[column]}",
            f"{values[row]:g} °C",
            f"from {COLDEST_C:g} to {HOTTEST_C:g} degrees Celsius",
            "check the unit",
        )
    return values


def _time_columns(table: Table, title: str | None, temperature: int) -> tuple[int, ...]:
    """The column of the times, or those of date and time of day."""
    if title is not None:
        return (_named(table, title),)
    names = [h.casefold() for h in table.header]
    # Some services write "valid time" beside "issue time": the one that is valid counts.
    found = [
        i
        for i, n in enumerate(names)
        if i != temperature
        and _TIME.search(n)
        and not re.search(r"issue|creat|update|sunr|suns|zone|daylight|source|flag", n)
    ]
    if len(found) > 1:
        for better in (r"valid", r"date.?time|timestamp|zeitstempel", r"utc"):
            chosen = [i for i in found if re.search(better, names[i])]
            if len(chosen) == 1:
                return (chosen[0],)
    if len(found) == 2:
        date = [i for i in found if re.search(r"date|datum|day|jour|fecha", names[i])]
        if len(date) == 1:
            return (date[0], next(i for i in found if i != date[0]))
    if len(found) == 1:
        return (found[0],)
    raise InputError(
        f"{table.what} columns",
        ", ".join(table.header[i] for i in found) if found else ", ".join(table.header),
        "a table with one column of times, or one of dates and one of times",
        "name it with the time column option",
    )


def _hours(
    table: Table, columns: tuple[int, ...], notes: list[str]
) -> tuple[Array, dt.datetime | None, NDArray[np.intp]]:
    """Hours since the start, the start when known, and the order of the rows."""
    cells = [" ".join(row[c] for c in columns) for row in table.rows]
    same = np.arange(len(cells))
    if len(columns) == 1 and all(re.fullmatch(r"\d{1,5}([.,]\d+)?", c) for c in cells):
        return _rising(table, table.numbers(columns[0]), notes), None, same  # plain hours
    stamps = _stamps(table, columns, cells)
    aware = [s.tzinfo is not None for s in stamps]
    if any(aware) and not all(aware):
        row = aware.index(not aware[0])
        raise InputError(
            f"{table.what}, line {table.lines[row]}", cells[row], "written with a time zone on all rows or on none"
        )
    if len(stamps) > 1 and all(b < a for a, b in pairwise(stamps)):
        stamps, same = stamps[::-1], same[::-1]
        notes.append("rows were newest first")
    start = stamps[0]
    hours = np.array([(s - start).total_seconds() / 3600.0 for s in stamps])
    if stamps[0].tzinfo is None:
        hours = _wall_clock(table, stamps, hours, notes)
    return _rising(table, hours, notes, cells), start, same


def _rising(table: Table, hours: Array, notes: list[str], cells: list[str] | None = None) -> Array:
    back = np.diff(hours) <= 0.0
    if np.any(back) or np.any(np.isnan(hours)):
        row = int(np.argmax(np.isnan(hours))) if np.any(np.isnan(hours)) else int(np.argmax(back)) + 1
        shown = cells[row] if cells else f"{hours[row]:g}"
        raise InputError(
            f"{table.what}, line {table.lines[row]}",
            shown,
            "later than the row before",
            "sort the rows by time and keep one place and one value per time",
        )
    return hours


def _wall_clock(table: Table, stamps: list[dt.datetime], hours: Array, notes: list[str]) -> Array:
    """Elapsed hours from times without a zone: a clock set back, a typical year of months from several years."""
    steps = np.diff(hours)
    back = np.flatnonzero(steps <= 0.0)
    if back.size == 0:
        return hours
    # A year put together of months from several years, as typical years are.
    months = [(s.month, s.day, s.hour, s.minute) for s in stamps]
    if len({s.year for s in stamps}) > 1 and all(a < b for a, b in pairwise(months)):
        try:
            typical = [s.replace(year=2001) for s in stamps]
        except ValueError:
            typical = [s.replace(year=2000) for s in stamps]
        notes.append("months of several years put together to one typical year")
        return np.array([(s - typical[0]).total_seconds() / 3600.0 for s in typical])
    usual = float(np.median(steps[steps > 0.0])) if np.any(steps > 0.0) else 1.0
    if np.any(np.diff(hours[back]) < _RARELY_H):
        return hours  # times come twice for another reason: refused by _rising with its line
    hours = hours.copy()
    for i in back:
        # Set back by one hour: the time returns by an hour less one step, or repeats.
        if abs(steps[i] - (usual - 1.0)) > 1e-6:
            return hours
        hours[i + 1 :] += 1.0
        notes.append(f"clock set back at {stamps[i + 1]:%Y-%m-%d %H:%M}")
    return hours


_DATE = re.compile(r"(\d{1,4})[-/.](\d{1,2})[-/.](\d{1,4})")
_CLOCK = re.compile(
    r"(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,]\d+)?)?\s*([ap]\.?m\.?)?\s*(z|utc|gmt|[-+]\d{2}:?\d{2})?", re.IGNORECASE
)
_COMPACT = re.compile(r"(\d{4})(\d{2})(\d{2})[T ]?(\d{2})(\d{2})?(\d{2})?(Z)?")
_EPOCH = re.compile(r"\d{9,10}(\.\d+)?|\d{12,13}")


def _stamps(table: Table, columns: tuple[int, ...], cells: list[str]) -> list[dt.datetime]:
    """Dates and times, in the zone that they name or in none."""
    day_first = _day_first(table, cells)
    out = []
    for i, cell in enumerate(cells):
        try:
            out.append(_stamp(cell, day_first))
        except (ValueError, OverflowError):
            title = " and ".join(table.header[c] for c in columns)
            raise InputError(
                f"{table.what}, line {table.lines[i]}, {title}",
                cell,
                "a date and time such as 2026-01-31 14:00, seconds since 1970, or hours from 0",
            ) from None
    return out


def _day_first(table: Table, cells: list[str]) -> bool | None:
    """Whether dates like 3/4/2026 begin with the day; None where there are no such dates."""
    firsts, seconds, dotted = [], [], False
    for cell in cells:
        match = _DATE.match(cell)
        if match and len(match.group(1)) <= 2 and len(match.group(3)) == 4:
            firsts.append(int(match.group(1)))
            seconds.append(int(match.group(2)))
            dotted = dotted or "." in match.group(0)
    if not firsts:
        return None
    if dotted or max(firsts) > 12:
        return True
    if max(seconds) > 12 or re.search(r"mm/dd|m/d/y", " ".join(table.header).casefold()):
        return False
    if re.search(r"dd/mm|d/m/y", " ".join(table.header).casefold()):
        return True
    if len(set(seconds)) > 1 and len(set(firsts)) == 1:
        return False  # the second number counts the days
    if len(set(firsts)) > 1 and len(set(seconds)) == 1:
        return True
    raise InputError(f"{table.what} dates", cells[0], "written year first", "write dates as 2026-01-31")


def _stamp(cell: str, day_first: bool | None) -> dt.datetime:
    text = cell.strip()
    if _EPOCH.fullmatch(text):
        seconds = float(text)
        return dt.datetime.fromtimestamp(seconds / 1000.0 if seconds > 1e11 else seconds, dt.UTC)
    compact = _COMPACT.fullmatch(text)
    if compact:
        y, mo, d, h, mi, s, z = compact.groups()
        moment = dt.datetime(int(y), int(mo), int(d)) + dt.timedelta(
            hours=int(h), minutes=int(mi or 0), seconds=int(s or 0)
        )
        return moment.replace(tzinfo=dt.UTC) if z else moment
    date = _DATE.match(text)
    if not date:
        raise ValueError(text)
    a, b, c = date.groups()
    if len(a) == 4:
        year, month, day = int(a), int(b), int(c)
    elif len(c) == 4:
        year, month, day = (int(c), int(b), int(a)) if day_first else (int(c), int(a), int(b))
    else:
        raise ValueError(text)
    midnight = dt.datetime(year, month, day)
    rest = text[date.end() :].strip(" T,")
    if not rest:
        return midnight
    clock = _CLOCK.fullmatch(rest)
    if clock is None:
        if re.fullmatch(r"\d{1,2}", rest) and int(rest) <= 24:
            return midnight + dt.timedelta(hours=int(rest))
        raise ValueError(text)
    hour, minute, second, half, zone = clock.groups()
    h = int(hour)
    if half:
        if not 1 <= h <= 12:
            raise ValueError(text)
        h = h % 12 + (12 if half[0] in "pP" else 0)
    if h > 24 or int(minute) > 59 or int(second or 0) > 59 or (h == 24 and int(minute) > 0):
        raise ValueError(text)
    moment = midnight + dt.timedelta(hours=h, minutes=int(minute), seconds=int(second or 0))
    if zone is None:
        return moment
    if zone[0] in "+-":
        shift = dt.timedelta(hours=int(zone[1:3]), minutes=int(zone[-2:]))
        return moment.replace(tzinfo=dt.timezone(-shift if zone[0] == "-" else shift))
    return moment.replace(tzinfo=dt.UTC)


_MONTHS = ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"]
#: Hours of the day at which it is coldest and hottest; common practice, no source.
COLDEST_HOUR, HOTTEST_HOUR = 5.0, 15.0


def monthly_csv(text: str | bytes, *, what: str = "monthly CSV", unit: str | None = None) -> Forecast:
    """Read a season from monthly extremes: columns month, low, high, with a unit in their titles.

    Each month becomes one day of 24 hours that swings between its extremes, coldest at 5 and hottest at 15
    o'clock; the months follow one another, 730.5 hours apart.

    Parameters
    ----------
    text : str or bytes
        The table; months as numbers or names (their first three letters, English).
    what : str
        Its name, for messages and tables.
    unit : str or None
        Unit of the temperatures (C, F or K), where the titles do not name it.

    Raises
    ------
    InputError
        A missing column, unit or value, an unknown or repeated month, a low above its high.

    """
    table = read_table(what, text)
    names = [h.casefold() for h in table.header]

    def column(pattern: str, word: str) -> int:
        found = [i for i, n in enumerate(names) if re.search(pattern, n)]
        if len(found) != 1:
            raise InputError(f"{what} columns", ", ".join(table.header), f"a table with one column {word}")
        return found[0]

    month_at, low_at, high_at = column(r"month", "month"), column(r"low|min", "low"), column(r"high|max", "high")
    notes = ["each month is one day between its extremes"]
    low, high = (_temperatures(table, i, unit, notes) for i in (low_at, high_at))
    hours, values, seen = [], [], []
    for i, row in enumerate(table.rows):
        where = f"{what}, line {table.lines[i]}"
        month = _month(where, row[month_at])
        if month in seen:
            raise InputError(where, row[month_at], "a month that is not in the table yet")
        seen.append(month)
        if not np.isfinite(low[i]) or not np.isfinite(high[i]):
            raise InputError(where, "empty", "a lowest and a highest temperature")
        if low[i] > high[i]:
            raise InputError(where, f"{low[i]:g} °C", f"a low that is at most the high ({high[i]:g} °C)", "swap them")
        clock = np.arange(24.0)
        hours.append((month - 1) * 730.5 + clock)
        values.append(_day(clock, float(low[i]), float(high[i])))
    if not seen:
        raise InputError(what, "a header alone", "a table with one row per month")
    order = np.argsort(seen)
    return Forecast(
        np.concatenate([values[i] for i in order]),
        np.concatenate([hours[i] for i in order]),
        source=what,
        notes=tuple(notes),
    )


def _month(where: str, cell: str) -> int:
    text = cell.strip().casefold()
    if text.isdecimal() and 1 <= int(text) <= 12:
        return int(text)
    if text[:3] in _MONTHS:
        return _MONTHS.index(text[:3]) + 1
    raise InputError(where, cell, "a month, 1 to 12 or its English name")


def _day(clock: Array, low: float, high: float) -> Any:
    """Half a cosine up from the coldest to the hottest hour, and half a longer one down again."""
    rise = HOTTEST_HOUR - COLDEST_HOUR
    since = (clock - COLDEST_HOUR) % 24.0
    phase = np.where(since <= rise, since / rise, 1.0 + (since - rise) / (24.0 - rise))
    return 0.5 * (low + high) - 0.5 * (high - low) * np.cos(np.pi * phase)
