"""The solid pad and the ring, the usual half of a grommet: a round body between two flat faces."""

from __future__ import annotations

import functools
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
from numpy.typing import ArrayLike

from matdb.form.base import Array, FormBase, register
from matdb.form.column import column_axial, column_covered, column_sideways, column_tilting
from matdb.form.squeeze_law import FRICTIONLESS, LoadCurve, SqueezeLaw, checked_load_points, tabulated_law


class RoundPad(FormBase):
    """A round body of height h between two flat faces; a subclass gives its diameters."""

    axes: ClassVar[tuple[str, ...]] = ("axial", "shear")
    needs_bond: ClassVar[tuple[str, ...]] = ("shear",)
    gives_way: ClassVar[tuple[str, str, str]] = "fold", "a wall so thin folds", "a lower ring or a thicker wall"

    height_mm: float
    bonded: bool
    load_points: Any

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
    def _ratios(self) -> tuple[float, float]:
        """Height over outer diameter, and inner over outer diameter."""
        outer, inner = self._diameters_mm
        return self.height_mm / outer, inner / outer

    @property
    def shape_factor(self) -> float:
        """Loaded over free area, ``(Do − Di) / (4 h)``, dimensionless."""
        outer, inner = self._diameters_mm
        return (outer - inner) / (4.0 * self.height_mm)

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
        return self._scaled(self.unit_force, youngs_modulus_mpa, squeeze_mm, bulk_modulus_mpa)

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
        if axis == "shear":
            return scale * column_sideways(*self._ratios, compressibility)
        return scale * self._linear(compressibility) * self._law.tangent(np.asarray(squeeze_mm) / self.height_mm)

    def unit_tilting(self, compressibility: Any = 0.0) -> Any:
        """See :meth:`FormBase.unit_tilting`."""
        outer, inner = self._diameters_mm
        beam = math.pi / 64.0 * (outer**4 - inner**4) / self.height_mm
        return beam * column_tilting(*self._ratios, compressibility) if self.bonded else beam

    def _linear(self, compressibility: Any) -> Any:
        """Apparent over true Young's modulus at no squeeze."""
        if not self.bonded:
            return 1.0
        return column_axial(*self._ratios, compressibility) if np.any(compressibility) else self._bonded_gain

    @functools.cached_property
    def _law(self) -> SqueezeLaw:
        if self.load_points:
            return LoadCurve(self.load_points).law(self.height_mm)
        return tabulated_law(self.shape_factor, self._ratios[1]) if self.bonded else FRICTIONLESS

    @property
    def squeeze_reach_mm(self) -> float:
        """Squeeze in mm up to which its force is known: by the table, the measured points, or the exact law."""
        return float(self.load_points[-1][0]) if self.load_points else self._law.most * self.height_mm

    @functools.cached_property
    def buckling_share(self) -> float:
        """See :attr:`FormBase.buckling_share`: where a thin wall folds by the table, or as far as it was measured."""
        hole = self._ratios[1]
        if hole <= 0.4 or self.shape_factor >= 0.16:
            return math.inf
        measured = self.squeeze_reach_mm / self.height_mm if self.load_points else 0.0
        return max(tabulated_law(self.shape_factor, hole).most, measured)

    @property
    def as_half(self) -> str:
        """See :attr:`FormBase.as_half`: ``"ring 12x5x4mm"``."""
        sizes = "x".join(f"{value:g}" for name, value in self.to_dict().items() if name.endswith("_mm"))
        return f"{self.kind} {sizes}mm"

    @property
    def covered(self) -> bool:
        """See :attr:`FormBase.covered`; frictionless faces need no table."""
        return not self.bonded or column_covered(*self._ratios)

    @property
    def _ratios_shown(self) -> str:
        return f"shape factor {self.shape_factor:.3g}, diameter ratio {self._ratios[1]:.2g}"

    def offset_sd(self, axis: str = "axial") -> float:
        """See :meth:`FormBase.offset_sd`.

        Real loose faces lie anywhere between frictionless and bonded, so these get half of that span, at most 0.5.
        """
        sd = super().offset_sd(axis)
        return sd if self.bonded else min(max(self.inside_sd, 0.5 * math.log(self._bonded_gain)), 0.5)

    @functools.cached_property
    def _bonded_gain(self) -> float:
        return float(column_axial(*self._ratios))

    def cautions(self, axis: str) -> Iterator[str]:
        """See :meth:`FormBase.cautions`."""
        slender = self._ratios[0]
        if axis == "axial" and not self.bonded:
            gain = f"{self._bonded_gain:.2f} times as stiff"
            yield f"frictionless faces are an ideal; friction stiffens towards bonded faces, {gain}"
        if axis == "axial" and self.bonded and self.shape_factor > 3.0:
            share = f"{float(2.0 * self.shape_factor**2 / 2000.0):.1%} per MPa of Young's modulus"
            matters = f"thin (shape factor {self.shape_factor:.2g}), so its bulk modulus matters"
            yield f"{matters}: at 2000 MPa it lowers the stiffness by the share {share}"
        if slender > 3.0:
            yield "taller than three diameters; it may buckle, treat it as a strut"
        if self.leans:
            yield f"the wall is thin for its height; it folds at about {self.buckling_share:.0%} squeeze"

    def _check_faces(self) -> None:
        self._yes_or_no("bonded")
        points = checked_load_points(f"{self.kind} load_points", self.load_points, least=0)
        object.__setattr__(self, "load_points", points)


@register
@dataclass(frozen=True)
class Pad(RoundPad):
    """A solid round pad, squeezed along its axis or sheared across it.

    Attributes
    ----------
    diameter_mm : float
        Diameter in mm, above 0.
    height_mm : float
        Free height in mm, above 0.
    bonded : bool
        True when both faces hold the rubber (glued, moulded on or clamped); False for frictionless faces,
        which carry no shear.
    load_points : tuple of (float, float), or str
        Measured deflection in mm and force in N, rising (as text ``"0.5:4, 1:10"``): their shape replaces that
        of the table when the part is squeezed; the modulus still gives the scale.

    Raises
    ------
    InputError
        A dimension is not above 0.

    Examples
    --------
    >>> round(Pad(diameter_mm=10.0, height_mm=5.0).stiffness_n_per_mm(1.0), 1)
    24.3
    """

    kind: ClassVar[str] = "pad"
    sketch: ClassVar[tuple[str, ...]] = ("#########", "#########", "#########")
    called: ClassVar[str] = "pad: a solid disc, pressed flat"
    asked: ClassVar[Mapping[str, str]] = {"diameter": "Diameter", "height": "Height, unloaded"}

    diameter_mm: float
    height_mm: float
    bonded: bool = True
    load_points: tuple[tuple[float, float], ...] | str = ()

    def __post_init__(self) -> None:
        self._positive("diameter_mm", "height_mm")
        self._check_faces()

    @property
    def _diameters_mm(self) -> tuple[float, float]:
        return self.diameter_mm, 0.0


@register
@dataclass(frozen=True)
class Ring(RoundPad):
    """A round pad with a concentric hole, squeezed along its axis or sheared across it.

    Attributes
    ----------
    outer_mm, inner_mm : float
        Diameters in mm, inner below outer; the hole's wall is free.
    height_mm : float
        Free height in mm, above 0.
    bonded : bool
        True when both faces hold the rubber (glued, moulded on or clamped); False for frictionless faces,
        which carry no shear.
    load_points : tuple of (float, float), or str
        Measured deflection in mm and force in N, rising (as text ``"0.5:4, 1:10"``): their shape replaces that
        of the table when the part is squeezed; the modulus still gives the scale.

    Raises
    ------
    InputError
        A dimension is not above 0, or inner is not below outer.

    Examples
    --------
    >>> Ring(outer_mm=16.0, inner_mm=6.0, height_mm=5.0).shape_factor
    0.5
    """

    kind: ClassVar[str] = "ring"
    sketch: ClassVar[tuple[str, ...]] = ("###   ###", "###   ###", "###   ###")
    called: ClassVar[str] = "ring: a washer, pressed along its hole"
    asked: ClassVar[Mapping[str, str]] = {
        "outer": "Outer diameter",
        "inner": "Diameter of the hole",
        "height": "Height, unloaded",
    }

    outer_mm: float
    inner_mm: float
    height_mm: float
    bonded: bool = True
    load_points: tuple[tuple[float, float], ...] | str = ()

    def __post_init__(self) -> None:
        self._positive("outer_mm", "inner_mm", "height_mm")
        self._below("inner_mm", "outer_mm")
        self._check_faces()

    @property
    def _diameters_mm(self) -> tuple[float, float]:
        return self.outer_mm, self.inner_mm
