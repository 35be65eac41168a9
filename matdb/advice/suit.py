"""Which isolator suits: every candidate against the frequency window over a span of temperatures."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matdb.advice.effective import ln_scale_draws, service_range, state_warnings, suspended
from matdb.advice.table import NaturalTable
from matdb.curve.band import Band, band
from matdb.curve.curve import FAMILY_PRIOR, Curve, checked_state
from matdb.errors import InputError
from matdb.form.part import Part
from matdb.material.record import Material
from matdb.mounting.one_axis import FOLLOW_LEAST, GRAVITY_M_S2, ISOLATION_LEAST, window_limits
from matdb.mounting.record import Mounting

__all__ = [
    "VERDICTS",
    "Candidate",
    "Score",
    "State",
    "Suitability",
    "score",
    "squeezes",
    "suit",
    "temperature_steps",
    "temperatures_between",
    "verdict",
]

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
#: A payload that hangs for ten minutes speaks for this frequency.
STATIC_HZ: Final = 1.0 / (2.0 * math.pi * 600.0)
#: Manoeuvre loads last a good part of a second.
MANOEUVRE_LOAD_HZ: Final = 1.0
#: Squeeze and travel together should stay within this share of the height; common practice, no source.
TRAVEL_SHARE_MOST: Final = 0.25
#: Squeezes that are tried when none is asked for, as shares of the height.
SQUEEZE_SHARES: Final = (0.0, 0.05, 0.10, 0.15, 0.20)
_COARSE_K: Final = 0.5
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
    squeeze_mm : float
        The static squeeze judged: the one asked for, or the best of those tried.
    isolation_margin, follow_margin : float
        Median worst ratio over the least one allowed, minus 1, on either side of the window.
    travel_margin : float or None
        Room for travel at the greatest load factor over the travel, minus 1; None without a height.
    service_margin_k : float
        Kelvin to the nearer end of the service range; below 0 outside.
    settle : str
        The reading that would settle an open verdict; empty when it is settled.
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
    squeeze_mm: float
    isolation_margin: float
    follow_margin: float
    travel_margin: float | None
    service_margin_k: float
    reason: str
    settle: str
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
    squeeze_mm: float | None = None,
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
        Temperatures that the camera will be flown at, degrees Celsius; one an hour when hours are to be counted.
    squeeze_mm : float or None
        Static squeeze of each part; None tries several and keeps the best for each part.
    axis : str
        Axis of the parts that carries the motion.

    Returns
    -------
    list of Suitability
        Best first: by probability of staying inside the window throughout, then by the expected share of hours
        inside, then by the smaller of the two margins, then by transmissibility at the lowest rotor order.

    Raises
    ------
    InputError
        A temperature out of range.
    """
    steps, repeats = temperature_steps(temperature_c)
    scores = score(candidates, mounting, steps, repeats, squeeze_mm=squeeze_mm, axis=axis)
    judged = [_describe(each, mounting, steps, axis) for each in scores]
    judged.sort(key=lambda pair: (*pair[0], pair[1].part))
    ranked: list[Suitability] = []
    for place, (key, row) in enumerate(judged):
        same = place and key == judged[place - 1][0]
        ranked.append(dataclasses.replace(row, rank=ranked[-1].rank if same else place + 1))
    return ranked


def temperature_steps(temperature_c: ArrayLike) -> tuple[Array, NDArray[np.int64]]:
    """Distinct temperatures and how many hours each stands for; long records are rounded to 0.5 K.

    Raises
    ------
    InputError
        No temperature, or one out of range.
    """
    hours, _ = checked_state(np.atleast_1d(np.asarray(temperature_c, dtype=float)).reshape(-1), 1.0)
    if not hours.size:
        raise InputError("temperature_c", "nothing", "at least one temperature")
    steps, repeats = np.unique(hours, return_counts=True)
    if steps.size > _MOST_TEMPERATURES:
        steps, repeats = np.unique(np.round(hours / _COARSE_K) * _COARSE_K, return_counts=True)
    return steps, repeats


@dataclass(frozen=True, eq=False)
class Score:
    """A candidate at one squeeze against the window: what ranking and choosing need.

    ``by_step`` is the probability of being inside at each temperature, shape (steps,).
    """

    candidate: Candidate
    squeeze_mm: float
    by_step: Array
    probability: float
    share: float
    isolation_margin: float
    follow_margin: float
    worst: int

    @property
    def key(self) -> tuple[float, ...]:
        """Better is smaller."""
        return (
            -round(self.probability, 9),
            -round(self.share, 9),
            -round(min(self.isolation_margin, self.follow_margin), 9),
        )


def score(
    candidates: Sequence[Candidate],
    mounting: Mounting,
    steps: Array,
    repeats: NDArray[np.int64],
    *,
    squeeze_mm: float | None = None,
    axis: str = "axial",
    every_squeeze: bool = False,
) -> list[Score]:
    """Judge candidates in one pass a material; see :func:`suit`.

    Parameters
    ----------
    candidates, mounting, squeeze_mm, axis
        As :func:`suit`.
    steps, repeats : ndarray, shape (steps,)
        From :func:`temperature_steps`.
    every_squeeze : bool
        True gives every squeeze that was tried, not only the best of each part.
    """
    low_hz, high_hz = window_limits(mounting.lowest_rotor_hz, mounting.manoeuvre_hz)
    ln_window = (math.log(max(low_hz, 1e-6)), math.log(high_hz))
    tables: dict[int, NaturalTable] = {}
    found: list[Score] = []
    for candidate in candidates:
        curve = candidate.curve
        table = tables.get(id(curve))
        if table is None:
            table = tables[id(curve)] = NaturalTable(curve, steps)
        mine = [
            _score(candidate, table, mounting, repeats, squeeze, axis, ln_window)
            for squeeze in ([squeeze_mm] if squeeze_mm is not None else squeezes(candidate.part, axis))
        ]
        found.extend(mine if every_squeeze else [min(mine, key=lambda each: (*each.key, each.squeeze_mm))])
    return found


def squeezes(part: Part, axis: str) -> list[float]:
    """Squeezes in mm to try on a part: none, and up to a fifth of its height where it has one."""
    height = part.form.squeezable_height_mm
    if height is None or axis != "axial":
        return [0.0]
    return [round(share * height, 6) for share in SQUEEZE_SHARES]


def _score(
    candidate: Candidate,
    table: NaturalTable,
    mounting: Mounting,
    repeats: NDArray[np.int64],
    squeeze_mm: float,
    axis: str,
    ln_window: tuple[float, float],
) -> Score:
    scale = ln_scale_draws(candidate.curve, candidate.part, axis, squeeze_mm, mounting.count)
    ln_f = table.ln_frequency(scale + math.log(1e3 / mounting.mass_kg))
    # A hair of slack, so that a natural frequency exactly on a limit counts as inside.
    low, high = ln_window[0] - 1e-9, ln_window[1] + 1e-9
    inside = (ln_f >= low) & (ln_f <= high)
    by_step = inside.mean(axis=0)
    margin = np.median(np.minimum(high - ln_f, ln_f - low), axis=0)
    return Score(
        candidate=candidate,
        squeeze_mm=squeeze_mm,
        by_step=by_step,
        probability=float(inside.all(axis=1).mean()),
        share=float(np.average(by_step, weights=repeats)),
        isolation_margin=float(np.expm1(np.median(high - ln_f.max(axis=1)))),
        follow_margin=float(np.expm1(min(np.median(ln_f.min(axis=1) - low), 30.0))),
        # Among equally probable hours, the one nearest to an end of the window.
        worst=int(np.argmin(by_step + 1e-6 * margin)),
    )


def _describe(found: Score, mounting: Mounting, steps: Array, axis: str) -> tuple[tuple[float, ...], Suitability]:
    """The full row of a score: exact bands at both ends and at the worst hour."""
    part, curve = found.candidate.part, found.candidate.curve
    rotor = mounting.lowest_rotor_hz
    low_hz, high_hz = window_limits(rotor, mounting.manoeuvre_hz)
    at = np.array([0, len(steps) - 1, found.worst])
    scale = ln_scale_draws(curve, part, axis, found.squeeze_mm, mounting.count)
    state = suspended(curve, scale, mounting.mass_kg, steps[at])
    # At the rotor's frequency the modulus is another one than at resonance.
    k = np.exp(curve.ln_modulus(steps[at], np.full(3, math.log(2.0 * math.pi * rotor))) + scale[:, None])
    through = np.abs(k) / np.abs(k - mounting.mass_kg * (2.0 * math.pi * rotor) ** 2 * 1e-3)
    zeta = state.damping_ratio
    cold, warm, worst = (
        State(
            temperature_c=float(steps[step]),
            natural_frequency_hz=band(state.frequency_hz[:, k]),
            damping_ratio=band(zeta[:, k]),
            transmissibility=band(through[:, k]),
            probability=float(found.by_step[step]),
        )
        for k, step in enumerate(at)
    )
    low_c, high_c = service_range(found.candidate.material)
    travel = _travel_margin(found, mounting, steps[at[:2]], scale, axis)
    row = Suitability(
        rank=0,
        part=part.name,
        material=found.candidate.material.name,
        basis=curve.basis,
        verdict=verdict(found.probability),
        probability=found.probability,
        share_of_temperatures=found.share,
        cold=cold,
        warm=warm,
        worst=worst,
        squeeze_mm=found.squeeze_mm,
        isolation_margin=found.isolation_margin,
        follow_margin=found.follow_margin,
        travel_margin=travel,
        service_margin_k=float(min(steps[0] - low_c, high_c - steps[-1])),
        reason=_reason(worst, found.probability, low_hz, high_hz, rotor, mounting, curve),
        settle=_settle(found, worst, mounting),
        warnings=_warnings(found, mounting, steps, (cold, warm, worst), travel, axis, rotor),
    )
    key = (
        *found.key,
        round(max(s.transmissibility.median for s in (cold, warm, worst)), 9),
        round(worst.natural_frequency_hz.median, 9),
    )
    return key, row


def _travel_margin(found: Score, mounting: Mounting, ends_c: Array, scale: Array, axis: str) -> float | None:
    """Room for travel over the travel at the greatest load factor, minus 1, at the softer end."""
    height = found.candidate.part.form.squeezable_height_mm
    if height is None or axis != "axial":
        return None
    ln_e = found.candidate.curve.ln_modulus(ends_c, np.full(ends_c.shape, math.log(2.0 * math.pi * MANOEUVRE_LOAD_HZ)))
    stiffness = float(np.exp(np.median(ln_e.real + scale[:, None], axis=0)).min())
    load = max(abs(f) for f in mounting.load_factors)
    travel = load * mounting.mass_kg * GRAVITY_M_S2 / stiffness
    room = max(TRAVEL_SHARE_MOST * height - found.squeeze_mm, 0.0)
    return room / travel - 1.0


def _settle(found: Score, worst: State, mounting: Mounting) -> str:
    if found.probability >= VERDICTS[0][0] or found.probability < VERDICTS[-2][0]:
        return ""
    grams = 1e3 * mounting.mass_kg / mounting.count
    return (
        f"a ring-down of {found.candidate.part.name} at {worst.temperature_c:.3g} degC under {grams:.3g} g "
        "(one isolator's share) would settle it"
    )


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
    found: Score,
    mounting: Mounting,
    steps: Array,
    states: tuple[State, ...],
    travel: float | None,
    axis: str,
    rotor: float,
) -> tuple[str, ...]:
    part, curve = found.candidate.part, found.candidate.curve
    at = np.array([s.temperature_c for s in states])
    natural = np.array([s.natural_frequency_hz.median for s in states])
    said = list(
        state_warnings(curve, found.candidate.material, part, at, natural, axis=axis, squeeze_mm=found.squeeze_mm)
    )
    if rotor / float(natural.max()) < ISOLATION_LEAST:
        said.append(
            f"rotor to natural frequency falls to {rotor / float(natural.max()):.2g}, below {ISOLATION_LEAST:g}"
        )
    if float(natural.min()) <= mounting.manoeuvre_hz:
        said.append("the natural frequency lies inside the manoeuvre band")
    if travel is not None and travel < 0.0:
        said.append(
            f"bottoms out: at load factor {max(mounting.load_factors, key=abs):g} it needs more travel than it has"
        )
    height = part.form.squeezable_height_mm
    if height and axis == "axial":
        scale = ln_scale_draws(curve, part, axis, found.squeeze_mm, mounting.count)
        ln_e = curve.ln_modulus(at[:2], np.full(2, math.log(2 * math.pi * STATIC_HZ)))
        stiffness = float(np.exp(np.median(ln_e.real + scale[:, None], axis=0)).min())
        sag = mounting.mass_kg * GRAVITY_M_S2 / stiffness
        if sag > STATIC_SHARE_MOST * height:
            said.append(f"sags {sag:.2g} mm under the payload, more than 15 % of its height: creep and set")
    return tuple(dict.fromkeys(said))
