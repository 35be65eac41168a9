"""What is judged and what for: parts with their curves, camera packages, requirements, and the words of a verdict."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from matdb.curve.curve import Curve
from matdb.errors import InputError
from matdb.form.base import FormBase
from matdb.form.part import Part
from matdb.material.record import Material
from matdb.mounting.record import CameraPackage, Mounting
from matdb.units import STANDARD_GRAVITY_M_S2

#: Requirements of the craft; the others are motions that the picture must not show.
CRAFT: Final = ("travel", "strain", "lift-off", "buckling", "service")
#: Kelvin beside the service range that weigh as much as a margin of 1.
SERVICE_K: Final = 20.0
#: Verdict words with the least probability that earns each. "suits" asks for so much that no 95 % band of a part that
#: earns it reaches past an end of the window.
VERDICTS: Final = (
    (0.98, "suits"),
    (0.75, "probably suits"),
    (0.25, "open"),
    (0.02, "probably not"),
    (0.0, "does not suit"),
)


def open_to_readings(probability: float) -> bool:
    """Whether more readings may still turn a verdict of this probability, either way."""
    return VERDICTS[-2][0] <= probability < VERDICTS[0][0]


@dataclass(frozen=True, eq=False)
class Candidate:
    """A part with its material and its material's curve."""

    part: Part
    material: Material
    curve: Curve


@dataclass(frozen=True)
class Payload:
    """The camera packages that a mounting must hold, one at a time, the lightest first."""

    packages: tuple[CameraPackage, ...]
    low_hz: float
    high_hz: float

    @classmethod
    def of(cls, mounting: Mounting, package: str | None = None) -> Payload:
        """Of all packages of a mounting, or of one. Raises InputError when there is no such package."""
        packages = mounting.all_packages if package is None else (mounting.package(package),)
        ordered = tuple(sorted(packages, key=lambda each: each.mass_kg))
        return cls(ordered, *mounting.window_hz)

    @property
    def light(self) -> CameraPackage:
        """The lightest package."""
        return self.packages[0]

    @property
    def heavy(self) -> CameraPackage:
        """The heaviest package."""
        return self.packages[-1]

    def possible(self, mounting: Mounting) -> Payload:
        """Itself. Raises InputError when no natural frequency at all both follows and isolates."""
        if self.low_hz <= self.high_hz:
            return self
        rotor = mounting.lowest_rotor_hz
        isolation, follow = mounting.ratios
        raise InputError(
            "manoeuvre band",
            f"{mounting.manoeuvre_hz:.3g} Hz",
            f"at most {self.high_hz / follow:.3g} Hz with rotors from {rotor:.3g} Hz on: following it asks for a "
            f"natural frequency of at least {self.low_hz:.3g} Hz ({follow:g} times), isolating for at most "
            f"{self.high_hz:.3g} Hz (a {isolation:g}th)",
            "no part can do both: idle faster, or let the camera follow less",
        )

    @property
    def weight_n(self) -> float:
        """Weight of the heaviest package, N."""
        return self.heavy.mass_kg * STANDARD_GRAVITY_M_S2


def check_meant(record: Any) -> None:
    """Ask back before a part or a mounting is stored that cannot well be meant, or that no part can hold.

    Raises InputError.
    """
    if isinstance(record, Part):
        record.form.check_meant()
    elif isinstance(record, Mounting):
        record.check_meant()
        Payload.of(record).possible(record)


@dataclass(frozen=True, kw_only=True)
class Requirement:
    """One thing that a part has to hold.

    Attributes
    ----------
    name : str
        "vertical", "lateral", "longitudinal", "roll", "pitch", "yaw", "travel", "strain", "lift-off", "buckling" or
        "service".
    probability : float
        That it holds at every temperature asked for.
    margin : float
        Room to its limit, median draw at the worst temperature, below 0 where it fails: of motions in natural
        frequency, of travel, strain and lift-off in load or length, each as a share of what is allowed or there; of
        the service range in kelvin over 20.
    temperature_c : float
        Where it is tightest.
    stiff : bool
        Of motions, whether the room is towards softer parts: too stiff where it fails.
    pixels, pixels_most : float or None
        Of motions, where the airframe was measured: by how much that motion turns the picture through the isolators (or
        how much of it the picture misses), and by how much it would at the limit; root mean square, pixels.
    """

    name: str
    probability: float
    margin: float
    temperature_c: float
    stiff: bool = False
    pixels: float | None = None
    pixels_most: float | None = None


def gives_way(form: FormBase, sag: str) -> str:
    """Why a form that leans over or folds does not carry what it sags so much under, in plain words."""
    return f"{form.gives_way[1]} from {form.buckling_share * form.bearing_height_mm:.2g} mm on, and it sags {sag}"
