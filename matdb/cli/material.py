"""``matdb material``: the elastomers."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from matdb.cli.options import JsonOption, NoteOption, SourceOption, StoreOption, existing, opened, quantity

app = typer.Typer(help="Materials: family, label, service range.", rich_markup_mode=None)

NameArgument = Annotated[str, typer.Argument(metavar="NAME", help="The material's name.")]
_TEMPERATURE = "such as -60C"


@app.command()
def add(
    ctx: typer.Context,
    name: NameArgument,
    family: Annotated[
        str,
        typer.Option(
            "--family", metavar="FAMILY", help="Generic family, such as silicone; 'matdb material families' lists them."
        ),
    ] = "unknown",
    hardness: Annotated[
        str | None,
        typer.Option("--hardness", metavar="SHORE", help="Nominal Shore hardness with its scale, such as '40 A'."),
    ] = None,
    density: Annotated[
        str | None, typer.Option("--density", metavar="DENSITY", help="Density, such as 1120kg/m3.")
    ] = None,
    glass_transition: Annotated[
        str | None,
        typer.Option(
            "--glass-transition",
            metavar="TEMPERATURE",
            help=f"Glass transition from a data sheet, {_TEMPERATURE}.",
        ),
    ] = None,
    service_min: Annotated[
        str | None,
        typer.Option("--service-min", metavar="TEMPERATURE", help=f"Lowest service temperature, {_TEMPERATURE}."),
    ] = None,
    service_max: Annotated[
        str | None,
        typer.Option("--service-max", metavar="TEMPERATURE", help="Highest service temperature, such as 80C."),
    ] = None,
    source: SourceOption = "",
    note: NoteOption = "",
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Add a material."""
    from matdb.cli.screen import document, show
    from matdb.material.record import Material

    material = Material(
        name=name,
        family=family,
        hardness=hardness,
        density_kg_m3=quantity(density, "density", "--density"),
        glass_transition_c=quantity(glass_transition, "temperature", "--glass-transition"),
        service_min_c=quantity(service_min, "temperature", "--service-min"),
        service_max_c=quantity(service_max, "temperature", "--service-max"),
        source=source,
        note=note,
    )
    with opened(ctx, store) as kept:
        number = kept.add(material)
    if as_json:
        document("material add", {"number": number, "material": fields_of(material)})
        return
    show(f"added material {name} ({material.family}{', ' + material.hardness if material.hardness else ''})")


@app.command("list")
def list_(ctx: typer.Context, store: StoreOption = None, as_json: JsonOption = False) -> None:
    """List the materials.

    With how much was read of each, and whether its fit is current.
    """
    from matdb.cli.screen import document, show, table

    rows: list[dict[str, Any]] = []
    with opened(ctx, store) as kept:
        for material in kept.materials():
            newest = kept.records.newest_fit(material.name, reading_ids=False)
            state = "none" if newest is None else "stale" if kept.records.is_stale(newest) else "current"
            counts = {
                "parts": len(kept.records.part_lines(material.name)),
                "readings": kept.records.reading_count(material=material.name),
                "fit": state,
            }
            rows.append(fields_of(material) | counts)
    if as_json:
        document("material list", {"materials": rows})
        return
    if not rows:
        show("no material in this store yet; add one with 'matdb material add'")
        return
    table(
        ["material", "family", "hardness", "parts", "readings", "fit"],
        [
            [
                row["name"],
                row["family"],
                row["hardness"] or "-",
                str(row["parts"]),
                str(row["readings"]),
                row["fit"],
            ]
            for row in rows
        ],
        right=(3, 4),
    )


@app.command("show")
def show_(ctx: typer.Context, name: NameArgument, store: StoreOption = None, as_json: JsonOption = False) -> None:
    """Show a material.

    Its entries, its parts, its fits and what it said before.
    """
    from matdb.cli.screen import document, show, table

    with existing(ctx, store) as kept:
        material = kept.material(name)
        parts = [{"name": p.name, "form": p.form.label()} for p in kept.parts(name)]
        readings = sum(1 for _ in kept.records.each_reading(name))
        newest = kept.records.newest_fit(name, reading_ids=False)
        stale = newest is not None and kept.records.is_stale(newest)
        fits = [
            {"number": f.id, "made_at": f.created_at, "program_version": f.program_version}
            for f in kept.records.fits(name)
        ]
        history = [
            {"replaced_at": when, "why": why, "before": before}
            for when, why, before in kept.records.history("material", name)
        ]
    warnings = [f"the fit is older than the newest reading or record: run 'matdb fit \"{name}\"'"] if stale else []
    content = {
        "material": fields_of(material),
        "parts": parts,
        "readings": readings,
        "fits": fits,
        "stale": stale,
        "history": history,
    }
    if as_json:
        document("material show", content, warnings)
        return
    values = [
        ("family", material.family),
        ("hardness", material.hardness),
        ("density, kg/m3", material.density_kg_m3),
        ("glass transition, degC", material.glass_transition_c),
        ("service from, degC", material.service_min_c),
        ("service to, degC", material.service_max_c),
        ("source", material.source),
        ("note", material.note),
        ("readings", readings),
        ("fits", len(fits)),
        ("parts", ", ".join(p["name"] for p in parts)),
    ]
    table([material.name, ""], [[k, f"{v:g}" if isinstance(v, float) else str(v)] for k, v in values if v or v == 0])
    for line in warnings:
        show(line)


@app.command()
def families(as_json: JsonOption = False) -> None:
    """List the generic families.

    With what is known of them before any reading.
    """
    from matdb.cli.screen import document, show, table
    from matdb.material.families import families as known

    names = ("youngs_modulus_23c", "loss_factor_20c", "cold_ratio", "service_min", "service_max")
    rows = [{"family": family.name} | {name: family[name].value for name in names} for family in known().values()]
    if as_json:
        document("material families", {"families": rows})
        return
    table(
        ["family", "E at 23 degC, MPa", "loss factor", "stiffer in the cold, times", "service, degC"],
        [
            [
                str(row["family"]),
                f"{row[names[0]]:g}",
                f"{row[names[1]]:g}",
                f"{row[names[2]]:g}",
                f"{row[names[3]]:g} to {row[names[4]]:g}",
            ]
            for row in rows
        ],
        right=(1, 2, 3),
    )
    show("Typical values; data/families.csv names the source and the spread of each.")


def fields_of(record: Any) -> dict[str, Any]:
    """A record's fields as plain values."""
    from dataclasses import fields

    return {f.name: getattr(record, f.name) for f in fields(record)}
