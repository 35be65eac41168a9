"""Is it a store, and of which schema? Refuses what is none, and runs the migrations."""

from __future__ import annotations

import hashlib
import json
import os
from typing import TYPE_CHECKING

from matdb.errors import NewerStore, NotAStore, StoreError, StoreReadOnly
from matdb.shipped import migrations_folder
from matdb.store.connection import Reader
from matdb.store.location import Place, has_log, is_shut
from matdb.store.revisions import APPLICATION_ID, HEAD, REVISIONS, SCHEMAS
from matdb.store.rows import Rows

if TYPE_CHECKING:
    import sqlalchemy as sa

_OURS = {"material", "part", "reading"}
#: Every table that matdb asks.
TABLES = _OURS | {"alembic_version", "fit", "fit_reading", "mounting", "replaced"}
TABLES |= {"effective_stiffness", "squeeze_factor"}
_VERSION_TABLE = (
    "CREATE TABLE alembic_version ( version_num VARCHAR(32) NOT NULL, "
    "CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num) )"
)
TABLES_OF_SERVER = "SELECT tablename FROM pg_catalog.pg_tables WHERE schemaname = current_schema()"


def migrate(connection: sa.Connection, revision: str, place: Place) -> None:
    """Bring the schema to a revision, within the transaction that is open.

    Raises
    ------
    StoreError
        There is no way from the revision it has to that one.

    """
    import alembic.command
    import alembic.config
    import alembic.util

    config = alembic.config.Config()
    # Config reads % as the start of an interpolation.
    config.set_main_option("script_location", str(migrations_folder()).replace("%", "%%"))
    config.attributes["connection"] = connection
    try:
        alembic.command.upgrade(config, revision)
    except alembic.util.CommandError as error:
        raise StoreError(place.shown, f"the upgrade failed ({error}); nothing was changed") from None


def revision_of(place: Place, wait_s: float = 5.0) -> str | None:
    """The revision of a store that is there; None for one still to be made.

    Raises
    ------
    NotAStore, NewerStore
        It is something else, or newer than this program.

    """
    if is_new(place):
        return None
    reader, _, found = open_and_look(place, wait_s)
    reader.close()
    return found


def open_and_look(place: Place, wait_s: float) -> tuple[Reader, bool, str | None]:
    """A reader, whether the file can only be read, and the revision that it names, None for one still to be made.

    Raises
    ------
    NotAStore, NewerStore, StoreError
        It is something else, newer than this program, or cannot be read.

    """
    frozen = is_shut(place)
    reader = None
    try:
        reader = Reader(place, wait_s, immutable=frozen)
        found = _checked_version(reader, place)
        _check_known(reader, found)
        return reader, frozen, found
    except BaseException as error:
        if reader is not None:
            reader.close()
        if isinstance(error, StoreReadOnly) and place.path is not None and has_log(place.path):
            log = f"{place.path.name}-wal"
            why = f"its newest changes lie in {log}, which cannot be read without the right to write there"
            raise StoreReadOnly(place.shown, f"{why}; get that right, or a copy made by 'matdb store backup'") from None
        raise


def _checked_version(reader: Reader, place: Place) -> str | None:
    """The revision that a file names, once its whole schema is as that revision makes it.

    A view, a trigger, a virtual table, a generated column or a default of somebody else's would run when a table is
    asked or changed. So nothing but SQLite's own list of the schema is asked before its text is known.
    """
    if place.path is None:
        return _version(reader)
    there = _schema_of(reader.rows)
    mark = mark_of(there)
    known = next((revision for revision, made in SCHEMAS.items() if made == mark), None)
    if known is None and there.get("alembic_version", ("",))[-1] != _VERSION_TABLE:
        if set(there) >= _OURS:
            raise NotAStore(place.shown, "its table alembic_version is not as matdb makes it; restore a backup")
        return None
    found = _version(reader)
    if found in REVISIONS and found != known:
        # Not as it was written down; the migrations themselves may word it otherwise with another SQLAlchemy.
        _compare(there, made_now(found, place), place)
    return found


def mark_of(schema: dict[str, tuple[str, ...]]) -> str:
    """64 hexadecimal digits that stand for a schema."""
    return hashlib.sha256(json.dumps(sorted(schema.items())).encode()).hexdigest()


def _schema_of(rows: Rows) -> dict[str, tuple[str, ...]]:
    """Every object of a file's schema by its name: kind, table, text; whatever its kind is said to be."""
    found = rows("SELECT name, type, tbl_name, sql FROM sqlite_master ORDER BY name, type", ())
    plain = {str(row[0]): tuple(" ".join(str(cell or "").split()) for cell in row[1:]) for row in found}
    if len(plain) < len(found):
        plain["two of one name"] = ()
    # What ANALYZE leaves for SQLite's own planning.
    return {
        n: v
        for n, v in plain.items()
        if not (n.startswith("sqlite_stat") and v[-1].startswith("CREATE TABLE sqlite_stat"))
    }


def made_now(revision: str, place: Place) -> dict[str, tuple[str, ...]]:
    """The schema that the migrations make today."""
    import sqlalchemy as sa

    engine = sa.create_engine("sqlite://")
    with engine.connect() as connection:
        migrate(connection, revision, place)
        return _schema_of(lambda sql, _: [tuple(row) for row in connection.exec_driver_sql(sql)])


def _compare(there: dict[str, tuple[str, ...]], made: dict[str, tuple[str, ...]], place: Place) -> None:
    """Refuse a file for the first object that is not as the migrations make it."""
    name = next((n for n in sorted(there.keys() | made.keys()) if there.get(n) != made.get(n)), None)
    if name is None:
        return
    says = "is not as matdb makes it;" if name in there else "is missing;"
    if name not in made:
        says = "was not made by matdb; drop it, or"
    kind = (there.get(name) or made[name])[:1]
    raise NotAStore(place.shown, f"{' '.join((*kind, repr(name)))} {says} restore a backup")


def is_new(place: Place) -> bool:
    """True when there is no file yet, or an empty one; refuses what cannot become a store."""
    if place.path is None:
        return False
    path = place.path
    if os.path.isdir(path):  # False also for a name that is too long
        raise NotAStore(place.shown, "is a folder; name a file in it")
    try:
        with path.open("rb") as file:
            head = file.read(16)
    except FileNotFoundError:
        if path.parent.is_dir():
            return True
        raise StoreError(place.shown, f"there is no folder {path.parent}; make it first") from None
    except PermissionError:
        raise StoreError(place.shown, "cannot be read; change its rights or name another store") from None
    except OSError as error:
        raise StoreError(place.shown, f"cannot be opened ({error.strerror}); name another store") from None
    if head and head != b"SQLite format 3\0":
        raise NotAStore(place.shown, "is not a matdb store; name another file")
    return not head


def _version(reader: Reader) -> str | None:
    """The revision that the store names; None when it has no such table or no row in it."""
    if "alembic_version" not in _tables(reader):
        return None
    found = reader.rows("SELECT version_num FROM alembic_version")
    return str(found[0][0]) if len(found) == 1 else None


def _check_known(reader: Reader, found: str | None) -> None:
    """Return when the store is empty or of a known schema; raise what fits otherwise."""
    place, tables = reader.place, _tables(reader)
    if found in REVISIONS or (found is None and not tables - {"alembic_version"}):
        return
    signed = place.path is not None and reader.rows("PRAGMA application_id") == [(APPLICATION_ID,)]
    if found is None or not (tables >= _OURS or signed):
        where = "file" if place.path is not None else "database"
        raise NotAStore(place.shown, f"is a database of another program; name another {where}")
    raise NewerStore(
        place.shown,
        f"was written by a newer matdb (schema {found}, this one knows up to {HEAD}); "
        "upgrade with: pip install --upgrade elastomer-matdb",
    )


def _tables(reader: Reader) -> set[str]:
    if reader.place.path is not None:
        sql = "SELECT name FROM sqlite_master WHERE type IN ('table', 'view') AND name NOT LIKE 'sqlite%'"
    else:
        sql = TABLES_OF_SERVER
    return {row[0] for row in reader.rows(sql)}
