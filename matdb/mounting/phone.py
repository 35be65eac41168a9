"""A phone laid on the camera to record its taps: what it adds to what is suspended."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any, Final

import numpy as np

from matdb.arrays import Array
from matdb.checks import checked_number
from matdb.mounting.record import CameraPackage, Mounting

#: What a phone weighs that is laid on the camera, kg, and its length, width and height, mm: common practice, no source.
PHONE_KG: Final = 0.2
_PHONE_MM: Final = np.array([150.0, 75.0, 8.0])


def with_phone(mounting: Mounting, phone_kg: float = PHONE_KG, package: str = "main") -> Mounting:
    """The mounting with a phone lying flat on a camera package, over its centre of gravity, its long side forward.

    Where neither box nor inertia of the package are known, it gains the mass alone.

    Parameters
    ----------
    mounting : Mounting
        As it flies.
    phone_kg : float
        Mass of what records, 0 to 2 kg; 0 for a sensor that weighs nothing. A lighter one is smaller, too.
    package : str
        The camera package.

    Raises
    ------
    InputError
        A mass out of range, or no such package.
    """
    phone_kg = checked_number("phone", phone_kg, 0.0, 2.0, "kg")
    camera = mounting.package(package)
    if phone_kg == 0.0:
        return mounting
    mass = camera.mass_kg + phone_kg
    more: dict[str, Any] = {"mass_kg": mass}
    if camera.has_inertia:
        long, wide, thick = _PHONE_MM * (phone_kg / PHONE_KG) ** (1.0 / 3.0)
        xx, yy, zz, *products = camera.inertia
        above = _half_height_mm(camera) + 0.5 * thick
        apart, twelfth = camera.mass_kg * phone_kg / mass * above**2, phone_kg / 12.0
        about = (
            xx + twelfth * (wide**2 + thick**2) + apart,
            yy + twelfth * (long**2 + thick**2) + apart,
            zz + twelfth * (long**2 + wide**2),
        )
        x, y, z = camera.centre_mm
        more |= {"box_mm": None, "inertia_kg_mm2": tuple(map(float, (*about, *products)))}
        more["centre_mm"] = (x, y, float(z + above * phone_kg / mass))
    if package == "main":
        return replace(mounting, **more)
    return replace(mounting, packages=tuple(replace(p, **more) if p is camera else p for p in mounting.packages))


def sensor_places(mounting: Mounting, phone_kg: float = PHONE_KG, package: str = "main") -> Array:
    """Where the sensor may be, mm from the centre of gravity of both together, shape (9, 3): anywhere in a phone."""
    laden, camera = with_phone(mounting, phone_kg, package).package(package), mounting.package(package)
    long, wide, thick = 0.5 * _PHONE_MM
    up = _half_height_mm(camera) + thick - (laden.centre_mm[2] - camera.centre_mm[2])
    return np.array([(x, y, up) for x in (-long, 0.0, long) for y in (-wide, 0.0, wide)])


def _half_height_mm(camera: CameraPackage) -> float:
    """From its centre of gravity to its top: half the height of an even box of its inertia."""
    xx, yy, zz = camera.inertia[:3]
    return 0.5 * math.sqrt(max(6.0 * (xx + yy - zz) / camera.mass_kg, 0.0))
