"""What a material allows: the stiffness per modulus over mass that keeps a camera inside the window.

The natural frequency solves (2 pi f)^2 = W E'(f), with W the stiffness per modulus over the mass, and rises with W.
So "f is at most fh" and "W is at most (2 pi fh)^2 / E'(fh)" say the same: two evaluations of the modulus a temperature
and a draw settle the window exactly for every part, squeeze, count and payload of that material, without solving for f.
"""

from __future__ import annotations

import math
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from matdb.curve.curve import Curve

__all__ = ["FREQUENCIES_HZ", "LOAD_HZ", "STATIC_HZ", "Limits"]

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

#: Manoeuvre loads last a good part of a second.
LOAD_HZ: Final = 1.0
#: A payload that hangs for ten minutes speaks for this frequency.
STATIC_HZ: Final = 1.0 / (2.0 * math.pi * 600.0)
#: Frequencies that the modulus is tabulated at, Hz.
FREQUENCIES_HZ: Final = np.geomspace(0.1, 10000.0, 60)
_LN_OMEGA: Final = np.log(2.0 * np.pi * FREQUENCIES_HZ)
_PLACES: Final = np.arange(FREQUENCIES_HZ.size, dtype=float)


class Limits:
    """The window of one material over temperatures, as limits of ln W for every draw.

    W is stiffness (N/m) at a Young's modulus of 1 MPa over mass (kg).

    Parameters
    ----------
    curve : Curve
        The material.
    temperature_c : ndarray, shape (steps,)
        Degrees Celsius.
    low_hz, high_hz : float
        Ends of the window of natural frequencies, Hz; low 0 when nothing has to be followed.
    """

    def __init__(self, curve: Curve, temperature_c: Array, low_hz: float, high_hz: float) -> None:
        self.curve, self.temperature_c = curve, temperature_c
        #: ln W at the stiff end, shape (draws, steps).
        self.high: Array = 2.0 * _ln_omega(high_hz) - self._ln_storage(high_hz)
        #: ln W at the soft end, shape (draws, steps).
        self.low: Array = (
            2.0 * _ln_omega(low_hz) - self._ln_storage(low_hz) if low_hz > 0.0 else np.full_like(self.high, -np.inf)
        )
        self._tables: dict[int, tuple[Array, Complex]] = {}

    def _ln_storage(self, frequency_hz: float) -> Array:
        ln_omega = np.full(self.temperature_c.shape, _ln_omega(frequency_hz))
        return _ln_storage(self.curve.ln_modulus(self.temperature_c, ln_omega))

    @cached_property
    def ln_load_modulus(self) -> Array:
        """Ln of the storage modulus in MPa under manoeuvre loads, shape (draws, steps)."""
        return self._ln_storage(LOAD_HZ)

    @cached_property
    def ln_static_modulus(self) -> Array:
        """Ln of the storage modulus in MPa under a payload that hangs, shape (draws, steps)."""
        return self._ln_storage(STATIC_HZ)

    def natural(self, ln_w: Array, step: NDArray[np.int64]) -> tuple[Array, Complex]:
        """Natural frequency and modulus there, from a table of each temperature over 60 frequencies.

        Linear in logarithms, in which the curves are nearly straight: within 0.1 % of the solved frequency. Beyond
        the table's ends the frequency stays at the end.

        Parameters
        ----------
        ln_w : ndarray, shape (draws, columns)
            ln W of each column.
        step : ndarray of int, shape (columns,)
            The temperature of each column.

        Returns
        -------
        (ndarray, ndarray of complex), shape (draws, columns)
            Hz; ln of the complex modulus in MPa.
        """
        ln_omega, value = np.empty(ln_w.shape), np.empty(ln_w.shape, dtype=complex)
        for each in np.unique(step):
            columns = np.flatnonzero(step == each)
            rise, modulus = self._table(int(each))
            wanted = ln_w[:, columns]
            for draw in range(len(ln_w)):
                place = np.interp(wanted[draw], rise[draw], _PLACES)
                ln_omega[draw, columns] = place
                value[draw, columns] = np.interp(place, _PLACES, modulus[draw])
        ln_omega = _LN_OMEGA[0] + ln_omega * (_LN_OMEGA[1] - _LN_OMEGA[0])
        return np.exp(ln_omega) / (2.0 * math.pi), value

    def _table(self, step: int) -> tuple[Array, Complex]:
        """2 ln omega - ln E', which rises with omega, and ln E over the tabulated frequencies, shape (draws, F)."""
        if step not in self._tables:
            t = np.full(_LN_OMEGA.shape, self.temperature_c[step])
            modulus = self.curve.ln_modulus(t, _LN_OMEGA)
            rise = np.maximum.accumulate(2.0 * _LN_OMEGA - _ln_storage(modulus), axis=1)
            self._tables[step] = rise, modulus
        return self._tables[step]


def _ln_omega(frequency_hz: float) -> float:
    return math.log(2.0 * math.pi * frequency_hz)


def _ln_storage(ln_modulus: Complex) -> Array:
    # A draw without storage stiffness is no spring; the floor keeps its logarithm finite.
    return np.asarray(ln_modulus.real + np.log(np.maximum(np.cos(ln_modulus.imag), 1e-6)))
