"""Traces from text files: dialects, units, columns, and one line for what is wrong."""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from matdb.bench.trace.file import read_trace
from matdb.errors import InputError

TIME = np.arange(0, 1, 0.01)
WAVE = np.round(np.sin(TIME * 30), 4)


def _write(path, text, encoding="utf-8"):
    path.write_bytes(text.encode(encoding))
    return path


def _rows(time, *columns, mark=",", decimal="."):
    return "\n".join(
        mark.join(f"{v:.6g}".replace(".", decimal) for v in row) for row in zip(time, *columns, strict=True)
    )


def test_plain_csv(tmp_path):
    trace = read_trace(_write(tmp_path / "a.csv", "time (s),ax,ay\n" + _rows(TIME, WAVE, 2 * WAVE)))
    np.testing.assert_allclose(trace.time_s, TIME, atol=1e-9)
    np.testing.assert_allclose(trace.signal, np.column_stack([WAVE, 2 * WAVE]), atol=1e-9)
    assert trace.names == ("ax", "ay")
    assert trace.notes == ()


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
@pytest.mark.parametrize("mark", [";", "\t"])
def test_decimal_comma_and_encodings(tmp_path, encoding, mark):
    text = f"Zeit [ms]{mark}Beschl. ä\r\n" + _rows(TIME * 1000, WAVE, mark=mark, decimal=",").replace("\n", "\r\n")
    trace = read_trace(_write(tmp_path / "a.csv", text, encoding))
    np.testing.assert_allclose(trace.time_s, TIME, atol=1e-9)
    np.testing.assert_allclose(trace.signal[:, 0], WAVE, atol=1e-9)


def test_preamble_comments_blank_lines_trailing_delimiter(tmp_path):
    body = "\n".join(line + "," for line in _rows(TIME, WAVE).splitlines())
    text = "# made at the bench\nlogger,7\n\nrate unknown\n\nt,acc,\n" + body.replace("\n", "\n\n", 3) + "\n# end\n"
    trace = read_trace(_write(tmp_path / "a.csv", text))
    assert trace.time_s.size == TIME.size
    assert trace.names == ("acc",)


@pytest.mark.parametrize(("factor", "unit"), [(1, "s"), (1e3, "ms"), (1e6, "us"), (1e9, "ns")])
def test_unit_of_time_from_the_step(tmp_path, factor, unit):
    text = "t,x\n" + "\n".join(f"{1.6e9 * factor + t * factor:.15g},{v}" for t, v in zip(TIME, WAVE, strict=True))
    trace = read_trace(_write(tmp_path / "a.csv", text))
    np.testing.assert_allclose(trace.time_s, TIME, atol=1e-5)
    assert f"taken as {unit}" in trace.notes[0]


def test_rate_instead_of_time(tmp_path):
    path = _write(tmp_path / "a.txt", "\n".join(str(v) for v in WAVE))
    trace = read_trace(path, sample_rate_hz=50)
    np.testing.assert_allclose(trace.time_s, np.arange(100) / 50)
    with pytest.raises(InputError, match="sample rate"):
        read_trace(path)


def test_base_columns_and_asides(tmp_path):
    head = "time_s,x,y,base_x,base_y,absolute,temp\n"
    path = _write(tmp_path / "a.csv", head + _rows(TIME, WAVE, -WAVE, 0.1 * WAVE, 0.2 * WAVE, abs(WAVE), WAVE * 0 + 20))
    trace = read_trace(path)
    assert trace.names == ("x", "y")
    np.testing.assert_allclose(trace.base, np.column_stack([0.1 * WAVE, 0.2 * WAVE]), atol=1e-6)
    chosen = read_trace(path, signal_columns=["y"], base_columns=["base_y"], time_column=1)
    np.testing.assert_allclose(chosen.signal[:, 0], -WAVE, atol=1e-9)
    with pytest.raises(InputError, match="one of the columns time_s, x"):
        read_trace(path, signal_columns=["z"])
    with pytest.raises(InputError, match="base_columns"):
        read_trace(path, base_columns=["base_x"])


def test_empty_cells_are_missing_readings(tmp_path):
    lines = ["t,x", *_rows(TIME, WAVE).splitlines()]
    lines[10] = lines[10].split(",")[0] + ","
    lines[20] = lines[20].split(",")[0]
    trace = read_trace(_write(tmp_path / "a.csv", "\n".join(lines)))
    assert trace.time_s.size == TIME.size - 2
    assert "2 of 100 rows left out" in trace.notes[-1]


def test_problems_name_row_and_column(tmp_path):
    lines = ["t,acc x", *_rows(TIME, WAVE).splitlines()]
    lines[41] = "0.40,oops"
    with pytest.raises(InputError, match="row 42, column 'acc x': 'oops' is not allowed") as caught:
        read_trace(_write(tmp_path / "a.csv", "\n".join(lines)))
    assert "\n" not in str(caught.value)
    lines[41] = "0.001,0"
    with pytest.raises(InputError, match="row 42, column 't'"):
        read_trace(_write(tmp_path / "b.csv", "\n".join(lines)))
    lines[41] = "0.4,0,0,0"
    with pytest.raises(InputError, match=r"row 42: .4 columns"):
        read_trace(_write(tmp_path / "c.csv", "\n".join(lines)))


@pytest.mark.parametrize("raw", [b"", b"\n\n", b"a,b\nc,d\n", b"PK\x03\x04\x00\x00", b"\xff\xfea"])
def test_files_that_hold_no_trace(tmp_path, raw):
    (tmp_path / "a.csv").write_bytes(raw)
    with pytest.raises(InputError, match="trace file"):
        read_trace(tmp_path / "a.csv")
    with pytest.raises(InputError, match="can be read"):
        read_trace(tmp_path / "none.csv")


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.one_of(st.binary(max_size=200), st.text(alphabet='0123456789.,;\t \n-e#tx"', max_size=200).map(str.encode)))
def test_any_bytes_give_a_trace_or_one_line(tmp_path, raw):
    (tmp_path / "a.csv").write_bytes(raw)
    line, trace = "", None
    try:
        trace = read_trace(tmp_path / "a.csv")
    except InputError as error:
        line = str(error)
    assert (trace is None) == bool(line)
    assert "\n" not in line
    if trace is not None:
        assert np.all(np.isfinite(trace.signal))
        assert np.all(np.diff(trace.time_s) > 0)


def test_a_wide_row_does_not_widen_a_long_file_beyond_memory(tmp_path):
    text = "1," + "," * 40_000 + "2\n" + "1,2\n" * 2000
    with pytest.raises(InputError, match="at most 50 million cells"):
        read_trace(_write(tmp_path / "a.csv", text), sample_rate_hz=100.0)
