"""Crystallisation at rest in the cold: hours of stiffening that no shift law knows, and that melts some 20 K above.

References
----------
.. [1] L. A. Wood, N. Bekkedahl, J. Appl. Phys. 17 (1946) 362: natural rubber, fastest near -25 degC (from memory).
.. [2] LLNL-TR-426277: silicone rubber at 1 degC/min, from about 6 to about 400 MPa between -40 and -60 degC, melting
       near -30 degC.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np


@dataclass(frozen=True)
class Crystallisation:
    """Where a family crystallises at rest, how fast, and how stiff it gets.

    Attributes
    ----------
    peak_c, half_width_k : float
        Temperature where it is fastest, degC, and how far from it it matters, K.
    hours : str
        How long it takes there, in words.
    most : float
        Modulus over that before, which one in forty exceeds.
    source : str
        Of the figures.
    """

    peak_c: float
    half_width_k: float
    hours: str
    most: float
    source: str

    def share(self, temperature_c: Any) -> Any:
        """How much of it shows after hours: 1 at the peak, 0 outside."""
        away = (np.asarray(temperature_c, dtype=float) - self.peak_c) / self.half_width_k
        return np.maximum(1.0 - away**2, 0.0) ** 2


#: By family; how wide and how stiff, where no source is named, is common practice.
CRYSTALLISATION: Final = {
    "natural rubber": Crystallisation(-25.0, 20.0, "many hours to days", 4.0, "Wood & Bekkedahl 1946, from memory"),
    "chloroprene": Crystallisation(-12.0, 18.0, "hours to days", 4.0, "handbook range, from memory"),
    "silicone": Crystallisation(-50.0, 20.0, "minutes to hours", 70.0, "LLNL-TR-426277"),
}


def crystallisation_of(family: str) -> Crystallisation | None:
    """What is known of a family's crystallisation; None for those that do not."""
    return CRYSTALLISATION.get(family.strip().lower().replace("_", " ").replace("-", " "))
