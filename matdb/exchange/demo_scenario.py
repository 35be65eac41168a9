"""The demo scenario that ships with matdb; everything in it is invented."""

from __future__ import annotations

import json
from dataclasses import dataclass

from matdb.bench.readings import Reading
from matdb.errors import InputError
from matdb.exchange.reading_file import read_readings
from matdb.form import Part, form_from_dict
from matdb.material.record import Material
from matdb.mounting.record import Mounting, mounting_from_dict
from matdb.shipped import data_folder


@dataclass(frozen=True)
class DemoScenario:
    """Invented materials, parts, readings and one mounting, with a forecast.

    Attributes
    ----------
    materials, parts, readings, mounting
        The records.
    forecast_c : tuple of float
        Lowest and highest temperature of tomorrow, degrees Celsius.
    shown_part : str
        The part whose stiffness the demo shows.
    field_temperatures_c : tuple of float
        At which it does, degrees Celsius.
    """

    materials: tuple[Material, ...]
    parts: tuple[Part, ...]
    readings: tuple[Reading, ...]
    mounting: Mounting
    forecast_c: tuple[float, float]
    shown_part: str
    field_temperatures_c: tuple[float, ...]

    @property
    def records(self) -> list[Material | Part | Reading | Mounting]:
        """All records, for :meth:`matdb.api.Store.add`."""
        return [*self.materials, *self.parts, *self.readings, self.mounting]


def demo_scenario() -> DemoScenario:
    """Read the scenario from the shipped data.

    Raises
    ------
    InputError
        The shipped files were changed so that they cannot be read.
    """
    folder = data_folder()
    told = json.loads((folder / "demo.json").read_text(encoding="utf-8"))
    materials = tuple(Material(**m) for m in told["materials"])
    parts = tuple(Part(**(p | {"form": form_from_dict(p["form"])})) for p in told["parts"])
    found = read_readings(
        "demo_readings.csv",
        (folder / "demo_readings.csv").read_bytes(),
        parts={p.name: p for p in parts},
        materials=[m.name for m in materials],
    )
    if found.problems:
        raise InputError("demo_readings.csv", str(found.problems[0]), "as shipped", "install matdb again")
    return DemoScenario(
        materials=materials,
        parts=parts,
        readings=tuple(found.readings),
        mounting=mounting_from_dict(told["mounting"]),
        forecast_c=(told["forecast_c"]["low"], told["forecast_c"]["high"]),
        shown_part=told["shown_part"],
        field_temperatures_c=tuple(told["field_temperatures_c"]),
    )
