"""``matdb demo``: the main job on an invented scenario, from readings to the ranked answer."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Annotated, Any

import typer

from matdb.cli.options import ForceOption, JsonOption, StoreOption

if TYPE_CHECKING:
    from matdb.curve.curve import Curve
    from matdb.exchange.demo_scenario import DemoScenario

INVENTED = "All materials, parts, readings and the craft of this demo are invented."


def demo(
    ctx: typer.Context,
    store: StoreOption = None,
    csv: Annotated[
        str | None,
        typer.Option("--csv", metavar="FILE", help="Also write the curve of one material to this CSV file."),
    ] = None,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Walk the main job on an invented scenario, in a store of its own unless --store names one."""
    import numpy as np

    from matdb.advice.suit import temperatures_between
    from matdb.api import open_store
    from matdb.cli.fit import laws_text, summary
    from matdb.cli.screen import document, progress, show
    from matdb.cli.stiffness_answer import nested, stiffness_rows
    from matdb.cli.suit import all_warnings, show_ranking, suit_content
    from matdb.errors import StoreError
    from matdb.exchange.csv_file import write_csv
    from matdb.exchange.demo_scenario import demo_scenario
    from matdb.exchange.tables import curve_table, stiffness_table
    from matdb.files import new_file

    if csv is not None:
        new_file(csv, force=force)
    scenario = demo_scenario()
    # MATDB_STORE is left alone: nobody wants invented readings among their own.
    where = store or ctx.find_root().params.get("store") or _fresh_file()
    hours = temperatures_between(*scenario.forecast_c)
    with open_store(where) as kept:
        where = kept.records.place.shown  # an address without its password
        if any(kept.records.counts().values()):
            # Invented parts among measured ones would be ranked with them.
            raise StoreError(where, "it holds records already; the demo fills only a new store: name another file")
        kept.add(scenario.records)
        if not as_json:
            show(INVENTED)
            show(f"Store: {where}", wrap=False)
            _title("1. What was logged")
            _logged(scenario)
            _title("2. One fit for each material, over all of its readings")
        curves = []
        for material in scenario.materials:
            with progress(f"fit of {material.name}") as update:
                curves.append(kept.fit(material.name, progress=update))
        shown = kept.part(scenario.shown_part)
        count = scenario.mounting.count
        answer = stiffness_table(
            kept,
            [shown.name],
            np.array(scenario.field_temperatures_c),
            mass_kg=scenario.mounting.mass_kg,
            count=count,
        )
        ranking = kept.suit(scenario.mounting.name, hours)
        table = curve_table(kept.curve(shown.material), np.arange(-20.0, 51.0, 5.0), np.array([30.0]))
    written = None if csv is None else str(write_csv(csv, table.header, table.rows, force=force))
    if as_json:
        content = {
            "about": INVENTED,
            "store": where,
            "counts": {
                "materials": len(scenario.materials),
                "parts": len(scenario.parts),
                "readings": len(scenario.readings),
            },
            "fits": [summary(c) for c in curves],
            "stiffness": [nested(r) for r in answer.records()],
            "csv": written,
            **suit_content(scenario.mounting, hours, ranking, "axial", None),
        }
        document("demo", content, [*answer.warnings, *all_warnings(ranking)])
        return
    _fits(curves, laws_text)
    _title(
        f"3. Stiffness of the {shown.name} in the field, {count} of them under {scenario.mounting.mass_kg * 1e3:g} g"
    )
    stiffness_rows(answer.records())
    for line in answer.warnings:
        show(line, indent="  - ")
    if written:
        show(f"Curve of {shown.material} at 30 Hz written: {written}", wrap=False)
    _title("4. Ask this store yourself")
    show(f'matdb stiffness "{shown.name}" --temp -5C --mass 155g --store "{where}"', indent="  ", wrap=False)
    show(f'matdb report "{shown.material}" --store "{where}"', indent="  ", wrap=False)
    _title("5. Which part suits tomorrow")
    show_ranking(scenario.mounting, hours, ranking)


def _fresh_file() -> str:
    import tempfile
    from pathlib import Path

    return str(Path(tempfile.mkdtemp(prefix="matdb-demo-")) / "demo.sqlite")


def _title(text: str) -> None:
    from matdb.cli.screen import show

    show()
    show(text)
    show()


def _logged(scenario: DemoScenario) -> None:
    from matdb.cli.screen import table

    by_part: dict[str, list[Any]] = {p.name: [] for p in scenario.parts}
    by_material: dict[str, list[Any]] = {m.name: [] for m in scenario.materials}
    for reading in scenario.readings:
        (by_part if reading.subject == "part" else by_material)[getattr(reading, reading.subject)].append(reading)
    rows, breaks = [], []
    for material in scenario.materials:
        label = f"{material.name} ({material.family})"
        rows.append([label, "", *_told(by_material[material.name])])
        for part in scenario.parts:
            if part.material == material.name:
                rows.append(["", part.name, *_told(by_part[part.name])])
        breaks.append(len(rows) - 1)
    table(["material", "part", "readings", "at degC"], rows, breaks=breaks[:-1])


def _told(readings: list[Any]) -> tuple[str, str]:
    if not readings:
        return "none", "-"
    kinds = Counter(r.kind for r in readings)
    low, high = min(r.temperature_c for r in readings), max(r.temperature_c for r in readings)
    span = f"{low:g}" if low == high else f"{low:g} to {high:g}"
    return ", ".join(f"{n} {kind}" for kind, n in kinds.items()), span


def _fits(curves: list[Curve], laws_text: Any) -> None:
    from matdb.cli.screen import band_text, table

    rows = []
    for curve in curves:
        cold, warm = (curve.modulus(t, 30.0).storage_mpa for t in (-6.0, 23.0))
        rows.append(
            [
                curve.material,
                str(curve.reading_count) if curve.reading_count else "none: family prior",
                band_text(cold.median, cold.low, cold.high),
                band_text(warm.median, warm.low, warm.high),
                laws_text(curve),
            ]
        )
    table(
        ["material", "readings", "E' at -6 degC, 30 Hz, MPa", "E' at 23 degC, 30 Hz, MPa", "shift law"],
        rows,
        right=(1,),
    )
