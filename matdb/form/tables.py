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
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matdb.errors import MatdbError
from matdb.form import closed_form
from matdb.shipped import data_folder

__all__ = [
    "MAPS",
    "TRENDS",
    "Axis",
    "SqueezeTable",
    "Table",
    "chebyshev_points",
    "checksum",
    "squeeze_table",
    "table",
    "tables",
]

Array = NDArray[np.float64]

#: E / B at which a body's softening sets in: the scale of the logarithmic map of compressibility.
_SCALE = 0.003

#: Coordinate maps and their inverses.
MAPS: Mapping[str, tuple[Callable[[Any], Any], Callable[[Any], Any]]] = {
    "linear": (lambda x: x, lambda x: x),
    "log": (np.log, np.exp),
    "square root": (np.sqrt, np.square),
    "log of excess over 1": (lambda q: np.log(q - 1.0), lambda t: 1.0 + np.exp(t)),
    "log1p of E/B over 0.003": (lambda e: np.log(1.0 + e / _SCALE), lambda t: _SCALE * np.expm1(t)),
}


def _one(*coordinates: Any) -> Any:
    return np.ones(np.broadcast_shapes(*(np.shape(c) for c in coordinates)))


#: The trend that each table's values are divided by; arguments are the table's coordinates.
TRENDS: Mapping[str, Callable[..., Any]] = {
    "pad axial": lambda shape, hole: closed_form.disc_axial(shape) * _one(shape, hole),
    "pad shear": _one,
    "strut axial": closed_form.strut_axial,
    "strut lateral": closed_form.sideways,
    "bush axial": closed_form.bush_axial,
    "bush radial": closed_form.bush_radial,
    "bush radial frictionless": lambda ratio, length: length * _one(ratio, length),
    "taper axial": lambda top, height: (
        np.pi / 4.0 * top / height * closed_form.disc_axial(np.sqrt(top) / (4.0 * height))
    ),
    "taper shear": lambda top, height: (
        np.pi / 4.0 * top / height * closed_form.sideways(height / np.sqrt(top), np.zeros(()))
    ),
    "pad softening": lambda shape, hole, compressibility, stiff: 1.0 / (1.0 + compressibility * stiff),
    "bush radial softening": lambda ratio, length, compressibility, stiff: (
        1.0 / (1.0 + compressibility * stiff / length * (1.0 - 1.0 / ratio) / 3.0)
    ),
}


def chebyshev_points(count: int) -> Array:
    """Chebyshev points of the second kind, rising from −1 to 1."""
    points: Array = -np.cos(np.pi * np.arange(count, dtype=float) / float(count - 1))
    return points


@functools.lru_cache(maxsize=32)
def _to_coefficients(count: int) -> Array:
    vandermonde = np.polynomial.chebyshev.chebvander(chebyshev_points(count), count - 1)
    return np.asarray(np.linalg.inv(vandermonde), dtype=float)


@dataclass(frozen=True)
class Axis:
    """One coordinate of a table: its name, map and range."""

    name: str
    map: str
    low: float
    high: float
    count: int

    def points(self) -> Array:
        """The coordinate's values in the table; the ends are exact."""
        there, back = MAPS[self.map]
        low, high = there(self.low), there(self.high)
        values: Array = back(low + (high - low) * (chebyshev_points(self.count) + 1.0) / 2.0)
        values[0], values[-1] = self.low, self.high
        return values

    def reduced(self, value: Any) -> Any:
        """Map a value to [−1, 1], clipped to the range; an imaginary part stays."""
        there, _ = MAPS[self.map]
        low, high = there(self.low), there(self.high)
        if np.iscomplexobj(value):
            x = 2.0 * (there(value) - low) / (high - low) - 1.0
            return np.clip(x.real, -1.0, 1.0) + 1j * x.imag
        return 2.0 * (there(np.clip(value, self.low, self.high)) - low) / (high - low) - 1.0

    def holds(self, value: Any) -> Any:
        """Whether a value lies within the range."""
        real = np.real(value)
        return (real >= self.low * (1 - 1e-9)) & (real <= self.high * (1 + 1e-9))


@dataclass(frozen=True)
class Table:
    """Values at the points of its axes, and what they are divided by before interpolation.

    Attributes
    ----------
    name, meaning : str
        Short name, and what a value is.
    axes : tuple of Axis
        Coordinates in order.
    values : ndarray
        Dimensionless values, one axis per coordinate.
    trend : ndarray
        The trend at the same points.
    mesh_error : float
        Largest relative difference of the values between the two meshes that they were computed on.
    """

    name: str
    meaning: str
    axes: tuple[Axis, ...]
    values: Array
    trend: Array = field(repr=False)
    mesh_error: float

    @functools.cached_property
    def coefficients(self) -> Array:
        """Chebyshev coefficients of ln(value / trend)."""
        c: Array = np.log(self.values / self.trend)
        for i, axis in enumerate(self.axes):
            c = np.moveaxis(np.tensordot(_to_coefficients(axis.count), c, (1, i)), 0, i)
        return c

    def holds(self, *coordinates: Any) -> Any:
        """Whether all coordinates lie within the table."""
        inside: Any = True
        for axis, value in zip(self.axes, coordinates, strict=True):
            inside = inside & axis.holds(value)
        return inside

    def ratio(self, *coordinates: Any) -> Any:
        """Value over trend; coordinates broadcast and are clipped to the range.

        The coordinates of one shape () are summed out first, so that one geometry with a million
        compressibilities, or the other way round, costs one polynomial in one variable.
        """
        c: Any = self.coefficients
        left: list[Any] = []
        # From the last axis to the first, scalars contract at once.
        for i in range(len(self.axes) - 1, -1, -1):
            x = np.asarray(self.axes[i].reduced(coordinates[i]))
            if x.ndim == 0:
                c = np.tensordot(c, _chebyshev(x[None], self.axes[i].count)[:, 0], (i, 0))
            else:
                left.insert(0, x)
        if not left:
            return np.exp(c)
        shape = np.broadcast_shapes(*(x.shape for x in left))
        return np.exp(_evaluate(c, [np.broadcast_to(x, shape).ravel() for x in left]).reshape(shape))

    def value(self, *coordinates: Any) -> Any:
        """Interpolated value: trend times ratio; outside the table the trend scaled by the edge's ratio."""
        return TRENDS[self.name](*coordinates) * self.ratio(*coordinates)


def _chebyshev(x: Any, count: int) -> Any:
    """Chebyshev polynomials T₀…T₍count−1₎ at x: count × len(x)."""
    out = np.empty((count, x.size), dtype=x.dtype)
    out[0] = 1.0
    if count > 1:
        out[1] = x
    for k in range(2, count):
        out[k] = 2.0 * x * out[k - 1] - out[k - 2]
    return out


def _evaluate(c: Any, xs: list[Any], block: int = 8192) -> Any:
    """Tensor Chebyshev sum at points, block by block so that the work stays in the processor's cache."""
    out = np.empty(xs[0].size, dtype=np.result_type(c, *xs))
    for start in range(0, out.size, block):
        part = slice(start, start + block)
        bases = [_chebyshev(x[part], n) for x, n in zip(xs, c.shape, strict=True)]
        value: Any = np.tensordot(c, bases[-1], (c.ndim - 1, 0))
        for basis in bases[-2::-1]:
            value = np.einsum("...ip,ip->...p", value, basis)
        out[part] = value
    return out


@dataclass(frozen=True)
class SqueezeTable:
    """Force against squeeze of bonded pads and rings, as a smooth fit to nonlinear finite elements.

    ``ln[F / (k₀ δ) · 2e / (λ⁻² − 1)] = e · Σ c_ijk T_i(S) T_j(η) T_k(e)``, so that the unloaded stiffness is
    kept, with λ = 1 − e and the coordinates mapped as the axes say.

    Attributes
    ----------
    axes : tuple of Axis
        Shape factor, diameter ratio, squeeze share (this one linear, from 0).
    coefficients : ndarray
        c.
    most : float
        Largest share of any geometry in the table.
    reach : ndarray
        Largest share that was solved at each point of shape factor and diameter ratio.
    fit_error, mesh_error : float
        Root mean square of the fit's residual, and largest relative difference between two meshes.
    """

    axes: tuple[Axis, Axis]
    most: float
    reach: Array
    coefficients: Array
    fit_error: float
    mesh_error: float

    def holds(self, shape: Any, hole: Any) -> Any:
        """Whether the geometry lies within the table."""
        return self.axes[0].holds(shape) & self.axes[1].holds(hole)

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
            at = min(max(value, points[0]), points[-1])
            last = int(np.clip(np.searchsorted(points, at, side="right") - 1, 0, axis.count - 1))
            around.append(slice(last, last + (1 if points[last] == at else 2)))
        return max(float(self.reach[around[0], around[1]].min()), 0.025)

    def polynomial(self, shape: float, hole: float) -> tuple[float, ...]:
        """Power coefficients, lowest first, of ``F / k₀h`` in e on 0 … ``reach_at`` for one geometry.

        F / (k₀ h) = e (1 + a₁ e + … ), exact in its first term, the rest fitted to the table to 1e-6.
        """
        c = self.coefficients
        for axis, value in zip(self.axes, (shape, hole), strict=True):
            c = np.tensordot(_chebyshev(np.asarray([axis.reduced(value)]), c.shape[0])[:, 0], c, (0, 0))
        e = self.reach_at(shape, hole) * (chebyshev_points(40) + 1.0) / 2.0
        e = e[1:]
        log = e * (c @ _chebyshev(2.0 * e / self.most - 1.0, c.size))
        relative = np.exp(log) * ((1.0 - e) ** -2 - 1.0) / (2.0 * e)
        order = np.arange(1, 8)
        fitted = np.linalg.lstsq((e[:, None] / e[-1]) ** order, relative - 1.0, rcond=None)[0] / e[-1] ** order
        return (0.0, 1.0, *map(float, fitted))


def checksum(contents: Mapping[str, Any]) -> str:
    """SHA-256 over the numbers of a table file, as little-endian doubles in the order of their names."""
    digest = hashlib.sha256()
    for name in sorted(contents):
        digest.update(name.encode())
        for axis in contents[name]["axes"]:
            digest.update(np.array([axis["low"], axis["high"], axis["count"]], dtype="<f8").tobytes())
        for numbers in ("reach", "values"):
            digest.update(np.array(contents[name].get(numbers, []), dtype="<f8").tobytes())
    return digest.hexdigest()


def _read(name: str) -> dict[str, Any]:
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
    out: dict[str, Table] = {}
    contents = _read("form_tables.json")["tables"]
    for name, entry in contents.items():
        axes = tuple(Axis(**axis) for axis in entry["axes"])
        values = np.array(entry["values"], dtype=float).reshape([a.count for a in axes])
        grid = list(np.meshgrid(*(a.points() for a in axes), indexing="ij"))
        if name.endswith("softening"):
            grid.append(np.broadcast_to(values[..., :1], values.shape))
            values = values / values[..., :1]
        trend = np.asarray(TRENDS[name](*grid))
        out[name] = Table(name, entry["meaning"], axes, values, trend, entry["mesh_error"])
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
    entry = _read("form_squeeze.json")["tables"]["squeeze"]
    axes = [Axis(**axis) for axis in entry["axes"][:2]]
    shape = [entry["degrees"][k] + 1 for k in range(3)]
    return SqueezeTable(
        (axes[0], axes[1]),
        entry["axes"][2]["high"],
        np.array(entry["reach"], dtype=float).reshape(axes[0].count, axes[1].count),
        np.array(entry["values"], dtype=float).reshape(shape),
        entry["fit_error"],
        entry["mesh_error"],
    )
