"""A chart before it is drawn: series, bands, spans and words, the same for every way of drawing it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from matdb.arrays import Array
from matdb.curve.band import Band
from matdb.fields import fields_of

Style = Literal["line", "dashed", "points", "crosses"]


def signed(value: float) -> str:
    """A number as text with a true minus sign, four digits at most."""
    return f"{value:.4g}".replace("-", "−")


@dataclass(frozen=True)
class Scale:
    """One axis: its ends, low below high, and whether it is logarithmic."""

    low: float
    high: float
    log: bool = False

    def share(self, value: Any) -> Array:
        """Where values lie between the ends, 0 to 1; below 0 and above 1 outside."""
        value = np.asarray(value, dtype=float)
        if not self.log:
            return np.asarray((value - self.low) / (self.high - self.low))
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray(np.log(value / self.low) / np.log(self.high / self.low))

    def at(self, share: Any) -> Array:
        """The values at shares of the way: what :meth:`share` undoes."""
        if self.log:
            return np.asarray(self.low * (self.high / self.low) ** share)
        return np.asarray(self.low + share * (self.high - self.low))


@dataclass(frozen=True, eq=False, kw_only=True)
class Series:
    """A line with its band, or points.

    Attributes
    ----------
    label : str
        For the legend; empty for none.
    x, y : ndarray, shape (n,)
        In the units that the panel's axes name; nan leaves a gap.
    low, high : ndarray or None
        Ends of the band, shape (n,).
    style : str
        "line", "dashed" (extrapolated), "points", or "crosses" (points that hardly count).
    colour : int
        Which colour of the palette; also which dashes and which marker, so that nothing rests on colour alone.
    """

    label: str
    style: Style = "line"
    x: Array
    y: Array
    low: Array | None = None
    high: Array | None = None
    colour: int = 0

    @classmethod
    def banded(cls, label: str, x: Array, band: Band, colour: int, style: Style = "line") -> Series:
        """The median of a band, of the shape of ``x``, between the band's ends."""
        y, low, high = (np.asarray(v) for v in (band.median, band.low, band.high))
        return cls(label=label, x=x, y=y, low=low, high=high, style=style, colour=colour)


@dataclass(frozen=True)
class Span:
    """A shaded range of one axis.

    Attributes
    ----------
    axis : str
        "x" or "y".
    low, high : float
        In the axis's unit; infinite ends reach to the edge.
    label : str
        What it means.
    kind : str
        "wanted", "forecast", "rotor" or "plain": decides shade and hatching.
    """

    axis: Literal["x", "y"]
    low: float
    high: float
    label: str
    kind: Literal["wanted", "forecast", "rotor", "plain"] = "plain"


@dataclass(frozen=True)
class Mark:
    """A thin straight line across the panel at one value of one axis."""

    axis: Literal["x", "y"]
    at: float
    label: str = ""


@dataclass(frozen=True, eq=False)
class Panel:
    """One pair of axes.

    Attributes
    ----------
    x_label, y_label : str
        With units.
    series, spans, marks
        What is drawn.
    x_log, y_log : bool
        Logarithmic axes.
    x_range, y_range : tuple of float or None
        Ends of the axes; None takes them from the series.
    x_factor, x_second
        A second x axis on top: value times factor, and its label; none for an empty label.
    """

    x_label: str
    y_label: str
    series: tuple[Series, ...]
    spans: tuple[Span, ...] = ()
    marks: tuple[Mark, ...] = ()
    x_log: bool = False
    y_log: bool = False
    x_range: tuple[float, float] | None = None
    y_range: tuple[float, float] | None = None
    x_factor: float = 1.0
    x_second: str = ""


@dataclass(frozen=True, eq=False)
class Chart:
    """Panels under one title.

    Attributes
    ----------
    title, subtitle : str
        What is shown, and what it rests on.
    panels : tuple of Panel
        From top to bottom.
    notes : tuple of str
        What to know before reading numbers off it.
    """

    title: str
    subtitle: str
    panels: tuple[Panel, ...]
    notes: tuple[str, ...] = ()

    @property
    def description(self) -> str:
        """The chart in words, for those who do not see it."""
        said = [f"{self.title}. {self.subtitle}."]
        for panel in self.panels:
            names = [s.label for s in panel.series] + [s.label for s in panel.spans]
            said.append(f"{panel.y_label} over {panel.x_label}: {', '.join(dict.fromkeys(filter(None, names)))}.")
        return " ".join([*said, *self.notes])

    def to_dict(self) -> dict[str, Any]:
        """What the chart shows as numbers, for JSON."""
        return {
            "title": self.title,
            "subtitle": self.subtitle,
            "panels": [
                {
                    "x": panel.x_label,
                    "y": panel.y_label,
                    "series": [{k: v for k, v in fields_of(s).items() if k != "colour"} for s in panel.series],
                    "ranges": [fields_of(s) for s in panel.spans],
                }
                for panel in self.panels
            ],
        }
