"""Text that the user gave to numbers in trade units, and answers to the file that was named; Typer is not needed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from matdb.errors import InputError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

#: More states than this in one answer are refused.
_MOST_STATES = 20_000
_PER_DECADE = 5


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
