"""Writing: the SQLAlchemy engine and its transactions; every one of them is a real one."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from typing import Any

import sqlalchemy as sa

from matdb.errors import StoreError, StoreReadOnly
from matdb.store.connection import connect_postgresql, connect_sqlite
from matdb.store.driver_errors import is_busy, translated_errors
from matdb.store.location import Place

#: Seconds that one attempt to start writing waits inside the database before the caller hears of it.
_ATTEMPT_S = 1.0
#: Chosen at random once. One program at a time writes to a server's store, as to a file: what a change reads first
#: (a part's material, the definition that it replaces, the published rows that it drops) then still holds when it
#: writes. Serialisable transactions would need every change to be repeatable; an import's rows come from a file once.
_WRITERS = 0x6D617464_0001
# What they log, with a traceback, when a server goes away is told in our own words; without a handler it is printed.
for _name in ("sqlalchemy", "psycopg"):
    logging.getLogger(_name).addHandler(logging.NullHandler())


def make_engine(place: Place, wait_s: float, *, create: bool = False) -> sa.Engine:
    """An engine for writing to a place.

    Parameters
    ----------
    place : Place
        Where the store is.
    wait_s : float
        How long a PostgreSQL statement waits for a lock, seconds; other writers are waited for in :func:`writing`.
    create : bool
        For a migration: let SQLite make the file, and leave foreign keys off, since a rebuilt table would take its
        children with it.

    """
    attempt_s = min(_ATTEMPT_S, wait_s)
    if place.path is None:
        make = partial(connect_postgresql, place, wait_s, autocommit=False)
        engine = sa.create_engine("postgresql+psycopg://", creator=make, pool_pre_ping=True, pool_size=2)
    else:
        make = partial(_sqlite, place, create, attempt_s)
        engine = sa.create_engine("sqlite://", creator=make, poolclass=sa.pool.QueuePool, pool_size=2)

    @sa.event.listens_for(engine, "begin")
    def _begin(connection: sa.Connection) -> None:
        # The write lock at once: a transaction that reads first and writes later can be refused midway.
        if place.path is not None:
            connection.exec_driver_sql("BEGIN IMMEDIATE")
            return
        # Past SQLAlchemy: three statements, one way there and back.
        driver: Any = connection.connection.driver_connection
        wait = "SET LOCAL lock_timeout = {:.0f}"  # 0 would be for ever
        driver.execute(
            f"{wait.format(1 + attempt_s * 1000)}; SELECT pg_advisory_xact_lock({_WRITERS}); "
            + wait.format(1 + wait_s * 1000)
        )

    return engine


def _sqlite(place: Place, create: bool, attempt_s: float) -> Any:
    connection = connect_sqlite(place, "mode=rwc" if create else "mode=rw", attempt_s)
    # FULL: a change is on the disk, not only in the system's memory, before it is confirmed; a power cut takes nothing.
    for pragma in ("journal_mode = WAL", "synchronous = FULL", f"foreign_keys = {'OFF' if create else 'ON'}"):
        connection.execute(f"PRAGMA {pragma}")
    return connection


@contextmanager
def writing(
    engine: sa.Engine, place: Place, wait_s: float, on_wait: Callable[[float], None] | None = None
) -> Iterator[sa.Connection]:
    """One transaction: all of it is kept, or nothing.

    Parameters
    ----------
    engine : Engine
        From :func:`make_engine`.
    place : Place
        Where the store is, for messages.
    wait_s : float
        How long to wait for another writer, seconds. Only the start is tried again, so that nothing doubles.
    on_wait : callable, optional
        Called about once a second with the seconds waited so far.

    Raises
    ------
    StoreBusy, StoreReadOnly, StoreError
        The store cannot be written.

    """
    with translated_errors(place):
        connection = _begun(engine, wait_s, on_wait)
        try:
            if place.path is None and connection.exec_driver_sql("SHOW transaction_read_only").scalar() == "on":
                raise StoreReadOnly(place.shown, "the server takes no writes from this user now")
            yield connection
            try:
                connection.commit()
            except sa.exc.DBAPIError as error:
                if not error.connection_invalidated:
                    raise
                unknown = "the server broke off while it kept the change; look whether it is there before trying again"
                raise StoreError(place.shown, unknown) from None
        finally:
            if connection.in_transaction():
                connection.rollback()
            connection.close()


def _begun(engine: sa.Engine, wait_s: float, on_wait: Callable[[float], None] | None) -> sa.Connection:
    """A connection that has begun to write, after waiting for others if need be."""
    started = told = time.monotonic()
    while True:
        connection = None
        try:
            connection = engine.connect()
            connection.begin()
            return connection
        except Exception as error:
            if connection is not None:
                connection.close()
            now = time.monotonic()
            if not is_busy(error) or now - started >= wait_s:
                raise
            if on_wait is not None and now - told >= 0.9 * _ATTEMPT_S:
                told = now
                on_wait(now - started)
            time.sleep(0.05)
