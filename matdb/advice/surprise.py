"""Readings against what the newest fit expects of them: a wrong mass, unit or decimal point shows at once."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Final

import numpy as np

from matdb.advice.effective import lifted_share, ln_scale_at_rest, ln_scale_draws
from matdb.arrays import Array
from matdb.bench.readings import Reading
from matdb.bench.thermal.soak import soak_not_told
from matdb.curve.curve import READINGS, Curve
from matdb.curve.evidence import GROUPS, Evidence
from matdb.curve.gathering import MOST_ROWS, gather
from matdb.form.part import Part
from matdb.material.shift import ZERO_C
from matdb.mounting.on_part import felt_by

#: A reading outside this share of what is expected of it is told; choice.
_SURE: Final = 0.999
#: So is one outside this share, when it is also off by the factor; damping scatters more than stiffness.
_LIKELY: Final = 0.95
#: Of what a label foretells, which is wide, this central share; told as a look to take, not as a doubt.
_FORETOLD: Final = 0.8
_FACTOR: Final = 2.0
_DAMPING_FACTOR: Final = 3.0
#: How a doubt ends that is told of a logged reading.
MENDS: Final = "; 'matdb reading correct' mends it"


@dataclass(frozen=True)
class Surprise:
    """A reading that does not go with the fit.

    Attributes
    ----------
    ratio : float
        Measured over expected stiffness (or modulus), or damping (decrement or loss factor).
    low, high : float
        The same ratio's range that holds 99.9 % of what is expected, noise of the instrument included.
    what : str
        "stiffness" or "damping".
    check : str
        What is likely to be wrong.
    of : str
        What it is compared with: the fitted curve, or the label where nothing is fitted yet.
    """

    ratio: float
    low: float
    high: float
    what: str
    check: str
    of: str = "curve"

    def __str__(self) -> str:
        if self.of == "label" and self.low <= self.ratio <= self.high:
            return (
                f"measured {_times(self.ratio)} times the {self.what} that the label foretold, within what it allows: "
                f"look at {self.check}; where those are right, the reading counts, not the label{MENDS}"
            )
        return (
            f"measured {_times(self.ratio)} times the {self.of}'s {self.what}, where {_times(self.low)} to "
            f"{_times(self.high)} times would be expected (99.9 %): check {self.check}{MENDS}"
        )


def _times(ratio: float) -> str:
    return f"{ratio:.2g}" if ratio < 99.5 else f"{float(f'{ratio:.2g}'):.0f}"


def surprises(curve: Curve, parts: Mapping[str, Part], readings: Sequence[Reading]) -> list[tuple[Surprise, ...]]:
    """Compare readings, stiffness and damping, with the expectation of a fit that does not know them.

    Parameters
    ----------
    curve : Curve
        The newest fit of the material.
    parts : mapping of str to Part
        The parts that the readings name.
    readings : sequence of Reading
        All of this material.

    Returns
    -------
    list of tuple of Surprise
        For each reading what is odd about it, stiffness before damping: that it lies outside the 99.9 % range of what
        is expected of it, by the draws, the model's own misfit (which grows outside the measured states) and the
        instrument's noise. A stiffness that is off by a factor of 2, a damping by 3, is told from the 95 % range on;
        of a label, which foretells little, from the central 80 % on.

    Raises
    ------
    InputError
        A reading names an axis or a squeeze that its part's form lacks.
    """
    found: list[tuple[Surprise, ...]] = [()] * len(readings)
    by_soak: dict[float | None, list[int]] = {}
    for k, reading in enumerate(readings):
        by_soak.setdefault(reading.soak_min, []).append(k)
    for soak_min, rows in by_soak.items():
        # What was read after a short soak has not crystallised as far as it may in time.
        rested = curve.rested(None if soak_min is None else soak_min / 60.0)
        # So few rows at a time are never averaged, and the arrays of draws stay small.
        for which in (rows[begin : begin + MOST_ROWS] for begin in range(0, len(rows), MOST_ROWS)):
            some = [readings[k] for k in which]
            for k, odd in _compared(rested, parts, some, gather(some, parts, curve.family)):
                found[which[k]] += (odd,)
    return found


def _compared(
    curve: Curve, parts: Mapping[str, Part], readings: Sequence[Reading], evidence: Evidence
) -> list[tuple[int, Surprise]]:
    """The surprises of readings that are rows of their own, with the index of each."""
    n, order = len(curve.parameters), [rows[0] for rows in evidence.rows_of]
    drawn = cache(lambda name, axis: curve.offset_draws(parts[name], axis))
    own = []
    for reading in (readings[k] for k in order):
        name = getattr(reading, "part", "")
        shares = felt_by(reading, parts[name].form).shares if name else {}
        own.append(sum((share * drawn(name, axis) for axis, share in shares.items()), np.zeros(n)))
    # Each row its own specimen, for the offset's spread goes with the axis.
    each = replace(evidence, specimen=np.arange(len(order)), specimens=tuple(map(str, order)))
    stiff, loss, rate, loss_rate = each.predict(curve.parameters, np.stack(own, axis=1))
    sd, loss_sd = each.residual_scale(rate, loss_rate, np.ones((n, len(GROUPS))), np.zeros((n, 1)))
    # A ring-down tells its frequency: stiffness goes with its square.
    power = np.where(each.free, 2.0, 1.0)
    t = each.temperature_k - ZERO_C
    ln_omega = np.where(each.free, stiff + math.log(2.0 * math.pi), each.ln_s.real)
    with_misfit, without = curve.ln_modulus(t, ln_omega), curve.ln_modulus(t, ln_omega, misfit=False)
    expected = power * stiff + (with_misfit.real - without.real)
    expected_loss = loss + _ln_tan(with_misfit.imag) - _ln_tan(without.imag)
    for row in np.flatnonzero(~np.isnan(each.strain)).tolist():
        softer, louder = curve.softened(float(each.strain[row]))
        expected[:, row] += softer
        expected_loss[:, row] += louder
    fitted = curve.basis == READINGS
    likely = _LIKELY if fitted else _FORETOLD
    found = []
    for row, k in enumerate(order):
        seen = power[row] * float(each.stiff[row]), expected[:, row], power[row] * sd[:, row]
        found.append((k, _odd(*seen, likely, _FACTOR, "stiffness", "mass, count, unit and squeeze")))
        if not math.isnan(each.loss[row]):
            seen = float(each.loss[row]), expected_loss[:, row], loss_sd[:, row]
            found.append((k, _odd(*seen, likely, _DAMPING_FACTOR, "damping", _damping_check(readings[k]))))
    of = "curve" if fitted else "label"
    return [(k, replace(odd, of=of)) for k, odd in found if odd is not None]


def _ln_tan(angle: Array) -> Array:
    return np.asarray(np.log(np.maximum(np.tan(np.clip(angle, -1.5, 1.5)), 1e-6)))


def _damping_check(reading: Reading) -> str:
    if reading.kind == "ring-down":
        return "the decrement's decimal point and the cycles it was read over"
    if reading.kind == "resonance":
        return "the half-power width" if getattr(reading, "half_power_width_hz", None) else "the amplification"
    return "the loss factor"


def _odd(
    seen: float, centre: Array, spread: Array, likely: float, factor: float, what: str, check: str
) -> Surprise | None:
    """A value that does not go with normal distributions, one a draw: its ratio to their median, and the sure range."""
    share = _share_below(seen, centre, spread)
    if _ends(likely)[0] <= share <= _ends(likely)[1]:
        return None
    middle = _quantile(centre, spread, 0.5)
    low, high = _ends(_SURE)
    if low <= share <= high and abs(seen - middle) <= math.log(factor):
        return None
    ends = (seen, _quantile(centre, spread, low), _quantile(centre, spread, high))
    ratio, low, high = (math.exp(min(x - middle, 700.0)) for x in ends)
    return Surprise(ratio, low, high, what, check)


def _share_below(at: float, centre: Array, spread: Array) -> float:
    z = (at - centre) / (math.sqrt(2.0) * spread)
    return 0.5 * (1.0 + sum(map(math.erf, z.tolist())) / len(centre))


def _ends(share: float) -> tuple[float, float]:
    return 0.5 * (1.0 - share), 0.5 * (1.0 + share)


def _quantile(centre: Array, spread: Array, share: float) -> float:
    """Where the mean of normal distributions, one a draw, reaches a share: by bisection."""
    low, high = float((centre - 6.0 * spread).min()), float((centre + 6.0 * spread).max())
    while high - low > 1e-6 * (1.0 + abs(low)):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if _share_below(middle, centre, spread) < share else (low, middle)
    return 0.5 * (low + high)


def doubts(curve: Curve, part: Part | None, reading: Reading) -> tuple[str, ...]:
    """What the newest fit says against a reading, in plain words; empty when nothing.

    Parameters
    ----------
    curve, part, reading
        The newest fit of the material, the part that was read (None for readings on the material), the reading.
    """
    compared = all_doubts(curve, {} if part is None else {part.name: part}, [reading])[0]
    return (*compared, *untold(curve.family, reading))


def untold(family: str, reading: Reading) -> tuple[str, ...]:
    """What a reading leaves open that decides what it says, in plain words; empty when nothing."""
    asked = soak_not_told(family, reading)
    return (asked + MENDS,) if asked else ()


def all_doubts(curve: Curve, parts: Mapping[str, Part], readings: Sequence[Reading]) -> list[tuple[str, ...]]:
    """What the newest fit says against each of many readings; as :func:`doubts` without :func:`untold`, all at once.

    Parameters
    ----------
    curve, parts, readings
        As :func:`surprises`.
    """
    said = [tuple(str(odd) for odd in found) for found in surprises(curve, parts, readings)]
    for k, reading in enumerate(readings):
        part = parts.get(getattr(reading, "part", ""))
        if part is not None and _lifted(curve, part, reading):
            said[k] += (
                "under this mass a half has lifted off at this squeeze, so it tells of the lower half alone: "
                "say how far the pair was squeezed, or squeeze it further and read it again",
            )
    return said


def _lifted(curve: Curve, part: Part, reading: Reading) -> bool:
    """Whether more than half of the draws have a half of a grommet pair lifted off; by the label, only unsqueezed."""
    mass, axis = getattr(reading, "mass_kg", None), getattr(reading, "axis", "")
    if part.form.pair is None or axis != "axial" or not mass:
        return False
    t = np.array([reading.temperature_c])
    squeeze, count = getattr(reading, "squeeze_mm", 0.0), getattr(reading, "count", 1)
    if curve.basis != READINGS and (squeeze or part.form.pair.fixed_squeeze_mm):
        return False
    at_rest = ln_scale_at_rest(curve, part, axis, squeeze, t, mass, count)
    return lifted_share(at_rest, ln_scale_draws(curve, part, axis, squeeze, count)) > 0.5
