"""Opening the store for a command: what takes time or changes it is told on the error stream."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matdb.api import Store

__all__ = ["open_told"]


def open_told(where: str | None) -> Store:
    """Open a store; say once that another program is waited for, and where the store as it was lies after an upgrade.

    Parameters
    ----------
    where : str or None
        A file, a URL, or None for ``MATDB_STORE`` or else the user's default file.

    Raises
    ------
    NotAStore, NewerStore, StoreReadOnly, StoreBusy
        As :func:`matdb.api.open_store`.
    """
    from matdb.api import open_store

    told = False

    def waiting(_: float) -> None:
        nonlocal told
        if not told:
            told = True
            _note("another program is writing to the store; trying again until that ends, for 30 s at most")

    kept = open_store(where, on_wait=waiting)
    done = kept.records.upgraded
    if done is not None:
        _note(f"the store was upgraded from schema {done.before} to {done.after}; as it was, it lies in {done.copy}")
    return kept


def _note(text: str) -> None:
    print(f"matdb: {text}", file=sys.stderr, flush=True)


def open_existing(store: str | None) -> Store:
    """Open a store that must be there already: a question must not make one.

    Parameters
    ----------
    store : str or None
        As :func:`open_told`.

    Raises
    ------
    StoreError
        There is none, or it refuses.
    """
    from matdb.errors import StoreError
    from matdb.store.location import locate

    place = locate(store)
    if place.path is not None and not place.path.exists():
        raise StoreError(place.shown, "there is none; look at the name, or make one with 'matdb material add'")
    return open_told(store)
