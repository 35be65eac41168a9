"""A two-part grommet as it is built: a flange below and above the plate, and a neck through its hole."""

from __future__ import annotations

import functools
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, ClassVar

from numpy.typing import ArrayLike

from matdb.checks import checked_number
from matdb.errors import InputError
from matdb.form.base import Array, register
from matdb.form.grommet_pair import GrommetPair, TwoHalves
from matdb.form.grommet_table import grommet_covered, grommet_linear, uneven_share
from matdb.form.round_pad import RoundPad


@dataclass(frozen=True)
class _Flange(RoundPad):
    """One flange with its half of the neck: a ring whose unsqueezed stiffness is that of the grommet tables.

    ``other_mm`` is the height of the flange that shares the neck, its own where none does.
    """

    kind: ClassVar[str] = "grommet"

    outer_mm: float
    inner_mm: float
    height_mm: float
    other_mm: float
    hole_mm: float
    plate_mm: float
    neck_outer_mm: float
    neck_share: float
    neck: str
    sleeve: bool
    bonded: bool = True
    load_points: tuple[tuple[float, float], ...] = ()

    @property
    def _diameters_mm(self) -> tuple[float, float]:
        return self.outer_mm, self.inner_mm

    def _lengths(self, mode: str = "tilt") -> tuple[float, float, float, float]:
        """Radii of bore and hole, height, and the neck's share of the plate over the flange's radius."""
        plate = self.plate_mm * (0.5 if mode == "tilt" else self.neck_share)
        sizes = (self.inner_mm, self.hole_mm, 2.0 * self.height_mm, 2.0 * plate)
        bore, hole, height, share = (size / self.outer_mm for size in sizes)
        return bore, hole, height, share

    def linear(self, mode: str) -> tuple[float, float]:
        """Unsqueezed stiffness at 1 MPa and E / B = 0, and the share that E / B softens it by.

        Parameters
        ----------
        mode : str
            "axial", "shear" (N/mm) or "tilt" (N mm/rad, about the plate's mid-plane).
        """
        bore = "sleeve" if self.sleeve else "free"
        values = grommet_linear(*self._lengths(mode))
        value, soft = values[f"{self.neck} {bore} {mode}"]
        if self.neck == "loose" and self.neck_outer_mm < self.hole_mm:
            # A thinner neck lies between none and one that fills the hole, by its area.
            filled = (self.neck_outer_mm**2 - self.inner_mm**2) / (self.hole_mm**2 - self.inner_mm**2)
            value = values[f"none {bore} {mode}"][0] ** (1.0 - filled) * value**filled
        if self.neck != "none":
            sizes = (self.inner_mm, self.hole_mm, self.height_mm, self.other_mm, self.plate_mm)
            value *= uneven_share(*(size / self.outer_mm for size in sizes)).get(f"{self.neck} {bore} {mode}", 1.0)
        return value * (self.outer_mm / 2.0) ** (3 if mode == "tilt" else 1), soft

    @functools.cached_property
    def _axial(self) -> tuple[float, float]:
        return self.linear("axial")

    def unit(self, mode: str, compressibility: Any = 0.0) -> Any:
        """Unsqueezed stiffness at 1 MPa; see :meth:`linear`."""
        stiff, soft = self._axial if mode == "axial" else self.linear(mode)
        return stiff / (1.0 + soft * compressibility)

    def unit_stiffness(self, axis: str, squeeze_mm: Array, compressibility: Any = 0.0) -> Any:
        """See :meth:`FormBase.unit_stiffness`; sideways and turning the squeeze changes nothing here."""
        if axis != "axial":
            return self.unit(axis, compressibility)
        return super().unit_stiffness(axis, squeeze_mm, compressibility)

    def _linear(self, compressibility: Any) -> Any:
        return self.unit("axial", compressibility) * self.height_mm / self.area_mm2

    @property
    def covered(self) -> bool:
        return grommet_covered(*self._lengths())

    @property
    def _ratios_shown(self) -> str:
        bore, hole, height, plate = self._lengths()
        return f"bore {bore:.2g}, hole {hole:.2g}, height {height:.2g}, half plate {plate:.2g} of the flange's radius"


class _Halves(GrommetPair):
    """The two flanges as a pair that one screw squeezes, under the grommet's own name."""

    kind: ClassVar[str] = "grommet"


@register
@dataclass(frozen=True)
class Grommet(TwoHalves):
    """A grommet as it is built: a flange below and above the plate, and a neck through the plate's hole.

    Small-strain stiffness from finite elements of the body of revolution: the plate moves against bolt and washers,
    whose faces do not slip; a sleeve in the bore holds the rubber across and lets it slide along. Each half squeezes
    and lifts off as in :class:`GrommetPair`.

    Attributes
    ----------
    flange_outer_mm, bore_mm : float
        Diameters of the flanges and of the bore on its sleeve or screw, in mm.
    lower_mm, upper_mm : float
        Height of each flange in mm; upper None takes the lower's.
    plate_mm, hole_mm : float
        Thickness of the plate and diameter of its hole in mm; bore < hole < flange.
    neck : str
        ``"loose"`` in the hole, ``"pressed"`` into it (held all round), or ``"none"``: two plain rings.
    neck_outer_mm : float or None
        Outer diameter of a loose neck in mm; None fills the hole.
    neck_of : str
        ``"both"``, or ``"lower"`` where the whole neck belongs to the lower half.
    upper_outer_mm : float or None
        Diameter of the upper flange in mm where it differs.
    sleeve_mm : float or None
        Outer diameter of a sleeve or screw that fills the bore, in mm; None or 0: the bore is free. One that is thinner
        than the bore leaves it free until the gap closes.
    thread : str or None
        The screw's thread, for instance ``"M3"``.
    spacer_mm : float or None
        Length of the spacer that stops the screw, in mm.

    Raises
    ------
    InputError
        A dimension is out of range or does not fit the others, or a word is unknown.

    Examples
    --------
    >>> grommet = Grommet(flange_outer_mm=12, bore_mm=4.2, lower_mm=3.5, plate_mm=2, hole_mm=7, sleeve_mm=4.2)
    >>> round(grommet.stiffness_n_per_mm(1.0, "shear", bulk_modulus_mpa=500.0))
    36
    """

    kind: ClassVar[str] = "grommet"
    sketch: ClassVar[tuple[str, ...]] = ("###   ###", "==#   #==", "###   ###")
    called: ClassVar[str] = "grommet: a groove that a plate sits in"
    asked: ClassVar[Mapping[str, str]] = {
        "flange-outer": "Diameter of the flanges",
        "bore": "Diameter of the hole through it",
        "lower": "Height of the flange below the plate",
        "upper": "Height of the flange above it (empty: the same)",
        "plate": "Thickness of the plate",
        "hole": "Diameter of the hole in the plate",
    }
    # Sideways a sleeve or a neck squeezes a wall that the axial load hardly feels.
    apart_share: ClassVar[float] = 1.35

    flange_outer_mm: float
    bore_mm: float
    lower_mm: float
    upper_mm: float | None = None
    plate_mm: float = math.nan
    hole_mm: float = math.nan
    neck: str = "loose"
    neck_outer_mm: float | None = None
    neck_of: str = "both"
    upper_outer_mm: float | None = None
    sleeve_mm: float | None = None
    thread: str | None = None
    spacer_mm: float | None = None

    def __post_init__(self) -> None:
        if self.upper_mm is None:
            object.__setattr__(self, "upper_mm", self.lower_mm)
        if isinstance(self.sleeve_mm, int | float) and self.sleeve_mm == 0.0:
            object.__setattr__(self, "sleeve_mm", None)
        maybe = ("neck_outer_mm", "upper_outer_mm", "sleeve_mm")
        self._positive("flange_outer_mm", "bore_mm", "lower_mm", "upper_mm", "plate_mm", "hole_mm")
        self._positive(*(name for name in maybe if getattr(self, name) is not None))
        self._below("bore_mm", "hole_mm")
        self._below("hole_mm", "flange_outer_mm")
        for name, low, high in (("neck_outer_mm", self.bore_mm, self.hole_mm), ("sleeve_mm", 0.0, self.bore_mm)):
            if getattr(self, name) is not None:
                checked_number(f"{self.kind} {name}", getattr(self, name), low, high, "mm", open_low=True)
        if self.upper_outer_mm is not None and self.upper_outer_mm <= self.hole_mm:
            raise InputError(f"{self.kind} upper_outer_mm", self.upper_outer_mm, f"above hole_mm ({self.hole_mm:g} mm)")
        self._one_of("neck", ("loose", "pressed", "none"))
        self._one_of("neck_of", ("both", "lower"))
        self._check_stack()

    @functools.cached_property
    def halves(self) -> tuple[_Flange, _Flange]:
        """See :attr:`TwoHalves.halves`: two flanges, each with its share of the neck."""
        whole, upper_mm = self.neck_of == "lower", self.upper_mm or self.lower_mm
        filled = self.neck_outer_mm is None or self.neck == "pressed"
        lower = _Flange(
            outer_mm=self.flange_outer_mm,
            inner_mm=self.bore_mm,
            height_mm=self.lower_mm,
            other_mm=self.lower_mm if whole else upper_mm,
            hole_mm=self.hole_mm,
            plate_mm=self.plate_mm,
            neck_outer_mm=self.hole_mm if filled else self.neck_outer_mm or 0.0,
            neck_share=1.0 if whole else 0.5,
            neck=self.neck,
            sleeve=self.sleeve_mm is not None and self.sleeve_mm >= self.bore_mm,
        )
        outer = self.flange_outer_mm if self.upper_outer_mm is None else self.upper_outer_mm
        upper = replace(lower, outer_mm=outer, height_mm=upper_mm, other_mm=upper_mm if whole else self.lower_mm)
        return lower, replace(upper, neck="none", neck_share=0.5) if whole else upper

    @functools.cached_property
    def pair(self) -> GrommetPair:
        """See :attr:`FormBase.pair`: its halves under its screw."""
        return _Halves(*self.halves, self.plate_mm, self.thread, self.spacer_mm)

    @property
    def neck_mm(self) -> tuple[float, float] | None:
        """See :attr:`TwoHalves.neck_mm`."""
        return None if self.neck == "none" else (self.bore_mm, self.neck_outer_mm or self.hole_mm)

    def unit_tilting(self, compressibility: Any = 0.0) -> Any:
        """See :meth:`FormBase.unit_tilting`."""
        return sum(half.unit("tilt", compressibility) for half in self.halves)

    @property
    def contact_travel_mm(self) -> float | None:
        """How far the plate moves across until neck and sleeve fill hole and bore, mm; None where nothing is left."""
        if self.neck == "none":
            return None
        gaps = [0.0 if self.sleeve_mm is None else self.bore_mm - self.sleeve_mm]
        if self.neck == "loose":
            gaps.append(self.hole_mm - (self.neck_outer_mm or self.hole_mm))
        return None if self.neck == "pressed" and not gaps[0] else sum(gaps) / 2.0

    def contact_stiffness_n_per_mm(
        self, youngs_modulus_mpa: ArrayLike = 1.0, *, bulk_modulus_mpa: ArrayLike | None = None
    ) -> Any:
        """Stiffness across in N/mm once the gaps beside neck and sleeve have closed (:attr:`contact_travel_mm`).

        A neck that only meets the hole is pressed on one side alone, which takes half of what a pressed-in neck adds:
        exact for a layer that acts point by point.

        Parameters
        ----------
        youngs_modulus_mpa, bulk_modulus_mpa : array_like
            As of :meth:`FormBase.stiffness_n_per_mm`.

        Raises
        ------
        InputError
            A modulus is not above 0.
        """
        closed = replace(self, sleeve_mm=None if self.sleeve_mm is None else self.bore_mm)
        if self.neck != "loose":
            return closed._across(youngs_modulus_mpa, bulk_modulus_mpa)
        # The neck is pressed as in a hole of its own size; the flanges keep theirs.
        own = replace(closed, hole_mm=self.neck_outer_mm or self.hole_mm)
        before, loose, pressed = (
            form._across(youngs_modulus_mpa, bulk_modulus_mpa) for form in (closed, own, replace(own, neck="pressed"))
        )
        return before + 0.5 * (pressed - loose)

    def _across(self, youngs_modulus_mpa: ArrayLike, bulk_modulus_mpa: ArrayLike | None) -> Any:
        return self.stiffness_n_per_mm(youngs_modulus_mpa, "shear", bulk_modulus_mpa=bulk_modulus_mpa)

    def cautions(self, axis: str) -> Iterator[str]:
        """See :meth:`FormBase.cautions`."""
        travel = self.contact_travel_mm
        if axis == "shear" and travel is not None:
            gain = self.contact_stiffness_n_per_mm() / self.stiffness_n_per_mm(axis="shear")
            when = f"once the plate has moved {travel:.2g} mm and its gaps have closed" if travel else "at any load"
            yield f"sideways it is {gain:.2f} times as stiff {when}, as its neck rests on one side of the hole"
        if axis == "shear" and self.sleeve_mm is None:
            yield "the bore is free; a sleeve or screw that fills it makes the grommet far stiffer sideways: give it"
