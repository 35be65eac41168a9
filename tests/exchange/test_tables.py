"""Tables as files: numbers stay numbers, and a file says where it comes from."""

import dataclasses
import json
import math
import re

import numpy as np
import pandas
import pytest

import matdb
from matdb.curve.fit import prior_curve
from matdb.exchange.tables import (
    curve_table,
    part_table,
    prony_table,
    readings_table,
    shift_table,
    springs_table,
    stiffness_table,
    units_of,
    write_table,
)
from matdb.exchange.whole_store import store_fingerprint


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    with matdb.open_store(tmp_path_factory.mktemp("documents") / "bench.sqlite") as opened:
        opened.add(
            [
                matdb.Material(name="amber", family="silicone", source="=label, 2024"),
                matdb.Part(name="0042", material="amber", form=matdb.Strut(outer_mm=6, inner_mm=4, length_mm=10)),
                *(
                    matdb.RingDown(part="0042", temperature_c=t, mass_kg=0.15, frequency_hz=f, log_decrement=d)
                    for t, f, d in ((-18.0, 23.4, 0.5), (23.0, 21.6, 0.3), (50.0, 21.0, 0.25))
                ),
            ]
        )
        opened.fit("amber")
        yield opened


@pytest.fixture(scope="module")
def tables(store):
    curve = store.curve("amber")
    t = np.array([-20.0, -5.0, 23.0])
    return {
        "curve": curve_table(curve, store.material("amber"), t, np.array([3.0, 30.0])),
        "stiffness": stiffness_table(store, ["0042"], t, mass_kg=0.15),
        "shift": shift_table(curve, t),
        "prony": prony_table(curve),
        "readings": readings_table(store.readings()),
    }


WHAT = ("curve", "stiffness", "shift", "prony", "readings")


@pytest.mark.slow
@pytest.mark.parametrize("what", WHAT)
def test_pandas_reads_numbers_as_numbers(what, store, tables, tmp_path):
    header, rows = tables[what].header, tables[what].rows
    file = write_table(store, tmp_path / "a.csv", what, tables[what])
    frame = pandas.read_csv(file, dtype={"part": str})
    assert len(frame) == len(rows)
    for name, unit in units_of(header).items():
        assert frame[name].dtype.kind in "fi", (name, unit, frame[name].dtype)
        given = np.array(
            [np.nan if row[header.index(name)] is None else row[header.index(name)] for row in rows], float
        )
        np.testing.assert_array_equal(frame[name].to_numpy(dtype=float), given)
    if "part" in header:
        assert set(frame["part"]) == {"0042"}
    if what != "readings":
        assert set(frame["matdb_version"]) == {matdb.__version__}
        assert set(frame["store_fingerprint"]) == {store_fingerprint(store)}
        # A source that a spreadsheet would run stays text.
        assert set(frame["source"]) == {"'=label, 2024"}


@pytest.mark.parametrize("what", WHAT)
def test_json_says_units_sources_version_and_fingerprint(what, store, tables, tmp_path):
    header, rows = tables[what].header, tables[what].rows
    whole = json.loads(write_table(store, tmp_path / "a.json", what, tables[what]).read_bytes())
    assert (whole["format"], whole["what"], whole["matdb"]) == ("matdb table", what, matdb.__version__)
    assert whole["store_fingerprint"] == store_fingerprint(store)
    assert whole["sources"] == {"amber": "=label, 2024"}
    assert [list(row) for row in whole["rows"]] == [list(header)] * len(rows)
    assert whole["units"] == units_of(header)


def test_a_curve_is_marked_where_its_material_is_not_made_for(store):
    """As answers on a part are; by the record's own service range before the family's."""
    black, t = matdb.Material(name="black", family="chloroprene"), np.array([-270.0, -60.0, -20.0, 20.0])
    curve = prior_curve(black)
    answer = curve_table(curve, black, t, np.array([30.0]))
    said = ["; ".join(row["warnings"]) for row in answer.records()]
    assert answer.warnings[0].startswith("far below the glass transition (about -4")
    assert ["glass transition" in text for text in said] == [True, True, False, False]
    assert ["the figures say nothing" in text for text in said] == [True, False, False, False]
    assert ["outside the service range of -35 to 100 degC" in text for text in said] == [True, True, False, False]
    narrow = curve_table(curve, dataclasses.replace(black, service_min_c=0.0), t[2:], np.array([30.0]))
    said = ["; ".join(row["warnings"]) for row in narrow.records()]
    assert ["outside the service range of 0 to" in text for text in said] == [True, False]


def test_units_are_those_of_the_names():
    names = (
        "temperature_c",
        "storage_mpa_low",
        "stiffness_n_per_mm",
        "damping_ratio_high",
        "mass_kg",
        "part",
        "dwell_s",
    )
    assert units_of(names) == {
        "temperature_c": "degC",
        "storage_mpa_low": "MPa",
        "stiffness_n_per_mm": "N/mm",
        "damping_ratio_high": "1",
        "mass_kg": "kg",
        "dwell_s": "s",
    }


def test_shift_factors_are_the_curve_s(store):
    curve = store.curve("amber")
    t = np.array([-30.0, 0.0, 23.0, 50.0])
    rows = shift_table(curve, t).rows
    np.testing.assert_allclose([r[2] for r in rows], curve.median_ln_shift(t) / math.log(10.0), atol=1e-9)
    assert rows[2][2:5] == pytest.approx((0.0, 0.0, 0.0), abs=1e-9)
    assert [r[7] for r in rows] == [True, False, False, False]
    assert all(r[3] <= r[2] <= r[4] for r in rows)


@pytest.mark.slow
def test_prony_terms_give_the_curve_back(store):
    curve = store.curve("amber")
    found = prony_table(curve)
    header, rows, more = found.header, found.rows, found.more
    s = 2j * math.pi * 30.0
    total = rows[0][3] + sum(r[3] * s * r[2] / (1.0 + s * r[2]) for r in rows[1:])
    modulus = curve.modulus(23.0, 30.0)
    assert total.real == pytest.approx(modulus.storage_mpa.median, rel=0.01)
    assert total.imag / total.real == pytest.approx(modulus.loss_factor.median, rel=0.03)
    assert sum(r[4] for r in rows) == pytest.approx(1.0)
    # Three readings, and no label: the model's own doubt moves the medians by more than one series follows.
    assert more["storage_error"] <= 0.01
    assert more["loss_error"] <= 0.055  # 0.023 to 0.050 over eight seeds of the fit
    assert header[2] == "relaxation_time_s"


#: How numbers are read in German and in English: a point or comma between thousands is passed over.
TEXTS = {"part": str, "matdb_version": str, "store_fingerprint": str}
GERMAN = {"sep": ";", "decimal": ",", "thousands": ".", "dtype": TEXTS}
ENGLISH = {"sep": ",", "decimal": ".", "thousands": ",", "dtype": TEXTS}


@pytest.mark.parametrize("what", ["curve", "stiffness", "shift", "prony", "table"])
def test_numbers_stay_numbers_where_decimal_commas_are_usual_and_where_points_are(what, store, tables, tmp_path):
    table = part_table(store, ["0042"], "axial") if what == "table" else tables[what]
    points = write_table(store, tmp_path / "a.csv", what, table)
    commas = write_table(store, tmp_path / "b.csv", what, table, comma=True)
    english, german = pandas.read_csv(points, **ENGLISH), pandas.read_csv(commas, **GERMAN)
    pandas.testing.assert_frame_equal(english, german, rtol=5e-7)
    digits = re.findall(r"(?<![\w.,])\d+,\d+(?![\w.,])", commas.read_text(encoding="utf-8"))
    assert max(len(each.replace(",", "").lstrip("0")) for each in digits) == 7  # for people
    for name in units_of(table.header):
        given = [
            np.nan if row[table.header.index(name)] is None else row[table.header.index(name)] for row in table.rows
        ]
        np.testing.assert_allclose(german[name].to_numpy(float), np.array(given, float), rtol=5e-7)
    # What the option is for: with points the same rules read other numbers.
    misread = pandas.read_csv(points, **{**GERMAN, "sep": ","})
    assert not english.select_dtypes("number").equals(misread.select_dtypes("number"))


def test_springs_and_dampers_in_a_file_are_the_part(store, tmp_path):
    known = store.answers("0042", axis="axial")
    table = springs_table(known, 5.0)
    document = json.loads(write_table(store, tmp_path / "a.json", "springs", table).read_text(encoding="utf-8"))
    a, b, c, d = (np.array(document["state_space"][name]) for name in "ABCD")
    low, high = document["range_hz"].values()
    for f in np.geomspace(low, high, 9):
        s = 2j * math.pi * f
        at_rest, *rows = document["rows"]
        terms = sum(
            r["stiffness_n_per_mm"] * s * r["relaxation_time_s"] / (1 + s * r["relaxation_time_s"]) for r in rows
        )
        k = at_rest["stiffness_n_per_mm"] + terms
        assert (c @ np.linalg.solve(s * np.eye(len(a)) - a, b) + d).item() == pytest.approx(k, rel=1e-9)
        asked = complex(known.complex_stiffness(5.0, f))
        # Within the errors that the file tells, but for what the table of medians is off.
        assert k.real == pytest.approx(asked.real, rel=document["storage_error"] + 0.003)
        assert k.imag == pytest.approx(asked.imag, rel=document["loss_error"] + 0.005)
        assert k.imag > 0.0  # passive
    assert (document["storage_error"], document["loss_error"]) < (0.01, 0.03)
    assert np.linalg.eigvals(a).real.max() < 0.0
    assert document["units"]["tilting_n_mm_per_rad"] == "N mm/rad"
    share = known.part.form.tilting_stiffness_n_mm_per_rad() / known.part.form.stiffness_n_per_mm()
    assert [r["tilting_n_mm_per_rad"] / r["stiffness_n_per_mm"] for r in rows] == pytest.approx([share] * len(rows))


def test_a_workbook_holds_numbers_and_its_notes(store, tables, tmp_path):
    file = write_table(store, tmp_path / "a.xlsx", "curve", tables["curve"])
    sheets = pandas.read_excel(file, sheet_name=None, engine="calamine")
    plain = pandas.read_csv(write_table(store, tmp_path / "a.csv", "curve", tables["curve"]))
    assert list(sheets["curve"]) == list(plain)
    for name in plain.select_dtypes("number"):
        assert sheets["curve"][name].to_numpy(float) == pytest.approx(plain[name].to_numpy(float), nan_ok=True)
    notes = pandas.read_excel(file, sheet_name=1, header=None, engine="calamine")[0].tolist()
    assert notes == list(tables["curve"].warnings)
