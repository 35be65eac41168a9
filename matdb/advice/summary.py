"""The short answer: what to fit, how sure that is, what decides, what was assumed, in the order that a builder asks.

Made once; the screen, the page and the JSON document show the same record.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from matdb.advice.requirement import VERDICTS, Requirement
from matdb.advice.verdict import in_pixels
from matdb.arrays import Array
from matdb.fields import PlainRecord
from matdb.form.thread import turns_text
from matdb.material.crystallisation import RESTS
from matdb.mounting.directions import MOTIONS
from matdb.mounting.record import LOAD_FACTORS
from matdb.mounting.suspended import MANOEUVRE_HZ
from matdb.units import percent
from matdb.weather.forecast import months_text

if TYPE_CHECKING:
    from matdb.advice.cover import Cover
    from matdb.advice.exposure import Flight
    from matdb.advice.suit import Suitability
    from matdb.mounting.record import Mounting

#: Lines of an answer at the narrowest screen that it is made for; the others wait for ``--why``.
LINES: Final = 9
WIDTH: Final = 80
#: Other parts told of by name.
_OTHERS: Final = 12
#: The verdicts that name a part to fit.
FIT: Final = ("suits", "probably suits")
#: Warnings that the lines say in other words, or that judging all directions has reckoned with.
SAID: Final = ("no reading of", "outside the measured temperatures", "the elastic centre")
_LONG_NOTE: Final = re.compile(r"\(.*; ")
#: How a requirement of the craft fails.
FAILS: Final = {
    "travel": "bottoms out",
    "strain": "pressed too far",
    "lift-off": "a half lifts off",
    "buckling": "buckles",
    "service": "outside its service range",
}


@dataclass(frozen=True, kw_only=True)
class Answer(PlainRecord):
    """What a question is answered with before anything else.

    Attributes
    ----------
    lines : tuple of str
        Sentences, the answer itself first; with what a screen adds they fill a dozen lines at a width of 80.
    others : tuple of str
        One line for each alternative, with what is against it.
    """

    lines: tuple[str, ...]
    others: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class WhatToFit(Answer):
    """Which part a ranking advises.

    Attributes
    ----------
    part, verdict, probability
        The best part, or the nearest miss; None and "" when there is no part at all.
    squeeze_mm, turns, spacer_mm : float or None
        How far it is squeezed, in turns past first touch, and by the spacer that stops it there.
    low_c, high_c : float
        Over which temperatures, degrees Celsius.
    rests_on, deciding, reason : str
        What the numbers rest on; the requirement that decides, and how.
    all_directions : bool
        False where only up-and-down motion could be judged.
    isolates_from_rpm : float or None
        Lowest rotor speed that it still isolates from, 1/min, median draw.
    assumed : tuple of str
        What the mounting took as usual or as estimated.
    settle : str
        What to measure next; empty when nothing is open.
    warnings : tuple of str
        What to know first of the best part.
    """

    part: str | None = None
    verdict: str = ""
    probability: float | None = None
    squeeze_mm: float | None = None
    turns: float | None = None
    spacer_mm: float | None = None
    low_c: float
    high_c: float
    rests_on: str = ""
    deciding: str = ""
    reason: str = ""
    all_directions: bool = False
    isolates_from_rpm: float | None = None
    assumed: tuple[str, ...] = ()
    settle: str = ""
    warnings: tuple[str, ...] = ()


#: Words of a warning's subject, "Beware: white pair squeezed by 0.375 mm: ...".
_SUBJECT: Final = 6


def short(
    told: Sequence[str], warnings: Iterable[str] = (), said: tuple[str, ...] = SAID, beside: Sequence[str] = ()
) -> tuple[str, ...]:
    """Sentences that answer, and as many warnings as there is room for.

    Parameters
    ----------
    told : sequence of str
        Sentences, the most important first; empty ones are left out, and those that there is no room for.
    warnings : iterable of str
        The most important first.
    said : tuple of str
        Beginnings of warnings that the sentences say in other words.
    beside : sequence of str
        What is shown below, and takes its room.
    """
    found, told = list[str](), [*filter(None, told)]
    room = LINES - max(sum(map(_height, beside)) - 1, 0)
    for text in told:
        if _height(text) <= room + 1 or not found:  # the answer's own sentences may take the line kept for a warning
            found.append(text)
            room -= _height(text)
    if any(RESTS in text for text in found):
        warnings = [text for text in warnings if RESTS not in text]
    unsaid = [f"Beware: {text}." for text in warnings if not text.startswith(said)]
    # As many clauses of the first as there is room for, but no subject alone.
    ends = [match.start() for match in re.finditer(r"[:;,] | \(", unsaid[0])] if unsaid else []
    heads = [unsaid[0][:end] for end in reversed(ends) if unsaid[0].count(" ", 0, end) > _SUBJECT]
    heads = [f"{head}; --why tells more." for head in heads] or unsaid[:1]
    for beware in [next((text for text in [*unsaid[:1], *heads] if _height(text) <= room), ""), *unsaid[1:]]:
        if beware and _height(beware) <= room:
            found.append(beware)
            room -= _height(beware)
    if unsaid and room > 0 and not found[-1].startswith("Beware"):
        # The shortest may take the line that the answer's own sentences may take.
        found.append(heads[-1])
    return tuple(found)


def rest_matters(warnings: Iterable[str], taken: str = "") -> str:
    """The warning that rest in the cold decides, in short, and the rest that was taken; empty where it does not."""
    said = next((text.partition(" (")[0] for text in warnings if RESTS in text), "")
    end = "counted here" if f"{RESTS} for" in said else "--rest 1h asks for so short a rest"
    return f"Beware: {said}, and stiffens; {taken or end}." if said else ""


def how_to_fit(squeeze_mm: float, turns: float | None, spacer_mm: float | None) -> str:
    """How far a part is squeezed, in a builder's words; empty when it is not."""
    if not squeeze_mm and spacer_mm is None:
        return ""
    squeezed = f"squeezed {squeeze_mm:.3g} mm"
    if spacer_mm is not None:
        return f"{squeezed if turns is None else turns_text(turns)}, spacer {spacer_mm:.4g} mm"
    return squeezed if turns is None else f"{squeezed}, {turns_text(turns)}"


def when_it_fails(found: Suitability | Cover, at: str = "") -> str:
    """When it fails, in words: "it rather fails in July at 30 degC and may fail in June"; empty where it does not."""
    fails = f" in {months_text(found.fails_in)}" if found.fails_in else ""
    may = f"may fail in {months_text(found.may_fail_in)}" if found.may_fail_in else ""
    told = " and ".join(filter(None, (f"rather fails{fails}{at}" if fails or at else "", may)))
    return told and f"it {told}"


def assumed(mounting: Mounting) -> tuple[str, ...]:
    """What a mounting's answers take for granted; what was given as what is usual is called so too."""
    rotor = f"rotors {mounting.rpm_idle:.0f} to {mounting.rpm_full:.0f} rpm"
    low, high = mounting.load_factors

    def usual(text: str, is_usual: bool) -> str:
        return f"{text} (usual)" if is_usual else text

    return (
        f"{rotor} ({mounting.rotor_note})" if mounting.rotor_note else rotor,
        usual(f"following to {mounting.manoeuvre_hz:g} Hz", mounting.manoeuvre_hz == MANOEUVRE_HZ),
        usual(f"load factors {low:g} to {high:g}", (low, high) == LOAD_FACTORS),
        "footage shown as flown (usual)" if mounting.footage == "as flown" else f"footage {mounting.footage}",
    )


def up_and_down(mounting: Mounting, part: str = "a part") -> str:
    """What it takes to judge all directions."""
    if mounting.has_six_axes:
        return f"Judged up and down only: how stiff {part} is sideways is not known."
    return "Judged up and down only; give --spread and --box to judge roll and pitch."


def summary(
    mounting: Mounting,
    temperature_c: Array,
    ranking: Sequence[Suitability],
    flown: Flight | None = None,
    instead: str = "",
) -> WhatToFit:
    """The short answer to a ranking.

    Parameters
    ----------
    mounting : Mounting
        The one that was ranked for.
    temperature_c : ndarray
        Temperatures of the flight, degrees Celsius.
    ranking : sequence of Suitability
        Best first, as :func:`matdb.advice.suit.suit` gives it.
    flown : Flight, optional
        Where the temperatures come from: what was assumed of them, and what the parts were at before.
    instead : str
        What of the mounting was asked for otherwise than it is stored.
    """
    low_c, high_c = float(temperature_c.min()), float(temperature_c.max())
    if not ranking:
        nothing = "No part to judge; add one with 'matdb part add'."
        return WhatToFit(lines=(nothing,), low_c=low_c, high_c=high_c, assumed=assumed(mounting))
    best = ranking[0]
    span = f"{low_c:.3g} to {high_c:.3g} degC" if high_c > low_c else f"{low_c:.3g} degC"
    span += "" if flown is None or flown.car_c is None else f" with parts from {flown.car_c:.3g} degC"
    span += f", rested {flown.rest_told} in the cold" if flown and flown.rest_told else ""
    air = flown.flown.notes if flown else ()
    lowest = mounting.rpm_idle / max(1.0 + best.isolation_margin, 1e-3)
    taken = assumed(mounting)
    still = f"isolates {'only from' if best.isolation_margin < 0.0 else 'down to'} about {round(lowest, -2):.0f} rpm"
    fails = when_it_fails(best)
    told = [
        _first(best),
        f"For {f'{instead}, ' if instead else ''}{span}{f'; {fails}' if fails else ''}; {best.rests_on}.",
        f"Decides: {best.reason}.",
        rest_matters(best.warnings, flown.rest_taken if flown else ""),
        "" if best.all_directions else up_and_down(mounting, best.part),
        # Of how the speeds were estimated, what was taken for the lowest decides.
        f"Assumed: {_LONG_NOTE.sub('(', taken[0])}, {still}; {', '.join(taken[1:])}.",
        f"Air: {'; '.join(air)}." if air else "",
        f"Measure next: {_measure_next(best)}.",
    ]
    others = [f"{row.part}: {in_short(row)}" for row in ranking[1 : _OTHERS + 1]]
    if len(ranking) > _OTHERS + 1:
        others.append(f"and {len(ranking) - _OTHERS - 1} more")
    return WhatToFit(
        lines=short(told, best.warnings),
        others=tuple(others),
        low_c=low_c,
        high_c=high_c,
        isolates_from_rpm=lowest,
        assumed=taken,
        **{
            name: getattr(best, name)
            for name in (
                *("part", "verdict", "probability", "squeeze_mm", "turns", "spacer_mm", "rests_on", "deciding"),
                *("reason", "all_directions", "settle", "warnings"),
            )
        },
    )


def _measure_next(best: Suitability) -> str:
    """The reading that tells most of it, or what to do where none is asked for."""
    if best.settle:
        return f"{best.settle}; 'matdb next' weighs it against others"
    if best.verdict in FIT:
        return "no further reading is worth it" if best.open_to_readings else "nothing, this is settled"
    return "no reading would turn this; 'matdb size' says what would"


def _height(text: str) -> int:
    return len(textwrap.wrap(text, WIDTH, break_on_hyphens=False))


def _first(best: Suitability) -> str:
    """Verdict, part, turns and spacer."""
    how = how_to_fit(best.squeeze_mm, best.turns, best.spacer_mm)
    what = f"{best.part}, {how}" if how else best.part
    decides = best.requirements[0]
    # Said again behind the verdict where it says the same: an airframe may hardly shake where a limit is passed.
    shown, over = in_pixels(decides), (decides.pixels or 0.0) > (decides.pixels_most or 0.0)
    if shown and over == (best.probability < 0.5):
        what += f"; {best.deciding}: {shown}"
    if best.verdict in FIT:
        sure = "sure" if best.all_directions else "sure up and down"
        return f"{best.verdict.capitalize()}, {percent(best.probability)} {sure}: fit {what}."
    word = {"open": "Open", "probably not": "Probably nothing suits"}.get(best.verdict, "Nothing suits")
    return f"{word}: the best, {what}, holds with {percent(best.probability)}."


def in_short(row: Suitability) -> str:
    """Verdict, probability, and what is against a part, in a few words."""
    decides = row.requirements[0]
    may = "may be " if row.verdict == "open" and decides.name in MOTIONS else ""
    against = "" if decides.probability >= VERDICTS[0][0] else f": {may}{against_it(decides, row.all_directions)}"
    return f"{row.verdict} ({percent(row.probability)}){against}"


def against_it(decides: Requirement, all_directions: bool) -> str:
    """What a requirement that fails says against a part, in a few words."""
    if decides.name not in MOTIONS:
        return FAILS[decides.name]
    side = "too stiff" if decides.stiff else "too soft"
    return f"{side} in {decides.name}" if all_directions else side
