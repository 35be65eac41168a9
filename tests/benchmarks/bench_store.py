"""How fast readings go into a store, as ratios in one run.

    python tests/benchmarks/bench_store.py [rows]

Compared, on the same rows and into the same table with its indexes and checks:
the standard library's ``executemany`` on prepared tuples, sqlite-utils' ``insert_all``, SQLAlchemy's ORM (a
tenth of the rows, scaled), psycopg's own ``COPY``. Needs the ``bench`` and ``test`` extras.
A ratio is this program's rows per second over the other's; the best of three interleaved rounds.

    python tests/benchmarks/bench_store.py large [readings] [parts]

What a builder does in a store of 2,000,000 readings on 50,000 parts beside one of 4,000 on 100, on both engines:
milliseconds, the best of some rounds, and their ratio.
"""

import resource
import shutil
import sqlite3
import sys
import tempfile
import time
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[2]), str(Path(__file__).resolve().parents[1])]

from store.postgresql_server import Server
from store.sample_records import fill

import matdb
from matdb.bench.readings import RingDown
from matdb.store import Records
from matdb.store.location import locate
from matdb.store.transaction import make_engine, writing

ROUNDS = 3


def readings(rows):
    return [
        RingDown(
            part="007", temperature_c=-18 + i * 1e-5, mass_kg=0.25, frequency_hz=31.2, log_decrement=0.5, who="bench"
        )
        for i in range(rows)
    ]


def stored(records):
    """The rows of the table as it holds them, for the others to insert again."""
    names = [row[1] for row in records._reader.rows("PRAGMA table_info(reading)")]
    counted = ", ".join(f'count("{c}")' for c in names)
    (held,) = records._reader.rows(f"SELECT {counted} FROM reading WHERE id > 7")
    columns = [c for c, count in zip(names, held, strict=True) if count]  # no NULLs to carry, the harder match
    listed = ", ".join(f'"{c}"' for c in columns)
    return columns, records._reader.rows(f"SELECT {listed} FROM reading WHERE id > 7")


def timed(work, *arguments):
    started = time.perf_counter()
    work(*arguments)
    return time.perf_counter() - started


def plain_sqlite(path, columns, rows):
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = NORMAL")
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("BEGIN IMMEDIATE")
    names, marks = ", ".join(f'"{c}"' for c in columns), ", ".join("?" * len(columns))
    connection.executemany(f"INSERT INTO reading ({names}) VALUES ({marks})", rows)
    connection.execute("COMMIT")
    connection.close()


def by_orm(path, columns, rows):
    import datetime as dt

    from sqlalchemy.orm import Session

    from matdb.store.models import ReadingRow

    place = locate(path)
    engine = make_engine(place, 5.0)
    times = [i for i, c in enumerate(columns) if c in ("taken_at", "logged_at")]
    with writing(engine, place, 5.0) as connection, Session(connection) as session:
        for row in rows:
            values = list(row)
            for i in times:
                values[i] = dt.datetime.fromisoformat(values[i]).replace(tzinfo=dt.UTC)
            session.add(ReadingRow(**dict(zip(columns, values, strict=True))))
        session.flush()
    engine.dispose()


def by_sqlite_utils(path, columns, rows):
    import sqlite_utils

    database = sqlite_utils.Database(path)
    database["reading"].insert_all(dict(zip(columns, row, strict=True)) for row in rows)
    database.conn.close()


def plain_copy(url, columns, rows):
    import psycopg

    names = ", ".join(f'"{c}"' for c in columns)
    with (
        psycopg.connect(url.replace("+psycopg", "")) as connection,
        connection.cursor() as cursor,
        cursor.copy(f"COPY reading ({names}) FROM STDIN") as copy,
    ):
        for row in rows:
            copy.write_row(row)


def add(where, given):
    with Records(where) as records:
        records.add_readings(given)


PER_MATERIAL = 100
_SMALL = 100  # parts of the small store, a page


def asked_about(store):
    """The material, part and mounting that both stores are asked about."""
    store.add(matdb.Material(name="amber", family="silicone", hardness="40 A"))
    store.add(matdb.Part(name="ring", material="amber", form=matdb.Ring(16, 6, 5)))
    store.add(matdb.Mounting(name="cam", mass_kg=0.6, count=4, rpm_idle=4200, rpm_full=8000))
    store.add([another(store, -18.0 + 5.0 * k) for k in range(14)])
    store.fit("amber")


def another(store, at_c=23.0):
    hertz = 31.2 - 0.06 * (at_c + 18.0)
    return matdb.RingDown(part="ring", temperature_c=at_c, mass_kg=0.25, frequency_hz=hertz, log_decrement=0.4)


def fill_up(store, readings, parts):
    """Parts of many materials, with as many readings on each."""
    store.add([matdb.Material(name=f"material {k}", family="silicone") for k in range(-(-parts // PER_MATERIAL))])
    made = [
        matdb.Part(name=f"part {k}", material=f"material {k // PER_MATERIAL}", form=matdb.Pad(10 + k % 7, 10))
        for k in range(parts)
    ]
    store.add(made)
    each = [
        matdb.RingDown(part=part.name, temperature_c=20.0, mass_kg=0.25, frequency_hz=30.0, log_decrement=0.5)
        for part in made
    ]
    for _ in range(readings // parts):
        store.records.add_readings(each)


ACTIONS = {
    "open": (7, lambda store, where: matdb.open_store(where).close()),
    "list a page of parts": (7, lambda store, _: store.records.parts_read(most=100)),
    "list the parts of a material": (7, lambda store, _: store.records.parts_read("amber")),
    "list a part's readings": (7, lambda store, _: store.readings(part="ring")),
    "list the newest readings": (7, lambda store, _: store.records.newest_readings(most=100)),
    "log one": (7, lambda store, _: store.add(another(store))),
    "take it back": (7, lambda store, _: store.undo()),
    "answer: stiffness": (7, lambda store, _: store.effective("ring", 5.0, mass_kg=0.25)),
    "answer: does it suit": (7, lambda store, _: store.suit("cam", [5.0], parts=["ring"])),
    "answer: what to read next": (3, lambda store, _: store.next_readings("ring", -5.0, 20.0, mass_kg=0.25)),
    "fit": (3, lambda store, _: store.fit("amber")),
}


def large(readings, parts):
    with tempfile.TemporaryDirectory() as folder:
        server = Server()
        try:
            engines = {
                "SQLite": [f"{folder}/{size}.sqlite" for size in ("small", "large")],
                "PostgreSQL": [server.url(server.database()) for _ in range(2)],
            }
            print(f"{readings} readings on {parts} parts{'small, ms':>37}{'large, ms':>12}{'ratio':>8}")
            for engine, wheres in engines.items():
                stores = [matdb.open_store(where) for where in wheres]
                for store, few in zip(stores, (_SMALL, parts), strict=True):
                    asked_about(store)
                    fill_up(store, readings // parts * few, few)
                for name, (rounds, act) in ACTIONS.items():
                    best = [1e9, 1e9]
                    for _ in range(rounds):
                        for k, (store, where) in enumerate(zip(stores, wheres, strict=True)):
                            best[k] = min(best[k], timed(act, store, where))
                    told = "".join(f"{1e3 * seconds:>12.2f}" for seconds in best)
                    print(f"{f'{engine}: {name}':<60}{told}{best[1] / best[0]:>8.2f}")
                for store in stores:
                    store.close()
        finally:
            server.stop()


def main():
    if sys.argv[1:2] == ["large"]:
        sizes = [int(each) for each in sys.argv[2:4]]
        large(*sizes, *(2_000_000, 50_000)[len(sizes) :])
        return
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    given = readings(rows)
    spent = {}

    def note(name, seconds):
        spent[name] = min(seconds, spent.get(name, 1e9))

    with tempfile.TemporaryDirectory() as folder:
        empty = Path(folder) / "empty.sqlite"
        with Records(empty) as records:
            fill(records)
        first = Path(shutil.copy(empty, Path(folder) / "first.sqlite"))
        add(first, given)
        with Records(first) as records:
            columns, raw = stored(records)
        server = Server()
        try:
            template = server.database()
            with Records(server.url(template)) as records:
                fill(records)
            for turn in range(ROUNDS):
                for name, work in (
                    ("matdb", lambda p: add(p, given)),
                    ("sqlite3", lambda p: plain_sqlite(p, columns, raw)),
                    ("sqlite-utils", lambda p: by_sqlite_utils(p, columns, raw)),
                ):
                    path = shutil.copy(empty, Path(folder) / f"{name}{turn}.sqlite")
                    note(f"SQLite {name}", timed(work, path))
                    Path(path).unlink()
                if turn == 0:
                    path = shutil.copy(empty, Path(folder) / "orm.sqlite")
                    some = raw[: max(rows // 10, 1)]
                    note("SQLite ORM add_all", timed(by_orm, path, columns, some) * rows / len(some))
                for name, work in (
                    ("matdb", lambda u: add(u, given)),
                    ("psycopg", lambda u: plain_copy(u, columns, raw)),
                ):
                    url = server.url(server.database(template))
                    note(f"PostgreSQL {name}", timed(work, url))
        finally:
            server.stop()
    print(f"{rows} readings, best of {ROUNDS} rounds")
    print(f"{'':<24}{'rows/s':>12}{'matdb / it':>12}")
    for name, seconds in spent.items():
        base = spent[name.split()[0] + " matdb"]
        print(f"{name:<24}{rows / seconds:>12,.0f}{seconds / base:>12.2f}")
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MiB, the rows included twice")


if __name__ == "__main__":
    main()
