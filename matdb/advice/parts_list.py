"""What to print, cut or buy for a mounting, with screws and spacers."""

from __future__ import annotations

import re
from typing import Any, Final

from matdb.advice.size import Proposal
from matdb.advice.suit import Suitability
from matdb.form.part import Part

#: Lengths of screws that are sold, mm: ISO 888, from memory.
_LENGTHS: Final = (6, 8, 10, 12, 16, 20, 25, 30, 35, 40, 45, 50, 55, 60, 65, 70, 80, 90, 100)
#: Beside what it holds together a screw passes two washers and a nut, each of this share of its diameter, and shows a
#: share more; a part of one piece stands between two plates of this thickness, mm. Common practice, no source.
_WASHER, _NUT, _SHOWS, _PLATE_MM = 0.17, 0.8, 0.5, 2.0


def parts_list(part: Part, count: int, fitted: Proposal | Suitability, *, owned: bool) -> list[dict[str, Any]]:
    """One row for each thing: how to come by it, what it is, how many, its length, weight and price together.

    Parameters
    ----------
    part : Part
        The isolator.
    count : int
        Of them.
    fitted : Proposal or Suitability
        How they are fitted, and what they cost.
    owned : bool
        Whether they are there already.

    Returns
    -------
    list of dict
        "do" (print, cut, buy, take), "what", "pieces", "length_mm", "mass_g" and "price" (None where not known).
    """
    form = part.form
    row: dict[str, Any] = dict.fromkeys(("do", "what", "pieces", "length_mm", "mass_g", "price"))
    own = {"do": "take" if owned else form.made, "what": f"{part.name}: {form.label('mm')}, of {part.material}"}
    cost = {"mass_g": fitted.cost.mass_g, "price": fitted.cost.price}
    rows = [row | own | {"pieces": count} | {k: v and round(v, 2) for k, v in cost.items()}]
    thread, two = part.known_screw, form.pair
    if thread is None:
        return rows
    wide = float(re.findall(r"[\d.]+", thread)[0])
    between = fitted.spacer_mm
    if between is None:
        between = (form.squeezable_height_mm or 0.0) - fitted.squeeze_mm + 2.0 * _PLATE_MM
    needed = between + (2.0 * _WASHER + _NUT + _SHOWS) * wide
    length = next((each for each in _LENGTHS if each >= needed), None)
    rows.append(row | {"do": "buy", "what": f"screw {thread}", "pieces": count, "length_mm": length or round(needed)})
    rows.append(row | {"do": "buy", "what": f"nut {thread}, self-locking", "pieces": count})
    rows.append(row | {"do": "buy", "what": f"washer {thread}", "pieces": 2 * count})
    if two is not None:
        spacer = {"what": f"spacer, bore {wide:g} mm", "length_mm": round(fitted.spacer_mm or 0.0, 3)}
        rows.append(row | {"do": "cut", "pieces": count} | spacer)
    return rows


def in_words(row: dict[str, Any]) -> str:
    """One row of it in a line."""
    told = [
        f"{row['do']} {row['pieces']} x {row['what']}",
        "" if row["length_mm"] is None else f"{row['length_mm']:.4g} mm long",
        "" if row["mass_g"] is None else f"{row['mass_g']:.2g} g together",
        "" if row["price"] is None else f"{row['price']:.2f} together",
    ]
    return ", ".join(filter(None, told))
