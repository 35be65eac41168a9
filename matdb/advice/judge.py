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
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from matdb.advice.effective import pair_case
from matdb.advice.exposure import Exposure
from matdb.advice.window import Window
from matdb.curve.band import band
from matdb.curve.curve import Curve
from matdb.errors import InputError
from matdb.form.base import MAX_SQUEEZE_SHARE, FormBase
from matdb.form.part import Part
from matdb.material.record import Material, service_range
from matdb.mounting.directions import MOTIONS, NO_LIMIT, TURNS, AllowedStiffness, turning
from matdb.mounting.record import CameraPackage, Mounting
from matdb.mounting.squeeze import lift_off_load_factors, lifted_at_rest, ln_lower_half_stiffness, most_squeeze
from matdb.units import STANDARD_GRAVITY_M_S2

if TYPE_CHECKING:
    from matdb.mounting.squeeze import SqueezeCase

Array = NDArray[np.float64]

#: Requirements of the craft; the others are motions that the picture must not show.
CRAFT: Final = ("travel", "strain", "lift-off", "buckling", "service")
#: Frequencies that a told share is the largest of, in each rotor band and in the manoeuvre band.
_LOOKED: Final = 24
#: A hair of slack, so that a natural frequency exactly on a limit counts as inside.
_HAIR: Final = 1e-9
#: Most sideways shear over height that a part travels; common practice, no source.
_SHEAR_MOST: Final = 0.75
#: Ratios of sideways to axial stiffness that limits are found for, when the parts have more than that.
_RATIOS: Final = 24
#: Their distance in ln; linear between them, limits of stiffness are off by less than a thousandth.
_RATIO_STEP: Final = 0.12
#: Margins beyond this one, in ln, are told as this.
_MOST_MARGIN: Final = math.log(100.0)
#: Squeezes that hold with this probability count as alike.
_SURE: Final = 0.98
#: Kelvin beside the service range that weigh as much as a margin of 1.
SERVICE_K: Final = 20.0


@dataclass(frozen=True, eq=False)
class Candidate:
    """A part with its material and its material's curve."""

    part: Part
    material: Material
    curve: Curve


@dataclass(frozen=True)
class Payload:
    """The camera packages that a mounting must hold, one at a time, the lightest first."""

    packages: tuple[CameraPackage, ...]
    low_hz: float
    high_hz: float
    count: int
    load_factors: tuple[float, float]

    @classmethod
    def of(cls, mounting: Mounting, package: str | None = None) -> Payload:
        """Of all packages of a mounting, or of one. Raises InputError when there is no such package."""
        packages = mounting.all_packages if package is None else (mounting.package(package),)
        ordered = tuple(sorted(packages, key=lambda each: each.mass_kg))
        return cls(ordered, *mounting.window_hz, mounting.count, mounting.load_factors)

    @property
    def light(self) -> CameraPackage:
        """The lightest package."""
        return self.packages[0]

    @property
    def heavy(self) -> CameraPackage:
        """The heaviest package."""
        return self.packages[-1]

    def possible(self, mounting: Mounting) -> Payload:
        """Itself. Raises InputError when no natural frequency at all both follows and isolates."""
        if self.low_hz <= self.high_hz:
            return self
        rotor = mounting.lowest_rotor_hz
        isolation, follow = mounting.ratios
        raise InputError(
            "manoeuvre band",
            f"{mounting.manoeuvre_hz:.3g} Hz",
            f"at most {self.high_hz / follow:.3g} Hz with rotors from {rotor:.3g} Hz on: following it asks for a "
            f"natural frequency of at least {self.low_hz:.3g} Hz ({follow:g} times), isolating for at most "
            f"{self.high_hz:.3g} Hz (a {isolation:g}th)",
            "no part can do both: idle faster, or let the camera follow less",
        )

    @property
    def load_factor(self) -> float:
        """The greatest load factor either way, in units of weight."""
        return max(abs(f) for f in self.load_factors)

    @property
    def weight_n(self) -> float:
        """Weight of the heaviest package, N."""
        return self.heavy.mass_kg * STANDARD_GRAVITY_M_S2


@dataclass(frozen=True, eq=False)
class Rest:
    """A pair of halves under a payload at rest: where one has lifted off, the other alone acts.

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
        """Ln of the stiffness per modulus, shape (draws, steps); ``both``, shape (draws,), where both halves touch."""
        return np.where(self.lifted, self.ln_scale, both[:, None])


@dataclass(frozen=True, kw_only=True)
class Requirement:
    """One thing that a part has to hold.

    Attributes
    ----------
    name : str
        "vertical", "lateral", "longitudinal", "roll", "pitch", "yaw", "travel", "strain", "lift-off", "buckling" or
        "service".
    probability : float
        That it holds at every temperature asked for.
    margin : float
        Room to its limit, median draw at the worst temperature, below 0 where it fails: of motions in natural
        frequency, of travel, strain and lift-off in load or length, each as a share of what is allowed or there; of
        the service range in kelvin over 20.
    temperature_c : float
        Where it is tightest.
    stiff : bool
        Of motions, whether the room is towards softer parts: too stiff where it fails.
    """

    name: str
    probability: float
    margin: float
    temperature_c: float
    stiff: bool = False


@dataclass(frozen=True, eq=False)
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
    ln_scale : ndarray, shape (draws,)
        ln of the stiffness of all pieces together at a Young's modulus of 1 MPa, N/mm, the part's own offset in it.
    offset : ndarray, shape (draws,)
        The part's own offset: ln of true over computed stiffness.
    ratio : float
        Sideways over axial stiffness of a piece; 0 when it is not known.
    by_step : ndarray, shape (steps,)
        Probability that it holds at each temperature.
    probability, craft : float
        That it holds at every temperature; the same of what concerns the craft alone.
    share : float
        Expected share of the hours that it holds.
    met : float
        Expected number of requirements that hold throughout, less for what the others lack.
    margin : float
        Median room of the tightest requirement of the picture or of travel, in ln of natural frequency.
    worst : int
        Step at which it is least probable to hold.
    rest : dict of float: Rest
        For a pair of halves, what acts at rest under a package, by its mass in kg; empty for other forms.
    """

    judge: Judge
    index: int
    candidate: Candidate
    squeeze_mm: float
    ln_scale: Array
    offset: Array
    ratio: float
    by_step: Array
    probability: float
    craft: float
    share: float
    met: float
    margin: float
    worst: int
    rest: dict[float, Rest] = field(default_factory=dict)
    visited: NDArray[np.bool_] = field(repr=False, default_factory=lambda: np.ones(1, dtype=bool))

    def ln_stiffness(self, step: int, mass_kg: float) -> Array:
        """Ln of the stiffness per modulus under a package at rest at one temperature, shape (draws,)."""
        return self.rest[mass_kg].over(self.ln_scale)[:, step] if self.rest else self.ln_scale

    def lifted(self, step: int, mass_kg: float) -> float:
        """Probability that a half has lifted off under a package at rest."""
        return float(self.rest[mass_kg].lifted[:, step].mean()) if self.rest else 0.0

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
        alike = (-min(round(each, 2), _SURE) for each in (self.probability, self.share, self.craft))
        return *alike, *compromise, self.squeeze_mm

    @property
    def acting(self) -> tuple[Array, Array]:
        """Ln of the stiffness per modulus under the heaviest and the lightest package, (draws, steps) or (draws, 1)."""
        return self.judge.acting(self.ln_scale, self.rest)

    @cached_property
    def requirements(self) -> tuple[Requirement, ...]:
        """Every requirement, the deciding one first: the least probable, of those alike the tightest."""
        steps = self.judge.exposed.steps
        found = []
        for name, room, stiff in self.judge.rooms(self):
            over = room[:, self.visited]
            tight = np.median(over, axis=0)
            at = int(np.argmin(tight))
            margin = float(band(over.min(axis=1)).median)
            if name in CRAFT:
                margin = margin if name == "service" else math.expm1(min(margin, _MOST_MARGIN))
            else:
                margin = math.expm1(min(0.5 * margin, _MOST_MARGIN))
            found.append(
                Requirement(
                    name=name,
                    probability=float((over >= 0.0).all(axis=1).mean()),
                    margin=margin,
                    temperature_c=float(steps[self.visited][at]),
                    stiff=stiff is not None and bool(np.median(stiff[:, self.visited][:, at]) > 0.5),
                )
            )
        return tuple(sorted(found, key=lambda each: (round(each.probability, 2), each.margin)))

    @property
    def deciding(self) -> Requirement:
        """What decides."""
        return self.requirements[0]


class _Geometry:
    """What a mounting allows in every direction, whatever the material: found once for all parts.

    Parameters
    ----------
    ratio : ndarray
        Ratios of sideways to axial stiffness of the parts, ascending, above 0.
    """

    def __init__(self, mounting: Mounting, payload: Payload, ratio: Array) -> None:
        count = min(_RATIOS, 2 + int(math.log(ratio[-1] / ratio[0]) / _RATIO_STEP))
        self.ratio = ratio if ratio.size <= count else np.geomspace(ratio[0], ratio[-1], count)
        isolation, follow = (1.0 / (r * r - 1.0) for r in mounting.ratios)
        self.bodies = bodies = [turning(mounting, each.name) for each in payload.packages]
        self.allowed = [AllowedStiffness(body, self.ratio, isolation, follow) for body in bodies]
        pushed = [
            np.stack(body.pushed(self.ratio)) * each.mass_kg / payload.heavy.mass_kg
            for body, each in zip(bodies, payload.packages, strict=True)
        ]
        #: Deflection along and across an isolator under a force of 1 N over that of ``count`` in line, shape (r, 2, 3).
        self.pushed = np.moveaxis(np.maximum.reduce(pushed) * payload.count, 1, 0)
        # What is allowed grows with frequency by its square, and a modulus by less than its first power: the lowest
        # rotor frequency and the top of the manoeuvre band decide.
        self.rotor_hz = np.array([band.low_hz for band in mounting.rotor_bands])
        self.follow_hz = mounting.manoeuvre_hz * np.array([0.5, 1.0] if mounting.manoeuvre_hz > 0.0 else [])
        self.ln_count = math.log(payload.count)


class _Directions:
    """Limits of ln total axial stiffness per modulus of one material, N/mm per MPa, for each motion and ratio."""

    def __init__(self, window: Window, geometry: _Geometry) -> None:
        self.geometry, self.ln_ratio = geometry, np.log(geometry.ratio)
        shape = (len(geometry.ratio), *window.high.shape)

        def bound(hz: Array, which: str, fold: np.ufunc) -> Array:
            modulus = np.stack([window.ln_modulus(f) for f in hz], axis=-1)
            each = [getattr(allowed, which)(modulus, 2.0 * math.pi * hz) for allowed in geometry.allowed]
            return np.ascontiguousarray(np.moveaxis(fold.reduce(each), (2, 3), (0, 1)))

        #: Shape (r, motions, draws, steps).
        self.most = bound(geometry.rotor_hz, "most", np.minimum) + (geometry.ln_count + _HAIR)
        self.least = np.full((shape[0], 3, *shape[1:]), -NO_LIMIT)
        if geometry.follow_hz.size:
            self.least = bound(geometry.follow_hz, "least", np.maximum) + (geometry.ln_count - _HAIR)
        self.most_all, self.least_all = self.most.min(axis=1), self.least.max(axis=1)

    def at(self, ratio: float, table: Array) -> Array:
        """A table, its first axis the ratio, between two ratios."""
        if len(self.ln_ratio) == 1:
            return np.asarray(table[0])
        place = np.interp(math.log(ratio), self.ln_ratio, np.arange(float(len(self.ln_ratio))))
        low = min(int(place), len(self.ln_ratio) - 2)
        part = place - low
        if part < 1e-9:
            return np.asarray(table[low])
        if part > 1.0 - 1e-9:
            return np.asarray(table[low + 1])
        return np.asarray(table[low] * (1.0 - part) + table[low + 1] * part)


class Judge:
    """Everything about one material under a mounting that does not depend on the part.

    Parameters
    ----------
    curve : Curve
        Of the material.
    mounting : Mounting
        What is asked; its limits hold for every part alike.
    payload : Payload
        The packages that are judged.
    exposed : Exposure
        Temperatures of the candidates.
    geometry : _Geometry or None
        Of the mounting and all parts; None where the mounting does not tell enough to judge every direction.
    axis : str
        Axis of the parts that carries the motion.
    """

    def __init__(
        self,
        curve: Curve,
        mounting: Mounting,
        payload: Payload,
        exposed: Exposure,
        geometry: _Geometry | None,
        axis: str = "axial",
    ) -> None:
        self.curve, self.mounting, self.payload, self.exposed, self.axis = curve, mounting, payload, exposed, axis
        self.window = window = Window(curve, exposed.steps, payload.low_hz, payload.high_hz)
        self.directions = _Directions(window, geometry) if geometry is not None else None
        self._moduli: dict[int, NDArray[np.complex128]] = {}
        # In terms of ln stiffness per modulus in N/mm: the lightest package is stiffest, the heaviest softest.
        self.most = window.high + (math.log(1e-3 * payload.light.mass_kg) + _HAIR)
        self.least = window.low + (math.log(1e-3 * payload.heavy.mass_kg) - _HAIR)
        self.bearing = math.log(payload.weight_n) - window.ln_load_modulus
        self.resting = math.log(payload.weight_n) - window.ln_static_modulus

    def picture(self, ratio: float) -> tuple[Array, Array]:
        """Ln of the largest and of the smallest stiffness per modulus that the picture allows, (draws, steps) each."""
        if self.directions is None or ratio <= 0.0:
            return self.most, self.least
        return tuple(self.directions.at(ratio, t) for t in (self.directions.most_all, self.directions.least_all))  # type: ignore[return-value]

    def rooms(self, found: Judgement) -> Iterator[tuple[str, Array, NDArray[np.bool_] | None]]:
        """Of each requirement its name, its room over draws and temperatures, and where softer parts have more."""
        soft, stiff = found.acting
        if self.directions is None or not found.all_directions:
            bounds = [("vertical", self.most, self.least)]
        else:
            most, least = (self.directions.at(found.ratio, t) for t in (self.directions.most, self.directions.least))
            none = np.full((1, 1), -NO_LIMIT)
            bounds = [(m, most[j], least[j - 3] if m in TURNS else none) for j, m in enumerate(MOTIONS)]
        for name, upper, lower in bounds:
            above, below = upper - stiff, soft - lower
            yield name, np.minimum(above, below), above < below
        for name, room in self.craft(found.candidate, found.squeeze_mm, found.ln_scale, found.ratio, found.offset):
            yield name, room, None

    @cached_property
    def _looked_at(self) -> tuple[Array, int]:
        """Frequencies in the rotor bands, then in the manoeuvre band, Hz; and how many the first are."""
        bands, top = self.mounting.rotor_bands, self.mounting.manoeuvre_hz
        rotor = np.concatenate([np.geomspace(b.low_hz, b.high_hz, _LOOKED) for b in bands])
        slow = np.linspace(top / _LOOKED, top, _LOOKED) if top > 0.0 else rotor[:0]
        return np.concatenate([rotor, slow]), len(rotor)

    def motion(self, found: Judgement, name: str, temperature_c: float) -> tuple[float, float, float, float]:
        """Of a motion, median draw: largest share that gets through and its Hz, largest share missed and its Hz."""
        step = int(np.argmin(np.abs(self.exposed.steps - temperature_c)))
        draw = int(np.argsort(found.ln_stiffness(step, self.payload.heavy.mass_kg))[len(found.ln_scale) // 2])
        hz, rotor = self._looked_at
        if step not in self._moduli:
            at = np.full(hz.shape, self.exposed.steps[step])
            self._moduli[step] = self.curve.ln_modulus(at, np.log(2.0 * math.pi * hz))
        modulus = self._moduli[step][draw]
        k = np.exp(modulus + found.ln_stiffness(step, self.payload.heavy.mass_kg)[draw]) / self.payload.count
        z = (1e3 * k / (2.0 * math.pi * hz) ** 2)[None]
        assert self.directions is not None
        told = [body.shares(np.array([found.ratio]), z) for body in self.directions.geometry.bodies]
        through = np.maximum.reduce([t[0][0, :rotor, MOTIONS.index(name)] for t in told])
        missed = np.zeros(1)
        if name in TURNS and rotor < len(hz):
            missed = np.maximum.reduce([t[1][0, rotor:, TURNS.index(name)] for t in told])
        most, lost = int(np.argmax(through)), int(np.argmax(missed))
        return float(through[most]), float(hz[most]), float(missed[lost]), float(hz[min(rotor + lost, len(hz) - 1)])

    def craft(
        self, each: Candidate, squeeze_mm: float, ln_scale: Array, ratio: float, offset: Array
    ) -> Iterator[tuple[str, Array]]:
        """Requirements of the craft: name and room over draws and temperatures."""
        form, scale = each.part.form, ln_scale[:, None]
        need = self._travel(form, squeeze_mm, ratio)
        if need > -math.inf:
            yield "buckling" if form.leans else "travel", scale - self.bearing - need
        pair = form.pair
        if pair is None:
            height = form.bearing_height_mm
            if height > 0.0 and form.travel_height(self.axis) is not None:
                left = self.mounting.strain_most * height - squeeze_mm
                yield "strain", scale - self.resting + math.log(left) if left > 0.0 else scale - self.resting - NO_LIMIT
        else:
            case = self.case(form, self.payload.heavy.mass_kg, offset)
            most = np.asarray(most_squeeze(case))
            yield "strain", _ln(np.broadcast_to(most, self.resting.shape) / max(squeeze_mm, 1e-9))
            low, high = lift_off_load_factors(case, squeeze_mm=squeeze_mm, settled=True)
            least, greatest = self.payload.load_factors
            touch = np.asarray(high) / greatest
            if least < 0.0:
                touch = np.minimum(touch, np.asarray(low) / least)
            yield "lift-off", _ln(np.broadcast_to(touch, self.resting.shape))
        low_c, high_c = service_range(each.material)
        steps = self.exposed.steps
        inside = np.minimum(steps - low_c, high_c - steps) / SERVICE_K
        yield "service", np.broadcast_to(inside, self.resting.shape)

    def _travel(self, form: FormBase, squeeze_mm: float, ratio: float) -> float:
        """Ln of the largest stiffness over that of the parts in line at which travel just suffices, per N and mm."""
        room_of, clear = form.travel_height(self.axis), self.mounting.clearance_mm or math.inf
        along = across = math.inf
        if room_of:
            along = MAX_SQUEEZE_SHARE * room_of[0] - room_of[1] * squeeze_mm
            across = _SHEAR_MOST * form.bearing_height_mm
        room = np.array([min(along, clear), min(across, clear)])
        if room[0] <= 0.0:
            return NO_LIMIT
        factors = np.array([self.payload.load_factor, 1.0, 1.0])
        if self.directions is None or ratio <= 0.0:
            need = factors[:1] / room[0]
        else:
            need = (self.directions.at(ratio, self.directions.geometry.pushed) * factors) / room[:, None]
        most = float(np.max(need))
        return math.log(most) if most > 0.0 else -math.inf

    def case(self, form: FormBase, mass_kg: float, offset: Array) -> SqueezeCase:
        """A pair of halves under a package, over draws and temperatures."""
        assert form.pair is not None
        return pair_case(
            form.pair,
            self.curve.family,
            payload_kg=mass_kg,
            count=self.payload.count,
            static_modulus_mpa=np.exp(self.window.ln_static_modulus + offset[:, None]),
            temperature_c=self.window.temperature_c,
            load_factors=self.payload.load_factors,
            strain_limit=self.mounting.strain_most,
            assembly_c=self.mounting.assembly_c,
            set_share=self.mounting.set_share,
        )

    def acting(self, ln_scale: Array, rest: dict[float, Rest]) -> tuple[Array, Array]:
        """Ln of the stiffness per modulus under the heaviest and the lightest package, (draws, steps) or (draws, 1)."""
        if not rest:
            return ln_scale[:, None], ln_scale[:, None]
        return rest[self.payload.heavy.mass_kg].over(ln_scale), rest[self.payload.light.mass_kg].over(ln_scale)

    def rests(self, form: FormBase, squeeze_mm: Sequence[float], offset: Array) -> list[dict[float, Rest]]:
        """What acts at rest under each package, by its mass, for each squeeze; empty where nothing lifts off."""
        found: list[dict[float, Rest]] = [{} for _ in squeeze_mm]
        if form.pair is None or self.axis != "axial":
            return found
        more = math.log(self.payload.count) + offset[:, None]
        for mass in {each.mass_kg for each in self.payload.packages}:
            case = self.case(form, mass, offset)
            alone = ln_lower_half_stiffness(case) + more
            for rest, squeeze in zip(found, squeeze_mm, strict=True):
                rest[mass] = Rest(lifted_at_rest(case, squeeze, settled=True), alone)
        return found

    def judged(
        self, index: int, each: Candidate, squeezes: Sequence[float], units: tuple[Array, Array]
    ) -> list[Judgement]:
        """Judge a part at some squeezes; ``units`` are its stiffness along and across at a modulus of 1 MPa, N/mm."""
        row = int(self.exposed.row[index])
        weight = self.exposed.weight[row]
        visited = weight > 0.0
        offset = self.curve.offset_draws(each.part.name, each.part.form.offset_sd(self.axis))
        out = []
        for squeeze, along, across, rest in zip(
            squeezes, *units, self.rests(each.part.form, squeezes, offset), strict=True
        ):
            ratio = across / along if self.directions is not None else 0.0
            ln_scale = math.log(along * self.payload.count) + offset
            soft, stiff = self.acting(ln_scale, rest)
            most, least = self.picture(ratio)
            room = np.minimum(most - stiff, soft - least)
            craft, met = np.ones(room.shape, dtype=bool), _met(room[:, visited])
            for name, left in self.craft(each, squeeze, ln_scale, ratio, offset):
                craft &= left >= 0.0
                met += _met(left[:, visited])
                if name != "service":
                    room = np.minimum(room, left)
            holds = craft & (room >= 0.0)
            by_step = holds.mean(axis=0)
            # Among equally probable hours, the one nearest to a limit.
            tie = by_step + 1e-6 * np.clip(room[len(room) // 2], -1e3, 1e3)
            out.append(
                Judgement(
                    judge=self,
                    index=index,
                    candidate=each,
                    squeeze_mm=float(squeeze),
                    ln_scale=ln_scale,
                    offset=offset,
                    ratio=ratio,
                    by_step=by_step,
                    probability=float(holds[:, visited].all(axis=1).mean()),
                    craft=float(craft[:, visited].all(axis=1).mean()),
                    share=float(by_step @ weight / weight.sum()),
                    met=met,
                    margin=0.5 * float(np.median(room[:, visited].min(axis=1))),
                    worst=int(np.argmin(np.where(visited, tie, np.inf))),
                    rest=rest,
                    visited=visited,
                )
            )
        return out


def _met(room: Array) -> float:
    """Probability that a requirement holds throughout; where it never does, a little less the more it lacks."""
    least = room.min(axis=1)
    return float((least >= 0.0).mean() + 0.03 * np.clip(np.median(least), -3.0, 0.0))


def _ln(ratio: Array) -> Array:
    return np.log(np.clip(ratio, math.exp(-NO_LIMIT), math.exp(NO_LIMIT)))


def _units(part: Part, axis: str, squeezes: Sequence[float], directions: bool) -> tuple[Array, Array]:
    """Stiffness along and across a piece at each squeeze, N/mm at 1 MPa; across 0 where not asked or not known."""
    tried = np.array(squeezes, dtype=float)
    try:
        along = np.asarray(part.form.stiffness_n_per_mm(1.0, axis, squeeze_mm=tried))
        aside = part.form.cross_axis if directions else None
        across = (
            np.zeros(1) if aside is None else np.asarray(part.form.stiffness_n_per_mm(1.0, aside, squeeze_mm=tried))
        )
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
    units = [_units(each.part, axis, q, directions) for each, q in zip(candidates, squeezes, strict=True)]
    ratio = np.unique(np.concatenate([across / along for along, across in units])) if units else np.zeros(0)
    ratio = ratio[ratio > 0.0]
    geometry = _Geometry(mounting, payload, ratio) if ratio.size else None
    groups: dict[int, list[int]] = {}
    for index, each in enumerate(candidates):
        groups.setdefault(id(each.curve), []).append(index)
    for members in groups.values():
        of_curve = Judge(candidates[members[0]].curve, mounting, payload, exposed, geometry, axis)
        found = []
        for index in members:
            mine = of_curve.judged(index, candidates[index], squeezes[index], units[index])
            found.extend(mine if every_squeeze else [min(mine, key=lambda each: each.squeeze_key)])
        yield found
