"""Effective stiffness and damping ratio of a part at a field temperature."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matdb.advice.pair import lifted_share, ln_scale_at_rest
from matdb.curve.band import Band, band
from matdb.curve.curve import DAMPING_UNREAD, FAMILY_PRIOR, Curve, checked_state
from matdb.errors import InputError
from matdb.form.grommet_pair import GrommetPair
from matdb.form.part import Part
from matdb.material.record import Material, checked_number, service_range
from matdb.units import STANDARD_GRAVITY_M_S2

__all__ = ["Effective", "Suspended", "effective", "state_warnings", "suspended"]

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

_STEPS: Final = 4


@dataclass(frozen=True, kw_only=True)
class Effective:
    """What a part does at a temperature.

    Attributes
    ----------
    stiffness_n_per_mm : Band
        Dynamic (storage) stiffness of one part, N/mm.
    damping_ratio : Band
        Half the loss factor.
    natural_frequency_hz : Band or None
        With a mass: where m (2 pi f)^2 = count Re K(f).
    frequency_hz : Any
        The frequency that the stiffness holds at: the one asked for, or the median natural frequency.
    basis : str
        "readings" or "family prior".
    extrapolated : bool or ndarray
        Outside the measured temperatures or frequencies (everything, for a prior).
    warnings : tuple of str
        What to know before using the numbers.
    """

    stiffness_n_per_mm: Band
    damping_ratio: Band
    natural_frequency_hz: Band | None
    frequency_hz: Any
    basis: str
    extrapolated: Any
    warnings: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""

        def plain(value: Any) -> Any:
            return value.tolist() if isinstance(value, np.ndarray) else value

        return {
            "stiffness_n_per_mm": self.stiffness_n_per_mm.to_dict(),
            "damping_ratio": self.damping_ratio.to_dict(),
            "natural_frequency_hz": None if self.natural_frequency_hz is None else self.natural_frequency_hz.to_dict(),
            "frequency_hz": plain(self.frequency_hz),
            "basis": self.basis,
            "extrapolated": plain(self.extrapolated),
            "warnings": list(self.warnings),
        }


@dataclass(frozen=True, eq=False)
class Suspended:
    """Draws of a mass on parts at its natural frequency: shape (draws, *states).

    Attributes
    ----------
    frequency_hz : ndarray
        Natural frequency, Hz.
    ln_stiffness : ndarray, complex
        ln of the complex stiffness of all parts together, N/mm, at that frequency.
    ln_scale : ndarray, shape (draws,) or (draws, *states)
        ln of stiffness per modulus of all parts together.
    """

    frequency_hz: Array
    ln_stiffness: Complex
    ln_scale: Array

    @property
    def damping_ratio(self) -> Array:
        """Half the loss factor at the natural frequency."""
        return np.asarray(0.5 * np.tan(self.ln_stiffness.imag))


def ln_scale_draws(curve: Curve, part: Part, axis: str, squeeze_mm: float, count: int = 1) -> Array:
    """Ln of the stiffness per unit modulus of ``count`` parts, offset included, shape (draws,)."""
    unit = float(part.form.stiffness_n_per_mm(1.0, axis, squeeze_mm=squeeze_mm))
    return np.asarray(math.log(unit * count) + curve.offset_draws(part.name, part.form.offset_sd(axis)))


def suspended(curve: Curve, ln_scale: Array, mass_kg: float, temperature_c: Array) -> Suspended:
    """Solve m (2 pi f)^2 = Re K(f) for every draw and temperature at once.

    Parameters
    ----------
    curve : Curve
        The material.
    ln_scale : ndarray, shape (draws,) or (draws, *S)
        From :func:`ln_scale_draws` or :func:`matdb.advice.pair.ln_scale_at_rest`.
    mass_kg : float
        Mass on all parts together.
    temperature_c : ndarray, shape S
        Degrees Celsius.
    """
    scale = ln_scale if ln_scale.ndim > 1 else ln_scale.reshape((-1,) + (1,) * np.ndim(temperature_c))
    # K in N/mm is 1e3 times as much in N/m.
    ln_w = scale + math.log(1e3 / mass_kg)
    ln_omega = np.broadcast_to(math.log(2.0 * math.pi * 30.0), (len(ln_scale), *np.shape(temperature_c)))
    for _ in range(_STEPS):
        value, slope = curve.ln_modulus_and_slope(temperature_c, ln_omega)
        storage = value.real + np.log(np.cos(value.imag))
        ln_omega = ln_omega - (2.0 * ln_omega - ln_w - storage) / (2.0 - np.clip(slope.real, 0.0, 1.0))
    value = curve.ln_modulus(temperature_c, ln_omega)
    return Suspended(np.exp(ln_omega) / (2.0 * np.pi), value + scale, ln_scale)


def effective(
    curve: Curve,
    material: Material,
    part: Part,
    temperature_c: ArrayLike,
    *,
    frequency_hz: ArrayLike | None = None,
    mass_kg: float | None = None,
    count: int = 1,
    axis: str = "axial",
    squeeze_mm: float = 0.0,
) -> Effective:
    """Stiffness and damping ratio of one part at a temperature, at a frequency or under a mass.

    Parameters
    ----------
    curve, material, part
        The material's curve and record, and the part.
    temperature_c : array_like
        Degrees Celsius, any shape.
    frequency_hz : array_like, optional
        Hz; broadcasts with the temperature. Give this or ``mass_kg``.
    mass_kg : float, optional
        Mass on ``count`` parts; the frequency is then the natural one.
    count : int
        Parts that share the mass.
    axis : str
        One of the form's axes.
    squeeze_mm : float
        Static squeeze of each part.

    Raises
    ------
    InputError
        Neither or both of frequency and mass, or a value out of range.
    """
    if (frequency_hz is None) == (mass_kg is None):
        raise InputError("frequency_hz", frequency_hz, "given unless mass_kg is", "give one of frequency and mass")
    if isinstance(count, bool) or count != int(checked_number("count", count, 1, 1000)):
        raise InputError("count", count, "a whole number from 1 to 1000")
    t, f = checked_state(temperature_c, 30.0 if frequency_hz is None else frequency_hz)
    natural, loose = None, 0.0
    if mass_kg is not None:
        mass = checked_number("mass_kg", mass_kg, 0.0, 1000.0, "kg", open_low=True)
        state = suspended(curve, ln_scale_at_rest(curve, part, axis, squeeze_mm, t, mass, int(count)), mass, t)
        ln_k = state.ln_stiffness - math.log(int(count))
        loose = lifted_share(state.ln_scale, ln_scale_draws(curve, part, axis, squeeze_mm, int(count)))
        natural = band(state.frequency_hz)
        f = np.asarray(natural.median)
    else:
        scale = ln_scale_draws(curve, part, axis, squeeze_mm).reshape((-1,) + (1,) * t.ndim)
        ln_k = curve.ln_modulus(t, np.log(2.0 * np.pi * f)) + scale
    outside = curve.extrapolated(t, f)
    return Effective(
        stiffness_n_per_mm=band(np.exp(ln_k.real) * np.cos(ln_k.imag)),
        damping_ratio=band(0.5 * np.tan(ln_k.imag)),
        natural_frequency_hz=natural,
        frequency_hz=f.item() if f.ndim == 0 else f.copy(),
        basis=curve.basis,
        extrapolated=bool(outside) if outside.ndim == 0 else outside,
        warnings=(
            *(
                ()
                if mass_kg is None
                else _load_warnings(part, ln_k, float(mass_kg) / int(count), axis, squeeze_mm, loose)
            ),
            *state_warnings(curve, material, part, t, f, axis=axis, squeeze_mm=squeeze_mm),
        ),
    )


def _load_warnings(
    part: Part, ln_k: Complex, mass_kg: float, axis: str, squeeze_mm: float, loose: float
) -> tuple[str, ...]:
    """Whether the part can carry the mass at all: its sag against its height, buckling, halves that lift off."""
    if axis != "axial":
        return ()
    found = []
    if isinstance(part.form, GrommetPair):
        found.append(
            "holds while both halves touch; 'matdb squeeze' tells at which squeeze and load one lifts off"
            if loose < 0.025
            else f"at rest a half has lifted off ({loose:.0%} of the draws): one half alone acts there and it rattles; "
            "'matdb squeeze' tells how far to turn the screw"
        )
    height = part.form.squeezable_height_mm
    if height is None:
        return tuple(found)
    # The dynamic stiffness flatters: under a lasting load the part sags more.
    stiffness = float(np.median(np.exp(ln_k.real) * np.cos(ln_k.imag), axis=0).min())
    sag = mass_kg * STANDARD_GRAVITY_M_S2 / stiffness
    buckles = float(getattr(part.form, "buckling_share", math.inf)) * height
    if sag + squeeze_mm >= buckles:
        found.append(f"buckles: sags {sag:.2g} mm or more under this mass, and bends away from {buckles:.2g} mm on")
    elif sag + squeeze_mm > 0.5 * min(height, buckles):
        found.append(
            f"overloaded: sags {sag:.2g} mm or more under this mass, of {min(height, buckles):.2g} mm there are"
        )
    elif sag > 0.15 * height:
        found.append(f"sags {sag:.2g} mm or more under this mass, over 15 % of its height: creep and set")
    return tuple(found)


def state_warnings(
    curve: Curve,
    material: Material,
    part: Part,
    temperature_c: Array,
    frequency_hz: Array,
    *,
    axis: str,
    squeeze_mm: float,
) -> tuple[str, ...]:
    """What to know of an answer for these states, in plain words."""
    t = np.asarray(temperature_c, dtype=float)
    found: list[str] = []
    if curve.basis == FAMILY_PRIOR:
        label = f" and its label ({material.hardness})" if material.hardness else ""
        found.append(
            f"no reading of {material.name}: this is the family prior of {curve.family}{label}, not a measurement"
        )
    elif part.name not in curve.offsets:
        found.append(
            f"{part.name} itself was not measured: its stiffness rests on its geometry and on other parts' readings"
        )
    if curve.measured_c is not None:
        low, high = curve.measured_c
        if t.size and (t.min() < low - 0.5 or t.max() > high + 0.5):
            found.append(f"outside the measured temperatures ({low:g} to {high:g} degC): extrapolated")
        elif t.size and np.any(curve.extrapolated(t, frequency_hz)):
            found.append("outside the frequencies that the readings speak for: extrapolated")
        if t.size and curve.measured_loss_ln_hz is not None and np.any(curve.damping_unread(t, frequency_hz)):
            found.append(DAMPING_UNREAD)
    if curve.stale:
        found.append(f"the fit is older than the newest reading or record: run 'matdb fit \"{material.name}\"'")
    glass = float(np.median(curve.draws[:, 6])) - 273.15
    if t.size and t.min() < glass + 10.0:
        found.append(f"within 10 K of the glass transition (about {glass:.0f} degC) or below it")
    low_c, high_c = service_range(material)
    if t.size and (t.min() < low_c or t.max() > high_c):
        found.append(f"outside the service range of {low_c:g} to {high_c:g} degC")
    height = part.form.squeezable_height_mm
    if squeeze_mm and height and squeeze_mm > 0.25 * height:
        found.append(f"squeezed by {100 * squeeze_mm / height:.0f} % of its height; more than 25 % sets and tears")
    found.extend(part.form.warnings(axis))
    found.extend(curve.report.get("warnings", ()))
    return tuple(dict.fromkeys(found))
