"""Two halves squeezed by a screw: how far to turn it, and what the plate between them then does.

The plate lies between a lower half, which carries it, and an upper half, which holds it down. The screw sets the
total squeeze q = δ_lower + δ_upper; at load factor n the plate rests where

    F_lower(δ_lower) − F_upper(δ_upper) = n W / N          (W weight, N pairs)

While both halves touch, the stiffness is their sum; when one lifts off, by too high a load factor or because
the rubber shrank in the cold, it falls to the other's and the mount rattles. So there is a least squeeze; and a
most, by the strain that rubber stands for long.

Shrinkage: a pad of free height h between bonded faces shortens by ``h α ΔT (3 − 2 E/Ea)`` at constant load:
α for a tall pad, three times that for a thin one, whose faces stop it from shrinking sideways (from the
reciprocal theorem applied to the split Ea = E + (Ea − E) into uniform squeeze and pressure).

Common practice, no source: a light payload does best at or just past first touch; more squeeze only stiffens.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matdb.checks import checked_number
from matdb.errors import InputError
from matdb.form.grommet_pair import GrommetPair
from matdb.form.pair_balance import balance, squeeze_for_force
from matdb.form.round_pad import RoundPad
from matdb.form.thread import pitch_mm
from matdb.units import STANDARD_GRAVITY_M_S2

__all__ = [
    "SqueezeAdvice",
    "SqueezeCase",
    "SqueezeState",
    "StackCheck",
    "advise_squeeze",
    "least_squeeze",
    "lift_off_load_factors",
    "most_squeeze",
    "squeeze_state",
    "stack_check",
]

Array = NDArray[np.float64]

#: Static compression above which rubber creeps noticeably, and squeeze above which it should not be held.
CREEP_STRAIN, SQUEEZE_STRAIN = 0.15, 0.25


@dataclass(frozen=True, kw_only=True)
class SqueezeCase:
    """What is squeezed, by what load, how warm.

    Moduli and temperatures broadcast; the last axis is temperature, any before it are posterior draws.

    Attributes
    ----------
    pair : GrommetPair
        The two halves, plate, thread and spacer.
    payload_kg : float
        Suspended mass on all pairs together, kg, above 0.
    count : int
        Number of pairs that share it.
    static_modulus_mpa : array_like
        Young's modulus under a lasting load at each temperature, MPa.
    dynamic_modulus_mpa : array_like or None
        Storage modulus at the natural frequency, MPa, for stiffness and frequency; None takes the static one.
    temperature_c : array_like
        Temperatures that the moduli belong to, °C.
    load_factors : (float, float)
        Lowest and highest load factor in units of weight, the first at most 1, the second at least 1.
    assembly_c : float
        Temperature at which the screw is turned, °C.
    expansion_per_k : float
        Linear thermal expansion of the rubber per K, 0 to 1e-3 (rubbers have 1.5e-4 to 3e-4).
    screw_expansion_per_k : float
        That of screw and spacer (steel 1.2e-5, aluminium 2.3e-5).
    set_share : float
        Share of the squeeze that compression set and creep will take, 0 to 0.8.
    strain_limit : float
        Most squeeze of either half over its height, above 0 to 0.4.
    bulk_modulus_mpa : float or None
        Bulk modulus; None for incompressible.

    Raises
    ------
    InputError
        A value out of range, or shapes that do not broadcast.

    """

    pair: GrommetPair
    payload_kg: float
    static_modulus_mpa: ArrayLike
    count: int = 4
    dynamic_modulus_mpa: ArrayLike | None = None
    temperature_c: ArrayLike = 23.0
    load_factors: tuple[float, float] = (-1.0, 3.0)
    assembly_c: float = 23.0
    expansion_per_k: float = 2.0e-4
    screw_expansion_per_k: float = 1.2e-5
    set_share: float = 0.15
    strain_limit: float = SQUEEZE_STRAIN
    bulk_modulus_mpa: float | None = None

    def __post_init__(self) -> None:

        def number(name: str, low: float, high: float, unit: str = "", **more: Any) -> None:
            object.__setattr__(self, name, checked_number(name, getattr(self, name), low, high, unit, **more))

        number("payload_kg", 0.0, 1000.0, "kg", open_low=True)
        count = checked_number("count", self.count, 1, 1000)
        if count != int(count):
            raise InputError("count", self.count, "a whole number from 1 to 1000")
        object.__setattr__(self, "count", int(count))
        number("assembly_c", -100.0, 200.0, "degrees Celsius")
        number("expansion_per_k", 0.0, 1e-3, "per K")
        number("screw_expansion_per_k", 0.0, 1e-3, "per K")
        number("set_share", 0.0, 0.8)
        number("strain_limit", 0.0, 0.4, open_low=True)
        if self.bulk_modulus_mpa is not None:
            number("bulk_modulus_mpa", 0.0, 1e6, "MPa", open_low=True)
        try:
            low, high = (float(n) for n in self.load_factors)
        except (TypeError, ValueError, OverflowError):
            low, high = 2.0, 0.0
        if not (-100.0 <= low <= 1.0 <= high <= 100.0):
            allowed = "two numbers, the lowest at most 1 and the highest at least 1, within 100"
            raise InputError("load_factors", self.load_factors, allowed, "for example -1, 3")
        object.__setattr__(self, "load_factors", (low, high))
        static = _positive_array("static_modulus_mpa", self.static_modulus_mpa)
        dynamic = static
        if self.dynamic_modulus_mpa is not None:
            dynamic = _positive_array("dynamic_modulus_mpa", self.dynamic_modulus_mpa)
        warmth = np.asarray(self.temperature_c, dtype=float)
        if not (np.isfinite(warmth) & (warmth > -273.15) & (warmth <= 400.0)).all():
            raise InputError("temperature_c", self.temperature_c, "-273 to 400 degrees Celsius")
        try:
            static, dynamic, warmth = np.broadcast_arrays(static, dynamic, warmth)
        except ValueError:
            shapes = f"{np.shape(static)}, {np.shape(dynamic)}, {np.shape(warmth)}"
            allowed = "of shapes that broadcast with dynamic_modulus_mpa and temperature_c"
            raise InputError("static_modulus_mpa", shapes, allowed, "let the last axis be temperature") from None
        for name, value in (
            ("static_modulus_mpa", static),
            ("dynamic_modulus_mpa", dynamic),
            ("temperature_c", warmth),
        ):
            object.__setattr__(self, name, value)

    @property
    def weight_n(self) -> float:
        """Weight on one pair at load factor 1, N."""
        return self.payload_kg * STANDARD_GRAVITY_M_S2 / self.count

    @property
    def softness(self) -> Any:
        """Static Young's over bulk modulus."""
        return 0.0 if self.bulk_modulus_mpa is None else self._static / self.bulk_modulus_mpa

    @property
    def _static(self) -> Array:
        return np.asarray(self.static_modulus_mpa, dtype=float)

    @property
    def _dynamic(self) -> Array:
        return np.asarray(self.dynamic_modulus_mpa, dtype=float)

    @property
    def shrinkage_mm(self) -> Any:
        """Squeeze lost to thermal contraction at each temperature, mm; negative when warmer than assembly."""
        drop = self.assembly_c - np.asarray(self.temperature_c, dtype=float)
        length = sum(half.height_mm * (3.0 - 2.0 / _gain(half)) for half in self.pair.halves)
        free = sum(half.height_mm for half in self.pair.halves)
        return drop * (self.expansion_per_k * length - self.screw_expansion_per_k * free)


@dataclass(frozen=True)
class SqueezeState:
    """The pair at one squeeze and load factor; arrays over squeeze, draws and temperatures.

    Attributes
    ----------
    squeeze_mm, turns : float or ndarray
        Squeeze that the screw was given from first touch, mm and turns (nan without a thread).
    acting_mm : float or ndarray
        Squeeze left of it after thermal shrinkage and set, mm; negative is a gap.
    lower_mm, upper_mm : float or ndarray
        Squeeze of each half, mm; negative is the gap of a half that has lifted off.
    lower_n, upper_n : float or ndarray
        Force of each half, N.
    lifted_off : bool or ndarray
        Whether a half has lost touch.
    stiffness_n_per_mm : float or ndarray
        Axial stiffness of one pair about this state, N/mm.
    natural_frequency_hz : float or ndarray
        Of the payload on all pairs, Hz.
    sag_mm : float or ndarray
        How far the load moved the plate from where it rests without load, mm.
    strain : float or ndarray
        The larger squeeze of the two halves over its height.

    """

    squeeze_mm: Any
    turns: Any
    acting_mm: Any
    lower_mm: Any
    upper_mm: Any
    lower_n: Any
    upper_n: Any
    lifted_off: Any
    stiffness_n_per_mm: Any
    natural_frequency_hz: Any
    sag_mm: Any
    strain: Any


@dataclass(frozen=True)
class StackCheck:
    """Heights of the assembled pair.

    Attributes
    ----------
    stack_mm : float
        Both halves and the plate at first touch, mm.
    squeezed_mm : float
        The same at the squeeze in question: the spacer to buy, mm.
    spacer_mm, spacer_squeeze_mm : float or None
        The pair's own spacer and the squeeze at which it stops the screw, mm.
    warnings : tuple of str
        What does not fit.

    """

    stack_mm: float
    squeezed_mm: float
    spacer_mm: float | None
    spacer_squeeze_mm: float | None
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class SqueezeAdvice:
    """How far to turn the screw, and why.

    Attributes
    ----------
    least_mm, recommended_mm, most_mm : float
        Squeeze past first touch, mm: without lift-off over all temperatures and load factors, the one to use
        (with what set will take), and by strain. ``most_mm`` may be below ``least_mm``: then nothing fits.
    least_turns, recommended_turns, most_turns : float
        The same in turns of the thread; nan without one.
    feasible : bool
        Whether the recommended squeeze neither lifts off nor overstrains.
    least, recommended, most : SqueezeState
        The pair at these at load factor 1, over draws and temperatures.
    lift_off_low, lift_off_high : float
        Load factors at which a half lifts off at the recommended squeeze, at the worst temperature (set taken).
    spacer_mm : float
        Length of a sleeve that stops the screw at the recommended squeeze, mm.
    reasons, warnings : tuple of str
        Why this much; what to beware of.

    """

    least_mm: float
    recommended_mm: float
    most_mm: float
    least_turns: float
    recommended_turns: float
    most_turns: float
    feasible: bool
    least: SqueezeState
    recommended: SqueezeState
    most: SqueezeState
    lift_off_low: float
    lift_off_high: float
    spacer_mm: float
    reasons: tuple[str, ...]
    warnings: tuple[str, ...]


def squeeze_state(
    case: SqueezeCase,
    *,
    squeeze_mm: ArrayLike | None = None,
    turns: ArrayLike | None = None,
    load_factor: ArrayLike = 1.0,
    settled: bool = False,
) -> SqueezeState:
    """State of the pair at a squeeze, or backwards at a number of turns past first touch.

    Parameters
    ----------
    case : SqueezeCase
        What is squeezed.
    squeeze_mm : array_like or None
        Squeeze from first touch at assembly, mm, 0 or more; broadcasts against the moduli.
    turns : array_like or None
        The same in turns of the pair's thread; one of the two. With neither, the spacer's squeeze.
    load_factor : array_like
        Load in units of weight, positive onto the lower half.
    settled : bool
        Take off what compression set and creep will take.

    Returns
    -------
    SqueezeState
        Scalars where everything is scalar; nan where a half would be squeezed beyond half its height.

    Raises
    ------
    InputError
        Both or none of squeeze and turns, turns without a thread, or a negative squeeze.

    """
    given = _squeeze(case, squeeze_mm, turns)
    pair, static = case.pair, case._static
    acting = given * (1.0 - case.set_share if settled else 1.0) - case.shrinkage_mm
    load = np.asarray(load_factor, dtype=float) * case.weight_n / static
    acting, load, soft = np.broadcast_arrays(acting, load, case.softness)
    lower, upper = pair.halves
    down, up = balance(lower, upper, acting, load, soft)
    rest_down, _ = balance(lower, upper, acting, np.zeros_like(load), soft)
    lower_n = static * lower.unit_force(np.maximum(down, 0.0), soft)
    upper_n = static * upper.unit_force(np.maximum(up, 0.0), soft)
    touch_down, touch_up = down > 0.0, up > 0.0
    unit = np.where(touch_down, lower.unit_stiffness("axial", np.maximum(down, 0.0), soft), 0.0)
    unit = unit + np.where(touch_up, upper.unit_stiffness("axial", np.maximum(up, 0.0), soft), 0.0)
    stiffness = np.where(np.isfinite(down), case._dynamic * unit, np.nan)
    strain = np.maximum(down / lower.height_mm, up / upper.height_mm)
    frequency = np.sqrt(1000.0 * case.count * stiffness / case.payload_kg) / (2.0 * np.pi)
    known = np.isfinite(down)
    # Without any squeeze left the unloaded plate floats in its gap: count the sag from the lower half's face.
    rest = np.where(acting > 0.0, rest_down, 0.0)
    return SqueezeState(
        squeeze_mm=_plain(given),
        turns=_plain(given / pitch_mm(pair.thread)) if pair.thread else _plain(np.full_like(given, np.nan)),
        acting_mm=_plain(acting),
        lower_mm=_plain(down),
        upper_mm=_plain(up),
        lower_n=_plain(np.where(known, lower_n, np.nan)),
        upper_n=_plain(np.where(known, upper_n, np.nan)),
        lifted_off=_plain(known & ~(touch_down & touch_up)),
        stiffness_n_per_mm=_plain(stiffness),
        natural_frequency_hz=_plain(frequency),
        sag_mm=_plain(down - rest),
        strain=_plain(strain),
    )


def least_squeeze(case: SqueezeCase, *, settled: bool = False) -> Any:
    """Least squeeze in mm, at assembly, at which no half lifts off at any load factor.

    At the highest load factor the upper half comes free when the lower alone carries ``n W``:
    ``q = F_lower⁻¹(n W / N)``; at a negative one the lower, ``q = F_upper⁻¹(−n W / N)``. What the temperature
    takes is added, and with ``settled`` what set will take.

    Parameters
    ----------
    case : SqueezeCase
        What is squeezed.
    settled : bool
        Provide for compression set and creep.

    Returns
    -------
    float or ndarray
        Over draws and temperatures; nan where a half would be squeezed beyond half its height.

    """
    lower, upper = case.pair.halves
    low, high = case.load_factors
    need = squeeze_for_force(lower, high * case.weight_n / case._static, case.softness)
    if low < 0.0:
        need = np.maximum(need, squeeze_for_force(upper, -low * case.weight_n / case._static, case.softness))
    need = np.maximum(need + case.shrinkage_mm, 0.0)
    return _plain(need / (1.0 - case.set_share) if settled else need)


def most_squeeze(case: SqueezeCase) -> Any:
    """Most squeeze in mm, at assembly, at which no half passes the strain limit at any load factor.

    With the lower half at its limit at the highest load factor, the upper holds the rest:
    ``q = δ* + F_upper⁻¹(F_lower(δ*) − n W / N)``, and likewise the other way round.

    Parameters
    ----------
    case : SqueezeCase
        What is squeezed.

    Returns
    -------
    float or ndarray
        Over draws and temperatures; negative where the load alone strains a half beyond the limit.

    """
    lower, upper = case.pair.halves
    soft, limit = case.softness, case.strain_limit
    values = []
    for half, other, load in (
        (lower, upper, max(case.load_factors[1], 0.0)),
        (upper, lower, max(-case.load_factors[0], 0.0)),
    ):
        end = limit * half.height_mm
        left = half.unit_force(np.asarray(end), soft) - load * case.weight_n / case._static
        rest = squeeze_for_force(other, np.maximum(left, 0.0), soft)
        value = end + np.where(np.isnan(rest), limit * other.height_mm, rest)
        values.append(np.where(left < 0.0, -1.0, value + case.shrinkage_mm))
    return _plain(np.minimum(values[0], values[1]))


def lift_off_load_factors(
    case: SqueezeCase,
    *,
    squeeze_mm: ArrayLike | None = None,
    turns: ArrayLike | None = None,
    settled: bool = False,
) -> tuple[Any, Any]:
    """Load factors below and above which a half lifts off: ``−F_upper(q) N / W`` and ``F_lower(q) N / W``.

    Parameters
    ----------
    case, squeeze_mm, turns, settled
        As in :func:`squeeze_state`.

    Returns
    -------
    low, high : float or ndarray
        Load factors over squeeze, draws and temperatures; 0 and 0 when the rubber has come loose.

    """
    given = _squeeze(case, squeeze_mm, turns) * (1.0 - case.set_share if settled else 1.0)
    lower, upper = case.pair.halves
    acting = np.maximum(given - case.shrinkage_mm, 0.0)
    # Each half alone must take the whole squeeze at its own lift-off load.
    high = case._static * lower.unit_force(np.minimum(acting, 0.9 * lower.height_mm), case.softness)
    low = case._static * upper.unit_force(np.minimum(acting, 0.9 * upper.height_mm), case.softness)
    return _plain(-low / case.weight_n), _plain(high / case.weight_n)


def stack_check(pair: GrommetPair, squeeze_mm: float) -> StackCheck:
    """Heights at a squeeze, and whether the pair's spacer lets the screw reach it.

    Parameters
    ----------
    pair : GrommetPair
        The pair.
    squeeze_mm : float
        Squeeze in question, mm, 0 or more.

    Raises
    ------
    InputError
        A squeeze that is negative or beyond the halves' height.

    """
    squeeze = checked_number("squeeze_mm", squeeze_mm, 0.0, 0.5 * pair.squeezable_height_mm, "mm")
    held = pair.spacer_squeeze_mm
    out = []
    if held is not None:
        if held < 0.0:
            out.append(f"spacer {-held:.3g} mm too long: the halves never touch; file it or take taller halves")
        elif squeeze > held + 1e-9:
            text = f"the spacer stops the screw at {held:.3g} mm of squeeze, short of {squeeze:.3g} mm"
            out.append(f"{text}; take one of {pair.stack_mm - squeeze:.3g} mm")
        elif held > squeeze + 0.05:
            text = f"the spacer lets the screw go on to {held:.3g} mm, past {squeeze:.3g} mm"
            out.append(f"{text}; count the turns, or take a spacer of {pair.stack_mm - squeeze:.3g} mm")
    return StackCheck(pair.stack_mm, pair.stack_mm - squeeze, pair.spacer_mm, held, tuple(out))


def advise_squeeze(case: SqueezeCase) -> SqueezeAdvice:
    """Least, recommended and most squeeze over all temperatures and load factors, with reasons.

    Over draws the least is the 97.5 % quantile and the most the 2.5 %; over temperatures the worst counts. The
    recommended squeeze is the least that still holds after set and creep took their share, and it grows with
    the payload, up to the strain limit of both halves; whether it also stays below the most is ``feasible``.

    Parameters
    ----------
    case : SqueezeCase
        What is squeezed.

    Returns
    -------
    SqueezeAdvice
        In mm and turns, with the states at each.

    """
    least = _worst(least_squeeze(case), 0.975)
    wanted = _worst(least_squeeze(case, settled=True), 0.975)
    most = _worst(most_squeeze(case), 0.025)
    both = 0.5 * case.pair.squeezable_height_mm
    if not np.isfinite(least):
        least = wanted = both
    recommended = min(wanted, case.strain_limit * case.pair.squeezable_height_mm)
    feasible = wanted <= most
    states = [squeeze_state(case, squeeze_mm=min(max(q, 0.0), both)) for q in (least, recommended, most)]
    low, high = lift_off_load_factors(case, squeeze_mm=recommended, settled=True)
    lift = (_worst(low, 0.975), _worst(np.negative(high), 0.975))
    pitch = pitch_mm(case.pair.thread) if case.pair.thread else np.nan
    return SqueezeAdvice(
        least_mm=least,
        recommended_mm=recommended,
        most_mm=most,
        least_turns=least / pitch,
        recommended_turns=recommended / pitch,
        most_turns=most / pitch,
        feasible=bool(feasible),
        least=states[0],
        recommended=states[1],
        most=states[2],
        lift_off_low=lift[0],
        lift_off_high=-lift[1],
        spacer_mm=case.pair.stack_mm - recommended,
        reasons=_reasons(case, least, wanted, recommended, bool(feasible)),
        warnings=_warnings(case, wanted, recommended, most, states[1]),
    )


def _reasons(case: SqueezeCase, least: float, wanted: float, recommended: float, feasible: bool) -> tuple[str, ...]:
    low, high = case.load_factors
    height = case.pair.squeezable_height_mm
    at = f"{recommended:.2f} mm" + _in_turns(case, recommended)
    here = replace(case, temperature_c=case.assembly_c, **_middle(case))
    now = squeeze_state(here, squeeze_mm=recommended).natural_frequency_hz
    more = squeeze_state(here, squeeze_mm=min(recommended + 0.05 * height, 0.5 * height)).natural_frequency_hz
    out = []
    if not feasible:
        return (
            f"too heavy a payload for these halves from {low:g} to {high:g} g: {at} is only the least bad of what "
            "they can do",
        )
    if recommended <= 0.04 * height:
        out.append(
            f"light payload for these halves: {at}, at or just past first touch, keeps both in touch from "
            f"{low:g} to {high:g} g"
        )
        out.append(f"stop there: {0.05 * height:.2f} mm more would only stiffen it, from {now:.1f} to {more:.1f} Hz")
    else:
        out.append(
            f"heavy payload for these halves: at {high:g} g it presses the lower half far enough that anything "
            f"less than {least:.2f} mm lets a half lift off; go to {at}"
        )
    if case.set_share > 0.0 and wanted > least:
        out.append(f"{wanted - least:.2f} mm of that is for the {case.set_share:.0%} that set and creep will take")
    cold = float(np.max(case.shrinkage_mm))
    if cold > 0.01:
        coldest = float(np.min(np.asarray(case.temperature_c)))
        out.append(f"{cold:.2f} mm of that is for the rubber's shrinkage at {coldest:g} °C, where it is also stiffer")
    return tuple(out)


def _warnings(
    case: SqueezeCase, wanted: float, recommended: float, most: float, state: SqueezeState
) -> tuple[str, ...]:
    out = list(case.pair.warnings("axial"))
    if most < 0.0:
        out.append(
            f"the payload alone squeezes a half beyond {case.strain_limit:.0%} of its height at these load factors; "
            "take more, larger or stiffer grommets"
        )
    elif wanted > most:
        out.append(
            f"no squeeze fits: {wanted:.2f} mm would be needed against lift-off, {most:.2f} mm is the most by strain; "
            "take more, larger or stiffer grommets"
        )
    strain = np.nanmax(np.asarray(state.strain, dtype=float)) if np.isfinite(state.strain).any() else 0.0
    if strain > SQUEEZE_STRAIN:
        out.append(f"a half is squeezed {strain:.0%} of its height; above {SQUEEZE_STRAIN:.0%} rubber does not last")
    elif strain > CREEP_STRAIN:
        out.append(f"a half is squeezed {strain:.0%} of its height; above {CREEP_STRAIN:.0%} it creeps noticeably")
    for name, half, squeezes in zip(
        ("lower", "upper"), case.pair.halves, (state.lower_mm, state.upper_mm), strict=True
    ):
        if np.max(np.asarray(squeezes, dtype=float), initial=0.0) > half.squeeze_reach_mm:
            out.append(
                f"the {name} half is squeezed beyond {half.squeeze_reach_mm:.2f} mm, where the force is extrapolated"
            )
    if recommended > 0.0:
        out.append("check the turns again after 24 h and once cold: set and creep take some of the squeeze")
    out += stack_check(case.pair, min(recommended, 0.5 * case.pair.squeezable_height_mm)).warnings
    return tuple(dict.fromkeys(out))


def _middle(case: SqueezeCase) -> dict[str, Any]:
    """Median moduli at the temperature nearest to assembly."""
    warmth = np.asarray(case.temperature_c, dtype=float).reshape(-1)
    near = np.abs(warmth - case.assembly_c) <= np.abs(warmth - case.assembly_c).min() + 1e-9
    static, dynamic = case._static.reshape(-1)[near], case._dynamic.reshape(-1)[near]
    return {"static_modulus_mpa": float(np.median(static)), "dynamic_modulus_mpa": float(np.median(dynamic))}


def _in_turns(case: SqueezeCase, squeeze_mm: float) -> str:
    if case.pair.thread is None:
        return ""
    return f" ({squeeze_mm / pitch_mm(case.pair.thread):.2f} turns of {case.pair.thread})"


def _squeeze(case: SqueezeCase, squeeze_mm: ArrayLike | None, turns: ArrayLike | None) -> Array:
    pair = case.pair
    if squeeze_mm is not None and turns is not None:
        raise InputError("turns", turns, "left out when squeeze_mm is given")
    if turns is not None:
        if pair.thread is None:
            raise InputError("turns", turns, "used with a thread", "give the pair its thread, such as M3")
        squeeze_mm = np.asarray(turns, dtype=float) * pitch_mm(pair.thread)
    if squeeze_mm is None:
        if pair.spacer_squeeze_mm is None:
            raise InputError("squeeze_mm", None, "given, in mm or in turns, for a pair without a spacer")
        squeeze_mm = max(pair.spacer_squeeze_mm, 0.0)
    given = np.asarray(squeeze_mm, dtype=float)
    most = 0.5 * pair.squeezable_height_mm
    bad = ~((given >= 0.0) & (given <= most * (1.0 + 1e-12)))
    if bad.any():
        value = given[bad].flat[0].item() if given.ndim else given.item()
        raise InputError("squeeze_mm", value, f"0 to {most:g} mm, half the height of both halves")
    return given


def _gain(half: RoundPad) -> float:
    """Apparent over true Young's modulus of a half."""
    return float(half.unit_stiffness("axial", np.zeros(()))) * half.height_mm / half.area_mm2


def _worst(values: Any, quantile: float) -> float:
    """Quantile over the draws (all axes but the last), then the worse end over temperatures; nan if any is."""
    array = np.asarray(values, dtype=float)
    if np.isnan(array).any():
        return float("nan")
    array = np.atleast_1d(array)
    if array.ndim > 1:
        array = np.quantile(array.reshape(-1, array.shape[-1]), quantile, axis=0)
    return float(array.max() if quantile > 0.5 else array.min())


def _positive_array(name: str, value: ArrayLike) -> Array:
    try:
        array = np.asarray(value, dtype=float)
    except (TypeError, ValueError, OverflowError):
        raise InputError(name, value, "a number or an array of numbers in MPa") from None
    if array.size == 0 or not (np.isfinite(array) & (array > 0.0)).all():
        raise InputError(name, value, "finite and above 0 MPa")
    return array


def _plain(value: Any) -> Any:
    array = np.asarray(value)
    return array.item() if array.ndim == 0 else array
