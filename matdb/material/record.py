"""A material as the store knows it."""

from __future__ import annotations

from dataclasses import dataclass

from matdb.checks import ABSOLUTE_ZERO_C, checked_name, checked_number, checked_text
from matdb.errors import InputError

__all__ = ["Material", "service_range"]


def _optional_temperature(field: str, value: object) -> float | None:
    return (
        None
        if value is None
        else checked_number(field, value, ABSOLUTE_ZERO_C, 1000.0, "degrees Celsius", open_low=True)
    )


@dataclass(frozen=True, kw_only=True)
class Material:
    """An elastomer: what the label, the data sheet or the supplier says of it.

    Attributes
    ----------
    name : str
        Unique in a store.
    family : str
        A family of ``data/families.csv``, or "unknown".
    hardness : str or None
        Nominal Shore hardness with its scale, for instance ``"40 A"``, ``"30 OO"``.
    density_kg_m3 : float or None
        Density, kg/m3.
    glass_transition_c : float or None
        Glass transition temperature, degrees Celsius; replaces the family's.
    service_min_c, service_max_c : float or None
        Service range, degrees Celsius; replaces the family's.
    source, note : str
        Where the entries come from; free text.
    """

    name: str
    family: str = "unknown"
    hardness: str | None = None
    density_kg_m3: float | None = None
    glass_transition_c: float | None = None
    service_min_c: float | None = None
    service_max_c: float | None = None
    source: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        from matdb.material.families import family_named
        from matdb.material.hardness import parse_hardness

        checked_name("material name", self.name)
        object.__setattr__(self, "family", family_named(self.family).name)
        if self.hardness is not None:
            object.__setattr__(self, "hardness", str(parse_hardness(self.hardness)))
        if self.density_kg_m3 is not None:
            checked_number("density_kg_m3", self.density_kg_m3, 10.0, 10000.0, "kg/m3")
        for field in ("glass_transition_c", "service_min_c", "service_max_c"):
            object.__setattr__(self, field, _optional_temperature(field, getattr(self, field)))
        if (
            self.service_min_c is not None
            and self.service_max_c is not None
            and self.service_min_c >= self.service_max_c
        ):
            raise InputError(
                "service_min_c",
                self.service_min_c,
                f"below service_max_c ({self.service_max_c:g} degrees Celsius)",
            )
        checked_text("source", self.source)
        checked_text("note", self.note)


def service_range(material: Material) -> tuple[float, float]:
    """Service range in degrees Celsius: the material's own, or its family's."""
    from matdb.material.families import family_named

    table = family_named(material.family)
    low = table["service_min"].value if material.service_min_c is None else material.service_min_c
    high = table["service_max"].value if material.service_max_c is None else material.service_max_c
    return low, high
