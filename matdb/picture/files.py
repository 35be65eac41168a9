"""Files written whole or not at all."""

from __future__ import annotations

import os
import secrets
from pathlib import Path

from matdb.errors import FileTaken, InputError

__all__ = ["new_file", "write_bytes"]


def new_file(path: str | os.PathLike[str], *, force: bool = False) -> Path:
    """The path, once it may be written.

    Parameters
    ----------
    path : str or path
        A file name; ``~`` is the user's folder.
    force : bool
        Whether a file that is there may be replaced.

    Raises
    ------
    FileTaken
        A file that is there.
    InputError
        A folder.
    """
    target = Path(path).expanduser()
    if target.is_dir():
        raise InputError("file", str(target), "a file", "it is a folder; add a file name")
    if target.exists() and not force:
        raise FileTaken(str(target), "name another one, or replace this one with --force")
    return target


def write_bytes(target: Path, data: bytes) -> Path:
    """Write a file whole or not at all; raises OSError."""
    part = target.with_name(f".{target.name[:100]}.{secrets.token_hex(4)}.part")
    try:
        with part.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        part.replace(target)
    except OSError as error:
        # The user named the target, not the temporary file; a full disk names none.
        if error.filename in (None, str(part)):
            error.filename = str(target)
        raise
    finally:
        part.unlink(missing_ok=True)
    return target
