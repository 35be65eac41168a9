"""The short answer on the screen and in the document, before everything that waits behind it: one way for all."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Final, TypeVar

from matdb.advice.summary import Answer, short
from matdb.api import Store
from matdb.cli.options import Call, Question, opt, option, quantity
from matdb.cli.screen import given_text, lines, number_text, show
from matdb.errors import InputError

#: Once in the output of whatever might be taken for a permission.
ESTIMATE: Final = "This is an estimate, never an airworthiness approval."
#: Before flying what was chosen.
FLIGHT: Final = (
    "Hold the payload with a second line that does not depend on the rubber: a part can tear or slip out.",
    "Take the propellers off for every trial on the bench or in the hand.",
    "Flex cold parts by hand before flight: rubber near its glass transition cracks instead of bending.",
    "Check the screws again after 24 hours and in the cold: rubber creeps, sets and shrinks.",
)
#: At the bench.
BENCH: Final = (
    "Oven and freezer: wear gloves, stay below the material's service temperature, and never share an oven with food.",
    "Secure weights and keep feet and fingers from under them.",
)

_ALL: Final = "all"
#: What in an answer asks for a caution by itself: a word of its warnings, or a squeeze.
_COLD, _SCREW = FLIGHT[2], FLIGHT[3]
_NO_APPROVAL: Final = "An estimate, no approval."
#: States of an answer that are told by default.
_MOST_STATES: Final = 4
_Row = TypeVar("_Row")

RestOption = Annotated[
    str | None, opt("--rest", "TIME", "How long it has rested in the cold, such as 10h; however long without it.")
]


def rest_hours(text: str | None) -> float | None:
    """Hours of :data:`RestOption`, None for None. Raises UnitError."""
    rest_s = quantity(text, "duration", "--rest")
    return None if rest_s is None else rest_s / 3600.0


@dataclass(frozen=True)
class Told(Call):
    """A call that is answered first, with one line that points to what waits behind it."""

    cautions: bool = option(None, "Show every caution.", False)

    def tell(
        self,
        told: Answer | Sequence[str],
        content: Mapping[str, Any],
        behind: Callable[[], None] = lambda: None,
        warnings: Collection[str] = (),
        *,
        how_to_ask: str = "--why",
        others: str = "The others",
        caution: str = _NO_APPROVAL,
        bench_c: Iterable[float] | None = None,
        first_use: bool = False,
        below: Callable[[], None] = lambda: None,
    ) -> None:
        """Print the one JSON document, or the short answer.

        Parameters
        ----------
        told : Answer or sequence of str
            First in both: an answer, or sentences of which as many are told as there is room for.
        content : mapping
            The rest of the document.
        behind : callable
            Prints figures and reasons, where they were asked for.
        warnings : collection of str
            All of them, for the document and for --why.
        how_to_ask : str
            What brings figures and reasons.
        others : str
            What the alternatives are.
        caution : str
            The one that this answer triggers.
        bench_c : iterable of float, optional
            Temperatures of a bench, degrees Celsius: the cautions are those of the bench.
        first_use : bool
            Whether all cautions are shown without being asked for.
        below : callable
            Prints a table or a sketch below the sentences.
        """
        answer = told if isinstance(told, Answer) else Answer(lines=short(told, warnings))
        if self.as_json:
            # A dictionary keeps its order: the answer stands first.
            self.answer({"answer": answer.to_dict(), **content}, lambda: None, warnings)
            return
        for text in answer.lines:
            show(text)
        if answer.others:
            show(f"{others}:")
        for text in answer.others:
            show(text, indent="  - ")
        below()
        for written in content.get("files", ()):
            show(f"written: {written}", wrap=False)
        asked = getattr(self, "why", None)
        cautions: Sequence[str] = (ESTIMATE, *FLIGHT)
        if bench_c is not None:
            caution, cautions = BENCH[0] if any(not 10.0 <= t <= 35.0 for t in bench_c) else BENCH[1], BENCH
        if self.cautions or first_use:
            lines("Cautions:", cautions)
            if not asked:
                show(f"Figures and reasons: {how_to_ask}.")
        else:
            show(f"{caution} {'Cautions: --cautions.' if asked else f'More: {how_to_ask}, --cautions.'}")
        if asked:
            show()
            behind()
            lines("Before you rely on it:", warnings)


@dataclass(frozen=True)
class Asked(Told):
    """A call whose figures and reasons wait for --why."""

    why: bool = option(None, "Also show figures, reasons and warnings.", False)


@dataclass(frozen=True)
class AskedNow(Asked, Question):
    """The same about materials, whose fits are to be current."""


@dataclass(frozen=True)
class AskedOfParts(Told, Question):
    """A question about several parts, each with figures and reasons of its own."""

    why: list[str] | None = option("PART", "Also show figures, reasons, warnings of this part, or of 'all'.")

    def explained(self, parts: Sequence[str]) -> set[str]:
        """The parts that --why asks for. Raises InputError for one that is not among them."""
        for name in self.why or ():
            if name not in (_ALL, *parts):
                raise InputError("--why", name, "a part of the answer, or 'all'")
        return set(parts) if _ALL in (self.why or ()) else set(self.why or ())


def before_flight(store: Store, warnings: Iterable[str], squeezed_mm: float | None) -> dict[str, Any]:
    """How an answer is told before a flight: by the caution that it triggers; by all where nothing was ever fitted."""
    cold = any("glass transition" in text for text in warnings)
    caution = _COLD if cold else _SCREW if squeezed_mm else _NO_APPROVAL
    return {"caution": caution, "first_use": not store.records.has_fits()}


def thinned(rows: Sequence[_Row], most: int) -> list[_Row]:
    """At most so many of some rows, evenly over all, both ends among them."""
    last = len(rows) - 1
    return list(rows) if last < most else [rows[round(k * last / (most - 1))] for k in range(most)]


def over_states(
    what: str,
    rows: Sequence[Mapping[str, Any]],
    name: str,
    unit: str,
    figures: Callable[[Mapping[str, Any], bool], str],
) -> list[str]:
    """One figure at both ends and at its extremes in the first line, then a line a state, thinned where there are many.

    Parameters
    ----------
    what : str
        What is told of.
    rows : sequence of mapping
        The states, by ``temperature_c`` and ``frequency_hz``, with bands.
    name, unit : str
        The figure of the first line.
    figures : callable
        All figures of a state in words, and whether it stands alone.
    """
    # Under a mass it rings at its natural frequency, which is a figure and no question.
    hertz = {row["frequency_hz"] for row in rows if row.get("mass_kg") is None}

    def state(row: Mapping[str, Any]) -> str:
        at = f"{given_text(row['temperature_c'])} degC"
        return f"{at}, {given_text(row['frequency_hz'])} Hz" if len(hertz) > 1 else at

    what += f" at {given_text(*hertz)} Hz" if len(hertz) == 1 else ""
    if len(rows) == 1:
        return [f"{what}, {state(rows[0])}: {figures(rows[0], True)}."]
    # Over both, the corners: evenly over all of them would be a diagonal.
    first, last = rows[0], rows[-1]
    corners = [r for r in rows if all(r[x] in (first[x], last[x]) for x in ("temperature_c", "frequency_hz"))]

    def figure(row: Mapping[str, Any]) -> str:
        return f"{number_text(row[name].median)} {unit}"

    def at(row: Mapping[str, Any]) -> str:
        return f"{figure(row)} at {state(row)}"

    # What is more or less than at the ends, or the corners, is told too.
    by_corners = len(hertz) > 1 and len(corners) == _MOST_STATES
    shown = [figure(row) for row in (corners if by_corners else (first, last))]
    by_figure = sorted(range(len(rows)), key=lambda k: rows[k][name].median)
    inner = {word: k for word, k in (("least", by_figure[0]), ("most", by_figure[-1])) if figure(rows[k]) not in shown}
    places = [0, *inner.values(), len(rows) - 1]
    evenly = thinned(range(len(rows)), _MOST_STATES)
    places += sorted(set(evenly) - set(places), key=lambda k: -min(abs(k - place) for place in places))
    some = corners if by_corners else [rows[k] for k in sorted(places[:_MOST_STATES])]
    ends = " to ".join(map(at, (first, last)))
    ends += "".join(f", at {word} {at(rows[k])}" for word, k in inner.items())
    left = "" if len(some) == len(rows) else f" ({len(some)} of {len(rows)} states)"
    return [f"{what}: {ends}{left}.", *(f"{state(row)}: {figures(row, False)}" for row in some)]


def refuse_beside_mounting(given: dict[str, Any]) -> None:
    """Refuse what a mounting of the store tells by itself, by the name of its option. Raises InputError."""
    for name, value in given.items():
        if value is not None:
            raise InputError(f"--{name}", value, "left out with --mounting", "the mounting has its own")
