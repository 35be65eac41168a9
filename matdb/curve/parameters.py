"""The parameters of a curve, each told once, and the shift laws that use them.

Sampler, report and stored fit derive from :data:`PARAMETERS`: a coordinate of the sampler is a standard normal that
``prior`` turns into a column of a draw, and the report shows that column as ``shown`` says. A new parameter is a row
here, and a line where the modulus is predicted.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from matdb.arrays import Array, Flags
from matdb.material.shift import ZERO_C, arrhenius_as_wlf, wlf_ln_shift, wlf_ln_shift_and_slope

LN10: Final = math.log(10.0)
#: Reference temperature of the stored parameters, K (23 degC); answers do not depend on it.
REFERENCE_K: Final = 23.0 + ZERO_C

#: The loss factor is missed by about this much more than the modulus.
MISFIT_LOSS: Final = 3.8

#: What a report calls the session of readings that name none.
UNNAMED: Final = "(none)"
#: ln standard deviation of the pieces of one part around their mean (common practice, no source: 5 to 12 %).
PIECE_SD: Final = 0.1
#: Pieces of a set where it is not said how many.
PIECES: Final = 4
#: Law names as stored and shown, and a sentence on each for reports; a draw's column "law" counts them.
LAWS: Final = {
    "WLF": "WLF above the glass transition, tangent Arrhenius below it",
    "Arrhenius": "Arrhenius at all temperatures",
    "WLF, Arrhenius far above": "WLF near the glass transition, tangent Arrhenius below it and far above it",
}
WLF, ARRHENIUS, WLF_ARRHENIUS = range(len(LAWS))
_GLASSY_LAWS: Final = (WLF, WLF_ARRHENIUS)


def _normal(value: float, spread: float, u: Array) -> Array:
    return value + spread * u


def _ln_lognormal(value: float, spread: float, u: Array) -> Array:
    return math.log(value) + spread * u


def _lognormal(value: float, spread: float, u: Array) -> Array:
    return value * np.exp(spread * u)


def _logit_normal(value: float, spread: float, u: Array) -> Array:
    """Between 0 and 1; ``spread`` is that of the logit."""
    return 1.0 / (1.0 + np.exp(-(math.log(value / (1.0 - value)) + spread * u)))


def _width(value: float, spread: float, u: Array, low: float = 0.08, high: float = 0.95) -> Array:
    """Logit-normal between ``low`` and ``high`` with about that mean and standard deviation."""
    share = (value - low) / (high - low)
    scale = spread / ((high - low) * share * (1.0 - share))
    return low + (high - low) / (1.0 + np.exp(-(math.log(share / (1.0 - share)) + scale * u)))


@dataclass(frozen=True)
class Parameter:
    """One parameter of the curve.

    Attributes
    ----------
    column : str
        Its name in a draw, as stored.
    title, unit : str
        In the report; it says nothing of a parameter without a title.
    shown : callable
        From the column to what the report shows.
    figure : str
        The family's figure that its prior comes from; empty where label and law have a say: see ``Prior.draws``.
    prior : callable
        The column from the figure's value and spread and the standard-normal coordinate.
    laws : tuple of int
        The laws that it speaks for.
    """

    column: str
    title: str = ""
    unit: str = "1"
    shown: Callable[[Array], Array] = lambda column: column
    figure: str = ""
    prior: Callable[[float, float, Array], Array] = _normal
    laws: tuple[int, ...] = (WLF, ARRHENIUS, WLF_ARRHENIUS)

    def speaks_for(self, draws: Array) -> Flags:
        """Whose law uses this parameter, shape (n,)."""
        return np.isin(draws[:, LAW], self.laws)


#: In the order of the sampler's coordinates and of a draw's columns.
PARAMETERS: Final = (
    Parameter("ln_rubbery_mpa", "rubbery modulus", "MPa", np.exp),
    Parameter("ln_glassy_mpa", "glassy modulus", "MPa", np.exp, "glassy_modulus", _ln_lognormal),
    Parameter("alpha", "alpha", figure="alpha", prior=_width),
    Parameter("gamma", "gamma", figure="gamma", prior=_logit_normal),
    Parameter("vertical_exponent", "vertical exponent", figure="vertical_exponent"),
    Parameter("ln_time_reference_s", "relaxation time at 23 degC", "log10 s", lambda column: column / LN10),
    Parameter("glass_transition_k", "glass transition", "degC", lambda column: column - ZERO_C, laws=_GLASSY_LAWS),
    Parameter("wlf_c1", "WLF C1", figure="wlf_c1", prior=_lognormal, laws=_GLASSY_LAWS),
    Parameter("wlf_c2_k", "WLF C2", "K", figure="wlf_c2", prior=_lognormal, laws=_GLASSY_LAWS),
    Parameter("upper_joint_k", laws=(WLF_ARRHENIUS,)),
    Parameter(
        "activation_energy_j_mol",
        "activation energy",
        "kJ/mol",
        lambda column: column / 1e3,
        "activation_energy",
        lambda value, spread, u: _lognormal(value * 1e3, spread, u),
        (ARRHENIUS,),
    ),
    Parameter("loss_exponent", "plateau loss exponent", figure="loss_exponent", prior=_lognormal),
)
DIMENSION: Final = len(PARAMETERS)
#: Columns of a draw; a law leaves those that it does not use at a harmless constant.
COLUMNS: Final = (*(parameter.column for parameter in PARAMETERS), "law")
RUBBERY, GLASSY, ALPHA, GAMMA, VERTICAL, TIME, GLASS, C1, C2, UPPER, ENERGY, EXPONENT, LAW = range(len(COLUMNS))


#: Ln of the angular frequency in rad/s at which plateau loss leaves the modulus as it is (30 Hz).
_LN_OMEGA_PLATEAU: Final = math.log(60.0 * math.pi)


def plateau_loss(exponent: Array, ln_s: Any) -> Any:
    """What plateau loss adds to ln E: b ln(s/w30), b the column "loss_exponent", w30 = 2 pi 30 Hz, at any temperature.

    Filled rubber loses a nearly constant share on its rubbery plateau, beside the glass transition and hardly moved by
    temperature; a weak power law is causal and gives tan(delta) = tan(pi b/2) [1]_.

    Parameters
    ----------
    exponent : ndarray, shape (n, 1)
        That column.
    ln_s : ndarray, complex, shape (m,) or (n, m)
        Ln of the Laplace variable in 1/s.

    References
    ----------
    .. [1] H. H. Winter, F. Chambon, J. Rheol. 30 (1986) 367 (from memory).
    """
    return exponent * (ln_s - _LN_OMEGA_PLATEAU)


def shape_of(draws: Array) -> list[Array]:
    """What the fractional modulus takes (ln E0, ln Einf, alpha, gamma), each of shape (n, 1)."""
    return [draws[:, [column]] for column in (RUBBERY, GLASSY, ALPHA, GAMMA)]


class ShiftLaws:
    """The shift laws of parameter draws, with all that does not depend on temperature worked out once.

    Parameters
    ----------
    draws : ndarray, shape (n, 13)
        Rows with the columns :data:`COLUMNS`.
    """

    def __init__(self, draws: Array) -> None:
        # Both laws in one form, so that no draws need sorting.
        laws = zip(arrhenius_as_wlf(REFERENCE_K, draws[:, ENERGY]), draws[:, [GLASS, C1, C2, UPPER]].T, strict=True)
        self._law = [np.where(draws[:, LAW] == ARRHENIUS, *each) for each in laws]
        self._start = draws[:, TIME] - wlf_ln_shift(REFERENCE_K, *self._law)

    def ln_time(self, temperature_k: Array) -> Array:
        """Ln of the relaxation time in s, shape (n, m), for temperatures in K of shape (m,) or (n, m)."""
        return self.ln_time_and_slope(temperature_k)[0]

    def ln_time_and_slope(self, temperature_k: Array) -> tuple[Array, Array]:
        """As :meth:`ln_time`, and its derivative by 1/T in K; the draws lie side by side in memory."""
        t = temperature_k[:, None] if temperature_k.ndim == 1 else temperature_k.T
        shift, slope = wlf_ln_shift_and_slope(t, *self._law)
        return (self._start + shift).T, slope.T


def ln_time(draws: Array, temperature_k: Array) -> Array:
    """Ln of the relaxation time in s.

    Parameters
    ----------
    draws : ndarray, shape (n, 13)
        Rows with the columns :data:`COLUMNS`.
    temperature_k : ndarray, shape (m,) or (n, m)
        K, above 0.

    Returns
    -------
    ndarray, shape (n, m)
    """
    return ShiftLaws(draws).ln_time(temperature_k)


def ln_shift(draws: Array, temperature_k: Array) -> Array:
    """Ln of the shift factor relative to 23 degC; arguments and shape as :func:`ln_time`."""
    return ln_time(draws, temperature_k) - draws[:, [TIME]]
