"""Plain text tables from anywhere: byte order mark, old code pages, any usual separator, decimal commas.

Reads what spreadsheets and loggers write; what a column means is for the caller to say. Cells keep their
text, so that leading zeros of names survive.
"""

from __future__ import annotations

import csv
import os
import re
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from matdb.errors import InputError

__all__ = ["Table", "file_bytes", "read_table"]

#: The longest text that is read, in characters; the largest file, in bytes; the largest table. A short line below a
#: long header takes as much memory as a long one.
LONGEST = 50_000_000
MOST_BYTES = 2 * LONGEST
MOST_COLUMNS = 2000
MOST_CELLS = 40_000_000

_COMMA_NUMBER = re.compile(r"[-+]?\d*,\d+(?:[eE][-+]?\d+)?")
NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
#: What loggers write where they have no value.
BLANKS = frozenset({"", "-", "--", "---", "na", "n/a", "nan", "null", "none", "m", "missing", "?", "#n/a"})


@dataclass(frozen=True)
class Table:
    """A table of text cells.

    Attributes
    ----------
    what : str
        What the table is, as the user knows it; messages begin with it.
    header : tuple of str
        Column names, trimmed.
    rows : tuple of tuple of str
        Cells, trimmed, as many as there are columns.
    lines : tuple of int
        The line of the text that each row begins on, counted from 1.
    separator : str
        What stands between cells.

    """

    what: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    lines: tuple[int, ...]
    separator: str

    def column(self, index: int) -> list[str]:
        """The cells of one column."""
        return [row[index] for row in self.rows]

    def numbers(self, index: int) -> NDArray[np.float64]:
        """One column as numbers, NaN where a cell is blank or says that there is none.

        A comma is a decimal sign where it does not separate the cells and no number of the column has a dot.

        Raises
        ------
        InputError
            A cell that is no number, with its line.

        """
        cells = self.column(index)
        comma = self.separator != "," and any(_COMMA_NUMBER.fullmatch(c) for c in cells)
        comma = comma and not any("." in c and NUMBER.fullmatch(c) for c in cells)
        out = np.empty(len(cells))
        for i, cell in enumerate(cells):
            text = cell.replace("\N{MINUS SIGN}", "-")
            if comma:
                text = text.replace(",", ".")
            if NUMBER.fullmatch(text):
                out[i] = float(text)
            elif text.casefold() in BLANKS:
                out[i] = np.nan
            else:
                where = f"{self.what}, line {self.lines[i]}, {self.header[index] or f'column {index + 1}'}"
                raise InputError(where, cell, "a number, or empty where there is none")
        return out


def file_bytes(path: str | os.PathLike[str], most: int = MOST_BYTES) -> bytes:
    """A file's content, never more than can be used: what has no end, such as a device, is refused too.

    Parameters
    ----------
    path : str or path
        The file.
    most : int
        Largest number of bytes.

    Raises
    ------
    InputError
        It is larger.
    OSError
        It cannot be read.
    """
    pieces: list[bytes] = []
    room = most
    with open(path, "rb") as file:
        while piece := file.read(1 << 20):
            room -= len(piece)
            if room < 0:
                raise InputError(os.fspath(path), f"over {most} bytes", f"a file of at most {most} bytes", "split it")
            pieces.append(piece)
    return b"".join(pieces)


def read_table(
    what: str,
    text: str | bytes,
    *,
    is_header: Callable[[tuple[str, ...]], bool] | None = None,
    on_long_row: Callable[[int, str], None] | None = None,
) -> Table:
    """Read a table with a header line.

    Parameters
    ----------
    what : str
        What it is, for messages, for instance ``"forecast.csv"``.
    text : str or bytes
        The table; bytes are UTF-8 (or UTF-16 with its mark), and Windows-1252 where they are not.
        Lines that begin with ``#`` are comments; empty lines are skipped.
    is_header : callable, optional
        Tells the header among the first 50 lines, where a station's description precedes it; when none is
        one, the first line is.
    on_long_row : callable, optional
        Told of each row with more cells than the header, by its line and what is wrong; the row is left out. Without
        it such a row is refused.

    Raises
    ------
    InputError
        Not a text, too long, no header with at least two columns, or a row with more cells than the header.

    """
    plain = _decoded(what, text).lstrip("\N{ZERO WIDTH NO-BREAK SPACE}")
    if len(plain) > LONGEST:
        raise InputError(what, f"{len(plain)} characters", f"at most {LONGEST} characters", "split it")
    text_lines = plain.splitlines()
    begin, separator = _begin(text_lines, is_header)
    if not separator:
        shown = text_lines[begin].strip() if begin < len(text_lines) else ""
        raise InputError(what, shown, "a table with a header line and two columns or more (comma, semicolon or tab)")
    header: tuple[str, ...] = ()
    rows: list[tuple[str, ...]] = []
    lines: list[int] = []
    reader = csv.reader(text_lines[begin:], delimiter=separator, skipinitialspace=True)
    try:
        for raw in reader:
            cells = tuple(c.strip() for c in raw)
            if not any(cells) or cells[0].startswith("#"):
                continue
            if not header:
                header = cells
                if len(header) > MOST_COLUMNS:
                    raise InputError(what, f"{len(header)} columns", f"a table of at most {MOST_COLUMNS} columns")
                continue
            if len(rows) * len(header) > MOST_CELLS:
                raise InputError(what, f"over {MOST_CELLS} cells", f"at most {MOST_CELLS} cells", "split it")
            while len(cells) > len(header) and not cells[-1]:
                cells = cells[:-1]
            if len(cells) > len(header):
                cure = "write decimal points, or separate the cells with semicolons" if separator == "," else ""
                if on_long_row is None:
                    raise InputError(
                        f"{what}, line {begin + reader.line_num}",
                        separator.join(cells),
                        f"a row of at most {len(header)} cells, as many as the header has",
                        cure,
                    )
                says = f"{len(cells)} cells, where the header has {len(header)}"
                on_long_row(begin + reader.line_num, f"{says}; {cure}" if cure else says)
                continue
            rows.append(cells + ("",) * (len(header) - len(cells)))
            lines.append(begin + reader.line_num)
    except csv.Error as error:
        raise InputError(f"{what}, line {begin + reader.line_num}", str(error), "a row of plain cells") from None
    return Table(what, header, tuple(rows), tuple(lines), separator)


def _begin(lines: list[str], is_header: Callable[[tuple[str, ...]], bool] | None) -> tuple[int, str]:
    """The index of the header line and its separator, "" without any."""
    found: tuple[int, str] | None = None
    for i, line in enumerate(lines[:50]):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        bare = re.sub(r'"[^"]*"', "", line)
        separator = next((s for s in ("\t", ";", "|", ",") if s in bare), "")
        if found is None:
            found = i, separator
        if is_header is None:
            break
        if separator and is_header(tuple(c.strip().strip('"') for c in line.split(separator))):
            return i, separator
    return found or (0, "")


def _decoded(what: str, text: str | bytes) -> str:
    if isinstance(text, str):
        plain = text
    elif isinstance(text, bytes | bytearray):
        data = bytes(text)
        codes = ["utf-16"] if data[:2] in (b"\xff\xfe", b"\xfe\xff") else ["utf-8-sig", "cp1252"]
        for code in codes:
            try:
                plain = data.decode(code)
                break
            except UnicodeDecodeError:
                continue
        else:
            raise InputError(what, "a file of other bytes", "plain text (UTF-8)")
    else:
        raise InputError(what, type(text).__name__, "text")
    if "\x00" in plain:
        raise InputError(what, "a file with zero bytes", "plain text (UTF-8)", "export it as CSV")
    return plain
