"""Small-strain stiffness of a two-part grommet: the plate against the bolt, solved as one body of revolution.

Flanges above and below the plate, a neck through its hole, the outer faces held by bolt and washers without slip. A
sleeve in the bore holds the rubber across and lets it slide along. The neck's wall is free (loose), meets the hole
without friction (contact), or is held by it (pressed). Displacements of one Fourier harmonic as in :mod:`.linear`.

:func:`half_grommet` solves one flange and half the neck, whose mid-plane follows from mirror symmetry: what the tables
hold. :func:`whole_grommet` solves both flanges at once, which may differ: what the sum of two halves is measured by.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .linear import System
from .mesh import Fineness, graded, tensor_mesh

__all__ = ["MODES", "STATES", "half_grommet", "whole_grommet"]

Array = NDArray[np.float64]

#: What the plate does: along the bolt, across it, turning about a diameter of its mid-plane by 1 rad.
MODES = ("axial", "shear", "tilt")
#: What the neck does.
STATES = ("none", "loose", "contact", "pressed")
_HARMONIC = {"axial": 0, "shear": 1, "tilt": 1}


def _near(a: Array, b: float) -> NDArray[np.bool_]:
    return np.isclose(a, b, rtol=0.0, atol=1e-9)


def _rows(fine: Fineness, *ends: float) -> Array:
    """Points from end to end, graded towards each of them but for a first one at 0, the mid-plane."""
    rows = [np.array(ends[:1])]
    for start, end in itertools.pairwise(ends):
        small = 2.0 * fine.least * (end - start)
        rows.append(graded(start, end, small, fine, at_start=start != 0.0, at_end=True)[1:])
    return np.concatenate(rows)


def _moved(mode: str) -> tuple[Any, ...]:
    """Displacement of the plate in each component, u_r cos θ, u_θ sin θ, u_z cos θ (axial: u_r, u_z)."""
    turned: tuple[Callable[[Array], Array], ...] = (lambda x: -x[1], lambda x: x[1], lambda x: x[0])
    return {"axial": (0.0, 1.0), "shear": (1.0, -1.0, 0.0), "tilt": turned}[mode]


def _fixed(mode: str, state: str, sleeve: bool, radii: tuple[float, float], z: Array, plate: float) -> list[Any]:
    """What is prescribed: (where, component, value); z are the mesh's levels, the mid-plane at 0."""
    bore, hole = radii
    moved = _moved(mode)
    along = len(moved) - 1
    out: list[Any] = [(lambda x: _near(x[1], z[-1]), c, 0.0) for c in range(along + 1)]
    if z[0] < 0.0:
        out += [(lambda x: _near(x[1], z[0]), c, 0.0) for c in range(along + 1)]
    else:
        across = range(along) if mode != "shear" else (along,)
        out += [(lambda x: _near(x[1], 0.0), c, 0.0) for c in across]
    if sleeve:
        out += [(lambda x: _near(x[0], bore), c, 0.0) for c in range(along)]
    faces = lambda x: _near(np.abs(x[1]), plate) & (x[0] >= hole - 1e-9)  # noqa: E731
    out += [(faces, c, value) for c, value in enumerate(moved)]
    if state in ("contact", "pressed"):
        wall = lambda x: _near(x[0], hole) & (np.abs(x[1]) <= plate + 1e-9)  # noqa: E731
        out += [(wall, c, value) for c, value in enumerate(moved) if state == "pressed" or c == 0]
    return out


def _solved(
    radii: tuple[float, float, float],
    r: Array,
    z: Array,
    plate: float,
    wanted: list[tuple[str, bool, str]],
    compressibility: float,
) -> list[float]:
    bore, hole, _ = radii
    systems: dict[Any, System] = {}
    out = []
    for state, sleeve, mode in wanted:
        key = state == "none", _HARMONIC[mode]
        if key not in systems:
            mesh = tensor_mesh(r, z)
            at = mesh.p[:, mesh.t].mean(axis=1)
            cut = (np.abs(at[1]) < plate) & ((at[0] > hole) | key[0])
            systems[key] = System(mesh.remove_elements(np.flatnonzero(cut)), key[1], compressibility)
        out.append(systems[key].energy(_fixed(mode, state, sleeve, (bore, hole), z, plate)))
    return out


def half_grommet(
    bore: float,
    hole: float,
    height: float,
    plate: float,
    wanted: list[tuple[str, bool, str]],
    *,
    compressibility: float = 0.0,
    fineness: Fineness,
) -> list[float]:
    """Stiffness of one flange of radius 1 with half the neck, at Young's modulus 1.

    Parameters
    ----------
    bore, hole : float
        Radii of the bore and of the plate's hole over that of the flange.
    height, plate : float
        Height of the flange and half the plate's thickness over the flange's radius.
    wanted : list of (state, sleeve, mode)
        Neck, one of :data:`STATES`; whether a sleeve fills the bore; one of :data:`MODES`.
    compressibility : float
        E / B.
    fineness : Fineness
        Mesh.
    """
    r, z = _rows(fineness, bore, hole, 1.0), _rows(fineness, 0.0, plate, plate + height)
    return _solved((bore, hole, 1.0), r, z, plate, wanted, compressibility)


def whole_grommet(
    bore: float,
    hole: float,
    lower: float,
    upper: float,
    plate: float,
    wanted: list[tuple[str, bool, str]],
    *,
    compressibility: float = 0.0,
    fineness: Fineness,
) -> list[float]:
    """Stiffness of both flanges as one body; arguments as in :func:`half_grommet`."""
    r, z = _rows(fineness, bore, hole, 1.0), _rows(fineness, -plate - lower, -plate, plate, plate + upper)
    return _solved((bore, hole, 1.0), r, z, plate, wanted, compressibility)
