"""Crystallisation at rest in the cold: hours of stiffening that no shift law knows, and that stays until it melts.

How far a compound goes and how fast depends on its cure and fillers: two standard normals say how one differs from
its family.

References
----------
.. [1] L. A. Wood, N. Bekkedahl, J. Appl. Phys. 17 (1946) 362: natural rubber, fastest near -25 degC (from memory).
.. [2] LLNL-TR-426277: silicone rubber at 1 degC/min, from about 6 to about 400 MPa between -40 and -60 degC, melting
       near -30 degC.
.. [3] M. Avrami, J. Chem. Phys. 7 (1939) 1103 (growth from nuclei that are there, in two dimensions; from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist
from typing import Any, Final

import numpy as np

from matdb.arrays import Array

#: Three compounds in five hardly crystallise (below this many standard deviations), one in forty goes all the way.
_HARDLY, _ALL_THE_WAY = 0.3, NormalDist().inv_cdf(0.975)
#: ln standard deviation of a compound's half-time from its family's.
_HALF_TIME_SD: Final = 1.2
#: By which the note of it is known.
RESTS: Final = "crystallises when it rests"
#: A rest that stiffens even a quick compound by less than this (ln) does not matter.
_LEAST: Final = 0.05


@dataclass(frozen=True)
class Crystallisation:
    """Where a family crystallises at rest, how fast, and how stiff it gets.

    Attributes
    ----------
    peak_c, half_width_k, cold_width_k : float
        Temperature where it is fastest, degC, and how far above it and below it it matters, K.
    half_h : float
        Hours to half of it there.
    hours : str
        The same in words.
    melts_c : float
        Above it what formed has melted, degC; up to it all stays.
    most : float
        Modulus over that before, which one in forty exceeds.
    source : str
        Of the figures.
    """

    peak_c: float
    half_width_k: float
    cold_width_k: float
    half_h: float
    hours: str
    melts_c: float
    most: float
    source: str

    def share(self, temperature_c: Any) -> Any:
        """How much of it shows in the end: 1 at the peak, 0 outside."""
        above = np.asarray(temperature_c, dtype=float) - self.peak_c
        away = above / np.where(above < 0.0, self.cold_width_k, self.half_width_k)
        return np.maximum(1.0 - away**2, 0.0) ** 2

    def shows(self, temperature_c: Any) -> bool:
        """Whether any of it shows at some temperature."""
        above = np.asarray(temperature_c, dtype=float) - self.peak_c
        return bool(((above > -self.cold_width_k) & (above < self.half_width_k)).any())

    def ln_stiffening(self, temperature_c: Any, rest_h: Any, normals: Array) -> Array:
        """Ln of the modulus over that before, after hours of rest: 0 or more, shape (n, m).

        Parameters
        ----------
        temperature_c : array_like, shape (m,)
            Degrees Celsius.
        rest_h : array_like, shape (m,) or ()
            Hours at it; infinite for the end of it.
        normals : ndarray, shape (n, 2)
            How far the compound goes and how slowly, in standard deviations of its family.
        """
        far, slow = normals.T[:, :, None]
        done = 1.0 - np.exp2(-((rest_h / (self.half_h * np.exp(_HALF_TIME_SD * slow))) ** 2))
        most = np.maximum(far - _HARDLY, 0.0) / (_ALL_THE_WAY - _HARDLY)
        return np.asarray(math.log(self.most) * self.share(temperature_c) * done * most)

    def matters(self, temperature_c: Any, rest_h: Any) -> bool:
        """Whether a quick compound would show it anywhere after such rest; arguments as :meth:`ln_stiffening`."""
        if not self.shows(temperature_c):
            return False
        return bool(np.any(self.ln_stiffening(temperature_c, rest_h, np.array([[2.0, -1.0]])) > _LEAST))

    def note(self, family: str, rest_h: float, *, was_read: bool) -> str:
        """What to know of a family that matters after such rest, and whether a reading after hours of it was taken."""
        rest = "" if math.isinf(rest_h) else f" for {rest_h:.3g} h"
        allows = (
            "the band allows for it by what was read after hours of soak"
            if was_read
            else "the band's upper end allows for it, a reading after hours of soak settles it"
        )
        return (
            f"{family} {RESTS}{rest} in such cold ({self.hours} near {self.peak_c:g} degC) "
            f"and can become far stiffer: {allows}"
        )


#: By family; how wide, how fast and how stiff, where no source is named, is common practice. What takes but minutes
#: happens on the way to colder states too, and stays: nearly to the glass transition. Where it has melted is from
#: memory but for silicone: natural rubber at 0 to 15 degC, chloroprene 10 to 30 K above where it formed (30 is taken).
CRYSTALLISATION: Final = {
    "natural rubber": Crystallisation(
        -25.0, 20.0, 20.0, 8.0, "many hours to days", 10.0, 10.0, "Wood & Bekkedahl 1946, from memory"
    ),
    "chloroprene": Crystallisation(-12.0, 18.0, 18.0, 8.0, "hours to days", 18.0, 10.0, "handbook range, from memory"),
    "silicone": Crystallisation(-50.0, 20.0, 70.0, 0.3, "minutes to hours", -30.0, 70.0, "LLNL-TR-426277"),
}


def crystallisation_of(family: str) -> Crystallisation | None:
    """What is known of a family's crystallisation; None for those that do not."""
    return CRYSTALLISATION.get(family.strip().lower().replace("_", " ").replace("-", " "))
