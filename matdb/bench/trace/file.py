"""Read a trace from a text file: whatever a phone or a logger writes, one clear line for what is wrong."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from matdb.arrays import Array
from matdb.bench.trace.record import Trace
from matdb.checks import checked_number, one_of
from matdb.delimited import NumberTable, file_bytes, read_numbers
from matdb.errors import InputError

_WHAT = "trace file"
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
    table = _table(Path(path))
    header, notes = table.header, list[str]()
    low = [h.casefold() for h in header]
    at = time_index(table, time_column, sample_rate_hz)
    given = None if base_columns is None else [column_index(c, header, "base_columns") for c in base_columns]
    base = [i for i, h in enumerate(low) if _BASE_NAME.search(h) and i != at] if given is None else given
    if signal_columns is None:
        # A magnitude of others, a counter, a date, an empty column are no signals.
        silent = np.all(np.isnan(table.values), axis=0)
        free = [i for i in range(len(low)) if i != at and i not in base]
        signals = [i for i in free if not silent[i] and not _ASIDE_NAME.search(low[i])]
        if len(signals) > 3:
            notes.append(f"{len(signals)} signal columns; the first three are used: name the ones that count")
            signals = signals[:3]
    else:
        signals = [column_index(c, header, "signal_columns") for c in signal_columns]
        base = [i for i in base if i not in signals]
    if not signals:
        raise InputError("signal_columns", ", ".join(header), "at least one column of readings beside the time")
    if base and len(base) != len(signals):
        if given is not None:
            raise InputError("base_columns", len(base), f"as many as signal columns ({len(signals)})")
        notes.append("base columns left out: their number differs from that of the signals")
        base = []
    if sample_rate_hz is not None:
        rate = checked_number("sample_rate_hz", sample_rate_hz, 0.0, 1e7, "Hz", open_low=True)
        time = np.arange(len(table.rows)) / rate
    else:
        time = seconds_of(table.values[:, at], header[at], table.rows, time_unit, notes, Path(path).name)
    values = table.values
    names = tuple(header[i] for i in signals)
    return Trace(time, values[:, signals], names, values[:, base] if base else None, tuple(notes))


def _table(path: Path) -> NumberTable:
    try:
        return read_numbers(_WHAT, path.name, file_bytes(path))
    except OSError as error:
        raise InputError(_WHAT, path.name, "a file that can be read", error.strerror or "") from None


def column_index(column: str | int, header: Sequence[str], field: str) -> int:
    """Which column a name or a number from 1 means. Raises InputError."""
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


def time_index(table: NumberTable, time_column: str | int | None, rate: float | None) -> int:
    """The column of the times; -1 where the sample rate is told instead. Raises InputError."""
    if time_column is not None:
        return column_index(time_column, table.header, "time_column")
    for i, h in enumerate(table.header):
        if _TIME_NAME.match(h.casefold().replace("_", " ")):
            return i
    # A first column that rises steadily is a time even without a name.
    x = table.values[:, 0]
    x = x[np.isfinite(x)]
    if len(table.header) > 1 and x.size > 2 and np.all(np.diff(x) >= 0) and x[-1] > x[0]:
        return 0
    if rate is None:
        allowed = "one column of times, or a sample rate"
        raise InputError("time_column", ", ".join(table.header), allowed, "give the sample rate in Hz")
    return -1


def seconds_of(
    time: Array, title: str, rows: Sequence[int], unit: str | None, notes: list[str], name: str, what: str = _WHAT
) -> Array:
    """Seconds since the first row with a time. Raises InputError."""
    if unit is not None:
        one_of("time_unit", unit, _SECONDS)
    known = np.isfinite(time)
    told = time[known]
    if told.size < 2:
        raise InputError(what, name, "at least two rows with a time")
    start, steps = told[0], np.diff(told)
    if np.any(steps < 0):
        row = np.flatnonzero(known)[int(np.argmax(steps < 0)) + 1]
        field, cure = f"{what} row {rows[row]}, column {title!r}", "sort the rows, or give one record a file"
        raise InputError(field, f"{time[row]:.12g}", "later than the row above", cure)
    if not np.any(steps > 0):
        raise InputError(what, name, "times that go on", "give the sample rate in Hz")
    if unit is None:
        words = re.findall(r"[a-zµμ]+", title.casefold().replace("_", " "))
        unit = next((_UNIT_WORDS[w] for w in reversed(words) if w in _UNIT_WORDS), None)
    if unit is None:
        # Rates of 5 Hz to 5 kHz tell the units apart by the step alone.
        step = float(np.median(steps[steps > 0]))
        unit = "s" if step < 0.2 else "ms" if step < 200.0 else "us" if step < 2e5 else "ns"
        notes.append(f"time without a unit taken as {unit}: {1.0 / (step * _SECONDS[unit]):.4g} readings a second")
    return np.asarray((time - start) * _SECONDS[unit])
