"""All six axes of a camera on isolators, and the residual shake of its picture, with bands."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Final

import numpy as np
from numpy.typing import NDArray

from matdb.advice.effective import lifted_share, ln_scale_at_rest, ln_scale_draws
from matdb.advice.requirement import Candidate, Payload
from matdb.advice.window import Window
from matdb.curve.band import Band, band
from matdb.errors import InputError
from matdb.fields import PlainRecord, plain
from matdb.form.base import TILTING, FormBase
from matdb.mounting.directions import turning
from matdb.mounting.on_part import tilting_of
from matdb.mounting.record import Mounting
from matdb.mounting.shake import AirframeSpectrum, isolator_amplitude_mm, residual_shake
from matdb.mounting.six_axis import coupling_warnings, modes, strain_shares, suspension, turned_shares

Array = NDArray[np.float64]

#: Rounds in which amplitude and softening settle.
_SOFTENING_STEPS: Final = 4


@dataclass(frozen=True, kw_only=True)
class Mode(PlainRecord):
    """One rigid-body mode: its motion in words, natural frequency (Hz), damping ratio, probability of being inside."""

    told_as: ClassVar[Mapping[str, str]] = {"word": "mode", "probability": "probability_in_window"}

    word: str
    natural_frequency_hz: Band
    damping_ratio: Band
    probability: float


@dataclass(frozen=True, kw_only=True)
class SixAxes(PlainRecord):
    """The six rigid-body modes at one temperature, lowest first.

    Attributes
    ----------
    package : str
        The camera package.
    temperature_c, squeeze_mm : float
        What was asked for.
    window_hz : tuple of float
        Lowest and highest natural frequency wanted.
    modes : tuple of Mode
        Six of them.
    turned : ndarray, shape (3, 6)
        What each adds to the camera's roll, pitch and yaw per that of the airframe.
    shapes : ndarray, shape (6, 6)
        Their shapes in columns about the centre of gravity, mm and rad, of unit modal mass.
    motions : tuple of str
        Which of the six pure motions each is most of, each once.
    follows, isolates, inside : float
        Probability that the lowest mode is high enough, that the highest is low enough, and both.
    basis : str
        What the answer rests on.
    warnings : tuple of str
        Coupling, a half that has lifted off.
    """

    package: str
    temperature_c: float
    squeeze_mm: float
    window_hz: tuple[float, float]
    modes: tuple[Mode, ...]
    turned: Array
    shapes: Array
    motions: tuple[str, ...]
    follows: float
    isolates: float
    inside: float
    basis: str
    warnings: tuple[str, ...]

    @property
    def lowest(self) -> Mode:
        """The mode of the lowest natural frequency."""
        return self.modes[0]

    @property
    def highest(self) -> Mode:
        """The mode of the highest natural frequency."""
        return self.modes[-1]

    def _columns(self) -> dict[str, Any]:
        """A row a mode."""
        each = [mode._columns() for mode in self.modes]
        return {name: np.concatenate([one[name] for one in each]) for name in each[0]}

    def to_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return {
            "package": self.package,
            "temperature_c": self.temperature_c,
            "squeeze_mm": self.squeeze_mm,
            "window_hz": {"low": self.window_hz[0], "high": self.window_hz[1]},
            "modes": plain(self.modes),
            "probability": {"follows": self.follows, "isolates": self.isolates, "all_inside": self.inside},
            "basis": self.basis,
            "warnings": list(self.warnings),
        }


@dataclass(frozen=True, kw_only=True)
class CameraShake(PlainRecord):
    """What is left of the airframe's measured motion in the picture, with bands.

    Attributes
    ----------
    temperature_c : float
        Degrees Celsius.
    horizontal_rms_px, vertical_rms_px : Band
        Root mean square along the rows and across them, pixels.
    worst_hz : float
        The frequency that moves the picture most (median draw).
    shear_rms_px_per_row : Band or None
        Root mean square sideways shift between neighbouring rows, pixels; None without a row time.
    bands_per_frame : float or None
        Waves per frame at the worst frequency; None without row time and rows.
    """

    temperature_c: float
    horizontal_rms_px: Band
    vertical_rms_px: Band
    worst_hz: float
    shear_rms_px_per_row: Band | None
    bands_per_frame: float | None


def cross_axis(form: FormBase) -> str:
    """The direction of a form across its axis: shear, lateral or radial.

    Raises
    ------
    InputError
        The form has a stiffness in one direction only.
    """
    others = [axis for axis in form.axes if axis not in ("axial", "torsion")]
    if "axial" not in form.axes or not others:
        allowed = "a form with a stiffness along and across its axis"
        raise InputError("form", form.kind, allowed, says=f"how stiff a {form.kind} is sideways is not known")
    return others[0]


def _units(
    candidate: Candidate, squeeze_mm: float, temperature_c: float, mass_kg: float, count: int
) -> tuple[float, float, bool]:
    """Stiffness per modulus along and across a piece at rest, and whether a half of it has most likely lifted off."""
    form = candidate.part.form
    across = float(form.stiffness_n_per_mm(1.0, cross_axis(form), squeeze_mm=squeeze_mm))
    along = float(form.stiffness_n_per_mm(1.0, "axial", squeeze_mm=squeeze_mm))
    if form.pair is not None:
        t = np.array([float(temperature_c)])
        both = ln_scale_draws(candidate.curve, candidate.part, "axial", squeeze_mm)
        at_rest = ln_scale_at_rest(
            candidate.curve, candidate.part, "axial", squeeze_mm, t, mass_kg / count, settled=True
        )
        if lifted_share(at_rest, both) > 0.5:
            lower = form.pair.halves[0]
            alone = along * math.exp(float(np.median(at_rest[:, 0] - both)))
            return alone, float(lower.stiffness_n_per_mm(1.0, cross_axis(lower))), True
    return along, across, False


def six_axes(
    candidate: Candidate, mounting: Mounting, temperature_c: float, *, squeeze_mm: float = 0.0, package: str = "main"
) -> SixAxes:
    """Natural frequencies, damping ratios and motions of all six modes at a temperature.

    All isolators are of one part, their axes as the mounting says. What a draw has of the part's stiffness along,
    across and against tilting over the computed one moves each mode by the share of its strain energy.

    Parameters
    ----------
    candidate : Candidate
        The part and its material's curve.
    mounting : Mounting
        With positions, and a box or an inertia for the package.
    temperature_c, squeeze_mm : float
        Degrees Celsius; static squeeze of each piece, mm.
    package : str
        The camera package.

    Raises
    ------
    InputError
        Positions or inertia are not known, or the part has no stiffness across its axis.
    """
    body = suspension(mounting, package)
    axial, across, loose = _units(candidate, squeeze_mm, temperature_c, body.mass_kg, mounting.count)
    stiff = axial, across, 0.0 if loose else tilting_of(candidate.part.form)
    unit = modes(body, *stiff)
    shares = strain_shares(body, unit.shapes, *stiff)
    curve, payload = candidate.curve, Payload.of(mounting, package)
    window = Window(curve, np.array([float(temperature_c)]), payload.low_hz, payload.high_hz)
    directions = "axial", cross_axis(candidate.part.form), TILTING
    offset = np.stack([curve.offset_draws(candidate.part, axis, mounting.count) for axis in directions], axis=1)
    with np.errstate(divide="ignore"):
        # The frequency at 1 MPa tells stiffness per modulus over mass of each mode.
        ln_w = 2.0 * np.log(2.0 * math.pi * np.maximum(unit.frequency_hz, 1e-9)) + offset @ shares
    frequency, ln_e = window.natural(ln_w, np.zeros(6, dtype=np.int64))
    low = ln_w >= window.low - 1e-9
    high = ln_w <= window.high + 1e-9
    f, zeta = band(frequency), band(0.5 * np.tan(ln_e.imag))
    told = tuple(
        Mode(
            word=str(unit.words[k]),
            natural_frequency_hz=f.at(k),
            damping_ratio=zeta.at(k),
            probability=float((low[:, k] & high[:, k]).mean()),
        )
        for k in range(6)
    )
    said = []
    if loose:
        said.append("at rest a half has lifted off already: the six modes told are those of the other halves alone")
    return SixAxes(
        package=package,
        temperature_c=float(temperature_c),
        squeeze_mm=float(squeeze_mm),
        window_hz=(payload.low_hz, payload.high_hz),
        modes=told,
        turned=turned_shares(body, unit.shapes, turning(mounting, package).pivot_mm),
        shapes=unit.shapes,
        motions=unit.motions,
        follows=float(low.all(axis=1).mean()),
        isolates=float(high.all(axis=1).mean()),
        inside=float((low & high).all(axis=1).mean()),
        basis=curve.basis,
        warnings=(*said, *coupling_warnings(body, axial, across)),
    )


def camera_shake(
    candidate: Candidate,
    mounting: Mounting,
    spectrum: AirframeSpectrum,
    temperature_c: float,
    *,
    squeeze_mm: float = 0.0,
    package: str = "main",
) -> CameraShake:
    """Residual shake of the picture in pixels and rows at a temperature.

    Parameters
    ----------
    candidate, mounting, temperature_c, squeeze_mm, package
        As :func:`six_axes`; the mounting with focal length and pixel pitch.
    spectrum : AirframeSpectrum
        What the airframe was measured to do.

    Raises
    ------
    InputError
        Something is not known.
    """
    body = suspension(mounting, package)
    axial, across, _ = _units(candidate, squeeze_mm, temperature_c, body.mass_kg, mounting.count)
    curve = candidate.curve
    f = spectrum.frequency_hz
    ln_modulus = curve.ln_modulus(np.full(f.shape, float(temperature_c)), np.log(2.0 * math.pi * f))
    along, aside = (
        unit * np.exp(ln_modulus + curve.offset_draws(candidate.part, axis, mounting.count)[:, None])[..., None]
        for unit, axis in ((axial, "axial"), (across, cross_axis(candidate.part.form)))
    )
    # Where amplitudes were told, the curve refers to their strain, and the shake decides on another.
    height = candidate.part.form.strained_mm("axial")
    if curve.bench_strain is not None and height is not None:
        firm: tuple[Any, Any] = along, aside
        for _ in range(_SOFTENING_STEPS):
            swing = isolator_amplitude_mm(body, along, aside, spectrum)
            softer, louder = (np.exp(x)[:, None, None] for x in curve.softened(np.maximum(swing, 1e-9) / height))
            along, aside = (np.asarray(softer * (each.real + 1j * louder * each.imag)) for each in firm)
    left = residual_shake(body, along, aside, spectrum, mounting)
    return CameraShake(
        temperature_c=float(temperature_c),
        horizontal_rms_px=band(left.horizontal_rms_px),
        vertical_rms_px=band(left.vertical_rms_px),
        worst_hz=float(np.median(left.worst_hz)),
        shear_rms_px_per_row=None if left.shear_rms_px_per_row is None else band(left.shear_rms_px_per_row),
        bands_per_frame=None if left.bands_per_frame is None else float(np.median(left.bands_per_frame)),
    )
