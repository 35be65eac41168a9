"""``matdb suit``: which part suits a mounting over a range of temperatures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Annotated, Any, Final

from matdb.advice.cover import Member
from matdb.advice.suit import State, Suitability
from matdb.advice.summary import how_to_fit, summary, when_it_fails
from matdb.arrays import Array
from matdb.cli.answering import ESTIMATE, FLIGHT, AskedOfParts, before_flight
from matdb.cli.mounting import MountingOptions
from matdb.cli.options import HeldAlike, opt, option, quantity
from matdb.cli.screen import Column, band_cell, given_text, number_text, records_table, share_text, show
from matdb.cli.weather import FlightOptions, flight_content, flight_lines, flight_of
from matdb.delimited import file_bytes
from matdb.errors import InputError
from matdb.fields import low_high
from matdb.mounting.record import Mounting
from matdb.mounting.shake import AirframeSpectrum, read_spectrum
from matdb.units import counted, counted_of

PackageOption = Annotated[
    str | None, opt("--package", "NAME", "Judge this camera package only; all of the mounting's without it.")
]
SpectrumOption = Annotated[
    str | None, opt("--spectrum", "FILE", "What the airframe was measured to do (CSV), for shake in pixels.")
]


def spectrum_of(file: str | None) -> AirframeSpectrum | None:
    """A measured spectrum from the file that was named. Raises InputError, OSError."""
    return None if file is None else read_spectrum(file_bytes(file), Path(file).name)


def suit(
    call: AskedOfParts,
    air: FlightOptions,
    mounting: MountingOptions,
    held: HeldAlike,
    package: PackageOption = None,
    spectrum: SpectrumOption = None,
    deck: str | None = option("LENGTH", "Leave out parts that hold what stands on them higher, such as 12mm."),
) -> None:
    """Rank the parts for a camera over a flight's temperatures, with the probability of each verdict.

    For instance: matdb suit --mounting cam --temp -4C..9C; or with something otherwise: matdb suit --mounting
    cam --mass 700g --temp 5C.
    """
    flown = flight_of(air)
    measured = spectrum_of(spectrum)
    with call.existing() as store:
        wanted, how, hours = mounting.of(store), held.how(store), flown.flown.temperature_c
        ranking = store.suit(wanted, flown, package=package, spectrum=measured, **how)
        ranking, high = _within(ranking, quantity(deck, "length", "--deck"))
        answer = summary(wanted, hours, ranking, flown, mounting.instead)
        if high:
            answer = replace(answer, others=(*answer.others, f"left out, higher than {deck}: {', '.join(high)}"))
        cautions = before_flight(store, answer.warnings, answer.squeeze_mm)
    whys = call.explained([row.part for row in ranking])
    explained = [row for row in ranking if row.part in whys]
    warnings = all_warnings(explained if explained and not call.as_json else ranking)

    def behind() -> None:
        flight_lines(flown)
        show_ranking(wanted, hours, explained)

    content = suit_content(wanted, hours, ranking, how["axis"], how["squeeze_mm"]) | {"air": flight_content(flown)}
    call.tell(answer, content, behind, warnings, how_to_ask="--why PART (or all)", **cautions)


def _within(ranking: Sequence[Suitability], deck_mm: float | None) -> tuple[list[Suitability], list[str]]:
    """The parts within a deck, ranked anew, and the names of the others. Raises InputError where none is within."""
    if deck_mm is None or not ranking:
        return list(ranking), []
    high = [row for row in ranking if (row.cost.deck_mm or 0.0) > deck_mm + 1e-9]
    names, ranks = {row.part for row in high}, [row.rank for row in high]
    kept = (row for row in ranking if row.part not in names)
    within = [replace(row, rank=row.rank - sum(rank < row.rank for rank in ranks)) for row in kept]
    if not within:
        lowest = min(row.cost.deck_mm or 0.0 for row in high)
        raise InputError("--deck", f"{deck_mm:g} mm", f"at least {lowest:.3g} mm, the lowest of these parts")
    return within, [row.part for row in high]


def suit_content(
    mounting: Mounting, hours: Array, ranking: Sequence[Suitability], axis: str, squeeze_mm: float | None
) -> dict[str, Any]:
    """The ranking in plain values."""
    return {
        "mounting": mounting.to_dict(),
        "temperature_c": low_high((float(hours.min()), float(hours.max()))),
        "axis": axis,
        "squeeze_mm_asked": squeeze_mm,
        "lowest_rotor_hz": mounting.lowest_rotor_hz,
        "window_hz": low_high(mounting.window_hz),
        "ranking": [row.to_dict() for row in ranking],
        "cautions": [ESTIMATE, *FLIGHT],
    }


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


def show_ranking(mounting: Mounting, hours: Array, ranking: Sequence[Suitability]) -> None:
    """Print what is behind an answer: what was wanted, warnings, the ranked table and the reasons."""
    low, high = mounting.window_hz
    cold, warm = float(hours.min()), float(hours.max())
    span = f"{cold:g} to {warm:g} degC" if warm > cold else f"{cold:g} degC"
    show(
        f"{mounting.mass_kg * 1e3:g} g on {counted(mounting.count, 'isolators')}, rotors {mounting.rpm_idle:g} to "
        f"{mounting.rpm_full:g} 1/min, flown at {span}."
    )
    show(
        f"Wanted: a natural frequency of {number_text(low)} to {number_text(high)} Hz, so that the camera follows "
        f"manoeuvres up to {mounting.manoeuvre_hz:g} Hz and is isolated from the lowest rotor order, "
        f"{number_text(mounting.lowest_rotor_hz)} Hz. That is without damping, which lets more through: verdicts "
        "count it."
    )
    through = Column(
        f"lets through at {number_text(mounting.lowest_rotor_hz)} Hz", lambda at: band_cell(at[1].transmissibility, 2)
    )
    for row in ranking:
        how = how_to_fit(row.squeeze_mm, row.turns, row.spacer_mm)
        how += "" if row.spacer_mm is None else "; told as freshly screwed: 'matdb squeeze' counts set and creep"
        share = counted_of(row.share_of_temperatures, row.hours, "hours" if row.worst_when else "temperatures")
        settle = f"; to settle it, take {row.settle}" if row.settle else ""
        show()
        verdict = f"{row.part}: {row.verdict} ({share_text(row.probability)}): {row.reason}{settle}."
        show(verdict, indent=f"{row.rank}. ")
        for text in (
            how,
            str(row.cost),
            row.rests_on,
            f"holds {share}",
            when_it_fails(row),
            _six_axes(row),
            shake_left(row),
        ):
            if text:
                show(text, indent="   ")
        pixels = any(need.pixels is not None for need in row.requirements)
        records_table(row.requirements, [*REQUIREMENTS, *([_PIXELS] if pixels else [])])
        records_table(_states(row), [*_STATES, through])


REQUIREMENTS: Final = (
    Column("asked", lambda need: str(need.name)),
    Column("holds", lambda need: share_text(need.probability), right=True),
    Column(
        "room to the limit", lambda need: "far" if need.margin > 50.0 else f"{100.0 * need.margin:+.0f} %", right=True
    ),
    Column("least at degC", lambda need: given_text(need.temperature_c), right=True),
)
_PIXELS: Final = Column(
    "px rms (allowed)",
    lambda need: "" if need.pixels is None else f"{need.pixels:.2g} ({need.pixels_most:.2g})",
    right=True,
)
_STATES: Final = (
    Column("at degC", lambda at: f"{given_text(at[1].temperature_c)} {at[0]}"),
    Column("natural freq., Hz", lambda at: band_cell(at[1].natural_frequency_hz)),
    Column("damping ratio", lambda at: band_cell(at[1].damping_ratio, 2)),
    Column("holds", lambda at: share_text(at[1].probability), right=True),
)


def _six_axes(row: Suitability) -> str:
    six = row.six_axes
    if six is None:
        return ""
    ends = " to ".join(f"{number_text(m.natural_frequency_hz.median)} Hz ({m.word})" for m in (six.lowest, six.highest))
    return f"six axes at {six.temperature_c:g} degC: {ends}"


def shake_left(row: Suitability) -> str:
    """What is left of the airframe's measured motion in the picture; empty where that is not known."""
    left = row.shake
    if left is None:
        return ""
    along, across = band_cell(left.horizontal_rms_px), band_cell(left.vertical_rms_px)
    text = f"shake left: {along} px along the rows, {across} px across (rms), most at {number_text(left.worst_hz)} Hz"
    if left.shear_rms_px_per_row is not None:
        text += f"; shear {band_cell(left.shear_rms_px_per_row, 2)} px per row"
    return text


def _states(row: Suitability) -> list[tuple[str, State]]:
    """Cold end, warm end and the worst temperature, each once."""
    names: dict[float, str] = {}
    for name in ("cold", "warm", "worst"):
        at = getattr(row, name).temperature_c
        names[at] = f"{names[at]}, {name}" if at in names else name
    return [(label, getattr(row, label.rpartition(" ")[2])) for label in names.values()]
