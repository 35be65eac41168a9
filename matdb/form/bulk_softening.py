"""What a part between bonded faces gives by its volume, as a table that many states of a material ask at once."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Final, NamedTuple

import numpy as np

from matdb.arrays import Array, Complex, Whole
from matdb.form.base import MOST_COMPRESSIBILITY, FormBase

#: Ln of Young's over bulk modulus that the table holds.
_LN_COMPRESSIBILITY: Final = np.linspace(math.log(5e-6), math.log(MOST_COMPRESSIBILITY), 145)
_STEP: Final = float(_LN_COMPRESSIBILITY[1] - _LN_COMPRESSIBILITY[0])
_LAST: Final = _LN_COMPRESSIBILITY.size - 1
#: Softening of less than this, in ln, is none. (Sideways a part stiffens a little.)
_NONE: Final = 5e-4


class Places(NamedTuple):
    """Where states of a material lie in the table, the stiffest first.

    Attributes
    ----------
    shape : tuple of int
        Of the states.
    order : ndarray of int, shape (n,)
        Flat place of each.
    cell : ndarray of int, shape (n,)
        Cell of the table, falling.
    share, half_square : ndarray, shape (n,)
        How far along the cell; half the square of the loss angle.
    """

    shape: tuple[int, ...]
    order: Whole
    cell: Whole
    share: Array
    half_square: Array

    @classmethod
    def of(cls, ln_modulus: Complex, bulk_modulus_mpa: float) -> Places:
        """Of ln of the complex modulus in MPa, any shape."""
        flat = ln_modulus.ravel()
        order = np.argsort(-flat.real)
        cell, share = _cells(flat.real[order], bulk_modulus_mpa)
        return cls(ln_modulus.shape, order, cell, share, 0.5 * flat.imag[order] ** 2)


def _cells(ln_e: Array, bulk_modulus_mpa: float) -> tuple[Whole, Array]:
    place = (ln_e - (math.log(bulk_modulus_mpa) + _LN_COMPRESSIBILITY[0])) / _STEP
    place = np.fmin(np.fmax(place, 0.0), float(_LAST))  # what is no number stays none where it came from
    cell = np.minimum(place.astype(np.intp), _LAST - 1)
    return cell, place - cell


@lru_cache(maxsize=1024)
def bulk_softening(form: FormBase, axis: str, bulk_modulus_mpa: float) -> BulkSoftening:
    """The table of a part, kept: a part is asked about again and again."""
    return BulkSoftening(form, axis, bulk_modulus_mpa)


class BulkSoftening:
    """Ln of what a finite bulk modulus leaves of a part's stiffness along an axis.

    The table is linear in ln of the modulus and takes the loss angle by Taylor's series to the second order.

    Parameters
    ----------
    form, axis
        The part's form and the axis that is asked about.
    bulk_modulus_mpa : float
        Above 0.
    """

    def __init__(self, form: FormBase, axis: str, bulk_modulus_mpa: float) -> None:
        self.form, self.axis, self.bulk_modulus_mpa = form, axis, bulk_modulus_mpa
        value = np.zeros(_LN_COMPRESSIBILITY.shape) + self.exact(_LN_COMPRESSIBILITY + math.log(bulk_modulus_mpa))
        self._value, self._rise = value[:-1], np.diff(value)
        slope = np.gradient(value, _STEP)
        self._slope, self._bend = (0.5 * (each[1:] + each[:-1]) for each in (slope, np.gradient(slope, _STEP)))
        self._first = int(np.argmax(np.abs(value[1:]) > _NONE))

    def exact(self, ln_modulus: Complex | Array) -> Complex:
        """Without the table, of ln of the modulus in MPa, real or complex, any shape."""
        return np.asarray(self.form.ln_bulk_softening(self.axis, ln_modulus, self.bulk_modulus_mpa))

    def at(self, ln_modulus: float) -> float:
        """Of ln of a real modulus in MPa."""
        cell, share = _cells(np.asarray(ln_modulus), self.bulk_modulus_mpa)
        return float(self._value[cell] + share * self._rise[cell])

    def of(self, ln_modulus: Complex) -> Complex:
        """Of ln of the complex modulus in MPa, any shape."""
        cell, share = _cells(ln_modulus.real, self.bulk_modulus_mpa)
        angle = ln_modulus.imag
        out = np.empty(ln_modulus.shape, dtype=complex)
        out.real = self._value[cell] + share * self._rise[cell] - 0.5 * angle**2 * self._bend[cell]
        out.imag = angle * self._slope[cell]
        return out

    def matters(self, ln_modulus: Complex | Array) -> bool:
        """Whether any of them is softened."""
        return bool(_cells(np.asarray(ln_modulus.real.max()), self.bulk_modulus_mpa)[0] >= self._first)

    def left(self, places: Places, *, storage: bool) -> Array:
        """At some places the real part, or what is left of the storage modulus alone; in the shape of the states."""
        n = int(np.searchsorted(-places.cell, -self._first, side="right"))
        cell = places.cell[:n]
        turned = self._bend + (2.0 + self._slope) * self._slope if storage else self._bend
        out = np.zeros(places.shape)
        out.ravel()[places.order[:n]] = (
            self._value[cell] + places.share[:n] * self._rise[cell] - places.half_square[:n] * turned[cell]
        )
        return out
