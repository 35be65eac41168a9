"""Find the files that ship with matdb: in a checkout beside the package, in a wheel inside it."""

from __future__ import annotations

from pathlib import Path

__all__ = ["data_folder", "migrations_folder"]

_PACKAGE = Path(__file__).resolve().parent


def _folder(name: str) -> Path:
    inside = _PACKAGE / f"_{name}"
    return inside if inside.is_dir() else _PACKAGE.parent / name


def data_folder() -> Path:
    """The folder of shipped data: family priors, sources, tables, the demo scenario."""
    return _folder("data")


def migrations_folder() -> Path:
    """The folder of the Alembic migration scripts."""
    return _folder("migrations")
