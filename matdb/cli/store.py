"""``matdb store``: the store as a whole."""

from __future__ import annotations

from typing import Annotated

import typer

from matdb.cli.options import Call, Group, arg, option
from matdb.cli.screen import counts_text, identified, lines, show, table
from matdb.fields import named
from matdb.shipped import changed_data
from matdb.store import Records
from matdb.store import restore as make
from matdb.store.revisions import PUBLISHED

app = Group("The store: what it holds, check, backup, restore.")


@app.command()
def info(call: Call) -> None:
    """Show where the store is and how much it holds."""
    with call.existing() as store:
        place, counts, readonly = store.records.place, store.records.counts(), store.records.readonly

    def screen() -> None:
        show(f"{place.shown}{' (can only be read)' if readonly else ''}", wrap=False)
        table(["holds", ""], [[name, str(number)] for name, number in counts.items()], right=(1,))
        if place.path is not None:
            show("Copy it with 'matdb store backup FILE', never the file alone: the newest changes may lie beside it.")

    call.answer({"store": place.shown, "read_only": readonly, "counts": identified(counts)}, screen)


@app.command()
def check(call: Call) -> None:
    """Look for damage in the store.

    The data that ship with matdb are held against their checksums too. Ends with exit code 1 when a backup must be
    restored or matdb be installed again.
    """
    with call.existing() as store:
        address, findings = store.records.place.shown, store.records.check()
    bad = any(f.level == "error" for f in findings)
    shipped = changed_data()
    said = [f"{f.what}: {f.says}" for f in findings]
    said += [f"shipped file {name}: {says}" for name, says in shipped.items()]

    def screen() -> None:
        show(f"{address}: {'damaged; restore a backup' if bad else 'sound'}", wrap=False)
        if shipped:
            show("the data that ship with matdb are not as they were; install it again:")
            show("pip install --force-reinstall elastomer-matdb", indent="  ", wrap=False)
        lines("Found:", said)

    content = {"store": address, "sound": not bad, "findings": findings, "shipped": named(shipped)}
    call.answer(content | {"shipped_sound": not shipped}, screen, said)
    if bad or shipped:
        raise typer.Exit(1)


@app.command()
def backup(file: Annotated[str, arg("FILE", "The new file to write the store to.")], call: Call) -> None:
    """Write the store as it is now to a new file."""
    with call.existing() as store:
        address = store.records.place.shown
        store.records.backup(file)
    call.answer({"store": address, "files": [file]}, lambda: show(f"written: {file}", wrap=False))


@app.command()
def restore(
    call: Call, file: Annotated[str, arg("FILE", "A backup, or what an upgrade kept of an older store.")]
) -> None:
    """Make a store from a backup.

    The store is a new file, or an empty database on a server. The backup is checked first and is not changed.
    """
    make(file, call.store_name)
    with Records(call.store_name) as made:
        address, counts = made.place.shown, made.counts()
    content = {"store": address, "backup": file, "counts": identified(counts)}
    call.answer(content, lambda: show(f"{address}: {counts_text(counts)}", wrap=False))


@app.command(short_help="Compute the stiffness table for SQL readers.")
def publish(call: Call, material: str | None = option("NAME", "Only this material; every one without it.")) -> None:
    """Compute the stiffness table that other tools read with SQL.

    A fit does so for its material by itself; ask for it after adding parts or mountings. The views are named
    published_material, published_part, published_reading, published_stiffness, published_stiffness_step and
    published_squeeze.
    """
    with call.existing() as store:
        rows = store.publish(material)
        address = store.records.place.shown
    content = {"store": address, "rows": rows, "views": PUBLISHED}
    call.answer(content, lambda: show(f"{address}: {rows} rows in published_stiffness", wrap=False))
