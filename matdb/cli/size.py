"""``matdb size``: what dimensions of a form would suit a camera."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import MISSING, dataclass, replace
from functools import partial
from pathlib import Path
from typing import Annotated, Any, Final

import numpy as np

from matdb.advice.parts_list import parts_list as parts_list_of
from matdb.advice.size import FAILS_BY, Proposal
from matdb.advice.summary import FIT, Answer, assumed, how_to_fit, rest_matters, short, up_and_down
from matdb.api import Store
from matdb.cli.answering import ESTIMATE, FLIGHT, AskedNow, before_flight
from matdb.cli.dimensions import ranges_from_words, split_words
from matdb.cli.options import ForceOption, arg, option, quantity, write_answer
from matdb.cli.screen import Column, Progress, records_table, show
from matdb.cli.suit import REQUIREMENTS, PackageOption
from matdb.cli.weather import FlightOptions, flight_content, flight_lines, flight_of
from matdb.delimited import file_bytes
from matdb.errors import AlreadyExists, InputError
from matdb.exchange.point_file import read_sizes
from matdb.fields import record_fields
from matdb.form.thread import pitch_mm
from matdb.mounting.record import Mounting
from matdb.picture.figure import picture_file, save_picture
from matdb.picture.mounting_charts import trade_off_chart
from matdb.units import is_range, mass_text, parse, parse_range, parse_sizes, percent, range_ends

#: Turns that are tried within a range of them.
_TURN: Final = 0.25


@dataclass(frozen=True, kw_only=True)
class SizeOptions:
    """What is looked for beside the dimensions."""

    material: str = option("NAME", "The material it is made of.", MISSING)
    form: str = option("FORM", "Its form, such as printed-strut or ring.", MISSING)
    sizes: str | None = option("FILE", "Sizes that you own or can buy (CSV): only these.")
    thread: str | None = option("THREAD", "The screw that squeezes it, such as M3.")
    count: str | None = option("NUMBERS", "Isolators, such as 4, 3..6 or free (3..8); the mounting's without it.")
    spread: str | None = option("SIZES", "Length and width they are spread over, such as 60x40mm..100x80mm.")
    centre: str | None = option("LENGTHS", "The camera's centre above the isolators, such as -10mm..20mm.")
    deck: str | None = option("LENGTH", "How high it may hold what stands on it, such as 12mm.")
    squeeze: str | None = option("LENGTHS", "Static squeeze of each part, such as 0.5mm or 0.2mm..1mm.")
    turns: str | None = option("NUMBERS", "The same in turns of the screw past first touch, such as 1..3.")

    def told(self) -> dict[str, Any]:
        """What they say of screw and mounting, as the library takes it. Raises UnitError, InputError."""
        found: dict[str, Any] = {} if self.thread is None else {"thread": self.thread}
        if self.count == "free":
            found["count"] = "free"
        elif self.count is not None:
            low, *high = (int(parse(end, "dimensionless", "--count")) for end in range_ends(self.count))
            found["count"] = (low, *high) if high else low
        if self.spread is not None:
            sides = tuple(parse_sizes(end, 2, "--spread") for end in range_ends(self.spread))
            found["spread_mm"] = sides if len(sides) == 2 else sides[0]
        if self.centre is not None:
            found["centre_height_mm"] = _span(self.centre, "length", "--centre")
        return found

    def squeezes(self) -> float | list[float] | None:
        """The squeeze that was asked for, or those to try, mm. Raises UnitError, InputError."""
        if self.turns is None:
            asked = None if self.squeeze is None else _span(self.squeeze, "length", "--squeeze")
            return np.linspace(asked[0], asked[1], 9).tolist() if isinstance(asked, tuple) else asked
        if self.squeeze is not None or self.thread is None:
            allowed = "given with --thread, and without --squeeze"
            raise InputError("--turns", self.turns, allowed, "for instance --thread M3 --turns 1..3")
        low, *high = _span(self.turns, "dimensionless", "--turns", always=True)
        return [pitch_mm(self.thread) * turns for turns in np.arange(low, high[0] + 1e-9, _TURN)]


def _span(text: str, dimension: str, name: str, always: bool = False) -> Any:
    """One quantity, or both ends of a range; always both where asked. Raises UnitError, InputError."""
    if is_range(text):
        return parse_range(text, dimension, name)
    value = parse(text, dimension, name)
    return (value, value) if always else value


def size(
    call: AskedNow,
    words: Annotated[list[str], arg("MOUNTING --DIMENSION SIZE...", "The mounting, and what is known of the form.")],
    said: SizeOptions,
    air: FlightOptions,
    package: PackageOption = None,
    parts_list: str | None = option(
        "FILE", "Write what to print, cut and buy, screws and spacers with it (CSV).", name="--list"
    ),
    picture: str | None = option("FILE", "Draw isolation against following, and the proposals in it (.png or .svg)."),
    force: ForceOption = False,
    keep: str | None = option("NAME", "Store the first proposal as a part of this name, to be read and fitted."),
) -> None:
    """Say what to print, cut or buy for a camera, and how far each dimension may be off.

    Dimensions of the form are fixed (--length 25mm), ranged (--outer 4mm..8mm --walls 1..3), one of several (--outer
    4mm,5mm,6mm) or looked for (without a word, or 'free'): 'matdb part forms' lists them.
    """
    if picture is not None:
        picture_file(picture, force=force)  # before the long work
    name, given = split_words(words, "mounting")
    told = ranges_from_words(said.form, given) | said.told()
    sizes = [] if said.sizes is None else read_sizes(Path(said.sizes).name, file_bytes(said.sizes), said.form)
    flown, deck_mm = flight_of(air), quantity(said.deck, "length", "--deck")
    with call.existing() as store, Progress("sizes") as update:
        if keep in store.records.names("part"):
            raise AlreadyExists("part", str(keep))
        found = store.size(
            name,
            flown,
            material=said.material,
            form=said.form,
            sizes=sizes,
            squeeze_mm=said.squeezes(),
            deck_mm=deck_mm,
            package=package,
            progress=update,
            **told,
        )
        best = found[0]
        first = _to_read_first(store, best) if best.band_limits else ""
        cautions = before_flight(store, best.warnings, best.squeeze_mm)

    bought = parts_list_of(best.part, best.mounting.count, best, owned=best.listed)
    written = write_answer(parts_list, list(bought[0]), [list(row.values()) for row in bought], force)
    if picture is not None:
        written.append(str(save_picture(trade_off_chart(found), picture, force=force)))
    if keep is not None:
        call.added(replace(best.part, name=keep))

    def behind() -> None:
        flight_lines(flown)
        for each in found:
            show(f"{in_words(each)}: {each.verdict} ({percent(each.probability)}): {each.reason}; {each.cost}.")
            records_table(each.requirements, REQUIREMENTS)
        records_table(bought, _LIST)

    content = {"proposals": [each.to_dict() for each in found], "air": flight_content(flown)}
    content |= {"parts_list": bought, "files": written}
    content["cautions"] = [ESTIMATE, *FLIGHT]
    others = [_other(each, best.mounting) for each in found[1:]]
    lines = short(_told(found, first, keep, deck_mm, flown.rest_taken), best.warnings, beside=others)
    answer = Answer(lines=lines, others=tuple(others))
    call.tell(answer, content, behind, best.warnings, others="Others that differ in kind", **cautions)


_LIST: Final = (
    Column("do", lambda row: str(row["do"])),
    Column("what", lambda row: str(row["what"])),
    Column("pieces", lambda row: str(row["pieces"]), right=True),
    *(
        Column(title, partial(lambda name, row: "" if row[name] is None else f"{row[name]:.4g}", name), right=True)
        for title, name in (("length, mm", "length_mm"), ("weight, g", "mass_g"), ("price", "price"))
    ),
)


def in_words(found: Proposal) -> str:
    """Form and dimensions of a proposal, and how it is fitted, in a builder's words."""
    known, form = record_fields(type(found.part.form)), found.part.form
    told = [
        f"{known[name].noun} {_figure(known[name].dimension, value)}" for name, value in found.sizes.items() if value
    ]
    how = how_to_fit(found.squeeze_mm, found.turns, found.spacer_mm)
    named = f"{found.part.name} ({form.kind} {', '.join(told)})" if found.listed else f"{form.kind} {', '.join(told)}"
    return ", ".join([named, *([how] if how else [])])


def _figure(dimension: str, value: Any) -> str:
    if dimension == "length":
        return f"{value:.4g} mm"
    return f"{100.0 * value:.3g} %" if dimension == "dimensionless" else str(value)


def _off(found: Proposal) -> str:
    """How far each dimension may be off; empty where it hardly holds as it is."""
    if found.probability < FAILS_BY:
        return ""
    known, told = record_fields(type(found.part.form)), []
    for name, (down, up) in found.tolerance.items():
        times, unit = (100.0, "%") if known[name].dimension == "dimensionless" else (1.0, "mm")
        told.append(f"{known[name].noun} {times * down:+.1g}/{times * up:+.1g} {unit}")
    return f"Each may be off by this much until it is {percent(FAILS_BY)} less sure: {', '.join(told)}."


def _pieces(on: Mounting) -> str:
    spread = "" if on.spread_mm is None else " spread over {:g}x{:g} mm".format(*on.spread_mm)
    return f"{on.count} pieces{spread}"


def _first(best: Proposal, deck_mm: float | None, kept: str | None) -> str:
    """Verdict and what to make; and where it hardly suits, that it was stored all the same."""
    what = f"{'take' if best.listed else best.form.made} {_pieces(best.mounting)}, {in_words(best)}"
    stored = f"; stored all the same as part {kept}" if kept else ""
    if deck_mm is not None and (best.cost.deck_mm or 0.0) > deck_mm + 1e-6:
        above = f"the best above, {what}, holds with {percent(best.probability)}{stored}"
        return f"Nothing suits within {deck_mm:g} mm: {above}."
    if best.verdict in FIT:
        sure = "sure" if best.all_directions else "sure up and down"
        return f"{best.verdict.capitalize()}, {percent(best.probability)} {sure}: {what}."
    word = {"open": "Open", "probably not": "Probably nothing suits"}.get(best.verdict, "Nothing suits")
    return f"{word}: the best, {what}, holds with {percent(best.probability)}{stored}."


def _to_read_first(store: Store, best: Proposal) -> str:
    """The reading that narrows most what is known of a proposal."""
    on = best.mounting
    held: dict[str, Any] = {"mass_kg": on.mass_kg, "count": on.count, "squeeze_mm": best.squeeze_mm}
    ranking = store.next_readings(best.part, best.low_c, best.high_c, **held)
    if not ranking or not ranking[0].worth_taking:
        return ""
    read = ranking[0]
    what = f"a {read.kind} at {read.temperature_c:g} degC with {mass_text(read.mass_kg)} on one such piece"
    return f"Readings settle this sooner than other sizes; take first {what}."


def _told(found: Sequence[Proposal], first: str, kept: str | None, deck_mm: float | None, rest: str) -> list[str]:
    """What to make, how exactly, what decides and what it rests on."""
    best = found[0]
    span = f"{best.low_c:.3g} to {best.high_c:.3g} degC" if best.high_c > best.low_c else f"{best.low_c:.3g} degC"
    exact = f"Decides: {best.reason}.", _off(best)
    contradicts = f"{best.contradiction[:1].upper()}{best.contradiction[1:]}." if best.contradiction else ""
    return [
        (first_line := _first(best, deck_mm, kept)),
        contradicts,
        f"For {span}; {best.rests_on}; {best.cost}.",
        rest_matters(best.warnings, rest),
        f"Stored as part {kept}." if kept and "stored" not in first_line else "",
        # How exactly to make it, once it is worth making.
        *(reversed(exact) if best.verdict in FIT else exact),
        first,
        f"It gives up: {best.gives_up}." if best.gives_up else "",
        "" if best.all_directions else up_and_down(best.mounting),
        f"Assumed: {', '.join(assumed(best.mounting))}.",
    ]


def _other(found: Proposal, on: Mounting) -> str:
    """One that differs in kind; how many and how spread, where that is other than of the first."""
    gives_up = f"; {found.gives_up}" if found.gives_up else ""
    many = "" if found.mounting == on else f"{_pieces(found.mounting)}, "
    return f"{percent(found.probability)}: {many}{in_words(found)}{gives_up}"
