"""``matdb export``: rows for a spreadsheet."""

from __future__ import annotations

from typing import Annotated

import typer

from matdb.cli.options import (
    AxisOption,
    CountOption,
    ForceOption,
    FrequenciesOption,
    JsonOption,
    MassOption,
    MaterialArgument,
    SqueezeOption,
    StepOption,
    StoreOption,
    TempsOption,
    existing,
    few_states,
    frequencies,
    needed,
    quantity,
    temperatures,
)

app = typer.Typer(help="Write curves, readings or stiffness to CSV.", rich_markup_mode=None)

FileOption = Annotated[
    str, typer.Option("--csv", metavar="FILE", help="The file to write: CSV, or JSON when its name ends in .json.")
]


@app.command()
def curve(
    ctx: typer.Context,
    material: MaterialArgument,
    temp: TempsOption,
    csv: FileOption,
    frequency: FrequenciesOption = None,
    step: StepOption = "1K",
    force: ForceOption = False,
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write a material's curve.

    Storage modulus and loss factor over temperatures and frequencies.
    """
    from matdb.exchange.documents import write_table
    from matdb.exchange.tables import curve_table

    t, f = temperatures(temp, step), frequencies(frequency or ["30Hz"])
    few_states(t, len(f))
    with existing(ctx, store) as kept:
        answer = curve_table(kept.curve(material), t, f)
        written = str(write_table(kept, csv, "curve", answer.header, answer.rows, force=force))
    _done("export curve", written, len(answer.rows), answer.warnings, as_json)


@app.command()
def stiffness(
    ctx: typer.Context,
    temp: TempsOption,
    csv: FileOption,
    part: Annotated[
        list[str] | None,
        typer.Argument(metavar="[PART]...", help="The parts; all that have the direction when none is named."),
    ] = None,
    frequency: FrequenciesOption = None,
    mass: MassOption = None,
    count: CountOption = 1,
    axis: AxisOption = "axial",
    squeeze: SqueezeOption = "0mm",
    step: StepOption = "1K",
    force: ForceOption = False,
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write the stiffness of parts.

    Stiffness and damping ratio over temperatures.
    """
    from matdb.errors import InputError
    from matdb.exchange.documents import write_table
    from matdb.exchange.tables import stiffness_table

    if (mass is None) == (not frequency):
        raise InputError("--frequency and --mass", "both" if mass else "neither", "one of the two")
    t = temperatures(temp, step)
    f = frequencies(frequency) if frequency else None
    with existing(ctx, store) as kept:
        names = part or [p.name for p in kept.parts() if axis in p.form.axes]
        few_states(t, (1 if f is None else len(f)) * len(names))
        answer = stiffness_table(
            kept,
            names,
            t,
            frequency_hz=f,
            mass_kg=quantity(mass, "mass", "--mass"),
            count=count,
            axis=axis,
            squeeze_mm=needed(squeeze, "length", "--squeeze"),
        )
        written = str(write_table(kept, csv, "stiffness", answer.header, answer.rows, force=force))
    _done("export stiffness", written, len(answer.rows), answer.warnings, as_json)


@app.command()
def readings(
    ctx: typer.Context,
    csv: FileOption,
    material: Annotated[
        str | None, typer.Option("--material", metavar="NAME", help="Only readings of this material.")
    ] = None,
    part: Annotated[str | None, typer.Option("--part", metavar="NAME", help="Only readings on this part.")] = None,
    kind: Annotated[
        str | None, typer.Option("--kind", metavar="KIND", help="Only this kind, such as ring-down.")
    ] = None,
    retired: Annotated[bool, typer.Option("--all", help="Also readings that were corrected or removed.")] = False,
    force: ForceOption = False,
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write readings.

    In the form that 'matdb reading import' takes back.
    """
    from matdb.exchange.documents import write_table
    from matdb.exchange.tables import readings_table

    with existing(ctx, store) as kept:
        header, rows = readings_table(kept.records.each_reading(material, part, kind, retired))
        written = str(write_table(kept, csv, "readings", header, rows, force=force))
    _done("export readings", written, len(rows), (), as_json)


def _done(command: str, written: str | None, rows: int, warnings: tuple[str, ...], as_json: bool) -> None:
    from matdb.cli.screen import document, lines, show

    if as_json:
        document(command, {"csv": written, "rows": rows}, warnings)
        return
    show(f"written: {written} ({rows} rows)", wrap=False)
    lines("Before you rely on it:", warnings)
