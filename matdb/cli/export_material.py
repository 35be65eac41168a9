"""``matdb export shift`` and ``matdb export prony``: what simulators take."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from matdb.cli.export import app
from matdb.cli.options import ForceOption, JsonOption, MaterialArgument, StepOption, StoreOption, existing, temperatures

FileOption = Annotated[
    str,
    typer.Option("--csv", "--out", metavar="FILE", help="The file to write: CSV, or JSON when its name ends in .json."),
]
RangeOption = Annotated[
    list[str],
    typer.Option("--temp", metavar="TEMPERATURE", help="A temperature such as -5C, or a range such as -20C..50C."),
]


@app.command(short_help="Write shift factors over temperature.")
def shift(
    ctx: typer.Context,
    material: MaterialArgument,
    temp: RangeOption,
    out: FileOption,
    step: StepOption = "1K",
    force: ForceOption = False,
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write a material's shift factors over temperature."""
    from matdb.exchange.documents import shift_rows, shift_warnings, write_table

    with existing(ctx, store) as kept:
        curve, at = kept.curve(material), temperatures(temp, step)
        header, rows = shift_rows(curve, at)
        said = shift_warnings(curve, at)
        written = str(write_table(kept, out, "shift", header, rows, force=force))
    _done("export shift", written, len(rows), {}, said, as_json)


@app.command(short_help="Write the Prony terms of the median curve.")
def prony(
    ctx: typer.Context,
    material: MaterialArgument,
    out: FileOption,
    force: ForceOption = False,
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write the Prony terms of a material's median curve; a JSON file also holds the shift factors."""
    import numpy as np

    from matdb.exchange.documents import prony_rows, write_table
    from matdb.exchange.tables import curve_warnings

    with existing(ctx, store) as kept:
        curve = kept.curve(material)
        header, rows, more = prony_rows(curve)
        said = curve_warnings(curve, np.full(2, 23.0), np.array(more["range_hz"]))
        written = str(write_table(kept, out, "prony", header, rows, more=more, force=force))
    del more["shift"]
    _done("export prony", written, len(rows), more, said, as_json)


def _done(
    command: str,
    written: str,
    rows: int,
    more: dict[str, Any],
    said: tuple[str, ...],
    as_json: bool,
) -> None:
    from matdb.cli.screen import document, lines, show

    if as_json:
        document(command, {"file": written, "rows": rows, **more}, said)
        return
    show(f"written: {written} ({rows} rows)", wrap=False)
    if more:
        show(
            f"Meets the {more['fitted_to']} from {more['range_hz'][0]:.3g} to {more['range_hz'][1]:.3g} Hz at 23 degC "
            f"within {100 * max(more['storage_error'], more['loss_error']):.2g} %."
        )
    lines("Before you rely on it:", said)
