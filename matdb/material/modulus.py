"""The complex modulus of a viscoelastic solid over reduced frequency."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike

from matdb.arrays import Array, Complex

#: Beyond this ln of |(s tau)^alpha|, by the bytes of a number, the modulus has its glassy limit; its square still is
#: one.
_GLASSY_LN: Final = {4: 43.0, 8: 350.0}


def polar_modulus(
    ln_size: Array, angle: Any, ln_rubbery: Any, ln_glassy: Any, alpha: Any, gamma: Any, *, slope: bool = True
) -> tuple[Array, ...]:
    """E(s) of the five-parameter fractional model by ln of its size and its angle, and the slope d ln E / d ln s.

    E(s) = Einf - (Einf - E0) / (1 + (s tau a_T)^alpha)^gamma [1]_, [2]_; it is causal: storage and loss obey
    Kramers-Kronig. In real arithmetic, since complex logarithms and exponentials cost ten times as much; angles are
    written with the tangent of their half, whose cut is at pi, where no modulus is. Single precision stays single.

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
    return polar_at_angle(at_angle(angle, ln_rubbery, ln_glassy, alpha, gamma), ln_size, slope=slope)


def at_angle(angle: Any, ln_rubbery: Any, ln_glassy: Any, alpha: Any, gamma: Any) -> tuple[Any, ...]:
    """What :func:`polar_modulus` needs of all but the size, to be worked out once for many sizes."""
    turn, lower = alpha * angle, np.exp(ln_rubbery)
    cos, sin, _ = _cos_sin(0.5 * turn)
    return alpha, gamma, -0.5 * gamma, turn, cos, 2.0 * cos, sin, lower, np.exp(ln_glassy) - lower


def polar_at_angle(steady: tuple[Any, ...], ln_size: Array, *, slope: bool) -> tuple[Array, ...]:
    """:func:`polar_modulus` by what :func:`at_angle` gives."""
    alpha, gamma, power, turn, cos, twice, sin, lower, way = steady
    ln_z = np.asarray(alpha * ln_size)
    z = np.exp(np.minimum(ln_z, _GLASSY_LN[ln_z.itemsize]))
    square = z * (z + twice)
    one_size = np.sqrt(1.0 + square)
    half_angle = np.arctan(z * sin / (one_size + 1.0 + z * cos))
    # The share of the way up to the glassy limit that is left, less 1: as a difference it would lose what counts far
    # below that limit.
    less = np.expm1(power * np.log1p(square))
    cos, sin, versed = _cos_sin(gamma * half_angle)
    real, imaginary = lower + way * (versed - less * cos), way * (1.0 + less) * sin
    size = np.sqrt(real * real + imaginary * imaginary)
    found = 2.0 * np.arctan(imaginary / (size + real))
    if not slope:
        return np.log(size), found
    rise = (alpha * gamma) * way * (1.0 + less) * z / (one_size * size)
    cos, sin, _ = _cos_sin(0.5 * (turn - found) - (1.0 + gamma) * half_angle)
    return np.log(size), found, rise * cos, rise * sin


def _cos_sin(half: Array) -> tuple[Array, Array, Array]:
    """Cosine and sine of angles within pi of zero, by their halves, and what the cosine wants of 1."""
    tangent = np.tan(half)
    square = tangent * tangent
    share = 2.0 / (1.0 + square)
    return share - 1.0, tangent * share, square * share


def as_complex(real: Array, imaginary: Array) -> Complex:
    """Numbers of two parts of one shape."""
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
