"""How far to turn the screw of a two-part grommet: the squeeze of :mod:`matdb.mounting.squeeze` over posterior draws.

Every draw of the material's curve has its own least squeeze (no half lifts off at any load factor and temperature) and
its own most (no half is strained beyond the limit). What is recommended is the squeeze that the one judge
(:mod:`matdb.advice.judge`) finds best; one that holds in fewer than half of the draws is told as the best compromise,
with what it violates. Halves rest under the slow modulus (ten minutes); the mass swings on the modulus at its natural
frequency, solved for each draw.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from matdb.advice.effective import state_warnings, suspended, worst_first
from matdb.advice.exposure import Temperatures, exposure
from matdb.advice.judge import judge
from matdb.advice.judgement import Judgement
from matdb.advice.requirement import Candidate
from matdb.advice.summary import against_it
from matdb.advice.verdict import reason
from matdb.arrays import Array, Flags
from matdb.checks import checked_number
from matdb.curve.band import Band, band
from matdb.errors import InputError
from matdb.fields import PlainRecord
from matdb.form.base import MAX_SQUEEZE_SHARE
from matdb.form.grommet_pair import GrommetPair
from matdb.form.part import Part
from matdb.form.thread import pitch_mm
from matdb.mounting.record import Mounting
from matdb.mounting.squeeze import (
    CREEP_STRAIN,
    SQUEEZE_STRAIN,
    least_squeeze,
    lift_off_load_factors,
    most_squeeze,
    spacer_warnings,
    squeeze_state,
)
from matdb.mounting.suspended import ln_storage
from matdb.units import percent

#: Up to this share of the height a squeeze counts as at or just past first touch; common practice, no source.
_TOUCH_SHARE: Final = 0.04
#: From this share on the payload is called heavy; half of what strain allows.
_HEAVY_SHARE: Final = 0.12
#: A squeeze that holds in fewer draws than this is not recommended, only told as the best compromise.
_LIKELY: Final = 0.5
#: The name of that point.
_POOR: Final = "best compromise"
#: Rotors so fast that nothing has to be isolated from them.
_NO_ROTOR_RPM: Final = 500000.0


@dataclass(frozen=True, kw_only=True, eq=False)
class SqueezePoint(PlainRecord):
    """The pair at one squeeze, at a few temperatures.

    Attributes
    ----------
    name : str
        "least", "recommended" or "best compromise", "most", "asked", or "spacer": where the pair's spacer stops
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
    against : str
        What is against it, in a few words, where it hardly holds.
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
    against: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Squeeze(PlainRecord):
    """How far to turn the screw, and why.

    Attributes
    ----------
    part : str
        The part's name.
    mass_kg, count, load_factors, assembly_c, set_share
        What was asked.
    thread : str or None
        The screw.
    basis : str
        "readings" or "family prior".
    least_mm, most_mm : Band
        Over the draws: least squeeze without lift-off once set and creep took their share, and most by strain, 0 where
        the load alone strains a half beyond the limit.
    recommended_mm : float or None
        The squeeze to use; None when none holds with a probability of at least a half.
    best_of_poor_mm : float or None
        Where none can be recommended, the best compromise.
    feasible : bool
        Whether the recommended squeeze holds in 95 % of the draws.
    points : tuple of SqueezePoint
        At the recommended squeeze or the best compromise, and at the asked one or the spacer's.
    reason : str
        What decides at the first of them.
    reasons, warnings : tuple of str
        Why this much and what cold and warmth do; what to beware of.
    """

    part: str
    mass_kg: float
    count: int
    load_factors: tuple[float, float]
    assembly_c: float
    set_share: float
    thread: str | None
    basis: str
    least_mm: Band
    most_mm: Band
    rests_on: str
    recommended_mm: float | None
    best_of_poor_mm: float | None
    feasible: bool
    points: tuple[SqueezePoint, ...]
    reason: str
    reasons: tuple[str, ...]
    warnings: tuple[str, ...]

    def point(self, name: str) -> SqueezePoint | None:
        """The point of that name; None where there is none."""
        return next((p for p in self.points if p.name == name), None)


def squeeze(
    candidate: Candidate,
    mounting: Mounting,
    temperature_c: Temperatures,
    *,
    squeeze_mm: float | None = None,
    turns: float | None = None,
) -> Squeeze:
    """Advise the squeeze of two halves under a screw, or tell what a given one does.

    What is recommended is what :func:`matdb.advice.judge.judge` finds best among quarter turns.

    Parameters
    ----------
    candidate : Candidate
        The part, a form in two halves, its material and curve.
    mounting : Mounting
        Payload, count, load factors, limits, set and creep, and what the picture asks; see :func:`carried` for a
        payload alone.
    temperature_c : array_like, Forecast or Flight
        Temperatures of the flight, degrees Celsius.
    squeeze_mm, turns : float, optional
        A squeeze to look at, from first touch, in mm or in turns of the thread. Without either, the squeeze at which
        the spacer stops the screw, if there is one.

    Raises
    ------
    InputError
        The part has no two halves, turns without a thread, or a value out of range.

    References
    ----------
    The physics and its sources: :mod:`matdb.mounting.squeeze`.
    """
    part = candidate.part
    form, asked = halves_of(part, squeeze_mm, turns)
    exposed = exposure([(part, candidate.material)], temperature_c)
    given = [each for each in (asked, form.fixed_squeeze_mm) if each is not None]
    tried = {*replace(form, spacer_mm=None).squeezes_to_try("axial"), *given}
    (judged,) = judge([candidate], mounting, exposed, squeeze_mm=sorted(tried), every_squeeze=True)
    return _Bench(candidate, form, {each.squeeze_mm: each for each in judged}).answer(asked)


def halves_of(part: Part, squeeze_mm: float | None, turns: float | None) -> tuple[GrommetPair, float | None]:
    """The two halves of a part, its thread with them, and the squeeze to look at in mm. Raises as :func:`squeeze`."""
    form = part.form.pair
    if form is None:
        raise InputError("part", part.name, "a grommet-pair: two halves that a screw squeezes", _as_a_pair(part))
    if form.thread is None and part.thread is not None:
        form = replace(form, thread=part.thread)
    return form, _asked(form, squeeze_mm, turns)


def carried(mass_kg: float, count: int, load_factors: tuple[float, float], **more: Any) -> Mounting:
    """A mounting that asks of the craft alone: a payload without rotors, so that no picture is judged."""
    return Mounting(
        name="payload",
        mass_kg=mass_kg,
        count=count,
        rpm_idle=_NO_ROTOR_RPM,
        rpm_full=_NO_ROTOR_RPM,
        manoeuvre_hz=0.0,
        load_factors=load_factors,
        **more,
    )


@dataclass(eq=False)
class _Bench:
    """One case over all draws, and what the judge says of every squeeze."""

    candidate: Candidate
    pair: GrommetPair
    judged: dict[float, Judgement]

    def __post_init__(self) -> None:
        any_squeeze = next(iter(self.judged.values()))
        judge = self.judge = any_squeeze.judge
        self.curve, self.material, self.part = any_squeeze.candidate.curve, self.candidate.material, self.candidate.part
        self.offset = any_squeeze.offset
        assert any_squeeze.halves is not None
        self.case = replace(any_squeeze.halves.cases[judge.payload.heavy.mass_kg], pair=self.pair)
        self.t = self.case.temperature_c
        self.end = MAX_SQUEEZE_SHARE * self.pair.squeezable_height_mm
        # Where a half would be squeezed beyond half its height, no squeeze is enough.
        self.settled = np.nan_to_num(least_squeeze(self.case), nan=np.inf)
        self.most = most_squeeze(self.case)
        near = int(np.argmin(np.abs(self.t - self.case.assembly_c)))
        self.shown = np.unique([0, near, len(self.t) - 1])

    def answer(self, asked_mm: float | None) -> Squeeze:
        pair = self.pair
        least = band(np.minimum(self.settled.max(axis=1), self.end))
        most = band(np.clip(self.most.min(axis=1), 0.0, self.end))
        found = min((j for q, j in self.judged.items() if q > 0.0), key=lambda each: each.squeeze_key)
        best, name = found.squeeze_mm, "recommended" if found.probability >= _LIKELY else _POOR
        given = ("asked", asked_mm) if asked_mm is not None else ("spacer", pair.fixed_squeeze_mm)
        points = tuple(self.point(name, q) for name, q in ((name, best), given) if q is not None)
        chosen = points[0]
        return Squeeze(
            part=self.part.name,
            mass_kg=self.case.payload_kg,
            count=self.case.count,
            load_factors=self.case.load_factors,
            assembly_c=self.case.assembly_c,
            set_share=self.case.set_share,
            thread=pair.thread,
            basis=self.curve.basis,
            least_mm=least,
            most_mm=most,
            rests_on=self.curve.rests_on(self.part.name, float(self.t[0]), float(self.t[-1])),
            recommended_mm=None if name == _POOR else best,
            best_of_poor_mm=best if name == _POOR else None,
            feasible=chosen.holds >= 0.95,
            points=points,
            reason=reason(found),
            reasons=(*self.reasons(chosen), *self.in_cold_and_warmth(chosen)),
            warnings=self.warnings(*points),
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
        judged = self.judgement(squeeze_mm)
        chance = {each.name: each.probability for each in judged.requirements}
        pair = self.pair
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
            holds=judged.probability,
            too_little=1.0 - chance["lift-off"],
            too_much=1.0 - chance["strain"],
            against=against_it(judged.deciding, judged.all_directions) if judged.probability < 0.5 else "",
        )

    # -- words ---------------------------------------------------------------------------------------------

    def reasons(self, chosen: SqueezePoint) -> list[str]:
        case = self.case
        low, high = case.load_factors
        height = case.pair.squeezable_height_mm
        at = f"{chosen.squeeze_mm:.2f} mm{_turns(chosen.turns, case.pair.thread)}"
        if chosen.name == _POOR:
            judged = self.judgement(chosen.squeeze_mm)
            broken = [each for each in judged.requirements if each.probability < _LIKELY] or [judged.deciding]
            what = ", ".join(f"{each.name} ({percent(1.0 - each.probability, '%')} likely)" for each in broken)
            out = [f"no squeeze holds everything; {at} is the best compromise and fails in {what}"]
            if judged.deciding.margin > -0.99:
                factor = (1.0 + judged.deciding.margin) ** (2.0 if judged.deciding.stiff else -1.0)
                much = f"{factor:.2g} times as stiff" if abs(factor - 1.0) > 0.05 else "a little stiffer or softer"
                out.append(f"a grommet {much} would hold that: another size, softness or number")
            return out
        # What the likeliest material would need tells whether the payload is light; doubt only adds to it.
        middle = float(np.median(np.minimum(self.settled.max(axis=1), self.end)))
        if middle <= _TOUCH_SHARE * height:
            further = min(chosen.squeeze_mm + 0.05 * height, self.end)
            near, at_c = self._near(chosen)
            now, more = (p.natural_frequency_hz.median[near] for p in (chosen, self.point("further", further)))
            out = [
                f"a light payload for these halves: at or just past first touch both stay in touch from {low:g} to "
                f"{high:g} g; stop at {at}",
                f"{further - chosen.squeeze_mm:.2f} mm more would only stiffen it, from {now:.1f} to {more:.1f} Hz at "
                f"{at_c:g} degC",
            ]
        else:
            much = "heavy" if middle > _HEAVY_SHARE * height else "middling"
            out = [
                f"a {much} payload for these halves: at {high:g} g it presses the lower half so far that with less "
                f"squeeze the upper one lifts off; go to {at}"
            ]
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
            moves, gains, of = ("shrinks", "takes", "of") if gone >= 0.0 else ("grows", "adds", "to")
            text = (
                f"at {t:g} degC it is {stiff[k] / stiff[near]:.2f} times as stiff as at {at:g} degC "
                f"({hertz[k]:.1f} Hz instead of {hertz[near]:.1f}); the rubber {moves}, which {gains} "
                f"{abs(gone):.2f} mm {of} the squeeze"
            )
            if t == worst and need.max() > need.min() + 0.005:
                text += "; lift-off threatens here first"
            out.append(text)
        return out

    def warnings(self, chosen: SqueezePoint, asked: SqueezePoint | None = None) -> tuple[str, ...]:
        case = self.case
        low, high = case.load_factors
        out = []
        if chosen.holds < 0.95:
            which = "best compromise" if chosen.name == _POOR else "recommended squeeze"
            decides = reason(self.judgement(chosen.squeeze_mm))
            out.append(f"the {which} holds with a probability of {percent(chosen.holds, '%')} only: {decides}")
        if asked is not None and asked.holds < 0.95:
            at = f"{asked.squeeze_mm:.2f} mm{_turns(asked.turns, case.pair.thread)}"
            if asked.too_little >= asked.too_much:
                out.append(
                    f"at {at} a half lifts off between {low:g} and {high:g} g with a probability of "
                    f"{percent(asked.too_little, '%')}: the stiffness falls to the other half's and it rattles"
                )
            else:
                out.append(
                    f"at {at} a half is strained beyond {case.strain_limit:.0%} of its height with a probability of "
                    f"{percent(asked.too_much, '%')}: rubber does not last like that"
                )
        for point in filter(None, (chosen, asked)):
            strain = float(np.max(np.nan_to_num(np.asarray(point.strain.median)), initial=0.0))
            if strain > CREEP_STRAIN:
                text = f"above {CREEP_STRAIN:.0%} it creeps noticeably"
                if strain > SQUEEZE_STRAIN:
                    text = f"above {SQUEEZE_STRAIN:.0%} rubber does not last"
                out.append(f"at {point.squeeze_mm:.2f} mm a half is squeezed by {strain:.0%} of its height; {text}")
        reach = sum(half.squeeze_reach_mm for half in case.pair.halves)
        if chosen.squeeze_mm > reach:
            out.append(f"beyond {reach:.2f} mm of squeeze the force is extrapolated")
        out.extend(spacer_warnings(case.pair, min(chosen.squeeze_mm, self.end)))
        out.append("check the turns again after 24 hours and once in the cold: set and creep take some of the squeeze")
        t = self.t[self.shown]
        hertz = np.nan_to_num(chosen.natural_frequency_hz.median, nan=30.0)
        out.extend(state_warnings(self.curve, self.material, self.part, t, hertz, axis="axial", squeeze_mm=0.0))
        return worst_first(out)

    def judgement(self, squeeze_mm: float) -> Judgement:
        """What the judge says of the nearest squeeze that was tried."""
        return self.judged[min(self.judged, key=lambda q: abs(q - squeeze_mm))]

    def _near(self, point: SqueezePoint) -> tuple[int, float]:
        """The shown temperature that is nearest to assembly."""
        k = int(np.argmin(np.abs(point.temperature_c - self.case.assembly_c)))
        return k, float(point.temperature_c[k])


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


def _band(values: Array, known: Flags) -> Band:
    """Band over the draws that have an answer; nan where fewer than half have."""
    none = Band(np.nan, np.nan, np.nan)
    columns = [band(v[k]) if k.mean() >= 0.5 else none for v, k in zip(values.T, known.T, strict=True)]
    return Band.joined(columns)


def _turns(turns: float | None, thread: str | None) -> str:
    return "" if turns is None else f" ({turns:.2f} turns of {thread})"
