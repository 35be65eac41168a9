"""Is it a store, and of this program's schema? Makes it, upgrades it, or refuses it."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from matdb.errors import NewerStore, NotAStore, StoreError, StoreReadOnly
from matdb.store.kept import Upgraded
from matdb.store.reader import Reader
from matdb.store.revisions import APPLICATION_ID, HEAD, REVISIONS
from matdb.store.where import Place

if TYPE_CHECKING:
    import sqlalchemy as sa

__all__ = ["has_log", "is_shut", "migrate", "open_reader", "revision_of", "upgrade"]

_OURS = {"material", "part", "reading"}
#: Every table that matdb asks.
_TABLES = _OURS | {"alembic_version", "effective_stiffness", "fit", "fit_reading", "mounting", "replaced"}
#: Chosen at random once; keeps two programs from making the same PostgreSQL store at the same time.
_ADVISORY_LOCK = 0x6D617464_0001


def open_reader(
    place: Place, *, wait_s: float, create: bool = True, on_wait: Callable[[float], None] | None = None
) -> tuple[Reader, bool, Upgraded | None]:
    """Open a store for reading, made or upgraded first when need be.

    Parameters
    ----------
    place : Place
        Where the store is.
    wait_s : float
        How long to wait for another writer, seconds.
    create : bool
        Whether a missing store may be made and an old one upgraded.
    on_wait : callable, optional
        Called about once a second while waiting.

    Returns
    -------
    tuple of Reader, bool and Upgraded
        The reader, whether the store can only be read, and what an upgrade did, None without one.

    Raises
    ------
    NotAStore, NewerStore, StoreReadOnly, StoreBusy, StoreError
        Each says what to do.

    """
    if place.path is not None and _is_new(place.path, place):
        _must(create, place, "there is no store; name another or let it be made")
        upgrade(place, wait_s, on_wait)
    reader, frozen, found = _open(place, wait_s)
    try:
        if found == HEAD:
            return reader, frozen, None
        _check_known(reader, place, found)
        _must(
            create and not frozen,
            place,
            f"its schema {found} is older than this program; open it for writing once",
        )
    except Exception:
        reader.close()
        raise
    reader.close()
    done = upgrade(place, wait_s, on_wait)
    return Reader(place, wait_s), False, done


def upgrade(place: Place, wait_s: float, on_wait: Callable[[float], None] | None = None) -> Upgraded | None:
    """Bring a store to this program's schema, in one transaction; an older one is copied aside first.

    Other writers are kept out from before the copy until the end, so that the copy is what the upgrade starts from.

    Returns
    -------
    Upgraded or None
        None when there was nothing older.

    Raises
    ------
    StoreError
        No copy could be kept, or a migration failed; the store is as it was.

    """
    from matdb.store.engine import make_engine, writing

    before = revision_of(place, wait_s)
    if before == HEAD:
        return None
    engine = make_engine(place, wait_s, create=True)
    copy: Path | None = None
    try:
        with writing(engine, place, wait_s, on_wait, foreign_keys=False) as connection:
            if place.path is None:
                connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_ADVISORY_LOCK})")
            if before is not None:
                from matdb.store.aside import copy_aside, lock_tables

                if place.path is None:
                    lock_tables(connection)
                # Another program may have been faster while this one waited.
                before = _revision_within(connection)
                if before == HEAD:
                    return None
                copy = copy_aside(place, before, wait_s)
            migrate(connection, HEAD, place)
            if place.path is not None:
                connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")
                _check_foreign_keys(connection, place)
    except StoreReadOnly as error:
        if before is None:
            raise
        raise StoreReadOnly(place.shown, f"its schema {before} is older than this program; {error.why}") from None
    finally:
        engine.dispose()
    return None if before is None or copy is None else Upgraded(before=before, after=HEAD, copy=copy)


def _revision_within(connection: sa.Connection) -> str:
    rows = connection.exec_driver_sql("SELECT version_num FROM alembic_version")
    return str(rows.scalar_one())


def migrate(connection: sa.Connection, revision: str, place: Place) -> None:
    """Bring the schema to a revision, within the transaction that is open.

    Raises
    ------
    StoreError
        There is no way from the revision it has to that one.

    """
    import alembic.command
    import alembic.config
    import alembic.util

    from matdb.shipped import migrations_folder

    config = alembic.config.Config()
    # Config reads % as the start of an interpolation.
    config.set_main_option("script_location", str(migrations_folder()).replace("%", "%%"))
    config.attributes["connection"] = connection
    try:
        alembic.command.upgrade(config, revision)
    except alembic.util.CommandError as error:
        raise StoreError(place.shown, f"the upgrade failed ({error}); nothing was changed") from None


def _check_foreign_keys(connection: sa.Connection, place: Place) -> None:
    broken = connection.exec_driver_sql("PRAGMA foreign_key_check").first()
    if broken is not None:
        raise StoreError(place.shown, f"a row of {broken[0]} points to none of {broken[2]}; restore a backup")


def revision_of(place: Place, wait_s: float = 5.0) -> str | None:
    """The revision of a store that is there; None for one still to be made.

    Raises
    ------
    NotAStore, NewerStore
        It is something else, or newer than this program.

    """
    if place.path is not None and _is_new(place.path, place):
        return None
    reader, _, found = _open(place, wait_s)
    try:
        if found != HEAD:
            _check_known(reader, place, found)
        return found
    finally:
        reader.close()


def _open(place: Place, wait_s: float) -> tuple[Reader, bool, str | None]:
    """A reader, whether the file is frozen, and the revision that it names."""
    frozen = is_shut(place)
    reader = Reader(place, wait_s, immutable=frozen)
    try:
        _check_tables(reader, place)
        return reader, frozen, _version(reader)
    except BaseException:
        reader.close()
        raise


def _check_tables(reader: Reader, place: Place) -> None:
    """Refuse a file in which a view stands for a table: asking it would run what somebody else wrote."""
    if place.path is None:
        return
    for (name,) in reader.rows("SELECT name FROM sqlite_master WHERE type = 'view'"):
        if str(name).lower() in _TABLES:
            raise NotAStore(place.shown, f"has a view in the place of its table {name}; name another file")


def is_shut(place: Place) -> bool:
    """Whether this user may write neither the file nor its folder, and nobody is writing it just now.

    Such a file is read as it lies: SQLite would need lock files beside it, and those of another user would
    be in the owner's way. A log beside the file shows that somebody is at it; then the locks are there.
    """
    if place.path is None:
        return False
    may_write = os.access(place.path, os.W_OK) and os.access(place.path.parent, os.W_OK)
    return not may_write and not has_log(place.path)


def _is_new(path: Path, place: Place) -> bool:
    """True when there is no file yet, or an empty one; refuses what cannot become a store."""
    try:
        if path.is_dir():
            raise NotAStore(place.shown, "is a folder; name a file in it")
        with path.open("rb") as file:
            head = file.read(16)
    except NotAStore:
        raise
    except FileNotFoundError:
        if path.parent.is_dir():
            return True
        raise StoreError(place.shown, f"there is no folder {path.parent}; make it first") from None
    except PermissionError:
        raise StoreError(place.shown, "cannot be read; change its rights or name another store") from None
    except OSError as error:
        raise StoreError(place.shown, f"cannot be opened ({error.strerror}); name another store") from None
    if not head:
        return True
    if head != b"SQLite format 3\0":
        raise NotAStore(place.shown, "is not a matdb store; name another file")
    return False


def _version(reader: Reader) -> str | None:
    """The revision that the store names; None when it has no such table or no row in it."""
    try:
        found = reader.rows("SELECT version_num FROM alembic_version")
    except (NotAStore, StoreReadOnly):
        raise
    except StoreError:
        if "alembic_version" in _tables(reader):
            raise
        return None
    return str(found[0][0]) if len(found) == 1 else None


def _check_known(reader: Reader, place: Place, found: str | None) -> None:
    """Return when the store is empty or of a known older schema; raise what fits otherwise."""
    if found in REVISIONS:
        return
    tables = _tables(reader)
    if found is None and not tables - {"alembic_version"}:
        return
    if found is None or not (tables >= _OURS or _signed(reader, place)):
        where = "file" if place.path is not None else "database"
        raise NotAStore(place.shown, f"is a database of another program; name another {where}")
    raise NewerStore(
        place.shown,
        f"was written by a newer matdb (schema {found}, this one knows up to {HEAD}); "
        "upgrade with: pip install --upgrade elastomer-matdb",
    )


def _tables(reader: Reader) -> set[str]:
    if reader.place.path is not None:
        sql = "SELECT name FROM sqlite_master WHERE type IN ('table', 'view') AND name NOT LIKE 'sqlite%'"
    else:
        sql = "SELECT tablename FROM pg_catalog.pg_tables WHERE schemaname = current_schema()"
    return {row[0] for row in reader.rows(sql)}


def _signed(reader: Reader, place: Place) -> bool:
    return place.path is not None and reader.rows("PRAGMA application_id") == [(APPLICATION_ID,)]


def has_log(path: Path) -> bool:
    """Whether SQLite's log with writes not yet in the file lies beside it."""
    log = path.with_name(path.name + "-wal")
    return log.exists() and log.stat().st_size > 0


def _must(allowed: bool, place: Place, why: str) -> None:
    if not allowed:
        raise StoreError(place.shown, why)
