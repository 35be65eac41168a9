"""``matdb store publish``: the table of stiffness for tools that only speak SQL."""

from __future__ import annotations

from typing import Annotated

import typer

from matdb.cli.options import JsonOption, StoreOption, existing


def publish(
    ctx: typer.Context,
    material: Annotated[
        str | None, typer.Option("--material", metavar="NAME", help="Only this material; every one without it.")
    ] = None,
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Compute the stiffness table that other tools read with SQL.

    A fit does so for its material by itself; ask for it after adding parts or mountings. The views are named
    published_material, published_part, published_reading, published_stiffness and published_stiffness_step.
    """
    from matdb.cli.screen import document, show
    from matdb.store.revisions import PUBLISHED

    with existing(ctx, store) as kept:
        rows = kept.publish(material)
        where = kept.records.place.shown
    if as_json:
        document("store publish", {"store": where, "rows": rows, "views": PUBLISHED})
        return
    show(f"{where}: {rows} rows in published_stiffness", wrap=False)
