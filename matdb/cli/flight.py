"""``matdb flight``: what flew, read from its logs, against what was foretold of it."""

from __future__ import annotations

import csv
import io
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Any, Final

import numpy as np

from matdb.advice.camera import SixAxes
from matdb.advice.flown import Against, Picture, against_foretold, flight_readings, flown_temperature, picture
from matdb.advice.suit import Suitability
from matdb.advice.summary import Answer, in_short
from matdb.advice.tapped import OTHER, UNTOLD, tapped
from matdb.api import Store
from matdb.bench.flight.following import Followed, Motion, followed, motion
from matdb.bench.flight.log import FlightLog, check_turns, read_log
from matdb.bench.flight.rotor import RotorTrack, follow_rotors
from matdb.bench.flight.two_logs import Aligned, align
from matdb.bench.readings import Resonance
from matdb.bench.trace.file import read_trace
from matdb.bench.trace.fit import fit_trace
from matdb.bench.trace.record import Refused
from matdb.cli.answering import AskedNow
from matdb.cli.options import ForceOption, Group, arg, option, quantity, squeeze_said
from matdb.cli.reading_add import column
from matdb.cli.screen import Column, Progress, number_text, records_table, show, span_text
from matdb.cli.suit import shake_left
from matdb.errors import InputError
from matdb.fields import low_high
from matdb.files import new_file, write_text
from matdb.mounting.phone import PHONE_KG, sensor_places, with_phone
from matdb.mounting.record import Mounting
from matdb.mounting.shake import AirframeSpectrum
from matdb.units import counted, parse, parse_range

app = Group("Read what flew, and what was foretold of it.")

#: A thermometer is hardly better, K.
_THERMOMETER_SD_K: Final = 0.5
_LOG: Final = "A CSV or text file: time and angular rates about x, y, z, units in brackets."


@dataclass(frozen=True, kw_only=True)
class Mount:
    """What flew."""

    mounting: str | None = option("NAME", "The mounting of the store that flew.")
    part: str | None = option("NAME", "The part that it flew on.")
    temp: str | None = option("TEMPERATURE", "Temperature of the parts; the log's own without it.")
    squeeze: str | None = option("LENGTH", "Static squeeze of each piece; the one that suits best without it.")
    package: str = option("NAME", "The camera package.", "main")

    def foretold(self, store: Store, temperature_c: float | None, phone_kg: float = 0.0) -> SixAxes:
        """The six modes as foretold, a phone on top. Raises InputError where it is not told what flew, NotFound."""
        for name in ("mounting", "part"):
            if getattr(self, name) is None:
                raise InputError(f"--{name}", None, "given with the other", "what flew is foretold for both together")
        assert self.mounting is not None
        assert self.part is not None
        if temperature_c is None:
            raise InputError("--temp", None, "given, where the log tells no temperature", "for instance --temp 12C")
        if self.squeeze is None:
            held = store.best_squeezes([self.part], self.mounting, [temperature_c])[self.part]
        else:
            held = store.part(self.part).squeeze_at(*squeeze_said(self.squeeze))[0]
        laden = with_phone(store.mounting(self.mounting), phone_kg, self.package)
        return store.modes(laden, self.part, temperature_c, squeeze_mm=held, package=self.package)


@dataclass(frozen=True, kw_only=True)
class Log:
    """The airframe's log, the camera's, and what to make of them."""

    file: Annotated[str, arg("LOG", _LOG)]
    camera: str | None = option("FILE", "The camera's own log of the same flight.")
    blades: int | None = option("NUMBER", "Blades per rotor; the mounting's, else 2.", min=1, max=12)
    rotor: str | None = option("RANGE", "What is known of the rotor speed in flight, such as 3000rpm..9000rpm.")
    column: list[str] | None = option("COLUMN", "A column of roll, pitch, yaw rate, in that order. Three times.")
    unit: str | None = option("UNIT", "Unit of the rates, where their titles tell none: deg/s or rad/s.")
    camera_column: list[str] | None = option("COLUMN", "The same of the camera's log.")
    stabilised: str | None = option("FREQUENCY", "Below it stabilising afterwards steadies the picture, such as 2Hz.")
    car: str | None = option("TEMPERATURE", "The parts left a car or shop this warm at take-off, such as 21C.")
    instead: list[str] | None = option("PART", "The same flight on this part, too. Repeatable.")
    keep: bool = option(None, "Put rotor speeds and manoeuvre band into the mounting.", False)
    log: bool = option(None, "Log what the mount did as readings of the part.", False)
    spectrum: str | None = option("FILE", "Write the airframe's spectrum, for --spectrum of 'matdb suit'.")
    picture: str | None = option("FILE", "Draw how the camera followed: a file ending in .png or .svg.")
    force: ForceOption = False

    @property
    def corner_hz(self) -> float:
        """Below it nothing is left in the picture, Hz."""
        return quantity(self.stabilised, "frequency", "--stabilised") or 0.0

    def check(self, mount: Mount) -> None:
        """Refuse what does not go together, and files that cannot be written. Raises InputError, FileTaken."""
        needs = {"--log": (self.log, "camera"), "--picture": (self.picture, "camera")}
        needs["--stabilised"] = self.stabilised and not self.instead, "camera"
        for name, (said, needed) in needs.items():
            if said and getattr(self, needed) is None:
                raise InputError(name, None, f"given with --{needed}", "only the camera's own log tells")
        if mount.mounting is None and (self.keep or self.stabilised or mount.part):
            raise InputError("--mounting", None, "given with --keep, --stabilised and --part")
        if mount.mounting is None and self.instead:
            raise InputError("--mounting", None, "given with --instead")
        for name, said in {"--log": self.log, "--car": self.car}.items():
            if said and mount.part is None:
                raise InputError("--part", None, f"given with {name}")
        for each in filter(None, (self.spectrum, self.picture)):
            new_file(each, force=self.force)

    def read(self, file: str, columns: list[str] | None, field: str = "--column") -> FlightLog:
        """One of the logs."""
        named = [column(c) for c in columns or ()]
        return read_log(Path(file).expanduser(), columns=named, unit=self.unit, field=field)


@dataclass(frozen=True, eq=False)
class Flown:
    """All that the logs say."""

    airframe: FlightLog
    track: RotorTrack
    motion: Motion
    both: Aligned | None = None
    axes: tuple[Followed, ...] = ()
    camera: Motion | None = None

    @property
    def notes(self) -> list[str]:
        """What to know of it."""
        return [*self.airframe.notes, *self.track.reasons]


def _rotors(said: Log, airframe: FlightLog, blades: int, known: Mounting | None) -> RotorTrack:
    """The rotor speeds; where the log leaves them open, within what the mounting tells. Raises Refused, InputError."""
    if said.rotor is not None:
        low, high = parse_range(said.rotor, "rotor_speed", "--rotor")
        try:
            return follow_rotors(airframe, blades, (low / 60.0, high / 60.0))
        except Refused as why:
            raise Refused(f"{why}{'' if '--rotor' in str(why) else '; or --rotor is too narrow'}") from None
    try:
        return follow_rotors(airframe, blades)
    except Refused:
        if known is None:
            raise
        with suppress(Refused):
            track = follow_rotors(airframe, blades, (known.rpm_idle / 60.0, known.rpm_full / 60.0))
            note = (
                "the log leaves the rotor speed open: it was looked for within that of the mounting, "
                f"{known.rpm_idle:g} to {known.rpm_full:g} rpm; --rotor tells another"
            )
            return replace(track, reasons=(note, *track.reasons))
        raise


def _flown(said: Log, known: Mounting | None, done: Progress) -> Flown:
    """Read the logs. Raises InputError, with the reason where a log tells nothing."""
    blades = said.blades or (known.blades if known is not None else 2)
    airframe, name = said.read(said.file, said.column), Path(said.file).name
    done(0.3)
    try:
        # The camera's log is read while the rotors are followed.
        with ThreadPoolExecutor(1) as beside:
            how = said.camera_column, "--camera-column"
            other = None if said.camera is None else beside.submit(said.read, said.camera, *how)
            track = _rotors(said, airframe, blades, known)
            check_turns(airframe, track.flew_s)
            slow = motion(airframe, track.flew_s, track)
        if said.camera is None or other is None:
            return Flown(airframe, track, slow)
        name, camera = Path(said.camera).name, other.result()
        done(0.6)
        both = align(airframe, camera, track.flew_s)
        done(0.8)
        axes, both = followed(both, track, slow.manoeuvre_hz, (airframe.hz, camera.hz))
        if said.stabilised is None:
            return Flown(airframe, track, slow, both, axes)
        turned = replace(camera, rate=camera.rate @ both.matrix, acceleration=None)
        start, end = (float(both.camera_time(t)) for t in (both.trace.time_s[0], both.trace.time_s[-1]))
        return Flown(airframe, track, slow, both, axes, motion(turned, (start, end), track))
    except Refused as why:
        raise InputError(name, "refused", "a log that tells", says=str(why)) from None


@app.command()
def read(call: AskedNow, said: Log, mount: Mount) -> None:
    """Read a flight from its logs.

    When it flew, its rotor speeds and manoeuvres, and how the camera followed against what was foretold.
    """
    said.check(mount)
    known = None
    if mount.mounting is not None:
        with call.existing() as store:
            known = store.mounting(mount.mounting)
    with Progress("flight") as done:
        found = _flown(said, known, done)
    temperature_c, lag = _temperature(mount, found.airframe), dict[str, Any]()
    rows, logged, warnings = against_foretold(found.axes, None), list[int](), found.notes
    left, instead = None, list[Suitability]()
    if mount.mounting is not None and known is not None:
        flown = _kept(known, found, Path(said.file).name)
        with call.existing() as store:
            if said.instead:
                instead = _instead(store, flown, found, said, temperature_c, mount.package)
            if said.car is not None and mount.part is not None:
                temperature_c, lag = _lagged(store, mount.part, said.car, temperature_c, found.track.flew_s)
            six = mount.foretold(store, temperature_c) if mount.part is not None and found.axes else None
            if six is not None:
                rows = against_foretold(found.axes, six)
                # Its thermometer is not the bench's.
                told = {
                    "temperature_c": temperature_c,
                    "squeeze_mm": six.squeeze_mm,
                    "session": flown.rotor_note,
                    **lag,
                }
                part = store.part(str(mount.part))
                readings, without = flight_readings(rows, found.axes, known, part, package=mount.package, **told)
                there, new = _there(store, part.name, readings)
                warnings[:0] = there
                warnings += [] if there else _changed(store, mount, rows, temperature_c)
                if said.log:
                    warnings += [*without, *(text for each in new for text in store.doubts(each))]
                    logged = list(store.add(new)) if new else []
            if said.stabilised is not None and found.camera is not None:
                left = picture(known, found.camera, said.corner_hz)
            if said.keep:
                store.records.replace(known.name, flown, "read from a flight")
    written = _written(said, found, rows)
    content = _content(found, rows, left) | {"readings": logged, "files": written, "temperature_c": temperature_c}
    content["instead"] = [row.to_dict() for row in instead]
    answer = [*_sentences(found, rows, left)]
    answer += [
        "; ".join(filter(None, (f"On {row.part} instead: {in_short(row)}", shake_left(row)))) + "." for row in instead
    ]
    if lag:
        answer.append(f"In flight the parts were at {temperature_c:.1f} degC, +- {lag['thermometer_sd_k']:.1f} K.")
    if said.keep:
        answer.append(f"{mount.mounting} has these rotor speeds and manoeuvres now.")
    if logged:
        answer.append(f"Logged as {counted(len(logged), 'readings')} of {mount.part}: {', '.join(map(str, logged))}.")
    beware = [f"Beware: {text}." for text in warnings[:2]]
    call.tell(Answer(lines=(*answer, *beware)), content, lambda: _show(found), warnings)


@app.command()
def tap(
    call: AskedNow,
    file: Annotated[str, arg("TRACE", "A record of taps on the finished mount.")],
    mount: Mount,
    phone: str = option(
        "MASS", "Mass of what lies on the camera and records; 0g for a small sensor.", f"{1e3 * PHONE_KG:g}g"
    ),
) -> None:
    """Tap the finished mount: does it ring as foretold?

    With a phone flat on the camera, its long side forward, tap it: bounce and rocking against what was foretold.
    """
    phone_kg = parse(phone, "mass", "--phone")
    with call.existing() as store:
        six = mount.foretold(store, quantity(mount.temp, "temperature", "--temp"), phone_kg)
        known = store.mounting(str(mount.mounting))
    hz = [mode.natural_frequency_hz.median for mode in six.modes]
    fit = fit_trace(read_trace(Path(file).expanduser()), foretold_hz=(max(min(hz), 1e-3), max(hz)))
    if fit.verdict == "refused" or not fit.modes:
        raise InputError(Path(file).name, "refused", "a record of taps that ring", fit.reasons[0])
    rows = tapped(fit, six, sensor_places(known, phone_kg, mount.package))
    verdict, first = _rings(rows)
    laden = f"Foretold for {1e3 * known.package(mount.package).mass_kg:g} g"
    laden += f" with {1e3 * phone_kg:g} g on top; another phone: --phone." if phone_kg else " with nothing on top."
    content = {"verdict": verdict, "phone_kg": phone_kg, "modes": [row.to_dict() for row in rows]}
    told = Answer(lines=(first, *(f"{row.line}." for row in rows), laden))
    # Which of the modes is the part's is what the rows tell.
    reasons = fit.reasons[1:] if fit.chosen is None else fit.reasons
    call.tell(told, content, warnings=[*reasons, *six.warnings])


def _rings(rows: tuple[Against, ...]) -> tuple[str, str]:
    """Whether the mount rings as foretold, in a word and in a sentence."""
    off = [row for row in rows if row.foretold_hz is not None and row.verdict != "as expected"]
    if off:
        return "not as foretold", f"Not as foretold: {off[0].what}: {off[0].verdict}."
    met = [row.what for row in rows if row.foretold_hz is not None]
    silent = [row.what for row in rows if row.natural_frequency_hz is None]
    doubt = [row.what for row in rows if row.verdict in (UNTOLD, OTHER)]
    parts = [f"{', '.join(met)} {'is' if len(met) == 1 else 'are'} as foretold"] if met else []
    parts += [f"{' and '.join(silent)} did not ring"] if silent else []
    parts += [f"what rang as {' and '.join(doubt)} cannot be told"] if doubt else []
    verdict = "not told" if not met else "partly told" if silent or doubt else "as foretold"
    first = f"{verdict.capitalize()}: {', '.join(parts)}."
    return verdict, f"{first} Whether that suits, 'matdb suit' says." if met else first


def _temperature(mount: Mount, log: FlightLog) -> float | None:
    told = quantity(mount.temp, "temperature", "--temp")
    if told is not None or log.temperature_c is None:
        return told
    return float(np.nanmedian(log.temperature_c))


def _lagged(
    store: Store, part: str, car: str, air_c: float | None, flew_s: tuple[float, float]
) -> tuple[float, dict[str, Any]]:
    """Temperature of the parts over the flight, and what a reading tells of how sure it is."""
    start_c, record = quantity(car, "temperature", "--car"), store.part(part)
    if air_c is None or start_c is None:
        raise InputError("--temp", None, "the air's, given with --car", "for instance --temp -5C --car 21C")
    family = store.material(record.material).family
    mean_c, sd_k = flown_temperature(record, family, start_c, air_c, flew_s[1] - flew_s[0])
    return mean_c, {"thermometer_sd_k": max(round(sd_k, 2), _THERMOMETER_SD_K)}


def _instead(
    store: Store, flown: Any, found: Flown, said: Log, temperature_c: float | None, package: str
) -> list[Suitability]:
    """What the judge finds of other parts with this flight's rotor speeds and spectrum."""
    if temperature_c is None:
        raise InputError("--temp", None, "given with --instead, where the log tells no temperature")
    f, density = found.motion.frequency_hz, found.motion.density
    spectrum = AirframeSpectrum(f, np.where(f[:, None] > said.corner_hz, density, 0.0), density=True)
    return store.suit(flown, [temperature_c], parts=said.instead, package=package, spectrum=spectrum)


def _kept(mounting: Any, found: Flown, name: str) -> Any:
    low, hover, high = _rpm(found.track)
    return replace(
        mounting, rpm_idle=low, rpm_hover=hover, rpm_full=high, manoeuvre_hz=round(found.motion.manoeuvre_hz, 1),
        rotor_note=f"read from {name}",
    )  # fmt: skip


def _rpm(track: RotorTrack) -> tuple[float, float, float]:
    low, hover, high = (round(60.0 * hz, -1) for hz in (track.lowest_hz, track.hover_hz, track.highest_hz))
    return low, hover, high


def _there(store: Store, part: str, readings: list[Resonance]) -> tuple[list[str], list[Resonance]]:
    """A word where the flight is logged already, and those of its readings that are not."""
    hz = {vars(old.reading)["frequency_hz"]: old.id for old in store.records.each_reading(part=part, kind="resonance")}
    # A log's frequency has more digits than two flights ever share.
    there = [hz[each.frequency_hz] for each in readings if each.frequency_hz in hz]
    if not there:
        return [], readings
    numbers = ", ".join(map(str, sorted(there)))
    said = (
        f"this flight is logged already, as {counted(len(there), 'readings')} of {part}: {numbers}; what is foretold "
        "has learned from it, so that the two agree is no news, and it is not logged again"
    )
    return [said], [each for each in readings if each.frequency_hz not in hz]


#: A change of a natural frequency beyond this many standard deviations, and this share, is told.
_CHANGED_SD, _CHANGED = 3.0, 0.02


def _changed(store: Store, mount: Mount, rows: tuple[Against, ...], temperature_c: float | None) -> list[str]:
    """What of the mount changed since earlier flights on the same part, with temperature reckoned with."""
    said, asked = [], {temperature_c: {row.what: row.foretold_hz for row in rows}}
    for old in store.records.each_reading(part=mount.part, kind="resonance"):
        reading: Any = old.reading
        row = next((r for r in rows if reading.note == f"flight, {r.what}" and r.natural_frequency_hz), None)
        if row is None or row.natural_frequency_hz is None or row.foretold_hz is None:
            continue
        then_c = reading.temperature_c
        if then_c not in asked:
            six = mount.foretold(store, then_c)
            near = (
                min((m.natural_frequency_hz for m in six.modes), key=lambda b: abs(b.median - reading.frequency_hz)),
            )
            asked[then_c] = dict.fromkeys(asked[temperature_c], near[0])
        foretold = asked[then_c][row.what]
        if foretold is None:
            continue
        now = row.natural_frequency_hz.median / row.foretold_hz.median
        change = now / (reading.frequency_hz / foretold.median) - 1.0
        sd = 0.5 * (row.natural_frequency_hz.high - row.natural_frequency_hz.low) / row.natural_frequency_hz.median
        if abs(change) > max(_CHANGED, _CHANGED_SD * sd):
            day = "earlier" if reading.taken_at is None else f"on {reading.taken_at:%Y-%m-%d}"
            word = "lower" if change < 0.0 else "higher"
            said.append(
                f"{row.what} is {100 * abs(change):.0f} % {word} than {day}, temperature reckoned with: set, ageing, "
                "or a screw that moved"
            )
    return said


def _sentences(found: Flown, rows: tuple[Against, ...], left: Picture | None) -> list[str]:
    track = found.track
    low, hover, high = _rpm(track)
    seconds = track.flew_s[1] - track.flew_s[0]
    lasted = f"{seconds:.0f} s" if seconds < 120.0 else f"{seconds / 60.0:.1f} min"
    once, passing = (next(line for line in track.lines if line.order == order) for order in _orders(track))
    met = [row for row in rows if row.foretold_hz is not None]
    off = [f"{row.what} is {row.verdict}" for row in met if row.verdict != "as expected"]
    told = [f"{'; '.join(off).capitalize()}."] if off else ["The mount does as foretold."] * bool(met)
    told += [
        f"It flew {lasted}, take-off and landing left out, with rotors at {low:g} to {high:g} rpm, {hover:g} in hover "
        f"(+- {60.0 * track.sd_hz:.0f}): once a turn {span_text(once.low_hz, once.high_hz)} Hz, blades passing "
        f"{span_text(passing.low_hz, passing.high_hz)} Hz; manoeuvres to {number_text(found.motion.manoeuvre_hz)} Hz."
    ]
    hidden = [f"{line.order:g}" for line in track.lines if line.aliased]
    if hidden:
        half = f"{found.airframe.hz / 2.0:.4g} Hz"
        told.append(
            f"Rotor lines of order {', '.join(hidden)} lie above {half}, half the log's rate, and show below it."
        )
    if found.both is not None:
        told += [f"{row.line}." for row in rows]
        told.append("Missed in manoeuvres: " + ", ".join(f"{a.axis} {100 * a.missed:.0f} %" for a in found.axes) + ".")
    if left is not None:
        told.append(
            f"Left in the picture: roll {number_text(left.roll_px)}, pitch {number_text(left.pitch_px)}, yaw "
            f"{number_text(left.yaw_px)} px rms, {100 * left.kept_share:.0f} % of the shake before stabilising"
            + (f"; shear {number_text(left.shear_px_per_row)} px a row." if left.shear_px_per_row is not None else ".")
        )
    return told


def _orders(track: RotorTrack) -> tuple[float, float]:
    orders = sorted(line.order for line in track.lines)
    return orders[0], orders[min(1, len(orders) - 1)]


_LINES: Final = (
    Column("times a turn", lambda line: f"{line.order:g}", right=True),
    Column("Hz", lambda line: span_text(line.low_hz, line.high_hz)),
    Column("height", lambda line: number_text(line.height), right=True),
    Column("", lambda line: "shows elsewhere" if line.aliased else ""),
)


def _show(found: Flown) -> None:
    records_table(found.track.lines, _LINES)
    show("height: ln of the line's power over what is beside it")
    both = found.both
    if both is not None:
        by_s, word = abs(both.by_stamps_s), "behind" if both.by_stamps_s > 0.0 else "ahead"
        show(
            f"By the stamps in both logs the camera's clock is {by_s:.3f} s {word} in mid flight and "
            f"{'gains' if both.drift > 0.0 else 'loses'} {3600.0 * abs(both.drift):.2f} s an hour, known to "
            f"{1e3 * both.clock_sd_s:.1f} ms; its sensor is turned by {both.turn_deg:.1f} +- {both.turn_sd_deg:.1f} "
            "degrees."
        )


def _content(found: Flown, rows: tuple[Against, ...], left: Picture | None) -> dict[str, Any]:
    track, both = found.track, found.both
    rotor = {"lowest_hz": track.lowest_hz, "hover_hz": track.hover_hz, "highest_hz": track.highest_hz}
    content: dict[str, Any] = {
        "flew_s": low_high(track.flew_s),
        "rotor": rotor | {"sd_hz": track.sd_hz, "spread_hz": track.spread_hz, "orders": track.lines},
        "manoeuvre_hz": found.motion.manoeuvre_hz,
    }
    if both is not None:
        content["clock"] = {"offset_s": both.by_stamps_s, "drift_ppm": 1e6 * both.drift, "sd_s": both.clock_sd_s}
        content["sensor"] = {"turn_deg": both.turn_deg, "sd_deg": both.turn_sd_deg, "matrix": both.matrix}
        content["axes"] = [row.to_dict() | {"missed": axis.missed} for row, axis in zip(rows, found.axes, strict=True)]
    return content | {"picture": left}


def _written(said: Log, found: Flown, rows: tuple[Against, ...]) -> list[str]:
    """The files that were asked for."""
    written = []
    if said.spectrum is not None:
        out = io.StringIO()
        table = csv.writer(out, lineterminator="\n")
        axes = {"x": 0, "y": 1, "z": 2} if found.airframe.acceleration is not None else {}
        axes |= {"roll": 3, "pitch": 4, "yaw": 5}
        unit = [f"{axis} ({'(rad/s2)2/Hz' if k > 2 else '(m/s2)2/Hz'})" for axis, k in axes.items()]
        table.writerow(["frequency (Hz)", *unit])
        for f, row in zip(found.motion.frequency_hz, found.motion.density[:, list(axes.values())], strict=True):
            table.writerow([f"{value:.6g}" for value in (f, *row)])
        written.append(str(write_text(said.spectrum, out.getvalue(), force=said.force)))
    if said.picture is not None:
        from matdb.picture.figure import save_picture
        from matdb.picture.trace_chart import flight_chart

        chart = flight_chart(found.axes, [row.line for row in rows], Path(said.file).name)
        written.append(str(save_picture(chart, said.picture, force=said.force)))
    return written
