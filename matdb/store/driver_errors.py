"""What the drivers raise, turned into the exceptions of :mod:`matdb.errors`; no driver is imported here."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from matdb.errors import MatdbError, NotAStore, StoreBusy, StoreError, StoreReadOnly
from matdb.store.location import Place

READ_ONLY_CURE = "it or its folder cannot be written; change the rights or name another store"
_BUSY_CURE = "another program is writing to it; wait until that ends, then try again"
_FULL = "the disk is full; nothing of this was kept"

#: Names of the views and triggers for which statements were refused.
REFUSED: list[str] = []
_REFUSED = 23
# Primary result codes of https://www.sqlite.org/rescode.html, and one extended code
_CODES: dict[int | None, tuple[type[StoreError], str]] = {
    3: (StoreReadOnly, READ_ONLY_CURE),
    5: (StoreBusy, _BUSY_CURE),
    6: (StoreBusy, _BUSY_CURE),
    8: (StoreReadOnly, READ_ONLY_CURE),
    10: (StoreError, "the disk failed to read or write; nothing of this was kept"),
    11: (StoreError, "is damaged; restore a backup"),
    13: (StoreError, _FULL),
    14: (StoreReadOnly, "it cannot be opened; " + READ_ONLY_CURE),
    18: (StoreError, "holds a value larger than any of matdb's; restore a backup"),
    _REFUSED: (NotAStore, "has {!r}, a view or a trigger not made by matdb, which this would run; restore a backup"),
    26: (NotAStore, "is not a matdb store; name another file"),
    # no room for the file of locks that readers need too
    10 | 19 << 8: (StoreError, _FULL),
}
_INTERRUPTED = 9
#: What may befall another file that SQLite was to write beside the store.
_UNWRITTEN = (3, 8, 10, 13, 14)

# SQLSTATE classes and codes of the PostgreSQL manual, appendix A
_STATES: dict[str, tuple[type[StoreError], str]] = {
    "42501": (StoreReadOnly, "this user may not write to it; ask its owner for the right"),
    "25006": (StoreReadOnly, "the server takes no writes now"),
    "55P03": (StoreBusy, _BUSY_CURE),
    **dict.fromkeys(("57P01", "57P02", "57P03"), (StoreError, "the server broke off; try again when it runs")),
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


@contextmanager
def translated_errors(place: Place) -> Iterator[None]:
    """Turn what the drivers raise inside the block into matdb's own exceptions."""
    try:
        yield
    except MatdbError:
        raise
    except Exception as error:
        code = getattr(getattr(error, "orig", None) or error, "sqlite_errorcode", None)
        # Ctrl-C ends a statement, or falls into the asking whether it is allowed.
        if code == _INTERRUPTED or (code == _REFUSED and not REFUSED) or _stopped(error):
            raise KeyboardInterrupt from None
        ours = _translated(error, place)
        if ours is None:
            raise
        raise ours from None


def _stopped(error: BaseException | None) -> bool:
    """Whether Ctrl-C came first, and the driver only stumbled over what it left behind."""
    return error is not None and (isinstance(error, KeyboardInterrupt) or _stopped(error.__context__))


def is_busy(error: BaseException) -> bool:
    """True when another writer is in the way, so that the same attempt may succeed later."""
    inner = getattr(error, "orig", None) or error
    locked = getattr(inner, "sqlstate", None) == "55P03"
    return locked or _CODES.get(_primary(inner), (None,))[0] is StoreBusy


def unwritten(error: BaseException, file: str) -> StoreError | None:
    """What to raise when SQLite could not write another file than the store; None when that is not the fault."""
    code = _primary(error)
    kind, why = _CODES.get(code, (StoreError, ""))
    return kind(file, why) if code in _UNWRITTEN else None


def _translated(error: Exception, place: Place) -> StoreError | None:
    """The exception to raise instead; None for what no driver raised."""
    inner = getattr(error, "orig", None) or error
    family = type(inner).__module__.partition(".")[0]
    if family == "sqlite3":
        whole = getattr(inner, "sqlite_errorcode", None)
        kind, why = _CODES.get(whole) or _CODES.get(_primary(inner)) or (StoreError, f"the database refuses: {inner}")
        why = why.format(REFUSED.pop()) if whole == _REFUSED else why
    elif family == "psycopg":
        kind, why = _from_psycopg(inner)
    elif isinstance(inner, UnicodeDecodeError):  # a driver that stumbles over its own message
        kind, why = StoreError, "is damaged; restore a backup"
    elif family == "sqlalchemy":
        kind, why = StoreError, f"the database refuses ({type(inner).__name__})"
    else:
        return None
    return kind(place.shown, why)


def _primary(error: BaseException) -> int | None:
    code = getattr(error, "sqlite_errorcode", None)
    return code & 0xFF if isinstance(code, int) else None


def _from_psycopg(error: Exception) -> tuple[type[StoreError], str]:
    state = getattr(error, "sqlstate", None)
    if state is None:
        # A connection that failed has no state; the driver's own text may hold the address, so it is not shown.
        text = str(error)
        state = next((state for words, state in _AT_THE_DOOR if words in text), None)
        if state is None:
            return StoreError, "the server cannot be reached or broke off; check its address and that it runs"
    if state in _STATES:
        return _STATES[state]
    return StoreError, f"the server refuses ({type(error).__name__}, SQLSTATE {state})"
