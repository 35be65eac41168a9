"""What isolators cost in height, weight and money."""

from __future__ import annotations

import math
from dataclasses import dataclass

from matdb.fields import PlainRecord
from matdb.form.part import Part
from matdb.material.families import family_named
from matdb.material.record import Material


@dataclass(frozen=True, kw_only=True)
class Cost(PlainRecord):
    """Of the isolators of one mounting.

    Attributes
    ----------
    deck_mm : float or None
        How high they hold what stands on them, squeezed but not yet loaded, mm; of two halves the lower one.
    mass_g, price : float or None
        Of all pieces: weight as told of the part, else of its drawing and the material's (or its family's) density; and
        money as told of the part. None where it is not known.
    """

    deck_mm: float | None
    mass_g: float | None
    price: float | None

    @property
    def key(self) -> tuple[float, ...]:
        """Better is smaller, among parts that hold alike: height to 0.1 mm, weight to a gram, money."""
        return tuple(
            math.inf if value is None else round(value, digits)
            for value, digits in ((self.deck_mm, 1), (self.mass_g, 0), (self.price, 2))
        )

    def __str__(self) -> str:
        told = [
            "" if self.deck_mm is None else f"{self.deck_mm:.3g} mm high",
            "" if self.mass_g is None else f"{self.mass_g:.2g} g together",
            "" if self.price is None else f"{self.price:.2f} together",
        ]
        return ", ".join(filter(None, told))


def cost_of(part: Part, material: Material, count: int, squeeze_mm: float) -> Cost:
    """What so many pieces of a part cost.

    Parameters
    ----------
    part, material : Part, Material
        The part and what it is made of.
    count : int
        Pieces.
    squeeze_mm : float
        Static squeeze of each.
    """
    density = material.density_kg_m3 or family_named(material.family)["density"].value * (
        material.relative_density or 1.0
    )
    volume = part.form.rubber_mm3
    each_kg = part.mass_kg if part.mass_kg is not None else None if volume is None else 1e-9 * volume * density
    return Cost(
        deck_mm=part.form.deck_mm(squeeze_mm),
        mass_g=None if each_kg is None else 1e3 * count * each_kg,
        price=None if part.price is None else count * part.price,
    )
