"""Plain rectangular CSV: UTF-8, line feeds, units in the header, and no cell that a spreadsheet would run."""

from __future__ import annotations

import csv
import io
import os
import re
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from matdb.files import write_text

#: Text that begins with one of these, also in its wide form, is a formula to a spreadsheet; the apostrophe itself is
#: among them so that the guard can be undone.
_RISKY = "=+@\\-'\t\r＝＋－＠"
#: A spreadsheet of another country takes the cell apart at these.
_PARTED = ";\t|\r\n"
_OPEN = re.compile(rf"(?:\A(?=[ \n]*[{_RISKY}])|(?<=[{_PARTED}])(?=[ ]*[{_RISKY}]))(?!\s*\Z)")
_SHUT = re.compile(rf"(?:\A'(?=[ \n]*[{_RISKY}])|(?<=[{_PARTED}])'(?=[ ]*[{_RISKY}]))(?!\s*\Z)")


def guarded(text: str) -> str:
    """Put an apostrophe before all that a spreadsheet would take for a formula, at the start or after a separator."""
    return _OPEN.sub("'", text)


def unguarded(text: str) -> str:
    """Take away the apostrophes that :func:`guarded` put."""
    return _SHUT.sub("", text)


def cell(value: Any) -> str:
    """One value as a cell: numbers so that they read back exactly, text guarded, None empty."""
    if value is None or value != value:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int | float):
        return repr(value)
    if hasattr(value, "isoformat"):
        return str(value.isoformat())
    return guarded(str(value))


def csv_text(header: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """A table as CSV text.

    Parameters
    ----------
    header : sequence of str
        Column names with their units.
    rows : iterable of sequence
        Cells, as many as the header has.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(header)
    for row in rows:
        writer.writerow([cell(value) for value in row])
    return out.getvalue()


def write_csv(
    path: str | os.PathLike[str], header: Sequence[str], rows: Iterable[Sequence[Any]], *, force: bool = False
) -> Path:
    """Write a table to a file, whole or not at all.

    Parameters
    ----------
    path : str or path
        The file; its folder must be there.
    header, rows
        As :func:`csv_text`.
    force : bool
        Replace a file that is there.

    Raises
    ------
    FileTaken
        The file is there already.
    InputError
        It is a folder.
    OSError
        The folder cannot be written or the disk is full; nothing is left behind.
    """
    return write_text(path, csv_text(header, rows), force=force)
