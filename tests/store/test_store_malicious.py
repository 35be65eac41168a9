"""A store file made to do harm: nothing of it runs, nothing of it fills the memory, and one line says so."""

import sqlite3
import struct

import pytest

import matdb
from matdb.errors import MatdbError, NotAStore, StoreError
from matdb.exchange.whole_store import store_text
from matdb.material.record import Material
from matdb.store import FitRecord, Records
from matdb.store.connection import connect_sqlite
from matdb.store.location import locate


def forged(path, *statements, parameters=()):
    """Change a store behind matdb's back, its limits and its schema included."""
    connection = sqlite3.connect(path, isolation_level=None)
    for pragma in ("writable_schema = ON", "ignore_check_constraints = ON", "foreign_keys = OFF"):
        connection.execute(f"PRAGMA {pragma}")
    for statement in statements:
        connection.execute(statement, parameters)
    connection.close()
    return path


def everything(path, *, answers=True):
    """Ask all that a store answers; each question may be refused in one line, and nothing else may happen."""
    refused = []
    with matdb.open_store(path) as store:
        curve = [
            lambda: store.curve("amber 40A").modulus(0.0, 30.0),
            lambda: store.effective("007", 0.0, mass_kg=0.2),
        ]
        for question in (
            store.materials,
            store.parts,
            store.mountings,
            lambda: store.readings(include_retired=True),
            lambda: store.records.check(),
            *(curve if answers else ()),
            lambda: "".join(store_text(store)),
        ):
            try:
                question()
            except MatdbError as error:
                refused.append(str(error))
    assert all(line.isprintable() for line in refused), refused
    return refused


ENDLESS = "WITH RECURSIVE c(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM c) SELECT x FROM c"


@pytest.mark.parametrize("table", ["alembic_version", "material", "reading", "fit", "effective_stiffness"])
@pytest.mark.parametrize("spelt", [str.lower, str.upper])
def test_a_view_in_the_place_of_a_table_is_never_asked(file, table, spelt):
    forged(file, f"ALTER TABLE {table} RENAME TO away", f"CREATE VIEW {spelt(table)} AS {ENDLESS}")
    with pytest.raises(NotAStore, match="a view in the place of its table"):
        Records(file)


def test_a_trigger_never_runs(file):
    forged(file, 'CREATE TRIGGER "x\ny" AFTER INSERT ON material BEGIN DELETE FROM reading; END')
    with Records(file) as records:
        before = records.readings()
        with pytest.raises(StoreError, match="has a trigger") as told:
            records.add(Material(name="new"))
        assert str(told.value).isprintable()
        assert records.readings() == before
        assert "new" not in [m.name for m in records.materials()]


def test_functions_of_a_schema_are_not_trusted(file):
    """``trusted_schema`` is off on every connection: a default or an index may not call what it likes."""
    connection = connect_sqlite(locate(str(file)), "mode=ro", 1.0)
    assert connection.execute("PRAGMA trusted_schema").fetchone() == (0,)
    connection.close()


def test_a_cell_that_would_fill_the_memory_is_refused(file, monkeypatch):
    monkeypatch.setattr("matdb.store.connection._MOST_CELL", 100_000)
    forged(file, "UPDATE material SET note = hex(zeroblob(200000))")
    with Records(file) as records, pytest.raises(StoreError, match="larger than any"):
        records.materials()
    # The true limit leaves room for the largest block of arrays, and no more.
    monkeypatch.undo()
    connection = connect_sqlite(locate(str(file)), "mode=ro", 1.0)
    assert 256 * 1024**2 < connection.getlimit(sqlite3.SQLITE_LIMIT_LENGTH) < 2 * 256 * 1024**2
    connection.close()


VALUES = [b"\xff\x00", "\n\x1b[31m\x00", "x" * 5000, -1, 2**62, 1e308, float("inf"), None, "[]", "{}"]


@pytest.mark.parametrize(
    "cell",
    [
        "material.name", "material.hardness", "material.density_kg_m3", "part.name", "part.form", "part.thread",
        "mounting.definition", "reading.kind", "reading.logged_at", "reading.count", "reading.note",
        "fit.created_at", "fit.seed", "fit.meta", "fit.arrays", "fit.fingerprint",
    ],
)  # fmt: skip
def test_any_value_in_any_cell_is_answered_or_refused(file, cell):
    table, column = cell.split(".")
    with Records(file) as records:
        records.save_fit(FitRecord(material="amber 40A", program_version="0"))
    sound = file.read_bytes()
    for value in VALUES:
        file.write_bytes(sound)
        try:
            forged(file, f'UPDATE {table} SET "{column}" = ? WHERE id = 1', parameters=(value,))
        except sqlite3.IntegrityError:
            continue
        everything(file, answers=table == "fit")


def test_a_damaged_row_stops_an_export_in_one_line(file):
    forged(file, "UPDATE reading SET note = x'ff00' WHERE id = 1")
    told = everything(file)
    assert any("is damaged" in line for line in told), told


def test_a_schema_that_is_no_text_is_refused(file):
    data = bytearray(file.read_bytes())
    at = data.index(b"CREATE TABLE")
    data[at - 20 : at] = b"\xff" * 20
    file.write_bytes(data)
    with pytest.raises(StoreError):
        everything(file)


def test_a_page_size_that_lies_is_refused(file):
    data = bytearray(file.read_bytes())
    for size in (0, 1, 511, 65535):
        data[16:18] = struct.pack(">H", size)
        file.write_bytes(data)
        with pytest.raises(StoreError):
            everything(file)
