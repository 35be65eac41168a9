"""Closed forms of part stiffness per unit Young's modulus: the smooth trend and the fallback of the tables.

All are for small deformation of an incompressible body (E = 3 G) between rigid faces, and dimensionless
unless said otherwise. Constants marked † were fitted to converged finite elements; the rest are from the literature:

1. A. N. Gent, P. B. Lindley, Proc. Inst. Mech. Eng. 173 (1959) 111: bonded disc (from memory).
2. M. C. Constantinou, A. Kartoum, J. M. Kelly, Eng. Struct. 14 (1992) 143: hollow bonded pad (from memory).
3. G. R. Cowper, J. Appl. Mech. 33 (1966) 335: shear coefficient (from memory).
4. J. E. Adkins, A. N. Gent, Br. J. Appl. Phys. 5 (1954) 354: bush, radial (from memory).
5. M. S. Chalhoub, J. M. Kelly, Int. J. Solids Struct. 26 (1990) 743: finite bulk modulus (from memory).
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "bulk_softened",
    "bush_axial",
    "bush_radial",
    "bush_torsion",
    "disc_axial",
    "hole_factor",
    "ring_axial",
    "sideways",
    "squeeze_force",
    "squeeze_tangent",
    "strut_axial",
]

Array = NDArray[np.float64]


def disc_axial(shape: Any) -> Any:
    """Apparent over true Young's modulus of a bonded solid disc.

    ``1 + 2 S² + 0.157 (1 − exp(−5.8 S)) − 0.2 S`` †, Gent and Lindley's form [1] with its remainder fitted.

    Parameters
    ----------
    shape : array_like
        Shape factor S = D / (4 h), 0.1 to 6 (±0.25 %).
    """
    s = np.asarray(shape, dtype=float)
    return 1.0 + 2.0 * s**2 + 0.157 * (1.0 - np.exp(-5.8 * s)) - 0.2 * s


def hole_factor(hole: Any) -> Any:
    """Factor on S² for a ring, ``(1+η²)/(1−η)² − (1+η)/[(1−η) ln(1/η)]`` [2].

    It is 1 without a hole and 2/3 for a thin ring.

    Parameters
    ----------
    hole : array_like
        Diameter ratio η = inner / outer, 0 to below 1.
    """
    eta = np.asarray(hole, dtype=float)
    safe = np.maximum(eta, 1e-300)
    thin = 1.0 - safe
    near_one = thin < 1e-3  # the two terms cancel there
    guarded = np.where(near_one, 0.5, safe)
    value = (1.0 + guarded**2) / (1.0 - guarded) ** 2 + (1.0 + guarded) / ((1.0 - guarded) * np.log(guarded))
    return np.where(near_one, 2.0 / 3.0, np.where(eta <= 0.0, 1.0, value))


def ring_axial(shape: Any, hole: Any) -> Any:
    """Apparent over true Young's modulus of a bonded ring.

    ``4/3 + 2 F S²`` [2], for low rings the smaller of that and ``1/(1−u)``, ``u = 0.61 S √[(1+η)/(1−η)]`` †.

    Parameters
    ----------
    shape : array_like
        Shape factor S = (Do − Di) / (4 h), 0.1 to 6.
    hole : array_like
        Diameter ratio η, 0.2 to 0.85 (−7…+3 %).
    """
    s, eta = np.asarray(shape, dtype=float), np.asarray(hole, dtype=float)
    thin = 4.0 / 3.0 + 2.0 * hole_factor(eta) * s**2
    u = 0.61 * s * np.sqrt((1.0 + eta) / (1.0 - eta))
    tall = 1.0 / (1.0 - np.minimum(u, 0.6))
    return np.where(u >= 0.6, thin, np.minimum(thin, tall))


def bulk_softened(apparent: Any, compressibility: Any) -> Any:
    """Series form ``1/(1/Ea + E/B)`` of a bonded pad's softening by a finite bulk modulus (the trend of [5]).

    Parameters
    ----------
    apparent : array_like
        Incompressible Ea / E.
    compressibility : array_like
        E / B, 0 for incompressible; may be complex.
    """
    return apparent / (1.0 + np.asarray(compressibility) * apparent)


def sideways(slenderness: Any, hole: Any) -> Any:
    """Sideways stiffness over E·A/h of a solid or hollow round column, both ends bonded and held parallel.

    ``(1/3) / {1/Ks + (h²/36ρ²)[h/(h+ℓ)]³}``: shear [3] and bending in series, the bending length shortened by
    the clamped ends †.

    Parameters
    ----------
    slenderness : array_like
        Height over outer diameter h / Do, above 0 (±4 %).
    hole : array_like
        Diameter ratio η, 0 to 0.85.
    """
    h, eta = np.asarray(slenderness, dtype=float), np.asarray(hole, dtype=float)
    wall = (1.0 - eta) / 2.0
    end = 0.09 * np.sqrt(1.0 - eta**2)
    kappa = 9.0 * (1.0 + eta**2) ** 2 / (10.0 * (1.0 + eta**2) ** 2 + 26.0 * eta**2)
    ratio = h / wall
    ks = kappa + (1.0 - kappa) / (1.0 + 0.25 * ratio + 0.25 * ratio**2)
    radius_sq = (1.0 + eta**2) / 16.0
    return (1.0 / 3.0) / (1.0 / ks + h**2 / (36.0 * radius_sq) * (h / (h + end)) ** 3)


def strut_axial(slenderness: Any, hole: Any) -> Any:
    """Axial stiffness over E·A/L of a strut with bonded ends, ``1/[1 − 0.155 √(1−η²) Do/L]`` †.

    Parameters
    ----------
    slenderness : array_like
        Length over outer diameter, 1 to 8 (±1 %).
    hole : array_like
        Diameter ratio η, 0 to 0.8.
    """
    ratio, eta = np.asarray(slenderness, dtype=float), np.asarray(hole, dtype=float)
    return 1.0 / (1.0 - np.minimum(0.155 * np.sqrt(1.0 - eta**2) / ratio, 0.6))


def bush_axial(radius_ratio: Any, length_ratio: Any) -> Any:
    """Axial stiffness over E·b of a bonded bush, ``[2πGL/ln(b/a)] / [1 + 0.143 (t/L) + 0.171 (t/L)²]`` †.

    Parameters
    ----------
    radius_ratio : array_like
        Outer over inner radius b / a, 1.25 to 3 (±4 %).
    length_ratio : array_like
        Length over outer radius L / b.
    """
    q, length = np.asarray(radius_ratio, dtype=float), np.asarray(length_ratio, dtype=float)
    wall = (1.0 - 1.0 / q) / length
    return (2.0 * np.pi / 3.0) * length / np.log(q) / (1.0 + 0.143 * wall + 0.171 * wall**2)


def bush_radial(radius_ratio: Any, length_ratio: Any) -> Any:
    """Radial stiffness over E·b of a bonded bush, between the short and the long limit [4].

    ``GL {βs + (βl − βs)[1 − tanh(x)/x]}``, ``x = [L/(a+b)][1 − 0.12 (b−a)/(a+b)]`` † (−5…+1 %).

    Parameters
    ----------
    radius_ratio, length_ratio : array_like
        As in :func:`bush_axial`.
    """
    q, length = np.asarray(radius_ratio, dtype=float), np.asarray(length_ratio, dtype=float)
    a2, log = 1.0 / q**2, np.log(q)
    short = 80.0 * np.pi * (a2 + 1.0) / (25.0 * (a2 + 1.0) * log - 9.0 * (1.0 - a2))
    long = 4.0 * np.pi * (a2 + 1.0) / ((a2 + 1.0) * log - (1.0 - a2))
    total = 1.0 + 1.0 / q
    x = np.maximum(length / total * (1.0 - 0.12 * (1.0 - 1.0 / q) / total), 1e-6)
    return length / 3.0 * (short + (long - short) * (1.0 - np.tanh(x) / x))


def bush_torsion(radius_ratio: Any, length_ratio: Any) -> Any:
    """Torsional stiffness over E·b³ of a bonded bush, ``4πGL/(1/a² − 1/b²)``: exact for any length.

    Parameters
    ----------
    radius_ratio, length_ratio : array_like
        As in :func:`bush_axial`.
    """
    q, length = np.asarray(radius_ratio, dtype=float), np.asarray(length_ratio, dtype=float)
    return (4.0 * np.pi / 3.0) * length / (q**2 - 1.0)


def squeeze_force(share: Any, linear: Any, constrained: Any) -> Any:
    """Force over E·A₀ of a squeezed pad, neo-Hookean: ``c₀(λ⁻²−λ)/3 + Z(λ⁻²−1)``, ``c₀ = Ea/E − 2Z``.

    Parameters
    ----------
    share : array_like
        Squeeze over free height e = 1 − λ, 0 to below 1 (±6 % for discs to 0.2, −12 % for rings).
    linear : array_like
        Ea / E at no squeeze.
    constrained : array_like
        Z = F·S², the part that comes from the bonded faces; 0 for frictionless ones.
    """
    stretch = 1.0 - np.asarray(share, dtype=float)
    inverse = 1.0 / stretch**2
    return (linear - 2.0 * constrained) * (inverse - stretch) / 3.0 + constrained * (inverse - 1.0)


def squeeze_tangent(share: Any, linear: Any, constrained: Any) -> Any:
    """Derivative of :func:`squeeze_force` by the share: tangent stiffness over E·A₀/h."""
    stretch = 1.0 - np.asarray(share, dtype=float)
    inverse = 1.0 / stretch**3
    return (linear - 2.0 * constrained) * (1.0 + 2.0 * inverse) / 3.0 + 2.0 * constrained * inverse
