"""``matdb squeeze``: how far to turn the screw of a two-part grommet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from matdb.cli.options import JsonOption, StoreOption, existing, needed, quantity, temperatures

if TYPE_CHECKING:
    from matdb.advice.squeeze import Squeeze, SqueezePoint


def squeeze(
    ctx: typer.Context,
    part: Annotated[str, typer.Argument(metavar="PART", help="The part's name; its form is a grommet-pair.")],
    temp: Annotated[
        str,
        typer.Option(
            "--temp", metavar="RANGE", help="Temperatures of the flight, such as -10C..25C, or one such as -5C."
        ),
    ],
    mass: Annotated[
        str | None, typer.Option("--mass", metavar="MASS", help="Payload on all pairs together, such as 600g.")
    ] = None,
    count: Annotated[
        int | None, typer.Option("--count", metavar="NUMBER", help="How many pairs share it; 4 without it.")
    ] = None,
    mounting: Annotated[
        str | None,
        typer.Option("--mounting", metavar="NAME", help="Take payload, count and load factors from this mounting."),
    ] = None,
    load: Annotated[
        str | None,
        typer.Option(
            "--load",
            metavar="RANGE",
            help="Lowest to highest load factor in units of weight; -1..3 without it.",
        ),
    ] = None,
    turns: Annotated[
        float | None,
        typer.Option("--turns", metavar="NUMBER", help="Look at this many turns past first touch, such as 1.5."),
    ] = None,
    squeeze: Annotated[
        str | None,
        typer.Option("--squeeze", metavar="LENGTH", help="Look at this squeeze past first touch, such as 0.75mm."),
    ] = None,
    assembly: Annotated[
        str,
        typer.Option("--assembly", metavar="TEMPERATURE", help="Temperature at which the screw is turned."),
    ] = "23C",
    set_share: Annotated[
        str,
        typer.Option("--set", metavar="SHARE", help="Share of the squeeze that compression set and creep will take."),
    ] = "15%",
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say how far to turn the screw of a grommet pair.

    The least squeeze at which no half lifts off, the recommended one and the most that the rubber stands, in mm and
    in turns past first touch, with what the mount then does in the cold and in the warmth. With --turns or --squeeze
    also what that squeeze does.
    """
    from matdb.cli.screen import document
    from matdb.errors import InputError

    if (mounting is None) == (mass is None):
        raise InputError(
            "--mass and --mounting", "neither" if mass is None else "both", "one of the two", "for instance --mass 600g"
        )
    if mounting is not None and (count is not None or load is not None):
        raise InputError("--count or --load", "given", "left out with --mounting", "the mounting has its own")
    with existing(ctx, store) as kept:
        if mounting is not None:
            known = kept.mounting(mounting)
            mass_kg, pairs, loads = max(p.mass_kg for p in known.all_packages), known.count, known.load_factors
        else:
            assert mass is not None
            mass_kg, pairs = needed(mass, "mass", "--mass"), 4 if count is None else count
            loads = _loads("-1..3" if load is None else load)
        answer = kept.squeeze(
            part,
            mass_kg,
            temperatures([temp]),
            count=pairs,
            load_factors=loads,
            turns=turns,
            squeeze_mm=quantity(squeeze, "length", "--squeeze"),
            assembly_c=needed(assembly, "temperature", "--assembly"),
            set_share=needed(set_share, "dimensionless", "--set"),
        )
    if as_json:
        content = answer.to_dict()
        warnings = content.pop("warnings")
        document("squeeze", content, warnings)
        return
    _show(answer)


def _loads(text: str) -> tuple[float, float]:
    from matdb.units import parse_range

    return parse_range(text, "dimensionless", "--load")


def _show(answer: Squeeze) -> None:
    from matdb.cli.next_reading import mass_text
    from matdb.cli.screen import given_text, lines, number_text, share_text, show, table

    low, high = answer.load_factors
    show(
        f"{answer.part}: {mass_text(answer.mass_kg)} on {answer.count} pairs, {low:g} to {high:g} g, screwed together "
        f"at {answer.assembly_c:g} degC; bands hold 95 %; rests on: {answer.basis}"
    )
    screw = f"turns of {answer.thread}" if answer.thread else "turns"
    rows, breaks = [], []
    for point in answer.points:
        for k, t in enumerate(point.temperature_c.tolist()):
            first = k == 0
            rows.append(
                [
                    point.name if first else "",
                    f"{point.squeeze_mm:.2f}" if first else "",
                    ("-" if point.turns is None else f"{point.turns:.2f}") if first else "",
                    given_text(t),
                    _band(point.stiffness_n_per_mm, k),
                    _band(point.natural_frequency_hz, k),
                    _band(point.sag_mm, k, 2),
                    f"{100.0 * float(point.strain.median[k]):.0f}%" if point.strain.median[k] >= 0.0 else "-",
                    share_text(float(point.touching[k])),
                ]
            )
        breaks.append(len(rows) - 1)
    if rows:
        table(
            [
                "squeeze",
                "mm",
                screw,
                "at degC",
                "stiffness of one, N/mm",
                "natural frequency, Hz",
                "sag, mm",
                "strain",
                "in touch",
            ],
            rows,
            right=(1, 2, 3, 7, 8),
            breaks=breaks[:-1],
        )
    if answer.point("least") is not None:
        show(
            f"Least squeeze without lift-off {_all(answer.least_mm)} mm, most by strain {_all(answer.most_mm)} mm; the "
            "rows are at their middles. 'In touch' is the probability that no half lifts off at any load factor. Both "
            "count what set and creep will take."
        )
    if answer.recommended_mm is None:
        show()
        show(
            "Recommended: none; no squeeze holds."
            if answer.best_of_poor_mm is None
            else "Recommended: none; no squeeze holds with a probability of at least 50%."
        )
    for name, words in (
        ("recommended", "Recommended"),
        ("best of poor choices", "Best of poor choices"),
        ("asked", "As asked"),
        ("spacer", "With its spacer"),
    ):
        told = answer.point(name)
        if told is not None:
            show()
            show(_verdict(words, told, number_text))
    lines("Why:", answer.reasons)
    lines("Before you rely on it:", answer.warnings)


def _verdict(what: str, point: SqueezePoint, text: Any) -> str:
    from matdb.cli.screen import share_text

    turns = "" if point.turns is None else f", {point.turns:.2f} turns past first touch"
    low = float(point.lift_off_low.median.max())
    high = float(point.lift_off_high.median.min())
    return (
        f"{what}: {point.squeeze_mm:.2f} mm{turns} (a spacer of {point.spacer_mm:.2f} mm stops there). It holds "
        f"throughout with a probability of {share_text(point.holds)}; a half lifts off below {text(low, 2)} g or above "
        f"{text(high, 2)} g."
    )


def _band(found: Any, k: int, digits: int = 3) -> str:
    from matdb.cli.screen import band_text

    if found.median[k] != found.median[k]:
        return "-"
    return band_text(float(found.median[k]), float(found.low[k]), float(found.high[k]), digits)


def _all(found: Any) -> str:
    return f"{found.median:.2f} ({found.low:.2f}-{found.high:.2f})"
