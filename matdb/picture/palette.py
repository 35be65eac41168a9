"""Colours, dashes and markers. A test holds the colours apart for the three kinds of colour blindness and in grey.

Chosen for this program so that their lightness rises in steps: what colour cannot tell, lightness, dashes and
markers do.
"""

from __future__ import annotations

from typing import Final

INK: Final = "#16191d"
FAINT: Final = "#5a626c"
GRID: Final = "#d9dde2"
PAPER: Final = "#ffffff"

#: Night blue, brick, teal, ochre, lilac grey: lightness about 25, 40, 53, 66, 76.
SERIES: Final = ("#1d2f78", "#b2321c", "#15857c", "#d59a16", "#b3b8ee")
DASHES: Final = ((), (6.0, 2.0), (2.0, 1.6), (8.0, 2.0, 1.5, 2.0), (4.0, 1.5, 1.0, 1.5, 1.0, 1.5))
MARKERS: Final = ("o", "s", "^", "D", "v")

#: Kind of span: (fill, opacity, hatching).
SPANS: Final = {
    "wanted": ("#8ccf9f", 0.38, ""),
    "forecast": ("#7fb3e6", 0.30, "////"),
    "rotor": ("#e0a08c", 0.42, "\\\\\\\\"),
    "plain": ("#b9bfc7", 0.30, ""),
}
