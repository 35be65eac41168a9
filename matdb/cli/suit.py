"""``matdb suit``: which part suits a mounting over a range of temperatures."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Any

import typer

from matdb.cli.options import AxisOption, JsonOption, StoreOption, is_range, opened, quantity

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from matdb.advice.suit import Suitability
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


def suit(
    ctx: typer.Context,
    temp: Annotated[
        str,
        typer.Option(
            "--temp", metavar="RANGE", help="Temperatures of the flight, such as -10C..25C, or one such as -5C."
        ),
    ],
    mounting: Annotated[str | None, typer.Option("--mounting", metavar="NAME", help="A mounting of the store.")] = None,
    mass: MassOption = None,
    count: CountOption = None,
    rotor: RotorOption = None,
    blades: BladesOption = None,
    manoeuvre: ManoeuvreOption = None,
    part: Annotated[
        list[str] | None,
        typer.Option("--part", metavar="NAME", help="Judge only this part. May be given several times."),
    ] = None,
    axis: AxisOption = "axial",
    squeeze: Annotated[
        str | None,
        typer.Option(
            "--squeeze", metavar="LENGTH", help="Static squeeze of each part, such as 0.5mm; the best without it."
        ),
    ] = None,
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Rank the parts for a camera over a range of temperatures, with the probability of each verdict."""
    from matdb.cli.screen import document
    from matdb.errors import InputError

    hours = flight_temperatures(temp)
    squeeze_mm = quantity(squeeze, "length", "--squeeze")
    given = {"--mass": mass, "--count": count, "--rotor": rotor, "--blades": blades, "--manoeuvre": manoeuvre}
    with opened(ctx, store) as kept:
        if mounting is not None:
            extra = [name for name, value in given.items() if value is not None]
            if extra:
                raise InputError(extra[0], given[extra[0]], "left out with --mounting", "the mounting has its own")
            wanted = kept.mounting(mounting)
        else:
            wanted = mounting_from_options("as given", mass, count, rotor, blades, manoeuvre)
        ranking = kept.suit(wanted, hours, parts=part or None, squeeze_mm=squeeze_mm, axis=axis)
    if as_json:
        document("suit", suit_content(wanted, hours, ranking, axis, squeeze_mm), all_warnings(ranking))
        return
    show_ranking(wanted, hours, ranking)


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


def flight_temperatures(text: str) -> NDArray[np.float64]:
    """Temperatures over a flight's range, in steps of 1 K. Raises InputError."""
    from matdb.advice.suit import temperatures_between
    from matdb.units import parse, parse_range

    if is_range(text):
        return temperatures_between(*parse_range(text, "temperature", "--temp"))
    one = parse(text, "temperature", "--temp")
    return temperatures_between(one, one)


def window_of(mounting: Mounting) -> tuple[float, float]:
    """The window of natural frequencies that suits a mounting, Hz."""
    from matdb.mounting.one_axis import window_limits

    low, high = window_limits(mounting.lowest_rotor_hz, mounting.manoeuvre_hz)
    return float(low), float(high)


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


def all_warnings(ranking: Sequence[Suitability]) -> list[str]:
    """Every warning with the parts that it concerns."""
    by_text: dict[str, list[str]] = {}
    for row in ranking:
        for text in row.warnings:
            by_text.setdefault(text, []).append(row.part)
    return [
        text if any(p in text for p in parts) and len(parts) == 1 else f"{', '.join(parts)}: {text}"
        for text, parts in by_text.items()
    ]


def show_ranking(mounting: Mounting, hours: NDArray[np.float64], ranking: Sequence[Suitability]) -> None:
    """Print warnings and cautions first, then the ranked table and the reasons: the answer comes last."""
    from matdb.cli.cautions import ESTIMATE, FLIGHT
    from matdb.cli.screen import given_text, lines, number_text, share_text, show, table

    low, high = window_of(mounting)
    cold, warm = float(hours.min()), float(hours.max())
    span = f"{cold:g} to {warm:g} degC" if warm > cold else f"{cold:g} degC"
    show(
        f"{mounting.mass_kg * 1e3:g} g on {mounting.count} isolators, rotors {mounting.rpm_idle:g} to "
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
        labels = [row.part, f"{row.verdict} ({share_text(row.probability)})", f"from {row.basis}"]
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
