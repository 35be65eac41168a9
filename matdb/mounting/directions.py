"""What reaches the picture in every direction: how stiff isolators may be, and how stiff they must be.

A picture moves by the camera's rotation. The airframe moves in six components, translation and rotation about its own
centre of gravity; through a centre of gravity off the isolators' plane its translation turns the camera too. For one
geometry the response depends on stiffness and frequency only through z = k E* / omega^2, so the stiffness at which a
response crosses its limit belongs to the mounting alone: it is found here once over the ratio of sideways to axial
stiffness and over the loss angle, and serves every part, temperature and draw.

Sources
-------
.. [1] Harris, C. M.; Piersol, A. G. (eds.): Harris' Shock and Vibration Handbook, 5th ed., McGraw-Hill 2002,
   chapter 3: foundation motion of a resiliently supported rigid body (memory, parts read).
.. [2] Nashif, A. D.; Jones, D. I. G.; Henderson, J. P.: Vibration Damping, Wiley 1985 (memory): modes of a body on
   springs of one complex modulus.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache, partial, reduce
from typing import Final

import numpy as np

from matdb.arrays import Array, Complex
from matdb.mounting.record import CameraPackage, Mounting
from matdb.mounting.six_axis import Suspension, cross_matrix, modes, stiffness_matrix, suspension

#: Motions of the airframe, in the order of every last axis here.
MOTIONS: Final = ("vertical", "lateral", "longitudinal", "roll", "pitch", "yaw")
#: Those that the camera has to follow.
TURNS: Final = MOTIONS[3:]
#: Where each of them stands among (x, y, z, roll, pitch, yaw).
COLUMNS: Final = (2, 1, 0, 3, 4, 5)
#: Loss angles that limits are tabulated at, rad; rubber in its transition reaches about 1.1.
_LOSS_ANGLES: Final = 1.4 * np.linspace(0.0, 1.0, 29) ** 2
#: Step in ln z at which a limit is looked for.
_SCAN_STEP: Final = 0.05
#: Step in ln of the ratio of sideways to axial stiffness that limits are found for; linear between, they are off by
#: less than a thousandth.
_RATIO_STEP: Final = 0.12
#: Limits of ln z that differ by more from one step to the next do not change smoothly between them.
_JUMP: Final = 0.25
#: What isolators resist to tilting is left out below this share of their axial stiffness times their mean square
#: distance, where it moves roll and pitch by 1 % or less; from it on it is taken in steps of this factor.
_TILTING_LEAST: Final = 0.01
_TILTING_STEP: Final = 1.2
#: Stands for a deflection of nothing, and one over it for one that nothing holds.
_LEAST: Final = 1e-250
#: Stands for "no limit" in ln of stiffness; finite, so that tables can be interpolated.
NO_LIMIT: Final = 60.0


@dataclass(frozen=True, eq=False)
class Turning:
    """A camera on its isolators, turned by an airframe that moves about a point of its own.

    Attributes
    ----------
    body : Suspension
        The camera and where its isolators are.
    pivot_mm : ndarray, shape (3,)
        The airframe's centre of gravity, mm from the camera's.
    tilting_mm2 : float
        Tilting stiffness of an isolator over its axial one, mm2 per rad.
    """

    body: Suspension
    pivot_mm: Array
    tilting_mm2: float = 0.0

    @cached_property
    def _known_by(self) -> tuple[bytes, ...]:
        body = self.body
        arrays = body.mass_matrix, body.positions_mm, body.directions, self.pivot_mm, np.array(self.tilting_mm2)
        return tuple(each.tobytes() for each in arrays)

    def __hash__(self) -> int:
        return hash(self._known_by)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Turning) and self._known_by == other._known_by

    @cached_property
    def radius_mm(self) -> float:
        """Root mean square distance of the isolators from their middle, seen from above, mm."""
        plan = self.body.positions_mm[:, :2]
        return float(np.sqrt(((plan - plan.mean(axis=0)) ** 2).sum(axis=1).mean()))

    @cached_property
    def _moved(self) -> Array:
        """Motion of the airframe at the camera's centre of gravity, per unit of each of MOTIONS, shape (6, 6)."""
        carried = np.eye(6)
        carried[:3, 3:] = -cross_matrix(-self.pivot_mm)
        # Translation in units of the isolators' radius, so that all shares are ratios.
        return np.asarray(carried[:, COLUMNS] * np.array([self.radius_mm] * 3 + [1.0] * 3))

    def modal(self, ratio: Array) -> tuple[Array, Array, Array]:
        """Of isolators with an axial stiffness of 1 N/mm and a sideways one of ``ratio``, shape (r,).

        Returns
        -------
        (ndarray, ndarray, ndarray)
            Eigenvalues in 1/kg, shape (r, 6); what each mode turns the camera by, (r, 3, 6); what each of MOTIONS
            excites in each mode, (r, 6, 6).
        """
        each = [modes(self.body, 1.0, float(r), self.tilting_mm2) for r in ratio]
        shapes = np.stack([found.shapes for found in each])
        values = 1e-3 * (2.0 * math.pi * np.stack([found.frequency_hz for found in each])) ** 2
        return values, shapes[:, 3:, :], np.swapaxes(shapes, 1, 2) @ self.body.mass_matrix @ self._moved

    def pushed(self, ratio: Array) -> tuple[Array, Array]:
        """How far a steady force moves the isolators, of an axial stiffness of 1 N/mm and a sideways one of ``ratio``.

        Returns
        -------
        (ndarray, ndarray), each of shape (r, 3)
            Largest deflection of any isolator along its axis and across it, mm per N at the camera's centre of
            gravity, for a force along each of the first three of MOTIONS; infinite where nothing holds the camera.
        """
        matrix = stiffness_matrix(self.body, np.ones((len(ratio), 1)), ratio[:, None], self.tilting_mm2)
        force = np.eye(6)[:, COLUMNS[:3]]
        try:
            moved = np.einsum("nij,rjd->rdni", self.body.arms, np.linalg.solve(matrix, force[None]))
        except np.linalg.LinAlgError:
            return (np.full((len(ratio), 3), math.inf),) * 2
        along = np.einsum("ni,rdni->rdn", self.body.directions, moved)
        across = np.linalg.norm(moved - along[..., None] * self.body.directions, axis=-1)
        return np.abs(along).max(axis=-1), across.max(axis=-1)

    def shares(self, ratio: Array, z: Complex) -> tuple[Array, Array]:
        """Share of the airframe's motion that turns the camera, and share of its rotation that the camera misses.

        Parameters
        ----------
        ratio : ndarray, shape (r,)
            Sideways over axial stiffness.
        z : ndarray of complex, shape (r, n)
            1e3 k / omega^2 in kg, k the complex axial stiffness of one isolator in N/mm.

        Returns
        -------
        (ndarray, ndarray)
            Let through, shape (r, n, 6), of each of MOTIONS; missed, shape (r, n, 3), of each of TURNS.
        """
        return _shares(self.modal(ratio), z)


def _shares(modal: tuple[Array, Array, Array], z: Complex) -> tuple[Array, Array]:
    """Of :meth:`Turning.shares`, from what :meth:`Turning.modal` gives."""
    values, turns, excited = modal
    # Stiffness over dynamic stiffness of each mode, minus 1: what it lags behind the airframe.
    lag = 1.0 / (z[..., None] * values[:, None, :] - 1.0)
    missed = _norm(turns, lag, excited[..., 3:])
    return _norm(turns, 1.0 + lag, excited), missed


def _norm(turns: Array, modal: Complex, excited: Array) -> Array:
    """Length of the rotation that modes sum up to, per motion, shape (r, n, motions)."""
    square = np.zeros((*modal.shape[:2], excited.shape[-1]))
    # A product of complex numbers with real ones takes ten times as long as those of their two parts.
    parts = np.ascontiguousarray(modal.real), np.ascontiguousarray(modal.imag)
    for axis in range(3):
        each = turns[:, axis, :, None] * excited
        for part in parts:
            square += (part @ each) ** 2
    return np.sqrt(square)


class AllowedStiffness:
    """Between which axial stiffnesses a mounting holds, direction by direction.

    Parameters
    ----------
    turning : Turning
        Of one camera package.
    ratio : ndarray, shape (r,)
        Ratios of sideways to axial stiffness, ascending, above 0; answers between them are interpolated.
    let_through_most, missed_most : float
        Largest share of the airframe's motion that may turn the camera at a rotor frequency, and largest share of its
        rotation that the camera may miss in the manoeuvre band.
    """

    def __init__(self, turning: Turning, ratio: Array, let_through_most: float, missed_most: float) -> None:
        self.ratio = ratio
        found = (_crossings(turning, each, let_through_most, missed_most) for each in ratio.tolist())
        most, least = zip(*found, strict=True)
        #: ln z at which each of MOTIONS begins to get through, shape (r, angles, 6).
        self._most = _tighter(np.concatenate(most))
        #: ln z from which on each of TURNS is followed, shape (r, angles, 3).
        self._least = -_tighter(np.concatenate(least))

    def most(self, ln_modulus: Complex, omega: Array) -> Array:
        """Ln of the largest axial stiffness per modulus of one isolator, N/mm per MPa, shape (r, 6, ...).

        Parameters
        ----------
        ln_modulus : ndarray of complex, shape (F, ...)
            ln of the modulus in MPa at rotor frequencies.
        omega : ndarray, shape (F,)
            Those frequencies, rad/s.
        """
        return _folded(np.minimum, self._most, ln_modulus, omega)

    def least(self, ln_modulus: Complex, omega: Array) -> Array:
        """Ln of the smallest one that follows, shape (r, 3, ...); ``ln_modulus`` in the manoeuvre band."""
        return _folded(np.maximum, self._least, ln_modulus, omega)


@lru_cache(maxsize=4096)
def _crossings(turning: Turning, ratio: float, let_through_most: float, missed_most: float) -> tuple[Array, Array]:
    """Of :class:`AllowedStiffness` both limits at one ratio, shapes (1, angles, 6) and (1, angles, 3)."""
    values, turns, excited = modal = turning.modal(np.array([ratio]))
    stiff = values.max()
    held = values[values > 1e-9 * stiff].min()
    # No mode lets through more than z v / (1 - z v) below its resonance, or lags by more than 1 / (z v - 1) above it:
    # where all of them together stay within the limits, nothing can cross.
    together = (np.linalg.norm(turns, axis=1)[..., None] * np.abs(excited)).sum(axis=1).max()
    low = -math.log(stiff) - math.log1p(together / let_through_most)
    high = -math.log(held) + math.log1p(together / min(missed_most, 1.0 - let_through_most))
    # By whole steps, as the ratios of Directions, so that limits of neighbours are found alike.
    x = _SCAN_STEP * np.arange(math.floor(low / _SCAN_STEP), math.ceil(high / _SCAN_STEP) + 1.0)
    z = np.exp(x + 1j * _LOSS_ANGLES[:, None]).ravel()
    through, missed = (share.reshape(1, _LOSS_ANGLES.size, x.size, -1) for share in _shares(modal, z[None]))
    return _first_crossing(x, through, let_through_most), _first_crossing(-x[::-1], missed[:, :, ::-1], missed_most)


def _first_crossing(x: Array, share: Array, most: float) -> Array:
    """First x at which a share passes its limit, between samples in logarithms; shape without the third axis."""
    above = share > most
    first = np.argmax(above, axis=2)
    found = np.take_along_axis(above, first[:, :, None], axis=2)[:, :, 0]
    before = np.maximum(first - 1, 0)
    low, high = (np.take_along_axis(share, i[:, :, None], axis=2)[:, :, 0] for i in (before, first))
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.log(most / low) / np.log(high / low)
    at = x[before] + np.where(first > 0, np.clip(np.nan_to_num(part), 0.0, 1.0), 0.0) * (x[1] - x[0])
    return np.where(found, np.where(first > 0, at, -NO_LIMIT), NO_LIMIT)


def _tighter(limit: Array) -> Array:
    """Limits by ratio and loss angle; those that jump from one step to the next, the tighter one for both.

    So they do where a resonance just passes its limit, and nothing between the steps is then judged by their mean.
    """
    for axis in (0, 1):
        rows = np.moveaxis(limit, axis, 0)
        tight = rows.copy()
        np.minimum(tight[1:], rows[:-1], out=tight[1:])
        np.minimum(tight[:-1], rows[1:], out=tight[:-1])
        rows[...] = np.where(rows - tight > _JUMP, tight, rows)
    return limit


def _at_angle(table: Array, ln_modulus: Complex, omega: float) -> Array:
    """Limits of ln stiffness per modulus at one frequency, from limits of ln z over the loss angle."""
    flat = ln_modulus.reshape(-1)
    place = (_LOSS_ANGLES.size - 1) * np.sqrt(np.clip(flat.imag / _LOSS_ANGLES[-1], 0.0, 1.0))
    first, last = int(place.min()), min(int(place.max()) + 2, _LOSS_ANGLES.size)
    near = np.maximum(1.0 - np.abs(place - np.arange(first, last + 1)[:, None]), 0.0)
    # What is the same for all rows is one more angle, of weight 1: these arrays are large, and no pass over them cheap.
    near[-1] = 2.0 * math.log(omega) - math.log(1e3) - flat.real
    angles = np.concatenate([table[:, first:last], np.ones_like(table[:, :1])], axis=1)
    z = np.swapaxes(angles, 1, 2) @ near
    return np.asarray(z.reshape(*z.shape[:2], *ln_modulus.shape))


def _folded(fold: np.ufunc, table: Array, ln_modulus: Complex, omega: Array) -> Array:
    """Those limits over all frequencies, the tighter ones."""
    each = map(partial(_at_angle, table), ln_modulus, omega)
    return reduce(lambda found, more: fold(found, more, out=found), each)


def turning(mounting: Mounting, package: str = "main", tilting_mm2: float = 0.0) -> Turning:
    """The camera package on its isolators, the airframe turning about its own centre of gravity.

    Where the mounting does not tell that, it is taken in the isolators' plane, straight below or above the camera's.

    Raises
    ------
    InputError
        As :func:`matdb.mounting.six_axis.suspension`.
    """
    body = suspension(mounting, package)
    pivot = np.array([0.0, 0.0, body.positions_mm[:, 2].mean()])
    if mounting.airframe_centre_mm is not None:
        pivot = np.array(mounting.airframe_centre_mm) - np.array(mounting.package(package).centre_mm)
    return Turning(body, pivot, tilting_mm2)


def tilting_step(square_mm2: float, tilting_mm2: float) -> float:
    """The tilting stiffness over axial stiffness that a part is judged with, mm2 per rad: of steps, or 0.

    Of the square of the isolators' radius, see :attr:`Turning.radius_mm`.
    """
    if tilting_mm2 < _TILTING_LEAST * square_mm2:
        return 0.0
    if square_mm2 == 0.0:
        # All in one place, nothing but their own tilting stiffness holds the camera level.
        return tilting_mm2
    base = math.log(_TILTING_STEP)
    return float(math.exp(base * round(math.log(tilting_mm2 / square_mm2) / base)) * square_mm2)


class Directions:
    """What a mounting allows in every direction, whatever the material: found once for all parts.

    Parameters
    ----------
    mounting : Mounting
        With positions, and with box or inertia of the packages.
    packages : sequence of CameraPackage
        Those that must hold, one at a time, the heaviest last.
    ratio : ndarray
        Ratios of sideways to axial stiffness of the parts, ascending, above 0.
    tilting_mm2 : float
        Of all of them, see :class:`Turning`.
    """

    def __init__(
        self, mounting: Mounting, packages: Sequence[CameraPackage], ratio: Array, tilting_mm2: float = 0.0
    ) -> None:
        first, last = (math.log(end) / _RATIO_STEP for end in (ratio[0], ratio[-1]))
        # A step more at either end: limits take note of their neighbours, whichever parts are judged.
        self._first = math.floor(first) - 1
        self.ratio = np.exp(_RATIO_STEP * np.arange(self._first, max(math.ceil(last) + 1, self._first + 3) + 1))
        self._ln_count = math.log(mounting.count)
        isolation, follow = (1.0 / (r * r - 1.0) for r in mounting.ratios)
        self.bodies = [turning(mounting, each.name, tilting_mm2) for each in packages]
        self._allowed = [AllowedStiffness(body, self.ratio, isolation, follow) for body in self.bodies]
        pushed = [
            np.stack(body.pushed(self.ratio), axis=1) * each.mass_kg / packages[-1].mass_kg
            for body, each in zip(self.bodies, packages, strict=True)
        ]
        self._ln_pushed = np.log(np.clip(np.maximum.reduce(pushed) * mounting.count, _LEAST, 1.0 / _LEAST))
        # What is allowed grows with frequency by its square, and a modulus by less than its first power: the lowest
        # rotor frequency and the top of the manoeuvre band decide.
        self._rotor_hz = np.array([band.low_hz for band in mounting.rotor_bands])
        self._follow_hz = mounting.manoeuvre_hz * np.array([0.5, 1.0] if mounting.manoeuvre_hz > 0.0 else [])

    def limits(self, ln_modulus: Callable[[float], Complex]) -> tuple[Array, Array]:
        """Ln of the largest and of the smallest axial stiffness per modulus of all isolators, N/mm per MPa.

        Parameters
        ----------
        ln_modulus : callable
            ln of the modulus in MPa, of any shape S, at a frequency in Hz.

        Returns
        -------
        (ndarray, ndarray)
            Shape (r, 6, *S) for MOTIONS, and (r, 3, *S) for TURNS.
        """

        def bound(hz: Array, which: str, fold: np.ufunc) -> Array:
            modulus, omega = np.stack([ln_modulus(f) for f in hz]), 2.0 * math.pi * hz
            found = reduce(fold, (getattr(allowed, which)(modulus, omega) for allowed in self._allowed))
            found += self._ln_count
            return np.asarray(found)

        most = bound(self._rotor_hz, "most", np.minimum)
        if not self._follow_hz.size:
            return most, np.full_like(most[:, :3], -NO_LIMIT)
        return most, bound(self._follow_hz, "least", np.maximum)

    def pushed(self, ratio: float) -> Array:
        """Deflection along and across an isolator under a force of 1 N over that of all in line, shape (2, 3)."""
        (found,) = self.at(ratio, self._ln_pushed)
        return np.asarray(np.exp(found))

    def at(self, ratio: float, *tables: Array) -> list[Array]:
        """Tables, their first axis the ratio, between two ratios."""
        place = math.log(ratio) / _RATIO_STEP - self._first
        low = min(max(int(place), 0), len(self.ratio) - 2)
        near, shares = slice(low, low + 2), np.array([1.0 + low - place, place - low])
        return [(shares @ table[near].reshape(2, -1)).reshape(table.shape[1:]) for table in tables]
