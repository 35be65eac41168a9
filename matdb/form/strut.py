"""A solid or hollow round leg between two flat ends."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, ClassVar

from matdb.errors import InputError
from matdb.form import closed_form
from matdb.form.base import Array, FormBase, register

__all__ = ["Strut"]


@register
@dataclass(frozen=True)
class Strut(FormBase):
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
    0.276
    """

    kind: ClassVar[str] = "strut"
    axes: ClassVar[tuple[str, ...]] = ("axial", "lateral")

    outer_mm: float
    inner_mm: float = 0.0
    length_mm: float = math.nan  # so that inner_mm may be left out; nan is refused
    bonded: bool = True

    def __post_init__(self) -> None:
        self._positive("outer_mm", "length_mm")
        if self.inner_mm != 0.0:
            self._positive("inner_mm")
            self._below("inner_mm", "outer_mm")
        object.__setattr__(self, "inner_mm", float(self.inner_mm))
        self._yes_or_no("bonded")

    @property
    def area_mm2(self) -> float:
        """Area of the cross-section in mm²."""
        return math.pi / 4.0 * (self.outer_mm**2 - self.inner_mm**2)

    @property
    def squeezable_height_mm(self) -> float:
        """The free length in mm."""
        return self.length_mm

    @property
    def buckling_share(self) -> float:
        """Axial squeeze over length at which the leg buckles, ends held parallel (estimate).

        Euler's load ``π² E I / L²`` in series with the shear stiffness (Engesser), small strain.
        """
        radius_sq = (self.outer_mm**2 + self.inner_mm**2) / 16.0
        euler = math.pi**2 * radius_sq / self.length_mm**2
        kappa_g = 0.3
        return euler / (1.0 + euler / kappa_g)

    def unit_stiffness(self, axis: str, squeeze_mm: Array, compressibility: Any = 0.0) -> Any:
        """See :meth:`FormBase.unit_stiffness`."""
        slender, hole = self.length_mm / self.outer_mm, self.inner_mm / self.outer_mm
        scale = self.area_mm2 / self.length_mm
        share = squeeze_mm / self.length_mm
        if axis == "axial":
            linear = closed_form.strut_axial(slender, hole) if self.bonded else 1.0
            return scale * closed_form.squeeze_tangent(share, linear, 0.0)
        left = 1.0 - share / self.buckling_share
        if (left <= 0.0).any():
            raise InputError(
                "squeeze_mm",
                squeeze_mm.max().item(),
                f"below {self.buckling_share * self.length_mm:.3g} mm, where this strut buckles",
                "take a shorter or thicker strut",
            )
        return scale * closed_form.sideways(slender, hole) * left

    def warnings(self, axis: str = "axial") -> tuple[str, ...]:
        """See :meth:`FormBase.warnings`."""
        share = self.buckling_share
        if share < 0.1:
            return (f"slender strut: it buckles at about {share:.1%} static squeeze; keep well below",)
        return ()

    def _check_axis(self, axis: str) -> None:
        super()._check_axis(axis)
        if axis == "lateral":
            self._needs_bond(axis)
