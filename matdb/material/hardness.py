"""Shore hardness: scales, spring forces, and the Young's modulus that a hardness suggests.

A hardness is a surface value with one digit's worth of information: every modulus computed here carries a wide
standard deviation, and the fit treats it so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from matdb.arrays import Array
from matdb.delimited import NUMBER
from matdb.errors import InputError

SCALES = ("A", "D", "OO", "OOO")

#: Full travel of the indenter at hardness 0, mm (ASTM D2240, from memory).
TRAVEL_MM = 2.5
#: Radius of the spherical indenters, mm (ASTM D2240, from memory).
SPHERE_RADIUS_MM = {"OO": 1.195, "OOO": 6.35}


@dataclass(frozen=True)
class Hardness:
    """A Shore hardness: ``value`` from 0 to 100 on ``scale`` A, D, OO or OOO."""

    value: float
    scale: str

    def __str__(self) -> str:
        return f"{self.value:g} {self.scale}"


def parse_hardness(text: object) -> Hardness:
    """Read ``"40 A"``, ``"A40"``, ``"40A"`` or ``"Shore OO 30"``.

    Raises
    ------
    InputError
        No scale, an unknown scale, or a value outside 0 to 100.
    """
    if isinstance(text, Hardness):
        return text
    allowed = "0 to 100 with its Shore scale A, D, OO or OOO, such as 40 A"
    if not isinstance(text, str) or len(text) > 40:
        raise InputError("hardness", text, allowed)
    words = text.replace("Shore", " ").replace("shore", " ").strip()
    digits = "".join(c for c in words if c.isdigit() or c in ".+-")
    letters = "".join(c for c in words if c.isalpha()).upper()
    # The number must be in one piece: "4 0 A" is a slip, not 40.
    whole = letters in SCALES and digits in words and NUMBER.fullmatch(digits)
    if not whole or not 0.0 <= float(digits) <= 100.0:
        raise InputError("hardness", text, allowed)
    return Hardness(float(digits), letters)


def hardness_text(text: object) -> str:
    """A hardness as it is written down, ``"40 A"``; raises as :func:`parse_hardness`."""
    return str(parse_hardness(text))


def spring_force_n(hardness: ArrayLike) -> Array:
    """Spring force in N of a Shore OO or OOO durometer at a reading of any shape: 0.203 + 0.00908 H [1]_.

    References
    ----------
    .. [1] ASTM D2240 (from memory).

    Examples
    --------
    >>> round(float(spring_force_n(100)), 3)
    1.111
    """
    return 0.203 + 0.00908 * np.asarray(hardness, dtype=float)


def modulus_from_shore_a(hardness: ArrayLike) -> Array:
    """Young's modulus in MPa from Shore A: E = 0.0981 (56 + 7.62336 S) / [0.137505 (254 - 2.54 S)].

    Parameters
    ----------
    hardness : array_like
        Shore A, valid 20 to 80, any shape.

    References
    ----------
    .. [1] A. N. Gent, Rubber Chem. Technol. 31 (1958) 896.

    Examples
    --------
    >>> round(float(modulus_from_shore_a(50)), 3)
    2.456
    """
    s = np.asarray(hardness, dtype=float)
    return 0.0981 * (56.0 + 7.62336 * s) / (0.137505 * (254.0 - 2.54 * s))


def modulus_from_shore_a_or_d(hardness: ArrayLike, scale: str = "A") -> Array:
    """Young's modulus in MPa, log10 E = 0.0235 S - 0.6403, S = Shore A or Shore D + 50.

    Parameters
    ----------
    hardness : array_like
        Shore A 20 to 80 or Shore D 30 to 85, any shape.
    scale : str
        "A" or "D".

    References
    ----------
    .. [1] H. J. Qi, K. Joyce, M. C. Boyce, Rubber Chem. Technol. 76 (2003) 419.

    Examples
    --------
    >>> round(float(modulus_from_shore_a_or_d(40, "D")), 2)
    29.83
    """
    s = np.asarray(hardness, dtype=float) + (50.0 if scale == "D" else 0.0)
    return np.asarray(10.0 ** (0.0235 * s - 0.6403))


def modulus_from_sphere_indentation(hardness: ArrayLike, scale: str) -> Array:
    """Young's modulus in MPa from Shore OO or OOO by Hertz contact of the indenter's sphere.

    E = 9 F / (16 sqrt(R) d^1.5) for an incompressible half-space, F the spring force, d = 2.5 mm (1 - H/100).

    Parameters
    ----------
    hardness : array_like
        0 to below 100, any shape.
    scale : str
        "OO" or "OOO".

    References
    ----------
    .. [1] K. L. Johnson, Contact Mechanics, 1985, section 4.2 (Hertz; from memory).
    """
    h = np.asarray(hardness, dtype=float)
    depth = TRAVEL_MM * (1.0 - np.minimum(h, 99.0) / 100.0)
    return np.asarray(9.0 * spring_force_n(h) / (16.0 * math.sqrt(SPHERE_RADIUS_MM[scale]) * depth**1.5))


def modulus_from_hardness(hardness: Hardness) -> tuple[float, float]:
    """Young's modulus in MPa, and the standard deviation of its logarithm, that a hardness suggests at 23 degC.

    Shore A follows [1]_ up to 60, moves to [2]_ between 60 and 85 (the two differ by a factor of 1.8 there), and
    follows [2]_ above, as Shore D does. The standard deviation is 0.28 up to 50 A and grows to 0.45 at 85 A.

    Returns
    -------
    (float, float)
        Modulus in MPa; standard deviation of ln(modulus).

    References
    ----------
    .. [1] A. N. Gent, Rubber Chem. Technol. 31 (1958) 896.
    .. [2] H. J. Qi, K. Joyce, M. C. Boyce, Rubber Chem. Technol. 76 (2003) 419.
    """
    value = hardness.value
    if hardness.scale in SPHERE_RADIUS_MM:
        return float(modulus_from_sphere_indentation(value, hardness.scale)), 0.35
    if hardness.scale == "D":
        return float(modulus_from_shore_a_or_d(max(value, 5.0), "D")), 0.45
    share = min(max((value - 60.0) / 25.0, 0.0), 1.0)
    soft = math.log(float(modulus_from_shore_a(max(min(value, 90.0), 5.0))))
    hard = math.log(float(modulus_from_shore_a_or_d(value)))
    sd = 0.28 + 0.17 * min(max((value - 50.0) / 35.0, 0.0), 1.0) + 0.2 * max(0.0, (20.0 - value) / 20.0)
    return math.exp((1.0 - share) * soft + share * hard), sd
