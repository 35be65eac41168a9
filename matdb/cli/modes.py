"""``matdb modes``: all six rigid-body modes of a camera on a part."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

from matdb.advice.camera import SixAxes
from matdb.cli.cautions import ESTIMATE
from matdb.cli.options import NEEDED, Question, arg, needed, option, quantity
from matdb.cli.screen import Column, band_cell, lines, records_table, share_text, show, span_text


def modes(
    call: Question,
    mounting: Annotated[str, arg("MOUNTING", "The mounting's name.")],
    part: Annotated[str, arg("PART", "The part's name.")],
    temp: str = option("TEMPERATURE", "A temperature such as -5C.", NEEDED),
    squeeze: str | None = option("LENGTH", "Static squeeze of each piece; none without it."),
    package: str = option("NAME", "The camera package.", "main"),
) -> None:
    """Show all six modes of a camera on a part: motion in words, natural frequency, damping ratio."""
    with call.existing() as store:
        temperature_c, squeeze_mm = needed(temp, "temperature", "--temp"), quantity(squeeze, "length", "--squeeze")
        found = store.modes(mounting, part, temperature_c, squeeze_mm=squeeze_mm or 0.0, package=package)
    warnings = [*found.warnings, *([f"{part}: rests on its family's prior"] if found.basis == "family prior" else [])]
    content = {"mounting": mounting, "part": part, **found.to_dict(), "cautions": [ESTIMATE]}
    call.answer(content, lambda: _show(f"{part} under {package} of {mounting}", found, warnings), warnings)


def _show(title: str, found: SixAxes, warnings: Sequence[str]) -> None:
    low, high = found.window_hz
    show(f"{title} at {found.temperature_c:g} degC; bands hold 95 %")
    lines("Before you rely on it:", warnings)
    lines("Cautions:", [ESTIMATE])
    records_table(
        found.modes,
        [
            Column("natural freq., Hz", lambda m: band_cell(m.natural_frequency_hz)),
            Column("damping ratio", lambda m: band_cell(m.damping_ratio, 2)),
            Column("inside", lambda m: share_text(m.probability)),
            Column("motion", lambda m: m.word),
        ],
    )
    follows, isolates, inside = map(share_text, (found.follows, found.isolates, found.inside))
    show(
        f"Wanted {span_text(low, high)} Hz: the lowest mode follows with {follows}, the highest is "
        f"isolated with {isolates}, all lie inside with {inside}."
    )
