"""Residual shake of the picture, in pixels and rows, from what the airframe was measured to do.

The picture of a distant scene moves by the camera's rotation, focal length times angle. Lines and axes of a spectrum
are taken as uncorrelated and add up as squares.

Sources
-------
.. [1] Arithmetic of a pinhole camera: shift = focal length * angle / pixel pitch.
.. [2] Random vibration: output density = sum of |T|^2 * input density; Harris' Shock and Vibration Handbook,
   5th ed., chapter 11 (memory).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from matdb.arrays import Array
from matdb.checks import numbers
from matdb.delimited import read_table
from matdb.errors import InputError
from matdb.mounting.directions import COLUMNS, MOTIONS
from matdb.mounting.record import Mounting, unknown_for
from matdb.mounting.six_axis import Suspension, camera_transmissibility, cross_matrix
from matdb.mounting.suspended import bands_per_frame, rolling_shutter_shear
from matdb.units import STANDARD_GRAVITY_M_S2

_AXIS_NAMES = {
    "x": 0, "surge": 0, "longitudinal": 0, "forward": 0,
    "y": 1, "sway": 1, "lateral": 1, "sideways": 1,
    "z": 2, "bounce": 2, "vertical": 2, "up": 2,
    "roll": 3, "pitch": 4, "yaw": 5,
}  # fmt: skip
_G = STANDARD_GRAVITY_M_S2
_DEGREE = math.pi / 180.0
#: A line on the edge of a band lies in it.
_HAIR = 1e-9
#: Unit -> (to m/s2 or rad/s2 and their squares per Hz, whether a density, whether a rotation).
_UNITS: dict[str, tuple[float, bool, bool]] = {
    "m/s2": (1.0, False, False),
    "mm/s2": (1e-3, False, False),
    "g": (_G, False, False),
    "mg": (1e-3 * _G, False, False),
    "g2/hz": (_G**2, True, False),
    "m/s22/hz": (1.0, True, False),
    "m2/s4/hz": (1.0, True, False),
    "m2/s3": (1.0, True, False),
    "rad/s2": (1.0, False, True),
    "deg/s2": (_DEGREE, False, True),
    "rad/s22/hz": (1.0, True, True),
    "deg/s22/hz": (_DEGREE**2, True, True),
}


#: No sensor's pixels lie closer, micrometres.
_LEAST_PITCH_UM: Final = 0.1


@dataclass(frozen=True)
class AirframeSpectrum:
    """Acceleration of the airframe over frequency.

    Attributes
    ----------
    frequency_hz : ndarray, shape (F,)
        Rising frequencies, Hz, above 0.
    acceleration : ndarray, shape (F, 6)
        Along x, y, z in m/s2 and about them in rad/s2: peak amplitude of each line; or, for a density, its
        one-sided power spectral density, (m/s2)^2/Hz and (rad/s2)^2/Hz.
    density : bool
        Whether it is a density.

    """

    frequency_hz: Array
    acceleration: Array
    density: bool = False

    def __post_init__(self) -> None:
        allowed = "an array of numbers"
        f, a = numbers("frequency", self.frequency_hz, allowed), numbers("acceleration", self.acceleration, allowed)
        if f.ndim != 1 or f.size < 1 or not np.all(np.isfinite(f)) or f[0] <= 0.0 or np.any(np.diff(f) <= 0.0):
            raise InputError("frequency", f"{f.size} values", "rising frequencies above 0 Hz", "sort the rows")
        if a.shape != (f.size, 6) or not np.all(np.isfinite(a)) or np.any(a < 0.0):
            raise InputError("acceleration", f"an array of shape {a.shape}", "0 or more for six axes at each frequency")
        if self.density and f.size < 2:
            raise InputError("frequency", "1 row", "two rows or more for a spectral density")
        object.__setattr__(self, "frequency_hz", f)
        object.__setattr__(self, "acceleration", a)

    @property
    def moved(self) -> Array:
        """The airframe's motion squared, mm^2 and rad^2 (of a density per Hz), shape (F, 6)."""
        power = self.acceleration if self.density else self.acceleration**2
        per_acceleration = np.array([1e3] * 3 + [1.0] * 3) / (2.0 * math.pi * self.frequency_hz[:, None]) ** 2
        return np.asarray(power * per_acceleration**2)

    def mean_square(self, squares: Array) -> Array:
        """Mean square over all frequencies of squared amplitudes of lines, or of a density, shape (..., F)."""
        if self.density:
            return np.asarray(
                np.sum(0.5 * (squares[..., 1:] + squares[..., :-1]) * np.diff(self.frequency_hz), axis=-1)
            )
        return np.asarray(0.5 * squares.sum(axis=-1))

    def between(self, low_hz: float, high_hz: float) -> AirframeSpectrum | None:
        """What lies between two frequencies; None where that is nothing."""
        f = self.frequency_hz
        some = (f >= low_hz * (1.0 - _HAIR)) & (f <= high_hz * (1.0 + _HAIR))
        if some.sum() < (2 if self.density else 1):
            return None
        return AirframeSpectrum(f[some], self.acceleration[some], self.density)


def read_spectrum(text: str | bytes, what: str = "airframe spectrum") -> AirframeSpectrum:
    """Read a measured airframe spectrum from CSV.

    Columns: ``frequency (Hz)`` and any of x, y, z, roll, pitch, yaw (or surge, sway, bounce; lateral,
    vertical), each with its unit in brackets: m/s2, mm/s2, g, rad/s2, deg/s2 for peak amplitudes, g2/Hz,
    (m/s2)2/Hz, (rad/s2)2/Hz, (deg/s2)2/Hz for densities. Axes without a column are still.

    Parameters
    ----------
    text : str or bytes
        The table.
    what : str
        Its name for messages.

    Raises
    ------
    InputError
        No frequency column, no axis, a unit that is missing, unknown or mixed, a row without a frequency.

    """
    table = read_table(what, text)
    columns: dict[int, int] = {}
    kinds: set[bool] = set()
    frequency = -1
    scale = np.zeros(6)
    for i, title in enumerate(table.header):
        name, unit = _title(title)
        if name in ("frequency", "freq", "f"):
            if unit != "hz":
                raise InputError(f"{what}, column {title}", unit or "no unit", "in Hz", "write frequency (Hz)")
            frequency = i
        elif name in _AXIS_NAMES:
            axis = _AXIS_NAMES[name]
            if unit not in _UNITS or _UNITS[unit][2] != (axis > 2):
                allowed = "rad/s2, deg/s2 or (rad/s2)2/Hz" if axis > 2 else "m/s2, mm/s2, g, g2/Hz or (m/s2)2/Hz"
                raise InputError(f"{what}, column {title}", unit or "no unit", f"in {allowed}", f"write {name} (unit)")
            if axis in columns:
                raise InputError(f"{what}, column {title}", title, "given once per axis")
            columns[axis] = i
            scale[axis] = _UNITS[unit][0]
            kinds.add(_UNITS[unit][1])
    if frequency < 0 or not columns:
        given = ", ".join(table.header)
        allowed = "a table with the columns frequency (Hz) and one or more of x, y, z, roll, pitch, yaw"
        raise InputError(what, given, allowed, "of a log of a flight 'matdb flight read LOG --spectrum FILE' makes one")
    if len(kinds) > 1:
        raise InputError(what, "amplitudes and densities", "either amplitudes or densities in all columns")
    f = table.numbers(frequency)
    if not table.rows or np.any(np.isnan(f)):
        row = table.lines[int(np.argmax(np.isnan(f)))] if table.rows else 1
        raise InputError(f"{what}, line {row}", "no frequency", "a row with a frequency")
    acceleration = np.zeros((f.size, 6))
    for axis, i in columns.items():
        values = table.numbers(i)
        if np.any(np.isnan(values)):
            row = table.lines[int(np.argmax(np.isnan(values)))]
            raise InputError(f"{what}, line {row}, {table.header[i]}", "empty", "a number")
        acceleration[:, axis] = scale[axis] * values
    return AirframeSpectrum(f, acceleration, kinds.pop())


def _title(title: str) -> tuple[str, str]:
    """A column title's name and normalised unit: "Z (g^2/Hz)" -> ("z", "g2/hz")."""
    match = re.fullmatch(r"([^\[(_/]+?)[\s_]*(?:[\[(](.*)[\])]|_(.*))?", title.strip().casefold())
    if not match:
        return title.casefold(), ""
    unit = match.group(2) or match.group(3) or ""
    unit = unit.replace("²", "2").replace("**", "").replace("°", "deg")
    return match.group(1).strip(), re.sub(r"[\s()\[\]^]", "", unit)


@dataclass(frozen=True)
class Shake:
    """What is left of the airframe's motion in the picture.

    Attributes
    ----------
    frequency_hz : ndarray, shape (F,)
        As in the spectrum.
    horizontal_px, vertical_px : ndarray, shape (..., F)
        Motion along the rows and across them: peak amplitude of each line in pixels, or, of a density, its
        square root in pixels per root Hz.
    horizontal_rms_px, vertical_rms_px : ndarray, shape (...)
        Root mean square over all frequencies, pixels.
    worst_hz : ndarray, shape (...)
        The frequency that moves the picture most.
    shear_rms_px_per_row : ndarray, shape (...), or None
        Root mean square sideways shift between neighbouring rows; None without a row time.
    bands_per_frame : ndarray, shape (...), or None
        Waves per frame at the worst frequency; None without row time and rows.

    """

    frequency_hz: Array
    horizontal_px: Array
    vertical_px: Array
    horizontal_rms_px: Array
    vertical_rms_px: Array
    worst_hz: Array
    shear_rms_px_per_row: Array | None
    bands_per_frame: Array | None


def pixels_per_rad(mounting: Mounting) -> float:
    """How far a picture moves for a small turn of the camera across its line of sight.

    Raises
    ------
    InputError
        Focal length or pixel pitch are not known, or no sensor has such a pitch.

    Source: [1]_.

    """
    if mounting.focal_length_mm is None or mounting.pixel_pitch_um is None:
        missing = "focal_length_mm" if mounting.focal_length_mm is None else "pixel_pitch_um"
        cure = "give --focal-length and --pixel-pitch, for a stored mounting to 'matdb mounting edit'"
        raise unknown_for("shake in pixels", f"{missing} of {mounting.name}", cure)
    if mounting.pixel_pitch_um < _LEAST_PITCH_UM:
        cure = "it was told in another unit: 'matdb mounting edit NAME --pixel-pitch 2.4um'"
        raise InputError(f"pixel pitch of {mounting.name}", f"{mounting.pixel_pitch_um:g} um", "at least 0.1 um", cure)
    return 1e3 * (mounting.focal_length_mm / mounting.pixel_pitch_um)


def turned_px(mounting: Mounting, spectrum: AirframeSpectrum, motion: str, share: Array, radius_mm: float) -> float:
    """By how much one motion of the airframe turns the picture, root mean square over a spectrum, pixels.

    Every turn counts as one across the line of sight; one about it moves a point 45 degrees off it as far.

    Parameters
    ----------
    mounting : Mounting
        For its focal length and pixel pitch.
    spectrum : AirframeSpectrum
        Of the airframe about its own centre of gravity.
    motion : str
        One of :data:`matdb.mounting.directions.MOTIONS`.
    share : ndarray, shape (F,)
        At each frequency the camera's turn over that motion; over a translation, times ``radius_mm``.
    radius_mm : float
        Of the isolators, as :attr:`matdb.mounting.directions.Turning.radius_mm`.

    Raises
    ------
    InputError
        As :func:`pixels_per_rad`.

    Sources: [1]_, [2]_.

    """
    column = COLUMNS[MOTIONS.index(motion)]
    turn = share if column > 2 else share / radius_mm
    return pixels_per_rad(mounting) * math.sqrt(spectrum.mean_square(turn**2 * spectrum.moved[:, column]))


def isolator_amplitude_mm(
    body: Suspension, axial_n_per_mm: ArrayLike, shear_n_per_mm: ArrayLike, spectrum: AirframeSpectrum
) -> Array:
    """Peak amplitude of the sine that deflects the isolators as much as the airframe's motion does, mm.

    The root of twice the mean square of what moves the body against the airframe at an isolator, over all of them.

    Parameters
    ----------
    body, axial_n_per_mm, shear_n_per_mm
        As for :func:`~matdb.mounting.six_axis.camera_transmissibility`.
    spectrum : AirframeSpectrum
        The airframe's acceleration where the camera is.
    """
    against = camera_transmissibility(body, axial_n_per_mm, shear_n_per_mm, spectrum.frequency_hz) - np.eye(6)
    # The camera point's motion is carried to each isolator, shape (n, 3, 6).
    place = np.stack([np.hstack([np.eye(3), -cross_matrix(r - body.camera_mm)]) for r in body.positions_mm])
    there = np.abs(np.einsum("nij,...fjk->...fnik", place, against)) ** 2
    square = np.einsum("...fnik,fk->...f", there, spectrum.moved) / len(place)
    return np.sqrt(2.0 * spectrum.mean_square(square))


def residual_shake(
    body: Suspension,
    axial_n_per_mm: ArrayLike,
    shear_n_per_mm: ArrayLike,
    spectrum: AirframeSpectrum,
    mounting: Mounting,
) -> Shake:
    """Residual shake of the picture of a distant scene, pixels and rows; the camera looks along x.

    Parameters
    ----------
    body, axial_n_per_mm, shear_n_per_mm
        As for :func:`~matdb.mounting.six_axis.camera_transmissibility`.
    spectrum : AirframeSpectrum
        The airframe's acceleration where the camera is.
    mounting : Mounting
        For its focal length and pixel pitch, and row time and rows where known.

    Raises
    ------
    InputError
        Focal length or pixel pitch are not known.

    Sources: [1]_, [2]_.

    """
    f, per_rad, mean_square = spectrum.frequency_hz, pixels_per_rad(mounting), spectrum.mean_square
    motion = camera_transmissibility(body, axial_n_per_mm, shear_n_per_mm, f)
    # Yaw moves the picture along the rows, pitch across them.
    turned = (np.abs(per_rad * motion[..., turn, :]) ** 2 for turn in (5, 4))
    squares = [np.einsum("...fj,fj->...f", each, spectrum.moved) for each in turned]
    total = squares[0] + squares[1]
    worst = f[np.argmax(total, axis=-1)]
    shear = bands = None
    if mounting.row_time_us is not None:
        shear = np.sqrt(mean_square(rolling_shutter_shear(f, np.sqrt(squares[0]), mounting.row_time_us) ** 2))
        if mounting.rows is not None:
            bands = np.asarray(bands_per_frame(worst, mounting.rows, mounting.row_time_us))
    return Shake(
        frequency_hz=f,
        horizontal_px=np.sqrt(squares[0]),
        vertical_px=np.sqrt(squares[1]),
        horizontal_rms_px=np.sqrt(mean_square(squares[0])),
        vertical_rms_px=np.sqrt(mean_square(squares[1])),
        worst_hz=np.asarray(worst),
        shear_rms_px_per_row=shear,
        bands_per_frame=bands,
    )
