"""``matdb page``: one HTML file for the field."""

from __future__ import annotations

from typing import Annotated

import typer

from matdb.cli.options import AxisOption, ForceOption, JsonOption, StoreOption, existing, needed, quantity


def page(
    ctx: typer.Context,
    mounting: Annotated[str, typer.Argument(metavar="MOUNTING", help="The mounting's name.")],
    out: Annotated[str, typer.Option("--out", metavar="FILE", help="The HTML file to write.")],
    temp: Annotated[
        str, typer.Option("--temp", metavar="RANGE", help="Temperatures that the page knows, such as -30C..50C.")
    ] = "-30C..50C",
    at: Annotated[
        str | None, typer.Option("--at", metavar="TEMPERATURE", help="The temperature that it opens at, such as -5C.")
    ] = None,
    part: Annotated[
        list[str] | None,
        typer.Option("--part", metavar="NAME", help="Take this part; the best ones when none is named. Repeatable."),
    ] = None,
    most: Annotated[int, typer.Option("--most", min=1, max=12, help="How many parts when none is named.")] = 8,
    squeeze: Annotated[
        str | None,
        typer.Option("--squeeze", metavar="LENGTH", help="Static squeeze of each part; without it the best for each."),
    ] = None,
    axis: AxisOption = "axial",
    force: ForceOption = False,
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write a page that answers in the field without a network: slide the temperature, read verdict and numbers."""
    from matdb.cli.cautions import ESTIMATE, FLIGHT
    from matdb.cli.screen import document, show
    from matdb.files import new_file
    from matdb.picture.page import save_page
    from matdb.picture.page_tables import page_tables
    from matdb.units import parse_range

    low, high = parse_range(temp, "temperature", "--temp")
    new_file(out, force=force)  # before the long work
    with existing(ctx, store) as kept:
        tables = page_tables(
            kept,
            mounting,
            low_c=low,
            high_c=high,
            parts=part or None,
            most=most,
            squeeze_mm=quantity(squeeze, "length", "--squeeze"),
            axis=axis,
        )
    at_c = None if at is None else needed(at, "temperature", "--at")
    written = save_page(tables, out, cautions=(ESTIMATE, *FLIGHT), at_c=at_c, force=force)
    if as_json:
        content = {
            "file": str(written),
            "bytes": written.stat().st_size,
            "fingerprint": tables.fingerprint,
            "parts": [p.name for p in tables.parts],
            "left_out": tables.left_out,
        }
        document("page", content)
        return
    show(f"written: {written} ({written.stat().st_size / 1e3:.0f} kB, {len(tables.parts)} parts)", wrap=False)
    show("Copy it to the phone; it needs no network and no program.")
