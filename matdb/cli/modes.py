"""``matdb modes``: all six rigid-body modes of a camera on a part."""

from __future__ import annotations

from typing import Annotated

import typer

from matdb.cli.options import JsonOption, StoreOption, existing, needed, quantity

PackageName = Annotated[str, typer.Option("--package", metavar="NAME", help="The camera package.")]


def modes(
    ctx: typer.Context,
    mounting: Annotated[str, typer.Argument(metavar="MOUNTING", help="The mounting's name.")],
    part: Annotated[str, typer.Argument(metavar="PART", help="The part's name.")],
    temp: Annotated[str, typer.Option("--temp", metavar="TEMPERATURE", help="A temperature such as -5C.")],
    squeeze: Annotated[
        str | None, typer.Option("--squeeze", metavar="LENGTH", help="Static squeeze of each piece; none without it.")
    ] = None,
    package: PackageName = "main",
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show all six modes of a camera on a part: motion in words, natural frequency, damping ratio."""
    from matdb.cli.cautions import ESTIMATE
    from matdb.cli.screen import band_text, document, lines, number_text, share_text, show, table

    with existing(ctx, store) as kept:
        told = kept.modes(
            mounting,
            part,
            needed(temp, "temperature", "--temp"),
            squeeze_mm=quantity(squeeze, "length", "--squeeze") or 0.0,
            package=package,
        )
    warnings = [*told.warnings, *([f"{part}: rests on its family's prior"] if told.basis == "family prior" else [])]
    if as_json:
        document("modes", {"mounting": mounting, "part": part, **told.to_dict(), "cautions": [ESTIMATE]}, warnings)
        return
    low, high = told.window_hz
    show(f"{part} under {package} of {mounting} at {told.temperature_c:g} degC; bands hold 95 %")
    lines("Before you rely on it:", warnings)
    lines("Cautions:", [ESTIMATE])
    table(
        ["natural freq., Hz", "damping ratio", "inside", "motion"],
        [
            [
                band_text(m.natural_frequency_hz.median, m.natural_frequency_hz.low, m.natural_frequency_hz.high),
                band_text(m.damping_ratio.median, m.damping_ratio.low, m.damping_ratio.high, 2),
                share_text(m.probability),
                m.word,
            ]
            for m in told.modes
        ],
    )
    show(
        f"Wanted {number_text(low)} to {number_text(high)} Hz: the lowest mode follows with "
        f"{share_text(told.follows)}, the highest is isolated with {share_text(told.isolates)}, all lie inside with "
        f"{share_text(told.inside)}."
    )
