"""An isolator known only by its readings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from matdb.form.base import UNKNOWN_SD, UNREAD, Array, FormBase, register


@register
@dataclass(frozen=True)
class Measured(FormBase):
    """No geometry at all: the part's offset, which its readings set, does the work.

    At a Young's modulus of 1 MPa the stiffness is 1 N/mm, a mere convention.

    Attributes
    ----------
    height_mm : float or None
        Free height in mm if known, so that a squeeze has a meaning (its effect on the stiffness is not modelled).
    shear_share : float
        Stiffness across over stiffness along, 1 when unknown.

    Raises
    ------
    InputError
        A value out of range.
    """

    kind: ClassVar[str] = "measured"
    sketch: ClassVar[tuple[str, ...]] = ("    ?    ",)
    called: ClassVar[str] = "anything else: known by readings alone"
    asked: ClassVar[Mapping[str, str]] = {"height": "Height, unloaded (empty: not known)"}
    axes: ClassVar[tuple[str, ...]] = ("axial", "shear")
    has_geometry: ClassVar[bool] = False
    inside_sd: ClassVar[float] = UNKNOWN_SD
    apart_share: ClassVar[float] = 0.15

    height_mm: float | None = None
    shear_share: float = 1.0

    def __post_init__(self) -> None:
        self._positive("shear_share")
        if self.height_mm is not None:
            self._positive("height_mm")

    def unit_stiffness(self, axis: str, squeeze_mm: Array, compressibility: Any = 0.0) -> Any:
        """1 N/mm by convention; see :meth:`FormBase.unit_stiffness`."""
        return 1.0 if axis == "axial" else self.shear_share

    def cautions(self, axis: str) -> tuple[str, ...]:
        """See :meth:`FormBase.cautions`."""
        return (f"no geometry; without a {UNREAD} its stiffness is unknown",)
