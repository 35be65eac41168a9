# ruff: noqa: E402 - the paths come first
"""Kill a program at random moments of its work and look at the store that it leaves.

    python tests/store/kill_table.py 200        prints the table, SQLite and PostgreSQL

Each work is done once unharmed to learn how long it takes; then again and again, by a child that is killed
(SIGKILL) after a random share of that time. After each kill the store must open, be sound, hold all that
was confirmed before and all or nothing of what was under way.
"""

import argparse
import json
import os
import random
import signal
import sys
import tempfile
import time
import warnings
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[2]), str(Path(__file__).resolve().parents[1])]
warnings.filterwarnings("ignore", category=DeprecationWarning)  # forking is the point here

import numpy as np
from store.sample_records import fill

import matdb.store.engine
import matdb.store.writer  # noqa: F401 - before the forks
from matdb.bench.readings import RingDown
from matdb.store import FitRecord, Records
from matdb.store.checking import check as _check  # noqa: F401 - imported before the forks

ROWS = 10_000
BATCH = [RingDown(part="007", temperature_c=-18 + i * 1e-3, mass_kg=0.25, frequency_hz=31.2) for i in range(ROWS)]


def run_import(records):
    records.add_readings(BATCH)


def run_fit(records):
    arrays = {"draws": np.ones((20000, 12))}
    used = (1, 2, 4)
    records.save_fit(FitRecord(material="amber 40A", program_version="0", arrays=arrays, reading_ids=used))


def run_correction(records):
    newest = "SELECT max(id) FROM reading WHERE retired_at IS NULL AND part_id IS NOT NULL"
    ((number,),) = records._reader.rows(newest)
    records.correct_reading(number, BATCH[0], "killed or not")


def run_logging(records):
    for reading in BATCH[:20]:
        records.add_reading(reading)


def run_backup(records):
    records.backup(BACKUP)


WORKS = {
    "import": run_import,
    "fit": run_fit,
    "correction": run_correction,
    "logging": run_logging,
    "backup": run_backup,
    "making": None,  # the store itself, by its migrations
}
BACKUP = Path(tempfile.gettempdir()) / f"matdb-kill-{os.getpid()}.sqlite"


def state(records):
    """What must only move in whole steps."""
    ((corrected,),) = records._reader.rows("SELECT count(*) FROM reading WHERE corrects_id IS NOT NULL")
    fits = records.fits("amber 40A") if records.materials() else []
    whole = all(len(records.fit_reading_ids(f.id)) == 3 for f in fits)
    return {**records.counts(), "corrected": corrected, "whole fits": whole}


def fault(work, before, after, confirmed):
    """What is wrong with the store after a kill; empty when nothing is."""
    rows = after["readings"] - before["readings"]
    if rows < confirmed or after["fits"] < before["fits"] or not after["whole fits"]:
        return f"lost: {before} -> {after}, {confirmed} confirmed"
    if work == "import" and rows not in (0, ROWS):
        return f"{rows} rows of an import of {ROWS}"
    if work == "correction":
        steps = {after[k] - before[k] for k in ("readings", "retired readings", "corrected")}
        if steps not in ({0}, {1}):
            return f"half a correction: {before} -> {after}"
    return ""


def in_child(where, work, delay=None):
    """Do one work in a child; answers how long it took, and how many rows it confirmed before it ended."""
    answer, tell = os.pipe()
    pid = os.fork()
    if pid == 0:
        os.close(answer)
        try:
            if work == "making":
                os.write(tell, b"go ")
            with Records(where) as records:
                os.write(tell, b"go ")
                if work == "logging":
                    for reading in BATCH[:20]:
                        records.add_reading(reading)
                        os.write(tell, b"1 ")
                elif work != "making":
                    WORKS[work](records)
                    os.write(tell, b"%d " % (ROWS if work == "import" else 1 if work == "correction" else 0))
                os.write(tell, b"end ")
        finally:
            os._exit(0)
    os.close(tell)
    told = b""
    while not told.startswith(b"go "):
        more = os.read(answer, 100)
        assert more, "the child could not open the store"
        told += more
    started = time.perf_counter()
    if delay is not None:
        time.sleep(delay)
        os.kill(pid, signal.SIGKILL)
    while more := os.read(answer, 1000):
        told += more
    spent = time.perf_counter() - started
    os.waitpid(pid, 0)
    os.close(answer)
    words = told.split()
    return spent, sum(int(w) for w in words if w.isdigit()), b"end" in words


def table(fresh, kills, seed=1, works=tuple(WORKS)):
    """Kill each work ``kills`` times, on a new store from ``fresh()`` now and then; answers a row per work."""
    draw = random.Random(seed)
    out = []
    for work in works:
        midway, faults = 0, []
        for kill in range(kills):
            BACKUP.unlink(missing_ok=True)
            if work == "making":
                if kill == 0:
                    spent, _, _ = in_child(fresh(), work)
                where = fresh()
                before = dict.fromkeys(("readings", "fits"), 0)
            elif kill % 5 == 0:
                where = fresh()
                with Records(where) as records:
                    fill(records)
                spent, _, ended = in_child(where, work)
                assert ended, work
                BACKUP.unlink(missing_ok=True)
                with Records(where) as records:
                    before = state(records)
            _, confirmed, ended = in_child(where, work, draw.uniform(0.0, 1.05 * spent))
            midway += not ended
            with Records(where) as records:
                after = state(records)
                says = fault(work, before, after, confirmed)
                holds = records.counts()
                errors = [f"{f.what}: {f.says}" for f in records.check() if f.level == "error"]
            if BACKUP.exists():
                with Records(BACKUP) as copy:
                    errors += [] if copy.counts() == holds else ["the backup holds something else"]
                    errors += [f.says for f in copy.check() if f.level == "error"]
            if says or errors:
                faults.append(says or errors[0])
            before = after
        for leftover in BACKUP.parent.glob(BACKUP.name + "*"):
            leftover.unlink()
        out.append({"work": work, "ms": round(1e3 * spent, 1), "kills": kills, "midway": midway, "faults": faults})
    return out


def main():
    reader = argparse.ArgumentParser()
    reader.add_argument("kills", type=int)
    reader.add_argument("--sqlite", help="a folder for stores: this engine alone, the rows as JSON")
    reader.add_argument("--urls", nargs="*", help="empty stores on a server: the rows as JSON")
    reader.add_argument("--works", default=",".join(WORKS))
    given = reader.parse_args()
    works = tuple(given.works.split(","))

    def files(folder):
        numbers = iter(range(10**6))
        return lambda: str(Path(folder) / f"store{next(numbers)}.sqlite")

    if given.sqlite:
        print(json.dumps(table(files(given.sqlite), given.kills, works=works)))
        return
    if given.urls:
        urls = iter(given.urls)
        print(json.dumps(table(lambda: next(urls), given.kills, works=works)))
        return
    from store.postgresql_server import Server

    with tempfile.TemporaryDirectory() as folder:
        found = [{"engine": "SQLite", **row} for row in table(files(folder), given.kills, works=works)]
    server = Server()
    try:
        rows = table(lambda: server.url(server.database()), given.kills, works=works)
        found += [{"engine": "PostgreSQL", **row} for row in rows]
    finally:
        server.stop()
    print(f"{'engine':<11}{'work':<11}{'takes ms':>9}{'kills':>7}{'midway':>8}{'faults':>8}")
    for row in found:
        print(f"{row['engine']:<11}{row['work']:<11}{row['ms']:>9}{row['kills']:>7}{row['midway']:>8}", end="")
        print(f"{len(row['faults']):>8}", *row["faults"][:1])


if __name__ == "__main__":
    main()
