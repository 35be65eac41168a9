"""Closed forms of part stiffness per unit Young's modulus: the trend that each finite-element table is divided by.

All are for small deformation of an incompressible body (E = 3 G) between rigid faces, and dimensionless
unless said otherwise. Constants marked † were fitted to converged finite elements; the rest are from the literature:

1. A. N. Gent, P. B. Lindley, Proc. Inst. Mech. Eng. 173 (1959) 111: bonded disc (from memory).
2. G. R. Cowper, J. Appl. Mech. 33 (1966) 335: shear coefficient (from memory).
3. J. E. Adkins, A. N. Gent, Br. J. Appl. Phys. 5 (1954) 354: bush, radial (from memory).
4. M. S. Chalhoub, J. M. Kelly, Int. J. Solids Struct. 26 (1990) 743: finite bulk modulus (from memory).
5. J. A. Haringx, Philips Res. Rep. 3 (1948) 401: columns of rubber, buckling with shear (from memory).
6. M. M. Attard, Int. J. Solids Struct. 40 (2003) 4353: the same from a hyperelastic beam (from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np


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


def shear_share(hole: Any) -> Any:
    """Shear stiffness over G·A of a slender round tube of diameter ratio ``hole``, incompressible [2]."""
    square = (1.0 + np.asarray(hole, dtype=float) ** 2) ** 2
    return 9.0 * square / (10.0 * square + 26.0 * np.asarray(hole, dtype=float) ** 2)


def buckling(euler: Any, axial_over_shear: Any) -> Any:
    """Squeeze over length at which a leg buckles, ends held parallel.

    ``P (λ + P/GA) = π² E'I/L²`` of a neo-Hookean beam whose shear stiffness stays [5], [6], to second order.

    Parameters
    ----------
    euler : array_like
        ``π² E I / (E A L²)``.
    axial_over_shear : array_like
        E A over the shear stiffness of the section.
    """
    return euler / (1.0 + np.maximum(axial_over_shear - 2.0, 0.0) * euler)


def _strut_buckling(slenderness: Any, hole: Any) -> Any:
    hole = np.asarray(hole, dtype=float)
    return buckling(np.pi**2 * (1.0 + hole**2) / 16.0 / np.square(slenderness), 3.0 / shear_share(hole))


def sideways(slenderness: Any, hole: Any) -> Any:
    """Sideways stiffness over E·A/h of a solid or hollow round column, both ends bonded and held parallel.

    ``(1/3) / {1/Ks + (h²/36ρ²)[h/(h+ℓ)]³}``: shear [2] and bending in series, the bending length shortened by
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
    kappa = shear_share(eta)
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
    """Radial stiffness over E·b of a bonded bush, between the short and the long limit [3].

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


#: Table name → trend; arguments are the table's coordinates. The trends of softening by a finite bulk modulus, series
#: forms as in [4], take the incompressible stiffness too.
TRENDS: Mapping[str, Callable[..., Any]] = {
    "pad axial": lambda shape, hole: disc_axial(shape),
    "pad shear": lambda shape, hole: 1.0,
    "strut axial": strut_axial,
    "strut lateral": sideways,
    "bush axial": bush_axial,
    "bush radial": bush_radial,
    "bush radial frictionless": lambda ratio, length: length,
    "pad tilt": lambda shape, hole: 1.0 + 2.0 / 3.0 * shape**2,
    "strut buckling": _strut_buckling,
    "strut tilt": lambda slenderness, hole: 1.0,
    "bush tilt": lambda q, length: bush_axial(q, length) / 2.0 + bush_radial(q, length) * length**2 / 12.0,
    "taper axial": lambda top, height: np.pi / 4.0 * top / height * disc_axial(np.sqrt(top) / (4.0 * height)),
    "taper shear": lambda top, height: np.pi / 4.0 * top / height * sideways(height / np.sqrt(top), 0.0),
    "pad softening": lambda shape, hole, soft, stiff: 1.0 / (1.0 + soft * stiff),
    "pad tilt softening": lambda shape, hole, soft, stiff: 1.0 / (1.0 + soft * (stiff - 1.0)),
    "bush tilt softening": lambda ratio, length, soft, stiff: (
        1.0 / (1.0 + soft * stiff / length**3 * (1.0 - 1.0 / ratio) / 3.0)
    ),
    "bush radial softening": lambda ratio, length, soft, stiff: (
        1.0 / (1.0 + soft * stiff / length * (1.0 - 1.0 / ratio) / 3.0)
    ),
}
