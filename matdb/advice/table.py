"""Natural frequencies by look-up: a material's modulus is evaluated once for all parts made of it.

The natural frequency of a mass on a viscoelastic part depends, for one draw and temperature, on one number: stiffness
per modulus over mass. So one table a material serves every part, count, squeeze and payload.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from matdb.curve.curve import Curve

__all__ = ["FREQUENCIES_HZ", "NaturalTable"]

Array = NDArray[np.float64]

#: Frequencies that the modulus is tabulated at, Hz.
FREQUENCIES_HZ: Final = np.geomspace(0.3, 3000.0, 60)
_POINTS: Final = 96


class NaturalTable:
    """ln natural frequency over ln(stiffness per modulus / mass) for every draw and temperature.

    Linear interpolation in a nearly linear function: within 0.1 % of the solved value (a test holds it there).

    Parameters
    ----------
    curve : Curve
        The material.
    temperature_c : ndarray, shape (steps,)
        Degrees Celsius.
    """

    def __init__(self, curve: Curve, temperature_c: Array) -> None:
        ln_omega = np.log(2.0 * np.pi * FREQUENCIES_HZ)
        n, m = len(curve.draws), temperature_c.size
        # 2 ln omega - ln Re E(omega) rises with omega: its inverse is the natural frequency.
        rise = np.empty((n, m, ln_omega.size))
        for k, each in enumerate(ln_omega):
            ln_e = curve.ln_modulus(temperature_c, np.full(m, each))
            rise[:, :, k] = 2.0 * each - ln_e.real - np.log(np.cos(ln_e.imag))
        np.maximum.accumulate(rise, axis=2, out=rise)
        self._start = float(rise[:, :, 0].min())
        self._step = (float(rise[:, :, -1].max()) - self._start) / (_POINTS - 1)
        grid = self._start + self._step * np.arange(_POINTS)
        ln_f = ln_omega - math.log(2.0 * math.pi)
        # Layout (draws, points, steps): a look-up copies whole runs of temperatures.
        self._ln_f = np.empty((n, _POINTS, m))
        for d in range(n):
            for t in range(m):
                self._ln_f[d, :, t] = np.interp(grid, rise[d, t], ln_f)
        self._rows = np.arange(n)

    def ln_frequency(self, ln_w: Array) -> Array:
        """Logarithm of the natural frequency in Hz, shape (draws, steps).

        Parameters
        ----------
        ln_w : ndarray, shape (draws,)
            ln of stiffness (N/m) at a modulus of 1 MPa over mass (kg).
        """
        place = np.clip((ln_w - self._start) / self._step, 0.0, _POINTS - 1.000001)
        below = place.astype(np.int64)
        share = (place - below)[:, None]
        low, high = self._ln_f[self._rows, below], self._ln_f[self._rows, below + 1]
        return np.asarray(low + share * (high - low))
