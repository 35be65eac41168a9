"""What commands share: their options, and opening the store."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Annotated

import typer

from matdb.cli.given import few_states as few_states
from matdb.cli.given import frequencies as frequencies
from matdb.cli.given import is_range as is_range
from matdb.cli.given import needed as needed
from matdb.cli.given import quantity as quantity
from matdb.cli.given import temperatures as temperatures
from matdb.cli.given import write_answer as write_answer

if TYPE_CHECKING:
    from matdb.api import Store

StoreOption = Annotated[
    str | None,
    typer.Option(
        "--store",
        metavar="FILE",
        help="The store: a file or a database URL. Without it, MATDB_STORE, else your own store.",
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Answer with one JSON document instead of tables.")]
ForceOption = Annotated[bool, typer.Option("--force", help="Replace a file that is there already.")]
NoteOption = Annotated[str, typer.Option("--note", metavar="TEXT", help="Free text.")]
SourceOption = Annotated[str, typer.Option("--source", metavar="TEXT", help="Where the entries come from.")]

TempsOption = Annotated[
    list[str],
    typer.Option(
        "--temp",
        metavar="TEMPERATURE",
        help="A temperature such as -5C or 23F, or a range such as -20C..50C. May be given several times.",
    ),
]
StepOption = Annotated[
    str, typer.Option("--step", metavar="KELVIN", help="Step within a range of temperatures, such as 5K.")
]
FrequenciesOption = Annotated[
    list[str] | None,
    typer.Option(
        "--frequency",
        metavar="FREQUENCY",
        help="A frequency such as 30Hz, or a range such as 1Hz..100Hz. May be given several times.",
    ),
]
MassOption = Annotated[
    str | None,
    typer.Option("--mass", metavar="MASS", help="The mass on all the parts together, such as 250g."),
]
CountOption = Annotated[int, typer.Option("--count", metavar="NUMBER", help="How many equal parts share the mass.")]
AxisOption = Annotated[
    str, typer.Option("--axis", metavar="AXIS", help="Direction of the part: axial, shear, radial or lateral.")
]
SqueezeOption = Annotated[
    str, typer.Option("--squeeze", metavar="LENGTH", help="Static squeeze of each part, such as 0.5mm.")
]
CsvOption = Annotated[str | None, typer.Option("--csv", metavar="FILE", help="Also write the rows to this CSV file.")]


def store_name(ctx: typer.Context, store: str | None) -> str | None:
    """The store that the user named: after the command, before it, or in MATDB_STORE."""
    return store or ctx.find_root().params.get("store") or os.environ.get("MATDB_STORE") or None


def opened(ctx: typer.Context, store: str | None) -> Store:
    """Open the store; for a ``with`` block. Raises as :func:`matdb.api.open_store`."""
    from matdb.cli.opening import open_told

    return open_told(store_name(ctx, store))


def existing(ctx: typer.Context, store: str | None) -> Store:
    """Open a store that must be there already. Raises as :func:`matdb.cli.opening.open_existing`."""
    from matdb.cli.opening import open_existing

    return open_existing(store_name(ctx, store))
