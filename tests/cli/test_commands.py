"""The commands one by one: what they print, what they store, what their JSON carries."""

import csv
import io
import json
import math
import os
import re
import shlex
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

import matdb
from matdb.cli.screen import band_text, number_text, share_text

TOP = Path(__file__).parents[2]


def python(code, **environment):
    env = {k: v for k, v in os.environ.items() if not k.startswith(("COV", "MATDB"))}
    return subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=False,
        env=env | {"PYTHONPATH": str(TOP)} | environment,
    )


HEAVY = ("scipy", "sqlalchemy", "alembic", "matplotlib")


@pytest.mark.slow
@pytest.mark.parametrize("words", [["--version"], ["--help"], ["suit", "--help"], ["part", "add", "--help"]])
def test_nothing_heavy_is_imported_to_say_little(words):
    code = (
        f"import sys; sys.argv[1:] = {words!r}\n"
        "from matdb.__main__ import main\n"
        f"code = main(); print([m for m in {HEAVY!r} if m in sys.modules], code, file=sys.stderr)"
    )
    done = python(code)
    assert done.stderr.strip() == "[] 0", done.stderr
    assert done.stdout


def test_version(matdb_says):
    assert matdb_says("--version").out == f"matdb {matdb.__version__}\n"


def test_no_words_show_the_help(matdb_says):
    told = matdb_says()
    assert told.code == 0
    assert "Usage: matdb" in told.out
    assert told.out == matdb_says("--help").out


@pytest.mark.slow
def test_the_whole_way_by_hand(matdb_says, tmp_path):
    new = ("--store", tmp_path / "new.sqlite")
    steps = """
        material add slate --family silicone --hardness 20a --service-max 150C
        part add tube --material=slate --form strut --outer 6mm --inner=4mm --length 1cm --thread M3
        reading add ring-down tube --temp -18C --mass 0.33lb --frequency 17Hz --decrement 0.5 --soak 1h --out 6s
        reading add resonance tube --temp 23C --mass 150g --frequency 16Hz --width 1.6Hz
        reading add deflection tube --temp 73.4F --mass 150g --deflection 1.1mm
        reading add modulus slate --temp 0C --frequency 10Hz --storage 850kPa --loss-factor 12%
        reading add hardness slate --temp 23C --value 21A
        mounting add cam --mass 600g --count 4 --rotor 4200rpm..8000rpm --blades 3
    """
    for line in steps.strip().splitlines():
        told = matdb_says(*line.split(), *new)
        assert told.code == 0, told.err
        assert told.err == ""
    readings = matdb_says("reading", "list", "--json", *new).json["readings"]
    assert [r["kind"] for r in readings] == ["ring-down", "resonance", "deflection", "modulus", "hardness"]
    assert readings[0]["mass_kg"] == pytest.approx(0.33 * 0.45359237)
    assert (readings[0]["soak_min"], readings[0]["seconds_out"]) == (60.0, 6.0)
    assert readings[2]["temperature_c"] == pytest.approx(23.0)
    assert (readings[3]["storage_mpa"], readings[3]["loss_factor"]) == (0.85, 0.12)
    part = matdb_says("part", "show", "tube", "--json", *new).json["part"]
    assert part["form"] == {"form": "strut", "outer_mm": 6.0, "inner_mm": 4.0, "length_mm": 10.0, "bonded": True}
    # The sheet above fitted what was read before it told a stiffness.
    fit = matdb_says("fit", "slate", "--json", *new).json
    assert (fit["basis"], fit["reading_count"], fit["fit"]) == ("readings", 5, 2)
    answer = matdb_says("suit", "--mounting", "cam", "--temp", "-10C..25C", "--json", *new).json
    assert [row["part"] for row in answer["ranking"]] == ["tube"]
    assert answer["mounting"]["blades"] == 3


def test_the_store_may_be_named_before_and_after(matdb_says, tmp_path):
    a, b = tmp_path / "a.sqlite", tmp_path / "b.sqlite"
    assert matdb_says("--store", a, "material", "add", "in a").code == 0
    assert matdb_says("material", "add", "in b", "--store", b).code == 0
    names = {
        file.name: [m["name"] for m in matdb_says("--store", file, "material", "list", "--json").json["materials"]]
        for file in (a, b)
    }
    assert names == {"a.sqlite": ["in a"], "b.sqlite": ["in b"]}
    assert [m["name"] for m in matdb_says("material", "list", "--json").json["materials"]] == ["amber", "tan"]


def test_long_lists_come_a_page_at_a_time(matdb_says, store):
    """A store of a hundred parts and more is told in pages on the screen, the way on first; to a program, whole."""
    with matdb.open_store(store) as kept:
        pad = matdb.Pad(diameter_mm=8, height_mm=4)
        kept.add([matdb.Part(name=f"pad {k:03}", material="amber", form=pad) for k in range(120)])
        kept.add([matdb.HardnessReading(material="amber", temperature_c=20 + k / 10, value="40 A") for k in range(120)])
    first = matdb_says("part", "list").out.splitlines()
    last = first[-1].split("  ")[0]
    assert first[0] == f'the first 100 parts; for the next add: --after "{last}"'
    assert len(first) == 1 + 2 + 100
    rest = matdb_says("part", "list", "--after", last).out
    assert "--after" not in rest
    assert last not in rest
    whole = matdb_says("part", "list", "--json").json
    told = [line.split("  ")[0] for line in first[3:] + rest.splitlines()[2:]]
    assert (told, whole["next_after"]) == ([part["name"] for part in whole["parts"]], None)
    some = matdb_says("part", "list", "--json", "--limit", 2).json
    assert ([part["name"] for part in some["parts"]], some["next_after"]) == (told[:2], told[1])
    newest = matdb_says("reading", "list").out.splitlines()
    number = int(newest[3].split()[0])
    assert newest[0] == f"the newest 100 readings; for those before add: --before {number}"
    before = matdb_says("reading", "list", "--before", number, "--limit", 1, "--json").json
    assert [each["number"] for each in before["readings"]] == [number - 1] == [before["next_before"]]
    told = matdb_says("reading", "list", "--before", number, "--limit", 2).out
    assert told.startswith(f"2 readings before {number}; for those before add: --before ")
    assert matdb_says("reading", "list", "--part", "pad 001").out.strip() == "no such reading"
    told = matdb_says("part", "list", "--limit", 0)
    assert (told.code, "--limit" in told.err, "1 to 1000000" in told.err) == (2, True, True), told.err


def test_leading_zeros_survive(matdb_says):
    assert "0042" in matdb_says("part", "list").out
    assert matdb_says("part", "show", "0042", "--json").json["part"]["name"] == "0042"


def test_names_that_look_like_markup_are_printed_as_they_are(matdb_says):
    assert matdb_says("material", "add", "[red]x[/red]").code == 0
    assert "[red]x[/red]" in matdb_says("material", "list").out


def test_a_part_may_be_switched_to_frictionless_faces(matdb_says):
    words = ("part", "add", "--not-bonded", "loose", "--material", "amber", "--form", "pad")
    told = matdb_says(*words, "--diameter", '0.5"', "--height", "8mm", "--json")
    form = {"form": "pad", "diameter_mm": 12.7, "height_mm": 8.0, "bonded": False, "load_points": []}
    assert told.json["part"]["form"] == form


@pytest.mark.slow
def test_dimensions_that_cannot_be_meant_are_asked_back_before_they_are_stored(matdb_says, tmp_path):
    words = (
        "part",
        "add",
        "big",
        "--material",
        "amber",
        "--form",
        "ring",
        "--outer",
        "355mm",
        "--inner",
        "6mm",
        "--height",
    )
    told = matdb_says(*words, "5mm")
    assert told.code == 2
    assert "outer of 355 mm" in told.err
    assert "--yes" in told.err
    # However much there is to ask back, no number is cut.
    flat = ("part", "add", "flat", "--material", "amber", "--form", "ring", "--outer", "151mm", "--inner", "4.25mm")
    told = matdb_says(*flat, "--height", "0.15mm")
    assert "a hole of 4.25 mm in 151 mm (a diameter ratio of 0.028): hardly" in told.err
    assert matdb_says("part", "show", "big").code == 1
    assert matdb_says(*words, "5mm", "--yes").code == 0
    file = tmp_path / "big.svg"
    assert str(file) in matdb_says("part", "show", "big", "--picture", str(file)).out.replace("\n", "")
    assert "⌀355" in file.read_text(encoding="utf-8")
    assert matdb_says("part", "show", "big", "--picture", str(file)).code == 1


@pytest.mark.parametrize(
    ("slip", "says"),
    [
        (("--mass", "4.1g"), "mass of 4.1 g"),
        (("--spread", "8x6mm"), "isolators 8 mm apart at the widest"),
        (("--spread", "80x60cm"), "isolators 800 mm apart at the widest under a camera of 110 mm"),
        (("--spread", "12x11mm"), "isolators 12 mm apart at the widest under a camera of 110 mm"),
        (("--rotor", "60rpm..100rpm"), "manoeuvre band: '8 Hz' is not allowed"),
        (("--manoeuvre", "30Hz"), "at most 28 Hz with rotors from 140 Hz on"),
    ],
)
def test_a_mounting_that_cannot_be_meant_is_asked_back_before_it_is_stored(matdb_says, slip, says):
    usual = {"--mass": "410g", "--rotor": "8400rpm..14000rpm", "--manoeuvre": "8Hz", "--spread": "120x100mm"}
    usual |= {"--count": "4", "--box": "110x80x60mm"}
    words = [word for pair in usual.items() for word in pair]
    assert matdb_says("mounting", "add", "usual", *words).code == 0
    told = matdb_says("mounting", "edit", "usual", *slip, "--why", "typed anew")
    assert (told.code, says in told.err) == (2, True), told.err
    slipped = [word for pair in (usual | dict([slip])).items() for word in pair]
    told = matdb_says("mounting", "add", "slip", *slipped)
    assert (told.code, says in told.err) == (2, True), told.err
    assert matdb_says("mounting", "show", "slip").code == 1
    assert matdb_says("mounting", "add", "slip", *slipped, "--yes").code == 0
    # What is stored may be annotated without being asked again.
    assert matdb_says("mounting", "edit", "slip", "--note", "as meant").code == 0


def test_a_part_is_not_pressed_past_its_height(matdb_says):
    words = ("reading", "add", "deflection", "ring 16x6x5", "--temp", "20C", "--mass", "2kg", "--deflection")
    told = matdb_says(*words, "5mm")
    assert (told.code, "--deflection: 5.0 is not allowed; it must be below 5 mm" in told.err) == (2, True), told.err
    assert matdb_says(*words, "0.5mm").code == 0


def test_what_counts_no_more_is_told(matdb_says):
    told = matdb_says("reading", "remove", "2", "--why", "slipped")
    assert "ring-down on 0042, 21.6 Hz, decrement 0.3, 150 g" in told.out


def test_a_near_reading_counts_as_measured_there(matdb_says):
    words = ("stiffness", "0042", "--mass", "150g", "--temp")
    assert "guessed" not in matdb_says(*words, "-18.4C").out
    assert "guessed below -18 degC" in matdb_says(*words, "-18.6C").out


def test_over_temperatures_and_frequencies_the_corners_are_told(matdb_says):
    told = matdb_says("stiffness", "0042", "--temp", "5C..35C", "--frequency", "1Hz..100Hz").out.splitlines()
    states = [line.partition(":")[0] for line in told[1:5]]
    assert states == [f"{t} degC, {hz} Hz" for t in (5, 35) for hz in (1, 100)]


def test_a_warm_car_is_named_in_the_answer(matdb_says):
    assert (
        "For 0 degC with parts from 22 degC;"
        in matdb_says("suit", "--mounting", "cam", "--temp", "0C", "--car", "22C").out
    )
    why = matdb_says("suit", "--mounting", "cam", "--temp", "0C", "--why", "all").out
    assert "without damping" in why
    assert "parts from" not in why


def test_every_form_can_be_added_from_its_fields(matdb_says):
    from dataclasses import fields

    from matdb.cli.dimensions import form_from_words, form_options
    from matdb.form import FORMS

    for kind in FORMS:
        options = form_options(kind)
        assert len(options.split(", ")) == len(fields(FORMS[kind])), kind
    built = form_from_words("ring", {"--outer": "16mm", "--inner": "6mm", "--height": "5mm"})
    assert built == matdb.Ring(16, 6, 5)


def test_stiffness_of_a_measured_part(matdb_says, store):
    told = matdb_says("stiffness", "0042", "--temp", "-5C", "--mass", "600g", "--count", "4")
    assert told.code == 0
    assert "Measured at -18 to 50 degC" in told.out
    answer = matdb_says("stiffness", "0042", "--temp", "-5C", "--mass", "600g", "--count", "4", "--json").json
    (row,) = answer["rows"]
    with matdb.open_store(store) as kept:
        expected = kept.effective("0042", -5.0, mass_kg=0.6, count=4)
    assert row["stiffness_n_per_mm"] == pytest.approx(expected.stiffness_n_per_mm.to_dict())
    assert row["natural_frequency_hz"] == pytest.approx(expected.natural_frequency_hz.to_dict())
    assert band_text(*row["stiffness_n_per_mm"].values()) in told.out
    # 150 g on one part at its own natural frequency: k = m (2 pi f)^2.
    k = 0.15 * (2 * math.pi * row["natural_frequency_hz"]["median"]) ** 2 * 1e-3
    assert row["stiffness_n_per_mm"]["median"] == pytest.approx(k, rel=0.01)


def test_answers_outside_the_readings_say_so_on_screen_in_json_and_in_csv(matdb_says, tmp_path):
    file = tmp_path / "k.csv"
    words = ("stiffness", "0042", "--temp", "20C", "--temp", "-45C", "--mass", "150g", "--csv", file)
    told = matdb_says(*words)
    assert "Measured at -18 to 50 degC; guessed below -18 degC" in told.out
    why = matdb_says(*words, "--force", "--why").out
    assert "readings, extrapolated" in why
    assert "outside the measured temperatures (-18 to 50 degC)" in why
    answer = matdb_says(*words, "--json", "--force").json
    assert [r["extrapolated"] for r in answer["rows"]] == [False, True]
    assert any("outside the measured" in w for w in answer["warnings"])
    rows = list(csv.DictReader(io.StringIO(file.read_text(encoding="utf-8"))))
    assert [r["extrapolated"] for r in rows] == ["false", "true"]
    assert "outside the measured" not in rows[0]["warnings"]
    assert "outside the measured" in rows[1]["warnings"]
    assert {r["basis"] for r in rows} == {"readings"}


def test_answers_from_the_prior_say_so_on_screen_in_json_and_in_csv(matdb_says, tmp_path):
    file = tmp_path / "k.csv"
    words = ("stiffness", "pad", "--temp", "-5C", "--frequency", "30Hz", "--csv", file)
    told = matdb_says(*words)
    assert "Rests on its label only" in told.out
    why = matdb_says(*words, "--force", "--why").out
    assert "family prior" in why
    assert "not a measurement" in why
    answer = matdb_says(*words, "--json", "--force").json
    assert answer["basis"] == "family prior"
    assert any("not a measurement" in w for w in answer["warnings"])
    (row,) = csv.DictReader(io.StringIO(file.read_text(encoding="utf-8")))
    assert row["basis"] == "family prior"
    assert row["extrapolated"] == "true"
    assert "not a measurement" in row["warnings"]


@pytest.mark.slow
def test_a_stale_fit_says_so_until_it_is_made_again(matdb_says):
    ask = ("curve", "amber", "--temp", "0C", "--as-fitted")
    assert "older than the newest reading" not in matdb_says(*ask).out
    matdb_says("reading", "add", "hardness", "amber", "--temp", "23C", "--value", "41 A")
    assert "run 'matdb fit \"amber\"'" in matdb_says(*ask).out
    assert "stale" in matdb_says("material", "list").out
    assert matdb_says(*ask, "--json").json["stale"] is True
    assert "fitting them first" in matdb_says(*ask[:-1]).err
    assert "older than the newest reading" not in matdb_says(*ask).out
    # The old answer can still be had.
    assert matdb_says(*ask, "--fit", "1", "--json").json["fit"] == 1


@pytest.mark.slow
@pytest.mark.parametrize(
    "ask",
    [
        ("suit", "--mounting", "cam", "--temp", "0C"),
        ("cover", "--mounting", "cam", "--temp", "0C..5C"),
        ("squeeze", "pair", "--mass", "600g", "--temp", "0C"),
        ("next", "--mounting", "cam", "--temp", "0C", "--temps", "23C", "--masses", "600g", "--kinds", "deflection"),
        ("stiffness", "0042", "--temp", "0C", "--mass", "150g"),
        ("protocol", "0042"),
        ("page", "cam", "--out", "page.html", "--temp", "0C..5C", "--force"),
    ],
    ids=lambda ask: ask[0],
)
def test_a_question_fits_what_is_newer_first(matdb_says, store, ask, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    halves = matdb.GrommetPair(matdb.Ring(12, 5, 4), plate_mm=2.0, thread="M3")
    with matdb.open_store(store) as kept:
        kept.add(matdb.Part(name="pair", material="amber", form=halves))
        kept.fit("amber")
    matdb_says("reading", "add", "hardness", "amber", "--temp", "23C", "--value", "41 A")
    old = matdb_says(*ask, "--as-fitted")
    assert (old.code, old.err) == (0, "")
    new = matdb_says(*ask)
    assert new.code == 0
    assert new.err == "matdb: amber has readings or records newer than its fit; fitting them first\n"
    assert matdb_says(*ask).err == ""


def test_the_words_of_the_screens_are_explained(matdb_says):
    told = matdb_says("words")
    for word in ("spacer", "first touch", "rests on its label only", "lift-off", "brackets"):
        assert f"\n{word}: " in told.out
    assert "'suits' from 98%; 'probably suits' from 75%" in told.out
    assert [each["name"] for each in matdb_says("words", "lift", "--json").json["words"]] == ["lift-off"]
    unknown = matdb_says("words", "flux")
    assert (unknown.code, unknown.err.count("\n")) == (2, 1)


def test_curve_covers_range_and_frequencies(matdb_says):
    rows = matdb_says("curve", "amber", "--temp", "-20C..50C", "--step", "35K", "--frequency", "1Hz..10Hz", "--json")
    rows = rows.json["rows"]
    assert sorted({r["temperature_c"] for r in rows}) == [-20.0, 15.0, 50.0]
    assert len({r["frequency_hz"] for r in rows}) == 6
    bands = [r["storage_mpa"] for r in rows]
    assert all(b["low"] < b["median"] < b["high"] for b in bands)


def test_report_names_each_reading(matdb_says):
    told = matdb_says("report", "amber")
    assert told.code == 0
    assert told.out.count("ring-down") == 3
    for word in ("told by", "prior", "readings", "read / expected"):
        assert word in told.out
    report = matdb_says("report", "amber", "--json").json["report"]
    assert [r["number"] for r in report["readings"]] == [1, 2, 3]
    assert {p["from"] for p in report["parameters"]} == {"prior", "readings"}


def test_suit_shows_probability_beside_every_verdict(matdb_says):
    told = matdb_says("suit", "--mounting", "cam", "--temp", "-10C..25C", "--why", "all", "--cautions")
    assert told.code == 0
    answer = matdb_says("suit", "--mounting", "cam", "--temp", "-10C..25C", "--json").json
    assert [r["rank"] for r in answer["ranking"]] == sorted(r["rank"] for r in answer["ranking"])
    assert {r["part"] for r in answer["ranking"]} == {"0042", "pad", "ring 16x6x5"}
    for row in answer["ranking"]:
        assert f"{row['part']}: {row['verdict']} ({share_text(row['probability'])})" in told.out
    assert told.out.count("never an airworthiness approval") == 1
    assert "propellers off" in told.out
    assert answer["window_hz"] == {"low": 16.0, "high": pytest.approx(28.0)}
    prior = next(r for r in answer["ranking"] if r["part"] == "pad")
    assert prior["basis"] == "family prior"
    assert any(w.startswith("pad: ") and "not a measurement" in w for w in answer["warnings"])
    # The answer comes first, the same in JSON.
    assert next(key for key in answer if key not in ("matdb", "schema", "command", "files")) == "answer"
    assert " ".join(told.out.split()).startswith(" ".join(answer["answer"]["lines"]))
    for name in ("part", "verdict", "probability", "squeeze_mm", "turns", "spacer_mm", "deciding", "reason", "settle"):
        assert answer["answer"][name] == answer["ranking"][0][name]


def test_suit_without_a_stored_mounting_is_the_same(matdb_says):
    stored = matdb_says("suit", "--mounting", "cam", "--temp", "-10C..5C", "--part", "0042", "--json").json
    words = ("--mass", "0.6kg", "--count", "4", "--rotor", "70Hz..8000rpm", "--manoeuvre", "8Hz")
    given = matdb_says("suit", *words, "--temp", "-10C..5C", "--part", "0042", "--json").json
    assert given["ranking"] == stored["ranking"]


def test_correction_keeps_the_old_reading(matdb_says):
    told = matdb_says("reading", "correct", "2", "--why", "scale showed 160 g", "--mass", "160g", "--note", "again")
    assert told.code == 0
    rows = matdb_says("reading", "list", "--all", "--json").json["readings"]
    old, new = rows[1], rows[-1]
    assert (old["counts"], old["mass_kg"]) == (False, 0.15)
    assert "scale showed 160 g" in old["retired_why"]
    assert (new["counts"], new["mass_kg"], new["corrects"], new["note"]) == (True, 0.16, 2, "again")
    assert new["taken_at"] == old["taken_at"]
    assert matdb_says("reading", "remove", "1", "--why", "slipped").code == 0
    assert [r["number"] for r in matdb_says("reading", "list", "--json").json["readings"]] == [3, 4]


def test_mounting_from_a_file(matdb_says, tmp_path):
    file = tmp_path / "cam.json"
    values = {"mass_kg": 0.9, "count": 4, "rpm_idle": 3000, "rpm_full": 6000, "box_mm": [80, 60, 50]}
    file.write_text(json.dumps(values), encoding="utf-8")
    assert matdb_says("mounting", "add", "boxed", "--from", file).code == 0
    shown = matdb_says("mounting", "show", "boxed", "--json").json
    assert shown["mounting"]["box_mm"] == [80.0, 60.0, 50.0]
    assert [o["order"] for o in shown["rotor_orders"]] == [1.0, 2.0]
    file.write_text(json.dumps(values | {"blade": 2}), encoding="utf-8")
    told = matdb_says("mounting", "add", "other", "--from", file)
    assert (told.code, told.err.count("\n")) == (2, 1)
    assert "mounting blade: 2 is not allowed" in told.err


ANSWERS = [
    ("material", "list"),
    ("material", "show", "amber"),
    ("material", "families"),
    ("part", "list"),
    ("part", "show", "0042"),
    ("part", "forms"),
    ("reading", "list"),
    ("mounting", "list"),
    ("mounting", "show", "cam"),
    ("report", "amber"),
    ("report", "tan"),
    ("curve", "amber", "--temp", "-60C"),
    ("stiffness", "pad", "--temp", "0C", "--frequency", "30Hz", "--axis", "shear"),
    ("suit", "--mounting", "cam", "--temp", "0C"),
]


@pytest.mark.parametrize("words", ANSWERS, ids=[" ".join(w[:2]) for w in ANSWERS])
def test_json_is_one_document_with_warnings(matdb_says, words):
    told = matdb_says(*words, "--json")
    assert told.code == 0, told.err
    assert told.err == ""
    assert told.json["command"] == " ".join(w for w in words[: 2 if words[0] in GROUPS else 1])
    assert isinstance(told.json["warnings"], list)
    assert matdb_says(*words).code == 0


GROUPS = {"material", "part", "reading", "mounting", "export"}


@pytest.mark.slow
@pytest.mark.parametrize("encoding", ["cp1252", "ascii"])
def test_old_consoles_get_what_they_can_show(store, encoding):
    done = subprocess.run(
        [sys.executable, "-m", "matdb", "suit", "--mounting", "cam", "--temp", "0C", "--store", str(store)],
        capture_output=True,
        env=os.environ | {"PYTHONPATH": str(TOP), "PYTHONIOENCODING": encoding},
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert b"0042" in done.stdout
    assert done.stderr == b""


def test_progress_only_after_a_while_and_only_on_a_terminal(monkeypatch):
    from matdb.cli import screen

    class Terminal(io.StringIO):
        def isatty(self):
            return True

    for stream, after, drawn in ((Terminal(), 0.0, True), (Terminal(), 60.0, False), (io.StringIO(), 0.0, False)):
        monkeypatch.setattr(sys, "stderr", stream)
        monkeypatch.setattr(screen.Progress, "after_s", after)
        with screen.Progress("fit of [amber]") as update:
            update(0.0)
            update(0.5)
        assert bool(stream.getvalue()) is drawn
        assert not drawn or "fit of [amber]" in stream.getvalue()


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (12.345, "12.3"),
        (0.0123456, "0.0123"),
        (1234.5, "1230"),
        (99.96, "100"),
        (0.9999, "1.00"),
        (-4.0, "-4.00"),
        (0.0, "0"),
        (1.5e9, "1.50e+09"),
        (2e-7, "2.00e-07"),
        (None, "-"),
        (math.nan, "-"),
    ],
)
def test_numbers_have_three_digits(value, text):
    assert number_text(value) == text


def test_bands_and_shares_in_words():
    assert band_text(12.3, 11.1, 13.8) == "12.3 (11.1-13.8)"
    assert band_text(-1.0, -2.0, 1.0) == "-1.00 (-2.00 to 1.00)"
    told = [share_text(p) for p in (0.0, 0.004, 0.5, 0.996, 1.0)]
    assert told == ["<1%", "<1%", "50%", ">99%", ">99%"]


def test_the_store_as_a_whole(matdb_says, store, tmp_path):
    answer = matdb_says("store", "info", "--json").json
    assert answer["store"] == str(store)
    assert (answer["counts"]["parts"], answer["counts"]["readings"]) == (3, 3)
    assert matdb_says("store", "check").out == f"{store}: sound\n"
    copy = tmp_path / "copy.sqlite"
    assert matdb_says("store", "backup", copy).code == 0
    assert matdb_says("part", "list", "--store", copy).out == matdb_says("part", "list").out
    told = matdb_says("store", "backup", copy)
    assert (told.code in (1, 2), told.err.count("\n")) == (True, 1)
    connection = sqlite3.connect(store)
    with connection:
        connection.execute("PRAGMA ignore_check_constraints = on")
        connection.execute("UPDATE reading SET temperature_c = -500 WHERE id = 1")
    connection.close()
    told = matdb_says("store", "check", "--json")
    assert told.code == 1
    assert told.json["sound"] is False
    assert any(w.startswith("reading 1: ") for w in told.json["warnings"])


@pytest.mark.parametrize("width", range(40, 140, 9))
def test_tables_fit_the_screen_and_break_between_words(width, capsys, monkeypatch):
    from matdb.cli import screen

    monkeypatch.setenv("COLUMNS", str(width))
    row = ["a long name of a part", "12.3 (11.1-13.8)", "reaches past the end"]
    screen.table(["part", "natural frequency, Hz", "reason"], [row], [row], right=(1,))
    out = capsys.readouterr().out
    assert max(map(len, out.splitlines())) <= width
    assert out.count("(11.1-13.8)") == 2
    assert out.count("reaches") == 2
    assert "reason" in out


@pytest.mark.slow
def test_fit_without_a_name_fits_what_is_not_current(matdb_says):
    assert matdb_says("fit").out.startswith("Every fit is current.")
    words = ("reading", "add", "ring-down", "pad", "--temp", "5C", "--mass", "300g", "--frequency", "30Hz")
    assert matdb_says(*words).code == 0
    fits = matdb_says("fit", "--json").json["fits"]
    assert [each["material"] for each in fits] == ["tan"]
    assert matdb_says("material", "list", "--json").json["materials"][1]["fit"] == "current"


def test_advice_is_for_the_temperatures_that_the_user_has(matdb_says, monkeypatch):
    monkeypatch.setenv("MATDB_TEMPS", "-12C,4C,21C")
    steps = matdb_says("protocol", "0042", "--json").json["steps"]
    assert [step["temperature_c"] for step in steps] == [-12.0, 4.0, 21.0]
    ranked = matdb_says("next", "0042", "--temp", "-10C..25C", "--mass", "150g", "--json").json
    assert {row["temperature_c"] for row in ranked["readings"]} <= {-12.0, 4.0, 21.0}
    # An option is stronger.
    steps = matdb_says("protocol", "0042", "--temp", "50C", "--json").json["steps"]
    assert [step["temperature_c"] for step in steps] == [50.0]


@pytest.mark.slow
def test_the_sheet_of_a_screwed_pair_says_to_soak_it_assembled(matdb_says):
    halves = ("--lower", "ring 14x5x7mm", "--upper", "ring 14x5x5mm", "--plate", "2mm", "--thread", "M3")
    assert matdb_says("part", "add", "pair", "--material", "amber", "--form", "grommet-pair", *halves).code == 0
    sheet = matdb_says("protocol", "pair", "--turns", "3", "--json").json["markdown"]
    assert "3 turns past first touch) and soak it assembled" in sheet
    assert "Soak the part alone" not in sheet
    assert "Soak the part alone" in matdb_says("protocol", "0042", "--json").json["markdown"]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("stiffness", "0042", "--frequency", "30Hz"), None),
        (("suit", "--mounting", "cam"), "one, or a range such as -5C..70F"),
        (("modes", "cam", "0042"), "give one alone"),
    ],
    ids=lambda words: words and words[0],
)
def test_temperatures_may_be_listed_where_several_are_taken(matdb_says, words, says):
    told = matdb_says(*words, "--temp=-5C, 21degreesC,70F", "--json")
    if says:
        assert told.code == 2
        assert says in told.err
    else:
        assert [row["temperature_c"] for row in told.json["rows"]] == pytest.approx([-5.0, 21.0, 190.0 / 9.0])
    assert "write -5.21C" in matdb_says(*words, "--temp=-5,21C").err  # a decimal comma, not a list


@pytest.mark.slow
def test_a_part_is_squeezed_by_turns_wherever_its_modes_are_asked(matdb_says):
    camera = ("--mass", "600g", "--count", "4", "--rotor", "4200rpm..8000rpm", "--spread", "80x60mm")
    assert matdb_says("mounting", "add", "six", *camera, "--box", "100x80x60mm").code == 0
    pair = ("part", "add", "pair", "--material", "amber", "--form", "grommet-pair", "--lower", "ring 12x5x4mm")
    assert matdb_says(*pair, "--plate", "2mm", "--thread", "M3").code == 0
    asked = ("modes", "six", "pair", "--temp", "21C", "--json")
    by_turns, by_length = (matdb_says(*asked, *how).json for how in (("--turns", "2"), ("--squeeze", "1mm")))
    assert by_turns["squeeze_mm"] == 1.0  # two turns of M3: 0.5 mm each (ISO 261)
    assert by_turns["modes"] == by_length["modes"]


@pytest.mark.slow
def test_a_proposal_that_hardly_holds_is_kept_and_the_first_line_says_so(matdb_says):
    sizes = ("--outer", "30mm", "--inner", "5mm", "--height", "3mm")
    told = matdb_says("size", "cam", "--material", "amber", "--form", "ring", *sizes, "--temp", "5C", "--keep", "flat")
    assert told.code == 0, told.err
    assert "holds with <1 %; stored all the same as part flat." in told.out.partition("\nFor")[0].replace("\n", " ")
    assert told.out.count("tored") == 1
    assert matdb_says("part", "show", "flat").code == 0


def test_the_amplitude_of_the_readings_is_told_of_once(matdb_says):
    asked = ("stiffness", "0042", "--temp", "5C", "--frequency", "30Hz", "--json")
    plain, told = (matdb_says(*asked, *how).json["warnings"] for how in ((), ("--amplitude", "0.1mm")))
    assert ["which amplitude" in text for text in plain] == [True]
    assert sum("amplitude" in text for text in told) == 1
    assert any("which piece of several" in text for text in told)


def test_a_dimension_may_be_told_by_the_first_words_of_its_name(matdb_says):
    words = ("part", "add", "leg", "--material", "tan", "--form", "printed-strut", "--outer", "6mm", "--length", "22mm")
    told = matdb_says(*words, "--walls", "3", "--infill", "20%", "--json")
    assert told.code == 0, told.err
    assert told.json["part"]["form"]["infill_share"] == 0.2
    # Two begin so: neither is meant.
    assert "'--fla'" in matdb_says(*words, "--fla", "8mm").err
    assert matdb_says(*words, "--low", "8mm").code == 2


def test_the_forms_are_a_short_list_and_one_tells_what_each_dimension_is(matdb_says):
    short = matdb_says("part", "forms").out
    assert len(short.splitlines()) <= 25
    for form in matdb_says("part", "forms", "--json").json["forms"]:
        told = matdb_says("part", "forms", form["form"]).out
        said = " ".join(told.split())
        for option in re.findall(r"--[a-z-]+(?= (?:LENGTH|NUMBER|TEXT|ANGLE|SHARE)\b)", form["dimensions"]):
            assert re.search(rf"{option}(, --[a-z-]+)*: [A-Z\"]", said), (form["form"], option)


@pytest.mark.slow
def test_the_examples_of_the_help_are_commands(matdb_says, tmp_path, monkeypatch):
    from matdb.cli.app import root_command

    def examples(command):
        for name in getattr(command, "commands", ()):
            yield from examples(command.get_command(None, name))
        for text in (" ".join(each.split()) for each in (command.help or "").split("\n\n")):
            if text.startswith("For instance: "):
                yield from re.findall(r"matdb (.+?)(?:; or|, or|\.$)", text)

    monkeypatch.chdir(tmp_path)
    found = list(examples(root_command()))
    assert len(found) >= 20
    for example in found:
        if not example.startswith(("bench", "reading trace")):
            # Names that are not there are no fault of an example; words that no command takes are.
            told = matdb_says(*shlex.split(example))
            assert told.code != 2, (example, told.err)
