"""The schema: migrations arrive at the models, old stores come along, a broken upgrade changes nothing."""

import contextlib
import hashlib
import os
import random
import shutil
import signal
import sqlite3
import time
import zipfile
from dataclasses import replace
from pathlib import Path

import alembic.command
import alembic.config
import numpy as np
import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from store.sample_records import AMBER, CORAL, MOUNTING, READINGS, fill

from matdb.api import Store
from matdb.errors import NewerStore, StoreError
from matdb.exchange.whole_store import store_text
from matdb.shipped import migrations_folder
from matdb.store import FitRecord, Records, revisions, schema, upgrading
from matdb.store.location import locate
from matdb.store.models import Base
from matdb.store.rows import PARTS_READ
from matdb.store.transaction import make_engine, writing

SNAPSHOTS = Path(__file__).parent / "revisions"
DRAWS = np.array([[1.0, -2.5e-7, np.pi], [0.0, 1e300, -0.1]])


def script_folder(folder):
    config = alembic.config.Config()
    config.set_main_option("script_location", str(folder).replace("%", "%%"))
    return ScriptDirectory.from_config(config)


def test_the_constants_are_the_scripts():
    scripts = list(script_folder(migrations_folder()).walk_revisions())
    assert tuple(s.revision for s in reversed(scripts)) == revisions.REVISIONS
    assert revisions.REVISIONS[-1] == revisions.HEAD


def test_the_models_are_what_the_migrations_arrive_at(where):
    place = locate(where)
    engine = make_engine(place, 5.0)
    with writing(engine, place, 5.0) as connection:
        # That index is a server's alone, which no model can say.
        both = {"compare_type": True, "include_name": lambda name, *_: name != "ix_part_code_points"}
        context = MigrationContext.configure(connection, opts=both)
        assert compare_metadata(context, Base.metadata) == []
    engine.dispose()


def schema_text(path):
    with sqlite3.connect(path) as connection:
        found = connection.execute("SELECT sql FROM sqlite_master WHERE sql IS NOT NULL ORDER BY type DESC, name")
        text = ";\n\n".join(row[0].replace("\t", "    ") for row in found) + ";\n"
    connection.close()
    return "\n".join(line.rstrip() for line in text.splitlines()) + "\n"


@pytest.mark.parametrize("revision", revisions.REVISIONS)
def test_a_revision_makes_what_it_made_when_it_was_released(revision, tmp_path):
    place = locate(tmp_path / "old.sqlite")
    engine = make_engine(place, 5.0, create=True)
    config = alembic.config.Config()
    config.set_main_option("script_location", str(migrations_folder()).replace("%", "%%"))
    with writing(engine, place, 5.0) as connection:
        config.attributes["connection"] = connection
        alembic.command.upgrade(config, revision)
    engine.dispose()
    snapshot = SNAPSHOTS / f"{revision}.schema.sql"
    if os.environ.get("MATDB_WRITE_SNAPSHOTS"):
        snapshot.write_text(schema_text(place.path), encoding="utf-8")
    assert schema_text(place.path) == snapshot.read_text(encoding="utf-8"), (
        "a released revision must not change; add another revision instead"
    )


@pytest.mark.parametrize("revision", revisions.REVISIONS)
def test_an_old_store_comes_along_with_all_that_is_in_it(revision, tmp_path):
    dump = SNAPSHOTS / f"{revision}.store.sql"
    if os.environ.get("MATDB_WRITE_SNAPSHOTS") and revision == revisions.HEAD:
        with Records(tmp_path / "new.sqlite") as records:
            fill(records)
            records.correct_reading(1, READINGS[0], "read again")
            fit = FitRecord(material="amber 40A", program_version="0.1.0", meta={"laws": {"wlf": 0.75}})
            records.save_fit(replace(fit, arrays={"draws": DRAWS}, reading_ids=(2, 3, 4, 5, 8), seed=7))
        with sqlite3.connect(tmp_path / "new.sqlite") as connection:
            dump.write_text("\n".join(connection.iterdump()) + "\n", encoding="utf-8")
        connection.close()
    with sqlite3.connect(tmp_path / "old.sqlite") as connection:
        connection.executescript(dump.read_text(encoding="utf-8"))
    connection.close()
    with Records(tmp_path / "old.sqlite") as records:
        assert records.materials() == [AMBER, CORAL]
        assert [r.reading for r in records.readings()] == [*READINGS[1:], READINGS[0]]
        assert records.reading(1).retired_why == "corrected: read again"
        assert records.mountings() == [MOUNTING]
        fit = records.newest_fit("amber 40A")
        np.testing.assert_array_equal(fit.arrays["draws"], DRAWS)
        assert (fit.meta, fit.seed) == ({"laws": {"wlf": 0.75}}, 7)
        assert records.fit_reading_ids(fit.id) == (2, 3, 4, 5, 8)
        assert not records.is_stale(fit)
        assert records.check() == []


def test_the_reading_queries_use_their_indexes(file):
    with Records(file) as records:
        plans = {
            "material": "SELECT * FROM reading r WHERE r.material_id = 1 AND r.retired_at IS NULL ORDER BY r.id",
            "part": "SELECT * FROM reading r WHERE r.part_id = 1 AND r.retired_at IS NULL ORDER BY r.id",
            "count": "SELECT count(*) FROM reading WHERE material_id = 1 AND retired_at IS NULL",
            "fit": "SELECT * FROM fit f WHERE f.material_id = 1 ORDER BY f.id DESC LIMIT 1",
            "used": "SELECT reading_id FROM fit_reading WHERE fit_id = 1 ORDER BY reading_id",
            "parts": "SELECT * FROM part WHERE material_id = 1",
            "page": "SELECT id FROM part WHERE name > 'a' ORDER BY name LIMIT 9",
            "of a page": f"{PARTS_READ} WHERE part.id IN (1, 2)",
            "newest": "SELECT max(retired_at) FROM reading WHERE retired_at IS NOT NULL AND retired_at < 'x'",
            "logged": "SELECT id FROM reading WHERE logged_at = 'x' ORDER BY id",
            "retired": "SELECT id FROM reading WHERE retired_at = 'x' ORDER BY id",
            "successor": "SELECT max(id) FROM reading WHERE corrects_id = 1",
            "added": "SELECT max(added_at) FROM part WHERE added_at IS NOT NULL",
            "replaced": "SELECT id FROM replaced WHERE replaced_at = 'x' ORDER BY id",
        }
        for name, sql in plans.items():
            steps = [row[3] for row in records._reader.rows("EXPLAIN QUERY PLAN " + sql)]
            assert all("INDEX" in s or "PRIMARY KEY" in s or "SUBQUERY" in s for s in steps), (name, steps)
            assert not any("TEMP B-TREE" in s or s.startswith("SCAN") for s in steps), (name, steps)


def test_a_server_finds_a_page_of_parts_by_its_index(empty_store_template, server):
    where = server.url(server.database(empty_store_template))
    with Records(where) as records:
        fill(records)
        records._reader.rows("SELECT set_config('enable_seqscan', 'off', false)")
        page = """SELECT id FROM part WHERE name COLLATE "C" > 'a' ORDER BY name COLLATE "C" LIMIT 9"""
        told = "\n".join(row[0] for row in records._reader.rows("EXPLAIN " + page))
        assert "ix_part_code_points" in told
        assert "Sort" not in told


# -- upgrades, with a further revision made up for the test ---------------------------------------------------

NEXT = f"{int(revisions.HEAD) + 1:04d}"
FURTHER = """
import time
import sqlalchemy as sa
from alembic import op
revision, down_revision, branch_labels, depends_on = "{next}", "{head}", None, None

def upgrade():
    op.create_table("extra", sa.Column("id", sa.Integer(), primary_key=True))
    time.sleep({pause})
    with op.batch_alter_table("material") as table:
        table.add_column(sa.Column("colour", sa.Text()))
        table.alter_column("note", new_column_name="remark")
    time.sleep({pause})
    {then}
"""


@pytest.fixture
def newer_program(monkeypatch, tmp_path):
    """This program as if it were one revision further on."""

    def become(pause=0.0, then="pass"):
        folder = tmp_path / "100% migrations"
        shutil.copytree(migrations_folder(), folder, dirs_exist_ok=True)
        text = FURTHER.format(pause=pause, then=then, next=NEXT, head=revisions.HEAD)
        (folder / "versions" / f"{NEXT}_go_on.py").write_text(text)
        monkeypatch.setattr("matdb.store.schema.migrations_folder", lambda: folder)
        monkeypatch.setattr(schema, "REVISIONS", (*revisions.REVISIONS, NEXT))
        monkeypatch.setattr(schema, "HEAD", NEXT)
        monkeypatch.setattr(upgrading, "HEAD", NEXT)
        return folder

    return become


def columns(path, table):
    with sqlite3.connect(path) as connection:
        found = {row[1] for row in connection.execute(f"PRAGMA table_info({table})")}
    connection.close()
    return found


def rows_of(where, sql):
    place = locate(where)
    engine = make_engine(place, 5.0)
    try:
        with writing(engine, place, 5.0) as connection:
            return [tuple(row) for row in connection.execute(sa.text(sql))]
    finally:
        engine.dispose()


def test_an_upgrade_keeps_every_row_and_a_copy_of_the_old_file(file, newer_program):
    before = file.with_name("before.sqlite")
    with Records(file) as records:
        records.backup(before)
    newer_program()
    upgrading.open_reader(locate(file), wait_s=5.0)[0].close()
    assert {"colour", "remark"} <= columns(file, "material")
    assert len(rows_of(file, "SELECT * FROM reading")) == len(READINGS)
    assert rows_of(file, "SELECT remark FROM material ORDER BY id") == [("",), ("two\nlines",)]
    (aside,) = file.parent.glob(f"bench.sqlite.{revisions.HEAD}.*.backup")
    assert rows_of(aside, "SELECT note FROM material ORDER BY id") == [("",), ("two\nlines",)]


def fit_everything(records):
    """Fill a store with something in every table."""
    fill(records)
    first = records.readings()[0]
    records.correct_reading(first.id, first.reading, "read again")
    records.replace("nose", MOUNTING, "the same again")
    fit = FitRecord(material="amber 40A", program_version="0", arrays={"draws": DRAWS}, reading_ids=(2, 3), seed=7)
    published = [("007", "axial", 1.0, None, 0.5, *[2.0] * 10, "readings", 0)]
    records.save_fit(fit, published, [("007", "axial", 0.0, 1.0)])


def test_an_upgrade_on_a_server_keeps_every_row_and_a_copy(
    server, empty_store_template, newer_program, tmp_path, monkeypatch
):
    monkeypatch.setenv("MATDB_BACKUPS", str(tmp_path / "kept" / "here"))
    where = server.url(server.database(empty_store_template))
    with Records(where) as records:
        fit_everything(records)
        before = list(store_text(Store(records)))
        counts = {table: count_of(where, table) for table in Base.metadata.tables}
    (tmp_path / "kept" / "here").mkdir(parents=True)
    mark = hashlib.sha256(where.encode()).hexdigest()[:8]
    name = where.partition("?")[0].rpartition("/")[2]
    left = tmp_path / "kept" / "here" / f"{name}-{mark}.{revisions.HEAD}.20240203T040506000007Z.sqlite.part"
    left.write_text("what a killed upgrade left")
    newer_program()
    with contextlib.closing(upgrading.open_reader(locate(where), wait_s=5.0)[0]):
        pass
    assert rows_of(where, "SELECT remark FROM material ORDER BY id") == [("",), ("two\nlines",)]
    assert rows_of(where, "SELECT version_num FROM alembic_version") == [(NEXT,)]
    (aside,) = (tmp_path / "kept" / "here").iterdir()
    assert aside.name.startswith(f"{name}-{mark}.{revisions.HEAD}.")
    assert aside.stat().st_mode & 0o077 == 0
    monkeypatch.undo()  # the copy is a store of the old program, whole
    with Records(aside, readonly=True) as records:
        assert list(store_text(Store(records))) == before
        assert records.check() == []
    assert {table: count_of(aside, table) for table in Base.metadata.tables} == counts
    assert min(counts.values()) > 0


def count_of(where, table):
    return rows_of(where, f"SELECT count(*) FROM {table}")[0][0]


@pytest.mark.parametrize("fault", ["a file in the way", "a full disk"])
def test_without_a_copy_no_upgrade_begins(where, newer_program, fault, tmp_path, monkeypatch):
    with Records(where) as records:
        fill(records)
    newer_program()
    if fault == "a file in the way":
        if "://" not in where:  # an SQLite store's copy lies in the store's own folder
            return
        (tmp_path / "state").write_text("in the way")
        says = "File exists|Not a directory"
    else:

        def full(place, revision, wait_s, to):
            to.write_bytes(b"half")
            raise StoreError(str(to), "the disk is full; nothing was written")

        monkeypatch.setattr("matdb.store.backups._copy_into", full)
        says = "the disk is full"
    with pytest.raises(
        StoreError, match=rf"no copy can be kept in .* before the upgrade \({says}.*nothing was"
    ) as caught:
        upgrading.open_reader(locate(where), wait_s=5.0)
    assert caught.value.where == where
    assert rows_of(where, "SELECT version_num FROM alembic_version") == [(revisions.HEAD,)]
    assert not [p for p in tmp_path.rglob("*") if ".part" in p.name]


def test_an_upgrade_is_told_with_its_copy(where, newer_program):
    with Records(where) as records:
        fill(records)
        assert records.upgraded is None
    newer_program()
    reader, _, done = upgrading.open_reader(locate(where), wait_s=5.0)
    reader.close()
    assert (done.before, done.after) == (revisions.HEAD, NEXT)
    assert rows_of(done.copy, "SELECT version_num FROM alembic_version") == [(revisions.HEAD,)]


def test_nobody_writes_between_the_copy_and_the_upgrade(where, newer_program, monkeypatch):
    """A program of the old version that goes on logging is kept out, so that the copy lacks nothing."""
    with Records(where) as records:
        fill(records)
    plain, told = upgrading.copy_before_upgrade, []

    def copy(place, revision, wait_s):
        kept = plain(place, revision, wait_s)
        engine = make_engine(locate(where), 0.2)
        try:
            with writing(engine, locate(where), 0.2) as connection:
                connection.exec_driver_sql("UPDATE reading SET note = 'late'")
        except StoreError as error:
            told.append(type(error).__name__)
        finally:
            engine.dispose()
        return kept

    newer_program()
    monkeypatch.setattr(upgrading, "copy_before_upgrade", copy)
    upgrading.open_reader(locate(where), wait_s=5.0)[0].close()
    assert told == ["StoreBusy"]
    assert rows_of(where, "SELECT count(*) FROM reading WHERE note = 'late'") == [(0,)]


def test_a_user_without_rights_does_not_upgrade(server, empty_store_template, newer_program, tmp_path):
    name = server.database(empty_store_template)
    server.sql(f"CREATE ROLE waiting_{name} LOGIN", name)
    server.sql(f"GRANT SELECT ON ALL TABLES IN SCHEMA public TO waiting_{name}", name)
    newer_program()
    with pytest.raises(StoreError, match="older than this program; this user may not write"):
        upgrading.open_reader(locate(server.url(name, f"waiting_{name}")), wait_s=5.0)
    assert not (tmp_path / "state").exists()


@pytest.mark.parametrize("then", ["raise ValueError('midway')", "op.execute('INSERT INTO part (id) VALUES (1)')"])
def test_an_upgrade_that_fails_changes_nothing(where, newer_program, then):
    with Records(where) as records:
        fill(records)
    newer_program(then=then)
    with pytest.raises((ValueError, StoreError)):
        upgrading.open_reader(locate(where), wait_s=5.0)
    assert rows_of(where, "SELECT version_num FROM alembic_version") == [(revisions.HEAD,)]
    assert rows_of(where, "SELECT note FROM material ORDER BY id") == [("",), ("two\nlines",)]
    with pytest.raises(StoreError):
        rows_of(where, "SELECT * FROM extra")


def test_a_row_left_without_its_parent_stops_an_upgrade(file, newer_program):
    newer_program(then="op.execute('DELETE FROM material WHERE id = 2')")
    with pytest.raises(StoreError, match="points to none"):
        upgrading.open_reader(locate(file), wait_s=5.0)
    assert rows_of(file, "SELECT count(*) FROM material") == [(2,)]


@pytest.mark.slow
def test_a_killed_upgrade_is_as_if_it_never_began(file, newer_program, python):
    folder = newer_program(pause=0.15)
    code = (
        "import sys, pathlib; from matdb.store import schema, upgrading; from matdb.store.location import locate\n"
        "import alembic.command, alembic.config, matdb.store.transaction, matdb.store.models\n"
        "schema.migrations_folder = lambda: pathlib.Path(sys.argv[2])\n"
        f"schema.REVISIONS, schema.HEAD = {(*revisions.REVISIONS, NEXT)!r}, {NEXT!r}; upgrading.HEAD = schema.HEAD\n"
        "print('go', flush=True); upgrading.open_reader(locate(sys.argv[1]), wait_s=5.0); print('end', flush=True)"
    )
    draw = random.Random(3)
    for _ in range(2):
        process = python(code, file, folder)
        assert process.stdout.readline() == "go\n"
        time.sleep(draw.uniform(0.05, 0.3))
        process.send_signal(signal.SIGKILL)
        assert process.wait() == -signal.SIGKILL
        assert rows_of(file, "SELECT version_num FROM alembic_version") == [(revisions.HEAD,)]
        assert "note" in columns(file, "material")
        assert columns(file, "extra") == set()
    upgrading.open_reader(locate(file), wait_s=5.0)[0].close()
    assert rows_of(file, "SELECT version_num FROM alembic_version") == [(NEXT,)]


def test_a_store_of_a_newer_program_is_refused_and_untouched(where, newer_program, monkeypatch):
    newer_program()
    upgrading.open_reader(locate(where), wait_s=5.0)[0].close()
    before = Path(where).read_bytes() if "://" not in where else None
    monkeypatch.undo()
    with pytest.raises(NewerStore, match=rf"schema {NEXT}, this one knows up to .* pip install --upgrade"):
        Records(where)
    assert before is None or Path(where).read_bytes() == before


@pytest.mark.slow
def test_two_programs_that_make_the_same_store_make_one(tmp_path, server, python):
    for where in (str(tmp_path / "new.sqlite"), server.url(server.database())):
        code = (
            "import sys, alembic.command, matdb.store.transaction; from matdb.store import Records\n"
            "print('go', flush=True); sys.stdin.readline()\n"
            "with Records(sys.argv[1]) as records: print(records.check())"
        )
        started = [python(code, where, stdin=-1) for _ in range(2)]
        for process in started:
            assert process.stdout.readline() == "go\n"
        for process in started:
            process.stdin.write("\n")
            process.stdin.flush()
        for process in started:
            out, said = process.communicate()
            assert (out, said) == ("[]\n", "")


@pytest.mark.slow
def test_the_wheel_carries_the_migrations(tmp_path, python):
    """What the build file ships, laid out as in a wheel, makes a store without the checkout."""
    root = migrations_folder().parent
    site = tmp_path / "site % packages"
    wheel = tmp_path / "some.whl"
    with zipfile.ZipFile(wheel, "w") as packed:
        for source, target in (("matdb", "matdb"), ("migrations", "matdb/_migrations"), ("data", "matdb/_data")):
            for path in (root / source).rglob("*"):
                if path.is_file() and "__pycache__" not in path.parts:
                    packed.write(path, Path(target) / path.relative_to(root / source))
    with zipfile.ZipFile(wheel) as packed:
        packed.extractall(site)
    code = (
        "import sys; sys.path.insert(0, sys.argv[1]); import matdb.shipped\n"
        "from matdb.store import Records\n"
        "with Records(sys.argv[2]) as records: print(records.counts()['readings'], matdb.shipped.migrations_folder())"
    )
    shown, said = python(code, site, tmp_path / "new.sqlite").communicate()
    assert (shown, said) == (f"0 {site / 'matdb' / '_migrations'}\n", "")
