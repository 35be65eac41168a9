"""A chart as PNG or SVG, the same bytes every time. Needs the optional package that draws."""

from __future__ import annotations

import io
import math
import os
import re
import textwrap
from contextlib import AbstractContextManager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from matdb.checks import extra
from matdb.errors import InputError
from matdb.files import new_file, write_bytes
from matdb.picture.chart import Chart, Panel, Series

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FORMATS: Final = ("png", "svg")

#: A test holds the colours apart for the three kinds of colour blindness and in grey: their lightness rises in steps.
#: What colour cannot tell, lightness, dashes and markers do.
INK: Final = "#16191d"
FAINT: Final = "#5a626c"
GRID: Final = "#d9dde2"
PAPER: Final = "#ffffff"

#: Night blue, brick, teal, ochre, lilac grey: lightness about 25, 40, 53, 66, 76.
SERIES: Final = ("#1d2f78", "#b2321c", "#15857c", "#d59a16", "#b3b8ee")
#: The longest pattern shows whole in a legend's short line.
DASHES: Final = ((), (6.0, 2.0), (2.0, 1.6), (5.0, 1.6, 1.3, 1.6), (3.4, 1.3, 1.0, 1.3, 1.0, 1.3))
MARKERS: Final = ("o", "s", "^", "D", "v")

#: Kind of span: (fill, opacity, hatching).
SPANS: Final = {
    "wanted": ("#8ccf9f", 0.38, ""),
    "forecast": ("#7fb3e6", 0.30, "////"),
    "rotor": ("#e0a08c", 0.42, "\\\\\\\\"),
    "plain": ("#b9bfc7", 0.30, ""),
}

#: Inches and points: at 360 px wide the smallest text is about 9 px high, in print 8 points.
_WIDE, _PANEL, _TEXT, _SMALL = 4.8, 2.35, 9.0, 8.0
_DOTS: Final = 200
_TICKS: Final[dict[str, Any]] = {"labelsize": _SMALL, "colors": INK, "length": 3, "width": 0.7}
_RULES: Final[Any] = {
    "font.family": "DejaVu Sans",
    "svg.hashsalt": "matdb",
    "svg.fonttype": "path",
    "path.simplify": False,
    "axes.unicode_minus": True,
    "hatch.linewidth": 0.5,
}


def _rules() -> AbstractContextManager[Any]:
    """The drawing package's settings for a while. Raises MissingExtra."""
    rules: AbstractContextManager[Any] = extra("matplotlib", "a picture as PNG or SVG", "pictures").rc_context(_RULES)
    return rules


def draw(chart: Chart) -> Figure:
    """Draw a chart.

    Parameters
    ----------
    chart : Chart
        What to draw.

    Returns
    -------
    matplotlib.figure.Figure
        One pair of axes a panel, in order; independent of any global state of the drawing package.

    Raises
    ------
    MissingExtra
        The drawing package is not installed.
    """
    with _rules():
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure

        figure = Figure(dpi=_DOTS, facecolor=PAPER)
        FigureCanvasAgg(figure)
        _fill(figure, chart)
    return figure


def _fill(figure: Figure, chart: Chart) -> None:
    title = _wrapped(chart.title, 46)
    subtitle = _wrapped(chart.subtitle, 68)
    notes = [line for note in chart.notes for line in _wrapped(note, 88)]
    legends = [_legend_shape(panel)[0] for panel in chart.panels]
    top = 0.19 * len(title) + 0.155 * len(subtitle) + 0.14
    bottom = 0.13 * len(notes) + (0.1 if notes else 0.04)
    extra = [0.32 if panel.x_second else 0.0 for panel in chart.panels]
    heights = [_PANEL + 0.17 * rows + more for rows, more in zip(legends, extra, strict=True)]
    tall = top + bottom + sum(heights)
    figure.set_size_inches(_WIDE, tall)
    y = tall - 0.08
    figure.text(0.12 / _WIDE, y / tall, "\n".join(title), ha="left", va="top", size=11, weight="bold", color=INK)
    y -= 0.19 * len(title)
    figure.text(0.12 / _WIDE, y / tall, "\n".join(subtitle), ha="left", va="top", size=_SMALL, color=FAINT)
    y = tall - top
    # A long label of an upright axis stands on two lines beside its own panel.
    left = 0.52 + 0.16 * max(1 + _upright(panel).count("\n") for panel in chart.panels)
    for panel, rows, high, more in zip(chart.panels, legends, heights, extra, strict=True):
        above, below = 0.10 + more, 0.46 + 0.17 * rows
        place = (left / _WIDE, (y - high + below) / tall, (_WIDE - left - 0.14) / _WIDE, (high - above - below) / tall)
        _panel(figure.add_axes(place), panel, rows, high - above - below)
        y -= high
    if notes:
        figure.text(0.12 / _WIDE, 0.06 / tall, "\n".join(notes), ha="left", va="bottom", size=6.6, color=FAINT)


def _wrapped(text: str, width: int) -> list[str]:
    """Lines; a number stays with its unit."""
    return textwrap.wrap(re.sub(r"(?<=\d) (?=%|°|Hz|mm|g\b)", "\u00a0", text), width)


def _upright(panel: Panel) -> str:
    """The label of the upright axis, no longer than the panel is high."""
    return "\n".join(textwrap.wrap(panel.y_label, 26, max_lines=2, placeholder=" …"))


def _panel(axes: Any, panel: Panel, rows: int, tall: float) -> None:
    # The scale first: what is drawn later fits its own range to it.
    scales = {f"{name}scale": "log" for name, log in (("x", panel.x_log), ("y", panel.y_log)) if log}
    axes.set(facecolor=PAPER, **scales)
    for series in panel.series:
        _series(axes, series)
    axes.autoscale_view()
    axes.set(xlim=panel.x_range, ylim=panel.y_range)
    x_range, y_range = axes.get_xlim(), axes.get_ylim()
    for span in panel.spans:
        fill, opacity, hatch = SPANS[span.kind]
        low, high = x_range if span.axis == "x" else y_range
        ends = max(span.low, low), min(span.high, high)
        if ends[0] > ends[1]:
            continue
        shade, line = (axes.axvspan, axes.axvline) if span.axis == "x" else (axes.axhspan, axes.axhline)
        edge = {"edgecolor": FAINT, "hatch": hatch, "linewidth": 0.0}
        shade(*ends, facecolor=fill, alpha=opacity, **edge, zorder=0.5, label=span.label)
        if ends[1] - ends[0] < 0.012 * abs(high - low) and not (panel.x_log and span.axis == "x"):
            # A range of no width would not be seen.
            line(0.5 * (ends[0] + ends[1]), color=fill, linewidth=2.0, zorder=0.6)
    for mark in panel.marks:
        line = axes.axvline if mark.axis == "x" else axes.axhline
        line(mark.at, color=FAINT, linewidth=0.8, dashes=(3.0, 2.0), zorder=1.0, label=mark.label or "_")
    axes.set(xlim=x_range, ylim=y_range)
    axes.set_xlabel(panel.x_label, size=_TEXT, color=INK, labelpad=2)
    axes.set_ylabel(_upright(panel), size=_TEXT, color=INK, labelpad=2)
    axes.grid(True, color=GRID, linewidth=0.6)
    axes.set_axisbelow(True)
    axes.tick_params(**_TICKS)
    for side, spine in axes.spines.items():
        spine.set_visible(side in ("left", "bottom"))
        spine.set_color(INK)
        spine.set_linewidth(0.8)
    _ticks(axes, panel)
    if panel.x_second:
        k = panel.x_factor
        second = axes.secondary_xaxis("top", functions=(lambda v: v * k, lambda v: v / k))
        second.set_xlabel(panel.x_second, size=_TEXT, color=INK, labelpad=3)
        second.tick_params(**_TICKS)
    if rows:
        handles, labels = axes.get_legend_handles_labels()
        kept = dict(zip(labels, handles, strict=True))
        axes.legend(
            list(kept.values()),
            list(kept),
            loc="upper left",
            bbox_to_anchor=(-0.12, -0.36 / tall),
            ncols=_legend_shape(panel)[1],
            fontsize=_SMALL - 0.4,
            frameon=False,
            borderpad=0.0,
            handlelength=2.8,
            columnspacing=1.2,
            labelspacing=0.25,
            labelcolor=INK,
        )


def _series(axes: Any, series: Series) -> None:
    k = series.colour % len(SERIES)
    colour = SERIES[k]
    if series.style in ("points", "crosses"):
        marker, name = "x" if series.style == "crosses" else MARKERS[k], series.label or "_"
        axes.plot(series.x, series.y, marker, ms=5.0, mfc=PAPER, mec=colour, mew=1.3, zorder=4.0, label=name)
        return
    outside = series.style == "dashed"
    if series.low is not None and series.high is not None:
        opacity = 0.10 if outside else 0.20
        axes.fill_between(series.x, series.low, series.high, color=colour, alpha=opacity, linewidth=0.0, zorder=2.0)
    dashes = (1.2, 1.6) if outside else DASHES[k]
    (line,) = axes.plot(series.x, series.y, color=colour, linewidth=1.3 if outside else 1.9, zorder=3.0)
    line.set_label(series.label or "_")
    if dashes:
        line.set_dashes(dashes)


def _ticks(axes: Any, panel: Panel) -> None:
    """Plain numbers on a logarithmic axis of few decades: round steps within one, else 1, 2, 5."""
    from matplotlib.ticker import FixedLocator, FuncFormatter, LogLocator, MaxNLocator, NullFormatter, NullLocator

    for log, axis, ends in ((panel.x_log, axes.xaxis, axes.get_xlim()), (panel.y_log, axes.yaxis, axes.get_ylim())):
        steps = MaxNLocator(6, steps=[1, 2, 2.5, 5, 10])
        if not log:
            axis.set_major_locator(steps)
            continue
        decades = math.log10(ends[1] / ends[0])
        if decades > 2.6:
            continue
        if decades < 0.6:
            axis.set_major_locator(FixedLocator([v for v in steps.tick_values(*ends) if ends[0] <= v <= ends[1]]))
            axis.set_minor_locator(NullLocator())
        else:
            few = [1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0] if decades < 1.0 else [1.0, 2.0, 5.0]
            axis.set_major_locator(LogLocator(10.0, subs=few, numticks=12))
        axis.set_major_formatter(FuncFormatter(lambda v, _: f"{v:g}"))
        axis.set_minor_formatter(NullFormatter())


def _legend_shape(panel: Panel) -> tuple[int, int]:
    """Rows and columns of the legend: two columns where the longest labels go side by side."""
    every = {s.label for s in panel.series} | {s.label for s in panel.spans} | {m.label for m in panel.marks}
    labels = sorted(every - {""}, key=len)
    columns = 2 if sum(map(len, labels[-2:])) <= 60 else 1
    return math.ceil(len(labels) / columns), columns


def picture_bytes(chart: Chart, kind: str) -> bytes:
    """A chart as the bytes of a PNG or SVG file; the same chart gives the same bytes.

    Parameters
    ----------
    chart : Chart
        What to draw.
    kind : str
        "png" or "svg".

    Raises
    ------
    MissingExtra
        The drawing package is not installed.
    """
    out = io.BytesIO()
    words: dict[str, Any] = {"Title": chart.title, "Description": chart.description}
    # Neither the date nor the drawing package's version, so that equal charts are equal files.
    words |= {"Date": None, "Creator": "matdb"} if kind == "svg" else {"Software": None}
    figure = draw(chart)
    with _rules():
        figure.savefig(out, format=kind, metadata=words, facecolor=PAPER)
    return out.getvalue()


def picture_file(path: str | os.PathLike[str], *, force: bool = False) -> Path:
    """The path, once a picture may be written there; raises as :func:`matdb.files.new_file`, and for its ending."""
    target = new_file(path, force=force)
    if target.suffix.lower().removeprefix(".") not in FORMATS:
        raise InputError("picture file", str(target), "a name ending in .png or .svg")
    return target


def save_picture(chart: Chart, path: str | os.PathLike[str], *, force: bool = False) -> Path:
    """Write a chart to a file, whole or not at all; the name's ending says which kind.

    Parameters
    ----------
    chart : Chart
        What to draw.
    path : str or path
        The file, ending in ``.png`` or ``.svg``; its folder must be there.
    force : bool
        Replace a file that is there.

    Raises
    ------
    InputError
        Another ending, the file is there already, or it is a folder.
    MissingExtra
        The drawing package is not installed.
    OSError
        The folder cannot be written.
    """
    target = picture_file(path, force=force)
    return write_bytes(target, picture_bytes(chart, target.suffix.lower().removeprefix(".")))
