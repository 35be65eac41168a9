"""``matdb export`` and ``matdb import``: rows for a spreadsheet, what simulators take, and whole stores as files."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Final

import typer

from matdb.advice.tabulated import RULE
from matdb.api import Store
from matdb.cli import options
from matdb.cli.options import NEEDED, Call, ForceOption, Group, Question, arg, option
from matdb.cli.screen import counts_text, lines, show
from matdb.cli.stiffness import States, stiffness_answer
from matdb.errors import InputError
from matdb.exchange import whole_store
from matdb.exchange.spreadsheet import write_rows
from matdb.exchange.tables import (
    AnswerTable,
    curve_table,
    part_table,
    prony_table,
    readings_table,
    records_table,
    shift_table,
    springs_table,
    write_table,
)
from matdb.exchange.whole_store import store_fingerprint
from matdb.files import new_file
from matdb.store.location import locate
from matdb.units import parse

app = Group("Write curves, readings or stiffness to CSV.")
import_app = Group("Read what 'matdb export' wrote.")

_FILE = "The file to write: CSV, or JSON or a workbook when its name ends in .json or .xlsx."
_SIGNS: Final = ("point", "comma")
#: What only a file of JSON holds.
_IN_FILE: Final = ("shift", "squeeze_factors", "state_space")
#: Parts whose squeeze is told on the screen.
_TOLD: Final = 4


@dataclass(frozen=True, kw_only=True)
class StatesByKelvin(States):
    """At which states parts are asked about, a kelvin a step."""

    step: options.StepOption = "1K"


@dataclass(frozen=True, kw_only=True)
class Writing(Question):
    """A call that writes a table and says so."""

    file: Annotated[str, typer.Option("--csv", "--out", metavar="FILE", help=_FILE)]
    force: ForceOption = False
    decimal: str = option("SIGN", "Decimal sign of a CSV: point, or comma with semicolons between cells.", "point")

    def __post_init__(self) -> None:
        if self.decimal not in _SIGNS:
            raise InputError("--decimal", self.decimal, " or ".join(_SIGNS))
        new_file(self.file, force=self.force)  # before the long work

    def write(self, store: Store, what: str, table: AnswerTable, *, text: str = "") -> None:
        """Write a table as :func:`write_table`, and answer with the file's name and the number of rows."""
        written = str(write_table(store, self.file, what, table, force=self.force, comma=self.decimal == "comma"))
        more = {name: each for name, each in table.more.items() if name not in _IN_FILE}
        content = {"files": [written], "rows": len(table.rows), **more}

        def screen() -> None:
            show(f"written: {written} ({len(table.rows)} rows)", wrap=False)
            if text:
                show(text)
            lines("Before you rely on it:", table.warnings)

        self.answer(content, screen, table.warnings)


@app.command()
def curve(
    call: Writing,
    material: options.MaterialArgument,
    temp: options.TempsOption,
    frequency: options.FrequenciesOption = None,
    step: options.StepOption = "1K",
) -> None:
    """Write a material's curve.

    For instance: matdb export curve 'TPU 85A' --temp -15C..35C --step 5K --frequency 30Hz --out tpu.csv
    --decimal comma.

    Storage modulus and loss factor over temperatures and frequencies.
    """
    t, f = options.temperatures(temp, step), options.frequencies(frequency or ["30Hz"])
    options.few_states(len(t) * len(f))
    with call.existing() as store:
        call.write(store, "curve", curve_table(store.current_curve(material), store.material(material), t, f))


@app.command()
def stiffness(
    call: Writing,
    states: StatesByKelvin,
    part: Annotated[
        list[str] | None, arg("[PART]...", "The parts; all that have the direction when none is named.")
    ] = None,
) -> None:
    """Write the stiffness of parts.

    For instance: matdb export stiffness leg --temp -15C..35C --mass 600g --count 4 --out leg.csv.

    Stiffness and damping ratio over temperatures.
    """
    states.check()
    with call.existing() as store:
        parts = states.parts(store, part)
        states = states.best(store, parts, options.temperatures(states.temp, states.step))
        answer = stiffness_answer(store, [each.name for each in parts], states)
        squeezed = list(filter(None, map(states.said, parts)))
        more = [f"{len(squeezed) - _TOLD} more, see squeeze_mm"] if len(squeezed) > _TOLD else []
        text = "; ".join([*squeezed[:_TOLD], *more])
        call.write(store, "stiffness", replace(answer, more={"squeezed": squeezed} if squeezed else {}), text=text)


@app.command()
def table(
    call: Writing,
    part: Annotated[list[str] | None, arg("[PART]...", "The parts; all when none is named.")] = None,
    axis: str | None = option("AXIS", "Only this direction; all without it."),
    squeeze: str | None = option("LENGTH", "Static squeeze of each part, such as 0.5mm."),
) -> None:
    """Write parts over temperature and frequency.

    What the store publishes: storage and loss stiffness and damping ratio with bands, for programs that look up.

    For instance: matdb export table leg --out leg.csv.
    """
    squeeze_mm = options.quantity(squeeze, "length", "--squeeze") or 0.0
    with call.existing() as store:
        found = part_table(store, part or [each.name for each in store.parts()], axis, squeeze_mm)
        call.write(store, "table", found, text=f"Look up {RULE}.")


@app.command()
def readings(
    call: Writing,
    material: str | None = option("NAME", "Only readings of this material."),
    part: options.ReadPartOption = None,
    kind: options.KindOption = None,
    retired: options.RetiredOption = False,
) -> None:
    """Write readings.

    In the form that 'matdb reading import' takes back.
    """
    with call.existing() as store:
        found = store.records.each_reading(material, part, kind, retired)
        call.write(store, "readings", readings_table(found))


@app.command(short_help="Write shift factors over temperature.")
def shift(
    call: Writing,
    material: options.MaterialArgument,
    temp: list[str] = option("TEMPERATURE", "A temperature such as -5C, or a range such as -20C..50C.", NEEDED),
    step: options.StepOption = "1K",
) -> None:
    """Write a material's shift factors over temperature."""
    with call.existing() as store:
        found = shift_table(store.curve(material), options.temperatures(temp, step))
        call.write(store, "shift", found)


@app.command(short_help="Write the Prony terms of the median curve.")
def prony(call: Writing, material: options.MaterialArgument) -> None:
    """Write the Prony terms of a material's median curve; a JSON file also holds the shift factors."""
    with call.existing() as store:
        found = prony_table(store.current_curve(material))
        at = found.more["shift"]["temperature_c"]
        call.write(store, "prony", found, text=_met(found, "curve", f" at {at[0]:g} to {at[-1]:g} degC"))


@app.command(short_help="Write a part as springs and dampers.")
def springs(
    call: Writing,
    part: Annotated[str, arg("PART", "The part's name.")],
    held: options.Held,
    temp: str = option("TEMPERATURE", "A temperature such as -5C.", NEEDED),
) -> None:
    """Write a part at a temperature as springs and dampers, for a simulator; a JSON file also holds a state space.

    For instance: matdb export springs leg --temp 5C --out leg.json.
    """
    t = parse(temp, "temperature", "--temp")
    with call.existing() as store:
        squeeze_mm, _ = held.on(store.part(part))
        found = springs_table(store.answers(part, axis=held.axis, squeeze_mm=squeeze_mm), t)
        call.write(store, "springs", found, text=_met(found, "stiffness"))


def _met(found: AnswerTable, what: str, at: str = "") -> str:
    """How well a series meets the medians, and where."""
    low, high = found.more["range_hz"].values()
    storage, loss = (f"{100 * found.more[name]:.2g} %" for name in ("storage_error", "loss_error"))
    span = f"from {low:.3g} to {high:.3g} Hz{at}"
    return f"Meets the median {what} {span} within {storage} in storage and {loss} in loss; nothing is known beyond."


@app.command("tables", short_help="Write all records as CSV, a file a kind.")
def tables(
    call: Call,
    out: str = option("FOLDER", "The folder to write into; made where it is not there.", NEEDED),
    force: ForceOption = False,
) -> None:
    """Write all records as CSV, a file a kind: materials, parts, mountings, readings.

    'matdb reading import' takes the readings back; 'matdb export store' writes all that 'matdb import store' reads.
    """
    with call.existing() as store:
        found = {
            "materials": records_table(store.materials()),
            "parts": records_table(store.parts()),
            "mountings": records_table(store.mountings()),
            "readings": readings_table(store.records.each_reading()),
        }
    folder = Path(out).expanduser()
    folder.mkdir(exist_ok=True)
    files = {what: new_file(folder / f"{what}.csv", force=force) for what in found}  # all of them, or none
    written = [str(write_rows(files[what], what, each.header, each.rows, force=force)) for what, each in found.items()]
    counts = {what: len(each.rows) for what, each in found.items()}
    call.answer(
        {"files": written, "counts": counts}, lambda: show(f"written to {folder}: {counts_text(counts)}", wrap=False)
    )


@app.command("store", short_help="Write the whole store as one JSON file.")
def export_store(
    call: Call, out: str = option("FILE", "The JSON file to write.", NEEDED), force: ForceOption = False
) -> None:
    """Write the whole store as one JSON file: records, history, fits, with units and fingerprint."""
    with call.existing() as store:
        written = whole_store.export_store(store, out, force=force)
        mark = store_fingerprint(store)
    size = written.stat().st_size
    content = {"files": [str(written)], "bytes": size, "fingerprint": mark}
    call.answer(content, lambda: show(f"written: {written} ({size / 1e3:.0f} kB, fingerprint {mark})", wrap=False))


@import_app.command("store")
def import_store(file: Annotated[str, arg("FILE", "A file that 'matdb export store' wrote.")], call: Call) -> None:
    """Fill a new, empty store from the JSON file of another one.

    Numbers, times, history and fits stay what they were. A store that holds something is refused.
    """
    counts = call.done(lambda store: whole_store.import_store(store, file))
    address = locate(call.store_name).shown
    text = counts_text({name.replace("_", " "): number for name, number in counts.items()})
    call.answer({"store": address, "counts": counts}, lambda: show(f"{address}: {text}", wrap=False))
