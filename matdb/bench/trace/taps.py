"""The taps of a record: found by matched filter, moved to where the decay begins, added and dropped.

References
----------
.. [1] S. M. Kay, Fundamentals of Statistical Signal Processing: Detection Theory: matched filter (from memory).

"""

from __future__ import annotations

import numpy as np

from matdb.arrays import Array, Complex
from matdb.bench.trace.modes import Solution, basis, pole_grid, stacked
from matdb.bench.trace.record import Refused
from matdb.bench.trace.state import State, even, one_sided, stretches


def _strongest_line(state: State) -> complex:
    """A crude pole from short spectra. Raises Refused when nothing stands out."""
    grid, x = even(state)
    x = x[:, : state.payload] / state.sigma[: state.payload]
    found = [(0.0, 1.0, 1.0)]
    for width in (0.05, 0.1, 0.2, 0.4, 0.8, 1.6):
        n = int(width * state.rate)
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
        hz = np.fft.rfftfreq(n, 1.0 / state.rate)
        inside = (hz >= max(state.band[0], 1.5 / width)) & (hz <= state.band[1])
        if not np.any(inside):
            continue
        highest = power[:, inside].max(axis=0)
        found.append((float(highest.max()), float(hz[inside][np.argmax(highest)]), width))
    height, line_hz, width = max(found)
    if height < 18.0 + 4.0 * state.payload:
        raise Refused("no ring-down stands out of the noise; tap harder or fix the sensor more firmly")
    omega = 2.0 * np.pi * line_hz
    return complex(-min(max(2.0 / width, 0.005 * omega), 0.25 * omega), omega)


def first_mode(state: State) -> Complex:
    """The strongest mode and the taps, refined together. Raises Refused when none is found."""
    crude = _strongest_line(state)
    best: tuple[float, Complex, Array, Array] | None = None
    for alpha in (-crude.real, 0.05 * crude.imag):
        poles = _mode_from(state, complex(-alpha, crude.imag))
        if poles is not None:
            blocks = stretches(state, poles)
            # Each tap and axis adds an amplitude and a phase that fit noise as well.
            fall = blocks.energy - blocks.at(poles).cost - 4.0 * blocks.columns
            if best is None or fall > best[0]:
                best = fall, poles, state.taps, state.starts
            if state.taps.size > 1 and -poles[0].real > 0.02 * poles[0].imag:
                break
    if best is None:
        raise Refused("no tap with a decay after it was found; the signal may be steady vibration")
    _, poles, state.taps, state.starts = best
    return poles


def _mode_from(state: State, pole: complex) -> Complex | None:
    """The strongest mode and the taps from a first guess of its pole."""
    for turn in range(3):
        state.taps = find_taps(state, pole)
        if state.taps.size == 0:
            return None
        lead = np.pi / 2.0 / pole.imag if turn < 2 else np.pi / 4.0 / pole.imag
        state.starts = np.where(state.taps < 1.5 / state.rate, state.taps, state.taps + lead)
        poles = np.array([pole])
        blocks = stretches(state, poles)
        if not blocks:
            return None
        hz = pole.imag / (2.0 * np.pi)
        if turn < 2:
            grid = pole_grid(max(0.6 * hz, state.band[0]), min(1.7 * hz, state.band[1]))
            grid = np.concatenate([grid, poles])
            pole = complex(grid[int(np.argmax(blocks.gain(grid, poles[:0])))])
        pole = complex(blocks.solve(np.array([pole]), steps=15).poles[0])
    return np.array([pole])


def find_taps(state: State, pole: complex) -> Array:
    """Times where a damped sinusoid of this pole begins, by matched filter."""
    grid, x = even(state)
    x = x[:, : state.payload] / state.sigma[: state.payload]
    omega, alpha = pole.imag, -pole.real
    # A running mean over a whole number of cycles takes drift off and hardly touches the mode.
    cycles = max(round(state.rate * 4.0 * np.pi / omega), 3)
    x = x - running_mean(x, cycles)
    waves, told = _matched(x, np.array([pole]), state.rate)
    score: Array = np.sum(told**2, axis=(1, 2)) / float(np.sum(waves**2))
    least = max(16.0 + 3.0 * state.payload, 0.004 * float(score.max()))
    found: list[int] = []
    heard = np.zeros(grid.size)
    top = np.flatnonzero((score >= np.concatenate([[0.0], score[:-1]])) & (score >= np.concatenate([score[1:], [0.0]])))
    decay = 0.35 * alpha / state.rate
    for i in top[np.argsort(-score[top])]:
        if score[i] < least or len(found) >= 60:
            break
        if score[i] < 2.5 * heard[i]:
            continue
        found.append(int(i))
        heard = np.maximum(heard, score[i] * np.exp(-2.0 * decay * np.abs(np.arange(grid.size) - i)))
    times: Array = grid[np.sort(np.array(found, dtype=int))]
    return times


def _matched(x: Array, poles: Complex, rate: float) -> tuple[Array, Array]:
    """Decaying waves of the poles, and how much of each begins in a record at each moment, (n, waves, channels)."""
    reach = min(max(int(4.0 / float(np.min(-poles.real)) * rate), 4), len(x))
    waves = basis(np.arange(reach) / rate, poles)
    size = 1 << int(np.ceil(np.log2(len(x) + reach)))
    spectra = np.conj(np.fft.rfft(waves, size, axis=0))
    told = np.fft.irfft(np.fft.rfft(x, size, axis=0)[:, None] * spectra[:, :, None], size, axis=0)
    return waves, told[: len(x)]


def refine_starts(state: State, solution: Solution) -> None:
    """Move each stretch's start to the moment from which the decay describes the record, after the blow itself."""
    poles = solution.poles
    cycle, slow = 2.0 * np.pi / float(np.max(poles.imag)), 2.0 * np.pi / float(np.min(poles.imag))
    starts = state.starts.copy()
    for k, tap in enumerate(state.taps):
        if tap < 1.5 / state.rate:
            continue
        mine = [piece for piece in solution.pieces if piece[0].tap == k]
        if not mine:
            continue
        low = max(tap - 0.6 * cycle, float(state.taps[k - 1]) + 0.3 * cycle if k else 0.0)
        rows = np.flatnonzero((state.time >= low) & (state.time < starts[k] + 0.5 * cycle))
        if rows.size < 4:
            continue
        gain, struck = np.zeros(rows.size), np.zeros(rows.size, dtype=bool)
        for b, a, left in mine:
            some, scale = np.array(b.channels, dtype=int), np.sqrt(b.thin)
            after = basis(state.time[rows] - starts[k], poles) @ stacked(a) / scale
            before = np.zeros_like(after)
            for o, c, _ in solution.pieces:
                if o.tap == k - 1 and o.channels == b.channels:
                    before = basis(state.time[rows] - starts[k - 1], poles) @ stacked(c) / scale
            y = state.scaled[np.ix_(rows, some)] - b.level(a, poles)[0] / scale
            was, now = one_sided(state, y - before, some, rows), one_sided(state, y - after, some, rows)
            gain += np.sum(was**2 - now**2, axis=1)
            # What the hand adds while it touches stands out of the decay and of the noise of the whole stretch.
            usual = np.median(np.abs(left), axis=0) / scale
            struck |= np.any(np.abs(now) > np.maximum(9.0 * usual, 0.05 * np.max(np.abs(a), axis=0) / scale), axis=1)
        # gain > 0: the decay explains the reading better than what was before it
        total = np.cumsum(gain[::-1])[::-1]
        best = float(total.max())
        # The latest start that costs little: a reading before the tap harms more than one after it helps.
        good = np.flatnonzero(total >= best - min(2.0, 0.02 * abs(best)))
        starts[k] = min(float(state.time[rows[good[-1]]]), starts[k] + 0.4 * cycle)
        late = np.flatnonzero(struck & (state.time[rows] >= starts[k]))
        if late.size:
            starts[k] = float(state.time[min(rows[late[-1]] + 1, state.time.size - 1)])
    # Two beginnings within a cycle are one blow: the later one is after it.
    near = np.diff(state.taps) < slow
    state.taps, state.starts = state.taps[~np.append(False, near)], starts[~np.append(near, False)]


def add_missed_taps(state: State, solution: Solution) -> bool:
    """Add taps where the residual of the whole record holds a decay of the known modes."""
    poles, time = solution.poles, state.time
    width = max(round(state.rate * 4.0 * np.pi / float(np.min(poles.imag))), 3)
    cycle = 2.0 * np.pi / float(np.min(poles.imag))
    rest = state.scaled[:, : state.payload]
    beside = np.zeros(time.size, dtype=bool)
    for k, start in enumerate(state.starts):
        end = state.starts[k + 1] if k + 1 < state.starts.size else np.inf
        rows = np.flatnonzero((time >= start) & (time < end))
        for b, a, _ in solution.pieces:
            for i, c in enumerate(b.channels):
                if b.tap == k and c < state.payload:
                    wave = basis(time[rows] - start, poles) @ stacked(a[:, i : i + 1])
                    rest[rows, c] -= wave[:, 0] / np.sqrt(b.thin)
        # Around a known tap its own uncertain beginning is all that there is to find.
        beside[(time > min(state.taps[k], start) - cycle) & (time < max(state.taps[k], start) + 0.25 * cycle)] = True
    rest[beside] = np.nan
    # A reading at the limit tells of a missed tap only where a limit was not to be expected.
    short = np.where(state.above, 1.0, -1.0) * (state.signal - state.hum - state.predicted)
    rest[(state.clipped & (short < 2.5 * state.sigma))[:, : state.payload]] = np.nan
    # What is left is put on the even grid: between readings the residual is small, the signal is not.
    known = np.isfinite(rest)
    grid = np.arange(0.0, state.span, 1.0 / state.rate)
    filled = np.where(known, rest, 0.0)
    share = np.maximum(running_mean(known.astype(float), width), 1e-3)
    filled = np.where(known, filled - running_mean(filled, width) / share, 0.0)
    rest = np.column_stack([np.interp(grid, time, filled[:, c]) for c in range(state.payload)])
    waves, told = _matched(rest, poles, state.rate)
    inverse = np.linalg.pinv(waves.T @ waves, rcond=1e-8, hermitian=True)
    score = np.einsum("tic,ij,tjc->t", told, inverse, told)
    least = max(worth(2.0 * poles.size * state.payload, 6.0), 0.002 * solution.loudest)
    score[np.interp(grid, time, beside.astype(float)) > 0.5] = 0.0
    found: list[float] = []
    while len(found) < 20:
        i = int(np.argmax(score))
        if score[i] < least:
            break
        found.append(float(grid[i]))
        score[np.abs(grid - grid[i]) < max(cycle, 1.5 / float(np.min(-poles.real)))] = 0.0
    if not found or state.taps.size + len(found) > 80:
        return False
    lead = 0.25 * np.pi / float(np.max(poles.imag))
    taps = np.append(state.taps, found)
    starts = np.append(state.starts, np.array(found) + lead)
    order = np.argsort(taps)
    state.taps, state.starts = taps[order], starts[order]
    return True


def drop_false_taps(state: State, solution: Solution) -> bool:
    """Join stretches whose second begins without a tap: a beat looked like one."""
    blocks, poles, dropped, k = solution.blocks, solution.poles, False, 0
    while k < state.taps.size and state.taps.size > 1:
        mine = blocks.after(k)
        if not mine:
            k += 1
            continue
        free = 2.0 * poles.size * mine.columns
        apart = mine.at(poles).cost
        gain, need = mine.energy - apart, worth(free, 2.0)
        # Only while the decay before still sounds can a beat of it look like a tap.
        near = k > 0 and state.starts[k] - state.starts[k - 1] < 4.0 / float(np.min(-poles.real))
        before = blocks.after(k - 1)
        if gain > need and near and before:
            both = before.at(poles).cost + apart - before.expected - mine.expected
            until = state.starts[k] + max(float(b.time[-1]) for b in mine) - state.starts[k - 1]
            joined = stretches(state, poles, only=k - 1, until=until)
            if joined:
                free += sum(b.slow.shape[1] * b.signal.shape[1] for b in mine)
                gain = min(gain, joined.at(poles).cost - joined.expected - both)
                need = worth(free, 4.0)
        if gain > need:
            k += 1
            continue
        state.taps, state.starts = np.delete(state.taps, k), np.delete(state.starts, k)
        blocks = stretches(state, poles)
        dropped = True
    return dropped


def worth(free: float, chance: float = 13.8) -> float:
    """What the sum of squares falls by at most, by noise alone, when ``free`` values are added: one in a million.

    Bound of Laurent and Massart (2000) on the tail of chi-squared (from memory).
    """
    return float(free + 2.0 * np.sqrt(free * chance) + 2.0 * chance)


def running_mean(x: Array, width: int) -> Array:
    """Centred running mean along the first axis, shorter at the ends."""
    half = width // 2
    total = np.concatenate([np.zeros((1, x.shape[1])), np.cumsum(x, axis=0)])
    i = np.arange(x.shape[0])
    low, high = np.maximum(i - half, 0), np.minimum(i + half + 1, x.shape[0])
    mean: Array = (total[high] - total[low]) / (high - low)[:, None]
    return mean
