"""The short answer on the screen, and what waits behind it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Final

import typer

from matdb.advice.summary import Answer
from matdb.api import Store
from matdb.cli.cautions import ESTIMATE, FLIGHT
from matdb.cli.options import opt
from matdb.cli.screen import lines, one_line, show
from matdb.errors import InputError

WhyOption = Annotated[
    list[str] | None, opt("--why", "PART", "Also show figures, reasons and warnings of this part; of 'all' of them.")
]
CautionsOption = Annotated[bool, typer.Option("--cautions", help="Show every caution.")]

_ALL: Final = "all"
#: What in an answer asks for a caution by itself: a word of its warnings, or a squeeze.
_COLD, _SCREW = FLIGHT[2], FLIGHT[3]


def first_use(store: Store) -> bool:
    """Whether nothing was ever fitted in a store: then every caution is shown."""
    return not store.records.counts()["fits"]


def explained(why: Sequence[str] | None, parts: Sequence[str]) -> set[str]:
    """The parts that --why asks for. Raises InputError for one that is not among them."""
    for name in why or ():
        if name not in (_ALL, *parts):
            raise InputError("--why", name, "a part of the answer, or 'all'")
    return set(parts) if _ALL in (why or ()) else set(why or ())


def show_answer(answer: Answer, *, all_cautions: bool) -> None:
    """Print the short answer, the other parts at one line each, and the cautions or one line that points to them."""
    for text in answer.lines:
        show(text)
    if answer.others:
        show("The others ('--why PART' or '--why all' tells more):")
    for text in answer.others:
        one_line(text, indent="  - ")
    if all_cautions:
        lines("Cautions:", [ESTIMATE, *FLIGHT])
        return
    own = _COLD if any("glass transition" in text for text in answer.warnings) else _SCREW if answer.squeeze_mm else ""
    show(f"Cautions: {own.rstrip('.') if own else 'an estimate, no approval'}; all of them by --cautions.")
