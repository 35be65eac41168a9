"""The field page: one HTML file that answers on a phone without a network."""

from __future__ import annotations

import base64
import hashlib
import json
import os
from collections.abc import Sequence
from html import escape
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

import numpy as np

from matdb.advice.summary import SAID
from matdb.advice.verdict import VERDICTS, percent
from matdb.curve.band import Band
from matdb.errors import InputError
from matdb.files import new_file, write_bytes
from matdb.picture.chart import signed
from matdb.picture.page_tables import PageTables, PartTable
from matdb.picture.part_svg import part_svg
from matdb.picture.window_svg import ACROSS, LEFT, window_svg

MOST_BYTES: Final = 300_000
#: A sign beside each verdict word, so that nothing rests on colour alone.
_SIGNS: Final = ("✓", "✓", "?", "✗", "✗")
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
    style, script = ("\n" + own.joinpath(name).read_text(encoding="utf-8") for name in ("page.css", "page.js"))
    known = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    body = [
        *_head(page),
        *_steer(low, high, at),
        '<main><section class="live" aria-labelledby="ph"><h2 id="ph">Parts</h2>',
        '<ol class="parts">',
        *(_card(i, part) for i, part in enumerate(page.parts)),
        "</ol></section>",
        '<section id="window"><h2>The window</h2>',
        window_svg(page, at),
        f'<p class="quiet">Shaded: the wanted {_three(page.window_hz[0])} to {_three(page.window_hz[1])} Hz. Numbered '
        "lines: the parts, with the band that holds 95 %.</p></section>",
        *_table(page),
        *_sure(page),
        '<section id="cautions"><h2>Cautions</h2><ul>',
        *(f"<li>{escape(text)}</li>" for text in cautions),
        "</ul></section></main>",
        f'<footer class="quiet"><p>Computed {page.made_at:%Y-%m-%d %H:%M %Z} by matdb {escape(page.version)} from a '
        f"store with fingerprint {page.fingerprint}. It does not know readings that came later.</p></footer>",
    ]
    return "\n".join(
        [
            '<!DOCTYPE html>\n<html lang="en" class="plain">\n<head>\n<meta charset="utf-8">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'; "
            f"script-src 'sha256-{known}'; img-src data:\">",
            f'<title>{escape(page.mounting.name)}: stiffness in the field</title>\n<link rel="icon" href="data:,">',
            f"<style>{style}</style>\n</head>\n<body>",
            *body,
            f'<script type="application/json" id="tables">{_json(_tables(page))}</script>',
            f"<script>{script}</script>\n</body>\n</html>\n",
        ]
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


def _head(page: PageTables) -> list[str]:
    m = page.mounting
    first, *more = (escape(line.replace(" degC", " °C")) for line in page.answer.lines)
    others = "".join(f"<li>{escape(line)}</li>" for line in page.answer.others)
    return [
        f"<header><h1>{escape(m.name)}</h1>",
        '<p class="lights live"><button type="button" data-light="sun" aria-pressed="false">Sunlight</button> '
        '<button type="button" data-light="night" aria-pressed="false">Night</button></p>',
        f'<p class="verdict">{first}</p>',
        *(f"<p>{line}</p>" for line in more),
        f'<p>The others:</p><ul class="quiet">{others}</ul>' if others else "",
        f'<p class="quiet">{m.mass_kg * 1e3:g} g on {m.count} isolators.</p></header>',
    ]


def _steer(low: float, high: float, at: float) -> list[str]:
    def button(step: int) -> str:
        word = "colder" if step < 0 else "warmer"
        return (
            f'<button type="button" data-step="{step}" aria-label="{abs(step)} K {word}">'
            f"{'−' if step < 0 else '+'}{abs(step)}</button>"
        )

    return [
        '<section class="steer live" aria-label="Temperature">',
        '<div class="row"><label for="typed">Temperature of the parts, °C</label>',
        f'<input id="typed" type="text" inputmode="text" autocomplete="off" value="{at:g}" aria-describedby="told">',
        button(-5) + button(-1) + button(1) + button(5) + "</div>",
        f'<input id="slid" type="range" min="{low:g}" max="{high:g}" step="0.5" value="{at:g}" '
        'aria-label="Temperature of the parts, slider">',
        '<p id="told" role="status" aria-live="polite"></p></section>',
    ]


def _card(i: int, part: PartTable) -> str:
    def row(label: str, key: str, unit: str) -> str:
        return f'<dt>{label}</dt><dd class="{key}"><b>–</b> {unit} <span class="quiet"></span></dd>'

    return (
        f'<li class="part" id="part{i}"><h3><span class="number">{i + 1}</span> {escape(part.part.name)}</h3>'
        '<p class="verdict"><span class="sign" aria-hidden="true"><b></b></span><span class="word">–</span></p><dl>'
        + row("natural frequency", "f", "Hz")
        + row("stiffness, each", "k", "N/mm")
        + row("damping ratio", "z", "")
        + f"<dt>squeeze</dt><dd>{escape(part.squeeze)}</dd></dl>"
        + '<p class="beyond" hidden>Not measured at this temperature: guessed.</p>'
        + f'<p class="quiet">{escape(_rests_on(part))}.</p></li>'
    )


def _rests_on(part: PartTable) -> str:
    """What a part's numbers rest on, in the answer's words."""
    rests = part.row.rests_on
    return f"{rests[0].upper()}{rests[1:]}".replace(" degC", " °C").replace(" -", " −")


def _table(page: PageTables) -> list[str]:
    """All parts at every tenth degree: for paper, and for browsers without script."""
    t = page.temperature_c
    steps = [int(v - t[0]) for v in range(10 * int(np.ceil(t[0] / 10)), int(t[-1]) + 1, 10)]
    steps = steps[:: 2 if len(steps) > 11 else 1] or [0]
    head = "".join(f'<th scope="col">{signed(float(t[k]))} °C</th>' for k in steps)
    out = [
        '<section id="table"><h2>Table</h2>',
        '<div class="wide" tabindex="0" role="region" aria-label="Table of all parts over temperature"><table>',
        "<caption>Natural frequency in Hz; stiffness of one piece in N/mm; damping ratio; probability that it holds. "
        "A star marks what was not measured.</caption>",
        f'<thead><tr><th scope="col">part</th>{head}</tr></thead><tbody>',
    ]
    for i, part in enumerate(page.parts):
        cells = []
        for k in steps:
            star = " *" if part.state.extrapolated[k] else ""
            lines = (
                f"{_three(part.natural_frequency_hz.median[k])} Hz{star}",
                f"{_three(part.state.stiffness_n_per_mm.median[k])} N/mm",
                f"ζ {_three(part.state.damping_ratio.median[k])}",
                percent(float(part.probability[k])),
            )
            cells.append(f"<td>{'<br>'.join(lines)}</td>")
        out.append(
            f'<tr><th scope="row">{i + 1} {escape(part.part.name)}, squeeze {escape(part.squeeze)}</th>'
            + "".join(cells)
            + "</tr>"
        )
    return [*out, "</tbody></table></div></section>"]


def _sure(page: PageTables) -> list[str]:
    words = "; ".join(f"“{word}” from {least:.0%}" for least, word in VERDICTS[:-1])
    t = page.temperature_c
    out = [
        '<section id="sure"><h2>How sure</h2>',
        '<p class="quiet">The probability is that of holding at that temperature all that camera and craft ask. '
        f"Words: {words}; less is “{VERDICTS[-1][1]}”. Bands hold 95 % of "
        "what the readings allow.</p><ol>",
    ]
    span = f"{signed(float(t[0]))} to {signed(float(t[-1]))} °C"
    for part in page.parts:
        said = f"From {span}: {part.row.verdict}, {percent(part.row.probability)}: {part.row.reason}."
        if part.row.settle:
            said += f" To settle it: {part.row.settle}."
        # What the sentence before says already is not said twice.
        more = [text for text in part.row.warnings if not text.startswith(_SAID)]
        said += "".join(f" {text[:1].upper()}{text[1:]}." for text in more)
        rests = escape(f"{part.part.material}. {_rests_on(part)}. {said}".replace(" degC", " °C"))
        form, name = part.part.form, part.part.name
        drawing = part_svg(form, name, "<svg") if form.drawn_mm else ""
        drawing = drawing and f"<details><summary>Drawing</summary>{drawing}</details>"
        out.append(f'<li class="quiet"><b>{escape(name)}</b>, {rests}{drawing}</li>')
    left = (
        f'<p class="quiet">{page.left_out} more parts of the store rank lower and are not on this page.</p>'
        if page.left_out
        else ""
    )
    return [*out, f"</ol>{left}</section>"]


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
                "p": [round(float(v), 4) for v in part.probability],
                "f": _band(part.natural_frequency_hz),
                "k": _band(part.state.stiffness_n_per_mm),
                "z": _band(part.state.damping_ratio),
                "x": [int(v) for v in part.state.extrapolated],
                "d": int(part.row.all_directions),
            }
            for part in page.parts
        ],
    }


def _band(found: Band) -> list[list[float]]:
    # A loss that the band lets vanish must not vanish in a ratio.
    return [[float(f"{max(v, 1e-6):.4g}") for v in values] for values in (found.median, found.low, found.high)]


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
