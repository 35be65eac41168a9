"""Effective stiffness and damping ratio of a part at a field temperature.

While both halves of a grommet pair touch, the payload hardly changes the sum of their stiffnesses (by less than 1 % for
equal halves), so the unloaded sum of :class:`matdb.form.grommet_pair.GrommetPair` holds. Once the payload at rest frees
the upper half, the lower one carries it alone, squeezed by the whole weight: then only its tangent there acts.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from typing import Any, Final, TypeGuard, TypeVar, cast

import numpy as np
from numpy.typing import ArrayLike

from matdb.advice.requirement import gives_way
from matdb.arrays import Array, Complex
from matdb.checks import (
    ABSOLUTE_ZERO_C,
    any_array,
    beside_temperature,
    by_name,
    checked_array,
    checked_number,
    checked_state,
    checked_whole,
    labelled,
    without_unit,
)
from matdb.curve.band import SHARE, Band, band, checked_share, plain_median
from matdb.curve.curve import FAMILY_PRIOR, READINGS, Curve, not_told, span_of
from matdb.errors import InputError
from matdb.fields import PlainRecord
from matdb.form.base import UNREAD, FormBase
from matdb.form.part import Part
from matdb.material.record import Material, service_range
from matdb.mounting.squeeze import STATIC_HZ, ln_left_at_rest, pair_case
from matdb.mounting.suspended import ln_storage
from matdb.units import STANDARD_GRAVITY_M_S2

#: States computed at once: what 200 to 400 draws of them take stays in a processor's cache, and memory is bounded.
_BLOCK: Final = 64
#: So far below its glass transition no law and no reading tells of a rubber, K.
_DEEP_IN_GLASS_K: Final = 50.0
#: What wide bonded faces add at most to the stiffness of a material of Poisson's ratio 0.3.
_FOAM_GAIN: Final = 0.35


class Grave(str):
    """A warning of what may break or of figures that say nothing: told before all others."""


@dataclass(frozen=True, kw_only=True)
class Effective(PlainRecord):
    """What a part does at a temperature.

    Attributes
    ----------
    temperature_c : float or ndarray
        Of each state, degrees Celsius.
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

    temperature_c: Any
    stiffness_n_per_mm: Band
    damping_ratio: Band
    natural_frequency_hz: Band | None
    frequency_hz: Any
    basis: str
    extrapolated: Any
    warnings: tuple[str, ...]


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


def ln_scale_draws(curve: Curve, part: Part, axis: str, squeeze_mm: float, count: int = 1, pieces: int = 0) -> Array:
    """Ln of the stiffness per unit modulus of ``count`` parts of a set of ``pieces``, offset included."""
    return np.asarray(
        math.log(_unit(part.form, axis, squeeze_mm) * count) + curve.offset_draws(part, axis, pieces or count)
    )


@lru_cache(maxsize=1024)
def _unit(form: FormBase, axis: str, squeeze_mm: float) -> float:
    """N/mm per MPa, kept: a part is asked about again and again."""
    return float(form.stiffness_n_per_mm(1.0, axis, squeeze_mm=squeeze_mm))


def lifted_share(at_rest: Array, both: Array) -> float:
    """Largest share of the draws, over the states, in which :func:`ln_scale_at_rest` found a half lifted off.

    Parameters
    ----------
    at_rest : ndarray, shape (draws,) or (draws, *S)
        Its answer.
    both : ndarray, shape (draws,)
        Ln of the stiffness per modulus while both halves touch.
    """
    return float((at_rest.reshape(len(both), -1) != both[:, None]).mean(axis=0).max(initial=0.0))


def ln_scale_at_rest(
    curve: Curve,
    part: Part,
    axis: str,
    squeeze_mm: float,
    temperature_c: Array,
    mass_kg: float,
    count: int = 1,
    *,
    settled: bool = False,
) -> Array:
    """Ln of the stiffness per modulus of ``count`` parts under a mass at rest, the part's own offset in it.

    Parameters
    ----------
    curve, part, axis, squeeze_mm
        Material, part, axis and static squeeze of each piece, mm.
    temperature_c : ndarray, shape S
        Degrees Celsius.
    mass_kg : float
        On all parts together.
    count : int
        Parts that share it.
    settled : bool
        Take off what compression set and creep will take of the squeeze.

    Returns
    -------
    ndarray, shape (draws,)
        N/mm per MPa; of a grommet pair along its axis shape (draws, *S): a half that has lifted off carries nothing.
    """
    both = ln_scale_draws(curve, part, axis, squeeze_mm, count)
    if part.form.pair is None or axis != "axial":
        return both
    t = np.asarray(temperature_c, dtype=float).reshape(-1)
    offset = curve.offset_draws(part, axis, count)[:, None]
    slow = np.exp(ln_storage(curve.ln_modulus(t, np.full(t.shape, math.log(2.0 * math.pi * STATIC_HZ)))) + offset)
    held: dict[str, Any] = {"payload_kg": mass_kg, "count": count, "temperature_c": t}
    case = pair_case(part.form.pair, curve.family, static_modulus_mpa=slow, **held)
    found = both[:, None] + ln_left_at_rest(case, squeeze_mm, _unit(part.form, axis, squeeze_mm), settled=settled)
    return np.asarray(found.reshape(len(found), *np.shape(temperature_c)))


def suspended(curve: Curve, ln_scale: Array, mass_kg: float, temperature_c: Array) -> Suspended:
    """Solve m (2 pi f)^2 = Re K(f) for every draw and temperature at once.

    Parameters
    ----------
    curve : Curve
        The material.
    ln_scale : ndarray, shape (draws,) or (draws, *S)
        From :func:`ln_scale_draws` or :func:`ln_scale_at_rest`.
    mass_kg : float
        Mass on all parts together.
    temperature_c : ndarray, shape S
        Degrees Celsius.
    """
    scale = ln_scale if ln_scale.ndim > 1 else ln_scale.reshape((-1,) + (1,) * np.ndim(temperature_c))
    # K in N/mm is 1e3 times as much in N/m.
    ln_w = np.broadcast_to(scale + math.log(1e3 / mass_kg), (len(ln_scale), *np.shape(temperature_c)))
    ln_omega = curve.natural_ln_omega(temperature_c, ln_w)
    value = curve.ln_modulus(temperature_c, ln_omega)
    return Suspended(np.exp(ln_omega) / (2.0 * np.pi), value + scale, ln_scale)


def effective(
    curve: Curve,
    material: Material,
    part: Part,
    temperature_c: ArrayLike,
    *,
    frequency_hz: ArrayLike | None = None,
    mass_kg: ArrayLike | None = None,
    count: int = 1,
    axis: str = "axial",
    squeeze_mm: float = 0.0,
    amplitude_mm: float | None = None,
    rest_h: float | None = None,
    share: float = SHARE,
) -> Effective:
    """Stiffness and damping ratio of one part at a temperature, at a frequency or under a mass.

    Parameters
    ----------
    curve, material, part
        The material's curve and record, and the part.
    temperature_c : array_like
        Degrees Celsius, any shape.
    frequency_hz, mass_kg : array_like, optional
        Hz, or the mass in kg on ``count`` parts, for the natural frequency; one of them. They broadcast with it.
    count : int
        Parts that share the mass.
    axis : str
        One of the form's axes.
    squeeze_mm : float
        Static squeeze of each part.
    amplitude_mm : float, optional
        Peak amplitude of its deflection, mm, above 0: rubber softens with strain. That of the readings when None.
    rest_h : float, optional
        Hours that it has rested at the temperature, 0 or more: some families crystallise. However long when None.
    share : float
        Share of the draws that bands hold, above 0 and at most 1.

    Raises
    ------
    InputError
        Neither or both of frequency and mass, or a value out of range.
    """
    if several_masses(mass_kg):
        more: dict[str, Any] = {"count": count, "axis": axis, "squeeze_mm": squeeze_mm, "amplitude_mm": amplitude_mm}
        more |= {"frequency_hz": frequency_hz, "rest_h": rest_h, "share": share}
        return over_masses(lambda t, m: effective(curve, material, part, t, mass_kg=m, **more), temperature_c, mass_kg)
    share_kg = checked_question(frequency_hz, mass_kg, count)
    t, f = checked_state(temperature_c, 30.0 if frequency_hz is None else frequency_hz)
    part.form.offset_sd(axis)  # refuses an axis that the form lacks
    share, squeeze_mm = checked_share(share), checked_number("squeeze_mm", squeeze_mm, 0.0, 1000.0, "mm")
    curve = curve.rested(rest_h)
    curve, one = _felt(curve, part, axis, t, f, once=0 < t.size <= _BLOCK and share_kg is None)
    softer, louder, *warnings = (0.0, 0.0) if amplitude_mm is None else _softened(curve, part, axis, amplitude_mm)
    known = ln_scale_draws(curve, part, axis, squeeze_mm, 1 if share_kg is None else int(count), int(count)) + softer
    load = None if share_kg is None else (share_kg * int(count), int(count))
    flat_t, flat_f = t.reshape(-1), f.reshape(-1)
    blocks = [
        _block(curve, part, (known, louder), flat_t[rows], flat_f[rows], load, axis, squeeze_mm, share, one)
        for rows in (slice(k, k + _BLOCK) for k in range(0, max(t.size, 1), _BLOCK))
    ]
    both, naturals, ln_hz, softest, loose = zip(*blocks, strict=True)
    found, reduced = _joined(both, t.shape), np.concatenate(ln_hz).reshape(t.shape)
    outside, natural = curve.outside(t, reduced), None
    if share_kg is not None:
        natural = _joined(naturals, t.shape).at(())
        f = np.asarray(natural.median)
        if t.size:
            warnings += _load_warnings(part, min(softest), share_kg, axis, squeeze_mm, max(loose))
    said = state_warnings(curve, material, part, t, f, axis=axis, squeeze_mm=squeeze_mm, ln_reduced_hz=reduced)
    return Effective(
        temperature_c=labelled(t, temperature_c, frequency_hz),
        stiffness_n_per_mm=found.at(0),
        damping_ratio=found.at(1),
        natural_frequency_hz=natural,
        frequency_hz=labelled(f, temperature_c, frequency_hz),
        basis=curve.basis,
        extrapolated=bool(outside) if outside.ndim == 0 else outside,
        warnings=worst_first((*(said if amplitude_mm is None else _without_amplitude(said, curve.family)), *warnings)),
    )


def _without_amplitude(said: Sequence[str], family: str) -> Iterator[str]:
    """What a fit says of its readings but for their amplitude: told once, by what was assumed instead."""
    piece = not_told(family, "piece")
    instead = {not_told(family, "amplitude", "piece"): piece, not_told(family, "amplitude"): ""}
    return filter(None, (instead.get(text, text) for text in said))


Answer = TypeVar("Answer")


def several_masses(mass_kg: Any) -> TypeGuard[ArrayLike]:
    """Whether it is an array of masses, with a unit or in kg: then :func:`over_masses` asks at each."""
    return mass_kg is not None and any_array("mass_kg", without_unit("mass_kg", mass_kg, "kg")).ndim > 0


def over_masses(ask: Callable[[Array, float], Answer], temperature_c: ArrayLike, mass_kg: ArrayLike) -> Answer:
    """Ask at each of several masses, kg, that broadcast with the temperatures; one answer over all states.

    Raises
    ------
    InputError
        A mass out of range, or of a shape that does not fit.
    """
    asked = temperature_c, mass_kg = by_name(temperature_c, mass_kg)
    masses = checked_array("mass_kg", mass_kg, 0.0, 1000.0, "kg", open_low=True)
    t = checked_array("temperature_c", temperature_c, ABSOLUTE_ZERO_C, 400.0, "degrees Celsius", open_low=True)
    t, masses = beside_temperature("mass_kg", t, masses)
    at = {float(mass): np.flatnonzero(masses.ravel() == mass) for mass in np.unique(masses)}
    answers: dict[float, Any] = {mass: ask(t.ravel()[place], mass) for mass, place in at.items()}
    if not answers:
        return ask(t, 1.0)

    def joined(values: Sequence[Any]) -> Any:
        if isinstance(values[0], Band):
            return Band(*map(joined, zip(*((b.median, b.low, b.high) for b in values), strict=True)))
        if isinstance(values[0], tuple):
            return tuple(dict.fromkeys(text for each in values for text in each))
        if not isinstance(values[0], np.ndarray):
            return values[0]
        out = np.empty(t.size, dtype=values[0].dtype)
        for place, each in zip(at.values(), values, strict=True):
            out[place] = each
        return out.reshape(t.shape)

    first = next(iter(answers.values()))
    whole = {f.name: joined([getattr(each, f.name) for each in answers.values()]) for f in fields(first)}
    whole |= {"temperature_c": labelled(t, *asked)} if "temperature_c" in whole else {}
    return cast(Answer, replace(first, **whole))


def _felt(curve: Curve, part: Part, axis: str, t: Array, f: Array, *, once: bool) -> tuple[Curve, Complex | None]:
    """The curve as the part feels it; evaluated already where all states at once need it but once."""
    known = curve.ln_modulus(t.reshape(-1), np.log(2.0 * np.pi * f).reshape(-1)) if once else None
    if curve.felt_by is not None:
        return curve, known
    felt = curve.through(part.form, axis, curve.ln_stiffest(t, f) if known is None else float(known.real.max()))
    return felt, known if felt is curve else None


def _softened(curve: Curve, part: Part, axis: str, amplitude_mm: float) -> tuple[Any, ...]:
    """What an amplitude adds to ln stiffness and ln damping, and what to know of it."""
    checked_number("amplitude_mm", amplitude_mm, 0.0, 100.0, "mm", open_low=True)
    height = part.form.strained_mm(axis)
    if height is None:
        return 0.0, 0.0, f"how far a {part.form.kind} is strained is not known: its amplitude was left out"
    untold = curve.basis == READINGS and curve.bench_strain is None
    note = "the amplitude of the readings was not told: a strain of some 0.3 % is assumed, and the band allows for it"
    return *curve.softened(amplitude_mm / height), *([note] if untold else [])


def checked_question(frequency_hz: ArrayLike | None, mass_kg: Any, count: int) -> float | None:
    """The mass on one part in kg, None at a frequency. Raises InputError for neither or both, or out of range."""
    if frequency_hz is not None and mass_kg is not None:
        raise InputError("frequency_hz", frequency_hz, "left out where mass_kg is given", "give one of the two")
    if frequency_hz is None and mass_kg is None:
        raise InputError("frequency_hz", frequency_hz, "given unless mass_kg is", "give one of frequency and mass")
    count = checked_whole("count", count, 1, 1000)
    return None if mass_kg is None else checked_number("mass_kg", mass_kg, 0.0, 1000.0, "kg", open_low=True) / count


def _block(
    curve: Curve,
    part: Part,
    by_draw: tuple[Array, Array | float],
    t: Array,
    f: Array,
    load: tuple[float, int] | None,
    axis: str,
    squeeze_mm: float,
    share: float,
    ln_e: Complex | None,
) -> tuple[Band, Band | None, Array, float, float]:
    """Answers for some states: at frequencies, or under a mass on some parts, of which ``by_draw`` tells then.

    Of each draw it tells ln of the stiffness per modulus while both halves touch, and what amplitude adds to ln of the
    damping. At frequencies ln of their modulus may be known.

    Bands of stiffness and damping, shape (2, states), of natural frequency, ln of the reduced frequency, least median
    stiffness, share of lifted halves.
    """
    softest, loose, natural, (both, louder) = math.inf, 0.0, None, by_draw
    scale: Any
    if load is None:
        ln_k, scale = curve.ln_modulus(t, np.log(2.0 * np.pi * f)) if ln_e is None else ln_e, both[:, None]
    else:
        at_rest = both
        if part.form.pair is not None and axis == "axial":
            at_rest = ln_scale_at_rest(curve, part, axis, squeeze_mm, t, *load)
            loose = lifted_share(at_rest, both)
        state = suspended(curve, at_rest, load[0], t)
        ln_k, scale, natural = state.ln_stiffness, -math.log(load[1]), band(state.frequency_hz, share)
        f = np.asarray(natural.median)
    tangent = np.tan(ln_k.imag)
    told = np.empty((2, *tangent.shape))
    np.divide(np.exp(ln_k.real + scale), np.sqrt(1.0 + tangent * tangent), out=told[0])
    np.multiply(tangent.T, 0.5 * np.exp(louder), out=told[1].T)
    if load is not None and t.size:
        softest = float(plain_median(told[0]).min())
    return band(told.swapaxes(0, 1), share), natural, np.log(f) + curve.median_ln_shift(t), softest, loose


def _joined(bands: Sequence[Band], shape: tuple[int, ...]) -> Band:
    """Bands of flat states side by side, in the shape asked for."""
    ends: Any = [(each.median, each.low, each.high) for each in bands]
    whole = ends[0] if len(ends) == 1 else [np.concatenate(each, axis=-1) for each in zip(*ends, strict=True)]
    return Band(*(end.reshape((*end.shape[:-1], *shape)) for end in whole))


def _load_warnings(
    part: Part, stiffness: float, mass_kg: float, axis: str, squeeze_mm: float, loose: float
) -> tuple[str, ...]:
    """Whether the part can carry the mass at all: its sag against its height, buckling, halves that lift off."""
    if axis != "axial":
        return ()
    found = []
    if part.form.pair is not None:
        found.append(
            "holds while both halves touch; 'matdb squeeze' tells at which squeeze and load one lifts off"
            if loose < 0.025
            else Grave(
                f"at rest a half has lifted off ({loose:.0%} of the draws): one half alone acts there and it rattles; "
                "'matdb squeeze' tells how far to turn the screw"
            )
        )
    height = part.form.bearing_height_mm
    if not height:
        return tuple(found)
    its = "its height" if part.form.pair is None else "its lower half's height"
    squeeze_mm *= height / (part.form.squeezable_height_mm or height)
    # The dynamic stiffness flatters: under a lasting load the part sags more.
    sag = mass_kg * STANDARD_GRAVITY_M_S2 / stiffness
    sags = f"{float(f'{sag:.2g}'):g}"
    buckles = part.form.buckling_share * height
    if sag + squeeze_mm >= buckles:
        why = gives_way(part.form, f"{sags} mm or more under this mass")
        found.append(Grave(f"{part.form.gives_way[0]}s: {why}"))
    elif sag + squeeze_mm > 0.5 * min(height, buckles):
        told = f"overloaded: sags {sags} mm or more under this mass, of {min(height, buckles):.2g} mm there are"
        found.append(Grave(told))
    elif sag > 0.15 * height:
        found.append(Grave(f"sags {sags} mm or more under this mass, over 15 % of {its}: creep and set"))
    return tuple(found)


def worst_first(warnings: Iterable[str]) -> tuple[str, ...]:
    """Warnings, each once, the grave ones before all others."""
    return tuple(sorted(dict.fromkeys(warnings), key=lambda text: not isinstance(text, Grave)))


def service_warnings(curve: Curve, material: Material, temperature_c: Array) -> list[Grave]:
    """What is said of temperatures that the material is not made for."""
    if not np.size(temperature_c):
        return []
    found, glass, (low_c, high_c) = [], curve.glass_transition_c, service_range(material)
    coldest, hottest = span_of(temperature_c)
    if coldest < glass - _DEEP_IN_GLASS_K:
        where = f"far below the glass transition (about {glass:.0f} degC)"
        found.append(Grave(f"{where}, where no law here holds: the figures say nothing"))
    elif coldest < glass + 10.0:
        found.append(Grave(f"within 10 K of the glass transition (about {glass:.0f} degC) or below it"))
    if coldest < low_c or hottest > high_c:
        harm = "in such cold it can turn brittle and crack" if coldest < low_c else "in such heat it can melt or set"
        found.append(Grave(f"outside the service range of {low_c:.3g} to {high_c:.3g} degC: {harm}"))
    return found


@lru_cache(maxsize=1024)
def _foam_overstated(form: FormBase) -> float:
    """How many times too stiff a form of solid rubber is along its first axis for an open foam of its modulus.

    Wide bonded faces stiffen solid rubber without end, a foam of Poisson's ratio 0.3 [1]_ by a third at most.

    References
    ----------
    .. [1] L. J. Gibson, M. F. Ashby, Cellular Solids, 2nd ed., 1997, chapter 5 (from memory).
    """
    if not getattr(form, "bonded", False):
        return 1.0
    loose: Any = replace(cast(Any, form), bonded=False)
    gain = float(form.stiffness_n_per_mm()) / float(loose.stiffness_n_per_mm()) - 1.0
    return 1.0 if gain <= 0.0 else (1.0 + gain) / (1.0 + 1.0 / (1.0 / gain + 1.0 / _FOAM_GAIN))


def state_warnings(
    curve: Curve,
    material: Material,
    part: Part,
    temperature_c: Array,
    frequency_hz: Array,
    *,
    axis: str,
    squeeze_mm: float,
    ln_reduced_hz: Array | None = None,
) -> tuple[str, ...]:
    """What to know of an answer for these states, in plain words; the last as :meth:`Curve.range_notes`."""
    t = np.asarray(temperature_c, dtype=float)
    found: list[str] = list(part.misfit(material))
    if curve.basis == FAMILY_PRIOR:
        found.append(curve.without_readings(f", {material.hardness}" if material.hardness else ""))
    elif part.name not in curve.offsets:
        found.append(
            f"{part.name} itself was not measured: its stiffness rests on its geometry and on other parts' readings"
        )
    elif axis != curve.axis_of.get(part.name, axis) and (part.name, axis) not in curve.turns:
        read = curve.axis_of[part.name]
        found.append(f"{part.name} was read in its {read} direction only: its {axis} stiffness rests on its geometry")
    found.extend(curve.range_notes(t, frequency_hz, ln_reduced_hz))
    found.extend(service_warnings(curve, material, t))
    height = part.form.squeezable_height_mm
    if squeeze_mm and height and squeeze_mm > 0.25 * height:
        found.append(f"squeezed by {100 * squeeze_mm / height:.0f} % of its height; more than 25 % sets and tears")
    sideways = axis in ("shear", "lateral")
    if squeeze_mm and sideways and _unit(part.form, axis, 0.0) == _unit(part.form, axis, squeeze_mm):
        found.append("a squeeze hardly changes how stiff it is sideways: pressed rubber is shorter, but wider")
    was_read = part.name in curve.offsets
    foam = material.relative_density is not None and not was_read and axis == part.form.axes[0]
    if foam and (times := _foam_overstated(part.form)) > 1.25:
        what = "a foam gives by its volume, as solid rubber does not: between bonded faces it is up to"
        found.append(Grave(f"{what} {times:.1f} times less stiff than told here; a reading of it settles it"))
    found.extend(text for text in part.form.warnings(axis) if not (was_read and UNREAD in text))
    found.extend(curve.report.get("warnings", ()))
    return worst_first(found)
