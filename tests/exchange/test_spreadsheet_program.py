"""Written tables in a real spreadsheet, under German and English number rules: its numbers, and what it computes."""

import csv
import math
import random

import numpy as np
import pytest
from spreadsheet_program import opened, with_formulas

import matdb
from matdb.exchange.tables import (
    curve_table,
    part_table,
    prony_table,
    shift_table,
    stiffness_table,
    units_of,
    write_table,
)

OUTSIDE = [(-40.5, 30.0), (60.2, 30.0), (5.0, 0.5), (5.0, 101.0)]
WHAT = ("curve", "stiffness", "shift", "prony", "table")


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """A folder with tables as CSV for English and for German sheets and as workbooks, and answers at 50 states."""
    folder = tmp_path_factory.mktemp("sheets")
    draw = random.Random(20)
    states = [(round(draw.uniform(-40.0, 59.9), 2), round(math.exp(draw.uniform(0.0, 4.6)), 3)) for _ in range(50)]
    states += [(-40.0, 1.0), (60.0, 100.0), (-39.5, 100.0), (60.0, 37.0)]
    with matdb.open_store(folder / "bench.sqlite") as store:
        store.add(matdb.Material(name="amber 40A", family="silicone", hardness="40 A", source="=label, 2024"))
        store.add(matdb.Part(name="0042", material="amber 40A", form=matdb.Ring(16, 6, 5)))
        store.publish("amber 40A")
        curve, t = store.curve("amber 40A"), np.array([-20.0, -5.5, 23.0])
        tables = {
            "curve": curve_table(curve, store.material("amber 40A"), t, np.array([3.0, 30.0])),
            "stiffness": stiffness_table(store, ["0042"], t, mass_kg=0.15),
            "shift": shift_table(curve, t),
            "prony": prony_table(curve),
            "table": part_table(store, ["0042"], "axial"),
        }
        for what, table in tables.items():
            for ending, comma in (("en.csv", False), ("de.csv", True), ("xlsx", False)):
                write_table(store, folder / f"{what}.{ending}", what, table, comma=comma)
        found = store.effective("0042", *np.array(states).T)
    for country in ("en", "de"):
        with_formulas(folder / f"table.{country}.csv", folder / f"asked.{country}.csv", [*states, *OUTSIDE])
    (folder / "misread.csv").write_text("storage_mpa,loss_factor\n0.225,1\n")
    return folder, np.stack([found.stiffness_n_per_mm.median, found.damping_ratio.median], axis=1)


@pytest.fixture(scope="module")
def shown(written):
    """What the spreadsheet shows of each file, by country and name."""
    folder, _ = written
    found = {}
    for country, own in (("de_DE", "de.csv"), ("en_US", "en.csv")):
        names = [*(f"{what}.{own}" for what in WHAT), f"asked.{own}"], [f"{what}.xlsx" for what in WHAT]
        for some in (*names, ["misread.csv"]):
            for name, rows in opened([folder / each for each in some], country, folder).items():
                found[country, name] = rows
    return found


@pytest.mark.slow
@pytest.mark.parametrize("ending", ["csv", "xlsx"])
@pytest.mark.parametrize("country", ["de_DE", "en_US"])
@pytest.mark.parametrize("what", WHAT)
def test_numbers_stay_numbers(what, country, ending, written, shown):
    with (written[0] / f"{what}.en.csv").open(encoding="utf-8", newline="") as lines:
        header, *rows = csv.reader(lines)
    titles, *seen = shown[country, f"{what}.xlsx" if ending == "xlsx" else f"{what}.{country[:2]}.csv"]
    assert (titles[: len(header)], len(seen)) == (header, len(rows))
    for name in units_of(header):
        at = header.index(name)
        given = [float(row[at]) if row[at] else np.nan for row in rows]
        found = [np.nan if row[at] is None else row[at] for row in seen]
        assert all(isinstance(each, float) for each in found), (name, found[:3])
        np.testing.assert_allclose(found, given, rtol=1e-12 if ending == "xlsx" or country == "en_US" else 5e-7)


@pytest.mark.slow
def test_points_are_misread_where_commas_are_usual(shown):
    # What the option is for; were the country's rules not at work, the test above would show nothing.
    assert [shown[country, "misread.csv"][1][0] for country in ("de_DE", "en_US")] == [225.0, 0.225]


@pytest.mark.slow
@pytest.mark.parametrize("country", ["de_DE", "en_US"])
def test_a_sheet_looks_up_in_the_table(country, written, shown):
    found, states = [row[-2:] for row in shown[country, f"asked.{country[:2]}.csv"]], len(written[1])
    np.testing.assert_allclose(found[:states], written[1], rtol=0.011)
    assert found[states : states + len(OUTSIDE)] == [["#N/A", "#N/A"]] * len(OUTSIDE)
