"""Readings from a spreadsheet's CSV: every problem with its row and column, then all of them or none."""

from __future__ import annotations

import difflib
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, fields
from typing import Any, Final

from matdb.bench.readings import READINGS, Reading, check_on_part, reading_from_dict
from matdb.delimited import Table, read_table
from matdb.errors import InputError, plain_line
from matdb.exchange.columns import BY_FIELD, COLUMNS, Heading, heading_of, value_of
from matdb.form.part import Part

__all__ = ["Problem", "ReadingFile", "duplicate_key", "read_readings"]

#: Columns that an export adds and an import may carry along; they say nothing of the reading itself.
IGNORED: Final = frozenset({"number", "on", "subject", "logged_at", "counts", "retired_at", "retired_why", "corrects"})
#: More problems than this are counted but not told.
MOST_PROBLEMS: Final = 200


@dataclass(frozen=True)
class Problem:
    """One thing that keeps a file from being logged: line of the file (from 1), column, and what is wrong."""

    line: int
    column: str
    says: str

    def __str__(self) -> str:
        return plain_line(f"line {self.line}, column {self.column}: {self.says}")


@dataclass
class ReadingFile:
    """What a file of readings holds.

    Attributes
    ----------
    readings : list of Reading
        In the file's order, without those already in the store.
    lines : list of int
        The line of each.
    duplicates : list of int
        Lines that say what the store knows already.
    repeated : list of int
        Lines that repeat an earlier line of the file; they count as readings of their own.
    problems : list of Problem
        The first of them; nothing may be logged while there are any.
    problem_count : int
        All of them.
    """

    readings: list[Reading] = field(default_factory=list)
    lines: list[int] = field(default_factory=list)
    duplicates: list[int] = field(default_factory=list)
    repeated: list[int] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    problem_count: int = 0

    def add_problem(self, line: int, column: str, says: str) -> None:
        """Note a problem."""
        self.problem_count += 1
        if len(self.problems) < MOST_PROBLEMS:
            self.problems.append(Problem(line, column, says))


def duplicate_key(reading: Reading, *, with_time: bool) -> tuple[Any, ...]:
    """What makes two readings the same one: every field, the time only when both sides know it."""
    names = [f.name for f in fields(reading) if f.name != "taken_at"]
    key: tuple[Any, ...] = (reading.kind, *(getattr(reading, name) for name in names))
    return (*key, reading.taken_at) if with_time else key


def read_readings(
    name: str,
    content: bytes | str | Table,
    *,
    parts: Mapping[str, Part],
    materials: Iterable[str],
    known: Iterable[Reading] = (),
    defaults: Mapping[str, str] | None = None,
    keep_duplicates: bool = False,
    progress: Callable[[float], None] | None = None,
) -> ReadingFile:
    """Read a CSV of readings, one a row, of any kinds mixed.

    Parameters
    ----------
    name : str
        The file's name, for messages.
    content : bytes, str or Table
        Comma, semicolon, tab or bar between cells; decimal commas where the comma does not separate cells;
        byte order mark, blank lines and lines that begin with ``#`` are passed over. Or a table read already.
    parts, materials
        What the store knows.
    known : iterable of Reading
        The store's readings, to recognise duplicates.
    defaults : mapping of str to str, optional
        ``kind``, ``part``, ``material`` and the like for cells that are empty or columns that are not there.
    keep_duplicates : bool
        Log again what the store knows already.
    progress : callable, optional
        Called with the share done, 0 to 1.

    Returns
    -------
    ReadingFile

    Raises
    ------
    InputError
        The file is no table at all, or its heading cannot be understood.
    """
    long_rows: list[tuple[int, str]] = []
    table = (
        content
        if isinstance(content, Table)
        else read_table(name, content, on_long_row=lambda line, says: long_rows.append((line, says)))
    )
    headings = _headings(table)
    commas = [_decimal_comma(table, i) for i in range(len(table.header))]
    timed = any(h is not None and h.field == "taken_at" for h in headings)
    stored = Counter() if keep_duplicates else Counter(duplicate_key(r, with_time=timed) for r in known)
    names = {"part": set(parts), "material": set(materials)}
    found = ReadingFile()
    seen: set[tuple[Any, ...]] = set()
    checked: set[tuple[Any, ...]] = set()
    missing: dict[tuple[str, str], str] = {}
    total = max(len(table.rows), 1)
    retired = next((i for i, h in enumerate(table.header) if h.casefold() == "retired_at"), None)
    long_rows.reverse()
    for row, (cells, line) in enumerate(zip(table.rows, table.lines, strict=True)):
        while long_rows and long_rows[-1][0] < line:
            _add_long_row(found, table, *long_rows.pop())
        if progress is not None and row % 500 == 0:
            progress(row / total)
        if retired is not None and cells[retired]:
            found.add_problem(line, table.header[retired], "this reading was retired; remove the row")
            continue
        before = found.problem_count
        values, unread = _values(found, headings, commas, cells, line)
        reading = _reading(found, headings, dict(defaults or {}) | values, unread, line)
        if reading is None:
            continue
        on = getattr(reading, reading.subject)
        if on not in names[reading.subject]:
            if (reading.subject, on) not in missing:
                missing[reading.subject, on] = _unknown(reading.subject, on, names)
            found.add_problem(line, _shown(headings, reading.subject), missing[reading.subject, on])
            continue
        state = (on, getattr(reading, "axis", None), getattr(reading, "squeeze_mm", None))
        if reading.subject == "part" and state not in checked:
            try:
                check_on_part(reading, parts[on])
            except InputError as error:
                found.add_problem(line, _shown(headings, error.field), str(error))
                continue
            checked.add(state)
        if found.problem_count > before:
            continue
        key = duplicate_key(reading, with_time=timed)
        if stored[key] > 0:
            stored[key] -= 1
            found.duplicates.append(line)
            continue
        if key in seen:
            found.repeated.append(line)
        seen.add(key)
        found.readings.append(reading)
        found.lines.append(line)
    while long_rows:
        _add_long_row(found, table, *long_rows.pop())
    if progress is not None:
        progress(1.0)
    return found


def _add_long_row(found: ReadingFile, table: Table, line: int, says: str) -> None:
    found.add_problem(line, str(len(table.header) + 1), says)


def _headings(table: Table) -> list[Heading | None]:
    headings: list[Heading | None] = []
    taken: dict[str, str] = {}
    for text in table.header:
        if text.casefold() in IGNORED or not text:
            headings.append(None)
            continue
        heading = heading_of(text)
        if heading is None:
            near = difflib.get_close_matches(text.casefold(), [c.field for c in COLUMNS], 1)
            raise InputError(
                f"{table.what}, heading",
                text,
                "a column of a reading, such as kind, part, temp_F, mass_g, frequency_hz, log_decrement",
                f"did you mean {near[0]}?" if near else "rename or remove the column",
            )
        if heading.field in taken:
            raise InputError(
                f"{table.what}, heading", text, f"one column for each field; {taken[heading.field]} is it too"
            )
        taken[heading.field] = text
        headings.append(heading)
    for index, text in enumerate(table.header):
        if not text and any(table.column(index)):
            raise InputError(f"{table.what}, heading of column {index + 1}", "", "a name where there are cells")
    return headings


def _decimal_comma(table: Table, index: int) -> bool:
    """Whether a comma is a decimal sign in this column."""
    if table.separator == ",":
        # Only a quoted cell can hold a comma here, and it may part thousands.
        return False
    return not any("." in c for c in table.column(index))


def _values(
    found: ReadingFile,
    headings: list[Heading | None],
    commas: list[bool],
    cells: tuple[str, ...],
    line: int,
) -> tuple[dict[str, Any], set[str]]:
    """The values of a row, and the fields whose cells could not be read."""
    values: dict[str, Any] = {}
    unread: set[str] = set()
    for heading, comma, text in zip(headings, commas, cells, strict=True):
        if heading is None or not text:
            continue
        try:
            value = value_of(heading.column, text, heading.text, heading.unit, comma=comma)
        except InputError as error:
            found.add_problem(line, heading.text, str(error))
            unread.add(heading.field)
            continue
        if value is not None:
            values[heading.field] = value
    return values, unread


#: What stands for a needed figure that is wrong, so that the rest of its row can be judged too.
_STAND_INS: Final[Mapping[str, Any]] = {
    "temperature_c": 23.0,
    "mass_kg": 1.0,
    "frequency_hz": 1e5,
    "deflection_mm": 1.0,
    "storage_mpa": 1.0,
    "value": "40 A",
}


def _reading(
    found: ReadingFile, headings: list[Heading | None], values: dict[str, Any], unread: set[str], line: int
) -> Reading | None:
    """The reading of a row, one with stand-ins where only a figure is wrong, or None; every problem is noted."""
    if "kind" in unread:
        return None
    kind = str(values.get("kind", "")).strip().casefold().replace(" ", "-").replace("_", "-")
    kind = {"ringdown": "ring-down", "shore": "hardness", "sweep": "modulus"}.get(kind, kind)
    cls = READINGS.get(kind)
    if cls is None:
        allowed = "one of " + ", ".join(READINGS)
        says = (
            f"{values['kind']!r} is not allowed; it must be {allowed}"
            if values.get("kind")
            else f"empty; say what kind of reading it is: {allowed}"
        )
        found.add_problem(line, _shown(headings, "kind"), says)
        return None
    # A part's reading may name its material too, as exports do.
    other = "material" if cls.subject == "part" else "part"
    values = {k: v for k, v in values.items() if k != other} | {"kind": kind}
    needed = [f.name for f in fields(cls) if _is_needed(f)]
    absent = [name for name in needed if values.get(name) is None]
    for name in absent:
        if name not in unread:
            found.add_problem(line, _shown(headings, name), f"empty; a {kind} needs it")
    if any(name not in _STAND_INS for name in absent):
        return None
    values |= {name: _STAND_INS[name] for name in absent}
    for _ in range(len(values)):
        try:
            return reading_from_dict(values)
        except InputError as error:
            name = error.field.removeprefix(f"{kind} ")
            found.add_problem(line, _shown(headings, name), str(error))
            if name in _STAND_INS and name in needed and values.get(name) != _STAND_INS[name]:
                values[name] = _STAND_INS[name]
            elif name in values and name not in needed:
                del values[name]
            else:
                return None
    return None


def _is_needed(f: Any) -> bool:
    from dataclasses import MISSING

    return f.default is MISSING and f.default_factory is MISSING


def _shown(headings: list[Heading | None], name: str) -> str:
    """The heading of a field as the file writes it, else the field's own name."""
    for heading in headings:
        if heading is not None and heading.field == name:
            return heading.text
    return BY_FIELD[name].field if name in BY_FIELD else name


def _unknown(what: str, name: str, names: Mapping[str, set[str]]) -> str:
    near = difflib.get_close_matches(name, names[what], 3, 0.6)
    close = "; close names: " + ", ".join(repr(n) for n in near) if near else f"; add the {what} first"
    return f"there is no {what} {name!r} in this store{close}"
