"""A printed leg: a solid wall around a sparse infill."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, ClassVar

from matdb.errors import InputError
from matdb.form.base import Array, register
from matdb.form.column import column_axial, column_sideways
from matdb.form.squeeze_law import FRICTIONLESS
from matdb.form.strut import RoundLeg

#: Exponent n of E / Es = φⁿ by what the infill's members do under load (Gibson and Ashby, from memory).
PATTERN_EXPONENT = {"stretch": 1.0, "mixed": 1.5, "bend": 2.0}

#: Modulus across the layers over that along them: 70 to 100 % (common practice, no source).
ACROSS_LAYERS = 0.85


@register
@dataclass(frozen=True)
class PrintedStrut(RoundLeg):
    """A round leg printed with a solid wall and an infill.

    Along its axis wall and infill act side by side, ``E A = Es (A_wall + φⁿ A_infill)``; across it the wall
    counts by its second moment of area. The solid leg's end effects come from the finite-element tables. One
    reading on the part beats any of it: the offset is wide.

    Attributes
    ----------
    outer_mm, inner_mm : float
        Diameters in mm; inner 0 for no hole.
    length_mm : float
        Free length in mm.
    wall_mm : float
        Thickness of the solid wall in mm (perimeters × line width), on the outside and around a hole.
    infill_share : float
        Infill density, above 0 to 1.
    pattern : str
        ``"stretch"`` (members along the load: extruded lines and grids seen from above), ``"bend"`` (open
        cells that bend: gyroid and the like across the load), or ``"mixed"``.
    build : str
        ``"upright"``: layers stacked along the axis, so that an axial load crosses them; or ``"lying"``.

    Raises
    ------
    InputError
        A dimension is out of range, or pattern or build is unknown.
    """

    kind: ClassVar[str] = "printed-strut"
    # Infill exponent, lines' adhesion and wall are all guesses.
    inside_sd: ClassVar[float] = 0.35
    outside_sd: ClassVar[float] = 0.35

    outer_mm: float
    inner_mm: float = 0.0
    length_mm: float = math.nan
    wall_mm: float = 1.2
    infill_share: float = 1.0
    pattern: str = "mixed"
    build: str = "upright"

    def __post_init__(self) -> None:
        self._check_leg()
        self._positive("wall_mm", "infill_share")
        if self.infill_share > 1.0:
            raise InputError(f"{self.kind} infill_share", self.infill_share, "above 0 and at most 1", "20 % is 0.2")
        self._one_of("pattern", PATTERN_EXPONENT)
        if self.build not in ("upright", "lying"):
            raise InputError(f"{self.kind} build", self.build, "upright or lying")

    @property
    def shares(self) -> tuple[float, float]:
        """Stiffness over that of a solid leg: by area (axial, shear) and by second moment (bending)."""
        outer, inner = self.outer_mm, self.inner_mm
        core_outer = max(outer - 2.0 * self.wall_mm, inner)
        core_inner = min(inner + 2.0 * self.wall_mm, core_outer) if inner > 0.0 else 0.0
        sparse = self.infill_share ** PATTERN_EXPONENT[self.pattern]
        area = (core_outer**2 - core_inner**2) / (outer**2 - inner**2)
        moment = (core_outer**4 - core_inner**4) / (outer**4 - inner**4)
        layer = ACROSS_LAYERS if self.build == "upright" else 1.0
        return layer * (1.0 - area * (1.0 - sparse)), layer * (1.0 - moment * (1.0 - sparse))

    def unit_stiffness(self, axis: str, squeeze_mm: Array, compressibility: Any = 0.0) -> Any:
        """See :meth:`FormBase.unit_stiffness`."""
        by_area, by_moment = self.shares
        slender, hole = self._ratios
        scale = self.area_mm2 / self.length_mm
        if axis == "axial":
            linear = by_area * column_axial(slender, hole, compressibility)
            return scale * linear * FRICTIONLESS.tangent(squeeze_mm / self.length_mm)
        # Split the solid leg's compliance into bending (slender-beam share) and the rest.
        radius_sq = (1.0 + hole**2) / 16.0
        end = 0.09 * math.sqrt(1.0 - hole**2)
        whole = 1.0 / float(column_sideways(slender, hole))
        bending = min(slender**2 / (12.0 * radius_sq) * (slender / (slender + end)) ** 3, whole)
        return scale * self.left_under(squeeze_mm) / ((whole - bending) / by_area + bending / by_moment)

    def unit_tilting(self, compressibility: Any = 0.0) -> Any:
        """See :meth:`FormBase.unit_tilting`: as it bends."""
        return self.shares[1] * super().unit_tilting(compressibility)

    def cautions(self, axis: str) -> Iterator[str]:
        """See :meth:`FormBase.cautions`."""
        yield from super().cautions(axis)
        if self.infill_share < 1.0:
            yield "infill is only estimated; a single reading on the part beats it"
