"""Closed forms of bonded rings and of bulk softening from the literature, to compare the tables with.

1. M. C. Constantinou, A. Kartoum, J. M. Kelly, Eng. Struct. 14 (1992) 143: hollow bonded pad (from memory).
2. M. S. Chalhoub, J. M. Kelly, Int. J. Solids Struct. 26 (1990) 743: finite bulk modulus (from memory).
"""

import numpy as np


def hole_factor(hole):
    """Factor on S² for a ring, ``(1+η²)/(1−η)² − (1+η)/[(1−η) ln(1/η)]`` [1]: 1 without a hole, 2/3 for a thin ring."""
    eta = np.asarray(hole, dtype=float)
    safe = np.maximum(eta, 1e-300)
    thin = 1.0 - safe
    near_one = thin < 1e-3  # the two terms cancel there
    guarded = np.where(near_one, 0.5, safe)
    value = (1.0 + guarded**2) / (1.0 - guarded) ** 2 + (1.0 + guarded) / ((1.0 - guarded) * np.log(guarded))
    return np.where(near_one, 2.0 / 3.0, np.where(eta <= 0.0, 1.0, value))


def ring_axial(shape, hole):
    """Apparent over true Young's modulus of a bonded ring, shape factor 0.1 to 6, diameter ratio 0.2 to 0.85 (−7…+3 %).

    ``4/3 + 2 F S²`` [1], for low rings the smaller of that and ``1/(1−u)``, ``u = 0.61 S √[(1+η)/(1−η)]``, fitted to
    converged finite elements.
    """
    s, eta = np.asarray(shape, dtype=float), np.asarray(hole, dtype=float)
    thin = 4.0 / 3.0 + 2.0 * hole_factor(eta) * s**2
    u = 0.61 * s * np.sqrt((1.0 + eta) / (1.0 - eta))
    tall = 1.0 / (1.0 - np.minimum(u, 0.6))
    return np.where(u >= 0.6, thin, np.minimum(thin, tall))


def bulk_softened(apparent, compressibility):
    """Series form ``1/(1/Ea + E/B)`` of a bonded pad's softening by a finite bulk modulus, the trend of [2]."""
    return apparent / (1.0 + np.asarray(compressibility) * apparent)
