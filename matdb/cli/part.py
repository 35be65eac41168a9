"""``matdb part``: the isolators."""

from __future__ import annotations

from dataclasses import fields
from typing import Annotated, Final

import typer

from matdb.cli.dimensions import form_from_words, form_options, split_words
from matdb.cli.options import Call, JsonOption, NoteOption, added, arg, collects, opt, replaced
from matdb.cli.screen import Column, document, lines, number_text, records_table, show, table
from matdb.form import FORMS, Part
from matdb.form.base import label_of
from matdb.plain import plain

app = typer.Typer(help="Parts: form, dimensions, material.", rich_markup_mode=None)


_WORDS: Final = "The part's name, and the dimensions of its form: 'matdb part forms' lists them."


@app.command(
    context_settings={"ignore_unknown_options": True},
    epilog="For instance: matdb part add 'ring 16x6x5' --material 'amber 40A' --form ring --outer 16mm "
    "--inner 6mm --height 5mm. A pair that a screw squeezes: matdb part add 'gel pair' --material 'clear gel' "
    "--form grommet-pair --lower 'ring 14x5x7mm' --upper 'ring 14x5x5mm' --plate 2mm --thread M3. Known by "
    "points: matdb part add loop --material steel --form cable-loop --height 30mm --point 5N:0.6mm --point 10N:1.5mm, "
    "or --points FILE with columns such as deflection_mm and force_n.",
)
@collects
def add(
    words: Annotated[list[str], arg("NAME --DIMENSION SIZE...", _WORDS)],
    material: Annotated[str, opt("--material", "NAME", "The material it is made of.")],
    form: Annotated[str, opt("--form", "FORM", "Its form, such as ring or strut.")],
    thread: Annotated[str | None, opt("--thread", "THREAD", "The screw that squeezes it, such as M3.")] = None,
    note: NoteOption = "",
    *,
    call: Call,
) -> None:
    """Add a part."""
    name, given = split_words(words)
    if thread is not None and form in FORMS and any(f.name == "thread" for f in fields(FORMS[form])):
        # A form that knows of the screw turns it into squeeze.
        given["--thread"] = thread
    part = Part(name=name, material=material, form=form_from_words(form, given), thread=thread, note=note)
    with call.opened() as kept:
        number = added(kept, part)
    warnings = part.form.warnings(part.form.axes[0])

    def screen() -> None:
        show(f"added part {name}: {part.form.label()} mm, of {material}")
        lines("Before you rely on it:", warnings)

    call.answer({"number": number, "part": part}, screen, warnings)


_COLUMNS: Final = (
    Column("part", lambda p: str(p.name)),
    Column("material", lambda p: str(p.material)),
    Column("form, mm", lambda p: label_of(p.form)),
    Column("thread", lambda p: p.thread or "-"),
    Column("readings", lambda p: str(p.readings), right=True),
)


@app.command("list")
@collects
def list_(
    material: Annotated[str | None, opt("--material", "NAME", "Only parts of this material.")] = None, *, call: Call
) -> None:
    """List the parts.

    With how much was read of each.
    """
    with call.opened() as kept:
        parts = kept.records.part_lines(material)
    empty = "no part yet; add one with 'matdb part add'"
    call.answer({"parts": parts}, lambda: records_table(parts, _COLUMNS, empty=empty))


@app.command("show")
@collects
def show_(name: Annotated[str, arg("NAME", "The part's name.")], call: Call) -> None:
    """Show a part.

    Its form, what its geometry does to a modulus of 1 MPa, and how much was read.
    """
    with call.existing() as kept:
        part = kept.part(name)
        readings = kept.records.reading_count(part=name)
        history = replaced(kept, "part", name)
    unit: dict[str, float] = {}
    warnings: dict[str, None] = {}
    for axis in part.form.axes:
        try:
            unit[axis] = float(part.form.stiffness_n_per_mm(1.0, axis))
        except ValueError:
            # A direction that frictionless faces do not carry.
            continue
        warnings |= dict.fromkeys(part.form.warnings(axis))

    def screen() -> None:
        entries = {
            "material": part.material,
            "form, mm": part.form.label(),
            "thread": part.thread,
            "note": part.note,
            "readings": str(readings),
            **{f"stiffness {axis}, N/mm per MPa": number_text(k) for axis, k in unit.items()},
        }
        table([part.name, ""], [(title, text) for title, text in entries.items() if text])
        lines("Before you rely on it:", warnings)

    content = plain(part) | {"readings": readings, "stiffness_n_per_mm_at_1_mpa": unit}
    call.answer({"part": content, "history": history}, screen, warnings)


@app.command()
def forms(as_json: JsonOption = False) -> None:
    """List the forms and their dimensions."""
    rows = [
        (kind, (cls.__doc__ or "").partition("\n")[0].rstrip("."), form_options(kind), cls.axes)
        for kind, cls in sorted(FORMS.items())
    ]
    if as_json:
        keys = ("form", "what", "dimensions", "axes")
        document("part forms", {"forms": [dict(zip(keys, row, strict=True)) for row in rows]})
        return
    cells = [(*texts, ", ".join(axes)) for *texts, axes in rows]
    table(["form", "what it is", "dimensions", "directions"], cells, breaks=range(len(rows) - 1))
