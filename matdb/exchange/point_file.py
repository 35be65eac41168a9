"""Load-deflection points from a spreadsheet's CSV or from words."""

from __future__ import annotations

import re
from contextlib import suppress
from typing import Any, Final

import numpy as np

from matdb.delimited import read_table
from matdb.errors import InputError, UnitError
from matdb.exchange.reading_file import heading_of, value_of
from matdb.fields import FieldInfo, record_fields
from matdb.form.base import form_named
from matdb.units import STANDARD_GRAVITY_M_S2, parse

_LENGTH, _FORCE = "length", "force"
_ALLOWED: Final = "a table with one column of deflections and one of forces or masses, the units in the header"
_CURE: Final = "for instance deflection_mm,force_n"


def as_point(first: str, second: str) -> tuple[float, float]:
    """A point from two quantities, either first: ``("1N", "0.4mm")`` or ``("0.4mm", "100g")``.

    Returns
    -------
    tuple of float
        Deflection in mm and force in N; a mass counts as its weight.

    Raises
    ------
    UnitError, InputError
        Not a length and a force or mass.
    """
    sides = dict(map(_quantity, (first, second)))
    if len(sides) != 2:
        raise InputError("point", f"{first}:{second}", "a deflection and a force or a mass")
    return sides[_LENGTH], sides[_FORCE]


def read_points(name: str, content: bytes | str) -> tuple[tuple[float, float], ...]:
    """Read load-deflection points, smallest deflection first.

    Parameters
    ----------
    name : str
        The file's name, for messages.
    content : bytes or str
        A table as :func:`matdb.delimited.read_table` takes it. The header names the units: ``deflection_mm`` or
        ``Deflection (in)``, ``force_n``, ``load [lbf]`` or ``mass (g)``; other columns are passed over. Rows without
        both are skipped.

    Returns
    -------
    tuple of (float, float)
        Deflection in mm and force in N.

    Raises
    ------
    InputError
        No such table, or a cell that is no number.
    """
    table = read_table(name, content)
    found: dict[str, tuple[int, float]] = {}
    for index, title in enumerate(table.header):
        understood = _column(title)
        if understood is None:
            continue
        what, factor = understood
        if what in found:
            raise InputError(f"{name}, column {title}", "a second one", _ALLOWED, _CURE)
        found[what] = index, factor
    if len(found) != 2:
        raise InputError(name, ", ".join(table.header), _ALLOWED, _CURE)
    deflection, force = (table.numbers(found[what][0]) * found[what][1] for what in (_LENGTH, _FORCE))
    known = ~np.isnan(deflection + force)
    if not known.any():
        raise InputError(name, "no rows", "at least one row with a deflection and a force")
    return tuple(sorted(zip(deflection[known].tolist(), force[known].tolist(), strict=True)))


def _column(title: str) -> tuple[str, float] | None:
    """What a column holds, and its factor to mm or N; None for any other."""
    words = re.findall(r"[^\W_]+", title)
    if len(words) < 2:
        return None
    for unit in (words[-1], words[-1].upper()):
        with suppress(InputError):
            return _quantity(f"1 {unit}")
    return None


def _quantity(text: str) -> tuple[str, float]:
    """A length in mm, or a force in N; a mass counts as its weight."""
    for dimension, factor in ((_LENGTH, 1.0), (_FORCE, 1.0), ("mass", STANDARD_GRAVITY_M_S2)):
        with suppress(UnitError):
            return _LENGTH if dimension == _LENGTH else _FORCE, parse(text, dimension, "point") * factor
    raise UnitError("point", text, "a length, a force or a mass", "write the unit, such as 0.4mm or 1N")


_NAME: Final = FieldInfo(name="name", stem="name", dimension="text", aliases=("part", "size"))
_PRICE: Final = FieldInfo(name="price", stem="price", dimension="dimensionless", aliases=("cost",))
_MASS: Final = FieldInfo(name="mass_kg", stem="mass", dimension="mass", unit="kg", aliases=("weight",))
_THREAD: Final = FieldInfo(name="thread", stem="thread", dimension="text", aliases=("screw",))


def read_sizes(name: str, content: bytes | str, form: str) -> list[dict[str, Any]]:
    """Read sizes of a form, one a row.

    Parameters
    ----------
    name : str
        The file's name, for messages.
    content : bytes or str
        A table as :func:`matdb.delimited.read_table` takes it. Columns are dimensions of the form, the units in the
        header (``outer_mm``, ``Height (in)``) or in the cells, and ``name``, ``thread``, ``mass`` and ``price`` of one;
        others are passed over.
    form : str
        The form's short name.

    Returns
    -------
    list of dict
        What each row tells, by field.

    Raises
    ------
    InputError
        No such form, no row or dimension of it, or a cell that cannot be read.
    """
    cls = form_named(form)
    known = {"name": _NAME, "thread": _THREAD, "mass_kg": _MASS, "price": _PRICE} | dict(record_fields(cls))
    table = read_table(name, content)
    headings = [heading_of(each, known) for each in table.header]
    if not any(each and each.field.dimension == "length" for each in headings) or not table.rows:
        example = ",".join(list(record_fields(cls))[:3])
        raise InputError(name, ", ".join(table.header), f"rows with dimensions of a {form}", f"for instance {example}")
    rows = []
    for line, cells in zip(table.lines, table.rows, strict=True):
        told = {
            each.field.name: value_of(each.field, cell, f"{name}, line {line}, {each.text}", each.unit, comma=True)
            for each, cell in zip(headings, cells, strict=True)
            if each is not None
        }
        rows.append({field: value for field, value in told.items() if value is not None})
    return rows
