"""The finite-element tables of a grommet's flange with its half of the neck, in ``data/form_grommet.json``.

Solved at scattered geometries; what is interpolated is ln(value / trend), by a quadratic and Gaussian bumps about every
solved place (kriging), which passes through all of them. The trend of a flange without a neck comes from the tables of
rings; that of a flange with a neck is the flange without one. Values are per Young's modulus for a flange of radius 1,
solved at E / B = 1/500; a second set of tables says what E / B softens, and one what unequal flanges do to each other.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np

from matdb.arrays import Array
from matdb.form.column import column_axial, column_sideways
from matdb.form.tables import Axis, read_tables

#: E / B at which the tables are solved.
GROMMET_COMPRESSIBILITY = 1.0 / 500.0
#: How much too stiff the tables' mesh is: 0.05 to 0.3 % against one of half the size and five times as many elements.
_MESH = 1.0015


def quadratic(places: Array) -> Array:
    """Constant, linear and quadratic terms at places, a row each."""
    first, second = np.triu_indices(places.shape[1])
    return np.column_stack([np.ones(len(places)), places, places[:, first] * places[:, second]])


@dataclass(frozen=True, eq=False)
class KernelTable:
    """Smooth functions through solved places, by name.

    Attributes
    ----------
    axes : tuple of Axis
        Coordinates in order.
    names : tuple of str
        Of the functions.
    places : ndarray, shape (points, axes)
        Where they were solved, within −1…1.
    scales : ndarray, shape (names, axes)
        Widths of the bumps.
    weights : ndarray, shape (names, terms + points)
        Of the terms of :func:`quadratic`, and of the bumps.
    """

    axes: tuple[Axis, ...]
    names: tuple[str, ...]
    places: Array
    scales: Array
    weights: Array

    def at(self, coordinates: tuple[float, ...]) -> dict[str, float]:
        """Every function of one place by its name, e to the power of what is interpolated; clipped to the range."""
        place = np.array([axis.reduced(x) for axis, x in zip(self.axes, coordinates, strict=True)])
        away = (self.places - place) / self.scales[:, None, :]
        bumps = np.exp(-0.5 * np.sum(away * away, axis=-1))
        smooth = np.broadcast_to(quadratic(place[None]), (len(self.names), self.weights.shape[1] - len(self.places)))
        logs = np.sum(self.weights * np.concatenate([smooth, bumps], axis=1), axis=1)
        return dict(zip(self.names, np.exp(logs).tolist(), strict=True))


@functools.lru_cache(maxsize=2)
def kernel_tables(file: str) -> dict[str, KernelTable]:
    """Every table of a shipped file by name, read and checked once. Raises MatdbError where it was changed."""
    out = {}
    for name, entry in read_tables(file)["tables"].items():
        axes, names = tuple(Axis(**axis) for axis in entry["axes"]), tuple(entry["names"])
        places, scales = (np.array(entry[key], dtype=float).reshape(-1, len(axes)) for key in ("places", "scales"))
        weights = np.array(entry["values"], dtype=float).reshape(len(names), -1)
        out[name] = KernelTable(axes, names, places, scales, weights)
    return out


def _tables() -> dict[str, KernelTable]:
    return kernel_tables("form_grommet.json")


def none_trend(bore: float, hole: float, height: float) -> dict[str, float]:
    """Stiffness of a flange of radius 1 without a neck, roughly: between the rings outside the hole and the bore.

    Parameters
    ----------
    bore, hole, height : float
        Radii and height over the flange's radius.

    Returns
    -------
    dict
        "axial", "shear", "turn" (about the face on the plate), and "lever" (by how much it rises per plate).
    """
    out = {}
    for mode, law in (("axial", column_axial), ("shear", column_sideways)):
        rings = [np.pi * (1.0 - inner**2) / height * float(law(height / 2.0, inner)) for inner in (bore, hole)]
        out[mode] = float(np.sqrt(rings[0] * rings[1]))
    out["lever"] = out["shear"] * height
    out["turn"] = out["axial"] * (1.0 + hole**2) / 4.0 + out["shear"] * height**2 / 4.0
    return out


@functools.lru_cache(maxsize=4096)
def grommet_linear(bore: float, hole: float, height: float, plate: float) -> dict[str, tuple[float, float]]:
    """Stiffness at E / B = 0 and share that E / B softens it by, of one flange of radius 1 with half a neck.

    Parameters
    ----------
    bore, hole, height, plate : float
        Radii of bore and hole, height of the flange, half the plate's thickness over the flange's radius.

    Returns
    -------
    dict
        By neck, bore and mode, such as "loose sleeve shear"; k(E / B) = first / (1 + second · E / B).
    """
    at = _coordinates(bore, hole, height, plate)
    trend = none_trend(bore, hole, height)
    kinds = {kind: table for kind, table in _tables().items() if kind != "uneven"}
    sets = {kind: table.at(at[:3] if kind.startswith("none") else at) for kind, table in kinds.items()}
    out = {}
    for side in ("free", "sleeve"):
        none = {mode: sets["none"][f"{side} {mode}"] * trend[mode] for mode in trend}
        none["tilt"] = none["turn"] + plate * (none["lever"] + plate * none["shear"])
        for mode in ("axial", "shear", "tilt"):
            loose = none[mode] * sets["neck"][f"loose {side} {mode}"]
            pressed = loose * sets["neck"][f"pressed {side} {mode}"]
            for neck, value in (("none", none[mode]), ("loose", loose), ("pressed", pressed)):
                soft = sets["none softening" if neck == "none" else "neck softening"]
                share = soft[f"{side} {mode}" if neck == "none" else f"{neck} {side} {mode}"]
                out[f"{neck} {side} {mode}"] = value / _MESH * (1.0 + share * GROMMET_COMPRESSIBILITY), share
    return out


@functools.lru_cache(maxsize=4096)
def uneven_share(bore: float, hole: float, lower: float, upper: float, plate: float) -> dict[str, float]:
    """What a neck shared by flanges of unequal height makes of the sum of two halves, each solved as one of two equal.

    Parameters
    ----------
    bore, hole, lower, upper, plate : float
        Diameters of bore and hole, heights of the flanges and thickness of the plate over the flange's diameter.

    Returns
    -------
    dict
        By neck, bore and mode, as of :func:`grommet_linear`; 1 for flanges of one height.
    """
    wall, uneven = 1.0 - bore, abs(math.log(lower / upper))
    if not uneven:
        return {}
    at = (bore, (hole - bore) / wall, min(lower, upper) / wall, uneven, plate / (hole - bore))
    return {name: share**uneven for name, share in _tables()["uneven"].at(at).items()}


def grommet_covered(bore: float, hole: float, height: float, plate: float) -> bool:
    """Whether the tables hold a flange; arguments of :func:`grommet_linear`."""
    at = _coordinates(bore, hole, height, plate)
    return all(bool(axis.holds(x)) for axis, x in zip(_tables()["neck"].axes, at, strict=True))


def _coordinates(bore: float, hole: float, height: float, plate: float) -> tuple[float, float, float, float]:
    """Bore over flange; neck and height over the flange's wall; half the plate over the neck's width."""
    wall = 1.0 - bore
    return bore, (hole - bore) / wall, height / wall, plate / (hole - bore)
