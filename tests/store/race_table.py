# ruff: noqa: E402 - the paths come first
"""Let every two writing operations run against each other and look at what they leave.

    python tests/store/race_table.py 200        prints the table, SQLite and PostgreSQL

Two programs hold a store open; in every round both are let go at once, one operation each. After each round all that
was confirmed must be there once, the history of every record complete, every reading of its part's material, and a
material's tabulated stiffness there from one fit alone; after the last ``store check`` must find nothing.
"""

import argparse
import json
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

from store.sample_records import fill

import matdb.store.writer  # noqa: F401 - before the forks
from matdb.bench.readings import RingDown
from matdb.errors import AlreadyExists, InputError
from matdb.material.record import Material
from matdb.store import FitRecord, Records

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
    records.replace("007", replace(part, material=other, note=note), note)


def edit(records, note):
    records.replace("amber 40A", replace(records.material("amber 40A"), note=note), note)


def remount(records, note):
    records.replace("nose", replace(records.mounting("nose"), note=note), note)


def rows():
    return [("pad 10x5", "axial", float(i), None, 0.5, *[2.0] * 7, "readings", 0) for i in range(PUBLISHED)]


def fit(records, note):
    used = tuple(r.id for r in records.readings(part="pad 10x5"))[:1]
    records.save_fit(FitRecord(material="amber 40A", program_version=note, reading_ids=used), rows())


def publish(records, note):
    newest = records.newest_fit("amber 40A")
    records.publish("amber 40A", newest.id if newest else None, rows())


def name(records, note):
    """Both take the same name."""
    records.add(Material(name=note.partition(" ")[0]))


WORKS = (log, correct, remove, move, edit, remount, fit, publish, name)
#: Of what the winner alone may do: a reading that was retired, a name that is taken.
REFUSED = (InputError, AlreadyExists)


def program(where, gate, orders, told):
    """One of the two programs: works as ordered, round after round."""
    with Records(where) as records:
        while (order := orders.get()) is not None:
            work, note = order
            gate.wait()
            try:
                globals()[work](records, note)
                told.put((work, note, ""))
            except REFUSED as error:
                told.put((work, note, type(error).__name__))
            except Exception as error:
                told.put((work, note, f"! {type(error).__name__}: {error}"))


def faults_of(ask, done):
    """What the confirmed works left that they must not have left."""
    found = []

    def once(what, sql, *works):
        there = sorted(str(row[0]) for row in ask(sql))
        wanted = sorted(note for work, note in done if work in works)
        if there != wanted:
            missing, double = set(wanted) - set(there), {n for n in there if there.count(n) > wanted.count(n)}
            found.append(f"{what}: {len(missing)} missing, {len(double)} too often")

    mine = "note LIKE '% %' AND "
    logged = sorted(n for work, note in done if work == "log" for n in [note] * 3)
    there = sorted(row[0] for row in ask(f"SELECT note FROM reading WHERE {mine}corrects_id IS NULL"))
    if logged != there:
        found.append(f"{len(there)} readings for {len(logged)} logged")
    once("corrected", "SELECT note FROM reading WHERE corrects_id IS NOT NULL", "correct")
    once("fits", "SELECT program_version FROM fit", "fit")
    once("replaced", "SELECT why FROM replaced", "move", "edit", "remount")
    for what, changed in (("part", "move"), ("material", "edit")):
        said = [
            json.loads(b)["note"] if isinstance(b, str) else b["note"]
            for (b,) in ask(f"SELECT before FROM replaced WHERE what = '{what}' AND record_id = 1 ORDER BY id")
        ]
        said += [row[0] for row in ask(f"SELECT note FROM {what} WHERE id = 1")]
        wanted = [note for work, note in done if work == changed]
        if sorted(said[1:]) != sorted(wanted):
            found.append(f"{len(set(wanted) - set(said))} definitions of the {what} in no history")
    ((count,),) = ask(
        "SELECT count(*) FROM reading r JOIN part p ON p.id = r.part_id WHERE p.material_id <> r.material_id"
    )
    if count:
        found.append(f"{count} readings of another material than their part")
    sets = ask("SELECT fit_id, count(*) FROM effective_stiffness GROUP BY fit_id")
    if sets and [n for _, n in sets] != [PUBLISHED]:
        found.append(f"published sets {sets}")
    return found


def race(where, pair, rounds):
    """One pair of works, ``rounds`` times; answers confirmed, refused, and the faults."""
    with Records(where) as records:
        fill(records)
        records.add_readings([ring_down("spare")] * (2 * rounds + 10))  # for those who remove
    context = multiprocessing.get_context("fork")
    gate, told = context.Barrier(2), context.Queue()
    orders = [context.Queue(), context.Queue()]
    programs = [context.Process(target=program, args=(where, gate, each, told)) for each in orders]
    for each in programs:
        each.start()
    done, refused, faults = [], 0, []
    try:
        with Records(where) as records:
            for turn in range(rounds):
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
                faults += faults_of(records._reader.rows, done)
                if len(faults) > 20:
                    break
            faults += [f"{f.what}: {f.says}" for f in records.check() if f.level == "error" or "twice" in f.says]
    finally:
        for queue in orders:
            queue.put(None)
        for each in programs:
            each.join(20)
            each.kill()
    return len(done), refused, faults


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
