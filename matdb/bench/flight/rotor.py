"""When a craft flew and how fast its rotors turned: their lines followed through the spectrogram.

Lines stand at whole multiples of the rotor speed (once a turn, and once for each blade passing). A line above half the
sampling rate shows at its distance from the nearest multiple of that rate, and so do its multiples: a speed and its
mirror about half the rate put every line in the same places. They are told apart by the throttle, or by what is known
of the rotors; where they are not, the speed is not told.

References
----------
.. [1] S. Braun (ed.), Encyclopedia of Vibration, Academic Press 2002, "Order tracking" (from memory).
.. [2] G. D. Forney, The Viterbi algorithm, Proc. IEEE 61 (1973) 268 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from matdb.arrays import Array
from matdb.bench.flight.log import FlightLog
from matdb.bench.trace.record import Refused

#: Rotor speeds that are looked for where none are told, turns a second.
ROTOR_HZ: Final = (15.0, 300.0)
#: Length of a spectrum and distance to the next, s; frequencies looked at, Hz: below them the craft manoeuvres.
_FRAME_S, _HOP_S, _BOTTOM_HZ, _TOP_HZ = 0.5, 0.25, 8.0, 1000.0
#: Ratio of a speed to the next; how many of them a rotor gains or loses from one spectrum to the next at most, and
#: where its line is lost otherwise, so far from the path (ln) and from so many spectra before that to as many after.
_STEP, _FASTEST = 0.008, 4
_SUDDEN, _ASTRAY, _AROUND = 12, 0.4, 8
#: What a change of one step costs, in units of a line's mean height over the floor (ln of power).
_CHANGE: Final = 0.1
#: A line that stands less over the floor is not seen; a frame whose lines do has turning rotors.
_SEEN, _TURNING = 0.8, 1.0
#: Heights above this count no more, so that one strong line does not outweigh two; variance of a steady line, bins^2.
_TALL, _LINE_BINS = 4.0, 1.3
#: Where nothing of a line is seen any more, over its frequency.
_BESIDE: Final = (0.88, 1.12)
#: How far a speed in flight lies from the usual one at most (ln).
_NEAR: Final = 0.6
#: A line that stands so far up is seen all but this share of the time.
_STRONG, _AWAY = 3.0, 0.04
#: A line that is not seen for sure stands this far up at most.
_DOUBTED: Final = 0.35
#: A line of which less goes along with the speed may be none.
_STILL: Final = 0.3
#: Lines nearer than this are not told apart, bins.
_APART_BINS: Final = 4.0
#: Rotation below this (root mean square in that band, rad/s) is that on the ground; shorter pauses are flown.
_MOVES_HZ, _MOVING, _PAUSE_S = (0.2, 5.0), math.radians(0.7), 4.0
#: At its ends a flight turns at least this share of what it usually does.
_LIFTED: Final = 0.1
#: Share of the usual rotor speed above which it is in the air, and spectra that are left out beside that.
_AIRBORNE, _MARGIN = 0.7, 12
#: How far lines of rotors that idle stand below those in flight at least (ln of power).
_QUIETER: Final = 2.5
#: Least time in the air, s.
_LEAST_S: Final = 20.0
#: From this share of spectra on in which lines lie on each other, the speed is known to that share only.
_BLIND, _CROSSED = 0.01, 0.025
#: Share of time for which a line may be lost; it is below this share of its usual height over so many spectra.
_LOST, _FAINT, _SECONDS = 0.02, 0.4, 17
#: A line that is that high there, of its usual height, over so many spectra is found elsewhere.
_FOUND, _BRIEF = 0.7, 5
#: Thrust grows with the square of the speed, a throttle's setting with it or its square.
_BY_THRUST, _BY_THROTTLE = (1.2, 3.3), (0.7, 3.3)
#: What remains open of a speed with the clearest lines, as a share (by simulated flights).
_OPEN: Final = 0.008
#: Share of the readings that lie below the lowest and above the highest speed told.
_RARE: Final = 0.01


@dataclass(frozen=True)
class Line:
    """A rotor order: how many times a turn, how far it stands over the floor (ln of power), where, and where it shows.

    Attributes
    ----------
    order : float
        Events a turn.
    height : float
        ln of power over the floor, mean.
    low_hz, high_hz : float
        From the lowest to the highest rotor speed, Hz.
    aliased : bool
        Whether part of it lies above half the sampling rate, and so shows elsewhere.
    """

    order: float
    height: float
    low_hz: float
    high_hz: float
    aliased: bool


@dataclass(frozen=True, eq=False)
class RotorTrack:
    """Rotor speed over a flight.

    Attributes
    ----------
    flew_s : (float, float)
        From take-off to landing, by the log's clock, s.
    time_s, hz : ndarray, shape (k,)
        Times in that flight, and the mean of the rotors there, turns a second.
    sd_hz : float
        Standard deviation of the mean as read, Hz.
    spread_hz : float
        How far single rotors stand from their mean, standard deviation, Hz.
    lines : tuple of Line
        The orders that were looked for.
    reasons : tuple of str
        How ambiguities were settled.
    """

    flew_s: tuple[float, float]
    time_s: Array
    hz: Array
    sd_hz: float
    spread_hz: float
    lines: tuple[Line, ...]
    reasons: tuple[str, ...]

    @property
    def lowest_hz(self) -> float:
        """Lowest speed in flight, but for a hundredth of the time."""
        return float(np.quantile(self.hz, _RARE))

    @property
    def hover_hz(self) -> float:
        """The usual speed: the median."""
        return float(np.median(self.hz))

    @property
    def highest_hz(self) -> float:
        """Highest speed in flight, but for a hundredth of the time."""
        return float(np.quantile(self.hz, 1.0 - _RARE))


@dataclass(frozen=True)
class _Known:
    """Between which speeds the rotors turn, times a second, and whether that was told."""

    low_hz: float
    high_hz: float
    told: bool

    @property
    def cure(self) -> str:
        """What settles a speed that the lines leave open."""
        return "give --rotor a narrower range" if self.told else "give --rotor"

    def allows(self, hz: Array) -> bool:
        """Whether a path of speeds lies there, but for a hundredth of the time at either end."""
        low, high = np.quantile(hz, (_RARE, 1.0 - _RARE))
        return bool(0.98 * self.low_hz <= low and high <= 1.02 * self.high_hz)


@dataclass(frozen=True, eq=False)
class _Spectrogram:
    """ln of power over its floor, shape (frames, bins), and the bins' distance, Hz."""

    time_s: Array
    over: Array
    bin_hz: float
    hz: float

    def at(self, frequency_hz: Array) -> Array:
        """Place of a frequency among the bins, folded where it lies above half the sampling rate."""
        folded = np.abs(frequency_hz - self.hz * np.round(frequency_hz / self.hz))
        return np.asarray(np.minimum(folded / self.bin_hz, self.over.shape[1] - 1.0))

    def height(self, speeds: Array, order: float) -> Array:
        """How far an order's line would stand over the floor at each speed, shape (frames, speeds)."""
        place = self.at(order * speeds)
        low = np.minimum(place.astype(int), self.over.shape[1] - 2)
        share = (place - low).astype(self.over.dtype)
        return np.asarray(self.over[:, low] * (1.0 - share) + self.over[:, low + 1] * share)

    def heights(self, path: Array, order: float) -> Array:
        """How far an order's line stands over the floor along a path, shape (frames,)."""
        return np.asarray(self.over[np.arange(len(path)), np.round(self.at(order * path)).astype(int)])

    def along(self, path: Array, order: float) -> float:
        """How far it stands over what is beside it, mean."""
        beside = [self.heights(path * share, order).mean() for share in _BESIDE]
        return float(self.heights(path, order).mean() - 0.5 * sum(beside))

    def moves(self, path: Array, order: float) -> float:
        """Share of that which goes along with the speed: little for what the frame always swings at."""
        still = [self.along(np.roll(path, k * path.size // 4), order) for k in (1, 2, 3)]
        return 1.0 - sum(still) / 3.0 / self.along(path, order)


def follow_rotors(log: FlightLog, blades: int = 2, within_hz: tuple[float, float] | None = None) -> RotorTrack:
    """When it flew, and the rotor speed over that time.

    Parameters
    ----------
    log : FlightLog
        Of the airframe.
    blades : int
        Blades per rotor.
    within_hz : (float, float), optional
        What is known of the rotor speed, turns a second.

    Raises
    ------
    Refused
        It did not fly, or the lines do not tell the speed.

    Notes
    -----
    The path through the spectrogram of all channels that stands highest over the floor while its speed changes little
    from one spectrum to the next [2]_; in each spectrum the lines' centre. Source: [1]_.
    """
    from scipy import ndimage

    if (lasted := len(log.rate) / log.hz) < _LEAST_S:
        raise Refused(f"it holds {lasted:.0f} s only; a flight of {_LEAST_S:.0f} s or more is needed")
    seen = _spectrogram(log)
    known = _Known(*(within_hz or ROTOR_HZ), within_hz is not None)
    orders, reasons = _orders(blades), tuple[str, ...]()
    if log.rotor_hz is not None:
        path = np.interp(seen.time_s, log.time_s, log.rotor_hz)
        start, end = _flown(log, path > 0.3 * np.nanmax(path), seen.time_s)
    else:
        many = math.ceil(math.log(known.high_hz / known.low_hz) / _STEP) + 1
        speeds = known.low_hz * np.exp(_STEP * np.arange(many))
        score = _score(seen, speeds, orders[:2])
        places = _best_path(score)
        path = speeds[places]
        start, end = _flown(log, score[np.arange(len(score)), places] > _TURNING, seen.time_s)
    air = (seen.time_s >= start) & (seen.time_s <= end)
    seen, path = replace(seen, time_s=seen.time_s[air], over=seen.over[air]), path[air]
    hz, read, spread, blind = path, path, 0.0, 0.0
    if log.rotor_hz is None:
        read, reasons, spread, blind = _by_lines(log, seen, speeds, score[air], blades, known)
        hz = _calm(read)
    # Taking off and landing are left out: below this share of the usual speed half the weight is on the ground.
    loud = ndimage.median_filter(np.mean([seen.heights(hz, order) for order in orders[:2]], axis=0), 9)
    up = np.flatnonzero((hz > _AIRBORNE * np.median(hz)) & (loud > np.median(loud) - _QUIETER))
    in_air = slice(up[0] + _MARGIN, up[-1] + 1 - _MARGIN)
    hz, read = hz[in_air], read[in_air]
    seen = replace(seen, time_s=seen.time_s[in_air], over=seen.over[in_air])
    start, end = seen.time_s[0], seen.time_s[-1]
    lines = tuple(
        Line(order, seen.along(hz, order), order * float(hz.min()), order * float(hz.max()), _folds(hz, order, log.hz))
        for order in orders
    )
    # Unequal lines pull the centre to their own rotor; a spectrum rounds off a throttle that moves within it.
    sd = _OPEN * float(np.median(hz))
    if log.rotor_hz is None:
        noise = 1.4826 * float(np.median(np.abs(read - hz)))
        sd = math.hypot(sd, noise, 0.5 * spread, _rounded_off(read, hz))
    if blind > _BLIND:
        sd = math.hypot(sd, _CROSSED * float(np.median(hz)))
        reasons = (*reasons, "at this rate its rotor lines cross, so the speed is known to a few per cent; log faster")
    return RotorTrack((float(start), float(end)), seen.time_s, hz, sd, spread, lines, reasons)


def _orders(blades: int) -> tuple[float, ...]:
    return tuple(dict.fromkeys((1.0, float(blades), 2.0 * blades)))


def _by_lines(
    log: FlightLog, seen: _Spectrogram, speeds: Array, score: Array, blades: int, known: _Known
) -> tuple[Array, tuple[str, ...], float, float]:
    """The speed in the air by its lines, how ambiguities were settled, and spread and share of blind frames.

    Again without what rotors that idle on the ground draw the path to.
    """
    orders = _orders(blades)
    path = _kept_up(score, speeds)
    once, reasons = _once_a_turn(seen, path, blades, known)
    if once is not path:
        # Lines of another order lead astray where they are not seen: again, near the speed that they tell.
        near = np.abs(np.log(speeds / np.median(once))) < _NEAR
        path = _kept_up(score[:, near], speeds[near])
        once, reasons = _once_a_turn(seen, path, blades, known)
        if once is not path:
            raise Refused(f"its rotor lines do not tell one speed: {known.cure}")
    path, unmirrored = _unmirrored(log, seen, path, known)
    if unmirrored and _once_a_turn(seen, path, blades, known)[0] is not path:
        # A mirror image of the blades' line was taken for once a turn.
        raise Refused(f"its rotor lines and their mirror images do not tell one speed: {known.cure}, or log faster")
    # Twice: where the throttle moves fast, the path lags behind the lines.
    read, *_ = _centred(seen, path, orders)
    read, spread, blind = _centred(seen, _calm(read), orders)
    hz = _calm(read)
    if blind > _BLIND and max(_lost(seen, hz, order) for order in orders[:2]) > _LOST:
        raise Refused(
            f"its rotor lines cross at this rate, and one is lost behind another: {known.cure}, or log faster"
        )
    if blades > 1 and _turned_back(seen, hz, blades):
        raise Refused(
            f"where blades pass at half the log's rate the speed may have turned back: {known.cure}, or log faster"
        )
    plain = [order for order in orders if order * hz.max() < min(0.5 * log.hz, _TOP_HZ)]
    if any(seen.along(hz, order) > _STRONG and _lost(seen, hz, order) > _AWAY for order in plain):
        # Where the speed jumps to twice what it is, the highest order finds nothing.
        cure = "check --rotor, which the speed may pass" if known.told else known.cure
        raise Refused(f"a strong rotor line is lost for a while, as where another is taken for it: {cure}")
    return read, reasons + unmirrored, spread, blind


def _turned_back(seen: _Spectrogram, path: Array, blades: int) -> bool:
    """Whether the line of once a turn stands where the blades' lines look the same, and not on a path that goes there.

    A speed and its image meet where the blades pass at a multiple of half the log's rate.
    """
    from scipy import ndimage

    def high(hz: Array) -> Array:
        return np.asarray(ndimage.uniform_filter1d(np.clip(seen.heights(hz, 1.0), 0.0, _TALL), _BRIEF))

    here, meets = high(path), 0.5 * seen.hz / blades * np.arange(1, 5)
    usual = np.median(here)
    images = [2.0 * at - path for at in meets if path.min() < at < path.max()]
    return any(np.any((here < _FAINT * usual) & (high(image) > _FOUND * usual)) for image in images)


def _lost(seen: _Spectrogram, path: Array, order: float) -> float:
    """Share of the time for which an order's line stands far less high than usual for some seconds."""
    from scipy import ndimage

    high = ndimage.uniform_filter1d(np.clip(seen.heights(path, order), 0.0, _TALL), _SECONDS)
    return float(np.mean(high < _FAINT * np.median(high)))


def _score(seen: _Spectrogram, speeds: Array, orders: Sequence[float]) -> Array:
    """Mean height of the orders' lines at each speed, shape (frames, speeds); two in one place are one line."""
    first, *others = (np.clip(seen.height(speeds, order), 0.0, _TALL) for order in orders)
    for order, other in zip(orders[1:], others, strict=True):
        same = np.abs(seen.at(order * speeds) - seen.at(orders[0] * speeds)) < _APART_BINS
        first += np.where(same, 0.5 * other, other)
    return np.asarray(first / len(orders))


def _folds(hz: Array, order: float, rate_hz: float) -> bool:
    return bool(order * hz.max() > 0.5 * rate_hz)


def _flown(log: FlightLog, turning: NDArray[np.bool_], time_s: Array) -> tuple[float, float]:
    """From when to when it flew: the longest time in which its rotors turn and it moves. Raises Refused."""
    time, rate = log.slow(_MOVES_HZ)
    power = np.append(0.0, np.cumsum(np.sum(rate**2, axis=1)))
    first, last = (np.searchsorted(time, time_s + side) for side in (-1.0, 1.0))
    turns = np.sqrt((power[last] - power[first]) / np.maximum(last - first, 1))
    air = np.flatnonzero((turns > _MOVING) & turning)
    if not air.size:
        what = "its rotors turn, but it does not move" if turning.any() else "no rotor lines stand out of its noise"
        raise Refused(f"it did not fly: {what}")
    runs = np.split(air, np.flatnonzero(np.diff(air) * _HOP_S > _PAUSE_S) + 1)
    longest = max(runs, key=len)
    # Filters smear its motion over the time before it lifts.
    longest = longest[turns[longest] > _LIFTED * np.median(turns[longest])]
    start, end = float(time_s[longest[0]]), float(time_s[longest[-1]])
    if end - start < _LEAST_S:
        raise Refused(
            f"rotor lines and movement are seen together for {end - start:.0f} s only, as if it had not flown; "
            f"{_LEAST_S:.0f} s or more are needed: log faster, or name the rotor column"
        )
    return start, end


def _spectrogram(log: FlightLog) -> _Spectrogram:
    from scipy import signal

    size, hop = 2 * round(0.5 * _FRAME_S * log.hz), max(1, round(_HOP_S * log.hz))
    channels = [*log.rate.T, *(() if log.acceleration is None else log.acceleration.T)]
    total: Array | None = None
    for each in channels:
        f, t, power = signal.spectrogram(each.astype(np.float32), log.hz, "hann", size, size - hop, detrend="constant")
        power = power[f <= _TOP_HZ].T.astype(np.float32)
        power /= np.exp(_floor(f[f <= _TOP_HZ], np.log(power.mean(axis=0) + 1e-30))).astype(np.float32)
        total = power if total is None else total + power
    assert total is not None
    total[:, 1:-1] = (total[:, :-2] + total[:, 1:-1] + total[:, 2:]) / 3.0
    over = np.log(total / len(channels) + 1e-6)
    over[:, f[: over.shape[1]] < _BOTTOM_HZ] = 0.0
    return _Spectrogram(log.start_s + t, over, float(f[1] - f[0]), log.hz)


def _floor(f: Array, ln_power: Array) -> Array:
    """The smooth curve under a spectrum's lines: what stands above it hardly counts."""
    x = np.log(np.maximum(f, 2.0 * f[1]))
    x = 2.0 * (x - x[0]) / (x[-1] - x[0]) - 1.0
    weight = np.ones_like(x)
    for _ in range(20):
        floor = np.polynomial.legendre.legval(x, np.polynomial.legendre.legfit(x, ln_power, 5, w=weight))
        weight = np.where(ln_power < floor + 0.2, 1.0, 0.2 / np.maximum(ln_power - floor, 0.2))
    return np.asarray(floor)


def _kept_up(score: Array, speeds: Array) -> Array:
    """The best path; where it has no line for some spectra, one near it that may change as fast as rotors can."""
    from scipy import ndimage

    places = _best_path(score)
    high = ndimage.uniform_filter1d(score[np.arange(len(score)), places], _BRIEF)
    lost = ndimage.binary_dilation(high < _FAINT * np.median(high), iterations=_AROUND)
    for rows in (found[0] for found in ndimage.find_objects(ndimage.label(lost)[0])):
        before = places[rows]
        near = np.abs(np.arange(score.shape[1]) - before[:, None]) < _ASTRAY / _STEP
        for end in (0, -1):
            near[end] &= np.arange(score.shape[1]) == before[end]
        places[rows] = _best_path(np.where(near, score[rows], -np.inf), _SUDDEN)
    return np.asarray(speeds[places])


def _best_path(score: Array, fastest: int = _FASTEST) -> NDArray[np.int64]:
    """The place in each row such that their heights, less what their changes cost, sum up to most, [2]_."""
    many, best = score.shape[1], score[0].copy()
    back = np.zeros(score.shape, dtype=np.int8)
    moves = np.arange(-fastest, fastest + 1)
    cost = (_CHANGE * np.abs(moves)).astype(score.dtype)[:, None]
    padded = np.full(many + 2 * fastest, -np.inf, dtype=score.dtype)
    shifted, places = np.lib.stride_tricks.sliding_window_view(padded, many), np.arange(many)
    for row in range(1, len(score)):
        padded[fastest:-fastest] = best
        came = shifted - cost
        chosen = np.argmax(came, axis=0)
        back[row] = moves[chosen]
        best = came[chosen, places] + score[row]
    path = np.empty(len(score), dtype=np.int64)
    path[-1] = np.argmax(best)
    for row in range(len(score) - 1, 0, -1):
        path[row - 1] = path[row] + back[row, path[row]]
    return path


def _centred(seen: _Spectrogram, path: Array, orders: Sequence[float]) -> tuple[Array, float, float]:
    """The centre of the lines in each spectrum, how far the rotors stand apart, Hz; share of it unseen."""
    total, weight, widths = np.zeros_like(path), np.zeros_like(path), list[float]()
    top = seen.over.shape[1] - 1
    heights = {order: seen.along(path, order) for order in orders}
    visible = [order for order in orders if heights[order] > _SEEN]
    for order in visible:
        if heights[order] < _FAINT * max(heights.values()):
            # What lies beside a faint line pulls its centre.
            continue
        place = seen.at(order * path)
        rising = seen.at(order * path * 1.001) >= place
        reach = np.ceil(0.04 * order * path / seen.bin_hz + 1.5)
        offset = np.arange(-int(reach.max()), int(reach.max()) + 1)
        at = np.round(place)[:, None] + offset
        # Where it is folded over an end of the spectrum, or near another line, two lie on each other.
        others = np.array([seen.at(other * path) for other in visible if other != order]).reshape(-1, path.size)
        apart = np.abs(others - place).min(axis=0, initial=np.inf) - reach
        clear = (place - reach >= 1.0) & (place + reach <= top - 1.0) & (apart > 2.0)
        high = np.take_along_axis(seen.over, np.clip(at, 0, top).astype(int), axis=1)
        high = np.clip(high, 0.0, None) ** 2 * (np.abs(offset) <= reach[:, None])
        mass = high.sum(axis=1)
        clear &= mass > 0.0
        moved = np.divide((high * (at - place[:, None])).sum(axis=1), mass, out=np.zeros_like(path), where=clear)
        wide = np.divide((high * (at - place[:, None]) ** 2).sum(axis=1), mass, out=np.zeros_like(path), where=clear)
        found = path + np.where(rising, 1.0, -1.0) * moved * seen.bin_hz / order
        total += np.where(clear, order * found, 0.0)
        weight += np.where(clear, order, 0.0)
        if clear.any():
            # A single steady line is about a bin wide.
            square = float(np.median(wide[clear] - moved[clear] ** 2)) - _LINE_BINS
            widths.append(math.sqrt(max(square, 0.0)) * seen.bin_hz / order)
    hz = np.divide(total, weight, out=path.copy(), where=weight > 0.0)
    return hz, min(widths, default=0.0), float(np.mean(weight == 0.0))


def _calm(hz: Array) -> Array:
    """The middle of each reading and the two beside it."""
    near = np.stack([np.roll(hz, k) for k in (-1, 0, 1)])
    near[0, -1], near[2, 0] = hz[-1], hz[0]
    return np.asarray(np.median(near, axis=0))


def _rounded_off(read: Array, hz: Array) -> float:
    """How far spectra and the middle of three may round off the lowest and highest speeds, Hz."""
    least, most = np.quantile(hz, (_RARE, 1.0 - _RARE))
    rare = (hz <= least) | (hz >= most)
    turns, ends = np.diff(hz, 2) ** 2, rare[1:-1]
    bent = max(turns.mean(), turns[ends].mean() if ends.any() else 0.0)
    return math.sqrt(0.25 * bent + np.mean((read - hz)[rare] ** 2))


def _once_a_turn(seen: _Spectrogram, path: Array, blades: int, known: _Known) -> tuple[Array, tuple[str, ...]]:
    """The path, or that of a line below it that is once a turn. Raises Refused where that is not sure."""
    if blades == 1:
        return path, ()
    for share in (1.0 / blades, 0.5):
        # A line below what was taken for once a turn is that of the turn.
        below = seen.along(path, share)
        if known.told and below > 0.5 * seen.along(path, 1.0) > _SEEN and not known.allows(path * share):
            lines = _span_text(path * share)
            raise Refused(f"a line shows {lines} times a second, below what --rotor tells: check it, and --blades")
        if known.allows(path * share) and below > _DOUBTED:
            if below < _SEEN or seen.moves(path, share) < _STILL:
                lines = f"{_span_text(path * share)} or {_span_text(path)}"
                raise Refused(f"a faint line leaves open whether the rotors turn {lines} times a second: {known.cure}")
            return path * share, ()
    once, passing = (seen.along(path, order) > _SEEN for order in (1.0, float(blades)))
    if not (once and passing):
        other = path / blades if once else path * blades
        if known.allows(other):
            lines = " or ".join(_span_text(p) for p in sorted((path, other), key=np.median))
            raise Refused(f"one rotor line alone, so the rotors turn {lines} times a second: {known.cure}")
        return path, ("one rotor line alone, taken as what is known of the rotor speed allows",)
    return path, () if known.told else ("the lowest rotor line is taken as once a turn",)


def _unmirrored(log: FlightLog, seen: _Spectrogram, path: Array, known: _Known) -> tuple[Array, tuple[str, ...]]:
    """The path, once it is sure that it is no mirror image. Raises Refused where it is not."""
    images = [k * log.hz + sign * path for k in range(-4, 5) for sign in (-1.0, 1.0) if (k, sign) != (0, 1.0)]
    images = [image for image in images if known.allows(image)]
    if not images:
        return path, ()
    paths = [path, *images]
    # At a multiple of half the rate a speed and its image meet, and the path may turn back there, or before it where
    # another line shows too low to be looked at.
    to_half = np.abs(path - 0.5 * log.hz * np.round(2.0 * path / log.hz))
    meets = float(np.quantile(to_half, _RARE)) < _BOTTOM_HZ
    chosen = None if meets else _by_thrust(log, seen.time_s, paths)
    if chosen is None:
        lines = " or ".join(_span_text(p) for p in sorted(paths, key=np.median))
        raise Refused(
            f"at {log.hz:.4g} readings a second the rotors may turn {lines} times a second, which look the same: "
            f"{known.cure}, or log faster"
        )
    return paths[chosen], ("which of the speeds that look the same at this rate it is was told by the thrust",)


def _by_thrust(log: FlightLog, time_s: Array, paths: Sequence[Array]) -> int | None:
    """Which of some rotor speeds goes with throttle or thrust, which grow with it; None where that is not sure."""
    from scipy import signal

    if log.throttle is not None:
        along, slopes = log.throttle, _BY_THROTTLE
    elif log.acceleration is not None:
        along = log.acceleration @ (mean := log.acceleration.mean(axis=0)) / np.linalg.norm(mean)
        slopes = _BY_THRUST
    else:
        return None
    slow = signal.butter(2, 0.5, fs=log.hz, output="sos")
    thrust = np.interp(time_s, log.time_s, signal.sosfiltfilt(slow, np.nan_to_num(along)))
    up = thrust > _AIRBORNE * np.median(thrust)
    ln_t = np.log(thrust[up])
    rate = 1.0 / _HOP_S
    good = list[int]()
    for k, path in enumerate(paths):
        ln_n = signal.sosfiltfilt(signal.butter(2, 0.5, fs=rate, output="sos"), np.log(path))[up]
        share = float(np.corrcoef(ln_n, ln_t)[0, 1])
        # The slope with errors in both.
        slope = math.copysign(float(ln_t.std() / max(ln_n.std(), 1e-9)), share)
        if share > 0.7 and slopes[0] < slope < slopes[1]:
            good.append(k)
    return good[0] if len(good) == 1 else None


def _span_text(path: Array) -> str:
    low, high = np.quantile(path, (_RARE, 1.0 - _RARE))
    return f"{low:.3g} to {high:.3g}"
