"""How many modes a trace holds: modes and taps added while they are worth it, false taps dropped."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from matdb.bench.modes import (
    LEAST_DAMPING,
    MOST_DAMPING,
    Block,
    Solution,
    basis,
    evaluate,
    grid_gain,
    pole_grid,
    solve,
    solve_moving,
)
from matdb.bench.trace_stretches import Stretches, running_mean, stacked

__all__ = ["Separation", "mode_energies", "reordered", "worth"]

Array = NDArray[np.float64]
Poles = NDArray[np.complex128]


class Separation(Stretches):
    """The stretches of a record and the modes in them."""

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
                before = solution, blocks, self.state()
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
                self.refine_starts(solution, blocks)
                blocks = self.blocks(solution.poles)
                solution = solve(blocks, solution.poles)
                if not self.sound(solution.poles):
                    # What looked like a mode was something else that no longer does.
                    solution, blocks, state = before
                    self.restore(state)
                    self.odd, self.promise = True, 0.0
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

    def state(self) -> tuple[Array, Array, float, float, Array, Array]:
        """What a further mode changes of the record's description."""
        return self.sigma, self.hum, self.hum_hz, self.hum_amplitude, self.starts, self.predicted

    def restore(self, state: tuple[Array, Array, float, float, Array, Array]) -> None:
        """Back to an earlier description."""
        self.sigma, self.hum, self.hum_hz, self.hum_amplitude, self.starts, self.predicted = state

    def sound(self, poles: Poles) -> bool:
        """Whether all poles lie within the band and the damping ratios that are searched."""
        ratio, omega = -poles.real / poles.imag, poles.imag
        damped = np.all(ratio > 1.05 * LEAST_DAMPING) and np.all(ratio < 0.98 * MOST_DAMPING)
        return bool(damped and np.all(omega >= 2 * np.pi * self.band[0]) and np.all(omega <= 2 * np.pi * self.band[1]))

    def settle(self, solution: Solution, blocks: Sequence[Block]) -> tuple[Solution, list[Block]]:
        """Noise, hum and readings at the limit brought up to date with a solution, and the fit repeated."""
        self.update_noise_and_hum(solution, blocks)
        self.predict(solution, blocks)
        fresh = self.blocks(solution.poles)
        found = solve(fresh, solution.poles)
        for _ in range(3 if np.any(self.clipped) else 0):
            moved = found.poles - solution.poles
            step = np.column_stack([-moved.real, moved.imag]).ravel()
            if step @ found.information @ step < 0.02:
                break
            solution = found
            self.predict(solution, fresh)
            fresh = self.blocks(solution.poles)
            found = solve(fresh, solution.poles)
        return found, fresh

    def one_more(self, solution: Solution, blocks: Sequence[Block]) -> tuple[Solution, list[Block]] | None:
        """The solution with one mode more, when it is significant."""
        known, self.odd = solution.poles, False
        hz = known.imag / (2.0 * np.pi)
        low, high = max(self.band[0], 0.3 * float(hz.min())), min(self.band[1], 3.0 * float(hz.max()))
        wide = self.blocks(np.append(known, complex(known.real.max(), 2 * np.pi * min(high, 1.5 * float(hz.max())))))
        if not wide:
            return None
        base = solve(wide, known)
        grid = pole_grid(low, high)
        gain = grid_gain(wide, grid, base.poles)
        need_free = 2.0 * sum(b.signal.shape[1] for b in wide)
        need = by_noise(2.0 + need_free)
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
        # A mode that softens with amplitude looks like two: the account with less information lost holds (Akaike).
        if known.size == 1:
            moving = solve_moving(wide, base.poles, self.payload)
            two = best.cost / max(best.freedom, 1)
            if moving is not None and moving.cost / two < best.cost / two + 2.0 * need_free:
                self.moving, self.promise = moving, 0.0
                return None
        ratio = -best.poles.real / best.poles.imag
        steady = (ratio < 0.004) & (
            np.min(np.abs(best.poles.imag[:, None] / 2 / np.pi - np.array(self.mains)), axis=1) < 1
        )
        if np.any(steady):
            # A remainder of hum, not a mode.
            self.looks = 0
            return None
        omega = best.poles.imag
        heavy = np.any(ratio >= 0.35) and np.max(-known.real / known.imag) < 0.3
        if heavy or np.any(ratio <= 1.05 * LEAST_DAMPING) or np.any(ratio >= 0.98 * MOST_DAMPING):
            self.odd = True
            return None
        if np.any(omega < 2 * np.pi * self.band[0]) or np.any(omega > 2 * np.pi * self.band[1]):
            return None
        order = np.argsort([-e for e in mode_energies(best, self.payload, wide)])
        return reordered(best, order), wide

    def add_missed_taps(self, solution: Solution, blocks: Sequence[Block]) -> bool:
        """Add taps where the residual of the whole record holds a decay of the known modes."""
        poles, time = solution.poles, self.time
        width = max(round(self.rate * 4.0 * np.pi / float(np.min(poles.imag))), 3)
        cycle = 2.0 * np.pi / float(np.min(poles.imag))
        rest = ((self.signal - self.hum) / self.sigma)[:, : self.payload]
        beside = np.zeros(time.size, dtype=bool)
        for k, start in enumerate(self.starts):
            end = self.starts[k + 1] if k + 1 < self.starts.size else np.inf
            rows = np.flatnonzero((time >= start) & (time < end))
            for b, a in zip(blocks, solution.amplitudes, strict=True):
                for i, c in enumerate(b.channels):
                    if b.tap == k and c < self.payload:
                        wave = basis(time[rows] - start, poles) @ stacked(a[:, i : i + 1])
                        rest[rows, c] -= wave[:, 0] / np.sqrt(b.thin)
            # Around a known tap its own uncertain beginning is all that there is to find.
            beside[(time > min(self.taps[k], start) - cycle) & (time < max(self.taps[k], start) + 0.25 * cycle)] = True
        rest[beside] = np.nan
        # A reading at the limit tells of a missed tap only where a limit was not to be expected.
        short = np.where(self.above, 1.0, -1.0) * (self.signal - self.hum - self.predicted)
        rest[(self.clipped & (short < 2.5 * self.sigma))[:, : self.payload]] = np.nan
        # What is left is put on the even grid: between readings the residual is small, the signal is not.
        known = np.isfinite(rest)
        grid = np.arange(0.0, self.span, 1.0 / self.rate)
        filled = np.where(known, rest, 0.0)
        share = np.maximum(running_mean(known.astype(float), width), 1e-3)
        filled = np.where(known, filled - running_mean(filled, width) / share, 0.0)
        rest = np.column_stack([np.interp(grid, time, filled[:, c]) for c in range(self.payload)])
        reach = min(max(int(4.0 / float(np.min(-poles.real)) * self.rate), 4), grid.size)
        waves = basis(np.arange(reach) / self.rate, poles)
        inverse = np.linalg.pinv(waves.T @ waves, rcond=1e-8, hermitian=True)
        size = 1 << int(np.ceil(np.log2(grid.size + reach)))
        spectra = np.conj(np.fft.rfft(waves, size, axis=0))
        score = np.zeros(grid.size)
        for c in range(self.payload):
            told = np.fft.irfft(np.fft.rfft(rest[:, c], size)[:, None] * spectra, size, axis=0)[: grid.size]
            score += np.einsum("ti,ij,tj->t", told, inverse, told)
        least = max(worth(2.0 * poles.size * self.payload, 6.0), 0.002 * float(np.max(_tap_energies(solution, blocks))))
        score[np.interp(grid, time, beside.astype(float)) > 0.5] = 0.0
        found: list[float] = []
        while len(found) < 20:
            i = int(np.argmax(score))
            if score[i] < least:
                break
            found.append(float(grid[i]))
            score[np.abs(grid - grid[i]) < max(cycle, 1.5 / float(np.min(-poles.real)))] = 0.0
        if not found or self.taps.size + len(found) > 80:
            return False
        lead = 0.25 * np.pi / float(np.max(poles.imag))
        taps = np.append(self.taps, found)
        starts = np.append(self.starts, np.array(found) + lead)
        order = np.argsort(taps)
        self.taps, self.starts = taps[order], starts[order]
        return True

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
            # Only while the decay before still sounds can a beat of it look like a tap.
            near = k > 0 and self.starts[k] - self.starts[k - 1] < 4.0 / float(np.min(-poles.real))
            before = [b for b in blocks if b.tap == k - 1 and near]
            need = worth(free, 2.0)
            if gain > need and before:
                both = (
                    evaluate(before, poles)[0].cost + apart - sum(b.count * b.signal.shape[1] for b in (*before, *mine))
                )
                until = self.starts[k] + max(float(b.time[-1]) for b in mine) - self.starts[k - 1]
                joined = self.blocks(poles, only=k - 1, until=until)
                if joined:
                    free += sum(b.slow.shape[1] * b.signal.shape[1] for b in mine)
                    together = evaluate(joined, poles)[0].cost - sum(b.count * b.signal.shape[1] for b in joined)
                    gain = min(gain, together - both)
                    need = worth(free, 4.0)
            if gain > need:
                k += 1
                continue
            self.taps, self.starts = np.delete(self.taps, k), np.delete(self.starts, k)
            blocks = self.blocks(poles)
            dropped = True
        return dropped


def reordered(solution: Solution, order: NDArray[np.intp]) -> Solution:
    """The solution with its modes in another order."""
    index = np.ravel(np.column_stack([2 * order, 2 * order + 1]))
    return Solution(
        solution.poles[order], solution.cost, solution.freedom, solution.information[np.ix_(index, index)],
        [a[order] for a in solution.amplitudes], solution.residuals,
    )  # fmt: skip


def mode_energies(solution: Solution, payload: int, blocks: Sequence[Block]) -> list[float]:
    """Energy of each mode over all payload channels, in units of the noise."""
    total = np.zeros(solution.poles.size)
    for b, a in zip(blocks, solution.amplitudes, strict=True):
        mine = [i for i, c in enumerate(b.channels) if c < payload]
        total += np.sum(np.abs(a[:, mine]) ** 2, axis=1) / (-4.0 * solution.poles.real)
    return [float(v) for v in total]


def _tap_energies(solution: Solution, blocks: Sequence[Block]) -> list[float]:
    """Energy of the decay after each tap over all modes and channels, in units of the noise."""
    total: dict[int, float] = {}
    for b, a in zip(blocks, solution.amplitudes, strict=True):
        wave = b.waves(solution.poles) @ stacked(a)
        total[b.tap] = total.get(b.tap, 0.0) + float(np.sum(wave * wave))
    return list(total.values()) or [0.0]


def by_noise(free: float, chance: float = 3e-5) -> float:
    """What the sum of squares falls by, by noise alone, when ``free`` values are added: exceeded with this chance."""
    from scipy.special import chdtri

    return float(chdtri(free, chance))


def worth(free: float, chance: float = 13.8) -> float:
    """What the sum of squares falls by at most, by noise alone, when ``free`` values are added: one in a million.

    Bound of Laurent and Massart (2000) on the tail of chi-squared (from memory).
    """
    return float(free + 2.0 * np.sqrt(free * chance) + 2.0 * chance)
