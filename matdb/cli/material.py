"""``matdb material``: the elastomers."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Any, Final

from matdb.api import Store
from matdb.cli import options
from matdb.cli.options import Call, Edit, Group, JsonOption, Removal, arg, replaced
from matdb.cli.screen import Column, document, records_table, show, table
from matdb.fields import fields_of, record_fields
from matdb.material.families import families as known_families
from matdb.material.record import Material, as_sold

app = Group("Materials: family, label, service range.")

NameArgument = Annotated[str, arg("NAME", "The material's name.")]
_KNOWN = record_fields(Material)


@app.command()
@options.with_fields(
    options.argument_of(_KNOWN["name"]), *(options.option_of(each) for name, each in _KNOWN.items() if name != "name")
)
def add(given: dict[str, Any], call: Call) -> None:
    """Add a material.

    For instance: matdb material add 'TPU 85A'; or matdb material add 'clear gel' --family 'silicone gel'
    --hardness '30 OO'.
    """
    said = options.values_of(_KNOWN, given)
    sold = None if "family" in said else as_sold(said["name"])
    material = Material(**said) if sold is None else replace(sold, **said)
    number = call.added(material)
    label = ", " + material.hardness if material.hardness else ""
    text = f"added material {material.name} ({material.family}{label})"
    # A label's hardness says more than its family.
    more = [f"stiffness is open by a factor of ten or more until you tell its hardness: {material.untold}"]
    call.answer({"number": number, "material": material}, text, more if material.untold else ())


@app.command()
@options.with_fields(*(options.option_of(each, optional=True) for name, each in _KNOWN.items() if name != "name"))
def edit(name: NameArgument, given: dict[str, Any], call: Edit) -> None:
    """Edit a material.

    What it said before is kept, with the reason.
    """
    with call.existing() as kept:
        said = options.values_of(_KNOWN, given, keep_defaults=True)
        new, changed = call.edited(kept, kept.material(name), **said)
    call.answer({"material": new, "changed": changed}, f"edited material {new.name}: {', '.join(changed)}")


@app.command()
def remove(name: NameArgument, call: Removal) -> None:
    """Remove a material.

    It is kept with its history, its readings too.
    """
    call.removed(lambda store: store.material(name))


@app.command("list")
def list_(call: Call) -> None:
    """List the materials.

    With how much was read of each, and whether its fit is current.
    """

    def rows_of(kept: Store) -> list[dict[str, Any]]:
        return [fields_of(material) | _known_of(kept, material.name) for material in kept.materials()]

    rows = call.done(rows_of, asks=True)
    empty = "no material in this store yet; add one with 'matdb material add'"
    call.answer({"materials": rows}, lambda: records_table(rows, _COLUMNS, empty=empty))


_COLUMNS: Final = (
    Column("material", lambda row: row["name"]),
    Column("family", lambda row: row["family"]),
    Column("hardness", lambda row: row["hardness"] or "-"),
    Column("parts", lambda row: str(row["parts"]), right=True),
    Column("readings", lambda row: str(row["readings"]), right=True),
    Column("fit", lambda row: row["fit"]),
)


def _known_of(kept: Store, name: str) -> dict[str, Any]:
    newest = kept.records.newest_fit(name)
    state = "none" if newest is None else "stale" if kept.records.is_stale(newest) else "current"
    counts = {"parts": len(kept.records.names("part", name)), "readings": kept.records.reading_count(material=name)}
    return counts | {"fit": state}


@app.command("show")
def show_(name: NameArgument, call: Call) -> None:
    """Show a material.

    Its entries, its parts, its fits and what it said before.
    """
    with call.existing() as kept:
        material = kept.material(name)
        parts = [{"name": p.name, "form": p.form.label()} for p in kept.parts(name)]
        known, made, history = _known_of(kept, name), kept.records.fits(name), replaced(kept, "material", name)
    fits = [{"number": f.id, "made_at": f.created_at, "program_version": f.program_version} for f in made]
    readings, stale = known["readings"], known["fit"] == "stale"
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
    records_table(rows, _FAMILY_COLUMNS)
    show("Typical values; data/families.csv names the source and the spread of each.")


_FAMILY_COLUMNS: Final = (
    Column("family", lambda row: row["family"]),
    Column("E at 23 degC, MPa", lambda row: f"{row['youngs_modulus_23c']:g}", right=True),
    Column("loss factor", lambda row: f"{row['loss_factor_20c']:g}", right=True),
    Column("stiffer in the cold, times", lambda row: f"{row['cold_ratio']:g}", right=True),
    Column("service, degC", lambda row: f"{row['service_min']:g} to {row['service_max']:g}"),
)
