"""The kinds of reading: what was done at the bench, as frozen records in trade units.

A kind is one class here, and all that is known of its fields stands beside them (:mod:`matdb.fields`): the options of
``matdb reading add``, the columns of files and of the store, the checks and the words of messages follow from it.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from functools import partial
from typing import Any, ClassVar, Final

from matdb.checks import ABSOLUTE_ZERO_C, checked_name, picked
from matdb.errors import InputError
from matdb.fields import FieldInfo, PlainRecord, above, check_record, entry, from_plain, info, record_fields, within
from matdb.material.hardness import hardness_text

#: The direction of a reading of a whole mount that turns to and fro on its parts.
ROCKING: Final = "rocking"

_circumstance, _mounted = partial(entry, group="record"), partial(entry, group="mount")


@dataclass(frozen=True, kw_only=True)
class Reading(PlainRecord):
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
    session : str or None
        The bench session: readings of one session share what its thermometer shows too much; those that name none
        share another.
    thermometer_sd_k : float or None
        Standard deviation of what the session's thermometer shows too much, K; None takes 1 K.
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
    #: What logging it means: a sentence, and more of it in another.
    logged_as: ClassVar[tuple[str, ...]] = ()

    temperature_c: float = entry(
        **above(ABSOLUTE_ZERO_C, 400.0),
        group="state",
        option="--temp",
        aliases=("temp", "t"),
        help="Temperature of the part, with --soak or --out that of its chamber; such as -18C.",
    )
    temperature_sd_c: float | None = entry(
        None,
        **within(0.0, 50.0),
        group="state",
        option="--temp-sd",
        aliases=("temp_sd",),
        noun="standard deviation of it",
        help="Standard deviation of the temperature, such as 0.5K.",
    )
    soak_min: float | None = _circumstance(
        None, **within(0.0, 1e5), shown="soaked {} min", help="How long the part lay at the temperature, such as 45min."
    )
    seconds_out: float | None = _circumstance(
        None,
        **within(0.0, 1e5),
        stem="out",
        dimension="duration",
        unit="s",
        words="seconds",
        aliases=("time_out", "out_of_chamber"),
        noun="time since it left the chamber",
        shown="{} s out",
        help="Time since it left the freezer or oven, such as 8s; a fit corrects for it.",
    )
    session: str | None = _circumstance(
        None,
        dimension="name",
        check=partial(checked_name, "session"),
        metavar="NAME",
        noun="bench session",
        help="Bench session; its readings share one thermometer, such as '2024-01-31 freezer'.",
    )
    thermometer_sd_k: float | None = _circumstance(
        None,
        **within(0.0, 10.0),
        option="--thermometer-sd",
        noun="accuracy of the session's thermometer",
        help="How far the session's thermometer may be off, such as 0.5K; 1 K without it.",
    )
    who: str = _circumstance(
        "", longest=120, metavar="NAME", aliases=("by", "operator"), noun="Who took it", help="Who took the reading."
    )
    taken_at: dt.datetime | None = entry(
        None,
        group="record",
        option="--at",
        aliases=("when", "date", "time"),
        noun="When it was taken",
        help="When it was taken, such as 2024-01-31T14:05; now without it.",
        compare=False,
    )
    note: str = _circumstance("", aliases=("notes", "comment", "remark"), help="Free text.")

    def __post_init__(self) -> None:
        check_record(self, owner=self.kind)
        if self.taken_at is not None and (not isinstance(self.taken_at, dt.datetime) or self.taken_at.tzinfo is None):
            raise InputError("taken_at", self.taken_at, "a date and time with a time zone")
        if self.taken_at is not None and not 1 < self.taken_at.year < dt.MAXYEAR:  # where a zone may leave the calendar
            raise InputError("taken_at", self.taken_at, "a date of this calendar")

    def to_dict(self) -> dict[str, Any]:
        """The reading as plain values, ``taken_at`` in ISO 8601."""
        return {"kind": self.kind, **super().to_dict()}


@dataclass(frozen=True, kw_only=True)
class _OnPart(Reading):
    """A reading on one part or on ``count`` equal ones that share the mass."""

    part: str = entry(
        group="subject", dimension="name", aliases=("part_name", "isolator"), help="The part that was read."
    )
    count: int = _mounted(
        1,
        **within(1, 1000),
        aliases=("parts", "pieces", "number_of_parts"),
        noun="number of parts",
        help="How many equal parts share the mass.",
    )
    axis: str = _mounted(
        "axial",
        dimension="name",
        metavar="AXIS",
        aliases=("direction",),
        noun="direction",
        shown="{}",
        help="Direction: axial, shear, radial or lateral; or rocking, of a whole mount.",
    )
    squeeze_mm: float = _mounted(
        0.0,
        **within(0.0, 1000.0),
        aliases=("preload",),
        shown="squeezed {} mm",
        help="Static squeeze of each part, such as 0.5mm.",
    )
    piece: int | None = _mounted(
        None,
        **within(1, 1000),
        noun="which piece of several",
        shown="piece {}",
        help="Which of several equal pieces was read, such as 2; each may differ from its drawing.",
    )
    mass_kg: float = entry(
        **above(0.0, 1000.0),
        group="load",
        aliases=("weight", "load"),
        shown="{} g on {count}",
        help="The mass on all the parts together, such as 250g.",
    )


def _amplitude() -> Any:
    """Peak amplitude of a vibration: how far rubber is strained decides how stiff it is."""
    return entry(
        None,
        **above(0.0, 100.0),
        aliases=("peak_amplitude",),
        noun="peak amplitude",
        shown="amplitude {} mm",
        help="Peak amplitude of the vibration in the mass, such as 0.2mm: rubber softens with strain.",
    )


def _frequency(most: float = 1e5) -> Any:
    return info(**above(0.0, most), aliases=("freq", "f"), shown="{} Hz", help="The frequency read, such as 31.2Hz.")


def _spread(
    most: float, usual: str = "", *, noun: str = "standard deviation of it", says: str = "", **more: Any
) -> Any:
    """The standard deviation of another field; what a fit takes without it, in words."""
    says = says or f"Its standard deviation; {usual} without it."
    return entry(None, **above(0.0, most), noun=noun, help=says, **more)


@dataclass(frozen=True, kw_only=True)
class _Vibration(_OnPart):
    """A reading of a mass that vibrates: along one of the part's axes, or rocking on parts in two rows.

    Attributes
    ----------
    spacing_mm : float or None
        Of a rocking mount: distance between the two rows of parts, half of them in each, mm, above 0.
    gyration_mm : float or None
        Of what rocks: radius of gyration about its centre of gravity, mm, above 0.
    centre_above_mm : float or None
        Of what rocks: its centre of gravity above the middle of the parts' height, mm; None is 0.
    """

    spacing_mm: float | None = _mounted(
        None,
        **above(0.0, 1e4),
        noun="distance between the two rows of parts",
        shown="rows {} mm apart",
        help="Of a rocking mount: between the rows of parts either side of the axis it rocks about, such as 80mm.",
    )
    gyration_mm: float | None = _mounted(
        None,
        **above(0.0, 1e4),
        aliases=("radius_of_gyration",),
        noun="radius of gyration",
        shown="radius of gyration {} mm",
        help="Of the mass that rocks, about its centre; an even box has sqrt((width^2 + height^2)/12), such as 30mm.",
    )
    centre_above_mm: float | None = _mounted(
        None,
        **within(-1e4, 1e4),
        noun="height of the centre of gravity",
        shown="centre {} mm above",
        help="Of the mass that rocks: its centre of gravity above the middle of the parts' height; 0mm without it.",
    )

    def __post_init__(self) -> None:
        super().__post_init__()
        rocks = self.axis == ROCKING
        for name in ("spacing_mm", "gyration_mm"):
            if (getattr(self, name) is not None) != rocks:
                raise InputError(name, getattr(self, name), "told of a rocking mount, and of no other reading")
        if self.centre_above_mm is not None and not rocks:
            raise InputError("centre_above_mm", self.centre_above_mm, "told of a rocking mount only")
        if rocks and self.count % 2:
            raise InputError("count", self.count, "even for a mount that rocks on two rows of parts")


_MATERIAL = info(group="subject", dimension="name", aliases=("material_name",), help="The material that was read.")


def _frequency_sd() -> Any:
    return _spread(1e5, "3 %", aliases=("freq_sd",))


@dataclass(frozen=True, kw_only=True)
class RingDown(_Vibration):
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
    amplitude_mm : float or None
        Peak amplitude, mm, above 0; None when it was not told.
    """

    kind: ClassVar[str] = "ring-down"
    logged_as: ClassVar[tuple[str, ...]] = (
        "Log a free vibration.",
        "For instance: matdb reading add ring-down bobbin --temp -15C --soak 120min --mass 600g --count 4 "
        "--squeeze 2turns --frequency 42Hz --decrement 1.0.",
        "A mass on the part is tapped; frequency and decay are read.",
    )

    frequency_hz: float = field(metadata=_frequency())
    log_decrement: float | None = entry(
        None,
        **above(0.0, 6.0),
        cure="leave it out if the decay was not read",
        option="--decrement",
        aliases=("decrement", "logarithmic_decrement"),
        noun="logarithmic decrement",
        shown="decrement {}",
        help="Logarithmic decrement per cycle, such as 0.55; leave it out if not read.",
    )
    frequency_sd_hz: float | None = _frequency_sd()
    log_decrement_sd: float | None = _spread(6.0, "15 %", option="--decrement-sd", aliases=("decrement_sd",))
    amplitude_mm: float | None = _amplitude()


@dataclass(frozen=True, kw_only=True)
class Resonance(_Vibration):
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
    amplitude_mm : float or None
        Peak amplitude, mm, above 0; None when it was not told.
    """

    kind: ClassVar[str] = "resonance"
    logged_as: ClassVar[tuple[str, ...]] = (
        "Log a forced response.",
        "For instance: matdb reading add resonance leg --temp 22C --mass 600g --count 4 --frequency 41Hz --width 6Hz.",
        "The resonance of a mass on the part, with the width or the height of its peak.",
    )

    frequency_hz: float = field(metadata=_frequency())
    half_power_width_hz: float | None = entry(
        None,
        **above(0.0, 1e5),
        option="--width",
        aliases=("width", "bandwidth"),
        noun="half-power width",
        shown="width {} Hz",
        help="Width of the peak at 0.707 of its height, such as 4.1Hz.",
    )
    amplification: float | None = entry(
        None,
        **above(1.0, 1000.0),
        aliases=("q",),
        shown="amplified {} times",
        help="Peak transmissibility, above 1; used without a width.",
    )
    frequency_sd_hz: float | None = _frequency_sd()
    amplitude_mm: float | None = _amplitude()

    def __post_init__(self) -> None:
        super().__post_init__()
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
    logged_as: ClassVar[tuple[str, ...]] = (
        "Log a static deflection.",
        "For instance: matdb reading add deflection leg --temp 22C --mass 500g --deflection 0.31mm --dwell 10s.",
        "A weight on the part, read after a dwell.",
    )

    deflection_mm: float = entry(
        **above(0.0, 1000.0), aliases=("sag",), shown="{} mm", help="How far it gave way, such as 0.31mm."
    )
    dwell_s: float = entry(
        10.0, **above(0.0, 1e8), shown="after {} s", help="Time from loading to reading; 10s without it."
    )
    deflection_sd_mm: float | None = _spread(1000.0, "6 %")


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
    logged_as: ClassVar[tuple[str, ...]] = (
        "Log a point of a laboratory sweep.",
        "For instance: matdb reading add modulus 'TPU 85A' --temp 0C --frequency 10Hz --storage 21MPa "
        "--loss-factor 0.12.",
        "Storage modulus and loss factor at a temperature and a frequency.",
    )

    material: str = field(metadata=_MATERIAL)
    frequency_hz: float = field(metadata=_frequency(1e9))
    storage_mpa: float = entry(
        **above(0.0, 1e6),
        aliases=("storage_modulus", "modulus"),
        noun="storage modulus",
        shown="{} MPa",
        help="Storage part of Young's modulus, such as 2.1MPa.",
    )
    loss_factor: float | None = entry(
        None, **above(0.0, 10.0), aliases=("tan_delta",), shown="loss factor {}", help="Loss factor, such as 0.12."
    )
    storage_sd: float | None = _spread(
        5.0,
        noun="relative standard deviation of it",
        says="Relative standard deviation of the modulus; 6 % without it.",
    )
    loss_factor_sd: float | None = _spread(10.0, says="Standard deviation of the loss factor; 15 % without it.")


@dataclass(frozen=True, kw_only=True)
class HardnessReading(Reading):
    """A Shore hardness read on the material: ``value`` with its scale, for instance ``"41 A"``."""

    kind: ClassVar[str] = "hardness"
    subject: ClassVar[str] = "material"
    logged_as: ClassVar[tuple[str, ...]] = (
        "Log a Shore hardness.",
        "For instance: matdb reading add hardness 'TPU 85A' --temp 23C --value '86 A'.",
    )

    material: str = field(metadata=_MATERIAL)
    value: str = entry(
        dimension="shore",
        check=hardness_text,
        aliases=("hardness", "shore"),
        noun="hardness",
        shown="Shore {}",
        help="Shore hardness with its scale, such as '41 A'.",
    )


#: Every kind of reading by its short name.
READINGS: dict[str, type[Reading]] = {
    cls.kind: cls for cls in (RingDown, Resonance, Deflection, ModulusPoint, HardnessReading)
}


def reading_fields() -> dict[str, FieldInfo]:
    """Every field that a reading of any kind has, by name: on what, temperature, load, figures each with its standard
    deviation, circumstances.
    """
    found = record_fields(*READINGS.values())
    stems = [each.stem for each in found.values()]
    groups = ("subject", "state", "load", "mount", "figure", "record")

    def place(each: FieldInfo) -> tuple[int, int, bool]:
        of = each.stem.removesuffix("_sd")
        return groups.index(each.group), stems.index(of if of in stems else each.stem), each.is_spread

    return {each.name: each for each in sorted(found.values(), key=place)}


def reading_from_dict(values: dict[str, Any]) -> Reading:
    """Build a reading from what :meth:`Reading.to_dict` gave.

    Raises
    ------
    InputError
        Unknown kind, a missing or unknown field, or a value out of range.
    """
    rest = dict(values)
    cls = picked("reading kind", rest.pop("kind", None), READINGS)
    if isinstance(rest.get("taken_at"), str):
        try:
            rest["taken_at"] = dt.datetime.fromisoformat(rest["taken_at"])
        except ValueError:
            raise InputError("taken_at", rest["taken_at"], "an ISO 8601 date and time with a time zone") from None
    return from_plain(cls, rest, cls.kind)
