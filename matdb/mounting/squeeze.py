"""Two halves squeezed by a screw: how far to turn it, and what the plate between them then does.

The plate lies between a lower half, which carries it, and an upper half, which holds it down. The screw sets the
total squeeze q = δ_lower + δ_upper; at load factor n the plate rests where

    F_lower(δ_lower) − F_upper(δ_upper) = n W / N          (W weight, N pairs)

While both halves touch, the stiffness is their sum; when one lifts off, by too high a load factor or because
the rubber shrank in the cold, it falls to the other's and the mount rattles. So there is a least squeeze; and a
most, by the strain that rubber stands for long.

Shrinkage: a pad of free height h between bonded faces shortens by ``h α ΔT (3 − 2 E/Ea)`` at constant load:
α for a tall pad, three times that for a thin one, whose faces stop it from shrinking sideways (from the
reciprocal theorem applied to the split Ea = E + (Ea − E) into uniform squeeze and pressure).

Common practice, no source: a light payload does best at or just past first touch; more squeeze only stiffens.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np

from matdb.arrays import Array, Flags
from matdb.form.base import MAX_SQUEEZE_SHARE
from matdb.form.grommet_pair import GrommetPair, balance, squeeze_for_force
from matdb.form.round_pad import RoundPad
from matdb.material.families import family_named
from matdb.units import STANDARD_GRAVITY_M_S2

#: A payload that hangs for ten minutes speaks for this frequency.
STATIC_HZ: Final = 1.0 / (2.0 * math.pi * 600.0)
#: Static compression above which rubber creeps noticeably, and squeeze above which it should not be held.
CREEP_STRAIN, SQUEEZE_STRAIN = 0.15, 0.25
#: Squeezes of the lower half that its force and tangent are tabulated at.
_POINTS = 256


@dataclass(frozen=True, kw_only=True)
class SqueezeCase:
    """What is squeezed, by what load, how warm; whoever asks has checked it.

    Attributes
    ----------
    pair : GrommetPair
        The two halves, plate, thread and spacer.
    payload_kg : float
        Suspended mass on all pairs together, kg, above 0.
    count : int
        Number of pairs that share it.
    static_modulus_mpa : ndarray, shape (..., T)
        Young's modulus under a lasting load at each temperature, MPa; any axes before it are posterior draws.
    temperature_c : ndarray, shape (T,)
        Temperatures that the moduli belong to, °C.
    load_factors : (float, float)
        Lowest and highest load factor in units of weight, the first at most 1, the second at least 1.
    assembly_c : float
        Temperature at which the screw is turned, °C.
    expansion_per_k : float
        Linear thermal expansion of the rubber per K (rubbers have 1.5e-4 to 3e-4).
    screw_expansion_per_k : float
        That of screw and spacer (steel 1.2e-5, aluminium 2.3e-5).
    set_share : float
        Share of the squeeze that compression set and creep will take, 0 to 0.8.
    strain_limit : float
        Most squeeze of either half over its height.

    """

    pair: GrommetPair
    payload_kg: float
    static_modulus_mpa: Array
    temperature_c: Array
    count: int = 4
    load_factors: tuple[float, float] = (-1.0, 3.0)
    assembly_c: float = 23.0
    expansion_per_k: float = 2.0e-4
    screw_expansion_per_k: float = 1.2e-5
    set_share: float = 0.15
    strain_limit: float = SQUEEZE_STRAIN

    @property
    def weight_n(self) -> float:
        """Weight on one pair at load factor 1, N."""
        return self.payload_kg * STANDARD_GRAVITY_M_S2 / self.count

    @cached_property
    def load_mm2(self) -> Array:
        """Weight on one pair over the static modulus, N / MPa."""
        return self.weight_n / self.static_modulus_mpa

    @cached_property
    def shrinkage_mm(self) -> Array:
        """Squeeze lost to thermal contraction at each temperature, mm; negative when warmer than assembly."""
        length = sum(half.height_mm * (3.0 - 2.0 / _gain(half)) for half in self.pair.halves)
        free = self.pair.squeezable_height_mm
        lost_per_k = self.expansion_per_k * length - self.screw_expansion_per_k * free
        return (self.assembly_c - self.temperature_c) * lost_per_k


def pair_case(pair: GrommetPair, family: str, **more: Any) -> SqueezeCase:
    """The case of a pair, its rubber's thermal expansion that of its family.

    Parameters
    ----------
    pair : GrommetPair
        The two halves.
    family : str
        The material's family, for the expansion.
    **more
        The other fields of :class:`SqueezeCase`.

    Raises
    ------
    InputError
        No such family, or a value out of range.
    """
    return SqueezeCase(pair=pair, expansion_per_k=1e-6 * family_named(family)["thermal_expansion"].value, **more)


@dataclass(frozen=True)
class SqueezeState:
    """The pair at one squeeze and load factor; arrays over draws and temperatures.

    Attributes
    ----------
    lower_mm, upper_mm : ndarray
        Squeeze of each half, mm; negative is the gap of a half that has lifted off.
    unit_stiffness : ndarray
        Axial stiffness of one pair about this state at a Young's modulus of 1 MPa, N/mm.
    sag_mm : ndarray
        How far the load moved the plate from where it rests without load, mm.
    strain : ndarray
        The larger squeeze of the two halves over its height.

    """

    lower_mm: Array
    upper_mm: Array
    unit_stiffness: Array
    sag_mm: Array
    strain: Array


def squeeze_state(case: SqueezeCase, squeeze_mm: float, load_factor: float = 1.0) -> SqueezeState:
    """State of the pair at a squeeze, before set and creep.

    Parameters
    ----------
    case : SqueezeCase
        What is squeezed.
    squeeze_mm : float
        Squeeze from first touch at assembly, mm, 0 or more.
    load_factor : float
        Load in units of weight, positive onto the lower half.

    Returns
    -------
    SqueezeState
        NaN where a half would be squeezed beyond half its height.

    """
    lower, upper = case.pair.halves
    acting, load = np.broadcast_arrays(squeeze_mm - case.shrinkage_mm, load_factor * case.load_mm2)
    down, up = balance(lower, upper, acting, load)
    unit = sum(
        np.where(at > 0.0, half.unit_stiffness("axial", np.maximum(at, 0.0)), 0.0)
        for half, at in ((lower, down), (upper, up))
    )
    # Without any squeeze left the unloaded plate floats in its gap: count the sag from the lower half's face.
    rest = np.where(acting > 0.0, balance(lower, upper, acting, np.zeros_like(load))[0], 0.0)
    return SqueezeState(
        lower_mm=down,
        upper_mm=up,
        unit_stiffness=np.where(np.isfinite(down), unit, np.nan),
        sag_mm=down - rest,
        strain=np.maximum(down / lower.height_mm, up / upper.height_mm),
    )


def least_squeeze(case: SqueezeCase) -> Array:
    """Least squeeze in mm, at assembly, at which no half lifts off at any load factor once set and creep took theirs.

    At the highest load factor the upper half comes free when the lower alone carries ``n W``:
    ``q = F_lower⁻¹(n W / N)``; at a negative one the lower, ``q = F_upper⁻¹(−n W / N)``. What the temperature and
    what set will take are added.

    Parameters
    ----------
    case : SqueezeCase
        What is squeezed.

    Returns
    -------
    ndarray
        Over draws and temperatures; nan where a half would be squeezed beyond half its height.

    """
    lower, upper = case.pair.halves
    low, high = case.load_factors
    need = squeeze_for_force(lower, high * case.load_mm2)
    if low < 0.0:
        need = np.maximum(need, squeeze_for_force(upper, -low * case.load_mm2))
    return np.asarray(np.maximum(need + case.shrinkage_mm, 0.0) / (1.0 - case.set_share))


def most_squeeze(case: SqueezeCase) -> Array:
    """Most squeeze in mm, at assembly, at which no half passes the strain limit at any load factor.

    With the lower half at its limit at the highest load factor, the upper holds the rest:
    ``q = δ* + F_upper⁻¹(F_lower(δ*) − n W / N)``, and likewise the other way round.

    Parameters
    ----------
    case : SqueezeCase
        What is squeezed.

    Returns
    -------
    ndarray
        Over draws and temperatures; negative where the load alone strains a half beyond the limit.

    """
    lower, upper = case.pair.halves
    limit = case.strain_limit
    values = []
    for half, other, load in (
        (lower, upper, max(case.load_factors[1], 0.0)),
        (upper, lower, max(-case.load_factors[0], 0.0)),
    ):
        end = limit * half.height_mm
        left = half.unit_force(np.asarray(end)) - load * case.load_mm2
        rest = squeeze_for_force(other, np.maximum(left, 0.0))
        value = end + np.where(np.isnan(rest), limit * other.height_mm, rest)
        values.append(np.where(left < 0.0, -1.0, value + case.shrinkage_mm))
    return np.minimum(*values)


def lift_off_load_factors(case: SqueezeCase, squeeze_mm: float, *, settled: bool = True) -> tuple[Array, Array]:
    """Load factors below and above which a half lifts off: ``−F_upper(q) N / W`` and ``F_lower(q) N / W``.

    Parameters
    ----------
    case : SqueezeCase
        What is squeezed.
    squeeze_mm : float
        Squeeze from first touch at assembly, mm.
    settled : bool
        Take off what compression set and creep will take.

    Returns
    -------
    low, high : ndarray
        Load factors over draws and temperatures; 0 and 0 when the rubber has come loose.

    """
    acting = np.maximum(squeeze_mm * (1.0 - case.set_share if settled else 1.0) - case.shrinkage_mm, 0.0)
    # Each half alone must take the whole squeeze at its own lift-off load.
    low, high = (
        half.unit_force(np.minimum(acting, 0.9 * half.height_mm)) / case.load_mm2 for half in case.pair.halves[::-1]
    )
    return -low, high


def lifted_at_rest(case: SqueezeCase, squeeze_mm: float, *, settled: bool) -> Flags:
    """Where the payload at rest has freed the upper half, over draws and temperatures.

    Parameters
    ----------
    case, settled
        As :func:`lift_off_load_factors`.
    squeeze_mm : float
        Squeeze from first touch at assembly, mm; 0 takes the spacer's, if there is one.
    """
    _, high = lift_off_load_factors(case, squeeze_mm or case.pair.fixed_squeeze_mm or 0.0, settled=settled)
    return high < 1.0


def ln_lower_half_stiffness(case: SqueezeCase) -> Array:
    """Ln of the axial stiffness per modulus of the lower half alone under the weight, N/mm per MPa.

    What acts once the payload at rest has freed the upper half. Where the lower one would be squeezed beyond half its
    height, that at half its height.

    Parameters
    ----------
    case : SqueezeCase
        The pair, its payload and static moduli over draws and temperatures.
    """
    lower = case.pair.halves[0]
    down = np.linspace(0.0, MAX_SQUEEZE_SHARE * lower.height_mm, _POINTS)
    force = np.maximum.accumulate(np.asarray(lower.unit_force(down), dtype=float))
    return np.asarray(np.interp(case.load_mm2, force, np.log(lower.unit_stiffness("axial", down))))


def ln_left_at_rest(case: SqueezeCase, squeeze_mm: float, unit: float, *, settled: bool = False) -> Array:
    """Ln of the stiffness per modulus that acts at rest over that of both halves: 0 while both touch.

    Parameters
    ----------
    case, squeeze_mm, settled
        As :func:`lifted_at_rest`.
    unit : float
        N/mm per MPa of both halves.
    """
    lifted = lifted_at_rest(case, squeeze_mm, settled=settled)
    return np.where(lifted, ln_lower_half_stiffness(case) - math.log(unit), 0.0)


def spacer_warnings(pair: GrommetPair, squeeze_mm: float) -> tuple[str, ...]:
    """Whether the pair's spacer, if it has one, lets the screw reach a squeeze (mm, 0 or more) and stops it there."""
    held = pair.spacer_squeeze_mm
    if held is None:
        return ()
    wanted = f"{pair.stack_mm - squeeze_mm:.3g} mm"
    if held < 0.0:
        return (f"spacer {-held:.3g} mm too long: the halves never touch; file it or take taller halves",)
    if squeeze_mm > held + 1e-9:
        short = f"the spacer stops the screw at {held:.3g} mm of squeeze, short of {squeeze_mm:.3g} mm"
        return (f"{short}; take one of {wanted}",)
    if held > squeeze_mm + 0.05:
        text = f"the spacer lets the screw go on to {held:.3g} mm, past {squeeze_mm:.3g} mm"
        return (f"{text}; count the turns, or take a spacer of {wanted}",)
    return ()


def _gain(half: RoundPad) -> float:
    """Apparent over true Young's modulus of a half."""
    return float(half.unit_stiffness("axial", np.zeros(()))) * half.height_mm / half.area_mm2
