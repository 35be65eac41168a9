"""Time-temperature shift: how far a temperature slides the master curve along the frequency axis.

All temperatures here are absolute (K) unless a name says ``_c``; shift factors a_T are relative to a reference.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from matdb.arrays import Array

#: J/(mol K), CODATA 2018 (exact).
GAS_CONSTANT = 8.31446261815324
ZERO_C = 273.15
_LN10 = math.log(10.0)


def arrhenius_ln_shift(temperature_k: ArrayLike, reference_k: ArrayLike, activation_energy: ArrayLike) -> Array:
    """Natural logarithm of the Arrhenius shift factor: Ea/R (1/T - 1/T0).

    Parameters
    ----------
    temperature_k, reference_k : array_like
        K, above 0; broadcast.
    activation_energy : array_like
        J/mol.

    Examples
    --------
    >>> round(float(np.exp(arrhenius_ln_shift(253.15, 298.15, 15000.0))), 3)
    2.932
    """
    t = np.asarray(temperature_k, dtype=float)
    return np.asarray(
        np.asarray(activation_energy) / GAS_CONSTANT * (1.0 / t - 1.0 / np.asarray(reference_k, dtype=float))
    )


def wlf_ln_shift(
    temperature_k: ArrayLike, glass_transition_k: ArrayLike, c1: ArrayLike, c2: ArrayLike, upper_k: ArrayLike = np.inf
) -> Array:
    """Ln of the WLF shift factor relative to the glass transition, with tangent Arrhenius ends.

    Between the glass transition and ``upper_k`` the law is WLF with constants at the glass transition; below the
    glass transition WLF does not hold, and far above it an Arrhenius law takes over: both ends continue with the
    activation energy that the WLF law has at the joint, so value and slope are continuous.

    Parameters
    ----------
    temperature_k : array_like
        K, above 0.
    glass_transition_k, c1, c2 : array_like
        Glass transition in K and the constants at it; all broadcast with the temperature.
    upper_k : array_like
        Upper joint in K; infinite for none.

    References
    ----------
    .. [1] M. L. Williams, R. F. Landel, J. D. Ferry, J. Am. Chem. Soc. 77 (1955) 3701.
    .. [2] J. D. Ferry, Viscoelastic Properties of Polymers, 3rd ed., 1980, chapter 11.
    """
    return wlf_ln_shift_and_slope(temperature_k, glass_transition_k, c1, c2, upper_k)[0]


def wlf_ln_shift_and_slope(
    temperature_k: ArrayLike, glass_transition_k: ArrayLike, c1: ArrayLike, c2: ArrayLike, upper_k: ArrayLike = np.inf
) -> tuple[Array, Array]:
    """As :func:`wlf_ln_shift`, and its slope over 1/T in K: the apparent activation energy over the gas constant."""
    t = np.asarray(temperature_k, dtype=float)
    tg, c1, c2 = (np.asarray(each, dtype=float) for each in (glass_transition_k, c1, c2))
    joint = np.clip(t, tg, upper_k)
    x = joint - tg
    slope = _LN10 * c1 * c2 * (joint / (c2 + x)) ** 2
    return np.asarray(slope * (1.0 / t - 1.0 / joint) - _LN10 * c1 * x / (c2 + x)), np.asarray(slope)
