"""A second log brought onto the first one's clock and axes, by the rotation that both share at low frequency.

References
----------
.. [1] F. L. Markley, Attitude determination using vector observations and the singular value decomposition,
   J. Astronautical Sciences 36 (1988) 245 (from memory).
.. [2] C. H. Knapp, G. C. Carter, The generalized correlation method for estimation of time delay, IEEE Trans.
   Acoustics, Speech, and Signal Processing 24 (1976) 320 (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from matdb.arrays import Array
from matdb.bench.flight.log import FlightLog
from matdb.bench.trace.record import Refused, Trace
from matdb.bench.transfer import GAIN

#: What a soft mount passes on as it is, Hz: well below its resonance, above a gyro's drift. Readings a second there.
_SHARED_HZ, _SLOW_HZ = (0.2, 2.5), 50.0
#: Length of the stretches whose delays tell offset and drift, s; rounds of turn and delay.
_STRETCH_S, _ROUNDS = 8.0, 6
#: Least correlation of the shared rotation, least lead of the right offset over another.
_ALIKE, _LEAD = 0.75, 1.15
#: A clock less certain than this is refused, s; one that is off its line by more, or drifts more (a share), is none.
_CLOCK_SD_S, _UNEVEN_S, _MOST_DRIFT = 0.7e-3, 1e-3, 1e-3
#: Stretches whose median delay shows a clock that does not go evenly.
#: Median second difference of what is luck, in its standard deviations.
_NEIGHBOURS, _LUCK = 3, 0.6745 * math.sqrt(6.0)
#: Least share of the rotation that lies across its main axis; below, axes cannot be told. Largest doubt, degrees.
_ACROSS, _TURN_SD_DEG = 0.03, 0.5
#: Rate of the two together at most, Hz: isolators' modes lie far below.
_TOGETHER_HZ: Final = 250.0
#: How near that is to a rate at which the airframe's log needs no reading between its own.
_NEAR: Final = 0.01
#: Half the length of the filter before that, in readings at that rate.
_LOW_PASS: Final = 6.0


@dataclass(frozen=True, eq=False)
class Aligned:
    """Two logs on one clock and in one set of axes.

    Attributes
    ----------
    offset_s, drift : float
        A time t of the airframe's log is ``(t - start) * (1 + drift) + start - offset_s`` of the camera's, with start
        the middle of what both logged.
    clock_sd_s : float
        Standard deviation of that, s.
    middle_s : float
        That middle, by the airframe's clock.
    by_stamps_s : float
        The offset by the stamps in both logs, s; the one above is counted from the first row of each.
    matrix : ndarray, shape (3, 3)
        Takes the airframe's axes to the camera sensor's.
    turn_deg, turn_sd_deg : float
        Angle of that turn, and its standard deviation, degrees.
    trace : Trace
        Camera (signal) and airframe (base) in the airframe's axes on the airframe's clock, rad/s.
    acceleration : ndarray, shape (n, 3), or None
        The airframe's at the same times, m/s2.
    """

    offset_s: float
    drift: float
    clock_sd_s: float
    middle_s: float
    by_stamps_s: float
    matrix: Array
    turn_deg: float
    turn_sd_deg: float
    trace: Trace
    acceleration: Array | None

    def camera_time(self, time_s: Any) -> Any:
        """A time of the airframe's log by the camera's clock, s."""
        return (time_s - self.middle_s) * (1.0 + self.drift) + self.middle_s - self.offset_s


def align(airframe: FlightLog, camera: FlightLog, flew_s: tuple[float, float]) -> Aligned:
    """Bring the camera's log onto the airframe's clock and axes.

    Parameters
    ----------
    airframe, camera : FlightLog
        The two logs; either may start at any time.
    flew_s : (float, float)
        When it flew, by the airframe's clock, s.

    Raises
    ------
    Refused
        The two do not share a rotation, or not enough of it to tell clock or axes.

    Notes
    -----
    The size of the rotation, which knows no axes, gives the offset within a hundredth of a second by correlation [2]_;
    then the turn between the sensors [1]_ and the delays of short stretches, whose straight line over time is offset
    and drift, in turns.
    """
    from scipy.interpolate import CubicSpline

    (ta, xa), (tc, xc) = (_slow(log) for log in (airframe, camera))
    inside = (ta >= flew_s[0]) & (ta <= flew_s[1])
    ta, xa = ta[inside], xa[inside]
    offset = _rough_offset(ta, xa, tc, xc)
    both = (ta - offset > tc[0] + 1.0) & (ta - offset < tc[-1] - 1.0)
    if both.sum() < 20.0 * _SLOW_HZ:
        raise Refused("the two logs share less than 20 s of the flight")
    ta, xa, middle, drift = ta[both], xa[both], float(ta[both].mean()), 0.0
    seen, slope = CubicSpline(tc, xc), CubicSpline(ta, xa).derivative()(ta)
    gain = math.sqrt(float(np.sum(seen(ta - offset) ** 2) / np.sum(xa**2)))
    if not GAIN[0] < gain < GAIN[1]:
        raise Refused(
            f"the camera's log has {gain:.3g} times the airframe's rotation where both should be one: check the units "
            "of the rates, deg/s or rad/s"
        )
    many = int(_STRETCH_S * _SLOW_HZ)
    parts = len(ta) // many
    for _ in range(_ROUNDS):
        y = seen((ta - middle) * (1.0 + drift) + middle - offset)
        matrix = _turn(xa, y)
        late = y @ matrix - xa
        top = (slope * late)[: parts * many].reshape(parts, -1).sum(axis=1)
        weight = (slope**2)[: parts * many].reshape(parts, -1).sum(axis=1)
        when = ta[: parts * many].reshape(parts, many).mean(axis=1) - middle
        (rate, shift), clock_sd = _line(when, -top / weight, weight)
        # The camera lags by `shift`: its log is to be read so much later.
        offset, drift = offset - shift, drift + rate
    alike = float(np.sum(y @ matrix * xa) / math.sqrt(np.sum(y**2) * np.sum(xa**2)))
    if alike < _ALIKE or abs(drift) > _MOST_DRIFT:
        raise Refused(f"the two logs do not share a rotation (they go together by {alike:.2f}): one flight, two gyros?")
    # Neighbours tell how much of a delay is luck; what is left over several of them is a clock that is not even.
    rest = -top / weight - rate * when - shift
    luck = float(np.median(np.abs(np.diff(rest, 2)))) / _LUCK
    uneven = float(np.abs(np.median(np.lib.stride_tricks.sliding_window_view(rest, _NEIGHBOURS), axis=1)).max())
    if uneven > _UNEVEN_S + 3.0 * luck:
        raise Refused(f"one of the clocks jumps or drifts unevenly, by {1e3 * uneven:.0f} ms: cut the logs to a part")
    if clock_sd > _CLOCK_SD_S:
        raise Refused(f"the clocks can be told apart to {1e3 * clock_sd:.1f} ms only: turn the craft more, or longer")
    turn_sd = _turn_sd(xa, y, matrix)
    spread = np.linalg.svd(xa, compute_uv=False)
    if spread[1] < _ACROSS * spread[0] or turn_sd > _TURN_SD_DEG:
        raise Refused(
            f"the craft turned about one axis only: sensors' axes known to {turn_sd:.1f} degrees; turn it more"
        )
    hz, time = _grid(airframe, camera, ta)
    at_camera = (time - middle) * (1.0 + drift) + middle - offset
    trace = Trace(
        time,
        _read(camera, camera.rate, at_camera, hz) @ matrix,
        ("roll", "pitch", "yaw"),
        _read(airframe, airframe.rate, time, hz),
    )
    pushed = None if airframe.acceleration is None else _read(airframe, airframe.acceleration, time, hz)
    angle = math.degrees(math.acos(np.clip(0.5 * (np.trace(matrix) - 1.0), -1.0, 1.0)))
    stamps = offset + airframe.stamp_s - camera.stamp_s
    return Aligned(offset, drift, clock_sd, middle, stamps, matrix, angle, turn_sd, trace, pushed)


def _grid(airframe: FlightLog, camera: FlightLog, shared_s: Array) -> tuple[float, Array]:
    """Readings a second and times of what both are read at.

    The airframe's own readings serve, each so many of them, where that is near what is wanted.
    """
    hz = min(_TOGETHER_HZ, airframe.hz, camera.hz)
    each = round(airframe.hz / hz)
    hz = airframe.hz / each if abs(airframe.hz / each - hz) < _NEAR * hz else hz
    start = airframe.start_s + math.ceil((shared_s[0] - airframe.start_s) * hz) / hz
    return hz, start + np.arange(int((shared_s[-1] - start) * hz)) / hz


def _slow(log: FlightLog) -> tuple[Array, Array]:
    """Times and rates of what both share, on an even grid that is one for both."""
    time, rate = log.slow(_SHARED_HZ)
    even = np.arange(time[0], time[-1], 1.0 / _SLOW_HZ)
    return even, np.stack([np.interp(even, time, each) for each in rate.T], axis=1)


def _rough_offset(ta: Array, xa: Array, tc: Array, xc: Array) -> float:
    """How much earlier by its own clock the camera's log has what the airframe's has, s. Raises Refused."""
    from scipy import signal

    a, c = (np.linalg.norm(x, axis=1) for x in (xa, xc))
    a, c = a - a.mean(), c - c.mean()
    found = signal.correlate(a, c, method="fft")
    # Each by the power of what overlaps, so that a short overlap does not count less.
    power = signal.correlate(a**2, np.ones_like(c), method="fft") * signal.correlate(
        np.ones_like(a), c**2, method="fft"
    )
    many = signal.correlate(np.ones_like(a), np.ones_like(c), method="fft")
    found = np.where(many > 20.0 * _SLOW_HZ, found / np.sqrt(np.maximum(power, 1e-3 * power.max())), -1.0)
    best = int(np.argmax(found))
    near = round(1.5 * _SLOW_HZ)
    other = max(found[: max(best - near, 0)].max(initial=0.0), found[best + near :].max(initial=0.0))
    if found[best] < 0.4 or found[best] < _LEAD * other:
        raise Refused("the two logs do not share a rotation that tells how their clocks stand: one flight, two gyros?")
    return float(ta[0] - tc[0] + (best - (len(c) - 1)) / _SLOW_HZ)


def _turn(xa: Array, y: Array) -> Array:
    """The rotation that takes the airframe's rates to the camera's, [1]_."""
    left, _, right = np.linalg.svd(y.T @ xa)
    return np.asarray(left @ np.diag([1.0, 1.0, np.linalg.det(left @ right)]) @ right)


def _turn_sd(xa: Array, y: Array, matrix: Array) -> float:
    """Standard deviation of the turn, degrees, by how far its eighths differ."""
    from scipy.spatial.transform import Rotation

    parts = np.array([_turn(*each) for each in zip(np.array_split(xa, 8), np.array_split(y, 8), strict=True)])
    apart = Rotation.from_matrix(parts @ matrix.T).magnitude()
    return math.degrees(math.sqrt(float(np.mean(np.square(apart))) / len(parts)))


def _line(when: Array, delay: Array, weight: Array) -> tuple[Array, float]:
    """Slope and middle of delays over time without outliers, and the larger standard deviation at its ends, s."""
    w = np.sqrt(weight / weight.max())
    for _ in range(5):
        (slope, middle), covariance = np.polyfit(when, delay, 1, w=w, cov="unscaled")
        rest = np.abs(delay - slope * when - middle)
        scale = max(1.4826 * float(np.median(rest)), 1e-9)
        w = np.sqrt(weight / weight.max()) / np.maximum(1.0, rest / (2.0 * scale))
    ends = np.array([when[0], when[-1]])
    square = covariance[0, 0] * ends**2 + 2.0 * covariance[0, 1] * ends + covariance[1, 1]
    spread = float(np.sqrt(np.sum((w * rest) ** 2) / max(len(when) - 2, 1)))
    return np.array([slope, middle]), spread * float(np.sqrt(square.max()))


def _read(log: FlightLog, values: Array, at_s: Array, hz: float) -> Array:
    """A log's values at some times, without what a rate of ``hz`` cannot carry."""
    from scipy import ndimage, signal

    ratio, place = log.hz / hz, (at_s - log.start_s) * log.hz
    own = abs(ratio - round(ratio)) < 1e-9 and abs(place[0] - round(place[0])) < 1e-3
    step = round(ratio) if own else max(1, int(0.5 * ratio))
    place = place / step
    # As long in time for any rate: flat to a quarter of ``hz``, next to nothing above half.
    half = round(_LOW_PASS * log.hz / hz / step)
    low = signal.firwin(2 * half * step + 1, 0.4 * hz, fs=log.hz).astype(np.float32) if log.hz > 1.2 * hz else None
    read: Array = np.empty((len(at_s), values.shape[1]), dtype=np.float32)
    for k, each in enumerate(values.T):
        known = each if low is None else signal.upfirdn(low, each, down=step)[half:]
        if own:
            read[:, k] = known[round(place[0]) :][: len(at_s)]
        else:
            # A cubic spline through readings that come evenly.
            ndimage.map_coordinates(known, [place], output=read[:, k], order=3, mode="nearest")
    return read
