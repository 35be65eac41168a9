"""What a family and a label say of a material before anything was measured.

The prior has two layers. The base draws independent normal variables, one a parameter. Facts of the family (stiffness
at 23 degC or the label's hardness, loss factor at 20 and -20 degC, cold-to-warm stiffness ratios) then weigh those
draws, so that parameters which could only be guessed one by one agree with what is commonly known of the whole.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from matdb.arrays import Array, Complex
from matdb.curve.parameters import (
    ARRHENIUS,
    COLUMNS,
    EXPONENT,
    GAMMA,
    GLASS,
    GLASSY,
    LAW,
    LN10,
    PARAMETERS,
    REFERENCE_K,
    RUBBERY,
    TIME,
    UPPER,
    VERTICAL,
    WLF_ARRHENIUS,
    ln_time,
    plateau_loss,
    shape_of,
)
from matdb.curve.tolerance import ln_tolerant
from matdb.material.families import Family, family_named
from matdb.material.hardness import modulus_from_hardness, parse_hardness
from matdb.material.modulus import polar_modulus
from matdb.material.record import Material
from matdb.material.shift import ZERO_C, wlf_ln_shift

#: A hardness reading speaks for about this frequency (a reading after some 1.5 s), Hz.
HARDNESS_HZ: Final = 0.1
#: Facts of loss factor and cold ratio hold at this frequency, Hz.
FACT_HZ: Final = 10.0
#: So much wider are the family's facts on loss and on change with temperature where both were read.
YIELDING: Final = 3.0
#: Readings that lie this far apart tell how stiffness changes with temperature, K.
YIELD_SPAN_K: Final = 15.0
#: A fact is a rule with exceptions: one in ten lies four times as far out.
EXCEPTIONS: Final = (0.1, 4.0)


@dataclass(frozen=True)
class Fact:
    """Normal knowledge of a logarithm: of a modulus, a loss factor or a modulus ratio."""

    kind: str
    temperature_k: float
    frequency_hz: float
    mean: float
    sd: float


@dataclass(frozen=True)
class Prior:
    """Base normals and facts of one material; hashable, so that its draws can be cached.

    ``yields`` says that stiffness was read over a range of temperatures: how it changes with temperature, and its
    loss, then follow the readings, and what the family's usual grade does counts less.
    """

    family: str
    hardness: str | None
    glass_transition_c: float | None
    yields: bool = False
    relative_density: float | None = None

    @property
    def table(self) -> Family:
        """The family's figures."""
        return family_named(self.family)

    def facts(self, extra_sd: float = 0.0) -> tuple[Fact, ...]:
        """The facts; ``extra_sd`` widens the one on absolute stiffness (geometry known only so well)."""
        table = self.table
        if self.hardness is not None:
            modulus, sd = modulus_from_hardness(parse_hardness(self.hardness))
        else:
            modulus, sd = table["youngs_modulus_23c"].value, table["youngs_modulus_23c"].spread
            if self.relative_density is not None:
                modulus, sd = modulus * self.relative_density**2, math.hypot(sd, 0.3)

        def of_family(kind: str, temperature_c: float, figure: str) -> Fact:
            known = table[figure]
            spread = known.spread * (YIELDING if self.yields else 1.0)
            return Fact(kind, temperature_c + ZERO_C, FACT_HZ, math.log(known.value), spread)

        return (
            Fact("modulus", 23.0 + ZERO_C, HARDNESS_HZ, math.log(modulus), math.hypot(sd, extra_sd)),
            of_family("loss factor", 20.0, "loss_factor_20c"),
            of_family("loss factor", -20.0, "loss_factor_cold"),
            of_family("cold ratio", -20.0, "cold_ratio"),
            of_family("cold ratio", -5.0, "cool_ratio"),
        )

    def draws(self, u: Array, law: Any, *, skewed: Any = True) -> Array:
        """Parameter draws from standard-normal coordinates.

        Parameters
        ----------
        u : ndarray, shape (n, 12)
            Coordinates in the order of :data:`matdb.curve.parameters.PARAMETERS`.
        law : int or ndarray of int, shape (n,)
            Index into ``LAWS``.
        skewed : bool or ndarray of bool, shape (n,)
            False holds gamma at 1 (four parameters).

        Returns
        -------
        ndarray, shape (n, 13)
            Columns as :data:`matdb.curve.parameters.COLUMNS`.
        """
        table = self.table
        out = np.empty((len(COLUMNS), len(u))).T
        out[:, LAW] = law
        for column, parameter in enumerate(PARAMETERS):
            if parameter.figure:
                figure = table[parameter.figure]
                out[:, column] = parameter.prior(figure.value, figure.spread, u[:, column])
        out[:, GAMMA] = np.where(skewed, out[:, GAMMA], 1.0)
        # The rubbery plateau lies below the modulus that is known, and below a third of the glassy modulus.
        fact = self.facts()[0]
        rubbery = fact.mean - 0.25 + max(0.6, 1.5 * fact.sd) * u[:, RUBBERY]
        foam = foamed(self.relative_density, u[:, GLASSY])
        out[:, GLASSY] += foam
        # A label's hardness is that of the foam; a density that was told is in the fact already.
        if self.hardness is None and self.relative_density is None:
            rubbery += foam
        out[:, RUBBERY] = np.minimum(rubbery, out[:, GLASSY] - 1.1)
        tg = table["glass_transition"]
        tg_c, tg_sd = (tg.value, tg.spread) if self.glass_transition_c is None else (self.glass_transition_c, 4.0)
        out[:, GLASS] = np.maximum(tg_c + ZERO_C + tg_sd * u[:, GLASS], 60.0)
        joint = out[:, GLASS] + 80.0 * np.exp(0.3 * u[:, UPPER])
        out[:, UPPER] = np.where(out[:, LAW] == WLF_ARRHENIUS, joint, np.inf)
        at_glass, arrhenius = table["log10_time_at_glass_transition"], out[:, LAW] == ARRHENIUS
        # Arrhenius: where WLF at its central constants would put the time, with two more decades of doubt.
        central = wlf_ln_shift(REFERENCE_K, tg_c + ZERO_C, table["wlf_c1"].value, table["wlf_c2"].value)
        shift = wlf_ln_shift(REFERENCE_K, *out[:, GLASS : UPPER + 1].T)
        decades = at_glass.value + np.where(arrhenius, math.hypot(2.0, at_glass.spread), at_glass.spread) * u[:, TIME]
        out[:, TIME] = LN10 * decades + np.where(arrhenius, central, shift)
        return out

    def softening(self, u: Array) -> Array:
        """Share of modulus that amplitude takes away, critical strain, power of loss, from normals of shape (n, 3)."""
        share, strain, loss = (self.table[f"softening_{name}"] for name in ("share", "strain", "loss"))
        odds = share.value / (1.0 - share.value) * np.exp(share.spread * u[:, 0])
        others = [each.value * np.exp(each.spread * u[:, k]) for k, each in ((1, strain), (2, loss))]
        return np.stack([odds / (1.0 + odds), *others], axis=1)

    def fact_residuals(self, draws: Array, extra_sd: float = 0.0) -> Array:
        """Standardised distance of each draw from each fact, shape (n, facts)."""
        facts = self.facts(extra_sd)
        # All states in one call; the last is what ratios refer to.
        states = [(fact.temperature_k, fact.frequency_hz) for fact in facts]
        size, angle = polar_ln_modulus(draws, *np.array([*states, (REFERENCE_K, FACT_HZ)]).T)
        tangent = np.tan(np.clip(angle, 1e-9, 1.5))
        values = {
            "modulus": size - 0.5 * np.log1p(tangent**2),
            "loss factor": np.log(tangent),
            "cold ratio": size - size[:, -1:],
        }
        found = np.stack([values[fact.kind][:, k] for k, fact in enumerate(facts)], axis=1)
        mean, sd = np.array([(fact.mean, fact.sd) for fact in facts]).T
        return np.asarray((found - mean) / sd)

    def fact_log_likelihood(self, draws: Array, extra_sd: float = 0.0) -> Array:
        """Log likelihood of the facts, shape (n,)."""
        return np.asarray(ln_tolerant(self.fact_residuals(draws, extra_sd), *EXCEPTIONS).sum(axis=1))


def prior_of(material: Material, span_k: float = 0.0) -> Prior:
    """The prior of a material record whose readings lie ``span_k`` apart."""
    yields = span_k >= YIELD_SPAN_K
    return Prior(material.family, material.hardness, material.glass_transition_c, yields, material.relative_density)


def foamed(relative_density: float | None, u: Array) -> Array:
    """Ln of foam's moduli over the solid's; where it is not known, one material in five is foamed.

    Both plateaus of a foam go with the square of its relative density (open cells; closed ones less) [1]_, and foams
    are sold as camera pads.

    Parameters
    ----------
    relative_density : float or None
        Density over that of the solid, 0 to 1; None when it was not told.
    u : ndarray, shape (n,)
        The coordinate of the glassy modulus.

    References
    ----------
    .. [1] L. J. Gibson, M. F. Ashby, Cellular Solids, 2nd ed., 1997, chapter 5 (from memory).
    """
    known = 2.0 * np.minimum(u + 0.8, 0.0) if relative_density is None else 2.0 * math.log(relative_density) + 0.3 * u
    return np.asarray(known)


def ln_modulus(draws: Array, temperature_k: Array, frequency_hz: Array) -> Complex:
    """Ln of the complex modulus at some states, shape (n, states)."""
    size, angle = polar_ln_modulus(draws, temperature_k, frequency_hz)
    return size + 1j * angle


def polar_ln_modulus(draws: Array, temperature_k: Array, frequency_hz: Array) -> tuple[Array, Array]:
    """Real and imaginary part of :func:`ln_modulus`."""
    ln_omega, exponent = np.log(2.0 * math.pi * frequency_hz), draws[:, [EXPONENT]]
    size, angle = polar_modulus(ln_time(draws, temperature_k) + ln_omega, 0.5 * math.pi, *shape_of(draws), slope=False)
    size += plateau_loss(exponent, ln_omega) + draws[:, [VERTICAL]] * np.log(temperature_k / REFERENCE_K)
    return size, angle + 0.5 * math.pi * exponent
