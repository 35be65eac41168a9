"""What a family and a label say of a material before anything was measured.

The prior has two layers. The base draws independent normal variables, one a parameter. Facts of the family (stiffness
at 23 degC or the label's hardness, loss factor at 20 degC, cold-to-warm stiffness ratio) then weigh those draws, so
that parameters which could only be guessed one by one agree with what is commonly known of the whole.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from matdb.curve.parameters import COLUMNS, LAWS, REFERENCE_K, ln_time, log10_to_ln, wlf_reference_time
from matdb.material.families import Family, family_named
from matdb.material.hardness import modulus_from_hardness, parse_hardness
from matdb.material.modulus import ln_fractional_modulus
from matdb.material.record import Material
from matdb.material.shift import ZERO_C

__all__ = ["PARAMETERS", "Fact", "Prior", "prior_of"]

Array = NDArray[np.float64]

#: Standard-normal coordinates of the sampler, in order.
PARAMETERS: Final = (
    "rubbery modulus",
    "glassy modulus",
    "alpha",
    "gamma",
    "vertical exponent",
    "relaxation time",
    "glass transition",
    "WLF C1",
    "WLF C2",
    "upper joint",
    "activation energy",
)
DIMENSION: Final = len(PARAMETERS)

#: A hardness reading speaks for about this frequency (a reading after some 1.5 s), Hz.
HARDNESS_HZ: Final = 0.1
#: Facts of loss factor and cold ratio hold at this frequency, Hz.
FACT_HZ: Final = 10.0


@dataclass(frozen=True)
class Fact:
    """Normal knowledge of a logarithm: of a modulus, a loss factor or a modulus ratio."""

    kind: str
    temperature_k: float
    frequency_hz: float
    mean: float
    sd: float
    source: str


@dataclass(frozen=True)
class Prior:
    """Base normals and facts of one material; hashable, so that its draws can be cached."""

    family: str
    hardness: str | None
    glass_transition_c: float | None

    @property
    def table(self) -> Family:
        """The family's figures."""
        return family_named(self.family)

    def facts(self, extra_sd: float = 0.0) -> tuple[Fact, ...]:
        """The facts; ``extra_sd`` widens the one on absolute stiffness (geometry known only so well)."""
        table = self.table
        if self.hardness is not None:
            modulus, sd = modulus_from_hardness(parse_hardness(self.hardness))
            source = f"label hardness {self.hardness}"
        else:
            modulus, sd = table["youngs_modulus_23c"].value, table["youngs_modulus_23c"].spread
            source = table["youngs_modulus_23c"].source
        loss, cold, cool = table["loss_factor_20c"], table["cold_ratio"], table["cool_ratio"]
        return (
            Fact("modulus", 23.0 + ZERO_C, HARDNESS_HZ, math.log(modulus), math.hypot(sd, extra_sd), source),
            Fact("loss factor", 20.0 + ZERO_C, FACT_HZ, math.log(loss.value), loss.spread, loss.source),
            Fact("cold ratio", -20.0 + ZERO_C, FACT_HZ, math.log(cold.value), cold.spread, cold.source),
            Fact("cold ratio", -5.0 + ZERO_C, FACT_HZ, math.log(cool.value), cool.spread, cool.source),
        )

    def centre(self, extra_sd: float = 0.0) -> tuple[float, float]:
        """Mean and standard deviation of ln(rubbery modulus) in the base."""
        fact = self.facts()[0]
        return fact.mean - 0.25, max(0.6, 1.5 * math.hypot(fact.sd, extra_sd))

    def draws(self, u: Array, law: int, *, skewed: bool = True) -> Array:
        """Parameter draws from standard-normal coordinates.

        Parameters
        ----------
        u : ndarray, shape (n, 11)
            Coordinates in the order of :data:`PARAMETERS`.
        law : int
            Index into ``LAWS``.
        skewed : bool
            False holds gamma at 1 (four parameters).

        Returns
        -------
        ndarray, shape (n, 12)
            Columns as :data:`matdb.curve.parameters.COLUMNS`.
        """
        table = self.table
        out = np.empty((u.shape[0], len(COLUMNS)))
        mean, sd = self.centre()
        out[:, 1] = math.log(table["glassy_modulus"].value) + table["glassy_modulus"].spread * u[:, 1]
        # The rubbery plateau stays below a third of the glassy modulus.
        out[:, 0] = np.minimum(mean + sd * u[:, 0], out[:, 1] - 1.1)
        out[:, 2] = _bounded(table["alpha"].value, table["alpha"].spread, u[:, 2], 0.08, 0.95)
        if skewed:
            centre = math.log(table["gamma"].value / (1.0 - table["gamma"].value))
            out[:, 3] = 1.0 / (1.0 + np.exp(-(centre + table["gamma"].spread * u[:, 3])))
        else:
            out[:, 3] = 1.0
        out[:, 4] = table["vertical_exponent"].value + table["vertical_exponent"].spread * u[:, 4]
        tg = table["glass_transition"]
        tg_c, tg_sd = (tg.value, tg.spread) if self.glass_transition_c is None else (self.glass_transition_c, 4.0)
        out[:, 6] = np.maximum(tg_c + ZERO_C + tg_sd * u[:, 6], 60.0)
        out[:, 7] = table["wlf_c1"].value * np.exp(table["wlf_c1"].spread * u[:, 7])
        out[:, 8] = table["wlf_c2"].value * np.exp(table["wlf_c2"].spread * u[:, 8])
        out[:, 9] = np.inf if law != 2 else out[:, 6] + 80.0 * np.exp(0.3 * u[:, 9])
        out[:, 10] = table["activation_energy"].value * 1e3 * np.exp(table["activation_energy"].spread * u[:, 10])
        out[:, 11] = float(law)
        at_glass = table["log10_time_at_glass_transition"]
        if LAWS[law] == "Arrhenius":
            # Where WLF at its central constants would put the time, with two more decades of doubt.
            middle = np.full((1, len(COLUMNS)), np.nan)
            middle[0, 6:10] = tg_c + ZERO_C, table["wlf_c1"].value, table["wlf_c2"].value, np.inf
            start = wlf_reference_time(middle, np.array([log10_to_ln(at_glass.value)]))[0]
            out[:, 5] = start + log10_to_ln(math.hypot(2.0, at_glass.spread)) * u[:, 5]
        else:
            glass = log10_to_ln(1.0) * (at_glass.value + at_glass.spread * u[:, 5])
            out[:, 5] = wlf_reference_time(out, glass)
        return out

    def fact_residuals(self, draws: Array, extra_sd: float = 0.0) -> Array:
        """Standardised distance of each draw from each fact, shape (n, facts)."""
        facts = self.facts(extra_sd)
        out = np.empty((draws.shape[0], len(facts)))
        for k, fact in enumerate(facts):
            here = _ln_modulus(draws, fact.temperature_k, fact.frequency_hz)
            if fact.kind == "modulus":
                value = np.log(np.maximum(np.exp(here).real, 1e-12))
            elif fact.kind == "loss factor":
                value = np.log(np.maximum(np.tan(here.imag), 1e-9))
            else:
                value = here.real - _ln_modulus(draws, REFERENCE_K, fact.frequency_hz).real
            out[:, k] = (value - fact.mean) / fact.sd
        return out

    def fact_log_likelihood(self, draws: Array, extra_sd: float = 0.0) -> Array:
        """Log likelihood of the facts, shape (n,)."""
        return np.asarray(ln_fact_density(self.fact_residuals(draws, extra_sd)).sum(axis=1))


def ln_fact_density(z: Array) -> Array:
    """Ln of a fact's density (not normalised): a rule with exceptions, one in ten lies four times as far out."""
    square = z**2
    return np.asarray(np.log(0.9 * np.exp(-0.5 * square) + 0.025 * np.exp(-square / 32.0)))


def prior_of(material: Material) -> Prior:
    """The prior of a material record."""
    return Prior(material.family, material.hardness, material.glass_transition_c)


def _bounded(mean: float, sd: float, u: Array, low: float, high: float) -> Array:
    """Logit-normal between ``low`` and ``high`` with about that mean and standard deviation."""
    share = (mean - low) / (high - low)
    scale = sd / ((high - low) * share * (1.0 - share))
    return low + (high - low) / (1.0 + np.exp(-(math.log(share / (1.0 - share)) + scale * u)))


def _ln_modulus(draws: Array, temperature_k: float, frequency_hz: float) -> NDArray[np.complex128]:
    ln_s = math.log(2.0 * math.pi * frequency_hz) + 0.5j * math.pi
    ln_s_tau = np.asarray(ln_time(draws, np.array([temperature_k]))[:, 0] + ln_s, dtype=np.complex128)
    value, _ = ln_fractional_modulus(ln_s_tau, draws[:, 0], draws[:, 1], draws[:, 2], draws[:, 3], slope=False)
    return np.asarray(value + draws[:, 4] * math.log(temperature_k / REFERENCE_K))
