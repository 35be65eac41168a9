"""Shift laws and the columns that a draw of the curve's parameters has, whatever its law."""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from matdb.material.shift import ZERO_C, arrhenius_ln_shift, wlf_ln_shift

__all__ = ["COLUMNS", "LAWS", "MISFIT_LOSS", "REFERENCE_K", "ShiftLaws", "describe_law", "ln_time", "ln_time_slope"]

Array = NDArray[np.float64]

#: Reference temperature of the stored parameters, K (23 degC); answers do not depend on it.
REFERENCE_K: Final = 23.0 + ZERO_C

#: The loss factor is missed by about this much more than the modulus.
MISFIT_LOSS: Final = 3.8

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


class ShiftLaws:
    """The shift laws of parameter draws, with all that does not depend on temperature worked out once.

    Parameters
    ----------
    draws : ndarray, shape (n, 12)
        Rows with the columns :data:`COLUMNS`.
    """

    def __init__(self, draws: Array) -> None:
        self._count = len(draws)
        arrhenius = draws[:, _LAW] == 1.0
        self._groups: list[tuple[Any, bool, Array, tuple[Array, ...]]] = []
        for mask in (arrhenius, ~arrhenius):
            if not mask.any():
                continue
            # A whole column is a view, and its answer needs no scattering.
            where = slice(None) if mask.all() else mask
            rows = draws[where]
            if mask is arrhenius:
                self._groups.append((where, True, rows[:, [_TIME]], (rows[:, [_EA]],)))
                continue
            law = tuple(rows[:, [k]] for k in (_TG, _C1, _C2, _UPPER))
            self._groups.append((where, False, rows[:, [_TIME]], (*law, wlf_ln_shift(REFERENCE_K, *law))))

    def ln_time(self, temperature_k: Array) -> Array:
        """Ln of the relaxation time in s, shape (n, m), for temperatures in K of shape (m,) or (n, m)."""
        temperature_k = np.atleast_1d(temperature_k)
        out = np.empty((self._count, temperature_k.shape[-1]))
        for where, arrhenius, time, law in self._groups:
            t = temperature_k if temperature_k.ndim == 1 else temperature_k[where]
            shift = arrhenius_ln_shift(t, REFERENCE_K, *law) if arrhenius else wlf_ln_shift(t, *law[:4]) - law[4]
            out[where] = time + shift
        return out


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
    return ShiftLaws(draws).ln_time(temperature_k)


def ln_time_slope(draws: Array, temperature_k: Array) -> Array:
    """D ln(relaxation time) / dT in 1/K by a central difference of 0.02 K; shapes as :func:`ln_time`."""
    step = 0.01
    laws = ShiftLaws(draws)
    return (laws.ln_time(temperature_k + step) - laws.ln_time(temperature_k - step)) / (2.0 * step)


def wlf_reference_time(draws: Array, ln_time_at_glass: Array) -> Array:
    """Ln of the relaxation time at the reference temperature from that at the glass transition."""
    law = (draws[:, _TG], draws[:, _C1], draws[:, _C2], draws[:, _UPPER])
    return ln_time_at_glass + wlf_ln_shift(REFERENCE_K, *law)


def log10_to_ln(value: float) -> float:
    """Natural from decimal logarithm."""
    return value * math.log(10.0)
