"""Sequential Monte Carlo: from a standard normal to a posterior in tempered steps, many particles at once.

It gives draws and the evidence in one run, copes with curved and many-peaked posteriors, and evaluates the likelihood
for all particles in one vectorised call.

References
----------
.. [1] P. Del Moral, A. Doucet, A. Jasra, J. R. Stat. Soc. B 68 (2006) 411.
.. [2] S. L. Cotter, G. O. Roberts, A. M. Stuart, D. White, Stat. Sci. 28 (2013) 424 (the move: autoregressive
       proposals, here around a normal fitted to the particles).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist

import numpy as np

from matdb.arrays import Array

LogDensity = Callable[[Array], Array]

#: Share of particles that must stay effective when a step is chosen.
_KEEP = 0.5
_MOST_STEPS = 60


@dataclass
class Population:
    """Equally weighted particles with their log densities.

    Attributes
    ----------
    u : ndarray, shape (n, d)
        Coordinates.
    base : ndarray, shape (n,)
        Log density (up to a constant) of the finished layers at each particle.
    log_evidence : float
        ln of the last layer's normalising constant.
    """

    u: Array
    base: Array
    log_evidence: float = 0.0


def temper(
    start: Population,
    base: LogDensity,
    layer: LogDensity,
    rng: np.random.Generator,
    *,
    moves: int = 4,
    polish: int = 8,
    progress: Callable[[float], None] | None = None,
) -> Population:
    """Add one layer of log likelihood to a population.

    Parameters
    ----------
    start : Population
        Draws of the density ``exp(base)``.
    base, layer : callable
        Log densities of coordinates, shape (n, d) to (n,); ``base`` is what ``start`` follows (the standard normal
        included), ``layer`` is what to add.
    rng : numpy.random.Generator
        Source of chance; the result depends on it and on the particles' order only.
    moves, polish : int
        Rounds of moves after each step, and after the last.
    progress : callable, optional
        Called with the share done, 0 to 1.

    Returns
    -------
    Population
        Draws of ``exp(base + layer)``; its ``log_evidence`` is that of the layer alone.

    Raises
    ------
    FloatingPointError
        The layer is a number nowhere.
    """

    def added(u: Array) -> Array:
        found = layer(u)
        # A draw whose law gives no number at a reading, far below its glass transition, cannot be the truth.
        return np.where(np.isnan(found), -np.inf, found)

    u = start.u.copy()
    n, d = u.shape
    density = start.base.copy()
    likelihood = added(u)
    if likelihood.max() == -np.inf:
        raise FloatingPointError("no draw gives a number at the readings")
    power, log_evidence = 0.0, 0.0
    for step in range(_MOST_STEPS):
        rise = _next_rise(likelihood, 1.0 - power, n) if step < _MOST_STEPS - 1 else 1.0 - power
        log_weight = rise * likelihood
        top = log_weight.max()
        weight = np.exp(log_weight - top)
        log_evidence += float(top + np.log(weight.mean()))
        power = 1.0 if rise >= 1.0 - power else power + rise
        weight /= weight.sum()
        centre = weight @ u
        spread = (u - centre).T @ ((u - centre) * weight[:, None])
        chosen = np.searchsorted(np.cumsum(weight), (rng.random() + np.arange(n)) / n).clip(max=n - 1)
        u, density, likelihood = u[chosen], density[chosen], likelihood[chosen]
        root = np.linalg.cholesky(spread + 1e-9 * np.eye(d))
        inverse = np.linalg.inv(root)
        for _ in range(moves if power < 1.0 else polish):
            # Long and short moves alternate by chance, so that both a good and a poor normal fit get along.
            reach = rng.choice((0.25, 0.5, 0.8, 1.0), size=n)[:, None]
            white = (u - centre) @ inverse.T
            trial_white = np.sqrt(1.0 - reach**2) * white + reach * rng.standard_normal((n, d))
            trial = centre + trial_white @ root.T
            trial_density, trial_likelihood = base(trial), added(trial)
            gain = (trial_density - density) + power * (trial_likelihood - likelihood)
            gain += 0.5 * np.sum(trial_white**2 - white**2, axis=1)
            take = np.log(rng.random(n)) < gain
            u[take] = trial[take]
            density[take], likelihood[take] = trial_density[take], trial_likelihood[take]
        if progress is not None:
            progress(float(power**0.25))  # the power grows by a factor a step
        if power >= 1.0:
            break
    return Population(u, density + likelihood, log_evidence)


def _next_rise(likelihood: Array, most: float, n: int) -> float:
    """The largest rise of the power that keeps the wanted share of particles effective."""

    def effective(rise: float) -> float:
        weight = np.exp(rise * (likelihood - likelihood.max()))
        return float(weight.sum() ** 2 / (weight**2).sum())

    if effective(most) >= _KEEP * n:
        return most
    low, high = 0.0, most
    for _ in range(40):
        middle = 0.5 * (low + high)
        if effective(middle) >= _KEEP * n:
            low = middle
        else:
            high = middle
    return max(low, 1e-9)


@lru_cache(maxsize=256)
def shuffled_normals(*stream: int) -> Array:
    """Evenly spread normal values in a shuffled order; of a seed, a stream of chance and their number."""
    return np.random.default_rng(stream[:2]).permutation(_even_normals(stream[2]))


@lru_cache(maxsize=16)
def _even_normals(n: int) -> Array:
    return np.array([NormalDist().inv_cdf((k + 0.5) / n) for k in range(n)])
