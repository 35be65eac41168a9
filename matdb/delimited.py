"""Plain text tables from anywhere: byte order mark, old code pages, any usual separator, decimal commas; and out again.

Reads what spreadsheets and loggers write; what a column means is for the caller to say. Cells keep their
text, so that leading zeros of names survive. Writes plain rectangular CSV: line feeds, and no cell that a spreadsheet
would run.
"""

from __future__ import annotations

import csv
import io
import math
import os
import re
from array import array
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np

from matdb.arrays import Array
from matdb.errors import InputError
from matdb.plain_numbers import plain_rows

#: The longest text that is read, in characters; the largest file, in bytes; the largest table. A short line below a
#: long header takes as much memory as a long one.
LONGEST = 50_000_000
MOST_BYTES = 2 * LONGEST
MOST_COLUMNS = 2000
MOST_CELLS = 10_000_000
MOST_NUMBERS = 50_000_000
#: Long tables are looked at by so many bytes, and read by parts of so many, some at once, in blocks that a processor
#: holds close by.
_HEAD, _PART, _BLOCK, _AT_ONCE = 1 << 16, 1 << 21, 80_000, 4

_COMMA_NUMBER = re.compile(r"[-+]?\d*,\d+(?:[eE][-+]?\d+)?")
NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_SEPARATORS = (";", "\t", ",", " ")
#: Beyond it a cell holds no reading but an overflow, as infinity does.
_MOST_READ = 1e50
#: What loggers write where they have no value.
BLANKS = frozenset({"", "-", "--", "---", "na", "n/a", "nan", "null", "none", "m", "missing", "?", "#n/a"})

#: Text that begins with one of these, also in its wide form, is a formula to a spreadsheet; the apostrophe itself is
#: among them so that the guard can be undone.
_RISKY = "=+@\\-'\t\r＝＋－＠"
#: A spreadsheet of another country takes the cell apart at these.
_PARTED = ";\t|\r\n"
_OPEN = re.compile(rf"(?:\A(?=[ \n]*[{_RISKY}])|(?<=[{_PARTED}])(?=[ ]*[{_RISKY}]))(?!\s*\Z)")
_SHUT = re.compile(rf"(?:\A'(?=[ \n]*[{_RISKY}])|(?<=[{_PARTED}])'(?=[ ]*[{_RISKY}]))(?!\s*\Z)")


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

    def numbers(self, index: int) -> Array:
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
        found = [_number(cell.replace("\N{MINUS SIGN}", "-"), comma) for cell in cells]
        for i, value in enumerate(found):
            if value is None or math.isinf(value):
                where = f"{self.what}, line {self.lines[i]}, {self.header[index] or f'column {index + 1}'}"
                raise InputError(where, cells[i], "a number, or empty where there is none")
        return np.array(found, dtype=np.float64)


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
    reader = csv.reader(text_lines[begin:], delimiter=separator, skipinitialspace=True)
    numbered = ((begin + reader.line_num, [c.strip() for c in raw]) for raw in reader)
    cure = "write decimal points, or separate the cells with semicolons" if separator == "," else ""

    def refuse(line: int, cells: list[str], width: int) -> None:
        if on_long_row is None:
            allowed = f"a row of at most {width} cells, as many as the header has"
            raise InputError(f"{what}, line {line}", separator.join(cells), allowed, cure)
        says = f"{len(cells)} cells, where the header has {width}"
        on_long_row(line, f"{says}; {cure}" if cure else says)

    try:
        return rectangle(what, numbered, separator, refuse)
    except csv.Error as error:
        raise InputError(f"{what}, line {begin + reader.line_num}", str(error), "a row of plain cells") from None


def rectangle(
    what: str,
    numbered: Iterable[tuple[int, list[str]]],
    separator: str,
    on_long_row: Callable[[int, list[str], int], None],
) -> Table:
    """A table from rows of cells with their line numbers, the header first; blank rows and comments are passed over.

    Parameters
    ----------
    what, separator : str
        Of the table.
    numbered : iterable of (int, list of str)
        Line and cells of each row.
    on_long_row : callable
        Told of each row with more cells than the header: its line, its cells, the header's number. It refuses the row
        by an exception, or has it left out.

    Raises
    ------
    InputError
        More columns or cells than a table may have.
    """
    header: tuple[str, ...] = ()
    rows: list[tuple[str, ...]] = []
    lines: list[int] = []
    for line, cells in numbered:
        if not any(cells) or cells[0].startswith("#"):
            continue
        if not header:
            header = tuple(cells)
            if len(header) > MOST_COLUMNS:
                raise InputError(what, f"{len(header)} columns", f"a table of at most {MOST_COLUMNS} columns")
            continue
        if len(rows) * len(header) > MOST_CELLS:
            raise InputError(what, f"over {MOST_CELLS} cells", f"at most {MOST_CELLS} cells", "split it")
        while len(cells) > len(header) and not cells[-1]:
            cells.pop()
        if len(cells) > len(header):
            on_long_row(line, cells, len(header))
            continue
        rows.append((*cells, *[""] * (len(header) - len(cells))))
        lines.append(line)
    return Table(what, header, tuple(rows), tuple(lines), separator)


@dataclass(frozen=True)
class NumberTable:
    """A table of numbers, as loggers write it.

    Attributes
    ----------
    header : tuple of str
        Column names, trimmed; "column 1" and so on where the file has none.
    values : array, shape (rows, columns)
        NaN where a cell is empty or says that there is no value.
    rows : sequence of int
        The line of the text that each row stands on, counted from 1.

    """

    header: tuple[str, ...]
    values: Array
    rows: Sequence[int]


def read_numbers(what: str, name: str, content: bytes) -> NumberTable:
    """Read a table of numbers: with or without header, below any preamble, of any usual separator.

    Comma, semicolon, tab or blank between cells, decimal point or comma; blank lines and lines that start with ``#``
    are skipped, and so is what precedes the first row of numbers but the line above it, which may name the columns.

    Parameters
    ----------
    what, name : str
        What it is and its file's name, for messages.
    content : bytes
        The file.

    Raises
    ------
    InputError
        No text, no row of numbers, a cell that is no number (with its row and column), a row longer than those above
        it, more cells than fit.
    """
    # A long trace is millions of lines: numbers lie in arrays, each line is there once.
    lines = _decoded(what, content).splitlines()
    filled = array("l", (i for i, line in enumerate(lines, 1) if line.strip() and line.lstrip()[0] != "#"))
    lines = [lines[i - 1] for i in filled]
    if not lines:
        raise InputError(what, name, "a table of readings", "the file holds no rows")
    separator, comma = _dialect(lines)
    first = next((k for k, line in enumerate(lines) if _is_row(_split(line, separator), comma)), None)
    if first is None:
        raise InputError(what, name, "a table with rows of numbers", "no row of numbers was found")
    width = max(len(_split(line, separator)) for line in lines[first : first + 20])
    if width * (len(lines) - first) > MOST_NUMBERS:
        most = f"at most {MOST_NUMBERS // 1_000_000} million cells"
        raise InputError(what, f"{len(lines) - first} rows of {width} columns", most, "cut it to the taps")
    above = _split(lines[first - 1], separator) if first else []
    header = tuple(above[i] if len(above) == width and above[i] else f"column {i + 1}" for i in range(width))
    values = _values(what, name, header, zip(filled[first:], islice(lines, first, None), strict=True), separator, comma)
    return NumberTable(header, values, tuple(filled[first:]))


def _values(
    what: str, name: str, header: Sequence[str], rows: Iterable[tuple[int, str]], separator: str, comma: bool
) -> Array:
    """The numbers of rows with their lines, NaN where a cell is blank. Raises InputError."""
    width, read = len(header), array("d")
    for number, line in rows:
        cells = _split(line, separator)
        if len(cells) > width:
            allowed = f"{width} columns as the rows above"
            raise InputError(f"{what} row {number}", f"{len(cells)} columns", allowed, f"see {name}")
        row = [_number(cell, comma) for cell in cells]
        for i in (i for i, value in enumerate(row) if value is None):
            field = f"{what} row {number}, column {header[i]!r}"
            raise InputError(field, cells[i], "a number", "mend or empty the cell")
        read.extend(value for value in row if value is not None)
        read.extend([math.nan] * (width - len(row)))
    values = np.array(read).reshape(-1, width)
    values[~(np.abs(values) < _MOST_READ)] = np.nan
    return values


@dataclass(frozen=True)
class LongTable:
    """A table of numbers of millions of rows: its top, and what it takes to read columns of the rest.

    Attributes
    ----------
    what : str
        What it is, for messages.
    path : path
        Its file.
    top : NumberTable
        Its first rows, or all where ``separator`` is empty.
    separator : str
        Between the numbers of its rows; empty where ``top`` holds all of them.

    """

    what: str
    path: Path
    top: NumberTable
    separator: str

    def columns(
        self, exact: Sequence[int], groups: Sequence[Sequence[int]]
    ) -> tuple[dict[int, Array], list[Array], Sequence[int]]:
        """Some columns by their places, groups of others side by side in single precision, and the rows' lines.

        A line that holds no row, being empty or a comment, has no values there.

        Raises
        ------
        InputError
            As of :func:`read_numbers`.
        OSError
            It cannot be read.
        """
        from concurrent.futures import ThreadPoolExecutor

        if not self.separator:
            values = self.top.values
            some: list[Array] = [np.asarray(values[:, group], dtype=np.float32) for group in groups]
            return {i: values[:, i] for i in exact}, some, self.top.rows
        first, parts = self.top.rows[0], list[tuple[int, int, int]]()
        with open(self.path, "rb") as file:
            for _ in range(first - 1):
                file.readline()
            start, line = file.tell(), first
            while part := file.read(_PART) + file.readline(_PART):
                parts.append((start, start := file.tell(), line))
                line += part.count(b"\n") + (not part.endswith(b"\n"))
        rows, kept = range(first, line), tuple(sorted({*exact, *(i for group in groups for i in group)}))
        found = {i: np.empty(len(rows)) for i in exact}
        beside: list[Array] = [np.empty((len(rows), len(group)), dtype=np.float32) for group in groups]

        def read(part: tuple[int, int, int]) -> None:
            start, end, line = part
            with open(self.path, "rb") as file:
                file.seek(start)
                while (left := end - file.tell()) > 0:
                    block = file.read(_BLOCK) + file.readline(_PART) if left > _BLOCK else file.read(left)
                    values = self._block(block.removesuffix(b"\n") + b"\n", kept, line)
                    to = slice(line - first, line - first + len(values))
                    for i, column in found.items():
                        column[to] = values[:, kept.index(i)]
                    for group, columns in zip(groups, beside, strict=True):
                        columns[to] = values[:, [kept.index(i) for i in group]]
                    line += len(values)

        # Most of it is done on whole arrays, which leaves other processors free for the next part.
        with ThreadPoolExecutor(min(_AT_ONCE, os.cpu_count() or 1)) as pool:
            list(pool.map(read, parts))
        return found, beside, rows

    def _block(self, block: bytes, kept: tuple[int, ...], line: int) -> Array:
        """Some columns of a block of whole lines, by the quickest way that its rows allow. Raises InputError."""
        header = self.top.header
        block = block.replace(b"\r\n", b"\n") if b"\r" in block else block
        plain = plain_rows(block, self.separator, len(header))
        if plain is not None:
            return plain[:, kept]
        between, lines = None if self.separator == " " else self.separator, block.count(b"\n")
        if between is None or block.count(between.encode()) == lines * (len(header) - 1):
            with suppress(ValueError):
                told = np.loadtxt(io.BytesIO(block), comments=None, delimiter=between, usecols=kept, ndmin=2)
                if len(told) == lines:
                    return np.asarray(told)
        text = enumerate(_decoded(self.what, block).split("\n")[:-1])
        filled = [(at, row) for at, row in text if row.strip() and row.lstrip()[0] != "#"]
        values, rows = np.full((lines, len(header)), np.nan), ((line + at, row) for at, row in filled)
        values[[at for at, _ in filled]] = _values(self.what, self.path.name, header, rows, self.separator, comma=False)
        return values[:, kept]


def read_long(what: str, path: Path) -> LongTable:
    """Open a long table of numbers; one with decimal commas is read whole as :func:`read_numbers` does.

    Raises
    ------
    InputError
        As there.
    OSError
        It cannot be read.
    """
    with open(path, "rb") as file:
        head = file.read(_HEAD)
    if len(head) == _HEAD and head[: head.find(b"\n")].isascii():
        head = head[: head.rfind(b"\n") + 1]
        top = read_numbers(what, path.name, head)
        separator, comma = _dialect(_decoded(what, head).splitlines()[1:60])
        if not comma and top.rows[0] <= 2:
            return LongTable(what, path, top, separator)
    return LongTable(what, path, read_numbers(what, path.name, file_bytes(path)), "")


def _split(line: str, separator: str) -> list[str]:
    if separator == " ":
        return line.split()
    cells = [c.strip().strip('"').strip() for c in line.split(separator)]
    # Some loggers end every row with a separator.
    return cells[:-1] if len(cells) > 1 and cells[-1] == "" else cells


def _number(cell: str, comma: bool) -> float | None:
    """The cell's number; NaN for a blank one; None when it is no number."""
    try:
        value = float(cell.replace(",", ".") if comma else cell)
    except ValueError:
        return math.nan if cell.casefold() in BLANKS else None
    return value if "_" not in cell else None


def _is_row(cells: list[str], comma: bool) -> bool:
    values = [_number(c, comma) for c in cells]
    return None not in values and any(v == v for v in values)


def _dialect(lines: list[str]) -> tuple[str, bool]:
    """Separator and whether the comma is the decimal mark: the pair that reads most of a sample as numbers."""
    sample = lines[:: max(1, len(lines) // 60)][-60:]
    best: tuple[float, str, bool] = (-1.0, ",", False)
    for separator, comma in ((s, c) for s in _SEPARATORS for c in (False, True) if not (c and s == ",")):
        rows = [_split(line, separator) for line in sample]
        good = [len(r) for r in rows if _is_row(r, comma)]
        if good:
            usual = max(set(good), key=good.count)
            score = good.count(usual) / len(rows) + 0.05 * min(usual, 8) - (0.02 if comma else 0.0)
            best = max(best, (score, separator, comma), key=lambda each: each[0])
    return best[1], best[2]


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
    if not isinstance(text, str | bytes | bytearray):
        raise InputError(what, type(text).__name__, "text")
    plain = text if isinstance(text, str) else _text_of(bytes(text))
    if plain is None:
        raise InputError(what, "a file of other bytes", "plain text (UTF-8)")
    if "\x00" in plain:
        raise InputError(what, "a file with zero bytes", "plain text (UTF-8)", "export it as CSV")
    return plain


def _text_of(data: bytes) -> str | None:
    for code in ("utf-16",) if data[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig", "cp1252"):
        with suppress(UnicodeDecodeError):
            return data.decode(code)
    return None


# -- out -----------------------------------------------------------------------------------------------------------


def guarded(text: str) -> str:
    """Put an apostrophe before all that a spreadsheet would take for a formula, at the start or after a separator."""
    return _OPEN.sub("'", text)


def unguarded(text: str) -> str:
    """Take away the apostrophes that :func:`guarded` put."""
    return _SHUT.sub("", text)


def cell(value: Any) -> str:
    """One value as a cell: numbers so that they read back exactly, text guarded, texts joined, None empty."""
    if value is None or value != value:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int | float):
        return repr(value)
    if hasattr(value, "isoformat"):
        return str(value.isoformat())
    return guarded("; ".join(value) if isinstance(value, tuple) else str(value))


def csv_text(header: Sequence[str], rows: Iterable[Sequence[Any]], *, comma: bool = False) -> str:
    """A table as CSV text.

    Parameters
    ----------
    header : sequence of str
        Column names with their units.
    rows : iterable of sequence
        Cells, as many as the header has.
    comma : bool
        Decimal commas and semicolons between cells, as spreadsheets of many countries take them.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=";" if comma else ",", lineterminator="\n")
    writer.writerow(header)
    for row in rows:
        cells = [(cell(value), isinstance(value, float)) for value in row]
        writer.writerow([text.replace(".", ",") if comma and number else text for text, number in cells])
    return out.getvalue()
