"""``matdb store``: the store as a whole."""

from __future__ import annotations

from typing import Annotated

import typer

from matdb.cli.options import JsonOption, StoreOption, existing

app = typer.Typer(help="The store: what it holds, check, backup.", rich_markup_mode=None)


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

    Ends with exit code 1 when a backup must be restored.
    """
    from matdb.cli.screen import document, lines, show

    with existing(ctx, store) as kept:
        where, findings = kept.records.place.shown, kept.records.check()
    bad = any(f.level == "error" for f in findings)
    told = [f"{f.what}: {f.says}" for f in findings]
    if as_json:
        rows = [{"level": f.level, "what": f.what, "says": f.says} for f in findings]
        document("store check", {"store": where, "sound": not bad, "findings": rows}, told)
    else:
        show(f"{where}: {'damaged; restore a backup' if bad else 'sound'}", wrap=False)
        lines("Found:", told)
    if bad:
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
