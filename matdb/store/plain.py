"""Whole tables as plain values, out of one store and into another, empty one."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import AbstractContextManager
from itertools import islice
from typing import TYPE_CHECKING, Any

from matdb.errors import StoreError
from matdb.store.reader import as_json, as_time

if TYPE_CHECKING:
    from matdb.store.records import Records

__all__ = ["KEPT", "as_arrays", "at_one_instant", "fill_empty", "table_rows"]

#: The tables that hold what was entered or fitted, parents first; what is computed from them is left out.
KEPT = ("material", "part", "mounting", "reading", "fit", "fit_reading", "replaced")

_BATCH = 5000


def table_rows(records: Records, table: str) -> Iterator[dict[str, Any]]:
    """Rows of a table in the order of their numbers.

    Parameters
    ----------
    records : Records
        Open; inside :func:`at_one_instant` when tables must agree with each other.
    table : str
        One of ``KEPT``.

    Yields
    ------
    dict
        By column: aware times, JSON as objects, bytes of arrays as named arrays.
    """
    from matdb.store.arrays import unpack
    from matdb.store.models import Base

    model = Base.metadata.tables[table]
    columns = [(column.name, type(column.type).__name__) for column in model.columns]
    keys = ", ".join(f'"{column.name}"' for column in model.primary_key.columns)
    names = ", ".join(f'"{name}"' for name, _ in columns)
    turn: dict[str, Any] = {
        "UtcTime": as_time,
        "JSON": as_json,
        "LargeBinary": unpack,
        "Double": float,
    }
    turns = [(name, turn.get(kind)) for name, kind in columns]
    for row in records._reader.stream(f'SELECT {names} FROM "{table}" ORDER BY {keys}'):
        yield {
            name: value if value is None or change is None else change(value)
            for (name, change), value in zip(turns, row, strict=True)
        }


def at_one_instant(records: Records) -> AbstractContextManager[None]:
    """Let every :func:`table_rows` inside see the store as it is at one instant."""
    return records._reader.snapshot()


def fill_empty(records: Records, tables: Mapping[str, Iterable[Mapping[str, Any]]]) -> dict[str, int]:
    """Write whole tables into a store that holds nothing yet; all of it, or nothing.

    Parameters
    ----------
    records : Records
        Open for writing, empty.
    tables : mapping of str to iterable of mapping
        For each of ``KEPT`` its rows as :func:`table_rows` gives them; a missing column is None.

    Returns
    -------
    dict of str to int
        Rows written, by table.

    Raises
    ------
    StoreError
        The store is not empty, or the rows do not fit together.
    """
    import sqlalchemy as sa

    from matdb.store.copying import _advance_numbers, _for_engine
    from matdb.store.models import Base
    from matdb.store.writer import insert_tuples

    counts = {}
    shown = records.place.shown
    with records._change() as (connection, _, _now):
        dialect = connection.dialect.name
        for name in KEPT:
            if connection.exec_driver_sql(f'SELECT count(*) FROM "{name}"').scalar_one():
                raise StoreError(shown, f"is not empty (table {name}); import into a new store")
        for name in KEPT:
            model = Base.metadata.tables[name]
            columns = list(model.columns.keys())
            rows, counts[name] = iter(tables[name]), 0
            while batch := list(islice(rows, _BATCH)):
                plain = [_for_engine([_packed(row.get(c)) for c in columns], dialect) for row in batch]
                try:
                    insert_tuples(connection, name, columns, plain)
                except (sa.exc.DBAPIError, OverflowError) as error:  # a whole number that no column holds
                    reason = str(getattr(error, "orig", error)).splitlines()[0]
                    raise StoreError(shown, f"the rows of {name} do not fit ({reason}); nothing was kept") from None
                counts[name] += len(batch)
            _advance_numbers(connection, model)
    return counts


def _packed(value: Any) -> Any:
    """Named arrays as bytes; anything else as it is."""
    if not isinstance(value, _Arrays):
        return value
    from matdb.store.arrays import pack

    return pack(value)


class _Arrays(dict[str, Any]):
    """Named arrays, told apart from an object of JSON."""


def as_arrays(values: Mapping[str, Any]) -> Mapping[str, Any]:
    """Mark named arrays, so that :func:`fill_empty` packs them."""
    return _Arrays(values)
