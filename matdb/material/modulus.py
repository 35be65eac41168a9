"""The complex modulus of a viscoelastic solid over reduced frequency."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike

from matdb.arrays import Array, Complex

#: Beyond this ln of |(s tau)^alpha| the modulus has its glassy limit to all digits; its square still is a number.
_GLASSY_LN: Final = 350.0


def polar_modulus(
    ln_size: Array, angle: Any, ln_rubbery: Any, ln_glassy: Any, alpha: Any, gamma: Any, *, slope: bool = True
) -> tuple[Array, ...]:
    """E(s) of the five-parameter fractional model by ln of its size and its angle, and the slope d ln E / d ln s.

    E(s) = Einf - (Einf - E0) / (1 + (s tau a_T)^alpha)^gamma [1]_, [2]_; it is causal: storage and loss obey
    Kramers-Kronig. In real arithmetic, since complex logarithms and exponentials cost ten times as much; angles are
    written with the tangent of their half, whose cut is at pi, where no modulus is.

    Parameters
    ----------
    ln_size, angle : array_like
        Of s tau a_T, s the Laplace variable in 1/s: ln of its size and its angle in rad, 0 to pi.
    ln_rubbery, ln_glassy : array_like
        ln of the limits E0 and Einf in MPa, E0 below Einf.
    alpha, gamma : array_like
        Width and skew, above 0 and at most 1. ``gamma`` = 1 is the four-parameter fractional Zener model [1]_.
    slope : bool
        False skips the slope.

    Returns
    -------
    two or four ndarrays
        Ln of the size of E in MPa and its angle in rad; real and imaginary part of the slope.

    References
    ----------
    .. [1] T. Pritz, J. Sound Vib. 195 (1996) 103.
    .. [2] S. Havriliak, S. Negami, Polymer 8 (1967) 161.
    """
    turn = alpha * angle
    cos, sin = _cos_sin(turn)
    z = np.exp(np.minimum(alpha * ln_size, _GLASSY_LN))
    one, across = 1.0 + z * cos, z * sin
    one_size = np.sqrt(one * one + across * across)
    one_angle = 2.0 * np.arctan(across / (one_size + one))
    upper = np.exp(ln_glassy)
    drop = (upper - np.exp(ln_rubbery)) * np.exp(-gamma * np.log(one_size))
    cos, sin = _cos_sin(gamma * one_angle)
    real, imaginary = upper - drop * cos, drop * sin
    size = np.sqrt(real * real + imaginary * imaginary)
    found = 2.0 * np.arctan(imaginary / (size + real))
    if not slope:
        return np.log(size), found
    rise = drop * (alpha * gamma) * z / (one_size * size)
    cos, sin = _cos_sin(turn - (1.0 + gamma) * one_angle - found)
    return np.log(size), found, rise * cos, rise * sin


def ln_steady_modulus(
    ln_omega_tau: Array, ln_rubbery: Any, ln_glassy: Any, alpha: Any, gamma: Any, *, slope: bool = True
) -> tuple[Complex, Any]:
    """Ln of the complex modulus of :func:`polar_modulus` at a steady vibration, s = i omega, and its slope.

    Parameters
    ----------
    ln_omega_tau : ndarray
        ln(omega) + ln(tau a_T).
    ln_rubbery, ln_glassy, alpha, gamma
        As :func:`polar_modulus`.
    slope : bool
        False skips the slope, and None comes back for it.
    """
    size, angle, *rise = polar_modulus(ln_omega_tau, 0.5 * np.pi, ln_rubbery, ln_glassy, alpha, gamma, slope=slope)
    return _complex(size, angle), _complex(*rise) if slope else None


def _cos_sin(angle: Array) -> tuple[Array, Array]:
    """Cosine and sine of angles within pi of zero."""
    half = np.tan(0.5 * angle)
    share = 1.0 / (1.0 + half * half)
    return (1.0 - half * half) * share, 2.0 * half * share


def _complex(real: Array, imaginary: Array) -> Complex:
    out = np.empty(real.shape, dtype=complex)
    out.real, out.imag = real, imaginary
    return out


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
