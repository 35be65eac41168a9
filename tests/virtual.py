"""Virtual specimens whose truth lies outside the fitted family: generalised Maxwell solids, and readings on them.

Three kinds: ``skewed``, one broad skewed spectrum (a steep flank on the glassy side, a power-law wedge towards long
times); ``two peaks``, the same with a second relaxation; ``near glass``, a narrower one whose glass transition lies
close to, or within, the measured temperatures. Shift by WLF above and tangent Arrhenius below the glass transition, or
by Arrhenius throughout. Only specimens of which one would make a mount are kept: at 30 Hz and 23 degC a loss factor of
0.02 to 0.6 and a modulus up to 60 MPa, and at -18 degC at most eight times as stiff.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from matdb.bench.readings import Deflection, Reading, RingDown
from matdb.form import Part, Ring

KINDS = ("skewed", "two peaks", "near glass")
ZERO_C = 273.15
_LN10 = math.log(10.0)
FORM = Ring(outer_mm=16, inner_mm=6, height_mm=5)
PART = Part(name="virtual", material="virtual", form=FORM)
UNIT = FORM.stiffness_n_per_mm(1.0)
STATIC_S = 10.0
#: Bulk modulus of the virtual rubbers, MPa (handbook range 1000 to 2500; from memory).
BULK_MPA = 1900.0


def felt(modulus):
    """A complex modulus (MPa) as the bonded part shows it, which gives by its volume too; below 30 MPa hardly."""
    if abs(modulus) < 30.0:
        return modulus / (1.0 + 0.6 * modulus / BULK_MPA)
    return modulus * np.exp(FORM.ln_bulk_softening("axial", np.log(modulus), BULK_MPA))


class Rung:
    """What can be struck and rings: steady vibration and ring-down from ``modulus(s, temperature_c)``."""

    def at(self, frequency_hz, temperature_c):
        """Complex modulus of a steady vibration, MPa."""
        return self.modulus(2j * np.pi * np.asarray(frequency_hz, dtype=float), temperature_c)

    def ring(self, temperature_c, mass_kg):
        """Damped frequency in Hz and log decrement of a mass on one part: m s^2 + B E(s) = 0."""
        w, s = UNIT * 1e3 / mass_kg, 2j * np.pi * 30.0
        for _ in range(200):
            new = 1j * np.sqrt(w * felt(self.modulus(s, temperature_c)))
            if abs(new - s) < 1e-12 * abs(s):
                break
            s = new
        return s.imag / (2.0 * np.pi), -2.0 * np.pi * s.real / s.imag


@dataclass(frozen=True)
class Specimen(Rung):
    """A generalised Maxwell solid with its shift law."""

    kind: str
    rubbery_mpa: float
    moduli_mpa: np.ndarray
    log10_times: np.ndarray
    glass_k: float
    c1: float
    c2: float
    activation: float | None
    vertical: float

    def ln_shift(self, temperature_k):
        t = np.asarray(temperature_k, dtype=float)
        x = t - self.glass_k
        wlf = -_LN10 * self.c1 * np.maximum(x, 0.0) / (self.c2 + np.maximum(x, 0.0))
        below = _LN10 * self.c1 / self.c2 * self.glass_k**2 * (1.0 / t - 1.0 / self.glass_k)
        if self.activation is None:
            return np.where(x >= 0.0, wlf, below)
        x0 = 296.15 - self.glass_k
        return -_LN10 * self.c1 * x0 / (self.c2 + x0) + self.activation / 8.314462618 * (1.0 / t - 1.0 / 296.15)

    def modulus(self, s, temperature_c):
        """Complex modulus in MPa at Laplace variable ``s`` (1/s)."""
        t = np.asarray(temperature_c, dtype=float) + ZERO_C
        x = (np.asarray(s, dtype=complex) * np.exp(self.ln_shift(t)))[..., None] * 10.0**self.log10_times
        return (t / 296.15) ** self.vertical * (self.rubbery_mpa + np.sum(self.moduli_mpa * x / (1.0 + x), axis=-1))

    @property
    def mountable(self) -> bool:
        room, cold = self.at(30.0, 23.0), self.at(30.0, -18.0)
        return bool(0.02 < room.imag / room.real < 0.6 and room.real < 60.0 and cold.real < 8.0 * room.real)


def specimen(seed: int, kind: str | None = None) -> Specimen:
    """A specimen one would make a mount of; the kind goes round with the seed unless given."""
    kind = kind or KINDS[seed % len(KINDS)]
    rng = np.random.default_rng([seed, KINDS.index(kind)])
    while True:
        found = _draw(rng, kind)
        if found.mountable:
            return found


def _draw(rng: np.random.Generator, kind: str) -> Specimen:
    rubbery = math.exp(rng.uniform(math.log(0.8), math.log(8.0)))
    glassy = math.exp(rng.uniform(math.log(1000.0), math.log(2500.0)))
    x = np.linspace(-10.0, 10.0, 201)
    wedge, steep = rng.uniform(0.25, 0.6), rng.uniform(0.8, 2.0)
    glassy_side = np.exp(-0.5 * (x / steep) ** 2)
    if kind == "near glass":
        weights = np.where(x < 0.0, glassy_side, np.exp(-0.5 * (x / rng.uniform(1.5, 3.0)) ** 2))
        glass = rng.uniform(-45.0, -15.0) + ZERO_C
    else:
        weights = np.where(x < 0.0, glassy_side, 10.0 ** (-wedge * x))
        glass = rng.uniform(-75.0, -35.0) + ZERO_C
    weights /= weights.sum()
    if kind == "two peaks":
        second = np.exp(-0.5 * ((x - rng.uniform(3.0, 7.0)) / rng.uniform(0.8, 1.5)) ** 2)
        weights = weights + rng.uniform(0.002, 0.03) * second / second.sum()
        weights /= weights.sum()
    at_glass = rng.uniform(0.0, 1.5)
    arrhenius = kind != "near glass" and rng.random() < 0.35
    return Specimen(
        kind=kind,
        rubbery_mpa=rubbery,
        moduli_mpa=weights * (glassy - rubbery),
        log10_times=x + at_glass,
        glass_k=glass,
        c1=rng.uniform(13.0, 18.0),
        c2=rng.uniform(45.0, 70.0),
        activation=rng.uniform(40e3, 140e3) if arrhenius else None,
        vertical=rng.uniform(0.0, 1.0),
    )


DESIGNS = ("3 ring-downs", "4 temperatures x 2 masses", "deflections and a ring-down")


def readings(
    truth: Specimen,
    design: str,
    rng: np.random.Generator,
    *,
    stiffness_noise: float = 0.06,
    loss_noise: float = 0.15,
    fumbled: float = 0.0,
) -> list[Reading]:
    """Readings after a design, with noise and a share of grossly wrong ones (mass or gauge off by 1.5 to 3)."""
    # The mass that rings near 30 Hz in the shop.
    mass = UNIT * abs(truth.at(30.0, 23.0)) * 1e3 / (2.0 * np.pi * 30.0) ** 2

    def slip() -> float:
        return math.exp(rng.choice((-1.0, 1.0)) * rng.uniform(0.4, 1.1)) if rng.random() < fumbled else 1.0

    def ring(t: float, m: float) -> RingDown:
        f, decrement = truth.ring(t, m)
        f *= math.sqrt(slip()) * math.exp(0.5 * stiffness_noise * rng.standard_normal())
        decrement = min(max(decrement * math.exp(loss_noise * rng.standard_normal()), 1e-3), 6.0)
        return RingDown(part=PART.name, temperature_c=t, mass_kg=m, frequency_hz=f, log_decrement=decrement)

    def hang(t: float) -> Deflection:
        k = UNIT * float(truth.modulus(1j / STATIC_S, t).real)
        x = 1.0 * 9.80665 / k * slip() * math.exp(stiffness_noise * rng.standard_normal())
        return Deflection(
            part=PART.name,
            temperature_c=t,
            mass_kg=1.0,
            deflection_mm=x,
            dwell_s=STATIC_S,
            deflection_sd_mm=x * stiffness_noise,
        )

    if design == DESIGNS[0]:
        return [ring(t, mass) for t in (-18.0, 23.0, 50.0)]
    if design == DESIGNS[1]:
        return [ring(t, m * mass) for t in (-18.0, 0.0, 23.0, 50.0) for m in (0.5, 2.0)]
    return [*(hang(t) for t in (-18.0, -5.0, 8.0, 23.0, 36.0, 50.0)), ring(23.0, mass)]
