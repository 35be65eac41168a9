"""A grommet pair under its payload, over posterior draws: which case it is, and what acts when a half has lifted off.

While both halves touch, the payload hardly changes the sum of their stiffnesses (by less than 1 % for equal halves), so
the unloaded sum of :class:`matdb.form.grommet_pair.GrommetPair` holds. Once the payload at rest frees the upper half,
the lower one carries it alone, squeezed by the whole weight: then only its tangent there acts.
"""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from matdb.advice.limits import STATIC_HZ
from matdb.curve.curve import Curve
from matdb.form.base import MAX_SQUEEZE_SHARE
from matdb.form.grommet_pair import GrommetPair
from matdb.form.part import Part
from matdb.material.families import family_named
from matdb.mounting.squeeze import SqueezeCase, lift_off_load_factors
from matdb.mounting.suspended import ln_storage

__all__ = ["lifted_at_rest", "lifted_share", "ln_one_half", "ln_scale_at_rest", "pair_case"]

Array = NDArray[np.float64]

#: Squeezes of the lower half that its force and tangent are tabulated at.
_POINTS: Final = 128


def pair_case(pair: GrommetPair, family: str, **more: Any) -> SqueezeCase:
    """The case of a pair, its rubber's thermal expansion that of its family.

    Parameters
    ----------
    pair : GrommetPair
        The two halves.
    family : str
        The material's family, for the expansion.
    **more
        The other fields of :class:`matdb.mounting.squeeze.SqueezeCase`.

    Raises
    ------
    InputError
        No such family, or a value out of range.
    """
    return SqueezeCase(pair=pair, expansion_per_k=1e-6 * family_named(family)["thermal_expansion"].value, **more)


def lifted_at_rest(case: SqueezeCase, squeeze_mm: float, *, settled: bool) -> NDArray[np.bool_]:
    """Where the payload at rest has freed the upper half, over draws and temperatures.

    Parameters
    ----------
    case : SqueezeCase
        The pair, its payload and static moduli over draws and temperatures.
    squeeze_mm : float
        Squeeze from first touch at assembly, mm; 0 takes the spacer's, if there is one.
    settled : bool
        Take off what compression set and creep will take.
    """
    held = case.pair.spacer_squeeze_mm
    squeeze = max(held, 0.0) if squeeze_mm == 0.0 and held is not None else squeeze_mm
    _, high = lift_off_load_factors(case, squeeze_mm=squeeze, settled=settled)
    return np.broadcast_to(np.asarray(high) < 1.0, np.shape(case.static_modulus_mpa))


def ln_one_half(case: SqueezeCase) -> Array:
    """Ln of the axial stiffness per modulus of the lower half alone under the weight, N/mm per MPa.

    Where it would be squeezed beyond half its height, that at half its height.

    Parameters
    ----------
    case : SqueezeCase
        The pair, its payload and static moduli over draws and temperatures.
    """
    lower = case.pair.halves[0]
    down = np.linspace(0.0, MAX_SQUEEZE_SHARE * lower.height_mm, _POINTS)
    load = np.maximum.accumulate(np.asarray(lower.unit_force(down), dtype=float))
    ln_unit = np.log(np.asarray(lower.unit_stiffness("axial", down), dtype=float))
    return np.asarray(np.interp(case.weight_n / np.asarray(case.static_modulus_mpa, dtype=float), load, ln_unit))


def lifted_share(at_rest: Array, both: Array) -> float:
    """Largest share of the draws, over the states, in which :func:`ln_scale_at_rest` found a half lifted off.

    Parameters
    ----------
    at_rest : ndarray, shape (draws,) or (draws, *S)
        Its answer.
    both : ndarray, shape (draws,)
        Ln of the stiffness per modulus while both halves touch.
    """
    return float((at_rest.reshape(len(both), -1) != both[:, None]).mean(axis=0).max(initial=0.0))


def ln_scale_at_rest(
    curve: Curve,
    part: Part,
    axis: str,
    squeeze_mm: float,
    temperature_c: Array,
    mass_kg: float,
    count: int = 1,
    *,
    settled: bool = False,
) -> Array:
    """Ln of the stiffness per modulus of ``count`` parts under a mass at rest, the part's own offset in it.

    Parameters
    ----------
    curve, part, axis, squeeze_mm
        Material, part, axis and static squeeze of each piece, mm.
    temperature_c : ndarray, shape S
        Degrees Celsius.
    mass_kg : float
        On all parts together.
    count : int
        Parts that share it.
    settled : bool
        Take off what compression set and creep will take of the squeeze.

    Returns
    -------
    ndarray, shape (draws,)
        N/mm per MPa; of a grommet pair along its axis shape (draws, *S): a half that has lifted off carries nothing.
    """
    offset = curve.offset_draws(part.name, part.form.offset_sd(axis))
    unit = float(part.form.stiffness_n_per_mm(1.0, axis, squeeze_mm=squeeze_mm))
    both = math.log(unit * count) + offset
    if part.form.pair is None or axis != "axial":
        return np.asarray(both)
    t = np.asarray(temperature_c, dtype=float)
    flat = t.reshape(-1)
    slow = curve.ln_modulus(flat, np.full(flat.shape, math.log(2.0 * math.pi * STATIC_HZ)))
    storage = np.exp(ln_storage(slow) + offset[:, None])
    case = pair_case(
        part.form.pair, curve.family, payload_kg=mass_kg, count=count, static_modulus_mpa=storage, temperature_c=flat
    )
    alone = ln_one_half(case) + math.log(count) + offset[:, None]
    found = np.where(lifted_at_rest(case, squeeze_mm, settled=settled), alone, both[:, None])
    return np.asarray(found.reshape(-1, *t.shape))
