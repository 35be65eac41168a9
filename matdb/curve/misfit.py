"""What a curve misses by itself: waves over temperature and frequency, larger where nothing was read."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache
from statistics import NormalDist
from typing import Final

import numpy as np

from matdb.arrays import Array
from matdb.curve.band import plain_median
from matdb.curve.parameters import MISFIT_LOSS

Range = tuple[float, float] | None

#: The model's own misfit varies smoothly over temperature and frequency, on these scales.
_SCALE_K: Final = 25.0
_SCALE_LN_HZ: Final = 3.5
_WAVES: Final = 4
#: A second, slow relaxation adds to however small a loss: an absolute share of the misfit.
_LOSS_FLOOR: Final = 0.7
#: Largest phase of the complex modulus in rad (a loss factor of 14).
_MOST_PHASE: Final = 1.5
#: Outside the measured reduced frequencies it grows by its own size every so many nepers (about two thirds of a
#: decade), that of the loss outside those at which damping was read (about two decades), and outside the measured
#: temperatures every so many kelvin.
_GROWTH: Final = (1.5, 4.5, 10.0)
#: Between readings in temperature that of the loss grows likewise: a second relaxation hides where nothing was read.
_GROWTH_GAP_K: Final = 10.0
#: And it grows no further than by so many times its own size.
_MOST_GROWTH: Final = 4.0


@dataclass(frozen=True, eq=False)
class Misfit:
    """The misfit of every draw of a curve.

    Attributes
    ----------
    sd : ndarray, shape (n,)
        ln standard deviation of the modulus.
    seed : int
        Same seed: the same waves.
    ln_hz, loss_ln_hz, celsius : tuple of float or None
        Where was read: ln of the reduced frequency in Hz, of that at which damping was read, and degC.
    read_c : tuple of float
        Temperatures of readings in order, degC.
    """

    sd: Array
    seed: int
    ln_hz: Range
    loss_ln_hz: Range
    celsius: Range
    read_c: tuple[float, ...]

    def add(self, ln_size: Array, angle: Array, t: Array, ln_omega: Array, ln_shift: Array) -> None:
        """Add it to ln of the modulus and its angle in place, (n, m), at degC, (m,), and ln of rad/s, (1 or n, m)."""
        kx, ky, phase = self._waves
        size = (math.sqrt(2.0 / _WAVES) * self.sd)[:, None]
        half = kx * (0.5 / _SCALE_K * t) + ky * (0.5 / _SCALE_LN_HZ * ln_omega)
        # The cosine by the tangent of half the angle, which costs a fraction.
        waves = (np.add.reduce(2.0 / (1.0 + np.tan(half + phase) ** 2), axis=1) - _WAVES) * size
        if self.celsius is not None:
            reduced = plain_median(ln_omega) - math.log(2.0 * math.pi) + ln_shift
            low, high, scale = self._ends
            asked = np.empty((3, t.size))
            asked[:2], asked[2] = reduced, t
            growth = np.maximum(low - asked, asked - high) / scale
            growth = np.maximum(growth[:2], np.maximum(growth[2], 0.0))
            if self.read_c:
                place = self._read.searchsorted(t)
                gap = np.minimum(t - self._read[place - 1], self._read[place] - t)
                growth[1] = np.maximum(growth[1], gap / _GROWTH_GAP_K)
            waves *= 1.0 + np.minimum(growth, _MOST_GROWTH)[:, None]
        stiff, loss_factor = waves
        # The angle is about the loss factor.
        loss = np.minimum(np.maximum(angle, 0.0), 1.2)
        room = np.maximum(MISFIT_LOSS * loss_factor, -0.8)
        # However large the doubt, the material stays a passive spring: a phase between 0 and 86 degrees.
        turned = np.maximum(loss * (1.0 + room) + _LOSS_FLOOR * loss_factor, 0.1 * loss)
        ln_size += stiff
        np.minimum(turned, _MOST_PHASE, out=angle)

    @cached_property
    def _ends(self) -> Array:
        """Low and high ends of what was read, and how quickly doubt grows beyond them, each of shape (3, 1)."""
        # Everything lies far outside no range.
        ends = [(math.inf, -math.inf) if each is None else each for each in (self.ln_hz, self.loss_ln_hz, self.celsius)]
        return np.array([*zip(*ends, strict=True), _GROWTH])[:, :, None]

    @cached_property
    def _read(self) -> Array:
        return np.array([-math.inf, *self.read_c, math.inf])

    @cached_property
    def _waves(self) -> tuple[Array, Array, Array]:
        rng, shape = np.random.default_rng([self.seed, 3]), (_WAVES, len(self.sd), 1)
        return rng.standard_normal(shape), rng.standard_normal(shape), rng.uniform(0.0, math.pi, (2, *shape))


@lru_cache(maxsize=256)
def shuffled_normals(*stream: int) -> Array:
    """Evenly spread normal values in a shuffled order; of a seed, a stream of chance and their number."""
    return np.random.default_rng(stream[:2]).permutation(_even_normals(stream[2]))


@lru_cache(maxsize=16)
def _even_normals(n: int) -> Array:
    return np.array([NormalDist().inv_cdf((k + 0.5) / n) for k in range(n)])
