"""Stretches of a trace: hum and noise taken off, taps found, the record after each tap made ready for the fit.

References
----------
.. [1] S. M. Kay, Fundamentals of Statistical Signal Processing: Detection Theory: matched filter (from memory).
.. [2] J. Tobin, Econometrica 26 (1958) 24: regression with readings at a limit (from memory).

"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from matdb.bench.modes import Block, Moving, Solution, basis, evaluate, grid_gain, pole_grid, solve
from matdb.bench.trace_record import Trace
from matdb.errors import InputError

__all__ = ["Stretches", "running_mean", "stacked"]

Array = NDArray[np.float64]
Poles = NDArray[np.complex128]

#: Times, projected readings, the projection, and which channels they are.
_Piece = tuple[Array, Array, Callable[[Array], Array], tuple[int, ...]]
_NO_POLES: Poles = np.empty(0, dtype=complex)


class Stretches:
    """A record, what was taken off it, its taps, and the stretches after them.

    Parameters
    ----------
    trace : Trace
        The record.
    band : (float, float) or None
        Where modes are looked for, Hz.
    mains : tuple of float
        Mains frequencies, Hz.

    """

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
        ends = [self.signal.min(axis=0), self.signal.max(axis=0)] if self.time.size else [self.offset, self.offset]
        self.above = self.signal >= 0.5 * (ends[0] + ends[1])
        # What the last fit says of each reading, NaN outside its stretches; only channels with readings at the limit.
        self.predicted = np.full(self.signal.shape, np.nan)
        self.hum = np.zeros_like(self.signal)
        self.hum_hz, self.hum_amplitude = 0.0, 0.0
        self.sigma = np.maximum(_noise(self.signal), 1e-12)
        self.taps = np.empty(0)
        self.starts = np.empty(0)
        self.notes: list[str] = []
        self.promise = 1.0
        self.looks = 0
        self.odd = False
        self.moving: Moving | None = None

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
        if float(np.mean(np.any(self.clipped[:, : self.payload], axis=1))) > 0.4:
            return "more than 40 % of the readings are at the sensor's limit; tap more gently"
        gap = float(np.max(np.diff(self.time)))
        if gap > 0.25 * self.span and self.time.size < 400:
            return f"a gap of {gap:.3g} s leaves too little of the record"
        return ""

    def find_hum(self) -> None:
        """Fit mains hum to the quieter stretches and take it off, if it is there."""
        width = max(0.2, 12.0 / self.rate)
        window = np.minimum((self.time / width).astype(int), max(int(self.span / width) - 1, 0))
        count = int(window[-1]) + 1
        usable = ~np.any(self.clipped, axis=1)
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

        pieces: list[_Piece] = []
        for rows in stretches:
            line = np.linalg.qr(np.vander(self.time[rows] - np.mean(self.time[rows]), 3))[0]

            def project(columns: Array, line: Array = line) -> Array:
                return columns - line @ (line.T @ columns)

            pieces.append((self.time[rows], project(self.signal[rows]), project, tuple(range(self.raw.shape[1]))))
        self._fit_hum(pieces, least=40.0)
        rest = np.concatenate([y - p(self.hum[r]) for (_, y, p, _), r in zip(pieces, stretches, strict=True)])
        self.sigma = np.maximum(1.4826 * np.median(np.abs(rest), axis=0), 1e-3 * self.sigma)
        self.sigma = np.maximum(self.sigma, 1e-9 * np.maximum(np.ptp(self.signal, axis=0), 1e-12))

    def _fit_hum(self, pieces: Sequence[_Piece], *, least: float) -> None:
        """Fit a steady sine near a mains frequency to projected pieces; keep it when it is significant."""
        channels = self.raw.shape[1]

        def best_of(candidates: Array) -> tuple[float, float, Array]:
            gram = np.zeros((channels, candidates.size, 2, 2))
            right = np.zeros((channels, candidates.size, 2))
            for t, y, project, mine in pieces:
                phase = 2.0 * np.pi * t[:, None] * candidates
                columns = project(np.hstack([np.cos(phase), np.sin(phase)])).reshape(t.size, 2, -1)
                gram[list(mine)] += np.einsum("tig,tjg->gij", columns, columns)
                right[list(mine)] += np.einsum("tig,tc->cgi", columns, y)
            weights = np.einsum("cgij,cgj->cgi", np.linalg.pinv(gram, rcond=1e-6, hermitian=True), right)
            gain = np.sum(np.sum(weights * right, axis=2) / self.sigma[:, None] ** 2, axis=0)
            top = int(np.argmax(gain))
            return float(gain[top]), float(candidates[top]), weights[:, top].T

        step = 0.25 / self.span
        around = step * np.arange(-int(0.2 / step) - 1, int(0.2 / step) + 2)
        if self.hum_hz:
            around = step * np.arange(-2, 3)
        _, hz, _ = best_of(np.concatenate([c + around for c in ([self.hum_hz] if self.hum_hz else self.mains)]))
        gain, hz, weights = best_of(hz + step * np.linspace(-0.6, 0.6, 13))
        noise = [float(np.mean(y**2 / self.sigma[list(mine)] ** 2)) for _, y, _, mine in pieces]
        if gain / max(float(np.mean(noise)), 1e-12) < least + 4.0 * channels:
            self.hum, self.hum_hz, self.hum_amplitude = np.zeros_like(self.signal), 0.0, 0.0
            return
        columns = np.column_stack([np.cos(2 * np.pi * hz * self.time), np.sin(2 * np.pi * hz * self.time)])
        self.hum, self.hum_hz = columns @ weights, hz
        self.hum_amplitude = float(np.max(np.hypot(*weights)[: self.payload]))

    def strongest_line(self) -> tuple[complex, float] | None:
        """A crude pole from short spectra, and how far it stands out; None when nothing does."""
        grid, x = self.even()
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

    def even(self) -> tuple[Array, Array]:
        """The record without hum on an even grid, clipped readings bridged."""
        grid = np.arange(0.0, self.span, 1.0 / self.rate)
        x = np.empty((grid.size, self.signal.shape[1]))
        for c in range(x.shape[1]):
            keep = ~self.clipped[:, c] if np.mean(self.clipped[:, c]) < 0.02 else np.ones(self.time.size, bool)
            x[:, c] = np.interp(grid, self.time[keep], (self.signal - self.hum)[keep, c])
        return grid, x

    def find_taps(self, pole: complex) -> Array:
        """Times where a damped sinusoid of this pole begins, by matched filter."""
        grid, x = self.even()
        x = x[:, : self.payload] / self.sigma[: self.payload]
        omega, alpha = pole.imag, -pole.real
        # A running mean over a whole number of cycles takes drift off and hardly touches the mode.
        cycles = max(round(self.rate * 4.0 * np.pi / omega), 3)
        x = x - running_mean(x, cycles)
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
        times: Array = grid[np.sort(np.array(found, dtype=int))]
        return times

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
            channels = range(y.shape[1])
            limited = [c for c in channels if np.any(self.clipped[rows, c])]
            whole = [c for c in channels if c not in limited]
            edges = np.arange(0, rows.size - thin + 1, thin, dtype=np.intp)
            rows = rows[: edges.size * thin]
            t = np.add.reduceat(self.time[rows], edges) / thin if thin > 1 else self.time[rows]
            if t.size < 8 or t[-1] - t[0] < 0.6 / top:
                continue

            def degree(t: Array) -> int:
                return min(1 + int(np.ceil(1.6 * (t[-1] - t[0]))), 16)

            if whole:
                part = y[np.ix_(rows, np.array(whole, dtype=int))]
                part = np.add.reduceat(part, edges, axis=0) / np.sqrt(thin) if thin > 1 else part
                out.append(Block(t - start, part, degree(t), k, tuple(whole), thin))
            for c in limited:
                value, weight, count = self._censored(rows, y[rows, c], edges, thin, c)
                keep = weight > 0.03
                tk = t[keep]
                if tk.size < 8 or tk[-1] - tk[0] < 0.6 / top:
                    continue
                part, root = value[keep], weight[keep]
                out.append(
                    Block(tk - start, part[:, None], degree(tk), k, (c,), thin, root, float(np.sum(count[keep])))
                )
        return out

    def _censored(
        self, rows: NDArray[np.intp], y: Array, edges: NDArray[np.intp], thin: int, c: int
    ) -> tuple[Array, Array, Array]:
        """Rows of a block with readings at the sensor's limit: weighted values, weights, what they count.

        A reading at the limit says only that the true one lies at or beyond it. The score of that is the mean of
        the noise beyond the limit, its information that of the score; a Newton step of the censored likelihood is
        then a weighted least squares step [2]_. Without a prediction such a reading has no weight.
        """
        from scipy.special import erfcx

        at = self.clipped[rows, c]
        predicted = self.predicted[rows, c] / self.sigma[c]
        known = np.isfinite(predicted)
        side = np.where(self.above[rows, c], 1.0, -1.0)
        # How far the limit lies beyond the prediction, in deviations.
        gap = np.clip(side * (y - predicted), -30.0, 30.0)
        mills = np.sqrt(2.0 / np.pi) / erfcx(np.where(at & known, gap, 0.0) / np.sqrt(2.0))
        beyond = np.maximum(mills - np.where(at & known, gap, 0.0), 1e-12)
        information = np.where(at, np.where(known, np.minimum(mills * beyond, 1.0), 0.0), 1.0)
        score = np.where(at, np.where(known, side * mills, 0.0), y - predicted)
        if thin == 1:
            value = np.where(at & known, predicted + score / np.maximum(information, 1e-12), y)
            count = np.where(at & known, mills / beyond - gap * mills, 1.0)
            root = np.sqrt(information)
            return value * root, root, count
        total = np.add.reduceat(information, edges)
        touched = np.add.reduceat(at.astype(float), edges) > 0
        plain = np.add.reduceat(y, edges) / thin
        guess = np.add.reduceat(predicted, edges) / thin + np.add.reduceat(score, edges) / np.maximum(total, 1e-12)
        usable = ~touched | np.isfinite(guess)
        root = np.where(usable, np.sqrt(np.where(touched, total / thin, 1.0)), 0.0)
        value = np.where(touched, np.where(usable, guess, 0.0), plain)
        return np.sqrt(thin) * value * root, root, np.ones(edges.size)

    def one_sided(self, rest: Array, channels: NDArray[np.intp], rows: NDArray[np.intp] | None = None) -> Array:
        """Residuals, zero where a reading at the limit lies short of a prediction beyond it."""
        rows = np.arange(self.time.size) if rows is None else rows
        at = self.clipped[np.ix_(rows, channels)]
        if not np.any(at):
            return rest
        above = self.above[np.ix_(rows, channels)]
        return np.where(at, np.where(above, np.maximum(rest, 0.0), np.minimum(rest, 0.0)), rest)

    def first_mode(self, crude: tuple[complex, float]) -> Poles | None:
        """The strongest mode and the taps, refined together."""
        omega = crude[0].imag
        best: tuple[float, Poles, Array, Array] | None = None
        for alpha in (-crude[0].real, 0.05 * omega):
            poles = self._mode_from(complex(-alpha, omega))
            if poles is not None:
                blocks = self.blocks(poles)
                fall = sum(float(np.sum(b.clean**2)) for b in blocks) - evaluate(blocks, poles)[0].cost
                # Each tap and axis adds an amplitude and a phase that fit noise as well.
                fall -= 4.0 * sum(b.signal.shape[1] for b in blocks)
                if best is None or fall > best[0]:
                    best = fall, poles, self.taps, self.starts
                if self.taps.size > 1 and -poles[0].real > 0.02 * poles[0].imag:
                    break
        if best is None:
            return None
        _, poles, self.taps, self.starts = best
        return poles

    def _mode_from(self, pole: complex) -> Poles | None:
        """The strongest mode and the taps from a first guess of its pole."""
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
                mine_of = np.ix_(rows, np.array(b.channels, dtype=int))
                y = ((self.signal - self.hum) / self.sigma)[mine_of]
                scale = np.sqrt(b.thin)
                since = self.time[rows] - starts[k]
                after = basis(since, poles) @ stacked(a) / scale
                level = self.level(b, a, poles)[0] / scale
                before = np.zeros_like(after)
                earlier = [
                    c for o, c in zip(blocks, solution.amplitudes, strict=True)
                    if o.tap == k - 1 and o.channels == b.channels
                ]  # fmt: skip
                if earlier:
                    before = basis(self.time[rows] - starts[k - 1], poles) @ stacked(earlier[0]) / scale
                y = y - level
                some = np.array(b.channels, dtype=int)
                was, now = self.one_sided(y - before, some, rows), self.one_sided(y - after, some, rows)
                gain += np.sum(was**2 - now**2, axis=1)
            # gain > 0: the decay explains the reading better than what was before it
            total = np.cumsum(gain[::-1])[::-1]
            best = float(total.max())
            # The latest start that costs little: a reading before the tap harms more than one after it helps.
            good = np.flatnonzero(total >= best - min(2.0, 0.02 * abs(best)))
            starts[k] = min(float(self.time[rows[good[-1]]]), starts[k] + 0.4 * cycle)
        self.starts = starts

    @staticmethod
    def level(block: Block, amplitude: NDArray[np.complex128], poles: Poles) -> Array:
        """The slow part along the block, in the block's units."""
        rest = block.signal - block.waves(poles) @ stacked(amplitude)
        slow: Array = block.slow @ (block.slow.T @ rest)
        return slow if block.weight is None else slow / block.weight[:, None]

    def update_noise_and_hum(self, solution: Solution, blocks: Sequence[Block]) -> None:
        """Noise per channel from the residual; hum fitted together with the modes."""
        pieces: list[_Piece] = []
        for b in blocks:
            if b.time.size < 8 + 4 * solution.poles.size:
                continue
            q = np.linalg.qr(b.without_slow(b.waves(solution.poles)))[0]

            def project(columns: Array, b: Block = b, q: Array = q) -> Array:
                rest = b.without_slow(b.weighted(columns))
                return rest - q @ (q.T @ rest)

            t = b.time + self.starts[b.tap]
            hum = np.column_stack([np.interp(t, self.time, self.hum[:, c]) for c in b.channels])
            y = b.signal if b.weight is None else b.signal / b.weight[:, None]
            y = y * self.sigma[list(b.channels)] / np.sqrt(b.thin) + hum
            pieces.append((t, project(y), project, b.channels))
        if pieces and (self.hum_hz or self.looks < 2):
            self._fit_hum(pieces, least=12.0 if self.hum_hz else 25.0)
            self.looks += 1
        total, count = np.zeros(self.raw.shape[1]), np.zeros(self.raw.shape[1])
        for b, rest in zip(blocks, solution.residuals, strict=True):
            used = b.slow.shape[1] + 2 * solution.poles.size
            for i, c in enumerate(b.channels):
                total[c] += float(np.sum(rest[:, i] ** 2))
                count[c] += max(b.count - used, 0.0)
        ratio = np.sqrt(total / np.maximum(count, 1.0))
        self.sigma = np.where(count > 10, self.sigma * np.maximum(ratio, 1e-6), self.sigma)

    def predict(self, solution: Solution, blocks: Sequence[Block]) -> None:
        """What a solution says of the readings of the channels that reach the sensor's limit."""
        self.predicted = np.full(self.signal.shape, np.nan)
        limited = np.any(self.clipped, axis=0)
        early = 0.5 * np.pi / float(np.max(solution.poles.imag))
        for b, a in zip(blocks, solution.amplitudes, strict=True):
            mine = [i for i, c in enumerate(b.channels) if limited[c]]
            if not mine:
                continue
            begin, end = self.starts[b.tap], self.starts[b.tap] + b.time[-1] + 0.5 * b.thin / self.rate
            rows = np.arange(np.searchsorted(self.time, begin - early), np.searchsorted(self.time, end, "right"))
            since = self.time[rows] - begin
            wave = basis(since, solution.poles) @ stacked(a[:, mine])
            level = self.level(b, a, solution.poles)
            for i, w in zip(mine, wave.T, strict=True):
                c = b.channels[i]
                whole = (w + np.interp(since, b.time, level[:, i])) * self.sigma[c] / np.sqrt(b.thin)
                # The quarter cycle before the start is the earlier stretch's, where that says something.
                free = (since >= 0.0) | np.isnan(self.predicted[rows, c])
                self.predicted[rows[free], c] = whole[free]


def stacked(amplitude: NDArray[np.complex128]) -> Array:
    """Complex amplitudes as the coefficients of the cosine and sine columns."""
    out = np.empty((2 * amplitude.shape[0], amplitude.shape[1]))
    out[0::2], out[1::2] = amplitude.real, amplitude.imag
    return out


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


def running_mean(x: Array, width: int) -> Array:
    """Centred running mean along the first axis, shorter at the ends."""
    half = width // 2
    total = np.concatenate([np.zeros((1, x.shape[1])), np.cumsum(x, axis=0)])
    i = np.arange(x.shape[0])
    low, high = np.maximum(i - half, 0), np.minimum(i + half + 1, x.shape[0])
    mean: Array = (total[high] - total[low]) / (high - low)[:, None]
    return mean
