"""Least squares: the optimiser core, and the most probable parameters of a fit.

References
----------
.. [1] J. J. More, Numerical Analysis, Lecture Notes in Mathematics 630 (1978) 105 (from memory).
.. [2] M. A. Branch, T. F. Coleman, Y. Li, SIAM J. Sci. Comput. 21 (1999) 1 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matdb.curve.evidence import GROUPS, Evidence
from matdb.curve.parameters import COLUMNS, DIMENSION
from matdb.curve.posterior import NAMES, VARIANTS, Posterior, unpack
from matdb.curve.prior import Prior
from matdb.curve.tolerance import ln_tolerant
from matdb.errors import InputError

__all__ = ["Minimum", "MostProbable", "Objective", "least_squares", "most_probable"]

Array = NDArray[np.float64]
#: Residuals of many points at once: shape (n, parameters) to (n, residuals).
Residuals = Callable[[Array], Array]

#: Step of the derivative's four-point stencil, relative: its error is about 1e-12 of the value.
_STEP: Final = 2e-4
#: Stands for an overflow in a residual.
_HUGE: Final = 1e120
#: Peaks of a posterior that are followed to the top.
_PEAKS: Final = 3
#: Searches in the order tried: Levenberg-Marquardt, then a trust region with reflection.
_SEARCHES: Final = ("lm", "trf")


@dataclass(frozen=True, eq=False)
class Minimum:
    """Where a sum of squares is least.

    Attributes
    ----------
    x : ndarray, shape (p,)
        Parameters.
    sum_of_squares : float
        Sum of squared residuals there.
    covariance : ndarray, shape (p, p)
        Inverse of J^T J for residuals in units of their standard deviation; infinite where J is singular.
    residuals : int
        Number of residuals.
    evaluations : int
        Points at which the residuals were evaluated.
    """

    x: Array
    sum_of_squares: float
    covariance: Array
    residuals: int
    evaluations: int

    @property
    def standard_errors(self) -> Array:
        """For residuals that are whitened already."""
        return np.asarray(np.sqrt(np.diag(self.covariance)))

    @property
    def scaled_standard_errors(self) -> Array:
        """With the noise estimated from the residuals: times sqrt(sum of squares / degrees of freedom)."""
        freedom = self.residuals - self.x.size
        if freedom < 1:
            raise InputError("residuals", self.residuals, f"more than the {self.x.size} parameters")
        return np.asarray(self.standard_errors * np.sqrt(self.sum_of_squares / freedom))


def least_squares(
    residuals: Residuals, start: ArrayLike, *, scale: ArrayLike | None = None, searches: int | None = None
) -> Minimum:
    """Minimise a sum of squares from one start.

    Two searches [1]_ [2]_ start at the same point, because each has problems that it alone solves; Gauss-Newton steps
    polish the better result to the last digits.

    Parameters
    ----------
    residuals : callable
        Shape (n, p) to (n, m): n points at once.
    start : array_like, shape (p,)
        Where to start.
    scale : array_like, optional
        Typical size of each parameter, for the steps of the derivative near zero; a thousandth of the start's when
        None.
    searches : int, optional
        At most so many of the searches, for well-behaved problems.

    Raises
    ------
    InputError
        The residuals at the start are not finite.

    References
    ----------
    .. [1] J. J. More, Numerical Analysis, Lecture Notes in Mathematics 630 (1978) 105 (from memory).
    .. [2] M. A. Branch, T. F. Coleman, Y. Li, SIAM J. Sci. Comput. 21 (1999) 1 (from memory).
    """
    from scipy import optimize

    count = 0
    x0 = np.asarray(start, dtype=float)

    def at(x: Array) -> Array:
        nonlocal count
        points = np.atleast_2d(x)
        count += len(points)
        with np.errstate(all="ignore"):
            values = np.asarray(residuals(points), dtype=float)
        return np.asarray(np.nan_to_num(np.clip(values, -_HUGE, _HUGE), nan=_HUGE))

    first = at(x0)[0]
    if np.abs(first).max() >= _HUGE:
        raise InputError("start", x0.tolist(), "a point at which every residual is finite")
    size = 1e-3 * np.where(x0 == 0.0, 1.0, np.abs(x0)) if scale is None else np.broadcast_to(scale, x0.shape)

    def jacobian(x: Array) -> Array:
        return derivative(at, x, size)

    best, least = x0, float(first @ first)
    for method in _SEARCHES[:searches]:
        found = optimize.least_squares(
            lambda x: at(x)[0],
            x0,
            jac=jacobian,
            method=method if first.size >= x0.size else "trf",
            x_scale="jac",
            ftol=1e-15,
            xtol=1e-15,
            gtol=1e-15,
            max_nfev=2000 if method == "lm" else 1000,
        )
        value = float(found.fun @ found.fun)
        if value < least:
            best, least = found.x, value
    best, least = _polished(at, best, least, size)
    return Minimum(best, least, _inverse(derivative(at, best, size)), first.size, count)


def derivative(at: Residuals, x: Array, size: Array) -> Array:
    """Jacobian by the four-point central stencil, all points in one call: shape (m, p)."""
    step = _STEP * np.maximum(np.abs(x), size)
    moves = np.diag(step)
    points = np.concatenate([x + k * moves for k in (-2.0, -1.0, 1.0, 2.0)])
    far_low, low, high, far_high = at(points).reshape(4, x.size, -1)
    return np.asarray(((far_low - far_high + 8.0 * (high - low)) / (12.0 * step[:, None])).T)


def _polished(at: Residuals, x: Array, least: float, size: Array) -> tuple[Array, float]:
    """Gauss-Newton steps while they help."""
    for _ in range(20):
        matrix = derivative(at, x, size)
        scale = np.linalg.norm(matrix, axis=0)
        scale[scale == 0.0] = 1.0
        move = -np.linalg.lstsq(matrix / scale, at(x)[0], rcond=None)[0] / scale
        trial = x + move
        value = float(np.sum(at(trial)[0] ** 2))
        if not value <= least:
            break
        x, least = trial, value
        if np.all(np.abs(move) <= 1e-13 * np.abs(x)):
            break
    return x, least


def _inverse(matrix: Array) -> Array:
    """(J^T J)^-1 by a QR of the column-scaled Jacobian."""
    scale = np.linalg.norm(matrix, axis=0)
    if np.any(scale == 0.0):
        return np.full((matrix.shape[1],) * 2, np.inf)
    root: Array = np.asarray(np.linalg.qr(matrix / scale)[1])
    if np.abs(np.diag(root)).min() < 1e-14:
        return np.full(root.shape, np.inf)
    inverse = np.linalg.inv(root) / scale[:, None]
    return np.asarray(inverse @ inverse.T)


@dataclass(frozen=True, eq=False)
class MostProbable:
    """The most probable parameters of a fit.

    Attributes
    ----------
    variant : str
        The model: law, and whether it has four or five parameters.
    draw : ndarray, shape (13,)
        Parameters; columns as ``matdb.curve.parameters.COLUMNS``.
    standard_errors : dict
        Of the columns that the model uses, from the curvature at the optimum.
    offsets : ndarray, shape (specimens,)
        ln offsets.
    minimum : Minimum
        The optimum in the sampler's coordinates.
    """

    variant: str
    draw: Array
    standard_errors: dict[str, float]
    offsets: Array
    minimum: Minimum


class Objective:
    """Minus twice the log posterior of one model as a sum of squares, noise and misfit held at their medians.

    The coordinates are the sampler's: standard normal before facts and readings. Each fact and each component of a
    reading gives one residual, sign(z) sqrt(2 ln[p(0)/p(z)]), p being the density that tolerates a fumbled reading
    (or an exception to the rule), so that near z = 0 it is the standardised residual.

    Parameters
    ----------
    prior, evidence, posterior
        As they went into and came out of the fit.
    variant : tuple of law and skew, optional
        The model; the likeliest when None.
    """

    def __init__(
        self, prior: Prior, evidence: Evidence, posterior: Posterior, variant: tuple[int, bool] | None = None
    ) -> None:
        self.prior, self.evidence = prior, evidence
        self.law, self.skewed = variant or VARIANTS[int(np.argmax([posterior.weights[name] for name in NAMES]))]
        self.name = NAMES[VARIANTS.index((self.law, self.skewed))]
        self.contrasts = evidence.contrasts()
        self.dimension = DIMENSION + self.contrasts.shape[1]
        mine = (posterior.draws[:, -1] == self.law) & ((posterior.draws[:, 3] != 1.0) == self.skewed)
        #: Particles of this model.
        self.particles = posterior.coordinates[mine, : self.dimension]
        noise, misfit = np.median(posterior.noise, axis=0), float(np.median(posterior.misfit))
        # Scales are those that the draws have on the whole: the sum of squares needs them fixed.
        _, _, stiff_rate, loss_rate = evidence.predict(posterior.draws, posterior.offsets)
        n = len(posterior.draws)
        stiff_sd, loss_sd = evidence.residual_scale(
            stiff_rate, loss_rate, np.tile(noise, (n, 1)), np.full((n, 1), misfit)
        )
        self.stiff_sd, self.loss_sd = np.median(stiff_sd, axis=0), np.median(loss_sd, axis=0)
        self.has_loss = ~np.isnan(evidence.loss)

    def parameters(self, u: Array) -> tuple[Array, Array]:
        """Parameter draws and ln offsets from coordinates, shapes (n, 12) and (n, specimens)."""
        draws = self.prior.draws(u[:, :DIMENSION], self.law, skewed=self.skewed)
        # Behind the offsets come the coordinates of noise and misfit, which are held elsewhere.
        rest = np.zeros((len(u), len(GROUPS) + 1 + self.evidence.shared))
        return draws, unpack(self.prior, self.evidence, self.contrasts, np.hstack([u, rest]))[0]

    def residuals(self, u: Array) -> Array:
        """Residuals of points, shape (n, facts + components + coordinates)."""
        draws, offsets = self.parameters(u)
        stiff, loss, _, _ = self.evidence.predict(draws, offsets)
        has, root = self.has_loss, np.sqrt(self.evidence.weight)
        stiff_z = (self.evidence.stiff - stiff) / self.stiff_sd
        loss_z = (self.evidence.loss[has] - loss[:, has]) / self.loss_sd[has]
        fact_z = self.prior.fact_residuals(draws, self.evidence.common_sd)
        return np.hstack(
            [
                root * _signed_root(stiff_z, ln_tolerant),
                root[has] * _signed_root(loss_z, ln_tolerant),
                _signed_root(fact_z, _ln_fact_density),
                u,
            ]
        )

    def starts(self, count: int) -> Array:
        """Half of them particles spread over the population, half twice as wide as the standard normal."""
        half = min(count // 2, len(self.particles))
        chosen = self.particles[np.linspace(0, len(self.particles) - 1, half).astype(int)]
        wide = np.random.default_rng(len(self.particles)).standard_normal((count - half, self.dimension))
        return np.concatenate([chosen, 2.0 * wide])


def most_probable(
    prior: Prior, evidence: Evidence, posterior: Posterior, *, variant: tuple[int, bool] | None = None, starts: int = 96
) -> MostProbable:
    """The parameters at the maximum of the posterior, with standard errors from the curvature there.

    Parameters
    ----------
    prior, evidence, posterior
        As they went into and came out of the fit.
    variant : tuple of law and skew, optional
        The model; the likeliest when None.
    starts : int
        Points to start from, side by side: the posterior can have several peaks.

    Raises
    ------
    InputError
        The posterior holds no particle of that model.
    """
    objective = Objective(prior, evidence, posterior, variant)
    if not len(objective.particles):
        raise InputError("variant", objective.name, "one that the posterior holds draws of")
    ends, sums = _descended(objective.residuals, objective.starts(starts))
    # The lowest, and the next that differ, to the last digits; roughly found peaks may change places.
    order = np.argsort(sums, kind="stable")
    apart = [k for i, k in enumerate(order) if i == 0 or sums[k] - sums[order[i - 1]] > 0.01]
    runs = [least_squares(objective.residuals, ends[k], scale=1.0) for k in apart[:_PEAKS]]
    best = min(runs, key=lambda run: run.sum_of_squares)
    draw, offsets = (values[0] for values in objective.parameters(best.x[None]))
    used = np.isfinite(draw[:-1])
    slope = derivative(lambda u: objective.parameters(u)[0][:, :-1][:, used], best.x, np.ones(objective.dimension))
    errors = np.sqrt(np.einsum("ij,jk,ik->i", slope, best.covariance, slope))
    names = [name for name, there in zip(COLUMNS[:-1], used, strict=True) if there]
    return MostProbable(
        objective.name, draw, {name: float(e) for name, e in zip(names, errors, strict=True) if e > 0.0}, offsets, best
    )


def _descended(residuals: Residuals, x: Array, rounds: int = 60) -> tuple[Array, Array]:
    """Levenberg-Marquardt from many starts side by side, roughly: points (n, p) and their sums of squares (n,)."""
    n, p = x.shape
    step = 1e-5
    damping = np.ones(n)
    values = residuals(x)
    sums = np.sum(values**2, axis=1)
    moves = step * np.eye(p)
    for _ in range(rounds):
        moved = residuals((x[:, None, :] + moves).reshape(n * p, p)).reshape(n, p, -1)
        slope = (moved - values[:, None, :]) / step
        normal = np.einsum("npi,nqi->npq", slope, slope)
        gradient = np.einsum("npi,ni->np", slope, values)
        normal[:, range(p), range(p)] *= 1.0 + damping[:, None]
        normal[:, range(p), range(p)] += 1e-9
        trial = x - np.linalg.solve(normal, gradient[:, :, None])[:, :, 0]
        with np.errstate(all="ignore"):
            there = residuals(trial)
            lower = np.sum(there**2, axis=1)
        good = lower < sums
        gain = np.max(np.where(good, sums - lower, 0.0))
        x[good], values[good], sums[good] = trial[good], there[good], lower[good]
        damping = np.clip(np.where(good, damping / 4.0, damping * 3.0), 1e-8, 1e8)
        if gain < 1e-7 and (good.any() or damping.min() > 1e6):
            break
    return x, sums


def _ln_fact_density(z: Array) -> Array:
    """A fact is a rule with exceptions: one in ten lies four times as far out."""
    square = z**2
    return np.asarray(np.logaddexp(math.log(0.9) - 0.5 * square, math.log(0.025) - square / 32.0))


def _signed_root(z: Array, ln_density: Callable[[Array], Array]) -> Array:
    """Residual whose square is twice the fall of the log density from its peak."""
    fall = ln_density(np.zeros(1)) - ln_density(z)
    return np.asarray(np.sign(z) * np.sqrt(2.0 * np.maximum(fall, 0.0)))
