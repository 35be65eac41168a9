"""Reading without SQLAlchemy: one plain driver connection, since an answer must not wait for an import.

SQLAlchemy's import takes longer than everything else that a short command does; the statements here are
fixed text with bound parameters, the same on SQLite and PostgreSQL.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any
from urllib.parse import quote

from matdb.checks import extra
from matdb.store.driver_errors import REFUSED, translated_errors
from matdb.store.location import Place

#: Largest cell that is read or written, bytes: the largest block of arrays, and room to spare.
_MOST_CELL = 300_000_000
#: Longest statement, characters, those of a file's schema included; matdb's own have some thousands.
_LONGEST_SQL = 100_000


class Reader:
    """One connection that only reads.

    Parameters
    ----------
    place : Place
        Where the store is.
    wait_s : float
        How long to wait for another writer, seconds.
    immutable : bool
        Read a file that nobody can write just now, without the lock files that SQLite would make.

    """

    def __init__(self, place: Place, wait_s: float = 5.0, *, immutable: bool = False) -> None:
        self.place = place
        self._lock = threading.RLock()
        self._deep, self._open = 0, True
        self._sqlite = place.path is not None
        self._wait_s = wait_s
        with translated_errors(place):
            if self._sqlite:
                mode = "mode=ro&immutable=1" if immutable else "mode=rw"
                self._connection: Any = connect_sqlite(place, mode, wait_s)
                self._connection.execute("PRAGMA query_only = ON")
            else:
                self._connection = self._connected()

    def _connected(self) -> Any:
        connection = connect_postgresql(self.place, self._wait_s)
        connection.read_only = True
        return connection

    def _execute(self, sql: str, parameters: Sequence[object] = ()) -> Any:
        """Run a statement; on a server that went away meanwhile once more, where nothing of before is lost by it."""
        if self._sqlite:
            return self._connection.execute(sql, parameters)
        sql, given = sql.replace("?", "%s"), parameters or None
        try:
            return self._connection.execute(sql, given)
        except Exception:
            if self._deep or not self._connection.broken:
                raise
            self._connection = self._connected()
            return self._connection.execute(sql, given)

    def rows(self, sql: str, parameters: Sequence[object] = ()) -> list[tuple[Any, ...]]:
        """All rows of one statement; parameters are written ``?``."""
        with self._lock, translated_errors(self.place):
            return list(self._execute(sql, parameters))

    def stream(self, sql: str, parameters: Sequence[object] = (), size: int = 5000) -> Iterator[tuple[Any, ...]]:
        """The rows of one statement a few thousand at a time; only inside :meth:`snapshot`."""
        with translated_errors(self.place):
            if self._sqlite:
                # Not "yield from", which would close the cursor of a store that Ctrl-C closed before.
                for row in self._connection.execute(sql, parameters):  # noqa: UP028
                    yield row
                return
            with self._connection.cursor(name="matdb_stream") as cursor:
                cursor.itersize = size
                cursor.execute(sql.replace("?", "%s"), parameters or None)
                yield from cursor

    @contextmanager
    def snapshot(self) -> Iterator[None]:
        """Let every statement inside see the store as it is at one instant."""
        with self._lock:
            if self._deep:
                yield
                return
            with translated_errors(self.place):
                self._execute("BEGIN" if self._sqlite else "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY")
            self._deep = 1
            try:
                yield
            finally:
                self._deep = 0
                with translated_errors(self.place):
                    # Ctrl-C may close the store while somebody still walks over its rows.
                    if self._open and (self._sqlite or not self._connection.broken):
                        self._connection.execute("ROLLBACK")

    def close(self) -> None:
        """Close the connection."""
        self._open = False
        self._connection.close()


def connect_sqlite(place: Place, mode: str, wait_s: float) -> Any:
    """A driver connection to the file with nothing of the file trusted."""
    connection = sqlite3.connect(
        f"file:{quote(str(place.file))}?{mode}", uri=True, timeout=wait_s, isolation_level=None, check_same_thread=False
    )
    connection.execute("PRAGMA trusted_schema = OFF")
    # No cell of a store is larger; a forged file could name one that fills the memory.
    connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, _MOST_CELL)
    connection.setlimit(sqlite3.SQLITE_LIMIT_SQL_LENGTH, _LONGEST_SQL)
    # Python acts on Ctrl-C only while it runs itself: let it, now and then, also during a long statement.
    connection.set_progress_handler(lambda: None, 100_000)
    connection.set_authorizer(_asked_directly)
    return connection


def _asked_directly(*asked: Any) -> int:
    """Refuse what a view or a trigger (named last) would ask or change; matdb goes through none, even a late one."""
    if not asked[-1]:
        return sqlite3.SQLITE_OK
    REFUSED.append(asked[-1])
    return sqlite3.SQLITE_DENY


def connect_postgresql(place: Place, wait_s: float, *, autocommit: bool = True) -> Any:
    """A driver connection to the server; each statement is its own transaction unless one is begun, or always is."""
    psycopg = extra("psycopg", "a store on a PostgreSQL server", "postgresql")
    # A cursor is read to its end: not by the plan whose first rows come soonest, which may walk over all readings.
    settings = (
        f"-c lock_timeout={int(wait_s * 1000)} -c timezone=UTC -c client_encoding=UTF8 -c cursor_tuple_fraction=1"
    )
    return psycopg.connect(place.url, autocommit=autocommit, connect_timeout=10, options=settings)
