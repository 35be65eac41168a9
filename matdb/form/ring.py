"""A round pad with a hole between two flat faces: the usual half of a grommet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from matdb.form.base import register
from matdb.form.round_pad import RoundPad

__all__ = ["Ring"]


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

    outer_mm: float
    inner_mm: float
    height_mm: float
    bonded: bool = True
    load_points: tuple[tuple[float, float], ...] | str = ()

    def __post_init__(self) -> None:
        self._positive("outer_mm", "inner_mm", "height_mm")
        self._below("inner_mm", "outer_mm")
        self._yes_or_no("bonded")
        self._checked_points()

    @property
    def _diameters_mm(self) -> tuple[float, float]:
        return self.outer_mm, self.inner_mm
