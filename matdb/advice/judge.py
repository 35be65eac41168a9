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
from functools import cached_property
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from matdb.advice.exposure import Exposure
from matdb.advice.judgement import Asked, Felt, Halves, Judgement, Own
from matdb.advice.requirement import Candidate, Payload, Requirement
from matdb.advice.window import LOAD_HZ, Window
from matdb.arrays import Array
from matdb.checks import checked_array
from matdb.curve.band import median
from matdb.errors import InputError
from matdb.form.base import MAX_SQUEEZE_SHARE, FormBase
from matdb.form.bulk_softening import BulkSoftening
from matdb.mounting.directions import MOTIONS, NO_LIMIT, TURNS, Directions, tilting_step, turning
from matdb.mounting.on_part import tilting_of
from matdb.mounting.record import Mounting
from matdb.mounting.shake import AirframeSpectrum, turned_px
from matdb.mounting.squeeze import STATIC_HZ, pair_case

if TYPE_CHECKING:
    from matdb.mounting.squeeze import SqueezeCase


#: Frequencies that a told share is the largest of, in each rotor band and in the manoeuvre band.
_LOOKED: Final = 24
#: A hair of slack, so that a natural frequency exactly on a limit counts as inside.
_HAIR: Final = 1e-9
#: Most sideways shear over height that a part travels; common practice, no source.
_SHEAR_MOST: Final = 0.75


class Judge:
    """Everything about one material under a mounting that does not depend on the part.

    Arrays have the temperatures first and the draws last, (steps, draws): most is asked of all draws at a temperature.

    Parameters
    ----------
    window : Window
        The material over the temperatures.
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
        window: Window,
        mounting: Mounting,
        payload: Payload,
        exposed: Exposure,
        directions: Directions | None,
        axis: str = "axial",
        spectrum: AirframeSpectrum | None = None,
    ) -> None:
        self.window, self.mounting, self.payload, self.exposed, self.axis = window, mounting, payload, exposed, axis
        self.spectrum = spectrum
        self.curve = window.curve
        self.directions = directions
        # In terms of ln stiffness per modulus in N/mm: the lightest package is stiffest, the heaviest softest.
        self.most = _turned(window.high + (math.log(1e-3 * payload.light.mass_kg) + _HAIR))
        self.least = _turned(window.low + (math.log(1e-3 * payload.heavy.mass_kg) - _HAIR))
        needs = (math.log(payload.weight_n) - each for each in (window.ln_load_modulus, window.ln_static_modulus))
        self._rigid = Felt(0.0, 0.0, *(Asked(_turned(each)) for each in needs))
        self._visited: dict[int, Any] = {}
        self._last: tuple[BulkSoftening | None, bool, Felt] = None, False, self._rigid

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

    def visited(self, row: int) -> Any:
        """Which steps a row of the exposure is flown at, an index."""
        if row not in self._visited:
            weight = self.exposed.weight[row]
            self._visited[row] = slice(None) if weight.all() else weight > 0.0
        return self._visited[row]

    def step(self, temperature_c: float) -> int:
        """The step of a temperature."""
        return int(np.argmin(np.abs(self.exposed.steps - temperature_c)))

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
        ln_modulus = found.ln_modulus(hz, step)
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

    def travel(self, form: FormBase, squeeze_mm: float, ratio: float) -> Iterator[tuple[str, float, bool]]:
        """Of travel, and of a form that leans of buckling, how stiff a part has to be.

        Yields
        ------
        (str, float, bool)
            Name; ln of the largest stiffness over that of the parts in line at which it just suffices, per N and mm;
            whether what asks for it is the craft's leaning, and not the load factor.
        """
        room_of, clear = form.travel_height(self.axis), self.mounting.clearance_mm or math.inf
        along = across = math.inf
        if room_of:
            along = MAX_SQUEEZE_SHARE * room_of[0] - room_of[1] * squeeze_mm
            across = _SHEAR_MOST * form.bearing_height_mm
        if form.leans:
            yield "buckling", *self._bearing(ratio, along, math.inf)
            along = math.inf
        yield "travel", *self._bearing(ratio, min(along, clear), min(across, clear))

    def _bearing(self, ratio: float, along: float, across: float) -> tuple[float, bool]:
        """See :meth:`travel`, of what there is along and across a part, mm."""
        if along <= 0.0:
            return NO_LIMIT, False
        if self.directions is None or ratio <= 0.0:
            most, leaning = self.mounting.load_factor / along, False
        else:
            each = self.directions.pushed(ratio) * (self.mounting.load_factor, 1.0, 1.0) / ((along,), (across,))
            most, leaning = float(each.max()), bool(each[:, 0].max() < each.max())
        return (math.log(most) if most > 0.0 else -math.inf), leaning

    def felt(self, softening: BulkSoftening | None, directions: bool) -> Felt:
        """What a part feels of the material; kept for the part asked about last, squeeze after squeeze."""
        if softening is None:
            return self._rigid
        if self._last[:2] != (softening, directions):
            mounting, payload = self.mounting, self.payload
            stiff_hz, soft_hz = payload.high_hz, payload.low_hz
            if directions:
                stiff_hz, soft_hz = mounting.lowest_rotor_hz, mounting.manoeuvre_hz
            at = (stiff_hz, not directions), (soft_hz, not directions), (LOAD_HZ, True), (STATIC_HZ, True)
            places = self.window.places
            stiff, soft, load, still = (
                softening.left(places(hz), storage=storage) if hz > 0.0 else 0.0 for hz, storage in at
            )
            rigid = self._rigid
            felt = Felt(stiff, soft, Asked(rigid.bearing.of - load), Asked(rigid.resting.of - still))
            self._last = softening, directions, felt
        return self._last[2]

    def case(self, form: FormBase, mass_kg: float, ln_still: Array) -> SqueezeCase:
        """A pair of halves under a package, from ln of its storage modulus at rest, shape (draws, temperatures)."""
        assert form.pair is not None
        return pair_case(
            form.pair,
            self.curve.family,
            payload_kg=mass_kg,
            count=self.mounting.count,
            static_modulus_mpa=np.exp(ln_still),
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
        softening, halves = each.curve.felt_by, None
        if form.pair is not None:
            still = self.felt(softening, self.directions is not None and bool(units[1].any())).resting.of
            halves = Halves(self, form, offset, (math.log(self.payload.weight_n) - still).T + offset[:, None])
        own = Own(offset, halves, softening)
        return [
            Judgement(self, index, each, squeeze, unit, own)
            for squeeze, unit in zip(squeezes, zip(*(side.tolist() for side in units), strict=True), strict=True)
        ]


def _turned(values: Array) -> Array:
    """From (draws, steps) to (steps, draws)."""
    return np.ascontiguousarray(values.T)


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
    told = [] if squeeze_mm is None else checked_array("squeeze_mm", squeeze_mm, 0.0, 1000.0, "mm").ravel().tolist()
    if not told and squeeze_mm is not None:
        raise InputError("squeeze_mm", squeeze_mm, "at least one, or None for the best")
    squeezes = [told or each.part.form.squeezes_to_try(axis) for each in candidates]
    units = [_units(each, axis, q, directions) for each, q in zip(candidates, squeezes, strict=True)]
    # Of the unsqueezed part, so that what is judged does not depend on the squeezes that are tried beside it.
    square = turning(mounting, mounting.all_packages[0].name).radius_mm ** 2 if directions else 0.0
    tilts = [
        tilting_step(square, tilting_of(form) / form.stiffness_n_per_mm(1.0, axis)) if across[0] else 0.0
        for form, (_, across) in zip((each.part.form for each in candidates), units, strict=True)
    ]
    sides = {}
    for tilt in set(tilts):
        of_tilt = [across / along for (along, across), each in zip(units, tilts, strict=True) if each == tilt]
        ratio = np.unique(np.concatenate(of_tilt))
        if ratio[-1] > 0.0:
            sides[tilt] = Directions(mounting, payload.packages, ratio[ratio > 0.0], tilt)
    felt = list(exposed.felt(candidates, axis))
    groups: dict[int, list[int]] = {}
    for index, (curve, _) in enumerate(felt):
        groups.setdefault(id(curve), []).append(index)
    for members in groups.values():
        window, found = Window(felt[members[0]][0], exposed.steps, payload.low_hz, payload.high_hz), []
        by_tilt = {
            tilt: Judge(window, mounting, payload, exposed, sides.get(tilt), axis, spectrum)
            for tilt in {tilts[index] for index in members}
        }
        for index in members:
            mine = by_tilt[tilts[index]].judged(index, felt[index][1], squeezes[index], units[index])
            found.extend(mine if every_squeeze else [min(mine, key=lambda each: each.squeeze_key).settled()])
        yield found
