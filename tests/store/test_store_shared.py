"""Several programs at once, and programs that die in the middle."""

import json
import sqlite3
from pathlib import Path

import pytest
from store.kill_table import table

from matdb.store import Records

BUSY = """
import json, sys, matdb.store.engine, matdb.store.writer
from matdb.bench.readings import RingDown
from matdb.errors import AlreadyExists, InputError
from matdb.material.record import Material
from matdb.store import Records
where, who = sys.argv[1:]
told = {"logged": [], "corrected": 0, "named": 0}
with Records(where) as records:
    first = [r.id for r in records.readings(part="007")]
    print("ready", flush=True)
    sys.stdin.readline()
    for i in range(100):
        reading = RingDown(part="007", temperature_c=20, mass_kg=1, frequency_hz=1 + i, who=who)
        told["logged"].append(records.add_reading(reading))
    for number in first:
        try:
            records.correct_reading(number, reading, who)
            told["corrected"] += 1
        except InputError:
            pass
    for i in range(30):
        try:
            records.add(Material(name=str(i)))
            told["named"] += 1
        except AlreadyExists:
            pass
print(json.dumps(told))
"""


def test_programs_at_once_lose_and_double_nothing(records, where, python):
    """Both log, correct the same readings and take the same names: each is done once, by one of them."""
    records.add_readings([records.readings(part="007")[0].reading] * 20)
    first = len(records.readings(part="007"))
    started = [python(BUSY, where, who, stdin=-1) for who in ("one", "two")]
    for process in started:
        assert process.stdout.readline() == "ready\n"
    for process in started:
        process.stdin.write("\n")
        process.stdin.flush()
    told = []
    for process in started:
        out, said = process.communicate()
        assert said == ""
        told.append(json.loads(out))
    kept = [r for r in records.readings(part="007", include_retired=True) if r.reading.who in ("one", "two")]
    logged = [r for r in kept if r.corrects_id is None]
    assert sorted(n for t in told for n in t["logged"]) == [r.id for r in logged]
    assert sorted((r.reading.who, r.reading.frequency_hz) for r in logged) == sorted(
        (who, 1.0 + i) for who in ("one", "two") for i in range(100)
    )
    assert sum(t["corrected"] for t in told) == first == len(kept) - len(logged)
    assert len({r.corrects_id for r in kept} - {None}) == first == records.counts()["retired readings"]
    assert sum(t["named"] for t in told) == 30
    assert records.check() == []


WORKS = "import,fit,correction,logging"


@pytest.mark.parametrize("engine", ["sqlite", "postgresql"])
def test_a_killed_program_leaves_all_or_nothing(engine, server, empty_store_template, tmp_path, python):
    """See kill_table.py, which does the same two hundred times."""
    code = (
        "import sys, json, runpy; sys.argv[0] = 'kill_table'; runpy.run_module('store.kill_table', run_name='__main__')"
    )
    if engine == "sqlite":
        out, said = python(code, 4, "--works", WORKS, "--sqlite", tmp_path).communicate()
    else:
        urls = [server.url(server.database(empty_store_template)) for _ in range(4)]
        out, said = python(code, 3, "--works", WORKS, "--urls", *urls).communicate()
    assert said == ""
    found = json.loads(out)
    assert [row["faults"] for row in found] == [[]] * 4
    assert sum(row["midway"] for row in found) > 0


def test_the_kill_table_would_notice(tmp_path):
    """The instrument itself: a store that loses rows is found out."""
    from store import kill_table

    before = {"readings": 10, "fits": 1, "whole fits": True, "retired readings": 0, "corrected": 0}
    assert kill_table.fault("import", before, before | {"readings": 9}, 0)
    assert kill_table.fault("import", before, before | {"readings": 5010}, 0)
    assert kill_table.fault("import", before, before, 10000)
    assert kill_table.fault("correction", before, before | {"readings": 11}, 0)
    assert kill_table.fault("fit", before, before | {"whole fits": False}, 0)
    assert not kill_table.fault("import", before, before | {"readings": 10010}, 10000)
    assert callable(table)


def test_a_full_disk_keeps_what_was_there(file):
    """SQLite's own limit on pages answers as a full disk does."""
    from matdb.bench.readings import RingDown
    from matdb.errors import StoreError
    from matdb.store import engine

    reading = RingDown(part="007", temperature_c=20, mass_kg=1, frequency_hz=9, note="x" * 500)
    with Records(file) as records:
        before = records.readings()
        records._engine = engine.make_engine(records.place, 5.0)
        with records._engine.connect() as connection:
            pages = connection.exec_driver_sql("PRAGMA page_count").scalar()
            connection.exec_driver_sql(f"PRAGMA max_page_count = {pages + 20}")
            connection.rollback()
        with pytest.raises(StoreError, match="disk is full; nothing of this change was kept"):
            records.add_readings([reading] * 5000)
        assert records.readings() == before
        records.add_reading(reading)
        assert records.check() == []


def test_nothing_is_left_beside_a_closed_store(file):
    with Records(file) as records:
        records.add(records.readings()[0].reading)
    assert [p.name for p in Path(file).parent.iterdir() if p.name.startswith("bench")] == ["bench.sqlite"]
    with sqlite3.connect(file) as connection:
        assert connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    connection.close()
