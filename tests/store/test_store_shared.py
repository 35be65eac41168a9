"""Several programs at once, and programs that die in the middle."""

import json
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from store import kill_table

from matdb.store import FitRecord, Records

BUSY = """
import json, sys, matdb.store.transaction, matdb.store.writer
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
        told["logged"] += records.add(reading)
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


@pytest.mark.slow
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


def killed(python, *words):
    """The rows of kill_table.py, of which no store may have lost or half of anything."""
    code = (
        "import sys, json, runpy; sys.argv[0] = 'kill_table'; runpy.run_module('store.kill_table', run_name='__main__')"
    )
    out, said = python(code, *words, "--small", "--json").communicate()
    assert said == ""
    found = json.loads(out)
    for row in found:
        assert row["faults"] == []
        assert row["opened"] == row["sound"] == row["kept"] == row["tries"] > 0
        assert row["half"] == 0
    return found


@pytest.mark.slow
@pytest.mark.parametrize("engine", ["sqlite", "postgresql"])
def test_a_killed_program_leaves_all_or_nothing(engine, request, python):
    """See kill_table.py, which does the same two hundred times."""
    running = ["--server", request.getfixturevalue("server").folder] if engine == "postgresql" else []
    found = killed(python, "2", "--engine", engine, *running)
    assert [row["work"] for row in found] == list(kill_table.ALONE)
    assert sum(row["inside"] for row in found) > len(found)


@pytest.mark.slow
@pytest.mark.parametrize("engine", ["sqlite", "postgresql"])
def test_works_mixed_on_one_store_and_the_server_killed_leave_all_or_nothing(engine, python):
    found = killed(python, "12", "--mixed", "--engine", engine)
    assert [row["inside"] for row in found] == [12, 2][: len(found)]
    assert len(found) == (2 if engine == "postgresql" else 1)


def test_the_kill_table_would_notice_a_step_that_is_lost_or_half_done(file):
    with Records(file) as records:
        for work, change in (("removal", lambda: records.remove("part", "trial 0", "x")), ("undo", records.undo)):
            said = kill_table.laid_out(records, work)
            assert len(said) == kill_table.TRIALS + 1
            assert kill_table.misled(said, kill_table.trials(records), 0) == ("", "")
            assert kill_table.misled(said, kill_table.trials(records), 1)[0].startswith("lost")
            change()
            assert kill_table.misled(said, kill_table.trials(records), 1) == ("", "")
            half = dict(list(kill_table.trials(records).items())[:1])
            assert kill_table.misled(said, half | {"trial 9": ()}, 1)[1].startswith("half")


BEFORE = {"readings": 10, "retired readings": 0, "fits": 1, "corrected": 0, "whole fits": True, "table of": [1]}


@pytest.mark.parametrize(
    ("work", "after", "confirmed", "is_lost", "is_half"),
    [
        ("import", {"readings": 9}, 0, True, True),
        ("import", {}, kill_table.ROWS, True, False),
        ("import", {"readings": 5010}, 0, False, True),
        ("import", {"readings": 10 + kill_table.ROWS}, kill_table.ROWS, False, False),
        ("logging", {"readings": 13}, 3, False, False),
        ("logging", {"readings": 12}, 3, True, False),
        ("correction", {"readings": 11}, 0, False, True),
        ("correction", {"readings": 11, "corrected": 1, "retired readings": 1}, 2, True, False),
        ("correction", {"readings": 11, "corrected": 1, "retired readings": 1}, 1, False, False),
        ("fit", {"whole fits": False}, 0, False, True),
        ("fit", {"fits": 1}, 1, True, False),
        ("fit", {"fits": 2, "table of": []}, 1, False, True),
        ("fit", {"fits": 2, "table of": [2]}, 1, False, False),
        ("logging", {"readings": 13, "table of": []}, 3, False, True),
        ("removal", {"table of": []}, 0, False, False),
    ],
)
def test_the_kill_table_would_notice(work, after, confirmed, is_lost, is_half):
    """The instrument itself: a store that loses rows or holds half of something is found out."""
    assert bool(kill_table.lost(work, BEFORE, BEFORE | after, confirmed)) == is_lost
    assert bool(kill_table.half(work, BEFORE, BEFORE | after)) == is_half


def test_the_kill_table_would_notice_half_a_file(file, tmp_path):
    with Records(file) as records:
        held = records.counts()
        records.backup(tmp_path / "backup.sqlite")
    assert kill_table.half_file(tmp_path / "backup.sqlite", None, held) == ""
    assert kill_table.half_file(tmp_path / "backup.sqlite", None, held | {"fits": 5})
    whole = (tmp_path / "backup.sqlite").read_bytes()
    (tmp_path / "backup.sqlite").write_bytes(whole[: len(whole) // 2])
    assert kill_table.half_file(tmp_path / "backup.sqlite", None, held)
    assert kill_table.half_copy(tmp_path / "backup.sqlite", "0001")
    (tmp_path / "readings.csv").write_text("number\n1\n2")
    assert kill_table.half_file(tmp_path / "readings.csv", b"number\n1\n2\n3\n", None)
    assert kill_table.half_file(tmp_path / "none.csv", b"", None)


def test_the_kill_table_would_notice_a_fit_without_its_table(file):
    """A program that keeps a fit and its table one after the other leaves this when it dies in between."""
    with Records(file) as records:
        before = kill_table.state(records)
        records.save_fit(FitRecord(material="amber 40A", program_version="0", reading_ids=(1, 2, 4)))
        assert kill_table.half("fit", before, kill_table.state(records))


def test_a_full_disk_keeps_what_was_there(file):
    """SQLite's own limit on pages answers as a full disk does."""
    from matdb.bench.readings import RingDown
    from matdb.errors import StoreError
    from matdb.store import transaction

    reading = RingDown(part="007", temperature_c=20, mass_kg=1, frequency_hz=9, note="x" * 500)
    with Records(file) as records:
        before = records.readings()
        records._engine = transaction.make_engine(records.place, 5.0)
        with records._engine.connect() as connection:
            pages = connection.exec_driver_sql("PRAGMA page_count").scalar()
            connection.exec_driver_sql(f"PRAGMA max_page_count = {pages + 20}")
            connection.rollback()
        with pytest.raises(StoreError, match="disk is full; nothing of this was kept"):
            records.add_readings([reading] * 5000)
        assert records.readings() == before
        records.add(reading)
        assert records.check() == []


def test_nothing_is_left_beside_a_closed_store(file):
    with Records(file) as records:
        records.add(records.readings()[0].reading)
    assert [p.name for p in Path(file).parent.iterdir() if p.name.startswith("bench")] == ["bench.sqlite"]
    with sqlite3.connect(file) as connection:
        assert connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    connection.close()


SYNCED = """
import os, sys
from matdb.bench.readings import RingDown
from matdb.store import Records
with Records(sys.argv[1]) as records:
    for i in range(5):
        records.add(RingDown(part="007", temperature_c=20, mass_kg=1, frequency_hz=1 + i))
        os.write(1, b"confirmed")
"""


@pytest.mark.slow
@pytest.mark.skipif(shutil.which("strace") is None, reason="needs strace to see what the system is asked")
def test_a_change_is_on_the_disk_before_it_is_confirmed(file, tmp_path):
    """A power cut takes what was not synced: between any two confirmations stands a sync."""
    seen = tmp_path / "calls"
    command = ["strace", "-f", "-e", "trace=fsync,fdatasync,write", "-o", seen, sys.executable, "-c", SYNCED, file]
    subprocess.run(command, check=True, capture_output=True)
    synced = []
    for line in seen.read_text().splitlines():
        if "sync(" in line and "= 0" in line:
            synced.append("sync")
        elif 'write(1, "confirmed"' in line:
            synced.append("confirmed")
    assert synced.count("confirmed") == 5
    for i, step in enumerate(synced):
        assert step == "sync" or synced[i - 1] == "sync", synced
