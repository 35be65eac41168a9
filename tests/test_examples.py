"""The examples run, and README and guide show them as they are."""

import json
import math
import os
import random
import re
import shlex
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
from contract.script import command

import matdb
from matdb.exchange.tables import part_table, write_table

TOP = Path(__file__).parents[1]
EXAMPLES = TOP / "tests" / "examples"
SHOWN = "".join((TOP / name).read_text(encoding="utf-8") for name in ("README.md", "matdb/cli/GUIDE.md"))


def blocks(language):
    return re.findall(rf"^```{language}\n(.*?)^```", SHOWN, flags=re.DOTALL | re.MULTILINE)


@pytest.mark.slow
@pytest.mark.parametrize(
    "example", [pytest.param(p, id=p.name) for p in sorted(EXAMPLES.glob("*.py")) if p.stem != "look_up"]
)
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


@pytest.fixture(scope="module")
def table(tmp_path_factory):
    """A ring's table as files, and 50 states with what the library answers there."""
    folder = tmp_path_factory.mktemp("table")
    draw = random.Random(20)
    hertz = [math.exp(draw.uniform(0.0, math.log(99.9))) for _ in range(50)]
    states = [(round(draw.uniform(-40.0, 59.9), 2), round(f, 3)) for f in hertz]
    states += [(-40.0, 1.0), (60.0, 1.0), (-40.0, 100.0), (60.0, 100.0), (59.5, 100.0), (60.0, 37.0), (0.0, 30.0)]
    with matdb.open_store(folder / "bench.sqlite") as store:
        store.add(matdb.Material(name="amber 40A", family="silicone", hardness="40 A"))
        store.add(matdb.Part(name="ring 16x6x5", material="amber 40A", form=matdb.Ring(16, 6, 5)))
        store.publish("amber 40A")
        for name in ("table.csv", "table.json"):
            write_table(store, folder / name, "table", part_table(store, ["ring 16x6x5"], "axial"))
        found = store.effective("ring 16x6x5", *np.array(states).T)
    return folder, states, np.stack([found.stiffness_n_per_mm.median, found.damping_ratio.median], axis=1)


OUTSIDE = [(-40.5, 30.0), (60.2, 30.0), (5.0, 0.5), (5.0, 101.0)]


def looked_up(command, table):
    """What a program answers that reads states and writes numbers, lines of both."""
    folder, states, truth = table

    def ask(states):
        typed = "".join(f"{t} {f}\n" for t, f in states)
        return subprocess.run(command, input=typed, capture_output=True, text=True, check=False, cwd=folder)

    done = ask(states)
    assert done.returncode == 0, done.stderr
    np.testing.assert_allclose(np.array(done.stdout.split(), float).reshape(-1, 2), truth, rtol=0.011)
    for state in OUTSIDE:  # half of the nodes would be half of the stiffness
        refused = ask([state])
        assert refused.returncode == 1, state
        assert "outside the table" in refused.stderr
        assert refused.stdout.split() == []


def test_python_alone_looks_up_in_the_table(table):
    looked_up([sys.executable, str(EXAMPLES / "look_up.py"), "table.csv"], table)


@pytest.mark.skipif(not shutil.which("node"), reason="no JavaScript engine outside a browser here")
def test_javascript_looks_up_in_the_table(table):
    script = f"""
        import {{ lookUp }} from {json.dumps((EXAMPLES / "look_up.mjs").as_uri())};
        import {{ readFileSync }} from "node:fs";
        const {{ rows }} = JSON.parse(readFileSync("table.json"));
        for (const line of readFileSync(0, "utf8").trim().split("\\n"))
          console.log(Object.values(lookUp(rows, ...line.split(" ").map(Number))).join(" "));"""
    looked_up(["node", "--input-type=module", "-e", script], table)


@pytest.mark.skipif(not shutil.which("g++"), reason="no C++ compiler here")
def test_cpp_looks_up_in_the_table(table):
    program = table[0] / "look_up"
    subprocess.run(["g++", "-std=c++17", "-Wall", "-Werror", "-o", program, EXAMPLES / "look_up.cpp"], check=True)
    looked_up([str(program), "table.csv"], table)


def test_sql_looks_up_at_any_frequency(table):
    folder, states, truth = table
    query = (EXAMPLES / "look_up.sql").read_text(encoding="utf-8")
    with closing(sqlite3.connect(folder / "bench.sqlite")) as plain:
        plain.create_function("ln", 1, math.log)  # not every build has it
        about = {"part": "ring 16x6x5", "axis": "axial"}
        found = [plain.execute(query, about | {"t": t, "f": f}).fetchone() for t, f in states]
        assert [plain.execute(query, about | {"t": t, "f": f}).fetchall() for t, f in OUTSIDE] == [[]] * len(OUTSIDE)
    np.testing.assert_allclose(found, truth, rtol=0.011)
