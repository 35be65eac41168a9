# ruff: noqa: E402 - the paths come first
"""Fill the disk, or take the right to write away, and look at what the commands say and leave.

    python tests/store/fault_table.py           prints the table; as root, to mount small file systems
    python tests/store/fault_table.py --mixed 400    six works mixed on one store never reset, a fault in each

Every command runs on a fresh store on a small file system with a given rest of room, or on one that may only be read.
It must end with exit code 0 and its work wholly done, or with exit code 1, one line on the error stream and nothing
done. Once there is room again the store must open, be sound and hold what it held; no half file may lie about.

Mixed, each command meets one fault at random: a full disk, Ctrl-C or an ended connection at a random moment, no
standard output, a full one, or nobody who reads it. What it said must be so: done once, or not at all, and all that
was there before still there.

Where no file system can be mounted, a limit on the size of files takes the place of the full disk (``--limit``).
"""

import argparse
import contextlib
import io
import json
import os
import random
import re
import resource
import select
import shutil
import signal
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
import traceback
import warnings
from dataclasses import dataclass, field
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[2]), str(Path(__file__).resolve().parents[1])]
warnings.filterwarnings("ignore", category=DeprecationWarning)  # forking is the point here

import importlib

from rights import ordinary
from store.old_stores import grow, server_store, sqlite_store

import matdb.curve.fit
from matdb.__main__ import main as main_of_matdb
from matdb.api import Store
from matdb.bench.readings import Resonance
from matdb.cli.run import run
from matdb.form import Pad, Part
from matdb.store import Records, revisions

for _name in (
    "alembic.command",
    "alembic.config",
    "matdb.store.backups",
    "matdb.store.checking",
    "matdb.store.undoing",
    "matdb.store.writer",
):
    importlib.import_module(_name)

SMALL = "--small" in sys.argv
HELD = 500
ROWS = 2000
#: Room that is left, bytes: none, less than a page more, a little, much of what is needed; and enough.
LEVELS = (0, 1 << 16) if SMALL else (0, 1 << 12, 1 << 14, 1 << 15, 1 << 16, 1 << 17, 1 << 18, 1 << 20, 1 << 24)
READ_ONLY = "read-only"


def words_of(work, where, folder):
    """The command line of a work."""
    return {
        "import": ["reading", "import", str(CSV)],
        "fit": ["fit", "amber"],
        "logging": ["reading", "add", "ring-down", "0042", "--temp", "0C", "--mass", "150g", "--frequency", "22Hz"],
        "correction": ["reading", "correct", "2", "--why", "typo", "--frequency", "22Hz"],
        **{f"upgrade {revision}": ["store", "info"] for revision in revisions.REVISIONS[:-1]},
        "backup": ["store", "backup", str(folder / "backup.sqlite")],
        "export json": ["export", "store", "--out", str(folder / "store.json")],
        "export csv": ["export", "readings", "--csv", str(folder / "readings.csv")],
    }[work] + ["--store", where]


WORKS = ("import", "fit", "logging", "correction", *(f"upgrade {r}" for r in revisions.REVISIONS[:-1]), "backup")
WORKS += ("export json", "export csv")
FILES = {"backup": "backup.sqlite", "export json": "store.json", "export csv": "readings.csv"}
CSV = Path(tempfile.gettempdir()) / f"matdb-faults-{os.getpid()}.csv"


def write_csv():
    rows = "".join(f"ring-down,0042,{-18 + i * 1e-3:.3f},150,{23.4 + i * 1e-4:.4f}\n" for i in range(ROWS))
    CSV.write_text("kind,part,temperature_c,mass_g,frequency_hz\n" + rows)


def said_in_child(words, folder, limit=None):
    """Run the command line in a child; answers its exit code and what it said on the error stream."""
    answer, tell = os.pipe()
    pid = os.fork()
    if pid == 0:
        os.close(answer)
        code = 99
        try:
            os.environ["MATDB_BACKUPS"] = str(folder / "kept")
            # Finding the fit takes seconds and writes nothing: the one in the store is kept once more.
            matdb.curve.fit.fit_curve = lambda material, *_, **__: CURVE
            if limit is not None:
                resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
            out, err = io.StringIO(), io.StringIO()
            with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
                code = run(words)
            os.write(tell, f"{code}\n{err.getvalue()}".encode())
        finally:
            os._exit(0)
    os.close(tell)
    told = b""
    while more := os.read(answer, 10000):
        told += more
    os.waitpid(pid, 0)
    os.close(answer)
    code, _, err = told.decode().partition("\n")
    return int(code or 99), err


# -- disks -----------------------------------------------------------------------------------------------------------


class SmallDisk:
    """A file system in memory of a few megabytes."""

    name = "disk full"

    def __init__(self, megabytes):
        self.folder = Path(tempfile.mkdtemp(prefix="matdb-disk-"))
        command = ["mount", "-t", "tmpfs", "-o", f"size={megabytes}m", "matdb-test", str(self.folder)]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        if done.returncode:
            self.folder.rmdir()
            raise PermissionError(done.stderr.strip())
        self.folder.chmod(0o777)

    def fill(self, rest):
        """Leave only so many bytes."""
        self.room()
        for _ in range(20):  # the server may write in between
            with contextlib.suppress(OSError), (self.folder / "ballast").open("wb") as file:
                free = os.statvfs(self.folder)
                size = free.f_bavail * free.f_frsize - rest
                return os.posix_fallocate(file.fileno(), 0, size) if size > 0 else None
        raise OSError(f"{self.folder} could not be filled")

    def limit(self, rest):
        return None

    def room(self):
        (self.folder / "ballast").unlink(missing_ok=True)

    def close(self):
        subprocess.run(["umount", "-l", str(self.folder)], check=False)
        self.folder.rmdir()


class Limited:
    """A folder in which files may not grow beyond a size: what can be done without the right to mount."""

    name = "file size limit"

    def __init__(self):
        self.folder = Path(tempfile.mkdtemp(prefix="matdb-disk-"))

    def fill(self, rest):
        pass

    def limit(self, rest):
        return rest

    def room(self):
        pass

    def close(self):
        shutil.rmtree(self.folder)


# -- stores ----------------------------------------------------------------------------------------------------------


def old_of(work):
    return work.rpartition(" ")[2] if work.startswith("upgrade") else revisions.HEAD


class Files:
    """SQLite stores, on the disk that fills up."""

    name = "SQLite"

    def __init__(self, scratch):
        self.templates = {}
        for revision in revisions.REVISIONS:
            self.templates[revision] = sqlite_store(revision, scratch / f"{revision}.sqlite")
            grow(self.templates[revision], HELD)

    def fresh(self, work, folder):
        return str(shutil.copy(self.templates[old_of(work)], folder / "store.sqlite"))

    def recover(self):
        pass

    def drop(self, where):
        pass


class Databases:
    """PostgreSQL stores on a server whose own disk fills up; files are written on it too."""

    name = "PostgreSQL"

    def __init__(self, server):
        self.server, self.templates = server, {}
        for revision in revisions.REVISIONS:
            self.templates[revision] = server_store(revision, server)
            grow(server.url(self.templates[revision]), HELD)

    def fresh(self, work, folder):
        name = self.server.database(self.templates[old_of(work)])
        self.server.sql("SELECT count(*) FROM reading", name)  # somebody was there before: the first one writes caches
        self.server.sql("CHECKPOINT")
        return self.server.url(name)

    def recover(self):
        """A server that had no room even for its log has stopped."""
        import psycopg

        try:
            self.server.sql("SELECT 1")
        except psycopg.Error:
            self.server.restart()

    def drop(self, where):
        self.server.sql(f"DROP DATABASE {where.partition('?')[0].rpartition('/')[2]} WITH (FORCE)")


def held_by(records):
    """How much of everything a store holds."""
    held = dict(records.counts())
    for name, table in {"published": "effective_stiffness", "links": "fit_reading", "replaced": "replaced"}.items():
        ((held[name],),) = records._reader.rows(f"SELECT count(*) FROM {table}")
    return held


def state(where):
    with Records(where) as records:
        held = held_by(records)
        errors = [f"{f.what}: {f.says}" for f in records.check() if f.level == "error"]
    return held, errors


#: What a work that was done adds, by table.
ADDS = {
    "import": {"readings": ROWS},
    "fit": {"fits": 1, "links": 503, "published": 1817},
    "logging": {"readings": 1},
    "correction": {"readings": 1, "retired readings": 1},
    # Of LOOSE with its two readings; what was taken back is in the history beside what was done to do so.
    "removal": {"parts": -1, "retired readings": 2, "replaced": 1},
    "undo": {"parts": -1, "retired readings": 2, "replaced": 2},
}


@dataclass
class Row:
    """One line of the table."""

    fault: str
    engine: str
    work: str
    tries: int = 0
    refused: int = 0
    done: int = 0
    opened: int = 0
    sound: int = 0
    kept: int = 0
    half: int = 0
    says: dict = field(default_factory=dict)
    faults: list = field(default_factory=list)


def look(row, work, where, folder, code, err, before, mark=""):
    """Look at what a command said and left, and count it in."""
    row.tries += 1
    row.refused += code == 1
    row.done += code == 0
    line = err.strip()
    if code == 1:
        said = line.replace(str(folder), "DISK")
        row.says.setdefault(re.sub(r"postgresql\S+:(?= )", "SERVER:", said), mark)
    notes = err.count("\n") if work.startswith("upgrade") and code == 0 else 0
    plain = err.count("\n") == notes if code == 0 else code == 1 and err.count("\n") == 1
    if not plain or "Traceback" in err or "unexpected" in err:
        row.faults.append(f"{mark} exit code {code}: {line[-500:]}")
    # A copy that an upgrade kept must be whole, whether the upgrade came about or not.
    for path in [*folder.glob("*.backup"), *folder.glob("kept/*")]:
        if ".part" in path.name or not whole_copy(path, old_of(work)):
            row.half += 1
            row.faults.append(f"{mark} half a copy: {path.name}")
    file = folder / FILES.get(work, "none")
    if code == 1 and file.exists():
        row.half += 1
        row.faults.append(f"{mark} left {file.name}")
    if code == 0 and work in FILES and not whole_file(file, before):
        row.half += 1
        row.faults.append(f"{mark} {file.name} is not whole")
    try:
        after, errors = state(where)
        row.opened += 1
    except Exception as error:
        row.faults.append(f"{mark} cannot be opened: {error}")
        return
    row.sound += not errors
    row.faults += errors[:1]
    adds = ADDS.get(work, {}) if code == 0 else {}
    if all(after[k] == before[k] + adds.get(k, 0) for k in before if not (work == "fit" and k == "published")):
        row.kept += 1
    else:
        row.faults.append(f"{mark} exit code {code}: {before} -> {after}")
    left = [p.name for p in folder.rglob("*") if ".part" in p.name or p.name.startswith(".")]
    if left:
        row.half += 1
        row.faults.append(f"{mark} left {left}")


def whole_copy(path, revision):
    try:
        with contextlib.closing(sqlite3.connect(path)) as connection:
            return (
                connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
                and connection.execute("SELECT version_num FROM alembic_version").fetchone() == (revision,)
                and connection.execute("SELECT count(*) FROM reading").fetchone() == (HELD + 4,)
            )
    except sqlite3.Error:
        return False


def whole_file(path, before):
    if path.suffix == ".sqlite":
        held, errors = state(path)
        return held == before and not errors
    text = path.read_text(encoding="utf-8")
    if path.suffix == ".json":
        return len(json.loads(text)["readings"]) == before["readings"]
    return text.count("\n") == before["readings"] - before["retired readings"] + 1


def clean(folder):
    for path in folder.iterdir():
        if path.name in ("data", "wal"):
            continue
        shutil.rmtree(path) if path.is_dir() else path.unlink()


def full_disk(bench, disk, folder, name, works, levels):
    """Every work at every level on a disk that fills up."""
    for work in works:
        row = Row(name, bench.name, work)
        for level in levels:
            disk.room()
            clean(folder)
            where = bench.fresh(work, folder)
            before = BEFORE[old_of(work)]
            disk.fill(level)
            code, err = said_in_child(words_of(work, where, folder), folder, disk.limit(level))
            disk.room()
            bench.recover()
            look(row, work, where, folder, code, err, before, f"{level >> 10} kB:")
            bench.drop(where)
        yield row


# -- faults of every kind, mixed on one store -------------------------------------------------------------------------

MIXED = ("import", "fit", "logging", "correction", "removal", "undo")
MIXED_ROWS = 40
UNREAD = ("stdout closed", "stdout full", "reader gone")
#: The exit codes that each fault may end in; a program that ends by Ctrl-C is ended by the signal, or says that it was.
CODES = {
    "disk full": (0, 1),
    "Ctrl-C": (0, 130, -signal.SIGINT),
    "connection ended": (0, 1),
    **dict.fromkeys(UNREAD, (1,)),
}


def told_by_child(words, fault, delay, harm):
    """Run the command line in a child as a shell does; answers exit code, what it said on the error stream, seconds."""
    answer, tell = os.pipe()
    unread, gone = os.pipe()
    os.close(unread)
    started = time.perf_counter()
    # Not while Python itself is busy with the fork.
    signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    pid = os.fork()
    if pid == 0:
        code = 99
        try:
            signal.signal(signal.SIGINT, signal.default_int_handler)
            signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})
            os.close(answer)
            os.dup2(tell, 2)
            os.dup2({"stdout full": os.open("/dev/full", os.O_WRONLY), "reader gone": gone}.get(fault, tell), 1)
            sys.stdout, sys.stderr = open(1, "w"), open(2, "w")  # noqa: SIM115
            if fault == "stdout closed":
                sys.stdout.close()
                sys.stdout = None
            elif fault not in UNREAD:
                sys.stdout = open(os.devnull, "w")  # noqa: SIM115
            matdb.curve.fit.fit_curve = lambda material, *_, **__: CURVE
            sys.argv = ["matdb", *words]
            code = main_of_matdb()
        except KeyboardInterrupt:  # before the program began
            code = 130
        except BaseException:
            traceback.print_exc()
        finally:
            os._exit(code)
    signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})
    os.close(tell)
    os.close(gone)
    said, until = b"", None if delay is None else started + delay
    while True:
        if not select.select([answer], [], [], until and max(until - time.perf_counter(), 0.0))[0]:
            harm(pid)
            until = None
        elif more := os.read(answer, 10000):
            said += more
        else:
            break
    code = os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
    os.close(answer)
    return code, said.decode(), time.perf_counter() - started


#: A part that is made to be removed, or for its making to be taken back, and is gone before the next work.
LOOSE = Part(name="loose", material="amber", form=Pad(diameter_mm=10, height_mm=5))


def loosen(where, work):
    """Remove what a work that failed left, and lay out what the next one takes away; answers what the store holds."""
    with Records(where) as records:
        if LOOSE in records.parts():
            records.remove("part", LOOSE.name, "left over")
        if work in ("removal", "undo"):
            records.add([LOOSE, *[Resonance(part="loose", temperature_c=0, mass_kg=0.5, frequency_hz=25)] * 2])
        return held_by(records)


def mixed_words(work, where, turn, folder):
    """The command line of a work that differs from every other turn's."""
    at = -20 + turn * 0.01
    if work == "import":
        rows = "".join(f"ring-down,0042,{at:.2f},150,{23 + i * 1e-3:.3f}\n" for i in range(MIXED_ROWS))
        (folder / "rows.csv").write_text("kind,part,temperature_c,mass_g,frequency_hz\n" + rows)
        return ["reading", "import", str(folder / "rows.csv"), "--store", where]
    if work == "fit":
        return ["fit", "amber", "--store", where]
    if work == "removal":
        return ["part", "remove", LOOSE.name, "--why", "torn", "--store", where]
    if work == "undo":
        return ["undo", "--yes", "--store", where]
    if work == "logging":
        words = ["reading", "add", "ring-down", "0042", "--temp", f"{at:.2f}C", "--mass", "150g"]
        return [*words, "--frequency", "22Hz", "--store", where]
    with Records(where) as records:
        newest = records._reader.rows("SELECT max(id) FROM reading WHERE kind = 'ring-down' AND retired_at IS NULL")
    return ["reading", "correct", str(newest[0][0]), "--why", "typo", "--temp", f"{at:.2f}C", "--store", where]


def mixed_adds(work, before):
    """What a work that was done adds to the store as it was."""
    if work == "import":
        return {"readings": MIXED_ROWS}
    if work == "fit":
        return {"fits": 1, "links": before["readings"] - before["retired readings"]}
    return ADDS[work]


def mixed(bench, disk, tries, seed=3):
    """Six works on one store that is never reset, each under a fault drawn for it; answers a row per fault."""
    draw, times, lasts = random.Random(seed), {work: [] for work in MIXED}, 0.0
    faults = [fault for fault in CODES if bench.name != "SQLite" or fault != "connection ended"]
    rows = {fault: Row(fault, bench.name, "mixed") for fault in ("none", *faults)}
    scratch = Path(tempfile.mkdtemp(prefix="matdb-mixed-"))
    where = bench.fresh("import", disk.folder)
    tables = {state(where)[0]["published"]}

    def interrupt(pid):
        with contextlib.suppress(ProcessLookupError):
            os.kill(pid, signal.SIGINT)

    def end_connection(pid):
        name = where.partition("?")[0].rpartition("/")[2]
        bench.server.sql(f"SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '{name}'")

    harms = {"Ctrl-C": interrupt, "connection ended": end_connection}
    for turn in range(tries + 2 * len(MIXED)):
        unharmed = turn < 2 * len(MIXED)
        fault = "none" if unharmed else draw.choices(faults, [1 if each in UNREAD else 3 for each in faults])[0]
        work = MIXED[turn % len(MIXED)] if fault == "none" else draw.choice(MIXED)
        words, row = mixed_words(work, where, turn, scratch), rows[fault]
        before = loosen(where, work)
        lasts = statistics.median(times[work][-9:] or [0.0])
        delay = draw.uniform(0.0, lasts) if fault in harms else None
        if fault == "disk full":
            disk.fill(draw.choice(LEVELS[:6]))
        code, err, spent = told_by_child(words, fault, delay, harms.get(fault))
        disk.room()
        bench.recover()
        if fault == "none":
            times[work].append(spent)
        judged(row, work, fault, where, code, err, before, tables)
    bench.drop(where)
    shutil.rmtree(scratch)
    return list(rows.values())


def judged(row, work, fault, where, code, err, before, tables):
    """Look at what a command said and left, and count it in.

    ``tables`` are the sizes that the published table of one fit has.
    """
    row.tries += 1
    row.refused += code != 0
    row.done += code == 0
    if err:
        row.says.setdefault(re.sub(r"\S*(/|SERVER)\S+", "STORE", err.strip()), f"{work}:")
    lines = int((code == 1 and fault != "reader gone") or code == 130)
    if code not in CODES.get(fault, (0,)) or err.count("\n") > lines or "Traceback" in err or "unexpected" in err:
        row.faults.append(f"{work}: exit code {code}: {err.strip()[-500:]}")
    try:
        after, errors = state(where)
    except Exception as error:
        row.faults.append(f"{work}: cannot be opened: {error}")
        return
    row.opened += 1
    row.sound += not errors
    row.faults += errors[:1]
    adds = mixed_adds(work, before)
    grown = {k: after[k] - before[k] for k in before if k != "published" and after[k] != before[k]}
    if fault == "none":
        tables.add(after["published"])
    if after["published"] not in tables or grown not in ({}, adds):
        row.half += 1
        row.faults.append(f"{work}: half of it is there: {before} -> {after}")
    told = code == 0 or (fault in UNREAD and code == 1)
    if (told and grown != adds) or (grown != adds and min(grown.values(), default=0) < 0):
        row.faults.append(f"{work}: lost: exit code {code}, {before} -> {after}")
    else:
        row.kept += 1


# -- no right to write -----------------------------------------------------------------------------------------------

MODES = {"file 444": (0o755, 0o444), "folder 555": (0o555, 0o644), "both": (0o555, 0o444)}
if SMALL:
    del MODES["file 444"]
READS = ("backup", "export json", "export csv")


def read_only_files(bench, works):
    """Every work as an ordinary user on a file that may not be written, in a folder that may not; files too."""
    for work in works:
        row = Row(READ_ONLY, bench.name, work)
        for mark, (folder_mode, file_mode) in MODES.items():
            with tempfile.TemporaryDirectory() as shelf:
                shut, free = Path(shelf) / "shut", Path(shelf) / "free"
                shut.mkdir()
                free.mkdir()
                where = bench.fresh(work, shut)
                os.chmod(where, file_mode)
                shut.chmod(folder_mode)
                # What reads the store is let write elsewhere, and once more tries to write beside it.
                for target in [free, shut] if work in READS else [shut]:
                    command = [sys.executable, "-m", "matdb", *words_of(work, where, target)]
                    environment = os.environ | {"PYTHONPATH": str(Path(__file__).resolve().parents[2])}
                    done = subprocess.run(
                        ordinary(command), capture_output=True, text=True, check=False, env=environment
                    )
                    shut.chmod(0o755)
                    os.chmod(where, 0o644)
                    expected = int(target == shut and (work not in READS or folder_mode == 0o555))
                    if done.returncode != expected:
                        row.faults.append(f"{mark}: exit code {done.returncode}: {done.stderr}")
                    before = BEFORE[old_of(work)]
                    look(row, work, where, target, done.returncode, done.stderr, before, f"{mark}:")
                    if work in READS:
                        where = bench.fresh(work, shut)
                        os.chmod(where, file_mode)
                        shut.chmod(folder_mode)
                shut.chmod(0o755)
        yield row


def read_only_databases(bench, works):
    """Every work as a role that may only read, and on a server that takes no writes."""
    server = bench.server
    server.sql("CREATE ROLE reader LOGIN")
    for work in works:
        row = Row(READ_ONLY, bench.name, work)
        for mark in ("reader role", "default_transaction_read_only"):
            with tempfile.TemporaryDirectory() as folder:
                where = bench.fresh(work, Path(folder))
                name = where.partition("?")[0].rpartition("/")[2]
                if mark == "reader role":
                    server.sql("GRANT SELECT ON ALL TABLES IN SCHEMA public TO reader", name)
                    asked = server.url(name, "reader")
                else:
                    server.sql(f"ALTER DATABASE {name} SET default_transaction_read_only = on")
                    asked = where
                code, err = said_in_child(words_of(work, asked, Path(folder)), Path(folder))
                if code != int(work not in READS):
                    row.faults.append(f"{mark}: exit code {code}: {err}")
                server.sql(f"ALTER DATABASE {name} RESET default_transaction_read_only")
                look(row, work, where, Path(folder), code, err, BEFORE[old_of(work)], f"{mark}:")
                bench.drop(where)
        yield row


def prepare(scratch, bench, given):
    """Learn what a store holds before anything is done, and the curve that a fit will keep."""
    global CURVE
    write_csv()
    if not given.mixed:  # Ctrl-C is to come while a command is still being loaded too
        # What every command loads is loaded once, before the children part from here.
        for words in (words_of("logging", str(scratch / "none" / "there.sqlite"), scratch), ["--help"]):
            with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
                run(words)
    os.environ["MATDB_BACKUPS"] = str(scratch / "kept before")
    for revision in revisions.REVISIONS:
        work = f"upgrade {revision}"
        where = bench.fresh(work, scratch)
        BEFORE[revision], errors = state(where)
        assert not errors
        with Store(Records(where)) as store:
            CURVE = store.curve("amber")
        bench.drop(where)


BEFORE = {}
CURVE = None


def shown(rows):
    head = ("fault", "engine", "work", "tries", "refused", "done", "opened", "sound", "kept", "half-written", "faults")
    lines = [head]
    for r in rows:
        numbers = (r.tries, r.refused, r.done, r.opened, r.sound, r.kept, r.half, len(r.faults))
        lines.append((r.fault, r.engine, r.work, *map(str, numbers)))
    widths = [max(len(line[i]) for line in lines) + 2 for i in range(len(head))]
    for line in lines:
        cells = zip(line, widths, strict=True)
        print("".join(c.rjust(w) if i > 2 else c.ljust(w) for i, (c, w) in enumerate(cells)).rstrip())
    for r in rows:
        for says in r.faults[:3]:
            print(f"FAULT {r.fault}, {r.engine} {r.work}: {says}")
    for r in rows:
        for says, mark in r.says.items():
            print(f"{r.fault}, {r.engine} {r.work}, {mark} {says}")


def main():
    global CURVE
    reader = argparse.ArgumentParser()
    reader.add_argument("--engine", choices=("sqlite", "postgresql"), help="this one alone")
    reader.add_argument("--limit", action="store_true", help="a limit on the size of files instead of a full disk")
    reader.add_argument("--small", action="store_true", help="fewer levels, for the test suite")
    reader.add_argument("--skip", choices=("full", "read-only"), help="without this one")
    reader.add_argument("--json", action="store_true")
    reader.add_argument("--mixed", type=int, metavar="TRIES", help="six works mixed on one store that is never reset")
    reader.add_argument("--works", default=",".join(WORKS))
    given = reader.parse_args()
    works = tuple(given.works.split(","))
    rows = []
    try:
        with tempfile.TemporaryDirectory() as scratch:
            if given.engine != "postgresql":
                rows += on_files(Path(scratch), works, given)
            if given.engine != "sqlite":
                rows += on_server(Path(scratch), works, given)
    finally:
        CSV.unlink(missing_ok=True)
    if given.json:
        print(json.dumps([vars(row) for row in rows]))
    else:
        shown(rows)


def on_files(scratch, works, given):
    bench = Files(scratch)
    prepare(scratch, bench, given)
    rows = []
    if given.mixed:
        disk = SmallDisk(120)
        try:
            return mixed(bench, disk, given.mixed)
        finally:
            disk.close()
    if given.skip != "full":
        disk = Limited() if given.limit else SmallDisk(40)
        try:
            rows += full_disk(bench, disk, disk.folder, disk.name, works, LEVELS)
        finally:
            disk.close()
    if given.skip != "read-only":
        rows += read_only_files(bench, works)
    return rows


def on_server(scratch, works, given):
    from store.postgresql_server import Server

    rows = []
    disk, mine = SmallDisk(160), SmallDisk(40)
    try:
        faults = [("server's disk full", lambda: Path(tempfile.mkdtemp()) / "wal"), ("and its log's", lambda: None)]
        for name, wal in faults if not SMALL else faults[:1]:
            log = wal()
            server = Server(disk.folder / "data", log)
            try:
                bench = Databases(server)
                prepare(scratch, bench, given)
                if given.mixed:
                    rows += mixed(bench, disk, given.mixed) if log is None or SMALL else []
                    continue
                if given.skip != "full":
                    rows += full_disk(bench, disk, mine.folder, name, works, LEVELS)
                if given.skip != "read-only" and log is not None:
                    rows += read_only_databases(bench, works)
                if given.skip != "full" and log is not None:
                    files = tuple(w for w in works if w in FILES or w.startswith("upgrade"))
                    rows += full_disk(bench, mine, mine.folder, "own disk full", files, LEVELS)
            finally:
                server.stop()
                disk.room()
                shutil.rmtree(disk.folder / "data")
                if log is not None:
                    shutil.rmtree(log.parent)
    finally:
        disk.close()
        mine.close()
    return rows


if __name__ == "__main__":
    main()
