"""Ring-downs in a recorded trace: find the taps, separate the modes, fit frequency and decrement.

A trace is time against one or more signals (acceleration, rate of turn, displacement, any unit): uneven sampling,
gravity and slow drift, mains hum, several taps, clipped peaks are expected. The record is fitted as a whole: all
taps and axes share the modes, each has its own amplitudes. What cannot be trusted is flagged or refused, with the
reason.

References
----------
.. [1] G. Golub, V. Pereyra, Inverse Problems 19 (2003) R1: variable projection (from memory).
.. [2] S. M. Kay, Fundamentals of Statistical Signal Processing: Detection Theory: matched filter (from memory).

"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matdb.bench.modes import (
    LEAST_DAMPING,
    MOST_DAMPING,
    Block,
    Moving,
    Solution,
    basis,
    evaluate,
    grid_gain,
    pole_grid,
    solve,
    solve_moving,
)
from matdb.bench.readings import RingDown
from matdb.errors import InputError

__all__ = ["AmplitudeDependence", "Trace", "TraceFit", "TraceMode", "fit_trace"]

Array = NDArray[np.float64]
Poles = NDArray[np.complex128]

_NO_POLES: Poles = np.empty(0, dtype=complex)
#: A frequency or a decrement less certain than this is flagged: 1 % and 10 % at two and a half deviations.
FREQUENCY_LIMIT, DECREMENT_LIMIT = 0.004, 0.04
#: Refused: nothing worth logging.
FREQUENCY_REFUSED, DECREMENT_REFUSED = 0.05, 0.35


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
        time, signal = _floats("time_s", self.time_s), _floats("signal", self.signal)
        if time.ndim != 1 or time.size < 2:
            raise InputError("time_s", f"shape {time.shape}", "a row of at least two times")
        signal = signal[:, None] if signal.ndim == 1 else signal
        if signal.ndim != 2 or signal.shape[0] != time.size or signal.shape[1] < 1:
            raise InputError("signal", f"shape {signal.shape}", f"{time.size} rows, one a time")
        base = self.base
        if base is not None:
            base = _floats("base", base)
            base = base[:, None] if base.ndim == 1 else base
            if base.shape != signal.shape:
                raise InputError("base", f"shape {base.shape}", f"of the signals' shape {signal.shape}")
        good = np.isfinite(time) & np.all(np.isfinite(signal), axis=1)
        if base is not None:
            good &= np.all(np.isfinite(base), axis=1)
        order = np.flatnonzero(good)[np.argsort(time[good], kind="stable")]
        order = order[np.concatenate([[True], np.diff(time[order]) > 0])] if order.size else order
        names = self.names or tuple(f"signal {i + 1}" for i in range(signal.shape[1]))
        if len(names) != signal.shape[1]:
            raise InputError("names", len(names), f"{signal.shape[1]} names, one a signal")
        notes = list(self.notes)
        if order.size < time.size:
            notes.append(f"{time.size - order.size} of {time.size} rows left out: missing or repeated time or value")
        for name, value in (
            ("time_s", time[order]),
            ("signal", signal[order]),
            ("base", None if base is None else base[order]),
            ("names", names),
            ("notes", tuple(notes)),
        ):
            object.__setattr__(self, name, value)

    @property
    def rate_hz(self) -> float:
        """Usual sampling rate, Hz."""
        return float(1.0 / np.median(np.diff(self.time_s))) if self.time_s.size > 1 else float("nan")


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

    """

    frequency_hz: float
    frequency_sd_hz: float
    log_decrement: float
    log_decrement_sd: float
    amplitude: Array
    share: float
    flags: tuple[str, ...] = ()

    @property
    def damping_ratio(self) -> float:
        """Damping ratio."""
        d = self.log_decrement / (2.0 * np.pi)
        return float(d / np.sqrt(1.0 + d * d))

    def frequency_interval(self, level: float = 0.95) -> tuple[float, float]:
        """Interval that holds the damped natural frequency with this probability, Hz."""
        half = _quantile(level) * self.frequency_sd_hz
        return self.frequency_hz - half, self.frequency_hz + half

    def decrement_interval(self, level: float = 0.95) -> tuple[float, float]:
        """Interval that holds the logarithmic decrement with this probability."""
        half = _quantile(level) * self.log_decrement_sd
        return max(self.log_decrement - half, 0.0), self.log_decrement + half


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
        ``"good"``, ``"flagged"`` (figures with reasons to look twice) or ``"refused"`` (no figures to log).
    reasons : tuple of str
        Why it is flagged or refused, one line each.
    modes : tuple of TraceMode
        The modes, the strongest first; empty when refused.
    taps_s : array
        Times of the taps, s.
    noise : array, shape (channels,)
        Noise of each channel (standard deviation), in its unit.
    hum_hz, hum_amplitude : float
        Mains hum found, 0 when none; amplitude on the worst channel.
    clipped : float
        Share of the readings at the sensor's limit, left out.
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

    def ring_down(self, part: str, temperature_c: float, mass_kg: float, *, mode: int = 0, **more: Any) -> RingDown:
        """The reading to log: frequency and decrement of one mode with their standard deviations.

        Parameters
        ----------
        part : str
            The part's name.
        temperature_c : float
            Its temperature, degrees Celsius.
        mass_kg : float
            The ringing mass, kg.
        mode : int
            Which mode, 0 for the strongest.
        **more
            Further fields of :class:`~matdb.bench.readings.RingDown`.

        Returns
        -------
        RingDown
            The reading.

        Raises
        ------
        InputError
            The trace was refused, or it has no such mode.

        """
        if self.verdict == "refused":
            raise InputError("trace", "refused", "a record with a clear ring-down", self.reasons[0])
        if not 0 <= mode < len(self.modes):
            raise InputError("mode", mode, f"from 0 to {len(self.modes) - 1}")
        chosen = self.fixed_base if mode == 0 and self.fixed_base is not None else self.modes[mode]
        return RingDown(
            part=part,
            temperature_c=temperature_c,
            mass_kg=mass_kg,
            frequency_hz=chosen.frequency_hz,
            frequency_sd_hz=chosen.frequency_sd_hz,
            log_decrement=chosen.log_decrement,
            log_decrement_sd=chosen.log_decrement_sd,
            **more,
        )


def fit_trace(
    trace: Trace,
    *,
    frequency_range_hz: tuple[float, float] | None = None,
    mains_hz: Sequence[float] = (50.0, 60.0),
    most_modes: int = 3,
) -> TraceFit:
    """Find the taps and fit the modes that ring after them.

    Parameters
    ----------
    trace : Trace
        The record.
    frequency_range_hz : (float, float), optional
        Where to look for the modes, Hz; from 2 Hz (or two cycles a record) to 0.45 of the sampling rate.
    mains_hz : sequence of float
        Mains frequencies whose hum is looked for.
    most_modes : int
        Most modes to separate, 1 to 4.

    Returns
    -------
    TraceFit
        Modes with uncertainty, taps, flags; ``verdict`` is "refused" when nothing can be said.

    Raises
    ------
    InputError
        A range or a number of modes that cannot be.

    Notes
    -----
    1. Readings at the sensor's limit are left out. 2. Hum is fitted to the quiet stretches. 3. The strongest line
    of short spectra gives a frequency; a matched filter of that frequency finds the taps. 4. All stretches are
    fitted together by variable projection; a further mode joins when the residual falls by more than noise
    explains (one chance in a million). 5. Standard deviations come from the Gauss-Newton matrix with the noise
    found, widened when the residual is coloured near the mode. Sources: [1]_, [2]_.

    Examples
    --------
    >>> t = np.arange(0.0, 2.0, 0.002)
    >>> x = np.where(t > 0.5, np.exp(-5.0 * (t - 0.5)) * np.sin(2 * np.pi * 20.0 * (t - 0.5)), 0.0)
    >>> fit = fit_trace(Trace(t, x + 0.01 * np.random.default_rng(1).normal(size=t.size)))
    >>> fit.verdict, round(fit.modes[0].frequency_hz, 1), round(fit.modes[0].log_decrement, 2)
    ('good', 20.0, 0.25)

    """
    if not 1 <= most_modes <= 4:
        raise InputError("most_modes", most_modes, "from 1 to 4")
    work = _Work(trace, frequency_range_hz, tuple(mains_hz))
    refusal = work.why_not()
    if refusal:
        return work.refused(refusal)
    work.find_hum()
    crude = work.strongest_line()
    if crude is None:
        return work.refused("no ring-down stands out of the noise; tap harder or fix the sensor more firmly")
    poles = work.first_mode(crude)
    if poles is None:
        return work.refused("no tap with a decay after it was found; the signal may be steady vibration")
    solution = work.all_modes(poles, most_modes)
    return work.report(solution)


class _Work:
    """The state of one fit: the record, what was subtracted, taps, blocks."""

    def __init__(self, trace: Trace, band: tuple[float, float] | None, mains: tuple[float, ...]) -> None:
        self.trace, self.mains = trace, mains
        self.time = trace.time_s - trace.time_s[0] if trace.time_s.size else trace.time_s
        self.raw = trace.signal if trace.base is None else np.hstack([trace.signal, trace.base])
        self.payload = trace.signal.shape[1]
        self.rate = trace.rate_hz
        self.span = float(self.time[-1]) if self.time.size > 1 else 0.0
        low, high = max(2.0, 2.0 / max(self.span, 1e-9)), 0.45 * self.rate
        if band is not None:
            if not 0.0 < band[0] < band[1]:
                raise InputError("frequency_range_hz", band, "two frequencies above 0, the lower one first")
            low, high = max(low, band[0]), min(high, band[1])
        self.band = (low, high)
        self.offset = np.median(self.raw, axis=0) if self.time.size else np.zeros(self.raw.shape[1])
        self.signal = self.raw - self.offset
        self.clipped = _clipped(self.raw)
        self.rails: list[tuple[float, float]] = []
        for c in range(self.raw.shape[1]):
            hit = self.signal[self.clipped[:, c], c]
            above, below = hit[hit > 0], hit[hit < 0]
            self.rails.append((above.min(initial=np.inf), below.max(initial=-np.inf)))
        self.left_out = self.clipped.copy()
        self.hum = np.zeros_like(self.signal)
        self.hum_hz, self.hum_amplitude = 0.0, 0.0
        self.sigma = np.maximum(_noise(self.signal), 1e-12)
        self.taps = np.empty(0)
        self.starts = np.empty(0)
        self.notes: list[str] = []
        self.promise = 1.0
        self.looks = 0
        self.moving: Moving | None = None

    # -- what cannot be fitted at all -------------------------------------------------------------------------

    def why_not(self) -> str:
        """A reason to refuse before any fit, or an empty string."""
        if self.time.size < 40:
            return f"only {self.time.size} usable readings; at least 40 are needed"
        if not np.any(np.ptp(self.raw[:, : self.payload], axis=0) > 0):
            return "the signal never changes"
        if self.band[0] >= self.band[1]:
            return (
                f"a rate of {self.rate:.3g} Hz over {self.span:.3g} s shows no frequency in the range asked for; "
                "sample faster or longer"
            )
        if float(np.mean(np.any(self.clipped[:, : self.payload], axis=1))) > 0.3:
            return "more than 30 % of the readings are at the sensor's limit; tap more gently"
        gap = float(np.max(np.diff(self.time)))
        if gap > 0.25 * self.span and self.time.size < 400:
            return f"a gap of {gap:.3g} s leaves too little of the record"
        return ""

    def refused(self, why: str) -> TraceFit:
        nothing = np.full(self.trace.signal.shape, np.nan)
        return TraceFit(
            "refused", (why, *self.notes), (), self.taps + self.trace.time_s[0] if self.taps.size else self.taps,
            self.sigma[: self.payload], self.hum_hz, self.hum_amplitude,
            float(np.mean(self.clipped)) if self.clipped.size else 0.0,
            self.rate, nothing, None, None, self.trace,
        )  # fmt: skip

    # -- hum and noise before the taps are known ----------------------------------------------------------------

    def find_hum(self) -> None:
        """Fit mains hum to the quieter stretches and take it off, if it is there."""
        width = max(0.2, 12.0 / self.rate)
        window = np.minimum((self.time / width).astype(int), max(int(self.span / width) - 1, 0))
        count = int(window[-1]) + 1
        usable = ~np.any(self.left_out, axis=1)
        if count < 3:
            return
        energy = np.full(count, np.inf)
        members = [np.flatnonzero((window == w) & usable) for w in range(count)]
        for w, rows in enumerate(members):
            if rows.size >= 10:
                x = self.signal[rows] - np.mean(self.signal[rows], axis=0)
                energy[w] = float(np.sum(np.mean(x * x, axis=0) / self.sigma**2))
        quiet = np.argsort(energy)[: max(3, int(0.4 * count))]
        stretches = [members[w] for w in quiet if np.isfinite(energy[w])]
        if len(stretches) < 3:
            return

        def project(rows: NDArray[np.intp], columns: Array) -> Array:
            x = self.time[rows] - np.mean(self.time[rows])
            line = np.linalg.qr(np.vander(x, 3))[0]
            rest: Array = columns - line @ (line.T @ columns)
            return rest

        pieces = [(self.time[rows], self.signal[rows], lambda c, r=rows: project(r, c)) for rows in stretches]
        self._fit_hum([(t, p(y), p) for t, y, p in pieces], least=40.0)
        rest = np.concatenate([p(y - self.hum[rows]) for (t, y, p), rows in zip(pieces, stretches, strict=True)])
        self.sigma = np.maximum(1.4826 * np.median(np.abs(rest), axis=0), 1e-3 * self.sigma)
        self.sigma = np.maximum(self.sigma, 1e-9 * np.maximum(np.ptp(self.signal, axis=0), 1e-12))

    def _fit_hum(self, pieces: Sequence[tuple[Array, Array, Callable[[Array], Array]]], *, least: float) -> None:
        """Fit a steady sine near a mains frequency to projected pieces; keep it when it is significant."""
        rest = np.concatenate([y for _, y, _ in pieces])

        def best_of(candidates: Array) -> tuple[float, float, Array]:
            gram = np.zeros((candidates.size, 2, 2))
            right = np.zeros((candidates.size, 2, rest.shape[1]))
            for t, y, project in pieces:
                phase = 2.0 * np.pi * t[:, None] * candidates
                columns = project(np.hstack([np.cos(phase), np.sin(phase)])).reshape(t.size, 2, -1)
                gram += np.einsum("tig,tjg->gij", columns, columns)
                right += np.einsum("tig,tc->gic", columns, y)
            weights = np.linalg.pinv(gram, rcond=1e-6, hermitian=True) @ right
            gain = np.sum(np.sum(weights * right, axis=1) / self.sigma**2, axis=1)
            top = int(np.argmax(gain))
            return float(gain[top]), float(candidates[top]), weights[top]

        step = 0.25 / self.span
        around = step * np.arange(-int(0.2 / step) - 1, int(0.2 / step) + 2)
        if self.hum_hz:
            around = step * np.arange(-2, 3)
        _, hz, _ = best_of(np.concatenate([c + around for c in ([self.hum_hz] if self.hum_hz else self.mains)]))
        gain, hz, weights = best_of(hz + step * np.linspace(-0.6, 0.6, 13))
        noise = np.maximum(np.mean(rest**2, axis=0) / self.sigma**2, 1e-12)
        if gain / float(np.mean(noise)) < least + 4.0 * rest.shape[1]:
            self.hum, self.hum_hz, self.hum_amplitude = np.zeros_like(self.signal), 0.0, 0.0
            return
        columns = np.column_stack([np.cos(2 * np.pi * hz * self.time), np.sin(2 * np.pi * hz * self.time)])
        self.hum, self.hum_hz = columns @ weights, hz
        self.hum_amplitude = float(np.max(np.hypot(*weights)[: self.payload]))

    # -- taps -----------------------------------------------------------------------------------------------------

    def strongest_line(self) -> tuple[complex, float] | None:
        """A crude pole from short spectra, and how far it stands out; None when nothing does."""
        grid, x = self._even()
        x = x[:, : self.payload] / self.sigma[: self.payload]
        best: tuple[float, float, float] | None = None
        for width in (0.05, 0.1, 0.2, 0.4, 0.8, 1.6):
            n = int(width * self.rate)
            if n < 10 or n > grid.size // 2:
                continue
            hop = max(n // 4, 1)
            index = np.arange(0, grid.size - n + 1, hop)[:, None] + np.arange(n)
            if index.size > 4_000_000:
                index = index[:: index.size // 4_000_000 + 1]
            part = x[index]
            ramp = np.linspace(-1.0, 1.0, n)
            line = np.linalg.qr(np.vander(ramp, 3))[0]
            part = part - np.einsum("nk,wkc->wnc", line, np.einsum("nk,wnc->wkc", line, part))
            window = np.hanning(n + 2)[1:-1]
            power = np.sum(np.abs(np.fft.rfft(part * window[:, None], axis=1)) ** 2, axis=2) / np.sum(window**2)
            hz = np.fft.rfftfreq(n, 1.0 / self.rate)
            inside = (hz >= max(self.band[0], 1.5 / width)) & (hz <= self.band[1])
            if not np.any(inside):
                continue
            power = power[:, inside]
            w, b = np.unravel_index(int(np.argmax(power)), power.shape)
            if best is None or power[w, b] > best[0]:
                best = float(power[w, b]), float(hz[inside][b]), width
        if best is None or best[0] < 18.0 + 4.0 * self.payload:
            return None
        omega = 2.0 * np.pi * best[1]
        alpha = min(max(2.0 / best[2], 0.005 * omega), 0.25 * omega)
        return complex(-alpha, omega), best[0]

    def _even(self) -> tuple[Array, Array]:
        """The record without hum on an even grid, clipped readings bridged."""
        grid = np.arange(0.0, self.span, 1.0 / self.rate)
        x = np.empty((grid.size, self.signal.shape[1]))
        for c in range(x.shape[1]):
            keep = ~self.clipped[:, c] if np.mean(self.clipped[:, c]) < 0.02 else np.ones(self.time.size, bool)
            x[:, c] = np.interp(grid, self.time[keep], (self.signal - self.hum)[keep, c])
        return grid, x

    def find_taps(self, pole: complex) -> Array:
        """Times where a damped sinusoid of this pole begins, by matched filter."""
        grid, x = self._even()
        x = x[:, : self.payload] / self.sigma[: self.payload]
        omega, alpha = pole.imag, -pole.real
        # A running mean over a whole number of cycles takes drift off and hardly touches the mode.
        cycles = max(round(self.rate * 4.0 * np.pi / omega), 3)
        x = x - _running_mean(x, cycles)
        reach = min(max(int(4.0 / alpha * self.rate), 4), grid.size)
        kernel = np.exp((-alpha - 1j * omega) * np.arange(reach) / self.rate)
        size = 1 << int(np.ceil(np.log2(grid.size + reach)))
        spectrum = np.fft.fft(np.conj(kernel), size)
        score = np.zeros(grid.size)
        for c in range(x.shape[1]):
            score += np.abs(np.fft.ifft(np.fft.fft(x[:, c], size) * np.conj(spectrum))[: grid.size]) ** 2
        score /= float(np.sum(np.abs(kernel) ** 2))
        least = max(16.0 + 3.0 * self.payload, 0.004 * float(score.max()))
        found: list[int] = []
        heard = np.zeros(grid.size)
        top = np.flatnonzero(
            (score >= np.concatenate([[0.0], score[:-1]])) & (score >= np.concatenate([score[1:], [0.0]]))
        )
        decay = 0.35 * alpha / self.rate
        for i in top[np.argsort(-score[top])]:
            if score[i] < least or len(found) >= 60:
                break
            if score[i] < 2.5 * heard[i]:
                continue
            found.append(int(i))
            heard = np.maximum(heard, score[i] * np.exp(-2.0 * decay * np.abs(np.arange(grid.size) - i)))
        return grid[np.sort(np.array(found, dtype=int))]

    # -- blocks -----------------------------------------------------------------------------------------------------

    def blocks(
        self,
        poles: Poles,
        *,
        span: tuple[float, float] | None = None,
        only: int | None = None,
        until: float | None = None,
    ) -> list[Block]:
        """Stretches after the taps, thinned by averaging, in units of the noise.

        ``span`` limits them to a part of each decay, in seconds from the stretch's start; ``only`` makes one tap's
        stretch, which lasts ``until`` so many seconds after its start, over the next tap if need be.
        """
        starts = self.starts
        top = float(np.max(poles.imag)) / (2.0 * np.pi)
        slowest = float(np.min(-poles.real))
        longest = max(6.0 / max(slowest, 1e-3), 0.5, 4.0 / top)
        thin = max(int(self.rate / (20.0 * top)), 1)
        ends = np.append(self.taps[1:] - 0.25 / top, self.span + 1.0)
        out = []
        y = (self.signal - self.hum) / self.sigma
        for k, start in enumerate(starts):
            if only is not None and k != only:
                continue
            begin, end = start, min(ends[k], start + longest) if until is None else start + until
            if span is not None:
                begin, end = start + span[0], min(end, start + span[1])
            rows = np.arange(np.searchsorted(self.time, begin - 1e-12), np.searchsorted(self.time, end))
            if rows.size < 8:
                continue
            masks: dict[bytes, list[int]] = {}
            for c in range(y.shape[1]):
                masks.setdefault(self.left_out[rows, c].tobytes(), []).append(c)
            for channels in masks.values():
                keep = rows[~self.left_out[rows, channels[0]]]
                if thin > 1:
                    group = (rows.searchsorted(keep)) // thin
                    edges = np.concatenate([[0], np.flatnonzero(np.diff(group)) + 1])
                    size = np.diff(np.append(edges, keep.size))
                    # A mean over less than half a group would have other noise than the rest.
                    full = size >= max(thin - 0, 1)
                    t = np.add.reduceat(self.time[keep], edges)[full] / size[full] if keep.size else np.empty(0)
                    part = (
                        np.add.reduceat(y[np.ix_(keep, channels)], edges, axis=0)[full] / np.sqrt(size[full])[:, None]
                        if keep.size
                        else np.empty((0, len(channels)))
                    )
                else:
                    t, part = self.time[keep], y[np.ix_(keep, channels)]
                if t.size < 8 or t[-1] - t[0] < 0.6 / top:
                    continue
                degree = 1 + int(np.ceil(1.2 * (t[-1] - t[0])))
                out.append(Block(t - start, part, min(degree, 12), k, tuple(channels), thin))
        return out

    def first_mode(self, crude: tuple[complex, float]) -> Poles | None:
        """The strongest mode and the taps, refined together."""
        pole = crude[0]
        for turn in range(3):
            self.taps = self.find_taps(pole)
            if self.taps.size == 0:
                return None
            lead = np.pi / 2.0 / pole.imag if turn < 2 else np.pi / 4.0 / pole.imag
            self.starts = np.where(self.taps < 1.5 / self.rate, self.taps, self.taps + lead)
            poles = np.array([pole])
            blocks = self.blocks(poles)
            if not blocks:
                return None
            hz = pole.imag / (2.0 * np.pi)
            if turn < 2:
                grid = pole_grid(max(0.6 * hz, self.band[0]), min(1.7 * hz, self.band[1]))
                grid = np.concatenate([grid, poles])
                pole = complex(grid[int(np.argmax(grid_gain(blocks, grid, _NO_POLES)))])
            pole = complex(solve(blocks, np.array([pole]), steps=15).poles[0])
        return np.array([pole])

    def refine_starts(self, solution: Solution, blocks: Sequence[Block]) -> None:
        """Move each stretch's start to the moment from which the decay describes the record."""
        poles = solution.poles
        cycle = 2.0 * np.pi / float(np.max(poles.imag))
        starts = self.starts.copy()
        for k, tap in enumerate(self.taps):
            if tap < 1.5 / self.rate:
                continue
            mine = [(b, a) for b, a in zip(blocks, solution.amplitudes, strict=True) if b.tap == k]
            if not mine:
                continue
            low = max(tap - 0.6 * cycle, float(self.taps[k - 1]) + 0.3 * cycle if k else 0.0)
            rows = np.flatnonzero((self.time >= low) & (self.time < starts[k] + 0.5 * cycle))
            if rows.size < 4:
                continue
            gain = np.zeros(rows.size)
            for b, a in mine:
                y = ((self.signal - self.hum) / self.sigma)[np.ix_(rows, list(b.channels))]
                scale = np.sqrt(b.thin)
                since = self.time[rows] - starts[k]
                after = basis(since, poles) @ _stacked(a) / scale
                level = self._level(b, a, poles) / scale
                before = np.zeros_like(after)
                earlier = [
                    c for o, c in zip(blocks, solution.amplitudes, strict=True)
                    if o.tap == k - 1 and o.channels == b.channels
                ]  # fmt: skip
                if earlier:
                    before = basis(self.time[rows] - starts[k - 1], poles) @ _stacked(earlier[0]) / scale
                y = np.where(self.left_out[np.ix_(rows, list(b.channels))], np.nan, y - level)
                gain += np.nansum((y - before) ** 2 - (y - after) ** 2, axis=1)
            # gain > 0: the decay explains the reading better than what was before it
            total = np.cumsum(gain[::-1])[::-1]
            best = float(total.max())
            good = np.flatnonzero(total >= best - 8.0)
            starts[k] = min(float(self.time[rows[good[-1]]]) + 0.5 / self.rate, starts[k] + 0.4 * cycle)
        self.starts = starts

    @staticmethod
    def _level(block: Block, amplitude: NDArray[np.complex128], poles: Poles) -> Array:
        """The slow part at the block's beginning, in the block's units."""
        rest = block.signal - basis(block.time, poles) @ _stacked(amplitude)
        slow: Array = block.slow @ (block.slow.T @ rest)
        first: Array = slow[0]
        return first

    def update_noise_and_hum(self, solution: Solution, blocks: Sequence[Block]) -> None:
        """Noise per channel from the residual; hum fitted together with the modes."""
        pieces = []
        for b in blocks:
            if b.channels != tuple(range(self.raw.shape[1])) or b.time.size < 8 + 4 * solution.poles.size:
                continue
            q = np.linalg.qr(b.without_slow(basis(b.time, solution.poles)))[0]

            def project(columns: Array, b: Block = b, q: Array = q) -> Array:
                rest = b.without_slow(columns)
                return rest - q @ (q.T @ rest)

            t = b.time + self.starts[b.tap]
            hum = np.array([np.interp(t, self.time, self.hum[:, c]) for c in range(self.raw.shape[1])]).T
            pieces.append((t, project(b.signal * self.sigma / np.sqrt(b.thin) + hum), project))
        if 2 * len(pieces) >= len(self.starts) and (self.hum_hz or self.looks < 2):
            self._fit_hum(pieces, least=12.0 if self.hum_hz else 25.0)
            self.looks += 1
        total, count = np.zeros(self.raw.shape[1]), np.zeros(self.raw.shape[1])
        for b, rest in zip(blocks, solution.residuals, strict=True):
            used = b.slow.shape[1] + 2 * solution.poles.size
            for i, c in enumerate(b.channels):
                total[c] += float(np.sum(rest[:, i] ** 2))
                count[c] += max(rest.shape[0] - used, 0)
        ratio = np.sqrt(total / np.maximum(count, 1.0))
        self.sigma = np.where(count > 10, self.sigma * np.maximum(ratio, 1e-6), self.sigma)

    def leave_out(self, solution: Solution, blocks: Sequence[Block]) -> None:
        """Leave out readings whose prediction lies near the sensor's limit, and stray ones.

        Leaving out by what was predicted, not by what was read, keeps the noise of the others fair.
        """
        self.left_out = self.clipped.copy()
        margin = 2.5 * self.sigma
        for b, a in zip(blocks, solution.amplitudes, strict=True):
            end = self.starts[b.tap] + b.time[-1]
            rows = np.flatnonzero((self.time >= self.starts[b.tap]) & (self.time <= end))
            scale = np.sqrt(b.thin)
            wave = basis(self.time[rows] - self.starts[b.tap], solution.poles) @ _stacked(a) / scale
            level = self._level(b, a, solution.poles) / scale
            for i, c in enumerate(b.channels):
                high, low = self.rails[c]
                if np.isfinite(high) or np.isfinite(low):
                    predicted = (wave[:, i] + level[i]) * self.sigma[c] + self.hum[rows, c]
                    near = (predicted > high - margin[c]) | (predicted < low + margin[c])
                    self.left_out[rows[near], c] = True

    # -- modes -----------------------------------------------------------------------------------------------------

    def all_modes(self, poles: Poles, most: int) -> tuple[Solution, list[Block]]:
        """All modes that the record shows, with the starts, the noise and the hum refined."""
        blocks = self.blocks(poles)
        solution = solve(blocks, poles)
        for turn in range(2):
            for _ in range(2 - turn):
                self.refine_starts(solution, blocks)
                blocks = self.blocks(solution.poles)
                solution = solve(blocks, solution.poles)
                solution, blocks = self.settle(solution, blocks)
            while solution.poles.size < most and self.promise > 0.5 and self.moving is None:
                more = self.one_more(solution, blocks)
                if more is None:
                    break
                solution, blocks = more
                hz = solution.poles.imag / (2.0 * np.pi)
                if self.hum_hz and np.any(np.abs(hz - self.hum_hz) < 2.0 - solution.poles.real / np.pi):
                    # What was taken for hum may have been this mode: look again with the mode in.
                    kept = self.hum, self.hum_hz
                    self.hum, self.hum_hz, self.looks = np.zeros_like(self.signal), 0.0, 0
                    bare = self.blocks(solution.poles)
                    other = solve(bare, solution.poles)
                    if np.all(-other.poles.real > 0.006 * other.poles.imag):
                        solution, blocks = other, bare
                    else:
                        self.hum, self.hum_hz = kept
                solution, blocks = self.settle(solution, blocks)
            added = self.moving is None and self.add_missed_taps(solution, blocks)
            if added:
                blocks = self.blocks(solution.poles)
                solution = solve(blocks, solution.poles)
                self.refine_starts(solution, blocks)
                blocks = self.blocks(solution.poles)
                solution = solve(blocks, solution.poles)
            if self.drop_false_taps(solution, blocks) or added:
                blocks = self.blocks(solution.poles)
                solution, blocks = self.settle(solve(blocks, solution.poles), blocks)
                self.promise = 1.0
        return solution, blocks

    def add_missed_taps(self, solution: Solution, blocks: Sequence[Block]) -> bool:
        """Add taps where the residual of the whole record holds a decay of the known modes."""
        grid, x = self._even()
        x = x[:, : self.payload] / self.sigma[: self.payload]
        poles = solution.poles
        width = max(round(self.rate * 4.0 * np.pi / float(np.min(poles.imag))), 3)
        model = np.zeros_like(x)
        hidden = np.zeros(grid.size, dtype=bool)
        for k, start in enumerate(self.starts):
            mine = [(b, a) for b, a in zip(blocks, solution.amplitudes, strict=True) if b.tap == k]
            end = self.starts[k + 1] if k + 1 < self.starts.size else np.inf
            rows = np.flatnonzero((grid >= start) & (grid < end))
            for b, a in mine:
                for i, c in enumerate(b.channels):
                    if c < self.payload:
                        wave = basis(grid[rows] - start, poles) @ _stacked(a[:, i : i + 1])
                        model[rows, c] = wave[:, 0] / np.sqrt(b.thin)
            # Around a known tap its own uncertain beginning is all that there is to find.
            cycle = 2.0 * np.pi / float(np.min(poles.imag))
            hidden |= (grid > self.taps[k] - cycle) & (grid < start + 0.25 * cycle)
        rest = x - model
        for c in range(self.payload):
            hit = np.interp(grid, self.time, self.left_out[:, c].astype(float)) > 0.01
            rest[hit, c] = 0.0
        rest[hidden] = 0.0
        rest = rest - _running_mean(rest, width)
        rest[hidden] = 0.0
        reach = min(max(int(4.0 / float(np.min(-poles.real)) * self.rate), 4), grid.size)
        waves = basis(np.arange(reach) / self.rate, poles)
        inverse = np.linalg.pinv(waves.T @ waves, rcond=1e-8, hermitian=True)
        size = 1 << int(np.ceil(np.log2(grid.size + reach)))
        spectra = np.conj(np.fft.rfft(waves, size, axis=0))
        score = np.zeros(grid.size)
        for c in range(self.payload):
            told = np.fft.irfft(np.fft.rfft(rest[:, c], size)[:, None] * spectra, size, axis=0)[: grid.size]
            score += np.einsum("ti,ij,tj->t", told, inverse, told)
        least = max(
            _worth(2.0 * poles.size * self.payload, 12.0), 0.002 * float(np.max(_energies_of(solution, blocks)))
        )
        found: list[float] = []
        quiet = 2.0 * np.pi / float(np.min(poles.imag))
        while len(found) < 20:
            i = int(np.argmax(score))
            if score[i] < least:
                break
            found.append(float(grid[i]))
            score[np.abs(grid - grid[i]) < max(quiet, 1.5 / float(np.min(-poles.real)))] = 0.0
        if not found or self.taps.size + len(found) > 80:
            return False
        lead = 0.25 * np.pi / float(np.max(poles.imag))
        taps = np.append(self.taps, found)
        starts = np.append(self.starts, np.array(found) + lead)
        order = np.argsort(taps)
        self.taps, self.starts = taps[order], starts[order]
        return True

    def settle(self, solution: Solution, blocks: Sequence[Block]) -> tuple[Solution, list[Block]]:
        """Noise, hum and readings left out, brought up to date with a solution, and the fit repeated."""
        self.update_noise_and_hum(solution, blocks)
        self.leave_out(solution, blocks)
        fresh = self.blocks(solution.poles)
        return solve(fresh, solution.poles), fresh

    def drop_false_taps(self, solution: Solution, blocks: list[Block]) -> bool:
        """Join stretches whose second begins without a tap: a beat looked like one."""
        poles, dropped, k = solution.poles, False, 0
        while k < self.taps.size and self.taps.size > 1:
            mine = [b for b in blocks if b.tap == k]
            if not mine:
                k += 1
                continue
            free = 2.0 * poles.size * sum(b.signal.shape[1] for b in mine)
            apart = evaluate(mine, poles)[0].cost
            gain = sum(float(np.sum(b.clean**2)) for b in mine) - apart
            before = [b for b in blocks if b.tap == k - 1]
            if gain > _worth(free, 4.0) and before:
                both = evaluate(before, poles)[0].cost + apart - sum(b.signal.size for b in (*before, *mine))
                until = self.starts[k] + max(float(b.time[-1]) for b in mine) - self.starts[k - 1]
                joined = self.blocks(poles, only=k - 1, until=until)
                if joined:
                    free += sum(b.slow.shape[1] * b.signal.shape[1] for b in mine)
                    together = evaluate(joined, poles)[0].cost - sum(b.signal.size for b in joined)
                    gain = min(gain, together - both)
            if gain > _worth(free, 4.0):
                k += 1
                continue
            self.taps, self.starts = np.delete(self.taps, k), np.delete(self.starts, k)
            blocks = self.blocks(poles)
            dropped = True
        return dropped

    def one_more(self, solution: Solution, blocks: Sequence[Block]) -> tuple[Solution, list[Block]] | None:
        """The solution with one mode more, when it is significant."""
        known = solution.poles
        hz = known.imag / (2.0 * np.pi)
        low, high = max(self.band[0], 0.3 * float(hz.min())), min(self.band[1], 3.0 * float(hz.max()))
        wide = self.blocks(np.append(known, complex(known.real.max(), 2 * np.pi * min(high, 1.5 * float(hz.max())))))
        if not wide:
            return None
        base = solve(wide, known)
        grid = pole_grid(low, high)
        gain = grid_gain(wide, grid, base.poles)
        need_free = 2.0 * sum(b.signal.shape[1] for b in wide)
        need = _worth(2.0 + need_free)
        self.promise = float(gain.max()) / need
        if self.promise < 0.4:
            return None
        best: Solution | None = None
        tried: list[complex] = []
        for i in np.argsort(-gain):
            g = complex(grid[i])
            if any(abs(g - o) < 0.06 * abs(o) for o in tried):
                continue
            tried.append(g)
            seeds = [np.append(base.poles, g)]
            if len(tried) == 1:
                main = base.poles[0]
                width = max(-2.0 * main.real, 0.05 * main.imag)
                seeds += [
                    np.append(base.poles[1:], [main + 0.5j * width, main - 0.5j * width]),
                ]
            for seed in seeds:
                found = solve(wide, seed, close=0.02)
                if best is None or found.cost < best.cost:
                    best = found
            if len(tried) >= 2:
                break
        if best is None:
            return None
        fall = (base.cost - best.cost) / (best.cost / max(best.freedom, 1))
        self.promise = fall / need
        if fall < need:
            return None
        best = solve(wide, best.poles)
        # A mode that softens with amplitude looks like two: the cheaper account of the record holds.
        if known.size == 1:
            moving = solve_moving(wide, base.poles, self.payload)
            two = best.cost / max(best.freedom, 1)
            if moving is not None and moving.cost / two + 4.0 < best.cost / two + 4.0 + need_free:
                self.moving, self.promise = moving, 0.0
                return None
        ratio = -best.poles.real / best.poles.imag
        steady = (ratio < 0.004) & (np.min(np.abs(best.poles.imag[:, None] / 2 / np.pi - np.array(self.mains)), axis=1) < 1)
        if np.any(steady):
            # A remainder of hum, not a mode.
            self.looks = 0
            return None
        omega = best.poles.imag
        if np.any(ratio[-1:] >= 0.35) or np.any(ratio >= 0.98 * MOST_DAMPING) or np.any(ratio <= 1.05 * LEAST_DAMPING):
            self.notes.append("the record holds something that is neither a decay, drift nor hum")
            return None
        if np.any(omega < 2 * np.pi * self.band[0]) or np.any(omega > 2 * np.pi * self.band[1]):
            return None
        order = np.argsort([-e for e in _energies(best, self.payload, wide)])
        return replace_poles(best, order), wide

    # -- the report ---------------------------------------------------------------------------------------------------

    def report(self, found: tuple[Solution, list[Block]]) -> TraceFit:
        solution, blocks = found
        energy = np.array(_energies(solution, self.payload, blocks))
        order = np.argsort(-energy)
        solution = solve(blocks, solution.poles[order], steps=6)
        energy = energy[order]
        widen = [self._colour(solution, blocks, m) for m in range(solution.poles.size)]
        covariance = solution.covariance
        modes = []
        for m, pole in enumerate(solution.poles):
            alpha, omega = -pole.real, pole.imag
            part = covariance[2 * m : 2 * m + 2, 2 * m : 2 * m + 2] * widen[m]
            slope = 2.0 * np.pi * np.array([1.0 / omega, -alpha / omega**2])
            amplitude = np.full((self.taps.size, self.payload), np.nan)
            for b, a in zip(blocks, solution.amplitudes, strict=True):
                for i, c in enumerate(b.channels):
                    if c < self.payload:
                        amplitude[b.tap, c] = abs(a[m, i]) * self.sigma[c] / np.sqrt(b.thin)
            mode = TraceMode(
                float(omega / (2.0 * np.pi)),
                float(np.sqrt(part[1, 1]) / (2.0 * np.pi)),
                float(2.0 * np.pi * alpha / omega),
                float(np.sqrt(slope @ part @ slope)),
                amplitude,
                float(energy[m] / max(energy.sum(), 1e-300)),
            )
            modes.append(replace(mode, flags=tuple(self._flags(mode, pole, blocks))))
        main = modes[0]
        if main.log_decrement < max(4.0 * main.log_decrement_sd, 0.006):
            return self.refused(f"steady vibration at {main.frequency_hz:.3g} Hz, not a decay after a tap")
        start = self.trace.time_s[0]
        if (
            main.frequency_sd_hz > FREQUENCY_REFUSED * main.frequency_hz
            or main.log_decrement_sd > DECREMENT_REFUSED * main.log_decrement
        ):
            return self.refused(
                f"frequency {main.frequency_hz:.3g} Hz +- {main.frequency_sd_hz:.2g}, decrement "
                f"{main.log_decrement:.2g} +- {main.log_decrement_sd:.2g}: too uncertain to log; tap harder, more often"
            )
        dependence = self._early_and_late(solution, blocks, main)
        reasons = [*main.flags, *self.notes]
        if dependence is not None and dependence.significant:
            e = dependence
            reasons.append(
                f"the mode changes with amplitude: {e.early_hz:.4g} Hz and decrement {e.early_decrement:.3g} at first, "
                f"{e.late_hz:.4g} Hz and {e.late_decrement:.3g} later; the fit is in between"
            )
            # Figures in between stand for all amplitudes of the record only with this much doubt.
            main = replace(
                main,
                frequency_sd_hz=float(np.hypot(main.frequency_sd_hz, 0.5 * (e.early_hz - e.late_hz))),
                log_decrement_sd=float(np.hypot(main.log_decrement_sd, 0.5 * (e.early_decrement - e.late_decrement))),
            )
            modes[0] = main
        reasons += self._misfit(solution, blocks)
        fixed, line = self._fixed_base(solution, blocks, covariance[:2, :2] * widen[0], main)
        reasons += [line] if line else []
        return TraceFit(
            "flagged" if reasons else "good", tuple(dict.fromkeys(reasons)), tuple(modes), self.taps + start,
            self.sigma[: self.payload], self.hum_hz, self.hum_amplitude, float(np.mean(self.clipped)), self.rate,
            self._fitted(solution, blocks), dependence, fixed, self.trace,
        )  # fmt: skip

    def _flags(self, mode: TraceMode, pole: complex, blocks: Sequence[Block]) -> list[str]:
        flags = []
        f, decrement = mode.frequency_hz, mode.log_decrement
        if mode.frequency_sd_hz > FREQUENCY_LIMIT * f:
            flags.append(f"frequency is known to {100 * mode.frequency_sd_hz / f:.1f} % only; more taps help")
        if mode.log_decrement_sd > DECREMENT_LIMIT * decrement:
            flags.append(f"decrement is known to {100 * mode.log_decrement_sd / decrement:.0f} % only; more taps help")
        ratio = -pole.real / pole.imag
        if ratio > 0.9 * MOST_DAMPING or ratio < 1.5 * LEAST_DAMPING:
            flags.append(f"damping ratio {ratio:.2g} is at the edge of what is searched")
        cycles = max((float(b.time[-1]) for b in blocks), default=0.0) * f
        if cycles < 3.0:
            flags.append(f"only {cycles:.1f} cycles to fit")
        if f > 0.4 * self.rate:
            flags.append(f"{f:.3g} Hz is close to half the sampling rate; it may be an alias")
        return flags

    def _colour(self, solution: Solution, blocks: Sequence[Block], m: int) -> float:
        """Residual power density near a mode over that elsewhere, at least 1: widens its covariance."""
        pole = solution.poles[m]
        near: list[float] = []
        far: list[float] = []
        for b, rest in zip(blocks, solution.residuals, strict=True):
            if b.time.size < 16:
                continue
            hz = np.fft.rfftfreq(b.time.size, float(np.median(np.diff(b.time))))
            power = np.mean(np.abs(np.fft.rfft(rest, axis=0)) ** 2, axis=1)
            f, width = pole.imag / 2 / np.pi, max(-pole.real / np.pi, 2.0 * hz[1])
            beside = (np.abs(hz - f) > 0.5 * width) & (np.abs(hz - f) < 2.5 * width) & (hz > self.band[0])
            near += list(power[beside])
            far += list(power[(np.abs(hz - f) >= 2.5 * width) & (hz > self.band[0])])
        if len(near) < 6 or len(far) < 6:
            return 1.0
        ratio = float(np.mean(near) / np.mean(far))
        return ratio if ratio > 1.0 + 2.5 / np.sqrt(len(near)) else 1.0

    def _misfit(self, solution: Solution, blocks: Sequence[Block]) -> list[str]:
        """Lines about stretches that the modes do not describe."""
        out = []
        per_tap: dict[int, list[float]] = {}
        for b, rest in zip(blocks, solution.residuals, strict=True):
            used = b.slow.shape[1] + 2 * solution.poles.size
            if rest.shape[0] > used + 8:
                per_tap.setdefault(b.tap, []).append(float(np.sum(rest**2)) / (rest.shape[1] * (rest.shape[0] - used)))
        values = {k: float(np.mean(v)) for k, v in per_tap.items()}
        if len(values) >= 2:
            usual = float(np.median(list(values.values())))
            odd = [k for k, v in values.items() if v > 4.0 * usual]
            if odd:
                out.append(
                    "the decay after tap " + ", ".join(str(k + 1) for k in odd) + " is not like the others; "
                    "look at the picture"
                )
        return out

    def _fixed_base(
        self, solution: Solution, blocks: Sequence[Block], covariance: Array, main: TraceMode
    ) -> tuple[TraceMode | None, str]:
        """The first mode as if the base stood still, from the base's share of the motion.

        m s^2 X = -K(s) (X - Y) gives K/m = -s^2 / (1 - Y/X); with K = k + c s the pole on a fixed base follows.
        """
        if self.raw.shape[1] == self.payload:
            return None, ""
        amplitude = np.zeros((self.taps.size, self.raw.shape[1]), dtype=complex)
        for b, a in zip(blocks, solution.amplitudes, strict=True):
            amplitude[b.tap, list(b.channels)] = a[0] * self.sigma[list(b.channels)] / np.sqrt(b.thin)
        x, y = amplitude[:, : self.payload], amplitude[:, self.payload :]
        power = float(np.sum(np.abs(x) ** 2))
        ratio = complex(np.sum(np.conj(x) * y) / power)
        pole = complex(solution.poles[0])
        readings = max(self.rate / (-4.0 * pole.real), 1.0)
        sd = float(np.max(self.sigma[self.payload :])) / np.sqrt(power * readings)
        if abs(ratio) < max(0.01, 4.0 * sd):
            return None, ""

        def figures(values: Array) -> Array:
            s, share = complex(-values[0], values[1]), complex(values[2], values[3])
            stiffness = -s * s / (1.0 - share)
            c = stiffness.imag / s.imag
            k = stiffness.real - c * s.real
            omega = np.sqrt(max(k - 0.25 * c * c, 1e-9))
            return np.array([omega / (2.0 * np.pi), np.pi * c / omega])

        at = np.array([-pole.real, pole.imag, ratio.real, ratio.imag])
        step = np.array([1e-5 * abs(pole), 1e-5 * abs(pole), 1e-5, 1e-5])
        slope = np.column_stack([(figures(at + d) - figures(at - d)) / (2.0 * d.sum()) for d in np.diag(step)])
        wide = np.zeros((4, 4))
        wide[:2, :2] = covariance
        wide[2:, 2:] = np.eye(2) * sd * sd
        spread = np.sqrt(np.diag(slope @ wide @ slope.T))
        f, decrement = figures(at)
        if decrement <= 0.0 or abs(ratio) > 0.9:
            return None, f"the base moves by {100 * abs(ratio):.0f} % of the payload: hold it still"
        fixed = replace(
            main,
            frequency_hz=float(f),
            frequency_sd_hz=float(spread[0]),
            log_decrement=float(decrement),
            log_decrement_sd=float(spread[1]),
        )
        line = (
            f"the base moves by {100 * abs(ratio):.0f} % of the payload; on a fixed base the mode has {f:.4g} Hz and "
            f"decrement {decrement:.3g}"
        )
        return fixed, line

    def _early_and_late(self, solution: Solution, blocks: Sequence[Block], main: TraceMode) -> AmplitudeDependence | None:
        """The first mode at large and at small amplitude, from a pole that moves with the amplitude."""
        moving = self.moving or solve_moving(blocks, solution.poles, self.payload)
        if moving is None:
            return None
        parts = []
        for share in (0.8, 0.1):
            p = moving.pole + share * moving.shift
            to_s = np.array([[1.0, 0.0, share, 0.0], [0.0, 1.0, 0.0, share]])
            c = to_s @ moving.covariance @ to_s.T
            slope = 2.0 * np.pi * np.array([1.0 / p.imag, p.real / p.imag**2])
            parts.append((p.imag / 2 / np.pi, np.sqrt(c[1, 1]) / 2 / np.pi, -2 * np.pi * p.real / p.imag,
                          np.sqrt(max(slope @ c @ slope, 0.0))))  # fmt: skip
        early, late = ([float(v) for v in part] for part in parts)
        largest = float(np.max(np.nan_to_num(main.amplitude)))
        significant = solution.cost - moving.cost > _worth(2.0, 8.0) * moving.cost / max(moving.freedom, 1)
        return AmplitudeDependence(
            *early[:2], *late[:2], *early[2:], *late[2:], 0.8 * largest, 0.1 * largest, bool(significant)
        )

    def _fitted(self, solution: Solution, blocks: Sequence[Block]) -> Array:
        out = np.full(self.trace.signal.shape, np.nan)
        for b, a in zip(blocks, solution.amplitudes, strict=True):
            start = self.starts[b.tap]
            rows = np.flatnonzero((self.time >= start) & (self.time <= start + b.time[-1]))
            wave = basis(self.time[rows] - start, solution.poles) @ _stacked(a)
            rest = b.signal - basis(b.time, solution.poles) @ _stacked(a)
            slow = b.slow @ (b.slow.T @ rest)
            for i, c in enumerate(b.channels):
                if c < self.payload:
                    level = np.interp(self.time[rows] - start, b.time, slow[:, i])
                    out[rows, c] = (
                        (wave[:, i] + level) * self.sigma[c] / np.sqrt(b.thin) + self.hum[rows, c] + self.offset[c]
                    )
        return out


def replace_poles(solution: Solution, order: NDArray[np.intp]) -> Solution:
    """The solution with its modes in another order."""
    index = np.ravel(np.column_stack([2 * order, 2 * order + 1]))
    return Solution(
        solution.poles[order], solution.cost, solution.freedom, solution.information[np.ix_(index, index)],
        [a[order] for a in solution.amplitudes], solution.residuals,
    )  # fmt: skip


def _energies(solution: Solution, payload: int, blocks: Sequence[Block]) -> list[float]:
    """Energy of each mode over all payload channels, in units of the noise."""
    total = np.zeros(solution.poles.size)
    for b, a in zip(blocks, solution.amplitudes, strict=True):
        mine = [i for i, c in enumerate(b.channels) if c < payload]
        total += np.sum(np.abs(a[:, mine]) ** 2, axis=1) / (-4.0 * solution.poles.real)
    return [float(v) for v in total]


def _energies_of(solution: Solution, blocks: Sequence[Block]) -> list[float]:
    """Energy of the decay after each tap over all modes and channels, in units of the noise."""
    total: dict[int, float] = {}
    for b, a in zip(blocks, solution.amplitudes, strict=True):
        wave = basis(b.time, solution.poles) @ _stacked(a)
        total[b.tap] = total.get(b.tap, 0.0) + float(np.sum(wave * wave))
    return list(total.values()) or [0.0]


def _stacked(amplitude: NDArray[np.complex128]) -> Array:
    """Complex amplitudes as the coefficients of the cosine and sine columns."""
    out = np.empty((2 * amplitude.shape[0], amplitude.shape[1]))
    out[0::2], out[1::2] = amplitude.real, amplitude.imag
    return out


def _worth(free: float, chance: float = 13.8) -> float:
    """What the sum of squares falls by at most, by noise alone, when ``free`` values are added: one in a million.

    Bound of Laurent and Massart (2000) on the tail of chi-squared (from memory).
    """
    return float(free + 2.0 * np.sqrt(free * chance) + 2.0 * chance)


def _clipped(raw: Array) -> NDArray[np.bool_]:
    """Readings at the sensor's limit: the extreme value, met several times and at least twice running."""
    out = np.zeros(raw.shape, dtype=bool)
    for c in range(raw.shape[1]):
        x = raw[:, c]
        if x.size == 0 or np.ptp(x) == 0:
            continue
        for extreme in (x.max(), x.min()):
            hit = np.abs(x - extreme) <= 1e-9 * np.ptp(x)
            if np.sum(hit) >= 3 and np.any(hit[1:] & hit[:-1]):
                out[:, c] |= hit
    return out


def _noise(signal: Array) -> Array:
    """First guess of each channel's noise from the differences of the quieter half."""
    if signal.shape[0] < 5:
        return np.ones(signal.shape[1])
    second = signal[2:] - 2.0 * signal[1:-1] + signal[:-2]
    return np.asarray(1.4826 * np.median(np.abs(second), axis=0) / np.sqrt(6.0))


def _running_mean(x: Array, width: int) -> Array:
    """Centred running mean along the first axis, shorter at the ends."""
    half = width // 2
    total = np.concatenate([np.zeros((1, x.shape[1])), np.cumsum(x, axis=0)])
    i = np.arange(x.shape[0])
    low, high = np.maximum(i - half, 0), np.minimum(i + half + 1, x.shape[0])
    mean: Array = (total[high] - total[low]) / (high - low)[:, None]
    return mean


def _quantile(level: float) -> float:
    """Half width of a two-sided normal interval, in standard deviations."""
    from statistics import NormalDist

    if not 0.0 < level < 1.0:
        raise InputError("level", level, "between 0 and 1")
    return NormalDist().inv_cdf(0.5 + 0.5 * level)


def _floats(name: str, values: ArrayLike) -> Array:
    try:
        return np.asarray(values, dtype=float)
    except (TypeError, ValueError):
        raise InputError(name, "something else", "an array of numbers") from None
