"""What a flight says: the band of manoeuvres, spectra, and how the camera followed the airframe in roll, pitch and yaw.

References
----------
.. [1] J. S. Bendat, A. G. Piersol, Random Data, 4th ed., ch. 7: conditioned spectra of several inputs (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from matdb.arrays import Array, Flags
from matdb.bench.flight.log import FlightLog
from matdb.bench.flight.rotor import RotorTrack
from matdb.bench.flight.two_logs import Aligned
from matdb.bench.forced import ForcedFit, fit_again, fit_forced
from matdb.bench.transfer import LAW, spectra

AXES: Final = ("roll", "pitch", "yaw")
#: Share of the rotation's power that lies in the manoeuvre band, and the highest frequency that counts, Hz.
_COMMANDED, _COMMANDED_HZ = 0.95, 20.0
#: How far a folded rotor line spreads beside what its rotors differ by, Hz.
_FOLDED_HZ: Final = 1.0
#: Bins of a spectrum whose median is the floor, and how far over it a line stands.
_FLOOR_BINS, _LINE = 17, 8.0
#: Above this frequency, Hz, a folded line is taken out however wide; below it the craft manoeuvres itself.
_WANDERS_HZ: Final = 8.0
#: Distance of the bins of a spectrum, Hz.
_BIN_HZ: Final = 0.25
#: Where a soft mount's resonance is looked for, Hz; the highest of them below the rotors' lowest speed.
_RESONANCE_HZ: Final = (4.0, 60.0)
#: Rotor lines that stand less over the floor do no harm, nor do those that wander farther, Hz.
_SEEN, _NARROW_HZ = 0.4, 10.0
#: Where single rotors stand, in standard deviations from their mean.
_ROTORS: Final = np.linspace(-1.5, 1.5, 7)
#: Gain and delay that a rigid mount and aligned clocks have; beyond, something else moves the camera.
_GAIN, _DELAY_S = 0.15, 3e-3
#: How far short records and noise turn what is found of the mounts' law.
_LAW_SD: Final = np.array([0.1, 0.05])


@dataclass(frozen=True, eq=False)
class Motion:
    """What a log's body did over a flight.

    Attributes
    ----------
    frequency_hz : ndarray, shape (F,)
        Above 0, Hz.
    density : ndarray, shape (F, 6)
        One-sided power spectral density of its acceleration along x, y, z, (m/s2)^2/Hz, zeros where not logged, and
        about them, (rad/s2)^2/Hz.
    manoeuvre_hz : float
        Frequency below which 95 % of the rotation's power lies, Hz.
    """

    frequency_hz: Array
    density: Array
    manoeuvre_hz: float


def motion(log: FlightLog, flew_s: tuple[float, float], track: RotorTrack) -> Motion:
    """Spectra and manoeuvre band of a log while it flew, by its own clock, without rotor lines that show folded."""
    from scipy import ndimage

    flying = slice(*(round((t - log.start_s) * log.hz) for t in flew_s))
    channels = [*log.rate[flying].T, *(() if log.acceleration is None else log.acceleration[flying].T)]
    found = [spectra(each[:, None], log.hz, round(log.hz / _BIN_HZ)) for each in channels]
    f, power = found[0][0][1:], np.stack([each[1:, 0, 0].real for _, each, _ in found], axis=1)
    floor, folded = ndimage.median_filter(power, (_FLOOR_BINS, 1), mode="nearest"), _folded(f, log.hz, track)
    power = np.where(folded[:, None] & (power > _LINE * floor), floor, power)
    density = np.zeros((f.size, 6))
    density[:, 3:] = power[:, :3] * (2.0 * math.pi * f[:, None]) ** 2
    density[:, : len(channels) - 3] = power[:, 3:]
    # A line that wanders is as wide as the floor is looked for: beside all of it lies what the craft was told to do.
    told, fast = power[:, :3], f > _WANDERS_HZ
    for unsure_hz in (2.0 * track.sd_hz, track.sd_hz, 0.0):
        wide = _folded(f, log.hz, track, unsure_hz) & fast
        if wide.any() and np.count_nonzero(~wide & fast) >= _FLOOR_BINS:
            ln_floor = np.log(np.maximum(floor[:, :3], 1e-300))  # an axis may stand still
            beside = [np.exp(np.interp(f, f[~wide], each[~wide])) for each in ln_floor.T]
            told = np.where(wide[:, None], np.minimum(told, np.stack(beside, axis=1)), told)
            break
    slow = np.cumsum(told[f <= _COMMANDED_HZ].sum(axis=1))
    return Motion(f, density, float(np.interp(_COMMANDED * slow[-1], slow, f[: slow.size])))


def _folded(frequency_hz: Array, rate_hz: float, track: RotorTrack, unsure_hz: float = 0.0) -> Flags:
    """Where rotor lines above half the sampling rate show, which nothing moved at, and how unsure their speed is."""
    shown = np.zeros(frequency_hz.size, dtype=np.bool_)
    for line in track.lines:
        at = line.order * track.hz
        at = at[at > 0.5 * rate_hz]
        places = np.unique(np.round(np.abs(at - rate_hz * np.round(at / rate_hz)) / _BIN_HZ)) * _BIN_HZ
        wide = _FOLDED_HZ + line.order * max(track.spread_hz, unsure_hz)
        shown[np.flatnonzero((np.abs(frequency_hz[:, None] - places) < wide).any(axis=1))] = True
    return shown


@dataclass(frozen=True, eq=False)
class Followed:
    """How the camera followed the airframe about one axis.

    Attributes
    ----------
    axis : str
        "roll", "pitch" or "yaw".
    fit : ForcedFit
        Its transmissibility with coherence, natural frequency and loss factor.
    missed : float
        Root mean square of the rotation that the camera missed in the manoeuvre band, over that of the airframe.
    amplitude_rad : float
        Peak of the camera's rotation against the airframe, root of twice its mean square, rad.
    refused : str
        Why no natural frequency is told; empty where one is.
    """

    axis: str
    fit: ForcedFit
    missed: float
    amplitude_rad: float
    refused: str


def followed(
    both: Aligned, track: RotorTrack, manoeuvre_hz: float, rates_hz: tuple[float, float]
) -> tuple[tuple[Followed, ...], Aligned]:
    """How the camera followed, axis by axis, and the clocks as the three phases together tell them.

    Parameters
    ----------
    both : Aligned
        The two logs.
    track : RotorTrack
        The rotor speed, whose lines are left out, also where they show below their frequency.
    manoeuvre_hz : float
        Top of the manoeuvre band, Hz.
    rates_hz : (float, float)
        Readings a second of the two logs.

    Notes
    -----
    What the airframe's other rotations and its accelerations move is taken out by conditioned spectra [1]_.
    """
    trace, least = both.trace, track.lowest_hz
    assert trace.base is not None
    lines, noise_hz = _lines(track, rates_hz)
    span = _RESONANCE_HZ[0], min(_RESONANCE_HZ[1], 0.9 * least)
    fits = []
    for k in range(len(AXES)):
        beside = np.delete(trace.base, k, axis=1)
        if both.acceleration is not None:
            beside = np.hstack([beside, both.acceleration])
        fits.append(
            fit_forced(
                trace,
                frequency_range_hz=span,
                channel=k,
                leave_out_hz=lines,
                beside=beside,
                coupled=True,
                noise_hz=noise_hz if np.any(noise_hz < span[1]) else None,
            )
        )
    shift, told = 0.0, [fit for fit in fits if fit.verdict != "refused"]
    if told:
        # Two clocks have one delay, told best by where the phase at a high resonance is sure.
        weight = [(fit.frequency_hz * fit.loss_factor / fit.loss_factor_sd) ** 2 for fit in told]
        late = float(np.average([fit.delay_s for fit in told], weights=weight))
        again = [fit_again(fit, late, _law([each for each in told if each is not fit]), span) for fit in fits]
        shift, fits = 0.0 if all(map(_doubt, again)) else late, again
    found = []
    for k, (axis, fit) in enumerate(zip(AXES, fits, strict=True)):
        apart = _against(trace.signal[:, k], trace.base[:, k], trace.rate_hz, manoeuvre_hz)
        found.append(Followed(axis, fit, *apart, _doubt(fit)))
    return tuple(found), replace(both, offset_s=both.offset_s - shift)


def _law(others: list[ForcedFit]) -> list[list[float]]:
    """What the other axes on the same mounts tell of their law, beside what is known while nothing is."""
    (law, law_sd), found = np.transpose(LAW), np.array([fit.law for fit in others]).reshape(-1, 2, 2)
    weight = np.maximum(found[:, :, 1] ** -2.0 - law_sd**-2.0, 0.0)
    every = weight.sum(axis=0) + law_sd**-2.0
    mean = (np.sum(weight * found[:, :, 0], axis=0) + law * law_sd**-2.0) / every
    told: list[list[float]] = np.stack([mean, np.hypot(every**-0.5, _LAW_SD)], axis=1).tolist()
    return told


def _doubt(fit: ForcedFit) -> str:
    """Why a fit is not to be told of; empty where it is."""
    if fit.verdict != "good":
        return fit.reasons[0]
    if abs(fit.gain - 1.0) > _GAIN or abs(fit.delay_s) > _DELAY_S:
        return f"at low frequency the camera turns {fit.gain:.2f} times the airframe, {1e3 * fit.delay_s:.1f} ms late"
    return ""


def _lines(track: RotorTrack, rates_hz: tuple[float, float]) -> tuple[list[tuple[float, float]], Array]:
    """Between which frequencies rotor lines are left out, and where others show folded in the airframe's log."""
    out, noise = list[tuple[float, float]](), [np.empty(0)]
    rotors, own = track.hz + track.spread_hz * _ROTORS[:, None], rates_hz[0]
    for line in track.lines:
        shown = [_shown(line.order * track.hz, hz) for hz in rates_hz]
        left_out = [line.height > _SEEN and high - low < _NARROW_HZ for low, high in shown]
        out += [each for each, is_out in zip(shown, left_out, strict=True) if is_out]
        if not left_out[0]:
            at = line.order * rotors
            noise.append(_at(at[at > 0.5 * own], own))
    return out, np.concatenate(noise)


def _shown(hz: Array, rate_hz: float) -> tuple[float, float]:
    """Between which frequencies a line shows, but for a fiftieth of the time at either end."""
    low, high = np.quantile(_at(hz, rate_hz), (0.02, 0.98))
    return float(low), float(high)


def _at(hz: Array, rate_hz: float) -> Array:
    """Where frequencies show at so many readings a second."""
    return np.abs(hz - rate_hz * np.round(hz / rate_hz))


def _against(camera: Array, airframe: Array, hz: float, top_hz: float) -> tuple[float, float]:
    """Share of the rotation missed in the manoeuvre band, and peak angle of the camera against the airframe, rad."""
    size = round(hz / _BIN_HZ)
    f, found, _ = spectra(np.column_stack([airframe, camera - airframe]), hz, size)
    base, apart = (found[1:, k, k].real for k in (0, 1))
    f = f[1:]
    slow = f <= top_hz
    angle = 2.0 * float(np.sum(apart / (2.0 * math.pi * f) ** 2) * (f[1] - f[0]))
    return math.sqrt(float(apart[slow].sum() / base[slow].sum())), math.sqrt(angle)
