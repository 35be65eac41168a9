"""What commands share on the mounting that they ask for: one of the store, or one made from their own options."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from matdb.api import Store
from matdb.cli.options import opt, option
from matdb.errors import InputError
from matdb.mounting.record import Mounting
from matdb.units import parse, parse_range

MassOption = Annotated[str | None, opt("--mass", "MASS", "Suspended mass, such as 600g.")]
CountOption = Annotated[int | None, opt("--count", "NUMBER", "Number of isolators.")]
RotorOption = Annotated[
    str | None, opt("--rotor", "RANGE", "Rotor speed in flight, lowest to highest, such as 4200rpm..8000rpm.")
]
BladesOption = Annotated[int | None, opt("--blades", "NUMBER", "Blades per rotor; 2 without it.")]
ManoeuvreOption = Annotated[
    str | None,
    opt("--manoeuvre", "FREQUENCY", "Top of the band in which the camera must follow the craft, such as 8Hz."),
]


@dataclass(frozen=True)
class MountingOptions:
    """Which mounting."""

    mounting: str | None = option("NAME", "A mounting of the store.")
    mass: MassOption = None
    count: CountOption = None
    rotor: RotorOption = None
    blades: BladesOption = None
    manoeuvre: ManoeuvreOption = None

    def of(self, store: Store) -> Mounting:
        """The mounting of the store, or one from the options. Raises InputError for a mix of both, NotFound."""
        own = {name: getattr(self, name) for name in ("mass", "count", "rotor", "blades", "manoeuvre")}
        if self.mounting is None:
            return mounting_from_options("as given", **own)
        refuse_beside_mounting(own)
        return store.mounting(self.mounting)


def refuse_beside_mounting(options: dict[str, Any]) -> None:
    """Refuse what a mounting of the store tells by itself, by the name of its option. Raises InputError."""
    for name, value in options.items():
        if value is not None:
            raise InputError(f"--{name}", value, "left out with --mounting", "the mounting has its own")


def mounting_from_options(
    name: str,
    mass: str | None,
    count: int | None,
    rotor: str | None,
    blades: int | None,
    manoeuvre: str | None,
    **more: Any,
) -> Mounting:
    """A mounting from a command's words. Raises InputError, naming what is missing."""
    for option_, value, example in (
        ("--mass", mass, "600g"),
        ("--count", count, "4"),
        ("--rotor", rotor, "4200rpm..8000rpm"),
    ):
        if value is None:
            raise InputError(option_, None, f"given, for instance {option_} {example}")
    assert mass is not None
    assert count is not None
    assert rotor is not None
    low, high = parse_range(rotor, "rotor_speed", "--rotor")
    if manoeuvre is not None:
        more["manoeuvre_hz"] = parse(manoeuvre, "frequency", "--manoeuvre")
    if blades is not None:
        more["blades"] = blades
    return Mounting(name=name, mass_kg=parse(mass, "mass", "--mass"), count=count, rpm_idle=low, rpm_full=high, **more)
