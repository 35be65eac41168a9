"""Hourly temperatures from any CSV, and a season from monthly extremes.

Takes what weather services and loggers write: any names of columns, a unit in the title, in the cells or told
by the caller, missing hours, clock changes, a byte order mark, semicolons and decimal commas.
"""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from collections.abc import Callable
from itertools import pairwise
from typing import Any

import numpy as np

from matdb.arrays import Array, Flags, Places
from matdb.delimited import BLANKS, Table, read_table
from matdb.errors import InputError, UnitError
from matdb.units import counted, parse
from matdb.weather.forecast import COLDEST_C, HOTTEST_C, MONTH_H, Forecast

_TEMPERATURE = re.compile(r"temp|^t$|^t[_ (\[]|^t2m|^tt|°\s*[cf]|^deg ?[cf]$|dry.?bulb|^tmp|^ta$|^air$|^tair")
_OTHER_TEMPERATURE = re.compile(
    r"dew|wet|feel|apparent|felt|soil|ground|surface|water|sea|chill|heat.?index|tau|boden|taupunkt"
    r"|min|max|flag|source|src|qual|uncert|code|low|high"
)
_OTHER_TIME = re.compile(r"issue|creat|update|sunr|suns|zone|daylight|source|flag")
_TIME = re.compile(r"time|date|zeit|datum|stunde|valid|utc|hour|heure|fecha|hora|^ts$|epoch|local|jour")
#: Written for "no value" by loggers and services.
_SENTINELS = (-9999.0, -999.9, -999.0, -99.9, 999.0, 999.9, 9999.0)
_UNIT_IN_TITLE = re.compile(r"(?:[\[(]\s*(?:in\s+)?([^\])]+?)\s*[\])]|(?:[_\s,]|\bin\s)\s*(°?\s*[a-z]+\.?))\s*$")
_UNITS = {"c": "C", "celsius": "C", "℃": "C", "f": "F", "fahrenheit": "F", "℉": "F", "k": "K", "kelvin": "K"}
#: What 0 degrees Celsius is in a unit, and degrees Celsius per unit.
_TO_CELSIUS = {"C": (0.0, 1.0), "F": (32.0, 5.0 / 9.0), "K": (273.15, 1.0)}
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
    date: dt.date | None = None,
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
        Titles of the columns, where they cannot be told.
    date : date or None
        The day of the first row, where the rows tell the time of day alone.

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
    is_header = _looks_like_header if temperature_column is None else _holding(temperature_column)
    table = read_table(what, text, is_header=is_header)
    if not table.rows:
        raise InputError(what, "a header alone", "a table with one row per hour")
    column = _temperature_column(table) if temperature_column is None else _named(table, temperature_column)
    timed = _time_columns(table, column) if time_column is None else (_named(table, time_column),)
    notes: list[str] = []
    temperature = _temperatures(table, column, unit)
    moments, start, order = _hours(table, timed, notes, date)
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
    start = start and start + dt.timedelta(hours=first)
    return Forecast(temperature, moments - first, source=what, notes=tuple(notes), start=start)


def _looks_like_header(cells: tuple[str, ...]) -> bool:
    names = [c.casefold() for c in cells]
    return any(_TEMPERATURE.search(n) for n in names) and not any(re.fullmatch(r"[-+]?\d+([.,]\d+)?", n) for n in names)


def _holding(title: str) -> Callable[[tuple[str, ...]], bool]:
    return lambda cells: title.casefold() in [cell.casefold() for cell in cells]


def _named(table: Table, title: str) -> int:
    """The column of that title. Raises InputError."""
    found = [i for i, header in enumerate(table.header) if header.casefold() == title.casefold()]
    if len(found) != 1:
        raise InputError(f"{table.what} column", title, "one of " + ", ".join(table.header))
    return found[0]


def _columns(table: Table, of: re.Pattern[str], but: re.Pattern[str]) -> list[int]:
    """The columns whose titles match one pattern and not the other."""
    return [i for i, h in enumerate(table.header) if of.search(h.casefold()) and not but.search(h.casefold())]


def _narrowed(table: Table, found: list[int], *better: str) -> list[int]:
    """The column that the first pattern to match exactly one of those found picks; else all of them."""
    for pattern in better:
        chosen = [i for i in found if re.search(pattern, table.header[i].casefold())]
        if len(chosen) == 1:
            return chosen
    return found


def _unclear(table: Table, found: list[int], allowed: str, title: str, option: str) -> InputError:
    shown = ", ".join(table.header[i] for i in found or range(len(table.header)))
    cure = f"call it '{title}' in the header, or name it by --{option}"
    return InputError(f"{table.what} columns", shown, allowed, cure)


def _where(table: Table, row: int, *columns: int) -> str:
    """The cells of some columns, or a whole row, as messages call them."""
    titles = " and ".join(table.header[c] for c in columns)
    return f"{table.what}, line {table.lines[row]}" + (f", {titles}" if columns else "")


def _temperature_column(table: Table) -> int:
    found = _narrowed(table, _columns(table, _TEMPERATURE, _OTHER_TEMPERATURE), r"air|dry|2 ?m|lufttemp")
    if len(found) != 1:
        allowed = "a table with one column that is plainly the air temperature"
        raise _unclear(table, found, allowed, "air temperature", "temp-column")
    return found[0]


def _unit_of_title(title: str) -> str | None:
    """The unit that a column title names: C, F or K; None without one."""
    match = _UNIT_IN_TITLE.search(title.casefold().replace("º", "°").replace("˚", "°"))
    return _UNITS.get(re.sub(r"[\s.]|deg(?:rees?)?|°|grad", "", match[1] or match[2])) if match else None


def _temperatures(table: Table, column: int, unit: str | None) -> Array:
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
    if any(re.search(r"\d\s*°?\s*[a-zA-Z℃℉]+$", c) for c in cells):
        return _checked(table, column, np.array([_cell(table, i, column, c) for i, c in enumerate(cells)]))
    values = table.numbers(column)
    values = np.where(np.isin(values, _SENTINELS) & ~_of_air(values), np.nan, values)
    if named is None:
        cure = f"write {title} (C), or give --unit C"
        raise UnitError(f"{table.what} column {title}", "no unit", "a temperature in C, F or K", cure)
    zero, scale = _TO_CELSIUS[named]
    return _checked(table, column, np.round((values - zero) * scale, 9))


def _of_air(values: Array) -> Flags:
    return (values >= COLDEST_C) & (values <= HOTTEST_C)


def _cell(table: Table, row: int, column: int, cell: str) -> float:
    if cell.casefold() in BLANKS:
        return np.nan
    plain = cell if table.separator == "," else re.sub(r"(?<=\d),(?=\d)", ".", cell)
    return parse(plain, "temperature", _where(table, row, column))


def _checked(table: Table, column: int, values: Array) -> Array:
    wrong = np.isfinite(values) & ~_of_air(values)
    if np.any(wrong):
        row = int(np.argmax(wrong))
        allowed = f"from {COLDEST_C:g} to {HOTTEST_C:g} degrees Celsius"
        raise InputError(_where(table, row, column), f"{values[row]:g} °C", allowed, "check the unit")
    return values


def _time_columns(table: Table, temperature: int) -> tuple[int, ...]:
    """The column of the times, or those of date and time of day."""
    found = [i for i in _columns(table, _TIME, _OTHER_TIME) if i != temperature]
    # Some services write "valid time" beside "issue time": the one that is valid counts.
    found = _narrowed(table, found, r"valid", r"date.?time|timestamp|zeitstempel", r"utc")
    date = _narrowed(table, found, r"date|datum|day|jour|fecha")
    if len(found) == 2 and len(date) == 1:
        return (*date, *(i for i in found if i not in date))
    if len(found) != 1:
        allowed = "a table with one column of times, or one of dates and one of times"
        raise _unclear(table, found, allowed, "valid time", "time-column")
    return (found[0],)


def _hours(
    table: Table, columns: tuple[int, ...], notes: list[str], date: dt.date | None
) -> tuple[Array, dt.datetime | None, Places]:
    """Hours since the start, the start when known, and the order of the rows."""
    cells = [" ".join(row[c] for c in columns) for row in table.rows]
    if all(_OF_THE_DAY.fullmatch(cell.strip()) for cell in cells):
        if date is None:
            cure = f"tell the first row's day: --date {dt.date.today():%Y-%m-%d}"
            raise InputError(_where(table, 0, *columns), cells[0], "a date and a time", cure)
        cells = _dated(cells, date)
    same = np.arange(len(cells))
    if len(columns) == 1 and all(re.fullmatch(r"\d{1,5}([.,]\d+)?", c) for c in cells):
        return _rising(table, table.numbers(columns[0])), None, same  # plain hours
    stamps = _stamps(table, columns, cells)
    aware = [s.tzinfo is not None for s in stamps]
    if len(set(aware)) > 1:
        row = aware.index(not aware[0])
        raise InputError(_where(table, row), cells[row], "written with a time zone on all rows or on none")
    if len(stamps) > 1 and all(b < a for a, b in pairwise(stamps)):
        stamps, same = stamps[::-1], same[::-1]
        notes.append("rows were newest first")
    start = stamps[0]
    hours = np.array([(s - start).total_seconds() / 3600.0 for s in stamps])
    if stamps[0].tzinfo is None:
        hours = _wall_clock(table, stamps, hours, notes)
    return _rising(table, hours, cells), start, same


def _dated(cells: list[str], date: dt.date) -> list[str]:
    """Times of the day with their date: the next day begins where the clock runs back."""
    clocks = [[int(part) for part in cell.split(":")] for cell in cells]
    days = np.append(0, np.cumsum([b <= a for a, b in pairwise(clocks)]))
    return [f"{date + dt.timedelta(days=int(day))} {cell.strip()}" for day, cell in zip(days, cells, strict=True)]


def _rising(table: Table, hours: Array, cells: list[str] | None = None) -> Array:
    missing, back = np.isnan(hours), np.append(False, np.diff(hours) <= 0.0)
    if np.any(missing | back):
        row = int(np.argmax(missing if np.any(missing) else back))
        cure = "sort the rows by time and keep one place and one value per time"
        shown = cells[row] if cells else f"{hours[row]:g}"
        raise InputError(_where(table, row), shown, "later than the row before", cure)
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
        year = 2000 if any((s.month, s.day) == (2, 29) for s in stamps) else 2001
        typical = [s.replace(year=year) for s in stamps]
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
_OF_THE_DAY = re.compile(r"(\d{1,2}):(\d{2})(?::\d{2})?")
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
            allowed = "a date and time such as 2026-01-31 14:00, seconds since 1970, or hours from 0"
            raise InputError(_where(table, i, *columns), cell, allowed) from None
    return out


def _day_first(table: Table, cells: list[str]) -> bool | None:
    """Whether dates like 3/4/2026 begin with the day; None where there are no such dates."""
    dates = [m for cell in cells if (m := _DATE.match(cell)) and len(m[1]) <= 2 and len(m[3]) == 4]
    if not dates:
        return None
    firsts, seconds = {int(m[1]) for m in dates}, {int(m[2]) for m in dates}
    titles = " ".join(table.header).casefold()
    # What tells it, the surest first: points, a number above 12, the title, which of the numbers counts the days.
    signs = (
        (True, any("." in m[0] for m in dates) or max(firsts) > 12),
        (False, max(seconds) > 12 or re.search(r"mm/dd|m/d/y", titles)),
        (True, re.search(r"dd/mm|d/m/y", titles)),
        (False, len(seconds) > 1 and len(firsts) == 1),
        (True, len(firsts) > 1 and len(seconds) == 1),
    )
    for day_first, holds in signs:
        if holds:
            return day_first
    raise InputError(f"{table.what} dates", cells[0], "written year first", "write dates as 2026-01-31")


def _stamp(cell: str, day_first: bool | None) -> dt.datetime:
    text = cell.strip()
    if _EPOCH.fullmatch(text):
        seconds = float(text)
        return dt.datetime.fromtimestamp(seconds / 1000.0 if seconds > 1e11 else seconds, dt.UTC)
    if compact := _COMPACT.fullmatch(text):
        year, month, day, hour, minute, second, zone = (group or "" for group in compact.groups())
        text = f"{year}-{month}-{day} {hour}:{minute or '00'}:{second or '00'}{zone}"
    date = _DATE.match(text)
    if not date or 4 not in (len(date[1]), len(date[3])):
        raise ValueError(text)
    a, b, c = (int(group) for group in date.groups())
    if len(date[1]) < 4:
        a, b, c = (c, b, a) if day_first else (c, a, b)
    midnight = dt.datetime(a, b, c)
    rest = text[date.end() :].strip(" T,")
    clock = _CLOCK.fullmatch(rest + ":00" if re.fullmatch(r"\d{1,2}", rest) else rest or "0:00")
    if clock is None:
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
    return moment.replace(tzinfo=dt.datetime.strptime(zone, "%z").tzinfo if zone[0] in "+-" else dt.UTC)


#: How months begin, without accents: English, German, Dutch, Nordic, French, Spanish, Portuguese, Italian.
_MONTHS = [
    *("jan|ene|gen", "feb|fev", "mar|maa|mrt", "apr|avr|abr", "may|mai|mei|mag|maj", "juin|jun|giu", "juil|jul|lug"),
    *("aug|aou|ago", "sep|set", "oct|okt|ott|out", "nov", "dec|dez|dic|des"),
]
#: The same languages' titles: month, lowest, highest.
_MONTHLY = {
    "month": r"month|monat|mois|\bmes\b|mese|maand|maned|manad",
    "low": r"low|min|tief|baj|bass|laag|lav|lag",
    "high": r"high|max|mass|hoch|alt|hoog|hoj|hog",
}
#: Hours of the day at which it is coldest and hottest; common practice, no source.
COLDEST_HOUR, HOTTEST_HOUR = 5.0, 15.0


def monthly_csv(text: str | bytes, *, what: str = "monthly CSV", unit: str | None = None) -> Forecast:
    """Read a season from monthly extremes: columns month, low, high, with a unit in their titles.

    Each month becomes one day of 24 hours that swings between its extremes, coldest at 5 and hottest at 15
    o'clock; the months follow one another, 730.5 hours apart.

    Parameters
    ----------
    text : str or bytes
        The table; months as numbers or names, also German, Dutch, Nordic, French, Spanish, Portuguese, Italian.
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

    def column(word: str) -> int:
        found = [i for i, title in enumerate(table.header) if re.search(_MONTHLY[word], _unaccented(title))]
        if len(found) != 1:
            raise InputError(f"{what} columns", ", ".join(table.header), f"a table with one column {word}")
        return found[0]

    month_at, low_at, high_at = (column(word) for word in _MONTHLY)
    low, high = (_temperatures(table, i, unit) for i in (low_at, high_at))
    clock, days, seen = np.arange(24.0), list[tuple[Array, Array]](), list[int]()
    for i, row in enumerate(table.rows):
        where = _where(table, i)
        month = _month(where, row[month_at])
        if month in seen:
            raise InputError(where, row[month_at], "a month that is not in the table yet")
        seen.append(month)
        if not np.isfinite(low[i]) or not np.isfinite(high[i]):
            raise InputError(where, "empty", "a lowest and a highest temperature")
        if low[i] > high[i]:
            raise InputError(where, f"{low[i]:g} °C", f"a low that is at most the high ({high[i]:g} °C)", "swap them")
        days.append((_day(clock, float(low[i]), float(high[i])), (month - 1) * MONTH_H + clock))
    if not seen:
        raise InputError(what, "a header alone", "a table with one row per month")
    values, hours = (np.concatenate(each) for each in zip(*(days[i] for i in np.argsort(seen)), strict=True))
    return Forecast(values, hours, source=what, notes=("each month is one day between its extremes",), monthly=True)


def _month(where: str, cell: str) -> int:
    text = _unaccented(cell.strip())
    if text.isdecimal() and 1 <= int(text) <= 12:
        return int(text)
    for number, begins in enumerate(_MONTHS, 1):
        if re.match(begins, text):
            return number
    raise InputError(where, cell, "a month, 1 to 12 or its name, such as Jan, Mai, juillet")


def _unaccented(text: str) -> str:
    plain = unicodedata.normalize("NFKD", text.casefold().replace("\u00f8", "o"))
    return "".join(c for c in plain if not unicodedata.combining(c))


def _day(clock: Array, low: float, high: float) -> Any:
    """Half a cosine up from the coldest to the hottest hour, and half a longer one down again."""
    rise = HOTTEST_HOUR - COLDEST_HOUR
    since = (clock - COLDEST_HOUR) % 24.0
    phase = np.where(since <= rise, since / rise, 1.0 + (since - rise) / (24.0 - rise))
    return 0.5 * (low + high) - 0.5 * (high - low) * np.cos(np.pi * phase)
