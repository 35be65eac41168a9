r"""The suspended mass: natural frequency, what gets through, what it fails to follow, rotor orders, rolling shutter.

Every function takes floats or arrays and broadcasts them. The natural frequency of a mass on parts of one material
solves :math:`m \omega^2 = B E'(\omega)` with B the stiffness per modulus; here W = B/m, in N/m per MPa and kg, so that
the equation reads :math:`2 \ln\omega - \ln E'(\omega) = \ln W`. A passive material's storage modulus rises slower than
the square of the frequency, so that the root is the only one.

Sources
-------
.. [1] Den Hartog, J. P.: Mechanical Vibrations, 4th ed., McGraw-Hill 1956, chapter 2 (memory).
.. [2] Nashif, A. D.; Jones, D. I. G.; Henderson, J. P.: Vibration Damping, Wiley 1985 (memory).
.. [3] Common practice of camera multirotors; no source.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from matdb.arrays import Array, Complex
from matdb.errors import InputError

#: Least ratio of the lowest rotor frequency to the natural frequency; common practice [3]_.
ISOLATION_LEAST: Final = 2.5
#: Least ratio of the natural frequency to the top of the manoeuvre band; common practice [3]_.
FOLLOW_LEAST: Final = 2.0
#: Usual top of the manoeuvre band, Hz; common practice [3]_.
MANOEUVRE_HZ: Final = 10.0

#: Frequencies that a :class:`NaturalTable` holds the modulus at, Hz.
FREQUENCIES_HZ: Final = np.geomspace(0.1, 10000.0, 60)
_LN_OMEGA: Final = np.log(2.0 * np.pi * FREQUENCIES_HZ)
_PLACES: Final = np.arange(FREQUENCIES_HZ.size, dtype=float)

_LN_START: Final = math.log(2.0 * math.pi * 30.0)
#: Newton steps; ln E' is so nearly straight over ln omega that five reach rounding.
_STEPS: Final = 5


def ln_storage(ln_modulus: Any) -> Array:
    """Ln of the storage modulus of a complex one, from its complex logarithm; any shape.

    A draw beyond a loss angle of a right angle is no spring; a floor of 1e-6 of the modulus keeps its logarithm finite.
    """
    return np.asarray(ln_modulus.real + np.log(np.maximum(np.cos(ln_modulus.imag), 1e-6)))


def natural_ln_omega(ln_w: Any, law: Callable[[Any], tuple[Any, Any]]) -> Any:
    r"""Ln of the natural angular frequency in rad/s, where :math:`2 \ln\omega - \ln E'(\omega) = \ln W`.

    Parameters
    ----------
    ln_w : float or ndarray
        Ln of stiffness per modulus (N/m at 1 MPa) over mass (kg). With the stiffness in N/mm that is ``ln(1e3 B / m)``.
    law : callable
        From ln omega, in the shape of ``ln_w``, to the ln of the storage modulus in MPa and its slope over ln omega,
        0 to 1; NaN where it has no answer.

    Returns
    -------
    float or ndarray
        In the shape of ``ln_w``.

    Source: [2]_; Newton's rule from 30 Hz.
    """
    ln_omega = 0.0 * ln_w + _LN_START
    for _ in range(_STEPS):
        storage, slope = law(ln_omega)
        ln_omega = ln_omega - (2.0 * ln_omega - ln_w - storage) / (2.0 - slope)
    return ln_omega


def ln_w_at(frequency_hz: float, ln_modulus: Any) -> Array:
    """Ln W of the mass whose natural frequency is the given one, from the ln of the complex modulus there.

    W rises with the natural frequency: a limit of one is a limit of the other, for every part, count and payload.
    """
    return 2.0 * math.log(2.0 * math.pi * frequency_hz) - ln_storage(ln_modulus)


class NaturalTable:
    """Natural frequencies of many parts of one material at one temperature, by interpolation.

    Linear in logarithms, in which the curves are nearly straight: within 0.1 % of :func:`natural_ln_omega`. Beyond the
    table's ends, 0.1 Hz and 10 kHz, the frequency stays at the end.

    Parameters
    ----------
    ln_modulus_of : callable
        From ln omega, shape (F,), to the ln of the complex modulus in MPa of every draw, shape (draws, F).
    """

    def __init__(self, ln_modulus_of: Callable[[Array], Complex]) -> None:
        self._ln_modulus = ln_modulus_of(_LN_OMEGA)
        # ln W of every draw over the tabulated frequencies, which rises with omega.
        ln_w = np.maximum.accumulate(2.0 * _LN_OMEGA - ln_storage(self._ln_modulus), axis=1)
        self._rising = [(each, _PLACES) for each in ln_w]

    def natural(self, ln_w: Array) -> tuple[Array, Complex]:
        """Natural frequency in Hz and ln of the complex modulus in MPa there.

        Parameters
        ----------
        ln_w : ndarray, shape (draws, columns)
            As for :func:`natural_ln_omega`.

        Returns
        -------
        (ndarray, ndarray of complex), shape (draws, columns)
        """
        place = np.stack([np.interp(wanted, *table) for wanted, table in zip(ln_w, self._rising, strict=True)])
        low, draw = np.minimum(place.astype(np.intp), _PLACES.size - 2), np.arange(len(ln_w))[:, None]
        below, above = self._ln_modulus[draw, low], self._ln_modulus[draw, low + 1]
        value = below + (place - low) * (above - below)
        return np.exp(_LN_OMEGA[0] + place * (_LN_OMEGA[1] - _LN_OMEGA[0])) / (2.0 * math.pi), value


def transmissibility(mass_kg: Any, stiffness_n_per_mm: Any, frequency_hz: Any) -> Any:
    r"""Motion of the suspended mass over motion of the airframe, with complex stiffness.

    .. math:: |T| = \left|\frac{K}{K - m \omega^2}\right|

    Parameters
    ----------
    mass_kg : float or ndarray
        Suspended mass, kg.
    stiffness_n_per_mm : complex or ndarray
        Complex stiffness at ``frequency_hz`` of all isolators that carry the mass, N/mm.
    frequency_hz : float or ndarray
        Frequency, Hz. All three broadcast.

    Returns
    -------
    ndarray or float
        Magnitude; infinite for an undamped mass at its natural frequency.

    Examples
    --------
    >>> k = (2 * math.pi * 10) ** 2 / 1e3 * (1 + 0.2j)   # 1 kg at 10 Hz, loss factor 0.2
    >>> round(float(transmissibility(1.0, k, 30.0)), 4)
    0.1274

    Source: [2]_.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.abs(stiffness_n_per_mm) / np.abs(stiffness_n_per_mm - _inertia(mass_kg, frequency_hz))


def follow_error(mass_kg: Any, stiffness_n_per_mm: Any, frequency_hz: Any) -> Any:
    r"""How far the camera fails to follow the airframe, as a share of the airframe's motion.

    .. math:: |T - 1| = \left|\frac{m \omega^2}{K - m \omega^2}\right|

    Parameters as for :func:`transmissibility`; evaluate it over the manoeuvre band and take the largest value.
    Undamped and at a third of the natural frequency it is 1/8.

    Source: relative motion, [1]_.
    """
    inertia = _inertia(mass_kg, frequency_hz)
    with np.errstate(divide="ignore", invalid="ignore"):
        return inertia / np.abs(stiffness_n_per_mm - inertia)


def _inertia(mass_kg: Any, frequency_hz: Any) -> Any:
    """Inertia m omega^2 in N/mm."""
    return 1e-3 * mass_kg * (2.0 * math.pi * frequency_hz) ** 2


def window_limits(
    lowest_rotor_hz: float, manoeuvre_hz: float, isolation: float = ISOLATION_LEAST, follow: float = FOLLOW_LEAST
) -> tuple[float, float]:
    """Lowest and highest natural frequency, Hz, that both follow and isolate; none does where lowest > highest.

    Parameters
    ----------
    lowest_rotor_hz : float
        Frequency of the lowest rotor order at the lowest speed in flight, Hz, above 0.
    manoeuvre_hz : float
        Top of the manoeuvre band, Hz; at 0 nothing has to be followed.
    isolation, follow : float
        Least ratio of rotor to natural frequency, and of natural frequency to the manoeuvre band.

    Source: common practice [3]_.
    """
    return manoeuvre_hz * follow, lowest_rotor_hz / isolation


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


def rotor_bands(rpm_low: float, rpm_high: float, blades: int, orders: Sequence[float] = ()) -> tuple[RotorBand, ...]:
    """The frequency band of each rotor order, lowest order first.

    Parameters
    ----------
    rpm_low, rpm_high : float
        Lowest and highest rotor speed in flight, 1/min, above 0.
    blades : int
        Blades per rotor, 1 to 12.
    orders : sequence of float
        Events per revolution, above 0; once and ``blades`` times per revolution when empty.

    Raises
    ------
    InputError
        A count or order that cannot be.

    Source: common practice [3]_; frequency = order * rpm / 60.
    """
    if isinstance(blades, bool) or not isinstance(blades, int | np.integer) or not 1 <= blades <= 12:
        raise InputError("blades", blades, "a whole number from 1 to 12")
    chosen = sorted(set(orders or (1.0, float(blades))))
    if chosen[0] <= 0.0:
        raise InputError("orders", next(n for n in orders if n <= 0.0), "above 0 per revolution")
    return tuple(RotorBand(float(n), float(n) * rpm_low / 60.0, float(n) * rpm_high / 60.0) for n in chosen)


def rolling_shutter_shear(frequency_hz: Any, amplitude_px: Any, row_time_us: float) -> Any:
    """Largest sideways shift between neighbouring rows, pixels per row: 2 pi f A t_row.

    Parameters
    ----------
    frequency_hz, amplitude_px : float or ndarray
        Frequency of the image's motion, Hz, and its amplitude (half of peak to peak), pixels; they broadcast.
    row_time_us : float
        Time between the reading of two rows, microseconds.

    Examples
    --------
    >>> round(rolling_shutter_shear(100.0, 1.0, 12.5), 5)
    0.00785

    Source: arithmetic: the largest speed of a harmonic motion times the row time.
    """
    return 2.0 * math.pi * frequency_hz * amplitude_px * row_time_us * 1e-6


def bands_per_frame(frequency_hz: Any, rows: int, row_time_us: float) -> Any:
    """How many waves of a vibration (Hz, float or ndarray) one frame of so many rows shows: f N t_row.

    Examples
    --------
    >>> bands_per_frame(100.0, 4000, 12.5)
    5.0

    Source: arithmetic.
    """
    return frequency_hz * rows * (row_time_us * 1e-6)
