"""Generic elastomer families: what is known of a material before anything of it was measured.

The figures live in ``data/families.csv``, one row a property, each with unit, basis and source. ``spread`` is a
standard deviation: in K for temperatures, absolute for exponents and for log10 times, of the natural logarithm
otherwise (``gamma``: of its logit).
"""

from __future__ import annotations

import csv
import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import Final

from matdb.errors import InputError
from matdb.shipped import data_folder

#: The family of wire rope, which is no rubber: its parts' load points say how stiff they are, and no hardness does.
CABLE: Final = "steel cable"


@dataclass(frozen=True)
class FamilyProperty:
    """One figure of a family: value, spread, unit, basis (published, from memory, estimate, …) and source."""

    value: float
    spread: float
    unit: str
    basis: str
    source: str


@dataclass(frozen=True)
class Family:
    """A generic family; ``family["alpha"]`` gives one of its properties."""

    name: str
    properties: Mapping[str, FamilyProperty]

    def __getitem__(self, name: str) -> FamilyProperty:
        return self.properties[name]


@cache
def families() -> Mapping[str, Family]:
    """Every family by name, in the order of the shipped table."""
    found: dict[str, dict[str, FamilyProperty]] = {}
    with (data_folder() / "families.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            found.setdefault(row["family"], {})[row["property"]] = FamilyProperty(
                float(row["value"]), float(row["spread"]), row["unit"], row["basis"], row["source"]
            )
    return MappingProxyType({name: Family(name, MappingProxyType(values)) for name, values in found.items()})


@cache
def everyday_words() -> Mapping[str, str]:
    """What families are called at the bench, in lower case (``data/family_words.csv``): the table's name of each."""
    with (data_folder() / "family_words.csv").open(encoding="utf-8", newline="") as file:
        said = {row["word"]: row["family"] for row in csv.DictReader(file)}
    return MappingProxyType(said | {name.casefold(): name for name in families()})


def family_named(name: object) -> Family:
    """The family of that name or everyday word ("TPU", "NBR", "gel"); letters' case does not matter.

    Raises
    ------
    InputError
        No such family; the message lists them.
    """
    known, near = families(), []
    if isinstance(name, str):
        if name in known:
            return known[name]
        word = " ".join(name.casefold().split())
        if word in everyday_words():
            return known[everyday_words()[word]]
        near = difflib.get_close_matches(name, known, 1)
    cure = f"did you mean {near[0]!r}?" if near else "use 'unknown' when unsure"
    if isinstance(name, str) and "foam" in name.casefold():
        cure = "a foam belongs to the family of what is foamed, such as silicone; --relative-density 0.25 says the rest"
    raise InputError("family", name, "one of " + ", ".join(known), cure)
