"""Tables to and from XLSX workbooks, with limits: a small file can unfold to more than any memory holds.

The reader cannot be asked for a sheet's size: it lays the sheet out before it tells, and two cells in opposite corners
make it ask for 512 GiB and end the process. So a workbook is unpacked and measured before it is read.
"""

from __future__ import annotations

import io
import os
import re
import zipfile
import zlib
from collections.abc import Iterable, Iterator, Sequence
from functools import reduce
from itertools import pairwise
from pathlib import Path
from typing import Any, Final

from matdb.checks import extra
from matdb.delimited import Table, cell, csv_text, rectangle
from matdb.errors import InputError
from matdb.files import new_file, write_bytes, write_text

#: Largest file, largest content once unpacked (bytes), entries, rows, columns, cells, characters of text.
MOST_BYTES: Final = 60_000_000
MOST_UNPACKED: Final = 200_000_000
MOST_ENTRIES: Final = 2_000
MOST_ROWS: Final = 200_000
MOST_COLUMNS: Final = 200
MOST_CELLS: Final = 8_000_000
MOST_TEXT: Final = 1_000_000_000

#: The start tag of a row or a cell, under any prefix; without its attributes where they do not end as they should. No
#: match reaches past the next "<", so that none hides another.
_TAG = re.compile(rb"""<(?:[^\s<>/:"'=]++:)?(row|c)(?=[\s/>])(?:((?:[^<>"']++|"[^"<]*+"|'[^'<]*+')*+)>)?""")
_ATTRIBUTE = re.compile(rb"""([^\s="'/]++)\s*+=\s*+(?:"([^"]*+)"|'([^']*+)')""")
_PLACE = re.compile(rb"([A-Za-z]{1,3})?(\d{1,9})")
_SHARED = re.compile(rb"<(?:\w+:)?si\b")


def is_spreadsheet(content: bytes) -> bool:
    """Whether bytes begin as a workbook does: XLSX (a ZIP archive) or the older XLS."""
    return content[:4] in (b"PK\x03\x04", b"PK\x05\x06") or content[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"


def write_rows(
    path: str | os.PathLike[str],
    title: str,
    header: Sequence[str],
    rows: Iterable[Sequence[Any]],
    *,
    notes: Sequence[str] = (),
    comma: bool = False,
    force: bool = False,
) -> Path:
    """Write a table, a workbook where the name ends in ``.xlsx``, else CSV; raises as :func:`matdb.files.new_file`."""
    if Path(path).suffix.lower() == ".xlsx":
        return write_bytes(new_file(path, force=force), workbook(title, header, rows, notes))
    return write_text(path, csv_text(header, rows, comma=comma), force=force)


def workbook(title: str, header: Sequence[str], rows: Iterable[Sequence[Any]], notes: Sequence[str]) -> bytes:
    """A table as an XLSX workbook: numbers are numbers whatever the country, notes stand on a sheet of their own.

    Raises
    ------
    MissingExtra
        The optional package is not installed.
    """
    openpyxl = extra("openpyxl", "an XLSX workbook", "spreadsheet")
    book = openpyxl.Workbook(write_only=True)
    sheet = book.create_sheet(title)
    sheet.append(list(header))
    for row in rows:
        sheet.append([value if isinstance(value, int | float) else cell(value) or None for value in row])
    if notes:
        more = book.create_sheet("before you rely on it")
        for note in notes:
            more.append([cell(note)])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def read_spreadsheet(name: str, content: bytes, *, sheet: str | None = None) -> tuple[Table, tuple[str, ...]]:
    """Read one sheet of an XLSX workbook as a table of text.

    Parameters
    ----------
    name : str
        The file's name, for messages.
    content : bytes
        The file.
    sheet : str, optional
        The sheet's name; the first sheet without it.

    Returns
    -------
    Table, tuple of str
        The table, lines being the sheet's row numbers, and the names of the sheets that were not read. Numbers read
        back exactly; formulas count with the value that was saved with them. Empty rows and rows that begin with
        ``#`` are passed over.

    Raises
    ------
    MissingExtra
        The optional package is not installed.
    InputError
        No XLSX workbook, a damaged one, one beyond the limits, no such sheet, or no header.
    """
    python_calamine = extra("python_calamine", "an XLSX workbook", "spreadsheet")
    checked = _checked(name, content)
    try:
        workbook = python_calamine.load_workbook(io.BytesIO(checked))
        sheets = list(workbook.sheet_names)
        if sheet is not None and sheet not in sheets:
            raise InputError("--sheet", sheet, "a sheet of the workbook: " + ", ".join(sheets[:20]))
        if not sheets:
            raise InputError(name, "no sheet", "a workbook with a sheet of readings")
        chosen = sheet or sheets[0]
        rows = workbook.get_sheet_by_name(chosen).to_python(skip_empty_area=False)
    except (InputError, KeyboardInterrupt, SystemExit, MemoryError):
        raise
    except BaseException as error:
        # The reader is compiled: what it cannot bear comes as an error of its own, not always an Exception.
        raise InputError(name, _short(error), "an XLSX workbook that can be read", "save it again, or as CSV") from None
    return _table(name, chosen, rows), tuple(s for s in sheets if s != chosen)


def _table(name: str, sheet: str, rows: list[list[Any]]) -> Table:
    what = f"{name}, sheet {sheet}"

    def refuse(line: int, cells: list[str], width: int) -> None:
        allowed = f"in one of the {width} columns that the header names"
        raise InputError(f"{what}, row {line}", cells[-1], allowed)

    found = rectangle(name, _numbered(rows), "\t", refuse)
    if len(found.header) < 2:
        raise InputError(what, " ".join(found.header), "a table with a header row and two columns or more")
    return found


def _numbered(rows: list[list[Any]]) -> Iterator[tuple[int, list[str]]]:
    """Rows as texts with their numbers, without the empty cells at their ends: a sheet is laid out as a rectangle."""
    for number, raw in enumerate(rows, 1):
        cells = [_text(value) for value in raw]
        while len(cells) > 1 and not cells[-1]:
            cells.pop()
        yield number, cells


def _text(value: Any) -> str:
    """One cell as text: whole numbers without a point, times in ISO 8601."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, str):
        return " ".join(value.split())
    return str(value.isoformat() if hasattr(value, "isoformat") else value)


def _checked(name: str, content: bytes) -> bytes:
    """The workbook packed anew, once its true size is known to be bearable."""
    allowed = "an XLSX workbook"
    if content[:4] == b"\xd0\xcf\x11\xe0":
        cure = "save it as XLSX without a password, or as CSV"
        raise InputError(name, "an older or encrypted workbook", allowed, cure)
    if len(content) > MOST_BYTES:
        raise InputError(name, f"{len(content)} bytes", f"at most {MOST_BYTES} bytes", "split it, or save it as CSV")
    out, room = io.BytesIO(), MOST_UNPACKED
    text_cells = longest = 0
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed, zipfile.ZipFile(out, "w") as plain:
            entries = packed.infolist()
            if not any(e.filename.casefold() == "xl/workbook.xml" for e in entries):
                raise InputError(name, "a packed file of another kind", allowed, "save it as XLSX or CSV")
            if len(entries) > MOST_ENTRIES:
                raise InputError(name, f"{len(entries)} entries", f"a workbook of at most {MOST_ENTRIES} entries")
            for entry in entries:
                low = entry.filename.casefold()
                if not low.endswith((".xml", ".rels")):
                    continue  # pictures and macros hold no reading
                # What the archive says of its size may be a lie: never more than the room is unpacked.
                with packed.open(entry) as file:
                    data = file.read(room + 1)
                room -= len(data)
                if room < 0:
                    unpacked = f"over {MOST_UNPACKED} bytes when unpacked"
                    raise InputError(name, unpacked, "a smaller workbook", "save it as CSV")
                # Whatever an entry is called, the workbook may take it for a sheet or for the shared texts.
                text_cells += _check_sheet(name, data)
                longest = max(longest, _longest(data))
                plain.writestr(entry.filename, data)
    except InputError:
        raise
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, ValueError, OSError) as error:
        raise InputError(name, _short(error), allowed, "it is damaged or protected; save it again, or as CSV") from None
    if text_cells * longest > MOST_TEXT:
        raise InputError(name, f"{text_cells} cells of up to {longest} characters", "less text", "save it as CSV")
    return out.getvalue()


def _check_sheet(name: str, data: bytes) -> int:
    """Refuse a sheet whose corners lie too far apart, for it is laid out in full; the number of its cells."""
    rows = columns = cells = here = 0
    for match in _TAG.finditer(data):
        found = _place(name, match)
        if match[1] == b"row":
            rows, here = max(rows + 1, int(found[2]) if found else 0), 0
            continue
        # A cell without a place comes after the one before it.
        cells, here = cells + 1, here + 1
        if found:
            here, rows = max(here, _column(found[1] or b"")), max(rows, int(found[2]))
        columns = max(columns, here)
    if rows > MOST_ROWS or columns > MOST_COLUMNS or rows * columns > MOST_CELLS or cells > MOST_CELLS:
        allowed = f"at most {MOST_ROWS} rows, {MOST_COLUMNS} columns and {MOST_CELLS} cells"
        cure = "delete stray cells far from the table, or save it as CSV"
        raise InputError(name, f"a sheet of {rows} rows and {columns} columns", allowed, cure)
    return cells


def _place(name: str, tag: re.Match[bytes]) -> re.Match[bytes] | None:
    """Where a row or cell says that it stands; what could be read as another place is refused, for it is laid out."""
    given = tag[2]
    places = [] if given is None else [a or b for key, a, b in _ATTRIBUTE.findall(given) if key == b"r"]
    found = _PLACE.fullmatch(places[0]) if len(places) == 1 else None
    if given is None or len(places) > 1 or (places and found is None):
        shown = (places[0] if places else tag[0]).decode("utf-8", "replace")
        raise InputError(name, shown, "a workbook whose cells have places such as B12", "save it again, or as CSV")
    return found


def _column(letters: bytes) -> int:
    return reduce(lambda number, letter: 26 * number + letter - 64, letters.upper(), 0)


def _longest(data: bytes) -> int:
    """Length of the longest shared text, markup included."""
    starts = [match.start() for match in _SHARED.finditer(data)]
    return max((b - a for a, b in pairwise([*starts, len(data)])), default=0)


def _short(error: BaseException) -> str:
    return " ".join(str(error).split())[:60] or type(error).__name__
