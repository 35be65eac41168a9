"""The import as a command: dry run, all or nothing, killed half-way."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from command_line import bench_store, count, say

import matdb

TOP = Path(__file__).parents[2]


@pytest.fixture
def store(tmp_path):
    return bench_store(tmp_path / "bench.sqlite")


HEAD = "kind;part;temp_C;mass_g;frequency_hz;log_decrement\n"
GOOD = HEAD + "ring-down;0042;-18;250;31,2;0,55\nring-down;0042;23;250;28,4;0,31\n"


def test_dry_run_then_import_then_again(store, tmp_path, capsys):
    file = tmp_path / "day.csv"
    file.write_text(GOOD, encoding="utf-8")
    ask = ("reading", "import", file, "--store", store)
    code, out, err = say(capsys, *ask, "--dry-run")
    assert (code, err, count(store)) == (0, "", 0)
    assert "31.2 Hz" in out
    assert "2 readings would be logged; nothing was" in out
    code, out, _ = say(capsys, *ask)
    assert (code, count(store)) == (0, 2)
    assert "logged 2 readings" in out
    code, out, _ = say(capsys, *ask, "--json")
    answer = json.loads(out)
    assert (code, count(store)) == (0, 2)
    assert (answer["logged"], answer["duplicates"]) == (0, [2, 3])
    assert "in the store already" in answer["warnings"][0]


def test_one_bad_cell_and_nothing_is_logged(store, tmp_path, capsys):
    file = tmp_path / "day.csv"
    file.write_text(GOOD + "ring-down;0042;23;heavy;28,4;0\n", encoding="utf-8")
    ask = ("reading", "import", file, "--store", store)
    code, out, err = say(capsys, *ask)
    assert (code, out, count(store)) == (2, "", 0)
    first, second, last = err.splitlines()
    assert first.startswith("line 4, column mass_g: ")
    assert second.startswith("line 4, column log_decrement: ")
    assert last == f"matdb: {file}: 2 problems; nothing was logged; correct the file and import it again"
    code, out, err = say(capsys, *ask, "--json")
    answer = json.loads(out)
    assert (code, count(store)) == (2, 0)
    assert [(p["line"], p["column"]) for p in answer["problems"]] == [(4, "mass_g"), (4, "log_decrement")]
    assert err.count("\n") == 1


@pytest.fixture
def fitted(store):
    with matdb.open_store(store) as kept:
        for t, f in ((-18.0, 31.2), (23.0, 28.4), (50.0, 27.9)):
            kept.add(matdb.RingDown(part="0042", temperature_c=t, mass_kg=0.25, frequency_hz=f, log_decrement=0.4))
        kept.fit("amber")
    return store


@pytest.mark.slow
def test_a_slip_is_told_with_its_line(fitted, tmp_path, capsys):
    file = tmp_path / "slip.csv"
    rows = "ring-down;0042;10;250;28,9;0,4\nring-down;0042;11;250000;28,9;0,4\nring-down;0042;12;250;28,9;4\n"
    file.write_text(HEAD + rows, encoding="utf-8")
    ask = ("reading", "import", file, "--store", fitted)
    warnings = json.loads(say(capsys, *ask, "--dry-run", "--json")[1])["warnings"]
    assert [w.split(" times")[0].rsplit(" ", 1)[0] for w in warnings] == ["line 3: measured", "line 4: measured"]
    assert "the curve's stiffness" in warnings[0]
    assert warnings[0].endswith("check mass, count, unit and squeeze")
    assert "the curve's damping" in warnings[1]
    code, out, _ = say(capsys, *ask)
    assert (code, count(fitted)) == (0, 6)
    plain = " ".join(out.split())
    assert "Before you rely on it:" in plain
    assert f"{warnings[0]}; 'matdb reading correct' mends it" in plain
    assert "line 2" not in plain


@pytest.mark.slow
def test_many_slips_are_counted_and_a_long_file_is_sampled(fitted, tmp_path, capsys, monkeypatch):
    file = tmp_path / "slips.csv"
    rows = [f"ring-down;0042;{t / 10:.1f};250000;28,9;0,4\n" for t in range(25)]
    file.write_text(HEAD + "".join(rows), encoding="utf-8")
    ask = ("reading", "import", file, "--store", fitted, "--dry-run", "--json")
    warnings = json.loads(say(capsys, *ask)[1])["warnings"]
    assert [w.split(":")[0] for w in warnings[:10]] == [f"line {k}" for k in range(2, 12)]
    assert warnings[10:] == ["and 15 more that the newest fit does not expect"]
    monkeypatch.setattr("matdb.cli.reading._MOST_COMPARED", 5)
    warnings = json.loads(say(capsys, *ask)[1])["warnings"]
    assert [w.split(":")[0] for w in warnings[:5]] == [f"line {k}" for k in (2, 7, 12, 17, 22)]
    assert warnings[5:] == ["only 5 of 25 readings, spread evenly, were held against the newest fit"]


def test_without_a_fit_or_with_problems_nothing_is_expected(store, tmp_path, capsys):
    file = tmp_path / "slip.csv"
    file.write_text(HEAD + "ring-down;0042;11;250000;28,9;0,4\n", encoding="utf-8")
    answer = json.loads(say(capsys, "reading", "import", file, "--store", store, "--json")[1])
    assert (answer["logged"], answer["warnings"]) == (1, [])


def test_export_imports_into_another_store(store, tmp_path, capsys):
    file, out_file, other = tmp_path / "day.csv", tmp_path / "out.csv", tmp_path / "other.sqlite"
    file.write_text(GOOD, encoding="utf-8")
    say(capsys, "reading", "import", file, "--store", store)
    assert say(capsys, "export", "readings", "--csv", out_file, "--store", store)[0] == 0
    with matdb.open_store(other) as kept:
        kept.add(matdb.Material(name="amber", family="silicone"))
        kept.add(matdb.Part(name="0042", material="amber", form=matdb.Ring(16, 6, 5)))
    assert say(capsys, "reading", "import", out_file, "--store", other)[0] == 0
    with matdb.open_store(store) as a, matdb.open_store(other) as b:
        assert [r.reading.to_dict() for r in a.readings()] == [r.reading.to_dict() for r in b.readings()]


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")
@pytest.mark.parametrize("sent", [signal.SIGKILL, signal.SIGINT])
def test_killing_an_import_leaves_all_or_nothing(store, tmp_path, sent):
    file = tmp_path / "big.csv"
    rows = (f"ring-down;0042;{t / 100:.2f};250;31,2;0,55\n" for t in range(-2000, 8000))
    file.write_text(HEAD + "".join(rows), encoding="utf-8")
    command = [sys.executable, "-m", "matdb", "reading", "import", str(file), "--store", str(store)]
    left = set()
    for wait_s in (0.2, 0.6, 0.9, 1.2, 1.6):
        process = subprocess.Popen(
            command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, env=os.environ | {"PYTHONPATH": str(TOP)}
        )
        time.sleep(wait_s)
        process.send_signal(sent)
        err = process.communicate()[1]
        if sent == signal.SIGINT and process.returncode == 130:
            assert err in (b"matdb: stopped\n", b"")
        with matdb.open_store(store) as kept:
            number = len(kept.readings())
            assert kept.records.check() == []
        assert number in (0, 10_000)
        left.add(number)
        if number:
            break
    assert left


@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")
def test_killing_a_fit_leaves_a_store_that_opens(store):
    with matdb.open_store(store) as kept:
        for t, f in ((-18.0, 31.2), (23.0, 28.4), (50.0, 27.9)):
            kept.add(matdb.RingDown(part="0042", temperature_c=t, mass_kg=0.25, frequency_hz=f))
    command = [sys.executable, "-m", "matdb", "fit", "amber", "--store", str(store)]
    for wait_s in (0.2, 0.5, 0.9):
        process = subprocess.Popen(
            command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=os.environ | {"PYTHONPATH": str(TOP)}
        )
        time.sleep(wait_s)
        process.kill()
        process.wait()
        with matdb.open_store(store) as kept:
            assert len(kept.readings()) == 3
            assert kept.records.check() == []
            assert kept.curve("amber").basis in ("readings", "family prior")


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")
def test_ctrl_c_at_any_moment_shows_no_traceback(store):
    """While the program is loaded, while it works, and while it ends."""
    code = "import sys; from matdb.__main__ import main; print('begun', flush=True); sys.exit(main())"
    command = [sys.executable, "-c", code, "store", "info", "--store", str(store)]
    ends = set()
    for step in range(24):
        process = subprocess.Popen(
            command,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env=os.environ | {"PYTHONPATH": str(TOP)},
            preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
        )
        assert process.stdout.readline() == b"begun\n"
        time.sleep(0.005 + 0.02 * step)
        process.send_signal(signal.SIGINT)
        err = process.communicate()[1]
        ends.add(process.returncode)
        assert err in (b"", b"matdb: stopped\n"), err.decode()
    assert ends <= {0, 130, -signal.SIGINT}
    assert ends - {0}
