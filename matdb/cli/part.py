"""``matdb part``: the isolators."""

from __future__ import annotations

from contextlib import suppress
from typing import Annotated, Any, Final

from matdb.api import Store
from matdb.cli.answering import Asked
from matdb.cli.dimensions import dimensions_told, form_from_words, form_options, split_words
from matdb.cli.options import (
    NEEDED,
    Call,
    Edit,
    ForceOption,
    Group,
    Held,
    JsonOption,
    NoteOption,
    Removal,
    arg,
    option,
    quantity,
    replaced,
)
from matdb.cli.paging import Paged
from matdb.cli.screen import Column, band_cell, document, number_text, records_table, show, sketch, table
from matdb.cli.stiffness import rests_text
from matdb.fields import plain, record_fields
from matdb.files import write_text
from matdb.form import FORMS, Part
from matdb.form.base import FormBase, form_named
from matdb.picture.part_svg import part_svg
from matdb.units import counted

app = Group("Parts: form, dimensions, material.")


MASS: Final[Any] = option("MASS", "Weight of one piece, such as 1.2g; by its drawing without it.")
PRICE: Final[Any] = option("NUMBER", "What one piece costs, in your own currency.")
_WORDS: Final = "The part's name, and the dimensions of its form: 'matdb part forms' lists them."


@app.command(context_settings={"ignore_unknown_options": True})
def add(
    call: Call,
    words: Annotated[list[str], arg("NAME --DIMENSION SIZE...", _WORDS)],
    material: str = option(
        "NAME", "The material it is made of; a new one as it is sold, such as 'silicone 30A'.", NEEDED
    ),
    form: str = option("FORM", "Its form, such as ring or strut.", NEEDED),
    thread: str | None = option("THREAD", "The screw that squeezes it, such as M3."),
    note: NoteOption = "",
    mass: str | None = MASS,
    price: float | None = PRICE,
    yes: bool = option(None, "Store dimensions that look like a slip of a unit or a digit.", False),
) -> None:
    """Add a part.

    For instance: matdb part add 'ring 16x6x5' --material 'silicone 40A' --form ring --outer 16mm --inner 6mm
    --height 5mm; or a pair that a screw squeezes: matdb part add 'gel pair' --material 'gel 30 OO' --form
    grommet-pair --lower 'ring 14x5x7mm' --upper 'ring 14x5x5mm' --plate 2mm --thread M3; or known by points: matdb
    part add loop --material 'wire rope' --form cable-loop --height 30mm --point 0.6mm:5N --point 1.5mm:10N, or --points
    FILE with columns such as deflection_mm and force_n.
    """
    name, given = split_words(words)
    part = Part(
        name=name, material=material, form=_shape(form, given, thread), thread=thread, note=note, **_cost(mass, price)
    )
    number = call.added(part, sure=yes)
    with call.existing() as kept:
        warnings = _warnings(kept, part)
    text = f"added part {name}: {part.form.label('mm')}, of {material}"
    call.answer({"number": number, "part": part}, text, warnings)


@app.command(context_settings={"ignore_unknown_options": True})
def edit(
    call: Edit,
    words: Annotated[list[str], arg("NAME --DIMENSION SIZE...", "The part's name, and what changes of its form.")],
    material: str | None = option("NAME", "The material it is made of."),
    form: str | None = option("FORM", "Another form, with all its dimensions."),
    thread: str | None = option("THREAD", "The screw that squeezes it, such as M3."),
    note: str | None = option("TEXT", "Free text."),
    mass: str | None = MASS,
    price: float | None = PRICE,
    yes: bool = option(None, "Store dimensions that look like a slip of a unit or a digit.", False),
) -> None:
    """Edit a part.

    What it said before is kept, with the reason; its readings stay with it.
    """
    name, given = split_words(words)
    with call.existing() as kept:
        old = kept.part(name)
        said = {"material": material, "thread": thread, "note": note} | _cost(mass, price)
        known = None if form else old.form
        shape = _shape(form or old.form.kind, given, thread, known) if given or form else None
        if shape is not None and not yes:
            shape.check_meant()
        new, changed = call.edited(kept, old, form=shape, **said)
        warnings = _warnings(kept, new)
    text = f"edited part {new.name}: {new.form.label('mm')}, of {new.material}"
    call.answer({"part": new, "changed": changed}, text, warnings)


def _warnings(kept: Store, part: Part) -> list[str]:
    form = part.form
    return [*part.misfit(kept.material(part.material)), *filter(None, [form.large]), *form.warnings(form.axes[0])]


def _shape(kind: str, given: dict[str, str], thread: str | None, old: FormBase | None = None) -> FormBase:
    """The form of the words; one that knows of the screw turns it into squeeze."""
    if thread is not None and kind in FORMS and "thread" in record_fields(FORMS[kind]):
        given["--thread"] = thread
    return form_from_words(kind, given, old=old)


@app.command()
def remove(name: Annotated[str, arg("NAME", "The part's name.")], call: Removal) -> None:
    """Remove a part.

    It is kept with its history, its readings too.
    """
    call.removed(lambda store: store.part(name))


def _cost(mass: str | None, price: float | None) -> dict[str, Any]:
    return {"mass_kg": quantity(mass, "mass", "--mass"), "price": price}


_COLUMNS: Final = (
    Column("part", lambda p: str(p[0].name)),
    Column("material", lambda p: str(p[0].material)),
    Column("form, mm", lambda p: p[0].form.label()),
    Column("thread", lambda p: p[0].screw or "-"),
    Column("readings", lambda p: str(p[1]), right=True),
)


@app.command("list")
def list_(
    call: Paged,
    material: str | None = option("NAME", "Only parts of this material."),
    after: str = option("NAME", "Go on after this part.", ""),
) -> None:
    """List the parts.

    By name, with how much was read of each.
    """
    found = call.done(lambda kept: kept.records.parts_read(material, after=after, most=call.most()), asks=True)
    parts, more = call.page(found)
    last = parts[-1][0].name if more else None

    def screen() -> None:
        if more:
            show(f'the first {counted(len(parts), "parts")}; for the next add: --after "{last}"', wrap=False)
        records_table(parts, _COLUMNS, empty=f"no part{after and ' after that'} yet; add one with 'matdb part add'")

    content = [{**plain(part), "readings": count} for part, count in parts]
    call.answer({"parts": content, "next_after": last}, screen)


@app.command("show")
def show_(
    name: Annotated[str, arg("NAME", "The part's name.")],
    call: Asked,
    picture: str | None = option("FILE", "Write a drawing to scale, with its dimensions, as SVG."),
    force: ForceOption = False,
) -> None:
    """Show a part.

    One sheet: form, readings, stiffness at three temperatures, squeeze, what to read next.
    """
    with call.existing() as kept:
        part = kept.part(name)
        readings, history = kept.records.reading_count(part=name), replaced(kept, "part", name)
        # What was newly read is fitted for the answer.
        told, at = _stiffness_told(kept, part), _SHEET_C
        curve = kept.curve(part.material)
    unit: dict[str, float] = {}
    warnings: dict[str, None] = {}
    for axis in part.form.axes:
        with suppress(ValueError):  # a direction that frictionless faces do not carry
            unit[axis] = float(part.form.stiffness_n_per_mm(1.0, axis))
            warnings |= dict.fromkeys(part.form.warnings(axis))
    screw, said = f", {part.thread} screw" * bool(part.thread), f" Note: {part.note}." * bool(part.note)
    read = counted(readings, "readings") if readings else "no reading"
    told.insert(0, f"{name}: {part.form.label('mm')}, of {part.material}{screw}; {read}.{said}")
    told.append(rests_text(curve.rests_on(name, at[0], at[-1])))
    first = f'a ring-down at room temperature: matdb bench "{name}"'
    then = f'matdb next "{name}" --temp {at[0]:g}C..{at[-1]:g}C tells'
    told.append(f"Read next: {then if curve.measured_c else first}.")
    if picture is not None:
        write_text(picture, part_svg(part.form, name), force=force)
        told.append(f"Drawn to scale in {picture}.")

    def behind() -> None:
        if unit:
            show(f"At a modulus of 1 MPa: {', '.join(f'{number_text(k)} N/mm {axis}' for axis, k in unit.items())}.")

    content = plain(part) | {"readings": readings, "stiffness_n_per_mm_at_1_mpa": unit}
    call.tell(told, {"part": content, "history": history}, behind, warnings, below=lambda: sketch(part.form))


#: Where a sheet tells the stiffness, degrees Celsius and Hz: usual of flights and of what carries a camera.
_SHEET_C, _SHEET_HZ = (-10.0, 10.0, 30.0), 30.0


def _stiffness_told(kept: Store, part: Part) -> list[str]:
    """How stiff a part is, held as it is without other word."""
    held = Held()
    with suppress(ValueError):
        band = kept.effective(part.name, _SHEET_C, _SHEET_HZ, **held.how(part)).stiffness_n_per_mm
        cells = [f"{band_cell(band, index=k)} N/mm at {t:g} degC" for k, t in enumerate(_SHEET_C)]
        squeezed = held.said(part).removeprefix(f"{part.name} ")
        return [
            f"At {_SHEET_HZ:g} Hz: {', '.join(cells)}.",
            f"That is {squeezed}; 'matdb squeeze' finds the best." * bool(squeezed),
        ]
    return []


@app.command()
def forms(form: Annotated[str | None, arg("FORM", "Only this one.")] = None, as_json: JsonOption = False) -> None:
    """List the forms; of one its dimensions too."""
    rows: list[dict[str, Any]] = []
    for kind, cls in sorted(FORMS.items()) if form is None else [(form, form_named(form))]:
        what = (cls.__doc__ or "").partition("\n")[0].rstrip(".")
        rows.append({"form": kind, "what": what, "dimensions": form_options(kind), "axes": cls.axes})
    if as_json:
        document("part forms", {"forms": rows})
        return
    if form is None:
        table(["form", "what it is"], [(row["form"], row["what"]) for row in rows])
        show("The dimensions of one: matdb part forms FORM.")
        return
    (row,) = rows
    show(f"{form}: {row['what']}; {', '.join(row['axes'])}.")
    show(f"matdb part add NAME --material NAME --form {form} {row['dimensions'].replace(',', '')}", indent="  ")
    for options, about in dimensions_told(form):
        show(f"{options}: {about}", indent="  ")
