"""A reading against what the newest fit expects of it: a wrong mass or unit shows at once."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from matdb.advice.pair import lifted_share, ln_scale_at_rest
from matdb.bench.readings import Reading
from matdb.curve.curve import READINGS, Curve
from matdb.curve.evidence import GROUPS, gather
from matdb.form.grommet_pair import GrommetPair
from matdb.form.part import Part
from matdb.material.shift import ZERO_C

__all__ = ["Surprise", "doubts", "surprise"]

Array = NDArray[np.float64]

#: A reading outside this share of what is expected of it is told; choice.
_SURE: Final = 0.999
#: So is one outside this share, when it is also off by the factor.
_LIKELY: Final = 0.95
_FACTOR: Final = 2.0


@dataclass(frozen=True, kw_only=True)
class Surprise:
    """A reading that does not go with the fit.

    Attributes
    ----------
    ratio : float
        Measured over expected stiffness (or modulus).
    low, high : float
        The same ratio's range that holds 99.9 % of what is expected, noise of the instrument included.
    """

    ratio: float
    low: float
    high: float

    def __str__(self) -> str:
        return (
            f"measured {_times(self.ratio)} times the curve's stiffness, where {_times(self.low)} to "
            f"{_times(self.high)} times would be expected (99.9 %): check mass, count, unit and squeeze; "
            "'matdb reading correct' mends it"
        )


def _times(ratio: float) -> str:
    return f"{ratio:.2g}" if ratio < 99.5 else f"{float(f'{ratio:.2g}'):.0f}"


def surprise(curve: Curve, part: Part | None, reading: Reading) -> Surprise | None:
    """Compare a reading with the expectation of a fit that does not know it.

    Parameters
    ----------
    curve : Curve
        The newest fit of the material.
    part : Part or None
        The part that was read; None for readings on the material.
    reading : Reading
        The reading.

    Returns
    -------
    Surprise or None
        None when there is no fit, or when the reading lies within the 99.9 % range of what is expected: the draws, the
        model's own misfit (which grows outside the measured states) and the instrument's noise. One that is off by a
        factor of 2 is told from the 95 % range on.

    Raises
    ------
    InputError
        The reading names an axis or a squeeze that its part's form lacks.
    """
    if curve.basis != READINGS:
        return None
    evidence = gather([reading], {} if part is None else {part.name: part}, curve.family)
    n = len(curve.draws)
    if part is None:
        offsets = np.zeros((n, len(evidence.specimens)))
    else:
        axis = getattr(reading, "axis", "axial")
        offsets = curve.offset_draws(part.name, part.form.offset_sd(axis))[:, None]
    stiff, _, rate, loss_rate = evidence.predict(curve.draws, offsets)
    sd, _ = evidence.residual_scale(rate, loss_rate, np.ones((n, len(GROUPS))), np.zeros((n, 1)))
    # A ring-down tells its frequency: stiffness goes with its square.
    power = 2.0 if evidence.free[0] else 1.0
    t = evidence.temperature_k - ZERO_C
    ln_omega = stiff + math.log(2.0 * math.pi) if evidence.free[0] else evidence.ln_s.real
    misfit = curve.ln_modulus(t, ln_omega).real - curve.ln_modulus(t, ln_omega, misfit=False).real
    expected = power * stiff[:, 0] + misfit[:, 0]
    spread = power * sd[:, 0]
    seen = power * float(evidence.stiff[0])
    middle, *sure = (_quantile(expected, spread, share) for share in (0.5, *_ends(_SURE)))
    likely = [_quantile(expected, spread, share) for share in _ends(_LIKELY)]
    far = abs(seen - middle) > math.log(_FACTOR) and not likely[0] <= seen <= likely[1]
    if sure[0] <= seen <= sure[1] and not far:
        return None
    ratio, low, high = (math.exp(min(x - middle, 700.0)) for x in (seen, *sure))
    return Surprise(ratio=ratio, low=low, high=high)


def _ends(share: float) -> tuple[float, float]:
    return 0.5 * (1.0 - share), 0.5 * (1.0 + share)


def _quantile(centre: Array, spread: Array, share: float) -> float:
    """Where the mean of normal distributions, one a draw, reaches a share: by bisection."""
    low, high = float((centre - 6.0 * spread).min()), float((centre + 6.0 * spread).max())
    slim = math.sqrt(2.0) * spread
    while high - low > 1e-6 * (1.0 + abs(low)):
        middle = 0.5 * (low + high)
        below = sum(math.erf(z) for z in ((middle - centre) / slim).tolist()) / len(centre)
        low, high = (middle, high) if 0.5 * (1.0 + below) < share else (low, middle)
    return 0.5 * (low + high)


def doubts(curve: Curve, part: Part | None, reading: Reading) -> tuple[str, ...]:
    """What the newest fit says against a reading, in plain words; empty when nothing.

    Parameters
    ----------
    curve, part, reading
        As :func:`surprise`.
    """
    found = surprise(curve, part, reading)
    said = [] if found is None else [str(found)]
    mass, axis = getattr(reading, "mass_kg", None), getattr(reading, "axis", "")
    if part is not None and isinstance(part.form, GrommetPair) and axis == "axial" and mass and curve.basis == READINGS:
        t = np.array([reading.temperature_c])
        squeeze, count = getattr(reading, "squeeze_mm", 0.0), getattr(reading, "count", 1)
        at_rest = ln_scale_at_rest(curve, part, axis, squeeze, t, mass, count)
        unit = float(part.form.stiffness_n_per_mm(1.0, axis, squeeze_mm=squeeze))
        both = math.log(unit * count) + curve.offset_draws(part.name, part.form.offset_sd(axis))
        if lifted_share(at_rest, both) > 0.5:
            said.append(
                "under this mass a half has lifted off at this squeeze, but the fit takes both to act: squeeze the "
                "pair further and read it again"
            )
    return tuple(said)
