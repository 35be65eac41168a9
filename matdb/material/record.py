"""A material as the store knows it."""

from __future__ import annotations

import re
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any, Final

from matdb.checks import ABSOLUTE_ZERO_C
from matdb.errors import InputError
from matdb.fields import PlainRecord, check_record, entry, info
from matdb.material.families import CABLE, family_named
from matdb.material.hardness import hardness_text

_AS_SOLD: Final = re.compile(r"(.*\S)\s+(\d+\s*(?:A|D|OO))", re.IGNORECASE)


def _family_name(name: str) -> str:
    return family_named(name).name


def _temperature(help_text: str, noun: str = "") -> Any:
    return entry(None, ABSOLUTE_ZERO_C, 1000.0, open_low=True, help=help_text, noun=noun)


@dataclass(frozen=True, kw_only=True)
class Material(PlainRecord):
    """An elastomer: what the label, the data sheet or the supplier says of it.

    Attributes
    ----------
    name : str
        Unique in a store.
    family : str
        A family of ``data/families.csv``, or what it is called at the bench ("TPU", "NBR"), also with its hardness
        ("TPU 85A"); or "unknown".
    hardness : str or None
        Nominal Shore hardness with its scale, for instance ``"40 A"``, ``"30 OO"``.
    density_kg_m3 : float or None
        Density, kg/m3.
    glass_transition_c : float or None
        Glass transition temperature, degrees Celsius; replaces the family's.
    relative_density : float or None
        Density of a foam over that of the solid, above 0 and at most 1; None when unknown or not foamed.
    service_min_c, service_max_c : float or None
        Service range, degrees Celsius; replaces the family's.
    source, note : str
        Where the entries come from; free text.
    """

    name: str = field(metadata=info(dimension="name", help="The material's name."))
    family: str = entry(
        "unknown",
        check=_family_name,
        metavar="FAMILY",
        help="Family, such as silicone, NBR or 'TPU 85A'; 'matdb material families' lists them.",
    )
    hardness: str | None = entry(
        None, dimension="shore", check=hardness_text, help="Nominal Shore hardness with its scale, such as '40 A'."
    )
    density_kg_m3: float | None = entry(None, 10.0, 10000.0, help="Density, such as 1120kg/m3.")
    glass_transition_c: float | None = _temperature("Glass transition from a data sheet, such as -60C.")
    relative_density: float | None = entry(
        None,
        0.0,
        1.0,
        open_low=True,
        help="Of a foam: its density over the solid's, such as 0.25; its hardness is then the foam's own.",
    )
    service_min_c: float | None = _temperature("Lowest service temperature, such as -60C.", "service from")
    service_max_c: float | None = _temperature("Highest service temperature, such as 80C.", "service to")
    source: str = entry("", help="Where the entries come from.")
    note: str = entry("", help="Free text.")

    def __post_init__(self) -> None:
        # As a reel is sold: "TPU 85A".
        sold = _AS_SOLD.fullmatch(str(self.family))
        if sold and "".join(str(self.hardness or sold[2]).split()) == "".join(sold[2].split()):
            object.__setattr__(self, "family", sold[1])
            object.__setattr__(self, "hardness", sold[2])
        check_record(self, "material")
        if self.family == CABLE and self.hardness is not None:
            cure = "leave it out; the load points of a cable-loop say how stiff it is"
            raise InputError("hardness", self.hardness, f"none for {CABLE}, which is no rubber", cure)
        if (
            self.service_min_c is not None
            and self.service_max_c is not None
            and self.service_min_c >= self.service_max_c
        ):
            allowed = f"below service_max_c ({self.service_max_c:g} degrees Celsius)"
            raise InputError("service_min_c", self.service_min_c, allowed)

    @property
    def untold(self) -> str:
        """The command that tells what answers without readings miss most, hardness; empty where known or of no use."""
        if self.hardness is not None or self.family == CABLE:
            return ""
        example = "30 OO" if "gel" in self.family else "40 A"
        return f'matdb material edit "{self.name}" --hardness "{example}" --why label'


def as_sold(name: str) -> Material | None:
    """The material that a name tells as it is sold, by family and hardness ("TPU 85A", "wire rope"), or None."""
    with suppress(ValueError, LookupError):
        found = Material(name=name, family=name)
        return None if found.untold else found
    return None


def service_range(material: Material) -> tuple[float, float]:
    """Service range in degrees Celsius: the material's own, or its family's."""
    table = family_named(material.family)
    low = table["service_min"].value if material.service_min_c is None else material.service_min_c
    high = table["service_max"].value if material.service_max_c is None else material.service_max_c
    return low, high
