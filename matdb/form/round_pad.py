"""What the solid pad and the ring share: a round body between two flat faces."""

from __future__ import annotations

import functools
import math
from typing import Any, ClassVar

import numpy as np
from numpy.typing import ArrayLike

from matdb.form.base import INSIDE_SD, MAX_SQUEEZE_SHARE, OUTSIDE_SD, Array, FormBase, checked_modulus
from matdb.form.dimensionless import column_axial, column_covered, column_sideways
from matdb.form.squeeze_law import (
    FrictionlessLaw,
    LoadCurve,
    MeasuredLaw,
    SqueezeLaw,
    TabulatedLaw,
    checked_load_points,
    tabulated_law,
)

__all__ = ["RoundPad"]


class RoundPad(FormBase):
    """A round body of height h between two flat faces; a subclass gives its diameters."""

    axes: ClassVar[tuple[str, ...]] = ("axial", "shear")

    height_mm: float
    bonded: bool
    load_points: tuple[tuple[float, float], ...] | str

    @property
    def _diameters_mm(self) -> tuple[float, float]:
        """Outer and inner diameter in mm."""
        raise NotImplementedError

    @property
    def area_mm2(self) -> float:
        """Area of one face in mm²."""
        outer, inner = self._diameters_mm
        return math.pi / 4.0 * (outer**2 - inner**2)

    @property
    def shape_factor(self) -> float:
        """Loaded over free area, ``(Do − Di) / (4 h)``, dimensionless."""
        outer, inner = self._diameters_mm
        return (outer - inner) / (4.0 * self.height_mm)

    @property
    def squeezable_height_mm(self) -> float:
        """The free height in mm."""
        return self.height_mm

    def force_n(
        self,
        youngs_modulus_mpa: ArrayLike = 1.0,
        squeeze_mm: ArrayLike = 0.0,
        *,
        bulk_modulus_mpa: ArrayLike | None = None,
    ) -> Any:
        """Force in N that holds a static squeeze; its derivative is the axial tangent stiffness.

        Parameters
        ----------
        youngs_modulus_mpa : array_like
            Young's modulus in MPa, above 0.
        squeeze_mm : array_like
            Squeeze from first touch in mm, 0 to half the height; broadcasts against the modulus.
        bulk_modulus_mpa : array_like or None
            Bulk modulus in MPa; None for incompressible.

        Raises
        ------
        InputError
            The squeeze leaves the range, or a modulus is not above 0.
        """
        modulus = checked_modulus("youngs_modulus_mpa", youngs_modulus_mpa)
        squeeze = self._checked_squeeze(squeeze_mm)
        compressibility: Any = 0.0
        if bulk_modulus_mpa is not None:
            compressibility = modulus / checked_modulus("bulk_modulus_mpa", bulk_modulus_mpa)
        value = np.asarray(modulus * self.unit_force(squeeze, compressibility))
        return value.item() if value.ndim == 0 else value

    def unit_force(self, squeeze_mm: Array, compressibility: Any = 0.0) -> Any:
        """Force in N at a Young's modulus of 1 MPa; see :meth:`force_n`."""
        share = np.asarray(squeeze_mm, dtype=float) / self.height_mm
        return self.area_mm2 * self._linear(compressibility) * self._law.force(share)

    def unit_stiffness(self, axis: str, squeeze_mm: Array, compressibility: Any = 0.0) -> Any:
        """See :meth:`FormBase.unit_stiffness`.

        Squeeze leaves the shear stiffness alone: for a neo-Hookean block ``G λ² (A/λ) / (λ h)`` does not
        depend on λ.
        """
        scale = self.area_mm2 / self.height_mm
        squeezed = bool(np.any(squeeze_mm))
        if axis == "shear":
            outer, inner = self._diameters_mm
            value = scale * column_sideways(self.height_mm / outer, inner / outer)
            return value * np.ones_like(squeeze_mm) if squeezed else value
        value = scale * self._linear(compressibility)
        return value * self._law.tangent(np.asarray(squeeze_mm) / self.height_mm) if squeezed else value

    def _linear(self, compressibility: Any) -> Any:
        """Apparent over true Young's modulus at no squeeze."""
        if not self.bonded:
            return 1.0
        if not np.any(compressibility):
            return self._bonded_gain
        outer, inner = self._diameters_mm
        return column_axial(self.height_mm / outer, inner / outer, compressibility)

    @functools.cached_property
    def _law(self) -> SqueezeLaw:
        if self.load_points:
            assert not isinstance(self.load_points, str)
            return MeasuredLaw(LoadCurve(self.load_points), self.height_mm)
        if not self.bonded:
            return FrictionlessLaw()
        outer, inner = self._diameters_mm
        return tabulated_law(self.shape_factor, inner / outer)

    @property
    def squeeze_reach_mm(self) -> float:
        """Squeeze in mm up to which its force is known: by the table, the measured points, or the exact law."""
        law = self._law
        if isinstance(law, MeasuredLaw):
            return law.curve.points[-1][0]
        share = law.most if isinstance(law, TabulatedLaw) else MAX_SQUEEZE_SHARE
        return share * self.height_mm

    @property
    def covered(self) -> bool:
        """Whether the finite-element tables hold this geometry; frictionless faces need none."""
        outer, inner = self._diameters_mm
        return not self.bonded or column_covered(self.height_mm / outer, inner / outer)

    def offset_sd(self, axis: str = "axial") -> float:
        """See :meth:`FormBase.offset_sd`.

        0.15 inside the tables (dimensions, edges, bonding), 0.25 outside. Real loose faces lie anywhere between
        frictionless and bonded, so these get half of that span, at most 0.5.
        """
        self._check_axis(axis)
        if not self.bonded:
            return min(max(INSIDE_SD, 0.5 * math.log(self._bonded_gain)), 0.5)
        return INSIDE_SD if self.covered else OUTSIDE_SD

    @functools.cached_property
    def _bonded_gain(self) -> float:
        outer, inner = self._diameters_mm
        return float(column_axial(self.height_mm / outer, inner / outer))

    def warnings(self, axis: str = "axial") -> tuple[str, ...]:
        """See :meth:`FormBase.warnings`."""
        self._check_axis(axis)
        out = []
        outer, inner = self._diameters_mm
        if not self.covered:
            out.append(
                f"{self.kind}: outside the finite-element tables (shape factor {self.shape_factor:.3g}, diameter "
                f"ratio {inner / outer:.2g}); closed form, less certain"
            )
        if axis == "axial" and not self.bonded:
            out.append(
                f"{self.kind}: frictionless faces are an ideal; friction stiffens towards bonded faces, "
                f"{self._bonded_gain:.2f} times as stiff"
            )
        if axis == "axial" and self.bonded and self.shape_factor > 3.0:
            out.append(
                f"{self.kind}: thin (shape factor {self.shape_factor:.2g}), so its bulk modulus matters: at "
                "2000 MPa it lowers the stiffness by the share "
                f"{float(2.0 * self.shape_factor**2 / 2000.0):.1%} per MPa of Young's modulus"
            )
        slender = self.height_mm / outer
        if slender > 3.0:
            out.append(f"{self.kind}: taller than three diameters; it may buckle, treat it as a strut")
        if inner > 0.4 * outer and self.shape_factor < 0.16:
            out.append(
                f"{self.kind}: the wall is thin for its height; it folds at about "
                f"{self.squeeze_reach_mm / self.height_mm:.0%} squeeze"
            )
        return tuple(out)

    def _checked_points(self) -> None:
        points = checked_load_points(f"{self.kind} load_points", self.load_points, least=0)
        object.__setattr__(self, "load_points", points)

    def _check_axis(self, axis: str) -> None:
        super()._check_axis(axis)
        if axis == "shear":
            self._needs_bond(axis)
