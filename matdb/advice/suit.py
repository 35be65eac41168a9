"""Which isolator suits: every candidate against the frequency window over a span of temperatures."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matdb.advice.effective import ln_scale_draws, state_warnings, suspended
from matdb.curve.band import Band, band
from matdb.curve.curve import FAMILY_PRIOR, Curve, checked_state
from matdb.errors import InputError
from matdb.form.part import Part
from matdb.material.record import Material
from matdb.mounting.one_axis import FOLLOW_LEAST, GRAVITY_M_S2, ISOLATION_LEAST, window_limits
from matdb.mounting.record import Mounting

__all__ = ["VERDICTS", "Candidate", "State", "Suitability", "suit", "temperatures_between", "verdict"]

Array = NDArray[np.float64]

#: Verdict words with the least probability that earns each; the words are explained in the README.
VERDICTS: Final = (
    (0.95, "suits"),
    (0.75, "probably suits"),
    (0.25, "open"),
    (0.05, "probably not"),
    (0.0, "does not suit"),
)
#: Static compression over this share of the height is warned of; common practice, no source.
STATIC_SHARE_MOST: Final = 0.15
_STATIC_HZ: Final = 1.0 / (2.0 * math.pi * 600.0)
_STEP_K: Final = 1.0
_MOST_TEMPERATURES: Final = 181


@dataclass(frozen=True, eq=False)
class Candidate:
    """A part with its material and its material's curve."""

    part: Part
    material: Material
    curve: Curve


@dataclass(frozen=True, kw_only=True)
class State:
    """The suspended camera at one temperature."""

    temperature_c: float
    natural_frequency_hz: Band
    damping_ratio: Band
    transmissibility: Band
    probability: float

    def to_dict(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "temperature_c": self.temperature_c,
            "natural_frequency_hz": self.natural_frequency_hz.to_dict(),
            "damping_ratio": self.damping_ratio.to_dict(),
            "transmissibility_at_lowest_rotor_order": self.transmissibility.to_dict(),
            "probability_in_window": self.probability,
        }


@dataclass(frozen=True, kw_only=True)
class Suitability:
    """One row of the ranking.

    Attributes
    ----------
    rank : int
        From 1; parts that cannot be told apart share one.
    part, material, basis : str
        What was judged, and what the answer rests on.
    verdict : str
        One of the words of ``VERDICTS``; never to be shown without ``probability``.
    probability : float
        That the natural frequency stays inside the window at every temperature asked for.
    share_of_temperatures : float
        Expected share of the temperatures (or hours) spent inside.
    cold, warm, worst : State
        At both ends, and where the probability is least.
    isolation_margin, follow_margin : float
        Median worst ratio over the least one allowed, minus 1, on either side of the window.
    reason : str
        One sentence.
    warnings : tuple of str
        What to know first.
    """

    rank: int
    part: str
    material: str
    basis: str
    verdict: str
    probability: float
    share_of_temperatures: float
    cold: State
    warm: State
    worst: State
    isolation_margin: float
    follow_margin: float
    reason: str
    warnings: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        values = {k: getattr(self, k) for k in self.__dataclass_fields__}
        for name in ("cold", "warm", "worst"):
            values[name] = values[name].to_dict()
        values["warnings"] = list(self.warnings)
        return values


def verdict(probability: float) -> str:
    """The word for a probability."""
    return next(word for least, word in VERDICTS if probability >= least)


def temperatures_between(low_c: float, high_c: float) -> Array:
    """Temperatures from low to high in steps of at most 1 K (coarser for very wide ranges).

    Raises
    ------
    InputError
        Not a temperature, or low above high.
    """
    checked_state(np.array([low_c, high_c], dtype=float), 1.0)
    if low_c > high_c:
        raise InputError("temperature range", f"{low_c:g} to {high_c:g} degC", "from the lower to the higher")
    n = min(max(math.ceil((high_c - low_c) / _STEP_K), 1) + 1, _MOST_TEMPERATURES)
    return np.linspace(low_c, high_c, n) if high_c > low_c else np.array([low_c])


def suit(
    candidates: Sequence[Candidate],
    mounting: Mounting,
    temperature_c: ArrayLike,
    *,
    squeeze_mm: float = 0.0,
    axis: str = "axial",
) -> list[Suitability]:
    """Rank isolators for a mounting over temperatures.

    Parameters
    ----------
    candidates : sequence of Candidate
        In any order; the ranking does not depend on it, nor on names.
    mounting : Mounting
        Payload, number of isolators, rotors, manoeuvre band.
    temperature_c : array_like, shape (hours,)
        Temperatures that the camera will be flown at, degrees Celsius.
    squeeze_mm : float
        Static squeeze of each part.
    axis : str
        Axis of the parts that carries the motion.

    Returns
    -------
    list of Suitability
        Best first: by probability of staying inside the window, then by the smaller of the two margins, then by
        transmissibility at the lowest rotor order.

    Raises
    ------
    InputError
        A temperature out of range.
    """
    hours, _ = checked_state(np.atleast_1d(np.asarray(temperature_c, dtype=float)), 1.0)
    if not hours.size:
        raise InputError("temperature_c", "nothing", "at least one temperature")
    steps, repeats = np.unique(hours, return_counts=True)
    judged = [_judge(each, mounting, steps, repeats, squeeze_mm, axis) for each in candidates]
    judged.sort(key=lambda pair: (*pair[0], pair[1].part))
    ranked = []
    rank = 0
    for place, (key, row) in enumerate(judged):
        if not place or key != judged[place - 1][0]:
            rank = place + 1
        ranked.append(Suitability(**({k: getattr(row, k) for k in row.__dataclass_fields__} | {"rank": rank})))
    return ranked


def _judge(
    candidate: Candidate,
    mounting: Mounting,
    steps: Array,
    repeats: NDArray[np.int64],
    squeeze_mm: float,
    axis: str,
) -> tuple[tuple[float, ...], Suitability]:
    part, curve = candidate.part, candidate.curve
    scale = ln_scale_draws(curve, part, axis, squeeze_mm, mounting.count)
    state = suspended(curve, scale, mounting.mass_kg, steps)
    rotor = mounting.lowest_rotor_hz
    low_hz, high_hz = window_limits(rotor, mounting.manoeuvre_hz)
    f = state.frequency_hz
    inside = (f >= low_hz) & (f <= high_hz)
    by_step = inside.mean(axis=0)
    # At the rotor's frequency the modulus is another one than at resonance.
    ln_k = curve.ln_modulus(steps, np.full(steps.shape, math.log(2.0 * math.pi * rotor))) + scale[:, None]
    k = np.exp(ln_k)
    through = np.abs(k) / np.abs(k - mounting.mass_kg * (2.0 * math.pi * rotor) ** 2 * 1e-3)
    worst = int(np.argmin(by_step + 1e-9 * _margins(f, low_hz, high_hz)))
    zeta = state.damping_ratio

    def at(step: int) -> State:
        return State(
            temperature_c=float(steps[step]),
            natural_frequency_hz=band(f[:, step]),
            damping_ratio=band(zeta[:, step]),
            transmissibility=band(through[:, step]),
            probability=float(by_step[step]),
        )

    probability = float(inside.all(axis=1).mean())
    isolation = float(np.median(high_hz / f.max(axis=1))) - 1.0
    follow = float(np.median(f.min(axis=1) / low_hz)) - 1.0 if low_hz > 0 else math.inf
    row = Suitability(
        rank=0,
        part=part.name,
        material=candidate.material.name,
        basis=curve.basis,
        verdict=verdict(probability),
        probability=probability,
        share_of_temperatures=float(np.average(by_step, weights=repeats)),
        cold=at(0),
        warm=at(len(steps) - 1),
        worst=at(worst),
        isolation_margin=isolation,
        follow_margin=min(follow, 1e6),
        reason=_reason(at(worst), probability, low_hz, high_hz, rotor, mounting, curve),
        warnings=_warnings(candidate, mounting, steps, f, scale, axis, squeeze_mm, rotor),
    )
    key = (
        -round(probability, 9),
        -round(min(isolation, follow), 9),
        round(float(np.median(through.max(axis=1))), 9),
        round(float(np.median(f)), 9),
    )
    return key, row


def _margins(f: Array, low_hz: float, high_hz: float) -> Array:
    """Median distance to the nearer end of the window, ln; breaks ties between equally probable hours."""
    return np.asarray(np.median(np.minimum(np.log(high_hz / f), np.log(f / max(low_hz, 1e-9))), axis=0))


def _reason(
    worst: State,
    probability: float,
    low_hz: float,
    high_hz: float,
    rotor: float,
    mounting: Mounting,
    curve: Curve,
) -> str:
    f, t = worst.natural_frequency_hz, worst.temperature_c
    if low_hz > high_hz:
        return (
            f"no natural frequency does both: following needs at least {low_hz:.3g} Hz, "
            f"isolating from {rotor:.3g} Hz at most {high_hz:.3g} Hz"
        )
    where = f"{f.median:.3g} Hz ({f.low:.3g} to {f.high:.3g}) at {t:.3g} degC"
    unsure = " as far as the family prior tells; one ring-down would settle it" if curve.basis == FAMILY_PRIOR else ""
    if f.median > high_hz:
        return f"too stiff: {where}, above the {high_hz:.3g} Hz that isolate from {rotor:.3g} Hz{unsure}"
    if f.median < low_hz:
        return (
            f"too soft: {where}, below {FOLLOW_LEAST:g} times the {mounting.manoeuvre_hz:.3g} Hz manoeuvre band{unsure}"
        )
    near = "stiff" if high_hz / f.median < f.median / max(low_hz, 1e-9) else "soft"
    if probability >= VERDICTS[0][0]:
        return f"inside {low_hz:.3g} to {high_hz:.3g} Hz throughout; nearest to its {near} end with {where}"
    return f"the band reaches past the {near} end of {low_hz:.3g} to {high_hz:.3g} Hz: {where}{unsure}"


def _warnings(
    candidate: Candidate,
    mounting: Mounting,
    steps: Array,
    f: Array,
    scale: Array,
    axis: str,
    squeeze_mm: float,
    rotor: float,
) -> tuple[str, ...]:
    part, curve = candidate.part, candidate.curve
    middle = np.median(f, axis=0)
    found = list(state_warnings(curve, candidate.material, part, steps, middle, axis=axis, squeeze_mm=squeeze_mm))
    if rotor / float(middle.max()) < ISOLATION_LEAST:
        found.append(
            f"rotor to natural frequency falls to {rotor / float(middle.max()):.2g}, below {ISOLATION_LEAST:g}"
        )
    if float(middle.min()) <= mounting.manoeuvre_hz:
        found.append("the natural frequency lies inside the manoeuvre band")
    height = part.form.squeezable_height_mm
    if height and axis == "axial":
        ends = np.array([steps[0], steps[-1]])
        k = np.exp(
            np.median(
                (curve.ln_modulus(ends, np.full(2, math.log(2 * math.pi * _STATIC_HZ))).real + scale[:, None]),
                axis=0,
            )
        )
        sag = mounting.mass_kg * GRAVITY_M_S2 / float(k.min())
        if sag > STATIC_SHARE_MOST * height:
            found.append(f"sags {sag:.2g} mm under the payload, more than 15 % of its height: creep and set")
    return tuple(dict.fromkeys(found))
