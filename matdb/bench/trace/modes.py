"""Damped sinusoids in noise: variable projection over several stretches and channels that share their modes.

The model of every stretch and channel is a sum of damped sinusoids exp(s t), s = -alpha + i omega, the same s
everywhere, amplitudes and phases free, plus a slow polynomial. Amplitudes and polynomial are linear and projected
out, so that only the s are searched for.

References
----------
.. [1] G. Golub, V. Pereyra, Separable nonlinear least squares: the variable projection method and its
       applications, Inverse Problems 19 (2003) R1 (from memory).
.. [2] L. Kaufman, A variable projection method for solving separable nonlinear least squares problems,
       BIT 15 (1975) 49 (from memory): the simpler Jacobian used here.

"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from matdb.arrays import Array, Complex

#: Bounds of the damping ratio that the search keeps to.
LEAST_DAMPING, MOST_DAMPING = 2e-4, 0.6


@dataclass
class Block:
    """One stretch of record after a tap.

    Attributes
    ----------
    time : array, shape (n,)
        Seconds since the stretch's start.
    signal : array, shape (n, channels)
        Readings in units of each channel's noise.
    tap : int
        Which tap it belongs to.
    channels : tuple of int
        Which channels of the record its columns are.
    thin : int
        How many readings each row is the sum of, over the root of their number.
    weight : array, shape (n,), or None
        Root of the information in each row against that of a full one; the signal is multiplied by it already.
    count : float
        Expected sum of squares of a channel's noise, in units of its variance; n, but for readings at the limit.

    """

    time: Array
    signal: Array
    tap: int
    channels: tuple[int, ...]
    thin: int = 1
    weight: Array | None = None
    count: float = 0.0
    slow: Array = field(init=False)
    clean: Array = field(init=False)

    def __post_init__(self) -> None:
        span = self.time[-1] - self.time[0]
        x = 2.0 * (self.time - self.time[0]) / span - 1.0 if span > 0 else np.zeros_like(self.time)
        degree = max(0, min(1 + int(np.ceil(1.6 * span)), 16, self.time.size // 4 - 1))
        self.slow = np.linalg.qr(self.weighted(np.polynomial.legendre.legvander(x, degree)))[0]
        self.count = self.count or float(self.time.size)
        self.clean = self.without_slow(self.signal)

    def weighted(self, columns: Array) -> Array:
        """The columns with each row multiplied by its weight."""
        return columns if self.weight is None else columns * self.weight[:, None]

    def waves(self, poles: Complex) -> Array:
        """Weighted cosine and sine columns of every pole, shape (n, 2 modes)."""
        return self.weighted(basis(self.time, poles))

    def level(self, amplitude: Complex, poles: Complex) -> Array:
        """The slow part along the stretch, in the block's units."""
        rest = self.signal - self.waves(poles) @ stacked(amplitude)
        slow: Array = self.slow @ (self.slow.T @ rest)
        return slow if self.weight is None else slow / self.weight[:, None]

    def along(self, since: Array, amplitude: Complex, poles: Complex) -> Array:
        """What a fit says of single readings at seconds since the start, in units of the noise, shape (n, channels)."""
        slow = (np.interp(since, self.time, each) for each in self.level(amplitude, poles).T)
        told: Array = (basis(since, poles) @ stacked(amplitude) + np.column_stack(list(slow))) / np.sqrt(self.thin)
        return told

    def without_slow(self, columns: Array) -> Array:
        """The columns with the slow polynomial projected out."""
        rest: Array = columns - self.slow @ (self.slow.T @ columns)
        return rest


class Stretches(list[Block]):
    """The stretches of a record, whose modes are the same everywhere."""

    def after(self, tap: int) -> Stretches:
        """Those after one tap."""
        return Stretches(b for b in self if b.tap == tap)

    @property
    def columns(self) -> int:
        """How many amplitudes each mode has: one a stretch and channel."""
        return sum(b.signal.shape[1] for b in self)

    @property
    def energy(self) -> float:
        """Sum of squares of the stretches without their slow part."""
        return sum(float(np.sum(b.clean**2)) for b in self)

    @property
    def expected(self) -> float:
        """Sum of squares that noise alone gives."""
        return float(sum(b.count * b.signal.shape[1] for b in self))

    def at(self, poles: Complex) -> Solution:
        """Cost, amplitudes, gradient and Gauss-Newton matrix at some poles."""
        m = poles.size
        matrix, gradient, cost, count = np.zeros((2 * m, 2 * m)), np.zeros(2 * m), 0.0, 0.0
        amplitudes, residuals = [], []
        for block in self:
            columns = block.waves(poles)
            q, r = np.linalg.qr(block.without_slow(columns))
            size = np.abs(np.diag(r))
            r = r + np.diag(np.where(size < 1e-9 * size.max(initial=1e-300), 1e-9 * size.max(initial=1e-300), 0.0))
            share = q.T @ block.clean
            rest = block.clean - q @ share
            c = np.linalg.solve(r, share)
            # d/d alpha = -t (a cos + b sin'), d/d omega = t d/dphase, where sin' = -exp(-alpha t) sin(omega t)
            cos, sin, a, b = columns[:, 0::2, None], columns[:, 1::2, None], c[0::2], c[1::2]
            slopes = np.stack([cos * a + sin * b, cos * b - sin * a], axis=2)
            flat = block.without_slow((block.time[:, None, None, None] * slopes).reshape(block.time.size, -1))
            flat -= q @ (q.T @ flat)
            j = flat.reshape(block.time.size, 2 * m, -1).transpose(1, 0, 2).reshape(2 * m, -1)
            matrix += j @ j.T
            gradient += j @ rest.ravel()
            cost += float(np.sum(rest * rest))
            count += rest.shape[1] * (block.count - q.shape[1] - block.slow.shape[1])
            amplitudes.append(c[0::2] + 1j * c[1::2])
            residuals.append(rest)
        return Solution(self, poles, cost, count - 2 * m, matrix, gradient, amplitudes, residuals)

    def solve(self, start: Complex, *, steps: int = 40, close: float = 1e-4) -> Solution:
        """Least squares over the poles by damped Gauss-Newton steps.

        Parameters
        ----------
        start : array of complex
            First guess of the poles.
        steps : int
            Most steps taken.
        close : float
            Stop when a step lowers the cost by less than this many times the noise variance.

        Returns
        -------
        Solution
            The best poles found; poles stay within the bounds of the damping ratio.

        Notes
        -----
        Levenberg-Marquardt on the projected residual with Kaufman's Jacobian [2]_.

        """
        best, damping = self.at(_bounded(start)), 1e-3
        for _ in range(steps):
            scale = np.diag(np.maximum(np.diag(best.information), 1e-12))
            move = np.linalg.solve(best.information + damping * scale, -best.gradient)
            # No step moves a pole by more than a fifth of its distance from the origin.
            reach = np.max(np.abs(move[0::2] + 1j * move[1::2]) / np.abs(best.poles))
            move *= min(1.0, 0.2 / max(reach, 1e-300))
            other = self.at(_bounded(best.poles - move[0::2] + 1j * move[1::2]))
            if other.cost < best.cost:
                gain, best = best.cost - other.cost, other
                damping = max(0.2 * damping, 1e-9)
                if gain < close * best.cost / max(best.freedom, 1) + 1e-14 * best.cost:
                    break
            else:
                damping *= 6.0
                if damping > 1e8:
                    break
        return best

    def gain(self, grid: Complex, known: Complex) -> Array:
        """How much the sum of squares falls when each pole of the grid joins the known ones.

        Parameters
        ----------
        grid : array of complex, shape (g,)
            Candidates.
        known : array of complex
            Complex that are in the model already (kept where they are).

        Returns
        -------
        array, shape (g,)
            Fall of the cost, in units of the noise squared.

        """
        gain = np.zeros(grid.size)
        for block in self:
            rest, q = block.clean, None
            if known.size:
                q = np.linalg.qr(block.without_slow(block.waves(known)))[0]
                rest = rest - q @ (q.T @ rest)
            for part in np.array_split(np.arange(grid.size), max(1, grid.size * block.time.size // 400_000)):
                columns = block.without_slow(block.waves(grid[part]))
                if q is not None:
                    columns -= q @ (q.T @ columns)
                a, b = columns[:, 0::2], columns[:, 1::2]
                aa, bb, ab = np.sum(a * a, 0), np.sum(b * b, 0), np.sum(a * b, 0)
                ya, yb = a.T @ rest, b.T @ rest
                det = np.maximum(aa * bb - ab * ab, 1e-12 * aa * bb + 1e-300)
                top = bb[:, None] * ya**2 - 2.0 * ab[:, None] * ya * yb + aa[:, None] * yb**2
                gain[part] += np.sum(top, axis=1) / det
        return gain


@dataclass
class Moving:
    """A mode whose pole moves with its amplitude: s = pole + shift u, u the amplitude over the largest.

    Attributes
    ----------
    pole, shift : complex
        1/s and rad/s.
    covariance : array, shape (4, 4)
        Of the real part (with its sign turned), the imaginary part of the pole, and of the shift likewise.
    cost, freedom : float
        As in :class:`Solution`.

    """

    pole: complex
    shift: complex
    covariance: Array
    cost: float
    freedom: float


@dataclass
class Solution:
    """Complex with their covariance and the linear amplitudes.

    Attributes
    ----------
    blocks : Stretches
        Those that were fitted.
    poles : array of complex
        s = -alpha + i omega of each mode, 1/s and rad/s.
    cost : float
        Sum of squared residuals in units of the noise.
    freedom : float
        Readings less fitted values.
    information : array, shape (2 modes, 2 modes)
        Gauss-Newton matrix in (alpha, omega) of each mode, for unit noise.
    gradient : array, shape (2 modes,)
        Of half the cost over the same, its sign turned.
    amplitudes : list of array
        Per block, shape (modes, channels): complex amplitude at the block's start.
    residuals : list of array
        Per block, shape (n, channels).

    """

    blocks: Stretches
    poles: Complex
    cost: float
    freedom: float
    information: Array
    gradient: Array
    amplitudes: list[Complex]
    residuals: list[Array]

    @property
    def pieces(self) -> Iterator[tuple[Block, Complex, Array]]:
        """Each stretch with its amplitudes and residuals."""
        return zip(self.blocks, self.amplitudes, self.residuals, strict=True)

    @property
    def covariance(self) -> Array:
        """Covariance of (alpha, omega) of each mode, with the noise as found."""
        scale = np.sqrt(np.maximum(np.diag(self.information), 1e-300))
        matrix = self.information / np.outer(scale, scale)
        inverse: Array = np.linalg.pinv(matrix, rcond=1e-12, hermitian=True) / np.outer(scale, scale)
        return inverse * self.cost / max(self.freedom, 1)

    def energies(self, payload: int) -> Array:
        """Energy of each mode over all payload channels, in units of the noise."""
        total = np.zeros(self.poles.size)
        for b, a, _ in self.pieces:
            mine = [i for i, c in enumerate(b.channels) if c < payload]
            total += np.sum(np.abs(a[:, mine]) ** 2, axis=1) / (-4.0 * self.poles.real)
        return total

    @property
    def loudest(self) -> float:
        """Energy of the decay after the loudest tap over all modes and channels, in units of the noise."""
        total = defaultdict[int, float](float)
        for b, a, _ in self.pieces:
            total[b.tap] += float(np.sum((b.waves(self.poles) @ stacked(a)) ** 2))
        return max(total.values(), default=0.0)

    def moving(self, payload: int) -> Moving | None:
        """Fit the first mode with a pole that moves in proportion to its amplitude; further modes stay where they are.

        Parameters
        ----------
        payload : int
            Number of channels (the first ones) whose amplitude counts.

        Returns
        -------
        Moving or None
            The fit, None when it does not settle near the poles given.

        Notes
        -----
        With u = u0 exp(-alpha t) the phase is s t + shift u0 (1 - exp(-alpha t)) / alpha. Gauss-Newton with numerical
        derivatives; the amplitudes u0 of the stretches come from the fit before.

        """
        blocks, poles = self.blocks, self.poles
        height = defaultdict[int, float](float)
        for b, a, _ in self.pieces:
            mine = [i for i, c in enumerate(b.channels) if c < payload]
            if mine:
                height[b.tap] = max(height[b.tap], float(np.max(np.abs(a[0, mine]))) / np.sqrt(b.thin))
        largest = max(height.values(), default=0.0)
        if largest <= 0.0:
            return None

        def rest(values: Array) -> Array:
            out = []
            alpha, omega, shift = values[0], values[1], complex(-values[2], values[3])
            for b in blocks:
                u = height.get(b.tap, largest) / largest
                grown = (1.0 - np.exp(-alpha * b.time)) / alpha
                wave = np.exp(complex(-alpha, omega) * b.time + shift * u * grown)
                columns = np.column_stack([b.weighted(np.column_stack([wave.real, wave.imag])), b.waves(poles[1:])])
                q = np.linalg.qr(b.without_slow(columns))[0]
                out.append((b.clean - q @ (q.T @ b.clean)).ravel())
            return np.concatenate(out)

        values = np.array([-poles[0].real, poles[0].imag, 0.0, 0.0])
        now = rest(values)
        cost, damping = float(now @ now), 1e-3
        step = 1e-4 * abs(poles[0]) * np.ones(4)
        matrix = np.eye(4)
        for _ in range(15):
            jacobian = np.column_stack([(rest(values + d) - now) / d.sum() for d in np.diag(step)])
            matrix = jacobian.T @ jacobian
            for _ in range(6):
                move = np.linalg.lstsq(matrix + damping * np.diag(np.diag(matrix)), -jacobian.T @ now, rcond=None)[0]
                tried = values + move
                if tried[0] > 1e-4 * tried[1] and np.max(np.abs(move)) < 0.3 * abs(poles[0]):
                    other = rest(tried)
                    if float(other @ other) < cost:
                        break
                damping *= 8.0
            else:
                break
            gain = cost - float(other @ other)
            values, now, cost, damping = tried, other, float(other @ other), max(0.2 * damping, 1e-9)
            if gain < 1e-3 * cost / max(self.freedom, 1):
                break
        if abs(values[1] / poles[0].imag - 1.0) > 0.4 or abs(complex(values[2], values[3])) > 0.6 * abs(poles[0]):
            return None
        inverse: Array = np.asarray(np.linalg.pinv(matrix, hermitian=True), dtype=float)
        covariance = inverse * (cost / max(self.freedom - 2.0, 1.0))
        return Moving(
            complex(-values[0], values[1]), complex(-values[2], values[3]), covariance, cost, self.freedom - 2
        )


def basis(time: Array, poles: Complex) -> Array:
    """Cosine and sine columns of every pole, shape (n, 2 modes)."""
    wave = np.exp(time[:, None] * poles)
    return np.stack([wave.real, -wave.imag], axis=2).reshape(time.size, -1)


def _bounded(poles: Complex) -> Complex:
    omega = np.maximum(np.abs(poles.imag), 1e-3)
    ratio = np.clip(-poles.real / omega, LEAST_DAMPING, MOST_DAMPING)
    return np.asarray(-ratio * omega + 1j * omega)


def pole_grid(low_hz: float, high_hz: float) -> Complex:
    """Complex that cover a band of frequencies, spaced by their own width, at four damping ratios."""
    ratios = (0.01, 0.03, 0.08, 0.2)
    counts = (max(int(np.ceil(np.log(high_hz / low_hz) / zeta)), 2) for zeta in ratios)
    bands = (2.0 * np.pi * np.geomspace(low_hz, high_hz, count) for count in counts)
    return np.concatenate([omega * (1j - zeta) for zeta, omega in zip(ratios, bands, strict=True)])


def stacked(amplitude: Complex) -> Array:
    """Complex amplitudes as the coefficients of the cosine and sine columns."""
    return np.stack([amplitude.real, amplitude.imag], axis=1).reshape(-1, amplitude.shape[1])
