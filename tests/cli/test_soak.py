"""``matdb soak``, and what soak and drift say when a reading is logged."""

import re

import pytest

import matdb
from matdb.bench.thermal.body import Body
from matdb.bench.thermal.soak import check_soak, drift, soak

RING = Body(5.0, 16.0, 6.0)


def test_the_table_is_that_of_the_bench(matdb_says):
    told = matdb_says("soak", "ring 16x6x5", "--temp", "-18C", "--minutes", "10", "--out", "8s", "--json")
    assert told.code == 0
    row = told.json["rows"][0]
    assert row["minutes"] == pytest.approx(float(soak(RING, -18.0, family="silicone").minutes))
    assert row["minutes_safe"] > row["minutes"]
    assert row["core_c"] == pytest.approx(float(check_soak(RING, 10.0, -18.0, family="silicone").core_c))
    lost = drift(RING, -18.0, 8.0, family="silicone", chamber_sd_k=0.3)
    assert row["out_temperature_c"] == pytest.approx(float(lost.temperature_c))
    # Since it was taken out, however long it is out.
    assert row["seconds_to_2k"] == pytest.approx(8.0 + float(lost.seconds_left))
    gone = drift(RING, -18.0, row["seconds_to_1k"], family="silicone").drift_k
    assert float(gone) == pytest.approx(1.0, rel=0.02)
    assert any("soaked 10 min" in line for line in told.json["warnings"]) != row["enough"]


def test_a_fan_is_faster(matdb_says):
    still, fan = (matdb_says("soak", "0042", "--temp", "-18C", "--air", a, "--json").json for a in ("still", "fan"))
    assert fan["rows"][0]["minutes"] < 0.7 * still["rows"][0]["minutes"]


def test_words(matdb_says):
    told = matdb_says("soak", "pad", "--temp", "-18C", "--temp", "50C", "--minutes", "5min")
    assert told.code == 0
    assert "crystallises" in told.out
    assert "(too short)" in told.out
    assert "gloves" in told.out
    assert "the part alone" in matdb_says("soak", "pad", "--temp", "-18C", "--why").out
    assert "gloves" not in matdb_says("soak", "pad", "--temp", "20C").out


def test_the_seconds_to_the_first_tap_are_told_however_long_it_is_out(matdb_says):
    said = " ".join(matdb_says("soak", "pad", "--temp", "-18C", "--out", "60s").out.split())
    tap = re.search(r"tap within (\d+) s \(1 K off\), (\d+) at most \(2 K\)", said)
    assert tap
    assert 0 < int(tap[1]) < int(tap[2]) < 60
    assert "out for 60 s it is at" in said
    assert "tap within" not in matdb_says("soak", "pad", "--temp", "23C").out


@pytest.mark.parametrize(
    ("words", "say"),
    [
        (("soak", "ring", "--temp", "-18C"), "there is no 'ring'"),
        (("soak", "pad", "--temp", "-18"), "--temp"),
        (("soak", "pad", "--temp", "-18C", "--air", "windy"), "still or fan"),
        (("soak", "pad", "--temp", "-18C", "--minutes", "long"), "--minutes"),
    ],
)
def test_bad_input_is_one_line(matdb_says, words, say):
    told = matdb_says(*words)
    assert told.code in (1, 2)
    assert told.err.count("\n") == 1
    assert say in told.err


def add(matdb_says, *more):
    words = ("reading", "add", "ring-down", "pad", "--temp", "-18C", "--mass", "250g", "--frequency", "31Hz")
    return matdb_says(*words, *more)


def test_logging_tells_of_a_short_soak_and_of_drift(matdb_says, store):
    short = add(matdb_says, "--soak", "5min")
    assert short.code == 0
    assert "the core is likely at" in short.out
    soon = add(matdb_says, "--soak", "60min", "--out", "4s")
    assert "the error passes 2 K" in soon.out
    assert "core is likely" not in soon.out
    late = add(matdb_says, "--out", "60s", "--json")
    assert any("drifted" in line for line in late.json["warnings"])
    assert "Before you rely on it" not in add(matdb_says, "--soak", "60min").out
    with matdb.open_store(store) as kept:
        first = kept.readings(part="pad")[0].reading
    assert (first.temperature_c, first.temperature_sd_c, first.soak_min) == (-18.0, None, 5.0)


def test_an_import_tells_of_the_worst(matdb_says, tmp_path):
    file = tmp_path / "day.csv"
    file.write_text(
        "kind;part;temp_C;mass_g;frequency_hz;soak_min;out_s\n"
        "ring-down;pad;-18;250;31;60;2\nring-down;pad;-18;250;31;60;40\nring-down;pad;-18;250;30;;\n",
        encoding="utf-8",
    )
    told = matdb_says("reading", "import", file)
    assert told.code == 0
    said = " ".join(told.out.split())
    assert "1 reading was more than 1 K off" in said
    assert "the worst, line 3: out of the chamber for 40 s" in said


def test_a_part_without_dimensions_is_told_of(matdb_says):
    matdb_says("part", "add", "bought", "--material", "tan", "--form", "measured")
    told = matdb_says("soak", "bought", "--temp", "-18C")
    assert (told.code, told.err.count("\n")) == (2, 1)
    assert "thermometer" in told.err
    sheet = matdb_says("protocol", "bought", "--temp", "-18C")
    assert sheet.code == 0
    assert "the mass is a guess" in sheet.out
    said = matdb_says(
        "reading",
        "add",
        "ring-down",
        "bought",
        "--temp",
        "-18C",
        "--mass",
        "250g",
        "--frequency",
        "31Hz",
        "--out",
        "9s",
    )
    assert "cannot be reckoned with" in " ".join(said.out.split())


def test_every_form_can_be_soaked(matdb_says):
    """Or says why not; never a fault."""
    forms = {
        "p1": (
            "grommet-pair",
            "--lower",
            "ring",
            "--lower-outer",
            "14mm",
            "--lower-inner",
            "5mm",
            "--lower-height",
            "4mm",
        ),
        "p2": ("taper", "--bottom", "12mm", "--top", "8mm", "--height", "10mm"),
        "p3": ("bush", "--outer", "16mm", "--inner", "6mm", "--length", "12mm"),
        "p4": ("printed-strut", "--outer", "8mm", "--length", "20mm"),
    }
    for name, words in forms.items():
        made = matdb_says("part", "add", name, "--material", "tan", "--form", *words)
        assert made.code == 0, made.err
        told = matdb_says("soak", name, "--temp", "-18C", "--json")
        assert told.code == 0, told.err
        assert told.json["rows"][0]["minutes"] > 1.0
