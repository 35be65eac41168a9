"""``matdb cover``: the fewest parts that hold the window over a season."""

from __future__ import annotations

from matdb.advice.cover import Cover, Member
from matdb.advice.exposure import Flight
from matdb.advice.summary import SAID, Answer, assumed, rest_matters, short, up_and_down, when_it_fails
from matdb.cli.answering import ESTIMATE, FLIGHT, AskedNow, before_flight
from matdb.cli.mounting import MountingOptions
from matdb.cli.options import HeldAlike, option
from matdb.cli.screen import Column, given_text, number_text, records_table, show
from matdb.cli.suit import PackageOption, all_warnings
from matdb.cli.weather import AirOptions, flight_content, flight_lines, flight_of
from matdb.fields import low_high
from matdb.units import parse, percent


def cover(
    call: AskedNow,
    air: AirOptions,
    mounting: MountingOptions,
    held: HeldAlike,
    share: str = option("SHARE", "Share of the hours that must be held, such as 95%.", "95%"),
    most: int = option("NUMBER", "Largest set to look for, 1 to 8.", 4),
    package: PackageOption = None,
) -> None:
    """Find the fewest parts that hold the window over a season, and the temperatures at which to swap them.

    For instance: matdb cover --mounting cam --monthly months.csv; or --temp -12C..33C.
    """
    wanted_share, flown = parse(share, "dimensionless", "--share"), flight_of(air)
    with call.existing() as store:
        wanted = mounting.of(store)
        found = store.cover(wanted, flown, share=wanted_share, most=most, package=package, **held.how(store))
        rests = [(m, store.current_curve(m.material).rests_on(m.part, *_used_at(m, flown))) for m in found.members]
        warnings = all_warnings(found.members)
        if not found.proven:
            warnings.append("the search was cut short: a smaller or a better set is not excluded")
        cautions = before_flight(store, warnings, max((m.squeeze_mm for m in found.members), default=0.0))

    def behind() -> None:
        flight_lines(flown)
        show_cover(found)

    content = {
        "mounting": wanted.to_dict(),
        "window_hz": low_high(wanted.window_hz),
        "air": flight_content(flown),
        "cover": found.to_dict(),
        "cautions": [ESTIMATE, *FLIGHT],
    }
    told = [
        *cover_lines(found),
        *(
            f"{_member(m)}: {percent(m.probability)} sure to hold at all of its {found.counted}; {text}."
            for m, text in rests
        ),
        rest_matters(warnings),
        "" if wanted.has_six_axes else up_and_down(wanted),
        f"Assumed: {f'{mounting.instead}, ' if mounting.instead else ''}{', '.join(assumed(wanted))}.",
        f"Air: {'; '.join(found.notes)}." if found.notes else "",
    ]
    said = tuple(f"{m.part}: {text}" for m in found.members for text in SAID)
    call.tell(Answer(lines=short(told, warnings, said)), content, behind, warnings, **cautions)


def _used_at(member: Member, flown: Flight) -> tuple[float, float]:
    """The temperatures that a part serves, or all where the others need no help."""
    low = flown.flown.low_c if member.low_c is None else member.low_c
    return low, flown.flown.high_c if member.high_c is None else member.high_c


def cover_lines(found: Cover) -> list[str]:
    """Whether one part does it, when to swap, and what is missing: hours held, swaps followed."""
    n, best = len(found.members), found.best_by_size
    held = found.held(found.share_with_swaps)
    if found.reached:
        one = f"One part does it: {best[0].parts[0]}, holds an expected {held}"
        first = f"No single part: {n} parts hold an expected {held}" if n > 1 else one
    else:
        most = f"no single part and no set of up to {len(best)} parts" if len(best) > 1 else "no single part"
        what = f"{n} of them" if n > 1 else best[0].parts[0]
        wanted = f"{_count(found.wanted, found)} are wanted"
        first = f"{most[0].upper()}{most[1:]} does it: the best, {what}, holds an expected {held}; {wanted}"
    swaps = [
        f"Swap to {swap.colder} when it falls below {given_text(round(swap.down_c, 1))} degC, and back to "
        f"{swap.warmer} when it rises above {given_text(round(swap.up_c, 1))} degC."
        for swap in found.swaps
    ]
    alone = [f"Alone the best would hold {found.held(best[0].share)}."] if n > 1 else []
    more = best[n].added_hours if len(best) > n else 0.0
    alone += [f"One part more would add {_count(more / found.hours, found)} {found.counted}."] if more >= 0.5 else []
    at = " and ".join(f"{_span(*ends)} degC" for ends in found.fails_c)
    nowhere = "" if found.reached else "at any one temperature it more likely holds than not"
    fails = when_it_fails(found, f" at {at}" if at else "") or nowhere
    return [f"{first}.", *([f"{fails[0].upper()}{fails[1:]}."] if fails else []), *swaps, *alone]


def show_cover(found: Cover) -> None:
    """Print the set, the proof, and how the swaps go."""
    records_table(
        found.members,
        [
            Column("part", lambda m: str(m.part)),
            Column("squeeze, mm", lambda m: number_text(m.squeeze_mm) if m.squeeze_mm else "-", right=True),
            Column("serves, degC", lambda m: _span(m.low_c, m.high_c)),
            Column(f"serves, {found.counted}", lambda m: _count(m.share_served, found), right=True),
            Column("sure to hold there", lambda m: percent(m.probability), right=True),
            Column(f"alone it would hold, {found.counted}", lambda m: _count(m.share_alone, found), right=True),
        ],
    )
    show()
    records_table(
        found.best_by_size,
        [
            Column("best set of", lambda s: str(s.size), right=True),
            Column(f"holds, {found.counted}", lambda s: _count(s.share, found), right=True),
            Column("at most", lambda s: _count(s.at_most, found), right=True),
            Column(f"{found.counted} more", lambda s: number_text(s.added_hours), right=True),
            Column("parts", lambda s: ", ".join(s.parts)),
        ],
    )
    show()
    show(
        f"{found.counted.capitalize()} are those to expect, each counted by how sure what is fitted then is to hold. "
        "The table takes the best part of a set at each; followed through the record, no swap comes the very moment "
        "it would pay."
    )
    show(f"{found.sentence[0].upper()}{found.sentence[1:]}.")


def _count(share: float, found: Cover) -> str:
    return found.held(share).partition(" of ")[0]


def _member(each: Member) -> str:
    squeezed = f" squeezed {each.squeeze_mm:.3g} mm" if each.squeeze_mm else ""
    at = f" at {_span(each.low_c, each.high_c)} degC" if each.share_served < 0.9999 and each.low_c is not None else ""
    return f"{each.part}{squeezed}{at}"


def _span(low_c: float | None, high_c: float | None) -> str:
    if low_c is None or high_c is None:
        return "-"
    low, high = (given_text(round(end, 1)) for end in (low_c, high_c))
    return low if low == high else f"{low} to {high}"
