"""A bent leg: a strip that leaves one plate along its foot, turns through an arc, and ends in the other plate."""

from __future__ import annotations

import functools
import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, ClassVar, Final

import numpy as np

from matdb.checks import checked_number
from matdb.form.base import Array, FormBase, register
from matdb.form.grommet_table import kernel_tables

#: Widths of a straight end over which what the arc's warping does to it dies away.
_FADE: Final = 1.2
_POINTS, _WEIGHTS = np.polynomial.legendre.leggauss(24)


@register
@dataclass(frozen=True)
class BentLeg(FormBase):
    """An L- or C-shaped leg of rectangular section, both ends held so that they stay parallel.

    A planar curved beam of constant section (axial force, shear, bending both ways, torsion; small deflections). The
    foot lies along the lower plate; "axial" is the direction off that plate, "lateral" along the foot, both in the
    leg's plane, and "out-of-plane" across it. What one direction pushes in the other is held, as legs in opposite pairs
    do. Across the plane, where the strip twists and its sections warp, how far solid finite elements depart from that
    beam comes from a table.

    Attributes
    ----------
    width_mm, thickness_mm : float
        Section in mm, across the leg's plane and in it.
    radius_mm : float
        Radius of the arc's centre line in mm, above half the thickness.
    angle_deg : float
        What the arc turns by in degrees, 30 to 270: 90 makes an L, 180 a C.
    foot_mm, head_mm : float
        Free straight lengths before and after the arc in mm, 0 or more.

    Raises
    ------
    InputError
        A dimension is out of range.

    References
    ----------
    Timoshenko, Strength of Materials II: curved bars after Winkler (from memory). Cowper 1966: shear (from memory).
    Constants marked † are fitted to solid finite elements (``tests/generators/finite_elements/bent_leg.py``).
    """

    kind: ClassVar[str] = "bent-leg"
    made: ClassVar[str] = "print"
    round: ClassVar[bool] = False
    axes: ClassVar[tuple[str, ...]] = ("axial", "lateral", "out-of-plane")
    # The thickness counts with its cube.
    inside_sd: ClassVar[float] = 0.25

    width_mm: float
    thickness_mm: float
    radius_mm: float
    angle_deg: float = 90.0
    foot_mm: float = 0.0
    head_mm: float = 0.0

    def __post_init__(self) -> None:
        self._positive("width_mm", "thickness_mm", "radius_mm")
        self._positive("foot_mm", "head_mm", or_zero=True)
        checked_number(f"{self.kind} radius_mm", self.radius_mm, self.thickness_mm / 2.0, 1000.0, "mm", open_low=True)
        checked_number(f"{self.kind} angle_deg", self.angle_deg, 30.0, 270.0, "degrees")

    @functools.cached_property
    def _path(self) -> tuple[Array, Array, Array, Array]:
        """Place, direction, curvature and weight of points along the centre line; last both ends, which weigh nothing.

        x along the foot, z up.
        """
        turn, bend = math.radians(self.angle_deg), 1.0 / self.radius_mm
        lengths = np.array([self.foot_mm, self.radius_mm * turn, self.head_mm])
        starts = np.cumsum(lengths) - lengths
        s = np.append((starts[:, None] + lengths[:, None] / 2.0 * (1.0 + _POINTS)).ravel(), [0.0, lengths.sum()])
        weight = np.append((lengths[:, None] / 2.0 * _WEIGHTS).ravel(), [0.0, 0.0])
        angle = np.clip((s - self.foot_mm) * bend, 0.0, turn)
        ahead = np.maximum(s - starts[2], 0.0)
        x = np.minimum(s, self.foot_mm) + np.sin(angle) / bend + ahead * math.cos(turn)
        z = (1.0 - np.cos(angle)) / bend + ahead * math.sin(turn)
        flat = np.zeros_like(s)
        inside = (s >= starts[1]) & (s <= starts[2])
        along = np.column_stack([np.cos(angle), flat, np.sin(angle)])
        return np.column_stack([x, flat, z]), along, np.where(inside, bend, 0.0), weight

    @functools.cached_property
    def _stiffness(self) -> Array:
        """Force and moment at the far end per movement and turn of it, 6 x 6, at a modulus of 1 MPa."""
        b, t = self.width_mm, self.thickness_mm
        place, along, bent, weight = self._path
        area, long, short = b * t, max(b, t), min(b, t)
        torsion = long * short**3 * (1.0 / 3.0 - 0.21 * short / long * (1.0 - (short / long) ** 4 / 12.0)) / 3.0
        # Winkler: bending in the plane moves the neutral line inwards by e, so that E I becomes E A e R.
        radius = 1.0 / np.maximum(bent, 1e-3 / t)
        inwards = radius - t / np.log((radius + t / 2.0) / (radius - t / 2.0))
        flat = (bent * b**2 / t) ** 2  # a wide strip, bent, cannot warp across its width †
        in_plane = area * inwards * radius * (1.0 + 0.068 * flat / (flat + 6.6))
        across = np.broadcast_to(np.array([0.0, 1.0, 0.0]), along.shape)
        arm = place[-1] - place
        compliance = np.zeros((6, 6))
        # A held end shortens what turns by a part of the section †.
        for axis, pull, turn, held in (
            (along, 1.0 / area, 1.0 / (torsion * (1.0 + 0.25 * (b * bent) ** 2)), 0.119 * b**2 / (b + 0.55 * t)),
            (across, 3.5 / area, 1.0 / in_plane, 0.0365 * t + 0.0465 * b),
            (np.cross(along, across), 3.5 / area, 12.0 / (t * b**3), 0.0195 * t + 0.058 * b),
        ):
            pulled, turned = np.hstack([axis, np.zeros_like(axis)]), np.hstack([np.cross(axis, arm), axis])
            compliance += np.einsum("p,pi,pj->ij", weight * pull, pulled, pulled)
            left = np.append(weight[:-2], [-held, -held])
            compliance += np.einsum("p,pi,pj->ij", left * turn, turned, turned)
        pulled, turned = np.hstack([along, 0.0 * along]), np.hstack([np.cross(across, arm), across])
        coupled = np.einsum("p,pi,pj->ij", weight * bent / area, pulled, turned)
        return np.asarray(np.linalg.inv(compliance - coupled - coupled.T))

    def unit_stiffness(self, axis: str, squeeze_mm: Array, compressibility: Any = 0.0) -> Any:
        """See :meth:`FormBase.unit_stiffness`; the bulk modulus does not matter to what bends."""
        i = {"axial": 2, "lateral": 0, "out-of-plane": 1}[axis]
        beam = float(self._stiffness[i, i])
        return beam if i != 1 else beam * kernel_tables("form_leg.json")["bent"].at(self.bent_at)[axis]

    @property
    def bent_at(self) -> tuple[float, ...]:
        """Where it lies in that table.

        Width over thickness and over the arc's radius, what the arc turns by, and how near the held ends are to the
        arc, the farther first; 1 where it begins there.
        """
        b = self.width_mm
        ends = sorted(math.exp(-straight / (_FADE * b)) for straight in (self.foot_mm, self.head_mm))
        return b / self.thickness_mm, b / self.radius_mm, self.angle_deg, *ends

    def unit_tilting(self, compressibility: Any = 0.0) -> Any:
        """See :meth:`FormBase.unit_tilting`: the mean of turning in the leg's plane and across it."""
        arm = self._path[0][-1] / 2.0
        turns = [np.concatenate([np.cross(axis, arm), axis]) for axis in np.eye(3)[:2]]
        return float(np.mean([turn @ self._stiffness @ turn for turn in turns]))

    @property
    def drawn_mm(self) -> list[tuple[str, list[tuple[float, float]]]]:
        """See :attr:`FormBase.drawn_mm`: the strip in its plane."""
        place, along = (np.vstack([each[-2], each[:-2], each[-1]]) for each in self._path[:2])
        aside = self.thickness_mm / 2.0 * along[:, [2, 0]] * np.array([-1.0, 1.0])
        middle = place[:, [0, 2]]
        return [("rubber", [(float(x), float(z)) for x, z in np.vstack([middle + aside, (middle - aside)[::-1]])])]

    @property
    def solid_mm(self) -> tuple[float, None, float]:
        """See :attr:`FormBase.solid_mm`: a strip, warmed through its smaller side."""
        return min(self.thickness_mm, self.width_mm), None, 0.0

    def strained_mm(self, axis: str) -> None:
        """See :meth:`FormBase.strained_mm`: bending strains it unevenly."""

    def cautions(self, axis: str) -> Iterator[str]:
        """See :meth:`FormBase.cautions`."""
        if self.radius_mm < 2.0 * self.thickness_mm:
            yield "bent sharply (radius below twice the thickness), where a curved beam is off by some per cent"
        yield "held so that its ends stay parallel and it moves one way only, as legs in opposite pairs are; small sag"
