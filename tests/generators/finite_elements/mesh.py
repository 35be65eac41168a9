"""Graded rectangular meshes of a meridian plane."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from skfem import MeshQuad

__all__ = ["COARSE", "FINE", "FINER", "ROUGH", "Fineness", "graded", "tensor_mesh"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Fineness:
    """How fine a mesh is.

    Attributes
    ----------
    growth : float
        Size of an element over that of its neighbour on the corner's side.
    most : int
        Least number of elements across an interval far from corners.
    least : float
        Smallest element over the shorter side of the rectangle.
    """

    growth: float
    most: int
    least: float


#: Meshes whose differences are the stated errors. Against one of half FINE's size, stiffness is off by about
#: 2e-5 (FINE), 1e-4 (COARSE) and 5e-4 (ROUGH).
ROUGH = Fineness(growth=4.0, most=4, least=5e-3)
COARSE = Fineness(growth=2.6, most=5, least=1e-3)
FINE = Fineness(growth=2.0, most=7, least=2e-4)
#: For cones, whose blunt corners are more singular and whose flat rims need more elements.
FINER = Fineness(growth=1.7, most=12, least=1e-4)


def graded(start: float, end: float, smallest: float, fine: Fineness, *, at_start: bool, at_end: bool) -> Array:
    """Points from start to end, geometrically denser towards the marked ends.

    Parameters
    ----------
    start, end : float
        The interval.
    smallest : float
        Size of the first element at a marked end.
    fine : Fineness
        Growth and the largest element, ``(end − start) / most``.
    at_start, at_end : bool
        Which ends are graded towards; with neither the points are equally spaced.
    """
    length = end - start
    if at_start and at_end:
        half = graded(0.0, length / 2.0, smallest, fine, at_start=True, at_end=False)
        return _with_ends(start + np.concatenate([half, length - half[-2::-1]]), start, end)
    if at_end:
        mirrored = graded(start, end, smallest, fine, at_start=True, at_end=False)[::-1]
        return _with_ends((start + end) - mirrored, start, end)
    largest = length / fine.most
    if not at_start:
        return np.linspace(start, end, fine.most + 1)
    sizes = [min(smallest, largest)]
    while sum(sizes) < length:
        sizes.append(min(sizes[-1] * fine.growth, largest))
    points = np.concatenate([[0.0], np.cumsum(sizes)])
    # Stretch smoothly so that the last point is the end; the grading changes by less than one step.
    return _with_ends(start + points * (length / points[-1]), start, end)


def _with_ends(points: Array, start: float, end: float) -> Array:
    """The points with their ends exact: an axis at 1e-17 is no axis."""
    points[0], points[-1] = start, end
    return points


def tensor_mesh(r: Array, z: Array) -> Any:
    """Quadrilateral mesh of the product of two point rows (scikit-fem)."""
    return MeshQuad.init_tensor(r, z)
