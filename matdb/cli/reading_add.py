"""``matdb reading add`` and ``matdb reading trace``: log a reading by the fields of its kind, or from a record."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Any, Final

import numpy as np

from matdb.api import Store
from matdb.bench.forced import ForcedFit, fit_forced
from matdb.bench.readings import READINGS, Reading, RingDown
from matdb.bench.thermal.soak import bench_state
from matdb.bench.trace.file import read_trace
from matdb.bench.trace.fit import fit_trace
from matdb.bench.trace.record import Trace, TraceFit, TraceMode
from matdb.cli import options
from matdb.cli.answering import BENCH
from matdb.cli.options import Call, ForceOption, Group, arg, option, quantity
from matdb.cli.screen import Column, band_cell, given_text, lines, number_text, records_table, show
from matdb.errors import InputError
from matdb.exchange.reading_file import duplicate_key
from matdb.fields import FieldInfo, from_plain, record_fields
from matdb.files import new_file
from matdb.units import counted, parse_range

app = Group("Log one reading.")


def _place(each: FieldInfo) -> int:
    """Where an option stands: what is needed, the other figures, how the part was mounted, doubts, the rest."""
    figure = 3 if each.is_spread else 1
    return 0 if each.needed else {"figure": figure, "mount": 2, "state": 4, "record": 5}[each.group]


def _command(cls: type[Reading]) -> Callable[..., None]:
    known = record_fields(cls)
    others = sorted((each for name, each in known.items() if name != cls.subject), key=_place)

    def log(given: dict[str, Any], call: Call, turns: float | None = None) -> None:
        values = options.values_of(known, in_mm(call, given, turns))
        reading = from_plain(cls, values, cls.kind)
        with call.existing() as kept:
            doubts = [*logged_before(kept, reading), *all_doubts(kept, reading)]
            (number,) = kept.records.add(reading)
            logged = kept.records.reading(number)
        answer_logged(call, number, logged.reading, doubts)

    def plain(given: dict[str, Any], call: Call) -> None:
        log(given, call)

    def screwed(
        given: dict[str, Any], call: Call, turns: float | None = option("NUMBER", "The squeeze in turns of the screw.")
    ) -> None:
        log(given, call, turns)

    fields = options.argument_of(known[cls.subject]), *map(options.option_of, others)
    command = options.with_fields(*fields)(screwed if "squeeze_mm" in known else plain)
    command.__doc__ = "\n\n".join(cls.logged_as)
    return command


for _kind, _cls in READINGS.items():
    app.command(_kind)(_command(_cls))


def in_mm(
    call: Call, given: Mapping[str, Any], turns: float | None = None, part: str | None = None
) -> Mapping[str, Any]:
    """What was said of a reading, a squeeze in turns of its part's screw as one in mm. Raises NotFound, InputError."""
    squeeze_mm, turns = options.squeeze_said(given.get("squeeze_mm"), turns)
    part = given.get("part") or part
    if turns is None or part is None:
        return given
    with call.existing() as kept:
        return {**given, "squeeze_mm": f"{kept.part(part).squeeze_at(squeeze_mm, turns)[0]:.6g}mm"}


def answer_logged(call: Call, number: int, reading: Reading, doubts: Sequence[str], content: Any = None) -> None:
    """Say what was logged, what to know of it, and what to beware of; ``content`` stands before it in JSON."""
    cautions = hazards(reading)

    def screen() -> None:
        on = getattr(reading, reading.subject)
        show(f"logged reading {number}: {reading.kind} on {on} at {given_text(reading.temperature_c)} degC")
        lines("Before you rely on it:", doubts)
        lines("Cautions:", cautions)

    call.answer((content or {}) | {"number": number, "reading": reading.to_dict()}, screen, [*doubts, *cautions])


def logged_before(kept: Store, reading: Reading) -> list[str]:
    """A word on a reading that says what one says that is logged already."""
    key, hertz = duplicate_key(reading, with_time=False), getattr(reading, "frequency_hz", None)
    on = list(kept.records.each_reading(**{reading.subject: getattr(reading, reading.subject)}, kind=reading.kind))
    says, same = "says exactly the same", [each for each in on if duplicate_key(each.reading, with_time=False) == key]
    # A record's frequency has more digits than two records ever share.
    if not same and hertz is not None and hertz != round(hertz, 4):
        says, same = "is of the same record", [each for each in on if vars(each.reading)["frequency_hz"] == hertz]
    so = "if it is the same one, 'matdb undo' takes it back; a repeat counts as a reading of its own"
    return [f"reading {', '.join(str(each.id) for each in same)} {says}: {so}"] if same else []


def all_doubts(kept: Store, reading: Reading) -> list[str]:
    """What fit or label, soak and drift say against a reading: of one every door that logs it tells, beforehand."""
    return [*kept.doubts(reading), *_bench_doubts(kept, reading)]


def _bench_doubts(kept: Store, reading: Reading) -> list[str]:
    """What soak and drift say of a reading, and how many seconds were left."""
    if reading.subject != "part" or (reading.soak_min is None and reading.seconds_out is None):
        return []
    part = kept.part(getattr(reading, "part"))  # noqa: B009
    state = bench_state(reading, part, kept.material(part.material).family)
    said = list(state.warnings)
    if state.drift is not None and not state.drift.warning and abs(state.drift.drift_k) >= 0.1:
        left = float(state.drift.seconds_left)
        said.append(
            f"{reading.seconds_out:.0f} s out of the chamber: a fit takes {state.temperature_c:.1f} +- "
            f"{state.temperature_sd_k:.1f} degC; the error passes 2 K {left:.0f} s later"
        )
    return said


def hazards(reading: Any) -> list[str]:
    """Cautions for the bench at this reading's temperature and load."""
    so = (not 0.0 <= reading.temperature_c <= 45.0, (getattr(reading, "mass_kg", None) or 0.0) >= 2.0)
    return [caution for caution, holds in zip(BENCH, so, strict=True) if holds]


# -- from a record -----------------------------------------------------------------------------------------------------

Fit = TraceFit | ForcedFit

_KNOWN: Final = record_fields(RingDown)
#: What a reading needs, which a look at a record does not.
_NEEDED: Final = {
    "part": "The part that rang.",
    "temperature_c": "Its temperature; with --soak or --out its chamber's.",
    "mass_kg": _KNOWN["mass_kg"].help,
}
_MORE: Final = (
    "count", "axis", "squeeze_mm", "piece", "amplitude_mm", "temperature_sd_c", "soak_min", "seconds_out", "session",
    "thermometer_sd_k", "who", "taken_at", "note",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class TraceOptions:
    """The file, what is in it, and what to make of it."""

    file: Annotated[str, arg("FILE", "A CSV or text file of an accelerometer, gyro or gauge.")]
    log: bool = option(None, "Log the reading with its uncertainties.", False)
    forced: bool = option(None, "Shaken or in flight: payload over base, resonance and loss factor.", False)
    mode: int | None = option("NUMBER", "Which mode to log, 1 the strongest; asked for where several ring.", min=1)
    mounting: str | None = option("NAME", "The stored mounting that was tapped: tells its bounce from other modes.")
    within: str | None = option("RANGE", "Look for modes here only, such as 5Hz..60Hz.")
    signal: list[str] | None = option("COLUMN", "A column of the payload. May be given again.")
    base: list[str] | None = option("COLUMN", "A column of the base. May be given again.")
    time: str | None = option("COLUMN", "The column of times.")
    time_unit: str | None = option("UNIT", "Unit of the times: s, ms, us or ns.")
    rate: str | None = option("FREQUENCY", "Readings a second, where the file has no time.")
    picture: str | None = option("FILE", "Draw record and fit: a file ending in .png or .svg.")
    force: ForceOption = False

    @property
    def name(self) -> str:
        """The file's name without its folder."""
        return Path(self.file).name

    def check(self, missing: Sequence[str]) -> None:
        """Refuse what does not go together, and a picture that cannot be written. Raises InputError, FileTaken."""
        if self.log and missing:
            raise InputError(missing[0], None, "given with --log")
        if self.forced and self.mode not in (None, 1):
            raise InputError("--mode", self.mode, "left out with --forced")
        if self.picture is not None:
            new_file(self.picture, force=self.force)

    def fit(self, **foretold: Any) -> tuple[Trace, Fit]:
        """The record and what it says, read with what was foretold of it."""
        span = None if self.within is None else parse_range(self.within, "frequency", "--within")
        rate, time = quantity(self.rate, "frequency", "--rate"), None if self.time is None else column(self.time)
        signal, base = ([column(c) for c in each or ()] or None for each in (self.signal, self.base))
        columns: dict[str, Any] = {"time_column": time, "signal_columns": signal, "base_columns": base}
        path = Path(self.file).expanduser()
        record = read_trace(path, sample_rate_hz=rate, time_unit=self.time_unit, **columns)
        if self.forced:
            return record, fit_forced(record, frequency_range_hz=span)
        return record, fit_trace(record, frequency_range_hz=span, **foretold)


def column(text: str) -> str | int:
    """A column's name, or its number from 1."""
    return int(text) if text.isdigit() and len(text) < 4 else text


@options.with_fields(
    *(options.option_of(_KNOWN[name], words, optional=True) for name, words in _NEEDED.items()),
    *(options.option_of(_KNOWN[name]) for name in _MORE),
)
def trace(said: TraceOptions, given: dict[str, Any], call: Call) -> None:
    """Read frequency and damping from a record.

    For instance: matdb reading trace tap.csv --part leg --temp -15C --mass 600g --count 4 --log.

    Finds the taps, separates the modes, and fits frequency and decrement with their uncertainty; with --forced the
    transfer function between a sensor on the base and one on the payload. With --log the result becomes a reading.
    """
    missing = [_KNOWN[name].option for name in _NEEDED if given[name] is None]
    said.check(missing)
    record, fit = said.fit()
    expected, asked = "", fit.verdict == "asked"
    if not missing and fit.verdict != "refused" and (asked or not (said.log or call.as_json)):
        with call.existing() as store:
            expected, foretold = _foretold(store, said, in_mm(call, given))
        if asked:
            record, fit = said.fit(**foretold)
    if said.mode is not None and isinstance(fit, TraceFit):
        fit = _settled(fit, said.mode - 1)
    written = None if said.picture is None else _draw(fit, said.name, said.picture, said.force)
    content = {"file": said.file, "forced": said.forced, **_plain(fit)} | ({"files": [written]} if written else {})
    reasons = list(dict.fromkeys([*fit.reasons, *record.notes]))
    if not call.as_json:
        _show(fit, record, said.name)
        if written is not None:
            show(f"written: {written}", wrap=False)
    if not said.log:

        def screen() -> None:
            lines("Before you rely on it:", reasons)
            if expected:
                show(f"{expected} Nothing was logged; --log does.")

        call.answer({**content, "number": None}, screen, reasons)
    if fit.verdict == "refused":
        raise _refusal(fit, said.name)
    if not said.log:
        return
    values = options.values_of(_KNOWN, {**in_mm(call, given), "note": _note(given["note"], said.name, fit)})
    reading: Reading = (
        fit.ring_down(**values, mode=said.mode and said.mode - 1)
        if isinstance(fit, TraceFit)
        else fit.reading(**values)
    )
    with call.existing() as store:
        doubts = [*reasons, *logged_before(store, reading), *all_doubts(store, reading)]
        number = store.add(reading)
        assert isinstance(number, int)
    answer_logged(call, number, reading, doubts, content)


def _settled(fit: TraceFit, mode: int) -> TraceFit:
    """The fit with its mode told, no longer asked which it is; another question stays."""
    if fit.verdict == "refused" or mode >= len(fit.modes):
        return fit
    # Which mode it is stands first where it is asked.
    reasons = fit.reasons[1:] if fit.chosen is None else fit.reasons
    told = "flagged" if reasons else "good"
    verdict = fit.verdict if fit.chosen is not None or fit.modes[mode].aliases_hz else told
    return replace(fit, chosen=mode, reasons=reasons, verdict=verdict)


def _note(note: str, name: str, fit: Fit) -> str:
    said = f"from {name}" + (f", flagged: {'; '.join(fit.reasons)}" if fit.verdict == "flagged" else "")
    plain = "".join(c for c in f"{note}; {said}" if c.isprintable()) if note else said
    return plain[:1900]


def _refusal(fit: Fit, name: str) -> InputError:
    cure = fit.reasons[0]
    if isinstance(fit, TraceFit) and fit.trace.base is not None and "--forced" not in cure:
        cure += "; for a shaken record with a base sensor add --forced"
    says = "refused, for no figure is worth logging"
    return InputError(name, "refused", "a record with figures worth logging", cure, says=says)


_FORCED_COLUMNS: Final = (
    Column("natural frequency, Hz", lambda f: _pm(f.frequency_hz, f.frequency_sd_hz)),
    Column("loss factor", lambda f: _pm(f.loss_factor, f.loss_factor_sd)),
    Column("damping ratio", lambda f: _pm(f.damping_ratio, 0.5 * f.loss_factor_sd)),
    Column("peak", lambda f: number_text(f.amplification)),
    Column("coherence bins", lambda f: str(0 if f.transfer is None else int(np.sum(f.transfer.coherence > 0.6)))),
)
_MODE_COLUMNS: Final = (
    Column("mode", lambda each: str(each[0]), right=True),
    Column("frequency, Hz", lambda each: _pm(each[1].frequency_hz, each[1].frequency_sd_hz)),
    Column("decrement", lambda each: _pm(each[1].log_decrement, each[1].log_decrement_sd)),
    Column("damping ratio", lambda each: number_text(each[1].damping_ratio)),
    Column("share", lambda each: f"{100.0 * each[1].share:.0f} %", right=True),
    Column("flags", lambda each: "; ".join(each[1].flags)),
)


def _show(fit: Fit, record: Trace, name: str) -> None:
    length = float(record.time_s[-1] - record.time_s[0]) if len(record.time_s) else 0.0
    show(
        f"{name}: {len(record.time_s)} readings in {number_text(length)} s ({number_text(record.rate_hz)} a second), "
        f"signals {', '.join(record.names)}" + (", with a base sensor" if record.base is not None else "")
    )
    if fit.verdict == "refused":
        return
    if isinstance(fit, ForcedFit):
        records_table([fit], _FORCED_COLUMNS)
        show(f"axis {record.names[fit.channel]}; after +- stands one standard deviation")
        return
    show(f"{counted(len(fit.taps_s), 'taps')} at {', '.join(f'{t:.2f}' for t in fit.taps_s[:12])} s: {fit.verdict}")
    if len(fit.taps_s) == 1:
        show("only 1 tap: repeat to see the scatter")
    if fit.clipped > 0.0:
        show(
            f"clipped: {100.0 * fit.clipped:.2g} % of the readings lie at the sensor's limit; they were counted as at "
            "or beyond it"
        )
    records_table(enumerate(fit.modes, 1), _MODE_COLUMNS)
    show("after +- stands one standard deviation")
    if (peak := fit.amplitude_mm(fit.chosen or 0)) is not None:
        show(f"peak amplitude after a tap: {number_text(peak)} mm")
    if (m := fit.fixed_base) is not None:
        show(
            f"on a base that does not move: {_pm(m.frequency_hz, m.frequency_sd_hz)} Hz, decrement "
            f"{_pm(m.log_decrement, m.log_decrement_sd)}; this is what is logged"
        )
    if (a := fit.amplitude) is not None:
        word = "softens" if a.late_hz > a.early_hz else "stiffens"
        change = f"{word} with amplitude" if a.significant else "no change with amplitude beyond the noise"
        show(
            f"{change}: {_pm(a.early_hz, a.early_sd_hz)} Hz and decrement "
            f"{_pm(a.early_decrement, a.early_decrement_sd)} at {number_text(a.early_amplitude)}, "
            f"{_pm(a.late_hz, a.late_sd_hz)} Hz and {_pm(a.late_decrement, a.late_decrement_sd)} at "
            f"{number_text(a.late_amplitude)} (the record's unit)"
        )


def _foretold(store: Store, said: TraceOptions, given: Mapping[str, Any]) -> tuple[str, dict[str, Any]]:
    """What the curve says of the same state, in words and for the fit to tell the part's mode from others.

    So a slip of mass or mode shows before it is logged.
    """
    values = options.values_of(_KNOWN, given)
    part, temperature_c, mass_kg = (values[name] for name in _NEEDED)
    held = {"squeeze_mm": values.get("squeeze_mm", 0.0)}
    now = store.effective(part, temperature_c, mass_kg=mass_kg, count=given["count"], axis=given["axis"], **held)
    band, beside = now.natural_frequency_hz, list[float]()
    assert band is not None
    by = "readings" if now.basis == "readings" else "the family prior"
    line = f"{part} at {temperature_c:g} degC with {given['mass_kg']}: {band_cell(band)} Hz by {by}."
    if said.mounting is not None:
        modes = store.modes(said.mounting, part, temperature_c, **held).modes
        for bounce in (mode for mode in modes if mode.word.startswith("bounce")):
            band = bounce.natural_frequency_hz
            beside = [float(m.natural_frequency_hz.median / band.median) for m in modes if m is not bounce]
    return line, {"foretold_hz": (float(band.low), float(band.high)), "beside": beside}


def _draw(fit: Fit, name: str, picture: str, force: bool) -> str | None:
    from matdb.picture.figure import save_picture
    from matdb.picture.trace_chart import forced_chart, trace_chart

    if isinstance(fit, ForcedFit) and fit.transfer is None:
        return None
    chart = trace_chart(fit, name) if isinstance(fit, TraceFit) else forced_chart(fit, name)
    return str(save_picture(chart, picture, force=force))


def _plain(fit: Fit) -> dict[str, Any]:
    if isinstance(fit, ForcedFit):
        figures = "frequency_hz frequency_sd_hz loss_factor loss_factor_sd damping_ratio"
        return _some(fit, f"verdict {figures} amplification gain delay_s channel")
    figures = "frequency_hz frequency_sd_hz log_decrement log_decrement_sd damping_ratio share flags aliases_hz"
    more = {"modes": [_some(mode, figures) for mode in fit.modes], "amplitude_dependence": fit.amplitude}
    return _some(fit, "verdict chosen taps_s") | more | _some(fit, "hum_hz clipped rate_hz")


def _some(record: Fit | TraceMode, names: str) -> dict[str, Any]:
    return {name: getattr(record, name) for name in names.split()}


def _pm(value: float, sd: float) -> str:
    """A value with its standard deviation, as many digits as that deserves."""
    if not (math.isfinite(value) and math.isfinite(sd) and sd > 0.0):
        return f"{value:.4g}"
    digits = min(max(1 - math.floor(math.log10(sd)), 0), 8)
    return f"{value:.{digits}f} +- {sd:.{digits}f}"
