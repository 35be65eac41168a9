"""A small store, and what tests ask of commands and of files that they leave."""

import sqlite3
from contextlib import closing

import matdb
from matdb.cli.run import run

__all__ = ["bench_store", "count", "dump", "say"]


def bench_store(file):
    """A store with one part and no reading."""
    with matdb.open_store(file) as kept:
        kept.add(matdb.Material(name="amber", family="silicone"))
        kept.add(matdb.Part(name="0042", material="amber", form=matdb.Ring(16, 6, 5)))
    return file


def say(capsys, *words):
    """Exit code, output and error of a command."""
    capsys.readouterr()
    code = run([str(w) for w in words])
    return code, *capsys.readouterr()


def count(store):
    """Readings in a store's file."""
    with closing(sqlite3.connect(store)) as connection:
        return connection.execute("SELECT count(*) FROM reading").fetchone()[0]


def dump(path):
    """All of a store's file as SQL."""
    with closing(sqlite3.connect(path)) as connection:
        return "\n".join(connection.iterdump())
