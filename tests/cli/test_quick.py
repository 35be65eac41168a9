"""Calls answered before Typer loads: the same words, the same answers, and nothing heavy imported for them."""

import inspect
import os
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import pytest

from matdb.cli import quick
from matdb.cli.app import root_command
from matdb.cli.quick import COUNT, FLAG, QUICK, TEXTS, quick_call

TOP = Path(__file__).parents[2]

#: Never needed for a short question: what only fits, writes, or parses every kind of option.
HEAVY = (
    "scipy",
    "sqlalchemy",
    "alembic",
    "typer",
    "pydantic",
    "numpy.ma",
    "matplotlib",
    "platformdirs",
    "matdb.curve.fit",
)


@pytest.mark.parametrize("path", QUICK, ids=" ".join)
def test_the_tables_say_what_typer_says(path):
    command, known = root_command(), QUICK[path]
    for name in path:
        command = command.commands[name]
    arguments = [p for p in command.params if p.param_type_name == "argument"]
    assert tuple(p.name for p in arguments) == known.arguments
    assert all(p.required and p.nargs == 1 for p in arguments)
    options = {p.opts[0]: p for p in command.params if p.param_type_name == "option"}
    assert set(options) - {"--store", "--help"} == set(known.options)
    answer = getattr(import_module(f"matdb.cli.{known.module}"), known.function)
    defaults = inspect.signature(answer).parameters
    for option, (name, taken) in known.options.items():
        said = options[option]
        assert (said.name, said.opts, said.secondary_opts, said.nargs) == (name, [option], [], 1)
        assert (taken == FLAG, taken == TEXTS) == (said.is_flag, said.multiple)
        assert (taken == COUNT) == (type(said.default) is int)
        assert (option in known.needed) == said.required
        assert defaults[name].default == (inspect.Parameter.empty if said.required else said.default)


CALLS = (
    "part list",
    "part list --json",
    "part list --material amber",
    "part list --material=tan --json",
    "part list --material nothing",
    "stiffness 0042 --temp -5C --mass 155g",
    "stiffness --temp=-5C --temp 10C..20C --step 5K --frequency 30Hz --frequency 1Hz..10Hz 0042 --json",
    "stiffness 0042 --temp 0C --mass 620g --count 4 --axis lateral",
    "stiffness pad --temp 0C --frequency 30Hz --squeeze 1mm",
    "stiffness pad --temp 0C",
    "stiffness pad --temp 0 --mass 1kg",
    "stiffness gone --temp 0C --mass 1kg",
    "stiffness 0042 --temp 0C --mass 620g --count 4 --axis sideways",
)


@pytest.mark.parametrize("call", CALLS)
def test_the_answer_is_the_same_either_way(matdb_says, monkeypatch, call):
    assert quick_call(call.split()) is not None
    short = matdb_says(*call.split())
    monkeypatch.setattr(quick, "quick_call", lambda words: None)
    assert matdb_says(*call.split()) == short
    assert short.out or short.err


@pytest.mark.parametrize("where", ["before", "after", "joined", "both"])
def test_the_store_is_the_one_that_was_named(store, matdb_says, monkeypatch, tmp_path, where):
    monkeypatch.setenv("MATDB_STORE", str(tmp_path / "none" / "other.sqlite"))
    words = {
        "before": ["--store", store, "part", "list"],
        "after": ["part", "list", "--store", store],
        "joined": [f"--store={store}", "part", "list"],
        "both": ["--store", tmp_path / "none" / "other.sqlite", "part", "list", f"--store={store}"],
    }[where]
    assert quick_call([str(word) for word in words]) is not None
    told = matdb_says(*words)
    assert (told.code, told.err) == (0, "")
    assert "0042" in told.out
    monkeypatch.setattr(quick, "quick_call", lambda words: None)
    assert matdb_says(*words) == told


@pytest.mark.parametrize(
    "call",
    [
        "part list --help",
        "part list -h",
        "part list extra",
        "part list --material",
        "part list --material --json",
        "part list --material a --material b",
        "part list --json=yes",
        "part list --json --json",
        "part list --nothing",
        "part list --",
        "part lists",
        "part",
        "--store part list",
        "--version part list",
        "stiffness",
        "stiffness pad",
        "stiffness pad --mass 1kg",
        "stiffness --temp 0C --mass 1kg",
        "stiffness pad two --temp 0C --mass 1kg",
        "stiffness pad --temp 0C --mass 1kg --count four",
        "stiffness pad --temp 0C --mass 1kg --count 04",
        "stiffness pad --temp 0C --mass 1kg --count -1",
        "stiffness -pad --temp 0C --mass 1kg",
    ],
)
def test_whatever_is_not_plain_goes_to_typer(call):
    assert quick_call(call.split()) is None


def test_what_cannot_be_printed_goes_to_typer():
    assert quick_call(["part", "list", "--material", "a\udcff"]) is None
    assert quick_call(["part", "list", "--material", "a\nb"]) is None


def test_completion_goes_to_typer(monkeypatch):
    monkeypatch.setenv("_MATDB_COMPLETE", "complete_bash")
    assert quick_call(["part", "list"]) is None


@pytest.mark.parametrize(
    ("words", "more"),
    [
        (["--version"], ("numpy", "rich", "sqlite3", "matdb.cli")),
        (["part", "list"], ("numpy",)),
        (["part", "list", "--json"], ("numpy", "rich")),
        (["stiffness", "0042", "--temp", "-5C", "--mass", "155g"], ()),
        (["stiffness", "0042", "--temp", "-5C", "--frequency", "30Hz", "--json"], ("rich",)),
    ],
    ids=" ".join,
)
def test_nothing_heavy_is_imported_for_a_short_question(store, words, more):
    code = (
        f"import sys; sys.argv[1:] = {words!r}\n"
        "from matdb.__main__ import main\n"
        f"code = main(); print([m for m in {HEAVY + more!r} if m in sys.modules], code, file=sys.stderr)"
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
