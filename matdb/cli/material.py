"""``matdb material``: the elastomers."""

from __future__ import annotations

from typing import Annotated, Any

from matdb.cli.options import (
    Call,
    Group,
    JsonOption,
    added,
    arg,
    argument_of,
    option_of,
    replaced,
    values_of,
    with_fields,
)
from matdb.cli.screen import document, show, table
from matdb.fields import fields_of, record_fields
from matdb.material.families import families as known_families
from matdb.material.record import Material

app = Group("Materials: family, label, service range.")

NameArgument = Annotated[str, arg("NAME", "The material's name.")]
_KNOWN = record_fields(Material)


@app.command()
@with_fields(argument_of(_KNOWN["name"]), *(option_of(each) for name, each in _KNOWN.items() if name != "name"))
def add(given: dict[str, Any], call: Call) -> None:
    """Add a material."""
    material = Material(**values_of(_KNOWN, given))
    with call.opened() as kept:
        number = added(kept, material)
    label = ", " + material.hardness if material.hardness else ""
    text = f"added material {material.name} ({material.family}{label})"
    call.answer({"number": number, "material": material}, lambda: show(text))


@app.command("list")
def list_(call: Call) -> None:
    """List the materials.

    With how much was read of each, and whether its fit is current.
    """
    rows: list[dict[str, Any]] = []
    with call.opened() as kept:
        for material in kept.materials():
            newest = kept.records.newest_fit(material.name)
            state = "none" if newest is None else "stale" if kept.records.is_stale(newest) else "current"
            counts = {
                "parts": len(kept.records.parts(material.name)),
                "readings": kept.records.reading_count(material=material.name),
                "fit": state,
            }
            rows.append(fields_of(material) | counts)

    def screen() -> None:
        if not rows:
            show("no material in this store yet; add one with 'matdb material add'")
            return
        shown = ("name", "family", "hardness", "parts", "readings", "fit")
        cells = [["-" if row[name] is None else str(row[name]) for name in shown] for row in rows]
        table(["material", *shown[1:]], cells, right=(3, 4))

    call.answer({"materials": rows}, screen)


@app.command("show")
def show_(name: NameArgument, call: Call) -> None:
    """Show a material.

    Its entries, its parts, its fits and what it said before.
    """
    with call.existing() as kept:
        material = kept.material(name)
        parts = [{"name": p.name, "form": p.form.label()} for p in kept.parts(name)]
        readings = sum(1 for _ in kept.records.each_reading(name))
        newest = kept.records.newest_fit(name)
        stale = newest is not None and kept.records.is_stale(newest)
        made = kept.records.fits(name)
        fits = [{"number": f.id, "made_at": f.created_at, "program_version": f.program_version} for f in made]
        history = replaced(kept, "material", name)
    warnings = [f"the fit is older than the newest reading or record: run 'matdb fit \"{name}\"'"] if stale else []

    def screen() -> None:
        own = {each.title: getattr(material, each.name) for each in _KNOWN.values() if each.name != "name"}
        more = {"readings": readings, "fits": len(fits), "parts": ", ".join(p["name"] for p in parts)}
        values = [(k, f"{v:g}" if isinstance(v, float) else str(v)) for k, v in (own | more).items() if v or v == 0]
        table([material.name, ""], values)
        for line in warnings:
            show(line)

    content = {"material": material, "parts": parts, "readings": readings, "fits": fits, "stale": stale}
    call.answer(content | {"history": history}, screen, warnings)


@app.command()
def families(as_json: JsonOption = False) -> None:
    """List the generic families.

    With what is known of them before any reading.
    """
    names = ("youngs_modulus_23c", "loss_factor_20c", "cold_ratio", "service_min", "service_max")
    rows = [{"family": known.name} | {name: known[name].value for name in names} for known in known_families().values()]
    if as_json:
        document("material families", {"families": rows})
        return
    table(
        ["family", "E at 23 degC, MPa", "loss factor", "stiffer in the cold, times", "service, degC"],
        [
            [str(family), *(f"{value:g}" for value in values), f"{low:g} to {high:g}"]
            for family, *values, low, high in (row.values() for row in rows)
        ],
        right=(1, 2, 3),
    )
    show("Typical values; data/families.csv names the source and the spread of each.")
