"""``matdb mounting``: suspended cameras and the craft that carry them."""

from __future__ import annotations

import json
from typing import Annotated, Any

import typer

from matdb.cli.mounting_options import OwnMounting
from matdb.cli.options import Call, NoteOption, SourceOption, added, arg, collects, opt
from matdb.cli.screen import document, number_text, show, table
from matdb.delimited import file_bytes
from matdb.errors import InputError
from matdb.mounting.record import mounting_from_dict

app = typer.Typer(help="Mountings: payload, isolators, rotors.", rich_markup_mode=None)

NameArgument = Annotated[str, arg("NAME", "The mounting's name.")]


@app.command()
@collects
def add(
    name: NameArgument,
    own: OwnMounting,
    order: Annotated[
        list[float] | None, opt("--order", "NUMBER", "Rotor order to isolate from. May be given several times.")
    ] = None,
    source: SourceOption = "",
    note: NoteOption = "",
    definition: Annotated[
        str | None, opt("--from", "FILE", "Read the mounting from a JSON file instead of options.")
    ] = None,
    *,
    call: Call,
) -> None:
    """Add a mounting."""
    if definition is not None:
        wanted = _from_file(definition, name, (*own.said().values(), order, source or None, note or None))
    else:
        wanted = own.made(name, source=source, note=note, orders=tuple(order or ()))
    with call.opened() as store:
        number = added(store, wanted)
    call.answer(
        {"number": number, "mounting": wanted.to_dict()}, lambda: show(f"added mounting {name}: {_sentence(wanted)}")
    )


@app.command("list")
@collects
def list_(call: Call) -> None:
    """List the mountings."""
    with call.opened() as kept:
        mountings = kept.mountings()
    if call.as_json:
        document("mounting list", {"mountings": [m.to_dict() for m in mountings]})
        return
    if not mountings:
        show("no mounting yet; add one with 'matdb mounting add'")
        return
    table(
        ["mounting", "mass, g", "isolators", "rotors, 1/min", "manoeuvres, Hz", "wanted, Hz"],
        [
            [
                m.name,
                f"{m.mass_kg * 1e3:g}",
                str(m.count),
                f"{m.rpm_idle:g} to {m.rpm_full:g}",
                f"{m.manoeuvre_hz:g}",
                " to ".join(number_text(f) for f in m.window_hz),
            ]
            for m in mountings
        ],
        right=(1, 2, 4),
    )


@app.command("show")
@collects
def show_(name: NameArgument, call: Call) -> None:
    """Show a mounting.

    Every entry, its rotor orders and the window of natural frequencies.
    """
    with call.existing() as kept:
        wanted = kept.mounting(name)
    low, high = wanted.window_hz
    bands = [(b.order, b.low_hz, b.high_hz) for b in wanted.rotor_bands]
    if call.as_json:
        content = {
            "mounting": wanted.to_dict(),
            "window_hz": {"low": low, "high": high},
            "rotor_orders": [{"order": o, "low_hz": a, "high_hz": b} for o, a, b in bands],
        }
        document("mounting show", content)
        return
    rows = [[k, str(v)] for k, v in wanted.to_dict().items() if k != "name"]
    rows += [[f"rotor order {o:g}, Hz", f"{number_text(a)} to {number_text(b)}"] for o, a, b in bands]
    table([wanted.name, ""], [*rows, ["wanted natural frequency, Hz", f"{number_text(low)} to {number_text(high)}"]])


def _sentence(m: Any) -> str:
    return f"{m.mass_kg * 1e3:g} g on {m.count} isolators, rotors {m.rpm_idle:g} to {m.rpm_full:g} 1/min"


def _from_file(file: str, name: str, given: tuple[Any, ...]) -> Any:
    if any(value is not None for value in given):
        raise InputError("--from", file, "given alone", "put everything into the file")
    try:
        values = json.loads(file_bytes(file, 10_000_000))
    except InputError:
        raise
    except (ValueError, RecursionError):
        raise InputError("--from", file, "a file of JSON") from None
    if not isinstance(values, dict):
        raise InputError("--from", file, "a file with one JSON object")
    return mounting_from_dict(values | {"name": name})
