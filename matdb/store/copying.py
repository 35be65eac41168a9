"""Copies of whole stores: from one to another with verification, backup while in use, restore."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import os
import stat
import tempfile
from collections.abc import Sequence
from contextlib import suppress
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

from matdb.errors import InputError, NotAStore, StoreError
from matdb.store import schema
from matdb.store.faults import faults, unwritten
from matdb.store.reader import Reader, as_json, as_time, connect_sqlite, stamp
from matdb.store.records import Records
from matdb.store.where import Place, locate

if TYPE_CHECKING:
    import sqlalchemy as sa

__all__ = ["backup", "copy_store", "copy_table", "remove", "restore", "rights_of", "settle", "vacuum_into"]

_BATCH = 5000


def copy_store(source: Records, target: Records) -> dict[str, int]:
    """Copy everything from one store into another, empty one; SQLite and PostgreSQL in any pairing.

    The copy is one transaction and is read back and compared before it is kept: every value of every row.
    Numbers of readings and fits stay what they were.

    Parameters
    ----------
    source, target : Records
        Both open; the target holds nothing yet.

    Returns
    -------
    dict of str to int
        Rows copied, by table.

    Raises
    ------
    StoreError
        The target is not empty, or what it gives back differs.

    """
    from matdb.store.models import Base

    tables = Base.metadata.sorted_tables
    counts: dict[str, int] = {}
    with source._reader.snapshot(), target._change() as (connection, _, _now):
        for table in tables:
            if connection.exec_driver_sql(f'SELECT count(*) FROM "{table.name}"').scalar_one():
                raise StoreError(target.place.shown, f"is not empty (table {table.name}); copy into a new store")
        for table in tables:
            counts[table.name] = copy_table(source._reader, connection, table, target.place.shown)
            _advance_numbers(connection, table)
    return counts


def copy_table(reader: Reader, connection: sa.Connection, table: sa.Table, shown: str) -> int:
    """Copy the rows of one table as they are, then read them back and compare every value.

    Parameters
    ----------
    reader : Reader
        On the source, inside a snapshot.
    connection : Connection
        On the target, in a transaction; the table there is empty.
    table : Table
        Of the models, or reflected from a store of an older schema.
    shown : str
        The target, for messages.

    Returns
    -------
    int
        Rows copied.

    Raises
    ------
    StoreError
        What the target gives back differs.

    """
    from matdb.store.writer import insert_tuples

    there, back = _Digest(table), _Digest(table)
    rows = reader.stream(_all_rows(table))
    while batch := list(islice(rows, _BATCH)):
        plain = [there.add(row) for row in batch]
        ready = [_for_engine(row, connection.dialect.name) for row in plain]
        insert_tuples(connection, table.name, table.columns.keys(), ready)
    for row in connection.exec_driver_sql(_all_rows(table)):
        back.add(tuple(row))
    if there.value() != back.value():
        raise StoreError(shown, f"gave back another {table.name} than was written; nothing kept")
    return there.rows


def backup(records: Records, to: str | os.PathLike[str]) -> None:
    """Write a store as it is at this instant to a new SQLite file, while others go on reading and writing.

    Parameters
    ----------
    records : Records
        The store, a file or on a server.
    to : str or path
        The file to make; an existing one is never overwritten.

    Raises
    ------
    InputError
        ``to`` is a folder.
    StoreError
        There is such a file already, or it cannot be written; the message names it, not the store.

    """
    target = _new_file(to)
    part = target.with_name(target.name + ".part")
    first = part.with_name(part.name + ".first")
    try:
        remove(part)
        if records.place.path is not None:
            vacuum_into(records.place, part)
        else:
            # A store leaves its file set for a log beside it; a backup is one file, read or burnt as it is.
            with Records(first) as fresh:
                copy_store(records, fresh)
            vacuum_into(locate(first), part)
        settle(part, target, mode=rights_of(records.place))
    except StoreError as error:
        # The user named the target, not the temporary files.
        if error.where in (str(part), str(first)):
            raise type(error)(str(target), error.why) from None
        raise
    except OSError as error:
        raise StoreError(str(target), f"cannot be written ({error.strerror}); name another file") from None
    finally:
        with suppress(OSError):
            remove(first)
            remove(part)


def restore(backup_file: str | os.PathLike[str], where: str | os.PathLike[str] | None) -> None:
    """Make a store from a backup: a new file, or an empty database on a server.

    A backup of an older schema is upgraded on the way; the backup itself is not touched.

    Raises
    ------
    StoreError
        The target exists, or the backup is damaged.
    NotAStore, NewerStore
        The backup is not one that this program can read.

    """
    source, place = locate(backup_file), locate(where)
    if schema.revision_of(source) is None:
        raise NotAStore(source.shown, "is empty; name another backup")
    target = None if place.path is None else _new_file(place.path)
    folder = None if target is None else target.parent
    made = None
    try:
        with tempfile.TemporaryDirectory(dir=folder, prefix=".matdb-restore-") as made:
            copy = Path(made) / "store.sqlite"
            vacuum_into(source, copy)
            with Records(copy) as restored:
                errors = [finding for finding in restored.check() if finding.level == "error"]
                if errors:
                    raise StoreError(source.shown, f"this backup is damaged ({errors[0].what}: {errors[0].says})")
                if target is None:
                    with Records(where) as server:
                        copy_store(restored, server)
            if target is not None:
                settle(copy, target)
    except StoreError as error:
        # The user named the target, not the temporary files.
        if made is not None and error.where.startswith(made):
            raise type(error)(place.shown, error.why) from None
        raise
    except OSError as error:
        raise StoreError(place.shown, f"cannot be written ({error.strerror}); name another store") from None


def _new_file(path: str | os.PathLike[str]) -> Path:
    """The path, once nothing is there and its folder is."""
    place = locate(path)
    target = place.file
    if target.is_dir():
        raise InputError("file", str(target), "a file", "it is a folder; add a file name")
    if target.exists():
        raise StoreError(place.shown, "exists already; name a new file")
    if not target.parent.is_dir():
        raise StoreError(place.shown, f"there is no folder {target.parent}; make it first")
    return target


def vacuum_into(place: Place, to: Path) -> None:
    """Copy a file as it is at one instant, whoever else is reading or writing it.

    Raises
    ------
    StoreError
        Names ``to`` when it is that which cannot be written, else the place.

    """
    mode = "mode=ro&immutable=1" if schema.is_shut(place) else "mode=rw"
    with faults(place):
        connection = connect_sqlite(place, mode, 30.0)
        try:
            connection.execute("PRAGMA schema_version")  # what is wrong with the source shows here
            try:
                connection.execute("VACUUM INTO ?", (str(to),))
            except Exception as error:
                raise unwritten(error, str(to)) or error from None
        finally:
            connection.close()


def settle(part: Path, target: Path, *, mode: int | None = None) -> None:
    """Bring the finished file to its name, on the disk and not only in its cache.

    Parameters
    ----------
    part, target : Path
        The file and its new name.
    mode : int, optional
        Its mode, such as 0o600; without it, as the user's umask has it.

    Raises
    ------
    StoreError
        There is such a file by now.

    """
    if mode is not None:
        part.chmod(mode)
    with part.open("rb+") as file:
        os.fsync(file.fileno())
    if target.exists():
        raise StoreError(str(target), "exists already; name a new file")
    part.rename(target)


def rights_of(place: Place) -> int | None:
    """The mode for a copy of a store's file: nobody else reads it who may not read the store; None for a server."""
    return None if place.path is None else stat.S_IMODE(place.path.stat().st_mode) & 0o666 | 0o600


def remove(path: Path) -> None:
    """Remove an SQLite file and what lies beside it, if it is there."""
    for end in ("", "-wal", "-shm", "-journal"):
        path.with_name(path.name + end).unlink(missing_ok=True)


def _all_rows(table: sa.Table) -> str:
    columns = ", ".join(f'"{name}"' for name in table.columns.keys())  # noqa: SIM118 - no dict
    keys = ", ".join(f'"{column.name}"' for column in table.primary_key.columns)
    return f'SELECT {columns} FROM "{table.name}" ORDER BY {keys}'


class _Digest:
    """A checksum over the rows of a table that is the same on every engine."""

    def __init__(self, table: sa.Table) -> None:
        self._plain = [_PLAIN.get(type(column.type).__name__, _same) for column in table.columns]
        self._hash = hashlib.sha256()
        self.rows = 0

    def add(self, row: Sequence[Any]) -> list[Any]:
        """Count a row in; answers it with times, JSON and bytes as plain Python values."""
        plain = [None if value is None else turn(value) for turn, value in zip(self._plain, row, strict=True)]
        self._hash.update(json.dumps(plain, default=_shown, sort_keys=True).encode())
        self.rows += 1
        return plain

    def value(self) -> tuple[int, str]:
        return self.rows, self._hash.hexdigest()


def _same(value: Any) -> Any:
    return value


def _shown(value: Any) -> str:
    if isinstance(value, dt.datetime):
        return value.isoformat()
    return hashlib.sha256(value).hexdigest()


#: By the type's name in the models, and in a schema read back from a file.
_PLAIN: dict[str, Any] = {
    "UtcTime": as_time,
    "DATETIME": as_time,
    "JSON": as_json,
    "LargeBinary": bytes,
    "BLOB": bytes,
    "Double": float,
    "DOUBLE": float,
    "DOUBLE_PRECISION": float,
}


def _for_engine(row: Sequence[Any], dialect: str) -> tuple[Any, ...]:
    """Plain values as the driver takes them."""
    return tuple(_bound(value, dialect) for value in row)


def _bound(value: Any, dialect: str) -> Any:
    if isinstance(value, dt.datetime):
        return stamp(dialect, value)
    return json.dumps(value) if isinstance(value, dict | list) else value


def _advance_numbers(connection: sa.Connection, table: sa.Table) -> None:
    """Let a server go on counting behind the copied numbers; SQLite does so by itself."""
    if connection.dialect.name != "sqlite" and "id" in table.columns:
        connection.exec_driver_sql(
            f"SELECT setval(pg_get_serial_sequence('{table.name}', 'id'), "
            f'greatest((SELECT coalesce(max(id), 1) FROM "{table.name}"), 1), '
            f'(SELECT count(*) > 0 FROM "{table.name}"))'
        )
