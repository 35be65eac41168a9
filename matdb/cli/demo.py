"""``matdb demo``: the main job on an invented scenario, from readings to the ranked answer."""

from __future__ import annotations

import json
import tempfile
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from matdb.advice.summary import summary
from matdb.api import Store, open_store
from matdb.bench.readings import Reading
from matdb.cli import fit
from matdb.cli.answering import Told
from matdb.cli.options import ForceOption, option, write_answer
from matdb.cli.screen import Column, Progress, band_cell, lines, records_table, show, table
from matdb.cli.stiffness import show_rows
from matdb.cli.suit import all_warnings, suit_content
from matdb.curve.curve import Curve
from matdb.errors import InputError, StoreError
from matdb.exchange.reading_file import read_readings
from matdb.exchange.tables import curve_table, stiffness_table
from matdb.files import new_file
from matdb.form import Part, form_from_dict
from matdb.material.record import Material
from matdb.mounting.record import Mounting, mounting_from_dict
from matdb.shipped import data_folder
from matdb.weather.forecast import forecast_range

INVENTED = "All materials, parts, readings and the craft of this demo are invented."


@dataclass(frozen=True)
class DemoScenario:
    """Invented materials, parts, readings and one mounting, with tomorrow's forecast.

    Attributes
    ----------
    materials, parts, readings, mounting
        The records.
    forecast_c : tuple of float
        Lowest and highest temperature of tomorrow, degrees Celsius.
    shown_part : str
        The part whose stiffness the demo shows.
    field_temperatures_c : list of float
        At which it does, degrees Celsius.
    """

    materials: list[Material]
    parts: list[Part]
    readings: list[Reading]
    mounting: Mounting
    forecast_c: tuple[float, float]
    shown_part: str
    field_temperatures_c: list[float]

    @property
    def records(self) -> list[Material | Part | Reading | Mounting]:
        """All records, for :meth:`matdb.api.Store.add`."""
        return [*self.materials, *self.parts, *self.readings, self.mounting]


def demo_scenario() -> DemoScenario:
    """The scenario that ships with matdb. Raises InputError where its files were changed."""
    folder, file = data_folder(), "demo_readings.csv"
    told = json.loads((folder / "demo.json").read_text(encoding="utf-8"))
    materials = [Material(**values) for values in told["materials"]]
    parts = [Part(**(values | {"form": form_from_dict(values["form"])})) for values in told["parts"]]
    known: dict[str, Any] = {"parts": {p.name: p for p in parts}, "materials": [m.name for m in materials]}
    found = read_readings(file, (folder / file).read_bytes(), **known)
    if found.problems:
        raise InputError(file, str(found.problems[0]), "as shipped", "install matdb again")
    forecast_c = (told["forecast_c"]["low"], told["forecast_c"]["high"])
    shown = (told["shown_part"], told["field_temperatures_c"])
    return DemoScenario(materials, parts, found.readings, mounting_from_dict(told["mounting"]), forecast_c, *shown)


def demo(
    call: Told,
    csv: str | None = option("FILE", "Also write the curve of one material to this CSV file."),
    force: ForceOption = False,
) -> None:
    """Walk the main job on an invented scenario, in a store of its own unless --store names one."""
    if csv is not None:
        new_file(csv, force=force)
    scenario = demo_scenario()
    mounting, hours = scenario.mounting, forecast_range(*scenario.forecast_c).temperature_c
    # MATDB_STORE is left alone: nobody wants invented readings among their own.
    place = call.own_store or str(Path(tempfile.mkdtemp(prefix="matdb-demo-")) / "demo.sqlite")
    with open_store(place, as_fitted=True) as opened:
        address = opened.records.place.shown  # without its password
        if any(opened.records.counts().values()):
            # Invented parts among measured ones would be ranked with them.
            only = "it holds records already; the demo fills only a new store: name another file"
            raise StoreError(address, only)
        opened.add(scenario.records)
        if not call.as_json:
            _show_logged(scenario, address)
        curves = [_fit(opened, material.name) for material in scenario.materials]
        shown = opened.part(scenario.shown_part)
        at = np.array(scenario.field_temperatures_c)
        ranking = opened.suit(mounting.name, hours)
        squeeze = next(row.squeeze_mm for row in ranking if row.part == shown.name)
        under: dict[str, Any] = {"mass_kg": mounting.mass_kg, "count": mounting.count, "squeeze_mm": squeeze}
        answer = stiffness_table(opened, [shown.name], at, **under)
        curve, record = opened.curve(shown.material), opened.material(shown.material)
        rows = curve_table(curve, record, np.arange(-20.0, 51.0, 5.0), np.array([30.0]))
    written = write_answer(csv, rows.header, rows.rows, force)

    if not call.as_json:
        records_table(curves, _FIT_COLUMNS)
        of = f"{mounting.count} of them, squeezed {squeeze:.3g} mm, under {mounting.mass_kg * 1e3:g} g"
        _title(f"3. Stiffness of the {shown.name} in the field: {of}")
        show_rows(answer.banded())
        lines("Before you rely on it:", answer.warnings)
        _title("4. Ask this store yourself")
        turns = f'squeeze "{shown.name}" --mounting "{mounting.name}" --temp -6C..14C'
        for asked in (turns, f'report "{shown.material}"'):
            show(f'matdb {asked} --store "{address}"', indent="  ", wrap=False)
        _title("5. Which part suits tomorrow")
    content = {
        "about": INVENTED,
        "store": address,
        "counts": {name: len(getattr(scenario, name)) for name in ("materials", "parts", "readings")},
        "fits": [fit.summary(c) for c in curves],
        "stiffness": answer.banded(),
        "files": written,
        **suit_content(mounting, hours, ranking, "axial", None),
    }
    told = summary(mounting, hours, ranking)
    warnings = [*answer.warnings, *all_warnings(ranking)]
    call.tell(told, content, warnings=warnings, how_to_ask="'matdb suit --why all'", first_use=True)


def _fit(store: Store, material: str) -> Curve:
    with Progress(f"fit of {material}") as update:
        return store.fit(material, progress=update)


def _title(text: str) -> None:
    show()
    show(text)
    show()


def _show_logged(scenario: DemoScenario, address: str) -> None:
    show(INVENTED)
    show(f"Store: {address}", wrap=False)
    _title("1. What was logged")
    blocks = []
    for material in scenario.materials:
        own = [part.name for part in scenario.parts if part.material == material.name]
        first = [f"{material.name} ({material.family})", "", *_readings_text(scenario, "material", material.name)]
        blocks.append([first, *(["", name, *_readings_text(scenario, "part", name)] for name in own)])
    table(["material", "part", "readings", "at degC"], *blocks)
    _title("2. One fit for each material, over all of its readings")


def _readings_text(scenario: DemoScenario, what: str, name: str) -> list[str]:
    readings = [each for each in scenario.readings if each.subject == what and getattr(each, what) == name]
    if not readings:
        return ["none", "-"]
    kinds = Counter(r.kind for r in readings)
    low, high = min(r.temperature_c for r in readings), max(r.temperature_c for r in readings)
    span = f"{low:g}" if low == high else f"{low:g} to {high:g}"
    return [", ".join(f"{n} {kind}" for kind, n in kinds.items()), span]


_FIT_COLUMNS: Final = (
    Column("material", lambda c: str(c.material)),
    Column("readings", lambda c: str(c.reading_count or "none: label only"), right=True),
    Column("E' at -6 degC, 30 Hz, MPa", lambda c: band_cell(c.modulus(-6.0, 30.0).storage_mpa)),
    Column("E' at 23 degC, 30 Hz, MPa", lambda c: band_cell(c.modulus(23.0, 30.0).storage_mpa)),
)
