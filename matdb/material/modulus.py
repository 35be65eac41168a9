"""The complex modulus of a viscoelastic solid over reduced frequency."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from matdb.arrays import Array, Complex


def ln_fractional_modulus(
    ln_s_tau: Complex, ln_rubbery: Any, ln_glassy: Any, alpha: Any, gamma: Any
) -> tuple[Complex, Any]:
    """Ln E(s) of the five-parameter fractional model, and the slope d ln E / d ln s.

    E(s) = Einf - (Einf - E0) / (1 + (s tau a_T)^alpha)^gamma [1]_, [2]_; it is causal: storage and loss obey
    Kramers-Kronig. Two complex exponentials and two logarithms an element.

    Parameters
    ----------
    ln_s_tau : ndarray, complex
        ln(s) + ln(tau a_T), s the Laplace variable in 1/s.
    ln_rubbery, ln_glassy : array_like
        ln of the limits E0 and Einf in MPa, E0 below Einf.
    alpha, gamma : array_like
        Width and skew, above 0 and at most 1. ``gamma`` = 1 is the four-parameter fractional Zener model [1]_.

    References
    ----------
    .. [1] T. Pritz, J. Sound Vib. 195 (1996) 103.
    .. [2] S. Havriliak, S. Negami, Polymer 8 (1967) 161.
    """
    z = np.exp(alpha * ln_s_tau)
    lower = np.exp(ln_rubbery)
    upper = np.exp(ln_glassy)
    one = 1.0 + z
    drop = (upper - lower) * np.exp(-gamma * np.log(one))
    modulus = upper - drop
    ln_modulus = np.log(modulus)
    return ln_modulus, drop * (alpha * gamma) * z / (one * modulus)


def ln_steady_modulus(
    ln_omega_tau: Array, ln_rubbery: Any, ln_glassy: Any, alpha: Any, gamma: Any, *, slope: bool = True
) -> tuple[Complex, Any]:
    """As :func:`ln_fractional_modulus` for a steady vibration, s = i omega, in real arithmetic and three times as fast.

    With z = (i omega tau)^alpha the angle of z is the same at every frequency, and |1 + z| is written with the smaller
    of |z| and 1/|z|, so that nothing overflows.

    Parameters
    ----------
    ln_omega_tau : ndarray
        ln(omega) + ln(tau a_T).
    ln_rubbery, ln_glassy, alpha, gamma
        As :func:`ln_fractional_modulus`.
    slope : bool
        False skips the slope, and None comes back for it.
    """
    angle = 0.5 * np.pi * np.asarray(alpha)
    c, s = np.cos(angle), np.sin(angle)
    ln_z = alpha * ln_omega_tau
    large = ln_z > 0.0
    small = np.exp(-np.abs(ln_z))
    ln_one = np.where(large, ln_z, 0.0) + 0.5 * np.log1p(small * (small + 2.0 * c))
    turn = np.arctan2(np.where(large, s, s * small), np.where(large, small + c, 1.0 + c * small))
    upper = np.exp(ln_glassy)
    drop = (upper - np.exp(ln_rubbery)) * np.exp(-gamma * ln_one)
    real, imaginary = upper - drop * np.cos(gamma * turn), drop * np.sin(gamma * turn)
    out = np.empty(real.shape, dtype=complex)
    out.real = 0.5 * np.log(real * real + imaginary * imaginary)
    out.imag = np.arctan2(imaginary, real)
    if not slope:
        return out, None
    size = drop * (alpha * gamma) * np.exp(ln_z - ln_one - out.real)
    return out, size * np.exp(1j * (angle - (1.0 + gamma) * turn - out.imag))


def maxwell_modulus(s: ArrayLike, rubbery_mpa: float, moduli_mpa: ArrayLike, times_s: ArrayLike) -> Complex:
    """Generalised Maxwell (Prony) modulus E(s) = E0 + sum Ei s tau_i / (1 + s tau_i).

    Parameters
    ----------
    s : array_like, complex
        Laplace variable in 1/s, any shape.
    rubbery_mpa : float
        E0 in MPa.
    moduli_mpa, times_s : array_like, shape (n,)
        Terms in MPa and relaxation times in s.
    """
    x = np.asarray(s, dtype=complex)[..., None] * np.asarray(times_s)
    return np.asarray(rubbery_mpa + np.sum(np.asarray(moduli_mpa) * x / (1.0 + x), axis=-1))
