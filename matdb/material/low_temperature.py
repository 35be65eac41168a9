"""Low-temperature stiffening: the torsion test of a rubber strip and the temperatures it yields."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matdb.errors import InputError

__all__ = ["INDEX_RATIOS", "modulus_ratio_from_twist", "twist_at_modulus_ratio"]

#: T2, T5, T10 and T100: how many times as stiff as at 23 degC (ISO 1432, ASTM D1053; from memory).
INDEX_RATIOS: Final = (2.0, 5.0, 10.0, 100.0)


def twist_at_modulus_ratio(ratio: ArrayLike, twist_23c_deg: ArrayLike) -> NDArray[np.float64]:
    """Twist of the specimen at which it is ``ratio`` times as stiff in torsion as at 23 degC.

    The torsion head is turned by 180 degrees through a wire in series with the specimen, so the torsional modulus is
    proportional to (180 - theta)/theta, and theta = 180/(1 + ratio (180 - theta23)/theta23) [1]_.

    Parameters
    ----------
    ratio : array_like
        Relative modulus, above 0; any shape.
    twist_23c_deg : array_like
        Twist at 23 degC in degrees, above 0 and below 180; broadcasts.

    Returns
    -------
    ndarray
        Twist in degrees.

    Raises
    ------
    InputError
        A value out of range.

    References
    ----------
    .. [1] ISO 1432 and ASTM D1053 (from memory).

    Examples
    --------
    >>> twist_at_modulus_ratio([2, 5, 10, 100], 150).round(1).tolist()
    [128.6, 90.0, 60.0, 8.6]
    """
    warm = _angle(twist_23c_deg)
    times = np.asarray(ratio, dtype=float)
    bad = ~(np.isfinite(times) & (times > 0.0))
    if bad.any():
        raise InputError("ratio", float(times[bad][0]), "above 0")
    return np.asarray(180.0 / (1.0 + times * (180.0 - warm) / warm))


def modulus_ratio_from_twist(twist_deg: ArrayLike, twist_23c_deg: ArrayLike) -> NDArray[np.float64]:
    """Torsional modulus relative to 23 degC from two twists; the inverse of :func:`twist_at_modulus_ratio`.

    Parameters
    ----------
    twist_deg, twist_23c_deg : array_like
        Twist in the cold and at 23 degC, degrees, above 0 and below 180; broadcast.

    Raises
    ------
    InputError
        An angle out of range.
    """
    cold, warm = _angle(twist_deg), _angle(twist_23c_deg)
    return np.asarray((180.0 - cold) / cold * warm / (180.0 - warm))


def _angle(value: ArrayLike) -> NDArray[np.float64]:
    angle = np.asarray(value, dtype=float)
    bad = ~((angle > 0.0) & (angle < 180.0))
    if bad.any():
        raise InputError("twist", float(angle[bad][0]), "above 0 and below 180 degrees")
    return angle
