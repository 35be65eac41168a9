"""The columns of a file of readings: what a heading means, and a field's value from the text of a cell."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from typing import Any

from matdb.bench.readings import reading_fields
from matdb.delimited import BLANKS, NUMBER
from matdb.errors import InputError
from matdb.exchange.csv_file import unguarded
from matdb.fields import FieldInfo
from matdb.units import UNITS, parse

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


def heading_of(text: str) -> Heading | None:
    """Understand a heading such as ``temp_F``, ``Mass (g)``, ``frequency [Hz]``, ``storage_mpa``; None if not.

    Parameters
    ----------
    text : str
        The heading.

    Raises
    ------
    InputError
        The column is known but the unit is not one of its.
    """
    known = columns()
    by_name = {name: each for each in known.values() for name in (each.stem, *each.aliases)}
    whole = _folded(text)
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
            raise InputError(label, text, "a whole number from 1 to 1000")
        return int(float(plain))
    if unit and NUMBER.fullmatch(plain):
        if unit == field.unit == "min":
            return parse(plain, "dimensionless", label)
        plain = f"{plain} {unit}"
    value = parse(plain, dimension, label)
    return value / 60.0 if field.unit == "min" else value


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
