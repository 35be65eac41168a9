"""A part at one squeeze against everything it has to hold, as :mod:`matdb.advice.judge` finds it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from functools import cached_property, reduce
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from matdb.advice.requirement import SERVICE_K, VERDICTS, Candidate, Requirement, open_to_readings
from matdb.arrays import Array, Complex
from matdb.curve.band import median
from matdb.form.base import FormBase
from matdb.form.bulk_softening import BulkSoftening
from matdb.material.record import service_range
from matdb.mounting.directions import NO_LIMIT
from matdb.mounting.squeeze import lift_off_load_factors, lifted_at_rest, ln_lower_half_stiffness, most_squeeze

if TYPE_CHECKING:
    from matdb.advice.judge import Judge

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

    def __init__(self, judge: Judge, form: FormBase, offset: Array, ln_still: Array) -> None:
        masses = {each.mass_kg for each in judge.payload.packages}
        more = math.log(judge.mounting.count) + offset
        self.cases = {mass: judge.case(form, mass, ln_still) for mass in masses}
        self.alone = {mass: ln_lower_half_stiffness(case).T + more for mass, case in self.cases.items()}
        self.most = most_squeeze(self.cases[judge.payload.heavy.mass_kg]).T

    def lifted(self, squeeze_mm: float) -> dict[float, NDArray[np.bool_]]:
        """Where the payload at rest has freed the upper half, set and creep taken, (steps, draws), by mass in kg."""
        return {mass: lifted_at_rest(case, squeeze_mm, settled=True).T for mass, case in self.cases.items()}


class Asked:
    """What a requirement asks for in ln, shape (steps or 1, draws or 1)."""

    def __init__(self, of: Array) -> None:
        self.of = of
        self._greatest: tuple[Any, Array] = None, of

    def greatest(self, visited: Any) -> Array:
        """The most over some temperatures, shape (draws or 1,)."""
        if self._greatest[0] is not visited:
            self._greatest = visited, (self.of[visited] if len(self.of) > 1 else self.of).max(axis=0)
        return self._greatest[1]


_NOTHING: Final = Asked(np.zeros((1, 1)))


class Felt(NamedTuple):
    """What a part feels of a material, in ln, shape (steps, draws).

    What bulk softening leaves of the modulus for isolation and for following, 0 without; what travel asks of the
    stiffness per modulus under load, and strain at rest.
    """

    stiff: Array | float
    soft: Array | float
    bearing: Asked
    resting: Asked


#: A requirement: its name, what is there, in ln, (steps or 1, draws or 1), and what it asks for.
_Bound = tuple[str, Array, Asked]


class Own(NamedTuple):
    """What is a part's own at every squeeze: offset, halves if it has two, and how it gives by its volume."""

    offset: Array
    halves: Halves | None
    softening: BulkSoftening | None


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
    """

    def __init__(
        self, judge: Judge, index: int, candidate: Candidate, squeeze_mm: float, units: tuple[float, float], own: Own
    ) -> None:
        self.judge, self.index, self.candidate, self.squeeze_mm = judge, index, candidate, float(squeeze_mm)
        along, across = units
        self.ratio = across / along if judge.directions is not None else 0.0
        self.offset, self.halves, self.softening = own
        self.ln_scale = math.log(along * judge.mounting.count) + self.offset
        self._lifted = self.halves.lifted(self.squeeze_mm) if self.halves and judge.axis == "axial" else {}
        self._judge()

    def _bounds(self) -> list[_Bound]:
        judge = self.judge
        soft, stiff = self.acting
        most, least = judge.picture(self.ratio)
        if self.softening is not None:
            felt = self._felt
            most, least = most - felt.stiff, least - felt.soft
        return [("isolation", most, Asked(stiff)), ("following", soft, Asked(least)), *self._craft()]

    def _judge(self) -> None:
        judge, bounds = self.judge, self._bounds()
        weight, visited = self.weight, self.visited
        shape = judge.most.shape
        rooms = np.empty((len(bounds), shape[1]))
        for row, (_, there, asked) in zip(rooms, bounds, strict=True):
            row[:] = _tightest(there, asked, visited)
        self.isolation, self.follow = rooms[:2]
        failing = [each[1:] for each, room in zip(bounds, rooms.min(axis=1), strict=True) if room < 0.0]
        rooms = np.concatenate([rooms[:2].min(axis=0, keepdims=True), rooms[2:]])
        holds = rooms >= 0.0
        craft = holds[1:].all(axis=0)
        self.probability, self.craft = (int(np.count_nonzero(each)) / shape[1] for each in (craft & holds[0], craft))
        # Where it never holds, a little less the more it lacks.
        self.met = float(
            np.count_nonzero(holds) / shape[1] + 0.03 * np.minimum(np.maximum(_middle(rooms), -3.0), 0.0).sum()
        )
        # The service range is the last.
        self.margin = 0.5 * float(_middle(rooms[:-1].min(axis=0)))
        one = shape[1] // 2
        self._near = reduce(np.minimum, (_draw(there, one) - _draw(asked.of, one) for _, there, asked in bounds[:-1]))
        each_step = np.ones(shape, dtype=bool)
        for there, asked in failing:
            each_step &= there >= asked.of
        self.by_step = np.count_nonzero(each_step, axis=1) / shape[1]
        self.share = float(self.by_step @ weight / weight.sum())

    @cached_property
    def worst(self) -> int:
        """Step at which it is least probable to hold; among equally probable hours the one nearest to a limit."""
        tie = self.by_step + 1e-6 * np.minimum(np.maximum(self._near, -1e3), 1e3)
        return int(np.argmin(np.where(self.weight > 0.0, tie, np.inf)))

    @property
    def _felt(self) -> Felt:
        return self.judge.felt(self.softening, self.all_directions)

    @property
    def visited(self) -> Any:
        """Which temperatures it is flown at, an index of the steps."""
        return self.judge.visited(int(self.judge.exposed.row[self.index]))

    @cached_property
    def ln_softest(self) -> Array:
        """Ln of the storage modulus in MPa that it feels under a payload that hangs where that is least, (draws,)."""
        return np.asarray(math.log(self.judge.payload.weight_n) - self._felt.resting.greatest(self.visited))

    def settled(self) -> Judgement:
        """Itself, with all that is told of the one that was chosen, while what its part feels is at hand."""
        _ = self.requirements, self.ln_softest, self.worst
        return self

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

    def ln_modulus(self, hz: Array, step: int) -> Complex:
        """Ln of the complex modulus in MPa that the part feels at one temperature, shape (draws, frequencies)."""
        return self._softened(self.judge.window.modulus_at(hz, step)[0])

    def modulus(self, hz: Array, step: int) -> Complex:
        """That modulus itself, MPa."""
        ln_e, value = self.judge.window.modulus_at(hz, step)
        felt = self._softened(ln_e)
        return value if felt is ln_e else np.exp(felt)

    def _softened(self, ln_e: Complex) -> Complex:
        soft = self.softening
        return ln_e + soft.of(ln_e) if soft is not None and soft.matters(ln_e) else ln_e

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
        judge, (soft, stiff) = self.judge, self.acting
        names, most, least = judge.motions(self.ratio)
        room, soft = most - (stiff + self._felt.stiff), soft + self._felt.soft
        over, turns = [*room], len(most) - len(least)
        over[turns:] = [np.minimum(up, soft - lower) for up, lower in zip(room[turns:], least, strict=True)]
        for name, there, asked in self._craft():
            names, over = (*names, name), [*over, there - asked.of]
        over = [each[self.visited] for each in over]
        steps = judge.exposed.steps[self.visited]
        at = [_tightest_step(each) for each in over]
        tight = np.empty((judge.most.shape[1], len(over)))
        for j, each in enumerate(over):
            tight[:, j] = each.min(axis=0)
        likely = (np.count_nonzero(tight >= 0.0, axis=0) / len(tight)).tolist()
        found = []
        for j, (name, margin) in enumerate(zip(names, np.asarray(median(tight)).tolist(), strict=True)):
            picture = j < len(room)
            if name != "service":
                margin = math.expm1(min(0.5 * margin if picture else margin, _MOST_MARGIN))
            # Whether it is the stiff side that binds, or the soft one.
            stiffer = picture and np.count_nonzero(over[j][at[j]] == room[j][self.visited][at[j]]) > 0.5 * len(tight)
            found.append(
                Requirement(
                    name=name,
                    probability=likely[j],
                    margin=margin,
                    temperature_c=float(steps[at[j]]),
                    stiff=bool(stiffer),
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
        for name, need, _ in judge.travel(form, self.squeeze_mm, self.ratio):
            if need > -math.inf:
                yield name, scale - need, self._felt.bearing
        if self.halves is None:
            height = form.bearing_height_mm
            if height > 0.0 and form.travel_height(judge.axis) is not None:
                left = judge.mounting.strain_most * height - self.squeeze_mm
                yield "strain", scale + (math.log(left) if left > 0.0 else -NO_LIMIT), self._felt.resting
        else:
            yield "strain", _ln(self.halves.most / max(self.squeeze_mm, 1e-9)), _NOTHING
            case = self.halves.cases[judge.payload.heavy.mass_kg]
            low, high = lift_off_load_factors(case, squeeze_mm=self.squeeze_mm, settled=True)
            least, greatest = judge.mounting.load_factors
            touch = high / greatest
            yield "lift-off", _ln((np.minimum(touch, low / least) if least < 0.0 else touch).T), _NOTHING
        low_c, high_c = service_range(self.candidate.material)
        steps = judge.exposed.steps
        yield "service", np.minimum(steps - low_c, high_c - steps)[:, None] / SERVICE_K, _NOTHING


def _tightest(there: Array, asked: Asked, visited: Any) -> Array:
    """Room of each draw at its worst temperature; either side of one row or of all."""
    if len(there) == 1:
        return np.asarray(there[0] - asked.greatest(visited))
    if len(asked.of) == 1:
        return np.asarray(there[visited].min(axis=0) - asked.of[0])
    return np.asarray((there - asked.of)[visited].min(axis=0))


def _draw(values: Array, draw: int) -> Array:
    """One draw of an array that may be the same for all."""
    return np.asarray(values[:, min(draw, values.shape[1] - 1)])


def _middle(values: Array) -> Array:
    """Median over the last axis; sorting is quicker than NumPy's own on so few."""
    ordered, half = np.sort(values, axis=-1), values.shape[-1] // 2
    return np.asarray(0.5 * (ordered[..., half] + ordered[..., -1 - half]))


def _tightest_step(room: Array) -> int:
    """Step at which the median room is least; seven digits sort quicker than sixteen."""
    return int(_middle(room.astype(np.float32)).argmin())


def _ln(ratio: Array) -> Array:
    return np.log(np.clip(ratio, math.exp(-NO_LIMIT), math.exp(NO_LIMIT)))


def open_ones(judged: Iterable[Judgement], most: int) -> list[Judgement]:
    """The best of those whose verdict readings may turn, then those that are least settled, so many in all."""
    still = [each for each in judged if open_to_readings(each.probability)]
    best = max(still, key=lambda each: each.probability, default=None)
    return sorted(still, key=lambda each: (each is not best, abs(each.probability - 0.5)))[:most]
