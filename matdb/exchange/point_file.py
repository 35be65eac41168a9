"""Load-deflection points from a spreadsheet's CSV or from words."""

from __future__ import annotations

import re
from typing import Final

import numpy as np

from matdb.delimited import read_table
from matdb.errors import InputError, UnitError
from matdb.units import STANDARD_GRAVITY_M_S2, parse

_LENGTH, _FORCE, _MASS = "length", "force", "mass"
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
    sides = {dimension: (value, text) for text in (first, second) for dimension, value in [_quantity(text)]}
    if _LENGTH not in sides or len(sides) != 2:
        raise InputError("point", f"{first}:{second}", "a deflection and a force or a mass")
    deflection, _ = sides.pop(_LENGTH)
    ((dimension, (load, _)),) = sides.items()
    return deflection, load if dimension == _FORCE else load * STANDARD_GRAVITY_M_S2


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
        try:
            dimension, value = _quantity(f"1 {unit}")
        except InputError:
            continue
        factor = STANDARD_GRAVITY_M_S2 if dimension == _MASS else 1.0
        return _LENGTH if dimension == _LENGTH else _FORCE, value * factor
    return None


def _quantity(text: str) -> tuple[str, float]:
    """Dimension and value of a length, force or mass."""
    for dimension in (_LENGTH, _FORCE, _MASS):
        try:
            return dimension, parse(text, dimension, "point")
        except UnitError:
            continue
    raise UnitError("point", text, "a length, a force or a mass", "write the unit, such as 0.4mm or 1N")
