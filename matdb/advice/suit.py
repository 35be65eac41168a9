"""Which isolator suits: every candidate against the frequency window over the temperatures of a flight."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar, Final

import numpy as np

from matdb.advice.camera import CameraShake, SixAxes, camera_shake, six_axes
from matdb.advice.cost import Cost, cost_of
from matdb.advice.effective import Grave, state_warnings, worst_first
from matdb.advice.exposure import Temperatures, exposure
from matdb.advice.judge import Judge, judge
from matdb.advice.judgement import Judgement
from matdb.advice.requirement import SERVICE_K, Candidate, Payload, Requirement, open_to_readings
from matdb.advice.verdict import reason, sags, stopped, verdict
from matdb.arrays import Array
from matdb.curve.band import Band, band, median
from matdb.curve.next_reading import NextReading, rank_next_readings
from matdb.errors import InputError
from matdb.fields import PlainRecord
from matdb.mounting.record import CameraPackage, Mounting
from matdb.mounting.shake import AirframeSpectrum, pixels_per_rad
from matdb.mounting.six_axis import suspension
from matdb.mounting.suspended import follow_error, transmissibility
from matdb.units import percent

#: Static compression over this share of the height is warned of; common practice, no source.
STATIC_SHARE_MOST: Final = 0.15
#: So is squeeze and static compression together over this share; common practice, no source.
SQUEEZE_SHARE_MOST: Final = 0.25
#: Six axes, shake and what to read next are told for so many of the best parts.
DETAILED_ROWS: Final = 10
_TOLD: Final = ("cold", "warm", "worst")
#: Motions that a part's stiffness across its axis holds.
_SIDEWAYS: Final = ("lateral", "longitudinal", "yaw")
#: Rows described at once, so that memory does not grow with the number of parts.
_BLOCK: Final = 64


@dataclass(frozen=True, kw_only=True)
class State(PlainRecord):
    """The suspended camera at one temperature; ``package`` is the one that is nearest to its limit there."""

    told_as: ClassVar[Mapping[str, str]] = {"transmissibility": "transmissibility_at_lowest_rotor_order"}

    temperature_c: float
    natural_frequency_hz: Band
    damping_ratio: Band
    transmissibility: Band
    probability: float
    package: str = "main"


@dataclass(frozen=True, kw_only=True)
class Suitability(PlainRecord):
    """One row of the ranking; ``str(row)`` gives verdict, probability and reason in one line.

    Attributes
    ----------
    rank : int
        From 1; parts that cannot be told apart share one.
    part, material, basis : str
        What was judged, and what the answer rests on.
    verdict : str
        One of the words of ``VERDICTS``; never to be shown without ``probability``.
    probability : float
        That every requirement holds at every temperature, whichever camera package is flown.
    share_of_temperatures : float
        Expected share of the hours (or temperatures) at which all of that holds.
    hours : float
        Hours (or temperatures) looked at.
    cold, warm, worst : State
        At both ends, and where the probability is least.
    worst_when : str
        The first time of the worst temperature; empty when times are not known.
    fails_in, may_fail_in : tuple of str
        Of a table of months those in which it rather fails than holds at times, and those in which that is open.
    squeeze_mm : float
        The static squeeze judged: the one asked for, or the best of those tried.
    isolation_margin, follow_margin : float
        Ratio of rotor to natural frequency, and of natural frequency to manoeuvre band, over the least one allowed,
        minus 1: median at the temperature that is worst for each; follow None when nothing has to be followed.
    travel_margin : float or None
        Room for travel over the travel at the greatest load factor, minus 1, median at the softest; None without a
        height to travel in.
    lift_off_margin : float or None
        For two halves squeezed by a screw, after set and shrinkage: load factor at which one lifts off over the one in
        flight, minus 1, median at the worst; None for parts that cannot lift off.
    service_margin_k : float
        Kelvin to the nearer end of the service range; below 0 outside.
    rotor_transmissibility : Band
        Largest share of the airframe's motion that gets through at any rotor order and speed, at the worst temperature.
    rotor_worst_hz : float
        The frequency at which that happens (median draw).
    follow_error : Band
        Largest share of a manoeuvre that the camera misses within the manoeuvre band, at the softest.
    deciding : str
        The requirement that decides: the first of ``requirements``.
    requirements : tuple of Requirement
        Everything that was asked, the least probable first.
    all_directions : bool
        Whether every direction was judged; else up and down only, and no verdict is better than "probably suits".
    cost : Cost
        Height, weight and money of all pieces, which put parts in order that are alike in all else.
    turns, spacer_mm : float or None
        The squeeze in turns of the screw past first touch, where that is known, and the length of a spacer that stops
        two halves there, mm.
    reason : str
        One sentence.
    settle : str
        The reading to take next on the part, of the best parts whose verdict is open; empty when none is worth it.
    six_axes : SixAxes or None
        All six axes at the worst temperature, for mountings that tell positions and inertia; the best parts only.
    shake : CameraShake or None
        Residual shake in pixels, for the same when a spectrum of the airframe is given.
    warnings : tuple of str
        What to know first.
    extrapolated : bool
        Whether one of the states told lies outside the measured temperatures or frequencies (always so for a prior).
    rests_on : str
        What the numbers rest on, in a builder's words.
    """

    rank: int
    part: str
    material: str
    basis: str
    verdict: str
    probability: float
    share_of_temperatures: float
    hours: float
    cold: State
    warm: State
    worst: State
    worst_when: str
    squeeze_mm: float
    isolation_margin: float
    follow_margin: float | None
    travel_margin: float | None
    lift_off_margin: float | None
    service_margin_k: float
    rotor_transmissibility: Band
    rotor_worst_hz: float
    follow_error: Band
    reason: str
    settle: str = ""
    deciding: str
    requirements: tuple[Requirement, ...]
    all_directions: bool
    cost: Cost
    turns: float | None = None
    spacer_mm: float | None = None
    six_axes: SixAxes | None = None
    shake: CameraShake | None = None
    warnings: tuple[str, ...] = ()
    extrapolated: bool = False
    rests_on: str = ""
    fails_in: tuple[str, ...] = ()
    may_fail_in: tuple[str, ...] = ()

    @property
    def open_to_readings(self) -> bool:
        """Whether more readings may still turn the verdict, either way."""
        return open_to_readings(self.probability)

    def __str__(self) -> str:
        text = f"{self.rank}. {self.part}: {self.verdict} (probability {percent(self.probability)}): {self.reason}"
        return f"{text}; to settle it, take {self.settle}" if self.settle else text


def suit(
    candidates: Sequence[Candidate],
    mounting: Mounting,
    temperature_c: Temperatures,
    *,
    squeeze_mm: float | None = None,
    axis: str = "axial",
    package: str | None = None,
    spectrum: AirframeSpectrum | None = None,
) -> list[Suitability]:
    """Rank isolators for a mounting over the temperatures of a flight.

    Parameters
    ----------
    candidates : sequence of Candidate
        In any order; the ranking does not depend on it, nor on names.
    mounting : Mounting
        Payload, number of isolators, rotors, manoeuvre band.
    temperature_c : array_like of shape (hours,), Forecast or Flight
        Temperatures that the camera will be flown at, degrees Celsius; one an hour when hours are to be counted. A
        ``Flight`` also knows take-off hours and a warm car.
    squeeze_mm : float or None
        Static squeeze of each part; None tries several and keeps the best for each part.
    axis : str
        Axis of the parts that carries the motion.
    package : str or None
        Judge only this camera package; None asks that all of them, one at a time, hold.
    spectrum : AirframeSpectrum or None
        What the airframe was measured to do: then shake and requirements are told in pixels too.

    Returns
    -------
    list of Suitability
        Best first: by probability of holding throughout (to a percent), then by the expected share of hours (to a
        thousandth), then by the room to the nearest limit, then by what gets through at the lowest rotor order.

    Raises
    ------
    InputError
        A temperature out of range, no such package, a part without that axis, or demands that no natural frequency
        can meet; a spectrum for a mounting that does not tell positions, inertia, focal length or pixel pitch.
    """
    Payload.of(mounting, package).possible(mounting)
    if spectrum is not None:
        suspension(mounting, package or "main")
        pixels_per_rad(mounting)
    exposed = exposure([(each.part, each.material) for each in candidates], temperature_c)
    judged: list[tuple[tuple[float, ...], Suitability, Candidate]] = []
    for members in judge(
        candidates, mounting, exposed, package=package, axis=axis, squeeze_mm=squeeze_mm, spectrum=spectrum
    ):
        view = _View(members[0].judge)
        for start in range(0, len(members), _BLOCK):
            judged.extend(view.rows(members[start : start + _BLOCK]))
    judged.sort(key=lambda found: (*found[0], found[1].part))
    ranked: list[Suitability] = []
    for place, (key, row, found) in enumerate(judged):
        same = place > 0 and key == judged[place - 1][0]
        more: dict[str, Any] = {"rank": ranked[-1].rank if same else place + 1}
        if place < DETAILED_ROWS and mounting.has_six_axes:
            more |= _six_axes(found, row, mounting, spectrum)
        if place < DETAILED_ROWS and row.open_to_readings:
            first = next_readings(found, mounting, row.requirements[0], axis=axis, squeeze_mm=row.squeeze_mm)[:1]
            more["settle"] = "".join(each.in_words for each in first if each.worth_taking)
        ranked.append(dataclasses.replace(row, **more))
    return ranked


def next_readings(
    candidate: Candidate, mounting: Mounting, decides: Requirement, *, axis: str = "axial", **how: Any
) -> list[NextReading]:
    """The readings to take next on a part for a mounting, as :func:`rank_next_readings` has them.

    Of the stiffness that decides, at the temperature at which it does: across upright parts where they move so.
    """
    part = candidate.part
    across, upright = part.form.cross_axis, not (mounting.inclination_deg or mounting.directions)
    how |= {"axis": across if across and upright and axis == "axial" and decides.name in _SIDEWAYS else axis}
    how |= {"mass_kg": mounting.mass_kg, "count": mounting.count}
    return rank_next_readings(candidate.curve, candidate.material, part, decides.temperature_c, **how)


def _six_axes(
    candidate: Candidate, row: Suitability, mounting: Mounting, spectrum: AirframeSpectrum | None
) -> dict[str, Any]:
    package = row.worst.package
    try:
        told = six_axes(candidate, mounting, row.worst.temperature_c, squeeze_mm=row.squeeze_mm, package=package)
    except InputError as error:
        return {"warnings": (*row.warnings, f"six axes cannot be told: {str(error).removeprefix('form: ')}")}
    more: dict[str, Any] = {"six_axes": told, "warnings": tuple(dict.fromkeys((*row.warnings, *told.warnings)))}
    if spectrum is not None:
        more["shake"] = camera_shake(
            candidate, mounting, spectrum, row.worst.temperature_c, squeeze_mm=row.squeeze_mm, package=package
        )
    return more


class _View:
    """Full rows of one material: what does not depend on the part is evaluated once."""

    def __init__(self, of: Judge) -> None:
        self.judge, self.window, self.curve = of, of.window, of.curve
        self.mounting, self.payload, self.exposed, self.axis = of.mounting, of.payload, of.exposed, of.axis
        mounting, payload = of.mounting, of.payload
        self.several = payload.light.mass_kg != payload.heavy.mass_kg
        self.most_step, self.least_step = np.median(of.most, axis=1), np.median(of.least, axis=1)
        self.bands = mounting.rotor_bands
        self.rotor = mounting.lowest_rotor_hz

    def rows(self, members: Sequence[Judgement]) -> list[tuple[tuple[float, ...], Suitability, Candidate]]:
        """Rows of some scores with their sorting keys."""
        places: list[dict[str, int]] = []
        columns: list[tuple[int, int, CameraPackage]] = []
        for number, found in enumerate(members):
            seen: dict[tuple[int, str], int] = {}
            places.append({})
            for name, (step, package) in self._looked_at(found).items():
                key = (step, package.name)
                if key not in seen:
                    seen[key] = len(columns)
                    columns.append((number, step, package))
                places[-1][name] = seen[key]
        at = np.array([c[1] for c in columns], dtype=np.int64)
        mass = np.array([c[2].mass_kg for c in columns])
        scale = np.stack([members[c[0]].ln_stiffness(c[1], c[2].mass_kg) for c in columns], axis=1)
        felt = [members[c[0]].softening for c in columns]
        frequency, ln_e = self.window.natural(scale + np.log(1e3 / mass), at, felt)
        rotor, hz = self.rotor, self.judge.rotor_hz[:1]
        at_rotor = np.concatenate([members[c[0]].modulus(hz, c[1]) for c in columns], axis=1)
        through = transmissibility(mass, at_rotor * np.exp(scale), rotor)
        told = [_each(band(values)) for values in (frequency, 0.5 * np.tan(ln_e.imag), through)]
        out = []
        for number, found in enumerate(members):
            states = {
                name: State(
                    temperature_c=float(self.exposed.steps[at[column]]),
                    natural_frequency_hz=told[0][column],
                    damping_ratio=told[1][column],
                    transmissibility=told[2][column],
                    probability=float(found.by_step[at[column]]),
                    package=columns[column][2].name,
                )
                for name, column in places[number].items()
            }
            out.append(self._row(found, states))
        return out

    def _looked_at(self, found: Judgement) -> dict[str, tuple[int, CameraPackage]]:
        """The temperatures of a row, and the camera package that is nearest to its limit at each."""
        light, heavy = self.payload.light, self.payload.heavy
        visited = np.flatnonzero(found.weight > 0.0)
        middle = float(np.median(found.ln_stiffness(found.worst, heavy.mass_kg)))
        stiff = self.most_step[found.worst] - middle < middle - self.least_step[found.worst]
        return {
            "cold": (int(visited[0]), light),
            "warm": (int(visited[-1]), heavy),
            "worst": (found.worst, light if stiff else heavy),
            "stiffest": (int(visited[np.argmin(self.most_step[visited])]), light),
            "softest": (
                int(visited[np.argmax(self.least_step[visited])] if self.payload.low_hz > 0.0 else visited[-1]),
                heavy,
            ),
        }

    def _row(self, found: Judgement, states: dict[str, State]) -> tuple[tuple[float, ...], Suitability, Candidate]:
        part, worst = found.candidate.part, states["worst"]
        margins = {each.name: each.margin for each in found.requirements}
        follow: float | None
        if found.all_directions:
            isolation, follow = _margin(found.isolation), _margin(found.follow)
        else:
            isolation = self.payload.high_hz / states["stiffest"].natural_frequency_hz.median - 1.0
            low = self.payload.low_hz
            follow = states["softest"].natural_frequency_hz.median / low - 1.0 if low > 0.0 else None
        travel = min((margins[name] for name in ("travel", "buckling") if name in margins), default=None)
        rotor_through, rotor_worst = self._through_rotor(found, worst.package)
        pair = part.form.pair
        deciding = found.deciding
        row = Suitability(
            rank=0,
            part=part.name,
            material=found.candidate.material.name,
            basis=self.curve.basis,
            verdict=verdict(found.probability, found.all_directions, self.curve.contradicted),
            probability=found.probability,
            share_of_temperatures=found.share,
            hours=float(found.weight.sum()),
            cold=states["cold"],
            warm=states["warm"],
            worst=worst,
            worst_when=self.exposed.when(found.index, found.worst),
            squeeze_mm=found.squeeze_mm,
            isolation_margin=isolation,
            follow_margin=follow,
            travel_margin=travel,
            lift_off_margin=margins.get("lift-off"),
            service_margin_k=SERVICE_K * margins["service"],
            rotor_transmissibility=rotor_through,
            rotor_worst_hz=rotor_worst,
            follow_error=self._missed(found, states["softest"].temperature_c),
            reason=reason(found, worst.package if self.several else "", timed=True),
            deciding=deciding.name,
            requirements=found.requirements,
            all_directions=found.all_directions,
            cost=(cost := cost_of(part, found.candidate.material, self.mounting.count, found.squeeze_mm)),
            turns=part.turns_at(found.squeeze_mm),
            spacer_mm=None if pair is None else pair.stack_mm - found.squeeze_mm,
            warnings=self._warnings(found, states, margins.get("lift-off")),
            extrapolated=bool(np.any(self.curve.extrapolated(*_told(states)))),
            rests_on=self.curve.rests_on(part.name, states["cold"].temperature_c, states["warm"].temperature_c),
            **self.exposed.failing(found.index, found.by_step),
        )
        alike = round(worst.transmissibility.median, 9), round(worst.natural_frequency_hz.median, 9)
        return (*found.key, *alike, *cost.key), row, found.candidate

    def _mass(self, package: str) -> float:
        return next(p.mass_kg for p in (self.payload.light, self.payload.heavy) if p.name == package)

    def _sag(self, found: Judgement) -> float:
        """How far the heaviest package presses the part at the softest temperature, median draw, mm."""
        still = float(np.median(found.ln_softest + found.ln_scale))
        return self.payload.weight_n / math.exp(still)

    def _through_rotor(self, found: Judgement, package: str) -> tuple[Band, float]:
        mass_kg = self._mass(package)
        hz, scale = self.judge.rotor_hz, found.ln_stiffness(found.worst, mass_kg)[:, None]
        through = transmissibility(mass_kg, found.modulus(hz, found.worst) * np.exp(scale), hz)
        most = np.argmax(through, axis=1)
        return band(through.max(axis=1)), float(np.sort(hz[most])[len(most) // 2])

    def _missed(self, found: Judgement, temperature_c: float) -> Band:
        hz, mass_kg, step = self.judge.follow_hz, self.payload.heavy.mass_kg, self.judge.step(temperature_c)
        if not hz.size:
            return Band(0.0, 0.0, 0.0)
        k = found.modulus(hz, step) * np.exp(found.ln_stiffness(step, mass_kg))[:, None]
        return band(follow_error(mass_kg, k, hz).max(axis=1))

    def _warnings(self, found: Judgement, states: dict[str, State], touch: float | None) -> tuple[str, ...]:
        part, rotor = found.candidate.part, self.rotor
        told = [states[name] for name in _TOLD]
        at, natural = _told(states)
        said = list(
            state_warnings(
                self.curve, found.candidate.material, part, at, natural, axis=self.axis, squeeze_mm=found.squeeze_mm
            )
        )
        stiffest = states["stiffest"].natural_frequency_hz.median
        least = self.mounting.ratios[0]
        if rotor / stiffest < least:
            said.append(f"rotor to natural frequency falls to {rotor / stiffest:.2f}, below {least:g}")
        inside = [b for b in self.bands if b.low_hz <= stiffest <= b.high_hz]
        if inside:
            said.append(f"resonates within the range of rotor order {inside[0].label}")
        if states["softest"].natural_frequency_hz.median <= self.mounting.manoeuvre_hz:
            said.append("the natural frequency lies inside the manoeuvre band")
        short = [each for each in found.requirements if each.name in ("travel", "buckling") and each.margin < 0.0]
        said.extend(Grave(stopped(found, each)) for each in short)
        if touch is not None and touch < 0.0:
            low, high = self.mounting.load_factors
            said.append(f"a half lifts off between load factors {low:g} and {high:g}: it will rattle")
        heavy = self.payload.heavy.mass_kg
        loose = [s.temperature_c for s in told if found.lifted(self.judge.step(s.temperature_c), heavy) > 0.5]
        if loose:
            told_at = f"at rest a half has lifted off already (at {loose[0]:g} degC)"
            said.append(Grave(f"{told_at}: the natural frequency told is that of the other half alone"))
        travels = part.form.travel_height(self.axis)
        if travels is not None:
            sag = self._sag(found)
            # Sets and creeps by its own height, not by the travel that buckling leaves it.
            height = part.form.bearing_height_mm
            its = "its height" if part.form.pair is None else "its lower half's height"
            if sag > height:
                said.append(Grave(f"{sags(sag, height)} under the payload: it cannot carry that"))
            elif sag > STATIC_SHARE_MOST * height:
                said.append(f"{sags(sag, height)} under the payload, more than 15 % of {its}: creep and set")
            elif sag + travels[1] * found.squeeze_mm > SQUEEZE_SHARE_MOST * height:
                said.append(f"squeeze and sag together exceed 25 % of {its}: creep and set")
        return worst_first(said)


def _each(bands: Band) -> list[Band]:
    """The band of each entry of an array's."""
    ends = (bands.median, bands.low, bands.high)
    return [Band(*each) for each in zip(*(end.tolist() for end in ends), strict=True)]


def _told(states: dict[str, State]) -> tuple[Array, Array]:
    """Temperatures and median natural frequencies of the states that a row tells."""
    told = [states[name] for name in _TOLD]
    return np.array([s.temperature_c for s in told]), np.array([s.natural_frequency_hz.median for s in told])


def _margin(room: Array) -> float:
    """Median room at the worst temperature, in natural frequency."""
    return math.expm1(min(0.5 * float(median(room)), 4.6))
