"""A printed leg: solid walls around a sparse infill."""

from __future__ import annotations

import functools
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Final

import numpy as np

from matdb.checks import checked_number, checked_whole
from matdb.errors import InputError
from matdb.form.base import UNREAD, register, stacked
from matdb.form.grommet_table import kernel_tables
from matdb.form.strut import RoundLeg
from matdb.form.tables import Axis
from matdb.form.trends import buckling, shear_share

#: By pattern: factor c and exponent n of E / Es = c φⁿ along the build direction, across it, and of the shear between
#: layers, where c fades to 1 in a full print. Members that stretch have n = 1, walls and cells that bend 2 to 3 (Gibson
#: and Ashby, from memory). Upright walls carry their share along the build, and half of it in shear. Across it half of
#: a grid's walls point along the load, triangles bear a third in any direction, hexagons bend. Estimates: of lines laid
#: crosswise only the crossings stand on each other; a gyroid's sheet lies between stretching and bending.
PATTERNS: Final[Mapping[str, tuple[tuple[float, float], ...]]] = {
    "stretch": ((1.0, 1.0),) * 3,
    "mixed": ((1.0, 1.5),) * 3,
    "bend": ((1.0, 2.0),) * 3,
    "grid": ((1.0, 1.0), (0.5, 1.0), (0.5, 1.0)),
    "triangles": ((1.0, 1.0), (1.0 / 3.0, 1.0), (0.5, 1.0)),
    "honeycomb": ((1.0, 1.0), (1.5, 3.0), (0.5, 1.0)),
    "lines": ((1.0, 2.0), (0.5, 1.0), (1.0, 2.0)),
    "gyroid": ((1.0, 1.5),) * 3,
}

#: Modulus across the layers over that along them: 70 to 100 % (common practice, no source).
ACROSS_LAYERS = 0.85

LEG_MODES: Final = ("axial", "lateral", "tilt", "buckling")
#: Coordinates of the tables: wall over half the width of what is printed, modulus of the infill over the wall's.
_AXES = (
    Axis("slenderness", "log", 2.0, 12.0, 0),
    Axis("wall", "log", 0.08, 0.75, 0),
    Axis("core", "log", 0.01, 0.7, 0),
    Axis("diameter_ratio", "linear", 0.15, 0.6, 0),
)
LEG_AXES: Final[Mapping[str, tuple[Axis, ...]]] = {"solid": _AXES[:3], "hollow": _AXES}
#: And of ends that flare: their diameter over the leg's, and how far the surface leans.
FLARE_AXES: Final = (
    Axis("slenderness", "log", 2.5, 8.0, 0),
    Axis("flare", "log", 1.2, 1.8, 0),
    Axis("steepness", "log", 0.05, 1.3, 0),
    *_AXES[1:3],
)

_POINTS, _WEIGHTS = np.polynomial.legendre.leggauss(12)


@register
@dataclass(frozen=True)
class PrintedStrut(RoundLeg):
    """A round leg printed with solid walls and an infill.

    Walls and infill are one section, with a stiffness along (E A), in bending (E I) and in shear, along a leg whose
    ends may flare; how far finite elements of wall and core depart from that beam comes from tables. One reading on
    the part beats any of it: the offset is wide.

    Attributes
    ----------
    outer_mm, inner_mm : float
        Diameters in mm; inner 0 for no hole.
    length_mm : float
        Free length in mm.
    wall_mm : float or None
        Thickness of the solid wall in mm, on the outside and around a hole; None takes ``walls`` lines, or 1.2 mm.
    infill_share : float
        Infill density, above 0 to 1.
    pattern : str
        ``"grid"``, ``"triangles"``, ``"honeycomb"``, ``"lines"``, ``"gyroid"``; or what its
        members do in every direction: ``"stretch"``, ``"bend"``, ``"mixed"``.
    build : str
        ``"upright"``: layers stacked along the axis, so that an axial load crosses them; or ``"lying"``.
    walls : int or None
        Number of lines side by side in the wall.
    line_mm : float or None
        Width of a line in mm; None takes 0.4 (common practice, no source).
    flare_mm : float or None
        Outer diameter of both ends in mm where they flare.
    flare_length_mm : float or None
        Length in mm over which each end widens, at most half of the leg.

    Raises
    ------
    InputError
        A dimension is out of range or does not fit the others, or pattern or build is unknown.
    """

    kind: ClassVar[str] = "printed-strut"
    sketch: ClassVar[tuple[str, ...]] = ("  #:::#  ", "  #:::#  ", "  #:::#  ")
    called: ClassVar[str] = "printed leg: walls around a sparse infill"
    asked: ClassVar[Mapping[str, str]] = {
        "outer": "Outer diameter",
        "inner": "Diameter of the hole (0 for none)",
        "length": "Free length",
        "walls": "Lines side by side in a wall, such as 3 (empty: 3 of 0.4 mm)",
        "infill-share": "Infill, such as 20% (empty: solid)",
    }
    made: ClassVar[str] = "print"
    # Infill exponent, lines' adhesion and wall are all guesses.
    inside_sd: ClassVar[float] = 0.35
    outside_sd: ClassVar[float] = 0.35

    instead: ClassVar[Mapping[str, tuple[str, ...]]] = {
        "wall_mm": ("walls", "line_mm"),
        "walls": ("wall_mm",),
        "line_mm": ("wall_mm",),
    }

    outer_mm: float
    inner_mm: float = 0.0
    length_mm: float = math.nan
    wall_mm: float | None = None
    infill_share: float = 1.0
    pattern: str = "mixed"
    build: str = "upright"
    walls: int | None = None
    line_mm: float | None = None
    flare_mm: float | None = None
    flare_length_mm: float | None = None

    def __post_init__(self) -> None:
        self._check_leg()
        maybe = ("line_mm", "flare_mm", "flare_length_mm")
        self._positive("infill_share", *(name for name in maybe if getattr(self, name) is not None))
        if self.walls is not None:
            checked_whole(f"{self.kind} walls", self.walls, 1, 100)
            object.__setattr__(self, "line_mm", self.line_mm or 0.4)
            thick = round(self.walls * (self.line_mm or 0.4), 6)
            if self.wall_mm is not None:
                self._positive("wall_mm")
            if self.wall_mm is not None and not math.isclose(self.wall_mm, thick):
                raise InputError(f"{self.kind} wall_mm", self.wall_mm, f"left out beside {self.walls} walls")
            object.__setattr__(self, "wall_mm", thick)
        if self.wall_mm is None:
            object.__setattr__(self, "wall_mm", 1.2)
        self._positive("wall_mm")
        if self.infill_share > 1.0:
            raise InputError(f"{self.kind} infill_share", self.infill_share, "above 0 and at most 1", "20 % is 0.2")
        self._one_of("pattern", PATTERNS)
        self._one_of("build", ("upright", "lying"))
        if (self.flare_mm is None) != (self.flare_length_mm is None):
            raise InputError(f"{self.kind} flare_length_mm", self.flare_length_mm, "given with flare_mm, and only then")
        for name, low, high in (("flare_mm", self.outer_mm, 1000.0), ("flare_length_mm", 0.0, self.length_mm / 2.0)):
            if getattr(self, name) is not None:
                checked_number(f"{self.kind} {name}", getattr(self, name), low, high, "mm")

    @functools.cached_property
    def core(self) -> tuple[float, float]:
        """Modulus of the infill over that of the wall along the leg, and the same in shear."""
        laws, density = PATTERNS[self.pattern], self.infill_share
        along = laws[0] if self.build == "upright" else laws[1]
        stretch, shear = (factor ** (1.0 - density) * density**power for factor, power in (along, laws[2]))
        return stretch, shear

    def _section(self, outer: Any, core: tuple[float, float]) -> tuple[Any, Any, Any]:
        """Stiffness along (E A), in bending (E I) and in shear at outer diameters in mm, at a wall of 1 MPa."""
        wall, bore = 2.0 * (self.wall_mm or 0.0), self.inner_mm
        core_outer = np.maximum(outer - wall, bore)
        core_inner = np.minimum(bore + wall, core_outer) if bore else 0.0 * outer
        sums = np.zeros((4, *np.shape(outer)))
        for big, small, (along, across) in (
            (outer, core_outer, (1.0, 1.0)),
            (core_outer, core_inner, core),
            (core_inner, bore, (1.0, 1.0)),
        ):
            area = math.pi / 4.0 * (big**2 - small**2)
            held = area * shear_share(small / np.maximum(big, 1e-9))
            sums += along * area, along * area * (big**2 + small**2) / 16.0, across * held, held
        # Its rings shear side by side, scaled so that a full print is the solid leg.
        whole = math.pi / 12.0 * (outer**2 - bore**2) * shear_share(bore / outer)
        return sums[0], sums[1], whole * sums[2] / sums[3]

    def _beam(self, core: tuple[float, float], flare_mm: float | None) -> dict[str, float]:
        """Stiffness of a beam of this section, ends held parallel, and the squeeze over length at which it buckles."""
        half, flared = self.length_mm / 2.0, self.flare_length_mm or 0.0
        ends = [(0.0, half - flared), (half - flared, half)] if flared else [(0.0, half)]
        z = np.concatenate([(low + high) / 2.0 + (high - low) / 2.0 * _POINTS for low, high in ends])
        w = np.concatenate([(high - low) * _WEIGHTS for low, high in ends])
        slope = ((flare_mm or self.outer_mm) - self.outer_mm) / (2.0 * flared or 1.0)
        cone = np.where(z > half - flared, slope, 0.0)
        outer = self.outer_mm + 2.0 * cone * (z - half + flared)
        along, bending, shear = self._section(outer, core)
        # A wall that leans by θ bears cos³ θ of an upright one in bending (along, its hoops help: less lost †), and as
        # it bears a moment takes shear off the section.
        leaning = (1.0 + cone**2) ** -1.5
        along, bending = along * leaning**0.25, bending * leaning
        forced = np.maximum(1.0 - 2.0 * cone * z / outer, 0.0)
        axial, sheared = (float(self.length_mm / (w @ (1.0 / each))) for each in (along, shear))
        # Deflection w = P ∫ min(z, ζ) w / (E I) dζ: still in the middle, parallel at the ends.
        root = np.sqrt(w / 2.0 / bending)
        euler = 1.0 / float(np.linalg.eigvalsh(np.minimum(z[:, None], z) * root * root[:, None])[-1])
        return {
            "axial": axial,
            "lateral": 1.0 / float(w @ (z**2 / bending + forced**2 / shear)),
            "tilt": 1.0 / float(w @ (1.0 / bending)),
            "buckling": float(buckling(euler / axial, axial / sheared)),
        }

    @functools.cached_property
    def beam_share(self) -> dict[str, float]:
        """What a slender beam keeps of the solid, straight leg's stiffness, by mode; layers left out."""
        mine, solid = self._beam(self.core, self.flare_mm), self._beam((1.0, 1.0), None)
        return {mode: mine[mode] / solid[mode] for mode in mine}

    @property
    def missing(self) -> float:
        """Share of the straight section's E A that the infill lacks."""
        return max(0.0, 1.0 - float(self._section(self.outer_mm, self.core)[0]) / self.area_mm2)

    @property
    def flare_at(self) -> tuple[float, ...]:
        """Where among ``FLARE_AXES`` its ends are; steepness 0 without a flare."""
        flare, length = (self.flare_mm or self.outer_mm) / self.outer_mm, self.flare_length_mm or math.inf
        steepness = 0.5 * self.outer_mm * (flare - 1.0) / length
        return self._ratios[0], flare, steepness, 2.0 * (self.wall_mm or 0.0) / self.outer_mm, self.core[0]

    @functools.cached_property
    def _departs(self) -> dict[str, float]:
        """How far finite elements depart from the beam, by mode."""
        kind = "hollow" if self.inner_mm else "solid"
        slender, hole = self._ratios
        wall = 2.0 * (self.wall_mm or 0.0) / (self.outer_mm - self.inner_mm) * (2.0 if self.inner_mm else 1.0)
        tables, missing, steepness = kernel_tables("form_leg.json"), self.missing, self.flare_at[2]
        found = dict.fromkeys(LEG_MODES, 1.0)
        if missing > 1e-9:
            straight = tables[kind].at((slender, wall, self.core[0], hole)[: len(LEG_AXES[kind])])
            found = {mode: value**missing for mode, value in straight.items()}
        if steepness and not self.inner_mm:
            flared = tables["flared"].at(self.flare_at)
            found = {mode: value * flared[mode] ** math.sqrt(steepness) for mode, value in found.items()}
        return found

    def share_of_solid(self, mode: str) -> float:
        """See :meth:`RoundLeg.share_of_solid`."""
        share = self.beam_share[mode] * self._departs[mode]
        return share if mode == "buckling" or self.build == "lying" else ACROSS_LAYERS * share

    @property
    def drawn_mm(self) -> list[tuple[str, list[tuple[float, float]]]]:
        """See :attr:`FormBase.drawn_mm`: walls and infill, and ends that flare."""
        wide, end, wall, flared = self.outer_mm, self.flare_mm or 0.0, self.wall_mm or 0.0, self.flare_length_mm or 0.0
        pieces = []
        for kind, inset in (("rubber", 0.0), ("infill", 2.0 * wall)):
            least = self.inner_mm + inset if self.inner_mm else 0.0
            if wide - inset > least and (kind == "rubber" or self.infill_share < 1.0):
                layers = [((end - inset, wide - inset), flared), ((wide - inset,), self.length_mm - 2.0 * flared)]
                layers.append(((wide - inset, end - inset), flared))
                pieces += stacked((kind, (least, *across), height) for across, height in layers if height)
        return pieces

    def cautions(self, axis: str) -> Iterator[str]:
        """See :meth:`FormBase.cautions`."""
        yield from super().cautions(axis)
        steepest = FLARE_AXES[2].high if not self.inner_mm else 0.35
        if self.flare_at[2] > steepest:
            yield "its ends flare more steeply than the tables hold, where finite elements differ by up to 30 %"
        if self.infill_share < 1.0:
            yield f"infill is only estimated; a single {UNREAD} beats it"
