"""A round pad or leg that narrows from one face to the other."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from matdb.form.base import Array, FormBase, register, stacked
from matdb.form.column import column_axial, column_tilting, shape_factor
from matdb.form.squeeze_law import tabulated_law
from matdb.form.tables import table


@register
@dataclass(frozen=True)
class Taper(FormBase):
    """A solid truncated cone between two flat bonded faces, from finite-element tables.

    Beyond the tables it follows the cylinder of diameter √(D₁D₂), which is exact along the axis of a slender cone
    because ``∫dz/A = 4h/(π D₁ D₂)``. Under squeeze it stiffens like that cylinder, which is an approximation.

    Attributes
    ----------
    bottom_mm, top_mm : float
        Diameters of the two faces in mm, either the larger.
    height_mm : float
        Free height in mm.

    Raises
    ------
    InputError
        A dimension is not above 0.

    Examples
    --------
    >>> round(Taper(10.0, 10.0, 5.0).stiffness_n_per_mm(1.0), 1)
    24.3
    """

    kind: ClassVar[str] = "taper"
    sketch: ClassVar[tuple[str, ...]] = ("  #####  ", " ####### ", "#########")
    called: ClassVar[str] = "taper: a cone, pressed flat"
    asked: ClassVar[Mapping[str, str]] = {
        "bottom": "Diameter below",
        "top": "Diameter above",
        "height": "Height, unloaded",
    }
    axes: ClassVar[tuple[str, ...]] = ("axial", "shear")

    bottom_mm: float
    top_mm: float
    height_mm: float

    def __post_init__(self) -> None:
        self._positive("bottom_mm", "top_mm", "height_mm")

    @property
    def mean_diameter_mm(self) -> float:
        """Diameter of the equivalent cylinder, √(D₁D₂), in mm."""
        return math.sqrt(self.bottom_mm * self.top_mm)

    @property
    def solid_mm(self) -> tuple[float, float, float]:
        """See :attr:`FormBase.solid_mm`: of the mean diameter."""
        return self.height_mm, 0.5 * (self.bottom_mm + self.top_mm), 0.0

    @property
    def drawn_mm(self) -> list[tuple[str, list[tuple[float, float]]]]:
        """See :attr:`FormBase.drawn_mm`."""
        return stacked([("rubber", (0.0, self.bottom_mm, self.top_mm), self.height_mm)])

    @property
    def _ratios(self) -> tuple[float, float]:
        """Small over large diameter, and height over large diameter."""
        large = max(self.bottom_mm, self.top_mm)
        return min(self.bottom_mm, self.top_mm) / large, self.height_mm / large

    def unit_stiffness(self, axis: str, squeeze_mm: Array, compressibility: Any = 0.0) -> Any:
        """See :meth:`FormBase.unit_stiffness`."""
        value = max(self.bottom_mm, self.top_mm) * table(f"taper {axis}").value(*self._ratios)
        if axis == "shear":
            return value
        slender = self.height_mm / self.mean_diameter_mm
        softened = column_axial(slender, 0.0, compressibility) / column_axial(slender, 0.0)
        law = tabulated_law(float(shape_factor(slender, 0.0)), 0.0)
        return value * softened * law.tangent(squeeze_mm / self.height_mm)

    def unit_tilting(self, compressibility: Any = 0.0) -> Any:
        """See :meth:`FormBase.unit_tilting`: that of a slender cone, times what holds the ends of its mean cylinder."""
        first, second = self.bottom_mm, self.top_mm
        beam = 3.0 * (first * second) ** 3 / (first**2 + first * second + second**2) / self.height_mm
        ends = column_tilting(self.height_mm / self.mean_diameter_mm, 0.0, compressibility)
        return math.pi / 64.0 * beam * ends

    @property
    def covered(self) -> bool:
        """See :attr:`FormBase.covered`."""
        return bool(table("taper axial").holds(*self._ratios))

    @property
    def _ratios_shown(self) -> str:
        top, slender = self._ratios
        return f"diameters {top:.2g} to 1, height over diameter {slender:.3g}"
