"""The field page: one HTML file that answers on a phone without a network."""

from __future__ import annotations

import base64
import hashlib
import json
import os
import re
from collections.abc import Sequence
from html import escape
from importlib.resources import files
from pathlib import Path
from string import Template
from typing import Any, Final

import numpy as np

from matdb.advice.parts_list import in_words, parts_list
from matdb.advice.requirement import VERDICTS
from matdb.advice.summary import SAID
from matdb.arrays import Array
from matdb.curve.band import Band
from matdb.errors import InputError
from matdb.files import new_file, write_bytes
from matdb.mounting.phone import PHONE_KG
from matdb.picture.chart import signed
from matdb.picture.page_tables import CAR_C, PageTables, PartTable
from matdb.picture.part_svg import part_svg
from matdb.picture.window_svg import ACROSS, LEFT, window_svg
from matdb.units import percent

MOST_BYTES: Final = 300_000
#: A sign beside each verdict word, so that nothing rests on colour alone.
_SIGNS: Final = ("✓", "✓", "?", "✗", "✗")
_NO_ROCKING: Final = " (how it rocks is not known without spread and box)"
#: Warnings that the sentence on what a part rests on has said before.
_SAID: Final = (*SAID, "the fit is older", "the readings of")


def field_page(page: PageTables, *, cautions: Sequence[str], at_c: float | None = None) -> str:
    """The page as text.

    Parameters
    ----------
    page : PageTables
        From :func:`matdb.picture.page_tables.page_tables`.
    cautions : sequence of str
        Sentences on where the work can hurt.
    at_c : float, optional
        The temperature that it opens at, degrees Celsius, within the page's; its middle when None.

    Returns
    -------
    str
        HTML that fetches nothing: style, script, tables and picture are inside, and a content policy forbids the
        rest. Without script a table of temperatures stands in for the slider.

    Raises
    ------
    InputError
        ``at_c`` outside the page's temperatures.
    """
    low, high = float(page.temperature_c[0]), float(page.temperature_c[-1])
    at = round(0.5 * (low + high)) if at_c is None else at_c
    if not low <= at <= high:
        raise InputError("at_c", at_c, f"{low:g} to {high:g} degC")
    own = files("matdb.picture")
    document, style, script = (
        own.joinpath(f"page.{kind}").read_text(encoding="utf-8") for kind in ("html", "css", "js")
    )
    mounting, others = page.mounting, "".join(f"<li>{_words(line)}</li>" for line in page.answer.others)
    first, *more = map(_words, page.answer.lines)
    steps = _table_steps(page)
    words = "; ".join(f"“{word}” from {least:.0%}" for least, word in VERDICTS[:-1])
    left_out = f"{page.left_out} more parts of the store rank lower and are not on this page."
    return Template(document).substitute(
        known=base64.b64encode(hashlib.sha256(f"\n{script}".encode()).digest()).decode(),
        style=style,
        script=script,
        tables=_json(_tables(page)),
        name=escape(mounting.name),
        load=f"{mounting.mass_kg * 1e3:g} g",
        count=mounting.count,
        answer=f'<p class="answer">{first}</p>',
        more="\n".join(f'<p class="quiet">{line}</p>' for line in more),
        others=f'<p>The others:</p><ul class="quiet">{others}</ul>' if others else "",
        warm=f"{min(max(CAR_C, low), high):g}",
        phone=f"{PHONE_KG * 1e3:g} g",
        rocks="" if any(part.rocking_hz is not None for part in page.parts) else _NO_ROCKING,
        at=f"{at:g}",
        low=f"{low:g}",
        high=f"{high:g}",
        cards="\n".join(_card(number, part) for number, part in enumerate(page.parts)),
        window=window_svg(page, at),
        low_hz=_three(page.window_hz[0]),
        high_hz=_three(page.window_hz[1]),
        heads="".join(f'<th scope="col">{signed(float(page.temperature_c[k]))} °C</th>' for k in steps),
        rows="\n".join(_table_row(number, part, steps) for number, part in enumerate(page.parts, 1)),
        words=f"{words}; less is “{VERDICTS[-1][1]}”",
        sure="\n".join(
            _sure(number, part, mounting.count, f"{signed(low)} to {signed(high)} °C")
            for number, part in enumerate(page.parts, 1)
        ),
        left_out=f'<p class="quiet">{left_out}</p>' if page.left_out else "",
        cautions="\n".join(f"<li>{_words(text)}</li>" for text in cautions),
        made_at=f"{page.made_at:%Y-%m-%d %H:%M %Z}",
        version=escape(page.version),
        fingerprint=page.fingerprint,
    )


def save_page(
    page: PageTables,
    path: str | os.PathLike[str],
    *,
    cautions: Sequence[str],
    at_c: float | None = None,
    force: bool = False,
) -> Path:
    """Write the page to a file, whole or not at all.

    Parameters
    ----------
    page, cautions, at_c
        As :func:`field_page`.
    path : str or path
        The file; its folder must be there.
    force : bool
        Replace a file that is there.

    Raises
    ------
    InputError
        The file is there already, or the page would be larger than 300 kB.
    OSError
        The folder cannot be written.
    """
    target = new_file(path, force=force)
    data = field_page(page, cautions=cautions, at_c=at_c).encode()
    if len(data) > MOST_BYTES:
        raise InputError(
            "page", f"{len(data)} bytes", f"at most {MOST_BYTES} bytes", "take fewer parts or a shorter range"
        )
    return write_bytes(target, data)


def _words(text: str) -> str:
    """A sentence as the page has it, so that its script finds every temperature in it."""
    return escape(re.sub(r" -(?=[\d.]+(?: to | and above | degC))", " −", text).replace(" degC", " °C"))


def _card(i: int, part: PartTable) -> str:
    def row(label: str, key: str, unit: str) -> str:
        return f'<dt>{label}</dt><dd class="{key}"><b>–</b> {unit} <span class="quiet"></span></dd>'

    return (
        f'<li class="part" id="part{i}"><h3><span class="number">{i + 1}</span> {escape(part.part.name)}</h3>'
        '<p class="verdict"><span class="sign" aria-hidden="true"><b></b></span><span class="word">–</span></p><dl>'
        + row("natural frequency", "f", "Hz")
        + row("stiffness, each", "k", "N/mm")
        + row("damping ratio", "z", "")
        + row("tap: bounce", "c", "Hz")
        + ('<dt>tap: rocking</dt><dd class="r">–</dd>' if part.rocking_hz is not None else "")
        + f"<dt>squeeze</dt><dd>{escape(part.squeeze)}</dd></dl>"
        + '<p class="lag" hidden>It is still at <b></b>.</p>'
        '<p class="beyond" hidden>Not measured at this temperature: guessed.</p>'
        + f'<p class="quiet">{_words(_rests_on(part))}.</p></li>'
    )


def _rests_on(part: PartTable) -> str:
    """What a part's numbers rest on, in the answer's words."""
    rests = part.row.rests_on
    return f"{rests[0].upper()}{rests[1:]}"


def _table_steps(page: PageTables) -> list[int]:
    """Steps at every tenth degree, for paper and for browsers without script; every twentieth where they are many."""
    t = page.temperature_c
    steps = [int(v - t[0]) for v in range(10 * int(np.ceil(t[0] / 10)), int(t[-1]) + 1, 10)]
    return steps[:: 2 if len(steps) > 11 else 1] or [0]


def _table_row(number: int, part: PartTable, steps: Sequence[int]) -> str:
    cells = []
    for k in steps:
        star = " *" if part.state.extrapolated[k] else ""
        lines = (
            f"{_three(part.natural_frequency_hz.median[k])} Hz{star}",
            f"{_three(part.state.stiffness_n_per_mm.median[k])} N/mm",
            f"ζ {_three(part.state.damping_ratio.median[k])}",
            escape(percent(float(part.probability[k]))),
            f"tap {_three(part.tapped_hz.median[k])} Hz",
        )
        cells.append(f"<td>{'<br>'.join(lines)}</td>")
    title = f"{number} {escape(part.part.name)}, squeeze {escape(part.squeeze)}"
    return f'<tr{_nowhere(part)}><th scope="row">{title}</th>{"".join(cells)}</tr>'


def _nowhere(part: PartTable) -> str:
    """The mark of a part that suits at no temperature of the page, and is left out on paper."""
    return ' class="nowhere"' if part.probability.max() < VERDICTS[2][0] else ""


def _sure(number: int, part: PartTable, count: int, span: str) -> str:
    """What a part's answer over the whole page rests on, with its parts list and drawing."""
    said = f"From {span}: {part.row.verdict}, {percent(part.row.probability)}: {part.row.reason}."
    if part.row.settle:
        said += f" To settle it: {part.row.settle}."
    # What the sentence before says already is not said twice.
    more = [text for text in part.row.warnings if not text.startswith(_SAID)]
    said += "".join(f" {text[:1].upper()}{text[1:]}." for text in more)
    rests = f"{escape(part.part.material)}. {_words(f'{_rests_on(part)}. {said}')}"
    form, name = part.part.form, part.part.name
    drawing = part_svg(form, name, "<svg") if form.drawn_mm else ""
    drawing = drawing and f"<details><summary>Drawing</summary>{drawing}</details>"
    things = "".join(f"<li>{escape(in_words(row))}</li>" for row in parts_list(part.part, count, part.row, owned=True))
    bought = f"<details><summary>Parts list</summary><ul>{things}</ul></details>"
    said = f'<p class="quiet"><b>{escape(name)}</b>, {rests}</p>'
    return f'<li value="{number}"{_nowhere(part)}>{said}{bought}{drawing}</li>'


def _tables(page: PageTables) -> dict[str, Any]:
    """What the script looks up; four significant digits."""
    return {
        "low": float(page.temperature_c[0]),
        "steps": len(page.temperature_c),
        "left": LEFT,
        "across": ACROSS,
        "verdicts": [[least, word, sign] for (least, word), sign in zip(VERDICTS, _SIGNS, strict=True)],
        "parts": [
            {
                "name": part.part.name,
                "s": part.squeeze if part.row.squeeze_mm else "",
                "p": [round(float(v), 4) for v in part.probability],
                "f": _band(part.natural_frequency_hz),
                "k": _band(part.state.stiffness_n_per_mm),
                "z": _band(part.state.damping_ratio),
                "c": _band(part.tapped_hz),
                "r": None if part.rocking_hz is None else [_digits(each) for each in part.rocking_hz],
                "w": None if part.left is None else [round(float(v), 4) for v in part.left],
                "x": [int(v) for v in part.state.extrapolated],
                "d": int(part.row.all_directions),
            }
            for part in page.parts
        ],
    }


def _band(found: Band) -> list[list[float]]:
    return [_digits(values) for values in (found.median, found.low, found.high)]


def _digits(values: Array) -> list[float]:
    # A loss that the band lets vanish must not vanish in a ratio.
    return [float(f"{max(v, 1e-6):.4g}") for v in values]


def _json(value: Any) -> str:
    """JSON that may stand inside a script element."""
    text = json.dumps(value, ensure_ascii=True, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def _three(value: Any) -> str:
    """Three significant digits without a power of ten."""
    number = float(value)
    if number == 0.0:
        return "0"
    return f"{number:.{max(2 - int(np.floor(np.log10(abs(number)))), 0)}f}"
