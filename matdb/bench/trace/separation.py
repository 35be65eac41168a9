"""How many modes a trace holds: modes and taps added while they are worth it, false taps dropped."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from matdb.bench.trace.modes import (
    LEAST_DAMPING,
    MOST_DAMPING,
    Solution,
    columns_of,
    evaluate,
    grid_gain,
    mode_energies,
    pole_grid,
    solve,
    solve_moving,
)
from matdb.bench.trace.state import State, predict, stretches, update_noise_and_hum
from matdb.bench.trace.taps import add_missed_taps, drop_false_taps, refine_starts

Array = NDArray[np.float64]
Poles = NDArray[np.complex128]


def all_modes(state: State, poles: Poles, most: int) -> tuple[State, Solution]:
    """All modes that the record shows, with the starts, the noise and the hum refined."""
    solution = refit(state, poles)
    for turn in range(2):
        for _ in range(2 - turn):
            refine_starts(state, solution)
            solution = settle(state, refit(state, solution.poles))
        while solution.poles.size < most and state.promise > 0.5 and state.moving is None:
            more = one_more(state, solution)
            if more is None:
                break
            before = replace(state)
            found = settle(state, unless_hum(state, more))
            refine_starts(state, found)
            found = refit(state, found.poles)
            if sound(state, found.poles):
                solution = found
            else:
                # What looked like a mode was something else that no longer does.
                state = replace(before, looks=state.looks, odd=True, promise=0.0)
        added = state.moving is None and add_missed_taps(state, solution)
        if added:
            solution = refit(state, solution.poles)
            refine_starts(state, solution)
            solution = refit(state, solution.poles)
        if drop_false_taps(state, solution) or added:
            solution = settle(state, refit(state, solution.poles))
            state.promise = 1.0
    return state, solution


def refit(state: State, poles: Poles) -> Solution:
    """The fit to the stretches as they are described now."""
    return solve(stretches(state, poles), poles)


def unless_hum(state: State, solution: Solution) -> Solution:
    """What was taken for hum may have been a mode: look again with the mode in."""
    hz = solution.poles.imag / (2.0 * np.pi)
    if not state.hum_hz or not np.any(np.abs(hz - state.hum_hz) < 2.0 - solution.poles.real / np.pi):
        return solution
    found = state.hum, state.hum_hz
    state.hum, state.hum_hz, state.looks = np.zeros_like(state.signal), 0.0, 0
    bare = refit(state, solution.poles)
    if np.all(-bare.poles.real > 0.006 * bare.poles.imag):
        return bare
    state.hum, state.hum_hz = found
    return solution


def sound(state: State, poles: Poles) -> bool:
    """Whether all poles lie within the band and the damping ratios that are searched."""
    return damped(poles) and within(state, poles)


def damped(poles: Poles) -> bool:
    """Whether all damping ratios lie within those that are searched, not at their edge."""
    ratio = -poles.real / poles.imag
    return bool(np.all((ratio > 1.05 * LEAST_DAMPING) & (ratio < 0.98 * MOST_DAMPING)))


def within(state: State, poles: Poles) -> bool:
    """Whether all poles lie within the band."""
    hz = poles.imag / (2.0 * np.pi)
    return bool(np.all((hz >= state.band[0]) & (hz <= state.band[1])))


def settle(state: State, solution: Solution) -> Solution:
    """Noise, hum and readings at the limit brought up to date with a solution, and the fit repeated."""
    update_noise_and_hum(state, solution)
    predict(state, solution)
    found = refit(state, solution.poles)
    for _ in range(3 if np.any(state.clipped) else 0):
        moved = found.poles - solution.poles
        step = np.column_stack([-moved.real, moved.imag]).ravel()
        if step @ found.information @ step < 0.02:
            break
        solution = found
        predict(state, solution)
        found = refit(state, solution.poles)
    return found


def one_more(state: State, solution: Solution) -> Solution | None:
    """The solution with one mode more, when it is significant."""
    known, state.odd = solution.poles, False
    hz = known.imag / (2.0 * np.pi)
    low, high = max(state.band[0], 0.3 * float(hz.min())), min(state.band[1], 3.0 * float(hz.max()))
    wide = stretches(state, np.append(known, complex(known.real.max(), 2 * np.pi * min(high, 1.5 * float(hz.max())))))
    if not wide:
        return None
    base = solve(wide, known)
    grid = pole_grid(low, high)
    gain = grid_gain(wide, grid, base.poles)
    need_free = 2.0 * columns_of(wide)
    need = by_noise(2.0 + need_free)
    state.promise = float(gain.max()) / need
    if state.promise < 0.4:
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
            seeds.append(np.append(base.poles[1:], [main + 0.5j * width, main - 0.5j * width]))
        for seed in seeds:
            found = solve(wide, seed, close=0.02)
            if best is None or found.cost < best.cost:
                best = found
        if len(tried) >= 2:
            break
    if best is None:
        return None
    fall = (base.cost - best.cost) / (best.cost / max(best.freedom, 1))
    state.promise = fall / need
    if fall < need:
        return None
    best = solve(wide, best.poles)
    # A mode that softens with amplitude looks like two: the account with less information lost holds (Akaike).
    if known.size == 1:
        moving = solve_moving(base, state.payload)
        two = best.cost / max(best.freedom, 1)
        if moving is not None and moving.cost / two < best.cost / two + 2.0 * need_free:
            state.moving, state.promise = moving, 0.0
            return None
    ratio = -best.poles.real / best.poles.imag
    steady = (ratio < 0.004) & (
        np.min(np.abs(best.poles.imag[:, None] / 2 / np.pi - np.array(state.mains)), axis=1) < 1
    )
    if np.any(steady):
        # A remainder of hum, not a mode.
        state.looks = 0
        return None
    heavy = np.any(ratio >= 0.35) and np.max(-known.real / known.imag) < 0.3
    if heavy or not damped(best.poles):
        state.odd = True
        return None
    if not within(state, best.poles):
        return None
    return evaluate(wide, best.poles[np.argsort(-mode_energies(best, state.payload))])[0]


def by_noise(free: float, chance: float = 3e-5) -> float:
    """What the sum of squares falls by, by noise alone, when ``free`` values are added: exceeded with this chance."""
    from scipy.special import chdtri

    return float(chdtri(free, chance))
