"""What goes into and comes out of a trace's fit: the record, its modes, the verdict."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from matdb.arrays import Array, Places
from matdb.bench.decrement import damping_ratio_from_decrement
from matdb.bench.readings import RingDown
from matdb.errors import InputError
from matdb.units import parse

#: The unit that ends a column's title: "z (m/s2)", "payload [g]", "acceleration_m_s2".
_UNIT = re.compile(r"(?:[(\[]([^()\[\]]+)[)\]]|_(mm|um|g|mg|m?m_s2))\s*$")


class Refused(Exception):
    """Nothing can be said of a record, and why."""


@dataclass(frozen=True)
class Trace:
    """A record: time in s, signals in columns.

    Attributes
    ----------
    time_s : array, shape (n,)
        Seconds, rising.
    signal : array, shape (n, channels)
        The payload's signals, one column an axis, in any unit (NaN: missing).
    names : tuple of str
        The columns' names.
    base : array, shape (n, channels) or None
        The same axes of a second sensor on the base, in the same unit.
    notes : tuple of str
        What was found or guessed on the way in.

    """

    time_s: Array
    signal: Array
    names: tuple[str, ...] = ()
    base: Array | None = None
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        time, signal = np.array(self.time_s, dtype=float), np.array(self.signal, dtype=float)
        if time.size < 2:
            raise InputError("time_s", f"shape {time.shape}", "a row of at least two times")
        signal = signal.reshape(time.size, -1)
        base = None if self.base is None else np.array(self.base, dtype=float).reshape(signal.shape)
        names = self.names or tuple(f"signal {i + 1}" for i in range(signal.shape[1]))
        notes = list(self.notes)
        parts = [time[:, None], signal, *([] if base is None else [base])]
        if np.all(np.diff(time) > 0.0) and all(np.isfinite(part).all() for part in parts):
            # As most are; an hour need not stand beside itself.
            order: Any = slice(None)
            time, packet = _unpacked(time)
        else:
            order, packet = _rising(time, np.column_stack(parts))
        notes += [packet] if packet else []
        clean = {"time_s": time[order], "signal": signal[order], "base": None if base is None else base[order]}
        if (left := clean["time_s"].size) < time.size:
            notes.append(f"{time.size - left} of {time.size} rows left out: missing or repeated time or value")
        for name, value in {**clean, "names": names, "notes": tuple(notes)}.items():
            object.__setattr__(self, name, value)

    @property
    def rate_hz(self) -> float:
        """Usual sampling rate, Hz."""
        return float(1.0 / np.median(np.diff(self.time_s))) if self.time_s.size > 1 else float("nan")


def _rising(time: Array, every: Array) -> tuple[Places, str]:
    """Which rows are whole, in order of time and each once, times spread as of :func:`_unpacked`, and its line."""
    good = np.all(np.isfinite(every), axis=1)
    order, packet = np.flatnonzero(good)[np.argsort(time[good], kind="stable")], ""
    if order.size:
        if np.any(np.diff(time[order]) <= 0.0):
            order = order[np.append(True, np.any(np.diff(every[order], axis=0) != 0.0, axis=1))]
        time[order], packet = _unpacked(time[order])
        order = order[np.append(True, np.diff(time[order]) > 0)]
    return order, packet


def _unpacked(time: Array) -> tuple[Array, str]:
    """Stamps that a phone gives by the packet, spread evenly, and a line on it; other times as they are.

    A packet's readings bear its time, one and the same or a moment apart. Raises InputError where readings were lost.
    """
    if time.size < 40:
        return time, ""
    steps, usual = np.diff(time), float(time[-1] - time[0]) / (time.size - 1)
    if np.mean(steps < 0.25 * usual) < 0.3:
        return time, ""
    last = np.flatnonzero(steps > max(0.5 * float(np.quantile(steps, 0.98)), usual))
    if last.size < 18:
        raise InputError("time", f"{last.size + 1} packets", "a time for each reading, or more packets")
    ends, many, reach = time[last], np.diff(last), 9
    step = float(np.median((ends[reach:] - ends[:-reach]) / (last[reach:] - last[:-reach])))
    # Lost readings shift all later packets; a late packet shifts itself alone.
    middle = np.median(np.lib.stride_tricks.sliding_window_view(ends - step * last, reach), axis=1)
    if np.max(np.abs(middle[reach:] - middle[:-reach]), initial=0.0) > 0.5 * float(np.median(many)) * step:
        raise InputError("time", "packets with gaps", "a time for each reading", "record again without batches")
    step, start = np.polyfit(last, ends, 1)
    even = start + step * np.arange(time.size)
    return even, f"times come in packets of {np.median(many):.0f}; taken as even, {1.0 / step:.4g} a second"


@dataclass(frozen=True)
class TraceMode:
    """One mode of a trace.

    Attributes
    ----------
    frequency_hz, frequency_sd_hz : float
        Damped natural frequency and its standard deviation, Hz.
    log_decrement, log_decrement_sd : float
        Logarithmic decrement per cycle and its standard deviation.
    amplitude : array, shape (taps, channels)
        Amplitude just after each tap, in the signal's unit.
    share : float
        This mode's share of the energy of all modes.
    flags : tuple of str
        Why this mode's figures are not to be trusted as they are; empty when they are.
    aliases_hz : tuple of float
        Frequencies that would have looked the same at this sampling rate, and that the part may have, Hz.

    """

    frequency_hz: float
    frequency_sd_hz: float
    log_decrement: float
    log_decrement_sd: float
    amplitude: Array
    share: float
    flags: tuple[str, ...] = ()
    aliases_hz: tuple[float, ...] = ()

    @property
    def damping_ratio(self) -> float:
        """Damping ratio."""
        return damping_ratio_from_decrement(self.log_decrement)


@dataclass(frozen=True)
class AmplitudeDependence:
    """The first mode at large and at small amplitude: its pole is fitted as moving with the amplitude.

    Attributes
    ----------
    early_hz, early_sd_hz, late_hz, late_sd_hz : float
        Frequency at large and at small amplitude, with standard deviations, Hz.
    early_decrement, early_decrement_sd, late_decrement, late_decrement_sd : float
        Logarithmic decrement likewise.
    early_amplitude, late_amplitude : float
        The two amplitudes, 0.8 and 0.1 of the largest tap's, in the signal's unit.
    significant : bool
        True when noise would explain the difference once in some three thousand records.

    """

    early_hz: float
    early_sd_hz: float
    late_hz: float
    late_sd_hz: float
    early_decrement: float
    early_decrement_sd: float
    late_decrement: float
    late_decrement_sd: float
    early_amplitude: float
    late_amplitude: float
    significant: bool


@dataclass(frozen=True)
class TraceFit:
    """What a trace says.

    Attributes
    ----------
    verdict : str
        ``"good"``, ``"flagged"`` (figures with reasons to look twice), ``"asked"`` (figures to log once it is told
        which mode it is, or where it lies) or ``"refused"`` (no figures to log).
    reasons : tuple of str
        Why it is not good, one line each; what is asked first.
    modes : tuple of TraceMode
        The modes, the strongest first; empty when refused.
    taps_s : array
        Times of the taps, s.
    noise : array, shape (channels,)
        Noise of each channel (standard deviation), in its unit.
    hum_hz, hum_amplitude : float
        Mains hum found, 0 when none; amplitude on the worst channel.
    clipped : float
        Share of the readings at the sensor's limit.
    rate_hz : float
        Usual sampling rate.
    fitted : array, shape (n, channels)
        The fitted record, NaN outside the fitted stretches.
    amplitude : AmplitudeDependence or None
        Early against late part of the decays.
    fixed_base : TraceMode or None
        The first mode as on a base that does not move, when a base sensor was given and it moved.
    trace : Trace
        The record, for a picture.
    chosen : int or None
        Which of the modes is the part's, 0 for the strongest; None where that has to be told.

    """

    verdict: str
    reasons: tuple[str, ...]
    modes: tuple[TraceMode, ...]
    taps_s: Array
    noise: Array
    hum_hz: float
    hum_amplitude: float
    clipped: float
    rate_hz: float
    fitted: Array = field(repr=False)
    amplitude: AmplitudeDependence | None
    fixed_base: TraceMode | None
    trace: Trace = field(repr=False)
    chosen: int | None = 0

    def amplitude_mm(self, mode: int = 0) -> float | None:
        """Peak amplitude of a mode just after a usual tap, mm.

        Of all channels together, where every column's title tells a length or an acceleration, which is the length
        times the square of the complex frequency. None where a title tells neither, and on a base that moved.

        Parameters
        ----------
        mode : int
            Which mode, 0 for the strongest.
        """
        told = self.modes[mode]
        decay = told.log_decrement / (2.0 * math.pi)
        square = (2.0 * math.pi * told.frequency_hz) ** 2 * (1.0 + decay**2)
        to_mm = [_to_mm(name, square) for name in self.trace.names]
        if self.fixed_base is not None or None in to_mm:
            return None
        peaks = np.sqrt(np.nansum((told.amplitude * np.array(to_mm, dtype=float)) ** 2, axis=1))
        return float(np.median(peaks[peaks > 0.0])) if np.any(peaks > 0.0) else None

    def ring_down(
        self, part: str, temperature_c: float, mass_kg: float, *, mode: int | None = None, **more: Any
    ) -> RingDown:
        """The reading to log: frequency and decrement of one mode with their standard deviations.

        Parameters
        ----------
        part : str
            The part's name.
        temperature_c : float
            Its temperature, degrees Celsius.
        mass_kg : float
            The ringing mass, kg.
        mode : int, optional
            Which mode, 0 for the strongest; the one chosen without it.
        **more
            Further fields of :class:`~matdb.bench.readings.RingDown`; its amplitude is that of the record if not told.

        Returns
        -------
        RingDown
            The reading.

        Raises
        ------
        InputError
            The trace was refused, it has no such mode, or something has to be told first.

        """
        if self.verdict == "refused":
            raise InputError("trace", "refused", "a record with a clear ring-down", self.reasons[0])
        mode = self.chosen if mode is None else mode
        if mode is None:
            raise InputError("mode", "not told", f"from 1 to {len(self.modes)}", self.reasons[0])
        if not 0 <= mode < len(self.modes):
            raise InputError("mode", mode, f"from 0 to {len(self.modes) - 1}")
        if self.modes[mode].aliases_hz:
            raise InputError("frequency", "in doubt", "one that the sampling rate tells from others", self.reasons[0])
        chosen = self.fixed_base if mode == 0 and self.fixed_base is not None else self.modes[mode]
        names = ("frequency_hz", "frequency_sd_hz", "log_decrement", "log_decrement_sd")
        told = {name: getattr(chosen, name) for name in names} | {"amplitude_mm": self.amplitude_mm(mode)}
        return RingDown(part=part, temperature_c=temperature_c, mass_kg=mass_kg, **told | more)


def _to_mm(title: str, square: float) -> float | None:
    """What a signal of that title is to be multiplied by for mm; ``square`` of the angular frequency, 1/s2."""
    found = _UNIT.search(title.strip())
    unit = found[1] or found[2] if found else ""
    for dimension, scale in (("length", 1.0), ("acceleration", 1e3 / square)):
        try:
            return parse(f"1 {unit}", dimension, title) * scale
        except InputError:
            continue
    return None
