"""The finite-element tables in ``data/form_tables.json``: smooth interpolation with NumPy alone.

A table holds stiffness values at Chebyshev points of mapped coordinates (a logarithm, a square root). What is
interpolated is the logarithm of value over a closed-form trend, by the one polynomial through all points: for
such smooth functions the error falls off exponentially with the number of points, and sparse tables suffice.
Outside its range a table follows the trend, scaled by the ratio at the range's edge.
"""

from __future__ import annotations

import functools
import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.polynomial.chebyshev import chebpts2, chebval, chebvander

from matdb.arrays import Array
from matdb.errors import MatdbError
from matdb.form.trends import TRENDS
from matdb.shipped import data_folder

#: E / B at which a body's softening sets in: the scale of the logarithmic map of compressibility.
_SCALE = 0.003

#: Coordinate maps and their inverses.
MAPS: Mapping[str, tuple[Callable[[Any], Any], Callable[[Any], Any]]] = {
    "linear": (lambda x: x, lambda x: x),
    "log": (np.log, np.exp),
    "logit": (lambda x: np.log(x / (1.0 - x)), lambda t: 1.0 / (1.0 + np.exp(-t))),
    "square root": (np.sqrt, np.square),
    "log of excess over 1": (lambda q: np.log(q - 1.0), lambda t: 1.0 + np.exp(t)),
    "log1p of E/B over 0.003": (lambda e: np.log(1.0 + e / _SCALE), lambda t: _SCALE * np.expm1(t)),
}


@dataclass(frozen=True)
class Axis:
    """One coordinate of a table: its name, map and range."""

    name: str
    map: str
    low: float
    high: float
    count: int

    @functools.cached_property
    def _ends(self) -> tuple[Any, Any]:
        return MAPS[self.map][0](self.low), MAPS[self.map][0](self.high)

    def points(self) -> Array:
        """The coordinate's values in the table; the ends are exact."""
        back, (low, high) = MAPS[self.map][1], self._ends
        values: Array = back(low + (high - low) * (chebpts2(self.count) + 1.0) / 2.0)
        values[0], values[-1] = self.low, self.high
        return values

    def reduced(self, value: Any) -> Any:
        """Map a value to [−1, 1], clipped to the range; an imaginary part stays."""
        there, (low, high) = MAPS[self.map][0], self._ends
        if np.iscomplexobj(value):
            x = np.asarray((there(value) - low) * (2.0 / (high - low)) - 1.0)
            x.real = np.minimum(np.maximum(x.real, -1.0), 1.0)
            return x
        return 2.0 * (there(np.clip(value, self.low, self.high)) - low) / (high - low) - 1.0

    def holds(self, value: Any) -> Any:
        """Whether a value lies within the range."""
        real = np.real(value)
        return (real >= self.low * (1 - 1e-9)) & (real <= self.high * (1 + 1e-9))


def _summed(coefficients: Array, axes: tuple[Axis, ...], coordinates: tuple[Any, ...]) -> Any:
    """Sum of Chebyshev polynomials over the first axes; the coordinates broadcast, further axes stay last.

    One axis after the other: where the first coordinates are one geometry, a million values of the last cost one
    polynomial in one variable.
    """
    if coefficients.ndim == 1 and np.ndim(coordinates[0]):
        return chebval(axes[0].reduced(coordinates[0]), coefficients)
    dimensions = coefficients.ndim
    for done, (axis, value) in enumerate(zip(axes, coordinates, strict=True), 1):
        further = "abc"[: dimensions - done]
        x, count = np.asarray(axis.reduced(value)), coefficients.shape[-1 - len(further)]
        basis = np.cos(np.arange(count) * np.arccos(x)) if x.ndim == 0 else chebvander(x, count - 1)
        coefficients = np.einsum(f"...i,...i{further}->...{further}", basis, coefficients)
    return coefficients


@dataclass(frozen=True, eq=False)
class Table:
    """Values at the points of its axes, and what they are divided by before interpolation.

    Attributes
    ----------
    name : str
        Short name.
    axes : tuple of Axis
        Coordinates in order.
    values : ndarray
        Dimensionless values, one axis per coordinate.
    """

    name: str
    axes: tuple[Axis, ...]
    values: Array

    @functools.cached_property
    def _coefficients(self) -> Array:
        """Chebyshev coefficients of ln(value / trend)."""
        grid = list(np.meshgrid(*(axis.points() for axis in self.axes), indexing="ij"))
        values = self.values
        if self.name.endswith("softening"):
            # What softens is the value at no compressibility, which the trend takes too.
            rigid = values[..., :1]
            grid.append(np.broadcast_to(rigid, values.shape))
            values = values / rigid
        c: Array = np.log(values / self.trend(*grid))
        for i, axis in enumerate(self.axes):
            fitted = np.linalg.inv(chebvander(chebpts2(axis.count), axis.count - 1))
            c = np.moveaxis(np.tensordot(fitted, c, (1, i)), 0, i)
        return c

    def holds(self, *coordinates: Any) -> Any:
        """Whether all coordinates lie within the table."""
        inside: Any = True
        for axis, value in zip(self.axes, coordinates, strict=True):
            inside = inside & axis.holds(value)
        return inside

    def trend(self, *coordinates: Any) -> Any:
        """The closed form that is refined here, see :data:`matdb.form.trends.TRENDS`."""
        return TRENDS[self.name](*coordinates)

    def ratio(self, *coordinates: Any) -> Any:
        """Value over trend; coordinates broadcast and are clipped to the range."""
        geometry, last = coordinates[:-1], len(self.axes) - 1
        if all(isinstance(value, float) for value in geometry):
            return np.exp(_summed(_of_geometry(self, geometry), self.axes[last:], coordinates[last:]))
        return np.exp(_summed(self._coefficients, self.axes, coordinates))

    def value(self, *coordinates: Any) -> Any:
        """Interpolated value: trend times ratio; outside the table the trend scaled by the edge's ratio.

        A table of softening takes the incompressible stiffness as its last coordinate.
        """
        return self.trend(*coordinates) * self.ratio(*coordinates[: len(self.axes)])


@functools.lru_cache(maxsize=4096)
def _of_geometry(of: Table, geometry: tuple[float, ...]) -> Array:
    """Coefficients over a table's last axis alone, kept: one geometry is asked about at many compressibilities."""
    return np.asarray(_summed(of._coefficients, of.axes[:-1], geometry))


@dataclass(frozen=True)
class SqueezeTable:
    """Force against squeeze of bonded pads and rings, as a smooth fit to nonlinear finite elements.

    ``ln[F / (k₀ δ) · 2e / (λ⁻² − 1)] = Σ c_ijk T_j(S) T_k(η)`` at each share e_i, with λ = 1 − e and the coordinates
    mapped as the axes say. Between the shares the force is a smooth curve: it kinks where a bulge meets the plate.

    Attributes
    ----------
    axes : tuple of Axis
        Shape factor and diameter ratio.
    shares : ndarray
        e, ascending.
    reach : ndarray
        Largest share that was solved at each point of shape factor and diameter ratio.
    coefficients : ndarray
        c.
    """

    axes: tuple[Axis, ...]
    shares: Array
    reach: Array
    coefficients: Array

    def reach_at(self, shape: float, hole: float) -> float:
        """Largest share up to which all neighbouring points of the table were solved, at least 0.025.

        Parameters
        ----------
        shape, hole : float
            Shape factor and diameter ratio, clipped to the table.
        """
        around = []
        for axis, value in zip(self.axes, (shape, hole), strict=True):
            points = axis.points()
            at = np.clip(value, points[0], points[-1])
            around.append(slice(np.searchsorted(points, at, side="right") - 1, np.searchsorted(points, at) + 1))
        return max(float(self.reach[around[0], around[1]].min()), 0.025)

    def force(self, shape: float, hole: float) -> tuple[tuple[float, float], ...]:
        """Share and ``F / k₀h`` of one geometry, ascending to its ``reach_at``."""
        logs = _summed(np.moveaxis(self.coefficients, 0, -1), self.axes, (shape, hole))
        force = np.exp(logs) * ((1.0 - self.shares) ** -2 - 1.0) / 2.0
        held = self.shares <= self.reach_at(shape, hole) + 1e-9
        return tuple(zip(self.shares[held].tolist(), force[held].tolist(), strict=True))


def checksum(contents: Mapping[str, Any]) -> str:
    """SHA-256 over the numbers of a table file, as little-endian doubles in the order of their names."""
    digest = hashlib.sha256()
    for name in sorted(contents):
        digest.update(name.encode())
        for axis in contents[name]["axes"]:
            digest.update(np.array([axis["low"], axis["high"], axis["count"]], dtype="<f8").tobytes())
        for numbers in ("places", "reach", "scales", "values"):
            digest.update(np.array(contents[name].get(numbers, []), dtype="<f8").tobytes())
    return digest.hexdigest()


def read_tables(name: str) -> dict[str, Any]:
    """A shipped file of tables. Raises MatdbError where its numbers do not match its checksum."""
    path = data_folder() / name
    contents: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    if contents["sha256"] != checksum(contents["tables"]):
        raise MatdbError(f"data file {name}: its numbers do not match its checksum; install matdb again")
    return contents


@functools.lru_cache(maxsize=1)
def tables() -> dict[str, Table]:
    """Every linear table by name, read and checked once.

    Raises
    ------
    MatdbError
        The file's checksum does not match.
    """
    out = {}
    for name, entry in read_tables("form_tables.json")["tables"].items():
        axes = tuple(Axis(**axis) for axis in entry["axes"])
        values = np.array(entry["values"], dtype=float).reshape([a.count for a in axes])
        out[name] = Table(name, axes, values)
    return out


def table(name: str) -> Table:
    """One linear table by name; see :func:`tables`."""
    return tables()[name]


@functools.lru_cache(maxsize=1)
def squeeze_table() -> SqueezeTable:
    """The table of large squeeze, read and checked once.

    Raises
    ------
    MatdbError
        The file's checksum does not match.
    """
    entry = read_tables("form_squeeze.json")["tables"]["squeeze"]
    axes = tuple(Axis(**axis) for axis in entry["axes"])
    counts, shares = [axis.count for axis in axes], np.array(entry["places"], dtype=float)
    reach = np.array(entry["reach"], dtype=float).reshape(counts)
    return SqueezeTable(axes, shares, reach, np.array(entry["values"], dtype=float).reshape(-1, *counts))
