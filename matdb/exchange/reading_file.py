"""Readings from a spreadsheet's CSV: every problem with its row and column, then all of them or none."""

from __future__ import annotations

import datetime as dt
import difflib
import re
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, Final

from matdb.bench.readings import READINGS, Reading, reading_fields
from matdb.delimited import BLANKS, NUMBER, Table, read_table, unguarded
from matdb.errors import InputError, plain_line
from matdb.fields import FieldInfo, checked_field, fields_of, record_fields, unknown_fields
from matdb.form.part import Part
from matdb.mounting.on_part import FELT_FIELDS, felt
from matdb.units import UNITS, parse

#: Columns that an export adds and an import may carry along; they say nothing of the reading itself.
IGNORED: Final = frozenset({"number", "on", "subject", "logged_at", "counts", "retired_at", "retired_why", "corrects"})
#: More problems than this are counted but not told.
MOST_PROBLEMS: Final = 200
_KIND = FieldInfo(name="kind", stem="kind", dimension="text", aliases=("type", "reading"))
_BRACKETED = re.compile(r"(.+?)\s*[(\[]\s*(.*?)\s*[)\]]")


def columns() -> dict[str, FieldInfo]:
    """The columns that a file of readings may have, by field: what was read on what, along which axis, and the rest."""
    rest = reading_fields()
    first = {name: rest.pop(name) for name in ("part", "material", "axis")}
    return {"kind": _KIND} | first | rest


@dataclass(frozen=True)
class Heading:
    """A heading of a file, understood: its text, the field it stands for, and the unit that it names."""

    text: str
    field: FieldInfo
    unit: str


def heading_of(text: str, known: Mapping[str, FieldInfo] | None = None) -> Heading | None:
    """Understand a heading such as ``temp_F``, ``Mass (g)``, ``frequency [Hz]``, ``storage_mpa``; None if not.

    Parameters
    ----------
    text : str
        The heading.
    known : mapping, optional
        The columns that there may be, by field; those of a file of readings without it.

    Raises
    ------
    InputError
        The column is known but the unit is not one of its.
    """
    known = columns() if known is None else known
    by_name = {name: each for each in known.values() for name in (each.stem, *each.aliases)}
    whole = "" if "%" in text else _folded(text)  # a percent sign is a unit, not a letter of the name
    if whole in known:
        return Heading(text, known[whole], known[whole].unit)
    if whole in by_name:
        return Heading(text, by_name[whole], "")
    bracketed = _BRACKETED.fullmatch(text.strip())
    if bracketed:
        field, unit = by_name.get(_folded(bracketed[1])), bracketed[2]
    else:
        stem, _, unit = re.sub(r"[\s,]+", "_", text.strip()).rpartition("_")
        field = by_name.get(_folded(stem))
    if field is None:
        return None
    if field.dimension in UNITS and unit not in ("", "-", "1"):
        parse(f"1 {unit}", field.dimension, f"heading {text}")
    elif field.dimension not in (*UNITS, "shore"):
        return None
    return Heading(text, field, "" if unit in ("-", "1") else unit)


def value_of(field: FieldInfo, text: str, label: str, unit: str = "", *, comma: bool = False) -> Any:
    """A field's value from text, in the field's own unit; None when the text says that there is none.

    Parameters
    ----------
    field : FieldInfo
        The field.
    text : str
        A number, a number with a unit, or words.
    label : str
        What the user calls it, for messages.
    unit : str
        The unit of a bare number; empty when bare numbers must be refused.
    comma : bool
        Take a lone comma for a decimal point.

    Raises
    ------
    InputError
        The text cannot be read as this field.
    """
    dimension = field.dimension
    if dimension in ("name", "text"):
        return unguarded(text) or None
    if text.strip().casefold() in BLANKS:
        return None
    if dimension == "time":
        return _time(text, label)
    if dimension == "shore":
        return f"{text} {unit}" if unit and NUMBER.fullmatch(text.strip()) else text
    if comma and text.count(",") == 1 and "." not in text:
        text = text.replace(",", ".")
    plain = text.strip().replace("\N{MINUS SIGN}", "-")
    if dimension == "count":
        if not re.fullmatch(r"\d{1,9}(?:\.0*)?", plain):
            span = f" from {field.low:g} to {field.high:g}" if field.low == field.low else ""
            raise InputError(label, text, f"a whole number{span}")
        return int(float(plain))
    if unit and NUMBER.fullmatch(plain):
        plain = f"{plain} {unit}"
    return parse(plain, dimension, label, field.unit)


def _time(text: str, label: str) -> dt.datetime:
    try:
        when = dt.datetime.fromisoformat(text.strip())
        if when.tzinfo is not None:
            return when
        # A time without a zone is the clock on this wall.
        first, second = when.astimezone(), when.replace(fold=1).astimezone()
    except (ValueError, OverflowError, OSError):
        raise InputError(label, text, "a date and time such as 2024-01-31T14:05 or 2024-01-31T14:05+01:00") from None
    if first.utcoffset() != second.utcoffset():
        shown = "twice" if first.replace(tzinfo=None) == when else "never"
        zones = " or ".join(when.replace(tzinfo=each.tzinfo).isoformat() for each in (first, second))
        raise InputError(
            label, text, "a time that the clock here shows once", f"it shows it {shown}; say which: {zones}"
        )
    return first


def _folded(text: str) -> str:
    return re.sub(r"[^a-z0-9]+", "_", text.casefold()).strip("_")


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
    values = fields_of(reading)
    taken_at = values.pop("taken_at")
    return (reading.kind, *values.values(), taken_at if with_time else None)


def read_readings(
    name: str,
    content: bytes | str | Table,
    *,
    parts: Mapping[str, Part],
    materials: Iterable[str],
    known: Callable[[str, str], Iterable[Reading]] = lambda subject, name: (),
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
    known : callable
        The store's readings on a part or a material, to recognise duplicates; called with which of both and its name.
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
    if isinstance(content, Table):
        table = content
    else:
        table = read_table(name, content, on_long_row=lambda line, says: long_rows.append((line, says)))
    rows = _Rows(table, parts, materials, defaults or {})
    found = rows.found
    timed = rows.heading("taken_at") != "taken_at"
    stored: Counter[tuple[Any, ...]] = Counter()
    asked: set[tuple[str, str]] = set()
    seen: set[tuple[Any, ...]] = set()
    total = max(len(table.rows), 1)
    lines: list[tuple[int, Any]] = sorted([*zip(table.lines, table.rows, strict=True), *long_rows])
    for index, (line, cells) in enumerate(lines):
        if progress is not None and index % 500 == 0:
            progress(index / total)
        reading = rows.reading(line, cells)
        if reading is None:
            continue
        key, on = duplicate_key(reading, with_time=timed), (reading.subject, getattr(reading, reading.subject))
        if on not in asked and not keep_duplicates:
            stored.update(duplicate_key(each, with_time=timed) for each in known(*on))
        asked.add(on)
        if stored[key] > 0:
            stored[key] -= 1
            found.duplicates.append(line)
            continue
        if key in seen:
            found.repeated.append(line)
        seen.add(key)
        found.readings.append(reading)
        found.lines.append(line)
    if progress is not None:
        progress(1.0)
    return found


class _Rows:
    """What turns the rows of a table into readings, and notes every problem of each."""

    def __init__(self, table: Table, parts: Mapping[str, Part], materials: Iterable[str], defaults: Any) -> None:
        self.header, self.headings, self.found = table.header, _headings(table), ReadingFile()
        # Where a comma separates cells, only a quoted one can hold a comma, and it may part thousands.
        apart = table.separator != ","
        self.commas = [apart and not any("." in c for c in table.column(i)) for i in range(len(table.header))]
        self.parts, self.defaults = parts, defaults
        self.names = {"part": frozenset(parts), "material": frozenset(materials)}
        self.retired = next((i for i, h in enumerate(table.header) if h.casefold() == "retired_at"), None)

    def heading(self, name: str) -> str:
        """The heading of a field as the file writes it, else the field's own name."""
        return next((h.text for h in self.headings if h is not None and h.field.name == name), name)

    def reading(self, line: int, cells: tuple[str, ...] | str) -> Reading | None:
        """The reading of a row, or None with every problem noted; a row that is too long is what is wrong with it."""
        if isinstance(cells, str):
            self.found.add_problem(line, str(len(self.header) + 1), cells)
            return None
        if self.retired is not None and cells[self.retired]:
            self.found.add_problem(line, self.header[self.retired], "this reading was retired; remove the row")
            return None
        before = self.found.problem_count
        values, unread = dict(self.defaults), set()
        for heading, comma, text in zip(self.headings, self.commas, cells, strict=True):
            if heading is None or not text:
                continue
            try:
                value = value_of(heading.field, text, heading.text, heading.unit, comma=comma)
            except InputError as error:
                self.found.add_problem(line, heading.text, str(error))
                unread.add(heading.field.name)
                continue
            if value is not None:
                values[heading.field.name] = value
        cls = None if "kind" in unread else self._kind(line, values.pop("kind", None))
        if cls is None:
            return None
        # A part's reading may name its material too, as exports do.
        values.pop("material" if cls.subject == "part" else "part", None)
        for name, each in record_fields(cls).items():
            if name in values:
                try:
                    checked_field(each, values[name], cls.kind)
                except InputError as error:
                    self._problem(line, name, str(error))
                    del values[name]
            elif each.needed and name not in unread:
                self._problem(line, name, f"empty; a {cls.kind} needs it")
        for unknown in unknown_fields(cls, values, cls.kind):
            name = unknown.field.removeprefix(f"{cls.kind} ")
            self._problem(line, name, str(unknown))
            del values[name]
        self._check_subject(line, cls.subject, values)
        if any(each.needed and name not in values for name, each in record_fields(cls).items()):
            return None
        try:
            reading = cls(**values)
        except InputError as error:
            self._problem(line, error.field, str(error))
            return None
        return reading if self.found.problem_count == before else None

    def _problem(self, line: int, name: str, says: str) -> None:
        self.found.add_problem(line, self.heading(name), says)

    def _kind(self, line: int, text: Any) -> type[Reading] | None:
        kind = str(text or "").strip().casefold().replace(" ", "-").replace("_", "-")
        cls = READINGS.get({"ringdown": "ring-down", "shore": "hardness", "sweep": "modulus"}.get(kind, kind))
        if cls is None:
            allowed = "one of " + ", ".join(READINGS)
            empty = f"empty; say what kind of reading it is: {allowed}"
            self._problem(line, "kind", f"{text!r} is not allowed; it must be {allowed}" if text else empty)
        return cls

    def _check_subject(self, line: int, what: str, values: Mapping[str, Any]) -> None:
        """Whether the part or material is known, and the part has the axis and can take the squeeze."""
        on = values.get(what)
        if on is None:
            return
        if on not in self.names[what]:
            self._problem(line, what, _unknown(what, on, self.names[what]))
            return
        usual = {"axis": "axial", "squeeze_mm": 0.0}
        state = [values.get(name, usual.get(name)) for name in FELT_FIELDS]
        if what == "part":
            try:
                felt(self.parts[on].form, *state)
            except InputError as error:
                self._problem(line, error.field, str(error))


def _headings(table: Table) -> list[Heading | None]:
    headings: list[Heading | None] = []
    taken: dict[str, str] = {}
    for index, text in enumerate(table.header):
        if not text and any(table.column(index)):
            raise InputError(f"{table.what}, heading of column {index + 1}", "", "a name where there are cells")
        if text.casefold() in IGNORED or not text:
            headings.append(None)
            continue
        heading = heading_of(text)
        if heading is None:
            near = difflib.get_close_matches(text.casefold(), list(columns()), 1)
            allowed = "a column of a reading, such as kind, part, temp_F, mass_g, frequency_hz, log_decrement"
            cure = f"did you mean {near[0]}?" if near else "rename or remove the column"
            raise InputError(f"{table.what}, heading", text, allowed, cure)
        if heading.field.name in taken:
            allowed = f"one column for each field; {taken[heading.field.name]} is it too"
            raise InputError(f"{table.what}, heading", text, allowed)
        taken[heading.field.name] = text
        headings.append(heading)
    return headings


@lru_cache(4096)  # close names take long to find, and the same wrong one stands in many rows
def _unknown(what: str, name: str, names: frozenset[str]) -> str:
    near = difflib.get_close_matches(name, names, 3, 0.6)
    close = "; close names: " + ", ".join(repr(n) for n in near) if near else f"; add the {what} first"
    return f"there is no {what} {name!r} in this store{close}"
