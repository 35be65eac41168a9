"""Dimensionless stiffness of the basic bodies: finite-element tables, closed forms beyond them.

Everything is per unit Young's modulus for an incompressible material unless a compressibility E / B is given.
Arguments broadcast. The ``*_covered`` functions say where a table answers.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from matdb.form.tables import TRENDS, table

__all__ = [
    "bush_axial",
    "bush_covered",
    "bush_radial",
    "column_axial",
    "column_covered",
    "column_sideways",
    "taper",
    "taper_covered",
]


def _column(pad: str, strut: str, slenderness: Any, hole: Any, pad_scale: float) -> Any:
    slender, eta = np.asarray(slenderness, dtype=float), np.asarray(hole, dtype=float)
    shape = (1.0 - eta) / (4.0 * slender)
    tall = shape < table(pad).axes[0].low
    if not tall.any():
        return pad_scale * table(pad).value(shape, eta)
    value = table(strut).value(slender, eta)
    # The ends' share fades with the length: beyond the table the ratio to the trend goes to 1.
    most = table(strut).axes[0].high
    if (slender > most).any():
        trend = TRENDS[strut](slender, eta)
        value = np.where(slender > most, trend + (value - trend) * most / slender, value)
    if tall.all():
        return value
    return np.where(tall, value, pad_scale * table(pad).value(shape, eta))


def column_axial(slenderness: Any, hole: Any, compressibility: Any = 0.0) -> Any:
    """Axial stiffness over E·A/h of a round column with bonded faces.

    Parameters
    ----------
    slenderness : array_like
        Height over outer diameter, above 0.
    hole : array_like
        Inner over outer diameter, 0 to below 1.
    compressibility : array_like
        E / B, 0 to 0.1 (beyond: the trend); may be complex.
    """
    stiff = _column("pad axial", "strut axial", slenderness, hole, 1.0)
    if not np.any(compressibility):
        return stiff
    shape = (1.0 - np.asarray(hole, dtype=float)) / (4.0 * np.asarray(slenderness, dtype=float))
    at = (shape, np.asarray(hole, dtype=float), np.asarray(compressibility))
    return stiff * table("pad softening").ratio(*at) * TRENDS["pad softening"](*at, stiff)


def column_sideways(slenderness: Any, hole: Any) -> Any:
    """Sideways stiffness over E·A/h of a round column with bonded faces that stay parallel.

    E / B hardly matters to it (within 1 % at 0.05).

    Parameters
    ----------
    slenderness, hole : array_like
        As in :func:`column_axial`.
    """
    return _column("pad shear", "strut lateral", slenderness, hole, 1.0 / 3.0)


def column_covered(slenderness: float, hole: float) -> bool:
    """Whether a table holds the column."""
    shape = (1.0 - hole) / (4.0 * slenderness)
    return bool(table("pad axial").holds(shape, hole) or table("strut axial").holds(slenderness, hole))


def bush_axial(radius_ratio: Any, length_ratio: Any) -> Any:
    """Axial stiffness over E·b of a bonded bush; E / B hardly matters to it (within 1 % at 0.05).

    Parameters
    ----------
    radius_ratio, length_ratio : array_like
        Outer over inner radius b / a, above 1; length over outer radius L / b.
    """
    return table("bush axial").value(radius_ratio, length_ratio)


def bush_radial(radius_ratio: Any, length_ratio: Any, compressibility: Any = 0.0, *, bonded: bool = True) -> Any:
    """Radial stiffness over E·b of a bush.

    Parameters
    ----------
    radius_ratio, length_ratio : array_like
        As in :func:`bush_axial`.
    compressibility : array_like
        E / B, 0 to 0.1; matters much for long thin bushes, and is left out for frictionless sleeves (1 %).
    bonded : bool
        False for frictionless sleeves that stay in touch.
    """
    if not bonded:
        return table("bush radial frictionless").value(radius_ratio, length_ratio)
    stiff = table("bush radial").value(radius_ratio, length_ratio)
    if not np.any(compressibility):
        return stiff
    at = (np.asarray(radius_ratio), np.asarray(length_ratio), np.asarray(compressibility))
    return stiff * table("bush radial softening").ratio(*at) * TRENDS["bush radial softening"](*at, stiff)


def taper(top_ratio: Any, slenderness: Any, axis: str) -> Any:
    """Stiffness over E·D of a solid truncated cone with bonded faces, D its large diameter.

    Parameters
    ----------
    top_ratio : array_like
        Small over large diameter.
    slenderness : array_like
        Height over large diameter.
    axis : str
        ``"axial"`` or ``"shear"``.
    """
    return table(f"taper {axis}").value(top_ratio, slenderness)


def taper_covered(top_ratio: float, slenderness: float) -> bool:
    """Whether the tables hold the cone."""
    return bool(table("taper axial").holds(top_ratio, slenderness))


def bush_covered(radius_ratio: float, length_ratio: float) -> bool:
    """Whether the tables hold the bush."""
    return bool(table("bush axial").holds(radius_ratio, length_ratio))
