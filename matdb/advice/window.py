"""What a material allows: the stiffness per modulus over mass that keeps a camera inside the window.

The natural frequency solves (2 pi f)^2 = W E'(f), with W the stiffness per modulus over the mass, and rises with W.
So "f is at most fh" and "W is at most (2 pi fh)^2 / E'(fh)" say the same: two evaluations of the modulus a temperature
and a draw settle the window exactly for every part, squeeze, count and payload of that material, without solving for f.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cached_property
from typing import Final

import numpy as np

from matdb.arrays import Array, Complex, Whole
from matdb.curve.curve import Curve
from matdb.form.bulk_softening import BulkSoftening, Places
from matdb.mounting.squeeze import STATIC_HZ
from matdb.mounting.suspended import NaturalTable, ln_storage, ln_w_at

#: Manoeuvre loads last a good part of a second.
LOAD_HZ: Final = 1.0
#: Rounds in which a natural frequency and what the part gives by its volume there settle, to 3e-4.
_SETTLING: Final = 3


class Window:
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
        self._moduli: dict[float, Complex] = {}
        self._at_step: dict[tuple[int, bytes], tuple[Complex, Complex]] = {}
        self._tables: dict[int, NaturalTable] = {}
        self._places: dict[float, Places] = {}
        #: ln W at the stiff end, shape (draws, steps).
        self.high: Array = ln_w_at(high_hz, self.ln_modulus(high_hz))
        #: ln W at the soft end, shape (draws, steps).
        self.low: Array = ln_w_at(low_hz, self.ln_modulus(low_hz)) if low_hz > 0.0 else np.full_like(self.high, -np.inf)

    def ln_modulus(self, frequency_hz: float) -> Complex:
        """Ln of the complex modulus in MPa at every temperature, shape (draws, steps)."""
        if frequency_hz not in self._moduli:
            ln_omega = np.full(self.temperature_c.shape, math.log(2.0 * math.pi * frequency_hz))
            self._moduli[frequency_hz] = self.curve.ln_modulus(self.temperature_c, ln_omega)
        return self._moduli[frequency_hz]

    def modulus_at(self, hz: Array, step: int) -> tuple[Complex, Complex]:
        """Ln of the modulus in MPa and itself at one temperature over frequencies, shape (draws, frequencies)."""
        key = step, hz.tobytes()
        if key not in self._at_step:
            at = np.full(hz.shape, self.temperature_c[step])
            ln_e = self.curve.ln_modulus(at, np.log(2.0 * math.pi * hz))
            self._at_step[key] = ln_e, np.exp(ln_e)
        return self._at_step[key]

    @cached_property
    def ln_load_modulus(self) -> Array:
        """Ln of the storage modulus in MPa under manoeuvre loads, shape (draws, steps)."""
        return ln_storage(self.ln_modulus(LOAD_HZ))

    @cached_property
    def ln_static_modulus(self) -> Array:
        """Ln of the storage modulus in MPa under a payload that hangs, shape (draws, steps)."""
        return ln_storage(self.ln_modulus(STATIC_HZ))

    def places(self, frequency_hz: float) -> Places:
        """Where every temperature and draw lies in a table of bulk softening, of shape (steps, draws)."""
        if frequency_hz not in self._places:
            self._places[frequency_hz] = Places.of(self.ln_modulus(frequency_hz).T, self.curve.bulk_modulus_mpa)
        return self._places[frequency_hz]

    def natural(self, ln_w: Array, step: Whole, felt: Sequence[BulkSoftening | None] = ()) -> tuple[Array, Complex]:
        """Natural frequency and modulus there, from a :class:`~matdb.mounting.suspended.NaturalTable` a temperature.

        Parameters
        ----------
        ln_w : ndarray, shape (draws, columns)
            ln W of each column.
        step : ndarray of int, shape (columns,)
            The temperature of each column.
        felt : sequence of BulkSoftening or None
            Of the part of each column, if any.

        Returns
        -------
        (ndarray, ndarray of complex), shape (draws, columns)
            Hz; ln of the complex modulus in MPa, less what the part gives by its volume.
        """
        frequency, value = self._natural(ln_w, step)
        soft = {k: each for k, each in enumerate(felt) if each is not None and each.matters(value[:, k])}
        if not soft:
            return frequency, value
        columns, less = list(soft), np.zeros_like(value)
        for _ in range(_SETTLING):
            less[:, columns] = np.stack([each.of(value[:, k]) for k, each in soft.items()], axis=1)
            rigid = value[:, columns]
            more = ln_storage(rigid + less[:, columns]) - ln_storage(rigid)
            frequency[:, columns], value[:, columns] = self._natural(ln_w[:, columns] + more, step[columns])
        return frequency, value + less

    def _natural(self, ln_w: Array, step: Whole) -> tuple[Array, Complex]:
        frequency, value = np.empty(ln_w.shape), np.empty(ln_w.shape, dtype=complex)
        for each in np.unique(step):
            columns = np.flatnonzero(step == each)
            frequency[:, columns], value[:, columns] = self._table(int(each)).natural(ln_w[:, columns])
        return frequency, value

    def _table(self, step: int) -> NaturalTable:
        if step not in self._tables:
            t = self.temperature_c[step]
            self._tables[step] = NaturalTable(lambda u: self.curve.ln_modulus(np.full(u.shape, t), u))
        return self._tables[step]
