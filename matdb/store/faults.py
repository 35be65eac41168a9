"""What the drivers raise, turned into the exceptions of :mod:`matdb.errors`; no driver is imported here."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from matdb.errors import MatdbError, NotAStore, StoreBusy, StoreError, StoreReadOnly
from matdb.store.where import Place

__all__ = ["READ_ONLY_CURE", "faults", "is_busy", "translated", "unwritten"]

# Primary result codes of https://www.sqlite.org/rescode.html
_BUSY, _LOCKED, _READONLY, _IOERR, _CORRUPT, _FULL, _CANTOPEN, _NOTADB, _TOOBIG = 5, 6, 8, 10, 11, 13, 14, 26, 18
_PERM, _AUTH = 3, 23
#: No room for the file of locks that readers need too; an extended code.
_NO_ROOM_FOR_LOCKS = 10 | 19 << 8

READ_ONLY_CURE = "it or its folder cannot be written; change the rights or name another store"
_BUSY_CURE = "another program is writing to it; wait until that ends, then try again"

# SQLSTATE classes and codes of the PostgreSQL manual, appendix A
_STATES: dict[str, tuple[type[StoreError], str]] = {
    "42501": (StoreReadOnly, "this user may not write to it; ask its owner for the right"),
    "25006": (StoreReadOnly, "the server takes no writes now"),
    "55P03": (StoreBusy, _BUSY_CURE),
    "57014": (StoreBusy, "the server ended the statement for its time limit; try again"),
    "40001": (StoreBusy, "another program changed the same records; try again"),
    "40P01": (StoreBusy, "another program changed the same records; try again"),
    "53100": (StoreError, "the server's disk is full; nothing of this change was kept"),
    "3D000": (StoreError, "the server has no such database; create it first"),
    "28P01": (StoreError, "the server refuses this user or password"),
    "28000": (StoreError, "the server refuses this user"),
    "53300": (StoreBusy, "the server has too many connections; try again"),
}

# What the server writes when it refuses a connection; the driver gives no SQLSTATE then.
_AT_THE_DOOR = (
    ("password authentication failed", "28P01"),
    ("no pg_hba.conf entry", "28000"),
    ("role ", "28000"),
    ("database ", "3D000"),
    ("too many clients", "53300"),
    ("No space left on device", "53100"),
)


def is_busy(error: BaseException) -> bool:
    """True when another writer is in the way, so that the same attempt may succeed later."""
    inner = getattr(error, "orig", None) or error
    return _primary(inner) in (_BUSY, _LOCKED)


def translated(error: Exception, place: Place) -> MatdbError | None:
    """The exception to raise instead; None for what no driver raised."""
    inner = getattr(error, "orig", None) or error
    family = type(inner).__module__.partition(".")[0]
    if family == "sqlite3":
        return _from_sqlite(inner, place)
    if family == "psycopg":
        return _from_psycopg(inner, place)
    if isinstance(inner, UnicodeDecodeError):  # a driver that stumbles over its own message
        return StoreError(place.shown, "is damaged; restore a backup")
    if family == "sqlalchemy":
        return StoreError(place.shown, f"the database refuses ({type(inner).__name__})")
    return None


def unwritten(error: BaseException, file: str) -> StoreError | None:
    """What to raise when SQLite could not write another file than the store; None when that is not the fault."""
    code = _primary(error)
    if code == _FULL:
        return StoreError(file, "the disk is full; nothing was written")
    if code == _IOERR:
        return StoreError(file, "the disk failed to write; nothing was written")
    if code in (_READONLY, _PERM, _CANTOPEN):
        return StoreReadOnly(file, "it or its folder cannot be written; change the rights or name another file")
    return None


@contextmanager
def faults(place: Place) -> Iterator[None]:
    """Turn what the drivers raise inside the block into matdb's own exceptions."""
    try:
        yield
    except MatdbError:
        raise
    except Exception as error:
        cure = translated(error, place)
        if cure is None:
            raise
        raise cure from None


def _primary(error: BaseException) -> int | None:
    code = getattr(error, "sqlite_errorcode", None)
    return code & 0xFF if isinstance(code, int) else None


def _from_sqlite(error: Exception, place: Place) -> StoreError:
    code = _primary(error)
    if code in (_BUSY, _LOCKED):
        return StoreBusy(place.shown, _BUSY_CURE)
    if code in (_READONLY, _PERM, _AUTH):
        return StoreReadOnly(place.shown, READ_ONLY_CURE)
    if code == _CANTOPEN:
        return StoreReadOnly(place.shown, "it cannot be opened; " + READ_ONLY_CURE)
    if code == _NOTADB:
        return NotAStore(place.shown, "is not a matdb store; name another file")
    if code == _TOOBIG:
        return StoreError(place.shown, "holds a value larger than any of matdb's; restore a backup")
    if code == _CORRUPT:
        return StoreError(place.shown, "is damaged; restore a backup")
    if code == _FULL or getattr(error, "sqlite_errorcode", None) == _NO_ROOM_FOR_LOCKS:
        return StoreError(place.shown, "the disk is full; nothing of this change was kept")
    if code == _IOERR:
        return StoreError(place.shown, "the disk failed to read or write; nothing of this change was kept")
    return StoreError(place.shown, f"the database refuses: {error}")


def _from_psycopg(error: Exception, place: Place) -> StoreError:
    state = getattr(error, "sqlstate", None)
    if state in _STATES:
        kind, why = _STATES[state]
        return kind(place.shown, why)
    if state is not None:
        return StoreError(place.shown, f"the server refuses ({type(error).__name__}, SQLSTATE {state})")
    # A connection that failed has no state; the driver's own text may hold the address, so it is not shown.
    text = str(error)
    for words, state in _AT_THE_DOOR:
        if words in text:
            kind, why = _STATES[state]
            return kind(place.shown, why)
    return StoreError(place.shown, "the server cannot be reached or broke off; check its address and that it runs")
