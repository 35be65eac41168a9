"""``matdb export store`` and ``matdb import store``: the whole store as one JSON file."""

from __future__ import annotations

from typing import Annotated

import typer

from matdb.cli import export
from matdb.cli.options import Call, ForceOption, arg, collects, opt
from matdb.cli.screen import counts_text, show
from matdb.exchange import whole_store
from matdb.exchange.fingerprint import store_fingerprint

app = typer.Typer(help="Read what 'matdb export' wrote.", rich_markup_mode=None)


@export.app.command("store", short_help="Write the whole store as one JSON file.")
@collects
def export_store(
    out: Annotated[str, opt("--out", "FILE", "The JSON file to write.")], force: ForceOption = False, *, call: Call
) -> None:
    """Write the whole store as one JSON file: records, history, fits, with units and fingerprint."""
    with call.existing() as store:
        written = whole_store.export_store(store, out, force=force)
        mark = store_fingerprint(store)
    size = written.stat().st_size
    call.answer(
        {"file": str(written), "bytes": size, "fingerprint": mark},
        lambda: show(f"written: {written} ({size / 1e3:.0f} kB, fingerprint {mark})", wrap=False),
    )


@app.command("store")
@collects
def import_store(file: Annotated[str, arg("FILE", "A file that 'matdb export store' wrote.")], call: Call) -> None:
    """Fill a new, empty store from the JSON file of another one.

    Numbers, times, history and fits stay what they were. A store that holds something is refused.
    """
    with call.opened() as store:
        counts = whole_store.import_store(store, file)
        address = store.records.place.shown
    text = counts_text({name.replace("_", " "): number for name, number in counts.items()})
    call.answer({"store": address, "counts": counts}, lambda: show(f"{address}: {text}", wrap=False))
