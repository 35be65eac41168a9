"""Time-temperature shift: how far a temperature slides the master curve along the frequency axis.

All temperatures here are absolute (K) unless a name says ``_c``; shift factors a_T are relative to a reference.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from matdb.arrays import Array

#: J/(mol K), CODATA 2018 (exact).
GAS_CONSTANT = 8.31446261815324
ZERO_C = 273.15
_LN10 = math.log(10.0)
#: A float or an array.
Number = Any


def wlf_ln_shift(
    temperature_k: Number, glass_transition_k: Number, c1: Number, c2: Number, upper_k: Number = math.inf
) -> Array:
    """Ln of the WLF shift factor relative to the glass transition, with tangent Arrhenius ends.

    Between the glass transition and ``upper_k`` the law is WLF with constants at the glass transition; below the
    glass transition WLF does not hold, and far above it an Arrhenius law takes over: both ends continue with the
    activation energy that the WLF law has at the joint, so value and slope are continuous.

    Parameters
    ----------
    temperature_k : float or ndarray
        K, above 0.
    glass_transition_k, c1, c2 : float or ndarray
        Glass transition in K and the constants at it; all broadcast with the temperature.
    upper_k : float or ndarray
        Upper joint in K; infinite for none.

    References
    ----------
    .. [1] M. L. Williams, R. F. Landel, J. D. Ferry, J. Am. Chem. Soc. 77 (1955) 3701.
    .. [2] J. D. Ferry, Viscoelastic Properties of Polymers, 3rd ed., 1980, chapter 11.
    """
    return wlf_ln_shift_and_slope(temperature_k, glass_transition_k, c1, c2, upper_k)[0]


def wlf_ln_shift_and_slope(
    temperature_k: Number, glass_transition_k: Number, c1: Number, c2: Number, upper_k: Number = math.inf
) -> tuple[Array, Array]:
    """As :func:`wlf_ln_shift`, and its slope over 1/T in K: the apparent activation energy over the gas constant."""
    joint = np.minimum(np.maximum(temperature_k, glass_transition_k), upper_k)
    x, steep = joint - glass_transition_k, _LN10 * c1
    width = c2 + x
    slope = steep * c2 * (joint / width) ** 2
    return np.asarray(slope * (1.0 / temperature_k - 1.0 / joint) - steep * x / width), np.asarray(slope)


def arrhenius_as_wlf(reference_k: float, activation_energy: Number) -> tuple[Number, Number, Number, Number]:
    """Of :func:`wlf_ln_shift` the arguments with which it is the Arrhenius law, Ea/R (1/T - 1/T0).

    Both joints lie at the reference, so that all of it is tangent there.

    Parameters
    ----------
    reference_k : float
        T0 in K, above 0.
    activation_energy : float or ndarray
        Ea in J/mol.

    Examples
    --------
    >>> round(float(np.exp(wlf_ln_shift(253.15, *arrhenius_as_wlf(298.15, 15000.0)))), 3)
    2.932
    """
    return reference_k, activation_energy / (GAS_CONSTANT * _LN10 * reference_k**2), 1.0, reference_k
