"""``matdb modes``: all six rigid-body modes of a camera on a part."""

from __future__ import annotations

from typing import Annotated, Final

from matdb.advice.camera import Mode, SixAxes
from matdb.advice.summary import Answer
from matdb.advice.verdict import percent
from matdb.cli.answering import ESTIMATE, AskedNow, before_flight
from matdb.cli.options import NEEDED, arg, option, squeeze_said
from matdb.cli.screen import Column, band_cell, number_text, records_table, share_text, show, span_text
from matdb.units import parse


def modes(
    call: AskedNow,
    mounting: Annotated[str, arg("MOUNTING", "The mounting's name.")],
    part: Annotated[str, arg("PART", "The part's name.")],
    temp: str = option("TEMPERATURE", "A temperature such as -5C.", NEEDED),
    squeeze: str | None = option("LENGTH", "Static squeeze of each piece; none without it."),
    package: str = option("NAME", "The camera package.", "main"),
) -> None:
    """Show all six modes of a camera on a part: motion in words, natural frequency, damping ratio."""
    with call.existing() as store:
        temperature_c = parse(temp, "temperature", "--temp")
        squeeze_mm = 0.0 if squeeze is None else store.part(part).squeeze_at(*squeeze_said(squeeze))[0]
        found = store.modes(mounting, part, temperature_c, squeeze_mm=squeeze_mm, package=package)
        rests = store.current_curve(store.part(part).material).rests_on(part, temperature_c, temperature_c)
        how = before_flight(store, found.warnings, squeeze_mm)
    answer = _answer(f"{part} under {package} of {mounting}", found, rests)
    content = {"mounting": mounting, "part": part, **found.to_dict(), "cautions": [ESTIMATE]}
    call.tell(answer, content, lambda: _show(found), found.warnings, **how)


def _answer(title: str, found: SixAxes, rests: str) -> Answer:
    low, high = found.window_hz

    def side(mode: Mode) -> str:
        middle = mode.natural_frequency_hz.median
        return "" if low <= middle <= high else "too soft" if middle < low else "too stiff"

    sides = [side(mode) for mode in found.modes]
    amiss = [f"{sides.count(word)} of 6 {word}" for word in ("too stiff", "too soft") if word in sides]
    verdict = " and ".join(amiss) or "all six modes as wanted"
    return Answer(
        lines=(
            f"{title} at {found.temperature_c:g} degC: {verdict} ({percent(found.inside)} sure that all are right).",
            *(
                f"{number_text(mode.natural_frequency_hz.median)} Hz {mode.word.partition(' (')[0]}"
                + f", damping ratio {number_text(mode.damping_ratio.median, 2)}"
                + f", {word}" * bool(word)
                for mode, word in zip(found.modes, sides, strict=True)
            ),
            f"Wanted {span_text(low, high)} Hz; {rests}.",
        )
    )


_COLUMNS: Final = (
    Column("natural freq., Hz", lambda m: band_cell(m.natural_frequency_hz)),
    Column("damping ratio", lambda m: band_cell(m.damping_ratio, 2)),
    Column("inside", lambda m: share_text(m.probability)),
    Column("motion", lambda m: m.word),
)


def _show(found: SixAxes) -> None:
    records_table(found.modes, _COLUMNS)
    follows, isolates = share_text(found.follows), share_text(found.isolates)
    show(f"The lowest mode follows with {follows}, the highest is isolated with {isolates}; bands hold 95 %.")
