"""Which reading to take next: the affordable ones ranked by how much each is expected to narrow an answer.

A candidate's outcome is simulated for some draws of the posterior taken as truths, with the noise and the slips that
such a reading has. Each outcome then weighs all other draws by their likelihood, just as the fit would, and the asked
band is read from the weighted draws; the mean over the outcomes is what to expect [1]_.

References
----------
.. [1] K. Chaloner, I. Verdinelli, Stat. Sci. 10 (1995) 273 (design by expected posterior spread).
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike

from matdb.arrays import Array
from matdb.bench.readings import Deflection, Reading, RingDown
from matdb.bench.thermal.body import body_of
from matdb.bench.thermal.soak import soak
from matdb.checks import checked_number, checked_state, checked_whole
from matdb.curve.band import Band, band
from matdb.curve.curve import Curve
from matdb.curve.evidence import FUMBLED_SHARE, FUMBLED_WIDTH, ln_tolerant
from matdb.curve.gathering import gather
from matdb.curve.posterior import MISFIT_SCALE, fit_posterior, prior_population
from matdb.curve.prior import prior_of
from matdb.errors import InputError
from matdb.fields import PlainRecord
from matdb.form.part import Part
from matdb.material.record import Material, service_range
from matdb.mounting.suspended import ln_storage
from matdb.units import STANDARD_GRAVITY_M_S2

#: Particles of each run and draws in total that the ranking is computed over; outcomes simulated a candidate.
_PARTICLES: Final = 1600
_DRAWS: Final = 3600
_OUTCOMES: Final = 128
#: A ring-down from 2 to 300 Hz can be read with a telephone and a tap.
_HERTZ: Final = (2.0, 300.0)
#: A deflection should be read to better than a fifth, and stay below this share of the height.
_LEAST_DEFLECTION_MM: Final = 0.02
_MOST_STRAIN: Final = 0.15
_STATIC_S: Final = 10.0


#: A reading that narrows the band by less than this share is not worth its minutes; choice.
WORTH_SHARE: Final = 0.03
#: Readings that differ only by mass, and by less than this share of today's width, are one to choose from; choice.
_ALIKE_SHARE: Final = 0.02
#: Minutes to soak through what does not say how thick it is, and to read; common practice, no source.
_SOAK_MIN: Final = 60.0
_DEFLECTION_MIN, _RING_DOWN_MIN = 5.0, 3.0
#: What the minutes of a reading are for.
MINUTES_HOLD: Final = (
    f"soaking through, as 'matdb soak' tells it ({_SOAK_MIN:g} for a part of unknown thickness), then loading and "
    f"reading ({_RING_DOWN_MIN:g} to {_DEFLECTION_MIN:g})"
)


@dataclass(frozen=True, kw_only=True)
class Affordable:
    """What the bench can do.

    Attributes
    ----------
    temperatures_c : tuple of float
        Temperatures that can be held, degrees Celsius: freezer, refrigerator, room, oven.
    masses_kg : tuple of float or None
        Masses at hand, on ``count`` parts; None takes half, once and twice the mass that rings at the asked
        frequency.
    kinds : tuple of str
        "ring-down" and "deflection".
    """

    temperatures_c: tuple[float, ...] = (-18.0, 5.0, 23.0, 40.0, 60.0)
    masses_kg: tuple[float, ...] | None = None
    kinds: tuple[str, ...] = ("ring-down", "deflection")

    def __post_init__(self) -> None:
        for field in ("temperatures_c", "masses_kg", "kinds"):
            value = getattr(self, field)
            if value is not None and not isinstance(value, tuple | list):
                raise InputError(f"affordable {field}", value, "a tuple of them")
        if not self.temperatures_c or not self.kinds:
            raise InputError("affordable", "nothing", "at least one temperature and one kind of reading")
        for t in self.temperatures_c:
            checked_number("affordable temperature", t, -150.0, 400.0, "degrees Celsius")
        for m in self.masses_kg or ():
            checked_number("affordable mass", m, 0.0, 1000.0, "kg", open_low=True)
        for kind in self.kinds:
            if not isinstance(kind, str) or kind not in ("ring-down", "deflection"):
                raise InputError("affordable kind", kind, "ring-down or deflection")


@dataclass(frozen=True, kw_only=True)
class NextReading(PlainRecord):
    """A reading that could be taken, and what it is expected to be worth.

    Attributes
    ----------
    kind : str
        "ring-down" or "deflection".
    part : str
        The part to read.
    temperature_c, mass_kg, count, squeeze_mm
        Where, with which mass, on how many parts, each squeezed by how much.
    width_before, width_after : float
        Mean over the asked states of ln(high / low) of the stiffness band, now and as expected with the reading.
    narrowing : float
        1 - width_after / width_before.
    band_before, band_after : Band
        Stiffness of one part in N/mm over the asked states, now and as expected.
    minutes : float
        About how long it takes, soaking included: see ``MINUTES_HOLD``.
    why : str
        The reason in words.
    """

    kind: str
    part: str
    temperature_c: float
    mass_kg: float
    count: int
    width_before: float
    width_after: float
    narrowing: float
    band_before: Band
    band_after: Band
    minutes: float
    why: str
    squeeze_mm: float = 0.0

    @property
    def worth_taking(self) -> bool:
        """Whether it is expected to narrow the band by 3 % or more."""
        return self.narrowing >= WORTH_SHARE

    def to_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return super().to_dict() | {"worth_taking": self.worth_taking}


def rank_next_readings(
    curve: Curve,
    material: Material,
    part: Part,
    parts: Mapping[str, Part],
    readings: Sequence[Reading],
    temperatures_c: ArrayLike,
    frequency_hz: float | None = None,
    mass_kg: float | None = None,
    count: int = 1,
    affordable: Affordable | None = None,
    *,
    axis: str = "axial",
    squeeze_mm: float = 0.0,
) -> list[NextReading]:
    """Rank readings by how much each is expected to narrow the stiffness band of a part.

    Parameters
    ----------
    curve : Curve
        The material's curve, fitted to ``readings`` (or the prior's, without any).
    material : Material
        Its record.
    part : Part
        The part that is asked about and read.
    parts, readings
        All readings of the material and the parts that they name.
    temperatures_c : array_like
        The temperatures asked about, degrees Celsius: two are taken as the ends of a range.
    frequency_hz, mass_kg : float, optional
        The stiffness asked about holds at this frequency, or at the natural frequency under this mass on ``count``
        parts; 30 Hz when neither is given.
    count : int
        Parts that share the mass.
    affordable : Affordable, optional
        What the bench can do.
    axis, squeeze_mm
        Axis of the part and its static squeeze, for question and readings alike.

    Returns
    -------
    list of NextReading
        Best first; empty when nothing affordable is sensible on this part.

    Raises
    ------
    InputError
        A temperature, mass or count out of range, or both frequency and mass given.
    """
    if frequency_hz is not None and mass_kg is not None:
        raise InputError("frequency_hz", frequency_hz, "left out when mass_kg is given", "give one of the two")
    count = checked_whole("count", count, 1, 1000)
    if mass_kg is not None:
        mass_kg = checked_number("mass_kg", mass_kg, 0.0, 1000.0, "kg", open_low=True)
    hertz = 30.0 if frequency_hz is None else checked_number("frequency_hz", frequency_hz, 1e-3, 1e12, "Hz")
    asked = checked_state(temperatures_c, hertz)[0].ravel()
    if not asked.size:
        raise InputError("temperatures_c", "none", "at least one temperature")
    if asked.size == 2:
        asked = np.linspace(asked[0], asked[1], 9)
    able = affordable or Affordable()
    many, noise = _many_draws(curve, material, parts, readings)
    trial = _Trial(many, noise, part, axis, squeeze_mm, count, asked, mass_kg, hertz)
    before = band(np.exp(trial.ln_stiffness(many)))
    low, high = service_range(material)
    candidates = trial.candidates(
        [t for t in able.temperatures_c if low <= t <= high], able.masses_kg or trial.usual_masses(), able.kinds
    )
    found = [trial.judged(reading, before) for reading in candidates]
    return sorted(found, key=lambda each: (each.width_after, each.minutes))


def without_near_duplicates(ranking: Sequence[NextReading]) -> list[NextReading]:
    """Drop readings that differ from a better one only by their mass and bring nearly the same.

    Parameters
    ----------
    ranking : sequence of NextReading
        Best first.
    """
    different: list[NextReading] = []
    for each in ranking:
        alike = (o for o in different if abs(each.width_after - o.width_after) <= _ALIKE_SHARE * each.width_before)
        if _but_for_mass(each) not in map(_but_for_mass, alike):
            different.append(each)
    return different


def _but_for_mass(reading: NextReading) -> tuple[object, ...]:
    return reading.part, reading.kind, reading.temperature_c, reading.count


def _many_draws(
    curve: Curve, material: Material, parts: Mapping[str, Part], readings: Sequence[Reading]
) -> tuple[Curve, Array]:
    """The curve with more draws than it keeps, and their noise factors."""
    prior, by_part = prior_of(material), dict[str, Any]()
    if readings:
        evidence = gather(readings, parts, material.family)
        posterior = fit_posterior(prior, evidence, seed=curve.seed, particles=_PARTICLES, draws=_DRAWS)
        by_part = evidence.by_part(posterior.offsets)
    else:
        posterior = prior_population(prior, curve.seed, draws=_DRAWS)
    found = {name: getattr(posterior, name) for name in ("misfit", "rest", "softening")}
    return dataclasses.replace(curve, parameters=posterior.draws, **by_part, **found), posterior.noise


@dataclass(eq=False)
class _Trial:
    """The part on the bench as every draw has it, and the stiffness that is asked about."""

    many: Curve
    noise: Array
    part: Part
    axis: str
    squeeze_mm: float
    count: int
    asked: Array
    mass_kg: float | None
    frequency_hz: float

    def __post_init__(self) -> None:
        form = self.part.form
        unit = float(form.stiffness_n_per_mm(1.0, self.axis, squeeze_mm=self.squeeze_mm))
        self.many = self.many.through(form, self.axis, self.many.ln_stiffest(self.asked, self.frequency_hz))
        self.offset = self.many.offset_draws(self.part, self.axis)
        #: ln of the stiffness per modulus of one part, every draw.
        self.ln_scale = (self.offset + math.log(unit))[:, None]
        rng = np.random.default_rng([self.many.seed, 5])
        n = len(self.offset)
        # The same truths and the same luck for all candidates, so that they are compared fairly.
        self.truths = (np.arange(_OUTCOMES) * n + n // 2) // _OUTCOMES
        slip = np.where(rng.random((2, _OUTCOMES)) < FUMBLED_SHARE, FUMBLED_WIDTH, 1.0)
        self.chance = slip * rng.standard_normal((2, _OUTCOMES))
        self.ln_omega = (
            np.full(self.asked.shape, math.log(2.0 * math.pi * self.frequency_hz))
            if self.mass_kg is None
            else self.natural_ln_omega(self.asked, self.mass_kg)
        )

    def natural_ln_omega(self, temperature_c: Array, mass_kg: float) -> Array:
        """Ln of the natural angular frequency under a mass, shape (draws, temperatures)."""
        ln_w = self.ln_scale + math.log(1e3 * self.count / mass_kg) + np.zeros(temperature_c.size)
        return self.many.natural_ln_omega(temperature_c, ln_w)

    def ln_stiffness(self, curve: Curve, *, misfit: bool = True) -> Array:
        """The asked stiffness: ln N/mm of one part over the asked states, every draw."""
        return ln_storage(curve.ln_modulus(self.asked, self.ln_omega, misfit=misfit)) + self.ln_scale

    def usual_masses(self) -> tuple[float, ...]:
        """Half, once and twice the mass that rings at the asked frequency in the middle of the range."""
        middle = self.mass_kg
        if middle is None:
            stiff = float(np.exp(np.median(self.ln_stiffness(self.many, misfit=False)))) * self.count
            middle = stiff * 1e3 / (2.0 * math.pi * self.frequency_hz) ** 2
        # A mass has two figures that count.
        digits = 1 - math.floor(math.log10(middle))
        return tuple(round(share * middle, digits + 1) for share in (0.5, 1.0, 2.0))

    def candidates(
        self, temperatures_c: Sequence[float], masses_kg: Sequence[float], kinds: Sequence[str]
    ) -> list[RingDown | Deflection]:
        """Sensible readings, with the outcome that the median draw would give."""
        t = np.array(temperatures_c, dtype=float)
        if not t.size:
            return []
        height = self.part.form.squeezable_height_mm
        slow = self.many.ln_modulus(t, np.full(t.shape, -math.log(_STATIC_S)), misfit=False)
        soft = np.median(np.exp(slow.real + self.ln_scale) * np.cos(slow.imag), axis=0)
        made: list[RingDown | Deflection] = []
        for mass in masses_kg:
            ln_omega = self.natural_ln_omega(t, mass)
            hertz = np.exp(np.median(ln_omega, axis=0)) / (2.0 * math.pi)
            loss = np.median(np.tan(self.many.ln_modulus(t, ln_omega, misfit=False).imag), axis=0)
            for k, temperature in enumerate(t.tolist()):
                where: dict[str, Any] = {
                    "part": self.part.name,
                    "axis": self.axis,
                    "squeeze_mm": self.squeeze_mm,
                    "temperature_c": temperature,
                    "mass_kg": mass,
                    "count": self.count,
                }
                if "ring-down" in kinds and _HERTZ[0] <= hertz[k] <= _HERTZ[1]:
                    decrement = float(np.clip(math.pi * loss[k], 1e-3, 6.0))
                    made.append(RingDown(**where, frequency_hz=float(hertz[k]), log_decrement=decrement))
                sag = mass * STANDARD_GRAVITY_M_S2 / (self.count * float(soft[k]))
                fits = height is None or sag <= _MOST_STRAIN * height
                if "deflection" in kinds and sag >= _LEAST_DEFLECTION_MM and fits:
                    made.append(Deflection(**where, deflection_mm=sag, dwell_s=_STATIC_S))
        return made

    def weights(self, reading: RingDown | Deflection) -> Array:
        """Weight of every draw after each simulated outcome, shape (outcomes, draws)."""
        evidence = gather([reading], {self.part.name: self.part})
        stiff, loss, stiff_rate, loss_rate = evidence.predict(self.many.parameters, self.offset[:, None])
        misfit = self.many.misfit if self.many.misfit.any() else np.full(len(self.offset), MISFIT_SCALE)
        stiff_sd, loss_sd = evidence.residual_scale(stiff_rate, loss_rate, self.noise, misfit[:, None])
        total = np.zeros((len(self.truths), len(self.offset)))
        shown = [(stiff, stiff_sd)] if np.isnan(evidence.loss[0]) else [(stiff, stiff_sd), (loss, loss_sd)]
        for (value, sd), chance in zip(shown, self.chance, strict=False):
            seen = value[self.truths, 0] + sd[self.truths, 0] * chance
            total = total + ln_tolerant((seen[:, None] - value[:, 0]) / sd[:, 0]) - np.log(sd[:, 0])
        total[np.arange(len(self.truths)), self.truths] = -np.inf
        weight = np.exp(total - total.max(axis=1, keepdims=True))
        return np.asarray(weight / weight.sum(axis=1, keepdims=True))

    def judged(self, reading: RingDown | Deflection, before: Band) -> NextReading:
        """What a reading is expected to be worth: the band once it is taken lies around today's median."""
        t = reading.temperature_c
        low, high = self.many.measured_c or (t, t)
        # The misfit grows away from the measured temperatures, which the reading widens.
        wider = dataclasses.replace(self.many, measured_c=(min(low, t), max(high, t)))
        ends = _weighted_ends(self.ln_stiffness(wider), self.weights(reading))
        low_end, middle, high_end = ends.mean(axis=1)
        after = Band(before.median, before.median * np.exp(low_end - middle), before.median * np.exp(high_end - middle))
        now = _width(before)
        then = min(_width(after), now)
        return NextReading(
            kind=reading.kind,
            part=reading.part,
            temperature_c=t,
            mass_kg=reading.mass_kg,
            count=reading.count,
            width_before=now,
            width_after=then,
            narrowing=1.0 - then / now if now > 0.0 else 0.0,
            band_before=before,
            band_after=after,
            minutes=self.soak_min(t) + (_DEFLECTION_MIN if isinstance(reading, Deflection) else _RING_DOWN_MIN),
            why=self.why(reading, now, then),
            squeeze_mm=self.squeeze_mm,
        )

    def soak_min(self, temperature_c: float) -> float:
        """Minutes to soak the part from the room, on the safe side."""
        body = body_of(self.part.form)
        return _SOAK_MIN if body is None else float(soak(body, temperature_c, family=self.many.family).planned_min)

    def why(self, reading: RingDown | Deflection, now: float, then: float) -> str:
        """The reason in words; ``now`` and ``then`` are ln widths of the band."""
        t = reading.temperature_c
        if self.many.measured_c is None:
            known = "nothing was read of this material yet"
        elif t < self.many.measured_c[0] - 0.5:
            known = f"the coldest reading so far is at {self.many.measured_c[0]:.3g} degC"
        elif t > self.many.measured_c[1] + 0.5:
            known = f"the warmest reading so far is at {self.many.measured_c[1]:.3g} degC"
        else:
            known = f"it lies within the temperatures read so far ({self.many.measured_span})"
        gives = "the slow stiffness"
        if isinstance(reading, RingDown):
            gives = f"stiffness and damping near {reading.frequency_hz:.2g} Hz"
        first, last = float(self.asked.min()), float(self.asked.max())
        over = f"at {first:g} degC" if first == last else f"from {first:g} to {last:g} degC"
        return (
            f"{_chamber(t)}: {known}; it gives {gives}; expected to narrow the stiffness band {over} by "
            f"{100.0 * (1.0 - then / now if now > 0.0 else 0.0):.0f} %"
        )


def _weighted_ends(values: Array, weights: Array) -> Array:
    """Quantiles 2.5, 50 and 97.5 % of columns under weights, shape (3, outcomes, columns)."""
    out = np.empty((3, len(weights), values.shape[1]))
    for k in range(values.shape[1]):
        order = np.argsort(values[:, k])
        ordered = values[order, k]
        share = np.cumsum(weights[:, order], axis=1)
        for i, level in enumerate((0.025, 0.5, 0.975)):
            place = (share < level).sum(axis=1).clip(max=len(ordered) - 1)
            out[i, :, k] = ordered[place]
    return out


def _width(stiffness: Band) -> float:
    return float(np.mean(np.log(stiffness.high / stiffness.low)))


def _chamber(temperature_c: float) -> str:
    """Where a part is brought to a temperature; common practice, no source."""
    if 15.0 <= temperature_c <= 30.0:
        return "at room temperature"
    if temperature_c < 0.0:
        return "in the freezer"
    return "in the refrigerator" if temperature_c < 15.0 else "in the oven"
