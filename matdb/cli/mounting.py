"""``matdb mounting``: suspended cameras and the craft that carry them."""

from __future__ import annotations

import json
from typing import Annotated, Any, Final

from matdb.cli.mounting_options import OwnMounting
from matdb.cli.options import Call, Group, NoteOption, SourceOption, added, arg, option
from matdb.cli.screen import Column, records_table, show, span_text, table
from matdb.delimited import file_bytes
from matdb.errors import InputError
from matdb.mounting.record import mounting_from_dict

app = Group("Mountings: payload, isolators, rotors.")

NameArgument = Annotated[str, arg("NAME", "The mounting's name.")]


@app.command()
def add(
    call: Call,
    name: NameArgument,
    own: OwnMounting,
    order: list[float] | None = option("NUMBER", "Rotor order to isolate from. May be given several times."),
    source: SourceOption = "",
    note: NoteOption = "",
    definition: str | None = option("FILE", "Read the mounting from a JSON file instead of options.", name="--from"),
) -> None:
    """Add a mounting."""
    if definition is not None:
        wanted = _from_file(definition, name, (*own.said().values(), order, source or None, note or None))
    else:
        wanted = own.made(name, source=source, note=note, orders=tuple(order or ()))
    with call.opened() as store:
        number = added(store, wanted)
    rotors = f"rotors {wanted.rpm_idle:g} to {wanted.rpm_full:g} 1/min"
    text = f"added mounting {name}: {wanted.mass_kg * 1e3:g} g on {wanted.count} isolators, {rotors}"
    call.answer({"number": number, "mounting": wanted}, lambda: show(text))


_COLUMNS: Final = (
    Column("mounting", lambda m: str(m.name)),
    Column("mass, g", lambda m: f"{m.mass_kg * 1e3:g}", right=True),
    Column("isolators", lambda m: str(m.count), right=True),
    Column("rotors, 1/min", lambda m: f"{m.rpm_idle:g} to {m.rpm_full:g}"),
    Column("manoeuvres, Hz", lambda m: f"{m.manoeuvre_hz:g}", right=True),
    Column("wanted, Hz", lambda m: span_text(*m.window_hz)),
)


@app.command("list")
def list_(call: Call) -> None:
    """List the mountings."""
    with call.opened() as kept:
        found = kept.mountings()
    empty = "no mounting yet; add one with 'matdb mounting add'"
    call.answer({"mountings": found}, lambda: records_table(found, _COLUMNS, empty=empty))


@app.command("show")
def show_(name: NameArgument, call: Call) -> None:
    """Show a mounting.

    Every entry, its rotor orders and the window of natural frequencies.
    """
    with call.existing() as kept:
        wanted = kept.mounting(name)
    low, high = wanted.window_hz
    bands = wanted.rotor_bands

    def screen() -> None:
        rows = [(k, str(v)) for k, v in wanted.to_dict().items() if k != "name"]
        rows += [(f"rotor order {b.order:g}, Hz", span_text(b.low_hz, b.high_hz)) for b in bands]
        table([wanted.name, ""], [*rows, ("wanted natural frequency, Hz", span_text(low, high))])

    content = {"mounting": wanted, "window_hz": {"low": low, "high": high}, "rotor_orders": bands}
    call.answer(content, screen)


def _from_file(file: str, name: str, given: tuple[Any, ...]) -> Any:
    if any(value is not None for value in given):
        raise InputError("--from", file, "given alone", "put everything into the file")
    content = file_bytes(file, 10_000_000)
    try:
        values = json.loads(content)
    except (ValueError, RecursionError):
        raise InputError("--from", file, "a file of JSON") from None
    if not isinstance(values, dict):
        raise InputError("--from", file, "a file with one JSON object")
    return mounting_from_dict(values | {"name": name})
