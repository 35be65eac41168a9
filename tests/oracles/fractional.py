"""The five-parameter fractional model in complex arithmetic, written apart from the real form of matdb."""

from typing import Any

import numpy as np

from matdb.arrays import Complex


def ln_fractional_modulus(
    ln_s_tau: Complex, ln_rubbery: Any, ln_glassy: Any, alpha: Any, gamma: Any
) -> tuple[Complex, Any]:
    """Ln E(s) of the five-parameter fractional model, and the slope d ln E / d ln s.

    E(s) = Einf - (Einf - E0) / (1 + (s tau a_T)^alpha)^gamma [1]_, [2]_; it is causal: storage and loss obey
    Kramers-Kronig.

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
