"""``matdb mounting``: suspended cameras and the craft that carry them; and which of them a question is about."""

from __future__ import annotations

import json
from dataclasses import dataclass, fields, replace
from typing import Annotated, Any, Final

from matdb.advice.requirement import check_meant
from matdb.api import Store
from matdb.cli.options import Call, Edit, Group, NoteOption, Removal, arg, option
from matdb.cli.screen import Column, records_table, span_text, table
from matdb.delimited import file_bytes
from matdb.errors import InputError
from matdb.fields import low_high, record_fields
from matdb.mounting.record import Mounting, mounting_from_dict
from matdb.mounting.rotor import full_speed_rpm, speeds_in_flight
from matdb.units import UNITS, is_range, parse, parse_range, parse_sizes

app = Group("Mountings: payload, isolators, rotors.")

NameArgument = Annotated[str, arg("NAME", "The mounting's name.")]


_YES: Final = option(None, "Store what looks like a slip of a unit or a digit, or what no part can hold.", False)
#: Options that name several lengths: how many, and what a single one is.
_SIDES: Final = {"spread": (2, "the diameter of the circle that they stand on"), "box": (3, "")}


@dataclass(frozen=True)
class OwnMounting:
    """A mounting in words."""

    mass: str | None = option("MASS", "Suspended mass, such as 600g.")
    count: int | None = option("NUMBER", "Number of isolators.")
    rotor: str | None = option(
        "SPEED", "Rotor speed in flight, lowest to highest, such as 4200rpm..8000rpm; or the highest, with --hover."
    )
    hover: str | None = option("SHARE", "Share of full thrust that hovering takes, such as 60%; or the speed itself.")
    kv: float | None = option("NUMBER", "Motor speed per volt, 1/min: with --cells, in place of --rotor; an estimate.")
    cells: int | None = option("NUMBER", "Battery cells in series, for --kv.")
    blades: int | None = option("NUMBER", "Blades per rotor; 2 without it.")
    manoeuvre: str | None = option(
        "FREQUENCY", "Top of the band in which the camera must follow the craft, such as 8Hz."
    )
    spread: str | None = option(
        "SIZES",
        "Length and width that the isolators are spread over, such as 80x60mm, or the circle they stand on: 70mm.",
    )
    box: str | None = option("SIZES", "Length, width and height of the camera, such as 110x80x60mm.")
    height: str | None = option("LENGTH", "Its centre above the isolators' plane (below: -20mm); in it without this.")
    load: str | None = option("RANGE", "Least and greatest load factor in flight, such as 0.5..2.")
    clearance: str | None = option("LENGTH", "Room around the camera; the parts' own travel without it.")
    focal_length: str | None = option("LENGTH", "Focal length of the lens, such as 4.5mm: for shake in pixels.")
    pixel_pitch: str | None = option("LENGTH", "Distance between pixels, such as 2.4um: for shake in pixels.")
    footage: str | None = option("USE", "What becomes of the pictures: 'as flown', or 'stabilised' afterwards.")

    def said(self) -> dict[str, Any]:
        """The options that were given."""
        return {f.name: getattr(self, f.name) for f in fields(OwnMounting) if getattr(self, f.name) is not None}

    def made(self, name: str = "as given", **more: Any) -> Mounting:
        """The mounting. Raises InputError, naming the option that is missing or cannot be read."""
        rotor = "--kv" if self.kv is not None else "--rotor"
        examples = {"--mass": "600g", "--count": "4", "--rotor": "4200rpm..8000rpm", "--kv": "920 --cells 4"}
        given = {"--mass": self.mass, "--count": self.count, rotor: self.rotor if self.kv is None else self.cells}
        for option_, value in given.items():
            if value is None:
                raise InputError(option_, None, f"given, for instance {option_} {examples[option_]}")
        return Mounting(name=name, **self.fields(), **more)

    def fields(self) -> dict[str, Any]:
        """The fields of a mounting that the options tell. Raises UnitError, InputError."""
        more = {} if self.rotor is None and self.kv is None else self._rotor()
        if not more and self.hover is not None:
            raise InputError("--hover", self.hover, "given with --rotor or --kv")
        for field, each in record_fields(Mounting).items():
            said = getattr(self, each.stem, None)
            if each.stem in _SIDES and said is not None:
                count, alone = _SIDES[each.stem]
                more[field] = parse_sizes(said, count, each.option, alone)
            elif said is not None:
                more[field] = parse(said, each.dimension, each.option, each.unit) if each.dimension in UNITS else said
        if self.height is not None:
            more["centre_mm"] = (0.0, 0.0, parse(self.height, "length", "--height"))
        if self.load is not None:
            more["load_factors"] = parse_range(self.load, "dimensionless", "--load")
        return more

    def changes(self, old: Mounting) -> dict[str, Any]:
        """The fields of another mounting that the options change. Raises as :meth:`fields`."""
        more = self.fields()
        if "spread_mm" in more or ("count" in more and old.spread_mm is not None):
            more["positions_mm"] = ()  # they follow from the spread
        return more

    def _rotor(self) -> dict[str, Any]:
        hovers = None
        if self.hover is not None and not self.hover.strip().endswith("%"):
            hovers, share = parse(self.hover, "rotor_speed", "--hover"), None
        else:
            share = None if self.hover is None else parse(self.hover, "dimensionless", "--hover")
        if self.rotor is not None and self.kv is not None:
            raise InputError("--kv", self.kv, "left out with --rotor", "give one of the two")
        if self.rotor is not None and is_range(self.rotor):
            low, full = parse_range(self.rotor, "rotor_speed", "--rotor")
            if share is not None:
                raise InputError("--hover", self.hover, "left out with a range of rotor speeds", "the range says more")
            return {"rpm_idle": low, "rpm_full": full, "rpm_hover": hovers, "rotor_note": ""}
        if self.rotor is not None:
            full, told = parse(self.rotor, "rotor_speed", "--rotor"), "given"
        else:
            full, told = full_speed_rpm(float(self.kv or 0.0), int(self.cells or 0))
        low, hovers, note = speeds_in_flight(full, share, hovers)
        return {"rpm_idle": low, "rpm_full": full, "rpm_hover": hovers, "rotor_note": f"{told}; {note}"}


@dataclass(frozen=True)
class MountingOptions(OwnMounting):
    """Which mounting."""

    mounting: str | None = option("NAME", "A mounting of the store; other options say what is otherwise.")

    def of(self, store: Store) -> Mounting:
        """The store's mounting, but for what the options say; or one from them alone. Raises InputError, NotFound."""
        if self.mounting is None:
            return self.made()
        known = store.mounting(self.mounting)
        return replace(known, **self.changes(known))

    @property
    def instead(self) -> str:
        """What is otherwise than in the mounting of the store, in words; empty for nothing."""
        said = ", ".join(f"{name.replace('_', ' ')} {value}" for name, value in self.said().items())
        return f"{self.mounting} with {said}" if self.mounting is not None and said else ""


@app.command()
def add(
    call: Call,
    name: NameArgument,
    own: OwnMounting,
    order: list[float] | None = option("NUMBER", "Rotor order to isolate from. May be given several times."),
    source: str = option("TEXT", "Where the entries come from.", ""),
    note: NoteOption = "",
    definition: str | None = option("FILE", "Read the mounting from a JSON file instead of options.", name="--from"),
    yes: bool = _YES,
) -> None:
    """Add a mounting.

    For instance: matdb mounting add cam --mass 600g --count 4 --spread 80x60mm --box 110x80x60mm --rotor
    9500rpm..18000rpm --manoeuvre 8Hz.
    """
    if definition is not None:
        wanted = _from_file(definition, name, (*own.said().values(), order, source or None, note or None))
    else:
        wanted = own.made(name, source=source, note=note, orders=tuple(order or ()))
    number = call.added(wanted, sure=yes)
    rotors = f"rotors {wanted.rpm_idle:g} to {wanted.rpm_full:g} 1/min"
    text = f"added mounting {name}: {wanted.mass_kg * 1e3:g} g on {wanted.count} isolators, {rotors}"
    call.answer({"number": number, "mounting": wanted}, text)


@app.command()
def edit(
    call: Edit,
    name: NameArgument,
    own: OwnMounting,
    source: str | None = option("TEXT", "Where the entries come from."),
    note: str | None = option("TEXT", "Free text."),
    yes: bool = _YES,
) -> None:
    """Edit a mounting.

    For instance: matdb mounting edit cam --mass 700g --why 'heavier lens'.

    What it said before is kept, with the reason.
    """
    with call.existing() as kept:
        old = kept.mounting(name)
        changes = own.changes(old)
        if changes and not yes:
            check_meant(replace(old, **changes))
        new, changed = call.edited(kept, old, source=source, note=note, **changes)
    call.answer({"mounting": new, "changed": changed}, f"edited mounting {new.name}: {', '.join(changed)}")


@app.command()
def remove(name: NameArgument, call: Removal) -> None:
    """Remove a mounting.

    It is kept with its history.
    """
    call.removed(lambda store: store.mounting(name))


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
    found = call.done(lambda kept: kept.mountings(), asks=True)
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

    content = {"mounting": wanted, "window_hz": low_high(wanted.window_hz), "rotor_orders": bands}
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
