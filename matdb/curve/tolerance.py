"""Of residuals, a share of which is fumbled and scatters far more widely than the noise."""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from matdb.arrays import Array

#: Usual noise of a bench reading: 3 % of frequency (6 % of stiffness), 15 % of loss factor.
FREQUENCY_SD: Final = 0.03
STIFFNESS_SD: Final = 0.06
LOSS_SD: Final = 0.15
#: Share of fumbled readings at a bench, and how much wider than the noise they scatter.
FUMBLED_SHARE: Final = 0.02
FUMBLED_WIDTH: Final = 10.0


def fumbled_probability(z: Array, share: Any = FUMBLED_SHARE, width: Any = FUMBLED_WIDTH) -> Array:
    """Probability that a component with standardised residual ``z`` is a fumbled one; ``share`` of all are."""
    good = (1.0 - share) * np.exp(-0.5 * z**2)
    bad = share / width * np.exp(-0.5 * (z / width) ** 2)
    return np.asarray(bad / np.maximum(good + bad, 1e-300))


def ln_tolerant(z: Array, share: Any = FUMBLED_SHARE, width: Any = FUMBLED_WIDTH) -> Array:
    """Ln density (not normalised) of a standardised residual: normal, or for a ``share`` so many times as wide."""
    square = z * z
    wide = 0.5 / width**2
    return np.asarray(np.log(share / width + (1.0 - share) * np.exp((wide - 0.5) * square)) - wide * square)


def tolerant_slope(z: Array, share: Any = FUMBLED_SHARE, width: Any = FUMBLED_WIDTH) -> Array:
    """How :func:`ln_tolerant` rises with the residual."""
    wide = 0.5 / width**2
    good = (1.0 - share) * np.exp((wide - 0.5) * z * z)
    return np.asarray(-z * (2.0 * wide + (1.0 - 2.0 * wide) * good / (good + share / width)))
