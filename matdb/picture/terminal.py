"""A chart as a few lines of text: quarter blocks where the screen has them, plain ASCII where not."""

from __future__ import annotations

import math
import textwrap
from typing import TYPE_CHECKING, Final

import numpy as np

from matdb.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from matdb.picture.chart import Chart, Panel, Series, Span

    Array = NDArray[np.float64]

#: Quarter blocks by the sum of upper left 1, upper right 2, lower left 4, lower right 8.
_QUARTERS: Final = " ▘▝▀▖▌▞▛▗▚▐▜▄▙▟█"
#: Signs of (band, wanted, forecast or rotor, points, cross, vertical, corner, horizontal).
_BLOCKS: Final = {
    "band": "░",
    "wanted": "·",
    "span": "╎",
    "point": "o",
    "cross": "x",
    "side": "│",
    "corner": "└",
    "floor": "─",
}
_ASCII: Final = {
    "band": ":",
    "wanted": ".",
    "span": "'",
    "point": "o",
    "cross": "x",
    "side": "|",
    "corner": "+",
    "floor": "-",
}
_NAMES: Final = "abcdefgh"


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

    Raises
    ------
    InputError
        Too narrow or too low.
    """
    if not 40 <= width <= 300:
        raise InputError("width", width, "40 to 300 columns")
    if not 5 <= height <= 60:
        raise InputError("height", height, "5 to 60 lines")
    lines = [chart.title, *textwrap.wrap(chart.subtitle, width)]
    for panel in chart.panels:
        lines += ["", *_panel(panel, width, height, blocks)]
    lines += [""] * bool(chart.notes)
    for note in chart.notes:
        lines += textwrap.wrap(note, width)
    text = "\n".join(line.rstrip() for line in lines)
    return text if blocks else "".join(_plain(c) for c in text)


def _plain(sign: str) -> str:
    known = {"−": "-", "·": "*", "…": "...", "²": "2"}
    return sign if sign.isascii() else known.get(sign, "" if sign == "°" else "?")


class _Field:
    """The cells of one panel, filled from the back to the front: spans, bands, lines, names, points."""

    def __init__(self, panel: Panel, wide: int, tall: int, *, blocks: bool) -> None:
        self.panel, self.wide, self.tall, self.blocks = panel, wide, tall, blocks
        self.signs = _BLOCKS if blocks else _ASCII
        self.x_ends, self.y_ends = _ends(panel, "x"), _ends(panel, "y")
        self.cells = [[" "] * wide for _ in range(tall)]
        self.names: dict[tuple[int, str], str] = {}
        self._inked: dict[tuple[int, int], int] = {}
        self._placed: dict[tuple[int, int], str] = {}
        lines = [s for s in panel.series if s.style in ("line", "dashed")]
        several = len({s.colour for s in lines}) > 1
        for span in panel.spans:
            self._span(span)
        for series in lines:
            self._band(series)
        for series in lines:
            self._line(series, named=several)
        for (r, c), quarters in self._inked.items():
            self.cells[r][c] = _QUARTERS[quarters] if blocks else "*"
        for (r, c), name in self._placed.items():
            self.cells[r][c] = name
        for series in panel.series:
            if series.style in ("points", "crosses"):
                self._points(series)

    def columns(self, x: Array) -> Array:
        """Columns from the left edge."""
        return _place(x, self.x_ends, self.panel.x_log) * self.wide

    def rows(self, y: Array) -> Array:
        """Rows from the upper edge."""
        return (1.0 - _place(y, self.y_ends, self.panel.y_log)) * self.tall

    def _x_of(self, column: float) -> float:
        return _at(self.x_ends, self.panel.x_log, column / self.wide)

    def _span(self, span: Span) -> None:
        sign = self.signs["wanted" if span.kind == "wanted" else "span"]
        both = np.array([span.low, span.high])
        upright = span.axis == "x"
        place, most = (self.columns(both), self.wide) if upright else (self.rows(both), self.tall)
        low, high = sorted(float(v) for v in np.clip(place, 0.0, most))
        for k in range(int(low), min(max(math.ceil(high), int(low) + 1), most)):
            for other in range(self.tall if upright else self.wide):
                r, c = (other, k) if upright else (k, other)
                # Every other place, so that the lines stand out.
                if self.cells[r][c] == " " and (r + c) % 2 == 0:
                    self.cells[r][c] = sign

    def _band(self, series: Series) -> None:
        if series.low is None or series.high is None:
            return
        for c in range(self.wide):
            x = self._x_of(c + 0.5)
            ends = np.array([_interpolated(x, series.x, v, self.panel.x_log) for v in (series.high, series.low)])
            if np.isfinite(ends).all():
                top, bottom = (int(v + 0.5) for v in self.rows(ends))
                for r in range(max(top, 0), min(bottom, self.tall)):
                    self.cells[r][c] = self.signs["band"]

    def _line(self, series: Series, *, named: bool) -> None:
        """Ink quarter cells along a line; a steep line fills the rows between two columns."""
        x = [self._x_of((c + 0.5) / 2.0) for c in range(2 * self.wide)]
        y = np.array([_interpolated(v, series.x, series.y, self.panel.x_log) for v in x])
        fine = np.floor(2.0 * self.rows(y))
        before = math.nan
        for c, r in enumerate(fine.tolist()):
            if not math.isfinite(r):
                before = r
                continue
            start = before if math.isfinite(before) else r
            for step in range(max(int(min(start, r)), 0), min(int(max(start, r)) + 1, 2 * self.tall)):
                if not (series.style == "dashed" and c % 4 > 1):
                    cell = step // 2, c // 2
                    self._inked[cell] = self._inked.get(cell, 0) | (1 << (2 * (step % 2) + c % 2))
            before = r
        key = (series.colour, series.label if series.style == "line" else "")
        if named and series.label and key not in self.names:
            self.names[key] = _NAMES[len(self.names) % len(_NAMES)]
            seen = np.flatnonzero(np.isfinite(fine) & (fine >= 0) & (fine < 2 * self.tall))
            if seen.size:
                # Each name a little further left, where its line is.
                c = int(seen[max(len(seen) - 1 - 6 * (len(self.names) - 1), 0)])
                self._placed[int(fine[c]) // 2, c // 2] = self.names[key]

    def _points(self, series: Series) -> None:
        sign = self.signs["cross" if series.style == "crosses" else "point"]
        for x, y in zip(self.columns(series.x).tolist(), self.rows(series.y).tolist(), strict=True):
            if 0 <= x <= self.wide and 0 <= y <= self.tall:
                self.cells[min(int(y), self.tall - 1)][min(int(x), self.wide - 1)] = sign


def _panel(panel: Panel, width: int, height: int, blocks: bool) -> list[str]:
    y_ends = _ends(panel, "y")
    ticks = [_number(_at(y_ends, panel.y_log, share), y_ends) for share in (1.0, 0.5, 0.0)]
    margin = max(len(t) for t in ticks) + 1
    field = _Field(panel, width - margin - 3, height, blocks=blocks)
    signs = field.signs
    out = [panel.y_label]
    for r, cells in enumerate(field.cells):
        tick = {0: ticks[0], height // 2: ticks[1], height - 1: ticks[2]}.get(r, "")
        out.append(f"{tick:>{margin}} {signs['side']}{''.join(cells)}")
    out.append(" " * (margin + 1) + signs["corner"] + signs["floor"] * field.wide)
    out.append(" " * (margin + 2) + _scale(panel, field.x_ends, field.wide))
    out.append((" " * (margin + 2) + panel.x_label).rstrip())
    legend = "   ".join(_legend(panel, field.names, signs))
    return out + textwrap.wrap(legend, width, initial_indent="  ", subsequent_indent="  ", break_on_hyphens=False)


def _scale(panel: Panel, ends: tuple[float, float], wide: int) -> str:
    """The numbers under the x axis."""
    text = [" "] * (wide + 8)
    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        number = _number(_at(ends, panel.x_log, share), ends)
        start = min(max(round(share * wide) - len(number) // 2, 0), wide - len(number))
        text[start : start + len(number)] = number
    return "".join(text).rstrip()


def _legend(panel: Panel, names: dict[tuple[int, str], str], signs: dict[str, str]) -> list[str]:
    said: dict[str, None] = {}
    for series in panel.series:
        if not series.label:
            continue
        if series.style in ("points", "crosses"):
            mark = signs["cross" if series.style == "crosses" else "point"]
        elif series.style == "dashed":
            mark = "- -"
        else:
            mark = names.get((series.colour, series.label), "line")
        said[f"{mark} {series.label}"] = None
    if any(s.low is not None for s in panel.series):
        said[f"{signs['band']} band"] = None
    for span in panel.spans:
        said[f"{signs['wanted' if span.kind == 'wanted' else 'span']} {span.label}"] = None
    return list(said)


def _ends(panel: Panel, axis: str) -> tuple[float, float]:
    """The ends of an axis: as asked for, else round the finite values."""
    given = panel.x_range if axis == "x" else panel.y_range
    if given is not None:
        return given
    log = panel.x_log if axis == "x" else panel.y_log
    values = []
    for series in panel.series:
        for each in (series.x,) if axis == "x" else (series.y, series.low, series.high):
            if each is not None:
                finite = np.asarray(each, dtype=float)
                values.append(finite[np.isfinite(finite) & ((finite > 0.0) | (not log))])
    every = np.concatenate(values) if values else np.array([0.0, 1.0])
    low, high = (float(every.min()), float(every.max())) if every.size else (0.0, 1.0)
    if log:
        return (low / 1.05, high * 1.05)
    room = 0.04 * (high - low) or max(abs(high), 1.0) * 0.1
    return (low, high) if axis == "x" and high > low else (low - room, high + room)


def _place(value: Array, ends: tuple[float, float], log: bool) -> Array:
    """Where a value lies between the ends, 0 to 1."""
    value = np.asarray(value, dtype=float)
    if not log:
        return np.asarray((value - ends[0]) / (ends[1] - ends[0]))
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.log(value / ends[0]) / math.log(ends[1] / ends[0]))


def _at(ends: tuple[float, float], log: bool, share: float) -> float:
    """The value at a share of the way: what :func:`_place` undoes."""
    if log:
        return float(ends[0] * (ends[1] / ends[0]) ** share)
    return ends[0] + share * (ends[1] - ends[0])


def _interpolated(x: float, xs: Array, ys: Array, log: bool) -> float:
    """Linear between the points; nan outside them and next to a gap."""
    if not xs[0] <= x <= xs[-1]:
        return math.nan
    k = min(max(int(np.searchsorted(xs, x)), 1), len(xs) - 1)
    low, high = (math.log(xs[k - 1]), math.log(xs[k])) if log else (float(xs[k - 1]), float(xs[k]))
    share = ((math.log(x) if log else x) - low) / (high - low)
    return float(ys[k - 1] + share * (ys[k] - ys[k - 1]))


def _number(value: float, ends: tuple[float, float]) -> str:
    size = max(abs(ends[0]), abs(ends[1]))
    if abs(value) < 1e-9 * size:
        return "0"
    return f"{value:.3g}" if 1e-3 <= abs(value) < 1e5 else f"{value:.1e}"
