"""Raw bench figures reduced to damping and stiffness: decrement, half-power width, amplification, rebound.

Arrays broadcast; a scalar in gives a scalar out. Frequencies in Hz, masses in kg, stiffnesses in N/mm.

References
----------
.. [1] ISO 4664-1, Rubber, vulcanized or thermoplastic: determination of dynamic properties (from memory).
.. [2] S. S. Rao, Mechanical Vibrations, ch. 2 and 3: decrement, resonance (from memory).
.. [3] A. N. Gent, ed., Engineering with Rubber: rebound resilience and loss (from memory).

"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matdb.errors import InputError
from matdb.units import STANDARD_GRAVITY_M_S2

__all__ = [
    "damping_ratio_from_decrement",
    "decrement_from_amplitudes",
    "decrement_from_damping_ratio",
    "loss_factor_from_amplification",
    "loss_factor_from_decrement",
    "loss_factor_from_half_power",
    "loss_factor_from_rebound",
    "natural_frequency_from_damped",
    "natural_frequency_from_deflection",
    "stiffness_from_ring_down",
    "transmissibility",
]

Array = NDArray[np.float64]


def _checked(
    field: str,
    values: ArrayLike,
    allowed: str,
    low: float,
    high: float,
    *,
    open_low: bool,
    open_high: bool = False,
) -> Array:
    try:
        array = np.asarray(values, dtype=float)
    except (TypeError, ValueError, OverflowError):
        raise InputError(field, values, allowed) from None
    good = (array > low if open_low else array >= low) & (array < high if open_high else array <= high)
    if not np.all(good):
        raise InputError(field, np.atleast_1d(array)[~np.atleast_1d(good)][0], allowed)
    return array


def _positive(field: str, values: ArrayLike, unit: str = "") -> Array:
    return _checked(field, values, f"above 0 {unit}".rstrip(), 0.0, np.inf, open_low=True, open_high=True)


def decrement_from_amplitudes(first: ArrayLike, last: ArrayLike, cycles: ArrayLike) -> Any:
    r"""Logarithmic decrement per cycle from two amplitudes ``cycles`` apart.

    .. math:: \Lambda = \frac{1}{N} \ln\frac{x_0}{x_N}

    Parameters
    ----------
    first, last : array_like
        Amplitudes x0 and xN above the rest position, same unit, above 0; ``last`` below ``first``.
    cycles : array_like
        Number N of whole cycles between them, above 0 (half cycles count 0.5).

    Returns
    -------
    float or array
        Logarithmic decrement (dimensionless).

    Raises
    ------
    InputError
        An amplitude or N not above 0, or the last amplitude not below the first.

    Notes
    -----
    Source: [2]_ (see the module).

    """
    x0, xn, n = (
        _positive("first amplitude", first),
        _positive("last amplitude", last),
        _positive("cycles", cycles),
    )
    ratio = x0 / xn
    if np.any(ratio <= 1.0):
        raise InputError("last amplitude", np.ravel(xn)[0], "below the first amplitude", "swap the two or read again")
    return (np.log(ratio) / n)[()]


def damping_ratio_from_decrement(log_decrement: ArrayLike) -> Any:
    r"""Damping ratio of a viscously damped oscillator from its logarithmic decrement.

    .. math:: \zeta = \frac{d}{\sqrt{1 + d^2}}, \qquad d = \Lambda / 2\pi

    Parameters
    ----------
    log_decrement : array_like
        Logarithmic decrement per cycle, 0 or more.

    Returns
    -------
    float or array
        Damping ratio, 0 to below 1.

    Raises
    ------
    InputError
        A negative or non-finite decrement.

    Notes
    -----
    Exact; source [2]_.

    """
    d = _decrement(log_decrement) / (2.0 * np.pi)
    return (d / np.sqrt(1.0 + d * d))[()]


def decrement_from_damping_ratio(damping_ratio: ArrayLike) -> Any:
    r"""Logarithmic decrement from the damping ratio.

    .. math:: \Lambda = \frac{2\pi\zeta}{\sqrt{1 - \zeta^2}}

    Parameters
    ----------
    damping_ratio : array_like
        Damping ratio, from 0 to below 1.

    Returns
    -------
    float or array
        Logarithmic decrement per cycle.

    Raises
    ------
    InputError
        A damping ratio outside 0 to below 1.

    Examples
    --------
    >>> round(float(decrement_from_damping_ratio(0.1)), 4)
    0.6315

    """
    zeta = _checked("damping_ratio", damping_ratio, "from 0 to below 1", 0.0, 1.0, open_low=False, open_high=True)
    return (2.0 * np.pi * zeta / np.sqrt(1.0 - zeta * zeta))[()]


def loss_factor_from_decrement(log_decrement: ArrayLike, *, form: str = "iso") -> Any:
    r"""Loss factor from the logarithmic decrement of a ring-down.

    .. math::

        \text{iso: } \eta = \frac{\Lambda/\pi}{1 + \Lambda^2/4\pi^2} = \frac{2d}{1+d^2}
        \qquad \text{small: } \eta = \Lambda/\pi = 2d

    The iso form is the exact loss factor of a spring and dashpot at the damped natural frequency
    (2 zeta sqrt(1 - zeta^2)); the small one is its limit for light damping, 1 % high at a decrement of 0.63.

    Parameters
    ----------
    log_decrement : array_like
        Logarithmic decrement per cycle, 0 or more; the iso form turns back above 2 pi.
    form : str
        ``"iso"`` or ``"small"``.

    Returns
    -------
    float or array
        Loss factor (dimensionless).

    Raises
    ------
    InputError
        A negative or non-finite decrement, a decrement above 2 pi with the iso form, an unknown form.

    Notes
    -----
    Source: [1]_. A material whose loss factor hardly varies with frequency is described by neither exactly;
    the likelihood of the fit solves m s^2 + B E*(s) = 0 instead.

    Examples
    --------
    >>> round(float(loss_factor_from_decrement(0.6315)), 4)
    0.199

    """
    decrement = _decrement(log_decrement)
    if form == "small":
        return (decrement / np.pi)[()]
    if form != "iso":
        raise InputError("form", form, "iso or small")
    if np.any(decrement > 2.0 * np.pi):
        raise InputError("log_decrement", np.max(decrement), "at most 6.283", "so heavy a decay has no cycles to read")
    d = decrement / (2.0 * np.pi)
    return (2.0 * d / (1.0 + d * d))[()]


def natural_frequency_from_damped(frequency_hz: ArrayLike, log_decrement: ArrayLike) -> Any:
    """Undamped natural frequency from the damped one: f0 = f_d sqrt(1 + d^2), d = decrement / 2 pi.

    Parameters
    ----------
    frequency_hz : array_like
        Damped natural frequency read from the ring-down, Hz, above 0.
    log_decrement : array_like
        Logarithmic decrement per cycle, 0 or more.

    Returns
    -------
    float or array
        Undamped natural frequency, Hz.

    Raises
    ------
    InputError
        A frequency not above 0, or a negative decrement.

    Notes
    -----
    Exact for viscous damping; source [2]_.

    """
    d = _decrement(log_decrement) / (2.0 * np.pi)
    return (_positive("frequency_hz", frequency_hz, "Hz") * np.sqrt(1.0 + d * d))[()]


def stiffness_from_ring_down(
    mass_kg: ArrayLike, frequency_hz: ArrayLike, log_decrement: ArrayLike = 0.0, count: ArrayLike = 1
) -> Any:
    r"""Storage stiffness of one part from the ring-down of a mass on ``count`` equal ones.

    .. math:: k' = \frac{m (2\pi f_d)^2 (1 + d^2)}{n}, \qquad d = \Lambda / 2\pi

    Parameters
    ----------
    mass_kg : array_like
        Ringing mass, kg, above 0.
    frequency_hz : array_like
        Damped natural frequency, Hz, above 0.
    log_decrement : array_like
        Logarithmic decrement per cycle, 0 or more.
    count : array_like
        Number of equal parts that share the mass, above 0.

    Returns
    -------
    float or array
        Stiffness of one part, N/mm.

    Raises
    ------
    InputError
        A value outside these ranges.

    Notes
    -----
    Source: [1]_.

    """
    f0 = natural_frequency_from_damped(frequency_hz, log_decrement)
    mass, n = _positive("mass_kg", mass_kg, "kg"), _positive("count", count)
    return (1e-3 * mass * (2.0 * np.pi * f0) ** 2 / n)[()]


def loss_factor_from_half_power(width_hz: ArrayLike, frequency_hz: ArrayLike, *, form: str = "exact") -> Any:
    r"""Loss factor from the half-power width of a resonance peak.

    .. math:: \eta = w\sqrt{1 - w^2/4} \text{ (exact)}, \quad \eta = w \text{ (small)}, \quad w = \Delta f/f

    With r the frequency over f0, the peak of a mass on a spring k(1 + i eta) under a force is 1/eta high at
    r = 1, and 1/sqrt(2) of that at r = sqrt(1 - eta) and sqrt(1 + eta); the exact form inverts their
    distance.

    Parameters
    ----------
    width_hz : array_like
        Width of the peak at 1/sqrt(2) of its height, Hz, above 0.
    frequency_hz : array_like
        Frequency of the peak, Hz, above 0.
    form : str
        ``"exact"`` (structural damping) or ``"small"``.

    Returns
    -------
    float or array
        Loss factor (dimensionless).

    Raises
    ------
    InputError
        A value not above 0, an unknown form, a width of sqrt(2) times the frequency or more (exact form).

    Notes
    -----
    Source: [2]_.

    """
    width, f0 = _positive("width_hz", width_hz, "Hz"), _positive("frequency_hz", frequency_hz, "Hz")
    w = width / f0
    if form == "small":
        return w[()]
    if form != "exact":
        raise InputError("form", form, "exact or small")
    if np.any(w >= np.sqrt(2.0)):
        raise InputError("width_hz", np.max(width), "below 1.414 times the resonance frequency", "read a ring-down")
    return (w * np.sqrt(1.0 - 0.25 * w * w))[()]


def loss_factor_from_amplification(amplification: ArrayLike, *, kind: str = "transmissibility") -> Any:
    r"""Loss factor from the height of a resonance peak.

    .. math::

        \eta = 1/\sqrt{Q^2 - 1} \text{ (transmissibility)}, \qquad \eta = 1/Q \text{ (force)}

    Parameters
    ----------
    amplification : array_like
        Peak over the value at rest, above 1 (transmissibility) or above 0 (force).
    kind : str
        ``"transmissibility"`` (base moved, payload read) or ``"force"`` (mass driven by a force).

    Returns
    -------
    float or array
        Loss factor (dimensionless) of a spring k(1 + i eta).

    Raises
    ------
    InputError
        An amplification out of range, or an unknown kind.

    Notes
    -----
    Source: [2]_.

    """
    if kind == "force":
        return (1.0 / _positive("amplification", amplification))[()]
    if kind != "transmissibility":
        raise InputError("kind", kind, "transmissibility or force")
    q = _checked("amplification", amplification, "above 1", 1.0, np.inf, open_low=True, open_high=True)
    return (1.0 / np.sqrt(q * q - 1.0))[()]


def loss_factor_from_rebound(resilience: ArrayLike) -> Any:
    r"""Loss factor from rebound resilience, the share of energy that a bounce gives back.

    .. math:: \eta \approx -\ln(R)/\pi

    Parameters
    ----------
    resilience : array_like
        Energy (or height) of the rebound over that of the blow, above 0 and at most 1.

    Returns
    -------
    float or array
        Loss factor (dimensionless) near the blow's own frequency, 50 to 200 Hz; good below about 0.5.

    Raises
    ------
    InputError
        A resilience outside 0 to 1.

    Notes
    -----
    The blow is half a cycle, so energy falls by exp(-pi eta). Source: [3]_.

    """
    r = _checked("resilience", resilience, "above 0 and at most 1", 0.0, 1.0, open_low=True)
    return (-np.log(r) / np.pi + 0.0)[()]


def natural_frequency_from_deflection(deflection_mm: ArrayLike) -> Any:
    """Natural frequency of a mass whose weight deflects a linear spring: f = sqrt(g / x) / 2 pi.

    Parameters
    ----------
    deflection_mm : array_like
        Static deflection, mm, above 0.

    Returns
    -------
    float or array
        Natural frequency, Hz, if the dynamic stiffness equals the static one (elastomers: it is higher).

    Raises
    ------
    InputError
        A deflection not above 0.

    Notes
    -----
    Source: [2]_.

    Examples
    --------
    >>> round(float(natural_frequency_from_deflection(1.0)), 2)
    15.76

    """
    x = _positive("deflection_mm", deflection_mm, "mm")
    return (np.sqrt(STANDARD_GRAVITY_M_S2 * 1e3 / x) / (2.0 * np.pi))[()]


def transmissibility(
    ratio: ArrayLike, *, damping_ratio: ArrayLike | None = None, loss_factor: ArrayLike | None = None
) -> Any:
    r"""Absolute transmissibility of a mass on a damped spring at a frequency ratio.

    .. math::

        |T| = \left|\frac{1 + i\delta}{1 - r^2 + i\delta}\right|, \qquad
        \delta = 2\zeta r \text{ (viscous) or } \eta \text{ (structural)}

    Parameters
    ----------
    ratio : array_like
        Frequency over undamped natural frequency, 0 or more.
    damping_ratio, loss_factor : array_like
        One of the two, 0 or more: viscous or structural damping.

    Returns
    -------
    float or array
        Amplitude of the mass over amplitude of the base.

    Raises
    ------
    InputError
        Neither or both dampings given, or a negative value.

    Notes
    -----
    Source: [2]_.

    """
    r = _checked("ratio", ratio, "0 or more", 0.0, np.inf, open_low=False, open_high=True)
    if (damping_ratio is None) == (loss_factor is None):
        raise InputError("damping", None, "one of damping_ratio and loss_factor")
    if damping_ratio is not None:
        zeta = _checked("damping_ratio", damping_ratio, "0 or more", 0.0, np.inf, open_low=False, open_high=True)
        delta = 2.0 * zeta * r
    else:
        assert loss_factor is not None
        delta = _checked("loss_factor", loss_factor, "0 or more", 0.0, np.inf, open_low=False, open_high=True)
    with np.errstate(divide="ignore"):
        return np.abs((1.0 + 1j * delta) / (1.0 - r * r + 1j * delta))[()]


def _decrement(values: ArrayLike) -> Array:
    return _checked("log_decrement", values, "0 or more", 0.0, np.inf, open_low=False, open_high=True)
