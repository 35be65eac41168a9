"""Ring-downs in a recorded trace: find the taps, separate the modes, fit frequency and decrement.

A trace is time against one or more signals (acceleration, rate of turn, displacement, any unit): uneven sampling,
gravity and slow drift, mains hum, several taps, clipped peaks are expected. The record is fitted as a whole: all
taps and axes share the modes, each has its own amplitudes. What cannot be trusted is flagged or refused, with the
reason.

References
----------
.. [1] G. Golub, V. Pereyra, Inverse Problems 19 (2003) R1: variable projection (from memory).
.. [2] S. M. Kay, Fundamentals of Statistical Signal Processing: Detection Theory: matched filter (from memory).
.. [3] J. Tobin, Econometrica 26 (1958) 24: regression with readings at a limit (from memory).

"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from matdb.bench.modes import LEAST_DAMPING, MOST_DAMPING, Block, Solution, basis, solve, solve_moving
from matdb.bench.trace_modes import Separation, mode_energies, worth
from matdb.bench.trace_record import AmplitudeDependence, Trace, TraceFit, TraceMode
from matdb.bench.trace_stretches import stacked
from matdb.errors import InputError

__all__ = ["AmplitudeDependence", "Trace", "TraceFit", "TraceMode", "fit_trace"]

Array = NDArray[np.float64]

#: A frequency or a decrement less certain than this is flagged: 1 % and 10 % at three deviations.
FREQUENCY_LIMIT, DECREMENT_LIMIT = 0.0033, 0.033
#: Refused: nothing worth logging.
FREQUENCY_REFUSED, DECREMENT_REFUSED = 0.05, 0.35


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
    1. Readings at the sensor's limit count as at or beyond it: a censored likelihood [3]_, solved by weighted least
    squares. 2. Hum is fitted to the quiet stretches. 3. The strongest line of short spectra gives a frequency; a
    matched filter of that frequency finds the taps. 4. All stretches are fitted together by variable projection; a
    further mode joins when the residual falls by more than noise explains (three chances in 100,000 a place).
    5. Standard deviations come from the Gauss-Newton matrix with the noise found, widened when the residual is
    coloured near the mode. Sources: [1]_, [2]_, [3]_.

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
    work = _Report(trace, frequency_range_hz, tuple(mains_hz))
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


class _Report(Separation):
    """Figures with uncertainty, flags and refusals from the modes found."""

    def refused(self, why: str) -> TraceFit:
        nothing = np.full(self.trace.signal.shape, np.nan)
        return TraceFit(
            "refused", (why, *self.notes), (), self.taps + self.trace.time_s[0] if self.taps.size else self.taps,
            self.sigma[: self.payload], self.hum_hz, self.hum_amplitude,
            float(np.mean(self.clipped)) if self.clipped.size else 0.0,
            self.rate, nothing, None, None, self.trace,
        )  # fmt: skip

    def report(self, found: tuple[Solution, list[Block]]) -> TraceFit:
        solution, blocks = found
        energy = np.array(mode_energies(solution, self.payload, blocks))
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
        if main.log_decrement < 0.006:
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
        if self.odd:
            reasons.append("the record holds something that is neither a decay, drift nor hum")
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
            if b.count > used + 8:
                per_tap.setdefault(b.tap, []).append(float(np.sum(rest**2)) / (rest.shape[1] * (b.count - used)))
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

    def _early_and_late(
        self, solution: Solution, blocks: Sequence[Block], main: TraceMode
    ) -> AmplitudeDependence | None:
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
        significant = solution.cost - moving.cost > worth(2.0, 8.0) * moving.cost / max(moving.freedom, 1)
        return AmplitudeDependence(
            early_hz=early[0],
            early_sd_hz=early[1],
            late_hz=late[0],
            late_sd_hz=late[1],
            early_decrement=early[2],
            early_decrement_sd=early[3],
            late_decrement=late[2],
            late_decrement_sd=late[3],
            early_amplitude=0.8 * largest,
            late_amplitude=0.1 * largest,
            significant=bool(significant),
        )

    def _fitted(self, solution: Solution, blocks: Sequence[Block]) -> Array:
        out = np.full(self.trace.signal.shape, np.nan)
        for b, a in zip(blocks, solution.amplitudes, strict=True):
            start = self.starts[b.tap]
            rows = np.flatnonzero((self.time >= start) & (self.time <= start + b.time[-1]))
            wave = basis(self.time[rows] - start, solution.poles) @ stacked(a)
            slow = self.level(b, a, solution.poles)
            for i, c in enumerate(b.channels):
                if c < self.payload:
                    level = np.interp(self.time[rows] - start, b.time, slow[:, i])
                    out[rows, c] = (
                        (wave[:, i] + level) * self.sigma[c] / np.sqrt(b.thin) + self.hum[rows, c] + self.offset[c]
                    )
        return out
