"""``matdb suit``: which part suits a mounting over a range of temperatures."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Any

import typer

from matdb.cli.options import AxisOption, JsonOption, StoreOption, existing, quantity
from matdb.cli.weather import (
    CarOption,
    FannedOption,
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
    import numpy as np
    from numpy.typing import NDArray

    from matdb.advice.cover import Member
    from matdb.advice.suit import Suitability
    from matdb.api import Store
    from matdb.mounting.record import Mounting

RotorOption = Annotated[
    str | None,
    typer.Option(
        "--rotor",
        metavar="RANGE",
        help="Rotor speed in flight, lowest to highest, such as 4200rpm..8000rpm.",
    ),
]
MassOption = Annotated[str | None, typer.Option("--mass", metavar="MASS", help="Suspended mass, such as 600g.")]
CountOption = Annotated[int | None, typer.Option("--count", metavar="NUMBER", help="Number of isolators.")]
BladesOption = Annotated[int | None, typer.Option("--blades", metavar="NUMBER", help="Blades per rotor; 2 without it.")]
ManoeuvreOption = Annotated[
    str | None,
    typer.Option(
        "--manoeuvre",
        metavar="FREQUENCY",
        help="Top of the band in which the camera must follow the craft, such as 8Hz.",
    ),
]


MountingOption = Annotated[str | None, typer.Option("--mounting", metavar="NAME", help="A mounting of the store.")]
PackageOption = Annotated[
    str | None,
    typer.Option("--package", metavar="NAME", help="Judge this camera package only; all of the mounting's without it."),
]
PartsOption = Annotated[
    list[str] | None,
    typer.Option("--part", metavar="NAME", help="Judge only this part. May be given several times."),
]
SuitSqueezeOption = Annotated[
    str | None,
    typer.Option(
        "--squeeze", metavar="LENGTH", help="Static squeeze of each part, such as 0.5mm; the best without it."
    ),
]


def suit(
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
    car: CarOption = None,
    fanned: FannedOption = False,
    mounting: MountingOption = None,
    mass: MassOption = None,
    count: CountOption = None,
    rotor: RotorOption = None,
    blades: BladesOption = None,
    manoeuvre: ManoeuvreOption = None,
    package: PackageOption = None,
    spectrum: Annotated[
        str | None,
        typer.Option(
            "--spectrum", metavar="FILE", help="What the airframe was measured to do (CSV), for shake in pixels."
        ),
    ] = None,
    part: PartsOption = None,
    axis: AxisOption = "axial",
    squeeze: SuitSqueezeOption = None,
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Rank the parts for a camera over a flight's temperatures, with the probability of each verdict."""
    from pathlib import Path

    from matdb.cli.screen import document

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
        car=car,
        fanned=fanned,
    )
    squeeze_mm = quantity(squeeze, "length", "--squeeze")
    measured = None
    if spectrum is not None:
        from matdb.delimited import file_bytes
        from matdb.mounting.shake import read_spectrum

        measured = read_spectrum(file_bytes(spectrum), Path(spectrum).name)
    with existing(ctx, store) as kept:
        wanted = mounting_given(kept, mounting, mass, count, rotor, blades, manoeuvre)
        ranking = kept.suit(
            wanted, flown, parts=part or None, squeeze_mm=squeeze_mm, axis=axis, package=package, spectrum=measured
        )
    hours = flown.flown.temperature_c
    if as_json:
        content = suit_content(wanted, hours, ranking, axis, squeeze_mm) | {"air": flight_content(flown)}
        document("suit", content, all_warnings(ranking))
        return
    flight_lines(flown)
    show_ranking(wanted, hours, ranking)


def mounting_given(
    kept: Store,
    mounting: str | None,
    mass: str | None,
    count: int | None,
    rotor: str | None,
    blades: int | None,
    manoeuvre: str | None,
) -> Mounting:
    """A mounting of the store, or one from the options. Raises InputError for a mix of both, NotFound."""
    from matdb.errors import InputError

    if mounting is None:
        return mounting_from_options("as given", mass, count, rotor, blades, manoeuvre)
    given = {"--mass": mass, "--count": count, "--rotor": rotor, "--blades": blades, "--manoeuvre": manoeuvre}
    extra = [name for name, value in given.items() if value is not None]
    if extra:
        raise InputError(extra[0], given[extra[0]], "left out with --mounting", "the mounting has its own")
    return kept.mounting(mounting)


def mounting_from_options(
    name: str,
    mass: str | None,
    count: int | None,
    rotor: str | None,
    blades: int | None,
    manoeuvre: str | None,
    **more: Any,
) -> Mounting:
    """A mounting from a command's words. Raises InputError, naming what is missing."""
    from matdb.errors import InputError
    from matdb.mounting.record import Mounting
    from matdb.units import parse, parse_range

    for option, value, example in (
        ("--mass", mass, "600g"),
        ("--count", count, "4"),
        ("--rotor", rotor, "4200rpm..8000rpm"),
    ):
        if value is None:
            raise InputError(option, None, f"given, for instance {option} {example}")
    assert mass is not None
    assert count is not None
    assert rotor is not None
    low, high = parse_range(rotor, "rotor_speed", "--rotor")
    if manoeuvre is not None:
        more["manoeuvre_hz"] = parse(manoeuvre, "frequency", "--manoeuvre")
    if blades is not None:
        more["blades"] = blades
    return Mounting(name=name, mass_kg=parse(mass, "mass", "--mass"), count=count, rpm_idle=low, rpm_full=high, **more)


def window_of(mounting: Mounting) -> tuple[float, float]:
    """The window of natural frequencies that suits a mounting, Hz."""
    return mounting.window_hz


def suit_content(
    mounting: Mounting,
    hours: NDArray[np.float64],
    ranking: Sequence[Suitability],
    axis: str,
    squeeze_mm: float | None,
) -> dict[str, Any]:
    """The ranking in plain values."""
    from matdb.cli.cautions import ESTIMATE, FLIGHT

    low, high = window_of(mounting)
    return {
        "mounting": mounting.to_dict(),
        "temperature_c": {"low": float(hours.min()), "high": float(hours.max())},
        "axis": axis,
        "squeeze_mm_asked": squeeze_mm,
        "lowest_rotor_hz": mounting.lowest_rotor_hz,
        "window_hz": {"low": low, "high": high},
        "ranking": [row.to_dict() for row in ranking],
        "cautions": [ESTIMATE, *FLIGHT],
    }


def rests_on(row: Suitability | Member) -> str:
    """What a row rests on, and whether it reaches beyond that."""
    from matdb.curve.curve import READINGS

    return f"{row.basis}, extrapolated" if row.extrapolated and row.basis == READINGS else row.basis


def all_warnings(rows: Sequence[Suitability | Member]) -> list[str]:
    """Every warning with the parts that it concerns."""
    by_text: dict[str, dict[str, None]] = {}
    for row in rows:
        for text in row.warnings:
            by_text.setdefault(text, {})[row.part] = None
    return [
        text if any(p in text for p in parts) and len(parts) == 1 else f"{', '.join(parts)}: {text}"
        for text, parts in by_text.items()
    ]


def show_ranking(mounting: Mounting, hours: NDArray[np.float64], ranking: Sequence[Suitability]) -> None:
    """Print warnings and cautions first, then the ranked table and the reasons: the answer comes last."""
    from matdb.cli.cautions import ESTIMATE, FLIGHT
    from matdb.cli.screen import given_text, lines, number_text, share_text, show, table
    from matdb.units import counted

    low, high = window_of(mounting)
    cold, warm = float(hours.min()), float(hours.max())
    span = f"{cold:g} to {warm:g} degC" if warm > cold else f"{cold:g} degC"
    show(
        f"{mounting.mass_kg * 1e3:g} g on {counted(mounting.count, 'isolators')}, rotors {mounting.rpm_idle:g} to "
        f"{mounting.rpm_full:g} 1/min, flown at {span}."
    )
    show(
        f"Wanted: a natural frequency of {number_text(low)} to {number_text(high)} Hz, so that the camera follows "
        f"manoeuvres up to {mounting.manoeuvre_hz:g} Hz and is isolated from the lowest rotor order, "
        f"{number_text(mounting.lowest_rotor_hz)} Hz."
    )
    if not ranking:
        show("No part to judge; add one with 'matdb part add'.")
        return
    show()
    lines("Before you rely on it:", all_warnings(ranking))
    lines("Cautions:", [ESTIMATE, *FLIGHT])
    show()
    rows, breaks = [], []
    for row in ranking:
        states = _states(row)
        labels = [row.part, f"{row.verdict} ({share_text(row.probability)})", f"from {rests_on(row)}"]
        if row.squeeze_mm:
            labels.append(f"squeezed {given_text(row.squeeze_mm)} mm")
        for index in range(max(len(labels), len(states))):
            label = labels[index] if index < len(labels) else ""
            told = _state_cells(*states[index]) if index < len(states) else [""] * 5
            rows.append(["" if index else str(row.rank), label, *told])
        breaks.append(len(rows) - 1)
    table(
        [
            "",
            "part, verdict",
            "at degC",
            "natural freq., Hz",
            "damping ratio",
            f"lets through at {number_text(mounting.lowest_rotor_hz)} Hz",
            "inside",
        ],
        rows,
        right=(0,),
        breaks=breaks[:-1],
    )
    show()
    for row in ranking:
        settle = f"; {row.settle}" if row.settle and "settle" not in row.reason else ""
        show(
            f"{row.part}: {row.verdict} ({share_text(row.probability)}): {row.reason}{settle}.",
            indent=f"{row.rank}. ",
        )
        for text in (_margins(row), _six_axes(row), _shake(row)):
            if text:
                show(text, indent="   ")


def _margins(row: Suitability) -> str:
    """Share of the hours and the room on every side, in one line."""

    def signed(value: float | None) -> str:
        return "none needed" if value is None else f"{100.0 * value:+.0f} %"

    told = [f"isolation {signed(row.isolation_margin)}", f"follow {signed(row.follow_margin)}"]
    if row.travel_margin is not None:
        told.append(f"travel {signed(row.travel_margin)}")
    if row.lift_off_margin is not None:
        told.append(f"lift-off {signed(row.lift_off_margin)}")
    told.append(f"service {row.service_margin_k:+.0f} K")
    what = "hours" if row.worst_when else "temperatures"
    what = what.removesuffix("s") if row.hours == 1.0 else what
    held = f"holds {100.0 * row.share_of_temperatures:.1f} % of {row.hours:.6g} {what}"
    return f"{held}; margins: {', '.join(told)}; follow error {100.0 * row.follow_error.median:.0f} % at most"


def _six_axes(row: Suitability) -> str:
    from matdb.cli.screen import number_text, share_text

    six = row.six_axes
    if six is None:
        return ""
    ends = " to ".join(f"{number_text(m.natural_frequency_hz.median)} Hz ({m.word})" for m in (six.lowest, six.highest))
    return f"six axes at {six.temperature_c:g} degC: {ends}; all inside with {share_text(six.inside)}"


def _shake(row: Suitability) -> str:
    from matdb.cli.screen import number_text

    left = row.shake
    if left is None:
        return ""
    text = (
        f"shake left: {_band(left.horizontal_rms_px)} px along the rows, {_band(left.vertical_rms_px)} px across (rms)"
    )
    text += f", most at {number_text(left.worst_hz)} Hz"
    if left.shear_rms_px_per_row is not None:
        text += f"; shear {_band(left.shear_rms_px_per_row, 2)} px per row"
    return text


def _state_cells(label: str, state: Any) -> list[str]:
    from matdb.cli.screen import given_text, share_text

    return [
        f"{given_text(state.temperature_c)} {label}".rstrip(),
        _band(state.natural_frequency_hz),
        _band(state.damping_ratio, 2),
        _band(state.transmissibility, 2),
        share_text(state.probability),
    ]


def _states(row: Suitability) -> list[tuple[str, Any]]:
    """Cold end, warm end and the worst temperature, each once."""
    if row.cold.temperature_c == row.warm.temperature_c:
        return [("", row.cold)]
    states = [("cold", row.cold), ("warm", row.warm)]
    for index, (label, state) in enumerate(states):
        if state.temperature_c == row.worst.temperature_c:
            states[index] = (f"{label}, worst", state)
            return states
    return [*states, ("worst", row.worst)]


def _band(found: Any, digits: int = 3) -> str:
    from matdb.cli.screen import band_text

    return band_text(found.median, found.low, found.high, digits)
