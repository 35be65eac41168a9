"""What the fields of a reading are called in files and on the command line, and the units they come in."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from typing import Any, Final

from matdb.delimited import BLANKS
from matdb.errors import InputError
from matdb.exchange.csv_file import unguarded
from matdb.units import UNITS, parse

__all__ = ["COLUMNS", "Column", "Heading", "heading_of", "value_of"]

_TEXT, _COUNT, _SHORE, _TIME = "text", "count", "shore", "time"

_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_BRACKETED = re.compile(r"(.+?)\s*[(\[]\s*(.*?)\s*[)\]]")


@dataclass(frozen=True)
class Column:
    """A field of a reading as files know it.

    Attributes
    ----------
    field : str
        The field's name; it ends in its unit where it has one.
    stem : str
        The same without the unit.
    dimension : str
        A dimension of :data:`matdb.units.UNITS`, or text, count, shore, time.
    unit : str
        The unit of ``field``, as :func:`matdb.units.parse` knows it; empty where there is none.
    aliases : tuple of str
        Other names that spreadsheets use.
    """

    field: str
    stem: str
    dimension: str = _TEXT
    unit: str = ""
    aliases: tuple[str, ...] = ()


COLUMNS: Final = tuple(
    Column(*row)
    for row in (
        ("kind", "kind", _TEXT, "", ("type", "reading")),
        ("part", "part", _TEXT, "", ("part_name", "isolator")),
        ("material", "material", _TEXT, "", ("material_name",)),
        ("axis", "axis", _TEXT, "", ("direction",)),
        ("temperature_c", "temperature", "temperature", "C", ("temp", "t")),
        ("temperature_sd_c", "temperature_sd", "temperature_difference", "C", ("temp_sd",)),
        ("mass_kg", "mass", "mass", "kg", ("weight", "load")),
        ("count", "count", _COUNT, "", ("parts", "pieces", "number_of_parts")),
        ("squeeze_mm", "squeeze", "length", "mm", ("preload",)),
        ("frequency_hz", "frequency", "frequency", "Hz", ("freq", "f")),
        ("frequency_sd_hz", "frequency_sd", "frequency", "Hz", ("freq_sd",)),
        ("log_decrement", "log_decrement", "dimensionless", "", ("decrement", "logarithmic_decrement")),
        ("log_decrement_sd", "log_decrement_sd", "dimensionless", "", ("decrement_sd",)),
        ("half_power_width_hz", "half_power_width", "frequency", "Hz", ("width", "bandwidth")),
        ("amplification", "amplification", "dimensionless", "", ("q",)),
        ("deflection_mm", "deflection", "length", "mm", ("sag",)),
        ("deflection_sd_mm", "deflection_sd", "length", "mm", ()),
        ("dwell_s", "dwell", "duration", "s", ()),
        ("storage_mpa", "storage", "modulus", "MPa", ("storage_modulus", "modulus")),
        ("storage_sd", "storage_sd", "dimensionless", "", ()),
        ("loss_factor", "loss_factor", "dimensionless", "", ("tan_delta",)),
        ("loss_factor_sd", "loss_factor_sd", "dimensionless", "", ()),
        ("value", "value", _SHORE, "", ("hardness", "shore")),
        ("soak_min", "soak", "duration", "min", ()),
        ("seconds_out", "out", "duration", "s", ("time_out", "out_of_chamber")),
        ("who", "who", _TEXT, "", ("by", "operator")),
        ("taken_at", "taken_at", _TIME, "", ("when", "date", "time")),
        ("note", "note", _TEXT, "", ("notes", "comment", "remark")),
    )
)

BY_FIELD: Final = {column.field: column for column in COLUMNS}
_BY_NAME: Final = {name: column for column in COLUMNS for name in (column.stem, *column.aliases)}


@dataclass(frozen=True)
class Heading:
    """A heading of a file, understood: its text, the column it stands for, and the unit that it names."""

    text: str
    column: Column
    unit: str

    @property
    def field(self) -> str:
        """The field's name."""
        return self.column.field


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
    plain = _plain(text)
    if plain in BY_FIELD:
        return Heading(text, BY_FIELD[plain], BY_FIELD[plain].unit)
    if plain in _BY_NAME:
        return Heading(text, _BY_NAME[plain], "")
    bracketed = _BRACKETED.fullmatch(text.strip())
    if bracketed:
        column, unit = _BY_NAME.get(_plain(bracketed[1])), bracketed[2]
    else:
        stem, _, unit = re.sub(r"[\s,]+", "_", text.strip()).rpartition("_")
        column = _BY_NAME.get(_plain(stem))
    if column is None:
        return None
    if column.dimension in UNITS and unit not in ("", "-", "1"):
        parse(f"1 {unit}", column.dimension, f"heading {text}")
    elif column.dimension not in (*UNITS, _SHORE):
        return None
    return Heading(text, column, "" if unit in ("-", "1") else unit)


def value_of(column: Column, text: str, label: str, unit: str = "", *, comma: bool = False) -> Any:
    """A field's value from text, in the field's own unit; None when the text says that there is none.

    Parameters
    ----------
    column : Column
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
    kind = column.dimension
    if kind == _TEXT:
        return unguarded(text) or None
    if text.strip().casefold() in BLANKS:
        return None
    if kind == _TIME:
        return _time(text, label)
    if kind == _SHORE:
        return f"{text} {unit}" if unit and _NUMBER.fullmatch(text.strip()) else text
    if comma and text.count(",") == 1 and "." not in text:
        text = text.replace(",", ".")
    plain = text.strip().replace("\N{MINUS SIGN}", "-")
    if kind == _COUNT:
        if not re.fullmatch(r"\d{1,9}(?:\.0*)?", plain):
            raise InputError(label, text, "a whole number from 1 to 1000")
        return int(float(plain))
    if unit and _NUMBER.fullmatch(plain):
        if unit == column.unit == "min":
            return parse(plain, "dimensionless", label)
        plain = f"{plain} {unit}"
    value = parse(plain, kind, label)
    return value / 60.0 if column.unit == "min" else value


def _time(text: str, label: str) -> dt.datetime:
    try:
        when = dt.datetime.fromisoformat(text.strip())
        # A time without a zone is the clock on this wall.
        return when if when.tzinfo is not None else when.astimezone()
    except (ValueError, OverflowError, OSError):
        raise InputError(label, text, "a date and time such as 2024-01-31T14:05 or 2024-01-31T14:05+01:00") from None


def _plain(text: str) -> str:
    return re.sub(r"[^a-z0-9]+", "_", text.casefold()).strip("_")
