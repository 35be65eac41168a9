"""``matdb export store`` and ``matdb import store``: the whole store as one JSON file."""

from __future__ import annotations

from typing import Annotated

import typer

from matdb.cli.options import ForceOption, JsonOption, StoreOption, existing, opened

app = typer.Typer(help="Read what 'matdb export' wrote.", rich_markup_mode=None)


def export_store(
    ctx: typer.Context,
    out: Annotated[str, typer.Option("--out", metavar="FILE", help="The JSON file to write.")],
    force: ForceOption = False,
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write the whole store as one JSON file: records, history, fits, with units and fingerprint."""
    from matdb.cli.screen import document, show
    from matdb.exchange.fingerprint import store_fingerprint
    from matdb.exchange.whole_store import export_store as write

    with existing(ctx, store) as kept:
        written = write(kept, out, force=force)
        mark = store_fingerprint(kept)
    size = written.stat().st_size
    if as_json:
        document("export store", {"file": str(written), "bytes": size, "fingerprint": mark})
        return
    show(f"written: {written} ({size / 1e3:.0f} kB, fingerprint {mark})", wrap=False)


@app.command("store")
def import_store(
    ctx: typer.Context,
    file: Annotated[str, typer.Argument(metavar="FILE", help="A file that 'matdb export store' wrote.")],
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Fill a new, empty store from the JSON file of another one.

    Numbers, times, history and fits stay what they were. A store that holds something is refused.
    """
    from matdb.cli.screen import document, show
    from matdb.exchange.whole_store import import_store as read

    with opened(ctx, store) as kept:
        counts = read(kept, file)
        where = kept.records.place.shown
    if as_json:
        document("import store", {"store": where, "counts": counts})
        return
    show(f"{where}: " + ", ".join(f"{n} {name.replace('_', ' ')}" for name, n in counts.items() if n), wrap=False)
