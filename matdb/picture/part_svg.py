"""A part to scale with its dimensions, by hand as SVG: a cut through its axis, in which a wrong dimension is seen."""

from __future__ import annotations

from html import escape
from typing import Final

from matdb.errors import InputError
from matdb.form import FormBase

#: Size of the drawing within its margins, px; room beside it for the dimensions.
_WIDE, _TALL, _ROOM = 200.0, 150.0, 70.0
_FILL: Final = {"rubber": "#9aa3ad", "infill": "#d8dde2", "plate": "#5b4a2f"}


def part_svg(form: FormBase, title: str, start: str = '<svg xmlns="http://www.w3.org/2000/svg"') -> str:
    """The drawing as an SVG element, which stands alone as it starts here.

    Parameters
    ----------
    form : FormBase
        What is drawn.
    title : str
        What it is called.
    start : str
        What the element starts with; inside a page ``"<svg"``.

    Raises
    ------
    InputError
        A form that has no drawing.
    """
    pieces = form.drawn_mm
    if not pieces:
        raise InputError("form", form.kind, "one whose dimensions can be drawn")
    x, z = ([point[i] for _, polygon in pieces for point in polygon] for i in (0, 1))
    scale = min(_WIDE / (max(x) - min(x)), _TALL / (max(z) - min(z)))
    across, up = scale * (max(x) - min(x)), scale * (max(z) - min(z))

    def at(point: tuple[float, float]) -> tuple[float, float]:
        return _ROOM + scale * (point[0] - min(x)), _ROOM + scale * (max(z) - point[1])

    sizes = (round(across + 2.0 * _ROOM + 20.0), round(up + 2.0 * _ROOM))
    out = [
        f'{start} viewBox="0 0 {sizes[0]} {sizes[1]}" role="img">',
        f"<title>{escape(title)}</title><desc>{escape(form.label('mm'))}, cut through the middle, to scale</desc>",
        '<g stroke="#222" stroke-width="0.8">',
    ]
    for kind, polygon in pieces:
        points = " ".join(f"{a:.1f},{b:.1f}" for a, b in map(at, polygon))
        out.append(f'<polygon points="{points}" fill="{_FILL[kind]}"/>')
    out.append("</g>")
    # Every width and every height once: widths of what is low below, of what is high above; heights on the right.
    wide: dict[float, float] = {}
    for kind, polygon in pieces:
        for a, level in polygon if form.round and kind != "plate" else []:
            wide.setdefault(round(2.0 * abs(a), 6), level)
    spans = [(-w / 2.0, w / 2.0, level) for w, level in wide.items() if w] or [(min(x), max(x), min(z))]
    middle, count = (max(z) + min(z)) / 2.0, {True: 0, False: 0}
    for low, high, level in sorted(spans, key=lambda span: span[1] - span[0]):
        under = level <= middle
        count[under] += 1
        (left, _), (right, _) = at((low, level)), at((high, level))
        y = _ROOM + up + 14.0 * count[under] if under else _ROOM - 14.0 * count[under]
        out.append(_dimension(left, y, right, y, f"{'⌀' * form.round}{high - low:.4g}"))
    for low, high in sorted({(min(b for _, b in p), max(b for _, b in p)) for _, p in pieces} | {(min(z), max(z))}):
        place = _ROOM + across + (38.0 if high - low > 0.999 * (max(z) - min(z)) else 12.0)
        out.append(_dimension(place, at((0.0, low))[1], place, at((0.0, high))[1], f"{high - low:.4g}"))
    return "\n".join([*out, f'<text x="4" y="12" font-size="11">{escape(title)}, mm</text>', "</svg>"])


def _dimension(x0: float, y0: float, x1: float, y1: float, text: str) -> str:
    """A line between two places, a tick at each end, and its length."""
    ends = "".join(f"M{x - 3:.1f} {y + 3:.1f}l6 -6" for x, y in ((x0, y0), (x1, y1)))
    beside = 'text-anchor="middle" dy="-3"' if y0 == y1 else 'dx="4" dy="4"'
    return (
        f'<path d="M{x0:.1f} {y0:.1f}L{x1:.1f} {y1:.1f}{ends}" fill="none" stroke="#777" stroke-width="0.6"/>'
        f'<text x="{(x0 + x1) / 2:.1f}" y="{(y0 + y1) / 2:.1f}" font-size="10" {beside}>{text}</text>'
    )
