"""``matdb cover``: the fewest parts that hold the window over a season."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from matdb.cli.options import AxisOption, JsonOption, StoreOption, existing, needed, quantity
from matdb.cli.suit import (
    BladesOption,
    CountOption,
    ManoeuvreOption,
    MassOption,
    MountingOption,
    PackageOption,
    PartsOption,
    RotorOption,
    SuitSqueezeOption,
    all_warnings,
    mounting_given,
    rests_on,
    window_of,
)
from matdb.cli.weather import (
    ForecastAltitudeOption,
    ForecastOption,
    MetarOption,
    MonthlyOption,
    SiteAltitudeOption,
    TafOption,
    TakeOffOption,
    TempOption,
    UnitOption,
    flight_content,
    flight_from_options,
    flight_lines,
)

if TYPE_CHECKING:
    from matdb.advice.cover import Cover


def cover(
    ctx: typer.Context,
    temp: TempOption = None,
    forecast: ForecastOption = None,
    monthly: MonthlyOption = None,
    metar: MetarOption = None,
    taf: TafOption = None,
    unit: UnitOption = None,
    forecast_altitude: ForecastAltitudeOption = None,
    site_altitude: SiteAltitudeOption = None,
    take_off: TakeOffOption = None,
    share: Annotated[
        str, typer.Option("--share", metavar="SHARE", help="Share of the hours that must be held, such as 95%.")
    ] = "95%",
    most: Annotated[int, typer.Option("--most", metavar="NUMBER", help="Largest set to look for, 1 to 8.")] = 4,
    mounting: MountingOption = None,
    mass: MassOption = None,
    count: CountOption = None,
    rotor: RotorOption = None,
    blades: BladesOption = None,
    manoeuvre: ManoeuvreOption = None,
    package: PackageOption = None,
    part: PartsOption = None,
    axis: AxisOption = "axial",
    squeeze: SuitSqueezeOption = None,
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Find the fewest parts that hold the window over a season, and the temperatures at which to swap them."""
    from matdb.cli.cautions import ESTIMATE, FLIGHT
    from matdb.cli.screen import document

    wanted_share = needed(share, "dimensionless", "--share")
    flown = flight_from_options(
        temp=temp,
        forecast=forecast,
        monthly=monthly,
        metar=metar,
        taf=taf,
        unit=unit,
        forecast_altitude=forecast_altitude,
        site_altitude=site_altitude,
        take_off=take_off,
    )
    with existing(ctx, store) as kept:
        wanted = mounting_given(kept, mounting, mass, count, rotor, blades, manoeuvre)
        found = kept.cover(
            wanted,
            flown,
            share=wanted_share,
            most=most,
            parts=part or None,
            squeeze_mm=quantity(squeeze, "length", "--squeeze"),
            axis=axis,
            package=package,
        )
    warnings = _warnings(found)
    if as_json:
        low, high = window_of(wanted)
        content = {
            "mounting": wanted.to_dict(),
            "window_hz": {"low": low, "high": high},
            "air": flight_content(flown),
            "cover": found.to_dict(),
            "cautions": [ESTIMATE, *FLIGHT],
        }
        document("cover", content, warnings)
        return
    flight_lines(flown)
    _show(found, warnings)


def _warnings(found: Cover) -> list[str]:
    said = all_warnings(found.members)
    if not found.proven:
        said.append("the search was cut short: a smaller or a better set is not excluded")
    return said


def _show(found: Cover, warnings: list[str]) -> None:
    from matdb.cli.cautions import ESTIMATE, FLIGHT
    from matdb.cli.screen import given_text, lines, number_text, show, table
    from matdb.units import counted

    def percent(value: float) -> str:
        return f"{100.0 * value:.1f} %"

    lines("Before you rely on it:", warnings)
    lines("Cautions:", [ESTIMATE, *FLIGHT])
    show()
    rows: list[list[Any]] = [
        [
            m.part,
            "-" if not m.squeeze_mm else number_text(m.squeeze_mm),
            "-" if m.low_c is None or m.high_c is None else f"{given_text(m.low_c)} to {given_text(m.high_c)}",
            percent(m.share_served),
            percent(m.share_alone),
            rests_on(m),
        ]
        for m in found.members
    ]
    table(
        ["part", "squeeze, mm", "serves, degC", f"of the {found.counted}", "alone it would hold", "rests on"],
        rows,
        right=(1, 3, 4),
    )
    show()
    table(
        ["best set of", "holds", "at most", f"adds, {'h' if found.counted == 'hours' else found.counted}", "parts"],
        [
            [str(s.size), percent(s.share), percent(s.at_most), number_text(s.added_hours), ", ".join(s.parts)]
            for s in found.best_by_size
        ],
        right=(0, 1, 2, 3),
    )
    show()
    for swap in found.swaps:
        show(
            f"Swap to {swap.colder} when it falls below {given_text(round(swap.down_c, 1))} degC, and back to "
            f"{swap.warmer} when it rises above {given_text(round(swap.up_c, 1))} degC."
        )
    if found.swaps:
        best, real = percent(found.share), percent(found.share_with_swaps)
        why = (
            f", not {best}: no swap comes the very moment it would pay, so as not to go to and fro"
            if best != real
            else ""
        )
        show(f"Followed through the record that is {counted(found.swap_count, 'swaps')}, and holds {real}{why}.")
    show(f"{found.sentence[0].upper()}{found.sentence[1:]}.")
