"""A store file made to do harm: nothing of it runs, nothing of it fills the memory, and one line says so."""

import signal
import sqlite3
import struct
import time

import pytest

import matdb
from matdb.errors import MatdbError, NotAStore, StoreError
from matdb.exchange.whole_store import store_text
from matdb.material.record import Material
from matdb.store import FitRecord, Records, revisions, rows, schema
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
        curve = [lambda: store.curve("amber 40A").modulus(0.0, 30.0), lambda: store.effective("007", 0.0, mass_kg=0.2)]
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
    with pytest.raises(NotAStore, match=r"(was not made by matdb|not as matdb makes it).* restore a backup"):
        Records(file)


TRIGGER = 'CREATE TRIGGER "x\ny" AFTER INSERT ON material BEGIN DELETE FROM reading; END'
HARM = {
    "trigger": (TRIGGER,),
    "trigger by another letter case": (TRIGGER, "UPDATE sqlite_master SET type = 'Trigger' WHERE type = 'trigger'"),
    "trigger that is called a table": (TRIGGER, "UPDATE sqlite_master SET type = 'table' WHERE type = 'trigger'"),
    "view by another letter case": (
        f"CREATE VIEW looks_like_one AS {ENDLESS}",
        "UPDATE sqlite_master SET type = 'View' WHERE name = 'looks_like_one'",
    ),
    "generated column": ("ALTER TABLE material ADD COLUMN bomb AS (zeroblob(290000000))",),
    "virtual table": ("CREATE VIRTUAL TABLE found USING fts5(words)",),
    "published view": (
        "DROP VIEW published_material",
        "CREATE VIEW published_material AS SELECT name AS material, 999.0 AS stiffness FROM material",
    ),
    "lost check": (
        "UPDATE sqlite_master SET sql = replace(sql, 'CHECK (temperature_c > -273.15)', 'CHECK (1)') "
        "WHERE name = 'reading'",
    ),
    "lost index": ("DROP INDEX ix_reading_part_active",),
}


@pytest.mark.parametrize("harm", HARM)
def test_a_schema_that_matdb_did_not_make_is_refused_unasked(file, harm):
    forged(file, *HARM[harm])
    with pytest.raises(StoreError, match="restore a backup") as told:  # a table that is none SQLite refuses itself
        Records(file)
    assert str(told.value).isprintable()


def test_a_trigger_that_came_later_never_runs(file):
    with Records(file) as records:
        before = records.readings()
        forged(file, *HARM["trigger by another letter case"])
        for _ in range(2):
            with pytest.raises(StoreError, match="a view or a trigger"):
                records.add(Material(name="new"))
        assert records.readings() == before
        assert "new" not in [m.name for m in records.materials()]


@pytest.mark.parametrize("asked_before", [False, True])
def test_a_view_that_took_a_tables_place_later_is_never_asked(file, asked_before):
    with Records(file) as records:
        if asked_before:
            assert records.materials()
        view = f"CREATE VIEW material AS SELECT away.* FROM away, ({ENDLESS})"
        forged(file, "ALTER TABLE material RENAME TO away", view)
        with pytest.raises(StoreError, match="a view or a trigger"):
            records.material("amber 40A")
        with pytest.raises(StoreError, match="a view or a trigger"):
            records.add(Material(name="new"))


def test_a_schema_longer_than_any_of_matdbs_is_refused(file):
    forged(file, f"CREATE VIEW long AS SELECT '{'x' * 200_000}'")
    with pytest.raises(StoreError, match="restore a backup"):
        Records(file)


@pytest.mark.parametrize("revision", revisions.REVISIONS)
def test_the_mark_of_every_schema_is_what_its_migrations_make(revision, tmp_path):
    """Run anew after a migration was added: the mark goes into ``store/revisions.py``."""
    assert schema.mark_of(schema.made_now(revision, locate(tmp_path / "x"))) == revisions.SCHEMAS.get(revision)


def test_a_schema_worded_otherwise_is_held_against_the_migrations_themselves(file, monkeypatch):
    """Another SQLAlchemy may word the same tables otherwise; and what ANALYZE leaves is nobody's harm."""
    forged(file, "ANALYZE")
    monkeypatch.setattr(schema, "SCHEMAS", {})
    with Records(file) as records:
        assert records.check() == []


@pytest.mark.parametrize("draws", [0, 1, 49, "same"])
def test_a_fit_of_too_few_draws_is_refused(file, draws):
    with matdb.open_store(file) as store:
        meta, arrays = store.curve("amber 40A").to_meta_and_arrays()
        rows = [0] * 100 if draws == "same" else range(draws)
        few = {name: values[rows] for name, values in arrays.items()}
        store.records.save_fit(FitRecord(material="amber 40A", program_version="0", meta=meta, arrays=few))
        with pytest.raises(StoreError, match=r"fit 1 is damaged .* draws"):
            store.curve("amber 40A")
        assert any("draws" in finding.says for finding in store.records.check())


INTERRUPTED = """
import signal, sys
from matdb.store import Records
signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell's background has it ignored
with Records(sys.argv[1]) as records:
    print("asked", flush=True)
    try:
        records._reader.rows(sys.argv[2])
    except KeyboardInterrupt:
        print("ended")
"""


def test_a_long_statement_ends_with_ctrl_c(file, python):
    product = ", ".join(f"sqlite_master t{i}" for i in range(9))
    asking = python(INTERRUPTED, file, f"SELECT count(*) FROM {product}")
    assert asking.stdout.readline() == "asked\n"
    time.sleep(0.2)
    asking.send_signal(signal.SIGINT)
    assert asking.communicate(timeout=20)[0] == "ended\n"


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


@pytest.mark.slow
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


def test_ctrl_c_that_falls_into_the_asking_is_no_harm_of_the_files(file, monkeypatch):
    """SQLite answers "not authorized" then, too: it was taken for a view that the file does not have."""

    def interrupted(*_):
        raise KeyboardInterrupt

    with Records(file) as records:
        records._reader._connection.set_authorizer(interrupted)
        with pytest.raises(KeyboardInterrupt):
            records.materials()


def test_rows_that_are_left_when_the_store_is_closed_say_nothing(file):
    """After Ctrl-C nobody asks for the other rows: what Python does with them then must show no traceback."""
    records = Records(file)
    walk = records.each_reading()
    next(walk)
    records.close()
    walk.close()


def test_a_material_that_only_an_index_knows_stops_no_check(file):
    """A changed byte in a page of the table: what the index still has was asked for and not there."""
    with Records(file) as records:
        assert len(rows.fingerprint(records._reader.rows, 99)) == 64


def test_a_reading_on_a_part_of_another_material_is_told_in_one_line(file):
    forged(file, "UPDATE part SET material_id = (SELECT id FROM material WHERE name <> 'amber 40A')")
    with matdb.open_store(file) as store, pytest.raises(MatdbError, match="'matdb store check' says where"):
        store.fit("amber 40A")
    with matdb.open_store(file) as store, pytest.raises(MatdbError, match="'matdb store check' says where"):
        store.current_curve("amber 40A")
