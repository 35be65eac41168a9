"""The only place that knows SQL: typed models, schema and its upgrade, rows, records.

SQLAlchemy is imported only when something is written.
"""

from matdb.store.location import default_store
from matdb.store.records import Records
from matdb.store.restoring import copy_store, restore
from matdb.store.stored import Finding, FitRecord, MaterialEvidence, PartLine, StoredReading

__all__ = [
    "Finding",
    "FitRecord",
    "MaterialEvidence",
    "PartLine",
    "Records",
    "StoredReading",
    "copy_store",
    "default_store",
    "restore",
]
