"""How far to turn the screw of a two-part grommet: the squeeze of :mod:`matdb.mounting.squeeze` over posterior draws.

Every draw of the material's curve has its own least squeeze (no half lifts off at any load factor and temperature) and
its own most (no half is strained beyond the limit). The recommended squeeze is the least that still holds once set and
creep took their share, in 97.5 % of the draws; where the material is known too loosely for that, the squeeze that
holds in most draws, as long as that is half of them: below it is the best of poor choices and not recommended. Halves
rest under the slow modulus (ten minutes); the mass swings on the modulus at its natural
frequency, solved for each draw.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matdb.advice.effective import pair_case, state_warnings, static_modulus, suspended
from matdb.checks import checked_number
from matdb.curve.band import Band, band
from matdb.curve.curve import Curve, checked_state
from matdb.errors import InputError
from matdb.form.base import MAX_SQUEEZE_SHARE
from matdb.form.grommet_pair import GrommetPair
from matdb.form.part import Part
from matdb.form.thread import pitch_mm
from matdb.material.record import Material
from matdb.mounting.squeeze import (
    CREEP_STRAIN,
    SQUEEZE_STRAIN,
    SqueezeCase,
    least_squeeze,
    lift_off_load_factors,
    most_squeeze,
    spacer_warnings,
    squeeze_state,
)
from matdb.mounting.suspended import ln_storage
from matdb.plain import PlainRecord

__all__ = ["Squeeze", "SqueezePoint", "squeeze"]

Array = NDArray[np.float64]

#: Probability on one side that the least and the most squeeze are told for.
_SURE: Final = 0.975
#: Up to this share of the height a squeeze counts as at or just past first touch; common practice, no source.
_TOUCH_SHARE: Final = 0.04
#: From this share on the payload is called heavy; half of what strain allows.
_HEAVY_SHARE: Final = 0.12
#: The temperature of assembly is shown where it lies so far inside the range, K.
_APART_K: Final = 5.0
#: A squeeze that holds in fewer draws than this is not recommended, only told as the best of poor choices.
_LIKELY: Final = 0.5
#: One that holds in fewer than this is not worth telling.
_HOPELESS: Final = 0.05
#: The name of that point.
_POOR: Final = "best of poor choices"
#: Points that were not sought but given.
_GIVEN: Final = ("asked", "spacer")


@dataclass(frozen=True, kw_only=True, eq=False)
class SqueezePoint(PlainRecord):
    """The pair at one squeeze, at a few temperatures.

    Attributes
    ----------
    name : str
        "least", "recommended" or "best of poor choices", "most", "asked", or "spacer": where the pair's spacer stops
        the screw.
    squeeze_mm : float
        From first touch at assembly, mm.
    turns : float or None
        The same in turns of the thread; None without one.
    spacer_mm : float
        Length of a sleeve that stops the screw there, mm.
    temperature_c : ndarray, shape (k,)
        Coldest, at assembly (where it lies between) and warmest, degrees Celsius.
    stiffness_n_per_mm, damping_ratio, natural_frequency_hz : Band of shape (k,)
        Axial, of one pair, with the payload at rest; before set and creep.
    sag_mm : Band of shape (k,)
        How far the payload moves the plate, mm.
    strain : Band of shape (k,)
        The larger squeeze of the two halves over its height, payload at rest.
    touching : ndarray, shape (k,)
        Probability that no half lifts off at any load factor, set and creep taken.
    lift_off_low, lift_off_high : Band of shape (k,)
        Load factors at which a half lifts off, set and creep taken.
    holds : float
        Probability that at every temperature nothing lifts off or passes the strain limit.
    too_little, too_much : float
        Probability of lift-off, and of too much strain, at some temperature.
    """

    name: str
    squeeze_mm: float
    turns: float | None
    spacer_mm: float
    temperature_c: Array
    stiffness_n_per_mm: Band
    damping_ratio: Band
    natural_frequency_hz: Band
    sag_mm: Band
    strain: Band
    touching: Array
    lift_off_low: Band
    lift_off_high: Band
    holds: float
    too_little: float
    too_much: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Squeeze(PlainRecord):
    """How far to turn the screw, and why.

    Attributes
    ----------
    part : str
        The part's name.
    mass_kg, count, load_factors, assembly_c
        What was asked.
    thread : str or None
        The screw.
    basis : str
        "readings" or "family prior".
    least_mm, most_mm : Band
        Over the draws: least squeeze without lift-off once set and creep took their share, and most by strain, 0 where
        the load alone strains a half beyond the limit. The points "least" and "most" are at their medians.
    recommended_mm : float or None
        The squeeze to use; None when none holds with a probability of at least a half.
    best_of_poor_mm : float or None
        Where none can be recommended, the squeeze that holds in most draws; None when hardly any draw holds.
    feasible : bool
        Whether the recommended squeeze holds in 95 % of the draws.
    points : tuple of SqueezePoint
        At the least, the recommended (or the best of poor choices) and the most squeeze where there is one, and at the
        asked one or the spacer's.
    reasons, warnings : tuple of str
        Why this much and what cold and warmth do; what to beware of.
    """

    part: str
    mass_kg: float
    count: int
    load_factors: tuple[float, float]
    assembly_c: float
    thread: str | None
    basis: str
    least_mm: Band
    most_mm: Band
    recommended_mm: float | None
    best_of_poor_mm: float | None
    feasible: bool
    points: tuple[SqueezePoint, ...]
    reasons: tuple[str, ...]
    warnings: tuple[str, ...]

    def point(self, name: str) -> SqueezePoint | None:
        """The point of that name; None where there is none."""
        return next((p for p in self.points if p.name == name), None)


def squeeze(
    curve: Curve,
    material: Material,
    part: Part,
    mass_kg: float,
    temperature_c: ArrayLike,
    *,
    count: int = 4,
    load_factors: tuple[float, float] = (-1.0, 3.0),
    squeeze_mm: float | None = None,
    turns: float | None = None,
    assembly_c: float = 23.0,
    set_share: float = 0.15,
) -> Squeeze:
    """Advise the squeeze of a grommet pair, or tell what a given one does.

    Parameters
    ----------
    curve, material, part
        The material's curve and record, and the part: a grommet pair.
    mass_kg : float
        Payload on all pairs together, kg, above 0.
    temperature_c : array_like
        Temperatures of the flight, degrees Celsius.
    count : int
        Pairs that share it.
    load_factors : (float, float)
        Lowest and highest load factor in units of weight, the first at most 1, the second at least 1.
    squeeze_mm, turns : float, optional
        A squeeze to look at, from first touch, in mm or in turns of the thread. Without either, the squeeze at which
        the pair's spacer stops the screw, if it has one.
    assembly_c : float
        Temperature at which the screw is turned, degrees Celsius.
    set_share : float
        Share of the squeeze that compression set and creep will take, 0 to 0.8.

    Raises
    ------
    InputError
        The part is no grommet pair, turns without a thread, or a value out of range.

    References
    ----------
    The physics and its sources: :mod:`matdb.mounting.squeeze`.
    """
    form = part.form.pair
    if form is None:
        raise InputError("part", part.name, "a grommet-pair: two halves that a screw squeezes", _as_a_pair(part))
    if form.thread is None and part.thread is not None:
        form = replace(form, thread=part.thread)
    t = np.unique(checked_state(np.ravel(temperature_c), 1.0)[0])
    if not t.size:
        raise InputError("temperature_c", "none", "at least one temperature")
    if t[0] + _APART_K <= assembly_c <= t[-1] - _APART_K:
        t = np.unique([*t, assembly_c])
    asked = _asked(form, squeeze_mm, turns)
    offset = curve.offset_draws(part.name, form.offset_sd("axial"))
    case = pair_case(
        form,
        material.family,
        payload_kg=mass_kg,
        count=count,
        static_modulus_mpa=static_modulus(curve, t, offset[:, None]),
        temperature_c=t,
        load_factors=load_factors,
        assembly_c=assembly_c,
        set_share=set_share,
    )
    return _Bench(curve, material, part, case, offset).answer(asked)


@dataclass(eq=False)
class _Bench:
    """One case over all draws."""

    curve: Curve
    material: Material
    part: Part
    case: SqueezeCase
    offset: Array

    def __post_init__(self) -> None:
        self.t = self.case.temperature_c
        self.end = MAX_SQUEEZE_SHARE * self.case.pair.squeezable_height_mm
        # Where a half would be squeezed beyond half its height, no squeeze is enough.
        self.settled = np.nan_to_num(least_squeeze(self.case), nan=np.inf)
        self.most = most_squeeze(self.case)
        near = int(np.argmin(np.abs(self.t - self.case.assembly_c)))
        self.shown = np.unique([0, near, len(self.t) - 1])

    def holding(self, squeeze_mm: float) -> tuple[float, float, float]:
        """Probability that a squeeze holds throughout, that it is too little, and too much."""
        little = (self.settled > squeeze_mm * (1.0 + 1e-9)).any(axis=1)
        much = (self.most < squeeze_mm * (1.0 - 1e-9)).any(axis=1)
        return float((~little & ~much).mean()), float(little.mean()), float(much.mean())

    def best(self) -> float | None:
        """The least squeeze that surely holds; where none does, the one that holds in most draws, if in some."""
        wanted, most = self.settled.max(axis=1), self.most.min(axis=1)
        sure, limit = float(np.quantile(wanted, _SURE, method="higher")), float(np.quantile(most, 1.0 - _SURE))
        if sure <= limit:
            return sure
        tried = np.sort(wanted[np.isfinite(wanted) & (wanted <= self.end)])
        holds = ((wanted <= tried[:, None]) & (most >= tried[:, None])).mean(axis=1)
        if not tried.size or holds.max() < _HOPELESS:
            return None
        return float(tried[int(np.argmax(holds))])

    def answer(self, asked_mm: float | None) -> Squeeze:
        pair = self.case.pair
        least = band(np.minimum(self.settled.max(axis=1), self.end))
        most = band(np.clip(self.most.min(axis=1), 0.0, self.end))
        best = self.best()
        name = "recommended" if best is not None and self.holding(best)[0] >= _LIKELY else _POOR
        wanted = {} if best is None else {"least": float(least.median), name: best}
        if best is not None and most.median > 0.0:
            wanted["most"] = float(most.median)
        if asked_mm is not None:
            wanted["asked"] = asked_mm
        elif pair.fixed_squeeze_mm is not None:
            wanted["spacer"] = pair.fixed_squeeze_mm
        points = tuple(self.point(name, q) for name, q in wanted.items())
        chosen = next((p for p in points if p.name == name), None)
        return Squeeze(
            part=self.part.name,
            mass_kg=self.case.payload_kg,
            count=self.case.count,
            load_factors=self.case.load_factors,
            assembly_c=self.case.assembly_c,
            thread=pair.thread,
            basis=self.curve.basis,
            least_mm=least,
            most_mm=most,
            recommended_mm=None if name == _POOR else best,
            best_of_poor_mm=best if name == _POOR else None,
            feasible=chosen is not None and chosen.holds >= 0.95,
            points=points,
            reasons=() if chosen is None else (*self.reasons(chosen), *self.in_cold_and_warmth(chosen)),
            warnings=self.warnings(chosen, next((p for p in points if p.name in _GIVEN), None)),
        )

    def point(self, name: str, squeeze_mm: float) -> SqueezePoint:
        k = self.shown
        t = self.t[k]
        case = replace(self.case, static_modulus_mpa=self.case.static_modulus_mpa[:, k], temperature_c=t)
        state = squeeze_state(case, squeeze_mm)
        # A squeeze beyond all reason keeps its nan.
        known = np.isfinite(state.unit_stiffness) & (state.unit_stiffness > 0.0)
        ln_unit = np.log(np.where(known, state.unit_stiffness, 1.0)) + self.offset[:, None]
        swinging = suspended(self.curve, ln_unit, case.payload_kg / case.count, t)
        low, high = lift_off_load_factors(case, squeeze_mm)
        holds, little, much = self.holding(squeeze_mm)
        pair = self.case.pair
        return SqueezePoint(
            name=name,
            squeeze_mm=squeeze_mm,
            turns=None if pair.thread is None else squeeze_mm / pitch_mm(pair.thread),
            spacer_mm=pair.stack_mm - squeeze_mm,
            temperature_c=t,
            stiffness_n_per_mm=_band(np.exp(ln_storage(swinging.ln_stiffness)), known),
            damping_ratio=_band(swinging.damping_ratio, known),
            natural_frequency_hz=_band(swinging.frequency_hz, known),
            sag_mm=_band(state.sag_mm, known),
            strain=_band(state.strain, known),
            touching=(self.settled[:, k] <= squeeze_mm * (1.0 + 1e-9)).mean(axis=0),
            lift_off_low=band(low),
            lift_off_high=band(high),
            holds=holds,
            too_little=little,
            too_much=much,
        )

    # -- words ---------------------------------------------------------------------------------------------

    def reasons(self, chosen: SqueezePoint) -> list[str]:
        case = self.case
        low, high = case.load_factors
        height = case.pair.squeezable_height_mm
        at = f"{chosen.squeeze_mm:.2f} mm{_turns(chosen.turns, case.pair.thread)}"
        if chosen.name == _POOR:
            return [
                f"no squeeze holds with a probability of at least {_LIKELY:.0%} from {low:g} to {high:g} g; at {at} a "
                f"half lifts off with {_percent(chosen.too_little)} and one is strained too far with "
                f"{_percent(chosen.too_much)}: that is only the best of poor choices"
            ]
        # What the likeliest material would need tells whether the payload is light; doubt only adds to it.
        middle = float(np.median(np.minimum(self.settled.max(axis=1), self.end)))
        out = []
        if middle <= _TOUCH_SHARE * height:
            further = min(chosen.squeeze_mm + 0.05 * height, self.end)
            now, more = (self._middle_hz(p) for p in (chosen, self.point("further", further)))
            out.append(
                f"a light payload for these halves: at or just past first touch both stay in touch from {low:g} to "
                f"{high:g} g; stop at {at}"
            )
            out.append(
                f"{further - chosen.squeeze_mm:.2f} mm more would only stiffen it, from {now:.1f} to {more:.1f} Hz at "
                f"{self._near(chosen)[1]:g} degC"
            )
        else:
            much = "heavy" if middle > _HEAVY_SHARE * height else "middling"
            out.append(
                f"a {much} payload for these halves: at {high:g} g it presses the lower half so far that with less "
                f"squeeze the upper one lifts off; go to {at}"
            )
        if chosen.squeeze_mm > middle + 0.05 * max(middle, 0.2):
            out.append(
                f"{middle:.2f} mm would do for the likeliest material; the rest is for what is not known of it, and "
                "readings bring it down"
            )
        share = case.set_share
        if share > 0.0 and chosen.squeeze_mm > 0.0:
            out.append(
                f"{share * chosen.squeeze_mm:.2f} mm of that is for the {share:.0%} that set and creep will take"
            )
        return out

    def in_cold_and_warmth(self, chosen: SqueezePoint) -> list[str]:
        near, at = self._near(chosen)
        stiff, hertz = (np.asarray(b.median) for b in (chosen.stiffness_n_per_mm, chosen.natural_frequency_hz))
        out = []
        need = np.median(np.minimum(self.settled, self.end), axis=0)
        worst = float(self.t[int(np.argmax(need))])
        for k, t in enumerate(chosen.temperature_c.tolist()):
            if k == near:
                continue
            gone = float(np.interp(t, self.t, self.case.shrinkage_mm))
            moves = "shrinks" if gone >= 0.0 else "grows"
            gains = "takes" if gone >= 0.0 else "adds"
            text = (
                f"at {t:g} degC it is {stiff[k] / stiff[near]:.2f} times as stiff as at {at:g} degC "
                f"({hertz[k]:.1f} Hz instead of {hertz[near]:.1f}); the rubber {moves}, which {gains} "
                f"{abs(gone):.2f} mm {'of' if gone >= 0.0 else 'to'} the squeeze"
            )
            if t == worst and need.max() > need.min() + 0.005:
                text += "; lift-off threatens here first"
            out.append(text)
        return out

    def warnings(self, chosen: SqueezePoint | None, asked: SqueezePoint | None) -> tuple[str, ...]:
        case = self.case
        low, high = case.load_factors
        out = []
        if chosen is None:
            out.append(
                "no squeeze holds: what keeps both halves in touch strains one of them beyond "
                f"{case.strain_limit:.0%} of its height; take more, larger or stiffer grommets"
            )
        elif chosen.holds < 0.95:
            which = "best of poor choices" if chosen.name == _POOR else "recommended squeeze"
            out.append(
                f"the {which} holds with a probability of {_percent(chosen.holds)} only (too little "
                f"{_percent(chosen.too_little)}, too much {_percent(chosen.too_much)}); a reading on this part narrows "
                "that, as do more, larger or stiffer grommets"
            )
        if asked is not None and asked.holds < 0.95:
            at = f"{asked.squeeze_mm:.2f} mm{_turns(asked.turns, case.pair.thread)}"
            if asked.too_little >= asked.too_much:
                out.append(
                    f"at {at} a half lifts off between {low:g} and {high:g} g with a probability of "
                    f"{_percent(asked.too_little)}: the stiffness falls to the other half's and it rattles"
                )
            else:
                out.append(
                    f"at {at} a half is strained beyond {case.strain_limit:.0%} of its height with a probability of "
                    f"{_percent(asked.too_much)}: rubber does not last like that"
                )
        for point in (chosen, asked):
            if point is None:
                continue
            strain = float(np.max(np.nan_to_num(np.asarray(point.strain.median)), initial=0.0))
            if strain > SQUEEZE_STRAIN:
                text = f"above {SQUEEZE_STRAIN:.0%} rubber does not last"
            elif strain > CREEP_STRAIN:
                text = f"above {CREEP_STRAIN:.0%} it creeps noticeably"
            else:
                continue
            out.append(f"at {point.squeeze_mm:.2f} mm a half is squeezed by {strain:.0%} of its height; {text}")
        reach = sum(half.squeeze_reach_mm for half in case.pair.halves)
        if chosen is not None:
            if chosen.squeeze_mm > reach:
                out.append(f"beyond {reach:.2f} mm of squeeze the force is extrapolated")
            out.extend(spacer_warnings(case.pair, min(chosen.squeeze_mm, self.end)))
        out.append("check the turns again after 24 hours and once in the cold: set and creep take some of the squeeze")
        t = self.t[self.shown]
        hertz = (
            np.full(t.shape, 30.0) if chosen is None else np.nan_to_num(chosen.natural_frequency_hz.median, nan=30.0)
        )
        out.extend(state_warnings(self.curve, self.material, self.part, t, hertz, axis="axial", squeeze_mm=0.0))
        return tuple(dict.fromkeys(out))

    def _near(self, point: SqueezePoint) -> tuple[int, float]:
        """The shown temperature that is nearest to assembly."""
        k = int(np.argmin(np.abs(point.temperature_c - self.case.assembly_c)))
        return k, float(point.temperature_c[k])

    def _middle_hz(self, point: SqueezePoint) -> float:
        return float(np.asarray(point.natural_frequency_hz.median)[self._near(point)[0]])


def _asked(form: GrommetPair, squeeze_mm: float | None, turns: float | None) -> float | None:
    """The squeeze to look at in mm, from either; None without."""
    end = MAX_SQUEEZE_SHARE * form.squeezable_height_mm
    if turns is None:
        return None if squeeze_mm is None else checked_number("squeeze_mm", squeeze_mm, 0.0, end, "mm")
    if squeeze_mm is not None:
        raise InputError("turns", turns, "left out when a squeeze is given", "give one of the two")
    if form.thread is None:
        raise InputError("turns", turns, "used with a thread", "give the part its thread, such as M3")
    pitch = pitch_mm(form.thread)
    return pitch * checked_number("turns", turns, 0.0, end / pitch, "turns (half the height of both halves)")


def _as_a_pair(part: Part) -> str:
    """How to describe a part as a pair."""
    if part.form.as_half is None:
        return "only a grommet-pair is squeezed by its screw from both sides"
    thread = f" --thread {part.thread}" if part.thread else " --thread M3"
    return (
        f'describe both halves: matdb part add "{part.name} pair" --material "{part.material}" --form grommet-pair '
        f'--lower "{part.form.as_half}"{thread}'
    )


def _band(values: Array, known: NDArray[np.bool_]) -> Band:
    """Band over the draws that have an answer; nan where fewer than half have."""
    if known.all():
        return band(values)
    ends = np.full((3, values.shape[1]), np.nan)
    for k in range(values.shape[1]):
        if known[:, k].mean() >= 0.5:
            found = band(values[known[:, k], k])
            ends[:, k] = found.median, found.low, found.high
    return Band(*ends)


def _turns(turns: float | None, thread: str | None) -> str:
    return "" if turns is None else f" ({turns:.2f} turns of {thread})"


def _percent(share: float) -> str:
    return "below 1%" if 0.0 < share < 0.01 else "above 99%" if 0.99 < share < 1.0 else f"{share:.0%}"
