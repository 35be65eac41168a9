"""What the start of a command costs: nothing is imported that its answer does not need; and who names the store."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from matdb.cli.app import root_command
from matdb.cli.run import run

TOP = Path(__file__).parents[2]

#: Never needed for a plain question: what only fits, writes or draws.
HEAVY = ("scipy", "sqlalchemy", "alembic", "matplotlib", "numpy.ma")
#: Nor this of our own, but by the list of all commands.
FITTING = ("matdb.curve.posterior", "matdb.curve.next_reading")


@pytest.mark.slow
@pytest.mark.parametrize(
    "words",
    [
        ["--version"],
        ["--help"],
        ["part", "list"],
        ["stiffness", "0042", "--temp", "-5C", "--mass", "155g"],
        ["stiffness", "0042", "--temp", "-5C", "--frequency", "30Hz", "--json"],
    ],
    ids=" ".join,
)
def test_nothing_heavy_is_imported_for_a_plain_question(store, words):
    unneeded = HEAVY + (() if words == ["--help"] else FITTING)
    code = (
        f"import sys; sys.argv[1:] = {words!r}\n"
        "from matdb.__main__ import main\n"
        f"code = main(); print([m for m in {unneeded!r} if m in sys.modules], code, file=sys.stderr)"
    )
    env = {k: v for k, v in os.environ.items() if not k.startswith(("COV", "MATDB"))}
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=False,
        env=env | {"PYTHONPATH": str(TOP), "MATDB_STORE": str(store)},
    )
    assert done.stderr.strip() == "[] 0", done.stderr
    assert done.stdout


def test_only_the_command_that_is_asked_for_is_built(matdb_says):
    root_command.cache_clear()
    assert matdb_says("store", "info").code == 0
    assert [name for name, built in root_command().commands.items() if built is not None] == ["store"]


@pytest.mark.parametrize("position", ["before", "after", "joined", "both"])
def test_the_store_is_the_one_that_was_named(store, matdb_says, monkeypatch, tmp_path, position):
    other = tmp_path / "none" / "other.sqlite"
    monkeypatch.setenv("MATDB_STORE", str(other))
    words = {
        "before": ["--store", store, "part", "list"],
        "after": ["part", "list", "--store", store],
        "joined": [f"--store={store}", "part", "list"],
        "both": ["--store", other, "part", "list", f"--store={store}"],
    }[position]
    told = matdb_says(*words)
    assert (told.code, told.err) == (0, "")
    assert "0042" in told.out


@pytest.mark.parametrize("words", [["-V"], ["--version"]])
def test_the_version_is_one_line(capsys, words):
    assert run(words) == 0
    out, err = capsys.readouterr()
    assert out.startswith("matdb ")
    assert (out.count("\n"), err) == (1, "")
