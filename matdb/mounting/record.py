"""A mounting: what is suspended, on how many isolators and where, and what the airframe does to it.

Axes: x forward, y to the left, z up, in mm from a reference point of the user's choice (the middle of the
mount plate, say). The simplest mounting is a mass, a count, a range of rotor speeds and a number of blades;
everything else has a default or is asked for only by what needs it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import numpy as np

from matdb.checks import checked_number, one_of, picked
from matdb.errors import InputError
from matdb.fields import PlainRecord, check_record, entry, from_plain, info, record_fields
from matdb.mounting.suspended import FOLLOW_LEAST, ISOLATION_LEAST, MANOEUVRE_HZ, RotorBand, rotor_bands, window_limits

Vector = tuple[float, float, float]

#: Load factors that a gentle camera flight sees, in units of weight; common practice, no source.
LOAD_FACTORS = (0.5, 2.0)

#: What the footage is for: least ratio of rotor to natural frequency, and of natural frequency to the manoeuvre band.
#: Stabilising afterwards removes slow motion and no vibration, so it asks for less following and more isolation;
#: common practice, no source.
FOOTAGE = {"as flown": (ISOLATION_LEAST, FOLLOW_LEAST), "stabilised": (3.0, 1.5)}

_FARTHEST_MM = 10000.0
#: What a suspended camera weighs in kg, how far apart its isolators stand at the widest in mm, and that over the
#: camera's widest side: beyond these a unit or a digit has slipped. Common practice, no source.
_MEANT_KG, _MEANT_MM, _MEANT_SHARE = (0.005, 100.0), (10.0, 1000.0), (0.15, 5.0)


def rectangle_positions(length_mm: float, width_mm: float, z_mm: float = 0.0) -> tuple[Vector, ...]:
    """Four isolators at the corners of a rectangle, ``length_mm`` along x and ``width_mm`` along y.

    Raises
    ------
    InputError
        A side that is not above zero.

    """
    a = 0.5 * checked_number("length_mm", length_mm, 0.0, _FARTHEST_MM, "mm", open_low=True)
    b = 0.5 * checked_number("width_mm", width_mm, 0.0, _FARTHEST_MM, "mm", open_low=True)
    return ((a, b, z_mm), (a, -b, z_mm), (-a, b, z_mm), (-a, -b, z_mm))


class _Sparse(PlainRecord):
    def to_dict(self) -> dict[str, Any]:
        """The record as plain values fit for JSON, without those that are None or empty, or limits as usual."""
        values = super().to_dict()
        usual = {"footage": "as flown", "strain_most": 0.25, "assembly_c": 23.0, "set_share": 0.15}
        return {k: v for k, v in values.items() if v not in (None, [], "") and v != usual.get(k, math.nan)}


def spread_positions(count: int, length_mm: float, width_mm: float) -> tuple[Vector, ...]:
    """``count`` isolators spread over a length along x and a width along y, in the plane z = 0.

    An even number stands in two rows along x, two stand ahead and behind, an odd number on an ellipse with one ahead.

    Raises
    ------
    InputError
        A side that is not above zero.

    """
    if count % 2 or count == 2:
        a, b = 0.5 * length_mm, 0.5 * width_mm
        turns = [2.0 * math.pi * i / count for i in range(count)]
        points = [(a * math.cos(t), b * math.sin(t), 0.0) for t in turns]
        # Stretched to the sides that were given, which three on an ellipse do not reach.
        long, wide = (max(p[k] for p in points) - min(p[k] for p in points) for k in (0, 1))
        return tuple(
            (x * length_mm / (long or 1.0), y * width_mm / wide if wide > 1e-9 else 0.0, z) for x, y, z in points
        )
    rows = count // 2
    corners = rectangle_positions(length_mm, width_mm)
    steps = [2.0 * i / (rows - 1) - 1.0 for i in range(rows)]
    return tuple((corners[0][0] * step, side * corners[0][1], 0.0) for step in steps for side in (1.0, -1.0))


def circle_positions(count: int, diameter_mm: float) -> tuple[Vector, ...]:
    """``count`` isolators on a circle in the plane z = 0: an odd number with one ahead, an even one with two."""
    first = 0.0 if count % 2 or count == 2 else math.pi / count
    turns = [first + 2.0 * math.pi * i / count for i in range(count)]
    x, y = ([round(0.5 * diameter_mm * side(t), 9) for t in turns] for side in (math.cos, math.sin))
    return tuple((*place, 0.0) for place in zip(x, y, strict=True))


def _rows(field: str, value: object, allowed: str = "a row of (x, y, z) triples in mm") -> Sequence[Any]:
    if not isinstance(value, str):
        with suppress(TypeError):
            return list(value)  # type: ignore[call-overload, no-any-return]
    raise InputError(field, value, allowed)


def _numbers(field: str, value: object) -> list[float]:
    return [checked_number(field, v, -1e12, 1e12) for v in _rows(field, value, "a row of numbers")]


def _vector(field: str, value: object, *, positive: bool = False) -> Vector:
    numbers = _numbers(field, value)
    low = 0.0 if positive else -_FARTHEST_MM
    if len(numbers) != 3 or not all((low < n if positive else low <= n) and n <= _FARTHEST_MM for n in numbers):
        span = "above 0 and at most" if positive else "within"
        raise InputError(field, value, f"three numbers (x, y, z), each {span} {_FARTHEST_MM:g}")
    return (numbers[0], numbers[1], numbers[2])


def _inertia(value: object) -> tuple[float, ...]:
    """Three or six numbers that a real body can have: positive, none above the sum of the other two."""
    numbers = _numbers("inertia_kg_mm2", value)
    if len(numbers) in (3, 6):
        xx, yy, zz, xy, xz, yz = (*numbers, 0.0, 0.0, 0.0)[:6]
        low, middle, high = np.linalg.eigvalsh(np.array([[xx, xy, xz], [xy, yy, yz], [xz, yz, zz]]))
        if low > 0.0 and high <= (low + middle) * (1.0 + 1e-9):
            return tuple(numbers)
    given = "(Ixx, Iyy, Izz) or (Ixx, Iyy, Izz, Ixy, Ixz, Iyz) in kg mm2"
    real = "of a real body: positive, none of the principal ones larger than the other two together"
    raise InputError("inertia_kg_mm2", value, f"{given} {real}")


def _rows_of_vectors(field: str, value: object) -> tuple[Vector, ...]:
    return tuple(_vector(field, each) for each in _rows(field, value))


def unknown_for(purpose: str, what: str, cure: str) -> InputError:
    """The error that says what is missing for a purpose."""
    return InputError(what, None, f"known for {purpose}", cure, says=f"not known, but needed for {purpose}")


def _load_factors(value: object) -> tuple[float, ...]:
    loads = _numbers("load_factors", value)
    if len(loads) != 2 or not -20.0 <= loads[0] <= 1.0 <= loads[1] <= 100.0:
        allowed = "the least (-20 to 1) and the greatest (1 to 100), in units of weight"
        raise InputError("load_factors", value, allowed)
    return tuple(loads)


def _spread(value: object) -> tuple[float, ...]:
    spread = _numbers("spread_mm", value)
    if len(spread) not in (1, 2) or not all(0.0 < side <= _FARTHEST_MM for side in spread):
        allowed = f"length and width, or the circle's diameter alone, above 0 and at most {_FARTHEST_MM:g} mm"
        raise InputError("spread_mm", value, allowed)
    return tuple(spread)


#: What is known of the fields of a package, which the mounting's own has too.
_MASS = info(0.0, 1000.0, open_low=True)
_CENTRE, _BOX = info(check=partial(_vector, "centre_mm")), info(check=partial(_vector, "box_mm", positive=True))
_INERTIA, _POINT = info(check=_inertia), info(check=partial(_vector, "camera_point_mm"))
_SPEED = info(0.0, 500000.0, open_low=True, words="1/min")

#: Camera packages that take turns on one set of isolators; each is judged with every part.
_MOST_PACKAGES = 100


@dataclass(frozen=True, kw_only=True)
class CameraPackage(_Sparse):
    """What the isolators carry: one camera with its gimbal, plate, lens and battery.

    Attributes
    ----------
    name : str
        Its name, unique in a mounting.
    mass_kg : float
        Suspended mass, kg.
    centre_mm : tuple of float
        Centre of gravity (x, y, z), mm from the mounting's reference point.
    box_mm : tuple of float or None
        Length, width and height (x, y, z) of an even box of the same inertia, mm.
    inertia_kg_mm2 : tuple of float or None
        Inertia about the centre of gravity, kg mm2: (Ixx, Iyy, Izz) or (Ixx, Iyy, Izz, Ixy, Ixz, Iyz), the
        last three being the off-diagonal elements of the inertia matrix (minus the products of inertia).
    camera_point_mm : tuple of float or None
        Where the shake is to be judged (the lens), mm from the reference; None is the centre of gravity.

    """

    name: str = field(metadata=info(dimension="name"))
    mass_kg: float = field(metadata=_MASS)
    centre_mm: Vector = field(default=(0.0, 0.0, 0.0), metadata=_CENTRE)
    box_mm: Vector | None = field(default=None, metadata=_BOX)
    inertia_kg_mm2: tuple[float, ...] | None = field(default=None, metadata=_INERTIA)
    camera_point_mm: Vector | None = field(default=None, metadata=_POINT)

    def __post_init__(self) -> None:
        check_record(self, owner="package")
        if self.inertia_kg_mm2 is not None and self.box_mm is not None:
            raise InputError("box_mm", self.box_mm, "left out when the inertia is given", "give one of the two")

    @property
    def has_inertia(self) -> bool:
        """Whether inertia or box are known."""
        return self.box_mm is not None or self.inertia_kg_mm2 is not None

    @property
    def inertia(self) -> tuple[float, ...]:
        """Inertia about the centre of gravity, six numbers as in ``inertia_kg_mm2``, from it or from the box.

        Raises
        ------
        InputError
            Neither the inertia nor the box is known.

        """
        if self.inertia_kg_mm2 is not None:
            return (*self.inertia_kg_mm2, 0.0, 0.0, 0.0)[:6]
        if self.box_mm is not None:
            a, b, c = self.box_mm
            m = self.mass_kg / 12.0
            return (m * (b * b + c * c), m * (a * a + c * c), m * (a * a + b * b), 0.0, 0.0, 0.0)
        cure = (
            "give box_mm=(length, width, height) or inertia_kg_mm2; on the command line by 'matdb mounting add --from'"
        )
        raise unknown_for("six axes", f"inertia of {self.name}", cure)


@dataclass(frozen=True, kw_only=True)
class Mounting(_Sparse):
    """A suspended camera and the airframe that carries it.

    Attributes
    ----------
    name : str
        Unique in a store.
    mass_kg : float
        Suspended mass of the main camera package, kg, all isolators together.
    count : int
        Number of isolators.
    rpm_idle : float
        Lowest rotor speed in flight (descent, not on the ground), 1/min.
    rpm_full : float
        Highest rotor speed, 1/min.
    rpm_hover : float or None
        Rotor speed in hover, 1/min, between the two.
    blades : int
        Blades per rotor.
    orders : tuple of float
        Rotor orders (events per revolution) to isolate from; empty takes once and ``blades`` times.
    manoeuvre_hz : float
        Top of the band in which the camera must follow the airframe, Hz.
    load_factors : tuple of float
        Least and greatest load factor in flight, in units of weight; below 0 the airframe pushes down.
    positions_mm : tuple of tuple
        Elastic centres of the isolators (x, y, z), mm; one per isolator, or empty when not known.
    spread_mm : tuple of float or None
        Length and width that the isolators are spread over, mm, in the plane z = 0; in place of ``positions_mm``. The
        diameter alone puts them on a circle: it becomes ``positions_mm``.
    airframe_centre_mm : tuple of float or None
        The airframe's centre of gravity, which it turns about, mm; None is below (or above) the camera's in the
        isolators' plane.
    clearance_mm : float or None
        How far the camera may move in every direction before it touches something, mm; None is the part's own travel.
    footage : str
        "as flown", or "stabilised" afterwards, which asks for less following and more isolation.
    isolation_ratio, follow_ratio : float or None
        Least ratio of the lowest rotor frequency to the natural frequency, and of the natural frequency to the
        manoeuvre band; None takes those of ``footage``.
    strain_most : float
        Largest share of the height that squeeze and resting payload may press a half or a part by.
    assembly_c : float
        Temperature at which screws are turned, degrees Celsius.
    set_share : float
        Share of a squeeze that compression set and creep will take, 0 to 0.8.
    rotor_note : str
        How the rotor speeds were estimated; empty when they were given.
    inclination_deg : float
        Tilt of every isolator's axis from the vertical, its upper end leaning to the middle, degrees.
    directions : tuple of tuple
        The isolators' axes (x, y, z) of any length where a common tilt does not describe them; else empty.
    centre_mm, box_mm, inertia_kg_mm2, camera_point_mm
        Of the main package, as in :class:`CameraPackage`.
    packages : tuple of CameraPackage
        Further camera packages flown on the same isolators, one at a time.
    row_time_us : float or None
        Time between the reading of two rows of the image, microseconds.
    rows : int or None
        Rows per frame.
    focal_length_mm : float or None
        Focal length (the lens's own, not an equivalent), mm.
    pixel_pitch_um : float or None
        Distance between pixels, micrometres.
    source, note : str
        Where the entries come from; free text.

    """

    name: str = field(metadata=info(dimension="name"))
    mass_kg: float = field(metadata=_MASS)
    count: int = field(metadata=info(1, 64))
    rpm_idle: float = field(metadata=_SPEED)
    rpm_full: float = field(metadata=_SPEED)
    rpm_hover: float | None = None
    blades: int = 2
    orders: tuple[float, ...] = entry((), check=lambda value: tuple(_numbers("orders", value)))
    manoeuvre_hz: float = entry(MANOEUVRE_HZ, 0.0, 1000.0)
    load_factors: tuple[float, float] = entry(LOAD_FACTORS, check=_load_factors)
    positions_mm: tuple[Vector, ...] = entry((), check=partial(_rows_of_vectors, "positions_mm"))
    spread_mm: tuple[float, float] | tuple[float] | None = entry(None, check=_spread)
    airframe_centre_mm: Vector | None = entry(None, check=partial(_vector, "airframe_centre_mm"))
    clearance_mm: float | None = entry(None, 0.0, 1e3, open_low=True)
    footage: str = entry("as flown", check=partial(one_of, "footage", known=FOOTAGE))
    isolation_ratio: float | None = entry(None, 1.5, 20.0)
    follow_ratio: float | None = entry(None, 1.1, 20.0)
    strain_most: float = entry(0.25, 0.01, 0.9)
    assembly_c: float = entry(23.0, -100.0, 200.0)
    set_share: float = entry(0.15, 0.0, 0.8)
    rotor_note: str = ""
    inclination_deg: float = entry(0.0, -90.0, 90.0)
    directions: tuple[Vector, ...] = entry((), check=partial(_rows_of_vectors, "directions"))
    centre_mm: Vector = field(default=(0.0, 0.0, 0.0), metadata=_CENTRE)
    box_mm: Vector | None = field(default=None, metadata=_BOX)
    inertia_kg_mm2: tuple[float, ...] | None = field(default=None, metadata=_INERTIA)
    camera_point_mm: Vector | None = field(default=None, metadata=_POINT)
    packages: tuple[CameraPackage, ...] = ()
    row_time_us: float | None = entry(None, 0.0, 1e5, open_low=True)
    rows: int | None = entry(None, 1, 1_000_000)
    focal_length_mm: float | None = entry(None, 0.0, 5e3, open_low=True)
    pixel_pitch_um: float | None = entry(None, 0.0, 1e3, open_low=True)
    source: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        check_record(self, owner="mounting")
        _ = self.main  # refuses a box beside an inertia
        if self.rpm_idle > self.rpm_full:
            raise InputError("rpm_idle", self.rpm_idle, f"at most rpm_full ({self.rpm_full:g} 1/min)")
        if self.rpm_hover is not None:
            hover = checked_number("rpm_hover", self.rpm_hover, self.rpm_idle, self.rpm_full, "1/min (idle to full)")
            _set(self, "rpm_hover", hover)
        rotor_bands(self.rpm_idle, self.rpm_full, self.blades, self.orders)  # checks blades and orders
        self._check_isolators()
        self._check_packages()

    def _check_isolators(self) -> None:
        if self.spread_mm is not None:
            on_circle = len(self.spread_mm) == 1
            places = (circle_positions if on_circle else spread_positions)(self.count, *self.spread_mm)
            if self.positions_mm and self.positions_mm != places:
                raise InputError("spread_mm", self.spread_mm, "left out with positions_mm", "give one of the two")
            _set(self, "positions_mm", places)
            _set(self, "spread_mm", None if on_circle else self.spread_mm)
        for name in ("positions_mm", "directions"):
            entries = len(getattr(self, name))
            if entries not in (0, self.count):
                raise InputError(name, f"{entries} entries", f"one per isolator ({self.count}), or left out")
        if any(math.hypot(*d) < 1e-9 for d in self.directions):
            raise InputError("directions", "(0, 0, 0)", "a direction in space, of any length above 0")
        if self.inclination_deg != 0.0 and self.directions:
            allowed = "0 when directions are given"
            raise InputError("inclination_deg", self.inclination_deg, allowed, "give one of the two")

    def _check_packages(self) -> None:
        if not isinstance(self.packages, Sequence) or not all(isinstance(p, CameraPackage) for p in self.packages):
            raise InputError("packages", self.packages, "a row of CameraPackage")
        if len(self.packages) > _MOST_PACKAGES:
            raise InputError("packages", f"{len(self.packages)} of them", f"at most {_MOST_PACKAGES}")
        _set(self, "packages", tuple(self.packages))
        names = ["main", *(p.name for p in self.packages)]
        for name in names:
            if names.count(name) > 1:
                raise InputError("package name", name, "used once in a mounting; 'main' is the mounting's own mass")

    @property
    def main(self) -> CameraPackage:
        """The main camera package, named "main"."""
        own = {name: getattr(self, name) for name in record_fields(CameraPackage) if name != "name"}
        return CameraPackage(name="main", **own)

    @property
    def all_packages(self) -> tuple[CameraPackage, ...]:
        """The main package and the further ones."""
        return (self.main, *self.packages)

    def package(self, name: str = "main") -> CameraPackage:
        """The camera package of that name.

        Raises
        ------
        InputError
            No such package.

        """
        known = {package.name: package for package in self.all_packages}
        return picked("package", name, known)

    @property
    def rotor_bands(self) -> tuple[RotorBand, ...]:
        """The frequency bands of the rotor orders, lowest first."""
        return rotor_bands(self.rpm_idle, self.rpm_full, self.blades, self.orders)

    @property
    def lowest_rotor_hz(self) -> float:
        """The lowest frequency to isolate from: the lowest order at the lowest speed in flight, Hz."""
        return self.rotor_bands[0].low_hz

    @property
    def window_hz(self) -> tuple[float, float]:
        """Lowest and highest natural frequency, Hz, that both follow and isolate; none does where lowest > highest."""
        return window_limits(self.lowest_rotor_hz, self.manoeuvre_hz, *self.ratios)

    @property
    def doubts(self) -> Iterator[str]:
        """What of mass and spread cannot well be meant: a slip of a unit or a digit."""
        if not _MEANT_KG[0] <= self.mass_kg <= _MEANT_KG[1]:
            yield f"mass of {1e3 * self.mass_kg:g} g"
        places = np.array(self.positions_mm).reshape(-1, 3)
        if len(places) > 1:
            widest, camera = float(np.ptp(places, axis=0).max()), max(self.box_mm or (0.0,))
            if not _MEANT_MM[0] <= widest <= _MEANT_MM[1]:
                yield f"isolators {widest:g} mm apart at the widest"
            elif camera and not _MEANT_SHARE[0] <= widest / camera <= _MEANT_SHARE[1]:
                yield f"isolators {widest:g} mm apart at the widest under a camera of {camera:g} mm"

    def check_meant(self) -> None:
        """Ask back before such a mounting is stored. Raises InputError that tells its :attr:`doubts`."""
        if doubts := ", ".join(self.doubts):
            cure = "mind the units; with --yes, from Python with sure=True, it is stored as it is"
            says = f"{doubts}: hardly what a camera stands on"
            raise InputError("mounting", doubts, "as of a camera", cure, says=says)

    @property
    def ratios(self) -> tuple[float, float]:
        """Least ratio of rotor to natural frequency, and of natural frequency to the manoeuvre band."""
        isolation, follow = FOOTAGE[self.footage]
        return self.isolation_ratio or isolation, self.follow_ratio or follow

    @property
    def load_factor(self) -> float:
        """The greatest load factor either way, in units of weight."""
        return max(abs(f) for f in self.load_factors)

    @property
    def has_six_axes(self) -> bool:
        """Whether positions and inertia are known, so that all six axes can be computed."""
        return bool(self.positions_mm) and self.main.has_inertia


def mounting_from_dict(values: Mapping[str, Any]) -> Mounting:
    """Build a mounting from what :meth:`Mounting.to_dict` gave, or from JSON in that shape.

    Raises
    ------
    InputError
        An unknown or missing field, or a value out of range.

    """
    packages = values.get("packages", ()) if isinstance(values, Mapping) else ()
    if not isinstance(packages, list | tuple):
        raise InputError("packages", packages, "a list of camera packages")
    if packages:
        told = (p if isinstance(p, CameraPackage) else from_plain(CameraPackage, p, "package") for p in packages)
        values = {**values, "packages": tuple(told)}
    return from_plain(Mounting, values, "mounting")


def _set(record: object, name: str, value: object) -> None:
    object.__setattr__(record, name, value)
