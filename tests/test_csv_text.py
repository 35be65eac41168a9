"""CSV out: rectangular, whole or not at all, and nothing that a spreadsheet would run."""

import csv
import io
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from matdb.delimited import cell, csv_text, guarded, unguarded
from matdb.errors import FileTaken, InputError
from matdb.files import write_text

TEXT = st.text(st.characters(exclude_categories=("Cs", "Cc")))


@pytest.mark.parametrize("text", ["=1+1", "+1", "-5 ring", "@sum", "'=x", "\tx", "  =cmd"])
def test_formulas_are_neutralised(text):
    assert guarded(text) == "'" + text
    assert unguarded(guarded(text)) == text


@pytest.mark.parametrize("text", ["", "ring 16x6x5", "a=b", "0042", " ", "x-1"])
def test_plain_text_is_left_alone(text):
    assert guarded(text) == text


@given(TEXT)
def test_guarding_can_be_undone(text):
    assert unguarded(guarded(text)) == text
    assert guarded(text).lstrip(" \n")[:1] not in ("=", "+", "-", "@")


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_numbers_read_back_exactly_and_stay_numbers(value):
    assert float(cell(value)) == value


def test_cells():
    assert [cell(v) for v in (None, True, False, 3, -1.5, math.nan, "-x")] == [
        "",
        "true",
        "false",
        "3",
        "-1.5",
        "",
        "'-x",
    ]


@given(st.lists(st.tuples(TEXT, TEXT), max_size=5))
def test_tables_are_rectangular_whatever_the_text(rows):
    text = csv_text(("a_mm", "b"), rows)
    back = list(csv.reader(io.StringIO(text, newline="")))
    assert back[0] == ["a_mm", "b"]
    assert [tuple(map(unguarded, row)) for row in back[1:]] == rows


def test_line_feeds_and_utf_8(tmp_path):
    file = write_text(tmp_path / "x.csv", csv_text(["temperature_c", "note"], [(-5.0, "0 °C…")]))
    assert file.read_bytes() == "temperature_c,note\n-5.0,0 °C…\n".encode()


def test_a_file_is_not_replaced_unless_told(tmp_path):
    file = tmp_path / "x.csv"
    file.write_text("mine", encoding="utf-8")
    with pytest.raises(FileTaken, match="--force") as caught:
        write_text(file, csv_text(["a"], []))
    assert caught.value.file == str(file)
    assert file.read_text(encoding="utf-8") == "mine"
    write_text(file, csv_text(["a"], [(1,)]), force=True)
    assert file.read_text(encoding="utf-8") == "a\n1\n"


def test_a_folder_is_refused(tmp_path):
    with pytest.raises(InputError, match="it is a folder"):
        write_text(tmp_path, csv_text(["a"], []), force=True)


def test_a_row_that_fails_leaves_nothing(tmp_path):
    def rows():
        yield (1,)
        raise ValueError("broken")

    with pytest.raises(ValueError, match="broken"):
        write_text(tmp_path / "x.csv", csv_text(["a"], rows()))
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("text", "safe"),
    [
        ("note;=1+1", "note;'=1+1"),
        ("a|@sum", "a|'@sum"),
        ("a\t+1", "a\t'+1"),
        ("one\n=two", "one\n'=two"),
        ("\n=cmd", "'\n'=cmd"),
        ("a; -18 C side", "a;' -18 C side"),
        ("＝1", "'＝1"),
    ],
)
def test_formulas_after_a_separator_are_neutralised_too(text, safe):
    assert guarded(text) == safe
    assert unguarded(safe) == text


LIVELY = st.text(st.sampled_from("=+-@'\t\r\n;|, a1＝"), max_size=12)


@given(LIVELY)
def test_no_spreadsheet_finds_a_formula_in_an_export(text):
    safe = guarded(text)
    assert unguarded(safe) == text
    line = csv_text(("a", "b"), [(text, 1)]).split("\n", 1)[1]
    for separator in ",;\t|":
        for row in csv.reader(io.StringIO(line, newline=""), delimiter=separator):
            for piece in row:
                plain = piece.lstrip(' "\n')
                assert len(plain.strip()) < 2 or plain[:1] not in ("=", "+", "@"), (separator, piece)
