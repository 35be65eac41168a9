"""Small-strain stiffness of bodies of revolution: mixed displacement–pressure finite elements (Taylor–Hood).

Displacements of one Fourier harmonic around the axis (n = 0: squeezed or pushed along it; n = 1: moved across
it), biquadratic, with continuous bilinear pressure. The material has Young's modulus 1 and is incompressible or
has a bulk modulus; the mixed form holds for both. Lengths are free: give the outer diameter 1.

The stiffness is the energy at a unit displacement, which converges twice as fast as the displacements.
Corners between a bonded face and a free surface are singular, so meshes are graded geometrically towards them.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import block_diag, bmat, coo_matrix
from scipy.sparse.linalg import spsolve
from skfem import Basis, ElementQuad1, ElementQuad2

from .mesh import FINE, Fineness, graded, tensor_mesh

__all__ = ["System", "bush_stiffness", "column_stiffness", "solve", "taper_stiffness"]

Array = NDArray[np.float64]


def _shear_modulus(compressibility: float) -> tuple[float, float]:
    """Shear modulus, and one over Lamé's first constant, of Young's modulus 1 and E / B."""
    shear = 1.0 / (3.0 - compressibility / 3.0)
    if compressibility <= 0.0:
        return shear, 0.0
    return shear, 1.0 / (1.0 / compressibility - 2.0 * shear / 3.0)


def _strains(harmonic: int, values: Array, slopes: Array, radius: Array, solid: bool) -> tuple[Array, Array]:
    """Strain and divergence matrices at every quadrature point.

    Shapes: elements × points × strains × (components · nodes), and the same without strains.
    Components are (u_r, u_z) for n = 0, (u_r, u_θ, u_z) for n = 1; in a solid body (u_r − u_θ, u_r + u_θ)/2
    take the place of the first two, because only the second vanishes on the axis.
    """
    nodes, elements, points = values.shape
    n = np.moveaxis(values, 0, -1) / radius[..., None]
    dr, dz = (np.moveaxis(slopes[:, i], 0, -1) for i in (0, 1))
    zero = np.zeros_like(dr)
    if harmonic == 0:
        rows: list[tuple[Array, ...]] = [(dr, zero), (n, zero), (zero, dz), (dz, dr)]
    else:
        # rr, θθ, zz, rz, rθ, θz for (u_r cos θ, u_θ sin θ, u_z cos θ)
        rows_uvw = [
            (dr, zero, zero),
            (n, n, zero),
            (zero, zero, dz),
            (dz, zero, dr),
            (-n, dr - n, zero),
            (zero, dz, -n),
        ]
        rows = [(u - v, u + v, w) for u, v, w in rows_uvw] if solid else list(rows_uvw)
    strain = np.stack([np.concatenate(row, axis=-1) for row in rows], axis=2)
    assert strain.shape == (elements, points, len(rows), len(rows[0]) * nodes)
    return strain, strain[:, :, :3].sum(axis=2)


class System:
    """A body of revolution, assembled once for one harmonic, that is solved under any prescribed displacements."""

    def __init__(self, mesh: Any, harmonic: int, compressibility: float = 0.0) -> None:
        solid = bool(mesh.p[0].min() == 0.0) and harmonic == 1
        fine = Basis(mesh, ElementQuad2(), intorder=6)
        coarse = Basis(mesh, ElementQuad1(), intorder=6)
        values = np.array([np.asarray(fine.basis[i][0]) for i in range(fine.Nbfun)])
        slopes = np.array([fine.basis[i][0].grad for i in range(fine.Nbfun)])
        pressure = np.moveaxis(np.array([np.asarray(coarse.basis[i][0]) for i in range(coarse.Nbfun)]), 0, -1)
        radius = fine.mapping.F(fine.X)[0]
        weight = fine.dx * radius * (2.0 * np.pi if harmonic == 0 else np.pi)

        strain, divergence = _strains(harmonic, values, slopes, radius, solid)
        shear, per_lame = _shear_modulus(compressibility)
        moduli = shear * np.array([2.0, 2.0, 2.0, 1.0, 1.0, 1.0])[: strain.shape[2]]
        elements, _points, _rows, columns = strain.shape
        left = (strain * (moduli[None, None, :, None] * weight[:, :, None, None])).reshape(elements, -1, columns)
        stiff_e = np.matmul(left.transpose(0, 2, 1), strain.reshape(elements, -1, columns))
        div_e = np.matmul((pressure * weight[..., None]).transpose(0, 2, 1), divergence)
        mass_e = np.matmul((pressure * weight[..., None]).transpose(0, 2, 1), pressure)

        self.count, parts = fine.N, columns // fine.Nbfun
        self.total = parts * fine.N
        dofs = np.concatenate([fine.element_dofs + c * fine.N for c in range(parts)]).T
        pdofs = coarse.element_dofs.T

        def assembled(local: Array, row: Any, column: Any, shape: tuple[int, int]) -> Any:
            i = np.broadcast_to(row[:, :, None], local.shape).ravel()
            j = np.broadcast_to(column[:, None, :], local.shape).ravel()
            return coo_matrix((local.ravel(), (i, j)), shape=shape).tocsr()

        stiff = assembled(stiff_e, dofs, dofs, (self.total, self.total))
        div = assembled(div_e, pdofs, dofs, (coarse.N, self.total))
        mass = assembled(mass_e, pdofs, pdofs, (coarse.N, coarse.N))
        self.places: Array = fine.doflocs
        self._energy = block_diag([stiff, per_lame * mass], format="csr")
        self._whole = bmat([[stiff, -div.T], [-div, -per_lame * mass]], format="csr")

    def energy(self, fixed: list[tuple[Callable[[Array], Any], int, Any]]) -> float:
        """``∫σ:ε dV`` under prescribed displacements, each (where, component, value or function of place)."""
        x = np.zeros(self._whole.shape[0])
        known = np.zeros(x.size, dtype=bool)
        for where, component, value in fixed:
            at = np.flatnonzero(where(self.places))
            x[at + component * self.count] = value(self.places[:, at]) if callable(value) else value
            known[at + component * self.count] = True
        free = np.flatnonzero(~known)
        x[free] = spsolve(self._whole[free][:, free].tocsc(), -(self._whole @ x)[free], permc_spec="COLAMD")
        return float(x @ (self._energy @ x))


def solve(
    r: Array,
    z: Array,
    harmonic: int,
    fixed: list[tuple[str, int, Any]],
    *,
    compressibility: float = 0.0,
    taper: float = 0.0,
) -> float:
    """Energy ``∫σ:ε dV`` of a rectangle revolved, under prescribed displacements.

    Parameters
    ----------
    r, z : ndarray
        Mesh points along the radius (from 0 for a solid body) and the axis.
    harmonic : int
        0 or 1.
    fixed : list of (side, component, value)
        Side ``left``, ``right``, ``bottom``, ``top``; component as in :func:`_strains`; or a function of place.
    compressibility : float
        E / B, 0 for incompressible.
    taper : float
        The radii at height z are those given times ``1 + taper · (z − z₀) / (z₁ − z₀)``.
    """
    mesh = tensor_mesh(r, z)
    if taper:
        mesh = mesh.translated((0.0, 0.0))
        mesh.p[0] *= 1.0 + taper * (mesh.p[1] - z[0]) / (z[-1] - z[0])
    side = {"left": (0, r[0]), "right": (0, r[-1]), "bottom": (1, z[0]), "top": (1, z[-1])}

    def on(name: str) -> Callable[[Array], Any]:
        which, level = side[name]
        return lambda x: np.isclose(x[which], level, rtol=0, atol=1e-12)

    return System(mesh, harmonic, compressibility).energy([(on(name), c, value) for name, c, value in fixed])


def column_stiffness(
    slenderness: float, hole: float, axis: str, *, compressibility: float = 0.0, fineness: Fineness = FINE
) -> float:
    """Stiffness over E·A/h, turning over E·I/h, of a round column (pad, ring, strut) with bonded faces.

    Parameters
    ----------
    slenderness : float
        Height over outer diameter.
    hole : float
        Inner over outer diameter, 0 for solid.
    axis : str
        ``"axial"``, ``"sideways"`` with both faces held parallel, or ``"tilt"``: both turn by half the angle, opposite
        ways, about a diameter.
    compressibility : float
        E / B.
    fineness : Fineness
        Mesh.
    """
    inner, half = hole / 2.0, slenderness / 2.0
    wall = 0.5 - inner
    smallest = fineness.least * min(wall, half)
    r = graded(inner, 0.5, smallest, fineness, at_start=hole > 0.0, at_end=True)
    z = graded(0.0, half, smallest, fineness, at_start=False, at_end=True)
    fixed: list[tuple[str, int, Any]]
    if axis == "axial":
        fixed = [("bottom", 1, 0.0), ("top", 0, 0.0), ("top", 1, 0.5)]
        if hole == 0.0:
            fixed.insert(0, ("left", 0, 0.0))
        energy = solve(r, z, 0, fixed, compressibility=compressibility)
    elif axis == "tilt":
        # The mean of u_r and u_θ vanishes on the axis, as does u_z; the faces turn without moving sideways.
        fixed = [("left", 1, 0.0), ("left", 2, 0.0)] if hole == 0.0 else []
        fixed += [("bottom", 2, 0.0), ("top", 0, 0.0), ("top", 1, 0.0), ("top", 2, lambda x: x[0] / 2.0)]
        energy = solve(r, z, 1, fixed, compressibility=compressibility)
        return 2.0 * energy * slenderness / float(np.pi / 64.0 * (1.0 - hole**4))
    else:
        if hole > 0.0:
            fixed = [("bottom", 0, 0.0), ("bottom", 1, 0.0), ("top", 0, 0.5), ("top", 1, -0.5), ("top", 2, 0.0)]
        else:
            fixed = [("left", 1, 0.0), ("left", 2, 0.0), ("bottom", 0, 0.0), ("bottom", 1, 0.0)]
            fixed += [("top", 0, 0.5), ("top", 1, 0.0), ("top", 2, 0.0)]
        energy = solve(r, z, 1, fixed, compressibility=compressibility)
    area = np.pi / 4.0 * (1.0 - hole**2)
    return 2.0 * energy * slenderness / float(area)


def taper_stiffness(top: float, height: float, axis: str, *, fineness: Fineness = FINE) -> float:
    """Stiffness over E·D of a solid truncated cone between bonded faces.

    Parameters
    ----------
    top, height : float
        Diameter of the top face and height, both over the diameter of the bottom face.
    axis : str
        ``"axial"``, or ``"sideways"`` with both faces held parallel.
    fineness : Fineness
        Mesh.
    """
    smallest = fineness.least * min(0.5, height)
    r = graded(0.0, 0.5, smallest, fineness, at_start=False, at_end=True)
    z = graded(0.0, height, smallest, fineness, at_start=True, at_end=True)
    fixed: list[tuple[str, int, Any]]
    if axis == "axial":
        fixed = [("left", 0, 0.0), ("bottom", 0, 0.0), ("bottom", 1, 0.0), ("top", 0, 0.0), ("top", 1, 1.0)]
        return solve(r, z, 0, fixed, taper=top - 1.0)
    fixed = [("left", 1, 0.0), ("left", 2, 0.0)]
    fixed += [("bottom", c, 0.0) for c in range(3)]
    fixed += [("top", 0, 1.0), ("top", 1, 0.0), ("top", 2, 0.0)]
    return solve(r, z, 1, fixed, taper=top - 1.0)


def bush_stiffness(
    radius_ratio: float,
    length_ratio: float,
    axis: str,
    *,
    bonded: bool = True,
    compressibility: float = 0.0,
    fineness: Fineness = FINE,
) -> float:
    """Stiffness over E·b of a bush.

    Parameters
    ----------
    radius_ratio, length_ratio : float
        Outer over inner radius b / a, and length over outer radius L / b.
    axis : str
        ``"axial"``, ``"radial"``, or ``"tilt"``: the outer sleeve turns about a diameter of its middle, per E·b³.
    bonded : bool
        False for frictionless sleeves that stay in touch (radial only).
    compressibility : float
        E / B.
    fineness : Fineness
        Mesh.
    """
    inner, half = 1.0 / radius_ratio, length_ratio / 2.0
    smallest = fineness.least * min(1.0 - inner, half)
    r = graded(inner, 1.0, smallest, fineness, at_start=True, at_end=True)
    z = graded(0.0, half, smallest, fineness, at_start=False, at_end=True)
    fixed: list[tuple[str, int, Any]]
    if axis == "axial":
        fixed = [("bottom", 0, 0.0), ("left", 0, 0.0), ("left", 1, 1.0), ("right", 0, 0.0), ("right", 1, 0.0)]
        return 2.0 * solve(r, z, 0, fixed, compressibility=compressibility)
    if axis == "tilt":
        fixed = [("bottom", 0, 0.0), ("bottom", 1, 0.0), *(("left", c, 0.0) for c in range(3))]
        fixed += [("right", 0, lambda x: -x[1]), ("right", 1, lambda x: x[1]), ("right", 2, lambda x: x[0])]
        return 2.0 * solve(r, z, 1, fixed, compressibility=compressibility)
    fixed = [("bottom", 2, 0.0), ("left", 0, 1.0), ("right", 0, 0.0)]
    if bonded:
        fixed += [("left", 1, -1.0), ("left", 2, 0.0), ("right", 1, 0.0), ("right", 2, 0.0)]
    return 2.0 * solve(r, z, 1, fixed, compressibility=compressibility)
