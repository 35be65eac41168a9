"""Output: plain lines and tables for people, one JSON document for programs."""

from __future__ import annotations

import itertools
import json
import math
import shutil
import sys
import textwrap
import time
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from typing import Any, Final, NamedTuple, Self

import numpy as np
from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from matdb.fields import plain
from matdb.form.base import FormBase
from matdb.units import counted, percent
from matdb.version import VERSION

#: Of what a JSON document holds: 1 until 0.2.0.
SCHEMA: Final = 2
#: Width of tables where no terminal says how wide it is.
_WIDTH = 110


def _width() -> int:
    return max(shutil.get_terminal_size((_WIDTH, 24)).columns, 40)


def show(text: str = "", *, indent: str = "", wrap: bool = True) -> None:
    """Print a sentence, wrapped between words; never wrapped with ``wrap=False`` (paths, commands)."""
    if wrap and text:
        text = textwrap.fill(
            text,
            _width(),
            initial_indent=indent,
            subsequent_indent=" " * len(indent),
            break_long_words=False,
            break_on_hyphens=False,
        )
    else:
        text = indent + text
    print(text)


def sketch(form: FormBase | type[FormBase], beside: str = "") -> None:
    """Print a cut through a form, with a word beside its middle."""
    middle = len(form.sketch) // 2
    for k, line in enumerate(form.sketch):
        print(f"  {line}   {beside}".rstrip() if k == middle else f"  {line}".rstrip())


def lines(title: str, items: Iterable[str]) -> None:
    """Print a title and one bulleted sentence for each item; nothing when there are no items."""
    items = list(items)
    if items:
        show(title)
        for item in items:
            show(item, indent="  - ")


def table(headers: Sequence[str], *blocks: Iterable[Sequence[str]], right: Collection[int] = ()) -> None:
    """Print a table of rows, with a rule between one block of them and the next.

    Parameters
    ----------
    headers : sequence of str
        Column titles with units.
    *blocks : iterable of sequence of str
        The cells of each row of each block.
    right : collection of int
        Columns set flush right.
    """
    whole = [list(block) for block in blocks]
    everything = [headers, *itertools.chain(*whole)]
    if sum(_longest_words(everything)) > _room(len(headers), _width()):
        # Columns would break numbers: each row as a paragraph instead.
        for row in everything[1:]:
            first, *told = (f"{title} {cell}".strip() for title, cell in zip(headers, row, strict=True) if cell.strip())
            show(f"{first}: {'; '.join(told)}")
        return
    drawn = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    widths = _widths(everything, _width())
    for index, (title, width) in enumerate(zip(headers, widths, strict=True)):
        drawn.add_column(Text(title), justify="right" if index in right else "left", overflow="fold", width=width)
    for block in whole:
        for row in block:
            drawn.add_row(*map(Text, row))
        drawn.add_section()
    Console(width=_width(), highlight=False, emoji=False, markup=False).print(drawn)


class Column(NamedTuple):
    """A column of a table: its title with the unit, what a record shows in it, and whether it is set flush right."""

    title: str
    cell: Callable[[Any], str]
    right: bool = False


def records_table(records: Iterable[Any], columns: Sequence[Column], *, empty: str = "") -> None:
    """Print a table of a row for each record, see :func:`table`; without any, what ``empty`` says.

    A column with nothing in it is left out.
    """
    rows = [[column.cell(record) for column in columns] for record in records]
    if empty and not rows:
        show(empty)
        return
    filled = [index for index in range(len(columns)) if not rows or any(row[index] for row in rows)]
    right = [place for place, index in enumerate(filled) if columns[index].right]
    table([columns[index].title for index in filled], [[row[index] for index in filled] for row in rows], right=right)


def _widths(lines_of_cells: Sequence[Sequence[str]], whole: int) -> list[int]:
    """Column widths that fit the screen: lines break between words."""
    columns = list(zip(*lines_of_cells, strict=True))
    widths = [max(len(cell) for cell in column) or 1 for column in columns]
    words, room = _longest_words(lines_of_cells), _room(len(columns), whole)
    while sum(widths) > room:
        spare = [w if w > least else 0 for w, least in zip(widths, words, strict=True)]
        widths[spare.index(max(spare))] -= 1
    return widths


def _longest_words(lines_of_cells: Sequence[Sequence[str]]) -> list[int]:
    return [
        max((len(word) for cell in column for word in cell.split()), default=1)
        for column in zip(*lines_of_cells, strict=True)
    ]


def _room(columns: int, whole: int) -> int:
    """What the cells may take: a blank on either side of the line between two columns, and one at the right edge."""
    return max(whole - 3 * columns + 2, columns)


#: The commands whose documents this run has printed: there is never a second one.
documented: Final[list[str]] = []


def document(command: str, content: Mapping[str, Any], warnings: Iterable[str] = ()) -> None:
    """Print one JSON document: the versions, the command, the files that it wrote, its answer, and the warnings."""
    whole = {"matdb": VERSION, "schema": SCHEMA, "command": command, "files": [], **content, "warnings": list(warnings)}
    ascii_only = "utf" not in (getattr(sys.stdout, "encoding", None) or "").lower()
    documented.append(command)
    print(json.dumps(plain(whole, finite=True), indent=2, ensure_ascii=ascii_only, allow_nan=False))


def number_text(value: float | None, digits: int = 3) -> str:
    """A number with three significant digits, without a power of ten where it can be avoided."""
    if value is None or not math.isfinite(value):
        return "-"
    if value == 0.0:
        return "0"
    # The exponent after rounding: 99.96 has three digits before the point.
    size = int(f"{value:.{digits - 1}e}".partition("e")[2])
    if not -5 <= size <= 7:
        return f"{value:.{digits - 1}e}"
    return f"{round(value, digits - 1 - size):.{max(digits - 1 - size, 0)}f}"


def span_text(low: float, high: float) -> str:
    """Two numbers as ``2.1 to 35``."""
    return f"{number_text(low)} to {number_text(high)}"


def given_text(value: float | None) -> str:
    """A number that somebody gave, not computed: as short as it was written."""
    return "-" if value is None else f"{value:.4g}"


def band_text(median: float | None, low: float | None = None, high: float | None = None, digits: int = 3) -> str:
    """A band as ``12.3 (11.1-13.8)``: median and the ends of the central 95 %."""
    if median is None:
        return "-"
    if low is None or high is None:
        return number_text(median, digits)
    between = " to " if low < 0.0 else "-"
    return f"{number_text(median, digits)} ({number_text(low, digits)}{between}{number_text(high, digits)})"


def band_cell(found: Any, digits: int = 3, index: int = 0) -> str:
    """A band as :func:`band_text` has it: of an array its ``index``-th place; ``-`` for none and for what is no number.

    Parameters
    ----------
    found : Band, mapping or None
        Something with median, low and high.
    """
    if found is None:
        return "-"
    ends = [found[k] if isinstance(found, Mapping) else getattr(found, k) for k in ("median", "low", "high")]
    median, low, high = (float(np.reshape(end, -1)[index]) for end in ends)
    return "-" if math.isnan(median) else band_text(median, low, high, digits)


def identified(counts: Mapping[str, int]) -> dict[str, int]:
    """The same by names that programs can use."""
    return {name.replace(" ", "_"): number for name, number in counts.items()}


def counts_text(counts: Mapping[str, int]) -> str:
    """What there is any of: ``3 materials, 1 part``."""
    of = {"replaced": "earlier versions"}
    return ", ".join(counted(number, of.get(name, name)) for name, number in counts.items() if number)


def share_text(probability: float) -> str:
    """:func:`percent` for a column."""
    return percent(probability, "%")


class Progress:
    """A bar on the error stream once the work has lasted a second; terminals only. For a ``with`` block."""

    after_s = 1.0

    def __init__(self, what: str) -> None:
        self.what, self.started = what, time.monotonic()
        self.drawn: Any = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *error: object) -> None:
        if self.drawn is not None:
            self.drawn.stop()

    def __call__(self, share: float) -> None:
        """Take note of the share done, 0 to 1."""
        if self.drawn is None:
            if share >= 1.0 or time.monotonic() - self.started < self.after_s or not sys.stderr.isatty():
                return
            from rich.progress import Progress as Bar  # only work that lasts pays for it

            self.drawn = Bar(console=Console(stderr=True, markup=False), transient=True)
            self.drawn.start()
            self.drawn.add_task(self.what.replace("[", r"\["), total=1.0)
        self.drawn.update(self.drawn.task_ids[0], completed=min(share, 1.0))
