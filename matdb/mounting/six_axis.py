"""A rigid camera on isolators in six axes: modes in words, transmissibility, coupling.

Axes x forward, y to the left, z up; motion is (x, y, z) in mm and (roll, pitch, yaw) in rad about the centre
of gravity. An isolator is an elastic point with one axial and one shear stiffness (the same all around its
axis), perhaps one against tilting, and none in twist; it joins the body to a rigid airframe. Small motions; weight
does not change the stiffness.

Sources
-------
.. [1] Harris, C. M.; Piersol, A. G. (eds.): Harris' Shock and Vibration Handbook, 5th ed., McGraw-Hill 2002,
   chapter 3, Vibration of a resiliently supported rigid body (memory, parts read).
.. [2] Crede, C. E.: Vibration and Shock Isolation, Wiley 1951 (memory).
.. [3] Nashif, A. D.; Jones, D. I. G.; Henderson, J. P.: Vibration Damping, Wiley 1985 (memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import permutations
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from matdb.arrays import Array, Complex
from matdb.mounting.record import Mounting, unknown_for

#: What a motion purely along each axis is called.
MODE_NAMES = ("surge", "sway", "bounce", "roll rocking", "pitch rocking", "yaw twist")

#: A mode with this share of its kinetic energy on one axis is called by that axis alone; choice, high because
#: a turn of little energy blurs a picture already.
PURE_SHARE = 0.98
#: Axes with less than this share of a mode's energy are not mentioned; choice.
MENTIONED_SHARE = 0.02
#: Offset of the centre of gravity from the elastic plane, as a share of the radius of gyration, that earns a
#: warning; choice: it puts about 1 % of a rocking mode's energy into the other motion.
OFFSET_SHARE = 0.1

# Splits equal frequencies so that their shapes lie along the axes; frequencies are corrected afterwards.
_SPLIT = 1e-9
# Eigenvalues below this share of the largest are a free motion's rounding noise.
_FREE = 1e-10


@dataclass(frozen=True)
class Suspension:
    """A rigid body and where its isolators are: everything but their stiffness.

    Attributes
    ----------
    mass_kg : float
        Suspended mass, kg, above 0.
    inertia_kg_mm2 : ndarray, shape (3, 3)
        Inertia matrix about the centre of gravity, kg mm2, positive definite.
    positions_mm : ndarray, shape (n, 3)
        Elastic centres of the isolators from the centre of gravity, mm.
    directions : ndarray, shape (n, 3)
        Unit vectors along the isolators' axes, upper end positive.
    camera_mm : ndarray, shape (3,)
        The camera point from the centre of gravity, mm.

    """

    mass_kg: float
    inertia_kg_mm2: Array
    positions_mm: Array
    directions: Array
    camera_mm: Array

    @cached_property
    def mass_matrix(self) -> Array:
        """Mass matrix about the centre of gravity, shape (6, 6), kg and kg mm2."""
        matrix = np.zeros((6, 6))
        matrix[:3, :3] = self.mass_kg * np.eye(3)
        matrix[3:, 3:] = self.inertia_kg_mm2
        return matrix

    @cached_property
    def arms(self) -> Array:
        """What each isolator's upper end moves per unit of body motion, shape (n, 3, 6): [I, -r x]."""
        return np.stack([np.hstack([np.eye(3), -cross_matrix(r)]) for r in self.positions_mm])

    @cached_property
    def whitening(self) -> Array:
        """Inverse of the lower triangular root of the mass matrix, shape (6, 6)."""
        return np.linalg.inv(np.linalg.cholesky(self.mass_matrix))

    @cached_property
    def shares(self) -> tuple[Array, Array]:
        """Stiffness matrix of each isolator, flat (n, 36), at 1 N/mm along its axis alone and across it alone."""
        n = self.positions_mm.shape[0]
        along = np.einsum("nj,njk->nk", self.directions, self.arms)
        axial = np.einsum("nj,nk->njk", along, along).reshape(n, 36)
        return axial, np.einsum("nij,nik->njk", self.arms, self.arms).reshape(n, 36) - axial

    @property
    def gyration_mm(self) -> Array:
        """Radii of gyration about x, y and z through the centre of gravity, mm."""
        return np.asarray(np.sqrt(np.diag(self.inertia_kg_mm2) / self.mass_kg))


def suspension(mounting: Mounting, package: str = "main") -> Suspension:
    """The suspension of one camera package on a mounting.

    Parameters
    ----------
    mounting : Mounting
        With isolator positions, and a box or an inertia for the package.
    package : str
        The camera package's name.

    Raises
    ------
    InputError
        Positions or inertia are not known, or there is no such package.

    """
    body = mounting.package(package)
    if not mounting.positions_mm:
        cure = "give one (x, y, z) in mm per isolator; from the command line with 'matdb mounting add --from'"
        raise unknown_for("six axes", f"positions_mm of {mounting.name}", cure)
    xx, yy, zz, xy, xz, yz = body.inertia
    centre = np.array(body.centre_mm)
    points = np.array(mounting.positions_mm)
    if mounting.directions:
        directions = np.array(mounting.directions)
        directions /= np.linalg.norm(directions, axis=1, keepdims=True)
    else:
        tilt = math.radians(mounting.inclination_deg)
        inward = points.mean(axis=0) - points
        inward[:, 2] = 0.0
        length = np.linalg.norm(inward, axis=1, keepdims=True)
        inward = np.divide(inward, length, out=np.zeros_like(inward), where=length > 1e-9)
        directions = math.cos(tilt) * np.array([0.0, 0.0, 1.0]) + math.sin(tilt) * inward
        # In the middle there is no inside to lean to.
        directions[length[:, 0] <= 1e-9] = (0.0, 0.0, 1.0)
    camera = centre if body.camera_point_mm is None else np.array(body.camera_point_mm)
    return Suspension(
        mass_kg=body.mass_kg,
        inertia_kg_mm2=np.array([[xx, xy, xz], [xy, yy, yz], [xz, yz, zz]]),
        positions_mm=points - centre,
        directions=directions,
        camera_mm=camera - centre,
    )


def cross_matrix(r: Array) -> Array:
    """The matrix of ``r x``, shape (3, 3)."""
    x, y, z = r
    return np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])


def stiffness_matrix(
    body: Suspension, axial_n_per_mm: ArrayLike, shear_n_per_mm: ArrayLike, tilting_n_mm_per_rad: float = 0.0
) -> Any:
    r"""Stiffness matrix about the centre of gravity.

    .. math:: K = \sum_i G_i^T \left[k_s I + (k_a - k_s) u u^T\right]_i G_i, \quad G_i = [I, -r_i \times]

    and, where isolators resist tilting, :math:`k_t (I - u u^T)_i` against the body's rotation.

    Parameters
    ----------
    body : Suspension
        The body and its isolators.
    axial_n_per_mm, shear_n_per_mm : array_like, shape () or (..., n) or (..., 1)
        Stiffness of each isolator, N/mm, real or complex; leading axes (draws, frequencies) broadcast.
    tilting_n_mm_per_rad : float
        Tilting stiffness of each isolator about its middle, N mm/rad.

    Returns
    -------
    ndarray, shape (..., 6, 6)
        N/mm, N per rad, N mm per rad.

    Source: [1]_, the equations of motion (3.31).

    """
    n = body.positions_mm.shape[0]
    axial, shear, _ = np.broadcast_arrays(axial_n_per_mm, shear_n_per_mm, np.empty(n))
    flat = axial @ body.shares[0] + shear @ body.shares[1]
    matrix = flat.reshape(*axial.shape[:-1], 6, 6)
    if tilting_n_mm_per_rad:
        matrix[..., 3:, 3:] += tilting_n_mm_per_rad * (n * np.eye(3) - body.directions.T @ body.directions)
    return matrix


@dataclass(frozen=True)
class Modes:
    """The six natural modes, lowest frequency first.

    Attributes
    ----------
    frequency_hz : ndarray, shape (6,)
        Natural frequencies, Hz; 0 for a motion that nothing holds.
    shapes : ndarray, shape (6, 6)
        Mode shapes in columns (axis, mode), mm and rad, of unit modal mass.
    energy : ndarray, shape (6, 6)
        Share of each axis in each mode's kinetic energy (axis, mode); columns add up to 1.
    """

    frequency_hz: Array
    shapes: Array
    energy: Array

    @property
    def words(self) -> tuple[str, ...]:
        """Each mode in words: its motion, how it is coupled, and the point that it turns about."""
        return tuple(_word(self.shapes[:, j], self.energy[:, j]) for j in range(6))

    @property
    def motions(self) -> tuple[str, ...]:
        """Which of the six pure motions each mode is, each once, so that their energy lies there as far as it can."""
        every = np.array(list(permutations(range(6))))
        best = every[np.argmax(self.energy[every, np.arange(6)].sum(axis=1))]
        return tuple(MODE_NAMES[i] for i in best)


def modes(
    body: Suspension, axial_n_per_mm: ArrayLike, shear_n_per_mm: ArrayLike, tilting_n_mm_per_rad: float = 0.0
) -> Modes:
    r"""Natural frequencies and mode shapes.

    .. math:: K \phi = (2 \pi f)^2 M \phi

    With isolators of one material the stiffness matrix is modulus times geometry: shapes do not depend on temperature,
    frequency or draw, and each mode is one axis with the stiffness per modulus that its frequency at 1 MPa tells.

    Parameters
    ----------
    body : Suspension
        The body and its isolators.
    axial_n_per_mm, shear_n_per_mm : array_like, shape () or (n,)
        Stiffness of each isolator, N/mm; or N/mm per MPa for modes at a modulus of 1 MPa.
    tilting_n_mm_per_rad : float
        As of :func:`stiffness_matrix`.

    Source: [1]_.
    """
    inverse = body.whitening
    stiff = 1e3 * stiffness_matrix(body, axial_n_per_mm, shear_n_per_mm, tilting_n_mm_per_rad)
    whitened = inverse @ stiff @ inverse.T
    whitened = 0.5 * (whitened + whitened.T)
    scale = abs(np.trace(whitened)) / 6.0
    _, vectors = np.linalg.eigh(whitened + _SPLIT * scale * np.diag(np.arange(6.0)))
    # Rayleigh's quotient removes the split to second order.
    values = np.einsum("ij,ik,kj->j", vectors, whitened, vectors)
    order = np.argsort(values, kind="stable")
    values, shapes = values[order], inverse.T @ vectors[:, order]
    values = np.where(np.abs(values) <= _FREE * np.abs(values).max(), 0.0, values)
    energy = shapes * (body.mass_matrix @ shapes)
    return Modes(np.sqrt(values) / (2.0 * math.pi), shapes, energy / energy.sum(axis=0))


def strain_shares(
    body: Suspension,
    shapes: Array,
    axial_n_per_mm: ArrayLike,
    shear_n_per_mm: ArrayLike,
    tilting_n_mm_per_rad: float = 0.0,
) -> Array:
    """Share of each mode's strain energy in the isolators' axial, sideways and tilting stiffness, shape (3, modes).

    To first order a mode's stiffness goes with each of them by its share (Rayleigh's quotient is stationary).

    Parameters
    ----------
    body, axial_n_per_mm, shear_n_per_mm, tilting_n_mm_per_rad
        As for :func:`modes`.
    shapes : ndarray, shape (6, modes)
        Mode shapes; a motion that nothing holds counts as axial.

    Raises
    ------
    InputError
        A stiffness whose last axis does not fit the isolators.

    Source: [1]_.
    """
    each = (axial_n_per_mm, 0.0, 0.0), (0.0, shear_n_per_mm, 0.0), (0.0, 0.0, tilting_n_mm_per_rad)
    held = np.einsum("ik,dij,jk->dk", shapes, np.stack([stiffness_matrix(body, *stiff) for stiff in each]), shapes)
    total = held.sum(axis=0)
    free = total <= _FREE * total.max()
    return np.where(free, [[1.0], [0.0], [0.0]], held / np.where(free, 1.0, total))


def turned_shares(body: Suspension, shapes: Array, pivot_mm: Array) -> Array:
    r"""What each mode adds to the camera's roll, pitch and yaw per the same turn of the airframe, shape (3, modes).

    .. math:: T_{aa}(\omega) = \sum_k s_{ak} \frac{\omega_k^2 (1 + i\eta)}{\omega_k^2 (1 + i\eta) - \omega^2}

    Parameters
    ----------
    body : Suspension
        The body and its isolators.
    shapes : ndarray, shape (6, modes)
        Of unit modal mass; those of all six modes add up to 1 about each axis.
    pivot_mm : ndarray, shape (3,)
        The airframe's centre of gravity, which it turns about, mm from the body's.

    Source: [1]_.
    """
    carried = np.eye(6)[:, 3:]
    carried[:3] = cross_matrix(pivot_mm)
    return np.asarray(shapes[3:] * (shapes.T @ body.mass_matrix @ carried).T)


def _word(shape: Any, share: Array) -> str:
    order = np.argsort(-share, kind="stable")
    if share[order[0]] >= PURE_SHARE:
        return MODE_NAMES[order[0]]
    told = [int(i) for i in order if share[i] >= MENTIONED_SHARE]
    shares = " / ".join(f"{100 * share[i]:.0f} %" for i in told)
    text = " coupled with ".join(MODE_NAMES[i] for i in told) + f" ({shares})"
    moves, turns = [i for i in told if i < 3], [i for i in told if i >= 3]
    if len(moves) == len(turns) == 1:
        text += _pivot(shape, moves[0], turns[0])
    return text


# Where translation t (axis) and rotation r cancel: offset along which axis, with which sign of t/r, said how.
_PIVOTS = {
    (0, 4): (-1.0, "above", "below"),
    (1, 3): (1.0, "above", "below"),
    (2, 4): (1.0, "ahead of", "behind"),
    (1, 5): (-1.0, "ahead of", "behind"),
    (2, 3): (-1.0, "left of", "right of"),
    (0, 5): (1.0, "left of", "right of"),
}


def _pivot(shape: Any, move: int, turn: int) -> str:
    if (move, turn) not in _PIVOTS or abs(shape[turn]) < 1e-12 * abs(shape[move]):
        return ""  # a translation along the axis it turns about is a screw: no still point
    sign, positive, negative = _PIVOTS[move, turn]
    offset = sign * float(shape[move] / shape[turn])
    side = positive if offset > 0.0 else negative
    return f", turning about a point {abs(offset):.0f} mm {side} the centre of gravity"


def camera_transmissibility(
    body: Suspension, axial_n_per_mm: ArrayLike, shear_n_per_mm: ArrayLike, frequency_hz: Array
) -> Complex:
    r"""Motion of the camera point per motion of the airframe at the same point, every axis to every axis.

    .. math:: T = R\,(K - \omega^2 M)^{-1} K\,R^{-1}

    with R the rigid shift from the centre of gravity to the camera point. The diagonal is the
    transmissibility per axis; what lies off it is coupling, rows out, columns in: ``T[..., 4, 0]`` is pitch
    in rad per mm of surge.

    Parameters
    ----------
    body : Suspension
        The body and its isolators.
    axial_n_per_mm, shear_n_per_mm : array_like
        Complex stiffness of each isolator at each frequency, N/mm: shape () or one that broadcasts with (..., F, n).
    frequency_hz : ndarray, shape (F,)
        Frequencies, Hz.

    Returns
    -------
    ndarray of complex, shape (..., F, 6, 6)

    Source: [1]_, foundation motion; with damping [3]_.

    """
    matrix = 1e3 * np.asarray(stiffness_matrix(body, axial_n_per_mm, shear_n_per_mm)).astype(np.complex128)
    dynamic = matrix - (2.0 * math.pi * frequency_hz[:, None, None]) ** 2 * body.mass_matrix
    response = np.linalg.solve(dynamic, np.broadcast_to(matrix, dynamic.shape))
    shift = np.eye(6)
    shift[:3, 3:] = -cross_matrix(body.camera_mm)
    back = np.eye(6)
    back[:3, 3:] = cross_matrix(body.camera_mm)
    return np.asarray(shift @ response @ back)


#: Of each of :func:`elastic_centre_mm`: its radius of gyration, the side when positive and when negative, the effect.
_OFFSETS = (
    (1, "above", "below", "surge couples with pitch rocking"),
    (0, "above", "below", "sway couples with roll rocking"),
    (1, "ahead of", "behind", "bounce couples with pitch rocking"),
    (0, "left of", "right of", "bounce couples with roll rocking"),
    (2, "left of", "right of", "surge couples with yaw twist"),
    (2, "ahead of", "behind", "sway couples with yaw twist"),
)


def elastic_centre_mm(body: Suspension, axial_n_per_mm: ArrayLike, shear_n_per_mm: ArrayLike) -> Array:
    """Offsets of the isolators' middle of stiffness from the centre of gravity, mm: the cause of coupled modes.

    Exact when the translations are not coupled with each other (isolators in symmetric pairs).

    Parameters
    ----------
    body, axial_n_per_mm, shear_n_per_mm
        As for :func:`modes`.

    Returns
    -------
    ndarray, shape (6,)
        Height above the centre of gravity at which a push along x, along y tilts nothing; offset along x and along y at
        which a vertical push tilts nothing; offset along y and along x at which a push along x, along y does not twist
        the body. All zero is uncoupled.

    Source: [2]_, [1]_: the coupling terms of the stiffness matrix over the stiffness.
    """
    k = stiffness_matrix(body, axial_n_per_mm, shear_n_per_mm)
    x, y, z = np.diag(k)[:3]
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.array([k[0, 4] / x, -k[1, 3] / y, -k[2, 4] / z, k[2, 3] / z, -k[0, 5] / x, k[1, 5] / y])


def coupling_warnings(body: Suspension, axial_n_per_mm: ArrayLike, shear_n_per_mm: ArrayLike) -> tuple[str, ...]:
    """Plain sentences on a centre of gravity off the elastic plane.

    Source: common practice, no source; the threshold is ``OFFSET_SHARE`` of the radius of gyration.
    """
    radius = body.gyration_mm
    offsets = elastic_centre_mm(body, axial_n_per_mm, shear_n_per_mm)
    return tuple(
        f"the elastic centre lies {abs(offset):.0f} mm {positive if offset > 0.0 else negative} the centre of gravity: "
        f"{effect}"
        for offset, (axis, positive, negative, effect) in zip(offsets, _OFFSETS, strict=True)
        if abs(offset) > OFFSET_SHARE * radius[axis]
    )
