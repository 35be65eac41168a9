"""How often a part at a squeeze keeps the camera inside the window: the part that ranking and covering share."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from matdb.advice.effective import pair_case
from matdb.advice.exposure import Exposure
from matdb.advice.window import Window
from matdb.curve.curve import Curve
from matdb.errors import InputError
from matdb.form.base import MAX_SQUEEZE_SHARE, FormBase
from matdb.form.grommet_pair import GrommetPair
from matdb.form.part import Part
from matdb.material.record import Material, service_range
from matdb.mounting.record import CameraPackage, Mounting
from matdb.mounting.squeeze import SqueezeCase, lift_off_load_factors, lifted_at_rest, ln_lower_half_stiffness
from matdb.mounting.suspended import FOLLOW_LEAST, ISOLATION_LEAST
from matdb.units import STANDARD_GRAVITY_M_S2

__all__ = [
    "Candidate",
    "Payload",
    "Rest",
    "Score",
    "at_rest",
    "score",
    "touching",
]

Array = NDArray[np.float64]

#: A hair of slack, so that a natural frequency exactly on a limit counts as inside.
_HAIR: Final = 1e-9


@dataclass(frozen=True, eq=False)
class Candidate:
    """A part with its material and its material's curve."""

    part: Part
    material: Material
    curve: Curve


@dataclass(frozen=True)
class Payload:
    """The camera packages that a mounting must hold inside the window, one at a time: the lightest and the heaviest."""

    light: CameraPackage
    heavy: CameraPackage
    low_hz: float
    high_hz: float
    count: int
    load_factors: tuple[float, float]

    @classmethod
    def of(cls, mounting: Mounting, package: str | None = None) -> Payload:
        """Of all packages of a mounting, or of one. Raises InputError when there is no such package."""
        packages = mounting.all_packages if package is None else (mounting.package(package),)
        ordered = sorted(packages, key=lambda each: each.mass_kg)
        return cls(ordered[0], ordered[-1], *mounting.window_hz, mounting.count, mounting.load_factors)

    def possible(self, mounting: Mounting) -> Payload:
        """Itself. Raises InputError when no natural frequency at all both follows and isolates."""
        if self.low_hz <= self.high_hz:
            return self
        rotor = mounting.lowest_rotor_hz
        raise InputError(
            "manoeuvre band",
            f"{mounting.manoeuvre_hz:.3g} Hz",
            f"at most {self.high_hz / FOLLOW_LEAST:.3g} Hz with rotors from {rotor:.3g} Hz on: following it asks for a "
            f"natural frequency of at least {self.low_hz:.3g} Hz ({FOLLOW_LEAST:g} times), isolating for at most "
            f"{self.high_hz:.3g} Hz (a {ISOLATION_LEAST:g}th)",
            "no part can do both: idle faster, or let the camera follow less",
        )

    @property
    def load_factor(self) -> float:
        """The greatest load factor either way, in units of weight."""
        return max(abs(f) for f in self.load_factors)

    @property
    def weight_n(self) -> float:
        """Weight of the heaviest package times the greatest load factor, N."""
        return self.load_factor * self.heavy.mass_kg * STANDARD_GRAVITY_M_S2


@dataclass(frozen=True, eq=False)
class Rest:
    """A grommet pair under a payload at rest: where a half has lifted off, the other alone acts.

    Attributes
    ----------
    lifted : ndarray of bool, shape (draws, steps)
        Whether the upper half has come free, set and creep taken.
    ln_scale : ndarray, shape (draws, steps)
        ln of the stiffness of all lower halves alone at a Young's modulus of 1 MPa, N/mm, the part's own offset in it.
    """

    lifted: NDArray[np.bool_]
    ln_scale: Array

    def over(self, both: Array) -> Array:
        """Ln of the stiffness per modulus, shape (draws, steps), with ``both`` where both halves touch."""
        return np.where(self.lifted, self.ln_scale, both[:, None])


@dataclass(frozen=True, eq=False)
class Score:
    """A candidate at one squeeze against everything it has to hold.

    Attributes
    ----------
    index : int
        Place of the candidate among those given.
    candidate : Candidate
        The part.
    squeeze_mm : float
        Static squeeze of each piece.
    ln_scale : ndarray, shape (draws,)
        ln of the stiffness of all pieces together at a Young's modulus of 1 MPa, N/mm, the part's own offset in it.
    middle : float
        Its median.
    window : Window
        Of its material.
    by_step : ndarray, shape (steps,)
        Probability that it holds at each temperature.
    probability : float
        That it holds at every temperature.
    share : float
        Expected share of the hours that it holds.
    margin : float
        Median room to the nearest limit, in ln of natural frequency.
    worst : int
        Step at which it is least probable to hold.
    rest : dict of float: Rest
        For a grommet pair, what acts at rest under a package, by its mass in kg; empty for other forms.
    """

    index: int
    candidate: Candidate
    squeeze_mm: float
    ln_scale: Array
    middle: float
    window: Window
    by_step: Array
    probability: float
    share: float
    margin: float
    worst: int
    rest: dict[float, Rest] = field(default_factory=dict)

    def ln_stiffness(self, step: int, mass_kg: float) -> Array:
        """Ln of the stiffness per modulus under a package at rest at one temperature, shape (draws,)."""
        return self.rest[mass_kg].over(self.ln_scale)[:, step] if self.rest else self.ln_scale

    def lifted(self, step: int, mass_kg: float) -> float:
        """Probability that a half has lifted off under a package at rest."""
        return float(self.rest[mass_kg].lifted[:, step].mean()) if self.rest else 0.0

    @property
    def key(self) -> tuple[float, float, float]:
        """Better is smaller: probability to a percent, share of hours to a thousandth, then room."""
        return -round(self.probability, 2), -round(self.share, 3), -round(self.margin, 6)


def touching(window: Window, form: FormBase, payload: Payload, squeeze_mm: float, offset: Array) -> Array | None:
    """Load factor at which a half of a pair lifts off over the greatest in flight: at least 1 while both touch.

    The squeeze has lost what set and creep take, and what the rubber shrinks in the cold
    (:mod:`matdb.mounting.squeeze`).

    Parameters
    ----------
    window : Window
        Of the material.
    form : FormBase
        The part's form.
    payload : Payload
        What is carried.
    squeeze_mm : float
        Static squeeze at assembly.
    offset : ndarray, shape (draws,)
        ln of true over computed stiffness.

    Returns
    -------
    ndarray of shape (draws, steps), or None
        None for forms that cannot lift off.
    """
    if form.pair is None:
        return None
    case = _case(window, form.pair, payload, payload.heavy.mass_kg, offset)
    low, high = lift_off_load_factors(case, squeeze_mm)
    least, greatest = payload.load_factors
    ratio = np.asarray(high) / greatest
    if least < 0.0:
        ratio = np.minimum(ratio, np.asarray(low) / least)
    return np.asarray(np.broadcast_to(ratio, window.ln_static_modulus.shape))


def _case(window: Window, pair: GrommetPair, payload: Payload, mass_kg: float, offset: Array) -> SqueezeCase:
    return pair_case(
        pair,
        window.curve.family,
        payload_kg=mass_kg,
        count=payload.count,
        static_modulus_mpa=np.exp(window.ln_static_modulus + offset[:, None]),
        temperature_c=window.temperature_c,
        load_factors=payload.load_factors,
    )


def at_rest(
    window: Window, form: FormBase, payload: Payload, squeeze_mm: Sequence[float], offset: Array, axis: str
) -> list[dict[float, Rest]]:
    """What acts under the lightest and the heaviest package at rest, by mass, for each squeeze; empty without halves.

    Parameters
    ----------
    window, form, payload, offset
        As :func:`touching`.
    squeeze_mm : sequence of float
        Static squeezes at assembly.
    axis : str
        Axis of the part that carries the motion.
    """
    found: list[dict[float, Rest]] = [{} for _ in squeeze_mm]
    if form.pair is None or axis != "axial":
        return found
    for mass in {payload.light.mass_kg, payload.heavy.mass_kg}:
        case = _case(window, form.pair, payload, mass, offset)
        alone = ln_lower_half_stiffness(case) + (math.log(payload.count) + offset[:, None])
        for rest, squeeze in zip(found, squeeze_mm, strict=True):
            rest[mass] = Rest(lifted_at_rest(case, squeeze, settled=True), alone)
    return found


def score(
    candidates: Sequence[Candidate],
    payload: Payload,
    exposed: Exposure,
    *,
    squeeze_mm: float | None = None,
    axis: str = "axial",
    every_squeeze: bool = False,
) -> list[Score]:
    """Judge candidates, the modulus of each material evaluated once for all of them.

    Parameters
    ----------
    candidates : sequence of Candidate
        The parts.
    payload : Payload
        What they carry and the window.
    exposed : Exposure
        Temperatures of these candidates, in the same order.
    squeeze_mm : float or None
        Static squeeze of every part; None tries several and keeps the best of each part.
    axis : str
        Axis of the parts that carries the motion.
    every_squeeze : bool
        True keeps every squeeze that was tried.

    Returns
    -------
    list of Score
        In the order of the candidates.

    Raises
    ------
    InputError
        A part that has no such axis or cannot take the squeeze.
    """
    judges: dict[Curve, _Judge] = {}
    found: list[Score] = []
    for index, each in enumerate(candidates):
        if each.curve not in judges:
            judges[each.curve] = _Judge(each.curve, payload, exposed)
        mine = judges[each.curve].candidate(index, each, squeeze_mm, axis)
        found += mine if every_squeeze else [min(mine, key=lambda s: (*s.key, s.squeeze_mm))]
    return found


class _Judge:
    """Everything about one material that does not depend on the part."""

    def __init__(self, curve: Curve, payload: Payload, exposed: Exposure) -> None:
        self.curve, self.payload, self.exposed = curve, payload, exposed
        window = self.window = Window(curve, exposed.steps, payload.low_hz, payload.high_hz)
        # In terms of ln stiffness per modulus in N/mm: the lightest package is stiffest, the heaviest softest.
        self.most = window.high + (math.log(1e-3 * payload.light.mass_kg) + _HAIR)
        self.least = window.low + (math.log(1e-3 * payload.heavy.mass_kg) - _HAIR)
        self.bearing = math.log(payload.weight_n) - window.ln_load_modulus
        self.bearing_most = float(self.bearing.max())
        self._middles: dict[bytes, float] = {}
        self._ends: dict[int, tuple[Array, Array, Array, Array, Array, Array]] = {}

    def ends(self, row: int) -> tuple[Array, Array, Array, Array, Array, Array]:
        """For the temperatures of a row: which they are, limits over all of them, and median limits at each."""
        if row not in self._ends:
            visited = self.exposed.weight[row] > 0.0
            self._ends[row] = (
                visited,
                self.most[:, visited].min(axis=1),
                self.least[:, visited].max(axis=1),
                self.bearing[:, visited].max(axis=1),
                np.where(visited, np.median(self.most, axis=0), np.inf),
                np.where(visited, np.median(self.least, axis=0), -np.inf),
            )
        return self._ends[row]

    def _middle(self, offset: Array) -> float:
        # Parts that were not measured share one spread, so there are few different ones.
        key = offset.tobytes()
        if key not in self._middles:
            self._middles[key] = float(np.median(offset))
        return self._middles[key]

    def candidate(self, index: int, each: Candidate, squeeze_mm: float | None, axis: str) -> list[Score]:
        part, row = each.part, int(self.exposed.row[index])
        tried = part.form.squeezes_to_try(axis) if squeeze_mm is None else [float(squeeze_mm)]
        try:
            units = np.atleast_1d(part.form.stiffness_n_per_mm(1.0, axis, squeeze_mm=np.array(tried)))
        except InputError as error:
            raise InputError(f"{part.name}: {error.field}", error.value, error.allowed, error.cure) from None
        offset = self.curve.offset_draws(part.name, part.form.offset_sd(axis))
        visited, most, least, bearing, most_step, least_step = self.ends(row)
        weight = self.exposed.weight[row]
        low_c, high_c = service_range(each.material)
        serviceable = (self.exposed.steps >= low_c) & (self.exposed.steps <= high_c)
        room_of = part.form.travel_height(axis)
        ln_units = np.log(np.broadcast_to(units, len(tried)) * self.payload.count)
        scales = ln_units[:, None] + offset
        middles = ln_units + self._middle(offset)
        floors = np.broadcast_to(least, scales.shape)
        need = np.full(len(tried), -math.inf)
        if room_of is not None:
            room = MAX_SQUEEZE_SHARE * room_of[0] - room_of[1] * np.array(tried)
            need = np.where(room > 0.0, -np.log(np.maximum(room, 1e-12)), math.inf)
            floors = np.maximum(least, bearing + need[:, None])
        margins = 0.5 * np.median(np.minimum(most - scales, scales - floors), axis=1)
        lowest = scales.min(axis=1)
        served, total, all_visited, n = serviceable[visited].all(), weight.sum(), visited.all(), len(offset)
        rests = at_rest(self.window, part.form, self.payload, tried, offset, axis)
        found = []
        for k, squeeze in enumerate(tried):
            column = scales[k][:, None]
            rest = rests[k]
            soft, stiff = (
                rest[package.mass_kg].over(scales[k]) if rest else column
                for package in (self.payload.heavy, self.payload.light)
            )
            inside = (soft >= self.least) & (stiff <= self.most)
            if need[k] + self.bearing_most > lowest[k]:
                inside &= column >= self.bearing + need[k]
            touches = touching(self.window, part.form, self.payload, squeeze, offset)
            if touches is not None:
                inside &= touches >= 1.0
            by_step = np.add.reduce(inside.view(np.uint8), axis=0, dtype=np.uint32) / n
            if not serviceable.all():
                by_step = by_step * serviceable
            always = inside.all(axis=1) if all_visited else inside[:, visited].all(axis=1)
            # Among equally probable hours, the one nearest to an end of the window.
            middle = np.median(soft, axis=0) if rest else middles[k]
            room_step = np.minimum(most_step - middle, middle - least_step)
            tie = by_step + 1e-6 * np.minimum(np.maximum(room_step, -1e3), 1e3)
            found.append(
                Score(
                    index=index,
                    candidate=each,
                    squeeze_mm=squeeze,
                    ln_scale=scales[k],
                    middle=float(middles[k]),
                    window=self.window,
                    by_step=by_step,
                    probability=float(np.count_nonzero(always)) / n if served else 0.0,
                    share=float(by_step @ weight / total),
                    margin=float(margins[k]),
                    worst=int(np.argmin(tie if all_visited else np.where(visited, tie, np.inf))),
                    rest=rest,
                )
            )
        return found
