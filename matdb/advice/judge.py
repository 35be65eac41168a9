"""The one judge: whether a part at a squeeze holds everything that a mounting asks, with margins and probabilities.

Ranking, squeeze, season cover, pictures and the page all ask :func:`judge`; load range, strain limit, temperatures and
ratios come from the mounting alone. A requirement is a row of rooms: ln of what is allowed over what is there, for
every draw and temperature, 0 or more where it holds.

Picture: at every rotor frequency no more of the airframe's rotation, or of its translation through a centre of gravity
off the isolators' plane, turns the camera than a rotor-to-natural ratio of 2.5 would let through; in the manoeuvre band
no more of the airframe's rotation is missed than a natural frequency of twice the band would miss. Where spacing or
size of the camera is not known, the same two ratios judge the vertical motion alone. Craft: travel, strain, lift-off,
buckling, service range. Sideways a craft leans on drag, by its own weight at the most; upwards it pulls the greatest
load factor.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import cached_property, reduce
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from matdb.advice.effective import pair_case
from matdb.advice.exposure import Exposure
from matdb.advice.requirement import SERVICE_K, VERDICTS, Candidate, Payload, Requirement
from matdb.advice.window import Window
from matdb.arrays import Array, Complex
from matdb.curve.band import median
from matdb.curve.curve import Curve
from matdb.errors import InputError
from matdb.form.base import MAX_SQUEEZE_SHARE, FormBase
from matdb.material.record import service_range
from matdb.mounting.directions import MOTIONS, NO_LIMIT, TURNS, Directions, tilting_step
from matdb.mounting.on_part import tilting_of
from matdb.mounting.record import Mounting
from matdb.mounting.shake import AirframeSpectrum, turned_px
from matdb.mounting.squeeze import lift_off_load_factors, lifted_at_rest, ln_lower_half_stiffness, most_squeeze

if TYPE_CHECKING:
    from matdb.mounting.squeeze import SqueezeCase


#: Frequencies that a told share is the largest of, in each rotor band and in the manoeuvre band.
_LOOKED: Final = 24
#: A hair of slack, so that a natural frequency exactly on a limit counts as inside.
_HAIR: Final = 1e-9
#: Most sideways shear over height that a part travels; common practice, no source.
_SHEAR_MOST: Final = 0.75
#: Margins beyond this one, in ln, are told as this.
_MOST_MARGIN: Final = math.log(100.0)


class Halves:
    """Two halves under a screw as one part has them, over draws and temperatures: what its squeezes share.

    Attributes
    ----------
    cases : dict of float: SqueezeCase
        Under each package, by its mass in kg.
    alone : dict of float: ndarray, shape (steps, draws)
        ln of the stiffness of all lower halves alone at a Young's modulus of 1 MPa, N/mm, the part's own offset in it.
    most : ndarray, shape (steps, draws)
        Most squeeze under the heaviest package, mm.
    """

    def __init__(self, judge: Judge, form: FormBase, offset: Array) -> None:
        masses = {each.mass_kg for each in judge.payload.packages}
        more = math.log(judge.mounting.count) + offset
        self.cases = {mass: judge.case(form, mass, offset) for mass in masses}
        self.alone = {mass: ln_lower_half_stiffness(case).T + more for mass, case in self.cases.items()}
        self.most = most_squeeze(self.cases[judge.payload.heavy.mass_kg]).T

    def lifted(self, squeeze_mm: float) -> dict[float, NDArray[np.bool_]]:
        """Where the payload at rest has freed the upper half, set and creep taken, (steps, draws), by mass in kg."""
        return {mass: lifted_at_rest(case, squeeze_mm, settled=True).T for mass, case in self.cases.items()}


#: A requirement: its name, what is there and what it asks for, in ln, each (steps or 1, draws or 1).
_Bound = tuple[str, Array, Array]
#: What is a part's own at every squeeze: its offset, and its halves if it has two.
Own = tuple[Array, Halves | None]


class Judgement:
    """A candidate at one squeeze against everything it has to hold.

    Attributes
    ----------
    judge : Judge
        Of its material.
    index : int
        Place of the candidate among those given.
    candidate : Candidate
        The part.
    squeeze_mm : float
        Static squeeze of each piece.
    ratio : float
        Sideways over axial stiffness of a piece; 0 when it is not known.
    offset : ndarray, shape (draws,)
        The part's own offset: ln of true over computed stiffness.
    ln_scale : ndarray, shape (draws,)
        ln of the stiffness of all pieces together at a Young's modulus of 1 MPa, N/mm, that offset in it.
    by_step : ndarray, shape (steps,)
        Probability that it holds at each temperature that it is flown at.
    probability, craft : float
        That it holds at every temperature; the same of what concerns the craft alone.
    share : float
        Expected share of the hours that it holds.
    met : float
        Expected number of requirements that hold throughout, less for what the others lack.
    margin : float
        Median room of the tightest requirement of the picture or of travel, in ln of natural frequency.
    isolation, follow : ndarray, shape (draws,)
        Room of the picture towards stiffer and towards softer parts, in ln of stiffness, at the worst temperature.
    worst : int
        Step at which it is least probable to hold.
    """

    def __init__(
        self, judge: Judge, index: int, candidate: Candidate, squeeze_mm: float, units: tuple[float, float], own: Own
    ) -> None:
        self.judge, self.index, self.candidate, self.squeeze_mm = judge, index, candidate, float(squeeze_mm)
        along, across = units
        self.ratio = across / along if judge.directions is not None else 0.0
        self.offset, self.halves = own
        self.ln_scale = math.log(along * judge.mounting.count) + self.offset
        self._lifted = self.halves.lifted(self.squeeze_mm) if self.halves and judge.axis == "axial" else {}
        self._judge()

    def _judge(self) -> None:
        judge = self.judge
        soft, stiff = self.acting
        most, least = judge.picture(self.ratio)
        bounds = [("isolation", most, stiff), ("following", soft, least), *self._craft()]
        weight = self.weight
        visited = self.visited = slice(None) if weight.all() else weight > 0.0
        shape = judge.most.shape
        rooms = np.empty((len(bounds), shape[1]))
        for row, (_, there, asked) in zip(rooms, bounds, strict=True):
            row[:] = _tightest(there, asked, visited)
        self.isolation, self.follow = rooms[:2]
        failing = [each[1:] for each, room in zip(bounds, rooms, strict=True) if room.min() < 0.0]
        rooms = np.concatenate([rooms[:2].min(axis=0, keepdims=True), rooms[2:]])
        holds = rooms >= 0.0
        self.probability, self.craft = (float(each.all(axis=0).mean()) for each in (holds, holds[1:]))
        # Where it never holds, a little less the more it lacks.
        self.met = float(np.count_nonzero(holds) / shape[1] + 0.03 * np.clip(_middle(rooms), -3.0, 0.0).sum())
        # The service range is the last.
        self.margin = 0.5 * float(_middle(rooms[:-1].min(axis=0)))
        each_step = np.ones(shape, dtype=bool)
        for there, asked in failing:
            each_step &= there >= asked
        self.by_step = np.count_nonzero(each_step, axis=1) / shape[1]
        self.share = float(self.by_step @ weight / weight.sum())
        # Among equally probable hours, the one nearest to a limit.
        one = shape[1] // 2
        near = reduce(np.minimum, (_draw(there, one) - _draw(asked, one) for _, there, asked in bounds[:-1]))
        tie = self.by_step + 1e-6 * np.clip(near, -1e3, 1e3)
        self.worst = int(np.argmin(np.where(weight > 0.0, tie, np.inf)))

    @property
    def weight(self) -> Array:
        """Hours at each temperature, shape (steps,)."""
        return np.asarray(self.judge.exposed.weight[self.judge.exposed.row[self.index]])

    def _stiffness(self, mass_kg: float) -> Array:
        """Ln of the stiffness per modulus under a package at rest, shape (steps, draws) or (1, draws)."""
        both = self.ln_scale[None]
        if self.halves is None or not self._lifted:
            return both
        return np.where(self._lifted[mass_kg], self.halves.alone[mass_kg], both)

    def ln_stiffness(self, step: int, mass_kg: float) -> Array:
        """Ln of the stiffness per modulus under a package at rest at one temperature, shape (draws,)."""
        return np.asarray(self._stiffness(mass_kg)[step if self._lifted else 0])

    def lifted(self, step: int, mass_kg: float) -> float:
        """Probability that a half has lifted off under a package at rest."""
        return float(self._lifted[mass_kg][step].mean()) if self._lifted else 0.0

    @property
    def acting(self) -> tuple[Array, Array]:
        """Ln of the stiffness per modulus under the heaviest and the lightest package, (steps, draws) or (1, draws)."""
        payload = self.judge.payload
        return self._stiffness(payload.heavy.mass_kg), self._stiffness(payload.light.mass_kg)

    @property
    def all_directions(self) -> bool:
        """Whether roll, pitch, yaw and sideways motion were judged too."""
        return self.ratio > 0.0

    @property
    def key(self) -> tuple[float, ...]:
        """Better is smaller: probability to a percent, share of hours to a thousandth, the craft's safety, room."""
        return -round(self.probability, 2), -round(self.share, 3), -round(self.craft, 2), -round(self.margin, 6)

    @property
    def squeeze_key(self) -> tuple[float, ...]:
        """Better is smaller among squeezes of one part: of those alike the least, which lets the least through."""
        likely = self.probability >= 0.5
        compromise = (0.0, 0.0) if likely else (-round(self.met, 2), -round(self.margin, 6))
        shares = (self.probability, self.share, self.craft)
        alike = VERDICTS[0][0]  # what holds so surely is not told apart
        return *(-min(math.floor(100.0 * s + 1e-9) / 100.0, alike) for s in shares), *compromise, self.squeeze_mm

    @cached_property
    def requirements(self) -> tuple[Requirement, ...]:
        """Every requirement, the deciding one first: the least probable, of those alike the tightest."""
        judge, shape = self.judge, self.judge.most.shape
        soft, stiff = self.acting
        names, most, least = judge.motions(self.ratio)
        room = most - stiff
        stiffer = np.empty(room.shape, dtype=bool)
        for j, lower in enumerate([-NO_LIMIT] * (len(most) - len(least)) + list(least)):
            below = soft - lower
            stiffer[j] = room[j] < below
            np.minimum(room[j], below, out=room[j])
        craft = [(name, there - asked) for name, there, asked in self._craft()]
        over = [each[self.visited] for each in (*room, *(each for _, each in craft))]
        steps = judge.exposed.steps[self.visited]
        at = [_middle(each).argmin() for each in over]
        tight = np.stack([np.broadcast_to(each.min(axis=0), shape[1:]) for each in over])
        found = []
        for j, (name, margin) in enumerate(
            zip((*names, *(name for name, _ in craft)), np.asarray(median(tight.T)).tolist(), strict=True)
        ):
            picture = j < len(names)
            if name != "service":
                margin = math.expm1(min(0.5 * margin if picture else margin, _MOST_MARGIN))
            found.append(
                Requirement(
                    name=name,
                    probability=float((tight[j] >= 0.0).mean()),
                    margin=margin,
                    temperature_c=float(steps[at[j]]),
                    stiff=picture and bool(stiffer[j, self.visited][at[j]].mean() > 0.5),
                )
            )
        ordered = sorted(found, key=lambda each: (round(each.probability, 2), each.margin))
        return tuple(judge.in_pixels(self, each) for each in ordered)

    @property
    def deciding(self) -> Requirement:
        """What decides."""
        return self.requirements[0]

    def _craft(self) -> Iterator[_Bound]:
        """Requirements of the craft, the service range the last."""
        judge, form, scale = self.judge, self.candidate.part.form, self.ln_scale[None]
        need = judge.travel(form, self.squeeze_mm, self.ratio)
        if need > -math.inf:
            yield "buckling" if form.leans else "travel", scale - need, judge.bearing
        if self.halves is None:
            height = form.bearing_height_mm
            if height > 0.0 and form.travel_height(judge.axis) is not None:
                left = judge.mounting.strain_most * height - self.squeeze_mm
                yield "strain", scale + (math.log(left) if left > 0.0 else -NO_LIMIT), judge.resting
        else:
            none = np.zeros((1, 1))
            yield "strain", _ln(self.halves.most / max(self.squeeze_mm, 1e-9)), none
            case = self.halves.cases[judge.payload.heavy.mass_kg]
            low, high = lift_off_load_factors(case, squeeze_mm=self.squeeze_mm, settled=True)
            least, greatest = judge.mounting.load_factors
            touch = high / greatest
            yield "lift-off", _ln((np.minimum(touch, low / least) if least < 0.0 else touch).T), none
        low_c, high_c = service_range(self.candidate.material)
        steps = judge.exposed.steps
        yield "service", np.minimum(steps - low_c, high_c - steps)[:, None] / SERVICE_K, np.zeros((1, 1))


class Judge:
    """Everything about one material under a mounting that does not depend on the part.

    Arrays have the temperatures first and the draws last, (steps, draws): most is asked of all draws at a temperature.

    Parameters
    ----------
    curve : Curve
        The material.
    mounting : Mounting
        Rotors, manoeuvre band, limits of travel and strain.
    payload : Payload
        What the isolators carry.
    exposed : Exposure
        Temperatures.
    directions : Directions or None
        None where the mounting does not tell enough to judge every direction.
    axis : str
        Axis of the parts that carries the motion.
    spectrum : AirframeSpectrum or None
        What the airframe was measured to do: requirements are told in pixels too.
    """

    def __init__(
        self,
        curve: Curve,
        mounting: Mounting,
        payload: Payload,
        exposed: Exposure,
        directions: Directions | None,
        axis: str = "axial",
        spectrum: AirframeSpectrum | None = None,
    ) -> None:
        self.curve, self.mounting, self.payload, self.exposed, self.axis = curve, mounting, payload, exposed, axis
        self.spectrum = spectrum
        self.window = window = Window(curve, exposed.steps, payload.low_hz, payload.high_hz)
        self.directions = directions
        self._moduli: dict[tuple[int, bytes], Complex] = {}
        # In terms of ln stiffness per modulus in N/mm: the lightest package is stiffest, the heaviest softest.
        self.most = _turned(window.high + (math.log(1e-3 * payload.light.mass_kg) + _HAIR))
        self.least = _turned(window.low + (math.log(1e-3 * payload.heavy.mass_kg) - _HAIR))
        self.bearing = _turned(math.log(payload.weight_n) - window.ln_load_modulus)
        self.resting = _turned(math.log(payload.weight_n) - window.ln_static_modulus)

    @cached_property
    def _limits(self) -> tuple[Array, Array, Array]:
        """Of each ratio the limits of motions, (r, motions, steps, draws), and of the picture, (r, 2, steps, draws)."""
        assert self.directions is not None
        most, least = self.directions.limits(lambda hz: self.window.ln_modulus(hz).T)
        most += _HAIR
        least -= _HAIR
        return most, least, np.stack([most.min(axis=1), least.max(axis=1)], axis=1)

    def picture(self, ratio: float) -> tuple[Array, Array]:
        """Ln of the largest and of the smallest stiffness per modulus that the picture allows, (steps, draws) each."""
        if self.directions is None or ratio <= 0.0:
            return self.most, self.least
        ((most, least),) = self.directions.at(ratio, self._limits[2])
        return most, least

    def motions(self, ratio: float) -> tuple[tuple[str, ...], Array, Array]:
        """Motions by name and the same limits of each, (motions, steps, draws), the smallest of the last ones alone."""
        if self.directions is None or ratio <= 0.0:
            return ("vertical",), self.most[None], self.least[None]
        most, least = self.directions.at(ratio, *self._limits[:2])
        return MOTIONS, most, least

    @cached_property
    def rotor_hz(self) -> Array:
        """Frequencies of every rotor order at speeds from the lowest to the highest, Hz, rising."""
        bands = self.mounting.rotor_bands
        return np.unique(np.concatenate([np.geomspace(b.low_hz, b.high_hz, _LOOKED) for b in bands]))

    @cached_property
    def follow_hz(self) -> Array:
        """Frequencies of the manoeuvre band, Hz, rising; none where nothing has to be followed."""
        top = self.mounting.manoeuvre_hz
        return np.linspace(top / _LOOKED, top, _LOOKED) if top > 0.0 else np.zeros(0)

    def step(self, temperature_c: float) -> int:
        """The step of a temperature."""
        return int(np.argmin(np.abs(self.exposed.steps - temperature_c)))

    def ln_modulus(self, hz: Array, step: int) -> Complex:
        """Ln of the complex modulus in MPa at one temperature over frequencies, shape (draws, frequencies)."""
        key = step, hz.tobytes()
        if key not in self._moduli:
            at = np.full(hz.shape, self.exposed.steps[step])
            self._moduli[key] = self.curve.ln_modulus(at, np.log(2.0 * math.pi * hz))
        return self._moduli[key]

    def shares(self, found: Judgement, temperature_c: float, hz: Array, place: float = 0.5) -> tuple[Array, Array]:
        """Share of each of MOTIONS that gets through, and of each of TURNS that is missed, over frequencies.

        Parameters
        ----------
        found : Judgement
            A part at a squeeze.
        temperature_c, hz
            Where.
        place : float
            Of which draw, by its stiffness: 0 the softest, 1 the stiffest.

        Returns
        -------
        (ndarray, ndarray)
            Shape (frequencies, 6) and (frequencies, 3), the larger ones of all camera packages.
        """
        assert self.directions is not None
        step = self.step(temperature_c)
        scale = found.ln_stiffness(step, self.payload.heavy.mass_kg)
        ln_modulus = self.ln_modulus(hz, step)
        draw = int(np.argsort(scale + ln_modulus[:, 0].real)[int(place * (len(scale) - 1) + 0.5)])
        k = np.exp(ln_modulus[draw] + scale[draw]) / self.mounting.count
        z = (1e3 * k / (2.0 * math.pi * hz) ** 2)[None]
        told = [body.shares(np.array([found.ratio]), z) for body in self.directions.bodies]
        through, missed = (np.maximum.reduce([each[side][0] for each in told]) for side in (0, 1))
        return through, missed

    def through(self, found: Judgement, name: str, temperature_c: float, place: float = 0.5) -> tuple[float, float]:
        """Of a motion the largest share that gets through at a rotor frequency, and that frequency in Hz."""
        share = self.shares(found, temperature_c, self.rotor_hz, place)[0][:, MOTIONS.index(name)]
        most = int(np.argmax(share))
        return float(share[most]), float(self.rotor_hz[most])

    def missed(self, found: Judgement, name: str, temperature_c: float, place: float = 0.5) -> tuple[float, float]:
        """Of a rotation the largest share that is missed in the manoeuvre band, and that frequency in Hz."""
        share = self.shares(found, temperature_c, self.follow_hz, place)[1][:, TURNS.index(name)]
        most = int(np.argmax(share))
        return float(share[most]), float(self.follow_hz[most])

    def in_pixels(self, found: Judgement, each: Requirement) -> Requirement:
        """A motion with what it does to the picture; without, where the airframe was not measured there."""
        if self.spectrum is None or not found.all_directions or each.name not in MOTIONS:
            return each
        isolation, follow = (1.0 / (ratio * ratio - 1.0) for ratio in self.mounting.ratios)
        slow, rotor = (0.0, self.mounting.manoeuvre_hz), (self.mounting.lowest_rotor_hz, math.inf)
        isolates = each.stiff or each.name not in TURNS
        part = self.spectrum.between(*(rotor if isolates else slow))
        if part is None:
            return each
        through, missed = self.shares(found, each.temperature_c, part.frequency_hz)
        share = through[:, MOTIONS.index(each.name)] if isolates else missed[:, TURNS.index(each.name)]
        at_limit = np.full_like(share, isolation if isolates else follow)
        assert self.directions is not None
        radius = self.directions.bodies[-1].radius_mm
        told = [turned_px(self.mounting, part, each.name, some, radius) for some in (share, at_limit)]
        # Along or about an axis that was not measured the airframe does not move at all.
        return replace(each, pixels=told[0], pixels_most=told[1]) if told[1] > 0.0 else each

    def travel(self, form: FormBase, squeeze_mm: float, ratio: float) -> float:
        """Ln of the largest stiffness over that of the parts in line at which travel just suffices, per N and mm."""
        room_of, clear = form.travel_height(self.axis), self.mounting.clearance_mm or math.inf
        along = across = math.inf
        if room_of:
            along = MAX_SQUEEZE_SHARE * room_of[0] - room_of[1] * squeeze_mm
            across = _SHEAR_MOST * form.bearing_height_mm
        along, across = min(along, clear), min(across, clear)
        if along <= 0.0:
            return NO_LIMIT
        if self.directions is None or ratio <= 0.0:
            most = self.mounting.load_factor / along
        else:
            most = float(
                (self.directions.pushed(ratio) * (self.mounting.load_factor, 1.0, 1.0) / ((along,), (across,))).max()
            )
        return math.log(most) if most > 0.0 else -math.inf

    def case(self, form: FormBase, mass_kg: float, offset: Array) -> SqueezeCase:
        """A pair of halves under a package, over draws and temperatures."""
        assert form.pair is not None
        return pair_case(
            form.pair,
            self.curve.family,
            payload_kg=mass_kg,
            count=self.mounting.count,
            static_modulus_mpa=np.exp(self.window.ln_static_modulus + offset[:, None]),
            temperature_c=self.window.temperature_c,
            load_factors=self.mounting.load_factors,
            strain_limit=self.mounting.strain_most,
            assembly_c=self.mounting.assembly_c,
            set_share=self.mounting.set_share,
        )

    def judged(
        self, index: int, each: Candidate, squeezes: Sequence[float], units: tuple[Array, Array]
    ) -> list[Judgement]:
        """Judge a part at some squeezes; ``units`` are its stiffness along and across at a modulus of 1 MPa, N/mm."""
        form = each.part.form
        offset = self.curve.offset_draws(each.part, self.axis, self.mounting.count)
        halves = Halves(self, form, offset) if form.pair is not None else None
        return [
            Judgement(self, index, each, squeeze, unit, (offset, halves))
            for squeeze, unit in zip(squeezes, zip(*(side.tolist() for side in units), strict=True), strict=True)
        ]


def _turned(values: Array) -> Array:
    """From (draws, steps) to (steps, draws)."""
    return np.ascontiguousarray(values.T)


def _tightest(there: Array, asked: Array, visited: Any) -> Array:
    """Room of each draw at its worst temperature; either side of one row or of all."""
    if len(asked) == 1:
        return np.asarray(there[visited].min(axis=0) - asked[0])
    if len(there) == 1:
        return np.asarray(there[0] - asked[visited].max(axis=0))
    return np.asarray((there - asked)[visited].min(axis=0))


def _draw(values: Array, draw: int) -> Array:
    """One draw of an array that may be the same for all."""
    return np.asarray(values[:, min(draw, values.shape[1] - 1)])


def _middle(values: Array) -> Array:
    """Median over the last axis; sorting is quicker than NumPy's own on so few."""
    ordered, half = np.sort(values, axis=-1), values.shape[-1] // 2
    return np.asarray(0.5 * (ordered[..., half] + ordered[..., -1 - half]))


def _ln(ratio: Array) -> Array:
    return np.log(np.clip(ratio, math.exp(-NO_LIMIT), math.exp(NO_LIMIT)))


def _units(candidate: Candidate, axis: str, squeezes: Sequence[float], directions: bool) -> tuple[Array, Array]:
    """Stiffness along and across a piece at each squeeze, N/mm at 1 MPa; across 0 where not asked or not known.

    What readings in several directions say of their ratio, in the median, is in it.
    """
    part, curve, across = candidate.part, candidate.curve, np.zeros(1)
    tried = np.array(squeezes, dtype=float)
    try:
        along = np.asarray(part.form.stiffness_n_per_mm(1.0, axis, squeeze_mm=tried))
        aside = part.form.cross_axis if directions else None
        if aside is not None:
            across = np.asarray(part.form.stiffness_n_per_mm(1.0, aside, squeeze_mm=tried))
            if (part.name, aside) in curve.turns:
                across = across * math.exp(median(curve.offset_draws(part, aside) - curve.offset_draws(part, axis)))
    except InputError as error:
        raise InputError(f"{part.name}: {error.field}", error.value, error.allowed, error.cure) from None
    return np.broadcast_to(along, tried.shape), np.broadcast_to(across, tried.shape)


def judge(
    candidates: Sequence[Candidate],
    mounting: Mounting,
    exposed: Exposure,
    *,
    package: str | None = None,
    axis: str = "axial",
    squeeze_mm: float | Sequence[float] | None = None,
    every_squeeze: bool = False,
    spectrum: AirframeSpectrum | None = None,
) -> Iterator[list[Judgement]]:
    """Judge candidates, one material after the other, its modulus evaluated once for all of its parts.

    Parameters
    ----------
    candidates : sequence of Candidate
        The parts.
    mounting : Mounting
        What they have to hold.
    exposed : Exposure
        Temperatures of these candidates, in the same order.
    package : str or None
        Judge only this camera package; None asks that all of them, one at a time, hold.
    axis : str
        Axis of the parts that carries the motion; every direction is judged on their own axis alone.
    squeeze_mm : float or None
        Static squeeze of every part, or those to try; None tries several. The best of each part is kept.
    every_squeeze : bool
        True keeps every squeeze that was tried.
    spectrum : AirframeSpectrum or None
        What the airframe was measured to do, for requirements in pixels.

    Yields
    ------
    list of Judgement
        Of the parts of one material, in the order of the candidates.

    Raises
    ------
    InputError
        A part that has no axial stiffness or cannot take the squeeze; no such package.
    """
    payload = Payload.of(mounting, package)
    directions = axis == "axial" and bool(mounting.positions_mm) and all(each.has_inertia for each in payload.packages)
    squeezes = [
        each.part.form.squeezes_to_try(axis) if squeeze_mm is None else list(map(float, np.atleast_1d(squeeze_mm)))
        for each in candidates
    ]
    units = [_units(each, axis, q, directions) for each, q in zip(candidates, squeezes, strict=True)]
    # Of the unsqueezed part, so that what is judged does not depend on the squeezes that are tried beside it.
    tilts = [
        tilting_step(mounting, tilting_of(form) / form.stiffness_n_per_mm(1.0, axis)) if across[0] else 0.0
        for form, (_, across) in zip((each.part.form for each in candidates), units, strict=True)
    ]
    sides = {}
    for tilt in set(tilts):
        of_tilt = [across / along for (along, across), each in zip(units, tilts, strict=True) if each == tilt]
        ratio = np.unique(np.concatenate(of_tilt))
        if ratio[-1] > 0.0:
            sides[tilt] = Directions(mounting, payload.packages, ratio[ratio > 0.0], tilt)
    candidates = exposed.felt(candidates, axis)
    groups: dict[int, list[int]] = {}
    for index, each in enumerate(candidates):
        groups.setdefault(id(each.curve), []).append(index)
    for members in groups.values():
        curve, found = candidates[members[0]].curve, []
        by_tilt = {
            tilt: Judge(curve, mounting, payload, exposed, sides.get(tilt), axis, spectrum)
            for tilt in {tilts[index] for index in members}
        }
        for index in members:
            mine = by_tilt[tilts[index]].judged(index, candidates[index], squeezes[index], units[index])
            found.extend(mine if every_squeeze else [min(mine, key=lambda each: each.squeeze_key)])
        yield found
