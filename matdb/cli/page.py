"""``matdb page``: one HTML file for the field."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from matdb.cli.answering import ESTIMATE, FLIGHT, RestOption, Told, rest_hours
from matdb.cli.options import NEEDED, ForceOption, HeldAlike, Question, arg, option, quantity
from matdb.cli.suit import SpectrumOption, spectrum_of
from matdb.files import new_file
from matdb.picture.page import save_page
from matdb.picture.page_tables import page_tables
from matdb.units import parse_range


@dataclass(frozen=True)
class PageCall(Told, Question):
    """The page has it all."""


def page(
    call: PageCall,
    mounting: Annotated[str, arg("MOUNTING", "The mounting's name.")],
    held: HeldAlike,
    out: str = option("FILE", "The HTML file to write.", NEEDED),
    temp: str = option("RANGE", "Temperatures that the page knows, such as -30C..50C.", "-30C..50C"),
    at: str | None = option("TEMPERATURE", "The temperature that it opens at, such as -5C."),
    most: int = option(None, "How many parts when none is named.", 8, min=1, max=12),
    spectrum: SpectrumOption = None,
    rest: RestOption = None,
    force: ForceOption = False,
) -> None:
    """Write a page that answers in the field without a network: slide the temperature, read verdict and numbers.

    For instance: matdb page cam --out field.html.
    """
    low, high = parse_range(temp, "temperature", "--temp")
    new_file(out, force=force)  # before the long work
    asked: dict[str, Any] = {"spectrum": spectrum_of(spectrum), "rest_h": rest_hours(rest)}
    with call.existing() as store:
        tables = page_tables(store, mounting, low_c=low, high_c=high, most=most, **asked, **held.how(store))
    at_c = quantity(at, "temperature", "--at")
    written = save_page(tables, out, cautions=(ESTIMATE, *FLIGHT), at_c=at_c, force=force)
    size = written.stat().st_size
    content = {
        "files": [str(written)],
        "bytes": size,
        "fingerprint": tables.fingerprint,
        "parts": [p.part.name for p in tables.parts],
        "left_out": tables.left_out,
    }
    caution = "Copy it to the phone; it needs no network."
    call.tell(tables.answer, content, how_to_ask="on the page", caution=caution)
