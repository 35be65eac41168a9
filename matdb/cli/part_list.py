"""What ``matdb part list`` answers; neither Typer nor a form is needed."""

from __future__ import annotations


def part_list(store: str | None = None, *, material: str | None = None, as_json: bool = False) -> None:
    """Print the parts of a store, with how much was read of each."""
    from matdb.cli.opening import open_told
    from matdb.cli.screen import document, show, table
    from matdb.form.base import label_of

    with open_told(store) as kept:
        parts = kept.records.part_lines(material)
    if as_json:
        listed = [
            {
                "name": p.name,
                "material": p.material,
                "form": p.form,
                "thread": p.thread,
                "note": p.note,
                "readings": p.readings,
            }
            for p in parts
        ]
        document("part list", {"parts": listed})
        return
    if not parts:
        show("no part yet; add one with 'matdb part add'")
        return
    table(
        ["part", "material", "form, mm", "thread", "readings"],
        [[p.name, p.material, label_of(p.form), p.thread or "-", str(p.readings)] for p in parts],
        right=(4,),
    )
