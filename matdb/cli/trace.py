"""``matdb reading trace``: a record of taps or of shaking, to frequency and damping, to a reading."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from matdb.bench.readings import RingDown
from matdb.cli.options import ForceOption, JsonOption, StoreOption, existing, needed, quantity
from matdb.cli.reading_add import bench_doubts, hazards
from matdb.cli.record_options import option, values_of, with_fields
from matdb.fields import record_fields

if TYPE_CHECKING:
    from matdb.api import Store
    from matdb.bench.forced import ForcedFit
    from matdb.bench.readings import Reading
    from matdb.bench.trace.record import Trace, TraceFit


_KNOWN = record_fields(RingDown)
_MORE: Final = tuple(
    option(_KNOWN[name])
    for name in (
        "count",
        "axis",
        "squeeze_mm",
        "temperature_sd_c",
        "soak_min",
        "seconds_out",
        "who",
        "taken_at",
        "note",
    )
)


@with_fields(*_MORE)
def trace(
    ctx: typer.Context,
    file: Annotated[str, typer.Argument(metavar="FILE", help="A CSV or text file of an accelerometer, gyro or gauge.")],
    part: Annotated[str | None, typer.Option("--part", metavar="NAME", help="The part that rang.")] = None,
    temp: Annotated[
        str | None,
        typer.Option("--temp", metavar="TEMPERATURE", help="Its temperature; with --soak or --out its chamber's."),
    ] = None,
    mass: Annotated[
        str | None, typer.Option("--mass", metavar="MASS", help="The mass on all the parts together, such as 250g.")
    ] = None,
    log: Annotated[bool, typer.Option("--log", help="Log the reading with its uncertainties.")] = False,
    forced: Annotated[
        bool,
        typer.Option("--forced", help="Shaken or in flight: payload over base, resonance and loss factor."),
    ] = False,
    mode: Annotated[
        int, typer.Option("--mode", min=1, metavar="NUMBER", help="Which mode to log, 1 the strongest.")
    ] = 1,
    within: Annotated[
        str | None, typer.Option("--within", metavar="RANGE", help="Look for modes here only, such as 5Hz..60Hz.")
    ] = None,
    signal: Annotated[
        list[str] | None,
        typer.Option("--signal", metavar="COLUMN", help="A column of the payload. May be given again."),
    ] = None,
    base: Annotated[
        list[str] | None, typer.Option("--base", metavar="COLUMN", help="A column of the base. May be given again.")
    ] = None,
    time: Annotated[str | None, typer.Option("--time", metavar="COLUMN", help="The column of times.")] = None,
    time_unit: Annotated[
        str | None, typer.Option("--time-unit", metavar="UNIT", help="Unit of the times: s, ms, us or ns.")
    ] = None,
    rate: Annotated[
        str | None, typer.Option("--rate", metavar="FREQUENCY", help="Readings a second, where the file has no time.")
    ] = None,
    picture: Annotated[
        str | None,
        typer.Option("--picture", metavar="FILE", help="Draw record and fit: a file ending in .png or .svg."),
    ] = None,
    force: ForceOption = False,
    *,
    given: dict[str, Any],
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Read frequency and damping from a record.

    Finds the taps, separates the modes, and fits frequency and decrement with their uncertainty; with --forced the
    transfer function between a sensor on the base and one on the payload. With --log the result becomes a reading.
    """
    from matdb.bench.trace.file import read_trace
    from matdb.cli.screen import document, lines, show
    from matdb.errors import InputError
    from matdb.files import new_file
    from matdb.units import parse_range

    asked = {"--part": part, "--temp": temp, "--mass": mass}
    missing = [name for name, value in asked.items() if value is None]
    if log and missing:
        raise InputError(missing[0], None, "given with --log")
    if forced and mode != 1:
        raise InputError("--mode", mode, "left out with --forced")
    if picture is not None:
        new_file(picture, force=force)
    span = None if within is None else parse_range(within, "frequency", "--within")
    name = Path(file).name
    record = read_trace(
        Path(file).expanduser(),
        sample_rate_hz=quantity(rate, "frequency", "--rate"),
        time_column=_column(time),
        signal_columns=[_column(c) or "" for c in signal] if signal else None,
        base_columns=[_column(c) or "" for c in base] if base else None,
        time_unit=time_unit,
    )
    fit = _fitted(record, forced, span)
    written = None if picture is None else _draw(fit, name, picture, force)
    content = {"file": file, "forced": forced, "picture": written, **_plain(fit)}
    reasons = list(dict.fromkeys([*fit.reasons, *record.notes]))
    if not as_json:
        _show(fit, record, name)
        if written is not None:
            show(f"written: {written}", wrap=False)
    if not log:
        if as_json:
            document("reading trace", {**content, "number": None}, reasons)
        else:
            lines("Before you rely on it:", reasons)
            if not missing and fit.verdict != "refused":
                with existing(ctx, store) as kept:
                    now = needed(str(temp), "temperature", "--temp")
                    _expected(kept, fit, str(part), now, mass, given, mode)
        _refusal(fit, name)
        return
    _refusal(fit, name)
    given["note"] = _note(given["note"], name, fit)
    more = values_of(_KNOWN, given)
    reading = _reading(fit, str(part), needed(str(temp), "temperature", "--temp"), str(mass), mode, more)
    with existing(ctx, store) as kept:
        number = kept.add(reading)
        doubts = bench_doubts(kept, reading)
    if as_json:
        document(
            "reading trace",
            {**content, "number": number, "reading": reading.to_dict()},
            [*reasons, *doubts, *hazards(reading)],
        )
        return
    show(f"logged reading {number}: {reading.kind} on {part} at {reading.temperature_c:g} degC")
    lines("Before you rely on it:", [*reasons, *doubts])
    lines("Cautions:", hazards(reading))


def _column(text: str | None) -> str | int | None:
    """A column's name, or its number from 1."""
    return int(text) if text is not None and text.isdigit() and len(text) < 4 else text


def _fitted(record: Trace, forced: bool, span: tuple[float, float] | None) -> TraceFit | ForcedFit:
    from matdb.bench.forced import fit_forced
    from matdb.bench.trace.fit import fit_trace

    if forced:
        return fit_forced(record, frequency_range_hz=span)
    return fit_trace(record, frequency_range_hz=span)


def _reading(
    fit: TraceFit | ForcedFit, part: str, temperature_c: float, mass: str, mode: int, more: dict[str, Any]
) -> Reading:
    from matdb.bench.trace.record import TraceFit

    mass_kg = needed(mass, "mass", "--mass")
    if isinstance(fit, TraceFit):
        return fit.ring_down(part, temperature_c, mass_kg, mode=mode - 1, **more)
    return fit.reading(part, temperature_c, mass_kg, **more)


def _note(note: str, name: str, fit: TraceFit | ForcedFit) -> str:
    said = f"from {name}" + (f", flagged: {'; '.join(fit.reasons)}" if fit.verdict == "flagged" else "")
    plain = "".join(c for c in f"{note}; {said}" if c.isprintable()) if note else said
    return plain[:1900]


def _refusal(fit: TraceFit | ForcedFit, name: str) -> None:
    from matdb.bench.trace.record import TraceFit
    from matdb.errors import InputError

    if fit.verdict != "refused":
        return
    cure = fit.reasons[0]
    if isinstance(fit, TraceFit) and fit.trace.base is not None and "--forced" not in cure:
        cure += "; for a shaken record with a base sensor add --forced"
    raise InputError(
        name, "refused", "a record with figures worth logging", cure, says="refused, for no figure is worth logging"
    )


def _show(fit: TraceFit | ForcedFit, record: Trace, name: str) -> None:
    import numpy as np

    from matdb.bench.trace.record import TraceFit
    from matdb.cli.screen import number_text, show, table
    from matdb.units import counted

    length = float(record.time_s[-1] - record.time_s[0])
    show(
        f"{name}: {len(record.time_s)} readings in {number_text(length)} s ({number_text(record.rate_hz)} a second), "
        f"signals {', '.join(record.names)}" + (", with a base sensor" if record.base is not None else "")
    )
    if fit.verdict == "refused":
        return
    if not isinstance(fit, TraceFit):
        table(
            ["natural frequency, Hz", "loss factor", "damping ratio", "peak", "coherence bins"],
            [
                [
                    _pm(fit.frequency_hz, fit.frequency_sd_hz),
                    _pm(fit.loss_factor, fit.loss_factor_sd),
                    _pm(fit.damping_ratio, 0.5 * fit.loss_factor_sd),
                    number_text(fit.amplification),
                    str(0 if fit.transfer is None else int(np.sum(fit.transfer.coherence > 0.6))),
                ]
            ],
        )
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
    rows = [
        [
            str(k),
            _pm(m.frequency_hz, m.frequency_sd_hz),
            _pm(m.log_decrement, m.log_decrement_sd),
            number_text(m.damping_ratio),
            f"{100.0 * m.share:.0f} %",
            "; ".join(m.flags),
        ]
        for k, m in enumerate(fit.modes, 1)
    ]
    table(["mode", "frequency, Hz", "decrement", "damping ratio", "share", "flags"], rows, right=(0, 4))
    show("after +- stands one standard deviation")
    if fit.fixed_base is not None:
        m = fit.fixed_base
        show(
            f"on a base that does not move: {_pm(m.frequency_hz, m.frequency_sd_hz)} Hz, decrement "
            f"{_pm(m.log_decrement, m.log_decrement_sd)}; this is what is logged"
        )
    if fit.amplitude is not None:
        a = fit.amplitude
        word = "softens" if a.late_hz > a.early_hz else "stiffens"
        change = f"{word} with amplitude" if a.significant else "no change with amplitude beyond the noise"
        show(
            f"{change}: {_pm(a.early_hz, a.early_sd_hz)} Hz and decrement "
            f"{_pm(a.early_decrement, a.early_decrement_sd)} at {number_text(a.early_amplitude)}, "
            f"{_pm(a.late_hz, a.late_sd_hz)} Hz and {_pm(a.late_decrement, a.late_decrement_sd)} at "
            f"{number_text(a.late_amplitude)} (the record's unit)"
        )


def _expected(
    kept: Store,
    fit: TraceFit | ForcedFit,
    part: str,
    temperature_c: float,
    mass: str | None,
    given: dict[str, Any],
    mode: int,
) -> None:
    """What the curve says of the same state, so that a slip of mass or mode shows before it is logged."""
    from matdb.bench.trace.record import TraceFit
    from matdb.cli.screen import band_text, show
    from matdb.errors import InputError

    if isinstance(fit, TraceFit) and mode > len(fit.modes):
        raise InputError("--mode", mode, f"from 1 to {len(fit.modes)}")
    mass_kg, count = needed(str(mass), "mass", "--mass"), given["count"]
    now = kept.effective(part, temperature_c, mass_kg=mass_kg, count=count, axis=given["axis"])
    band = now.natural_frequency_hz
    assert band is not None
    shown = band_text(float(band.median), float(band.low), float(band.high))
    by = "readings" if now.basis == "readings" else "the family prior"
    show(f"{part} at {temperature_c:g} degC with {mass}: {shown} Hz by {by}. Nothing was logged; --log does.")


def _draw(fit: TraceFit | ForcedFit, name: str, picture: str, force: bool) -> str | None:
    from matdb.bench.trace.record import TraceFit
    from matdb.picture.figure import save_picture
    from matdb.picture.trace_chart import forced_chart, trace_chart

    if isinstance(fit, TraceFit):
        return str(save_picture(trace_chart(fit, name), picture, force=force))
    if fit.transfer is None:
        return None
    return str(save_picture(forced_chart(fit, name), picture, force=force))


def _plain(fit: TraceFit | ForcedFit) -> dict[str, Any]:
    from dataclasses import asdict

    from matdb.bench.trace.record import TraceFit

    if not isinstance(fit, TraceFit):
        names = (
            "verdict", "frequency_hz", "frequency_sd_hz", "loss_factor", "loss_factor_sd", "damping_ratio",
            "amplification", "gain", "delay_s", "channel",
        )  # fmt: skip
        return {name: getattr(fit, name) for name in names}
    modes = [
        {
            "frequency_hz": m.frequency_hz,
            "frequency_sd_hz": m.frequency_sd_hz,
            "log_decrement": m.log_decrement,
            "log_decrement_sd": m.log_decrement_sd,
            "damping_ratio": m.damping_ratio,
            "share": m.share,
            "flags": m.flags,
        }
        for m in fit.modes
    ]
    return {
        "verdict": fit.verdict,
        "taps_s": fit.taps_s,
        "modes": modes,
        "amplitude_dependence": None if fit.amplitude is None else asdict(fit.amplitude),
        "hum_hz": fit.hum_hz,
        "clipped": fit.clipped,
        "rate_hz": fit.rate_hz,
    }


def _pm(value: float, sd: float) -> str:
    """A value with its standard deviation, as many digits as that deserves."""
    import math

    if not (math.isfinite(value) and math.isfinite(sd) and sd > 0.0):
        return f"{value:.4g}"
    digits = min(max(1 - math.floor(math.log10(sd)), 0), 8)
    return f"{value:.{digits}f} +- {sd:.{digits}f}"
