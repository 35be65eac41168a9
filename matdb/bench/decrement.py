"""The logarithmic decrement of a ring-down: from amplitudes, and to and from the damping ratio.

References
----------
.. [1] S. S. Rao, Mechanical Vibrations, ch. 2 (from memory).

"""

from __future__ import annotations

import math

from matdb.errors import InputError


def decrement_from_amplitudes(first: float, last: float, cycles: float) -> float:
    r"""Logarithmic decrement per cycle from two amplitudes ``cycles`` apart.

    .. math:: \Lambda = \frac{1}{N} \ln\frac{x_0}{x_N}

    Parameters
    ----------
    first, last : float
        Amplitudes x0 and xN above the rest position, same unit, above 0; ``last`` below ``first``.
    cycles : float
        Number N of whole cycles between them, above 0 (half cycles count 0.5).

    Raises
    ------
    InputError
        An amplitude or N not above 0, or the last amplitude not below the first.

    Notes
    -----
    Source: [1]_ (see the module).

    """
    for field, value in (("first amplitude", first), ("last amplitude", last), ("cycles", cycles)):
        if not 0.0 < value < math.inf:
            raise InputError(field, value, "above 0")
    if first <= last:
        raise InputError("last amplitude", last, "below the first amplitude", "swap the two or read again")
    return math.log(first / last) / cycles


def damping_ratio_from_decrement(log_decrement: float) -> float:
    r"""Damping ratio of a viscously damped oscillator from its logarithmic decrement, 0 or more.

    .. math:: \zeta = \frac{d}{\sqrt{1 + d^2}}, \qquad d = \Lambda / 2\pi

    Exact; source [1]_.
    """
    d = log_decrement / (2.0 * math.pi)
    return d / math.sqrt(1.0 + d * d)


def decrement_from_damping_ratio(damping_ratio: float) -> float:
    r"""Logarithmic decrement per cycle from the damping ratio, 0 to below 1.

    .. math:: \Lambda = \frac{2\pi\zeta}{\sqrt{1 - \zeta^2}}

    Exact; source [1]_.

    Examples
    --------
    >>> round(decrement_from_damping_ratio(0.1), 4)
    0.6315

    """
    return 2.0 * math.pi * damping_ratio / math.sqrt(1.0 - damping_ratio * damping_ratio)
