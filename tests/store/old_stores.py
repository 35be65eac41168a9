"""Stores of every past revision, on both engines, from SQL dumps that are never changed again.

The dumps of the newest revision are written by

    MATDB_WRITE_SNAPSHOTS=1 pytest tests/store/test_store_old.py

In them lie a material with two parts, readings with a correction, a mounting, and a fit cut down to 100 draws.
"""

import json
import re
import sqlite3
import subprocess
from contextlib import closing
from pathlib import Path

import psycopg

from matdb.api import Store
from matdb.store import Records, schema
from matdb.store.connection import Reader
from matdb.store.location import locate
from matdb.store.models import Base
from matdb.store.revisions import APPLICATION_ID, REVISIONS
from matdb.store.tables import copy_tables
from matdb.store.transaction import make_engine, writing

SNAPSHOTS = Path(__file__).parent / "revisions"
ANSWERS = SNAPSHOTS / "answers.json"


def sqlite_store(revision, path):
    """An SQLite file as that revision left it."""
    with closing(sqlite3.connect(path)) as connection:
        connection.executescript((SNAPSHOTS / f"{revision}.fitted.sql").read_text(encoding="utf-8"))
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")  # a dump leaves it out
    return str(path)


def server_store(revision, server):
    """The name of a database on a server as that revision left it."""
    name = server.database()
    text = (SNAPSHOTS / f"{revision}.fitted.postgresql.sql").read_text(encoding="utf-8")
    with psycopg.connect(server.url(name).replace("+psycopg", ""), autocommit=True) as connection:
        connection.execute(text)
    return name


def grow(where, rows):
    """Add many readings to a store of any revision, past the program."""
    place = locate(where)
    engine = make_engine(place, 5.0)
    with writing(engine, place, 5.0) as connection:
        row = dict(connection.exec_driver_sql("SELECT * FROM reading WHERE id = 2").mappings().one())
        row = {name: value for name, value in row.items() if value is not None and name != "id"}
        names = ", ".join(f'"{name}"' for name in row)
        number = "? + 0" if place.path is not None else "%s + 0"
        copied = f"INSERT INTO reading (id, {names}) SELECT {number}, {names} FROM reading WHERE id = 2"
        connection.exec_driver_sql(copied, [(1001 + i,) for i in range(rows)])
        if place.path is None:
            connection.exec_driver_sql("SELECT setval('reading_id_seq', (SELECT max(id) FROM reading))")
    engine.dispose()


def answers(where):
    """What a store answers: stiffness and damping ratio of its parts over temperature, and natural frequencies."""
    told = {}
    with Store(Records(where)) as store:
        for part in store.parts():
            for t in (-18.0, -5.0, 10.0, 23.0, 50.0):
                at_30 = store.effective(part.name, t, 30.0)
                under = store.effective(part.name, t, mass_kg=0.6, count=4)
                told[f"{part.name} at {t:g} degC"] = [
                    float(x) for x in (at_30.stiffness_n_per_mm.median, at_30.damping_ratio.median, under.frequency_hz)
                ]
    return told


# -- making the dumps ----------------------------------------------------------------------------------------------


def make_newest(path):
    """The dumped store of the revision before, as this program upgrades it: what was fitted then stays as it is."""
    with Records(sqlite_store(REVISIONS[-2], path)) as records:
        assert records.check() == []


def write_dumps(revision, newest, server, folder):
    """Write both dumps of a revision from a store of the newest one."""
    old, database = folder / f"{revision}.sqlite", server.database()
    for where in (str(old), server.url(database)):
        place = locate(where)
        engine = make_engine(place, 5.0, create=True)
        with writing(engine, place, 5.0) as connection:
            schema.migrate(connection, revision, place)
            held = set(_tables(connection))
            with closing(Reader(locate(newest))) as reader, reader.snapshot():
                tables = [table for table in Base.metadata.sorted_tables if table.name in held]
                copy_tables(reader, connection, tables, where)
        engine.dispose()
    with closing(sqlite3.connect(old)) as connection:
        text = "\n".join(connection.iterdump()) + "\n"
    (SNAPSHOTS / f"{revision}.fitted.sql").write_text(text, encoding="utf-8")
    command = [server.bin / "pg_dump", "--inserts", "--no-owner", "--no-privileges", "-h", server.folder]
    done = subprocess.run([*map(str, command), "-U", "owner", database], check=True, capture_output=True, text=True)
    # Lines that only the server's own shell understands, and settings that only newer servers know.
    text = re.sub(r"(?m)^(\\.*|SET transaction_timeout.*|--.*)\n", "", done.stdout)
    (SNAPSHOTS / f"{revision}.fitted.postgresql.sql").write_text(
        re.sub(r"\n{3,}", "\n\n", text).strip() + "\n", encoding="utf-8"
    )


def _tables(connection):
    import sqlalchemy as sa

    return sa.inspect(connection).get_table_names()


def write_answers(where):
    ANSWERS.write_text(json.dumps(answers(where), indent=1) + "\n", encoding="utf-8")
