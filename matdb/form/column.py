"""A round column between bonded faces, dimensionless: what pads, rings, struts and printed legs have in common.

Everything is per unit Young's modulus, from the finite-element tables of pads (flat) and struts (tall). Arguments
broadcast: the slenderness is height over outer diameter, above 0; the hole inner over outer diameter, 0 to below 1.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from matdb.form.tables import table


def shape_factor(slenderness: Any, hole: Any) -> Any:
    """Loaded over free area of a round column, dimensionless."""
    return (1.0 - np.asarray(hole, dtype=float)) / (4.0 * np.asarray(slenderness, dtype=float))


def _column(pad: str, strut: str, slenderness: Any, hole: Any, pad_scale: float = 1.0) -> Any:
    flat, tall = table(pad), table(strut)
    shape = shape_factor(slenderness, hole)
    slim = shape < flat.axes[0].low
    if not np.any(slim):
        return pad_scale * flat.value(shape, hole)
    # The ends' share fades with the length: beyond the table the ratio to the trend goes to 1.
    longer = np.maximum(np.asarray(slenderness, dtype=float) / tall.axes[0].high, 1.0)
    leg = tall.trend(slenderness, hole) * (1.0 + (tall.ratio(slenderness, hole) - 1.0) / longer)
    return np.where(slim, leg, pad_scale * flat.value(shape, hole))


def column_axial(slenderness: Any, hole: Any, compressibility: Any = 0.0) -> Any:
    """Axial stiffness over E·A/h of a round column with bonded faces.

    Parameters
    ----------
    slenderness, hole : array_like
        See above.
    compressibility : array_like
        E / B, 0 to 0.1 (beyond: the trend); may be complex.
    """
    stiff = _column("pad axial", "strut axial", slenderness, hole)
    if not np.any(compressibility):
        return stiff
    return stiff * table("pad softening").value(shape_factor(slenderness, hole), hole, compressibility, stiff)


def column_sideways(slenderness: Any, hole: Any) -> Any:
    """Sideways stiffness over E·A/h of a round column with bonded faces that stay parallel.

    E / B hardly matters to it (within 1 % at 0.05).

    Parameters
    ----------
    slenderness, hole : array_like
        See above.
    """
    return _column("pad shear", "strut lateral", slenderness, hole, 1.0 / 3.0)


def column_tilting(slenderness: Any, hole: Any, compressibility: Any = 0.0) -> Any:
    """Stiffness over E·I/h of a round column whose bonded faces turn about a diameter, opposite ways.

    Between E·I/h of a slender one and B·I/h of a flat one by the series form 1/(1/E' + 1/B).

    Parameters
    ----------
    slenderness, hole, compressibility : array_like
        As of :func:`column_axial`.
    """
    stiff = _column("pad tilt", "strut tilt", slenderness, hole)
    return stiff / (1.0 + np.asarray(compressibility) * (stiff - 1.0))


def column_covered(slenderness: float, hole: float) -> bool:
    """Whether a table holds the column."""
    return bool(
        table("pad axial").holds(shape_factor(slenderness, hole), hole) or table("strut axial").holds(slenderness, hole)
    )
