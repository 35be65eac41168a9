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

    Its stiffness comes from the user's own points and from no modulus: the "Young's modulus" of its family, steel
    cable, is 1, and at 1 the stiffness is the points' own.

    Attributes
    ----------
    height_mm : float
        Free height in mm.
    load_points : tuple of (float, float), or str
        Static deflection in mm and force in N, rising, at least one; as text ``"0.5:4, 1:10"``.
    damping_ratio : float
        Noted only: answers take what is usual of wire rope (0.05 to 0.25 by amplitude, from memory) until ring-downs
        tell it.

    Raises
    ------
    InputError
        Points that do not rise, or a value out of range.
    """

    kind: ClassVar[str] = "cable-loop"
    made: ClassVar[str] = "buy"
    axes: ClassVar[tuple[str, ...]] = ("axial",)
    has_geometry: ClassVar[bool] = False
    cable: ClassVar[bool] = True

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

    def pressed_unit(self, axis: str, squeeze_mm: float, deflection_mm: float) -> float:
        """Secant of the points' curve; see :meth:`FormBase.pressed_unit`."""
        force = self.curve.force_n(np.array([squeeze_mm, squeeze_mm + deflection_mm]))
        return float(force[1] - force[0]) / deflection_mm

    def strained_mm(self, axis: str) -> float:
        """Its height, by which strands slip the more the further they bend; see :meth:`FormBase.strained_mm`."""
        return self.height_mm

    def cautions(self, axis: str) -> tuple[str, ...]:
        """See :meth:`FormBase.cautions`."""
        return (
            "its load points were pressed slowly; quick small shaking lets the strands slip less and finds it stiffer, "
            "by some half as a rule: read it at the amplitude of flight; "
            "--squeeze tells how far the payload presses it",
        )
