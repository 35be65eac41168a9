"""``matdb modes``: all six rigid-body modes of a camera on a part."""

from __future__ import annotations

from typing import Annotated, Any, Final

from matdb.advice.camera import SixAxes
from matdb.advice.exposure import flight
from matdb.advice.suit import Suitability
from matdb.advice.summary import Answer, how_to_fit, in_short, rest_matters
from matdb.cli.answering import ESTIMATE, AskedNow, RestOption, before_flight, rest_hours
from matdb.cli.options import NEEDED, arg, option, squeeze_said
from matdb.cli.screen import Column, band_cell, number_text, records_table, show
from matdb.units import parse


def modes(
    call: AskedNow,
    mounting: Annotated[str, arg("MOUNTING", "The mounting's name.")],
    part: Annotated[str, arg("PART", "The part's name.")],
    temp: str = option("TEMPERATURE", "A temperature such as -5C.", NEEDED),
    squeeze: str | None = option("LENGTH", "Static squeeze of each piece; the one that suits best without it."),
    turns: float | None = option("NUMBER", "The same in turns of the screw past first touch, such as 3."),
    package: str = option("NAME", "The camera package.", "main"),
    rest: RestOption = None,
) -> None:
    """Show all six modes of a camera on a part: motion in words, natural frequency, damping ratio.

    For instance: matdb modes cam bobbin --temp -4C; or as it is screwed: matdb modes cam bobbin --temp -4C --turns 3.
    """
    with call.existing() as store:
        temperature_c = parse(temp, "temperature", "--temp")
        said = squeeze_said(squeeze, turns)
        asked = None if said == (None, None) else store.part(part).squeeze_at(*said)[0]
        # What is judged is what turns the camera, by the one judge; a mode by itself holds or fails nothing.
        flown = flight(low_c=temperature_c, rest_h=rest_hours(rest))
        (row,) = store.suit(mounting, flown, parts=[part], squeeze_mm=asked, package=package)
        held: dict[str, Any] = {"squeeze_mm": row.squeeze_mm, "rest_h": flown.rest_h}
        found = store.modes(mounting, part, temperature_c, package=package, **held)
        how = before_flight(store, found.warnings, row.squeeze_mm)
    answer = _answer(f"{part} under {package} of {mounting}", found, row)
    content = {"mounting": mounting, "part": part, **found.to_dict(), "cautions": [ESTIMATE]}
    call.tell(answer, content, lambda: _show(found), found.warnings, **how)


def _answer(title: str, found: SixAxes, row: Suitability) -> Answer:
    how = how_to_fit(row.squeeze_mm, row.turns, row.spacer_mm)
    held = f", {how}" if how else ""
    rest = rest_matters(row.warnings)
    return Answer(
        lines=(
            f"{title} at {found.temperature_c:g} degC{held}: {in_short(row)}.",
            *(
                f"{number_text(mode.natural_frequency_hz.median)} Hz {_motion(mode.word)}, damping ratio "
                + number_text(mode.damping_ratio.median, 2)
                for mode in found.modes
            ),
            *([rest] if rest else []),
            f"The verdict is that of 'matdb suit'; {row.rests_on}.",
        )
    )


def _motion(word: str) -> str:
    """A mode in few words, the seaman's ones for the motion it is most of explained."""
    first, coupled, rest = word.partition(" (")[0].partition(" coupled")
    return f"{first}{_PLAINLY.get(first, '')}{coupled}{rest}"


_PLAINLY: Final = {"surge": " (fore and aft)", "sway": " (sideways)"}
_COLUMNS: Final = (
    Column("natural freq., Hz", lambda m: band_cell(m.natural_frequency_hz)),
    Column("damping ratio", lambda m: band_cell(m.damping_ratio, 2)),
    Column("motion", lambda m: m.word),
)


def _show(found: SixAxes) -> None:
    records_table(found.modes, _COLUMNS)
    show("Bands hold 95 %.")
