"""A record with its fit, and a transfer function with its fit, as charts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from matdb.arrays import Array
from matdb.bench.flight.following import Followed
from matdb.bench.forced import ForcedFit
from matdb.bench.trace.record import TraceFit
from matdb.picture.chart import Chart, Mark, Panel, Series
from matdb.units import counted

#: Points that a line is drawn with.
_MOST_POINTS: Final = 4000
_MOST_CYCLES: Final = 12.0


def trace_chart(fit: TraceFit, name: str) -> Chart:
    """The whole record, and the strongest tap in detail, each with the fit over it.

    Parameters
    ----------
    fit : TraceFit
        What :func:`matdb.bench.trace.fit.fit_trace` gave; a refused one shows the record alone.
    name : str
        The record's name, for the title.

    Returns
    -------
    Chart
        One panel of the record, and one of a tap unless the fit was refused.
    """
    trace = fit.trace
    size = np.nan_to_num(fit.modes[0].amplitude) if fit.modes else np.std(trace.signal, axis=0)[None]
    channel = int(np.argmax(size.max(axis=0)))
    middle, label = float(np.median(trace.signal[:, channel])), trace.names[channel]
    time, signal, fitted = trace.time_s, trace.signal[:, channel] - middle, fit.fitted[:, channel] - middle
    taps = tuple(Mark("x", float(t), "tap" if k == 0 else "") for k, t in enumerate(fit.taps_s))
    panels = [_panel(time, signal, fitted, label, taps)]
    subtitle = "refused: " + fit.reasons[0] if fit.verdict == "refused" else ""
    if fit.modes:
        mode = fit.modes[0]
        subtitle = (
            f"{mode.frequency_hz:.4g} ± {mode.frequency_sd_hz:.2g} Hz, decrement {mode.log_decrement:.3g} ± "
            f"{mode.log_decrement_sd:.2g}, {counted(len(fit.taps_s), 'taps')}, {counted(len(fit.modes), 'modes')}"
        )
        start = float(fit.taps_s[int(np.argmax(size[:, channel]))])
        cycles = min(_MOST_CYCLES, max(4.0, 4.0 / max(mode.log_decrement, 1e-3)))
        here = (time >= start - 1.0 / mode.frequency_hz) & (time <= start + cycles / mode.frequency_hz)
        panels.append(_panel(time[here], signal[here], fitted[here], label, ()))
    return Chart(f"Record {name}", subtitle, tuple(panels), fit.reasons)


def forced_chart(fit: ForcedFit, name: str) -> Chart:
    """Transmissibility and coherence over frequency with the fitted resonance.

    Parameters
    ----------
    fit : ForcedFit
        What :func:`matdb.bench.forced.fit_forced` gave, with its transfer function.
    name : str
        The record's name, for the title.

    Returns
    -------
    Chart
        Two panels: magnitude and coherence.
    """
    subtitle = "refused: " + fit.reasons[0] if fit.verdict == "refused" else ""
    if np.isfinite(fit.frequency_hz):
        subtitle = (
            f"natural frequency {fit.frequency_hz:.4g} ± {fit.frequency_sd_hz:.2g} Hz, loss factor "
            f"{fit.loss_factor:.3g} ± {fit.loss_factor_sd:.2g}"
        )
    return Chart(f"Record {name}", subtitle, _transfer_panels(fit, "payload over base"), fit.reasons)


def flight_chart(axes: Sequence[Followed], says: Sequence[str], name: str) -> Chart:
    """How the camera followed the airframe about each axis: transmissibility and coherence.

    Parameters
    ----------
    axes : sequence of Followed
        Roll, pitch and yaw.
    says : sequence of str
        A line for each.
    name : str
        The log's name, for the title.
    """
    panels = [panel for each in axes for panel in _transfer_panels(each.fit, f"{each.axis}, camera over craft")]
    return Chart(f"Flight {name}", "; ".join(says), tuple(panels))


def _transfer_panels(fit: ForcedFit, label: str) -> tuple[Panel, ...]:
    """Magnitude and coherence of a transfer function."""
    transfer = fit.transfer
    assert transfer is not None
    shown = transfer.frequency_hz > 0.0
    if np.isfinite(fit.frequency_hz):
        shown &= transfer.frequency_hz <= 5.0 * fit.frequency_hz
    f = transfer.frequency_hz[shown]
    magnitude, sd = np.abs(transfer.ratio[shown]), 1.4142 * transfer.sd[shown]
    low, high = np.maximum(magnitude - 1.96 * sd, 1e-6), magnitude + 1.96 * sd
    lines = [Series(label="read", x=f, y=magnitude, low=low, high=high)]
    if np.isfinite(fit.frequency_hz):
        lines.append(Series(label="fitted", x=f, y=np.abs(fit.fitted[shown]), style="dashed", colour=1))
    coherence, hz = Series(label="", x=f, y=transfer.coherence[shown]), "frequency, Hz"
    return (Panel(hz, label, tuple(lines), y_log=True), Panel(hz, "coherence", (coherence,), y_range=(0.0, 1.02)))


def _panel(time: Array, signal: Array, fitted: Array, label: str, taps: tuple[Mark, ...]) -> Panel:
    series = [Series(label="read", x=_thin(time), y=_thin(signal))]
    if np.isfinite(fitted).any():
        series.append(Series(label="fitted", x=_thin(time), y=_thin(fitted), style="dashed", colour=1))
    return Panel("time, s", f"{label}, less its median", tuple(series), marks=taps)


def _thin(values: Array) -> Array:
    step = max(1, len(values) // _MOST_POINTS)
    return values[::step]
