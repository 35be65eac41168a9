"""The ICAO standard atmosphere up to the tropopause: how temperature, pressure and density fall with altitude.

Sources
-------
.. [1] ICAO Doc 7488: Manual of the ICAO Standard Atmosphere; ISO 2533 (memory).
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matdb.errors import InputError
from matdb.units import STANDARD_GRAVITY_M_S2

__all__ = [
    "LAPSE_K_PER_M",
    "air_density_kg_m3",
    "altitude_shift_k",
    "standard_pressure_hpa",
    "standard_temperature_c",
]

Array = NDArray[np.float64]

#: Fall of temperature with (geopotential) altitude, K/m [1]_.
LAPSE_K_PER_M = 0.0065
#: Where the linear fall ends, m [1]_.
TROPOPAUSE_M = 11000.0
#: Lowest altitude taken, m; below every place on land.
LOWEST_M = -1000.0

_T0_K, _P0_HPA = 288.15, 1013.25
_GAS_J_KG_K = 287.05287
_ZERO_C_IN_K = 273.15


def _altitude(field: str, value: ArrayLike) -> Array:
    try:
        array = np.asarray(value, dtype=float)
    except (TypeError, ValueError, OverflowError):
        raise InputError(field, value, "an altitude in m") from None
    good = (array >= LOWEST_M) & (array <= TROPOPAUSE_M)
    if not np.all(good):
        bad = np.ravel(array)[~np.ravel(good)][0]
        raise InputError(field, bad, f"from {LOWEST_M:g} to {TROPOPAUSE_M:g} m above sea level")
    return array


def standard_temperature_c(altitude_m: ArrayLike) -> Any:
    """Temperature of the standard atmosphere: 15 - 6.5 h/1000, degrees Celsius.

    Parameters
    ----------
    altitude_m : array_like
        Altitude above sea level, m, -1000 to 11000. Geopotential; taken as the altitude of maps, which is 0.2 K
        off at the tropopause and 0.01 K at 2000 m.

    Raises
    ------
    InputError
        An altitude out of range.

    Examples
    --------
    >>> float(standard_temperature_c(1500.0))
    5.25

    Source: [1]_.

    """
    return (15.0 - LAPSE_K_PER_M * _altitude("altitude_m", altitude_m))[()]


def standard_pressure_hpa(altitude_m: ArrayLike) -> Any:
    """Pressure of the standard atmosphere, hPa; altitude as for :func:`standard_temperature_c`.

    Raises
    ------
    InputError
        An altitude out of range.

    Source: [1]_: p0 (T/T0)^(g/(R L)).

    """
    kelvin = _T0_K - LAPSE_K_PER_M * _altitude("altitude_m", altitude_m)
    return (_P0_HPA * (kelvin / _T0_K) ** (STANDARD_GRAVITY_M_S2 / (_GAS_J_KG_K * LAPSE_K_PER_M)))[()]


def air_density_kg_m3(altitude_m: ArrayLike, temperature_c: ArrayLike | None = None) -> Any:
    """Density of dry air at the standard pressure of an altitude, kg/m3: thin air makes rotors turn faster.

    Parameters
    ----------
    altitude_m : array_like
        As for :func:`standard_temperature_c`.
    temperature_c : array_like, optional
        Temperature of the air, degrees Celsius, above absolute zero; the standard's when not given.

    Raises
    ------
    InputError
        A value out of range.

    Examples
    --------
    >>> round(float(air_density_kg_m3(0.0)), 4)
    1.225

    Source: [1]_: p / (R T).

    """
    standard = standard_temperature_c(altitude_m)
    kelvin = np.asarray(standard if temperature_c is None else temperature_c, dtype=float) + _ZERO_C_IN_K
    if not np.all(kelvin > 0.0):
        raise InputError("temperature_c", float(np.min(kelvin) - _ZERO_C_IN_K), "above -273.15 degrees Celsius")
    return (100.0 * np.asarray(standard_pressure_hpa(altitude_m)) / (_GAS_J_KG_K * kelvin))[()]


def altitude_shift_k(forecast_altitude_m: ArrayLike, site_altitude_m: ArrayLike) -> Any:
    """What to add to a forecast's temperature for a site at another altitude, K: -6.5 per km of climb.

    Parameters
    ----------
    forecast_altitude_m, site_altitude_m : array_like
        Altitudes above sea level, m, -1000 to 11000; broadcast.

    Raises
    ------
    InputError
        An altitude out of range.

    Source: [1]_. On clear, still nights valleys are colder than their slopes, against this rule.

    """
    low, high = _altitude("forecast_altitude_m", forecast_altitude_m), _altitude("site_altitude_m", site_altitude_m)
    return (-LAPSE_K_PER_M * (high - low))[()]
