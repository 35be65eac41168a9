"""A desk for every recorded script: a folder of its own with the demo store in it."""

import lzma
import shutil
import sqlite3
import time
from contextlib import closing

import pytest
from contract.script import HERE, INPUTS, Desk

#: Marks an SQLite file as a store; a dump leaves it out.
APPLICATION_ID = 0x6D617464


def pour(sql, file):
    """A store's file from its dump."""
    with closing(sqlite3.connect(file)) as connection:
        connection.executescript(sql)
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")


@pytest.fixture(scope="session")
def demo_file(tmp_path_factory):
    """The fitted demo store, with parts of every form added; its fits were made once and are never made again."""
    file = tmp_path_factory.mktemp("contract") / "demo.sqlite"
    pour(lzma.decompress((HERE / "demo.sql.xz").read_bytes()).decode(), file)
    return file


@pytest.fixture
def desk(demo_file, tmp_path, monkeypatch):
    folder = tmp_path / "desk"
    shutil.copytree(INPUTS, folder)
    shutil.copy(demo_file, folder / "demo.sqlite")
    monkeypatch.chdir(folder)
    for name, value in {
        "COLUMNS": "110", "NO_COLOR": "1", "TERM": "dumb", "TZ": "UTC", "MATDB_STORE": "demo.sqlite",
        "XDG_STATE_HOME": str(folder / "state"), "XDG_DATA_HOME": str(folder / "state"),
    }.items():  # fmt: skip
        monkeypatch.setenv(name, value)
    for name in ("FORCE_COLOR", "MATDB_TRACEBACK", "MATDB_BACKUPS", "TTY_COMPATIBLE", "LINES"):
        monkeypatch.delenv(name, raising=False)
    time.tzset()
    return Desk(folder)
