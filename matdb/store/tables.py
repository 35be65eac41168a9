"""Whole tables: copied from one store to another with every value compared, or as plain values out and in."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import islice
from typing import Any

import sqlalchemy as sa

from matdb.errors import StoreError
from matdb.store.arrays import pack, unpack
from matdb.store.connection import Reader
from matdb.store.models import Base
from matdb.store.rows import as_json, as_time, stamp

#: The tables that hold what was entered or fitted, parents first; what is computed from them is left out.
ENTERED = ("material", "part", "mounting", "reading", "fit", "fit_reading", "replaced")

_BATCH = 5000

#: What makes a value of a column plain, by the type's name in the models and in a schema read back from a file.
_PLAIN: dict[str, Any] = {
    **dict.fromkeys(("DateTime", "DATETIME"), as_time),
    "JSON": as_json,
    **dict.fromkeys(("LargeBinary", "BLOB"), bytes),
    **dict.fromkeys(("Double", "DOUBLE", "DOUBLE_PRECISION"), float),
}


def copy_tables(reader: Reader, connection: sa.Connection, tables: Sequence[sa.Table], shown: str) -> dict[str, int]:
    """Copy the rows of tables as they are into a store that holds none, then read them back and compare every value.

    Parameters
    ----------
    reader : Reader
        On the source, inside a snapshot.
    connection : Connection
        On the target, in a transaction.
    tables : sequence of Table
        Parents first: of the models, or reflected from a store of an older schema.
    shown : str
        The target, for messages.

    Returns
    -------
    dict of str to int
        Rows copied, by table.

    Raises
    ------
    StoreError
        The target is not empty, or what it gives back differs.

    """
    _must_be_empty(connection, [table.name for table in tables], shown, "copy into a new store")
    counts = {}
    for table in tables:
        rows = _plain_rows(table, reader.stream(_all_rows(table)))
        while batch := list(islice(rows, _BATCH)):
            insert_tuples(connection, table.name, table.columns.keys(), bound(batch, connection))
        there = _digest(table, reader.stream(_all_rows(table)))
        if there != _digest(table, run(connection, _all_rows(table))):
            raise StoreError(shown, f"gave back another {table.name} than was written; nothing kept")
        counts[table.name] = there[0]
        _advance_numbers(connection, table)
    return counts


def table_rows(reader: Reader, table: str) -> Iterator[dict[str, Any]]:
    """Rows of a table in the order of their numbers, inside a snapshot.

    Parameters
    ----------
    reader : Reader
        On the store.
    table : str
        One of :data:`ENTERED`.

    Yields
    ------
    dict
        By column: aware times, JSON as objects, bytes of arrays as named arrays.

    """
    model = Base.metadata.tables[table]
    for row in _plain_rows(model, reader.stream(_all_rows(model)), LargeBinary=unpack):
        yield dict(zip(model.columns.keys(), row, strict=True))


def fill_tables(
    connection: sa.Connection, tables: Mapping[str, Iterable[Mapping[str, Any]]], shown: str
) -> dict[str, int]:
    """Write whole tables into a store that holds nothing yet; answers rows by table.

    Parameters
    ----------
    connection : Connection
        On the store, in a transaction.
    tables : mapping of str to iterable of mapping
        For each of :data:`ENTERED` its rows as :func:`table_rows` gives them; a missing column is None.
    shown : str
        The store, for messages.

    Raises
    ------
    StoreError
        The store is not empty, or the rows do not fit together.

    """
    _must_be_empty(connection, ENTERED, shown, "import into a new store")
    counts = {}
    for name in ENTERED:
        model = Base.metadata.tables[name]
        rows = ([_packed(column, row.get(column.name)) for column in model.columns] for row in tables[name])
        counts[name], size = 0, _BATCH if name in ("reading", "fit_reading") else 1  # the others may be large
        while batch := list(islice(rows, size)):
            try:
                insert_tuples(connection, name, model.columns.keys(), bound(batch, connection))
            # A whole number that no column holds, half a character that no text holds.
            except (sa.exc.DBAPIError, OverflowError, UnicodeError, RecursionError) as error:
                reason = str(getattr(error, "orig", error)).splitlines()[0]
                raise StoreError(shown, f"the rows of {name} do not fit ({reason}); nothing was kept") from None
            counts[name] += len(batch)
        _advance_numbers(connection, model)
    return counts


def run(connection: sa.Connection, sql: str, *parameters: Any) -> sa.CursorResult[Any]:
    """Run a fixed statement; its parameters, plain values, are written ``?``."""
    (ready,) = bound([parameters], connection)
    return connection.exec_driver_sql(sql if connection.dialect.name == "sqlite" else sql.replace("?", "%s"), ready)


def insert_tuples(connection: sa.Connection, table: str, columns: Sequence[str], rows: Sequence[Sequence[Any]]) -> None:
    """Insert rows of what the driver takes (:func:`bound`) as fast as it can.

    SQLite takes tuples through the driver's ``executemany``, PostgreSQL through ``COPY``: several times
    faster than an INSERT built per row.
    """
    if not rows:
        return
    names = ", ".join(f'"{c}"' for c in columns)
    if connection.dialect.name == "sqlite":
        marks = ", ".join("?" * len(columns))
        connection.exec_driver_sql(f'INSERT INTO "{table}" ({names}) VALUES ({marks})', rows)
        return
    driver: Any = connection.connection.driver_connection
    with driver.cursor() as cursor, cursor.copy(f'COPY "{table}" ({names}) FROM STDIN') as copy:
        for row in rows:
            copy.write_row(row)


def _advance_numbers(connection: sa.Connection, table: sa.Table) -> None:
    """Let a server go on counting behind the copied numbers; SQLite does so by itself."""
    if connection.dialect.name != "sqlite" and "id" in table.columns:
        connection.exec_driver_sql(
            f"SELECT setval(pg_get_serial_sequence('{table.name}', 'id'), "
            f'greatest((SELECT coalesce(max(id), 1) FROM "{table.name}"), 1), '
            f'(SELECT count(*) > 0 FROM "{table.name}"))'
        )


def _must_be_empty(connection: sa.Connection, tables: Iterable[str], shown: str, cure: str) -> None:
    for name in tables:
        if connection.exec_driver_sql(f'SELECT count(*) FROM "{name}"').scalar_one():
            raise StoreError(shown, f"is not empty (table {name}); {cure}")


def _all_rows(table: sa.Table) -> str:
    columns = ", ".join(f'"{column.name}"' for column in table.columns)
    keys = ", ".join(f'"{column.name}"' for column in table.primary_key.columns)
    return f'SELECT {columns} FROM "{table.name}" ORDER BY {keys}'


def _plain_rows(table: sa.Table, rows: Iterable[Sequence[Any]], **turns: Any) -> Iterator[list[Any]]:
    """Rows with times, JSON and bytes as plain Python values, the same from every engine."""
    by_column = [(_PLAIN | turns).get(_type(column), _same) for column in table.columns]
    for row in rows:
        yield [None if value is None else turn(value) for turn, value in zip(by_column, row, strict=True)]


def _digest(table: sa.Table, rows: Iterable[Sequence[Any]]) -> tuple[int, str]:
    """How many rows, and a checksum over them that is the same on every engine."""
    count, seen = 0, hashlib.sha256()
    for count, row in enumerate(_plain_rows(table, rows), 1):  # noqa: B007
        seen.update(json.dumps(row, default=_text, sort_keys=True).encode())
    return count, seen.hexdigest()


def _type(column: sa.Column[Any]) -> str:
    return type(column.type).__name__


def _same(value: Any) -> Any:
    return value


def _text(value: Any) -> str:
    return value.isoformat() if isinstance(value, dt.datetime) else hashlib.sha256(value).hexdigest()


def bound(rows: Iterable[Sequence[Any]], connection: sa.Connection) -> list[tuple[Any, ...]]:
    """Rows of plain values as the driver takes them."""
    dialect = connection.dialect.name
    turns: dict[type, Any] = {dt.datetime: lambda time: stamp(dialect, time), dict: json.dumps, list: json.dumps}
    return [tuple([turns[type(v)](v) if type(v) in turns else v for v in row]) for row in rows]


def _packed(column: sa.Column[Any], value: Any) -> Any:
    return pack(value) if value is not None and _type(column) == "LargeBinary" else value
