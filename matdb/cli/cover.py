"""``matdb cover``: the fewest parts that hold the window over a season."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

from matdb.advice.cover import Cover
from matdb.cli.cautions import ESTIMATE, FLIGHT
from matdb.cli.mounting_options import MountingOptions
from matdb.cli.options import AxisOption, Question, collects, needed, opt, quantity
from matdb.cli.screen import Column, given_text, lines, number_text, records_table, show
from matdb.cli.suit import BestSqueezeOption, PackageOption, PartsOption, all_warnings, rests_on
from matdb.cli.weather import AirOptions, flight_content, flight_lines, flight_of
from matdb.units import counted


@collects
def cover(
    air: AirOptions,
    share: Annotated[str, opt("--share", "SHARE", "Share of the hours that must be held, such as 95%.")] = "95%",
    most: Annotated[int, opt("--most", "NUMBER", "Largest set to look for, 1 to 8.")] = 4,
    *,
    mounting: MountingOptions,
    package: PackageOption = None,
    part: PartsOption = None,
    axis: AxisOption = "axial",
    squeeze: BestSqueezeOption = None,
    call: Question,
) -> None:
    """Find the fewest parts that hold the window over a season, and the temperatures at which to swap them."""
    wanted_share = needed(share, "dimensionless", "--share")
    flown = flight_of(air)
    with call.existing() as store:
        wanted = mounting.of(store)
        found = store.cover(
            wanted,
            flown,
            share=wanted_share,
            most=most,
            parts=part or None,
            squeeze_mm=quantity(squeeze, "length", "--squeeze"),
            axis=axis,
            package=package,
        )
    warnings = all_warnings(found.members)
    if not found.proven:
        warnings.append("the search was cut short: a smaller or a better set is not excluded")

    def screen() -> None:
        flight_lines(flown)
        show_cover(found, warnings)

    low, high = wanted.window_hz
    content = {
        "mounting": wanted.to_dict(),
        "window_hz": {"low": low, "high": high},
        "air": flight_content(flown),
        "cover": found.to_dict(),
        "cautions": [ESTIMATE, *FLIGHT],
    }
    call.answer(content, screen, warnings)


def show_cover(found: Cover, warnings: Sequence[str]) -> None:
    """Print warnings and cautions first, then the set, the proof and the swaps."""
    lines("Before you rely on it:", warnings)
    lines("Cautions:", [ESTIMATE, *FLIGHT])
    show()
    records_table(
        found.members,
        [
            Column("part", lambda m: str(m.part)),
            Column("squeeze, mm", lambda m: number_text(m.squeeze_mm) if m.squeeze_mm else "-", right=True),
            Column("serves, degC", lambda m: _span(m.low_c, m.high_c)),
            Column(f"of the {found.counted}", lambda m: _percent(m.share_served), right=True),
            Column("alone it would hold", lambda m: _percent(m.share_alone), right=True),
            Column("rests on", rests_on),
        ],
    )
    show()
    records_table(
        found.best_by_size,
        [
            Column("best set of", lambda s: str(s.size), right=True),
            Column("holds", lambda s: _percent(s.share), right=True),
            Column("at most", lambda s: _percent(s.at_most), right=True),
            Column(
                f"adds, {'h' if found.counted == 'hours' else found.counted}",
                lambda s: number_text(s.added_hours),
                right=True,
            ),
            Column("parts", lambda s: ", ".join(s.parts)),
        ],
    )
    show()
    for swap in found.swaps:
        show(
            f"Swap to {swap.colder} when it falls below {given_text(round(swap.down_c, 1))} degC, and back to "
            f"{swap.warmer} when it rises above {given_text(round(swap.up_c, 1))} degC."
        )
    if found.swaps:
        best, real = _percent(found.share), _percent(found.share_with_swaps)
        why = f", not {best}: no swap comes the very moment it would pay, so as not to go to and fro"
        show(
            f"Followed through the record that is {counted(found.swap_count, 'swaps')}, and holds {real}"
            f"{why if best != real else ''}."
        )
    show(f"{found.sentence[0].upper()}{found.sentence[1:]}.")


def _percent(value: float) -> str:
    return f"{100.0 * value:.1f} %"


def _span(low_c: float | None, high_c: float | None) -> str:
    return "-" if low_c is None or high_c is None else f"{given_text(low_c)} to {given_text(high_c)}"
