"""A small store, and the command line run in this process."""

import functools
import json
import shutil
from dataclasses import dataclass

import command_line
import pytest

import matdb
from matdb.cli.run import run


@dataclass
class Told:
    """What a command said."""

    code: int
    out: str
    err: str

    @property
    def json(self):
        def refuse(name):
            raise AssertionError(f"{name} is no JSON")

        return json.loads(self.out, parse_constant=refuse)


@pytest.fixture(scope="session")
def filled(tmp_path_factory):
    """A store with one fitted and one unread material."""
    file = tmp_path_factory.mktemp("cli") / "bench.sqlite"
    with matdb.open_store(file) as store:
        store.add(
            [
                matdb.Material(name="amber", family="silicone", hardness="40 A"),
                matdb.Material(name="tan", family="natural rubber"),
                matdb.Part(name="ring 16x6x5", material="amber", form=matdb.Ring(16, 6, 5)),
                matdb.Part(name="0042", material="amber", form=matdb.Strut(outer_mm=6, inner_mm=4, length_mm=10)),
                matdb.Part(name="pad", material="tan", form=matdb.Pad(10, 10)),
                matdb.Mounting(name="cam", mass_kg=0.6, count=4, rpm_idle=4200, rpm_full=8000, manoeuvre_hz=8.0),
                *(
                    matdb.RingDown(part="0042", temperature_c=t, mass_kg=0.15, frequency_hz=f, log_decrement=d)
                    for t, f, d in ((-18.0, 23.4, 0.5), (23.0, 21.6, 0.3), (50.0, 21.0, 0.25))
                ),
            ]
        )
        store.fit("amber")
    return file


@pytest.fixture
def store(filled, tmp_path):
    """A copy of the filled store."""
    copy = tmp_path / "bench.sqlite"
    shutil.copy(filled, copy)
    return copy


@pytest.fixture
def matdb_says(store, capsys, monkeypatch):
    """Run a command on the store; plain text of a fixed width."""
    monkeypatch.setenv("COLUMNS", "160")
    monkeypatch.setenv("NO_COLOR", "1")
    monkeypatch.setenv("MATDB_STORE", str(store))
    for name in ("FORCE_COLOR", "MATDB_TRACEBACK", "TTY_COMPATIBLE"):
        monkeypatch.delenv(name, raising=False)

    def say(*words):
        capsys.readouterr()
        code = run([str(word) for word in words])
        out, err = capsys.readouterr()
        return Told(code, out, err)

    return say


@pytest.fixture
def dump(store):
    """What the store holds, as SQL."""

    return functools.partial(command_line.dump, store)
