"""What the solid pad and the ring share: a round body between two flat faces."""

from __future__ import annotations

import math
from typing import Any, ClassVar

import numpy as np
from numpy.typing import ArrayLike

from matdb.form import closed_form
from matdb.form.base import Array, FormBase, checked_modulus

__all__ = ["RoundPad"]


class RoundPad(FormBase):
    """A round body of height h between two flat faces; a subclass gives its diameters."""

    axes: ClassVar[tuple[str, ...]] = ("axial", "shear")

    height_mm: float
    bonded: bool

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
        linear, constrained = self._axial_terms(compressibility)
        share = squeeze_mm / self.height_mm
        return self.area_mm2 * closed_form.squeeze_force(share, linear, constrained)

    def unit_stiffness(self, axis: str, squeeze_mm: Array, compressibility: Any = 0.0) -> Any:
        """See :meth:`FormBase.unit_stiffness`."""
        scale = self.area_mm2 / self.height_mm
        if axis == "shear":
            # A squeezed neo-Hookean block keeps its shear stiffness: G λ² · (A/λ) / (λ h).
            outer, inner = self._diameters_mm
            return (
                scale * closed_form.sideways(self.height_mm / outer, inner / outer) * np.ones_like(squeeze_mm)
            )
        linear, constrained = self._axial_terms(compressibility)
        return scale * closed_form.squeeze_tangent(squeeze_mm / self.height_mm, linear, constrained)

    def _axial_terms(self, compressibility: Any) -> tuple[Any, Any]:
        """Ea / E at no squeeze, and the share of it that the bonded faces bring (over 2)."""
        if not self.bonded:
            return 1.0, 0.0
        outer, inner = self._diameters_mm
        shape, hole = self.shape_factor, inner / outer
        stiff = closed_form.disc_axial(shape) if hole <= 0.0 else closed_form.ring_axial(shape, hole)
        constrained = closed_form.hole_factor(hole) * shape**2
        softened = closed_form.bulk_softened(stiff, compressibility)
        return softened, constrained * softened / stiff

    def _check_axis(self, axis: str) -> None:
        super()._check_axis(axis)
        if axis == "shear":
            self._needs_bond(axis)
