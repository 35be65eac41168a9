"""Text tables: separators, marks, comments, decimal commas, cells that are no numbers."""

import os
import tracemalloc

import numpy as np
import pytest

from matdb import delimited
from matdb.errors import InputError


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_every_separator_gives_the_same_table(separator):
    text = f'# made by hand\r\n\r\n"name"{separator} b \r\n007{separator}"two words"\r\n{separator}\r\n3\r\n'
    got = delimited.read_table("t", text)
    assert got.header == ("name", "b")
    assert got.rows == (("007", "two words"), ("3", ""))  # leading zeros stay; short rows are filled up
    assert got.lines == (4, 6)
    assert got.column(0) == ["007", "3"]


def test_decimal_commas_only_where_no_number_has_a_point():
    plain = delimited.read_table("t", "a;b\n1,5;x\n-2;y\n;z\nNA;z\n")
    assert plain.numbers(0) == pytest.approx([1.5, -2, np.nan, np.nan], nan_ok=True)
    mixed = delimited.read_table("t", "a;b\n1,5;x\n2.5;y\n")
    with pytest.raises(InputError, match="t, line 2, a: '1,5'"):
        mixed.numbers(0)
    for bad in ("1.234,5", "1 000", "0x10", "1e999x", "inf"):
        with pytest.raises(InputError, match="a number"):
            delimited.read_table("t", f"a;b\n{bad};x\n").numbers(0)


def test_a_header_below_a_description_is_found():
    text = "station,1\nplace,ridge,900 m,x\ntime,temp,wind\n1,2,3\n"
    got = delimited.read_table("t", text, is_header=lambda cells: "temp" in cells)
    assert got.header == ("time", "temp", "wind")
    assert got.lines == (4,)
    with pytest.raises(InputError, match="line 2"):
        delimited.read_table("t", text)


def test_a_row_too_long_is_refused_or_told_and_left_out():
    text = "a,b\n1,2\n1,5,2\n3,4,,\n"
    with pytest.raises(InputError, match=r"line 3: .*at most 2 cells"):
        delimited.read_table("t", text)
    told = []
    got = delimited.read_table("t", text, on_long_row=lambda line, says: told.append((line, says)))
    assert (got.rows, got.lines) == ((("1", "2"), ("3", "4")), (2, 4))
    assert told == [(3, "3 cells, where the header has 2; write decimal points, or separate the cells with semicolons")]


def test_a_very_long_text_and_a_broken_cell_are_refused(monkeypatch):
    monkeypatch.setattr(delimited, "LONGEST", 10)
    with pytest.raises(InputError, match="split it"):
        delimited.read_table("t", "a,b\n" + "1,2\n" * 10)
    monkeypatch.undo()
    with pytest.raises(InputError, match="plain cells"):
        delimited.read_table("t", "a,b\n" + "x" * 200000 + ",1\n")


def test_a_file_without_an_end_is_refused(tmp_path):
    file = tmp_path / "long.csv"
    file.write_bytes(b"x" * 5000)
    assert delimited.file_bytes(file) == b"x" * 5000
    assert delimited.file_bytes(file, 5000) == b"x" * 5000
    with pytest.raises(InputError, match="at most 4999 bytes"):
        delimited.file_bytes(file, 4999)
    if os.path.exists("/dev/zero"):
        with pytest.raises(InputError, match="at most 3000000 bytes"):
            delimited.file_bytes("/dev/zero", 3_000_000)


def test_a_table_of_too_many_cells_is_refused(monkeypatch):
    with pytest.raises(InputError, match="at most 2000 columns"):
        delimited.read_table("wide.csv", "a," * 3000 + "b\n1,2\n")
    monkeypatch.setattr("matdb.delimited.MOST_CELLS", 5000)
    # Short rows are laid out as wide as the header.
    with pytest.raises(InputError, match="at most 5000 cells"):
        delimited.read_table("long.csv", "a," * 99 + "b\n" + "1,2\n" * 100)
    monkeypatch.setattr("matdb.delimited.LONGEST", 100)
    with pytest.raises(InputError, match="at most 100 characters"):
        delimited.read_table("long.csv", "a,b\n" + "1,2\n" * 100)


@pytest.mark.parametrize("quote", [b"", b'"'])
def test_a_long_trace_takes_ten_times_its_size_at_most(quote):
    """With one quote that is never closed, too: a list of lists of numbers took sixteen times."""
    rows = b"".join(b"%.6f,%.8f\n" % (i * 1e-4, (i % 977) * 1e-3) for i in range(50_000))
    content = b"time,acceleration\n" + quote + rows
    tracemalloc.start()
    try:
        table = delimited.read_numbers("trace", "trace.csv", content)
        most = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert table.values.shape == (50_000, 2)
    assert most < 10 * len(content)
