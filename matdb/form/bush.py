"""A rubber tube between an inner and an outer sleeve."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
from numpy.typing import ArrayLike

from matdb.form.base import Array, FormBase, register
from matdb.form.tables import table


@register
@dataclass(frozen=True)
class Bush(FormBase):
    """A rubber tube between two rigid sleeves, loaded along its axis, across it, or twisted.

    Attributes
    ----------
    outer_mm, inner_mm : float
        Diameters of the rubber at the outer and the inner sleeve in mm, inner below outer.
    length_mm : float
        Length of the rubber in mm, above 0.
    bonded : bool
        True when both sleeves hold the rubber; frictionless sleeves carry neither axial load nor torsion.

    Raises
    ------
    InputError
        A dimension is not above 0, or inner is not below outer.

    Examples
    --------
    >>> round(Bush(outer_mm=2.0, inner_mm=1.0, length_mm=1.0).torsional_stiffness_n_mm_per_rad(1.0), 4)
    1.3963
    """

    kind: ClassVar[str] = "bush"
    sketch: ClassVar[tuple[str, ...]] = ("[## o ##]",)
    called: ClassVar[str] = "bush: rubber between a pin and a tube"
    asked: ClassVar[Mapping[str, str]] = {
        "outer": "Diameter of the rubber outside",
        "inner": "Diameter of the pin",
        "length": "Length",
    }
    made: ClassVar[str] = "buy"
    axes: ClassVar[tuple[str, ...]] = ("axial", "radial")
    needs_bond: ClassVar[tuple[str, ...]] = ("axial",)
    apart_share: ClassVar[float] = 1.1

    outer_mm: float
    inner_mm: float
    length_mm: float
    bonded: bool = True

    def __post_init__(self) -> None:
        self._positive("outer_mm", "inner_mm", "length_mm")
        self._below("inner_mm", "outer_mm")
        self._yes_or_no("bonded")

    @property
    def _ratios(self) -> tuple[float, float]:
        """Radius ratio b / a and length over outer radius L / b."""
        return self.outer_mm / self.inner_mm, 2.0 * self.length_mm / self.outer_mm

    def unit_stiffness(self, axis: str, squeeze_mm: Array, compressibility: Any = 0.0) -> Any:
        """See :meth:`FormBase.unit_stiffness`.

        A finite bulk modulus matters across long thin bushes; along the axis it hardly does, nor with frictionless
        sleeves (within 1.5 % at E / B = 0.15).
        """
        value = table(f"bush {axis}" if self.bonded else f"bush {axis} frictionless").value(*self._ratios)
        if axis == "radial" and self.bonded and np.any(compressibility):
            value = value * table("bush radial softening").value(*self._ratios, compressibility, value)
        return self.outer_mm / 2.0 * value

    def unit_tilting(self, compressibility: Any = 0.0) -> Any:
        """See :meth:`FormBase.unit_tilting`: the sleeves against each other."""
        self._check_bond("tilting")
        value = table("bush tilt").value(*self._ratios)
        if np.any(compressibility):
            value = value * table("bush tilt softening").value(*self._ratios, compressibility, value)
        return (self.outer_mm / 2.0) ** 3 * value

    @property
    def covered(self) -> bool:
        """See :attr:`FormBase.covered`."""
        return bool(table("bush axial").holds(*self._ratios))

    @property
    def _ratios_shown(self) -> str:
        ratio, length = self._ratios
        return f"b/a {ratio:.3g}, L/b {length:.3g}"

    def offset_sd(self, axis: str = "axial") -> float:
        """See :meth:`FormBase.offset_sd`: 0.25 for frictionless sleeves too."""
        sd = super().offset_sd(axis)
        return sd if self.bonded else self.outside_sd

    def cautions(self, axis: str) -> Iterator[str]:
        """See :meth:`FormBase.cautions`."""
        ratio, length = self._ratios
        if axis == "radial" and self.bonded and length * ratio / (ratio - 1.0) > 8.0:
            yield "long and thin, so across it the bulk modulus matters; give it"

    def torsional_stiffness_n_mm_per_rad(self, youngs_modulus_mpa: ArrayLike = 1.0) -> Any:
        """Moment over angle when the inner sleeve is twisted, ``4πGL/(1/a² − 1/b²)``, in N mm/rad.

        Exact for any length, for an incompressible material (G = E/3).

        Parameters
        ----------
        youngs_modulus_mpa : array_like
            Young's modulus in MPa, above 0, real or complex.

        Raises
        ------
        InputError
            The sleeves are frictionless, or the modulus is not above 0.
        """
        self._check_bond("torsion")
        ratio, length = self._ratios
        unit = (self.outer_mm / 2.0) ** 3 * (4.0 * math.pi / 3.0) * length / (ratio**2 - 1.0)
        return self._scaled(lambda squeeze, soft: unit, youngs_modulus_mpa)
