"""Files written whole or not at all: synced under another name in the same folder, then renamed."""

from __future__ import annotations

import errno
import glob
import os
import secrets
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from matdb.errors import FileTaken, InputError, MatdbError

#: An unfinished file that nobody has written to for so long belongs to a program that was killed, seconds.
_DEAD_S = 3600.0


def new_file(path: str | os.PathLike[str], *, force: bool = False) -> Path:
    """The path, once it may be written; for asking before long work.

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
        A folder, or the store.
    FileNotFoundError
        Its folder is not there.
    """
    target = Path(path).expanduser()
    if target.is_dir():
        raise InputError("file", str(target), "a file", "it is a folder; add a file name")
    if _is_database(target):
        raise InputError("file", str(target), "another file than a store, its journals and its copies")
    if target.exists() and not force:
        raise FileTaken(str(target), "name another one, or replace this one with --force")
    if not target.parent.is_dir():
        raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), str(target))
    return target


def _is_database(target: Path) -> bool:
    """Whether the file, by whatever name, is an SQLite file or what SQLite writes beside one."""
    name = os.path.realpath(target)
    for end in ("-wal", "-shm", "-journal"):
        name = name.removesuffix(end)
    try:
        with open(name, "rb") as file:
            return file.read(16) == b"SQLite format 3\0"
    except OSError:
        return False


@contextmanager
def whole_file(target: Path, *, mode: int | None = None) -> Iterator[Path]:
    """An empty file to fill, which takes the name of ``target`` when the block ends well and is removed otherwise.

    Parameters
    ----------
    target : Path
        The name in the end; a file of that name is replaced. Its folder is there.
    mode : int, optional
        The file's rights from its first byte on, such as 0o600; without it, as the user's umask has it.

    Raises
    ------
    OSError
        The folder cannot be written or the disk is full; names the target.
    """
    short = os.fsencode(target.name)[:200].decode(errors="ignore")  # a file name has 255 bytes
    part = target.with_name(f".{short}.{secrets.token_hex(4)}.part")
    _clean(target.parent, f".{glob.escape(short)}.????????.part*")
    try:
        os.close(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666 if mode is None else mode))
        if mode is not None:
            part.chmod(mode)
        yield part
        with part.open("rb+") as file:
            os.fsync(file.fileno())
        part.replace(target)
        _sync_folder(target.parent)
    except OSError as error:
        # The user named the target, not the temporary file; a full disk names none.
        if not isinstance(error, MatdbError) and error.filename in (None, str(part)):
            error.filename = str(target)
        raise
    finally:
        for beside in ("", "-wal", "-shm", "-journal"):
            part.with_name(part.name + beside).unlink(missing_ok=True)


def _clean(folder: Path, pattern: str) -> None:
    """Remove what programs that were killed left here; one that still writes has touched its file lately."""
    for left in folder.glob(pattern):
        with suppress(OSError):
            if time.time() - left.stat().st_mtime > _DEAD_S:
                left.unlink()


def write_bytes(target: Path, data: bytes, *, mode: int | None = None) -> Path:
    """Write a file whole or not at all, in the place of one that is there, as :func:`whole_file`; raises OSError."""
    with whole_file(target, mode=mode) as part:
        part.write_bytes(data)
    return target


def write_text(path: str | os.PathLike[str], text: str, *, force: bool = False, mode: int | None = None) -> Path:
    """Write UTF-8 text to a file as it is, whole or not at all; raises as :func:`new_file`, and OSError."""
    return write_bytes(new_file(path, force=force), text.encode(), mode=mode)


def _sync_folder(folder: Path) -> None:
    """Bring the new name itself onto the disk, where the system lets a folder be synced."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
