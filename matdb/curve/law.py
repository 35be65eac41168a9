"""Shift laws and the columns that a draw of the curve's parameters has, whatever its law."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from matdb.material.shift import ZERO_C, arrhenius_ln_shift, wlf_ln_shift

__all__ = ["COLUMNS", "LAWS", "REFERENCE_K", "describe_law", "ln_time", "ln_time_slope"]

Array = NDArray[np.float64]

#: Reference temperature of the stored parameters, K (23 degC); answers do not depend on it.
REFERENCE_K: Final = 23.0 + ZERO_C

#: Law names as stored and shown.
LAWS: Final = ("WLF", "Arrhenius", "WLF, Arrhenius far above")

#: Columns of a parameter draw; a law leaves those that it does not use at a harmless constant.
COLUMNS: Final = (
    "ln_rubbery_mpa",
    "ln_glassy_mpa",
    "alpha",
    "gamma",
    "vertical_exponent",
    "ln_time_reference_s",
    "glass_transition_k",
    "wlf_c1",
    "wlf_c2_k",
    "upper_joint_k",
    "activation_energy_j_mol",
    "law",
)
_TIME, _TG, _C1, _C2, _UPPER, _EA, _LAW = range(5, 12)


def describe_law(name: str) -> str:
    """One sentence on a law, for reports."""
    return {
        LAWS[0]: "WLF above the glass transition, tangent Arrhenius below it",
        LAWS[1]: "Arrhenius at all temperatures",
        LAWS[2]: "WLF near the glass transition, tangent Arrhenius below it and far above it",
    }[name]


def ln_time(draws: Array, temperature_k: Array) -> Array:
    """Ln of the relaxation time in s.

    Parameters
    ----------
    draws : ndarray, shape (n, 12)
        Rows with the columns :data:`COLUMNS`.
    temperature_k : ndarray, shape (m,) or (n, m)
        K, above 0.

    Returns
    -------
    ndarray, shape (n, m)
    """
    temperature_k = np.atleast_1d(temperature_k)
    out = np.empty((draws.shape[0], temperature_k.shape[-1]))
    arrhenius = draws[:, _LAW] == 1.0
    for mask in (arrhenius, ~arrhenius):
        if not mask.any():
            continue
        rows = draws[mask][:, :, None]
        t = temperature_k if temperature_k.ndim == 1 else temperature_k[mask]
        if mask is arrhenius:
            shift = arrhenius_ln_shift(t, REFERENCE_K, rows[:, _EA])
        else:
            law = (rows[:, _TG], rows[:, _C1], rows[:, _C2], rows[:, _UPPER])
            shift = wlf_ln_shift(t, *law) - wlf_ln_shift(REFERENCE_K, *law)
        out[mask] = rows[:, _TIME] + shift
    return out


def ln_time_slope(draws: Array, temperature_k: Array) -> Array:
    """D ln(relaxation time) / dT in 1/K by a central difference of 0.02 K; shapes as :func:`ln_time`."""
    step = 0.01
    return (ln_time(draws, temperature_k + step) - ln_time(draws, temperature_k - step)) / (2.0 * step)


def wlf_reference_time(draws: Array, ln_time_at_glass: Array) -> Array:
    """Ln of the relaxation time at the reference temperature from that at the glass transition."""
    law = (draws[:, _TG], draws[:, _C1], draws[:, _C2], draws[:, _UPPER])
    return ln_time_at_glass + wlf_ln_shift(REFERENCE_K, *law)


def log10_to_ln(value: float) -> float:
    """Natural from decimal logarithm."""
    return value * math.log(10.0)
