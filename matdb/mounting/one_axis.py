"""One suspended axis: natural frequency, transmissibility, rotor orders, frequency window, rolling shutter.

Every function takes arrays and broadcasts them; a scalar gives a float or a complex number. Stiffness may be
complex, ``K = K' (1 + i*eta)``, and may depend on frequency: then it is given as a callable.

Sources
-------
.. [1] Den Hartog, J. P.: Mechanical Vibrations, 4th ed., McGraw-Hill 1956, chapter 2 (memory).
.. [2] Harris, C. M.; Piersol, A. G. (eds.): Harris' Shock and Vibration Handbook, 5th ed., McGraw-Hill 2002,
   chapters 2 and 30 (memory).
.. [3] Nashif, A. D.; Jones, D. I. G.; Henderson, J. P.: Vibration Damping, Wiley 1985 (memory).
.. [4] Common practice of camera multirotors; no source.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matdb.errors import InputError
from matdb.units import STANDARD_GRAVITY_M_S2

__all__ = [
    "FOLLOW_GOOD",
    "FOLLOW_LEAST",
    "ISOLATION_GOOD",
    "ISOLATION_LEAST",
    "MANOEUVRE_HZ",
    "FrequencyWindow",
    "Resonant",
    "RotorBand",
    "bands_per_frame",
    "damping_ratio",
    "follow_error",
    "frequency_of_sag",
    "frequency_window",
    "natural_frequency",
    "natural_frequency_from_table",
    "resonant",
    "rolling_shutter_shear",
    "rotor_bands",
    "rotor_speed_from_thrust",
    "sag_of_frequency",
    "transmissibility",
    "viscous_transmissibility",
    "window_limits",
    "worst_follow_error",
]

Array = NDArray[np.float64]
#: A stiffness in N/mm as a function of frequency in Hz: takes and returns arrays, real or complex.
StiffnessOfFrequency = Callable[[Array], Any]

#: Least ratio of the lowest rotor frequency to the natural frequency; common practice [4]_.
ISOLATION_LEAST = 2.5
#: Ratio of the lowest rotor frequency to the natural frequency that is good; common practice [4]_.
ISOLATION_GOOD = 3.0
#: Least ratio of the natural frequency to the top of the manoeuvre band; common practice [4]_.
FOLLOW_LEAST = 2.0
#: Ratio of the natural frequency to the top of the manoeuvre band that is good; common practice [4]_.
FOLLOW_GOOD = 3.0
#: Usual top of the manoeuvre band, Hz; common practice [4]_.
MANOEUVRE_HZ = 10.0

_MOST_STEPS = 60
_CLOSE = 1e-13


@dataclass(frozen=True)
class Resonant:
    """A suspended mass at its own natural frequency.

    Attributes
    ----------
    frequency_hz : ndarray
        Natural frequency, Hz.
    stiffness_n_per_mm : ndarray
        Storage stiffness Re K at that frequency, N/mm.
    damping_ratio : ndarray
        Half the loss factor at that frequency.

    """

    frequency_hz: Array
    stiffness_n_per_mm: Array
    damping_ratio: Array


@dataclass(frozen=True)
class RotorBand:
    """The frequencies that one rotor order sweeps between the lowest and the highest speed.

    Attributes
    ----------
    order : float
        Events per revolution: 1 for imbalance, the number of blades for blade passing.
    low_hz, high_hz : float
        Ends of the band, Hz.

    """

    order: float
    low_hz: float
    high_hz: float

    @property
    def label(self) -> str:
        """The order in the trade's words, for instance ``"2/rev"``."""
        return f"{self.order:g}/rev"


@dataclass(frozen=True)
class FrequencyWindow:
    """Where natural frequencies lie between the manoeuvre band and the lowest rotor frequency.

    Attributes
    ----------
    isolation_ratio : ndarray
        Lowest rotor frequency over natural frequency.
    follow_ratio : ndarray
        Natural frequency over the top of the manoeuvre band.
    isolates, follows, inside : ndarray of bool
        Whether the first, the second, both are large enough; False where the natural frequency is NaN.

    """

    isolation_ratio: Array
    follow_ratio: Array
    isolates: NDArray[np.bool_]
    follows: NDArray[np.bool_]
    inside: NDArray[np.bool_]


def _checked(field: str, value: ArrayLike, unit: str, *, zero: bool = False) -> Array:
    """An array of finite numbers above zero (or from zero); NaN is refused."""
    try:
        array = np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError, OverflowError):
        raise InputError(field, value, f"a number in {unit} or an array of them".replace(" in  or", " or")) from None
    good = np.isfinite(array) & ((array >= 0.0) if zero else (array > 0.0))
    if not np.all(good):
        bad = array[~good].flat[0]
        raise InputError(field, bad, f"{'0 or more' if zero else 'above 0'} {unit}".rstrip())
    return array


def _plain(array: Any) -> Any:
    """A zero-dimensional array as a Python number, any other as it is."""
    array = np.asarray(array)
    return array.item() if array.ndim == 0 else array


def natural_frequency(mass_kg: ArrayLike, stiffness_n_per_mm: ArrayLike | StiffnessOfFrequency) -> Any:
    r"""Natural frequency of a mass on a spring whose stiffness may depend on frequency.

    .. math:: m (2 \pi f)^2 = \operatorname{Re} K(f)

    With a callable the equation is solved self-consistently in log frequency by the secant rule, all
    elements at once; a passive material's storage stiffness rises slower than the square of the frequency,
    so that the root is the only one.

    Parameters
    ----------
    mass_kg : array_like
        Mass that the stiffness carries, kg, above 0; broadcasts with the stiffness.
    stiffness_n_per_mm : array_like or callable
        Stiffness of all isolators that carry the mass, N/mm, real or complex; or a callable from
        frequency in Hz to such stiffness. The callable is first called with a frequency array in the shape of
        ``mass_kg``; what it returns may have more (leading) dimensions, and all later calls have the
        broadcast shape.

    Returns
    -------
    ndarray or float
        Natural frequency, Hz; NaN where the storage stiffness is not above zero.

    Raises
    ------
    InputError
        A mass that is not above zero.

    Examples
    --------
    >>> round(natural_frequency(0.5, 10.0), 3)
    22.508

    Sources: [1]_ for constant stiffness, [3]_ for stiffness that depends on frequency.

    """
    return _plain(_solve(mass_kg, stiffness_n_per_mm)[0])


def resonant(mass_kg: ArrayLike, stiffness_n_per_mm: ArrayLike | StiffnessOfFrequency) -> Resonant:
    """Natural frequency with the stiffness and the damping ratio found there.

    Parameters, validity and errors as for :func:`natural_frequency`; the damping ratio is half of the loss
    factor Im K / Re K at the natural frequency [3]_. Always arrays.

    Raises
    ------
    InputError
        A mass that is not above zero.

    """
    frequency, stiffness = _solve(mass_kg, stiffness_n_per_mm)
    with np.errstate(divide="ignore", invalid="ignore"):
        zeta = np.where(stiffness.real > 0.0, 0.5 * stiffness.imag / stiffness.real, np.nan)
    return Resonant(frequency, np.asarray(stiffness.real, dtype=np.float64), np.asarray(zeta, dtype=np.float64))


def _solve(mass_kg: ArrayLike, stiffness: ArrayLike | StiffnessOfFrequency) -> tuple[Array, NDArray[np.complex128]]:
    mass = _checked("mass_kg", mass_kg, "kg")
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        if not callable(stiffness):
            constant = np.asarray(stiffness)
            storage = constant.real.astype(np.float64)
            frequency = np.sqrt(np.where(storage > 0.0, 1e3 * storage, np.nan) / mass) / (2.0 * math.pi)
            return np.asarray(frequency), np.broadcast_to(constant, frequency.shape).astype(np.complex128)

        shift = np.log(1e3 / mass) - 2.0 * math.log(2.0 * math.pi)  # ln f^2 = ln K' + shift

        def log_stiffness(u: Array) -> tuple[Array, NDArray[np.complex128]]:
            k = np.asarray(stiffness(np.exp(u)), dtype=np.complex128)
            return np.log(np.where(k.real > 0.0, k.real, np.nan)), k

        u = np.full(mass.shape, math.log(20.0))
        v, k = log_stiffness(u)
        u, v = np.broadcast_arrays(u, v)
        slope = np.zeros(np.broadcast_shapes(u.shape, shift.shape))
        for _ in range(_MOST_STEPS):
            step = (v + shift - 2.0 * u) / (2.0 - slope)
            new = u + step
            w, k = log_stiffness(new)
            moved = np.abs(step) > 1e-7  # below it the secant's difference is noise
            # Slopes of passive materials lie in 0...1; the wider clamp keeps the step a contraction anyway.
            slope = np.where(moved, np.clip((w - v) / np.where(moved, step, 1.0), -0.5, 1.5), slope)
            slope = np.where(np.isfinite(slope), slope, 0.0)
            u, v = new, w
            if not np.any(np.abs(v + shift - 2.0 * u) > _CLOSE * (1.0 + np.abs(2.0 * u))):
                break
        frequency = np.where(np.isfinite(v), np.exp(u), np.nan)
        return frequency, np.broadcast_to(k, frequency.shape).astype(np.complex128)


def natural_frequency_from_table(
    mass_kg: ArrayLike, unit_stiffness: ArrayLike, frequency_hz: ArrayLike, modulus: ArrayLike
) -> Array:
    r"""Natural frequencies of many parts of one material from its modulus on a grid of frequencies.

    The equation :math:`m (2\pi f)^2 = B\,E'(f)` knows the part only by B/m: it is inverted once per curve
    and then interpolated (log-log), so that thousands of parts and squeezes cost little more than one.

    Parameters
    ----------
    mass_kg, unit_stiffness : array_like, shape P
        Mass in kg and stiffness in N/mm at a modulus of 1 MPa; broadcast to a common shape P.
    frequency_hz : array_like, shape (F,)
        Rising grid, Hz.
    modulus : array_like, shape (..., F)
        Storage modulus (the real part is taken), MPa, on the grid; for instance hours by draws by F.

    Returns
    -------
    ndarray, shape (..., *P)
        Natural frequency, Hz; NaN where it falls outside the grid. With 60 points over three decades the
        interpolation is within 0.1 % of :func:`natural_frequency`.

    Raises
    ------
    InputError
        A grid that does not rise or does not fit the modulus, or a value that is not above zero.

    Source: the equation [3]_; the inversion is arithmetic.

    """
    grid = _checked("frequency_hz", frequency_hz, "Hz")
    curves = _checked("modulus", np.asarray(modulus).real, "MPa")
    if grid.ndim != 1 or grid.size < 2 or np.any(np.diff(grid) <= 0.0) or curves.shape[-1:] != grid.shape:
        raise InputError("frequency_hz", grid.shape, "a rising row of frequencies as long as the modulus' last axis")
    per_mass = _checked("unit_stiffness", unit_stiffness, "N/mm per MPa") / _checked("mass_kg", mass_kg, "kg")
    wanted = np.log(1e3 * per_mass) - 2.0 * math.log(2.0 * math.pi)
    log_f = np.log(grid)
    # Passive: rises strictly, since ln E' rises by less than 2 ln f.
    needed = np.maximum.accumulate(2.0 * log_f - np.log(curves), axis=-1).reshape(-1, grid.size)
    out = np.empty((needed.shape[0], wanted.size))
    order = np.argsort(wanted, axis=None)
    flat = wanted.ravel()[order]  # in order the search runs four times faster
    for row, curve in zip(out, needed, strict=True):  # one call per curve, each over all parts
        row[order] = np.interp(flat, curve, log_f, left=np.nan, right=np.nan)
    return np.exp(out, out=out).reshape(curves.shape[:-1] + wanted.shape)


def damping_ratio(loss_factor: ArrayLike) -> Any:
    """Damping ratio of a lightly damped elastomer at resonance: half of its loss factor [3]_.

    Parameters
    ----------
    loss_factor : array_like
        Loss factor at the natural frequency, 0 or more.

    Raises
    ------
    InputError
        A negative loss factor.

    """
    return _plain(0.5 * _checked("loss_factor", loss_factor, "", zero=True))


def transmissibility(mass_kg: ArrayLike, stiffness_n_per_mm: ArrayLike, frequency_hz: ArrayLike) -> Any:
    r"""Motion of the suspended mass over motion of the airframe, with complex stiffness.

    .. math:: |T| = \left|\frac{K}{K - m \omega^2}\right|

    Parameters
    ----------
    mass_kg : array_like
        Suspended mass, kg, above 0.
    stiffness_n_per_mm : array_like
        Complex stiffness at ``frequency_hz`` of all isolators that carry the mass, N/mm.
    frequency_hz : array_like
        Frequency, Hz, 0 or more. All three broadcast.

    Returns
    -------
    ndarray or float
        Magnitude; infinite for an undamped mass at its natural frequency.

    Raises
    ------
    InputError
        A mass that is not above zero or a negative frequency.

    Examples
    --------
    >>> k = (2 * math.pi * 10) ** 2 / 1e3 * (1 + 0.2j)   # 1 kg at 10 Hz, loss factor 0.2
    >>> round(transmissibility(1.0, k, 30.0), 4)
    0.1274

    Source: [3]_.

    """
    k, inertia = _dynamic(mass_kg, stiffness_n_per_mm, frequency_hz)
    with np.errstate(divide="ignore", invalid="ignore"):
        return _plain(np.abs(k) / np.abs(k - inertia))


def follow_error(mass_kg: ArrayLike, stiffness_n_per_mm: ArrayLike, frequency_hz: ArrayLike) -> Any:
    r"""How far the camera fails to follow the airframe, as a share of the airframe's motion.

    .. math:: |T - 1| = \left|\frac{m \omega^2}{K - m \omega^2}\right|

    Parameters and errors as for :func:`transmissibility`; evaluate it over the manoeuvre band and take the
    largest value. Undamped and at a third of the natural frequency it is 1/8.

    Raises
    ------
    InputError
        A mass that is not above zero or a negative frequency.

    Source: relative motion, [1]_.

    """
    k, inertia = _dynamic(mass_kg, stiffness_n_per_mm, frequency_hz)
    with np.errstate(divide="ignore", invalid="ignore"):
        return _plain(inertia / np.abs(k - inertia))


def worst_follow_error(
    mass_kg: ArrayLike,
    stiffness_n_per_mm: ArrayLike | StiffnessOfFrequency,
    manoeuvre_hz: float = MANOEUVRE_HZ,
    *,
    points: int = 24,
) -> Any:
    """Largest follow error anywhere in the manoeuvre band, also where the natural frequency lies inside it.

    Parameters
    ----------
    mass_kg, stiffness_n_per_mm : array_like or callable
        As for :func:`natural_frequency`.
    manoeuvre_hz : float
        Top of the band, Hz, 0 or more.
    points : int
        Frequencies looked at, evenly up to the top, 2 or more; the natural frequency is added.

    Returns
    -------
    ndarray or float
        Share of the airframe's motion, in the broadcast shape of mass and stiffness; NaN without stiffness.

    Raises
    ------
    InputError
        A mass that is not above zero, a negative band, fewer than two points.

    Source: [1]_.

    """
    top = float(_checked("manoeuvre_hz", manoeuvre_hz, "Hz", zero=True))
    if not isinstance(points, int) or points < 2:
        raise InputError("points", points, "a whole number, 2 or more")
    own, _ = _solve(mass_kg, stiffness_n_per_mm)
    mass = np.broadcast_to(np.asarray(mass_kg, dtype=np.float64), own.shape)
    worst = np.where(np.isnan(own), np.nan, 0.0)
    inside = np.where(np.isnan(own), 0.0, np.minimum(own, top))
    for f in (*(np.full(own.shape, top * (i + 1) / points) for i in range(points)), inside):
        with np.errstate(all="ignore"):
            k = stiffness_n_per_mm(np.maximum(f, 1e-9)) if callable(stiffness_n_per_mm) else stiffness_n_per_mm
            worst = np.maximum(worst, np.asarray(follow_error(mass, k, f)))
    return _plain(worst)


def _dynamic(mass_kg: ArrayLike, stiffness: ArrayLike, frequency_hz: ArrayLike) -> tuple[Any, Array]:
    """Complex stiffness and m w^2, both in N/mm."""
    mass = _checked("mass_kg", mass_kg, "kg")
    frequency = _checked("frequency_hz", frequency_hz, "Hz", zero=True)
    return np.asarray(stiffness), 1e-3 * mass * (2.0 * math.pi * frequency) ** 2


def viscous_transmissibility(damping_ratio: ArrayLike, frequency_ratio: ArrayLike) -> Any:
    r"""Transmissibility of a mass on a spring and a viscous damper.

    .. math:: |T| = \sqrt{\frac{1 + (2 \zeta r)^2}{(1 - r^2)^2 + (2 \zeta r)^2}}

    Elastomers do not behave so above resonance (their damping does not grow with frequency): use
    :func:`transmissibility` for them. This is the textbook's curve, for comparison.

    Parameters
    ----------
    damping_ratio : array_like
        Damping ratio, 0 or more.
    frequency_ratio : array_like
        Frequency over natural frequency, 0 or more. Both broadcast.

    Raises
    ------
    InputError
        A negative argument.

    Examples
    --------
    >>> round(viscous_transmissibility(0.1, 3.0), 4)
    0.1454

    Source: [1]_.

    """
    zeta = _checked("damping_ratio", damping_ratio, "", zero=True)
    r = _checked("frequency_ratio", frequency_ratio, "", zero=True)
    damper = (2.0 * zeta * r) ** 2
    with np.errstate(divide="ignore"):
        return _plain(np.sqrt((1.0 + damper) / ((1.0 - r**2) ** 2 + damper)))


def frequency_of_sag(sag_mm: ArrayLike) -> Any:
    """Natural frequency, Hz, of a mass that sinks by ``sag_mm`` (above 0) under its weight [1]_.

    Holds for a spring as stiff in motion as at rest; an elastomer's natural frequency lies higher.

    Raises
    ------
    InputError
        A sag that is not above zero.

    Examples
    --------
    >>> round(frequency_of_sag(10.0), 3)
    4.984

    """
    sag = _checked("sag_mm", sag_mm, "mm")
    return _plain(np.sqrt(1e3 * STANDARD_GRAVITY_M_S2 / sag) / (2.0 * math.pi))


def sag_of_frequency(frequency_hz: ArrayLike) -> Any:
    """Static deflection, mm, of a natural frequency in Hz (above 0): inverse of :func:`frequency_of_sag`.

    Raises
    ------
    InputError
        A frequency that is not above zero.

    Source: [1]_.

    """
    frequency = _checked("frequency_hz", frequency_hz, "Hz")
    return _plain(1e3 * STANDARD_GRAVITY_M_S2 / (2.0 * math.pi * frequency) ** 2)


def rotor_bands(
    rpm_low: float, rpm_high: float, blades: int, orders: Sequence[float] | None = None
) -> tuple[RotorBand, ...]:
    """The frequency band of each rotor order, lowest order first.

    Parameters
    ----------
    rpm_low, rpm_high : float
        Lowest and highest rotor speed in flight, 1/min, above 0.
    blades : int
        Blades per rotor, 1 to 12.
    orders : sequence of float, optional
        Events per revolution, above 0; once and ``blades`` times per revolution when not given.

    Raises
    ------
    InputError
        A speed, count or order that cannot be.

    Source: common practice [4]_; frequency = order * rpm / 60.

    """
    low, high = float(_checked("rpm_low", rpm_low, "1/min")), float(_checked("rpm_high", rpm_high, "1/min"))
    if low > high:
        raise InputError("rpm_low", rpm_low, f"at most the highest speed, {high:g} 1/min")
    if isinstance(blades, bool) or not isinstance(blades, int | np.integer) or not 1 <= blades <= 12:
        raise InputError("blades", blades, "a whole number from 1 to 12")
    chosen = _checked("orders", list(orders) if orders else [1.0, float(blades)], "per revolution")
    return tuple(RotorBand(float(n), float(n) * low / 60.0, float(n) * high / 60.0) for n in np.unique(chosen))


def rotor_speed_from_thrust(
    thrust_n: ArrayLike,
    diameter_mm: ArrayLike,
    thrust_coefficient: ArrayLike = 0.10,
    air_density_kg_m3: ArrayLike = 1.225,
) -> Any:
    r"""Revolutions per second of a rotor that gives a thrust.

    .. math:: T = C_T\, \rho\, n^2 D^4

    Parameters
    ----------
    thrust_n : array_like
        Thrust of one rotor, N, above 0: in hover the weight divided by the number of rotors.
    diameter_mm : array_like
        Rotor diameter, mm, above 0.
    thrust_coefficient : array_like
        C_T of the propeller convention (n in revolutions per second), above 0; small rotors 0.08 to 0.13.
    air_density_kg_m3 : array_like
        Air density, kg/m3, above 0.

    Returns
    -------
    ndarray or float
        Rotor speed, 1/s (Hz).

    Raises
    ------
    InputError
        A value that is not above zero.

    Examples
    --------
    >>> round(rotor_speed_from_thrust(3.43, 254.0), 1)
    82.0

    Source: definition of the propeller thrust coefficient, McCormick, B. W.: Aerodynamics, Aeronautics and
    Flight Mechanics, Wiley 1979 (memory).

    """
    thrust = _checked("thrust_n", thrust_n, "N")
    diameter = 1e-3 * _checked("diameter_mm", diameter_mm, "mm")
    c_t = _checked("thrust_coefficient", thrust_coefficient, "")
    rho = _checked("air_density_kg_m3", air_density_kg_m3, "kg/m3")
    return _plain(np.sqrt(thrust / (c_t * rho * diameter**4)))


def window_limits(
    lowest_rotor_hz: ArrayLike,
    manoeuvre_hz: ArrayLike = MANOEUVRE_HZ,
    *,
    isolation_least: float = ISOLATION_LEAST,
    follow_least: float = FOLLOW_LEAST,
) -> tuple[Any, Any]:
    """Lowest and highest natural frequency, Hz, that both follow and isolate; empty where lowest > highest.

    Parameters and errors as for :func:`frequency_window`.

    Raises
    ------
    InputError
        A value that is not above zero.

    Source: common practice [4]_.

    """
    rotor = _checked("lowest_rotor_hz", lowest_rotor_hz, "Hz")
    band = _checked("manoeuvre_hz", manoeuvre_hz, "Hz", zero=True)
    return _plain(band * follow_least), _plain(rotor / float(_checked("isolation_least", isolation_least, "")))


def frequency_window(
    natural_frequency_hz: ArrayLike,
    lowest_rotor_hz: ArrayLike,
    manoeuvre_hz: ArrayLike = MANOEUVRE_HZ,
    *,
    isolation_least: float = ISOLATION_LEAST,
    follow_least: float = FOLLOW_LEAST,
) -> FrequencyWindow:
    """Whether natural frequencies lie low enough to isolate and high enough to follow.

    Parameters
    ----------
    natural_frequency_hz : array_like
        Natural frequencies, Hz, for instance one per draw and hour; NaN counts as outside.
    lowest_rotor_hz : array_like
        Frequency of the lowest rotor order at the lowest speed in flight, Hz, above 0.
    manoeuvre_hz : array_like
        Top of the manoeuvre band, Hz, 0 or more; at 0 the camera always follows. All three broadcast.
    isolation_least, follow_least : float
        Least ratios; common practice 2.5 (good: 3) and 2 (good: 3).

    Returns
    -------
    FrequencyWindow

    Raises
    ------
    InputError
        A rotor frequency, band or ratio out of range.

    Source: common practice [4]_.

    """
    f = np.asarray(natural_frequency_hz, dtype=np.float64)
    rotor = _checked("lowest_rotor_hz", lowest_rotor_hz, "Hz")
    band = _checked("manoeuvre_hz", manoeuvre_hz, "Hz", zero=True)
    _checked("isolation_least", isolation_least, "")
    _checked("follow_least", follow_least, "")
    f, rotor, band = np.broadcast_arrays(f, rotor, band)
    with np.errstate(divide="ignore", invalid="ignore"):
        isolation = rotor / f
        follow = np.where(band > 0.0, f / band, np.where(np.isnan(f), np.nan, np.inf))
        # A hair of slack, so that a natural frequency set exactly on the limit counts as inside.
        isolates = isolation >= isolation_least * (1.0 - 1e-12)
        follows = follow >= follow_least * (1.0 - 1e-12)
    return FrequencyWindow(isolation, follow, isolates, follows, isolates & follows)


def rolling_shutter_shear(frequency_hz: ArrayLike, amplitude_px: ArrayLike, row_time_us: ArrayLike) -> Any:
    """Largest sideways shift between neighbouring rows, pixels per row: 2 pi f A t_row.

    Parameters
    ----------
    frequency_hz : array_like
        Frequency of the image's motion, Hz, 0 or more.
    amplitude_px : array_like
        Its amplitude (half of peak to peak), pixels, 0 or more.
    row_time_us : array_like
        Time between the reading of two rows, microseconds, 0 or more. All three broadcast.

    Raises
    ------
    InputError
        A negative value.

    Examples
    --------
    >>> round(rolling_shutter_shear(100.0, 1.0, 12.5), 5)
    0.00785

    Source: arithmetic: the largest speed of a harmonic motion times the row time.

    """
    f = _checked("frequency_hz", frequency_hz, "Hz", zero=True)
    a = _checked("amplitude_px", amplitude_px, "px", zero=True)
    t = _checked("row_time_us", row_time_us, "us", zero=True)
    return _plain(2.0 * math.pi * f * a * t * 1e-6)


def bands_per_frame(frequency_hz: ArrayLike, rows: ArrayLike, row_time_us: ArrayLike) -> Any:
    """How many waves of a vibration one frame shows: f N t_row.

    Parameters
    ----------
    frequency_hz : array_like
        Frequency, Hz, 0 or more.
    rows : array_like
        Rows read per frame, above 0.
    row_time_us : array_like
        Time between the reading of two rows, microseconds, 0 or more. All three broadcast.

    Raises
    ------
    InputError
        A value out of range.

    Examples
    --------
    >>> bands_per_frame(100.0, 4000, 12.5)
    5.0

    Source: arithmetic.

    """
    f = _checked("frequency_hz", frequency_hz, "Hz", zero=True)
    n = _checked("rows", rows, "rows")
    t = _checked("row_time_us", row_time_us, "us", zero=True)
    return _plain(f * n * (t * 1e-6))
