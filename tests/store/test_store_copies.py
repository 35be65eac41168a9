"""Copies between engines, backups while in use, restoring, and what the check finds."""

import os
import shutil
import sqlite3
import threading
from pathlib import Path

import numpy as np
import pytest
from store.sample_records import AMBER, MOUNTING, PAD, READINGS, RING, fill

from matdb.bench.readings import RingDown
from matdb.errors import InputError, NotAStore, StoreError
from matdb.store import FitRecord, Records, copy_store, restore, revisions
from matdb.store.models import Base


@pytest.fixture
def full(where):
    """A store with everything in it: corrections, a fit, a replaced part."""
    with Records(where) as records:
        fill(records)
        first = records.readings()[0]
        records.correct_reading(first.id, first.reading, "read again")
        records.remove_reading(records.readings()[0].id, "loose")
        records.replace("nose", MOUNTING, "the same again")
        evidence = records.evidence("amber 40A")
        records.save_fit(
            FitRecord(
                material="amber 40A",
                program_version="0.1.0",
                meta={"odd": [1e-7, 0.1, 1e22, 12345678901234567890, "é\u2028", None, True, {"b": 1, "a": 2}]},
                arrays={"draws": np.random.default_rng(1).normal(size=(50, 9))},
                reading_ids=tuple(r.id for r in evidence.readings),
                fingerprint=evidence.fingerprint,
            )
        )
        yield records


def everything(records):
    fit = records.newest_fit("amber 40A")
    return (
        records.materials(),
        records.parts(),
        records.mountings(),
        [(r, r.reading.taken_at) for r in records.readings(include_retired=True)],
        (
            fit.id,
            fit.meta,
            records.fit_reading_ids(fit.id),
            fit.fingerprint,
            fit.created_at,
            fit.arrays["draws"].tolist(),
        ),
        records.history("mounting", "nose"),
        records.is_stale(fit),
    )


@pytest.mark.slow
@pytest.mark.parametrize("engine", ["sqlite", "postgresql"])
def test_a_copy_holds_the_same(full, engine, server, tmp_path):
    target = tmp_path / "copy.sqlite" if engine == "sqlite" else server.url(server.database())
    with Records(target) as copy:
        counts = copy_store(full, copy)
        assert counts["reading"] == len(READINGS) + 1
        assert everything(copy) == everything(full)
        assert copy.check() == full.check() == []
        before = {r.id for r in copy.readings(include_retired=True)}
        new = copy.add(RingDown(part="007", temperature_c=1, mass_kg=1, frequency_hz=20))
        assert not before & set(new)
        with pytest.raises(StoreError, match="not empty"):
            copy_store(full, copy)


def test_a_copy_that_comes_back_different_is_not_kept(full, tmp_path, monkeypatch):
    from matdb.store import tables

    plain = tables.insert_tuples

    def careless(connection, table, columns, rows):
        if table == "reading":
            rows = [tuple(19.0 if v == 23.0 else v for v in row) for row in rows]
        plain(connection, table, columns, rows)

    monkeypatch.setattr(tables, "insert_tuples", careless)
    with Records(tmp_path / "copy.sqlite") as copy:
        with pytest.raises(StoreError, match="gave back another reading"):
            copy_store(full, copy)
        assert copy.counts()["materials"] == 0


def test_a_backup_restores_to_either_engine(full, server, tmp_path):
    backup = tmp_path / "backup.sqlite"
    full.backup(backup)
    before = backup.read_bytes()
    for target in (tmp_path / "again.sqlite", server.url(server.database())):
        restore(backup, target)
        with Records(target) as records:
            assert everything(records) == everything(full)
        with pytest.raises(StoreError, match=r"exists already|not empty"):
            restore(backup, target)
    assert backup.read_bytes() == before
    left = {"backup.sqlite", "again.sqlite"} | ({"store.sqlite"} if full.place.path else set())
    assert {p.name for p in tmp_path.iterdir()} - {"store.sqlite-wal", "store.sqlite-shm"} == left


def test_a_backup_overwrites_nothing_and_leaves_nothing_half(full, tmp_path):
    (tmp_path / "there").write_text("dear")
    with pytest.raises(StoreError, match="exists already"):
        full.backup(tmp_path / "there")
    with pytest.raises(StoreError, match="make it first"):
        full.backup(tmp_path / "no" / "where")
    assert (tmp_path / "there").read_text() == "dear"
    assert not list(tmp_path.glob("*.part*"))


def test_a_backup_is_for_whoever_may_read_the_store(file, tmp_path):
    for mode, expected in ((0o600, 0o600), (0o640, 0o640), (0o444, 0o644)):
        os.chmod(file, mode)
        with Records(file) as records:
            records.backup(tmp_path / f"{mode:o}")
        assert (tmp_path / f"{mode:o}").stat().st_mode & 0o777 == expected


def test_a_backup_that_cannot_be_written_names_the_target(full, tmp_path):
    """Neither the store, which is well, nor the temporary file."""
    (tmp_path / "a file").touch()
    for target, kind, says in (
        (tmp_path, InputError, "it is a folder"),
        (tmp_path / "a file" / "copy", StoreError, "there is no folder"),
        (Path("/proc/copy.sqlite"), StoreError, "cannot be written"),  # a folder that takes no files, even for root
        (Path("/dev/full/copy"), StoreError, "there is no folder"),
    ):
        with pytest.raises(kind, match=says) as caught:
            full.backup(target)
        assert f"{target}" in str(caught.value)
        assert ".part" not in str(caught.value)
        if full.place.path is not None:
            assert str(full.place.path) not in str(caught.value)


def test_a_backup_while_somebody_writes_is_one_instant(file, tmp_path):
    ended = threading.Event()

    def write():
        with Records(file) as records:
            while not ended.is_set():
                records.add_readings([READINGS[0]] * 10)

    writer = threading.Thread(target=write)
    writer.start()
    try:
        with Records(file) as records:
            for i in range(5):
                records.backup(tmp_path / f"{i}.sqlite")
    finally:
        ended.set()
        writer.join()
    for i in range(5):
        with Records(tmp_path / f"{i}.sqlite") as copy:
            assert (copy.counts()["readings"] - len(READINGS)) % 10 == 0
            assert copy.check() == []


def test_a_bad_backup_is_refused_and_makes_nothing(file, tmp_path):
    text, empty, newer = tmp_path / "text", tmp_path / "empty", tmp_path / "newer.sqlite"
    text.write_text("no database at all")
    empty.touch()
    shutil.copy(file, newer)
    with sqlite3.connect(newer) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
    connection.close()
    for bad in (text, empty, newer):
        with pytest.raises(StoreError) as caught:
            restore(bad, tmp_path / "out.sqlite")
        assert caught.value.where == str(bad)
    with sqlite3.connect(file) as connection:
        connection.execute("UPDATE reading SET frequency_hz = -5 WHERE id = 2")
    connection.close()
    with pytest.raises(StoreError, match="this backup is damaged"):
        restore(file, tmp_path / "out.sqlite")
    with pytest.raises(NotAStore):
        restore(tmp_path, tmp_path / "out.sqlite")
    assert not (tmp_path / "out.sqlite").exists()
    assert not list(tmp_path.glob(".matdb-restore-*"))


@pytest.mark.parametrize(
    ("statement", "what", "says"),
    [
        ("UPDATE reading SET frequency_hz = -5 WHERE id = 2", "reading 2", "frequency_hz"),
        ("UPDATE reading SET kind = 'wobble' WHERE id = 2", "reading 2", "wobble"),
        ("UPDATE reading SET material_id = 2 WHERE id = 2", "reading 2", "another material than its part"),
        ("UPDATE reading SET part_id = 77 WHERE id = 2", "reading 2", "points to no part"),
        ('UPDATE part SET form = \'{"form": "cube"}\' WHERE id = 1', "part 007", "form"),
        ("UPDATE part SET form = 'not json' WHERE id = 1", "part 007", "damaged"),
        ("UPDATE material SET family = 'cheese' WHERE id = 1", "material amber 40A", "cheese"),
        ("UPDATE mounting SET definition = '[]'", "mounting nose", "damaged"),
        ("UPDATE fit SET arrays = substr(arrays, 2)", "fit 1", "array block"),
        ("UPDATE reading SET corrects_id = 2 WHERE id = 3", "reading 2", "corrected but still counts"),
        ("DELETE FROM fit", "fit_reading 1", "points to no fit"),
    ],
)
def test_the_check_finds(file, statement, what, says):
    with Records(file) as records:
        records.save_fit(FitRecord(material="amber 40A", program_version="0", reading_ids=(1, 2)))
        assert records.check() == []
    with sqlite3.connect(file) as connection:
        connection.execute(statement)
    connection.close()
    with Records(file) as records:
        found = [f for f in records.check() if f.what == what and says in f.says]
    assert [f.level for f in found] == ["error"]


KEYS = sorted(
    (table.name, key.parent.name, key.column.table.name)
    for table in Base.metadata.tables.values()
    for key in table.foreign_keys
)


@pytest.mark.parametrize(("table", "column", "parent"), KEYS)
def test_the_check_finds_what_a_server_without_its_constraints_lost(
    server, empty_store_template, table, column, parent
):
    name = server.database(empty_store_template)
    with Records(server.url(name)) as records:
        fill(records)
        first = records.readings()[0]
        records.correct_reading(first.id, first.reading, "read again")
        fit = FitRecord(material="amber 40A", program_version="0", reading_ids=(2,))
        published = [("007", "axial", 1.0, None, 0.5, *[2.0] * 10, "readings", 0)]
        records.save_fit(fit, published, [("007", "axial", 0.0, 1.0)])
        assert records.check() == []
    server.sql(f"ALTER TABLE {table} DROP CONSTRAINT fk_{table}_{column}_{parent}", name)
    number = {"fit_reading": "fit_id", "squeeze_factor": "part_id"}.get(table, "id")
    row = server.sql(f"UPDATE {table} SET {column} = 77 WHERE {column} IS NOT NULL RETURNING {number}", name)[0][0]
    with Records(server.url(name), readonly=True) as records:
        found = [(f.level, f.what, f.says) for f in records.check()]
    assert ("error", f"{table} {row}", f"points to no {parent}") in found


def test_the_check_notes_a_stale_fit(file):
    with Records(file) as records:
        records.save_fit(FitRecord(material="amber 40A", program_version="0"))
        records.remove_reading(1, "loose")
        (found,) = records.check()
    assert (found.level, found.what) == ("note", "fit 1 of amber 40A")


def test_an_upgrade_copy_can_be_restored(file, tmp_path, monkeypatch):
    with sqlite3.connect(file) as connection:
        signed = connection.execute("PRAGMA application_id").fetchone()[0]
    connection.close()
    assert signed == revisions.APPLICATION_ID
    with Records(file) as records:
        records.backup(tmp_path / "copy.sqlite")
    os.chmod(tmp_path / "copy.sqlite", 0o444)
    restore(tmp_path / "copy.sqlite", tmp_path / "again.sqlite")
    with Records(tmp_path / "again.sqlite") as records:
        assert (records.material("amber 40A"), records.parts("amber 40A")) == (AMBER, [RING, PAD])
