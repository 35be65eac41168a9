"""The demo: the main job on invented data, ending with the ranked answer."""

import csv
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

import matdb
from matdb.cli.demo import demo_scenario
from matdb.shipped import data_folder

TOP = Path(__file__).parents[1]


def demo(*words, **more):
    environment = os.environ | {"PYTHONPATH": str(TOP), "COLUMNS": "150", "NO_COLOR": "1"}
    environment.pop("MATDB_STORE", None)
    return subprocess.run(
        [sys.executable, "-m", "matdb", "demo", *map(str, words)],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
        **({"env": environment | {"PYTHONIOENCODING": "utf-8"}} | more),
    )


@pytest.fixture(scope="module")
def shown(tmp_path_factory):
    """The demo's text, with the folder that it ran in and the store that it filled."""
    folder = tmp_path_factory.mktemp("demo")
    return folder, demo("--store", folder / "demo.sqlite", "--csv", "gel.csv", cwd=folder)


@pytest.fixture(scope="module")
def ranking(shown):
    with matdb.open_store(shown[0] / "demo.sqlite") as store:
        scenario = demo_scenario()
        from matdb.weather.forecast import forecast_range

        return {row.part: row for row in store.suit("demo camera", forecast_range(*scenario.forecast_c))}


@pytest.mark.slow
def test_the_readme_shows_how_it_ends(shown):
    readme = (TOP / "README.md").read_text(encoding="utf-8")
    block = readme.partition("and ends with:\n\n```\n")[2].partition("[...]")[0]
    assert len(block) > 500
    assert " ".join(block.split()) in " ".join(shown[1].stdout.split())


@pytest.mark.slow
def test_it_ends_well_with_the_ranked_answer(shown, ranking):
    _, done = shown
    assert (done.returncode, done.stderr) == (0, "")
    last = done.stdout[done.stdout.index("5. Which part suits tomorrow") :]
    best = min(ranking.values(), key=lambda row: row.rank)
    first = last.splitlines()[2]
    assert first.startswith(f"{best.verdict.capitalize()}, ")
    assert f"fit {best.part}, {best.turns:.2g} turns past first touch" in first
    listed = re.findall(r"^  - (.+?): (.+?) \(", last, re.M)
    assert listed == [(row.part, row.verdict) for row in list(ranking.values())[1:]]


def test_it_says_what_must_be_said(shown):
    text = shown[1].stdout
    assert text.startswith("All materials, parts, readings and the craft of this demo are invented.\n")
    assert text.count("This is an estimate, never an airworthiness approval.") == 1
    assert "propellers off" in text
    # The last screen is the short answer: nine lines and a line a part, before all cautions.
    last = text[text.index("5. Which part suits tomorrow") : text.index("Cautions:")].strip().splitlines()[2:]
    assert len(last) <= 9 + 1 + 7


def test_the_job_is_the_one_that_builders_have(ranking):
    scenario = demo_scenario()
    assert scenario.mounting.has_six_axes
    assert {part.form.kind for part in scenario.parts} >= {"grommet", "printed-strut"}
    assert all(row.all_directions for row in ranking.values())
    best = ranking["gel grommet 13x6+5"]
    assert (best.rank, best.verdict in ("suits", "probably suits"), best.basis) == (1, True, "readings")
    # A screw that can be turned: some turns, and a spacer between the plates.
    assert 1.0 < best.turns < 6.0
    assert best.spacer_mm == pytest.approx(6.0 + 5.0 + 2.0 - best.squeeze_mm)


def test_the_parts_play_their_roles(ranking):
    # The same grommet of silicone is several times as stiff; rings and legs are too soft sideways.
    assert ranking["silicone grommet 13x6+5"].reason.startswith("too stiff in pitch")
    assert ranking["silicone ring 16x6x5"].reason.startswith("too stiff in pitch")
    for name in ("gel ring 14x5x7", "silicone tube 6x4x9", "printed leg 4x3.4x22", "printed leg 6x4.8x24"):
        assert ranking[name].reason.startswith("too soft in yaw"), name
        assert ranking[name].verdict == "does not suit"
    tube = ranking["tan tube 8x5x8"]
    assert 0.05 < tube.probability < 0.95
    assert (tube.basis, tube.rests_on) == ("family prior", "rests on its label only")
    # Yaw decides, which the tube holds by its stiffness sideways.
    assert tube.settle.startswith("a sideways ring-down on tan tube 8x5x8 at ")


def test_the_curve_is_written_only_when_asked(shown, tmp_path):
    folder, _ = shown
    assert sorted(p.name for p in folder.iterdir()) == ["demo.sqlite", "gel.csv"]
    with (folder / "gel.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [float(r["temperature_c"]) for r in rows] == [-20.0 + 5.0 * k for k in range(15)]
    assert rows[0]["extrapolated"] == "true"
    assert rows[5]["extrapolated"] == "false"


@pytest.mark.slow
def test_a_file_that_is_there_is_refused_before_any_work(shown, tmp_path):
    folder, _ = shown
    done = demo("--store", tmp_path / "other.sqlite", "--csv", folder / "gel.csv")
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (1, "", 1)
    assert not (tmp_path / "other.sqlite").exists()


@pytest.mark.slow
def test_a_second_demo_in_the_same_store_is_refused(shown):
    folder, _ = shown
    before = (folder / "demo.sqlite").read_bytes()
    done = demo("--store", folder / "demo.sqlite")
    assert done.returncode == 1
    assert done.stderr.count("\n") == 1
    assert "already" in done.stderr
    assert (folder / "demo.sqlite").read_bytes() == before


@pytest.mark.slow
def test_json_and_a_store_of_its_own(tmp_path, capsys, monkeypatch):
    from matdb.api import Store
    from matdb.cli.run import run

    # The fits are not the point here.
    monkeypatch.setattr(Store, "fit", lambda store, name, **_: store.curve(name))
    mine = tmp_path / "mine.sqlite"
    monkeypatch.setenv("MATDB_STORE", str(mine))
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr("tempfile.tempdir", None)
    assert run(["demo", "--json"]) == 0
    out, err = capsys.readouterr()
    answer = json.loads(out)
    assert err == ""
    assert not mine.exists()
    assert Path(answer["store"]).is_relative_to(tmp_path)
    assert answer["counts"] == {"materials": 4, "parts": 8, "readings": 40}
    assert [r["rank"] for r in answer["ranking"]] == sorted(r["rank"] for r in answer["ranking"])
    assert any("not a measurement" in w for w in answer["warnings"])
    assert "invented" in answer["about"]


def test_the_files_say_that_they_are_invented():
    folder = data_folder()
    assert "Invented" in json.loads((folder / "demo.json").read_text(encoding="utf-8"))["about"]
    lines = (folder / "demo_readings.csv").read_text(encoding="utf-8").splitlines()
    assert lines[0].startswith("# Invented")
    assert all(line.endswith(",invented") for line in lines[2:])


def test_the_readings_agree_with_each_other(shown):
    with matdb.open_store(shown[0] / "demo.sqlite") as store:
        for material in store.materials():
            report = store.curve(material.name).report
            assert not [r for r in report["readings"] if r["fumbled"]]
            off = [abs(r[k]["standardised"]) for r in report["readings"] for k in ("stiffness", "loss") if r.get(k)]
            assert all(x < 3.5 for x in off), material.name
