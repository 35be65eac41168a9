"""Sizes that are owned or can be bought, from a spreadsheet's CSV."""

from __future__ import annotations

from typing import Any, Final

from matdb.delimited import read_table
from matdb.errors import InputError
from matdb.exchange.reading_file import heading_of, value_of
from matdb.fields import FieldInfo, record_fields
from matdb.form.base import form_named

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
