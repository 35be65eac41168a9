"""A chart as a few lines of text: quarter blocks where the screen has them, plain ASCII where not."""

from __future__ import annotations

import math
import textwrap
from typing import Any, Final

import numpy as np

from matdb.arrays import Array, Flags
from matdb.picture.chart import Chart, Panel, Scale, Series, Span

#: Quarter blocks by the sum of upper left 1, upper right 2, lower left 4, lower right 8.
_QUARTERS: Final = np.array(list(" ▘▝▀▖▌▞▛▗▚▐▜▄▙▟█"))
_WORTH: Final = np.array([[1, 2], [4, 8]])
_KINDS: Final = ("band", "wanted", "span", "points", "crosses", "side", "corner", "floor")
#: Signs of the kinds.
_BLOCKS, _ASCII = (dict(zip(_KINDS, signs, strict=True)) for signs in ("░·╎ox│└─", ":.'ox|+-"))
_NAMES: Final = "abcdefgh"
#: Signs of labels and notes as ASCII has them.
_PLAIN: Final = str.maketrans({"−": "-", "·": "*", "…": "...", "²": "2", "°": ""})


def chart_text(chart: Chart, *, width: int = 78, height: int = 14, blocks: bool = True) -> str:
    """A chart as text.

    Parameters
    ----------
    chart : Chart
        What to show.
    width : int
        Columns, 40 to 300.
    height : int
        Lines of each panel's field, 5 to 60.
    blocks : bool
        False takes ASCII alone: for screens without block characters.

    Returns
    -------
    str
        Lines without trailing blanks; lines are named a, b, c at their right ends and in the legend.
    """
    lines = [chart.title, *textwrap.wrap(chart.subtitle, width)]
    for panel in chart.panels:
        lines += ["", *_panel(panel, width, height, blocks)]
    lines += [""] * bool(chart.notes)
    for note in chart.notes:
        lines += textwrap.wrap(note, width)
    text = "\n".join(line.rstrip() for line in lines)
    return text if blocks else text.translate(_PLAIN).encode("ascii", "replace").decode()


class _Field:
    """The cells of one panel, filled from the back to the front: spans, bands, lines, names, points."""

    def __init__(self, panel: Panel, wide: int, tall: int, *, blocks: bool) -> None:
        self.wide, self.tall = wide, tall
        self.signs = _BLOCKS if blocks else _ASCII
        self.x, self.y = _scale_of(panel, "x"), _scale_of(panel, "y")
        self.cells = np.full((tall, wide), " ")
        self.row, self.column = np.indices(self.cells.shape)
        self.names: dict[tuple[int, str], str] = {}
        lines = [s for s in panel.series if s.style in ("line", "dashed")]
        for span in panel.spans:
            self._span(span)
        for series in lines:
            self._band(series)
        inked = np.zeros((2 * tall, 2 * wide), dtype=bool)
        fine = [self._line(series, inked) for series in lines]
        quarters = np.einsum("ikjl,kl->ij", inked.reshape(tall, 2, wide, 2), _WORTH)
        self.cells = np.where(quarters > 0, _QUARTERS[quarters] if blocks else "*", self.cells)
        if len({s.colour for s in lines}) > 1:
            for series, rows in zip(lines, fine, strict=True):
                self._name(series, rows)
        for series in panel.series:
            if series.style in ("points", "crosses"):
                x, y = self._columns(series.x), self._rows(series.y)
                seen = (x >= 0) & (x <= wide) & (y >= 0) & (y <= tall)
                r, c = np.minimum(y[seen], tall - 1).astype(int), np.minimum(x[seen], wide - 1).astype(int)
                self.cells[r, c] = self.signs[series.style]

    def _columns(self, x: Any) -> Array:
        """Columns from the left edge."""
        return self.x.share(x) * self.wide

    def _rows(self, y: Any) -> Array:
        """Rows from the upper edge."""
        return (1.0 - self.y.share(y)) * self.tall

    def _span(self, span: Span) -> None:
        both = np.array([span.low, span.high])
        upright = span.axis == "x"
        place, along, most = (
            (self._columns(both), self.column, self.wide) if upright else (self._rows(both), self.row, self.tall)
        )
        low, high = np.sort(np.clip(place, 0.0, most))
        inside = (along >= int(low)) & (along < max(math.ceil(high), int(low) + 1))
        # Every other place, so that the lines stand out.
        free = (self.cells == " ") & ((self.row + self.column) % 2 == 0)
        self.cells[inside & free] = self.signs[_kind(span)]

    def _along(self, series: Series, values: Array, parts: int) -> Array:
        """Rows of a line at the middles of so many parts of the field's width; nan outside it and beside a gap."""
        x = self.x.at((np.arange(parts) + 0.5) / parts)
        at, known = (np.log(x), np.log(series.x)) if self.x.log else (x, series.x)
        return self._rows(np.interp(at, known, values, left=np.nan, right=np.nan))

    def _band(self, series: Series) -> None:
        if series.low is not None and series.high is not None:
            top, bottom = (np.floor(self._along(series, v, self.wide) + 0.5) for v in (series.high, series.low))
            self.cells[(self.row >= top) & (self.row < bottom)] = self.signs["band"]

    def _line(self, series: Series, inked: Flags) -> Array:
        """Ink quarter cells along a line, whose half rows these are; a steep one fills the rows between two columns."""
        fine = np.floor(2.0 * self._along(series, series.y, 2 * self.wide))
        fine = np.where(np.isfinite(fine), fine, np.nan)
        before = np.append(np.nan, fine[:-1])
        before = np.where(np.isnan(before), fine, before)
        row, column = np.indices(inked.shape)
        drawn = (row >= np.minimum(before, fine)) & (row <= np.maximum(before, fine))
        inked |= drawn & (column % 4 < 2) if series.style == "dashed" else drawn
        return fine

    def _name(self, series: Series, fine: Array) -> None:
        """A letter where a line ends on the right, each a little further left."""
        key = (series.colour, series.label if series.style == "line" else "")
        if series.label and key not in self.names:
            self.names[key] = _NAMES[len(self.names) % len(_NAMES)]
            seen = np.flatnonzero((fine >= 0) & (fine < 2 * self.tall))
            if seen.size:
                c = seen[max(seen.size - 1 - 6 * (len(self.names) - 1), 0)]
                self.cells[int(fine[c]) // 2, c // 2] = self.names[key]


def _panel(panel: Panel, width: int, height: int, blocks: bool) -> list[str]:
    y = _scale_of(panel, "y")
    ticks = [_number(y, share) for share in (1.0, 0.5, 0.0)]
    margin = max(len(t) for t in ticks) + 1
    field = _Field(panel, width - margin - 3, height, blocks=blocks)
    signs = field.signs
    out = [panel.y_label]
    for r, cells in enumerate(field.cells):
        tick = {0: ticks[0], height // 2: ticks[1], height - 1: ticks[2]}.get(r, "")
        out.append(f"{tick:>{margin}} {signs['side']}{''.join(cells)}")
    out.append(" " * (margin + 1) + signs["corner"] + signs["floor"] * field.wide)
    out.append(" " * (margin + 2) + _numbers_below(field.x, field.wide))
    out.append((" " * (margin + 2) + panel.x_label).rstrip())
    legend = "   ".join(_legend(panel, field.names, signs))
    return out + textwrap.wrap(legend, width, initial_indent="  ", subsequent_indent="  ", break_on_hyphens=False)


def _numbers_below(scale: Scale, wide: int) -> str:
    """The numbers under the x axis."""
    text = [" "] * (wide + 8)
    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        number = _number(scale, share)
        start = min(max(round(share * wide) - len(number) // 2, 0), wide - len(number))
        text[start : start + len(number)] = number
    return "".join(text).rstrip()


def _kind(span: Span) -> str:
    return "wanted" if span.kind == "wanted" else "span"


def _legend(panel: Panel, names: dict[tuple[int, str], str], signs: dict[str, str]) -> list[str]:
    marks = [
        ("- -" if s.style == "dashed" else signs.get(s.style) or names.get((s.colour, s.label), "line"), s.label)
        for s in panel.series
        if s.label
    ]
    if any(s.low is not None for s in panel.series):
        marks.append((signs["band"], "band"))
    marks += [(signs[_kind(span)], span.label) for span in panel.spans]
    return [f"{mark} {label}" for mark, label in dict.fromkeys(marks)]


def _scale_of(panel: Panel, axis: str) -> Scale:
    """An axis as asked for, else round the finite values."""
    asked, log = (panel.x_range, panel.x_log) if axis == "x" else (panel.y_range, panel.y_log)
    if asked is not None:
        return Scale(*asked, log)
    values = [v for s in panel.series for v in ((s.x,) if axis == "x" else (s.y, s.low, s.high)) if v is not None]
    every = np.concatenate(values) if values else np.array([0.0, 1.0])
    every = every[np.isfinite(every) & ((every > 0.0) | (not log))]
    low, high = (float(every.min()), float(every.max())) if every.size else (0.0, 1.0)
    if log:
        return Scale(low / 1.05, high * 1.05, log)
    room = 0.04 * (high - low) or max(abs(high), 1.0) * 0.1
    return Scale(low, high) if axis == "x" and high > low else Scale(low - room, high + room)


def _number(scale: Scale, share: float) -> str:
    value = float(scale.at(share))
    if abs(value) < 1e-9 * max(abs(scale.low), abs(scale.high)):
        return "0"
    return f"{value:.3g}" if 1e-3 <= abs(value) < 1e5 else f"{value:.1e}"
