"""``matdb export``: rows for a spreadsheet, and what simulators take."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np
import typer

from matdb.cli import options
from matdb.cli.options import Question, arg, collects, opt
from matdb.cli.screen import lines, show
from matdb.cli.stiffness import States, stiffness_answer
from matdb.exchange.documents import prony_rows, shift_rows, shift_warnings, write_table
from matdb.exchange.tables import curve_table, curve_warnings, readings_table

app = typer.Typer(help="Write curves, readings or stiffness to CSV.", rich_markup_mode=None)

_FILE = "The file to write: CSV, or JSON when its name ends in .json."
FileOption = Annotated[str, opt("--csv", "FILE", _FILE)]
OutOption = Annotated[str, typer.Option("--csv", "--out", metavar="FILE", help=_FILE)]
RangeOption = Annotated[
    list[str], opt("--temp", "TEMPERATURE", "A temperature such as -5C, or a range such as -20C..50C.")
]


@dataclass(frozen=True, kw_only=True)
class StatesByKelvin(States):
    """At which states parts are asked about, a kelvin a step."""

    step: options.StepOption = "1K"


@app.command()
@collects
def curve(
    material: options.MaterialArgument,
    temp: options.TempsOption,
    csv: FileOption,
    frequency: options.FrequenciesOption = None,
    step: options.StepOption = "1K",
    force: options.ForceOption = False,
    *,
    call: Question,
) -> None:
    """Write a material's curve.

    Storage modulus and loss factor over temperatures and frequencies.
    """
    t, f = options.temperatures(temp, step), options.frequencies(frequency or ["30Hz"])
    options.few_states(t, len(f))
    with call.existing() as store:
        answer = curve_table(store.current_curve(material), t, f)
        written = str(write_table(store, csv, "curve", answer.header, answer.rows, force=force))
    _done(call, {"csv": written, "rows": len(answer.rows)}, answer.warnings)


@app.command()
@collects
def stiffness(
    csv: FileOption,
    states: StatesByKelvin,
    part: Annotated[
        list[str] | None, arg("[PART]...", "The parts; all that have the direction when none is named.")
    ] = None,
    force: options.ForceOption = False,
    *,
    call: Question,
) -> None:
    """Write the stiffness of parts.

    Stiffness and damping ratio over temperatures.
    """
    states.check()
    with call.existing() as store:
        names = part or [p.name for p in store.parts() if states.axis in p.form.axes]
        answer = stiffness_answer(store, names, states)
        written = str(write_table(store, csv, "stiffness", answer.header, answer.rows, force=force))
    _done(call, {"csv": written, "rows": len(answer.rows)}, answer.warnings)


@app.command()
@collects
def readings(
    csv: FileOption,
    material: Annotated[str | None, opt("--material", "NAME", "Only readings of this material.")] = None,
    part: options.ReadPartOption = None,
    kind: options.KindOption = None,
    retired: options.RetiredOption = False,
    force: options.ForceOption = False,
    *,
    call: Question,
) -> None:
    """Write readings.

    In the form that 'matdb reading import' takes back.
    """
    with call.existing() as store:
        header, rows = readings_table(store.records.each_reading(material, part, kind, retired))
        written = str(write_table(store, csv, "readings", header, rows, force=force))
    _done(call, {"csv": written, "rows": len(rows)})


@app.command(short_help="Write shift factors over temperature.")
@collects
def shift(
    material: options.MaterialArgument,
    temp: RangeOption,
    out: OutOption,
    step: options.StepOption = "1K",
    force: options.ForceOption = False,
    *,
    call: Question,
) -> None:
    """Write a material's shift factors over temperature."""
    with call.existing() as store:
        found, at = store.curve(material), options.temperatures(temp, step)
        header, rows = shift_rows(found, at)
        warnings = shift_warnings(found, at)
        written = str(write_table(store, out, "shift", header, rows, force=force))
    _done(call, {"file": written, "rows": len(rows)}, warnings)


@app.command(short_help="Write the Prony terms of the median curve.")
@collects
def prony(
    material: options.MaterialArgument, out: OutOption, force: options.ForceOption = False, *, call: Question
) -> None:
    """Write the Prony terms of a material's median curve; a JSON file also holds the shift factors."""
    with call.existing() as store:
        found = store.current_curve(material)
        header, rows, more = prony_rows(found)
        warnings = curve_warnings(found, np.full(2, 23.0), np.array(more["range_hz"]))
        written = str(write_table(store, out, "prony", header, rows, more=more, force=force))
    del more["shift"]
    text = (
        f"Meets the {more['fitted_to']} from {more['range_hz'][0]:.3g} to {more['range_hz'][1]:.3g} Hz at 23 degC "
        f"within {100 * max(more['storage_error'], more['loss_error']):.2g} %."
    )
    _done(call, {"file": written, "rows": len(rows), **more}, warnings, text)


def _done(call: Question, content: dict[str, Any], warnings: Sequence[str] = (), text: str = "") -> None:
    def screen() -> None:
        show(f"written: {content.get('csv') or content['file']} ({content['rows']} rows)", wrap=False)
        if text:
            show(text)
        lines("Before you rely on it:", warnings)

    call.answer(content, screen, warnings)
