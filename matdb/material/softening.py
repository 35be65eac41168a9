"""How filled rubber, and cable whose strands slip, soften with the amplitude of their strain.

The loss factor grows as the modulus over that at vanishing amplitude falls, with minus a power of it: to the first
where amplitude leaves the loss modulus as it is.

References
----------
.. [1] G. Kraus, J. Appl. Polym. Sci.: Appl. Polym. Symp. 39 (1984) 75 (from memory).
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np

#: Kraus' exponent m; 0.5 to 0.6 for filled rubber (from memory).
_EXPONENT: Final = 0.55


def ln_softening(strain: Any, share: Any, critical_strain: Any) -> Any:
    """Ln of the storage modulus over that at vanishing amplitude: 1 - c + c/(1 + (strain/critical)^2m) [1]_.

    Parameters
    ----------
    strain : array_like
        Peak strain, above 0 (0.01 is one per cent); all broadcast.
    share : array_like
        Share c of the modulus that large amplitudes take away, 0 to 1: some 0.3 of filled, few 0.01 of unfilled rubber.
    critical_strain : array_like
        Strain at which half of it is gone, above 0.
    """
    gone = (np.asarray(strain) / critical_strain) ** (2.0 * _EXPONENT)
    return np.log1p(-np.asarray(share) * gone / (1.0 + gone))
