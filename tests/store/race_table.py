# ruff: noqa: E402 - the paths come first
"""Let every two writing operations run against each other and look at what they leave.

    python tests/store/race_table.py 200        prints the table, SQLite and PostgreSQL

Two programs hold a store open; in every round both are let go at once, one operation each. After each round all that
was confirmed must be there once, the history of every record complete, every reading of its part's material, and a
material's tabulated stiffness there from one fit alone; after the last ``store check`` must find nothing. What was
confirmed, done again from the beginning in the order of its times, must give what the store says now, and every undo
must have taken back the newest change that was left.
"""

import argparse
import datetime as dt
import multiprocessing
import sys
import tempfile
import time
import warnings
from dataclasses import replace
from itertools import combinations_with_replacement
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[2]), str(Path(__file__).resolve().parents[1])]
warnings.filterwarnings("ignore", category=DeprecationWarning)  # forking is the point here

from store.sample_records import RING, fill

import matdb.store.undoing
import matdb.store.writer  # noqa: F401 - before the forks
from matdb.bench.readings import RingDown
from matdb.errors import AlreadyExists, InputError, NotFound
from matdb.material.record import Material
from matdb.store import FitRecord, Records
from matdb.store.rows import as_json, as_time

PUBLISHED = 40


def ring_down(note):
    return RingDown(part="007", temperature_c=20, mass_kg=1, frequency_hz=9, note=note)


def log(records, note):
    records.add_readings([ring_down(note)] * 3)


def correct(records, note):
    records.correct_reading(records.readings(part="007")[-1].id, ring_down(note), note)


def remove(records, note):
    records.remove_reading(records.readings(part="007")[-1].id, note)


def move(records, note):
    """Give the part to the other material."""
    part = records.part("007")
    other = {"amber 40A": "coral 00", "coral 00": "amber 40A"}[part.material]
    note = f"{note} to {other}"
    records.replace("007", replace(part, material=other, note=note), note)
    return note


def edit(records, note):
    records.replace("amber 40A", replace(records.material("amber 40A"), note=note), note)


def remount(records, note):
    records.replace("nose", replace(records.mounting("nose"), note=note), note)


def rows():
    return [("pad 10x5", "axial", float(i), None, 0.5, *[2.0] * 10, "readings", 0) for i in range(PUBLISHED)]


def fit(records, note):
    used = tuple(r.id for r in records.readings(part="pad 10x5"))[:1]
    records.save_fit(FitRecord(material="amber 40A", program_version=note, reading_ids=used), rows())


def publish(records, note):
    newest = records.newest_fit("amber 40A")
    records.publish("amber 40A", newest.id if newest else None, rows())


def name(records, note):
    """Both take the same name."""
    records.add(Material(name=note.partition(" ")[0] + "."))


def discard(records, note):
    """Take the part away, with all readings on it."""
    records.remove("part", "007", note)


def renew(records, note):
    """Make the part anew, where it was taken away."""
    records.add([replace(RING, note=note), *[ring_down(note)] * 2])


def undo(records, note):
    """What is noted is the time of the change that was taken back."""
    return records.undo()[0].isoformat()


WORKS = (log, correct, remove, move, edit, remount, fit, publish, name, discard, undo)
#: Of what the winner alone may do: a reading that was retired, a name that is taken, a part that is gone.
REFUSED = (InputError, AlreadyExists, NotFound, IndexError)


def program(where, gate, orders, told):
    """One of the two programs: works as ordered, round after round."""
    with Records(where) as records:
        while (order := orders.get()) is not None:
            work, note = order
            gate.wait()
            try:
                said = globals()[work](records, note)
                told.put((work, said or note, ""))
            except REFUSED as error:
                told.put((work, note, type(error).__name__))
            except Exception as error:
                told.put((work, note, f"! {type(error).__name__}: {error}"))


def faults_of(ask, done, base=("",) * 3, asked=None):
    """What the confirmed works left that they must not have left.

    ``base`` are the notes of the part's readings before the works; ``asked`` remembers what never changes.
    """
    found, asked = [], {} if asked is None else asked

    def fixed(sql, note):
        if (sql, note) not in asked:
            asked[sql, note] = next(iter(ask(sql, (note,))), (None,))[0]
        return asked[sql, note]

    def once(what, sql, *works):
        there = sorted(str(row[0]) for row in ask(sql))
        wanted = sorted(note for work, note in done if work in works)
        if there != wanted:
            missing, double = set(wanted) - set(there), {n for n in there if there.count(n) > wanted.count(n)}
            found.append(f"{what}: {len(missing)} missing, {len(double)} too often")

    mine = "note LIKE '% %' AND "
    logged = sorted(n for work, note in done if work in LOGGED for n in [note] * LOGGED[work])
    there = sorted(row[0] for row in ask(f"SELECT note FROM reading WHERE {mine}corrects_id IS NULL"))
    if logged != there:
        found.append(f"{len(there)} readings for {len(logged)} logged")
    undone = "IN (SELECT replaced_at FROM replaced WHERE what = 'undo')"
    once("corrected", f"SELECT note FROM reading WHERE corrects_id IS NOT NULL AND NOT logged_at {undone}", "correct")
    once("fits", "SELECT program_version FROM fit", "fit")
    replaced = f"SELECT replace(why, 'removed: ', '') FROM replaced WHERE NOT replaced_at {undone}"
    once("replaced", replaced, "move", "edit", "remount", "discard")
    for what, changed in (("part", "move"), ("material", "edit")):
        said = {as_json(b)["note"] for (b,) in ask(f"SELECT before FROM replaced WHERE what = '{what}'")}
        said |= {row[0] for row in ask(f"SELECT note FROM {what}")}
        lost = {note for work, note in done if work == changed} - said
        if lost:
            found.append(f"{len(lost)} definitions of the {what} in no history")
    ((count,),) = ask(
        "SELECT count(*) FROM reading r JOIN part p ON p.id = r.part_id WHERE p.material_id <> r.material_id"
    )
    if count:
        found.append(f"{count} readings of another material than their part")
    sets = ask("SELECT fit_id, count(*) FROM effective_stiffness GROUP BY fit_id")
    if sets and [n for _, n in sets] != [PUBLISHED]:
        found.append(f"published sets {sets}")
    return found + replayed(ask, fixed, done, base)


UNDONE = "SELECT replaced_at, before FROM replaced WHERE what = 'undo'"
#: How many readings a work logs.
LOGGED = {"log": 3, "renew": 2}
#: When a work was done, by its note; of a reading its first one, for a later undo may log the same again.
TIMES = {
    **dict.fromkeys(("log", "correct", "renew"), "SELECT logged_at FROM reading WHERE note = ? ORDER BY id LIMIT 1"),
    "remove": "SELECT retired_at FROM reading WHERE retired_why = 'removed: ' || ?",
    **dict.fromkeys(("move", "edit", "remount"), "SELECT replaced_at FROM replaced WHERE why = ?"),
    "discard": "SELECT replaced_at FROM replaced WHERE why = 'removed: ' || ?",
    "name": "SELECT added_at FROM material WHERE replace(name, ?, '') <> name ORDER BY id",
}
#: What the reading said whose place another took, and what one said that was removed.
OLD = {
    "correct": "SELECT o.note FROM reading n JOIN reading o ON o.id = n.corrects_id WHERE n.note = ? ORDER BY n.id",
    "remove": "SELECT note FROM reading WHERE retired_why = 'removed: ' || ?",
}


def replayed(ask, fixed, done, base):
    """What the store says that it would not, had the confirmed works been done one after another, by their times."""
    found = []
    taken_back = {as_time(at): as_json(before)["made_at"] for at, before in ask(UNDONE)}
    if sorted(taken_back.values()) != sorted(note for work, note in done if work == "undo"):
        found.append("an undo that was confirmed is in no history, or one in the history was not confirmed")
    steps = [(at, "undo", made_at) for at, made_at in taken_back.items()]
    for work, note in done:
        if work in TIMES:
            said = note.partition(" ")[0] + "." if work == "name" else note
            steps.append((as_time(fixed(TIMES[work], said)), work, said))
    if any(at is None for at, _, _ in steps):
        return [*found, "a confirmed work has no time"]
    if len({at for at, _, _ in steps}) < len(steps):
        found.append("two changes at one time")
    left = []
    for at, work, note in sorted(steps):
        if work != "undo":
            left.append((at, work, note))
        elif not left or left[-1][0] != dt.datetime.fromisoformat(note):
            return [*found, f"took back the change of {note}, not the newest one"]
        else:
            left.pop()
    readings, material, notes = list(base), "amber 40A", {"part": "", "material": "", "mounting": ""}
    names = set()
    for _, work, note in left:
        if work in OLD:
            readings.remove(fixed(OLD[work], note))
        if work == "discard":
            readings, notes["part"] = [], None
        elif work in ("move", "renew"):
            material, notes["part"] = note.partition(" to ")[2] or "amber 40A", note
        elif work in ("edit", "remount"):
            notes["material" if work == "edit" else "mounting"] = note
        elif work == "name":
            names.add(note)
        readings += [note] * LOGGED.get(work, int(work == "correct"))
    wanted = {"readings": sorted(readings), "names": sorted(names), **notes}
    wanted["part's material"] = material if notes["part"] is not None else None
    of_part = "FROM part p JOIN material m ON m.id = p.material_id WHERE p.name = '007'"
    ((part, made_of),) = ask(f"SELECT p.note, m.name {of_part}") or [(None, None)]
    counting = "JOIN part p ON p.id = r.part_id WHERE p.name = '007' AND r.retired_at IS NULL"
    there = {
        "readings": sorted(row[0] for row in ask(f"SELECT r.note FROM reading r {counting}")),
        "names": sorted(n for (n,) in ask("SELECT name FROM material WHERE name LIKE 'round%'") if "removed" not in n),
        "part": part,
        "material": ask("SELECT note FROM material WHERE name = 'amber 40A'")[0][0],
        "mounting": as_json(ask("SELECT definition FROM mounting WHERE name = 'nose'")[0][0]).get("note", ""),
        "part's material": made_of,
    }
    return found + [
        f"{what}: {there[what]!r}, not {wanted[what]!r}"[:300] for what in wanted if there[what] != wanted[what]
    ]


def race(where, pair, rounds):
    """One pair of works, ``rounds`` times; answers confirmed, refused, and the faults."""
    with Records(where) as records:
        fill(records)
        records.add_readings([ring_down("spare")] * (2 * rounds + 10))  # for those who remove
        done = [("edit", f"before {k}") for k in range(2 * rounds * (undo in pair))]  # for those who undo
        for _, note in done:
            edit(records, note)
        base = [each.reading.note for each in records.readings(part="007")]
    context = multiprocessing.get_context("fork")
    gate, told = context.Barrier(2), context.Queue()
    orders = [context.Queue(), context.Queue()]
    programs = [context.Process(target=program, args=(where, gate, each, told)) for each in orders]
    for each in programs:
        each.start()
    made, refused, faults, asked = len(done), 0, [], {}
    try:
        with Records(where) as records:
            for turn in range(rounds):
                if not records._reader.rows("SELECT 1 FROM part WHERE name = '007'"):
                    renew(records, f"round{turn} new")
                    done.append(("renew", f"round{turn} new"))
                    made += 1
                for who, (queue, work) in enumerate(zip(orders, pair, strict=True)):
                    queue.put((work.__name__, f"round{turn} {who}"))
                for _ in pair:
                    work, note, error = told.get(timeout=120)
                    if error.startswith("!"):
                        faults.append(error)
                    elif error:
                        refused += 1
                    else:
                        done.append((work, note))
                faults += faults_of(records._reader.rows, done, base, asked)
                if len(faults) > 20:
                    break
            faults += [f"{f.what}: {f.says}" for f in records.check() if f.level == "error" or "twice" in f.says]
    finally:
        for queue in orders:
            queue.put(None)
        for each in programs:
            each.join(20)
            each.kill()
    return len(done) - made, refused, faults


def fresh_files(scratch):
    made = 0
    while True:
        made += 1
        yield str(Path(scratch) / f"{made}.sqlite")


def fresh_databases(server):
    while True:
        yield server.url(server.database())


def table(engine, stores, rounds, works=WORKS):
    """A row for every pair."""
    for pair in combinations_with_replacement(works, 2):
        started = time.perf_counter()
        done, refused, faults = race(next(stores), pair, rounds)
        names = " | ".join(work.__name__ for work in pair)
        yield {
            "engine": engine,
            "pair": names,
            "confirmed": done,
            "refused": refused,
            "faults": faults,
            "ms a round": round(1e3 * (time.perf_counter() - started) / rounds, 1),
        }


def main():
    reader = argparse.ArgumentParser()
    reader.add_argument("rounds", type=int)
    reader.add_argument("--engine", choices=("sqlite", "postgresql"), help="this one alone")
    reader.add_argument("--works", default=",".join(work.__name__ for work in WORKS))
    given = reader.parse_args()
    works = [globals()[work] for work in given.works.split(",")]
    bad = pairs = 0

    def say(rows):
        nonlocal bad, pairs
        for row in rows:
            bad, pairs = bad + len(row["faults"]), pairs + 1
            print(
                f"{row['engine']:<12}{row['pair']:<22}{row['confirmed']:>6} confirmed {row['refused']:>5} refused "
                f"{len(row['faults']):>4} faults {row['ms a round']:>8} ms a round {row['faults'][:2] or ''}",
                flush=True,
            )

    if given.engine != "postgresql":
        with tempfile.TemporaryDirectory() as scratch:
            say(table("SQLite", fresh_files(scratch), given.rounds, works))
    if given.engine != "sqlite":
        from store.postgresql_server import Server

        server = Server()
        try:
            say(table("PostgreSQL", fresh_databases(server), given.rounds, works))
        finally:
            server.stop()
    print(f"{pairs} pairs, {given.rounds} rounds each, {bad} faults")
    return bool(bad)


if __name__ == "__main__":
    sys.exit(main())
