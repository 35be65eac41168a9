"""What commands share: their options, opening the store, and text to numbers in trade units."""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Any

import typer

from matdb.errors import InputError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

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

#: More states than this in one answer are refused.
_MOST_STATES = 20_000
_PER_DECADE = 5


def store_name(ctx: typer.Context, store: str | None) -> str | None:
    """The store that the user named: after the command, before it, or in MATDB_STORE."""
    return store or ctx.find_root().params.get("store") or os.environ.get("MATDB_STORE") or None


def opened(ctx: typer.Context, store: str | None) -> Store:
    """Open the store; for a ``with`` block. Raises as :func:`matdb.api.open_store`."""
    from matdb.cli.opening import open_told

    return open_told(store_name(ctx, store))


def existing(ctx: typer.Context, store: str | None) -> Store:
    """Open a store that must be there already: looking after one must not make one. Raises StoreError."""
    from matdb.errors import StoreError
    from matdb.store.where import locate

    place = locate(store_name(ctx, store))
    if place.path is not None and not place.path.exists():
        raise StoreError(place.shown, "there is none; look at the name, or make one with 'matdb material add'")
    return opened(ctx, store)


def quantity(text: str | None, dimension: str, option: str) -> float | None:
    """One quantity in trade units, None for None. Raises UnitError, InputError."""
    from matdb.units import parse

    return None if text is None else parse(text, dimension, option)


def needed(text: str, dimension: str, option: str) -> float:
    """One quantity in trade units. Raises UnitError, InputError."""
    from matdb.units import parse

    return parse(text, dimension, option)


def is_range(text: str) -> bool:
    """Whether the text is written as a range."""
    return any(mark in text for mark in ("..", "…", " to "))


def temperatures(texts: Sequence[str], step: str = "5K") -> NDArray[np.float64]:
    """Temperatures in degrees Celsius from single ones and ranges, in the order given, each once.

    Raises
    ------
    UnitError, InputError
        A text is neither, or there are too many.
    """
    import numpy as np

    from matdb.units import parse, parse_range

    step_k = parse(step, "temperature_difference", "--step")
    if not step_k > 0.0:
        raise InputError("--step", step, "above 0 K")
    found: list[float] = []
    for text in texts:
        if not is_range(text):
            found.append(parse(text, "temperature", "--temp"))
            continue
        low, high = parse_range(text, "temperature", "--temp")
        steps = math.ceil((high - low) / step_k - 1e-9)
        _few(steps)
        # Whole steps from the lower end, and the upper end itself.
        found.extend(min(low + k * step_k, high) for k in range(steps + 1))
    _few(len(found))
    return np.array(list(dict.fromkeys(round(t, 9) for t in found)))


def frequencies(texts: Sequence[str]) -> NDArray[np.float64]:
    """Frequencies in Hz from single ones and ranges (five to a decade), in the order given, each once.

    Raises
    ------
    UnitError, InputError
        A text is neither, or a frequency is not above 0.
    """
    import numpy as np

    from matdb.units import parse, parse_range

    found: list[float] = []
    for text in texts:
        if not is_range(text):
            found.append(parse(text, "frequency", "--frequency"))
            continue
        low, high = parse_range(text, "frequency", "--frequency")
        if not low > 0.0:
            raise InputError("--frequency", text, "above 0 Hz")
        steps = max(math.ceil(math.log10(high / low) * _PER_DECADE - 1e-9), 1)
        found.extend(float(f) for f in np.geomspace(low, high, steps + 1))
    for f in found:
        if not f > 0.0:
            raise InputError("--frequency", f"{f:g} Hz", "above 0 Hz")
    return np.array(list(dict.fromkeys(found)))


def few_states(temperature_c: NDArray[np.float64], others: int) -> None:
    """Refuse an answer of too many rows. Raises InputError."""
    _few(len(temperature_c) * max(others, 1))


def _few(states: int) -> None:
    if states > _MOST_STATES:
        raise InputError(
            "rows", states, f"at most {_MOST_STATES} in one answer", "take a coarser --step or a shorter range"
        )


def write_answer(csv: str | None, header: Sequence[str], rows: Sequence[Sequence[Any]], force: bool) -> str | None:
    """Write an answer's rows to the CSV file that the user named; the file's name, or None."""
    if csv is None:
        return None
    from matdb.exchange.csv_file import write_csv

    return str(write_csv(csv, header, rows, force=force))
