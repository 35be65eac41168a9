"""The copy of a store as it was, kept before an upgrade: beside the file, or in a folder of one's own for a server."""

from __future__ import annotations

import datetime as dt
import hashlib
import os
import re
from contextlib import closing
from pathlib import Path

import sqlalchemy as sa

from matdb.errors import MatdbError, StoreError
from matdb.store import schema
from matdb.store.copying import copy_table, remove, rights_of, settle, vacuum_into
from matdb.store.engine import make_engine, writing
from matdb.store.reader import Reader
from matdb.store.revisions import APPLICATION_ID
from matdb.store.where import Place

__all__ = ["copies_folder", "copy_aside", "lock_tables"]


def copies_folder() -> Path:
    """Where copies of stores on a server are kept: ``MATDB_BACKUPS``, else ``backups`` in the user's state folder."""
    named = os.environ.get("MATDB_BACKUPS")
    if named:
        return Path(named).expanduser()
    import platformdirs

    return Path(platformdirs.user_state_dir("matdb", appauthor=False)) / "backups"


def copy_aside(place: Place, revision: str, wait_s: float) -> Path:
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
    if place.path is not None:
        folder, stem = place.path.parent, place.path.name
        target = folder / f"{stem}.{revision}.{now}.backup"
        cure = "make room or change the rights there"
    else:
        folder, stem = copies_folder(), _stem(place)
        target = folder / f"{stem}.{revision}.{now}.sqlite"
        cure = "make room or change the rights there, or name another folder in MATDB_BACKUPS"
    part = target.with_name(target.name + ".part")
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        # What a program that was killed here left; nobody else upgrades this store now.
        unfinished = re.compile(re.escape(stem) + r"\.\w+\.\d{8}T\d{12}Z\.(backup|sqlite)\.part\b.*")
        for left in folder.iterdir():
            if unfinished.fullmatch(left.name):
                left.unlink(missing_ok=True)
        try:
            if place.path is not None:
                vacuum_into(place, part)
            else:
                _from_server(place, revision, wait_s, part)
            settle(part, target, mode=rights_of(place) or 0o600)
        finally:
            remove(part)
    except (MatdbError, OSError) as error:
        why = error.why if isinstance(error, StoreError) else getattr(error, "strerror", None) or str(error)
        raise StoreError(
            place.shown, f"no copy can be kept in {folder} before the upgrade ({why}); nothing was changed; {cure}"
        ) from None
    return target


def lock_tables(connection: sa.Connection) -> None:
    """Keep every other writer of a server's store out until the transaction ends; readers go on."""
    names = sorted(sa.inspect(connection).get_table_names())
    ours = ", ".join(f'"{name}"' for name in names if name in _known())
    if ours:
        connection.exec_driver_sql(f"LOCK TABLE {ours} IN SHARE ROW EXCLUSIVE MODE")


def _known() -> set[str]:
    from matdb.store.models import Base

    return {*Base.metadata.tables, "alembic_version"}


def _stem(place: Place) -> str:
    """A file name that tells the store: its database's name, and a mark of its whole address."""
    name = place.shown.partition("?")[0].rpartition("/")[2]
    mark = hashlib.sha256(place.shown.encode()).hexdigest()[:8]
    return f"{re.sub(r'[^A-Za-z0-9_-]', '_', name)[:60] or 'store'}-{mark}"


def _from_server(place: Place, revision: str, wait_s: float, part: Path) -> None:
    """Make an empty file of the same revision and fill it with every row of the server's store."""
    first = part.with_name(part.name + ".first")
    file = Place(str(first), first)
    engine = make_engine(file, wait_s, create=True)
    try:
        with writing(engine, file, wait_s, foreign_keys=False) as connection:
            schema.migrate(connection, revision, file)
            connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")
            found = sa.MetaData()
            found.reflect(connection)
            with closing(Reader(place, wait_s)) as reader, reader.snapshot():
                for table in found.sorted_tables:
                    if table.name != "alembic_version":
                        copy_table(reader, connection, table, str(first))
        # A store leaves its file set for a log beside it; a copy is one file.
        vacuum_into(file, part)
    finally:
        engine.dispose()
        remove(first)
