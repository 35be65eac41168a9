"""Read a trace from a text file: whatever a phone or a logger writes, one clear line for what is wrong."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from matdb.bench.trace.record import Trace
from matdb.errors import InputError

__all__ = ["read_trace"]

Array = NDArray[np.float64]

#: Seconds per unit of time.
_SECONDS = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9, "min": 60.0}
_UNIT_WORDS = {
    "s": "s", "sec": "s", "secs": "s", "second": "s", "seconds": "s",
    "ms": "ms", "msec": "ms", "millis": "ms", "millisecond": "ms", "milliseconds": "ms",
    "us": "us", "µs": "us", "μs": "us", "usec": "us", "micros": "us", "microseconds": "us",
    "ns": "ns", "nsec": "ns", "nanos": "ns", "nanoseconds": "ns",
    "min": "min", "minutes": "min",
}  # fmt: skip
_TIME_NAME = re.compile(r"^(time|t|timestamp|zeit|temps|tiempo|elapsed|sensor ?time|seconds?|secs?|millis(econds)?)\b")
_BASE_NAME = re.compile(r"(^|[\W_])(base|ground|frame|input|reference|ref)([\W_]|\d|$)")
_ASIDE_NAME = re.compile(
    r"\b(abs(olute)?|mag(nitude)?|total|norm|index|no|nr|row|sample|count(er)?|accuracy|date|temp(erature)?)\b"
)
#: Beyond this a file is not a trace for one fit.
_MOST_BYTES = 400_000_000
#: Short rows are laid out as wide as the widest.
_MOST_CELLS = 50_000_000
_DELIMITERS = (";", "\t", ",", " ")


def read_trace(
    path: str | Path,
    *,
    sample_rate_hz: float | None = None,
    time_column: str | int | None = None,
    signal_columns: Sequence[str | int] | None = None,
    base_columns: Sequence[str | int] | None = None,
    time_unit: str | None = None,
) -> Trace:
    """Read a trace from a CSV or other delimited text file.

    Parameters
    ----------
    path : path
        The file: comma, semicolon, tab or blank between columns, decimal point or comma, UTF-8 or UTF-16,
        with or without a byte order mark; blank lines, lines that start with ``#`` and a preamble before the
        column names are skipped.
    sample_rate_hz : float, optional
        Readings a second; the file's own time, if any, is then not used.
    time_column : str or int, optional
        Name of the time column, or its number from 1; else the first whose name looks like a time.
    signal_columns : sequence of str or int, optional
        The payload's columns; else all that are neither time nor base, nor a magnitude of others.
    base_columns : sequence of str or int, optional
        The base sensor's columns, in the order of the signals; else those whose names say "base", "ref", "input".
    time_unit : str, optional
        ``"s"``, ``"ms"``, ``"us"``, ``"ns"``; else the header's unit, else the one that makes a likely rate.

    Returns
    -------
    Trace
        Time from 0 in s, signals, base.

    Raises
    ------
    InputError
        Nothing to read, a cell that is no number (with row and column), an unknown column, a time that runs
        backwards or a file without time and rate.

    """
    name, text = _text(Path(path))
    lines = [(i, line) for i, line in enumerate(text.splitlines(), 1) if line.strip() and line.lstrip()[0] != "#"]
    if not lines:
        raise InputError("trace file", name, "a table of readings", "the file holds no rows")
    delimiter, comma = _dialect([line for _, line in lines])
    first = next((k for k, (_, line) in enumerate(lines) if _is_data(_split(line, delimiter), comma)), None)
    if first is None:
        raise InputError("trace file", name, "a table with rows of numbers", "no row of numbers was found")
    width = max(len(_split(line, delimiter)) for _, line in lines[first : first + 20])
    header = _split(lines[first - 1][1], delimiter) if first else []
    if len(header) != width:
        header = [f"column {i + 1}" for i in range(width)]
    header = [h.strip().strip('"').strip() or f"column {i + 1}" for i, h in enumerate(header)]
    if width * (len(lines) - first) > _MOST_CELLS:
        most = f"at most {_MOST_CELLS // 1_000_000} million cells"
        raise InputError("trace file", f"{len(lines) - first} rows of {width} columns", most, "cut it to the taps")
    table, numbers = _numbers(lines[first:], delimiter, comma, header, name)

    notes: list[str] = []
    low = [h.casefold() for h in header]
    at = _time_index(low, time_column, header, table, sample_rate_hz)
    given_base = None if base_columns is None else [_index(c, header, "base_columns") for c in base_columns]
    base = [i for i, h in enumerate(low) if _BASE_NAME.search(h) and i != at] if given_base is None else given_base
    if signal_columns is None:
        signals = [i for i in range(width) if i != at and i not in base and not _is_aside(low[i], table[:, i])]
        if len(signals) > 3:
            notes.append(f"{len(signals)} signal columns; the first three are used: name the ones that count")
            signals = signals[:3]
    else:
        signals = [_index(c, header, "signal_columns") for c in signal_columns]
        base = [i for i in base if i not in signals]
    if not signals:
        raise InputError("signal_columns", ", ".join(header), "at least one column of readings beside the time")
    if base and len(base) != len(signals):
        if given_base is not None:
            raise InputError("base_columns", len(base), f"as many as signal columns ({len(signals)})")
        notes.append("base columns left out: their number differs from that of the signals")
        base = []

    time = _time(table, at, low, numbers, header, sample_rate_hz, time_unit, notes, name)
    kept = tuple(header[i] for i in signals)
    return Trace(time, table[:, signals], kept, table[:, base] if base else None, tuple(notes))


def _text(path: Path) -> tuple[str, str]:
    name = path.name
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise InputError("trace file", name, f"at most {_MOST_BYTES // 1_000_000} MB", "cut it to the taps")
        raw = path.read_bytes()
    except OSError as error:
        raise InputError("trace file", name, "a file that can be read", error.strerror or "") from None
    for mark, code in ((b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"), (b"\xef\xbb\xbf", "utf-8-sig")):
        if raw.startswith(mark):
            try:
                return name, raw.decode(code)
            except UnicodeDecodeError:
                raise InputError("trace file", name, "text in UTF-8 or UTF-16", "save it as CSV") from None
    if b"\0" in raw[:4096]:
        raise InputError("trace file", name, "a text file", "save or export it as CSV")
    try:
        return name, raw.decode("utf-8")
    except UnicodeDecodeError:
        return name, raw.decode("latin-1")


def _split(line: str, delimiter: str) -> list[str]:
    if delimiter == " ":
        return line.split()
    cells = [c.strip().strip('"').strip() for c in line.rstrip("\r\n").split(delimiter)]
    # Some loggers end every row with a delimiter.
    return cells[:-1] if len(cells) > 1 and cells[-1] == "" else cells


def _number(cell: str, comma: bool) -> float | None:
    """The cell's number; NaN for an empty one; None when it is no number."""
    if not cell:
        return float("nan")
    try:
        value = float(cell.replace(",", ".") if comma else cell)
    except ValueError:
        return float("nan") if cell.casefold() in {"na", "n/a", "null", "none", "-"} else None
    return value if "_" not in cell else None


def _is_data(cells: list[str], comma: bool) -> bool:
    values = [_number(c, comma) for c in cells]
    return bool(values) and all(v is not None for v in values) and any(v == v for v in values if v is not None)


def _dialect(lines: list[str]) -> tuple[str, bool]:
    """Delimiter and whether the comma is the decimal mark: the pair that reads most of a sample as numbers."""
    step = max(1, len(lines) // 60)
    sample = lines[::step][-60:]
    best: tuple[float, str, bool] = (-1.0, ",", False)
    for delimiter in _DELIMITERS:
        for comma in (False, True):
            if comma and delimiter == ",":
                continue
            rows = [_split(line, delimiter) for line in sample]
            good = [len(r) for r in rows if _is_data(r, comma)]
            if not good:
                continue
            usual = max(set(good), key=good.count)
            score = good.count(usual) / len(rows) + 0.05 * min(usual, 8) - (0.02 if comma else 0.0)
            if score > best[0]:
                best = score, delimiter, comma
    if best[0] < 0.0:
        counts = {d: sum(line.count(d) for line in sample) for d in _DELIMITERS}
        top = max(counts, key=lambda d: counts[d])
        return top, top == ";"
    return best[1], best[2]


def _numbers(
    lines: list[tuple[int, str]], delimiter: str, comma: bool, header: list[str], name: str
) -> tuple[Array, list[int]]:
    """The rows as numbers, and each one's row number in the file."""
    rows: list[list[float]] = []
    numbers: list[int] = []
    width, nan = len(header), float("nan")
    for number, line in lines:
        cells = _split(line, delimiter)
        if len(cells) > width:
            raise InputError(
                f"trace file row {number}", f"{len(cells)} columns", f"{width} columns as the rows above", f"see {name}"
            )
        try:
            row = [float(c.replace(",", ".") if comma else c) for c in cells]
        except ValueError:
            row = []
            for column, cell in zip(header, cells, strict=False):
                value = _number(cell, comma)
                if value is None:
                    raise InputError(
                        f"trace file row {number}, column {column!r}", cell, "a number", "mend or empty the cell"
                    ) from None
                row.append(value)
        rows.append(row + [nan] * (width - len(row)))
        numbers.append(number)
    table = np.array(rows, dtype=float)
    table[~np.isfinite(table)] = np.nan
    return table, numbers


def _index(column: str | int, header: list[str], field: str) -> int:
    if isinstance(column, int) and not isinstance(column, bool):
        if 1 <= column <= len(header):
            return column - 1
        raise InputError(field, column, f"from 1 to {len(header)}")
    folded = [h.casefold() for h in header]
    wanted = str(column).strip().casefold()
    if wanted in folded:
        return folded.index(wanted)
    near = [i for i, h in enumerate(folded) if re.split(r"[\s(\[]", h)[0] == wanted]
    if len(near) == 1:
        return near[0]
    raise InputError(field, column, "one of the columns " + ", ".join(header))


def _time_index(
    low: list[str], time_column: str | int | None, header: list[str], table: Array, rate: float | None
) -> int | None:
    if time_column is not None:
        return _index(time_column, header, "time_column")
    for i, h in enumerate(low):
        if _TIME_NAME.match(h.replace("_", " ")):
            return i
    # A first column that rises steadily is a time even without a name.
    x = table[:, 0]
    x = x[np.isfinite(x)]
    if table.shape[1] > 1 and x.size > 2 and np.all(np.diff(x) >= 0) and x[-1] > x[0]:
        return 0
    if rate is None:
        raise InputError(
            "time_column", ", ".join(header), "one column of times, or a sample rate", "give the sample rate in Hz"
        )
    return None


def _is_aside(name: str, column: Array) -> bool:
    """A column that is no signal: a magnitude of others, a counter, a date, an empty one."""
    return _ASIDE_NAME.search(name) is not None or bool(np.all(np.isnan(column)))


def _time(
    table: Array,
    at: int | None,
    low: list[str],
    numbers: list[int],
    header: list[str],
    rate: float | None,
    unit: str | None,
    notes: list[str],
    name: str,
) -> Array:
    if rate is not None:
        try:
            hz = float(rate)
        except (TypeError, ValueError, OverflowError):
            hz = float("nan")
        if not 0.0 < hz < 1e7:
            raise InputError("sample_rate_hz", rate, "above 0 and below 1e7 Hz")
        return np.arange(table.shape[0]) / hz
    assert at is not None
    if unit is not None and unit not in _SECONDS:
        raise InputError("time_unit", unit, "one of " + ", ".join(_SECONDS))
    time = table[:, at]
    known = np.isfinite(time)
    if np.sum(known) < 2:
        raise InputError("trace file", name, "at least two rows with a time")
    back = np.flatnonzero(np.diff(time[known]) < 0)
    if back.size:
        row = np.flatnonzero(known)[back[0] + 1]
        raise InputError(
            f"trace file row {numbers[row]}, column {header[at]!r}", f"{time[row]:.12g}", "later than the row above",
            "sort the rows, or give one record a file",
        )  # fmt: skip
    steps = np.diff(time[known])
    steps = steps[steps > 0]
    if steps.size == 0:
        raise InputError("trace file", name, "times that go on", "give the sample rate in Hz")
    if unit is None:
        words = re.findall(r"[a-zµμ]+", low[at].replace("_", " "))
        unit = next((_UNIT_WORDS[w] for w in reversed(words) if w in _UNIT_WORDS), None)
    if unit is None:
        # Rates of 5 Hz to 5 kHz tell the units apart by the step alone.
        step = float(np.median(steps))
        unit = "s" if step < 0.2 else "ms" if step < 200.0 else "us" if step < 2e5 else "ns"
        notes.append(f"time without a unit taken as {unit}: {1.0 / (step * _SECONDS[unit]):.4g} readings a second")
    return np.asarray((time - time[known][0]) * _SECONDS[unit])
