"""Force against squeeze of one body, relative to its unloaded stiffness: tabulated, exact, or measured."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from matdb.arrays import Array
from matdb.errors import InputError
from matdb.form.base import MAX_SQUEEZE_SHARE
from matdb.form.tables import squeeze_table


@dataclass(frozen=True)
class SqueezeLaw:
    """Force and tangent of a squeezed body; both are functions of squeeze over free height, e.

    Attributes
    ----------
    force : callable
        Force over (unloaded stiffness × free height), 0 at no squeeze.
    tangent : callable
        Tangent stiffness over unloaded stiffness, 1 at no squeeze.
    most : float
        Largest share at which it is known; beyond it goes on smoothly.
    """

    force: Callable[[Any], Any]
    tangent: Callable[[Any], Any]
    most: float


def _frictionless_force(share: Any) -> Any:
    stretch = 1.0 - np.asarray(share, dtype=float)
    return (1.0 / (stretch * stretch) - stretch) / 3.0


def _frictionless_tangent(share: Any) -> Any:
    stretch = 1.0 - np.asarray(share, dtype=float)
    return (1.0 + 2.0 / (stretch * stretch * stretch)) / 3.0


#: Uniform squeeze of an incompressible neo-Hookean body: ``F / (k₀ h) = (λ⁻² − λ) / 3``, λ = 1 − e.
FRICTIONLESS = SqueezeLaw(_frictionless_force, _frictionless_tangent, MAX_SQUEEZE_SHARE)


@functools.lru_cache(maxsize=4096)
def tabulated_law(shape: float, hole: float) -> SqueezeLaw:
    """The law of a bonded pad or ring from finite elements; geometry outside the table takes its edge.

    It ends at a share of 0.3, or less where no equilibrium was found, the hole closes or a thin wall folds.
    Beyond the end the tangent goes on as ``λ⁻³``, the closed form's growth for bonded faces.

    Parameters
    ----------
    shape : float
        Shape factor.
    hole : float
        Inner over outer diameter.
    """
    points = squeeze_table().force(shape, hole)
    curve, most = LoadCurve(points, start=1.0), points[-1][0]
    end = 1.0 - most
    end_slope = curve.stiffness_n_per_mm(most)

    def force(share: Any) -> Any:
        e = np.asarray(share, dtype=float)
        beyond = end_slope * end**3 / 2.0 * ((1.0 - np.maximum(e, most)) ** -2 - end**-2)
        return curve.force_n(np.minimum(e, most)) + beyond

    def tangent(share: Any) -> Any:
        e = np.asarray(share, dtype=float)
        growth = end / (1.0 - np.maximum(e, most))
        return curve.stiffness_n_per_mm(np.minimum(e, most)) * growth * growth * growth

    return SqueezeLaw(force, tangent, most)


@dataclass(frozen=True)
class LoadCurve:
    """A smooth monotone curve through measured load–deflection points, starting at nothing.

    Piecewise cubic with the slopes of Fritsch and Butland (SIAM J. Sci. Stat. Comput. 5, 1984, 300, from
    memory), so it never swings between points. Beyond the last point it goes on straight.

    Attributes
    ----------
    points : tuple of (float, float)
        Deflection in mm and force in N, both rising from above 0.
    start : float or None
        Slope at nothing where it is known.
    """

    points: tuple[tuple[float, float], ...]
    start: float | None = None

    @functools.cached_property
    def _pieces(self) -> Array:
        """Where each piece starts, and its force, slope, and coefficients of the square and the cube there."""
        x, y = np.array([(0.0, 0.0), *self.points]).T
        step = np.diff(x)
        secant = np.diff(y) / step
        slope = np.full_like(x, secant[0])
        if x.size > 2:
            left, right = 2.0 * step[1:] + step[:-1], step[1:] + 2.0 * step[:-1]
            slope[1:-1] = (left + right) / (left / secant[:-1] + right / secant[1:])
            for end, near, far in ((0, 0, 1), (-1, -1, -2)):
                straight = (2.0 * step[near] + step[far]) * secant[near] - step[near] * secant[far]
                flattest, steepest = 0.2 * secant[near], 3.0 * secant[near]
                slope[end] = np.clip(straight / (step[near] + step[far]), flattest, steepest)
        if self.start is not None:
            slope[0] = self.start
        square = (3.0 * secant - 2.0 * slope[:-1] - slope[1:]) / step
        cube = (slope[:-1] + slope[1:] - 2.0 * secant) / step**2
        return np.stack([x, y, slope, np.append(square, 0.0), np.append(cube, 0.0)])

    def _at(self, deflection: Any) -> tuple[Array, ...]:
        """Deflection past the start of its piece, and the piece's coefficients."""
        d = np.asarray(deflection, dtype=float)
        piece = np.maximum(self._pieces[0].searchsorted(d, side="right") - 1, 0)
        start, *coefficients = self._pieces.take(piece, axis=1)
        return d - start, *coefficients

    def force_n(self, deflection: Any) -> Any:
        """Force in N at a deflection in mm, 0 or more."""
        d, force, slope, square, cube = self._at(deflection)
        return force + d * (slope + d * (square + d * cube))

    def stiffness_n_per_mm(self, deflection: Any) -> Any:
        """Tangent stiffness in N/mm at a deflection in mm."""
        d, _, slope, square, cube = self._at(deflection)
        return slope + d * (2.0 * square + d * 3.0 * cube)

    def law(self, height_mm: float) -> SqueezeLaw:
        """The shape of the curve, scaled to 1 at no squeeze of a body of this height; it overrides the table."""
        initial = self.stiffness_n_per_mm(0.0)
        return SqueezeLaw(
            lambda share: self.force_n(np.asarray(share) * height_mm) / (initial * height_mm),
            lambda share: self.stiffness_n_per_mm(np.asarray(share) * height_mm) / initial,
            self.points[-1][0] / height_mm,
        )


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
    for before, pair in zip(((0.0, 0.0), *pairs), pairs, strict=False):
        if not (before[0] < pair[0] < 1e6 and before[1] < pair[1] < 1e9):
            raise InputError(field, pair, allowed, "sort the points, and drop those that scatter back")
    return pairs
