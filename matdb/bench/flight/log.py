"""A log of angular rates: from a text file onto an even grid of times."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from matdb.arrays import Array
from matdb.bench.trace.file import column_index, seconds_of, time_index
from matdb.bench.trace.record import Refused
from matdb.delimited import read_long
from matdb.errors import InputError
from matdb.units import parse

#: Share of the readings that may be missing, and from which on that is told; values are drawn straight across.
_MOST_LOST, _TOLD_LOST = 0.1, 1e-4
#: Stamps that scatter less than this many steps about an even clock are those of an even one.
_EVEN_STEPS: Final = 0.3
#: No craft turns faster for long, root mean square below vibration, rad/s: the rates' unit is told wrongly.
_MOST_TURNED: Final = 10.0
_TURNS_HZ: Final = (0.1, 3.0)
#: The rates of a log that is worth reading, readings a second.
_LEAST_HZ, _MOST_HZ = 50.0, 20_000.0
_WHAT: Final = "flight log"

#: A column's title: its name, and its unit in brackets, or at the end.
_TITLE: Final = re.compile(
    r"\s*(?P<name>.*?)[\s_.]*(?:[\[(](?P<unit>[^\[\]()]*[^\d\[\]()][^\[\]()]*)[\])]|(?<=[\s_.])(?P<end>deg_s|rad_s|dps|m_s2|rpm|hz|c))?\s*",
    re.IGNORECASE,
)
_AXES: Final = r"[\s_.\-\[]*(?:(?P<x>x|0|roll)|(?P<y>y|1|pitch)|(?P<z>z|2|yaw))\]?"
#: What each column is called: of three axes, or of one value.
_RATE: Final = re.compile(rf".*?(?:gyro?[a-z]*|rates?|omega|angular[\s_]?(?:velocity|rate|speed)|w){_AXES}")
#: Where the unit is that of a rate, the axis alone will do: gx, gy, gz (deg/s).
_RATE_BY_UNIT: Final = re.compile(rf".*?{_AXES}")
_RATE_PLAIN: Final = re.compile(r"(?:(?P<x>roll|p)|(?P<y>pitch|q)|(?P<z>yaw|r))[\s_]*(?:rate|speed|velocity)?")
_ACCELERATION: Final = re.compile(rf".*?(?:acc?|accel|acceleration|accelerometer|a){_AXES}")
_ROTOR: Final = re.compile(r".*(?:rotor|motor|prop|esc|rpm).*")
_THROTTLE: Final = re.compile(r".*(?:throttle|collective).*")
_TEMPERATURE: Final = re.compile(r".*temp(?:erature)?\b.*")


@dataclass(frozen=True, eq=False)
class FlightLog:
    """A log on an even grid.

    Attributes
    ----------
    name : str
        The file's, for messages.
    start_s : float
        Time of the first reading as the log has it, s.
    hz : float
        Readings a second.
    rate : ndarray, shape (n, 3)
        Angular rate in roll, pitch and yaw (about x, y, z), rad/s.
    acceleration : ndarray, shape (n, 3), or None
        m/s2.
    rotor_hz : ndarray, shape (n,), or None
        Logged rotor speed, turns a second.
    temperature_c : ndarray, shape (n,), or None
        Degrees Celsius.
    throttle : ndarray, shape (n,), or None
        In any unit.
    notes : tuple of str
        What was found or guessed on the way in.
    stamp_s : float
        What the log's own stamps call the time 0, s.
    """

    name: str
    start_s: float
    hz: float
    rate: Array
    acceleration: Array | None = None
    rotor_hz: Array | None = None
    temperature_c: Array | None = None
    throttle: Array | None = None
    notes: tuple[str, ...] = ()
    stamp_s: float = 0.0

    @property
    def time_s(self) -> Array:
        """Times of the grid, s."""
        return np.asarray(self.start_s + np.arange(len(self.rate)) / self.hz)

    def slow(self, band_hz: tuple[float, float]) -> tuple[Array, Array]:
        """Times, and rates within a band well below 50 Hz, at 50 to 100 readings a second."""
        from scipy import signal

        step = max(1, int(self.hz / 50.0))
        many, hz = len(self.rate) // step, self.hz / step
        means = self.rate[: many * step].reshape(many, step, 3).mean(axis=1, dtype=np.float64)
        time = self.start_s + (np.arange(many) + 0.5 * (step - 1) / step) / hz
        sos = signal.butter(2, band_hz, "bandpass", fs=hz, output="sos")
        return np.asarray(time), signal.sosfiltfilt(sos, means - np.median(means, axis=0), axis=0)


def evened(
    name: str, time_s: Array, columns: dict[str, Array], notes: tuple[str, ...] = (), stamp_s: float = 0.0
) -> FlightLog:
    """Put a log on an even grid of its usual rate; jitter is taken as a clock's, and gaps are marked.

    Parameters
    ----------
    name : str
        The file's, for messages.
    time_s : ndarray, shape (n,)
        Rising times, s; rows without a time are left out.
    columns : dict of str: ndarray
        ``rate`` (n, 3) and any of the other fields of :class:`FlightLog`; emptied on the way.
    notes : tuple of str
        What is known of it already.
    stamp_s : float
        As of :class:`FlightLog`.

    Raises
    ------
    InputError
        Too few readings, or too few a second.
    """
    from scipy.interpolate import CubicSpline

    whole = np.isfinite(time_s)
    for each in columns["rate"].T:
        whole &= np.isfinite(each)
    whole[whole] &= np.append(True, np.diff(time_s[whole]) > 0.0)
    if not whole.all():
        time_s, columns = time_s[whole], {key: columns.pop(key)[whole] for key in tuple(columns)}
    if time_s.size < 1000:
        raise InputError(name, f"{time_s.size} whole rows", "a flight of 1000 readings or more")
    steps = np.diff(time_s)
    # The mean of the usual steps: the median alone is as coarse as the stamps.
    steps /= float(steps[steps < 1.8 * np.median(steps)].mean())
    np.maximum(np.rint(steps, out=steps), 1.0, out=steps)
    place = np.zeros(time_s.size)
    np.cumsum(steps, out=place[1:])
    del steps
    some = slice(None, None, max(1, time_s.size // 50_000))
    usual, start = np.polyfit(place[some], time_s[some], 1)
    hz = 1.0 / usual
    if not _LEAST_HZ <= hz <= _MOST_HZ:
        raise InputError(name, f"{hz:.3g} readings a second", f"from {_LEAST_HZ:g} to {_MOST_HZ:g}", "log faster")
    # A sensor reads evenly, whatever its stamps; where the stamps do not go with that, they are believed.
    even = float(np.std((time_s - start - usual * place)[some])) < _EVEN_STEPS * usual
    if not even:
        place, start = (time_s - time_s[0]) / usual, float(time_s[0])
        notes = (*notes, "readings come unevenly; values between them are drawn through them")
    many, known = int(place[-1]) + 1, time_s.size
    lost = 1.0 - known / many
    if lost > _MOST_LOST:
        raise InputError(name, f"{100.0 * lost:.0f} % of its readings missing", "a log with few gaps")
    if even and lost > _TOLD_LOST:
        notes = (*notes, f"{100.0 * lost:.2g} % of the readings are missing")
    del time_s, whole
    at = place.astype(np.intp) if even else place
    del place
    made: dict[str, Any] = {}
    # An hour of accelerations need not stand beside itself: what has been put on the grid goes.
    while columns:
        key, value = columns.popitem()
        kind = np.float32 if value.ndim > 1 else float
        if even and known == many:
            made[key] = value.astype(kind, copy=False)
        else:
            made[key] = np.full((many, *value.shape[1:]), np.nan, dtype=kind)
        if even and known < many:
            made[key][at] = value
        for out, each in zip(np.atleast_2d(made[key].T), np.atleast_2d(value.T), strict=True):
            if even:
                _bridge(out)
            elif (sound := np.isfinite(each)).any():
                out[:] = CubicSpline(at[sound], each[sound])(np.arange(many))
    return FlightLog(name, float(start), float(hz), notes=notes, stamp_s=stamp_s, **made)


def check_turns(log: FlightLog, flew_s: tuple[float, float]) -> None:
    """Refuse rates that no craft turns at. Raises Refused."""
    time, slow = log.slow(_TURNS_HZ)
    rms = math.sqrt(float((slow[(time >= flew_s[0]) & (time <= flew_s[1])] ** 2).sum(axis=1).mean()))
    if rms > _MOST_TURNED:
        raise Refused(
            f"it turns {math.degrees(rms):.3g} deg/s root mean square in flight, more than a craft can: check the unit "
            "of its rates, deg/s or rad/s"
        )


def _bridge(values: Array) -> None:
    """Draw straight lines across what is missing."""
    sound = np.isfinite(values)
    if sound.all():
        return
    edges = np.flatnonzero(sound[1:] != sound[:-1])
    ends = np.union1d(edges, edges + 1)
    ends, lost = ends[sound[ends]], np.flatnonzero(~sound)
    values[lost] = np.interp(lost, ends, values[ends]) if ends.size else np.nan


def read_log(
    path: str | Path, *, columns: Sequence[str | int] = (), unit: str | None = None, field: str = "columns"
) -> FlightLog:
    """Read a log of angular rates from a CSV or other delimited text file.

    Parameters
    ----------
    path : path
        The file: times and angular rates about x, y, z (roll, pitch, yaw), and where there are any accelerations,
        rotor speeds, a temperature; the unit of each in brackets in its title.
    columns : sequence of str or int
        The three columns of the rates in that order, by name or number from 1; else by their titles.
    unit : str, optional
        Of the rates, where their titles tell none: ``"deg/s"`` or ``"rad/s"``.
    field : str
        What messages call ``columns``.

    Raises
    ------
    InputError
        Nothing to read, no time, no three rates, rates without a unit, too few readings.
    """
    name = Path(path).name
    try:
        table = read_long(_WHAT, Path(path))
    except OSError as error:
        raise InputError(_WHAT, name, "a file that can be read", error.strerror or "") from None
    notes: list[str] = []
    header = table.top.header
    at = time_index(table.top, None, None)
    parted = [_TITLE.fullmatch(title) for title in header]
    names = ["" if found is None else found["name"].casefold() for found in parted]
    units = ["" if found is None else (found["unit"] or found["end"] or "") for found in parted]
    if columns and len(columns) != 3:
        raise InputError(field, f"{len(columns)} columns", "three: the rates in roll, pitch and yaw")
    rates = [column_index(c, header, field) for c in columns] or _three(names, at, _RATE, _RATE_PLAIN)
    if not rates:
        turns = [name if _scale(unit, "angular_rate") else "" for name, unit in zip(names, units, strict=True)]
        rates = _three(turns, at, _RATE_BY_UNIT)
    if len(rates) != 3:
        *some, last = [f"{field} '{title}'" for i, title in enumerate(header) if i != at][:3] or [""]
        cure = f"name them, such as {' '.join(some)} {last}" if len(some) == 2 else ""
        says = f"no three angular rates (roll, pitch, yaw) are seen among its columns {', '.join(header)}"
        raise InputError(name, ", ".join(header), "a log with three angular rates", cure, says=says)
    scales = []
    for i in rates:
        if not (unit or units[i]):
            cure = "write it into the title in brackets, or give --unit deg/s"
            raise InputError(f"{name}, column {header[i]}", "no unit", "a rate in deg/s or rad/s", cure)
        scales.append(parse(f"1 {unit or units[i]}", "angular_rate", f"{name}, column {header[i]}"))
    others = [i for i in range(len(names)) if i != at and i not in rates]
    pushed = _three([names[i] if i in others else "" for i in range(len(names))], at, _ACCELERATION)
    known = [scale for i in pushed if (scale := _scale(units[i], "acceleration")) is not None]
    if len(known) < len(pushed):
        notes.append("accelerations without a unit were left out")
    chosen = {"rate": (rates, scales)} | ({"acceleration": (pushed, known)} if len(known) == 3 else {})
    turned = [i for i in others if _ROTOR.fullmatch(names[i] + units[i].casefold()) and _scale(units[i], "rotor_speed")]
    warm = [i for i in others if _TEMPERATURE.fullmatch(names[i]) and units[i].strip("° ").casefold() in ("c", "degc")]
    throttle = [i for i in others if _THROTTLE.fullmatch(names[i])][:1]
    read, triples, rows = table.columns((at, *turned, *warm[:1], *throttle), [places for places, _ in chosen.values()])
    stamps = read.pop(at)
    found = {"time": seconds_of(stamps, header[at], rows, None, notes, name, _WHAT)}
    ends = np.flatnonzero(np.isfinite(stamps))[[0, -1]]
    stamp_s = float(stamps[ends[0]] * found["time"][ends[1]] / np.ptp(stamps[ends]))
    # An hour of readings is kept in half the room; a gyro has fewer digits.
    found |= dict(zip(chosen, triples, strict=True))
    for key, (_, factors) in chosen.items():
        found[key] *= np.array(factors, dtype=np.float32)
    if turned:
        found["rotor_hz"] = np.mean([read[i] * (_scale(units[i], "rotor_speed") or 0.0) for i in turned], axis=0) / 60.0
    found |= {key: read[i] for key, each in {"temperature_c": warm, "throttle": throttle}.items() for i in each[:1]}
    del read, triples, stamps
    return evened(name, found.pop("time"), found, tuple(notes), stamp_s)


def _three(names: Sequence[str], at: int, *patterns: re.Pattern[str]) -> list[int]:
    """The columns of x, y and z by their names; fewer where not each is there just once."""
    for pattern in patterns:
        axes: dict[str, list[int]] = {"x": [], "y": [], "z": []}
        for i, name in enumerate(names):
            if i != at and (found := pattern.fullmatch(name)):
                axes[next(axis for axis in axes if found[axis])].append(i)
        if all(len(each) == 1 for each in axes.values()):
            return [each[0] for each in axes.values()]
    return []


def _scale(unit: str, dimension: str) -> float | None:
    try:
        return parse(f"1 {unit}", dimension, unit)
    except InputError:
        return None
