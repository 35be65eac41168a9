"""A loop of steel cable, known by its load–deflection points."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np

from matdb.errors import InputError
from matdb.form.base import Array, FormBase, register
from matdb.form.squeeze_law import LoadCurve, checked_load_points


@register
@dataclass(frozen=True)
class CableLoop(FormBase):
    """A cable loop: hardly sensitive to rate and temperature, softer and more damped as the amplitude grows.

    Its stiffness comes from the user's own points and from no modulus: at a "Young's modulus" of 1 it is the
    points' own. As with every form without geometry, readings set the scale through the part's offset.

    Attributes
    ----------
    height_mm : float
        Free height in mm.
    load_points : tuple of (float, float), or str
        Static deflection in mm and force in N, rising, at least one; as text ``"0.5:4, 1:10"``.
    damping_ratio : float
        Damping ratio at the working amplitude; 0.05 to 0.25 is usual (from memory).

    Raises
    ------
    InputError
        Points that do not rise, or a value out of range.
    """

    kind: ClassVar[str] = "cable-loop"
    made: ClassVar[str] = "buy"
    axes: ClassVar[tuple[str, ...]] = ("axial",)
    has_geometry: ClassVar[bool] = False
    # No modulus goes with it: the offset takes that up.
    inside_sd: ClassVar[float] = 3.0

    height_mm: float
    load_points: tuple[tuple[float, float], ...] | str = ()
    damping_ratio: float = 0.15

    def __post_init__(self) -> None:
        self._positive("height_mm", "damping_ratio")
        if self.damping_ratio >= 0.7:
            raise InputError(f"{self.kind} damping_ratio", self.damping_ratio, "above 0 and below 0.7")
        points = checked_load_points(f"{self.kind} load_points", self.load_points)
        object.__setattr__(self, "load_points", points)

    @functools.cached_property
    def curve(self) -> LoadCurve:
        """The smooth curve through the points."""
        assert not isinstance(self.load_points, str)
        return LoadCurve(self.load_points)

    @property
    def solid_mm(self) -> None:
        """See :attr:`FormBase.solid_mm`: strands are none."""
        return

    def unit_stiffness(self, axis: str, squeeze_mm: Array, compressibility: Any = 0.0) -> Any:
        """Tangent stiffness of the points' curve in N/mm; see :meth:`FormBase.unit_stiffness`."""
        return np.asarray(self.curve.stiffness_n_per_mm(squeeze_mm))

    def cautions(self, axis: str) -> tuple[str, ...]:
        """See :meth:`FormBase.cautions`."""
        return ("softens and damps more as the amplitude grows; read it at the amplitude of flight",)
