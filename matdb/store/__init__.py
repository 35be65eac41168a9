"""The only place that knows SQL: typed models, engine, schema upgrade, records.

Nothing heavy is imported until a name is asked for, and SQLAlchemy only when something is written.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matdb.store.copying import copy_store, restore
    from matdb.store.kept import Evidence, Finding, FitRecord, PartLine, StoredReading
    from matdb.store.records import Records
    from matdb.store.where import default_store

__all__ = [
    "Evidence",
    "Finding",
    "FitRecord",
    "PartLine",
    "Records",
    "StoredReading",
    "copy_store",
    "default_store",
    "restore",
]

_HOME = {"Records": "records", "copy_store": "copying", "default_store": "where", "restore": "copying"}


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(importlib.import_module(f"{__name__}.{_HOME.get(name, 'kept')}"), name)
    globals()[name] = value
    return value
