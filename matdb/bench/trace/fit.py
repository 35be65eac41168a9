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
from copy import copy
from dataclasses import replace

import numpy as np

from matdb.arrays import Array, Complex
from matdb.bench.trace.modes import LEAST_DAMPING, MOST_DAMPING, Solution, Stretches, pole_grid
from matdb.bench.trace.record import AmplitudeDependence, Refused, Trace, TraceFit, TraceMode
from matdb.bench.trace.state import State, find_hum, predict, refuse_hopeless, stretches, update_noise_and_hum
from matdb.bench.trace.taps import add_missed_taps, drop_false_taps, first_mode, refine_starts, worth

#: Mains frequencies whose hum is looked for, Hz, and the most modes that are separated.
MAINS_HZ, MOST_MODES = (50.0, 60.0), 3
#: A frequency or a decrement less certain than this is flagged: 1 % and 10 % at three deviations.
FREQUENCY_LIMIT, DECREMENT_LIMIT = 0.0033, 0.033
#: Refused: nothing worth logging.
FREQUENCY_REFUSED, DECREMENT_REFUSED = 0.05, 0.35
#: Where what hangs on rubber may ring, Hz, and its least damping ratio (common practice, no source).
PLAUSIBLE_HZ, PLAUSIBLE_DAMPING = (2.0, 250.0), 0.01
#: What was foretold may be off by this factor; a mode is another's rival from this share of the energy, up to this
#: many times its frequency; ratios of modes agree within this much.
SLACK, RIVAL, APART, ALIKE = 1.25, 0.003, 3.0, 0.12
#: Residual of this share of the energy is too small to matter.
SMALL = 1e-3


def fit_trace(
    trace: Trace,
    *,
    frequency_range_hz: tuple[float, float] | None = None,
    foretold_hz: tuple[float, float] | None = None,
    beside: Sequence[float] = (),
) -> TraceFit:
    """Find the taps and fit the modes that ring after them, three at most.

    Parameters
    ----------
    trace : Trace
        The record.
    frequency_range_hz : (float, float), optional
        Where the modes lie, Hz; from 2 Hz (or two cycles a record) to 0.45 of the sampling rate. A range above that
        says that the record shows their alias.
    foretold_hz : (float, float), optional
        Between what frequencies the part is expected to ring: tells modes apart, and a mode from its alias.
    beside : sequence of float
        What else rings in the fixture: frequencies of its other modes over that of the part's.

    Returns
    -------
    TraceFit
        Modes with uncertainty, taps, flags; ``verdict`` is "refused" when nothing can be said, "asked" when it is
        open which mode is the part's, or whether it is an alias.

    Raises
    ------
    InputError
        A range that cannot be.

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
    above = frequency_range_hz is not None and frequency_range_hz[1] > 0.5 * trace.rate_hz
    state = State(trace, None if above else frequency_range_hz, MAINS_HZ)
    told = foretold_hz and (foretold_hz[0] / SLACK, foretold_hz[1] * SLACK)
    try:
        refuse_hopeless(state)
        find_hum(state)
        state, solution = _all_modes(state, first_mode(state))
        return _asked(_report(state, solution), frequency_range_hz, told, beside)
    except Refused as why:
        return _fit_of(state, [str(why)])


def _fit_of(
    state: State,
    reasons: Sequence[str],
    modes: Sequence[TraceMode] = (),
    dependence: AmplitudeDependence | None = None,
    fixed: TraceMode | None = None,
    fitted: Array | None = None,
) -> TraceFit:
    return TraceFit(
        "refused" if not modes else "flagged" if reasons else "good", tuple(dict.fromkeys(reasons)), tuple(modes),
        state.taps + state.trace.time_s[0] if state.taps.size else state.taps,
        state.sigma[: state.payload], state.hum_hz, state.hum_amplitude,
        float(np.mean(state.clipped)) if state.clipped.size else 0.0, state.rate,
        np.full(state.trace.signal.shape, np.nan) if fitted is None else fitted, dependence, fixed, state.trace,
    )  # fmt: skip


def _asked(
    fit: TraceFit, where: tuple[float, float] | None, told: tuple[float, float] | None, beside: Sequence[float]
) -> TraceFit:
    """The fit with each mode at the one frequency that may be, and the part's mode chosen; or what has to be told."""
    questions: list[str] = []
    modes = [_unfolded(mode, fit.rate_hz, where, told) for mode in fit.modes]
    hz = [mode.frequency_hz for mode in modes]
    rivals = [i for i, m in enumerate(modes) if m.share >= RIVAL and 1.0 / APART < hz[i] / hz[0] < APART]

    def may_be(i: int) -> bool:
        others = [hz[k] / hz[i] for k in rivals if k != i]
        fits = all(any(abs(np.log(ratio / each)) < ALIKE for each in beside) for ratio in others)
        return (told is None or told[0] <= hz[i] <= told[1]) and (not len(beside) or fits)

    likely = [i for i in rivals if may_be(i)] if told or len(beside) else rivals
    chosen = rivals[0] if len(rivals) == 1 else likely[0] if len(likely) == 1 else None
    if chosen is None:
        each = ", ".join(f"{i + 1} with {hz[i]:.3g} Hz" for i in rivals)
        questions.append(f"{len(rivals)} modes ring, such as bounce and rocking; tell by --mode which it is: {each}")
    main = modes[chosen or 0]
    if main.aliases_hz:
        others = " or ".join(f"{each:.3g}" for each in main.aliases_hz)
        questions.append(
            f"{fit.rate_hz:.4g} readings a second show {others} Hz as {main.frequency_hz:.3g} Hz too; tell by --within "
            f"where it lies, or record with {2.0 * PLAUSIBLE_HZ[1]:.0f} a second"
        )
    more = [text for text in main.flags if text not in fit.reasons]
    verdict = "asked" if questions else "flagged" if more else fit.verdict
    reasons, as_read = (*questions, *more, *fit.reasons), modes[0].frequency_hz == fit.modes[0].frequency_hz
    fixed = fit.fixed_base if as_read else None
    return replace(fit, verdict=verdict, reasons=reasons, modes=tuple(modes), chosen=chosen, fixed_base=fixed)


def _unfolded(
    mode: TraceMode, rate_hz: float, where: tuple[float, float] | None, told: tuple[float, float] | None
) -> TraceMode:
    """A mode at the only one of its aliases that lies where it is told to, or with those it may be instead.

    What is foretold alone excludes aliases, but moves no mode: the part may be softer than expected.
    """
    hz = mode.frequency_hz
    span = where or (told if told and told[0] <= hz <= told[1] else None)
    low, high = span or PLAUSIBLE_HZ
    folds = [abs(k * rate_hz + sign * hz) for k in (1, 2, 3) for sign in (-1, 1)]
    # The decay a second is the same, so the damping ratio falls as the frequency rises.
    least = 0.0 if span else PLAUSIBLE_DAMPING
    others = tuple(f for f in folds if low <= f <= high and mode.damping_ratio * hz / f >= least)
    if where and not low <= hz <= high and len(others) == 1:
        (f,) = others
        flag = f"an alias: {hz:.4g} Hz in the record stands for {f:.4g} Hz, where it is told to lie"
        decrement = {name: getattr(mode, name) * hz / f for name in ("log_decrement", "log_decrement_sd")}
        return replace(mode, frequency_hz=f, flags=(*mode.flags, flag), **decrement)
    if where and not low <= hz <= high and not others:
        return _unfolded(mode, rate_hz, None, told)
    return replace(mode, aliases_hz=others)


def _all_modes(state: State, poles: Complex) -> tuple[State, Solution]:
    """All modes that the record shows, with the starts, the noise and the hum refined."""
    solution = _refit(state, poles)
    for turn in range(2):
        for _ in range(2 - turn):
            refine_starts(state, solution)
            solution = _settle(state, _refit(state, solution.poles))
        while solution.poles.size < MOST_MODES and state.promise > 0.5 and state.moving is None:
            more = _one_more(state, solution)
            if more is None:
                break
            before = copy(state)
            found = _settle(state, _unless_hum(state, more))
            refine_starts(state, found)
            found = _refit(state, found.poles)
            if _damped(found.poles) and _within(state, found.poles):
                solution = found
            else:
                # What looked like a mode was something else that no longer does.
                state, before.looks = before, state.looks
                share = found.energies(state.payload)
                state.odd, state.promise = bool(share.min() > SMALL * share.sum()), 0.0
        added = state.moving is None and add_missed_taps(state, solution)
        if added:
            solution = _refit(state, solution.poles)
            refine_starts(state, solution)
            solution = _refit(state, solution.poles)
        if drop_false_taps(state, solution) or added:
            solution = _settle(state, _refit(state, solution.poles))
            state.promise = 1.0
    return state, solution


def _refit(state: State, poles: Complex) -> Solution:
    """The fit to the stretches as they are described now."""
    return stretches(state, poles).solve(poles)


def _unless_hum(state: State, solution: Solution) -> Solution:
    """What was taken for hum may have been a mode: look again with the mode in."""
    hz = solution.poles.imag / (2.0 * np.pi)
    if not state.hum_hz or not np.any(np.abs(hz - state.hum_hz) < 2.0 - solution.poles.real / np.pi):
        return solution
    found = state.hum, state.hum_hz
    state.hum, state.hum_hz, state.looks = np.zeros_like(state.signal), 0.0, 0
    bare = _refit(state, solution.poles)
    if np.all(-bare.poles.real > 0.006 * bare.poles.imag):
        return bare
    state.hum, state.hum_hz = found
    return solution


def _damped(poles: Complex) -> bool:
    """Whether all damping ratios lie within those that are searched, not at their edge."""
    ratio = -poles.real / poles.imag
    return bool(np.all((ratio > 1.05 * LEAST_DAMPING) & (ratio < 0.98 * MOST_DAMPING)))


def _within(state: State, poles: Complex) -> bool:
    """Whether all poles lie within the band."""
    hz = poles.imag / (2.0 * np.pi)
    return bool(np.all((hz >= state.band[0]) & (hz <= state.band[1])))


def _settle(state: State, solution: Solution) -> Solution:
    """Noise, hum and readings at the limit brought up to date with a solution, and the fit repeated."""
    update_noise_and_hum(state, solution)
    predict(state, solution)
    found = _refit(state, solution.poles)
    for _ in range(3 if np.any(state.clipped) else 0):
        moved = found.poles - solution.poles
        step = np.column_stack([-moved.real, moved.imag]).ravel()
        if step @ found.information @ step < 0.02:
            break
        solution = found
        predict(state, solution)
        found = _refit(state, solution.poles)
    return found


def _one_more(state: State, solution: Solution) -> Solution | None:
    """The solution with one mode more, when it is significant."""
    known, state.odd = solution.poles, False
    hz = known.imag / (2.0 * np.pi)
    low, high = max(state.band[0], 0.3 * float(hz.min())), min(state.band[1], 3.0 * float(hz.max()))
    wide = stretches(state, np.append(known, complex(known.real.max(), 2 * np.pi * min(high, 1.5 * float(hz.max())))))
    if not wide:
        return None
    base = wide.solve(known)
    grid = pole_grid(low, high)
    gain = wide.gain(grid, base.poles)
    need_free = 2.0 * wide.columns
    need = _by_noise(2.0 + need_free)
    state.promise = float(gain.max()) / need
    if state.promise < 0.4:
        return None
    # Tried are the likeliest place, the strongest mode split in two, and the likeliest place apart from the first.
    likely, main = grid[np.argsort(-gain)], base.poles[0]
    apart = likely[np.abs(likely - likely[0]) >= 0.06 * np.abs(likely[0])]
    half = 0.5j * max(-2.0 * main.real, 0.05 * main.imag)
    seeds = [np.append(base.poles, likely[0]), np.append(base.poles[1:], [main + half, main - half])]
    seeds += [np.append(base.poles, place) for place in apart[:1]]
    best = min((wide.solve(seed, close=0.02) for seed in seeds), key=lambda found: found.cost)
    fall = (base.cost - best.cost) / (best.cost / max(best.freedom, 1))
    state.promise = fall / need
    if fall < need:
        return None
    best = wide.solve(best.poles)
    # A mode that softens with amplitude looks like two: the account with less information lost holds (Akaike).
    if known.size == 1:
        moving = base.moving(state.payload)
        two = best.cost / max(best.freedom, 1)
        if moving is not None and moving.cost / two < best.cost / two + 2.0 * need_free:
            state.moving, state.promise = moving, 0.0
            return None
    ratio = -best.poles.real / best.poles.imag
    off_mains = np.abs(best.poles.imag[:, None] / 2 / np.pi - np.array(state.mains))
    if np.any((ratio < 0.004) & (off_mains.min(axis=1) < 1)):
        # A remainder of hum, not a mode.
        state.looks = 0
        return None
    heavy = np.any(ratio >= 0.35) and np.max(-known.real / known.imag) < 0.3
    if heavy or not _damped(best.poles):
        state.odd = bool(base.cost - best.cost > SMALL * (wide.energy - base.cost))
        return None
    if not _within(state, best.poles):
        return None
    return wide.at(best.poles[np.argsort(-best.energies(state.payload))])


def _by_noise(free: float, chance: float = 3e-5) -> float:
    """What the sum of squares falls by, by noise alone, when ``free`` values are added: exceeded with this chance."""
    from scipy.special import chdtri

    return float(chdtri(free, chance))


def _report(state: State, solution: Solution) -> TraceFit:
    """Figures with uncertainty, flags and refusals from the modes found."""
    energy = solution.energies(state.payload)
    order = np.argsort(-energy)
    solution, energy = solution.blocks.solve(solution.poles[order], steps=6), energy[order]
    modes, covariances = [], []
    for m, pole in enumerate(solution.poles):
        covariance = solution.covariance[2 * m : 2 * m + 2, 2 * m : 2 * m + 2] * _colour(state, solution, m)
        amplitude = np.abs(_amplitudes(state, solution, m)[:, : state.payload])
        mode = TraceMode(*_figures(pole, covariance), amplitude, float(energy[m] / max(energy.sum(), 1e-300)))
        modes.append(replace(mode, flags=tuple(_flags(state, mode, pole, solution.blocks))))
        covariances.append(covariance)
    main = modes[0]
    hz, hz_sd, decrement, decrement_sd = _figures(solution.poles[0], covariances[0])
    if decrement < 0.006:
        raise Refused(f"steady vibration at {hz:.3g} Hz, not a decay after a tap")
    if hz_sd > FREQUENCY_REFUSED * hz or decrement_sd > DECREMENT_REFUSED * decrement:
        raise Refused(
            f"frequency {hz:.3g} Hz +- {hz_sd:.2g}, decrement {decrement:.2g} +- {decrement_sd:.2g}: too uncertain to "
            "log; tap harder, more often"
        )
    reasons = list(main.flags)
    if state.odd:
        reasons.append("the record holds something that is neither a decay, drift nor hum")
    dependence = _early_and_late(state, solution, main)
    if dependence is not None and dependence.significant:
        e = dependence
        if abs(e.early_hz / e.late_hz - 1.0) > 0.01 or abs(e.early_decrement / e.late_decrement - 1.0) > 0.1:
            reasons.append(
                f"the mode changes with amplitude: {e.early_hz:.4g} Hz and decrement {e.early_decrement:.3g} at first, "
                f"{e.late_hz:.4g} Hz and {e.late_decrement:.3g} later; the fit is in between"
            )
        # Figures in between stand for all amplitudes of the record only with this much doubt.
        hz_sd = float(np.hypot(hz_sd, 0.5 * (e.early_hz - e.late_hz)))
        decrement_sd = float(np.hypot(decrement_sd, 0.5 * (e.early_decrement - e.late_decrement)))
        modes[0] = main = replace(main, frequency_sd_hz=hz_sd, log_decrement_sd=decrement_sd)
    reasons += _misfit(solution)
    fixed, line = _fixed_base(state, solution, covariances[0], main)
    reasons += [line] if line else []
    return _fit_of(state, reasons, modes, dependence, fixed, _fitted(state, solution))


def _amplitudes(state: State, solution: Solution, m: int) -> Complex:
    """Complex amplitude of a mode after each tap on each channel, in the signal's unit; NaN where none is fitted."""
    found = np.full((state.taps.size, state.signal.shape[1]), np.nan, dtype=complex)
    for b, a, _ in solution.pieces:
        found[b.tap, list(b.channels)] = a[m] * state.sigma[list(b.channels)] / np.sqrt(b.thin)
    return found


def _figures(pole: complex, covariance: Array) -> tuple[float, float, float, float]:
    """Frequency and decrement of a pole with their standard deviations, from the covariance of (alpha, omega)."""
    alpha, omega = -pole.real, pole.imag
    slope = 2.0 * np.pi * np.array([1.0 / omega, -alpha / omega**2])
    decrement_sd = float(np.sqrt(max(float(slope @ covariance @ slope), 0.0)))
    hz_sd = float(np.sqrt(covariance[1, 1]) / (2.0 * np.pi))
    return float(omega / (2.0 * np.pi)), hz_sd, float(2.0 * np.pi * alpha / omega), decrement_sd


def _flags(state: State, mode: TraceMode, pole: complex, blocks: Stretches) -> list[str]:
    f, ratio = mode.frequency_hz, -pole.real / pole.imag
    doubt, decrement_doubt = mode.frequency_sd_hz / f, mode.log_decrement_sd / mode.log_decrement
    cycles = max((float(b.time[-1]) for b in blocks), default=0.0) * f
    at_edge = ratio > 0.9 * MOST_DAMPING or ratio < 1.5 * LEAST_DAMPING
    flags = {
        f"frequency is known to {100 * doubt:.1f} % only; more taps help": doubt > FREQUENCY_LIMIT,
        f"decrement is known to {100 * decrement_doubt:.0f} % only; more taps help": decrement_doubt > DECREMENT_LIMIT,
        f"damping ratio {mode.damping_ratio:.2g} is at the edge of what is searched": at_edge,
        f"only {cycles:.1f} cycles to fit": cycles < 3.0,
    }
    return [text for text, holds in flags.items() if holds]


def _colour(state: State, solution: Solution, m: int) -> float:
    """Residual power density near a mode over that elsewhere, at least 1: widens its covariance."""
    pole = solution.poles[m]
    near, far = np.empty(0), np.empty(0)
    for b, _, rest in solution.pieces:
        if b.time.size < 16:
            continue
        hz = np.fft.rfftfreq(b.time.size, float(np.median(np.diff(b.time))))
        power = np.mean(np.abs(np.fft.rfft(rest, axis=0)) ** 2, axis=1)
        f, width = pole.imag / 2 / np.pi, max(-pole.real / np.pi, 2.0 * hz[1])
        beside = (np.abs(hz - f) > 0.5 * width) & (np.abs(hz - f) < 2.5 * width) & (hz > state.band[0])
        near = np.append(near, power[beside])
        far = np.append(far, power[(np.abs(hz - f) >= 2.5 * width) & (hz > state.band[0])])
    if len(near) < 6 or len(far) < 6:
        return 1.0
    ratio = float(np.mean(near) / np.mean(far))
    return ratio if ratio > 1.0 + 2.5 / np.sqrt(len(near)) else 1.0


def _misfit(solution: Solution) -> list[str]:
    """Lines about stretches that the modes do not describe."""
    per_tap: dict[int, list[float]] = {}
    for b, _, rest in solution.pieces:
        used = b.slow.shape[1] + 2 * solution.poles.size
        if b.count > used + 8:
            per_tap.setdefault(b.tap, []).append(float(np.sum(rest**2)) / (rest.shape[1] * (b.count - used)))
    values = {k + 1: float(np.mean(v)) for k, v in per_tap.items()}
    usual = float(np.median(list(values.values()))) if values else 0.0
    odd = ", ".join(str(k) for k, v in values.items() if v > 4.0 * usual)
    return [f"the decay after tap {odd} is not like the others; look at the picture"] if odd else []


def _fixed_base(state: State, solution: Solution, covariance: Array, main: TraceMode) -> tuple[TraceMode | None, str]:
    """The first mode as if the base stood still, from the base's share of the motion.

    m s^2 X = -K(s) (X - Y) gives K/m = -s^2 / (1 - Y/X); with K = k + c s the pole on a fixed base follows.
    """
    if state.trace.base is None:
        return None, ""
    amplitude = np.nan_to_num(_amplitudes(state, solution, 0))
    x, y = amplitude[:, : state.payload], amplitude[:, state.payload :]
    power = float(np.sum(np.abs(x) ** 2))
    ratio = complex(np.sum(np.conj(x) * y) / power)
    pole = complex(solution.poles[0])
    readings = max(state.rate / (-4.0 * pole.real), 1.0)
    sd = float(np.max(state.sigma[state.payload :])) / np.sqrt(power * readings)
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
    figures_sd = (float(f), float(spread[0]), float(decrement), float(spread[1]))
    fixed = TraceMode(*figures_sd, main.amplitude, main.share, main.flags)
    line = (
        f"the base moves by {100 * abs(ratio):.0f} % of the payload; on a fixed base the mode has {f:.4g} Hz and "
        f"decrement {decrement:.3g}"
    )
    return fixed, line


def _early_and_late(state: State, solution: Solution, main: TraceMode) -> AmplitudeDependence | None:
    """The first mode at large and at small amplitude, from a pole that moves with the amplitude."""
    moving = state.moving or solution.moving(state.payload)
    if moving is None:
        return None
    parts = []
    for share in (0.8, 0.1):
        to_s = np.array([[1.0, 0.0, share, 0.0], [0.0, 1.0, 0.0, share]])
        parts.append(_figures(moving.pole + share * moving.shift, to_s @ moving.covariance @ to_s.T))
    early, late = parts
    largest = float(np.max(np.nan_to_num(main.amplitude)))
    significant = solution.cost - moving.cost > worth(2.0, 8.0) * moving.cost / max(moving.freedom, 1)
    return AmplitudeDependence(
        *early[:2], *late[:2], *early[2:], *late[2:], 0.8 * largest, 0.1 * largest, bool(significant)
    )


def _fitted(state: State, solution: Solution) -> Array:
    out = np.full(state.trace.signal.shape, np.nan)
    for b, a, _ in solution.pieces:
        start = state.starts[b.tap]
        rows = np.flatnonzero((state.time >= start) & (state.time <= start + b.time[-1]))
        told = b.along(state.time[rows] - start, a, solution.poles)
        for c, each in zip(b.channels, told.T, strict=True):
            if c < state.payload:
                out[rows, c] = each * state.sigma[c] + state.hum[rows, c] + state.offset[c]
    return out
