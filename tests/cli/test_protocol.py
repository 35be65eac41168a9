"""``matdb protocol``: the sheet's numbers are those of the curve and of the soak."""

import math

import pytest

import matdb
from matdb.bench.protocol import ProtocolStep, bench_mass_kg, protocol_markdown
from matdb.bench.thermal.body import Body
from matdb.bench.thermal.soak import soak


@pytest.mark.parametrize("k", [0.02, 0.7, 3.3, 88.0, 4e3])
@pytest.mark.parametrize("count", [1, 4])
def test_the_mass_rings_near_the_wanted_frequency(k, count):
    mass = bench_mass_kg(k, 30.0, count)
    assert math.sqrt(1e3 * count * k / mass) / (2 * math.pi) == pytest.approx(30.0, rel=0.06)
    assert len(f"{mass:.3g}".replace(".", "").strip("0").split("e")[0]) <= 2


def test_numbers_are_those_of_curve_and_soak(matdb_says, store):
    told = matdb_says("protocol", "0042", "--temp", "-18C", "--temp", "23C", "--frequency", "22Hz", "--json")
    assert told.code == 0
    cold, warm = told.json["steps"]
    with matdb.open_store(store) as kept:
        now = kept.effective("0042", [-18.0, 23.0], mass_kg=cold["mass_kg"])
    assert cold["frequency_hz"] == pytest.approx(now.natural_frequency_hz.at(0).to_dict())
    assert warm["frequency_hz"]["median"] == pytest.approx(22.0, rel=0.1)
    safe = float(soak(Body(10.0, 6.0, 4.0), -18.0, family="silicone").minutes_safe)
    assert 0.0 <= cold["soak_min"] - max(safe, 10.0) < 5.0
    # Nothing drifts at room temperature; JSON knows no infinity.
    assert warm["seconds_left"] is None
    assert cold["seconds_left"] > 0.0


def test_the_sheet_is_a_table_with_blanks(matdb_says, tmp_path):
    told = matdb_says("protocol", "0042", "--temp", "-18C..22C", "--step", "20K", "--mass", "150g", "--why")
    assert told.code == 0
    assert told.out.startswith("0042: ring it with 150 g at -18, 2, 22 degC; expect\n")
    lines = told.out.partition("\n\n")[2].splitlines()
    assert lines[0] == "# Bench protocol: 0042"
    assert "150 g" in told.out
    assert "gloves" in told.out
    tables = [line for line in lines if line.startswith("|")]
    assert len([line for line in tables if line.startswith(("| -18 |", "| 2 |", "| 22 |"))]) == 3 + 2 * 3
    assert {line.count("|") for line in tables} == {7, 10}
    file = tmp_path / "sheet.md"
    assert matdb_says("protocol", "0042", "--out", file).code == 0
    assert file.read_text(encoding="utf-8").startswith("# Bench protocol")
    again = matdb_says("protocol", "0042", "--out", file)
    assert (again.code, again.err.count("\n")) == (1, 1)


def test_a_part_without_readings_says_so(matdb_says):
    told = matdb_says("protocol", "pad", "--temp", "-18C", "--temp", "90C")
    assert "rests on its label only" in told.out
    assert "crystallises" in matdb_says("protocol", "pad", "--temp", "-18C", "--why").out
    assert "outside the service range" in told.out


def test_names_cannot_break_the_table():
    step = ProtocolStep(
        temperature_c=5.0,
        soak_min=None,
        seconds_left=None,
        mass_kg=0.1,
        frequency_hz=(3, 2, 4),
        log_decrement=(1, 1, 1),
    )
    text = protocol_markdown(
        part="a|b\n# c <script>", form="pad", material="m*", family="silicone", basis="readings", count=2, axis="axial",
        air="still", steps=[step],
    )  # fmt: skip
    assert text.splitlines()[0] == "# Bench protocol: a\\|b \\# c \\<script\\>"
    assert "| 5 | - | - | 100 |" in text
