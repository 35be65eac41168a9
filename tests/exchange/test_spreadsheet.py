"""XLSX workbooks: the rules of CSV hold, sizes are bounded, and whatever the bytes there is no traceback."""

import io
import os
import zipfile

import pytest
from command_line import bench_store, count, say
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import matdb
from matdb.delimited import Table
from matdb.errors import InputError, MatdbError, MissingExtra
from matdb.exchange.reading_file import read_readings
from matdb.exchange.spreadsheet import is_spreadsheet, read_spreadsheet

pytest.importorskip("python_calamine")

KIND = "application/vnd.openxmlformats-officedocument.spreadsheetml"
SPACE = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
LINKS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
PACK = "http://schemas.openxmlformats.org/package/2006"


def workbook(*sheets, shared=None, bodies=None):
    """An XLSX file by hand: sheets of rows of str, float or None; ``bodies`` gives a sheet's XML as it is."""
    bodies = bodies or [sheet_xml(rows) for rows in sheets]
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as file:
        kinds = "".join(
            f'<Override PartName="/xl/worksheets/sheet{k}.xml" ContentType="{KIND}.worksheet+xml"/>'
            for k in range(1, len(bodies) + 1)
        )
        file.writestr(
            "[Content_Types].xml",
            f'<Types xmlns="{PACK}/content-types"><Default Extension="xml" ContentType="application/xml"/>'
            '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
            f'<Override PartName="/xl/workbook.xml" ContentType="{KIND}.sheet.main+xml"/>{kinds}</Types>',
        )
        file.writestr(
            "_rels/.rels",
            f'<Relationships xmlns="{PACK}/relationships"><Relationship Id="rId1" Type="{LINKS}/officeDocument" '
            'Target="xl/workbook.xml"/></Relationships>',
        )
        names = "".join(f'<sheet name="day {k}" sheetId="{k}" r:id="rId{k}"/>' for k in range(1, len(bodies) + 1))
        file.writestr(
            "xl/workbook.xml", f'<workbook xmlns="{SPACE}" xmlns:r="{LINKS}"><sheets>{names}</sheets></workbook>'
        )
        links = "".join(
            f'<Relationship Id="rId{k}" Type="{LINKS}/worksheet" Target="worksheets/sheet{k}.xml"/>'
            for k in range(1, len(bodies) + 1)
        )
        if shared is not None:
            links += f'<Relationship Id="rId99" Type="{LINKS}/sharedStrings" Target="sharedStrings.xml"/>'
            file.writestr("xl/sharedStrings.xml", f'<sst xmlns="{SPACE}">{shared}</sst>')
        file.writestr(
            "xl/_rels/workbook.xml.rels", f'<Relationships xmlns="{PACK}/relationships">{links}</Relationships>'
        )
        for k, body in enumerate(bodies, 1):
            file.writestr(
                f"xl/worksheets/sheet{k}.xml", f'<worksheet xmlns="{SPACE}"><sheetData>{body}</sheetData></worksheet>'
            )
    return out.getvalue()


def sheet_xml(rows):
    out = []
    for r, row in enumerate(rows, 1):
        out.append(f'<row r="{r}">')
        for c, value in enumerate(row):
            place = f"{chr(65 + c)}{r}"
            if isinstance(value, str):
                text = value.replace("&", "&amp;").replace("<", "&lt;")
                out.append(f'<c r="{place}" t="inlineStr"><is><t>{text}</t></is></c>')
            elif value is not None:
                out.append(f'<c r="{place}"><v>{value!r}</v></c>')
        out.append("</row>")
    return "".join(out)


HEAD = ["kind", "part", "temp_F", "mass_g", "frequency_hz", "log_decrement", "note"]
ROWS = [
    ["# spring day"],
    HEAD,
    [],
    ["ring-down", "0042", 0.0, 250.0, "31,25", 0.55, "=1+1"],
    ["ring-down", "0042", 73.4, 250.0, "28,4", None, None],
]


@pytest.fixture
def store(tmp_path):
    return bench_store(tmp_path / "bench.sqlite")


def test_cells_read_as_the_sheet_has_them():
    table, others = read_spreadsheet("day.xlsx", workbook(ROWS, [["x", "y"]]))
    assert table.header == tuple(HEAD)
    assert table.rows == (
        ("ring-down", "0042", "0", "250", "31,25", "0.55", "=1+1"),
        ("ring-down", "0042", "73.4", "250", "28,4", "", ""),
    )
    assert table.lines == (4, 5)
    assert others == ("day 2",)
    assert read_spreadsheet("day.xlsx", workbook(ROWS, [["x", "y"]]), sheet="day 2")[0].header == ("x", "y")


def test_import_of_a_workbook(store, tmp_path, capsys):
    file = tmp_path / "day.xlsx"
    file.write_bytes(workbook(ROWS))
    code, out, err = say(capsys, "reading", "import", file, "--store", store, "--dry-run")
    assert (code, err, count(store)) == (0, "", 0)
    assert "28.4 Hz" in out
    code, out, _ = say(capsys, "reading", "import", file, "--store", store)
    assert (code, count(store)) == (0, 2)
    with matdb.open_store(store) as kept:
        first, second = (each.reading for each in kept.readings())
    assert first.temperature_c == pytest.approx(-160 / 9)
    assert (first.frequency_hz, first.note, second.frequency_hz) == (31.25, "=1+1", 28.4)
    code, out, _ = say(capsys, "reading", "import", file, "--store", store)
    assert (code, count(store)) == (0, 2)
    assert "in the store already" in " ".join(out.split())


def test_a_bad_cell_is_named_by_the_sheets_own_row(store, tmp_path, capsys):
    file = tmp_path / "day.xlsx"
    file.write_bytes(workbook([*ROWS, [], ["ring-down", "0042", 20.0, "heavy", 30.0]]))
    code, _, err = say(capsys, "reading", "import", file, "--store", store)
    assert (code, count(store)) == (2, 0)
    assert err.startswith("line 7, column mass_g: ")


def test_no_such_sheet(store, tmp_path, capsys):
    file = tmp_path / "day.xlsx"
    file.write_bytes(workbook(ROWS))
    code, _, err = say(capsys, "reading", "import", file, "--store", store, "--sheet", "day 9")
    assert (code, err.count("\n")) == (2, 1)
    assert "'day 9'" in err
    assert "day 1" in err


def test_without_the_extra_the_user_is_told(monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "python_calamine", None)
    with pytest.raises(MissingExtra, match=r"elastomer-matdb\[spreadsheet\]"):
        read_spreadsheet("day.xlsx", workbook(ROWS))


def head(letter="A"):
    return sheet_xml([["kind", "part"]])


@pytest.mark.parametrize(
    ("body", "word"),
    [
        (
            '<row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c r="XFD1048576"><v>1</v></c></row>',
            "1048576 rows",
        ),
        ("<row r='9'><c s='1'  r='ZZZ9'><v>1</v></c></row>", "18278 columns"),
        ("<row>" + "<c><v>1</v></c>" * 300 + "</row>", "300 columns"),
        ('<row r="1"/>' * 3 + '<row r="999999999"/>', "999999999 rows"),
        ("<row/>" * 200_001, "200001 rows"),
    ],
    ids=["far corner", "far column", "no places", "far row", "many empty rows"],
)
def test_a_sheet_that_would_fill_the_memory_is_refused(body, word):
    with pytest.raises(InputError, match=word):
        read_spreadsheet("big.xlsx", workbook(bodies=[body]))


@pytest.mark.parametrize(
    "body",
    [
        '<row r="1"><c r="A1"/><c r="Bfrequency1"/></row>',
        '<row r="1"><c r="A1"/><c r="AAAAAAAAAAA1"/></row>',
        '<row r="1"><c r="A1"/></row><row r="99999999999999"><c r="A99999999999999"/></row>',
        '<row r="1"><c r="A1"/><c r="&#88;FD1"/></row>',
        '<row r="1"><c r="A1"/><c r="A1" r="XFD1"/></row>',
        '<row r="1"><c r="A1"/><c s=" r=\'A1\' " r = \'XFD1048576\'/></row>',
        '<row r="1"><c r="A1"/><c s=">" r="XFD1048576"/></row>',
        '<row r="1"><c r="A1"/><a-b.c:c r="XFD1048576"/></row>',
        '<row r="1"><c r="A1"/><c r="XFD1048576></row>',
    ],
)
def test_a_place_that_the_reader_takes_for_a_far_one_is_refused(body):
    """The compiled reader lays out all up to the farthest place; memory that is not there ends the program."""
    with pytest.raises(InputError):
        read_spreadsheet("big.xlsx", workbook(bodies=[body]))


def test_a_sheet_under_another_name_is_measured_too():
    far = '<row r="1"><c r="A1"/></row><row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(workbook(bodies=[far]))) as file, zipfile.ZipFile(out, "w") as renamed:
        for entry in file.infolist():
            data = file.read(entry).replace(b"worksheets/sheet1.xml", b"elsewhere/s.xml")
            renamed.writestr(entry.filename.replace("worksheets/sheet1.xml", "elsewhere/s.xml"), data)
    with pytest.raises(InputError, match="1048576 rows"):
        read_spreadsheet("big.xlsx", out.getvalue())


def test_one_long_text_in_many_cells_is_refused():
    cells = "".join(f'<row r="{r}"><c r="A{r}" t="s"><v>0</v></c></row>' for r in range(1, 20_001))
    with pytest.raises(InputError, match="less text"):
        read_spreadsheet("big.xlsx", workbook(bodies=[cells], shared=f"<si><t>{'x' * 60_000}</t></si>"))


def test_a_zip_bomb_is_refused_before_it_unfolds(monkeypatch):
    import matdb.exchange.spreadsheet as module

    monkeypatch.setattr(module, "MOST_UNPACKED", 2_000_000)
    bomb = workbook(bodies=[" " * 3_000_000])
    assert len(bomb) < 10_000
    with pytest.raises(InputError, match="when unpacked"):
        read_spreadsheet("bomb.xlsx", bomb)


def test_a_size_that_lies_is_refused():
    good = workbook(bodies=[sheet_xml([["kind", "part"]]) + " " * 500_000])
    with zipfile.ZipFile(io.BytesIO(good)) as file:
        true = file.getinfo("xl/worksheets/sheet1.xml").file_size
    lying = good.replace(true.to_bytes(4, "little"), (100).to_bytes(4, "little"))
    assert lying != good
    with pytest.raises(InputError):
        read_spreadsheet("lie.xlsx", lying)


@pytest.mark.parametrize(
    "content",
    [
        b"PK\x03\x04",
        b"PK\x05\x06" + bytes(18),
        b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600),
        workbook(ROWS)[:-30],
        workbook(ROWS)[:300],
        workbook(bodies=["<row"]),
        workbook(bodies=['<row r="1"><c r="A1" t="s"><v>7</v></c></row>']),
        workbook([["only one column"]]),
        workbook([]),
    ],
    ids=["mark", "empty zip", "old", "cut", "torn", "broken xml", "no such text", "one column", "empty"],
)
def test_damaged_workbooks_are_refused(content):
    assert is_spreadsheet(content)
    with pytest.raises(InputError):
        read_spreadsheet("day.xlsx", content)


PARTS = {"0042": matdb.Part(name="0042", material="amber", form=matdb.Ring(16, 6, 5))}
GOOD_XLSX = workbook(ROWS)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_a_mutilated_workbook_is_read_whole_or_refused(data):
    content = bytearray(GOOD_XLSX)
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(content) - 1))
        content[at] = data.draw(st.integers(0, 255))
    try:
        table, _ = read_spreadsheet("day.xlsx", bytes(content))
    except MatdbError:
        return
    assert isinstance(table, Table)


CELL = st.one_of(
    st.none(),
    st.floats(allow_nan=False, allow_infinity=False),
    st.text(st.characters(codec="utf-8", exclude_categories=("Cs", "Cc")), max_size=12),
    st.sampled_from(["ring-down", "0042", "-18C", "250 g", "28,4", "#N/A", "=1+1", "1e999"]),
)


@pytest.mark.slow
@settings(max_examples=80, deadline=None)
@given(st.lists(st.lists(CELL, max_size=8), max_size=8))
def test_any_cells_are_problems_or_readings(rows):
    content = workbook([HEAD, *rows])
    try:
        table, _ = read_spreadsheet("day.xlsx", content)
    except InputError:
        return
    found = read_readings("day.xlsx", table, parts=PARTS, materials=["amber"])
    assert len(found.readings) + len({p.line for p in found.problems}) == len(table.rows)


BYTES = st.one_of(
    st.binary(max_size=400),
    st.text(max_size=200).map(lambda t: t.encode("utf-8", "surrogatepass")),
    st.lists(
        st.lists(st.sampled_from(["ring-down", "0042", "-18", "250", "31,2", '"', "=1+1", "", "\x00", "é", "1e400"])),
        max_size=6,
    ).map(lambda rows: ("kind;part;temp_C;mass_g;frequency_hz\n" + "\n".join(map(";".join, rows))).encode()),
)


@settings(max_examples=300, deadline=None)
@given(content=BYTES)
def test_any_bytes_are_rows_or_one_error(content):
    try:
        found = read_readings("day.csv", content, parts=PARTS, materials=["amber"])
    except InputError:
        return
    assert (found.problem_count == 0) == (not found.problems)
    assert len(found.readings) == len(found.lines)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(content=BYTES)
def test_any_bytes_are_logged_whole_or_refused_with_one_line(store, tmp_path, capsys, content):
    file = tmp_path / "day.dat"
    file.write_bytes(content)
    before = count(store)
    code, _, err = say(capsys, "reading", "import", file, "--store", store, "--keep-duplicates")
    assert "Traceback" not in err
    assert code in (0, 1, 2)
    if code:
        assert err.splitlines()[-1].startswith("matdb: ")
        assert "unexpected fault" not in err
        assert count(store) == before
    else:
        rows = [line for line in content.decode("utf-8", "replace").splitlines()[1:] if line.strip(' ;"\r')]
        assert count(store) - before <= len(rows)


@pytest.mark.slow
def test_a_hundred_thousand_rows(store, tmp_path, capsys):
    many = 100_000
    rows = [HEAD, *(["ring-down", "0042", -0.4 + 1e-5 * k, 250.0, 31.0, 0.55, None] for k in range(many))]
    file = tmp_path / "many.xlsx"
    file.write_bytes(workbook(rows))
    code, _, err = say(capsys, "reading", "import", file, "--store", store)
    assert (code, err) == (0, "")
    assert count(store) == many
    assert os.path.getsize(store) > 0
