"""A round column between bonded faces, dimensionless: what pads, rings, struts and printed legs have in common.

Everything is per unit Young's modulus, from the finite-element tables of pads (flat) and struts (tall). Arguments
broadcast: the slenderness is height over outer diameter, above 0; the hole inner over outer diameter, 0 to below 1.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np

from matdb.form.tables import table


def shape_factor(slenderness: Any, hole: Any) -> Any:
    """Loaded over free area of a round column, dimensionless."""
    return (1.0 - np.asarray(hole, dtype=float)) / (4.0 * np.asarray(slenderness, dtype=float))


def _column(pad: str, strut: str, slenderness: Any, hole: Any, pad_scale: float = 1.0) -> Any:
    one = isinstance(slenderness, float) and isinstance(hole, float)
    return (_known if one else _computed)(pad, strut, slenderness, hole, pad_scale)


def _computed(pad: str, strut: str, slenderness: Any, hole: Any, pad_scale: float) -> Any:
    flat, shape = table(pad), shape_factor(slenderness, hole)
    # Two tables differ by some 3e-5 where they meet: which one answers must not hang on the last digit of a shape.
    slim = shape < flat.axes[0].low * (1.0 - 1e-9)
    wide = pad_scale * flat.value(shape, hole)
    return np.where(slim, _tall(strut, slenderness, hole), wide) if np.any(slim) else wide


#: A ranking asks for the same column again and again.
_known = lru_cache(maxsize=16384)(_computed)


def _tall(strut: str, slenderness: Any, hole: Any) -> Any:
    """A leg by its table; the ends' share fades with the length: beyond the table the ratio to the trend goes to 1."""
    tall = table(strut)
    longer = np.maximum(np.asarray(slenderness, dtype=float) / tall.axes[0].high, 1.0)
    return tall.trend(slenderness, hole) * (1.0 + (tall.ratio(slenderness, hole) - 1.0) / longer)


def column_axial(slenderness: Any, hole: Any, compressibility: Any = 0.0) -> Any:
    """Axial stiffness over E·A/h of a round column with bonded faces.

    Parameters
    ----------
    slenderness, hole : array_like
        See above.
    compressibility : array_like
        E / B, 0 to 0.6 (beyond: the trend); may be complex.
    """
    stiff = _column("pad axial", "strut axial", slenderness, hole)
    if not np.any(compressibility):
        return stiff
    return stiff * table("pad softening").value(shape_factor(slenderness, hole), hole, compressibility, stiff)


def column_sideways(slenderness: Any, hole: Any, compressibility: Any = 0.0) -> Any:
    """Sideways stiffness over E·A/h of a round column with bonded faces that stay parallel.

    E / B matters through G = E / (3 − E/3B) alone, as far as it shears rather than bends (within 0.2 % at 0.15).

    Parameters
    ----------
    slenderness, hole, compressibility : array_like
        As of :func:`column_axial`.
    """
    stiff = _column("pad shear", "strut lateral", slenderness, hole, 1.0 / 3.0)
    share = np.asarray(compressibility) / 9.0
    return stiff * (1.0 + share / (1.0 - share) * (3.0 * stiff) ** 4)


def column_tilting(slenderness: Any, hole: Any, compressibility: Any = 0.0) -> Any:
    """Stiffness over E·I/h of a round column whose bonded faces turn about a diameter, opposite ways.

    Parameters
    ----------
    slenderness, hole, compressibility : array_like
        As of :func:`column_axial`.
    """
    stiff = _column("pad tilt", "strut tilt", slenderness, hole)
    if not np.any(compressibility):
        return stiff
    return stiff * table("pad tilt softening").value(shape_factor(slenderness, hole), hole, compressibility, stiff)


@lru_cache(maxsize=4096)
def column_buckling(slenderness: float, hole: float) -> float:
    """Squeeze over length at which a slender round column leans over, its faces bonded and held parallel."""
    return float(_tall("strut buckling", slenderness, hole))


@lru_cache(maxsize=4096)
def column_covered(slenderness: float, hole: float) -> bool:
    """Whether a table holds the column."""
    return bool(
        table("pad axial").holds(shape_factor(slenderness, hole), hole) or table("strut axial").holds(slenderness, hole)
    )
