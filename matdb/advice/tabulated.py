"""Effective stiffness as a table, for readers that only look up: what the store publishes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import chain, repeat
from typing import Any, Final

import numpy as np

from matdb.advice.effective import ln_scale_at_rest, ln_scale_draws, suspended
from matdb.curve.band import Band, band, median
from matdb.curve.curve import Curve
from matdb.errors import InputError
from matdb.form.part import Part
from matdb.mounting.suspended import ln_storage

#: Every kelvin, so that a straight line between two rows stays within 0.5 % of the curve.
TEMPERATURES_C: Final = np.arange(-40.0, 61.0)
FREQUENCIES_HZ: Final = (3.0, 10.0, 30.0, 100.0)

#: What each row holds, in this order.
COLUMNS: Final = (
    "part",
    "axis",
    "temperature_c",
    "given_hz",
    "given_kg",
    "frequency_hz",
    "stiffness_n_per_mm",
    "stiffness_low",
    "stiffness_high",
    "damping_ratio",
    "damping_low",
    "damping_high",
    "basis",
    "extrapolated",
)


def stiffness_rows(curve: Curve, parts: Sequence[Part], masses_kg: Sequence[float] = ()) -> Iterator[tuple[Any, ...]]:
    """Rows of stiffness and damping ratio of one unsqueezed piece; columns as ``COLUMNS``.

    Parameters
    ----------
    curve : Curve
        Of the material that the parts are made of.
    parts : sequence of Part
        All their axes are tabulated at ``FREQUENCIES_HZ``, their first axis also under the masses.
    masses_kg : sequence of float
        Masses on one piece, kg: the row then holds at the natural frequency.

    Yields
    ------
    tuple
        The same numbers as :func:`matdb.advice.effective.effective`. ``given_hz`` or ``given_kg`` is None;
        ``extrapolated`` is 0 or 1. Axes in which a part cannot be computed are left out.
    """
    t = np.tile(TEMPERATURES_C, len(FREQUENCIES_HZ))
    f = np.repeat(FREQUENCIES_HZ, TEMPERATURES_C.size)
    ln_e = curve.ln_modulus(t, np.log(2.0 * np.pi * f))
    # The modulus is the same for all parts that give by their shape alone; only its scale is each part's own.
    alike = np.exp(ln_storage(ln_e)), band(0.5 * np.tan(ln_e.imag))
    stiffest = curve.ln_stiffest(TEMPERATURES_C, FREQUENCIES_HZ)
    outside = curve.extrapolated(t, f).astype(int)
    for part in parts:
        for axis in part.form.axes:
            try:
                scale = ln_scale_draws(curve, part, axis, 0.0)
            except InputError:
                continue
            felt = curve.through(part.form, axis, stiffest)
            storage, damping = alike
            if felt is not curve:
                own = ln_e + part.form.ln_bulk_softening(axis, ln_e, curve.bulk_modulus_mpa)
                storage, damping = np.exp(ln_storage(own)), band(0.5 * np.tan(own.imag))
            stiffness = band(storage * np.exp(scale)[:, None])
            yield from _rows(part.name, axis, t, f, None, f, stiffness, damping, curve.basis, outside)
            for mass in masses_kg if axis == part.form.axes[0] else ():
                held = ln_scale_at_rest(felt, part, axis, 0.0, TEMPERATURES_C, mass)
                state = suspended(felt, held, mass, TEMPERATURES_C)
                at = median(state.frequency_hz)
                found = band(np.exp(ln_storage(state.ln_stiffness))), band(state.damping_ratio)
                beyond = curve.extrapolated(TEMPERATURES_C, at).astype(int)
                yield from _rows(part.name, axis, TEMPERATURES_C, None, mass, at, *found, curve.basis, beyond)


def _rows(*columns: Any) -> Iterator[tuple[Any, ...]]:
    """Rows of some columns: a band is three, what is the same in every row stands alone."""
    ends = [(c.median, c.low, c.high) if isinstance(c, Band) else (c,) for c in columns]
    return zip(*(c.tolist() if isinstance(c, np.ndarray) else repeat(c) for c in chain(*ends)), strict=False)
