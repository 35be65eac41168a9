"""What a curve misses by itself: waves over temperature and frequency, larger where nothing was read."""

from __future__ import annotations

import math
from collections.abc import Sequence
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
        kx, ky, even, odd, middle = self._waves
        # Cosines of sums by the tangent of half the angle, which costs a fraction.
        tangent = np.tan(kx * t + ky * ln_omega)
        waves = np.add.reduce((even - odd * tangent) * (2.0 / (1.0 + tangent * tangent)), axis=1) - middle
        stiff, loss_factor = waves[0], waves[1]
        if self.celsius is not None:
            reduced = plain_median(ln_omega) + ln_shift
            of_size, of_loss, of_both, between = self._growth
            warm = np.interp(t, *of_both)
            stiff *= np.maximum(np.interp(reduced, *of_size), warm)
            loss_factor *= np.maximum(np.maximum(np.interp(reduced, *of_loss), warm), np.interp(t, *between))
        # The angle is about the loss factor.
        loss = np.minimum(np.maximum(angle, 0.0), 1.2)
        room = np.maximum(MISFIT_LOSS * loss_factor, -0.8)
        # However large the doubt, the material stays a passive spring: a phase between 0 and 86 degrees.
        turned = np.maximum(loss * (1.0 + room) + _LOSS_FLOOR * loss_factor, 0.1 * loss)
        ln_size += stiff
        np.minimum(turned, _MOST_PHASE, out=angle)

    @cached_property
    def _growth(self) -> list[tuple[Array, Array]]:
        """By how much it is multiplied outside each of the ranges, and between readings, as tables to interpolate.

        Those over frequency are over ln of rad/s.
        """
        ln_omega = [each and [end + math.log(2.0 * math.pi) for end in each] for each in (self.ln_hz, self.loss_ln_hz)]
        ranges = zip((*ln_omega, self.celsius), _GROWTH, strict=True)
        gaps = _grown(self.read_c or self.celsius, _GROWTH_GAP_K, all_read=not self.read_c)
        return [*(_grown(*each, all_read=True) for each in ranges), gaps]

    @cached_property
    def _waves(self) -> tuple[Array, ...]:
        rng, shape = np.random.default_rng([self.seed, 3]), (_WAVES, len(self.sd), 1)
        kx, ky = (0.5 / scale * rng.standard_normal(shape) for scale in (_SCALE_K, _SCALE_LN_HZ))
        phase, size = 2.0 * rng.uniform(0.0, math.pi, (2, *shape)), (math.sqrt(2.0 / _WAVES) * self.sd)[:, None]
        even = size * np.cos(phase)
        return kx, ky, even, size * np.sin(phase), even.sum(axis=1)


def _grown(read: Sequence[float] | None, scale: float, *, all_read: bool = False) -> tuple[Array, Array]:
    """1 where was read (ascending) and 1 more every ``scale`` away; with ``all_read`` it was between them too."""
    if read is None:
        return np.zeros(1), np.full(1, 1.0 + _MOST_GROWTH)
    at = np.array(read)
    half = np.full(at.size + 1, math.inf)
    half[1:-1] = 0.0 if all_read else 0.5 * np.diff(at)
    half = np.minimum(half, _MOST_GROWTH * scale)
    away = np.stack([-half[:-1], np.zeros(at.size), half[1:]], axis=1)
    return (at[:, None] + away).ravel(), (1.0 + np.abs(away) / scale).ravel()


@lru_cache(maxsize=256)
def shuffled_normals(*stream: int) -> Array:
    """Evenly spread normal values in a shuffled order; of a seed, a stream of chance and their number."""
    return np.random.default_rng(stream[:2]).permutation(_even_normals(stream[2]))


@lru_cache(maxsize=16)
def _even_normals(n: int) -> Array:
    return np.array([NormalDist().inv_cdf((k + 0.5) / n) for k in range(n)])
