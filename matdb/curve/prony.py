"""A generalised Maxwell (Prony) series of the median curve, for programs that take one."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from matdb.arrays import Array, Complex
from matdb.curve.band import median
from matdb.curve.curve import Curve
from matdb.errors import FitError
from matdb.fields import PlainRecord
from matdb.material.modulus import maxwell_modulus

REFERENCE_C: Final = 23.0
_LN10: Final = math.log(10.0)
#: Largest relative error of storage and loss modulus that is aimed at.
GOAL: Final = 0.01
#: Terms per decade, tried in turn.
_DENSITIES: Final = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0)
_POINTS_PER_DECADE: Final = 40
#: Terms reach this many decades beyond the range, so that its ends are met too.
_BEYOND_DECADES: Final = 2.0
#: Without readings the range is 0.01 Hz to 10 kHz; ln of Hz.
_PRIOR_RANGE_LN_HZ: Final = (math.log(1e-2), math.log(1e4))


@dataclass(frozen=True, eq=False)
class Prony(PlainRecord):
    """E(s) = E0 + sum Ei s tau_i / (1 + s tau_i) at 23 degC, s = i 2 pi f a_T.

    Attributes
    ----------
    equilibrium_mpa : float
        E0, MPa.
    moduli_mpa, times_s : ndarray, shape (n,)
        Terms, all positive; times in s, ascending.
    target : str
        "median curve"; or "most central draw" where the draws differ so much that their medians of storage and loss
        modulus are no curve that a material could have.
    storage_error, loss_error : float
        Largest relative error against it over the range.
    range_hz : tuple of float
        Reduced frequencies that it is fitted over, Hz at 23 degC.
    terms_per_decade : float
        Density that met the goal.
    shift_c, ln_shift : ndarray, shape (m,)
        Temperatures in degrees Celsius and ln a_T relative to 23 degC.
    ln_vertical : ndarray, shape (m,)
        ln b_T: the modulus at a temperature is b_T E(i 2 pi f a_T).
    extrapolated : bool
        True for a prior: no reading stands behind it.
    """

    equilibrium_mpa: float
    moduli_mpa: Array
    times_s: Array
    target: str
    storage_error: float
    loss_error: float
    range_hz: tuple[float, float]
    terms_per_decade: float
    shift_c: Array
    ln_shift: Array
    ln_vertical: Array
    extrapolated: bool

    def modulus(self, temperature_c: ArrayLike, frequency_hz: ArrayLike) -> Complex:
        """Complex modulus in MPa; the shift is interpolated in the table.

        Parameters
        ----------
        temperature_c : array_like
            Degrees Celsius, inside the table.
        frequency_hz : array_like
            Hz; broadcasts.
        """
        t = np.asarray(temperature_c, dtype=float)
        shift = np.interp(t, self.shift_c, self.ln_shift)
        s = 2j * math.pi * np.asarray(frequency_hz, dtype=float) * np.exp(shift)
        vertical = np.exp(np.interp(t, self.shift_c, self.ln_vertical))
        return np.asarray(vertical * maxwell_modulus(s, self.equilibrium_mpa, self.moduli_mpa, self.times_s))


def prony_series(curve: Curve, *, goal: float = GOAL) -> Prony:
    """Fit a generalised Maxwell series with non-negative terms to the median curve.

    Storage and loss modulus are fitted together, relative to their size, by non-negative least squares [1]_ over the
    reduced frequencies that the readings speak for; the number of terms per decade rises until ``goal`` is met.

    Parameters
    ----------
    curve : Curve
        Fitted, or the prior's (then over 0.01 Hz to 10 kHz).
    goal : float
        Largest relative error of storage and loss modulus.

    Raises
    ------
    FitError
        The goal is out of reach.

    References
    ----------
    .. [1] C. L. Lawson, R. J. Hanson, Solving Least Squares Problems, 1974, chapter 23 (from memory).
    """
    low, high = curve.measured_ln_hz or _PRIOR_RANGE_LN_HZ
    # A single reading speaks for its surroundings too.
    middle, half = 0.5 * (low + high), max(0.5 * (high - low), _LN10 / 2.0)
    low, high = middle - half, middle + half
    decades = (high - low) / _LN10
    ln_hz = np.linspace(low, high, max(math.ceil(decades * _POINTS_PER_DECADE), 60))
    ln_omega = ln_hz + math.log(2.0 * math.pi)
    draws = curve.ln_modulus(np.full(ln_hz.shape, REFERENCE_C), ln_omega, misfit=False)
    each = np.exp(draws)
    fitted = _fitted(median(each.real), median(each.imag), ln_hz, goal)
    target = "median curve"
    if fitted.worst > goal:
        # Medians of storage and loss, taken apart, need not belong together; a draw's always do.
        central = each[_most_central(draws)]
        fitted = _fitted(central.real, central.imag, ln_hz, goal)
        target = "most central draw"
    if fitted.worst > goal:
        raise FitError(
            curve.material,
            f"no generalised Maxwell series meets the curve to {100.0 * goal:g} % (best {100.0 * fitted.worst:.2g} %); "
            "allow a larger error",
        )
    # The table of shift factors: every 5 K over the measured range and 20 K beyond.
    coldest, warmest = curve.measured_c or (-40.0, 60.0)
    t = np.arange(5.0 * math.floor((coldest - 20.0) / 5.0), warmest + 20.1, 5.0)
    keep = fitted.terms[1:] > 0.0
    return Prony(
        equilibrium_mpa=float(fitted.terms[0]),
        moduli_mpa=fitted.terms[1:][keep],
        times_s=fitted.times[keep],
        target=target,
        storage_error=fitted.storage_error,
        loss_error=fitted.loss_error,
        range_hz=(math.exp(low), math.exp(high)),
        terms_per_decade=fitted.density,
        shift_c=t,
        ln_shift=curve.median_ln_shift(t),
        ln_vertical=curve.median_ln_vertical(t),
        extrapolated=curve.measured_ln_hz is None,
    )


class _Fitted(NamedTuple):
    """Terms (E0 first) and times of a series, its largest relative errors, its terms a decade."""

    terms: Array
    times: Array
    storage_error: float
    loss_error: float
    density: float

    @property
    def worst(self) -> float:
        return max(self.storage_error, self.loss_error)


def _fitted(storage: Array, loss: Array, ln_hz: Array, goal: float) -> _Fitted:
    """The sparsest series that meets the goal, or the best there is; terms start with E0."""
    from scipy.optimize import nnls

    low, high = ln_hz[0] - _BEYOND_DECADES * _LN10, ln_hz[-1] + _BEYOND_DECADES * _LN10
    s = 2j * math.pi * np.exp(ln_hz)
    tried: list[_Fitted] = []
    for density in _DENSITIES:
        times = np.exp(-np.linspace(high, low, math.ceil((high - low) / _LN10 * density) + 1)) / (2.0 * math.pi)
        x = s[:, None] * times
        each = x / (1.0 + x)
        # The first column is E0, which only storage feels.
        storage_columns = np.insert(each.real, 0, 1.0, axis=1) / storage[:, None]
        columns = np.vstack([storage_columns, np.insert(each.imag, 0, 0.0, axis=1) / loss[:, None]])
        scale = np.linalg.norm(columns, axis=0)
        goal_column = np.ones(len(columns))
        terms = nnls(columns / scale, goal_column, maxiter=100 * columns.shape[1])[0] / scale
        of_storage, of_loss = np.abs(columns @ terms - goal_column).reshape(2, -1).max(axis=1).tolist()
        tried.append(_Fitted(terms, times, of_storage, of_loss, density))
        if tried[-1].worst <= goal:
            break
    return min(tried, key=lambda fitted: fitted.worst)


def _most_central(ln_modulus: Complex) -> int:
    """The draw that lies nearest to the medians of ln storage and ln loss factor throughout."""
    parts = np.concatenate([ln_modulus.real, np.log(ln_modulus.imag)], axis=1)
    away = np.abs(parts - np.median(parts, axis=0)) / np.maximum(parts.std(axis=0), 1e-9)
    return int(np.argmin(away.mean(axis=1)))
