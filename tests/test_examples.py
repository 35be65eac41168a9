"""The examples run, and README and guide show them as they are."""

import os
import re
import shlex
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from contract.script import command

import matdb

TOP = Path(__file__).parents[1]
EXAMPLES = TOP / "tests" / "examples"
SHOWN = "".join((TOP / name).read_text(encoding="utf-8") for name in ("README.md", "matdb/cli/GUIDE.md"))


def blocks(language):
    return re.findall(rf"^```{language}\n(.*?)^```", SHOWN, flags=re.DOTALL | re.MULTILINE)


@pytest.mark.slow
@pytest.mark.parametrize("example", [pytest.param(p, id=p.name) for p in sorted(EXAMPLES.glob("*.py"))])
def test_an_example_runs_and_says_something(example, tmp_path):
    environment = {name: value for name, value in os.environ.items() if not name.startswith("MATDB")}
    search = os.pathsep.join(filter(None, [str(TOP), environment.get("PYTHONPATH")]))
    done = subprocess.run(
        [sys.executable, "-W", "error", str(example)],
        cwd=tmp_path,
        env=environment | {"PYTHONPATH": search},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip()


@pytest.mark.parametrize(
    ("language", "name"), [("python", "from_python.py"), ("python", "monte_carlo.py"), ("sql", "interpolate.sql")]
)
def test_the_example_is_shown(language, name):
    assert (EXAMPLES / name).read_text(encoding="utf-8") in blocks(language)


def test_the_query_answers_from_the_store_of_the_first_example(tmp_path):
    with matdb.open_store(tmp_path / "bench.sqlite") as store:
        store.add(matdb.Material(name="amber 40A", family="silicone", hardness="40 A"))
        store.add(matdb.Part(name="ring 16x6x5", material="amber 40A", form=matdb.Ring(16, 6, 5)))
        store.publish("amber 40A")
        answer = store.effective("ring 16x6x5", temperature_c=-5.5, frequency_hz=30.0)
    with closing(sqlite3.connect(tmp_path / "bench.sqlite")) as plain:
        ((stiffness, damping),) = plain.execute((EXAMPLES / "interpolate.sql").read_text(encoding="utf-8")).fetchall()
    assert stiffness == pytest.approx(float(answer.stiffness_n_per_mm.median), rel=0.02)
    assert damping == pytest.approx(float(answer.damping_ratio.median), rel=0.05)


@pytest.mark.slow
def test_what_readme_and_guide_show_can_be_followed(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for name, value in {"MATDB_STORE": "bench.sqlite", "COLUMNS": "95", "NO_COLOR": "1", "TERM": "dumb"}.items():
        monkeypatch.setenv(name, value)
    shown = re.findall(r"^\$ (matdb .*)$", SHOWN, flags=re.MULTILINE)
    assert len(shown) > 10
    for line in shown:
        code, _, err = command(shlex.split(line)[1:])
        assert code == 0, f"{line}: {err}"


def test_the_readme_holds_the_first_ten_minutes_alone():
    assert len((TOP / "README.md").read_text(encoding="utf-8")) <= 12_000
