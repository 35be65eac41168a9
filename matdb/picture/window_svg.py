"""The field page's picture, written by hand: natural frequency over temperature in the wanted window."""

from __future__ import annotations

import math
from html import escape
from typing import Any, Final

import numpy as np

from matdb.picture.chart import Scale, signed
from matdb.picture.page_tables import PageTables

#: Of a drawing 360 wide, so that its text is 11 px high on a narrow phone.
LEFT: Final = 38
ACROSS: Final = 300
_TOP, _DOWN, _WIDE, _TALL = 14, 190, 360, 236
_DASHES: Final = ("", "7 3", "2 2", "9 3 2 3", "5 2 1 2 1 2")


def window_svg(page: PageTables, at_c: float) -> str:
    """The picture as an SVG element.

    Parameters
    ----------
    page : PageTables
        What is shown: one numbered line with its band for each part.
    at_c : float
        Where the cursor stands, degrees Celsius.

    Returns
    -------
    str
        An ``svg`` element with title and description; colours come from the page's style sheet.
    """
    t = page.temperature_c
    low_hz, high_hz = page.window_hz
    bands = [part.natural_frequency_hz for part in page.parts]
    seen = np.concatenate([[max(low_hz, 0.1), high_hz], *([b.low.min(), b.high.max()] for b in bands)])
    # A part far outside must not flatten the window to a line.
    floor, ceiling = max(0.8 * seen.min(), 0.25 * max(low_hz, 1.0)), min(1.25 * seen.max(), 5.0 * high_hz)
    temperatures, frequencies = Scale(t[0], t[-1]), Scale(floor, ceiling, log=True)

    def x(degrees: Any) -> Any:
        return LEFT + temperatures.share(degrees) * ACROSS

    def y(hz: Any) -> Any:
        return _TOP + _DOWN * (1.0 - np.clip(frequencies.share(hz), 0.0, 1.0))

    out = [
        f'<svg viewBox="0 0 {_WIDE} {_TALL}" role="img" aria-labelledby="pt pd">',
        '<title id="pt">Natural frequency over temperature</title>',
        f'<desc id="pd">{escape(_described(page))}</desc>',
    ]
    if low_hz <= high_hz:
        top, foot = (float(v) for v in y([high_hz, low_hz]))
        out.append(f'<rect class="wanted" x="{LEFT}" y="{top:.1f}" width="{ACROSS}" height="{foot - top:.1f}"/>')
    for hz in (k * 10.0**e for e in range(-2, 6) for k in (1, 2, 5) if floor <= k * 10.0**e <= ceiling):
        place = float(y(hz))
        out.append(f'<line class="grid" x1="{LEFT}" x2="{LEFT + ACROSS}" y1="{place:.1f}" y2="{place:.1f}"/>')
        out.append(f'<text x="{LEFT - 4}" y="{place + 4:.1f}" text-anchor="end">{hz:g}</text>')
    for degrees in range(10 * math.ceil(t[0] / 10), int(t[-1]) + 1, 10 if t[-1] - t[0] <= 100 else 20):
        place = x(degrees)
        out.append(f'<line class="grid" x1="{place:.1f}" x2="{place:.1f}" y1="{_TOP}" y2="{_TOP + _DOWN}"/>')
        out.append(
            f'<text x="{place:.1f}" y="{_TOP + _DOWN + 13}" text-anchor="middle" class="deg">{signed(degrees)}</text>'
        )
    out.append(f'<path class="edge" d="M{LEFT} {_TOP}V{_TOP + _DOWN}H{LEFT + ACROSS}"/>')
    out.append(f'<text x="{LEFT}" y="{_TOP - 4}" text-anchor="middle">Hz</text>')
    out.append(f'<text x="{LEFT + ACROSS // 2}" y="{_TALL - 4}" text-anchor="middle">temperature, °C</text>')
    for i, found in enumerate(bands):
        edge = _path(x(t), y(found.high)) + "L" + _path(x(t[::-1]), y(found.low[::-1]))[1:] + "Z"
        out.append(f'<path class="band f{i % 5}" d="{edge}"/>')
        dashes = f' stroke-dasharray="{_DASHES[i % 5]}"' if i % 5 else ""
        out.append(f'<path class="curve c{i % 5}"{dashes} d="{_path(x(t), y(found.median))}"/>')
    ends = _apart([float(y(found.median[-1])) for found in bands])
    out.extend(f'<text x="{LEFT + ACROSS + 4}" y="{place + 4:.1f}">{i + 1}</text>' for i, place in enumerate(ends))
    out.append(
        f'<line id="cursor" class="live" x1="0" x2="0" y1="{_TOP}" y2="{_TOP + _DOWN}" '
        f'transform="translate({x(at_c):.1f} 0)"/>'
    )
    return "\n".join([*out, "</svg>"])


def _apart(places: list[float], least: float = 11.0) -> list[float]:
    """Move labels apart, in their order, without leaving the field at the foot."""
    order = sorted(range(len(places)), key=lambda i: places[i])
    found = list(places)
    above, below = -math.inf, float(_TOP + _DOWN) + least
    for i in order:
        above = found[i] = max(found[i], above + least)
    for i in reversed(order):
        below = found[i] = min(found[i], below - least)
    return found


def _described(page: PageTables) -> str:
    low_hz, high_hz = page.window_hz
    names = "; ".join(
        f"{i + 1} {part.part.name}, {part.natural_frequency_hz.median[0]:.3g} Hz in the cold, "
        f"{part.natural_frequency_hz.median[-1]:.3g} Hz in the warmth"
        for i, part in enumerate(page.parts)
    )
    return f"Wanted between {low_hz:.3g} and {high_hz:.3g} Hz. {names}."


def _path(x: Any, y: Any) -> str:
    return "M" + "L".join(f"{a:.1f} {b:.1f}" for a, b in zip(x, y, strict=True))
