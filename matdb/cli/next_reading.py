"""``matdb next``: which reading to take next, for a part or for choosing an isolator."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Any

import typer

from matdb.cli.options import (
    AxisOption,
    JsonOption,
    SqueezeOption,
    StoreOption,
    existing,
    is_range,
    needed,
    quantity,
)

if TYPE_CHECKING:
    from matdb.curve.next_reading import Affordable, NextReading

#: A reading that narrows by this share of what the best one does is nearly as good.
_NEARLY = 0.95


def next_reading(
    ctx: typer.Context,
    temp: Annotated[
        str,
        typer.Option(
            "--temp", metavar="RANGE", help="The temperatures that matter, such as -10C..25C, or one such as -5C."
        ),
    ],
    part: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[PART]...", help="The part; with --mounting one or several, or none for those still open."
        ),
    ] = None,
    mass: Annotated[
        str | None,
        typer.Option("--mass", metavar="MASS", help="Ask at the natural frequency under this mass, such as 250g."),
    ] = None,
    count: Annotated[
        int | None, typer.Option("--count", metavar="NUMBER", help="How many parts share the mass; 1 without it.")
    ] = None,
    frequency: Annotated[
        str | None,
        typer.Option("--frequency", metavar="FREQUENCY", help="Ask at this frequency; 30Hz without it and a mass."),
    ] = None,
    mounting: Annotated[
        str | None,
        typer.Option("--mounting", metavar="NAME", help="Ask for this mounting: its mass and count, on its parts."),
    ] = None,
    masses: Annotated[
        str | None,
        typer.Option("--masses", metavar="MASSES", help="Masses at hand, such as 100g,250g; usual ones without it."),
    ] = None,
    temps: Annotated[
        str | None,
        typer.Option(
            "--temps",
            metavar="TEMPERATURES",
            help="Temperatures that you can hold, such as -18C,5C,23C; freezer, refrigerator, room and oven "
            "without it.",
        ),
    ] = None,
    kinds: Annotated[
        str | None,
        typer.Option(
            "--kinds", metavar="KINDS", help="Kinds of reading that you can take: ring-down, deflection or both."
        ),
    ] = None,
    top: Annotated[int, typer.Option("--top", min=1, metavar="NUMBER", help="How many readings to list.")] = 6,
    axis: AxisOption = "axial",
    squeeze: SqueezeOption = "0mm",
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Rank the readings to take next.

    By how much each is expected to narrow the stiffness band over the temperatures that matter: for one part, or for
    choosing an isolator for a mounting. Nothing is written.
    """
    from matdb.cli.screen import document, lines, progress, show
    from matdb.curve.next_reading import MINUTES_HOLD, without_near_duplicates
    from matdb.errors import InputError
    from matdb.units import parse, parse_range

    low, high = (
        parse_range(temp, "temperature", "--temp") if is_range(temp) else (parse(temp, "temperature", "--temp"),) * 2
    )
    able = _affordable(masses, temps, kinds)
    squeeze_mm = needed(squeeze, "length", "--squeeze")
    parts = part or []
    if mass is not None and frequency is not None:
        raise InputError("--frequency and --mass", "both", "one of the two")
    if mounting is None:
        if len(parts) != 1:
            raise InputError("PART", ", ".join(parts) or None, "one part, or any number with --mounting")
        if count is not None and mass is None:
            raise InputError("--count", count, "given with --mass")
    else:
        given = {"--mass": mass, "--count": count, "--frequency": frequency}
        extra = [name for name, value in given.items() if value is not None]
        if extra:
            raise InputError(extra[0], given[extra[0]], "left out with --mounting", "the mounting has its own")
        if squeeze_mm:
            raise InputError("--squeeze", squeeze, "left out with --mounting", "ask for one part instead")
    with existing(ctx, store) as kept, progress("next reading") as update:
        if mounting is not None:
            ranking = kept.next_readings_for(
                mounting, low, high, parts=parts or None, affordable=able, axis=axis, progress=update
            )
        else:
            ranking = kept.next_readings(
                parts[0],
                low,
                high,
                mass_kg=quantity(mass, "mass", "--mass"),
                count=1 if count is None else count,
                frequency_hz=quantity(frequency, "frequency", "--frequency"),
                affordable=able,
                axis=axis,
                squeeze_mm=squeeze_mm,
            )
        looked_at = list(dict.fromkeys(each.part for each in ranking)) or parts
    shown = without_near_duplicates(ranking)[:top]
    worth = any(each.worth_taking for each in ranking)
    warnings = [] if ranking else ["no affordable reading is sensible here: try other masses or temperatures"]
    if as_json:
        rows = [{"rank": k} | each.to_dict() for k, each in enumerate(shown, 1)]
        quick = _quick(ranking) if worth else None
        if ranking and not worth:
            warnings.append(_not_worth(shown[0]))
        content: dict[str, Any] = {"parts": looked_at, "mounting": mounting, "axis": axis, "from_c": low, "to_c": high}
        document(
            "next",
            content
            | {
                "candidates": len(ranking),
                "worth_it": worth,
                "minutes_hold": MINUTES_HOLD,
                "readings": rows,
                "quicker": quick and quick.to_dict(),
            },
            warnings,
        )
        return
    if shown:
        _show(shown, low, high, mounting, len(looked_at) > 1)
        _cautions(shown)
    lines("Before you rely on it:", warnings)
    if shown and not worth:
        show()
        text = _not_worth(shown[0])
        show(f"{text[0].upper()}{text[1:]}.")
    elif shown:
        best, quick = shown[0], _quick(ranking)
        show()
        show(f"Take next: {_in_words(best)}; log it with 'matdb reading add {best.kind}', then 'matdb fit'.")
        if quick is not None:
            show(f"Nearly as good and quicker: {_in_words(quick)}.")


def _affordable(masses: str | None, temps: str | None, kinds: str | None) -> Affordable:
    from matdb.curve.next_reading import Affordable
    from matdb.units import parse

    given: dict[str, Any] = {}
    if masses is not None:
        given["masses_kg"] = tuple(parse(m, "mass", "--masses") for m in _pieces(masses))
    if temps is not None:
        given["temperatures_c"] = tuple(parse(t, "temperature", "--temps") for t in _pieces(temps))
    if kinds is not None:
        given["kinds"] = ("ring-down", "deflection") if kinds.strip() == "both" else tuple(_pieces(kinds))
    return Affordable(**given)


def _pieces(text: str) -> list[str]:
    return [piece.strip() for piece in text.split(",")]


def _show(shown: Sequence[NextReading], low: float, high: float, mounting: str | None, with_part: bool) -> None:
    from matdb.cli.screen import given_text, show, table
    from matdb.curve.next_reading import MINUTES_HOLD

    over = f"at {low:g} degC" if low == high else f"from {low:g} to {high:g} degC"
    what = f"for {mounting}" if mounting else f"of {shown[0].part}"
    show(f"Readings that narrow the stiffness band {what} {over}, best first; bands hold 95 %.")
    table(
        [
            "",
            *(["part"] if with_part else []),
            "reading",
            "at degC",
            "mass",
            "high/low now",
            "then",
            f"N/mm at {low:g} degC now",
            "then",
            "minutes",
        ],
        [
            [
                str(k),
                *([each.part] if with_part else []),
                each.kind,
                given_text(each.temperature_c),
                _mass(each),
                _factor(each.width_before),
                _factor(each.width_after),
                _first(each.band_before),
                _first(each.band_after),
                f"{each.minutes:.0f}",
            ]
            for k, each in enumerate(shown, 1)
        ],
        right=tuple(k + with_part for k in (2, 4, 5, 8)),
    )
    show(f"Minutes are for {MINUTES_HOLD}.")
    for k, each in enumerate(shown[:3], 1):
        show(f"{k}. {each.why}.")


def _cautions(shown: Sequence[NextReading]) -> None:
    from matdb.cli.cautions import BENCH
    from matdb.cli.screen import lines

    away = any(not 10.0 <= each.temperature_c <= 35.0 for each in shown)
    lines("Cautions:", BENCH if away else BENCH[1:])


def _quick(ranking: Sequence[NextReading]) -> NextReading | None:
    """The quickest of those that narrow nearly as much as the best, if it takes at most half as long."""
    best = ranking[0]
    least = best.width_before - _NEARLY * (best.width_before - best.width_after)
    good = [each for each in ranking if each.part == best.part and each.width_after <= least]
    quick = min(good, key=lambda each: (each.minutes, each.width_after))
    return quick if quick.minutes <= 0.5 * best.minutes else None


def _in_words(each: NextReading) -> str:
    where = f"on {each.part} at {each.temperature_c:g} degC with {_mass(each)}"
    return f"a {each.kind} {where}, about {each.minutes:.0f} minutes with soaking"


def _not_worth(best: NextReading) -> str:
    gain = f"{100.0 * best.narrowing:.1f} %" if best.narrowing >= 0.001 else "nothing"
    return f"no further reading is worth it: even the best, {_in_words(best)}, is expected to narrow the band by {gain}"


def mass_text(mass_kg: float) -> str:
    """A mass in the unit that suits it."""
    return f"{1e3 * mass_kg:.4g} g" if mass_kg < 1.0 else f"{mass_kg:.4g} kg"


def _mass(each: NextReading) -> str:
    text = mass_text(each.mass_kg)
    return text if each.count == 1 else f"{text} on {each.count}"


def _factor(width: float) -> str:
    import math

    from matdb.cli.screen import number_text

    return number_text(math.exp(width)) if width < math.log(1000.0) else "above 1000"


def _first(found: Any) -> str:
    """The band at the lowest temperature asked about."""
    import numpy as np

    from matdb.cli.screen import band_text

    median, low, high = (float(np.asarray(v).reshape(-1)[0]) for v in (found.median, found.low, found.high))
    return band_text(median, low, high)
