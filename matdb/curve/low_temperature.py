"""Low-temperature indices, glass transition and the temperature at which stiffness doubles, with bands."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from matdb.arrays import Array
from matdb.curve.band import Band, band
from matdb.curve.curve import FAMILY_PRIOR, Curve
from matdb.curve.parameters import GLASS, PARAMETERS
from matdb.fields import PlainRecord
from matdb.material.shift import ZERO_C
from matdb.mounting.suspended import ln_storage

#: T2, T5, T10 and T100: how many times as stiff as at 23 degC (ISO 1432, ASTM D1053; from memory).
INDEX_RATIOS: Final = (2.0, 5.0, 10.0, 100.0)
WARM_C: Final = 23.0
#: The search goes down to this temperature, degrees Celsius.
COLDEST_C: Final = -150.0
_STEP_K: Final = 1.0
#: A slow test, some seconds long, speaks for about this frequency, Hz.
SLOW_HZ: Final = 0.1
#: Frequency at which a mount is felt, Hz.
FELT_HZ: Final = 30.0
_LEAST_SHARE: Final = 0.025


@dataclass(frozen=True)
class Index(PlainRecord):
    """The temperature at which the storage modulus is ``ratio`` times its value at 23 degC.

    Attributes
    ----------
    ratio : float
        How many times as stiff.
    frequency_hz : float
        At which frequency.
    temperature_c : Band or None
        Over the draws that get there above -150 degC; None when hardly any does.
    share : float
        Share of the draws that get there.
    extrapolated : bool
        The median lies outside the measured range, or there are no readings.
    """

    ratio: float
    frequency_hz: float
    temperature_c: Band | None
    share: float
    extrapolated: bool


@dataclass(frozen=True)
class GlassTransition(PlainRecord):
    """Glass transition temperature as the WLF laws have it.

    Attributes
    ----------
    temperature_c : Band or None
        Degrees Celsius; None when the readings leave no WLF law standing.
    basis : str
        "readings" when they narrowed it, else "family prior".
    wlf_share : float
        Share of draws with a WLF law; an Arrhenius law has no glass transition.
    note : str
        What to know of it, in words.
    """

    temperature_c: Band | None
    basis: str
    wlf_share: float
    note: str


@dataclass(frozen=True)
class LowTemperature(PlainRecord):
    """Everything on stiffening in the cold.

    Attributes
    ----------
    t2, t5, t10, t100 : Index
        At the index frequency.
    doubles : Index
        Where the stiffness of a vibrating mount is twice that at 23 degC.
    glass_transition : GlassTransition
        Estimate.
    """

    t2: Index
    t5: Index
    t10: Index
    t100: Index
    doubles: Index
    glass_transition: GlassTransition


def low_temperature(curve: Curve) -> LowTemperature:
    """T2, T5, T10 and T100 after ISO 1432 and ASTM D1053 [1]_, where stiffness doubles, and the glass transition.

    Parameters
    ----------
    curve : Curve
        Fitted, or the prior's.

    References
    ----------
    .. [1] ISO 1432 and ASTM D1053 (from memory).
    """
    t2, t5, t10, t100 = stiffening_temperature(curve, INDEX_RATIOS, SLOW_HZ)
    (doubles,) = stiffening_temperature(curve, (2.0,), FELT_HZ)
    return LowTemperature(t2, t5, t10, t100, doubles, _glass_transition(curve))


def stiffening_temperature(curve: Curve, ratios: tuple[float, ...], frequency_hz: float) -> list[Index]:
    """The temperatures below 23 degC at which the storage modulus is ``ratios`` times its value there.

    Parameters
    ----------
    curve : Curve
        Fitted, or the prior's.
    ratios : tuple of float
        Above 1.
    frequency_hz : float
        Hz, above 0.
    """
    t = np.arange(WARM_C, COLDEST_C - 0.5 * _STEP_K, -_STEP_K)
    value = curve.ln_modulus(t, np.full(t.shape, math.log(2.0 * math.pi * frequency_hz)), misfit=False)
    stiff = ln_storage(value)
    rise = stiff - stiff[:, :1]
    out = []
    for ratio in ratios:
        found = _crossing(t, rise, math.log(ratio))
        there = found[~np.isnan(found)]
        share = len(there) / len(found)
        where = band(there) if share >= _LEAST_SHARE else None
        outside = where is None or bool(curve.extrapolated(np.asarray(where.median), np.asarray(frequency_hz)))
        out.append(Index(ratio, frequency_hz, where, share, outside))
    return out


def _crossing(t: Array, rise: Array, level: float) -> Array:
    """First temperature, coming from the warm side, at which each row reaches ``level``; nan where it never does."""
    above = rise >= level
    place = np.argmax(above, axis=1)
    rows = np.arange(len(rise))
    reached = above[rows, place]
    place = np.maximum(place, 1)
    high, low = rise[rows, place], rise[rows, place - 1]
    part = (level - low) / np.where(high > low, high - low, 1.0)
    return np.asarray(np.where(reached, t[place - 1] + part * (t[place] - t[place - 1]), np.nan))


def _glass_transition(curve: Curve) -> GlassTransition:
    wlf = PARAMETERS[GLASS].speaks_for(curve.parameters)
    share = float(wlf.mean())
    if share < _LEAST_SHARE:
        return GlassTransition(
            None, curve.basis, share, "the readings follow an Arrhenius law, which has no glass transition"
        )
    where = band(curve.parameters[wlf, GLASS] - ZERO_C)
    entry = next((p for p in curve.report.get("parameters", ()) if p["name"] == "glass transition"), None)
    told = curve.basis != FAMILY_PRIOR and entry is not None and entry.get("from") == "readings"
    note = "where the fitted WLF law turns; a calorimeter may differ by some kelvin"
    if curve.basis == FAMILY_PRIOR:
        note = "from the family prior alone: nothing was read"
    elif not told:
        note = "from the family prior alone: the readings do not reach far enough into the cold to tell"
    if share < 0.5:
        note += f"; only {100.0 * share:.0f} % of the draws follow a WLF law"
    return GlassTransition(where, "readings" if told else FAMILY_PRIOR, share, note)
