"""A record under way: what was found of it, hum and noise taken off, the stretches after its taps made ready.

References
----------
.. [1] J. Tobin, Econometrica 26 (1958) 24: regression with readings at a limit (from memory).

"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from matdb.arrays import Array, Complex, Flags, Places
from matdb.bench.trace.modes import Block, Moving, Solution, Stretches
from matdb.bench.trace.record import Refused, Trace
from matdb.errors import InputError

#: Times, projected readings, the projection, and which channels they are.
_Piece = tuple[Array, Array, Callable[[Array], Array], tuple[int, ...]]


class State:
    """A record, what was found in it so far, and what was taken off it.

    Parameters
    ----------
    trace : Trace
        The record.
    band : (float, float) or None
        Where modes are to be looked for, Hz; None takes from 2 Hz (or two cycles a record) to 0.45 of the rate.
    mains : tuple of float
        Mains frequencies, Hz.

    Attributes
    ----------
    rate, span, payload : float, float, int
        Usual sampling rate, Hz; length, s; number of the payload's channels, which those of the base follow.
    time : array, shape (n,)
        Seconds since the first reading.
    offset, signal : array, shape (channels,) and (n, channels)
        Median of each channel of payload and base, and the readings less it.
    clipped, above : array of bool, shape (n, channels)
        Readings at the sensor's limit, and those in the upper half of the channel's span.
    sigma : array, shape (channels,)
        Noise of each channel, standard deviation.
    hum, hum_hz, hum_amplitude, looks
        Mains hum as found, its frequency (0 for none), its largest amplitude, and how often it was looked for.
    predicted : array, shape (n, channels)
        What the last fit says of each reading, NaN outside its stretches; only channels with readings at the limit.
    taps, starts : array
        Seconds at which a tap was found, and from which the decay after it is fitted.
    promise : float
        How far the most likely further mode stands out, over what noise does.
    odd : bool
        Whether something is neither a decay, drift nor hum.
    moving : Moving or None
        The first mode as one that moves with its amplitude, where that holds.

    Raises
    ------
    InputError
        A band that cannot be.
    """

    def __init__(self, trace: Trace, band: tuple[float, float] | None, mains: tuple[float, ...]) -> None:
        self.trace, self.mains = trace, mains
        self.rate, self.payload = trace.rate_hz, trace.signal.shape[1]
        self.time = trace.time_s - trace.time_s[:1]
        self.span = float(self.time[-1]) if self.time.size > 1 else 0.0
        low, high = max(2.0, 2.0 / max(self.span, 1e-9)), 0.45 * self.rate
        if band is not None:
            if not 0.0 < band[0] < band[1]:
                raise InputError("frequency_range_hz", band, "two frequencies above 0, the lower one first")
            low, high = max(low, band[0]), min(high, band[1])
        self.band = low, high
        raw = trace.signal if trace.base is None else np.hstack([trace.signal, trace.base])
        self.offset: Array = np.median(raw, axis=0) if self.time.size else np.zeros(raw.shape[1])
        self.signal: Array = raw - self.offset
        ends = [self.signal.min(axis=0), self.signal.max(axis=0)] if self.time.size else [self.offset, self.offset]
        self.clipped, self.above = _clipped(raw), self.signal >= 0.5 * (ends[0] + ends[1])
        self.sigma: Array = np.maximum(_noise(self.signal), 1e-12)
        self.hum, self.predicted = np.zeros_like(self.signal), np.full(self.signal.shape, np.nan)
        self.hum_hz, self.hum_amplitude, self.looks = 0.0, 0.0, 0
        self.taps, self.starts = np.empty(0), np.empty(0)
        self.promise, self.odd = 1.0, False
        self.moving: Moving | None = None

    @property
    def scaled(self) -> Array:
        """The readings without hum in units of the noise."""
        return (self.signal - self.hum) / self.sigma


def refuse_hopeless(state: State) -> None:
    """Raises Refused where no fit is worth trying."""
    if state.time.size < 40:
        raise Refused(f"only {state.time.size} usable readings; at least 40 are needed")
    if not np.any(np.ptp(state.trace.signal, axis=0) > 0):
        raise Refused("the signal never changes")
    if state.band[0] >= state.band[1]:
        raise Refused(
            f"a rate of {state.rate:.3g} Hz over {state.span:.3g} s shows no frequency in the range asked for; "
            "sample faster or longer"
        )
    if float(np.mean(np.any(state.clipped[:, : state.payload], axis=1))) > 0.4:
        raise Refused("more than 40 % of the readings are at the sensor's limit; tap more gently")
    gap = float(np.max(np.diff(state.time)))
    if gap > 0.25 * state.span and state.time.size < 400:
        raise Refused(f"a gap of {gap:.3g} s leaves too little of the record")


def stretches(state: State, poles: Complex, *, only: int | None = None, until: float | None = None) -> Stretches:
    """Stretches after the taps, thinned by averaging, in units of the noise.

    ``only`` makes one tap's stretch, which lasts ``until`` so many seconds after its start, over the next tap too.
    """
    starts = state.starts
    top = float(np.max(poles.imag)) / (2.0 * np.pi)
    slowest = float(np.min(-poles.real))
    longest = max(6.0 / max(slowest, 1e-3), 0.5, 4.0 / top)
    thin = max(int(state.rate / (20.0 * top)), 1)
    ends = np.append(state.taps[1:] - 0.25 / top, state.span + 1.0)
    out = Stretches()
    y = state.scaled
    for k, start in enumerate(starts):
        if only is not None and k != only:
            continue
        begin, end = start, min(ends[k], start + longest) if until is None else start + until
        rows = np.arange(np.searchsorted(state.time, begin - 1e-12), np.searchsorted(state.time, end))
        if rows.size < 8:
            continue
        limited = np.any(state.clipped[rows], axis=0)
        whole = np.flatnonzero(~limited)
        edges = np.arange(0, rows.size - thin + 1, thin, dtype=np.intp)
        rows = rows[: edges.size * thin]
        t = np.add.reduceat(state.time[rows], edges) / thin
        if t.size < 8 or t[-1] - t[0] < 0.6 / top:
            continue
        if whole.size:
            part = np.add.reduceat(y[np.ix_(rows, whole)], edges, axis=0) / np.sqrt(thin)
            out.append(Block(t - start, part, k, tuple(whole.tolist()), thin))
        for c in np.flatnonzero(limited).tolist():
            value, weight, count = censored(state, rows, y[rows, c], edges, thin, c)
            keep = weight > 0.03
            tk = t[keep]
            if tk.size < 8 or tk[-1] - tk[0] < 0.6 / top:
                continue
            part, root = value[keep], weight[keep]
            out.append(Block(tk - start, part[:, None], k, (c,), thin, root, float(np.sum(count[keep]))))
    return out


def censored(state: State, rows: Places, y: Array, edges: Places, thin: int, c: int) -> tuple[Array, Array, Array]:
    """Rows of a block with readings at the sensor's limit: weighted values, weights, what they count.

    A reading at the limit says only that the true one lies at or beyond it. The score of that is the mean of
    the noise beyond the limit, its information that of the score; a Newton step of the censored likelihood is
    then a weighted least squares step [1]_. Without a prediction such a reading has no weight.
    """
    from scipy.special import erfcx

    at = state.clipped[rows, c]
    predicted = state.predicted[rows, c] / state.sigma[c]
    known = np.isfinite(predicted)
    side = np.where(state.above[rows, c], 1.0, -1.0)
    # How far the limit lies beyond the prediction, in deviations.
    gap = np.clip(side * (y - predicted), -30.0, 30.0)
    mills = np.sqrt(2.0 / np.pi) / erfcx(np.where(at & known, gap, 0.0) / np.sqrt(2.0))
    beyond = np.maximum(mills - np.where(at & known, gap, 0.0), 1e-12)
    information = np.where(at, np.where(known, np.minimum(mills * beyond, 1.0), 0.0), 1.0)
    score = np.where(at, np.where(known, side * mills, 0.0), y - predicted)
    total = np.add.reduceat(information, edges)
    touched = np.add.reduceat(at.astype(float), edges) > 0
    plain = np.add.reduceat(y, edges) / thin
    guess = np.add.reduceat(predicted, edges) / thin + np.add.reduceat(score, edges) / np.maximum(total, 1e-12)
    usable = ~touched | np.isfinite(guess)
    root = np.where(usable, np.sqrt(np.where(touched, total / thin, 1.0)), 0.0)
    value = np.where(touched, np.where(usable, guess, 0.0), plain)
    count = np.where(at & known, mills / beyond - gap * mills, 1.0) if thin == 1 else np.ones(edges.size)
    return np.sqrt(thin) * value * root, root, count


def one_sided(state: State, rest: Array, channels: Places, rows: Places) -> Array:
    """Residuals, zero where a reading at the limit lies short of a prediction beyond it."""
    at = state.clipped[np.ix_(rows, channels)]
    if not np.any(at):
        return rest
    above = state.above[np.ix_(rows, channels)]
    return np.where(at, np.where(above, np.maximum(rest, 0.0), np.minimum(rest, 0.0)), rest)


def predict(state: State, solution: Solution) -> None:
    """What a solution says of the readings of the channels that reach the sensor's limit."""
    state.predicted = np.full(state.signal.shape, np.nan)
    limited = np.any(state.clipped, axis=0)
    early = 0.5 * np.pi / float(np.max(solution.poles.imag))
    for b, a, _ in solution.pieces:
        if not np.any(limited[list(b.channels)]):
            continue
        begin, end = state.starts[b.tap], state.starts[b.tap] + b.time[-1] + 0.5 * b.thin / state.rate
        rows = np.arange(np.searchsorted(state.time, begin - early), np.searchsorted(state.time, end, "right"))
        since = state.time[rows] - begin
        for c, whole in zip(b.channels, b.along(since, a, solution.poles).T, strict=True):
            # The quarter cycle before the start is the earlier stretch's, where that says something.
            free = limited[c] & ((since >= 0.0) | np.isnan(state.predicted[rows, c]))
            state.predicted[rows[free], c] = whole[free] * state.sigma[c]


def even(state: State) -> tuple[Array, Array]:
    """The record without hum on an even grid, clipped readings bridged."""
    grid = np.arange(0.0, state.span, 1.0 / state.rate)
    x = np.empty((grid.size, state.signal.shape[1]))
    for c in range(x.shape[1]):
        keep = ~state.clipped[:, c] if np.mean(state.clipped[:, c]) < 0.02 else np.ones(state.time.size, bool)
        x[:, c] = np.interp(grid, state.time[keep], (state.signal - state.hum)[keep, c])
    return grid, x


def find_hum(state: State) -> None:
    """Fit mains hum to the quieter stretches and take it off, if it is there."""
    width = max(0.2, 12.0 / state.rate)
    window = np.minimum((state.time / width).astype(int), max(int(state.span / width) - 1, 0))
    count = int(window[-1]) + 1
    usable = ~np.any(state.clipped, axis=1)
    if count < 3:
        return
    energy = np.full(count, np.inf)
    members = [np.flatnonzero((window == w) & usable) for w in range(count)]
    for w, rows in enumerate(members):
        if rows.size >= 10:
            x = state.signal[rows] - np.mean(state.signal[rows], axis=0)
            energy[w] = float(np.sum(np.mean(x * x, axis=0) / state.sigma**2))
    quiet = np.argsort(energy)[: max(3, int(0.4 * count))]
    stretches = [members[w] for w in quiet if np.isfinite(energy[w])]
    if len(stretches) < 3:
        return

    pieces: list[_Piece] = []
    for rows in stretches:
        line = np.linalg.qr(np.vander(state.time[rows] - np.mean(state.time[rows]), 3))[0]

        def project(columns: Array, line: Array = line) -> Array:
            return columns - line @ (line.T @ columns)

        pieces.append((state.time[rows], project(state.signal[rows]), project, tuple(range(state.signal.shape[1]))))
    fit_hum(state, pieces, least=40.0)
    rest = np.concatenate([y - p(state.hum[r]) for (_, y, p, _), r in zip(pieces, stretches, strict=True)])
    state.sigma = np.maximum(1.4826 * np.median(np.abs(rest), axis=0), 1e-3 * state.sigma)
    state.sigma = np.maximum(state.sigma, 1e-9 * np.maximum(np.ptp(state.signal, axis=0), 1e-12))


def fit_hum(state: State, pieces: Sequence[_Piece], *, least: float) -> None:
    """Fit a steady sine near a mains frequency to projected pieces; keep it when it is significant."""
    channels = state.signal.shape[1]

    def best_of(candidates: Array) -> tuple[float, float, Array]:
        gram = np.zeros((channels, candidates.size, 2, 2))
        right = np.zeros((channels, candidates.size, 2))
        for t, y, project, mine in pieces:
            phase = 2.0 * np.pi * t[:, None] * candidates
            columns = project(np.hstack([np.cos(phase), np.sin(phase)])).reshape(t.size, 2, -1)
            gram[list(mine)] += np.einsum("tig,tjg->gij", columns, columns)
            right[list(mine)] += np.einsum("tig,tc->cgi", columns, y)
        weights = np.einsum("cgij,cgj->cgi", np.linalg.pinv(gram, rcond=1e-6, hermitian=True), right)
        gain = np.sum(np.sum(weights * right, axis=2) / state.sigma[:, None] ** 2, axis=0)
        top = int(np.argmax(gain))
        return float(gain[top]), float(candidates[top]), weights[:, top].T

    step = 0.25 / state.span
    around = step * np.arange(-int(0.2 / step) - 1, int(0.2 / step) + 2)
    if state.hum_hz:
        around = step * np.arange(-2, 3)
    _, hz, _ = best_of(np.concatenate([c + around for c in ([state.hum_hz] if state.hum_hz else state.mains)]))
    gain, hz, weights = best_of(hz + step * np.linspace(-0.6, 0.6, 13))
    noise = [float(np.mean(y**2 / state.sigma[list(mine)] ** 2)) for _, y, _, mine in pieces]
    if gain / max(float(np.mean(noise)), 1e-12) < least + 4.0 * channels:
        state.hum, state.hum_hz, state.hum_amplitude = np.zeros_like(state.signal), 0.0, 0.0
        return
    columns = np.column_stack([np.cos(2 * np.pi * hz * state.time), np.sin(2 * np.pi * hz * state.time)])
    state.hum, state.hum_hz = columns @ weights, hz
    state.hum_amplitude = float(np.max(np.hypot(*weights)[: state.payload]))


def update_noise_and_hum(state: State, solution: Solution) -> None:
    """Noise per channel from the residual; hum fitted together with the modes."""
    pieces: list[_Piece] = []
    for b in solution.blocks:
        if b.time.size < 8 + 4 * solution.poles.size:
            continue
        q = np.linalg.qr(b.without_slow(b.waves(solution.poles)))[0]

        def project(columns: Array, b: Block = b, q: Array = q) -> Array:
            rest = b.without_slow(b.weighted(columns))
            return rest - q @ (q.T @ rest)

        t = b.time + state.starts[b.tap]
        hum = np.column_stack([np.interp(t, state.time, state.hum[:, c]) for c in b.channels])
        y = b.signal if b.weight is None else b.signal / b.weight[:, None]
        y = y * state.sigma[list(b.channels)] / np.sqrt(b.thin) + hum
        pieces.append((t, project(y), project, b.channels))
    if pieces and (state.hum_hz or state.looks < 2):
        fit_hum(state, pieces, least=12.0 if state.hum_hz else 25.0)
        state.looks += 1
    total, count = np.zeros(state.signal.shape[1]), np.zeros(state.signal.shape[1])
    for b, _, rest in solution.pieces:
        used = b.slow.shape[1] + 2 * solution.poles.size
        for i, c in enumerate(b.channels):
            total[c] += float(np.sum(rest[:, i] ** 2))
            count[c] += max(b.count - used, 0.0)
    ratio = np.sqrt(total / np.maximum(count, 1.0))
    state.sigma = np.where(count > 10, state.sigma * np.maximum(ratio, 1e-6), state.sigma)


def _clipped(raw: Array) -> Flags:
    """Readings at the sensor's limit: the extreme value, met several times and at least twice running."""
    out = np.zeros(raw.shape, dtype=bool)
    for extreme in (raw.max(axis=0), raw.min(axis=0)) if len(raw) else ():
        hit = np.abs(raw - extreme) <= 1e-9 * np.ptp(raw, axis=0)
        running = np.any(hit[1:] & hit[:-1], axis=0) & (np.sum(hit, axis=0) >= 3) & (np.ptp(raw, axis=0) > 0)
        out |= hit & running
    return out


def _noise(signal: Array) -> Array:
    """First guess of each channel's noise from the differences of the quieter half."""
    if signal.shape[0] < 5:
        return np.ones(signal.shape[1])
    second = signal[2:] - 2.0 * signal[1:-1] + signal[:-2]
    return np.asarray(1.4826 * np.median(np.abs(second), axis=0) / np.sqrt(6.0))
