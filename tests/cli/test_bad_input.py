"""Every bad input: one plain line, the documented exit code, and the store as it was."""

import os
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest
from rights import ordinary

TOP = Path(__file__).parents[2]
RING_DOWN = ("reading", "add", "ring-down", "0042")
GOOD = ("--temp", "-18C", "--mass", "150g", "--frequency", "23Hz")


def without(option, *instead):
    words = list(GOOD)
    at = words.index(option)
    words[at : at + 2] = instead
    return (*RING_DOWN, *words)


BAD = {
    "unknown part": (("stiffness", "0043", "--temp", "-5C", "--frequency", "30Hz"), 1, ["part", "'0043'", "'0042'"]),
    "reading on unknown part": ((*RING_DOWN[:3], "nut", *GOOD), 1, ["part", "'nut'"]),
    "unknown material": (("fit", "ambre"), 1, ["material", "'ambre'", "'amber'"]),
    "unknown mounting": (("suit", "--mounting", "cram", "--temp", "-5C"), 1, ["mounting", "'cram'", "'cam'"]),
    "unknown reading": (("reading", "remove", "99", "--why", "x"), 1, ["reading", "99"]),
    "unknown fit": (("curve", "amber", "--temp", "0C", "--fit", "99"), 1, ["fit", "99"]),
    "wrong unit": (without("--mass", "--mass", "150mm"), 2, ["--mass", "'150mm'", "a mass in g"]),
    "no unit": (without("--temp", "--temp", "-18"), 2, ["--temp", "'-18'", "in C, F or K"]),
    "below absolute zero": (without("--temp", "--temp", "-300C"), 2, ["--temp", "-273.15"]),
    "asked below absolute zero": (("curve", "amber", "--temp", "-1K"), 2, ["--temp"]),
    "negative mass": (without("--mass", "--mass", "-150g"), 2, ["--mass: -0.15", "above 0"]),
    "zero decrement": ((*RING_DOWN, *GOOD, "--decrement", "0"), 2, ["--decrement: ", "above 0", "leave it out"]),
    "text for a number": (without("--frequency", "--frequency", "fast"), 2, ["--frequency", "'fast'"]),
    "a decimal comma": (without("--mass", "--mass", "1,5kg"), 2, ["--mass", "write 1.5kg"]),
    "thousands or decimals": (without("--mass", "--mass", "1,500g"), 2, ["--mass", "write 1.500g or 1500g"]),
    "text for a count": ((*RING_DOWN, *GOOD, "--count", "many"), 2, ["--count", "matdb reading add ring-down --help"]),
    "no such axis": ((*RING_DOWN, *GOOD, "--axis", "shear"), 2, ["--axis: 'shear'", "axial, lateral"]),
    "too much squeeze": ((*RING_DOWN, *GOOD, "--squeeze", "9mm"), 2, ["--squeeze: 9"]),
    "no value after options": (("reading", "add", "hardness", "tan", "--temp", "--", "--value", "--"), 2, ["--temp"]),
    "missing option": (("reading", "add", "ring-down", "0042", "--temp", "-18C"), 2, ["--mass"]),
    "unknown option": (("suit", "--temperature", "-5C"), 2, ["--temperature", "matdb suit --help"]),
    "unknown command": (("suits",), 2, ["suits", "matdb --help"]),
    "no command of a group": (("material",), 2, ["matdb material --help"]),
    "duplicate material": (("material", "add", "amber", "--family", "silicone"), 1, ["'amber'", "already"]),
    "duplicate part": (
        ("part", "add", "0042", "--material", "amber", "--form", "pad", "--diameter", "9mm", "--height", "9mm"),
        1,
        ["'0042'", "already"],
    ),
    "unknown family": (("material", "add", "x", "--family", "silicon"), 2, ["family", "'silicone'"]),
    "hardness without scale": (("material", "add", "x", "--hardness", "40"), 2, ["40", "scale"]),
    "unknown form": (("part", "add", "x", "--material", "amber", "--form", "cube"), 2, ["--form", "'cube'", "ring"]),
    "dimension missing": (
        ("part", "add", "x", "--material", "amber", "--form", "strut", "--outer", "6mm"),
        2,
        ["--length", "strut"],
    ),
    "dimension of another form": (
        ("part", "add", "x", "--material", "amber", "--form", "pad", "--outer", "6mm"),
        2,
        ["'--outer'", "--diameter"],
    ),
    "hole larger than the part": (
        ("part", "add", "x", "--material", "amber", "--form", "ring", "--outer=6mm", "--inner=8mm", "--height=5mm"),
        2,
        ["inner", "below --outer"],
    ),
    "part without a name": (("part", "add", "--material", "amber", "--form", "pad", "--height", "6mm"), 2, ["name"]),
    "range upside down": (("suit", "--mounting", "cam", "--temp", "25C..-10C"), 2, ["--temp", "lower end first"]),
    "mounting without mass": (("suit", "--count", "4", "--rotor", "70Hz..90Hz", "--temp", "0C"), 2, ["--mass"]),
    "mounting and mass": (("suit", "--mounting", "cam", "--mass", "1", "--temp", "0C"), 2, ["--mass", "1g"]),
    "mounting and hover": (("suit", "--mounting", "cam", "--hover", "60%", "--temp", "0C"), 2, ["--hover", "--rotor"]),
    "neither frequency nor mass": (("stiffness", "0042", "--temp", "0C"), 2, ["--frequency", "--mass"]),
    "both frequency and mass": (
        ("stiffness", "0042", "--temp", "0C", "--mass", "1kg", "--frequency", "30Hz"),
        2,
        ["--frequency", "--mass", "both"],
    ),
    "zero frequency": (("stiffness", "0042", "--temp", "0C", "--frequency", "0Hz"), 2, ["--frequency", "above 0"]),
    "zero count": (
        ("stiffness", "0042", "--temp", "0C", "--mass", "1kg", "--count", "0"),
        2,
        ["--count: 0", "1 to 1000"],
    ),
    "endless range": (("curve", "amber", "--temp", "-200C..300C", "--step", "0.001K"), 2, ["at most 20000"]),
    "no step": (("curve", "amber", "--temp", "-20C..30C", "--step", "0K"), 2, ["--step", "above 0"]),
    "fit of another material": (("curve", "tan", "--temp", "0C", "--fit", "1"), 2, ["--fit", "amber"]),
    "no such file": (("reading", "import", "none.csv"), 1, ["none.csv"]),
    "half a character": (("export", "readings", "--csv", "\udbf6.csv"), 1, ["cannot be written"]),
    "no such folder": (("export", "readings", "--csv", "no/such/file.csv"), 1, ["file.csv", "No such file"]),
    "correction of nothing": (("reading", "correct", "1", "--why", "x"), 2, ["changes"]),
    "correction by a field of another kind": (
        ("reading", "correct", "1", "--why", "x", "--deflection", "1mm"),
        2,
        ["--deflection", "ring-down", "--decrement"],
    ),
    "removal without a reason": (("reading", "remove", "1", "--why", " "), 2, ["why"]),
    "a time that is none": ((*RING_DOWN, *GOOD, "--at", "yesterday"), 2, ["--at", "'yesterday'"]),
}


@pytest.mark.slow
@pytest.mark.parametrize(("words", "code", "says"), BAD.values(), ids=BAD)
@pytest.mark.parametrize("as_json", [False, True], ids=["text", "json"])
def test_one_line_one_code_and_nothing_changed(matdb_says, dump, words, code, says, as_json, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    before = dump()
    there = sorted(p.name for p in tmp_path.iterdir())
    asked = ["--json"] if as_json and words != ("material",) else []
    told = matdb_says(*words, *asked)
    assert told.code == code, told.err
    if asked:
        error = told.json["error"]
        assert told.err == f"matdb: {error['message']}\n"
        assert (told.json["exit_code"], bool(error["field"])) == (code, True)
    else:
        assert told.out == ""
    assert told.err.count("\n") == 1
    assert told.err.startswith("matdb: ")
    assert "Traceback" not in told.err
    for piece in says:
        assert piece in told.err, told.err
    assert dump() == before
    assert sorted(p.name for p in tmp_path.iterdir() if not p.name.endswith(("-wal", "-shm"))) == there


def test_a_store_from_a_newer_version(matdb_says, store, dump):
    with sqlite3.connect(store) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
    connection.close()
    before = store.read_bytes()
    told = matdb_says("material", "list")
    assert told.code == 1
    assert told.err.count("\n") == 1
    assert "9999" in told.err
    assert "pip install --upgrade" in told.err
    assert store.read_bytes() == before


def test_a_file_that_is_not_a_store(matdb_says, tmp_path):
    file = tmp_path / "letter.txt"
    file.write_text("Dear aunt,\n" * 200, encoding="utf-8")
    told = matdb_says("fit", "amber", "--store", file)
    assert told.code == 1
    assert told.err == f"matdb: store {file}: is not a matdb store; name another file\n"
    assert file.read_text(encoding="utf-8") == "Dear aunt,\n" * 200


@pytest.mark.slow
def test_a_read_only_folder(tmp_path_factory):
    import tempfile

    with tempfile.TemporaryDirectory() as folder:  # pytest's own folder is not for every user
        Path(folder).chmod(0o555)
        # A store that can be made comes first, then the one that cannot.
        code = (
            "import contextlib, io, os, sys\n"
            "from matdb.cli.run import run\n"
            "words, allowed = sys.argv[1:-1], sys.argv[-1]\n"
            "with contextlib.redirect_stdout(io.StringIO()):\n"
            "    assert run([*words[:-1], allowed]) == 0\n"
            "    assert run([*words[:-1], allowed + '/']) != 0\n"
            "sys.exit(run(words))"
        )
        words = ["material", "add", "x", "--store", f"{folder}/new.sqlite"]
        done = subprocess.run(
            ordinary([sys.executable, "-c", code, *words, str(tmp_path_factory.mktemp("open") / "s.sqlite")]),
            capture_output=True,
            text=True,
            env=os.environ | {"PYTHONPATH": str(TOP)},
            check=False,
        )
        Path(folder).chmod(0o755)
        assert done.returncode == 1, done.stderr
        assert done.stdout == ""
        line = done.stderr.splitlines()[-1]
        assert line.startswith(f"matdb: store {folder}/new.sqlite: ")
        assert "cannot be" in line
        assert done.stderr.count("\n") == 2, done.stderr
        assert os.listdir(folder) == []


def test_a_fit_without_readings_answers_from_the_prior_and_says_so(matdb_says, dump):
    before = dump()
    told = matdb_says("fit", "tan")
    assert told.code == 0
    assert "Nothing to fit, rests on its label only." in told.out
    assert dump() == before
    answer = matdb_says("fit", "tan", "--json").json
    assert answer["basis"] == "family prior"
    assert answer["fit"] is None
    assert any("not a measurement" in w for w in answer["warnings"])


def test_unexpected_faults_are_one_line_too(matdb_says, monkeypatch):
    from matdb.api import Store

    def fails(*_, **__):
        raise ZeroDivisionError("by\nzero")

    monkeypatch.setattr(Store, "curve", fails)
    told = matdb_says("report", "amber")
    assert told.code == 1
    assert told.err.count("\n") == 1
    assert "unexpected fault (ZeroDivisionError: by zero)" in told.err


@pytest.mark.parametrize(("fault", "code"), [(KeyboardInterrupt(), 130), (BrokenPipeError(), 1), (MemoryError(), 1)])
def test_interruptions_end_quietly(matdb_says, monkeypatch, fault, code):
    from matdb.api import Store

    def fails(*_, **__):
        raise fault

    monkeypatch.setattr(Store, "curve", fails)
    told = matdb_says("report", "amber")
    assert told.code == code
    assert "Traceback" not in told.err
    assert told.err.count("\n") <= 1


def test_a_full_disk_is_one_line_and_leaves_nothing(matdb_says, monkeypatch, tmp_path):
    import errno

    def full(*_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    told = matdb_says("curve", "amber", "--temp", "0C", "--csv", tmp_path / "curve.csv")
    assert told.code == 1
    assert told.err == f"matdb: {tmp_path / 'curve.csv'}: No space left on device\n"
    assert not list(tmp_path.glob("*curve.csv*"))


@pytest.mark.slow
def test_a_reader_that_goes_away_is_no_fault(store):
    environment = os.environ | {"PYTHONPATH": str(TOP), "MATDB_STORE": str(store)}
    pipe = subprocess.Popen(
        [sys.executable, "-m", "matdb", "curve", "amber", "--temp", "-20C..40C", "--step", "0.1K"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env=environment,
    )
    pipe.stdout.close()
    err = pipe.stderr.read()
    pipe.stderr.close()
    assert pipe.wait() == 1
    assert err == b""


@pytest.mark.slow
@pytest.mark.parametrize(("where", "why"), [(">&-", "standard output is closed"), (">/dev/full", "No space left")])
def test_an_answer_that_cannot_be_written_is_told_and_the_record_kept(tmp_path, where, why):
    file = tmp_path / "bench.sqlite"
    words = f"{sys.executable} -m matdb material add amber --family silicone {where}"
    done = subprocess.run(
        ["sh", "-c", words],
        stderr=subprocess.PIPE,
        text=True,
        check=False,
        env=os.environ | {"PYTHONPATH": str(TOP), "MATDB_STORE": str(file)},
    )
    assert done.returncode == 1
    assert done.stderr.startswith(f"matdb: the answer could not be written ({why}")
    assert done.stderr.endswith("what was changed in the store before that is kept\n")
    assert done.stderr.count("\n") == 1
    with sqlite3.connect(file) as connection:
        assert connection.execute("SELECT name FROM material").fetchall() == [("amber",)]
    connection.close()


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="no way to move the clock's zone")
@pytest.mark.parametrize(
    ("at", "says"),
    [
        ("2026-03-29T02:30", ["never", "2026-03-29T02:30:00+01:00 or 2026-03-29T02:30:00+02:00"]),
        ("2026-10-25T02:30", ["twice", "2026-10-25T02:30:00+02:00 or 2026-10-25T02:30:00+01:00"]),
        ("2026-10-25T03:30", []),
        ("2026-10-25T02:30+01:00", []),
        ("0001-01-01T00:00+14:00", ["calendar"]),
        ("9999-12-31T23:59:59-14:00", ["calendar"]),
        ("0001-01-01T00:00", ["a date and time such as"]),
    ],
)
def test_a_local_time_that_is_none_or_two_is_asked_back(matdb_says, monkeypatch, at, says):
    """Central European summer time begins on 29 March and ends on 25 October 2026, at 1:00 UTC."""
    monkeypatch.setenv("TZ", "CET-1CEST,M3.5.0,M10.5.0/3")
    time.tzset()
    try:
        told = matdb_says(*RING_DOWN, *GOOD, "--at", at)
    finally:
        monkeypatch.undo()
        time.tzset()
    assert told.code == (2 if says else 0), told.err
    assert told.err.count("\n") == bool(says)
    assert all(word in told.err for word in says), told.err


@pytest.mark.parametrize(
    ("name", "other"), [("\u0430mber", "amber"), ("amb\u0435r", "amber"), ("\uff41mber", "amber"), ("t\u0430n", "tan")]
)
def test_a_name_that_looks_like_another_is_warned_of(matdb_says, name, other):
    told = matdb_says("material", "add", name, "--family", "silicone")
    assert told.code == 0
    assert f"looks like {other!r}" in told.err
    assert "\\u" in told.err


def test_names_in_two_normal_forms_are_warned_of(matdb_says):
    for name, warns in (("t\u00fcr", False), ("tu\u0308r", True), ("t\u00fcren", False), ("Amber", False)):
        told = matdb_says("material", "add", name, "--family", "silicone")
        assert ("looks like" in told.err) == warns
        assert told.code == 0


@pytest.mark.parametrize(
    "words",
    [
        ("export", "stiffness", "0042", "--temp", "5C", "--frequency", "30Hz", "--csv", "no/such/new.csv"),
        ("export", "curve", "amber", "--temp", "5C", "--csv", "{store}", "--force"),
        ("picture", "frequency", "cam", "--out", "new.txt"),
        ("picture", "modulus", "amber", "--out", "no/such/new.svg"),
        ("page", "cam", "--temp", "5C", "--out", "no/such/new.html"),
    ],
)
def test_a_file_that_cannot_be_written_is_refused_before_a_fit_is_made_anew(matdb_says, dump, store, words):
    size = ("--outer=16mm", "--inner=6mm", "--height=5mm")
    assert matdb_says("part", "add", "new", "--material", "amber", "--form", "ring", *size).code == 0
    before = dump()
    told = matdb_says(*(word.format(store=store) for word in words))
    assert told.code in (1, 2)
    assert told.err.count("\n") == 1, told.err
    assert dump() == before
