"""A printed leg, wall around a sparse core, between bonded ends: stiffness and buckling of the body of revolution.

Wall and core are one body of two moduli. The ends may flare: there the core widens along a cone, the wall keeps its
thickness. Both are neo-Hookean, ``G/2 (I₁ − 3) − G ln J`` with the pressure that their bulk modulus gives. The leg is
squeezed as far as asked (harmonic 0) and then moved sideways a little (harmonic 1), ends parallel; it buckles where
nothing resists that.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.linalg import splu
from skfem import Basis, ElementQuad1, ElementQuad2

from matdb.form.printed_strut import LEG_MODES

from .mesh import Fineness, graded, tensor_mesh

__all__ = ["LEG_ASIDE_MESH", "LEG_MESH", "printed_leg"]

Array = NDArray[np.float64]

#: Off by 0.1 % or less against meshes of half the size; finer ones fail sooner at the corners under squeeze.
LEG_MESH = Fineness(growth=6.0, most=1, least=1e-2)
LEG_ASIDE_MESH = Fineness(growth=4.0, most=2, least=7e-3)


def _on(level: float, at: int = 1) -> Any:
    return lambda x: np.isclose(x[at], level, rtol=0.0, atol=1e-9)


def _radii(hole: float, wall: float, fine: Fineness) -> Array:
    """Mesh points along the radius, graded towards the free surfaces and the interfaces, where the pressure jumps."""
    inner = hole / 2.0
    small = fine.least * (0.5 - inner)
    rows = [graded(0.5 - wall, 0.5, small, fine, at_start=True, at_end=True)]
    rows.insert(
        0, graded(inner + wall if hole else 0.0, 0.5 - wall, small, fine, at_start=hole > 0.0, at_end=True)[:-1]
    )
    if hole:
        rows.insert(0, graded(inner, inner + wall, small, fine, at_start=True, at_end=True)[:-1])
    return np.concatenate(rows)


def printed_leg(
    slenderness: float,
    hole: float,
    wall: float,
    core: float,
    poisson: float,
    *,
    flare: tuple[float, float] = (1.0, 0.0),
    fineness: Fineness = LEG_MESH,
) -> dict[str, float]:
    """Stiffness, per E·D, of a leg of outer diameter 1; "buckling" is the shortening over length at which it buckles.

    Parameters
    ----------
    slenderness, hole, wall : float
        Length, bore and thickness of the wall over the outer diameter; a bore has a wall of its own.
    core, poisson : float
        Young's modulus of the core over that of the wall, and its Poisson's ratio; the wall is incompressible.
    flare : (float, float)
        Outer diameter of the ends, and the length over which each widens, over the outer diameter.
    fineness : Fineness
        Mesh.

    Returns
    -------
    dict
        By each of :data:`LEG_MODES`; nan where no squeezed state was found.
    """
    half = slenderness / 2.0
    r = _radii(hole, wall, fineness)
    top = graded(0.0, half, fineness.least * min(0.5, half), fineness, at_start=False, at_end=True)
    levels = np.unique(np.concatenate([top, np.linspace(0.0, half, int(2 * slenderness) + 2)]))
    if flare[1]:
        levels = np.unique(np.append(levels, half - flare[1]))
    z = levels[np.append(True, np.diff(levels) > 1e-3 * fineness.least)]
    z[-1] = half
    mesh = tensor_mesh(r, z)
    middle = mesh.p[:, mesh.t].mean(axis=1)[0]
    sparse = (middle < 0.5 - wall) & (middle > (hole / 2.0 + wall if hole else 0.0))
    if flare[1]:
        mesh = mesh.translated((0.0, 0.0))
        wider = (flare[0] - 1.0) / 2.0 * np.clip((mesh.p[1] - half + flare[1]) / flare[1], 0.0, 1.0)
        start, span = (hole / 2.0 + wall, 0.5 - 2.0 * wall - hole / 2.0) if hole else (0.0, 0.5 - wall)
        mesh.p[0] += wider * np.clip((mesh.p[0] - start) / span, 0.0, 1.0)
    moduli = np.where(sparse, core, 1.0), np.where(sparse, 3.0 * (1.0 - 2.0 * poisson), 0.0)
    return _answers(_Leg(mesh, half, *moduli, solid=hole == 0.0), half)


#: The second derivative of the volume ratio is this times the deformation gradient, once for each of two indices.
_TURN = np.zeros((3, 3, 3))
for _i, _j, _k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
    _TURN[_i, _j, _k], _TURN[_i, _k, _j] = 1.0, -1.0


class _Leg:
    """The upper half, discretised: gradients of harmonics 0 and 1, residual and tangent at a state."""

    def __init__(self, mesh: Any, half: float, modulus: Array, compressibility: Array, *, solid: bool) -> None:
        fine, coarse = Basis(mesh, ElementQuad2(), intorder=6), Basis(mesh, ElementQuad1(), intorder=6)
        n = np.moveaxis(np.array([np.asarray(fine.basis[i][0]) for i in range(fine.Nbfun)]), 0, -1)
        slopes = np.array([fine.basis[i][0].grad for i in range(fine.Nbfun)])
        dr, dz = (np.moveaxis(slopes[:, i], 0, -1) for i in (0, 1))
        self.pressure = np.moveaxis(np.array([np.asarray(coarse.basis[i][0]) for i in range(coarse.Nbfun)]), 0, -1)
        radius = fine.mapping.F(fine.X)[0]
        n = n / radius[..., None]
        self.weight = np.pi * fine.dx * radius
        self.shear = (modulus / (3.0 - compressibility / 3.0))[:, None]
        self.per_lame = (compressibility / (modulus - 2.0 * self.shear[:, 0] * compressibility / 3.0))[:, None]
        o = np.zeros_like(dr)
        # Rows rr, rt, rz, tr, tt, tz, zr, zt, zz of the gradient.
        rows0 = [(dr, o), (o, o), (dz, o), (o, o), (n, o), (o, o), (o, dr), (o, o), (o, dz)]
        rows1 = [(dr, o, o), (-n, -n, o), (dz, o, o), (o, dr, o), (n, n, o), (o, dz, o), (o, o, dr), (o, o, -n)]
        rows1.append((o, o, dz))
        if solid:  # (u_r − u_θ)/2 and (u_r + u_θ)/2, of which only the second vanishes on the axis
            rows1 = [(u - v, u + v, w) for u, v, w in rows1]
        self.slope = [np.stack([np.concatenate(row, axis=-1) for row in rows], axis=2) for rows in (rows0, rows1)]
        self.count, self.pressures = fine.N, coarse.N
        self.dofs = [np.concatenate([fine.element_dofs + c * fine.N for c in range(parts)]).T for parts in (2, 3)]
        self.pdofs = coarse.element_dofs.T
        self.places, self.half, self.solid = fine.doflocs, half, solid
        self.state, self.share = np.zeros(2 * fine.N + coarse.N), 0.0

    def _local(self) -> tuple[Array, Array, Array, Array]:
        """At every point: stress, moduli, cofactor of the deformation gradient, and volume's constraint."""
        f = np.einsum("eqsd,ed->eqs", self.slope[0], self.state[self.dofs[0]]) + np.eye(3).ravel()
        p = np.einsum("eqn,en->eq", self.pressure, self.state[2 * self.count + self.pdofs])
        turned = np.einsum("ikm,jln,eqmn->eqijkl", _TURN, _TURN, f.reshape(*f.shape[:2], 3, 3), optimize=True)
        second = turned.reshape(*f.shape[:2], 9, 9)
        cofactor = 0.5 * np.einsum("eqij,eqj->eqi", second, f)
        ratio = np.einsum("eqi,eqi->eq", cofactor, f) / 3.0
        spherical = -(self.shear / ratio + p)[..., None]
        moduli = self.shear[..., None, None] * np.eye(9) + spherical[..., None] * second
        moduli += (self.shear / ratio**2)[..., None, None] * cofactor[..., :, None] * cofactor[..., None, :]
        stress = self.shear[..., None] * f + spherical * cofactor
        return stress, moduli, cofactor, -(ratio - 1.0) - self.per_lame * p

    def tangent(self, harmonic: int) -> tuple[Array, Any]:
        """Residual (of harmonic 0) and matrix at the present state."""
        stress, moduli, cofactor, volume = self._local()
        slope, dofs = self.slope[harmonic], self.dofs[harmonic]
        w = self.weight * (2.0 if harmonic == 0 else 1.0)
        elements, columns = slope.shape[0], slope.shape[-1]
        total = self.count * columns // (self.slope[0].shape[-1] // 2)
        left = np.matmul(moduli * w[..., None, None], slope).reshape(elements, -1, columns)
        stiff = np.matmul(slope.reshape(elements, -1, columns).transpose(0, 2, 1), left)
        dilated = np.einsum("eqsd,eqs->eqd", slope, cofactor * w[..., None])
        couple = -np.matmul(dilated.transpose(0, 2, 1), self.pressure)
        mass = np.matmul((self.pressure * (self.per_lame * w)[..., None]).transpose(0, 2, 1), self.pressure)
        local = np.block([[stiff, couple], [couple.transpose(0, 2, 1), -mass]])
        every = np.concatenate([dofs, total + self.pdofs], axis=1)
        size = total + self.pressures
        index = [np.broadcast_to(each, local.shape).ravel() for each in (every[:, :, None], every[:, None])]
        matrix = coo_matrix((local.ravel(), (index[0], index[1])), shape=(size, size)).tocsr()
        residual = np.zeros(size)
        if harmonic == 0:
            np.add.at(residual, dofs, np.einsum("eqsd,eqs->ed", slope, stress * w[..., None]))
            np.add.at(residual, total + self.pdofs, np.einsum("eqn,eq->en", self.pressure, volume * w))
        return residual, matrix

    def squeeze(self, share: float) -> None:
        """Squeeze on to a share of the length, step by step."""
        steps = int(np.ceil((share - self.share) / 0.008))
        for to in np.linspace(self.share, share, steps + 1)[1:]:
            self._step(float(to))
        self.share = share

    def _step(self, share: float) -> None:
        held = [(_on(0.0), 1, 0.0), (_on(self.half), 0, 0.0), (_on(self.half), 1, -share * self.half)]
        at, value = self._held([*([(_on(0.0, 0), 0, 0.0)] if self.solid else []), *held])
        free = np.setdiff1d(np.arange(self.state.size), at)
        change = np.zeros_like(self.state)
        for _ in range(25):
            residual, matrix = self.tangent(0)
            change[at], change[free] = value - self.state[at], 0.0
            change[free] = splu(matrix[free][:, free].tocsc()).solve(-(residual + matrix @ change)[free])
            self.state += change
            if np.abs(change[: 2 * self.count]).max() < 1e-9:
                return
        raise ArithmeticError(f"no equilibrium at a squeeze of {share:.3g}")

    def _held(self, fixed: list[Any]) -> tuple[Array, Array]:
        values: dict[int, float] = {}
        for where, component, value in fixed:
            at = np.flatnonzero(where(self.places))
            each = value(self.places[:, at]) if callable(value) else np.full(at.size, value)
            values |= dict(zip((at + component * self.count).tolist(), each.tolist(), strict=True))
        return np.array(list(values)), np.array(list(values.values()))

    def energy(self, harmonic: int, fixed: list[Any]) -> float:
        """Twice the energy of a small movement about the present state."""
        matrix = self.tangent(harmonic)[1]
        if self.solid:
            fixed = [(_on(0.0, 0), c, 0.0) for c in ((0,) if harmonic == 0 else (1, 2))] + fixed
        at, value = self._held(fixed)
        x = np.zeros(matrix.shape[0])
        x[at] = value
        free = np.setdiff1d(np.arange(x.size), at)
        x[free] = splu(matrix[free][:, free].tocsc()).solve(-(matrix @ x)[free])
        return float(x @ (matrix @ x))

    def sideways(self) -> float:
        """Stiffness across at the present squeeze, ends parallel."""
        held = [(_on(0.0), 0, 0.0), (_on(0.0), 1, 0.0), (_on(self.half), 2, 0.0), (_on(self.half), 0, 0.5)]
        return 2.0 * self.energy(1, [*held, (_on(self.half), 1, 0.0 if self.solid else -0.5)])


def _answers(leg: _Leg, half: float) -> dict[str, float]:
    axial = 2.0 * leg.energy(0, [(_on(0.0), 1, 0.0), (_on(half), 0, 0.0), (_on(half), 1, -0.5)])
    turned = [(_on(0.0), 2, 0.0), (_on(half), 0, 0.0), (_on(half), 1, 0.0), (_on(half), 2, lambda x: x[0] / 2.0)]
    tilt = 2.0 * leg.energy(1, turned)
    shares, left = [0.0], [leg.sideways()]
    # By a slender beam: lateral stiffness 12 EI/L³, buckling load π² EI/L².
    guess = np.pi**2 * left[0] * 2.0 * half / 12.0 / axial / (2.0 * half)
    guess = min(guess, 0.12)
    try:
        for share in (0.4 * guess, 0.8 * guess):
            leg.squeeze(share)
            shares.append(share)
            left.append(leg.sideways())
    except ArithmeticError:
        shares[1:] = left[1:] = []
    # The share at which nothing is left, by the parabola through three states.
    found = float(np.polyval(np.polyfit(left, shares, 2), 0.0)) if shares[1:] else np.nan
    return dict(zip(LEG_MODES, (axial, left[0], tilt, found), strict=True))
