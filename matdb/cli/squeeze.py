"""``matdb squeeze``: how far to turn the screw of a two-part grommet."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import MISSING, dataclass
from typing import Annotated, Final

from matdb.advice.squeeze import Squeeze, SqueezePoint
from matdb.api import Store
from matdb.cli.options import Call, arg, collects, needed, option, quantity, temperatures
from matdb.cli.screen import band_cell, block_table, given_text, lines, mass_text, number_text, share_text, show
from matdb.curve.band import Band
from matdb.errors import InputError
from matdb.units import parse_range


@dataclass(frozen=True, kw_only=True)
class SqueezeOptions:
    """What a pair carries, and how it is screwed together."""

    temp: str = option("RANGE", "Temperatures of the flight, such as -10C..25C, or one such as -5C.", MISSING)
    mass: str | None = option("MASS", "Payload on all pairs together, such as 600g.")
    count: int | None = option("NUMBER", "How many pairs share it; 4 without it.")
    mounting: str | None = option("NAME", "Take payload, count and load factors from this mounting.")
    load: str | None = option("RANGE", "Lowest to highest load factor in units of weight; -1..3 without it.")
    turns: float | None = option("NUMBER", "Look at this many turns past first touch, such as 1.5.")
    squeeze: str | None = option("LENGTH", "Look at this squeeze past first touch, such as 0.75mm.")
    assembly: str = option("TEMPERATURE", "Temperature at which the screw is turned.", "23C")
    set: str = option("SHARE", "Share of the squeeze that compression set and creep will take.", "15%")

    def __post_init__(self) -> None:
        if (self.mounting is None) == (self.mass is None):
            raise InputError(
                "--mass and --mounting",
                "neither" if self.mass is None else "both",
                "one of the two",
                "for instance --mass 600g",
            )
        if self.mounting is not None and (self.count is not None or self.load is not None):
            raise InputError("--count or --load", "given", "left out with --mounting", "the mounting has its own")

    def payload(self, store: Store) -> tuple[float, int, tuple[float, float]]:
        """The mass that the pairs carry, how many they are, and the load factors."""
        if self.mounting is not None:
            known = store.mounting(self.mounting)
            return max(p.mass_kg for p in known.all_packages), known.count, known.load_factors
        loads = parse_range("-1..3" if self.load is None else self.load, "dimensionless", "--load")
        return needed(str(self.mass), "mass", "--mass"), 4 if self.count is None else self.count, loads


@collects
def squeeze(
    part: Annotated[str, arg("PART", "The part's name; its form is a grommet-pair.")],
    said: SqueezeOptions,
    call: Call,
) -> None:
    """Say how far to turn the screw of a grommet pair.

    The least squeeze at which no half lifts off, the recommended one and the most that the rubber stands, in mm and
    in turns past first touch, with what the mount then does in the cold and in the warmth. With --turns or --squeeze
    also what that squeeze does.
    """
    with call.existing() as store:
        mass_kg, pairs, loads = said.payload(store)
        answer = store.squeeze(
            part,
            mass_kg,
            temperatures([said.temp]),
            count=pairs,
            load_factors=loads,
            turns=said.turns,
            squeeze_mm=quantity(said.squeeze, "length", "--squeeze"),
            assembly_c=needed(said.assembly, "temperature", "--assembly"),
            set_share=needed(said.set, "dimensionless", "--set"),
        )
    content = {key: value for key, value in answer.to_dict().items() if key != "warnings"}
    call.answer(content, lambda: show_squeeze(answer), answer.warnings)


_SAID_OF: Final = {
    "recommended": "Recommended",
    "best of poor choices": "Best of poor choices",
    "asked": "As asked",
    "spacer": "With its spacer",
}


def show_squeeze(answer: Squeeze) -> None:
    """Print the squeezes that matter, what is recommended, why, and what to beware of."""
    low, high = answer.load_factors
    show(
        f"{answer.part}: {mass_text(answer.mass_kg)} on {answer.count} pairs, {low:g} to {high:g} g, screwed together "
        f"at {answer.assembly_c:g} degC; bands hold 95 %; rests on: {answer.basis}"
    )
    screw = f"turns of {answer.thread}" if answer.thread else "turns"
    headers = ["squeeze", "mm", screw, "at degC", "stiffness of one, N/mm", "natural frequency, Hz", "sag, mm"]
    if answer.points:
        block_table([*headers, "strain", "in touch"], map(_block, answer.points), right=(1, 2, 3, 7, 8))
    if answer.point("least") is not None:
        show(
            f"Least squeeze without lift-off {_all(answer.least_mm)} mm, most by strain {_all(answer.most_mm)} mm; the "
            "rows are at their middles. 'In touch' is the probability that no half lifts off at any load factor. Both "
            "count what set and creep will take."
        )
    if answer.recommended_mm is None:
        show()
        sure = "" if answer.best_of_poor_mm is None else " with a probability of at least 50%"
        show(f"Recommended: none; no squeeze holds{sure}.")
    for name, words in _SAID_OF.items():
        point = answer.point(name)
        if point is not None:
            show()
            show(f"{words}: {_verdict(point)}")
    lines("Why:", answer.reasons)
    lines("Before you rely on it:", answer.warnings)


def _block(point: SqueezePoint) -> Iterator[list[str]]:
    """The lines of one squeeze in the table, one for each temperature."""
    turns = "-" if point.turns is None else f"{point.turns:.2f}"
    for k, temperature_c in enumerate(point.temperature_c.tolist()):
        strain = float(point.strain.median[k])
        yield [
            *(["", "", ""] if k else [point.name, f"{point.squeeze_mm:.2f}", turns]),
            given_text(temperature_c),
            band_cell(point.stiffness_n_per_mm, index=k),
            band_cell(point.natural_frequency_hz, index=k),
            band_cell(point.sag_mm, 2, k),
            f"{100.0 * strain:.0f}%" if strain >= 0.0 else "-",
            share_text(float(point.touching[k])),
        ]


def _verdict(point: SqueezePoint) -> str:
    turns = "" if point.turns is None else f", {point.turns:.2f} turns past first touch"
    low = float(point.lift_off_low.median.max())
    high = float(point.lift_off_high.median.min())
    return (
        f"{point.squeeze_mm:.2f} mm{turns} (a spacer of {point.spacer_mm:.2f} mm stops there). It holds throughout "
        f"with a probability of {share_text(point.holds)}; a half lifts off below {number_text(low, 2)} g or above "
        f"{number_text(high, 2)} g."
    )


def _all(found: Band) -> str:
    return f"{found.median:.2f} ({found.low:.2f}-{found.high:.2f})"
