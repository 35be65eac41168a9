"""A solid round pad between two flat faces."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from matdb.form.base import register
from matdb.form.round_pad import RoundPad

__all__ = ["Pad"]


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

    diameter_mm: float
    height_mm: float
    bonded: bool = True
    load_points: tuple[tuple[float, float], ...] | str = ()

    def __post_init__(self) -> None:
        self._positive("diameter_mm", "height_mm")
        self._yes_or_no("bonded")
        self._checked_points()

    @property
    def _diameters_mm(self) -> tuple[float, float]:
        return self.diameter_mm, 0.0
