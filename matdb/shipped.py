"""Find the files that ship with matdb: in a checkout beside the package, in a wheel inside it."""

from __future__ import annotations

import hashlib
from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent

#: The list of checksums among the shipped data, as ``sha256sum --check`` reads it.
CHECKSUMS = "SHA256SUMS"


def _folder(name: str) -> Path:
    inside = _PACKAGE / f"_{name}"
    return inside if inside.is_dir() else _PACKAGE.parent / name


def data_folder() -> Path:
    """The folder of shipped data: family priors, sources, tables, the demo scenario."""
    return _folder("data")


def migrations_folder() -> Path:
    """The folder of the Alembic migration scripts."""
    return _folder("migrations")


def data_checksums() -> dict[str, str]:
    """SHA-256 of every shipped data file by its name, whatever its line ends."""
    files = (path for path in data_folder().rglob("*") if path.is_file() and path.name != CHECKSUMS)
    return {
        path.relative_to(data_folder()).as_posix(): hashlib.sha256(
            path.read_bytes().replace(b"\r\n", b"\n")
        ).hexdigest()
        for path in sorted(files)
        if "__pycache__" not in path.parts
    }


def changed_data() -> dict[str, str]:
    """Shipped data files that are not as they were shipped.

    Returns
    -------
    dict of str to str
        What is wrong with each, by its name; empty when all is well.
    """
    try:
        text = (data_folder() / CHECKSUMS).read_text(encoding="utf-8")
        listed = {name: value for value, _, name in (line.partition("  ") for line in text.splitlines())}
    except (OSError, ValueError):
        return {CHECKSUMS: "is missing or cannot be read"}
    found = data_checksums()
    wrong = dict.fromkeys(listed.keys() - found.keys(), "is missing")
    wrong |= dict.fromkeys(found.keys() - listed.keys(), "was not shipped")
    wrong |= {
        name: "differs from what was shipped" for name, value in found.items() if listed.get(name, value) != value
    }
    return dict(sorted(wrong.items()))
