"""The only place that knows SQL: typed models, schema and its upgrade, rows, records.

SQLAlchemy is imported only when something is written.
"""

from matdb.store.location import default_store as default_store
from matdb.store.records import Records as Records
from matdb.store.restoring import copy_store as copy_store
from matdb.store.restoring import restore as restore
from matdb.store.stored import FitRecord as FitRecord
from matdb.store.stored import MaterialEvidence as MaterialEvidence
from matdb.store.stored import StoredReading as StoredReading
