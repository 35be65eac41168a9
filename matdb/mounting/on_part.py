"""What a reading on parts feels: stiffness per modulus, and which of the part's directions in which shares."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Any, Final, NamedTuple

import numpy as np

from matdb.bench.readings import ROCKING, Reading
from matdb.errors import InputError
from matdb.form.base import TILTING, FormBase
from matdb.form.part import Part
from matdb.mounting.six_axis import Suspension, modes, strain_shares

#: Share of a mode's kinetic energy from which on it is the one that rocks; below, it sways as well as it rocks.
_ROCKS: Final = 0.6
_PITCH: Final = 4
#: The fields that decide what a reading feels.
FELT_FIELDS: Final = ("axis", "squeeze_mm", "spacing_mm", "gyration_mm", "centre_above_mm")


class Felt(NamedTuple):
    """What a reading feels of each part.

    Attributes
    ----------
    unit_n_per_mm : float
        Stiffness per part in N/mm at a Young's modulus of 1 MPa that with the whole mass gives the natural frequency.
    shares : dict of str: float
        By direction of the part, what its ln stiffness adds to the ln of that; they add up to 1.
    """

    unit_n_per_mm: float
    shares: dict[str, float]


@lru_cache(maxsize=1024)
def felt(
    form: FormBase,
    axis: str = "axial",
    squeeze_mm: float = 0.0,
    spacing_mm: float | None = None,
    gyration_mm: float | None = None,
    centre_above_mm: float | None = None,
) -> Felt:
    """What a reading feels of a part's directions: one of them, or of a whole mount that rocks its share of each.

    A mount in two rows that rocks sways as well when its centre of gravity lies off the middle of its parts. Its mode
    is that of :mod:`matdb.mounting.six_axis`; to first order its stiffness goes with each direction's by the share of
    strain energy in it (Rayleigh's quotient is stationary).

    Parameters
    ----------
    form : FormBase
        The part's.
    axis, squeeze_mm, spacing_mm, gyration_mm, centre_above_mm
        As of a reading.

    Raises
    ------
    InputError
        No such axis, a squeeze out of the form's range, or a mount that sways as well as it rocks.
    """
    if axis != ROCKING or spacing_mm is None or gyration_mm is None:
        return Felt(float(form.stiffness_n_per_mm(1.0, axis, squeeze_mm=squeeze_mm)), {axis: 1.0})
    if form.cross_axis is None:
        raise InputError("axis", axis, f"an axis of the part: a {form.kind} does not tell how stiff it is sideways")
    along, across = (float(form.stiffness_n_per_mm(1.0, a, squeeze_mm=squeeze_mm)) for a in ("axial", form.cross_axis))
    above = centre_above_mm or 0.0
    body = Suspension(
        mass_kg=1.0,
        inertia_kg_mm2=gyration_mm**2 * np.eye(3),
        positions_mm=np.array([[side * 0.5 * spacing_mm, 0.0, -above] for side in (-1.0, 1.0)]),
        directions=np.array([[0.0, 0.0, 1.0]] * 2),
        camera_mm=np.zeros(3),
    )
    stiff = along, across, tilting_of(form)
    found = modes(body, *stiff)
    rocks = int(np.argmax(found.energy[_PITCH]))
    if found.energy[_PITCH, rocks] < _ROCKS:
        raise InputError(
            "centre_above_mm", above, "nearer to the middle of the parts: as it is, the mount sways as well as it rocks"
        )
    shares = strain_shares(body, found.shapes[:, [rocks]], *stiff)[:, 0].tolist()
    directions = zip(("axial", form.cross_axis, TILTING), shares, strict=True)
    # Of 1 kg on two parts.
    unit = 0.5e-3 * (2.0 * math.pi * float(found.frequency_hz[rocks])) ** 2
    return Felt(unit, {axis: share for axis, share in directions if share})


def felt_by(reading: Reading, form: FormBase) -> Felt:
    """What a reading on parts of a form feels, see :func:`felt`."""
    told: dict[str, Any] = {name: getattr(reading, name) for name in FELT_FIELDS if hasattr(reading, name)}
    return felt(form, **told)


def tilting_of(form: FormBase) -> float:
    """Tilting stiffness per modulus in N mm/rad per MPa; 0 where a form does not tell it."""
    try:
        return float(form.tilting_stiffness_n_mm_per_rad(1.0))
    except InputError:
        return 0.0


def check_on_part(reading: Reading, part: Part) -> None:
    """Refuse a reading along an axis or at a squeeze that its part's form does not have, or pressed past its height.

    Raises
    ------
    InputError
        As :func:`felt`, and where it gave way further than there is rubber.
    """
    if reading.subject != "part":
        return
    felt_by(reading, part.form)
    given, height = getattr(reading, "deflection_mm", 0.0), part.form.bearing_height_mm
    if height and getattr(reading, "axis", "") == "axial" and given >= height:
        allowed = f"below {height:g} mm, the height of what the weight presses of {part.name}"
        raise InputError("deflection_mm", given, allowed, "mind the unit and the decimal point")
