"""Opening a store: made, or brought to this program's schema, when need be."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from matdb.errors import StoreError, StoreReadOnly
from matdb.store.backups import copy_before_upgrade
from matdb.store.connection import Reader
from matdb.store.location import Place
from matdb.store.revisions import APPLICATION_ID, HEAD
from matdb.store.schema import TABLES, TABLES_OF_SERVER, is_new, migrate, open_and_look
from matdb.store.stored import Upgraded

if TYPE_CHECKING:
    import sqlalchemy as sa


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
    if is_new(place):
        if not create:
            raise StoreError(place.shown, "there is no store; name another or let it be made")
        _upgrade(place, None, wait_s, on_wait)
    reader, frozen, found = open_and_look(place, wait_s)
    if found == HEAD:
        return reader, frozen, None
    reader.close()
    if frozen or not create:
        raise StoreError(place.shown, f"its schema {found} is older than this program; open it for writing once")
    done = _upgrade(place, found, wait_s, on_wait)
    return Reader(place, wait_s), False, done


def _upgrade(
    place: Place, before: str | None, wait_s: float, on_wait: Callable[[float], None] | None
) -> Upgraded | None:
    """Bring a store from a revision to this program's schema, in one transaction; an older one is copied aside first.

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
    from matdb.store.transaction import make_engine, writing

    engine = make_engine(place, wait_s, create=True)
    copy: Path | None = None
    try:
        with writing(engine, place, wait_s, on_wait) as connection:
            if before is not None:
                if place.path is None:
                    _lock_tables(connection)
                # Another program may have been faster while this one waited.
                before = str(connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar_one())
                if before == HEAD:
                    return None
                copy = copy_before_upgrade(place, before, wait_s)
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


def _lock_tables(connection: sa.Connection) -> None:
    """Keep every other writer of a server's store out until the transaction ends; readers go on."""
    found = {str(name) for (name,) in connection.exec_driver_sql(TABLES_OF_SERVER)}
    ours = ", ".join(f'"{name}"' for name in sorted(found & TABLES))
    if ours:
        connection.exec_driver_sql(f"LOCK TABLE {ours} IN SHARE ROW EXCLUSIVE MODE")


def _check_foreign_keys(connection: sa.Connection, place: Place) -> None:
    broken = connection.exec_driver_sql("PRAGMA foreign_key_check").first()
    if broken is not None:
        raise StoreError(place.shown, f"a row of {broken[0]} points to none of {broken[2]}; restore a backup")
