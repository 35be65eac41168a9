"""Where a plate comes to rest between two pads."""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from matdb.form.base import MAX_SQUEEZE_SHARE, Array
from matdb.form.round_pad import RoundPad

#: Squeezes that a pad's force is tabulated at to begin with.
_POINTS: Final = 256


def balance(
    lower: RoundPad, upper: RoundPad, squeeze_mm: Any, load_mm2: Any, compressibility: Any = 0.0
) -> tuple[Array, Array]:
    """Squeeze of both halves when the plate between them is at rest.

    Solves ``f_lower(δ_l) − f_upper(q − δ_l) = w`` with f the force per unit Young's modulus, nothing below 0:
    a half that has lifted off gives a negative squeeze, its gap.

    Parameters
    ----------
    lower, upper : RoundPad
        The halves.
    squeeze_mm : array_like
        Total squeeze q in mm.
    load_mm2 : array_like
        Load on the lower half over Young's modulus, N / MPa; negative pulls the plate towards the upper half.
    compressibility : array_like
        E / B.

    Returns
    -------
    lower_mm, upper_mm : ndarray
        Squeezes that sum to q; nan where a half would be squeezed beyond half its height.
    """
    q, w, soft = np.broadcast_arrays(
        np.asarray(squeeze_mm, dtype=float), np.asarray(load_mm2, dtype=float), compressibility
    )
    shape = q.shape
    q, w, soft = q.ravel(), w.ravel(), soft.ravel()
    if not np.any(soft):
        soft = np.zeros(())

    def slack(at: Array) -> tuple[Array, Array]:
        down, up = np.maximum(at, 0.0), np.maximum(q - at, 0.0)
        # Beyond half the height the laws go on smoothly; such answers become nan below.
        down, up = np.minimum(down, 0.9 * lower.height_mm), np.minimum(up, 0.9 * upper.height_mm)
        force = lower.unit_force(down, soft) - upper.unit_force(up, soft) - w
        slope = np.where(at > 0.0, lower.unit_stiffness("axial", down, soft), 0.0)
        slope = slope + np.where(q - at > 0.0, upper.unit_stiffness("axial", up, soft), 0.0)
        return force, slope

    most_lower, most_upper = (MAX_SQUEEZE_SHARE * half.height_mm for half in (lower, upper))
    low, high = q - most_upper, np.full_like(q, most_lower)
    beyond = (slack(low)[0] > 0.0) | (slack(high)[0] < 0.0) | ~np.isfinite(w + q)
    at = np.clip(q / 2.0 + w / (slack(q / 2.0)[1] + 1e-300), low, np.maximum(high, low))
    for _ in range(100):
        force, slope = slack(at)
        low, high = np.where(force <= 0.0, at, low), np.where(force >= 0.0, at, high)
        step = at - force / np.where(slope > 0.0, slope, np.inf)
        outside = ~((step >= low) & (step <= high)) | (slope <= 0.0)
        moved = np.where(outside, (low + high) / 2.0, step)
        moved = np.where(force == 0.0, at, moved)
        still = np.abs(moved - at) <= 1e-15 * (lower.height_mm + upper.height_mm)
        at = moved
        if (still | beyond).all():
            break
    at = np.where(beyond, np.nan, at)
    return at.reshape(shape), (q - at).reshape(shape)


def squeeze_for_force(half: RoundPad, load_mm2: Any) -> Array:
    """Squeeze in mm of one pad under a load over Young's modulus in N / MPa, 0 or more; nan beyond its range."""
    tried = np.linspace(0.0, MAX_SQUEEZE_SHARE * half.height_mm, _POINTS)
    force = np.maximum.accumulate(np.asarray(half.unit_force(tried), dtype=float))
    at = np.interp(load_mm2, force, tried)
    for _ in range(2):  # from so near, Newton's steps end at the last digits
        at = np.clip(at - (half.unit_force(at) - load_mm2) / half.unit_stiffness("axial", at), 0.0, tried[-1])
    return np.where(np.asarray(load_mm2) <= force[-1], at, np.nan)
