# ruff: noqa: E402 - the paths come first
"""Kill a program at random moments of its work and look at the store that it leaves.

    python tests/store/kill_table.py 200        prints the table, SQLite and PostgreSQL
    python tests/store/kill_table.py 400 --mixed    six works mixed on one store never reset, the server killed too

Each work is done unharmed to learn how long it takes; then again and again on fresh stores, by a child that is killed
(SIGKILL) after a random share of that time, until so many kills fell inside the work. After each the store must open,
be sound, hold all that was confirmed before, and all or nothing of what was under way; a file that was being written
is the old one, the new one, or not there. An interrupted upgrade must be made up for by the next program, which then
answers the same numbers as after an upgrade unharmed.
"""

import argparse
import contextlib
import importlib
import json
import os
import random
import select
import shutil
import signal
import sqlite3
import statistics
import sys
import tempfile
import time
import warnings
from dataclasses import dataclass, field, replace
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[2]), str(Path(__file__).resolve().parents[1])]
warnings.filterwarnings("ignore", category=DeprecationWarning)  # forking is the point here

import numpy as np
from store.old_stores import answers, grow, server_store, sqlite_store
from store.sample_records import PAD, fill

from matdb.api import Store
from matdb.bench.readings import RingDown
from matdb.exchange.tables import readings_table, write_table
from matdb.exchange.whole_store import export_store
from matdb.store import FitRecord, Records, revisions

for _name in (
    "alembic.command",
    "alembic.config",
    *map("matdb.store.{}".format, ("backups", "checking", "undoing", "writer")),
):
    importlib.import_module(_name)  # before the forks, so that the time of a work is not that of its imports

#: Less of everything, for the test suite.
SMALL = "--small" in sys.argv
ROWS = 1000 if SMALL else 10_000  # of an import
HELD = 200 if SMALL else 3000  # readings in the store beforehand
STEPS = 5 if SMALL else 20  # corrections, or readings logged one by one
PUBLISHED = 1616  # rows of the table that comes with a fit
MEASURED = 1 if SMALL else 3
DRAWS = 20000
SERVER_KILLS = 2 if SMALL else 20
BATCH = [
    RingDown(part="007", temperature_c=-18 + i * 1e-3, mass_kg=0.25, frequency_hz=31.2)
    for i in range(ROWS if __name__ == "__main__" else 100)  # a test that only asks about the table needs few
]
OLD = b"what was there before\n"


# -- the works: each gets an address, a folder for files, and what tells that something is confirmed ------------------


def making(where, folder, ready, confirm):
    ready()
    Records(where).close()


def importing(where, folder, ready, confirm):
    with Records(where) as records:
        ready()
        records.add_readings(BATCH)
        confirm(ROWS)


def fitting(where, folder, ready, confirm):
    """Keep a fit; finding it takes long but writes nothing."""
    arrays = {"draws": np.ones((DRAWS, 12))}
    table = [("007", "axial", float(i), None, 0.5, *[2.0] * 10, "readings", 0) for i in range(PUBLISHED)]
    fit = FitRecord(material="amber 40A", program_version="0", arrays=arrays, reading_ids=(1, 2, 4))
    with Records(where) as records:
        ready()
        records.save_fit(fit, table)
        confirm(1)


def correcting(where, folder, ready, confirm):
    with Records(where) as records:
        numbers = [r.id for r in records.readings(part="007")][-STEPS:]
        ready()
        for number in numbers:
            records.correct_reading(number, BATCH[0], "killed or not")
            confirm(1)


def logging(where, folder, ready, confirm):
    with Records(where) as records:
        ready()
        for reading in BATCH[:STEPS]:
            records.add(reading)
            confirm(1)


def removing(where, folder, ready, confirm):
    with Records(where) as records:
        names = list(trials(records))
        ready()
        for name in names:
            records.remove("part", name, "killed or not")
            confirm(1)


def undoing(where, folder, ready, confirm):
    with Records(where) as records:
        ready()
        for _ in range(TRIALS):
            records.undo()
            confirm(1)


def upgrading(where, folder, ready, confirm):
    ready()
    Records(where).close()
    confirm(1)


def backing_up(where, folder, ready, confirm):
    with Records(where) as records:
        ready()
        records.backup(folder / "backup.sqlite")
        confirm(1)


def exporting_store(where, folder, ready, confirm):
    with Store(Records(where)) as store:
        ready()
        export_store(store, folder / "store.json", force=True)
        confirm(1)


def exporting_csv(where, folder, ready, confirm):
    with Store(Records(where)) as store:
        ready()
        table = readings_table(store.records.each_reading())
        write_table(store, folder / "readings.csv", "readings", table, force=True)
        confirm(1)


@dataclass(frozen=True)
class Work:
    """What is done, on which store, and the file that it writes."""

    do: object
    on: str = "filled"
    file: str = ""


WORKS = {
    "making": Work(making, "empty"),
    "import": Work(importing),
    "fit": Work(fitting),
    "correction": Work(correcting),
    "logging": Work(logging),
    "removal": Work(removing),
    "undo": Work(undoing),
    **{f"upgrade {revision}": Work(upgrading, revision) for revision in revisions.REVISIONS[:-1]},
    "backup": Work(backing_up, file="backup.sqlite"),
    "export json": Work(exporting_store, file="store.json"),
    "export csv": Work(exporting_csv, file="readings.csv"),
}
#: Those that a store needs no preparation for.
ALONE = tuple(name for name in WORKS if name not in ("removal", "undo"))


# -- stores, fresh for every kill ------------------------------------------------------------------------------------


class Files:
    """SQLite stores in a folder."""

    name = "SQLite"

    def __init__(self, folder):
        self.folder, self.made, self.templates = Path(folder), 0, {}

    def _new(self):
        self.made += 1
        place = self.folder / str(self.made)
        place.mkdir()
        return str(place / "store.sqlite")

    def fresh(self, on):
        where = self._new()
        if on == "empty":
            return where
        if on not in self.templates:
            self.templates[on] = self._new()
            fill_store(self.templates[on], on, lambda: sqlite_store(on, self.templates[on]))
        shutil.copy(self.templates[on], where)
        return where

    def revision(self, where):
        with contextlib.closing(sqlite3.connect(where)) as connection:
            assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            return connection.execute("SELECT version_num FROM alembic_version").fetchone()[0]

    def settled(self, where):
        pass

    def drop(self, where):
        shutil.rmtree(Path(where).parent)


class Databases:
    """PostgreSQL stores on a running server."""

    name = "PostgreSQL"

    def __init__(self, server):
        self.server, self.templates = server, {}

    def fresh(self, on):
        if on == "empty":
            return self.server.url(self.server.database())
        if on not in self.templates:
            name = self.server.database() if on == "filled" else server_store(on, self.server)
            self.templates[on] = name
            fill_store(self.server.url(name), on, lambda: None)
        return self.server.url(self.server.database(self.templates[on]))

    def _name(self, where):
        return where.partition("?")[0].rpartition("/")[2]

    def revision(self, where):
        return self.server.sql("SELECT version_num FROM alembic_version", self._name(where))[0][0]

    def settled(self, where):
        """Wait until the server noticed that the killed program is gone: it may have got as far as COMMIT."""
        busy = f"SELECT count(*) FROM pg_stat_activity WHERE datname = '{self._name(where)}'"
        while self.server.sql(busy)[0][0]:
            time.sleep(0.005)

    def drop(self, where):
        self.server.sql(f"DROP DATABASE {self._name(where)} WITH (FORCE)")


def fill_store(where, on, make_old):
    if on == "filled":
        with Records(where) as records:
            fill(records)
            records.add_readings(BATCH[:HELD])
    else:
        make_old()
        grow(where, HELD)


# -- one kill ----------------------------------------------------------------------------------------------------------


def in_child(where, work, folder, delay=None, kill=lambda pid: os.kill(pid, signal.SIGKILL)):
    """Do a work in a child; answers how long it took, how much it confirmed, and whether it ended by itself.

    After ``delay`` seconds ``kill`` is called with its number.
    """
    answer, tell = os.pipe()
    pid = os.fork()
    if pid == 0:
        os.close(answer)
        code = 1
        try:
            work.do(where, folder, lambda: os.write(tell, b"go "), lambda n: os.write(tell, b"%d " % n))
            os.write(tell, b"end ")
            code = 0
        finally:
            if code and kill.__name__ != "kill_server":
                import traceback

                traceback.print_exc()
            os._exit(code)
    os.close(tell)
    told = b""
    while not told.startswith(b"go "):
        more = os.read(answer, 100)
        assert more, "the child could not open the store"
        told += more
    started = time.perf_counter()
    until = None if delay is None else started + delay
    while True:
        left = None if until is None else max(until - time.perf_counter(), 0.0)
        if not select.select([answer], [], [], left)[0]:
            kill(pid)
            until = None
            continue
        more = os.read(answer, 1000)
        if not more:
            break
        told += more
    spent = time.perf_counter() - started
    os.waitpid(pid, 0)
    os.close(answer)
    words = told.split()
    return spent, sum(int(w) for w in words if w.isdigit()), b"end" in words


def state(records):
    """What must only move in whole steps."""
    rows = records._reader.rows
    ((corrected,),) = rows("SELECT count(*) FROM reading WHERE corrects_id IS NOT NULL")
    fits = [number for (number,) in rows("SELECT id FROM fit ORDER BY id")]
    used = all(rows("SELECT count(*) FROM fit_reading WHERE fit_id = ?", (n,)) == [(3,)] for n in fits)
    published = rows("SELECT fit_id, count(*) FROM effective_stiffness GROUP BY fit_id")
    # A removed or changed part takes its material's table away until the next fit.
    whole = used and published in ([], [(number, PUBLISHED) for number in fits[-1:]])
    return {**records.counts(), "corrected": corrected, "whole fits": whole, "table of": [n for n, _ in published]}


def lost(work, before, after, confirmed):
    """What was confirmed or there before and is not there now; empty when nothing is."""
    taken = ("parts", "materials") if work in ("removal", "undo") else ()
    grown = {k: after[k] - before[k] for k in before if k not in ("whole fits", "table of", *taken)}
    least = {"import": "readings", "logging": "readings", "correction": "corrected", "fit": "fits"}
    if min(grown.values()) < 0 or (work in least and grown[least[work]] < confirmed):
        return f"lost: {before} -> {after}, {confirmed} confirmed"
    return ""


def half(work, before, after):
    """What is there by half; empty when nothing is."""
    rows = after["readings"] - before["readings"]
    if work == "import" and rows not in (0, ROWS):
        return f"{rows} rows of an import of {ROWS}"
    if work == "correction":
        steps = {after[k] - before[k] for k in ("readings", "retired readings", "corrected")}
        if len(steps) != 1:
            return f"half a correction: {before} -> {after}"
    if not after["whole fits"] or (after["fits"] > before["fits"] and after["table of"] == []):
        return "a fit without its readings or its published table"
    if work not in ("removal", "undo", "fit") and after["table of"] != before["table of"]:
        return f"a published table that came or went by {work}"
    return ""


def half_file(path, whole, held):
    """What is wrong with a file that was being written; empty when it is whole, the old one, or not there."""
    if not path.exists():
        return "" if path.suffix == ".sqlite" else f"{path.name} is gone"
    if path.suffix != ".sqlite":
        return "" if path.read_bytes() in (OLD, whole) else f"{path.name} is half written"
    return half_store(path, lambda records: records.counts() == held)


def half_store(path, right):
    try:
        with Records(path, readonly=True) as records:
            errors = [f.says for f in records.check() if f.level == "error"]
            return errors[0] if errors else "" if right(records) else f"{path.name} holds something else"
    except Exception as error:
        return f"{path.name}: {error}"


def half_copy(path, revision):
    """What is wrong with a copy that an upgrade kept."""
    try:
        with contextlib.closing(sqlite3.connect(path)) as connection:
            sound = connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            found = connection.execute("SELECT version_num FROM alembic_version").fetchone()
            rows = connection.execute("SELECT count(*) FROM reading").fetchone()
    except sqlite3.Error as error:
        return f"{path.name}: {error}"
    return "" if sound and found == (revision,) and rows == (HELD + 4,) else f"{path.name} is not the whole store"


@dataclass
class Row:
    """One line of the table."""

    engine: str
    work: str
    ms: float = 0.0
    tries: int = 0
    inside: int = 0
    opened: int = 0
    sound: int = 0
    kept: int = 0
    half: int = 0
    shares: list = field(default_factory=list)
    faults: list = field(default_factory=list)


def look(bench, row, name, work, where, folder, confirmed, before, whole):
    """Look at what a kill left, and count it in."""
    faults = []
    copies = Path(os.environ["MATDB_BACKUPS"]) if bench.name == "PostgreSQL" else Path(where).parent
    wrong = ""
    if name.startswith("upgrade"):
        assert bench.revision(where) in (work.on, revisions.HEAD)
        for path in [*copies.glob("*.backup"), *copies.glob("*.sqlite")]:
            if path.name != "store.sqlite":
                wrong = wrong or half_copy(path, work.on)
    try:
        with Records(where) as records:  # an upgrade that was interrupted is made here
            row.opened += 1
            errors = [f"{f.what}: {f.says}" for f in records.check() if f.level == "error"]
            counts = records.counts()
            after = state(records) if not name.startswith("upgrade") else None
    except Exception as error:
        row.faults.append(f"cannot be opened: {error}")
        return
    row.sound += not errors
    faults += errors[:1]
    gone = ""
    if name == "making":
        gone = "" if not any(counts.values()) else "something in a new store"
    elif name.startswith("upgrade"):
        if counts != before or answers(where) != whole:
            gone = f"answers something else: {counts}"
        wrong = wrong or "".join(p.name for p in copies.iterdir() if ".part" in p.name)
    else:
        gone = lost(name, before, after, confirmed)
        wrong = wrong or half(name, before, after)
        if work.file:
            wrong = wrong or half_file(folder / work.file, whole, counts)
    row.kept += not gone
    row.half += bool(wrong)
    row.faults += faults + [f for f in (gone, wrong) if f]


def table(bench, kills, seed=1, works=ALONE):
    """Kill each work until ``kills`` fell inside it, each on a fresh store; answers a row per work."""
    draw = random.Random(seed)
    out = []
    for name in works:
        work, row = WORKS[name], Row(bench.name, name)
        with tempfile.TemporaryDirectory() as scratch:
            folder = Path(scratch)
            os.environ["MATDB_BACKUPS"] = str(folder)
            taken, before, whole = [], None, None
            for _ in range(MEASURED):
                where = bench.fresh(work.on)
                clean(folder, work)
                spent, _, ended = in_child(where, work, folder)
                assert ended, name
                taken.append(spent)
                if work.file and work.file != "backup.sqlite":
                    whole = (folder / work.file).read_bytes()
                if name.startswith("upgrade"):
                    whole = answers(where)
                bench.drop(where)
            if name.startswith("upgrade"):
                before = {"materials": 1, "parts": 2, "readings": HELD + 4, "retired readings": 1, "fits": 1}
                before["mountings"] = 1
            elif name != "making":
                where = bench.fresh(work.on)
                with Records(where) as records:
                    before = state(records)
                bench.drop(where)
            row.ms = round(1e3 * statistics.median(taken), 1)
            while row.inside < kills and row.tries < 6 * kills:
                where = bench.fresh(work.on)
                clean(folder, work)
                # A machine that does other things too has no one time for a work: the newest ones count.
                lasts = statistics.median(taken[-9:])
                delay = draw.uniform(0.0, lasts)
                spent, confirmed, ended = in_child(where, work, folder, delay)
                bench.settled(where)
                row.tries += 1
                if ended:
                    taken.append(spent)
                else:
                    row.inside += 1
                    row.shares.append(delay / lasts)
                look(bench, row, name, work, where, folder, confirmed, before, whole)
                bench.drop(where)
        out.append(row)
    return out


MIXED = ("import", "fit", "correction", "logging", "removal", "undo")
TRIALS = 6


def trials(records):
    """What is said of the parts that are there to be taken away: their definitions, and their readings that count."""
    return {
        part.name: (repr(part), sorted(repr(each.reading) for each in records.readings(part=part.name)))
        for part in records.parts()
        if part.name.startswith("trial")
    }


def laid_out(records, work):
    """Give a work that takes something away what it takes; answers what must be said after each of its steps."""
    for name in trials(records):
        records.remove("part", name, "a killed program did not get so far")
    new = [
        [part := replace(PAD, name=f"trial {k}", material="coral 00"), *[replace(BATCH[k], part=part.name)] * 3]
        for k in range(TRIALS)
    ]
    if work == "removal":
        records.add([thing for things in new for thing in things])
        said = list(trials(records).items())
        return [dict(said[k:]) for k in range(TRIALS + 1)]
    newest = {}
    changes = (
        lambda: newest.update(number=records.add(new[0])[-1]),
        lambda: newest.update(number=records.correct_reading(newest["number"], replace(new[0][1], count=2), "typo")),
        lambda: records.add(new[1]),
        lambda: records.replace("trial 0", replace(new[0][0], material="amber 40A"), "mixed up"),
        lambda: records.remove("part", "trial 1", "torn"),
        lambda: records.remove_reading(newest["number"], "loose"),
    )
    said = [trials(records)]
    for change in changes[:TRIALS]:
        change()
        said.append(trials(records))
    return said[::-1]


def misled(said, there, confirmed):
    """What is lost and what is half of a work that takes away: after so many confirmed steps one more may be done."""
    if there in said[confirmed : confirmed + 2]:
        return "", ""
    words = f"after {confirmed} confirmed steps {there}"
    return (f"lost: {words}", "") if there in said else ("", f"half a step: {words}")


def mixed(bench, kills, server=None, seed=2):
    """Six kinds of work on one store that is never reset, each killed midway; then the server itself; answers rows."""
    global BATCH, ROWS, DRAWS
    BATCH, ROWS, DRAWS = BATCH[:100], 100, 60  # the store is looked through after every kill
    draw, times = random.Random(seed), {name: [] for name in MIXED}
    where = bench.fresh("filled")

    def kill_server(pid):
        with contextlib.suppress(ProcessLookupError):
            os.kill(int((server.folder / "data" / "postmaster.pid").read_text().split()[0]), signal.SIGKILL)

    rows = [(Row(bench.name, "mixed"), kills, None)]
    if server is not None:
        rows.append((Row(bench.name, "mixed, server killed"), SERVER_KILLS, kill_server))
    with tempfile.TemporaryDirectory() as folder:
        for name in MIXED * (1 if SMALL else 3):
            if name in ("removal", "undo"):
                with Records(where) as records:
                    laid_out(records, name)
            times[name].append(in_child(where, WORKS[name], folder)[0])
        for row, wanted, kill in rows:
            while row.inside < wanted and row.tries < 6 * wanted:
                name = draw.choice(MIXED)
                with Records(where) as records:
                    said = laid_out(records, name) if name in ("removal", "undo") else []
                    before = state(records)
                lasts = statistics.median(times[name][-9:])
                delay = draw.uniform(0.0, lasts)
                spent, confirmed, ended = in_child(
                    where, WORKS[name], folder, delay, **({"kill": kill} if kill else {})
                )
                if kill:
                    restarted(server)
                bench.settled(where)
                row.tries += 1
                row.inside += not ended
                if ended:
                    times[name].append(spent)
                else:
                    row.shares.append(delay / lasts)
                with Records(where) as records:
                    row.opened += 1
                    errors = [f"{f.what}: {f.says}" for f in records.check() if f.level == "error"]
                    after, there = state(records), trials(records)
                gone, wrong = lost(name, before, after, confirmed), half(name, before, after)
                if said:
                    gone, wrong = (a or b for a, b in zip((gone, wrong), misled(said, there, confirmed), strict=True))
                row.sound += not errors
                row.kept += not gone
                row.half += bool(wrong)
                row.faults += [f"{name}: {f}" for f in (*errors[:1], gone, wrong) if f]
            row.ms = round(1e3 * statistics.median([t for name in MIXED for t in times[name]]), 1)
    return [row for row, _, _ in rows]


def restarted(server):
    """Start a killed server again; its last processes may still hold its memory."""
    import psycopg

    for _ in range(20):
        try:
            server.sql("SELECT 1")
            return
        except psycopg.Error:
            time.sleep(0.5)
            with contextlib.suppress(RuntimeError):
                server.restart()


def clean(folder, work):
    for path in folder.iterdir():
        path.unlink()
    if work.file and work.file != "backup.sqlite":
        (folder / work.file).write_bytes(OLD)


def shown(rows):
    head = ("engine", "work", "takes ms", "runs", "killed inside", "at", "opened", "sound", "kept", "half-written")
    lines = [head]
    for r in rows:
        low, mid, high = np.percentile(r.shares, [5, 50, 95]) if r.shares else (0, 0, 0)
        spread = f"{low:.0%} {mid:.0%} {high:.0%}"
        lines.append((r.engine, r.work, r.ms, r.tries, r.inside, spread, r.opened, r.sound, r.kept, r.half))
    widths = [max(len(str(line[i])) for line in lines) + 2 for i in range(len(head))]
    for line in lines:
        cells = [
            str(cell).ljust(w) if i < 2 else str(cell).rjust(w)
            for i, (cell, w) in enumerate(zip(line, widths, strict=True))
        ]
        print("".join(cells).rstrip())
    for r in rows:
        for says in r.faults[:3]:
            print(f"{r.engine} {r.work}: {says}")


def main():
    reader = argparse.ArgumentParser()
    reader.add_argument("kills", type=int)
    reader.add_argument("--engine", choices=("sqlite", "postgresql"), help="this one alone")
    reader.add_argument("--server", help="folder of a running server")
    reader.add_argument("--json", action="store_true")
    reader.add_argument("--small", action="store_true", help="less of everything, for the test suite")
    reader.add_argument("--works", default=",".join(ALONE))
    reader.add_argument("--mixed", action="store_true", help="six works mixed on one store; the server killed too")
    given = reader.parse_args()
    works = tuple(given.works.split(","))
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        if given.engine != "postgresql":
            bench = Files(folder)
            rows += mixed(bench, given.kills) if given.mixed else table(bench, given.kills, works=works)
    if given.engine != "sqlite":
        from store.postgresql_server import Server, attached

        server = attached(given.server) if given.server else Server()
        try:
            bench = Databases(server)
            rows += mixed(bench, given.kills, server) if given.mixed else table(bench, given.kills, works=works)
        finally:
            if not given.server:
                server.stop()
    if given.json:
        print(json.dumps([vars(row) for row in rows]))
    else:
        print(f"{given.kills} kills inside each work; 'at': share of its time at the kill, 5th, 50th, 95th percentile")
        shown(rows)


if __name__ == "__main__":
    main()
