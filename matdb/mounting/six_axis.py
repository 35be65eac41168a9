"""A rigid camera on isolators in six axes: modes in words, transmissibility, coupling, travel, lift-off.

Axes x forward, y to the left, z up; motion is (x, y, z) in mm and (roll, pitch, yaw) in rad about the centre
of gravity. An isolator is an elastic point with one axial and one shear stiffness (the same all around its
axis) and no stiffness in twist or tilt; it joins the body to a rigid airframe. Stiffness may be complex and
may depend on frequency. Small motions; weight does not change the stiffness.

Sources
-------
.. [1] Harris, C. M.; Piersol, A. G. (eds.): Harris' Shock and Vibration Handbook, 5th ed., McGraw-Hill 2002,
   chapter 3, Vibration of a resiliently supported rigid body (memory, parts read).
.. [2] Crede, C. E.: Vibration and Shock Isolation, Wiley 1951 (memory).
.. [3] Nashif, A. D.; Jones, D. I. G.; Henderson, J. P.: Vibration Damping, Wiley 1985 (memory): complex
   eigenvalue w^2 (1 + i*eta) of a body on complex springs.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matdb.errors import InputError
from matdb.mounting.one_axis import natural_frequency
from matdb.mounting.record import Mounting
from matdb.units import STANDARD_GRAVITY_M_S2

__all__ = [
    "AXES",
    "MODE_NAMES",
    "ElasticCentre",
    "Modes",
    "StaticLoads",
    "Suspension",
    "camera_transmissibility",
    "coupling_warnings",
    "elastic_centre",
    "material_modes",
    "mode_words",
    "modes",
    "static_loads",
    "stiffness_matrix",
    "suspension",
]

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
#: Isolator stiffness in N/mm as a function of frequency in Hz, see :func:`modes`.
StiffnessOfFrequency = Callable[[Array], Any]

#: The six axes in the order of every vector and matrix here.
AXES = ("x", "y", "z", "roll", "pitch", "yaw")
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

    def __post_init__(self) -> None:
        if not 0.0 < self.mass_kg < math.inf:
            raise InputError("mass_kg", self.mass_kg, "above 0 kg")
        for name, shape in (("inertia_kg_mm2", (3, 3)), ("camera_mm", (3,))):
            self._store(name, shape)
        points = np.asarray(self.positions_mm, dtype=float)
        if points.ndim != 2 or points.shape[0] < 1:
            raise InputError("positions_mm", points.shape, "one (x, y, z) per isolator")
        self._store("positions_mm", (points.shape[0], 3))
        self._store("directions", (points.shape[0], 3))
        if (
            not np.allclose(self.inertia_kg_mm2, self.inertia_kg_mm2.T)
            or np.linalg.eigvalsh(self.inertia_kg_mm2)[0] <= 0
        ):
            raise InputError("inertia_kg_mm2", self.inertia_kg_mm2.tolist(), "symmetric and positive definite")
        length = np.linalg.norm(self.directions, axis=1, keepdims=True)
        if np.any(length < 1e-9):
            raise InputError("directions", "(0, 0, 0)", "a direction in space")
        object.__setattr__(self, "directions", self.directions / length)

    def _store(self, name: str, shape: tuple[int, ...]) -> None:
        array = np.asarray(getattr(self, name), dtype=float)
        if array.shape != shape or not np.all(np.isfinite(array)):
            raise InputError(name, array.shape, f"finite numbers in the shape {shape}")
        object.__setattr__(self, name, array)

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
        return np.stack([np.hstack([np.eye(3), -_cross(r)]) for r in self.positions_mm])

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
        raise InputError(
            f"positions_mm of {mounting.name}",
            None,
            "known for six axes",
            "give one (x, y, z) in mm per isolator; from the command line with 'matdb mounting add --from'",
            says="not known, but needed for six axes",
        )
    xx, yy, zz, xy, xz, yz = body.inertia
    centre = np.array(body.centre_mm)
    points = np.array(mounting.positions_mm)
    if mounting.directions:
        directions = np.array(mounting.directions)
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


def _cross(r: Array) -> Array:
    x, y, z = r
    return np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])


def _per_isolator(field: str, value: ArrayLike, count: int) -> Any:
    """Stiffness with the isolators on the last axis."""
    array = np.asarray(value)
    if array.dtype.kind not in "fciu":
        raise InputError(field, value, "a stiffness in N/mm or an array of them")
    if array.ndim and array.shape[-1] not in (1, count):
        raise InputError(
            field,
            f"an array of shape {array.shape}",
            f"one number, or an array whose last axis has one entry per isolator ({count}) or one for all",
        )
    return np.broadcast_to(array, (*array.shape[:-1], count))


def stiffness_matrix(body: Suspension, axial_n_per_mm: ArrayLike, shear_n_per_mm: ArrayLike) -> Any:
    r"""Stiffness matrix about the centre of gravity.

    .. math:: K = \sum_i G_i^T \left[k_s I + (k_a - k_s) u u^T\right]_i G_i, \quad G_i = [I, -r_i \times]

    Parameters
    ----------
    body : Suspension
        The body and its isolators.
    axial_n_per_mm, shear_n_per_mm : array_like, shape () or (..., n) or (..., 1)
        Stiffness of each isolator, N/mm, real or complex; leading axes (draws, frequencies) broadcast.

    Returns
    -------
    ndarray, shape (..., 6, 6)
        N/mm, N per rad, N mm per rad.

    Raises
    ------
    InputError
        A stiffness whose last axis does not fit the isolators.

    Source: [1]_, the equations of motion (3.31).

    """
    n = body.positions_mm.shape[0]
    axial, shear = np.broadcast_arrays(
        _per_isolator("axial stiffness", axial_n_per_mm, n),
        _per_isolator("shear stiffness", shear_n_per_mm, n),
    )
    along = np.einsum("nj,njk->nk", body.directions, body.arms)
    unit_axial = np.einsum("nj,nk->njk", along, along).reshape(n, 36)
    unit_all = np.einsum("nij,nik->njk", body.arms, body.arms).reshape(n, 36)
    flat = axial @ unit_axial + shear @ (unit_all - unit_axial)
    return flat.reshape(*axial.shape[:-1], 6, 6)


@dataclass(frozen=True)
class Modes:
    """The six natural modes, lowest frequency first.

    Attributes
    ----------
    frequency_hz : ndarray, shape (..., 6)
        Natural frequencies, Hz; 0 for a motion that nothing holds.
    damping_ratio : ndarray, shape (..., 6)
        Half the loss factor of each mode; NaN for a free motion.
    shapes : ndarray, shape (..., 6, 6)
        Mode shapes in columns (axis, mode), mm and rad, of unit modal mass; complex with complex stiffness.
    energy : ndarray, shape (..., 6, 6)
        Share of each axis in each mode's kinetic energy (axis, mode); columns add up to 1.

    """

    frequency_hz: Array
    damping_ratio: Array
    shapes: Any
    energy: Array

    @property
    def words(self) -> Any:
        """The modes in words, see :func:`mode_words`: a tuple of six, or an object array (..., 6)."""
        return mode_words(self.shapes, self.energy)


def _eigen(body: Suspension, matrix: Any) -> tuple[Any, Any]:
    """Eigenvalues w^2 (1 + i eta), ascending, in 1/s2, and shapes of unit modal mass in columns."""
    inverse = np.linalg.inv(np.linalg.cholesky(body.mass_matrix))
    whitened = inverse @ (1e3 * matrix) @ inverse.T
    whitened = 0.5 * (whitened + np.swapaxes(whitened, -1, -2))
    scale = np.abs(np.trace(whitened, axis1=-2, axis2=-1))[..., None, None] / 6.0
    split = whitened + _SPLIT * scale * np.diag(np.arange(6.0))
    if np.iscomplexobj(matrix):
        values, vectors = np.linalg.eig(split)
        order = np.argsort(values.real, axis=-1)
        vectors = np.take_along_axis(vectors, order[..., None, :], axis=-1)
        vectors = vectors / np.sqrt(np.einsum("...ij,...ij->...j", vectors, vectors))[..., None, :]
    else:
        _, vectors = np.linalg.eigh(split)
    # Rayleigh's quotient removes the split to second order.
    values = np.einsum("...ij,...ik,...kj->...j", vectors, whitened, vectors)
    order = np.argsort(values.real, axis=-1, kind="stable")
    values = np.take_along_axis(values, order, axis=-1)
    vectors = np.take_along_axis(vectors, order[..., None, :], axis=-1)
    small = np.abs(values) <= _FREE * np.max(np.abs(values), axis=-1, keepdims=True)
    return np.where(small, 0.0, values), inverse.T @ vectors


def _energy(body: Suspension, shapes: Any) -> Array:
    momentum = body.mass_matrix @ shapes
    energy = (np.conj(shapes) * momentum).real
    return np.asarray(energy / energy.sum(axis=-2, keepdims=True))


def modes(
    body: Suspension,
    axial_n_per_mm: ArrayLike | StiffnessOfFrequency,
    shear_n_per_mm: ArrayLike | StiffnessOfFrequency,
) -> Modes:
    r"""Natural frequencies, damping ratios and mode shapes.

    .. math:: K \phi = \lambda M \phi, \quad \lambda = (2 \pi f)^2 (1 + i \eta), \quad \zeta = \eta / 2

    With callables each mode is solved self-consistently: its frequency is the one at which the stiffness was
    taken. Modes are counted by frequency.

    Parameters
    ----------
    body : Suspension
        The body and its isolators.
    axial_n_per_mm, shear_n_per_mm : array_like or callable
        Stiffness of each isolator, N/mm, real or complex: shape () or (..., n) or (..., 1). Or, both of them,
        callables that get a frequency array of shape (..., 6, 1) in Hz (one per mode; the last axis
        stands for the isolators) and return what broadcasts with (..., 6, n).

    Raises
    ------
    InputError
        A stiffness whose last axis does not fit the isolators, or a callable beside an array.

    Sources: [1]_, [3]_.

    """
    if callable(axial_n_per_mm) and callable(shear_n_per_mm):
        at = _self_consistent(body, axial_n_per_mm, shear_n_per_mm)
        matrix = _matrix_at(body, axial_n_per_mm, shear_n_per_mm, at)
        values, shapes = _eigen(body, matrix)
        values = np.einsum("...jj->...j", values)
        shapes = np.einsum("...jij->...ij", shapes)
    elif callable(axial_n_per_mm) or callable(shear_n_per_mm):
        raise InputError("stiffness", "one callable and one array", "both callables or both arrays")
    else:
        values, shapes = _eigen(body, stiffness_matrix(body, axial_n_per_mm, shear_n_per_mm))
    return _modes(body, values, shapes)


def _modes(body: Suspension, values: Any, shapes: Any) -> Modes:
    real = np.asarray(values.real, dtype=float)
    held = real > 0.0
    frequency = np.where(real < 0.0, np.nan, np.sqrt(np.where(held, real, 0.0)) / (2.0 * math.pi))
    zeta = np.where(held, 0.5 * values.imag / np.where(held, real, 1.0), np.nan)
    return Modes(frequency, zeta, shapes, _energy(body, shapes))


def _matrix_at(body: Suspension, axial: StiffnessOfFrequency, shear: StiffnessOfFrequency, at: Array) -> Any:
    """Stiffness matrices (..., 6, 6, 6): one per mode's frequency."""
    f = at[..., None]
    n = body.positions_mm.shape[0]
    shape = (*at.shape, n)
    k_a, k_s = np.asarray(axial(f)), np.asarray(shear(f))
    try:
        shape = np.broadcast_shapes(shape, k_a.shape, k_s.shape)
    except ValueError:
        given = f"arrays of shapes {k_a.shape} and {k_s.shape}"
        raise InputError("stiffness", given, f"broadcastable with (..., 6, {n})") from None
    return stiffness_matrix(body, np.broadcast_to(k_a, shape), np.broadcast_to(k_s, shape))


def _self_consistent(body: Suspension, axial: StiffnessOfFrequency, shear: StiffnessOfFrequency) -> Array:
    def modal(f: Array) -> Any:  # N/mm per kg of unit modal mass
        values, _ = _eigen(body, _matrix_at(body, axial, shear, f))
        return 1e-3 * np.einsum("...jj->...j", values)

    found = np.asarray(natural_frequency(np.ones(6), modal))
    return np.where(np.isfinite(found), found, 1e-6)  # free motions: any low frequency will do


def material_modes(
    body: Suspension,
    unit_axial: ArrayLike,
    unit_shear: ArrayLike,
    modulus: ArrayLike | Callable[[Array], Any],
) -> Modes:
    """Modes when all isolators are of one material: solved once for the geometry, then mode by mode.

    The stiffness matrix is modulus times geometry, so shapes do not depend on temperature, frequency or draw
    and each mode is one axis with stiffness (unit eigenvalue) * E*(f). This is the fast way for many draws.

    Parameters
    ----------
    body : Suspension
        The body and its isolators.
    unit_axial, unit_shear : array_like, shape () or (n,)
        Stiffness of each isolator at a Young's modulus of 1 MPa, N/mm.
    modulus : array_like or callable
        Complex Young's modulus, MPa: an array of shape (...) when it does not depend on frequency, or a
        callable that gets frequencies of shape (6,), later (..., 6), in Hz and returns what broadcasts with
        (..., 6).

    Returns
    -------
    Modes
        ``shapes`` and ``energy`` of shape (6, 6), the frequencies and damping ratios (..., 6).

    Raises
    ------
    InputError
        A stiffness whose last axis does not fit the isolators.

    Source: [3]_, proportional complex stiffness.

    """
    unit, shapes = _eigen(body, stiffness_matrix(body, unit_axial, unit_shear))
    if callable(modulus):
        law = modulus
        found = np.asarray(natural_frequency(np.ones(6), lambda f: 1e-3 * unit * np.asarray(law(f))))
        values = unit * np.asarray(law(np.where(np.isfinite(found), found, 1e-6)))
    else:
        values = unit * np.asarray(modulus)[..., None]
    return _modes(body, values, shapes)


def mode_words(shapes: ArrayLike, energy: ArrayLike) -> Any:
    """Each mode in words: its motion, how it is coupled, and the point that it turns about.

    Parameters
    ----------
    shapes, energy : array_like, shape (..., 6, 6)
        As in :class:`Modes`.

    Returns
    -------
    tuple of str or ndarray of object
        Six texts for one body; an object array of shape (..., 6) for several.

    Examples
    --------
    >>> mode_words(np.eye(6), np.eye(6))[2]
    'bounce'

    Raises
    ------
    InputError
        Never for what :func:`modes` gave.

    """
    phi, share = np.asarray(shapes), np.asarray(energy, dtype=float)
    if phi.shape[-2:] != (6, 6) or share.shape != phi.shape:
        raise InputError("shapes", phi.shape, "of shape (..., 6, 6), the energy alike")
    flat_phi, flat_share = phi.reshape(-1, 6, 6), share.reshape(-1, 6, 6)
    texts = [[_word(p[:, j], e[:, j]) for j in range(6)] for p, e in zip(flat_phi, flat_share, strict=True)]
    if phi.ndim == 2:
        return tuple(texts[0])
    return np.array(texts, dtype=object).reshape(*phi.shape[:-2], 6)


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
    offset = sign * float((shape[move] / shape[turn]).real)
    side = positive if offset > 0.0 else negative
    return f", turning about a point {abs(offset):.0f} mm {side} the centre of gravity"


def camera_transmissibility(
    body: Suspension,
    axial_n_per_mm: ArrayLike | StiffnessOfFrequency,
    shear_n_per_mm: ArrayLike | StiffnessOfFrequency,
    frequency_hz: ArrayLike,
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
    axial_n_per_mm, shear_n_per_mm : array_like or callable
        Stiffness of each isolator, N/mm: shape () or one that broadcasts with (..., F, n); or callables that
        get frequencies of shape (F, 1) in Hz and return such.
    frequency_hz : array_like, shape (F,)
        Frequencies, Hz, 0 or more.

    Returns
    -------
    ndarray of complex, shape (..., F, 6, 6)

    Raises
    ------
    InputError
        A negative frequency or a stiffness that does not fit.

    Source: [1]_, foundation motion; with damping [3]_.

    """
    f = np.atleast_1d(np.asarray(frequency_hz, dtype=float))
    if f.ndim != 1 or not np.all(np.isfinite(f)) or np.any(f < 0.0):
        raise InputError("frequency_hz", f.shape if f.ndim != 1 else f.min(), "a row of frequencies of 0 Hz or more")
    column = f[:, None]
    axial = axial_n_per_mm(column) if callable(axial_n_per_mm) else axial_n_per_mm
    shear = shear_n_per_mm(column) if callable(shear_n_per_mm) else shear_n_per_mm
    matrix = 1e3 * np.asarray(stiffness_matrix(body, axial, shear)).astype(np.complex128)
    if matrix.ndim > 2 and matrix.shape[-3] not in (1, f.size):
        raise InputError("stiffness", matrix.shape[:-2], f"one per frequency ({f.size}) or one for all")
    dynamic = matrix - (2.0 * math.pi * f[:, None, None]) ** 2 * body.mass_matrix
    response = np.linalg.solve(dynamic, np.broadcast_to(matrix, dynamic.shape))
    shift = np.eye(6)
    shift[:3, 3:] = -_cross(body.camera_mm)
    back = np.eye(6)
    back[:3, 3:] = _cross(body.camera_mm)
    return np.asarray(shift @ response @ back)


@dataclass(frozen=True)
class ElasticCentre:
    """Where the isolators' middle of stiffness lies from the centre of gravity, mm; all zero is uncoupled.

    Attributes
    ----------
    surge_height_mm, sway_height_mm : ndarray
        Height above the centre of gravity at which a push along x, along y tilts nothing.
    bounce_ahead_mm, bounce_left_mm : ndarray
        Offset along x and along y at which a vertical push tilts nothing.
    surge_left_mm, sway_ahead_mm : ndarray
        Offset along y and along x at which a push along x, along y does not twist the body.

    """

    surge_height_mm: Array
    sway_height_mm: Array
    bounce_ahead_mm: Array
    bounce_left_mm: Array
    surge_left_mm: Array
    sway_ahead_mm: Array


def elastic_centre(body: Suspension, axial_n_per_mm: ArrayLike, shear_n_per_mm: ArrayLike) -> ElasticCentre:
    """Offset of the elastic centre from the centre of gravity: the cause of coupled modes.

    Parameters and errors as for :func:`stiffness_matrix`; the real part counts. Exact when the translations
    are not coupled with each other (isolators in symmetric pairs).

    Raises
    ------
    InputError
        A stiffness whose last axis does not fit the isolators.

    Source: [2]_, [1]_: the coupling terms of the stiffness matrix over the stiffness.

    """
    k = np.asarray(stiffness_matrix(body, axial_n_per_mm, shear_n_per_mm)).real
    x, y, z = k[..., 0, 0], k[..., 1, 1], k[..., 2, 2]
    with np.errstate(divide="ignore", invalid="ignore"):
        return ElasticCentre(
            surge_height_mm=k[..., 0, 4] / x,
            sway_height_mm=-k[..., 1, 3] / y,
            bounce_ahead_mm=-k[..., 2, 4] / z,
            bounce_left_mm=k[..., 2, 3] / z,
            surge_left_mm=-k[..., 0, 5] / x,
            sway_ahead_mm=k[..., 1, 5] / y,
        )


def coupling_warnings(body: Suspension, axial_n_per_mm: ArrayLike, shear_n_per_mm: ArrayLike) -> tuple[str, ...]:
    """Plain sentences on a centre of gravity off the elastic plane, for one set of stiffnesses.

    Raises
    ------
    InputError
        A stiffness whose last axis does not fit the isolators.

    Source: common practice, no source; the threshold is ``OFFSET_SHARE`` of the radius of gyration.

    """
    centre = elastic_centre(body, axial_n_per_mm, shear_n_per_mm)
    rx, ry, rz = body.gyration_mm
    checks = (
        (centre.surge_height_mm, ry, "above", "below", "surge couples with pitch rocking"),
        (centre.sway_height_mm, rx, "above", "below", "sway couples with roll rocking"),
        (centre.bounce_ahead_mm, ry, "ahead of", "behind", "bounce couples with pitch rocking"),
        (centre.bounce_left_mm, rx, "left of", "right of", "bounce couples with roll rocking"),
        (centre.surge_left_mm, rz, "left of", "right of", "surge couples with yaw twist"),
        (centre.sway_ahead_mm, rz, "ahead of", "behind", "sway couples with yaw twist"),
    )
    texts = []
    for offset, radius, positive, negative, effect in checks:
        value = float(np.median(offset))
        if abs(value) > OFFSET_SHARE * radius:
            side = positive if value > 0.0 else negative
            texts.append(f"the elastic centre lies {abs(value):.0f} mm {side} the centre of gravity: {effect}")
    return tuple(texts)


@dataclass(frozen=True)
class StaticLoads:
    """Sag and load of each isolator under steady load factors.

    Attributes
    ----------
    load_factors : ndarray, shape (L,)
        In units of weight.
    displacement : ndarray, shape (..., L, 6)
        Of the centre of gravity from the unloaded position, mm and rad.
    axial_mm, axial_n : ndarray, shape (..., L, n)
        Deflection and force along each isolator's axis, positive the way the weight presses, mm and N.
    shear_mm, shear_n : ndarray, shape (..., L, n)
        Deflection and force across it, mm and N.
    lift_off : ndarray of bool, shape (..., L, n)
        Where the axial force has overcome the preload and turned against the weight's direction.

    """

    load_factors: Array
    displacement: Array
    axial_mm: Array
    axial_n: Array
    shear_mm: Array
    shear_n: Array
    lift_off: NDArray[np.bool_]

    @property
    def travel_mm(self) -> Array:
        """Largest axial travel of any isolator between the load factors, mm, shape (...)."""
        return np.asarray(np.ptp(self.axial_mm, axis=-2).max(axis=-1))


def static_loads(
    body: Suspension,
    axial_n_per_mm: ArrayLike,
    shear_n_per_mm: ArrayLike,
    load_factors: ArrayLike = (1.0,),
    *,
    preload_n: ArrayLike = 0.0,
) -> StaticLoads:
    """Sag, tilt and isolator loads under the weight times each load factor.

    Parameters
    ----------
    body : Suspension
        The body and its isolators; enough of them that no motion is free.
    axial_n_per_mm, shear_n_per_mm : array_like, shape () or (..., n) or (..., 1)
        Static stiffness, N/mm (slower than the vibration's; the real part counts).
    load_factors : array_like, shape (L,)
        In units of weight; 1 is hover.
    preload_n : array_like
        Force, N, that keeps each part pressed together without any load: lift-off starts where the load
        against the weight's direction exceeds it. For two halves squeezed by a screw use the squeeze instead.

    Raises
    ------
    InputError
        A free motion (nothing holds it), so that there is no rest position; a load factor that is no number.

    Source: statics of the stiffness matrix [1]_; standard gravity.

    """
    factors = np.atleast_1d(np.asarray(load_factors, dtype=float))
    if factors.ndim != 1 or not np.all(np.isfinite(factors)):
        raise InputError("load_factors", factors.shape, "a row of finite numbers")
    n = body.positions_mm.shape[0]
    k_a = np.asarray(_per_isolator("axial stiffness", axial_n_per_mm, n)).real
    k_s = np.asarray(_per_isolator("shear stiffness", shear_n_per_mm, n)).real
    matrix = np.asarray(stiffness_matrix(body, k_a, k_s))
    values, _ = _eigen(body, matrix)
    if np.any(values <= 0.0):
        raise InputError(
            "isolators",
            f"{n} at these positions",
            "enough to hold all six motions",
            "add one or move them apart",
        )
    weight = np.zeros(6)
    weight[2] = -body.mass_kg * STANDARD_GRAVITY_M_S2
    unit = np.linalg.solve(matrix, np.broadcast_to(weight, matrix.shape[:-1])[..., None])[..., 0]
    q = factors[:, None] * unit[..., None, :]
    moved = np.einsum("nij,...lj->...lni", body.arms, q)
    up = body.directions * np.where(body.directions[:, 2:] < 0.0, -1.0, 1.0)
    axial = -np.einsum("ni,...lni->...ln", up, moved)
    shear = np.linalg.norm(moved + axial[..., None] * up, axis=-1)
    force = k_a[..., None, :] * axial
    preload = np.broadcast_to(np.asarray(preload_n, dtype=float), force.shape)
    return StaticLoads(factors, q, axial, force, shear, k_s[..., None, :] * shear, force + preload < 0.0)
