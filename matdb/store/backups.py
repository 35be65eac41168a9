"""Copies of a store as one SQLite file: the backup that the user asks for, and the one that an upgrade keeps."""

from __future__ import annotations

import datetime as dt
import hashlib
import os
import re
from contextlib import closing
from pathlib import Path

import platformdirs

from matdb.errors import InputError, MatdbError, StoreError
from matdb.files import whole_file
from matdb.store.connection import Reader, connect_sqlite
from matdb.store.driver_errors import translated_errors, unwritten
from matdb.store.location import Place, is_shut, locate
from matdb.store.revisions import APPLICATION_ID, HEAD
from matdb.store.schema import migrate


def backup(place: Place, to: str | os.PathLike[str]) -> None:
    """Write a store as it is at this instant to a new SQLite file, while others go on reading and writing.

    Parameters
    ----------
    place : Place
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
    try:
        _write_copy(place, HEAD, 30.0, unused_file(to), place.rights)
    except OSError as error:
        if isinstance(error, StoreError):
            raise
        raise StoreError(str(to), f"cannot be written ({error.strerror}); name another file") from None


def unused_file(path: str | os.PathLike[str]) -> Path:
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


def copies_folder() -> Path:
    """Where copies of stores on a server are kept: ``MATDB_BACKUPS``, else ``backups`` in the user's state folder."""
    named = os.environ.get("MATDB_BACKUPS")
    if named:
        return Path(named).expanduser()
    return Path(platformdirs.user_state_dir("matdb", appauthor=False)) / "backups"


def copy_before_upgrade(place: Place, revision: str, wait_s: float) -> Path:
    """Keep a store of an older schema as it is, in an SQLite file of that schema; ``restore`` reads it.

    Call it while nobody else can write to the store: what is copied is then what the upgrade starts from.

    Parameters
    ----------
    place : Place
        The store.
    revision : str
        Its revision.
    wait_s : float
        How long to wait for another writer, seconds.

    Returns
    -------
    Path
        The copy: complete, or not there.

    Raises
    ------
    StoreError
        No copy can be kept; the message says where and why.

    """
    now = dt.datetime.now(dt.UTC).strftime("%Y%m%dT%H%M%S%fZ")
    cure = "make room or change the rights there"
    if place.path is not None:
        folder, stem, end = place.path.parent, place.path.name, "backup"
    else:
        folder, stem, end = copies_folder(), _stem(place), "sqlite"
        cure += ", or name another folder in MATDB_BACKUPS"
    target = folder / f"{stem}.{revision}.{now}.{end}"
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        # What a program that was killed here left; nobody else upgrades this store now.
        unfinished = re.compile(r"\.?" + re.escape(stem) + r"\.\w+\.\d{8}T\d{12}Z\.(backup|sqlite)(\.\w{8})?\.part\b.*")
        for left in folder.iterdir():
            if unfinished.fullmatch(left.name):
                left.unlink(missing_ok=True)
        _write_copy(place, revision, wait_s, target, place.rights or 0o600)
    except (MatdbError, OSError) as error:
        why = error.why if isinstance(error, StoreError) else getattr(error, "strerror", None) or str(error)
        raise StoreError(
            place.shown, f"no copy can be kept in {folder} before the upgrade ({why}); nothing was changed; {cure}"
        ) from None
    return target


def _write_copy(place: Place, revision: str, wait_s: float, target: Path, mode: int | None) -> None:
    """Write a store of that revision to a new file; an error names the target, not the file that it was first."""
    with whole_file(target, mode=mode) as part:
        try:
            _copy_into(place, revision, wait_s, part)
        except StoreError as error:
            raise type(error)(str(target), error.why) if error.where == str(part) else error from None
        if target.exists():
            raise StoreError(str(target), "exists already; name a new file")


def vacuum_into(place: Place, to: Path) -> None:
    """Copy a file as it is at one instant, whoever else is reading or writing it.

    Parameters
    ----------
    place : Place
        The store.
    to : Path
        A file that is not there, or is empty.

    Raises
    ------
    StoreError
        Names ``to`` when it is that which cannot be written, else the place.

    """
    mode = "mode=ro&immutable=1" if is_shut(place) else "mode=rw"
    with translated_errors(place), closing(connect_sqlite(place, mode, 30.0)) as connection:
        connection.execute("PRAGMA schema_version")  # what is wrong with the source shows here
        try:
            connection.execute("VACUUM INTO ?", (str(to),))
        except Exception as error:
            raise unwritten(error, str(to)) or error from None


def _copy_into(place: Place, revision: str, wait_s: float, to: Path) -> None:
    """Fill an empty file with the store: as SQLite copies a file, or a store of that revision, row by row."""
    if place.path is not None:
        vacuum_into(place, to)
        return
    import sqlalchemy as sa

    from matdb.store.tables import copy_tables
    from matdb.store.transaction import make_engine, writing

    file = Place(str(to), to)
    engine = make_engine(file, wait_s, create=True)
    try:
        with writing(engine, file, wait_s) as connection:
            migrate(connection, revision, file)
            connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")
            found = sa.MetaData()
            found.reflect(connection)
            tables = [table for table in found.sorted_tables if table.name != "alembic_version"]
            with closing(Reader(place, wait_s)) as reader, reader.snapshot():
                copy_tables(reader, connection, tables, str(to))
    finally:
        engine.dispose()
    # A store leaves its file set for a log beside it; a copy is one file, read or burnt as it is.
    with translated_errors(file), closing(connect_sqlite(file, "mode=rw", wait_s)) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")


def _stem(place: Place) -> str:
    """A file name that tells the store: its database's name, and a mark of its whole address."""
    name = place.shown.partition("?")[0].rpartition("/")[2]
    mark = hashlib.sha256(place.shown.encode()).hexdigest()[:8]
    return f"{re.sub(r'[^A-Za-z0-9_-]', '_', name)[:60] or 'store'}-{mark}"
