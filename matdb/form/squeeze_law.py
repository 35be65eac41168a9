"""Force against squeeze of one body, relative to its unloaded stiffness: tabulated, exact, or measured."""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from matdb.errors import InputError
from matdb.form.tables import squeeze_table

__all__ = [
    "FrictionlessLaw",
    "LoadCurve",
    "MeasuredLaw",
    "SqueezeLaw",
    "TabulatedLaw",
    "checked_load_points",
    "tabulated_law",
]

Array = NDArray[np.float64]


class SqueezeLaw(Protocol):
    """Force and tangent of a squeezed body; both 0 … and 1 … at no squeeze."""

    def force(self, share: Any) -> Any:
        """Force over (unloaded stiffness × free height) at squeeze over free height."""

    def tangent(self, share: Any) -> Any:
        """Tangent stiffness over unloaded stiffness."""


def _horner(coefficients: Sequence[float], x: Any) -> Any:
    """Polynomial in x, lowest power first, with as few passes over the memory as NumPy allows."""
    x = np.asarray(x, dtype=float)
    if x.size < 65536:
        value = np.full_like(x, coefficients[-1])
        for c in coefficients[-2::-1]:
            value *= x
            value += c
        return value
    out = np.empty_like(x)
    flat, result = x.reshape(-1), out.reshape(-1)
    for start in range(0, flat.size, 16384):
        part = slice(start, start + 16384)
        result[part] = _horner(coefficients, flat[part])
    return out


@dataclass(frozen=True)
class FrictionlessLaw:
    """Uniform squeeze of an incompressible neo-Hookean body: ``F / (k₀ h) = (λ⁻² − λ) / 3``, λ = 1 − e."""

    def force(self, share: Any) -> Any:
        """See :class:`SqueezeLaw`."""
        stretch = 1.0 - np.asarray(share, dtype=float)
        return (1.0 / (stretch * stretch) - stretch) / 3.0

    def tangent(self, share: Any) -> Any:
        """See :class:`SqueezeLaw`: ``(1 + 2 λ⁻³) / 3``."""
        stretch = 1.0 - np.asarray(share, dtype=float)
        return (1.0 + 2.0 / (stretch * stretch * stretch)) / 3.0


@dataclass(frozen=True)
class TabulatedLaw:
    """The finite-element table at one geometry, as a polynomial in the share up to its end.

    The end is 0.3, or less where no equilibrium was found, the hole closes or a thin wall folds.
    Beyond the end the tangent goes on as ``λ⁻³``, the closed form's growth for bonded faces.
    """

    coefficients: tuple[float, ...]
    most: float

    @functools.cached_property
    def _slope(self) -> tuple[float, ...]:
        return tuple(k * c for k, c in enumerate(self.coefficients))[1:]

    @functools.cached_property
    def _end(self) -> tuple[float, float]:
        return float(_horner(self.coefficients, self.most)), float(_horner(self._slope, self.most))

    def force(self, share: Any) -> Any:
        """See :class:`SqueezeLaw`."""
        e = np.asarray(share, dtype=float)
        if e.size == 0 or e.max() <= self.most:
            return _horner(self.coefficients, e)
        (force, slope), end = self._end, 1.0 - self.most
        beyond = force + slope * end**3 / 2.0 * ((1.0 - np.maximum(e, self.most)) ** -2 - end**-2)
        return np.where(e <= self.most, _horner(self.coefficients, np.minimum(e, self.most)), beyond)

    def tangent(self, share: Any) -> Any:
        """See :class:`SqueezeLaw`."""
        e = np.asarray(share, dtype=float)
        if e.size == 0 or e.max() <= self.most:
            return _horner(self._slope, e)
        slope, end = self._end[1], 1.0 - self.most
        beyond = slope * (end / (1.0 - np.maximum(e, self.most))) ** 3
        return np.where(e <= self.most, _horner(self._slope, np.minimum(e, self.most)), beyond)


@functools.lru_cache(maxsize=4096)
def tabulated_law(shape: float, hole: float) -> TabulatedLaw:
    """The law of a bonded pad or ring; geometry outside the table takes its edge.

    Parameters
    ----------
    shape : float
        Shape factor.
    hole : float
        Inner over outer diameter.
    """
    squeeze = squeeze_table()
    return TabulatedLaw(squeeze.polynomial(shape, hole), squeeze.reach_at(shape, hole))


@dataclass(frozen=True)
class LoadCurve:
    """A smooth monotone curve through measured load–deflection points, starting at nothing.

    Piecewise cubic with the slopes of Fritsch and Butland (SIAM J. Sci. Stat. Comput. 5, 1984, 300, from
    memory), so it never swings between points. Beyond the last point it goes on straight.

    Attributes
    ----------
    points : tuple of (float, float)
        Deflection in mm and force in N, both rising from above 0.
    """

    points: tuple[tuple[float, float], ...]

    @functools.cached_property
    def _knots(self) -> tuple[Array, Array, Array]:
        x, y = np.array([(0.0, 0.0), *self.points]).T
        step, rise = np.diff(x), np.diff(y)
        secant = rise / step
        slope = np.empty_like(x)
        if x.size == 2:
            slope[:] = secant[0]
            return x, y, slope
        left, right = 2.0 * step[1:] + step[:-1], step[1:] + 2.0 * step[:-1]
        slope[1:-1] = (left + right) / (left / secant[:-1] + right / secant[1:])
        slope[0] = self._end_slope(step[0], step[1], secant[0], secant[1])
        slope[-1] = self._end_slope(step[-1], step[-2], secant[-1], secant[-2])
        return x, y, slope

    @staticmethod
    def _end_slope(near: float, far: float, secant_near: float, secant_far: float) -> float:
        slope = ((2.0 * near + far) * secant_near - near * secant_far) / (near + far)
        return float(min(max(slope, 0.2 * secant_near), 3.0 * secant_near))

    def _piece(self, deflection: Any) -> tuple[Any, ...]:
        x, y, slope = self._knots
        d = np.asarray(deflection, dtype=float)
        i = np.clip(np.searchsorted(x, d, side="right") - 1, 0, x.size - 2)
        width = x[i + 1] - x[i]
        t = np.minimum((d - x[i]) / width, 1.0)
        past = np.maximum(d - x[-1], 0.0)
        return t, width, y[i], y[i + 1], slope[i], slope[i + 1], past

    def force_n(self, deflection: Any) -> Any:
        """Force in N at a deflection in mm, 0 or more."""
        t, width, y0, y1, s0, s1, past = self._piece(deflection)
        value = (1.0 + 2.0 * t) * (1.0 - t) ** 2 * y0 + t**2 * (3.0 - 2.0 * t) * y1
        value = value + width * t * (1.0 - t) * ((1.0 - t) * s0 - t * s1)
        return value + past * self._knots[2][-1]

    def stiffness_n_per_mm(self, deflection: Any) -> Any:
        """Tangent stiffness in N/mm at a deflection in mm."""
        t, width, y0, y1, s0, s1, past = self._piece(deflection)
        inside = 6.0 * t * (1.0 - t) * (y1 - y0) / width + s0 * (1.0 - t) * (1.0 - 3.0 * t)
        inside = inside + s1 * t * (3.0 * t - 2.0)
        return np.where(past > 0.0, self._knots[2][-1], inside)

    @property
    def initial_n_per_mm(self) -> float:
        """Tangent stiffness at no deflection."""
        return float(self._knots[2][0])


@dataclass(frozen=True)
class MeasuredLaw:
    """The shape of a measured curve, scaled to 1 at no squeeze; it overrides the table."""

    curve: LoadCurve
    height_mm: float

    def force(self, share: Any) -> Any:
        """See :class:`SqueezeLaw`."""
        scale = self.curve.initial_n_per_mm * self.height_mm
        return self.curve.force_n(np.asarray(share, dtype=float) * self.height_mm) / scale

    def tangent(self, share: Any) -> Any:
        """See :class:`SqueezeLaw`."""
        deflection = np.asarray(share, dtype=float) * self.height_mm
        return self.curve.stiffness_n_per_mm(deflection) / self.curve.initial_n_per_mm


def checked_load_points(field: str, points: Any, least: int = 1) -> tuple[tuple[float, float], ...]:
    """Load–deflection points as a tuple of pairs, checked.

    Parameters
    ----------
    field : str
        The field's name for the message.
    points : sequence of (deflection in mm, force in N), or str
        Both above 0 and rising; the origin is implied, and dropped when given. As text: ``"0.5:4, 1:10"``.
    least : int
        Fewest points.

    Raises
    ------
    InputError
        Not pairs of numbers, too few, or not rising.
    """
    allowed = f"at least {least} pairs (deflection mm, force N), both above 0 and rising"
    if isinstance(points, str):
        points = [pair.split(":") for pair in points.replace(";", ",").split(",") if pair.strip()]
    try:
        pairs = tuple((float(d), float(f)) for d, f in points)
    except (TypeError, ValueError, OverflowError):
        raise InputError(field, points, allowed) from None
    if pairs and pairs[0] == (0.0, 0.0):
        pairs = pairs[1:]
    if len(pairs) < least:
        raise InputError(field, points, allowed, "add readings of force at more deflections")
    before = (0.0, 0.0)
    for pair in pairs:
        if not (before[0] < pair[0] < 1e6 and before[1] < pair[1] < 1e9):
            raise InputError(field, pair, allowed, "sort the points, and drop those that scatter back")
        before = pair
    return pairs
