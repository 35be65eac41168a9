"""``matdb store``: the store as a whole."""

from __future__ import annotations

from typing import Annotated

import typer

from matdb.cli.options import JsonOption, StoreOption, existing, store_name

app = typer.Typer(help="The store: what it holds, check, backup, restore.", rich_markup_mode=None)


@app.command()
def info(ctx: typer.Context, store: StoreOption = None, as_json: JsonOption = False) -> None:
    """Show where the store is and how much it holds."""
    from matdb.cli.screen import document, show, table

    with existing(ctx, store) as kept:
        where, counts, readonly = kept.records.place.shown, kept.records.counts(), kept.records.readonly
    if as_json:
        document("store info", {"store": where, "read_only": readonly, "counts": counts})
        return
    show(f"{where}{' (can only be read)' if readonly else ''}", wrap=False)
    table(["holds", ""], [[name, str(number)] for name, number in counts.items()], right=(1,))


@app.command()
def check(ctx: typer.Context, store: StoreOption = None, as_json: JsonOption = False) -> None:
    """Look for damage in the store.

    The data that ship with matdb are held against their checksums too. Ends with exit code 1 when a backup must be
    restored or matdb be installed again.
    """
    from matdb.cli.screen import document, lines, show
    from matdb.shipped import changed_data

    with existing(ctx, store) as kept:
        where, findings = kept.records.place.shown, kept.records.check()
    bad = any(f.level == "error" for f in findings)
    shipped = changed_data()
    told = [f"{f.what}: {f.says}" for f in findings]
    told += [f"shipped file {name}: {says}" for name, says in shipped.items()]
    if as_json:
        rows = [{"level": f.level, "what": f.what, "says": f.says} for f in findings]
        content = {"store": where, "sound": not bad, "findings": rows, "shipped_sound": not shipped, "shipped": shipped}
        document("store check", content, told)
    else:
        show(f"{where}: {'damaged; restore a backup' if bad else 'sound'}", wrap=False)
        if shipped:
            show("the data that ship with matdb are not as they were; install it again:")
            show("pip install --force-reinstall elastomer-matdb", indent="  ", wrap=False)
        lines("Found:", told)
    if bad or shipped:
        raise typer.Exit(1)


@app.command()
def backup(
    ctx: typer.Context,
    file: Annotated[str, typer.Argument(metavar="FILE", help="The new file to write the store to.")],
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write the store as it is now to a new file."""
    from matdb.cli.screen import document, show

    with existing(ctx, store) as kept:
        where = kept.records.place.shown
        kept.records.backup(file)
    if as_json:
        document("store backup", {"store": where, "backup": file})
        return
    show(f"written: {file}", wrap=False)


@app.command()
def restore(
    ctx: typer.Context,
    file: Annotated[str, typer.Argument(metavar="FILE", help="A backup, or what an upgrade kept of an older store.")],
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Make a store from a backup.

    The store is a new file, or an empty database on a server. The backup is checked first and is not changed.
    """
    from matdb.cli.screen import document, show
    from matdb.store import Records
    from matdb.store import restore as make

    where = store_name(ctx, store)
    make(file, where)
    with Records(where) as made:
        shown, counts = made.place.shown, made.counts()
    if as_json:
        document("store restore", {"store": shown, "backup": file, "counts": counts})
        return
    show(f"{shown}: " + ", ".join(f"{number} {name}" for name, number in counts.items() if number), wrap=False)
