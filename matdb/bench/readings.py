"""The kinds of reading: what was done at the bench, as frozen records in trade units."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field, fields
from typing import Any, ClassVar

from matdb.checks import ABSOLUTE_ZERO_C, checked_name, checked_number, checked_text
from matdb.errors import InputError
from matdb.form.part import Part
from matdb.material.hardness import parse_hardness

__all__ = [
    "READINGS",
    "Deflection",
    "HardnessReading",
    "ModulusPoint",
    "Reading",
    "Resonance",
    "RingDown",
    "check_on_part",
    "reading_from_dict",
]


@dataclass(frozen=True, kw_only=True)
class Reading:
    """What every reading carries besides its own figures.

    Attributes
    ----------
    temperature_c : float
        Temperature of the part's core, degrees Celsius, above absolute zero, at most 400.
    temperature_sd_c : float or None
        Standard deviation of that temperature in K; None takes the usual 0.3 K of a bench.
    soak_min : float or None
        Minutes that the part lay at the temperature before the reading.
    seconds_out : float or None
        Seconds between leaving the chamber and the reading.
    who : str
        Who took it.
    taken_at : datetime or None
        When, with a time zone; the store fills in the time of logging when None.
    note : str
        Free text.
    """

    kind: ClassVar[str] = ""
    #: "part" or "material": what the reading is taken on.
    subject: ClassVar[str] = "part"

    temperature_c: float
    temperature_sd_c: float | None = None
    soak_min: float | None = None
    seconds_out: float | None = None
    who: str = ""
    taken_at: dt.datetime | None = field(default=None, compare=False)
    note: str = ""

    def __post_init__(self) -> None:
        checked_name(f"{self.kind} {self.subject}", getattr(self, self.subject))
        self._number("temperature_c", ABSOLUTE_ZERO_C, 400.0, "degrees Celsius", open_low=True)
        self._number("temperature_sd_c", 0.0, 50.0, "K")
        self._number("soak_min", 0.0, 100000.0, "minutes")
        self._number("seconds_out", 0.0, 100000.0, "seconds")
        checked_text("who", self.who, 120)
        checked_text("note", self.note)
        if self.taken_at is not None and (not isinstance(self.taken_at, dt.datetime) or self.taken_at.tzinfo is None):
            raise InputError("taken_at", self.taken_at, "a date and time with a time zone")

    def _number(self, name: str, low: float, high: float, unit: str, *, open_low: bool = False, cure: str = "") -> None:
        value = getattr(self, name)
        if value is None:
            return
        object.__setattr__(self, name, checked_number(name, value, low, high, unit, open_low=open_low, cure=cure))

    def _needed(self, *names: str) -> None:
        for name in names:
            if getattr(self, name) is None:
                raise InputError(name, None, "given")

    def to_dict(self) -> dict[str, Any]:
        """The reading as plain values, ``taken_at`` in ISO 8601."""
        values: dict[str, Any] = {"kind": self.kind} | {f.name: getattr(self, f.name) for f in fields(self)}
        if self.taken_at is not None:
            values["taken_at"] = self.taken_at.isoformat()
        return values


@dataclass(frozen=True, kw_only=True)
class _OnPart(Reading):
    """A reading on one part or on ``count`` equal ones that share the mass."""

    part: str
    count: int = 1
    axis: str = "axial"
    squeeze_mm: float = 0.0

    def __post_init__(self) -> None:
        super().__post_init__()
        if isinstance(self.count, bool) or int(checked_number("count", self.count, 1, 1000)) != self.count:
            raise InputError("count", self.count, "a whole number from 1 to 1000")
        object.__setattr__(self, "count", int(self.count))
        checked_name("axis", self.axis)
        self._needed("squeeze_mm")
        self._number("squeeze_mm", 0.0, 1000.0, "mm")


_MASS = (0.0, 1000.0, "kg")
_FREQUENCY = (0.0, 1e5, "Hz")


@dataclass(frozen=True, kw_only=True)
class RingDown(_OnPart):
    """Free vibration of a mass on ``count`` parts: damped frequency and logarithmic decrement.

    Attributes
    ----------
    mass_kg : float
        The mass that rings, kg, above 0.
    frequency_hz : float
        Damped natural frequency, Hz, above 0.
    log_decrement : float or None
        Logarithmic decrement per cycle (dimensionless), above 0 and at most 6; None when it was not read.
    frequency_sd_hz, log_decrement_sd : float or None
        Standard deviations of the instrument; None takes 3 % and 15 %.
    """

    kind: ClassVar[str] = "ring-down"
    mass_kg: float
    frequency_hz: float
    log_decrement: float | None = None
    frequency_sd_hz: float | None = None
    log_decrement_sd: float | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        self._needed("mass_kg", "frequency_hz")
        self._number("mass_kg", *_MASS, open_low=True)
        self._number("frequency_hz", *_FREQUENCY, open_low=True)
        self._number("log_decrement", 0.0, 6.0, "", open_low=True, cure="leave it out if the decay was not read")
        self._number("frequency_sd_hz", *_FREQUENCY, open_low=True)
        self._number("log_decrement_sd", 0.0, 6.0, "", open_low=True)


@dataclass(frozen=True, kw_only=True)
class Resonance(_OnPart):
    """Forced response of a mass on ``count`` parts: resonance frequency and half-power width or amplification.

    Attributes
    ----------
    mass_kg, frequency_hz : float
        Mass in kg and frequency of the displacement resonance in Hz, above 0.
    half_power_width_hz : float or None
        Width of the peak at 1/sqrt(2) of its height, Hz; loss factor = width / frequency.
    amplification : float or None
        Peak transmissibility, above 1; used when no width is given.
    frequency_sd_hz : float or None
        Standard deviation of the frequency; None takes 3 %.
    """

    kind: ClassVar[str] = "resonance"
    mass_kg: float
    frequency_hz: float
    half_power_width_hz: float | None = None
    amplification: float | None = None
    frequency_sd_hz: float | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        self._needed("mass_kg", "frequency_hz")
        self._number("mass_kg", *_MASS, open_low=True)
        self._number("frequency_hz", *_FREQUENCY, open_low=True)
        self._number("half_power_width_hz", *_FREQUENCY, open_low=True)
        self._number("amplification", 1.0, 1000.0, "", open_low=True)
        self._number("frequency_sd_hz", *_FREQUENCY, open_low=True)
        if self.half_power_width_hz is not None and self.half_power_width_hz >= 1.5 * self.frequency_hz:
            raise InputError("half_power_width_hz", self.half_power_width_hz, "below 1.5 times the resonance frequency")


@dataclass(frozen=True, kw_only=True)
class Deflection(_OnPart):
    """A weight hung on (or set on) ``count`` parts: static deflection after a dwell.

    Attributes
    ----------
    mass_kg : float
        Mass in kg, above 0.
    deflection_mm : float
        Deflection in mm, above 0.
    dwell_s : float
        Seconds from loading to reading, above 0; sets the frequency 1/(2 pi t) that the reading speaks for.
    deflection_sd_mm : float or None
        Standard deviation of the gauge; None takes 6 % of the deflection and at least 0.01 mm.
    """

    kind: ClassVar[str] = "deflection"
    mass_kg: float
    deflection_mm: float
    dwell_s: float = 10.0
    deflection_sd_mm: float | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        self._needed("mass_kg", "deflection_mm", "dwell_s")
        self._number("mass_kg", *_MASS, open_low=True)
        self._number("deflection_mm", 0.0, 1000.0, "mm", open_low=True)
        self._number("dwell_s", 0.0, 1e8, "s", open_low=True)
        self._number("deflection_sd_mm", 0.0, 1000.0, "mm", open_low=True)


@dataclass(frozen=True, kw_only=True)
class ModulusPoint(Reading):
    """One row of a laboratory sweep: storage modulus and loss factor at a temperature and a frequency.

    Attributes
    ----------
    frequency_hz : float
        Hz, above 0.
    storage_mpa : float
        Storage part of Young's modulus, MPa, above 0.
    loss_factor : float or None
        Loss factor (dimensionless), 0 to 10; None when not measured.
    storage_sd, loss_factor_sd : float or None
        Relative standard deviation of the modulus, absolute one of the loss factor; None takes 6 % and 15 %.
    """

    kind: ClassVar[str] = "modulus"
    subject: ClassVar[str] = "material"
    material: str
    frequency_hz: float
    storage_mpa: float
    loss_factor: float | None = None
    storage_sd: float | None = None
    loss_factor_sd: float | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        self._needed("frequency_hz", "storage_mpa")
        self._number("frequency_hz", 0.0, 1e9, "Hz", open_low=True)
        self._number("storage_mpa", 0.0, 1e6, "MPa", open_low=True)
        self._number("loss_factor", 0.0, 10.0, "", open_low=True)
        self._number("storage_sd", 0.0, 5.0, "", open_low=True)
        self._number("loss_factor_sd", 0.0, 10.0, "", open_low=True)


@dataclass(frozen=True, kw_only=True)
class HardnessReading(Reading):
    """A Shore hardness read on the material: ``value`` with its scale, for instance ``"41 A"``."""

    kind: ClassVar[str] = "hardness"
    subject: ClassVar[str] = "material"
    material: str
    value: str

    def __post_init__(self) -> None:
        super().__post_init__()
        object.__setattr__(self, "value", str(parse_hardness(self.value)))


def check_on_part(reading: Reading, part: Part) -> None:
    """Refuse a reading along an axis or at a squeeze that its part's form does not have.

    Raises
    ------
    InputError
        As :meth:`matdb.form.base.FormBase.stiffness_n_per_mm`.
    """
    axis = getattr(reading, "axis", None)
    if axis is not None:
        part.form.stiffness_n_per_mm(1.0, axis, squeeze_mm=getattr(reading, "squeeze_mm", 0.0))


#: Every kind of reading by its short name.
READINGS: dict[str, type[Reading]] = {
    cls.kind: cls for cls in (RingDown, Resonance, Deflection, ModulusPoint, HardnessReading)
}


def reading_from_dict(values: dict[str, Any]) -> Reading:
    """Build a reading from what :meth:`Reading.to_dict` gave.

    Raises
    ------
    InputError
        Unknown kind, a missing or unknown field, or a value out of range.
    """
    rest = dict(values)
    kind = rest.pop("kind", None)
    cls = READINGS.get(kind) if isinstance(kind, str) else None
    if cls is None:
        raise InputError("reading kind", kind, "one of " + ", ".join(READINGS))
    known = {f.name for f in fields(cls)}
    for name in rest:
        if name not in known:
            raise InputError(f"{kind} {name}", rest[name], "one of the fields " + ", ".join(sorted(known)))
    if isinstance(rest.get("taken_at"), str):
        try:
            rest["taken_at"] = dt.datetime.fromisoformat(rest["taken_at"])
        except ValueError:
            raise InputError("taken_at", rest["taken_at"], "an ISO 8601 date and time with a time zone") from None
    try:
        return cls(**rest)
    except TypeError as error:
        raise InputError(f"reading {kind}", sorted(rest), "given with all of its fields", str(error)) from None
