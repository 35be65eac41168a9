"""Forced and in-flight records: transmissibility between a base and a payload sensor, resonance and loss factor.

References
----------
.. [1] S. S. Rao, Mechanical Vibrations, ch. 3: base excitation (from memory).
.. [2] H. C. Booij, G. P. J. M. Thoone, Rheol. Acta 21 (1982) 15: loss angle of a power law (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import product
from typing import Any, Final

import numpy as np

from matdb.arrays import Array, Complex
from matdb.bench.readings import Resonance
from matdb.bench.trace.record import Refused, Trace
from matdb.bench.transfer import GAIN, LAW, LEAST_SIZE, TransferFunction, smoothed, transfer_function
from matdb.errors import InputError

#: A loss factor less certain than this is flagged, then refused (relative standard deviation).
LOSS_LIMIT, LOSS_REFUSED = 0.10, 0.5
#: Bins of a Hann window are correlated: variances of a fit over them grow by 1 + 2 (2/3)^2 + 2 (1/6)^2.
_BIN_CORRELATION = 1.944
#: Median of squared misfits over variances above which the model does not hold: of one mode, and where nobody looks at
#: the picture.
_MOST_PLAIN, _MOST_COUPLED = 2.5, 1.6
#: Cycles at the lowest frequency from which on a record is long.
_LONG = 136.0
#: Least coherence at the resonance.
_COHERENT = 0.6
#: How far from a resonance a second mode shows most (ln of frequency), and from how many values on that is judged.
#: Standard deviation of the median misfit of one value in such bins, which go together.
_PEAK, _FEW, _LUCK = 0.2, 8, 3.2
#: Bins over the half-power width, and averages at least: of one motion of the base, and where others are taken out,
#: which windows as short as the mount rings do in part only.
_FINE, _FINE_BESIDE = (8.0, 8.0), (24.0, 30.0)
#: Power of a Hann window's transform, every half bin.
_HALF_BINS = np.arange(-1.5, 2.0, 0.5)
_HANN = np.array([0.02881, 0.25, 0.72051, 1.0, 0.72051, 0.25, 0.02881]) / 2.99864
#: First guess of the base sensor's noise, as a share of the least power; white noise beside folded lines, as one of
#: their mean; a mode with less of the motion is not told of.
_NOISE, _WHITE, _SHARES = 0.05, 0.05, 0.2
#: Share of noise in what the base shows at the resonance from which on nothing is told; how far it pulls damping.
_DROWNED, _PULLED = 0.1, 0.5
#: How far a fit that is too high, or too low, where mounts are stiff says that something pulls damping.
_TOO_HIGH, _TOO_LOW = 2.5, 1.0
#: What laws of mounts in flight leave open of a natural frequency, as a share (by simulated flights).
_OPEN: Final = 0.0015
#: What goes through below this share of the resonance tells the level alone, where so much of it is coherent.
_STIFF, _SURE = 0.3, 0.9
#: How likely another fit is beside the likeliest for it to count; how far a mode that is sure lowers the criterion.
_AS_LIKELY, _HARDLY = 0.05, 10.0
#: How near what is told of two modes lies to the truth, as shares (frequency, loss factor): another fit that is as
#: likely lies no farther off, and three standard deviations stay within.
_WITHIN: Final = (0.03, 0.15)
#: How far a delay that others told may be off, s.
_DELAY_SD_S: Final = 0.1e-3
#: Step of the slopes of a fit, of values about 1.
_STEP: Final = 1.5e-8
#: What a bench record may tell of the law, where nothing is known of it: as :data:`~matdb.bench.transfer.LAW`.
_ANY_LAW: Final = ((0.5, 0.5), (0.3, 0.5))
#: What two modes leave open of a mount in flight, as a share of the ratio: long records would show it, and do no harm.
_UNMODELLED = 0.01


@dataclass(frozen=True)
class ForcedFit:
    """Resonance and loss factor from a forced record.

    Attributes
    ----------
    verdict : str
        ``"good"``, ``"flagged"`` or ``"refused"``.
    reasons : tuple of str
        Why it is flagged or refused.
    frequency_hz, frequency_sd_hz : float
        Undamped natural frequency of the payload on its mounts, Hz (NaN when refused).
    loss_factor, loss_factor_sd : float
        Loss factor at that frequency.
    amplification : float
        Height of the fitted peak.
    gain : float
        Fitted ratio at low frequency: 1 for equal sensors.
    delay_s : float
        Fitted delay of the payload's signal, s.
    channel : int
        Which axis was fitted, from 0.
    transfer : TransferFunction or None
        What was fitted, for a picture.
    fitted : array of complex
        The fitted transfer function at its frequencies.
    law : ((float, float), (float, float))
        Which share the stiffness shows of the slope over frequency that a causal power law of its loss has, the power
        of frequency that its loss factor grows with, and their standard deviations.
    """

    verdict: str
    reasons: tuple[str, ...]
    frequency_hz: float
    frequency_sd_hz: float
    loss_factor: float
    loss_factor_sd: float
    amplification: float
    gain: float
    delay_s: float
    channel: int
    transfer: TransferFunction | None = field(repr=False)
    fitted: Complex = field(repr=False)
    law: Sequence[Sequence[float]] = LAW

    @property
    def damping_ratio(self) -> float:
        """Damping ratio at resonance, half the loss factor."""
        return 0.5 * self.loss_factor

    def reading(self, part: str, temperature_c: float, mass_kg: float, **more: Any) -> Resonance:
        """The reading to log.

        Parameters
        ----------
        part : str
            The part's name.
        temperature_c : float
            Its temperature, degrees Celsius.
        mass_kg : float
            The suspended mass, kg.
        **more
            Further fields of :class:`~matdb.bench.readings.Resonance`.

        Returns
        -------
        Resonance
            The reading; its half-power width is loss factor times frequency.

        Raises
        ------
        InputError
            The record was refused.

        """
        if self.verdict == "refused":
            raise InputError("record", "refused", "one with a clear resonance", self.reasons[0])
        f, width = self.frequency_hz, self.loss_factor * self.frequency_hz
        told: dict[str, Any] = {
            "frequency_hz": f,
            "frequency_sd_hz": self.frequency_sd_hz,
            "half_power_width_hz": width,
        }
        return Resonance(part=part, temperature_c=temperature_c, mass_kg=mass_kg, **told, **more)


def fit_forced(
    trace: Trace,
    *,
    frequency_range_hz: tuple[float, float] | None = None,
    channel: int | None = None,
    leave_out_hz: Sequence[tuple[float, float]] = (),
    beside: Array | None = None,
    coupled: bool = False,
    noise_hz: Array | None = None,
) -> ForcedFit:
    r"""Natural frequency and loss factor from a record with a sensor on the base and one on the payload.

    .. math:: H(f) = g\,e^{-2\pi i f\tau} \sum_k w_k \frac{1 + i\eta(f)}{1 - (f/f_k)^{2 - p} + i\eta(f)},
       \quad \sum_k w_k = 1

    Parameters
    ----------
    trace : Trace
        The record: shaker, hand shaking or flight, broadband or swept, several tens of cycles at least.
    frequency_range_hz : (float, float), optional
        Where to look for the resonance, Hz; else 2 Hz to 0.4 of the sampling rate.
    channel : int, optional
        Which axis; else the one whose base moves most.
    leave_out_hz : sequence of (float, float)
        Frequencies at which something else than the base moves the payload, such as lines that alias there.
    beside : array, shape (n, others), optional
        As of :func:`transfer_function`.
    coupled : bool
        Whether a second mode of the same loss factor may share in it, and noise of the base sensor lower the ratio
        where the base moves little; the mode with the larger share is told. Stiffness then grows with a power p of
        frequency up to that of a causal power law, 2/pi atan(eta) [2]_, the loss factor with another; else only where
        the record clearly shows it.
    noise_hz : array, optional
        Where, time after time, the base's sensor showed a line that nothing moved at: coupled, its noise may lie there.

    Raises
    ------
    InputError
        No base sensor, a record too short, a range that cannot be.

    Notes
    -----
    The model is averaged over the window's width, so a peak that is narrower than a few bins is not read as more
    damped. Bins weigh by the variance that their coherence implies; gain and delay between the sensors are fitted
    too. Noise of the base sensor lowers the ratio where the base moves little; low coherence is flagged. Coupled, one
    mode and two are weighed by Akaike's criterion; where others are as likely and tell other values, nothing is told.
    Source: [1]_.
    """
    if trace.base is None:
        raise InputError("base", None, "the signals of a sensor on the base", "name the base's columns")
    low, high = (2.0, 0.4 * trace.rate_hz) if frequency_range_hz is None else frequency_range_hz
    high = min(high, 0.4 * trace.rate_hz)
    if not 0.0 < low < high:
        raise InputError("frequency_range_hz", (low, high), "two frequencies, the lower first, within the record's own")
    channel = int(np.argmax(np.std(trace.base, axis=0))) if channel is None else channel
    heard = partial(_heard, trace, channel, beside, leave_out_hz, noise_hz)
    span = float(np.ptp(trace.time_s))
    # A long record is averaged rather than resolved.
    transfer = heard(low / 16.0 if span * low > _LONG else None)
    settled = False
    try:
        values = _first_guess(transfer, low, high)
        fine, many = _FINE if beside is None else _FINE_BESIDE
        for turn in range(4):
            found = _fit(transfer, values, low, high, coupled=coupled)
            values = found.values
            if settled or turn == 3:
                break
            wanted = min(max(values[1] * values[0] / fine, many / span, 0.06 * low), trace.rate_hz / LEAST_SIZE)
            settled = bool(0.8 < wanted / transfer.resolution_hz < 1.25 or wanted > 0.25 * values[0])
            if not settled:
                transfer = heard(wanted)
        found = found if coupled else _growing(transfer, found, low, high)
    except Refused as why:
        return _refused(why, channel, transfer)
    return _concluded(transfer, found, channel, low, high, coupled=coupled)


def fit_again(
    fit: ForcedFit, delay_s: float, law: Sequence[Sequence[float]], frequency_range_hz: tuple[float, float]
) -> ForcedFit:
    """A coupled fit of :func:`fit_forced` again, once other axes of the same mounts and sensors have told more.

    Damping and delay both turn the phase at the resonance: an axis that is fitted by itself takes one for the other.
    """
    assert fit.transfer is not None
    transfer, ends = replace(fit.transfer, delay_s=delay_s, law=law), frequency_range_hz
    try:
        start = np.array([fit.frequency_hz, fit.loss_factor, fit.gain, delay_s])
        start = start if np.all(np.isfinite(start)) else _first_guess(transfer, *ends)
        found = _fit(transfer, start, *ends, coupled=True)
    except Refused as why:
        return _refused(why, fit.channel, transfer)
    return _concluded(transfer, found, fit.channel, *ends, coupled=True)


def _concluded(
    transfer: TransferFunction, found: _Found, channel: int, low: float, high: float, *, coupled: bool
) -> ForcedFit:
    """What a fit of one mode tells, coupled also with a second one."""
    try:
        if coupled:
            found = _coupled(transfer, found.values, low, high)
        f0, eta, gain, delay = found.values[:4].tolist()
        f0_sd, eta_sd = found.sd.tolist()
        if not (low <= f0 <= high) or eta_sd > LOSS_REFUSED * eta or f0_sd > 0.1 * f0:
            raise Refused(f"{f0:.3g} +- {f0_sd:.2g} Hz, loss factor {eta:.2g} +- {eta_sd:.2g}: too uncertain to log")
    except Refused as why:
        return _refused(why, channel, transfer)
    reasons = _doubts(transfer, found, coupled=coupled)
    peak, fitted = math.sqrt(1.0 + eta * eta) / eta, _model(found.values, transfer.frequency_hz)
    verdict, told = "flagged" if reasons else "good", (f0, f0_sd, eta, eta_sd, peak, gain, delay)
    return ForcedFit(verdict, reasons, *told, channel, transfer, fitted, found.law)


def _refused(why: Refused, channel: int, transfer: TransferFunction) -> ForcedFit:
    nan, nothing = math.nan, np.full(transfer.frequency_hz.size, np.nan, dtype=complex)
    return ForcedFit("refused", (str(why),), nan, nan, nan, nan, nan, nan, nan, channel, transfer, nothing)


def _heard(
    trace: Trace,
    channel: int,
    beside: Array | None,
    leave_out_hz: Sequence[tuple[float, float]],
    noise_hz: Array | None,
    resolution_hz: float | None = None,
) -> TransferFunction:
    """The transfer function, without coherence where frequencies are left out."""
    found = transfer_function(trace, channel=channel, resolution_hz=resolution_hz, beside=beside)
    f, width = found.frequency_hz, found.resolution_hz
    out = np.any([(f > a - width) & (f < b + width) for a, b in leave_out_hz], axis=0)
    if noise_hz is not None:
        many = np.histogram(noise_hz, np.append(f, f[-1] + width) - 0.5 * width)[0]
        found = replace(found, noise=smoothed(many / max(many.mean(), 1.0)) + _WHITE)
    return replace(found, coherence=np.where(out, 0.0, found.coherence))


def _doubts(transfer: TransferFunction, found: _Found, *, coupled: bool) -> tuple[str, ...]:
    """Why a fit is to be looked at twice."""
    (f0, eta, gain), (f0_sd, eta_sd) = found.values[:3].tolist(), found.sd.tolist()
    most_f0, most_eta = (within / 3.0 for within in _WITHIN) if coupled else (math.inf, LOSS_LIMIT)
    most, modes = (_MOST_COUPLED, "one mode or two") if coupled else (_MOST_PLAIN, "one mode")
    at = (transfer.frequency_hz > 0.8 * f0) & (transfer.frequency_hz < 1.2 * f0)
    seen = float(np.median(transfer.coherence[at])) if np.any(at) else 0.0
    doubts = {
        f"coherence {seen:.2f} at the resonance: noise, play or another path of excitation": seen < _COHERENT,
        f"{100 * found.drowned:.0f} % of what the base's sensor shows at the resonance is noise, or lines that show "
        "folded; log faster": found.drowned > _DROWNED,
        f"natural frequency is known to {100 * f0_sd / f0:.1f} % only, as where two modes lie closer than they are "
        "wide; fly longer": f0_sd > most_f0 * f0,
        f"loss factor is known to {100 * eta_sd / eta:.0f} % only; record longer": eta_sd > most_eta * eta,
        "the peak is narrower than three bins; record longer": transfer.resolution_hz > 0.35 * eta * f0,
        f"the transfer function is not that of {modes}; look at the picture": found.chi2 > most,
        f"the sensors' ratio at low frequency is {gain:.2f}, not 1: check their ranges and places": (
            not GAIN[0] < gain < GAIN[1]
        ),
        f"only {transfer.averages:.0f} averages; record longer": transfer.averages < 6,
    }
    return tuple(text for text, holds in doubts.items() if holds)


def _model(values: Array, f: Array) -> Complex:
    """The law of :func:`fit_forced`, of values as those of :class:`_Found`, (k,), or (k, n, 1...) for n at once."""
    f0, eta, gain, delay = values[:4]
    slope, growth, ratio, share = tuple(values[5:]) + (0.0, 0.0, 1.0, 0.0)[max(len(values) - 5, 0) :]
    ln_f, power = np.log(np.maximum(np.abs(f / f0), 1e-9)), 2.0 - slope * (2.0 / np.pi) * np.arctan(eta)
    loss, own = 1.0 + 1j * eta * np.exp(growth * ln_f), np.exp(power * ln_f)
    through = (1.0 - share) * loss / (loss - own)
    through += share * loss / (loss - own * ratio**-power) if len(values) > 7 else 0.0
    return np.asarray(gain * np.exp(-2j * np.pi * f * delay) * through)


def _smeared(values: Array, f: Array, width: float) -> Complex:
    """The model as a Hann window sees it: averaged over neighbouring frequencies."""
    return np.asarray(_model(values, f[:, None] + width * _HALF_BINS) @ _HANN)


def _first_guess(transfer: TransferFunction, low: float, high: float) -> Array:
    f = transfer.frequency_hz
    sure = (f >= low) & (f <= high) & (transfer.coherence > max(0.3, 3.0 / transfer.averages))
    height = np.where(sure, np.abs(transfer.ratio), 0.0)
    height = np.where(sure, np.minimum(height, 3.0 * smoothed(height) + 1e-12), 0.0)
    f, seen, tried = f[sure], np.abs(transfer.ratio[sure]), list[tuple[float, float, float, float]]()
    # A lively bin is not always the peak: each of a few starts is scored by its misfit.
    starts = [transfer.frequency_hz[np.argmax(height)], *np.geomspace(low, high, 24)]
    for eta, f0 in product((0.05, 0.15, 0.4), starts if f.size >= 4 else ()):
        model = np.abs(_model(np.array([f0, eta, 1.0, 0.0]), f))
        gain = float(np.median(seen / model))
        if 0.3 < gain < 3.0:
            misfit = np.abs(np.log(seen / (gain * model)))
            near = np.exp(-0.5 * (np.log(f / f0) / 0.5) ** 2)
            tried.append((float(np.sum(misfit * near) / np.sum(near)), f0, eta, gain))
    if not tried:
        raise Refused("no resonance stands out with enough coherence between base and payload")
    return np.array([*min(tried)[1:], 0.0])


@dataclass(frozen=True, eq=False)
class _Found:
    """A fit: f0, loss factor, gain, delay, then noise of the base and law, then the second mode's ratio and share.

    Standard deviations are of the first two; ``misfit`` is the sum of squares, of which ``noise`` counts as one, and
    ``chi2`` their median; ``drowned`` is the share of noise in the base's power at the peak.
    """

    values: Array
    sd: Array
    law: Sequence[Sequence[float]]
    misfit: float
    noise: float
    chi2: float
    drowned: float


def _fit(transfer: TransferFunction, start: Array, low: float, high: float, *, coupled: bool = False) -> _Found:
    from scipy.optimize import least_squares

    f = transfer.frequency_hz
    inside = (f > max(0.35 * start[0], 1.5 * transfer.resolution_hz)) & (f < min(2.2 * start[0], 1.2 * high))
    inside &= transfer.coherence > max(0.15, 2.0 / transfer.averages)
    if np.sum(inside) < 6:
        raise Refused("too few coherent bins around the resonance; shake harder or longer")
    x, y = f[inside], transfer.ratio[inside]
    sd = np.maximum(transfer.sd[inside], (_UNMODELLED if coupled else 1e-4) * np.abs(y))
    # Noise of the base sensor, as a share of what it is where it drowns most.
    clear = transfer.base[inside] / (1.0 if transfer.noise is None else transfer.noise[inside])
    drowned = clear.min() / clear

    many = len(start)
    unit = np.array([start[0], 1.0, 1.0, 1.0 / start[0], 1.0, 1.0, 1.0, 1.0, 1.0])[:many]
    law, law_sd = np.transpose(transfer.law)

    def misfits(scaled: Array) -> Array:
        """Of some scaled values at once, (n, values): shape (n, m)."""
        values = scaled.T[:, :, None] * unit[:, None, None]
        seen = _smeared(values[..., None], x, transfer.resolution_hz)
        rest = (seen * (1.0 - drowned * (values[4] if many > 4 else 0.0)) - y) / sd
        # What is known weighs as do bins, each of which counts for less than one.
        late = [] if transfer.delay_s is None else [(values[3] - transfer.delay_s) / _DELAY_SD_S]
        steep = [math.sqrt(_BIN_CORRELATION) * (scaled[:, 5:7] - law) / law_sd] if many > 4 else []
        return np.hstack([rest.real, rest.imag, *late, *steep])

    def misfit(scaled: Array) -> Array:
        return np.asarray(misfits(scaled[None])[0])

    def slopes(scaled: Array) -> Array:
        step = np.where(scaled < bounds[1] - _STEP, _STEP, -_STEP)
        found = misfits(np.vstack([scaled, scaled + np.diag(step)]))
        return np.asarray(((found[1:] - found[0]) / step[:, None]).T)

    # A viscous loss grows as frequency does; in flight none grows that fast.
    drowns, growth = (0.7, 0.8) if coupled else (1e-6, 1.2)
    least, most = [0.4, 1e-3, 0.2, -0.5, 0.0, 0.0, -0.3, 0.4, -1.0], [2.5, 3.0, 5.0, 0.5, drowns, 1.0, growth, 2.5, 2.0]
    bounds = np.array([least, most])[:, :many]
    first = np.clip(start / unit, *(bounds + 1e-6 * (bounds[1] - bounds[0]) * [[1.0], [-1.0]]))
    # A soft loss keeps rotor lines and a second mode from pulling the fit.
    found = least_squares(misfit, first, slopes, bounds=bounds, loss="soft_l1", f_scale=3.0)
    rest = misfit(found.x)
    chi2 = float(np.median(rest**2) / 0.455)
    near = np.abs(np.log(x / (found.x[0] * start[0]))) < _PEAK
    share = float(found.x[4] * np.median(drowned[near])) if many > 4 and near.any() else 0.0
    peak = np.tile(near, 2)
    if coupled and np.sum(peak) >= _FEW:
        # The flanks are many, but tell neither mode apart from the other.
        luck = 1.0 + _LUCK / math.sqrt(float(np.sum(peak)))
        chi2 = max(chi2, float(np.median(rest[: peak.size][peak] ** 2) / 0.455) / luck)
    noise = max(1.0, float(np.mean(np.minimum(rest**2, 9.0)))) * _BIN_CORRELATION
    values, told = found.x * unit, np.eye(many)[:2]
    if many > 7 and values[8] > 0.5:
        # The mode with the larger share is told.
        told[0, [0, 7]], told[1, 1] = (values[7], values[0]), values[7] ** values[6]
        values[[0, 7, 8]] = values[0] * values[7], 1.0 / values[7], 1.0 - values[8]
        values[1] *= told[1, 1]
    spread = np.linalg.pinv(found.jac.T @ found.jac) * np.outer(unit, unit)
    # Noise that is not white, as lines that show folded, pulls the damping.
    high = _too_high(transfer, values) if coupled else 0.0
    pulled = math.hypot(_PULLED * share, max(_TOO_HIGH * high, -_TOO_LOW * high))
    sd = np.hypot(np.sqrt(noise * np.diag(told @ spread @ told.T)), np.array([_OPEN * coupled, pulled]) * values[:2])
    law_found = np.stack([values[5:7], np.sqrt(noise * np.diag(spread)[5:7])], axis=1).tolist() if many > 4 else LAW
    return _Found(values, sd, law_found, 2.0 * found.cost, noise, chi2, share)


def _too_high(transfer: TransferFunction, values: Array) -> float:
    """How far a fit lies above what goes through where the mount is stiff, as a share; 0 where nothing shows it."""
    f = transfer.frequency_hz
    below = (f > 1.5 * transfer.resolution_hz) & (f < _STIFF * values[0]) & (transfer.coherence > _SURE)
    if not below.any():
        return 0.0
    return float(np.median(np.abs(_model(values, f[below]) / transfer.ratio[below]))) - 1.0


def _growing(transfer: TransferFunction, one: _Found, low: float, high: float) -> _Found:
    """The fit with stiffness and loss that change with frequency, as of viscous mounts, where it is clearly better."""
    first = np.array([*one.values, 0.0, *np.array(_ANY_LAW)[:, 0]])
    grown = _fit(replace(transfer, law=_ANY_LAW), first, low, high)
    return grown if one.misfit - grown.misfit > _HARDLY * grown.noise else one


def _coupled(transfer: TransferFunction, one: Array, low: float, high: float) -> _Found:
    """The likeliest fit of one mode and of two. Raises Refused where another as likely tells other values."""
    first = np.array([*one, _NOISE, *np.array(transfer.law)[:, 0]])
    if transfer.noise is not None:
        either = transfer, replace(transfer, noise=None)
        transfer = min(either, key=lambda each: _fit(each, first, low, high, coupled=True).misfit)
    starts = [(), *_seconds(transfer, one)]
    tried = [_fit(transfer, np.append(first, second), low, high, coupled=True) for second in starts]
    noise = min(tried, key=lambda each: each.misfit).noise
    price = np.array([each.misfit / noise + 2.0 * len(each.values) for each in tried])
    best = tried[int(np.argmin(price))]
    open_ = best.sd / best.values[:2]
    hardly = len(best.values) > 7 and abs(best.values[8]) < _SHARES and price[0] - price.min() < _HARDLY
    for each, dear in zip(tried, price, strict=True):
        two = each is not best and len(each.values) > 7
        # A faint mode that is hardly there leaves it to one alone to say whether that is two.
        least = price[0] if hardly and two and abs(each.values[8]) > _SHARES else price.min()
        weight = math.exp(0.5 * min(least - dear, 0.0))
        near = np.array([_nearest(each.values, best.values[0]), each.values[1]])
        apart = np.abs(near / best.values[:2] - 1.0)
        if weight > _AS_LIKELY and np.any(apart > _WITHIN) and low <= best.values[0] <= high:
            both = " or ".join(f"{f:.3g} Hz with a loss factor of {eta:.2g}" for f, eta in (best.values[:2], near))
            raise Refused(f"two fits are as likely, {both}: fly longer, and log the airframe's accelerations")
        # Which place between two modes is theirs stays open too, unless their fit tells better.
        split = min(each.sd[0] / each.values[0], abs(each.values[7] - 1.0) / math.sqrt(12.0)) if two else 0.0
        open_ = np.maximum(open_, math.sqrt(weight) * np.hypot(apart, [split, 0.0]))
    return replace(best, sd=open_ * best.values[:2])


def _seconds(transfer: TransferFunction, one: Array) -> list[tuple[float, float]]:
    """Ratio and share of second modes that take most of what one leaves, far and near, below and above it."""
    f = transfer.frequency_hz
    near = (f > 0.35 * one[0]) & (f < 2.2 * one[0]) & (transfer.coherence > 0.15)
    weight = 1.0 / np.maximum(transfer.sd, _UNMODELLED * np.abs(transfer.ratio))[near] ** 2
    single = _model(one, f[near])
    left, found = transfer.ratio[near] - single, list[tuple[float, float]]()
    for ends in ((0.5, 0.75), (0.77, 0.95), (1.05, 1.3), (1.33, 2.0)):
        best = 0.0
        for ratio in np.geomspace(*ends, 6):
            # A share is linear in what it adds.
            added = _model(np.array([*one, 0.0, 0.0, 0.0, ratio, 1.0]), f[near]) - single
            across, size = np.sum(weight * (np.conj(added) * left).real), np.sum(weight * np.abs(added) ** 2)
            if across**2 / size >= best:
                best, second = across**2 / size, (float(ratio), float(across / size))
        found.append(second)
    return found


def _nearest(values: Array, hz: float) -> float:
    """The mode nearest to a frequency of those that have a share, Hz."""
    modes = [values[0], *([values[0] * values[7]] if len(values) > 7 and values[8] > _SHARES else [])]
    return float(min(modes, key=lambda f: abs(f - hz)))
