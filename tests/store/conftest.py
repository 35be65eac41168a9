"""Stores to test on: files in a temporary folder, and databases on a real PostgreSQL server."""

import contextlib
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from store.postgresql_server import Server
from store.sample_records import fill

from matdb.store import Records
from matdb.store.models import Base

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(autouse=True)
def _own_state(monkeypatch, tmp_path):
    """Copies kept before an upgrade go to the test's folder, not to the user's."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.delenv("MATDB_BACKUPS", raising=False)


@pytest.fixture(scope="session")
def server():
    running = Server()
    yield running
    running.stop()


@pytest.fixture(scope="session")
def empty_store_template(server):
    name = server.database()
    Records(server.url(name)).close()
    return name


@pytest.fixture(scope="session")
def empty_store_file(tmp_path_factory):
    path = tmp_path_factory.mktemp("empty") / "store.sqlite"
    Records(path).close()
    return path


@pytest.fixture(params=["sqlite", "postgresql"])
def where(request, tmp_path):
    """The address of a new, empty store, on each engine in turn."""
    if request.param == "sqlite":
        yield str(shutil.copy(request.getfixturevalue("empty_store_file"), tmp_path / "store.sqlite"))
        return
    server = request.getfixturevalue("server")
    name = server.empty_store(request.getfixturevalue("empty_store_template"))
    yield server.url(name)
    server.take_back(name, list(Base.metadata.tables))


@pytest.fixture
def records(where):
    with Records(where) as opened:
        fill(opened)
        yield opened


@pytest.fixture
def file(empty_store_file, tmp_path):
    """The path of a new store with the sample records in it."""
    path = tmp_path / "bench.sqlite"
    shutil.copy(empty_store_file, path)
    with Records(path) as opened:
        fill(opened)
    return path


@pytest.fixture
def python():
    """Start a Python program of the test's own in another process."""
    started = []

    def start(code, *arguments, **more):
        environment = os.environ | {
            "PYTHONPATH": os.pathsep.join([str(ROOT), str(ROOT / "tests")]),
            "OMP_NUM_THREADS": "1",
            "OPENBLAS_NUM_THREADS": "1",
        }
        command = [sys.executable, "-c", code, *map(str, arguments)]
        process = subprocess.Popen(
            command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, **more
        )
        started.append(process)
        return process

    yield start
    for process in started:
        with contextlib.suppress(ProcessLookupError):
            process.kill()
        process.communicate()
