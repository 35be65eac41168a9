"""What commands share on the mounting that they ask for: one of the store, or one made from their own options."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

from matdb.api import Store
from matdb.cli.options import option
from matdb.errors import InputError
from matdb.mounting.record import Mounting
from matdb.mounting.rotor import full_speed_rpm, speeds_in_flight
from matdb.units import parse, parse_range, parse_sizes


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
    spread: str | None = option("SIZES", "Length and width that the isolators are spread over, such as 80x60mm.")
    box: str | None = option("SIZES", "Length, width and height of the camera, such as 110x80x60mm.")
    height: str | None = option("LENGTH", "Its centre above the isolators' plane (below: -20mm); in it without this.")
    load: str | None = option("RANGE", "Least and greatest load factor in flight, such as 0.5..2.")
    clearance: str | None = option("LENGTH", "Room around the camera; the parts' own travel without it.")
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
        more |= self._rotor()
        if self.manoeuvre is not None:
            more["manoeuvre_hz"] = parse(self.manoeuvre, "frequency", "--manoeuvre")
        if self.blades is not None:
            more["blades"] = self.blades
        if self.spread is not None:
            more["spread_mm"] = parse_sizes(self.spread, 2, "--spread")
        if self.box is not None:
            more["box_mm"] = parse_sizes(self.box, 3, "--box")
        if self.height is not None:
            more["centre_mm"] = (0.0, 0.0, parse(self.height, "length", "--height"))
        if self.load is not None:
            more["load_factors"] = parse_range(self.load, "dimensionless", "--load")
        if self.clearance is not None:
            more["clearance_mm"] = parse(self.clearance, "length", "--clearance")
        if self.footage is not None:
            more["footage"] = self.footage
        return Mounting(name=name, mass_kg=parse(str(self.mass), "mass", "--mass"), count=self.count or 0, **more)

    def _rotor(self) -> dict[str, Any]:
        hovers = None
        if self.hover is not None and not self.hover.strip().endswith("%"):
            hovers, share = parse(self.hover, "rotor_speed", "--hover"), None
        else:
            share = None if self.hover is None else parse(self.hover, "dimensionless", "--hover")
        if self.rotor is not None and self.kv is not None:
            raise InputError("--kv", self.kv, "left out with --rotor", "give one of the two")
        if self.rotor is not None and any(mark in self.rotor for mark in ("..", "…", " to ")):
            low, full = parse_range(self.rotor, "rotor_speed", "--rotor")
            if share is not None:
                raise InputError("--hover", self.hover, "left out with a range of rotor speeds", "the range says more")
            return {"rpm_idle": low, "rpm_full": full, "rpm_hover": hovers}
        if self.rotor is not None:
            full, told = parse(self.rotor, "rotor_speed", "--rotor"), "given"
        else:
            full, told = full_speed_rpm(float(self.kv or 0.0), int(self.cells or 0))
        low, hovers, note = speeds_in_flight(full, share, hovers)
        return {"rpm_idle": low, "rpm_full": full, "rpm_hover": hovers, "rotor_note": f"{told}; {note}"}


@dataclass(frozen=True)
class MountingOptions(OwnMounting):
    """Which mounting."""

    mounting: str | None = option("NAME", "A mounting of the store.")

    def of(self, store: Store) -> Mounting:
        """The mounting of the store, or one from the options. Raises InputError for a mix of both, NotFound."""
        if self.mounting is None:
            return self.made()
        refuse_beside_mounting(self.said())
        return store.mounting(self.mounting)


def refuse_beside_mounting(options: dict[str, Any]) -> None:
    """Refuse what a mounting of the store tells by itself, by the name of its option. Raises InputError."""
    for name, value in options.items():
        if value is not None:
            raise InputError(f"--{name}", value, "left out with --mounting", "the mounting has its own")
