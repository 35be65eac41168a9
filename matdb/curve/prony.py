"""A generalised Maxwell (Prony) series of the median curve, for programs that take one."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from matdb.arrays import Array, Complex
from matdb.checks import checked_array
from matdb.curve.band import median
from matdb.curve.curve import Curve
from matdb.errors import FitError
from matdb.fields import PlainRecord
from matdb.material.modulus import maxwell_modulus

REFERENCE_C: Final = 23.0
_LN10: Final = math.log(10.0)
#: Largest relative error of the storage modulus that is aimed at, and how many times it the loss modulus may have.
GOAL: Final = 0.01
_LOSS: Final = 3.0
#: Frequencies that a series is asked at, at every temperature of its table, Hz.
RANGE_HZ: Final = (1.0, 300.0)
#: Those that it is fitted at: from a payload that hangs for ten minutes to beyond every rotor order, ln of Hz.
_LN_HZ: Final = np.linspace(math.log(2e-4), math.log(1e3), 48)
#: Which of them it is asked at.
_ASKED: Final = np.abs(_LN_HZ - np.clip(_LN_HZ, *np.log(RANGE_HZ))) < 0.3
#: What the others weigh.
_BESIDE: Final = 0.3
#: Terms per decade, tried in turn.
_DENSITIES: Final = (2.0, 3.0, 4.5)
#: Terms reach this many decades beyond the fast end, so that it is met too; what is slower than all stays at rest.
_BEYOND_DECADES: Final = 2.0
#: Step of the table of shift factors, K, and how far it reaches beyond what was measured, tried in turn; of a prior
#: beyond -20 to 40 degC.
_STEP_K: Final = 2.5
_BEYOND_K: Final = (20.0, 10.0, 0.0)
_PRIOR_C: Final = (-20.0, 40.0)
#: Rounds in which terms and shifts settle.
_ROUNDS: Final = 6


@dataclass(frozen=True, eq=False)
class Prony(PlainRecord):
    """E(s) = E0 + sum Ei s tau_i / (1 + s tau_i) at 23 degC, s = i 2 pi f a_T.

    Attributes
    ----------
    equilibrium_mpa : float
        E0, MPa.
    moduli_mpa, times_s : ndarray, shape (n,)
        Terms, all positive; times in s, ascending.
    storage_error, loss_error : float
        Largest relative error against the median curve over the range and the table.
    range_hz : tuple of float
        Frequencies that it holds for at every temperature of the table, Hz.
    terms_per_decade : float
        Density that met the goal.
    shift_c, ln_shift : ndarray, shape (m,)
        Temperatures in degrees Celsius that it holds for, and ln a_T relative to 23 degC; linear between them.
    ln_vertical : ndarray, shape (m,)
        ln b_T: the modulus at a temperature is b_T E(i 2 pi f a_T).
    extrapolated : bool
        True for a prior: no reading stands behind it.
    """

    equilibrium_mpa: float
    moduli_mpa: Array
    times_s: Array
    storage_error: float
    loss_error: float
    range_hz: tuple[float, float]
    terms_per_decade: float
    shift_c: Array
    ln_shift: Array
    ln_vertical: Array
    extrapolated: bool

    def modulus(self, temperature_c: ArrayLike, frequency_hz: ArrayLike) -> Complex:
        """Complex modulus in MPa; the shift is interpolated in the table.

        Parameters
        ----------
        temperature_c, frequency_hz : array_like
            Degrees Celsius, inside the table; Hz, inside ``range_hz``. They broadcast.

        Raises
        ------
        InputError
            Outside what the series was fitted to: nothing is known of it there.
        """
        ends = float(self.shift_c[0]), float(self.shift_c[-1])
        t = checked_array("temperature_c", temperature_c, *ends, "degrees Celsius")
        f = checked_array("frequency_hz", frequency_hz, *self.range_hz, "Hz")
        s = 2j * math.pi * f * np.exp(np.interp(t, self.shift_c, self.ln_shift))
        vertical = np.exp(np.interp(t, self.shift_c, self.ln_vertical))
        return np.asarray(vertical * maxwell_modulus(s, self.equilibrium_mpa, self.moduli_mpa, self.times_s))


@dataclass(frozen=True, eq=False)
class SpringTerms(PlainRecord):
    """One part at one temperature as springs and dampers, for simulators: K(s) = K0 + sum Ki s tau_i / (1 + s tau_i).

    A linear chain of springs and dampers with positive terms is stable and passive. Its loss factor is twice the
    damping ratio that is told everywhere else; the decay ratio of a mass that rings freely on it differs from that by
    some per cent, since the stiffness changes while the vibration dies away.

    Attributes
    ----------
    temperature_c : float
        Degrees Celsius.
    static_n_per_mm : float
        K0, N/mm.
    terms_n_per_mm, times_s : ndarray, shape (n,)
        Ki in N/mm and tau_i in s, all above 0.
    tilting_mm2 : float or None
        Times any of them: the tilting stiffness of the part, N mm/rad; None where its form does not tell.
    storage_error, loss_error : float
        Largest relative error against the median complex stiffness over ``range_hz``.
    range_hz : tuple of float
        Hz.
    """

    temperature_c: float
    static_n_per_mm: float
    terms_n_per_mm: Array
    times_s: Array
    tilting_mm2: float | None
    storage_error: float
    loss_error: float
    range_hz: tuple[float, float]

    def stiffness(self, frequency_hz: ArrayLike) -> Complex:
        """Complex stiffness in N/mm at frequencies in Hz. Raises InputError outside ``range_hz``."""
        f = checked_array("frequency_hz", frequency_hz, *self.range_hz, "Hz")
        return maxwell_modulus(2j * math.pi * f, self.static_n_per_mm, self.terms_n_per_mm, self.times_s)

    def state_space(self) -> tuple[Array, Array, Array, Array]:
        """Matrices A, B, C, D in continuous time, from the deflection in mm to the force in N.

        Returns
        -------
        (ndarray, ndarray, ndarray, ndarray)
            Shapes (n, n), (n, 1), (1, n), (1, 1): ``z' = A z + B x``, ``F = C z + D x``; z the dampers' travels.
        """
        rate = 1.0 / self.times_s
        stiff = self.static_n_per_mm + self.terms_n_per_mm.sum()
        return -np.diag(rate), rate[:, None], -self.terms_n_per_mm[None], np.array([[stiff]])


def spring_terms(stiffness: Complex, temperature_c: float, tilting_mm2: float | None) -> SpringTerms:
    """Series of springs and dampers for a part's median complex stiffness, N/mm, at :func:`asked_hz`."""
    found = _fitted(stiffness[None], np.zeros(1), GOAL)
    keep = found.terms[1:] > 0.0
    errors = float(found.storage_error.max()), float(found.loss_error.max())
    terms = float(found.terms[0]), found.terms[1:][keep], found.times[keep]
    return SpringTerms(temperature_c, *terms, tilting_mm2, *errors, RANGE_HZ)


def asked_hz() -> Array:
    """The frequencies that a series is fitted at, Hz, shape (48,)."""
    return np.exp(_LN_HZ)


def prony_series(curve: Curve, *, goal: float | None = None) -> Prony:
    """Fit a generalised Maxwell series with non-negative terms, and its shifts, to the medians of the curve.

    Terms by non-negative least squares [1]_, relative to the size of storage and loss modulus, and the shifts of every
    temperature in turn. The number of terms per decade rises until the goal is met; where it is not, the table ends
    nearer to what was measured. Medians need not be a curve that a material could have: where draws differ much, no
    series meets them closely, and the errors say so. It is asked between 1 and 300 Hz alone, which counts most; E0 and
    the slowest terms hold for a payload that hangs.

    Parameters
    ----------
    curve : Curve
        Fitted, or the prior's.
    goal : float or None
        Largest relative error of the storage modulus that is accepted; the loss modulus may have three times as much.
        None aims at 1 % and takes the best there is.

    Raises
    ------
    FitError
        The goal is out of reach.

    References
    ----------
    .. [1] C. L. Lawson, R. J. Hanson, Solving Least Squares Problems, 1974, chapter 23 (from memory).
    """
    wanted, tried = GOAL if goal is None else goal, []
    low_c, high_c = curve.measured_c or _PRIOR_C
    for beyond in _BEYOND_K:
        ends = min(low_c - beyond, REFERENCE_C), max(high_c + beyond, REFERENCE_C)
        steps = np.arange(math.floor(ends[0] / _STEP_K), math.ceil(ends[1] / _STEP_K) + 1, dtype=float)
        t = np.asarray(_STEP_K * steps)
        at, hertz = (each.ravel() for each in np.meshgrid(t, asked_hz(), indexing="ij"))
        known = medians(curve.ln_modulus(at, np.log(2.0 * math.pi * hertz))).reshape(t.size, -1)
        tried.append((_fitted(known, curve.median_ln_shift(t), wanted), t))
        if tried[-1][0].worst <= wanted:
            break
    least = min(found.worst for found, _ in tried)
    # The widest table that is not much worse than the best.
    found, t = next(each for each in tried if each[0].worst <= max(wanted, 1.1 * least))
    if goal is not None and found.worst > goal:
        raise FitError(
            curve.material,
            f"no generalised Maxwell series meets the curve to {100.0 * goal:g} % (best {100.0 * found.worst:.2g} %); "
            "allow a larger error",
        )
    return _named(found, t, curve)


def medians(ln_values: Complex) -> Complex:
    """Medians of storage and of loss factor over draws, first axis, from ln of complex values."""
    storage = median(np.exp(ln_values.real) * np.cos(ln_values.imag))
    return np.asarray(storage * (1.0 + 1j * median(np.tan(ln_values.imag))))


def _named(found: _Fitted, t: Array, curve: Curve) -> Prony:
    """The series at 23 degC."""
    keep = found.terms[1:] > 0.0
    ln_shift, ln_vertical = (float(np.interp(REFERENCE_C, t, each)) for each in (found.ln_shift, found.ln_vertical))
    b = math.exp(ln_vertical)
    return Prony(
        equilibrium_mpa=float(found.terms[0] * b),
        moduli_mpa=found.terms[1:][keep] * b,
        times_s=found.times[keep] * math.exp(ln_shift),
        storage_error=float(found.storage_error.max()),
        loss_error=float(found.loss_error.max()),
        range_hz=RANGE_HZ,
        terms_per_decade=found.density,
        shift_c=t,
        ln_shift=found.ln_shift - ln_shift,
        ln_vertical=found.ln_vertical - ln_vertical,
        extrapolated=curve.measured_ln_hz is None,
    )


class _Fitted(NamedTuple):
    """Terms (E0 first) and times of a series, ln of its shifts and largest relative errors by temperature, density."""

    terms: Array
    times: Array
    ln_shift: Array
    ln_vertical: Array
    storage_error: Array
    loss_error: Array
    density: float

    @property
    def off(self) -> Array:
        """By temperature the storage error, or what the loss error allows for where that is more."""
        return np.maximum(self.storage_error, self.loss_error / _LOSS)

    @property
    def worst(self) -> float:
        """The largest of them."""
        return float(self.off.max())


def _fitted(modulus: Complex, ln_shift: Array, goal: float) -> _Fitted:
    """The sparsest series that meets the goal, or the best there is, for moduli of shape (temperatures, 48)."""
    tried: list[_Fitted] = []
    for density in _DENSITIES:
        tried.append(_settled(modulus, ln_shift, density))
        if tried[-1].worst <= goal:
            break
    return min(tried, key=lambda fitted: fitted.worst)


def _settled(modulus: Complex, ln_shift: Array, density: float) -> _Fitted:
    from scipy.optimize import nnls

    storage, loss = modulus.real, modulus.imag
    x, v = ln_shift.copy(), np.zeros(len(modulus))
    low, high = (end(x) + ln_f for end, ln_f in ((np.min, _LN_HZ[0]), (np.max, _LN_HZ[-1])))
    high += _BEYOND_DECADES * _LN10
    times = np.exp(-np.linspace(high, low, math.ceil((high - low) / _LN10 * density) + 1)) / (2.0 * math.pi)

    def shares(x: Array) -> Complex:
        s = 2j * math.pi * np.exp(_LN_HZ + x[:, None])[..., None] * times
        return np.asarray(s / (1.0 + s))

    def apart(value: Complex) -> Array:
        """Relative to storage and loss, the loss less strictly, side by side."""
        return np.asarray(weight * np.concatenate([value.real / storage, value.imag / loss / _LOSS], axis=1))

    weight = np.tile(np.where(_ASKED, 1.0, _BESIDE), 2)
    goal_row = weight * np.concatenate([np.ones(storage.shape), np.full(loss.shape, 1.0 / _LOSS)], axis=1)
    terms = np.zeros(times.size + 1)
    for round_ in range(_ROUNDS if len(modulus) > 1 else 1):
        each = np.exp(v)[:, None, None] * np.concatenate([np.ones((*storage.shape, 1)), shares(x)], axis=2)
        columns = np.concatenate([each.real / storage[..., None], each.imag / loss[..., None] / _LOSS], axis=1)
        columns = (columns * weight[:, None]).reshape(-1, terms.size)
        scale = np.linalg.norm(columns, axis=0)
        terms = nnls(columns / scale, goal_row.ravel(), maxiter=100 * terms.size)[0] / scale
        if round_ + 1 < _ROUNDS and len(modulus) > 1:
            # Gauss and Newton's step of each temperature's own two shifts.
            now, ahead = (np.exp(v)[:, None] * (terms[0] + shares(x + more) @ terms[1:]) for more in (0.0, 1e-4))
            slopes = np.stack([apart((ahead - now) / 1e-4), apart(now)], axis=2)
            left = goal_row - apart(now)
            square = np.swapaxes(slopes, 1, 2) @ slopes + 1e-9 * np.eye(2)
            step = np.linalg.solve(square, (np.swapaxes(slopes, 1, 2) @ left[..., None]))[..., 0]
            x, v = x + np.clip(step[:, 0], -1.0, 1.0), v + np.clip(step[:, 1], -0.3, 0.3)
    now = np.exp(v)[:, None] * (terms[0] + shares(x) @ terms[1:])
    pairs = (now.real, storage), (now.imag, loss)
    of_storage, of_loss = (np.abs(a / b - 1.0)[:, _ASKED].max(axis=1) for a, b in pairs)
    return _Fitted(terms, times, x, v, of_storage, of_loss, density)
