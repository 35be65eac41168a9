"""Where a store is: a file, or a server named by a URL; never shown with its password."""

from __future__ import annotations

import os
import re
import stat
from dataclasses import dataclass, field
from pathlib import Path

import platformdirs

from matdb.errors import InputError, StoreError, StoreReadOnly

_ALLOWED = "a file, sqlite:///file, or postgresql+psycopg://user@host/database"

#: A file is hardly called so; who forgot a slash or wrote a driver's own words has a password in it.
_ALMOST_A_URL = re.compile(r"(?i)^\s*(postgres|postgresql|mysql|mariadb|sqlite)(\+\w+)?:|pass\w*\s*=|^[^/\\]*:[^/\\]*@")
#: A parameter with "pass" in its name, which an address may write by character codes.
_PASSWORD = re.compile(r"(?i)((?:p|%[57]0)(?:a|%[46]1)(?:s|%[57]3){2}[^=&]*=)[^&]*")


@dataclass(frozen=True)
class Place:
    """Where a store is.

    Attributes
    ----------
    shown : str
        The file, or the URL without its password: what messages may name.
    path : Path or None
        The file of an SQLite store.
    url : str
        The libpq address of a PostgreSQL store, else empty.

    """

    shown: str
    path: Path | None = None
    url: str = field(default="", repr=False)

    @property
    def rights(self) -> int | None:
        """The mode for a copy of the file: nobody else reads it who may not read the store; None for a server."""
        return None if self.path is None else stat.S_IMODE(self.path.stat().st_mode) & 0o666 | 0o600

    @property
    def file(self) -> Path:
        """The file of a store that is one."""
        if self.path is None:
            raise StoreError(self.shown, "is a server, not a file")
        return self.path


def default_store() -> Path:
    """The store that is used when none is named: ``store.sqlite`` in the user's data folder."""
    return Path(platformdirs.user_data_dir("matdb", appauthor=False)) / "store.sqlite"


def locate(where: str | os.PathLike[str] | None) -> Place:
    """Turn what the user named into a place; makes the default folder, readable by its owner only.

    Raises
    ------
    InputError
        Neither a file nor a URL of SQLite or PostgreSQL.
    StoreReadOnly
        The default folder cannot be made.

    """
    if where is None:
        path = default_store()
        try:
            path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        except OSError as error:
            raise StoreReadOnly(
                str(path), f"its folder cannot be made ({error.strerror}); name another store"
            ) from None
        return Place(str(path), path)
    text = os.fspath(where) if isinstance(where, str | os.PathLike) else None
    if not isinstance(text, str) or not text or text.startswith(":memory:") or not text.isprintable():
        raise InputError("store", masked(str(where)), _ALLOWED)
    scheme, mark, rest = text.partition("://")
    if not mark and _ALMOST_A_URL.search(text):
        raise InputError("store", masked(text), _ALLOWED)
    if not mark or os.sep in scheme:
        path = Path(text).expanduser()
        return Place(str(path), path)
    engine = scheme.partition("+")[0].lower()
    if engine == "sqlite" and rest.startswith("/") and len(rest) > 1 and "?" not in rest:
        path = Path(rest[1:])
        return Place(str(path), path)
    if engine in ("postgresql", "postgres") and scheme.partition("+")[2] in ("", "psycopg"):
        return Place(masked(f"{scheme}://{rest}"), None, f"postgresql://{rest}")
    raise InputError("store", masked(text), _ALLOWED)


def masked(url: str) -> str:
    """The URL without its password, wherever that stands."""
    scheme, mark, rest = url.partition("://")
    if not mark:
        scheme, rest = "", url
    # The last @ of all ends the credentials, even when a password holds an unescaped @, / or ?; rather too much is
    # hidden than too little.
    credentials, at, host = rest.rpartition("@")
    if at:
        user, colon, _ = credentials.partition(":")
        rest = f"{user}{':***' if colon else ''}@{host}"
    return scheme + mark + _PASSWORD.sub(r"\1***", rest)


def is_shut(place: Place) -> bool:
    """Whether this user may write neither the file nor its folder, and nobody is writing it just now.

    Such a file is read as it lies: SQLite would need lock files beside it, and those of another user would
    be in the owner's way. A log beside the file shows that somebody is at it; then the locks are there.
    """
    if place.path is None:
        return False
    may_write = os.access(place.path, os.W_OK) and os.access(place.path.parent, os.W_OK)
    return not may_write and not has_log(place.path)


def has_log(path: Path) -> bool:
    """Whether SQLite's log with writes not yet in the file lies beside it."""
    log = path.with_name(path.name + "-wal")
    return log.exists() and log.stat().st_size > 0
