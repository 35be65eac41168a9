"""Readings from spreadsheets: understood, or refused whole with line and column."""

import datetime as dt

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

import matdb
from matdb.bench.readings import Deflection, HardnessReading, ModulusPoint, Resonance, RingDown
from matdb.delimited import csv_text
from matdb.errors import InputError
from matdb.exchange.reading_file import columns, heading_of, read_readings, value_of
from matdb.exchange.tables import readings_table
from matdb.store.stored import StoredReading

PARTS = {
    "0042": matdb.Part(name="0042", material="amber", form=matdb.Ring(16, 6, 5)),
    "-5 ring": matdb.Part(name="-5 ring", material="amber", form=matdb.Ring(16, 6, 5)),
}
MATERIALS = ["amber"]


def read(text, **more):
    return read_readings("bench.csv", text, parts=PARTS, materials=MATERIALS, **more)


def problems(text, **more):
    found = read(text, **more)
    assert found.problem_count == len(found.problems)
    return [(p.line, p.column, p.says) for p in found.problems]


def test_a_plain_table_of_mixed_kinds():
    found = read(
        "kind,part,material,temperature_c,mass_kg,frequency_hz,log_decrement,deflection_mm,storage_mpa,value\n"
        "ring-down,0042,,-18,0.25,31.2,0.55,,,\n"
        "deflection,0042,,23,0.5,,,0.31,,\n"
        "modulus,,amber,0,,10,,,2.1,\n"
        "hardness,,amber,23,,,,,,41 A\n"
        "resonance,0042,amber,23,0.25,30,,,,\n"
    )
    assert found.problems == []
    assert found.readings == [
        RingDown(part="0042", temperature_c=-18.0, mass_kg=0.25, frequency_hz=31.2, log_decrement=0.55),
        Deflection(part="0042", temperature_c=23.0, mass_kg=0.5, deflection_mm=0.31),
        ModulusPoint(material="amber", temperature_c=0.0, frequency_hz=10.0, storage_mpa=2.1),
        HardnessReading(material="amber", temperature_c=23.0, value="41 A"),
        Resonance(part="0042", temperature_c=23.0, mass_kg=0.25, frequency_hz=30.0),
    ]
    assert found.lines == [2, 3, 4, 5, 6]


GERMAN = "\ufeff# Prüfstand, 12. Mai\r\n\r\nKind;Part;temp_F;Mass (g);Frequency [Hz];Decrement;Soak (h)\r\n"
GERMAN += "ring down;0042;-0,4;250,0;31,2;55 %;1,5\r\n;;;;;;\r\n# Pause\r\nRing_Down;0042;73,4;0,25 kg;29;;\r\n"


@pytest.mark.parametrize("code", ["utf-8", "utf-16", "cp1252"])
def test_what_a_spreadsheet_of_the_continent_writes(code):
    text = GERMAN if code == "utf-8" else GERMAN.lstrip("\ufeff")
    found = read(text.encode(code))
    assert found.problems == []
    assert found.lines == [4, 7]
    first, second = found.readings
    assert first.temperature_c == pytest.approx(-18.0)
    assert (first.mass_kg, first.frequency_hz, first.log_decrement, first.soak_min) == (0.25, 31.2, 0.55, 90.0)
    assert second.temperature_c == pytest.approx(23.0)
    assert (second.mass_kg, second.log_decrement) == (0.25, None)


@pytest.mark.parametrize(
    ("heading", "field", "unit"),
    [
        ("temp_F", "temperature_c", "F"),
        ("Temperature (°C)", "temperature_c", "C"),
        ("Temperature (°F)", "temperature_c", "°F"),
        ("temperature_c", "temperature_c", "C"),
        ("mass_g", "mass_kg", "g"),
        ("Mass [oz]", "mass_kg", "oz"),
        ("mass", "mass_kg", ""),
        ("frequency, Hz", "frequency_hz", "Hz"),
        ("storage_MPa", "storage_mpa", "MPa"),
        ("storage modulus kPa", "storage_mpa", "kPa"),
        ("soak_min", "soak_min", "min"),
        ("soak_h", "soak_min", "h"),
        ("seconds_out", "seconds_out", "s"),
        ("Shore A", "value", "A"),
        ("log decrement", "log_decrement", ""),
        ("Loss factor [-]", "loss_factor", ""),
        ("Loss factor (%)", "loss_factor", "%"),
        ("tan_delta [%]", "loss_factor", "%"),
        ("loss_factor_%", "loss_factor", "%"),
        ("Number of parts", "count", ""),
    ],
)
def test_headings(heading, field, unit):
    found = heading_of(heading)
    assert (found.field.name, found.unit) == (field, unit)


@pytest.mark.parametrize("heading", ["colour", "part_mm", "", "temper"])
def test_headings_that_mean_nothing(heading):
    assert heading_of(heading) is None


def test_a_heading_with_a_wrong_unit_is_refused():
    with pytest.raises(InputError, match="heading mass_mm"):
        heading_of("mass_mm")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("kind,part,temp_C,colour\n", "'colour'"),
        ("kind,part,temp_C,temp_F\n", "temp_C is it too"),
        ("kind,part,temperatur_c\n", "did you mean temperature_c"),
        ("kind\n", "two columns"),
        ("", "two columns"),
        ("kind,part,,temp_C\nring-down,0042,7,5\n", "column 3"),
    ],
)
def test_tables_that_cannot_be_understood(text, says):
    with pytest.raises(InputError, match=says):
        read(text)


def test_every_problem_has_its_line_and_column():
    found = problems(
        "kind,part,temp,mass_g,frequency_hz,log_decrement,count,axis,taken_at\n"
        "ring-down,0042,-18C,250,31.2,0.5,1,,\n"
        "ring-down,0042,-18,250,31.2,,,,\n"
        "ring-down,0042,-400C,-250,fast,,,,\n"
        "ring-down,0042,-18C,250,31.2,0,,,\n"
        "ring-down,43,-18C,250,31.2,,,,\n"
        "ring-down,0042,-18C,,31.2,,,,\n"
        "tap,0042,-18C,250,31.2,,,,\n"
        ",0042,-18C,250,31.2,,,,\n"
        "ring-down,0042,-18C,250,31.2,,1.5,,\n"
        "ring-down,0042,-18C,250,31.2,,,radial,\n"
        "ring-down,0042,-18C,250,31.2,,,,yesterday\n"
        "deflection,0042,-18C,250,31.2,,,,\n"
    )
    assert [(line, column) for line, column, _ in found] == [
        (3, "temp"),
        (4, "temp"),
        (4, "frequency_hz"),
        (4, "mass_g"),
        (5, "log_decrement"),
        (6, "part"),
        (7, "mass_g"),
        (8, "kind"),
        (9, "kind"),
        (10, "count"),
        (11, "axis"),
        (12, "taken_at"),
        (13, "deflection_mm"),
        (13, "frequency_hz"),
    ]
    said = {(line, column): says for line, column, says in found}
    assert "in C, F or K" in said[3, "temp"]
    assert "close names" not in said[6, "part"]
    assert "add the part first" in said[6, "part"]
    assert "'tap' is not allowed" in said[8, "kind"]
    assert "needs it" in said[13, "deflection_mm"]


def test_a_row_tells_all_its_problems_at_once():
    found = problems(
        "kind,part,temp_C,mass_g,frequency_hz,log_decrement,soak_min,count,axis,note\n"
        "ring-down,0042,-300,-1,0,7,-2,0,radial,fine\n"
        "ring-down,43,warm,,31.2,0.5,,1,,\n"
        "modulus,,,,,,,,,\n"
    )
    assert [(line, column) for line, column, _ in found] == [
        (2, "temp_C"),
        (2, "soak_min"),
        (2, "count"),
        (2, "mass_g"),
        (2, "frequency_hz"),
        (2, "log_decrement"),
        (2, "axis"),
        (3, "temp_C"),
        (3, "mass_g"),
        (3, "part"),
        (4, "temp_C"),
        (4, "material"),
        (4, "frequency_hz"),
        (4, "storage_mpa"),
    ]


def test_defaults_fill_what_the_file_leaves_out():
    found = read("temp_C,mass_g,frequency_hz\n-18,250,31.2\n", defaults={"kind": "ring-down", "part": "0042"})
    assert [r.part for r in found.readings] == ["0042"]


ROW = "kind,part,temp_C,mass_g,frequency_hz\n" + "ring-down,0042,-18,250,31.2\n"


def test_duplicates_are_passed_over_once_each():
    known = read(ROW).readings
    again = read(ROW, known=lambda *on: known)
    assert (again.readings, again.duplicates) == ([], [2])
    twice = read(ROW + ROW.splitlines()[1] + "\n", known=lambda *on: known)
    assert (len(twice.readings), twice.duplicates, twice.repeated) == (1, [2], [])
    fresh = read(ROW + ROW.splitlines()[1] + "\n")
    assert (len(fresh.readings), fresh.repeated) == (2, [3])
    assert len(read(ROW, known=lambda *on: known, keep_duplicates=True).readings) == 1


def test_readings_that_differ_in_time_are_no_duplicates():
    text = "kind,part,temp_C,mass_g,frequency_hz,when\nring-down,0042,-18,250,31.2,{}\n"
    known = read(text.format("2024-01-31T14:05+01:00")).readings
    assert read(text.format("2024-01-31T13:05+00:00"), known=lambda *on: known).duplicates == [2]
    assert read(text.format("2024-01-31T14:05+00:00"), known=lambda *on: known).duplicates == []


def test_a_time_without_a_zone_is_the_clock_on_the_wall():
    when = value_of(columns()["taken_at"], "2024-01-31T14:05", "when")
    assert when.tzinfo is not None
    assert when.replace(tzinfo=None) == dt.datetime(2024, 1, 31, 14, 5)


def stored(readings):
    now = dt.datetime(2024, 1, 31, tzinfo=dt.UTC)
    return [StoredReading(i + 1, r, now) for i, r in enumerate(readings)]


FINITE = {"allow_nan": False, "allow_infinity": False}
COMMON = {
    "temperature_c": st.floats(-270, 390, **FINITE),
    "soak_min": st.none() | st.floats(0, 1e4, **FINITE),
    "who": st.sampled_from(["", "ann", "=ann", "-x"]),
    "note": st.text(st.characters(categories=("L", "N", "P", "S")), max_size=20),
    "taken_at": st.none() | st.datetimes(dt.datetime(2000, 1, 1), dt.datetime(2030, 1, 1), timezones=st.just(dt.UTC)),
}
ON_PART = {
    "part": st.sampled_from(sorted(PARTS)),
    "mass_kg": st.floats(1e-3, 999, **FINITE),
    "count": st.integers(1, 1000),
    "axis": st.sampled_from(["axial", "shear"]),
    "squeeze_mm": st.floats(0, 2, **FINITE),
}
POSITIVE = st.floats(1e-3, 1e4, **FINITE)
READING = st.one_of(
    st.builds(RingDown, **COMMON, **ON_PART, frequency_hz=POSITIVE, log_decrement=st.none() | st.floats(0.01, 6)),
    st.builds(Deflection, **COMMON, **ON_PART, deflection_mm=st.floats(1e-3, 999), dwell_s=POSITIVE),
    st.builds(ModulusPoint, **COMMON, material=st.just("amber"), frequency_hz=POSITIVE, storage_mpa=POSITIVE),
    st.builds(HardnessReading, **COMMON, material=st.just("amber"), value=st.sampled_from(["41 A", "30 OO", "12.5 D"])),
)


@given(st.lists(READING, max_size=6))
@settings(max_examples=60, deadline=None)
def test_export_and_import_are_inverse(readings):
    readings = [r for r in readings if not r.note.startswith("#")]
    table = readings_table(stored(readings))
    text = csv_text(table.header, table.rows)
    found = read(text)
    assert found.problems == []
    assert [r.to_dict() for r in found.readings] == [r.to_dict() for r in readings]


def test_retired_rows_of_an_export_are_not_revived():
    text = "kind,part,temp_C,mass_g,frequency_hz,retired_at\nring-down,0042,-18,250,31.2,2024-01-31\n"
    assert problems(text) == [(2, "retired_at", "this reading was retired; remove the row")]


@given(st.one_of(st.binary(max_size=200), st.text(max_size=200).map(lambda t: t.encode("utf-8", "replace"))))
@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@example(b"kind,part\n")
@example(b"kind;part;temp_C\n\xff;\x00;1")
def test_any_bytes_are_read_or_refused_plainly(content):
    said, found = "", None
    try:
        found = read(content)
    except InputError as refusal:
        said = str(refusal)
    assert "\n" not in said
    assert found is None or found.readings == []


CELLS = st.sampled_from(
    ["", "0042", "-18", "250", "31,2", "1e999", "nan", "=1+1", "ring-down", "hardness", "41 A", "x"]
)


def test_a_row_with_a_cell_too_many_is_one_problem_among_the_others():
    rows = ["heavy", "250", "250;x", "none", "250;;y"]
    text = "kind;part;temp_C;frequency_hz;mass_g\n" + "".join(f"ring-down;0042;23;30;{row}\n" for row in rows)
    found = problems(text)
    assert [(line, column) for line, column, _ in found] == [(2, "mass_g"), (4, "6"), (5, "mass_g"), (6, "6")]
    assert found[1][2] == "6 cells, where the header has 5"
    assert "7 cells" in found[3][2]
    (only,) = problems("kind,part,temp_C\nring-down,0042,1,5\n")
    assert only[:2] == (2, "4")
    assert "write decimal points" in only[2]


@given(st.lists(st.lists(CELLS, min_size=5, max_size=5), max_size=5))
@settings(max_examples=150, deadline=None)
def test_any_cells_are_read_or_refused_plainly(rows):
    text = "kind;part;temp_C;mass_g;frequency_hz\n" + "".join(";".join(row) + "\n" for row in rows)
    found = read(text)
    told = {p.line for p in found.problems}
    assert len(told) + len(found.readings) <= len(rows)
    for reading in found.readings:
        assert reading.part == "0042"


def test_progress_runs_from_nothing_to_all():
    seen = []
    read(ROW, progress=seen.append)
    assert (seen[0], seen[-1]) == (0.0, 1.0)
