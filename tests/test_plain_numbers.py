"""Blocks of plain numbers, against Python's own reading of each; long tables with rows that are not plain."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from matdb import delimited
from matdb.errors import InputError
from matdb.plain_numbers import plain_rows

DIGITS = st.text("0123456789", min_size=1, max_size=8)


@given(st.lists(st.tuples(st.sampled_from(["", "-"]), DIGITS, st.sampled_from(["", "."]), DIGITS), min_size=1))
def test_a_number_of_up_to_15_digits_is_read_as_the_nearest(parts):
    cells = ["".join(each)[:16] for each in parts]
    got = plain_rows("".join(f"{cell};7\n" for cell in cells).encode(), ";", 2)
    assert got is not None
    few = [sum(map(str.isdigit, cell)) <= 15 for cell in cells]
    np.testing.assert_array_equal(got[few, 0], [float(cell) for cell, is_few in zip(cells, few, strict=True) if is_few])
    np.testing.assert_allclose(got[:, 0], [float(cell) for cell in cells], rtol=4e-16)
    assert (got[:, 1] == 7.0).all()


def test_long_numbers_of_clocks_are_read():
    rows = b"1700000000.123456,-0.000000001\n1234567890123456,.5\n-0,3.\n"
    want = [[1700000000.123456, -1e-9], [1234567890123456.0, 0.5], [-0.0, 3.0]]
    assert plain_rows(rows, ",", 2).tolist() == want


@pytest.mark.parametrize(
    "row",
    [
        *("1..2,3", ".1.,2", "..,2", "1.,..", ",3", "-,3", ".,3", "-.,3", "1-,3", "1.-3,3", "--1,3", "+1,3", "1e3,3"),
        *("1/3,3", "1:3,3", "1;3,3", "nan,3", "1,2,3", "1", "12345678901234567,2", "0.12345678901234567,2", "#1,2"),
    ],
)
def test_what_is_not_plain_is_left_to_others(row):
    assert plain_rows(b"1.5,2\n" + row.encode() + b"\n", ",", 2) is None
    assert plain_rows(b"1.5,2\n1.5,2", ",", 2) is None
    assert plain_rows(b"1.5,2\n1.5,2\n", ",", 2) is not None


def long(tmp_path, *odd, at=9000, end="\n", header="t (s),x,y\n"):
    """A table of 20,000 rows, some of them odd: what is read of it, by lines."""
    rows = [f"{k / 1000:.3f},{k % 977},{-k / 7:.4f}" for k in range(20_000)]
    rows[at : at + len(odd)] = odd
    file = tmp_path / "long.csv"
    file.write_bytes((header + "\n".join(rows)).replace("\n", end).encode())
    (time, *_), (both,), lines = (lambda got: ([*got[0].values()], got[1], got[2]))(
        delimited.read_long("log", file).columns((0,), [(1, 2)])
    )
    return dict(zip(lines, np.column_stack([time, both]).tolist(), strict=True))


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_rows_of_any_kind_are_read_beside_plain_ones(tmp_path, end):
    odd = "9.000,1e-3,2", "", "# a pause", '"9.003", 4,', "9.004,5", "  9.005 ,nan,6"
    got = long(tmp_path, *odd, end=end)
    assert len(got) == 20_000
    nan = np.nan
    want = [[9, 1e-3, 2], [nan] * 3, [nan] * 3, [9.003, 4, nan], [9.004, 5, nan], [9.005, nan, 6]]
    np.testing.assert_allclose([got[9002 + k] for k in range(6)], want, rtol=1e-7)
    np.testing.assert_allclose(got[20_001], [19.999, 19_999 % 977, -19_999 / 7], atol=1e-3)


@pytest.mark.parametrize(
    ("odd", "says"),
    [("9.0,two,3", r"row 9002, column 'x'.*two.*a number"), ("9.0,1,2,3", "row 9002.*4 columns.*3 columns")],
)
def test_a_row_that_cannot_be_read_is_named(tmp_path, odd, says):
    with pytest.raises(InputError, match=says):
        long(tmp_path, odd)


def test_a_log_that_breaks_off_within_a_row_is_read_to_there(tmp_path):
    got = long(tmp_path, "19.999,1", at=19_999, header="")
    np.testing.assert_allclose(got[20_000], [19.999, 1.0, np.nan])
    np.testing.assert_allclose(got[1], [0.0, 0.0, 0.0])
