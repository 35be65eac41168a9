"""Which reading to take next: the affordable ones ranked by how much each is expected to narrow an answer.

What a reading would show is predicted for every draw of the curve. As far as the asked stiffness goes with it from draw
to draw, the reading tells of it, the less the noisier it is: the band shrinks as that of a normal would [1]_.

References
----------
.. [1] K. Chaloner, I. Verdinelli, Stat. Sci. 10 (1995) 273 (design by expected posterior spread).
"""

from __future__ import annotations

import dataclasses
import math
import os
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike

from matdb.arrays import Array
from matdb.bench.readings import Deflection, RingDown
from matdb.bench.thermal.body import body_of
from matdb.bench.thermal.soak import soak
from matdb.checks import checked_number, checked_state, checked_whole
from matdb.curve.band import Band, band
from matdb.curve.curve import Curve
from matdb.curve.evidence import GROUPS
from matdb.curve.gathering import gather
from matdb.curve.posterior import MISFIT_SCALE
from matdb.curve.tolerance import FUMBLED_SHARE
from matdb.errors import InputError
from matdb.fields import PlainRecord
from matdb.form.part import Part
from matdb.material.record import Material, service_range
from matdb.mounting.suspended import ln_storage
from matdb.units import STANDARD_GRAVITY_M_S2, mass_text, parse_list

#: Freezer, refrigerator, room, oven; common practice, no source.
_USUAL_C: Final = (-18.0, 5.0, 23.0, 40.0, 60.0)
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


def _at_hand_c() -> tuple[float, ...]:
    """Temperatures that can be held: those told once for all, or what is usual."""
    return parse_list(os.environ.get("MATDB_TEMPS"), "temperature", "MATDB_TEMPS") or _USUAL_C


@dataclass(frozen=True, kw_only=True)
class Affordable:
    """What the bench can do.

    Attributes
    ----------
    temperatures_c : tuple of float
        Temperatures that can be held, degrees Celsius; those that the environment variable ``MATDB_TEMPS`` names, such
        as "-18C,5C,21C", or else -18, 5, 23, 40 and 60 degrees: freezer, refrigerator, room, oven.
    masses_kg : tuple of float or None
        Masses at hand, on ``count`` parts; None takes half, once and twice the mass that rings at the asked
        frequency.
    kinds : tuple of str
        "ring-down" and "deflection".
    """

    temperatures_c: tuple[float, ...] = field(default_factory=_at_hand_c)
    masses_kg: tuple[float, ...] | None = None
    kinds: tuple[str, ...] = ("ring-down", "deflection")

    def __post_init__(self) -> None:
        for name in ("temperatures_c", "masses_kg", "kinds"):
            value = getattr(self, name)
            if value is not None and not isinstance(value, tuple | list):
                raise InputError(f"affordable {name}", value, "a tuple of them")
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
    asked_c : float
        The lowest temperature that is asked about, degrees Celsius.
    axis : str
        The part's axis that is asked about and read.
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
    asked_c: float
    squeeze_mm: float = 0.0
    axis: str = "axial"

    @property
    def worth_taking(self) -> bool:
        """Whether it is expected to narrow the band by 3 % or more."""
        return self.narrowing >= WORTH_SHARE

    @property
    def gain(self) -> float:
        """What it is expected to take off ln of the band's width."""
        return self.width_before - self.width_after

    @property
    def load_in_words(self) -> str:
        """Mass and number of parts under it."""
        return mass_text(self.mass_kg) + (f" on {self.count}" if self.count > 1 else "")

    @property
    def in_words(self) -> str:
        """What to take, on what, where, with which mass, and how long that takes."""
        where = f"on {self.part} at {self.temperature_c:g} degC with {self.load_in_words}"
        return f"a {self.kind_in_words} {where}, about {self.minutes:.0f} minutes with soaking"

    @property
    def kind_in_words(self) -> str:
        """Its kind, and whether it is taken across the part's axis."""
        return self.kind if self.axis == "axial" else f"sideways {self.kind}"

    def to_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return super().to_dict() | {"worth_taking": self.worth_taking}


def rank_next_readings(
    curve: Curve,
    material: Material,
    part: Part,
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
        The material's curve, fitted to all its readings (or the prior's, without any).
    material : Material
        Its record.
    part : Part
        The part that is asked about and read.
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
    asked = np.unique(checked_state(temperatures_c, hertz)[0])
    if not asked.size:
        raise InputError("temperatures_c", "none", "at least one temperature")
    if asked.size == 2:
        asked = np.linspace(asked[0], asked[1], 9)
    able = affordable or Affordable()
    trial = _Trial(curve, part, axis, squeeze_mm, count, asked, mass_kg, hertz)
    before = band(np.exp(trial.ln_stiffness(trial.curve)))
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


@dataclass(eq=False)
class _Trial:
    """The part on the bench as every draw has it, and the stiffness that is asked about."""

    curve: Curve
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
        self.curve = self.curve.through(form, self.axis, self.curve.ln_stiffest(self.asked, self.frequency_hz))
        self.offset = self.curve.offset_draws(self.part, self.axis)
        #: ln of the stiffness per modulus of one part, every draw.
        self.ln_scale = (self.offset + math.log(unit))[:, None]
        self.at = cache(self._at)
        self.ln_omega = (
            np.full(self.asked.shape, math.log(2.0 * math.pi * self.frequency_hz))
            if self.mass_kg is None
            else self.natural_ln_omega(self.asked, self.mass_kg)
        )

    def natural_ln_omega(self, temperature_c: Array, mass_kg: float) -> Array:
        """Ln of the natural angular frequency under a mass, shape (draws, temperatures)."""
        ln_w = self.ln_scale + math.log(1e3 * self.count / mass_kg) + np.zeros(temperature_c.size)
        return self.curve.natural_ln_omega(temperature_c, ln_w)

    def ln_stiffness(self, curve: Curve, *, misfit: bool = True) -> Array:
        """The asked stiffness: ln N/mm of one part over the asked states, every draw."""
        return ln_storage(curve.ln_modulus(self.asked, self.ln_omega, misfit=misfit)) + self.ln_scale

    def usual_masses(self) -> tuple[float, ...]:
        """Half, once and twice the mass that rings at the asked frequency in the middle of the range."""
        middle = self.mass_kg
        if middle is None:
            stiff = float(np.exp(np.median(self.ln_stiffness(self.curve, misfit=False)))) * self.count
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
        slow = self.curve.ln_modulus(t, np.full(t.shape, -math.log(_STATIC_S)), misfit=False)
        soft = np.median(np.exp(slow.real + self.ln_scale) * np.cos(slow.imag), axis=0)
        made: list[RingDown | Deflection] = []
        for mass in masses_kg:
            ln_omega = self.natural_ln_omega(t, mass)
            hertz = np.exp(np.median(ln_omega, axis=0)) / (2.0 * math.pi)
            loss = np.median(np.tan(self.curve.ln_modulus(t, ln_omega, misfit=False).imag), axis=0)
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

    def shown(self, reading: RingDown | Deflection) -> tuple[Array, Array]:
        """What a reading would show on every draw, ln, and its standard deviations, shape (n, components)."""
        n, evidence = len(self.offset), gather([reading], {self.part.name: self.part}, self.curve.family)
        predicted = evidence.predict(self.curve.parameters, self.offset[:, None])
        misfit = self.curve.misfit if self.curve.misfit.any() else np.full(n, MISFIT_SCALE)
        spreads = evidence.residual_scale(*predicted[2:], np.ones((n, len(GROUPS))), misfit[:, None])
        components = 1 + int(isinstance(reading, RingDown))
        return np.hstack(predicted[:components]), np.hstack(spreads[:components])

    def _at(self, temperature_c: float) -> tuple[Array, float]:
        """The asked stiffness once a reading at a temperature is taken, about its mean, and the minutes to soak."""
        low, high = self.curve.measured_c or (temperature_c, temperature_c)
        # The misfit grows away from the measured temperatures, which the reading widens.
        wider = (min(low, temperature_c), max(high, temperature_c))
        asked = self.ln_stiffness(dataclasses.replace(self.curve, measured_c=wider))
        body = body_of(self.part.form)
        # From the room, on the safe side.
        soaking = None if body is None else soak(body, temperature_c, family=self.curve.family).planned_min
        return asked - asked.mean(axis=0), _SOAK_MIN if soaking is None else float(soaking)

    def judged(self, reading: RingDown | Deflection, before: Band) -> NextReading:
        """What a reading is expected to be worth: the band once it is taken lies around today's median."""
        t = reading.temperature_c
        off, soak_min = self.at(t)
        shown, sd = self.shown(reading)
        far = shown - shown.mean(axis=0)
        spread = far.T @ far / len(far) + np.diag((sd**2).mean(axis=0))
        told = far.T @ off / len(far)
        left = np.sqrt(1.0 - np.sum(told * np.linalg.solve(spread, told), axis=0) / np.maximum(off.var(axis=0), 1e-300))
        # A fumbled reading leaves all as it was.
        left, ends = left + FUMBLED_SHARE * (1.0 - left), band(off)
        after = Band(
            *(before.median * np.exp(left * (end - ends.median)) for end in (ends.median, ends.low, ends.high))
        )
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
            minutes=soak_min + (_DEFLECTION_MIN if isinstance(reading, Deflection) else _RING_DOWN_MIN),
            why=self.why(reading, now, then),
            asked_c=float(self.asked[0]),
            squeeze_mm=self.squeeze_mm,
            axis=self.axis,
        )

    def why(self, reading: RingDown | Deflection, now: float, then: float) -> str:
        """The reason in words; ``now`` and ``then`` are ln widths of the band."""
        t = reading.temperature_c
        if self.curve.measured_c is None:
            known = "nothing was read of this material yet"
        elif t < self.curve.measured_c[0] - 0.5:
            known = f"the coldest reading so far is at {self.curve.measured_c[0]:.3g} degC"
        elif t > self.curve.measured_c[1] + 0.5:
            known = f"the warmest reading so far is at {self.curve.measured_c[1]:.3g} degC"
        else:
            known = f"it lies within the temperatures read so far ({self.curve.measured_span})"
        gives = "the slow stiffness"
        if isinstance(reading, RingDown):
            gives = f"stiffness and damping near {reading.frequency_hz:.2g} Hz"
        first, last = float(self.asked.min()), float(self.asked.max())
        over = f"at {first:g} degC" if first == last else f"from {first:g} to {last:g} degC"
        return (
            f"{_chamber(t)}: {known}; it gives {gives}; expected to narrow the stiffness band {over} by "
            f"{100.0 * (1.0 - then / now if now > 0.0 else 0.0):.0f} %"
        )


def _width(stiffness: Band) -> float:
    return float(np.mean(np.log(stiffness.high / stiffness.low)))


def _chamber(temperature_c: float) -> str:
    """Where a part is brought to a temperature; common practice, no source."""
    if 15.0 <= temperature_c <= 30.0:
        return "at room temperature"
    if temperature_c < 0.0:
        return "in the freezer"
    return "in the refrigerator" if temperature_c < 15.0 else "in the oven"
