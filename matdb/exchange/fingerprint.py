"""A short mark of a store's content: the same content has the same mark on every engine."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from matdb.plain import fields_of

if TYPE_CHECKING:
    from matdb.api import Store


def store_fingerprint(store: Store) -> str:
    """Sixteen hexadecimal digits over every material, part, mounting, reading, and number of the newest fits.

    Parameters
    ----------
    store : Store
        Open.

    Returns
    -------
    str
        The beginning of a SHA-256; it changes when a record is added, corrected, removed or replaced, or a material
        fitted again, and stays the same through backup, copy, export and import.
    """
    mark = hashlib.sha256()
    for values in _content(store):
        mark.update(json.dumps(values, sort_keys=True, ensure_ascii=True, default=repr).encode() + b"\n")
    return mark.hexdigest()[:16]


def _content(store: Store) -> Iterator[list[Any]]:
    for material in store.materials():
        newest = store.records.newest_fit(material.name, reading_ids=False)
        yield ["material", fields_of(material), newest.id if newest else None]
    for part in store.parts():
        yield ["part", part.name, part.material, part.form.to_dict(), part.thread, part.note]
    for mounting in store.mountings():
        yield ["mounting", mounting.to_dict()]
    for kept in store.records.each_reading(include_retired=True):
        yield ["reading", kept.id, kept.reading.to_dict(), kept.retired_why, kept.corrects_id]
