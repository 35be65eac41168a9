"""Large squeeze of a bonded round column: axisymmetric, incompressible, neo-Hookean, total Lagrangian.

Strain energy ``G/2 (I₁ − 3)`` with G = 1/3 (Young's modulus 1), biquadratic displacements, bilinear pressure,
Newton steps along the squeeze. A free wall bulges against the plane of the faces almost at once; a stiff plate holds
it there, where it sticks, as rubber does to a washer (without friction: 1 % softer at a squeeze of 25 %, 3 % at 30 %).
Contact of a hole's wall with itself, or with a screw, is left out.

At the bonded corners the strain has no limit: finer meshes do not solve further, they fail sooner. The meshes
are therefore moderate, the force scatters by about 1 %, and the tables smooth it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.linalg import splu
from skfem import Basis, ElementQuad1, ElementQuad2

from .mesh import Fineness, graded, tensor_mesh

__all__ = ["ASIDE_SQUEEZE", "SQUEEZE_MESHES", "Squeezed", "squeeze_column"]

Array = NDArray[np.float64]

#: The table's mesh, and those that go on where elements at a corner fail on it.
SQUEEZE_MESHES = (
    Fineness(growth=1.4, most=8, least=0.12),
    Fineness(growth=1.5, most=6, least=0.15),
    Fineness(growth=2.0, most=4, least=0.25),
    Fineness(growth=1.5, most=5, least=0.2),
    Fineness(growth=1.7, most=7, least=0.3),
    Fineness(growth=1.3, most=7, least=0.2),
)
#: Of what is held aside: as far as they go, nothing going on beyond.
ASIDE_SQUEEZE = (Fineness(growth=1.35, most=12, least=0.09),)

#: Modulus that keeps each point's volume besides the pressure's weak constraint, of which it leaves the solution
#: alone: without it the elements fall into false branches of equilibrium when compressed.
KEEP = 1.0 / 3.0

#: Pressure of the plate in units of G per half height that a wall passes it.
CONTACT = 100.0 / 3.0


@dataclass(frozen=True)
class Squeezed:
    """What one column did under squeeze.

    Attributes
    ----------
    share : ndarray
        Squeeze over height, as far as it was solved.
    force : ndarray
        Force over E·A₀ at each share.
    linear : float
        Derivative of the force by the share at no squeeze, on the same mesh.
    narrowest : ndarray
        Smallest radius of the hole's wall over its unloaded radius at each share; 1 without a hole.
    """

    share: Array
    force: Array
    linear: float
    narrowest: Array


class _Column:
    """The discretised half column: residual and tangent at a state."""

    def __init__(self, slenderness: float, hole: float, fineness: Fineness) -> None:
        self.half = slenderness / 2.0
        inner = hole / 2.0
        smallest = fineness.least * min(0.5 - inner, self.half)
        r = graded(inner, 0.5, smallest, fineness, at_start=hole > 0.0, at_end=True)
        z = graded(0.0, self.half, smallest, fineness, at_start=False, at_end=True)
        mesh = tensor_mesh(r, z)
        fine, coarse = Basis(mesh, ElementQuad2(), intorder=6), Basis(mesh, ElementQuad1(), intorder=6)
        values = np.moveaxis(np.array([np.asarray(fine.basis[i][0]) for i in range(fine.Nbfun)]), 0, -1)
        slopes = np.array([fine.basis[i][0].grad for i in range(fine.Nbfun)])
        dr, dz = (np.moveaxis(slopes[:, i], 0, -1) for i in (0, 1))
        self.pressure = np.moveaxis(np.array([np.asarray(coarse.basis[i][0]) for i in range(coarse.Nbfun)]), 0, -1)
        radius = fine.mapping.F(fine.X)[0]
        self.weight = 2.0 * np.pi * fine.dx * radius
        zero = np.zeros_like(dr)
        rows = [(dr, zero), (dz, zero), (zero, dr), (zero, dz), (values / radius[..., None], zero)]
        #: d(F_rr, F_rz, F_zr, F_zz, F_θθ) by the nodal displacements: elements × points × 5 × 18.
        self.slope = np.stack([np.concatenate(row, axis=-1) for row in rows], axis=2)
        self.dofs = np.concatenate([fine.element_dofs, fine.element_dofs + fine.N]).T
        self.pdofs = coarse.element_dofs.T
        self.count, self.total, self.pressures = fine.N, 2 * fine.N, coarse.N
        where = fine.doflocs
        near = 1e-12
        top = np.flatnonzero(np.abs(where[1] - self.half) < near)
        bottom = np.flatnonzero(np.abs(where[1]) < near)
        axis = np.flatnonzero(np.abs(where[0]) < near)
        self.hole_wall = np.flatnonzero(np.abs(where[0] - inner) < near) if hole > 0.0 else None
        self.inner = inner
        self.top_z = top + self.count
        self.walls = [self._wall(where, edge) for edge in ([0.5, inner] if hole > 0.0 else [0.5])]
        #: How far each point of a wall had moved outwards when it met the plate; nan where it has not.
        self.stuck = [np.full(weight.shape, np.nan) for *_, weight in self.walls]
        held = np.concatenate([top, self.top_z, bottom + self.count, axis])
        known = np.zeros(self.total + self.pressures, dtype=bool)
        known[held] = True
        self.free = np.flatnonzero(~known)
        self.area = np.pi * (0.25 - inner**2)

    def _wall(self, where: Array, edge: float) -> tuple[Any, Array, Array, Array]:
        """A free wall as rows of three nodes: their numbers, heights, shape functions and weights."""
        nodes = np.flatnonzero(np.abs(where[0] - edge) < 1e-12)
        nodes = nodes[np.argsort(where[1][nodes])]
        rows = np.stack([nodes[:-2:2], nodes[1:-1:2], nodes[2::2]], axis=1)
        x, w = np.polynomial.legendre.leggauss(4)
        shapes = np.stack([x * (x - 1.0) / 2.0, 1.0 - x**2, x * (x + 1.0) / 2.0], axis=1)
        heights = where[1][rows]
        length = heights[:, 2] - heights[:, 0]
        return rows, heights, shapes, 2.0 * np.pi * edge * length[:, None] / 2.0 * w

    def touch(self, state: Array, plate: float) -> tuple[Array, Any]:
        """Residual and tangent of a stiff plate that the bulging walls may not pass, and stick to once they met it."""
        residual = np.zeros(state.size)
        parts, rows_i, rows_j = [], [], []
        stiffness = CONTACT / self.half
        for (rows, heights, shapes, weight), stuck in zip(self.walls, self.stuck, strict=True):
            past = np.maximum((heights + state[rows + self.count]) @ shapes.T - plate, 0.0)
            slid = np.where(np.isnan(stuck), 0.0, state[rows] @ shapes.T - np.nan_to_num(stuck))
            for dofs, off, on in ((rows + self.count, past, past > 0.0), (rows, slid, ~np.isnan(stuck))):
                np.add.at(residual, dofs, stiffness * np.einsum("eq,qn->en", off * weight, shapes))
                local = stiffness * np.einsum("eq,qn,qm->enm", on * weight, shapes, shapes)
                parts.append(local.ravel())
                rows_i.append(np.broadcast_to(dofs[:, :, None], local.shape).ravel())
                rows_j.append(np.broadcast_to(dofs[:, None, :], local.shape).ravel())
        index = (np.concatenate(rows_i), np.concatenate(rows_j))
        return residual, coo_matrix((np.concatenate(parts), index), shape=(state.size, state.size)).tocsr()

    def stick(self, state: Array, plate: float) -> None:
        """Keep where the walls met the plate, at a state of equilibrium."""
        for (rows, heights, shapes, _), stuck in zip(self.walls, self.stuck, strict=True):
            past = (heights + state[rows + self.count]) @ shapes.T > plate
            new = past & np.isnan(stuck)
            stuck[new], stuck[~past] = (state[rows] @ shapes.T)[new], np.nan

    def assemble(self, state: Array) -> tuple[Array, Any]:
        """Residual and tangent matrix of ``∫ G/2 (I₁−3) − p (J−1)``."""
        u, p = state[: self.total], state[self.total :]
        rest = np.array([1.0, 0.0, 0.0, 1.0, 1.0])
        f = np.einsum("eqsd,ed->eqs", self.slope, u[self.dofs]) + rest
        pressure = np.einsum("eqn,en->eq", self.pressure, p[self.pdofs])
        rr, rz, zr, zz, tt = np.moveaxis(f, -1, 0)
        plane = rr * zz - rz * zr
        cofactor = np.stack([zz * tt, -zr * tt, -rz * tt, rr * tt, plane], axis=-1)
        second = np.zeros((*plane.shape, 5, 5))
        for i, j, value in ((0, 3, tt), (1, 2, -tt), (0, 4, zz), (1, 4, -zr), (2, 4, -rz), (3, 4, rr)):
            second[..., i, j] = second[..., j, i] = value
        shear, volume_ratio = 1.0 / 3.0, plane * tt
        spherical = KEEP * (volume_ratio - 1.0) - shear / volume_ratio - pressure
        stress = shear * f + spherical[..., None] * cofactor
        w = self.weight[..., None]
        residual = np.zeros(state.size)
        np.add.at(residual, self.dofs, np.einsum("eqsd,eqs->ed", self.slope, stress * w))
        change = (volume_ratio - 1.0) * self.weight
        np.add.at(residual, self.total + self.pdofs, -np.einsum("eqn,eq->en", self.pressure, change))
        moduli = shear * np.eye(5) + spherical[..., None, None] * second
        outer = cofactor[..., :, None] * cofactor[..., None, :]
        moduli = (moduli + (KEEP + shear / volume_ratio**2)[..., None, None] * outer) * w[..., None]
        elements, points, strains, columns = self.slope.shape
        flat = self.slope.reshape(elements, points * strains, columns)
        left = np.matmul(moduli, self.slope).reshape(elements, points * strains, columns)
        stiff = np.matmul(flat.transpose(0, 2, 1), left)
        volume = np.einsum("eqsd,eqs->eqd", self.slope, cofactor * w)
        couple = -np.matmul(volume.transpose(0, 2, 1), self.pressure)
        every = np.concatenate([self.dofs, self.total + self.pdofs], axis=1)
        local = np.zeros((elements, every.shape[1], every.shape[1]))
        local[:, :columns, :columns] = stiff
        local[:, :columns, columns:] = couple
        local[:, columns:, :columns] = couple.transpose(0, 2, 1)
        row = np.broadcast_to(every[:, :, None], local.shape).ravel()
        column = np.broadcast_to(every[:, None, :], local.shape).ravel()
        return residual, coo_matrix((local.ravel(), (row, column)), shape=(state.size, state.size)).tocsr()


def squeeze_column(
    slenderness: float, hole: float, shares: Array, fineness: Fineness = SQUEEZE_MESHES[0], *, contact: bool = True
) -> Squeezed:
    """Squeeze a bonded column step by step, as far as equilibrium is found.

    Parameters
    ----------
    slenderness, hole : float
        As in :func:`tests.generators.finite_elements.linear.column_stiffness`.
    shares : ndarray
        Rising squeeze shares above 0.
    fineness : Fineness
        Mesh.
    contact : bool
        False lets the walls pass the plane of the faces.
    """
    column = _Column(slenderness, hole, fineness)
    state = np.zeros(column.total + column.pressures)
    forces, narrowest = [], []
    linear = _linear(column, state)
    at, step = 0.0, 0.01
    before: tuple[Array, float] = (state, -1.0)
    for share in shares:
        while at < share - 1e-12 and step > 1e-3:
            to = min(at + step, float(share))
            guess = state + (state - before[0]) * (to - at) / (at - before[1])
            guess[column.top_z] = -column.half * to
            found = _equilibrium(column, guess, to, contact)
            if found is None:
                step = (to - at) / 2.0
                continue
            before, state, at = (state, at), found, to
            if contact:
                column.stick(state, column.half * (1.0 - at))
        if at < share - 1e-12:
            break
        step = 0.01
        force = -column.assemble(state)[0][column.top_z].sum()
        if contact:
            force += column.touch(state, column.half * (1.0 - at))[0].sum()
        forces.append(float(force) / column.area)
        wall = column.hole_wall
        narrowest.append(1.0 if wall is None else 1.0 + float(state[wall].min()) / column.inner)
    return Squeezed(np.asarray(shares[: len(forces)]), np.array(forces), linear, np.array(narrowest))


def _linear(column: _Column, state: Array) -> float:
    matrix = column.assemble(state)[1]
    rate = np.zeros_like(state)
    rate[column.top_z] = -column.half
    free = column.free
    rate[free] = splu(matrix[free][:, free].tocsc()).solve(-(matrix @ rate)[free])
    return -float((matrix @ rate)[column.top_z].sum()) / column.area


def _equilibrium(column: _Column, guess: Array, share: float, contact: bool) -> Array | None:
    free, state = column.free, guess
    for _ in range(12):
        residual, matrix = column.assemble(state)
        if contact:
            more, stiff = column.touch(state, column.half * (1.0 - share))
            residual, matrix = residual + more, matrix + stiff
        size = np.abs(residual[free]).max()
        if size < 1e-10:
            return state
        if not size < 1e6:
            return None
        change = np.zeros_like(state)
        change[free] = splu(matrix[free][:, free].tocsc()).solve(-residual[free])
        state = state + change
    return None
