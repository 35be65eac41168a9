"""A solid or hollow round leg between two flat ends."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np

from matdb.errors import InputError
from matdb.form.base import Array, FormBase, register
from matdb.form.column import column_axial, column_buckling, column_covered, column_sideways, column_tilting
from matdb.form.squeeze_law import FRICTIONLESS


class RoundLeg(FormBase):
    """What a solid and a printed leg share: its dimensions, its stiffness, and how it buckles."""

    axes: ClassVar[tuple[str, ...]] = ("axial", "lateral")

    outer_mm: float
    inner_mm: float
    length_mm: float

    def _check_leg(self) -> None:
        self._positive("outer_mm", "length_mm")
        self._positive("inner_mm", or_zero=True)
        self._below("inner_mm", "outer_mm")

    @property
    def _ratios(self) -> tuple[float, float]:
        """Length over outer diameter, and inner over outer diameter."""
        return self.length_mm / self.outer_mm, self.inner_mm / self.outer_mm

    @property
    def area_mm2(self) -> float:
        """Area of the cross-section in mm²."""
        return math.pi / 4.0 * (self.outer_mm**2 - self.inner_mm**2)

    @property
    def squeezable_height_mm(self) -> float:
        """The free length in mm."""
        return self.length_mm

    def share_of_solid(self, mode: str) -> float:
        """What the section keeps of the solid leg's "axial", "lateral", "tilt" stiffness or "buckling" share."""
        return 1.0

    def unit_stiffness(self, axis: str, squeeze_mm: Array, compressibility: Any = 0.0) -> Any:
        """See :meth:`FormBase.unit_stiffness`."""
        scale = self.share_of_solid(axis) * self.area_mm2 / self.length_mm
        if axis == "lateral":
            return scale * column_sideways(*self._ratios, compressibility) * self.left_under(squeeze_mm)
        linear = column_axial(*self._ratios, compressibility) if getattr(self, "bonded", True) else 1.0
        return scale * linear * FRICTIONLESS.tangent(squeeze_mm / self.length_mm)

    def unit_tilting(self, compressibility: Any = 0.0) -> Any:
        """See :meth:`FormBase.unit_tilting`."""
        beam = math.pi / 64.0 * (self.outer_mm**4 - self.inner_mm**4) / self.length_mm
        return self.share_of_solid("tilt") * beam * column_tilting(*self._ratios, compressibility)

    @property
    def buckling_share(self) -> float:
        """Axial squeeze over length at which the leg buckles, ends held parallel: bending and shear, neo-Hookean."""
        return self.share_of_solid("buckling") * column_buckling(*self._ratios)

    def left_under(self, squeeze_mm: Array) -> Array:
        """Lateral stiffness left under a static squeeze, ``1 − P / P_buckling``, by small-strain beam theory.

        Raises
        ------
        InputError
            The strut buckles.
        """
        left: Array = 1.0 - np.asarray(squeeze_mm) / (self.buckling_share * self.length_mm)
        if (left <= 0.0).any():
            allowed = f"below {self.buckling_share * self.length_mm:.3g} mm, where this strut buckles"
            raise InputError("squeeze_mm", float(np.max(squeeze_mm)), allowed, "take a shorter or thicker strut")
        return left

    @property
    def covered(self) -> bool:
        """See :attr:`FormBase.covered`."""
        return column_covered(*self._ratios)

    @property
    def _ratios_shown(self) -> str:
        slender, hole = self._ratios
        return f"L/D {slender:.3g}, diameter ratio {hole:.2g}"

    def cautions(self, axis: str) -> Iterator[str]:
        """See :meth:`FormBase.cautions`."""
        if self.buckling_share < 0.1:
            yield f"slender, it buckles at about {self.buckling_share:.1%} static squeeze; keep below half of that"


@register
@dataclass(frozen=True)
class Strut(RoundLeg):
    """A solid or hollow round leg, loaded along its axis, or across it with both ends held parallel.

    Attributes
    ----------
    outer_mm, inner_mm : float
        Diameters in mm; inner 0 for a solid leg.
    length_mm : float
        Free length in mm, above 0.
    bonded : bool
        True when both ends hold the rubber; frictionless ends carry nothing across.

    Raises
    ------
    InputError
        A dimension is not above 0, or inner is not below outer.

    Examples
    --------
    >>> round(Strut(outer_mm=1.0, length_mm=3.0).stiffness_n_per_mm(1.0, "axial"), 3)
    0.277
    """

    kind: ClassVar[str] = "strut"
    sketch: ClassVar[tuple[str, ...]] = ("  ## ##  ", "  ## ##  ", "  ## ##  ")
    called: ClassVar[str] = "leg: a slim tube or rod between plates"
    asked: ClassVar[Mapping[str, str]] = {
        "outer": "Outer diameter",
        "inner": "Diameter of the hole (0 for none)",
        "length": "Free length",
    }
    needs_bond: ClassVar[tuple[str, ...]] = ("lateral",)

    outer_mm: float
    inner_mm: float = 0.0
    length_mm: float = math.nan  # so that inner_mm may be left out; nan is refused
    bonded: bool = True

    def __post_init__(self) -> None:
        self._check_leg()
        self._yes_or_no("bonded")

    @property
    def covered(self) -> bool:
        """See :attr:`FormBase.covered`; frictionless ends need no table."""
        return not self.bonded or super().covered
