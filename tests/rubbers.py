"""Virtual rubbers as they are, of which no candidate model is the truth: written apart from the curve that is fitted.

Every truth is a sum of processes, each a discrete relaxation spectrum (generalised Maxwell) with its own shift, times
a power of temperature; two have a power law in frequency instead of a spectrum. Figures are drawn wide around what
handbooks give (from memory); loss of filled rubber's plateau 0.03 to 0.10 (physics note, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import virtual

from matdb.bench.readings import RingDown

ZERO_C = 273.15
ROOM_K = 296.15
_LN10 = math.log(10.0)
_GAS = 8.314462618
#: Glass transitions of families that are told, degC (handbook ranges, from memory).
_GLASS_C = {"natural rubber": (-70.0, -58.0), "EPDM": (-60.0, -48.0), "nitrile": (-48.0, -30.0)}
_OMEGA_30 = 2.0 * math.pi * 30.0
KINDS = (
    "power plateau",
    "flat plateau",
    "log-normal plateau",
    "two processes",
    "two-peaked",
    "WLF both sides",
    "polyurethane",
    "critical gel",
)
#: Temperatures of 3, 5, 8 and 14 readings, degC, and those that are asked.
DESIGNS = {
    3: (-18.0, 23.0, 50.0),
    5: (-18.0, 3.0, 23.0, 36.0, 50.0),
    8: (-18.0, -12.0, -4.0, 5.0, 14.0, 23.0, 38.0, 50.0),
    14: tuple(np.linspace(-18.0, 50.0, 14)),
}
ASKED = (-10.0, 0.0, 10.0, 35.0)
Shift = Callable[[np.ndarray], np.ndarray]


@dataclass(frozen=True)
class Process:
    """A spectrum in MPa over log10 of times in s (referred to where its shift is zero), and its shift (ln)."""

    moduli_mpa: np.ndarray
    log10_times: np.ndarray
    ln_shift: Shift


@dataclass(frozen=True)
class Rubber(virtual.Rung):
    """Sum of processes over a rubbery modulus, times powers of temperature and frequency."""

    kind: str
    family: str
    rubbery_mpa: float
    processes: Sequence[Process] = ()
    vertical: float = 0.0
    exponent: float = 0.0
    gel: tuple[float, float, Shift] | None = None

    def modulus(self, s, temperature_c):
        """Complex modulus in MPa at Laplace variable ``s`` (1/s)."""
        t = np.asarray(temperature_c, dtype=float) + ZERO_C
        s = np.asarray(s, dtype=complex)
        total = np.full(np.broadcast_shapes(t.shape, s.shape), self.rubbery_mpa, dtype=complex)
        for each in self.processes:
            x = (s * np.exp(each.ln_shift(t)))[..., None] * 10.0**each.log10_times
            total = total + np.sum(each.moduli_mpa * x / (1.0 + x), axis=-1)
        if self.gel is not None:
            strength, power, shift = self.gel
            total = total + strength * (s * np.exp(shift(t)) / _OMEGA_30) ** power
        return total * (t / ROOM_K) ** self.vertical * (s / _OMEGA_30) ** self.exponent


def wlf(glass_k: float, c1: float, c2: float, *, below: bool = False) -> Shift:
    """Ln shift from the glass transition; ``below`` continues WLF there, otherwise its tangent Arrhenius law."""

    def ln_shift(t):
        x = np.asarray(t, dtype=float) - glass_k
        above = -_LN10 * c1 * x / np.maximum(c2 + x, 0.25 * c2)
        tangent = _LN10 * c1 / c2 * glass_k**2 * (1.0 / np.asarray(t) - 1.0 / glass_k)
        return above if below else np.where(x >= 0.0, above, tangent)

    return ln_shift


def arrhenius(energy: float) -> Shift:
    """Ln shift from 23 degC; ``energy`` in J/mol."""
    return lambda t: energy / _GAS * (1.0 / np.asarray(t, dtype=float) - 1.0 / ROOM_K)


def _transition(rng: np.random.Generator, strength: float, glass_c: tuple[float, float]) -> Process:
    x = np.linspace(-10.0, 10.0, 201)
    wedge, steep = rng.uniform(0.35, 0.7), rng.uniform(0.8, 2.0)
    weights = np.where(x < 0.0, np.exp(-0.5 * (x / steep) ** 2), 10.0 ** (-wedge * x))
    law = wlf(rng.uniform(*glass_c) + ZERO_C, rng.uniform(13.0, 18.0), rng.uniform(45.0, 70.0))
    return Process(strength * weights / weights.sum(), x + rng.uniform(0.0, 1.5), law)


def _bell(rng: np.random.Generator, loss_mpa: float, centre: float, width: float, energy: float) -> Process:
    """A log-normal spectrum with that loss modulus at 30 Hz and 23 degC."""
    x = np.linspace(centre - 5.0 * width, centre + 5.0 * width, 201)
    found = Process(np.exp(-0.5 * ((x - centre) / width) ** 2), x, arrhenius(energy))
    return _scaled(found, loss_mpa)


def _scaled(process: Process, loss_mpa: float) -> Process:
    now = Rubber("", "", 0.0, (process,)).at(30.0, 23.0).imag
    return replace(process, moduli_mpa=process.moduli_mpa * loss_mpa / now)


def _rubber(rng: np.random.Generator, kind: str) -> Rubber:
    rubbery = math.exp(rng.uniform(math.log(0.8), math.log(8.0)))
    family = str(rng.choice([*_GLASS_C, "unknown", "unknown", "unknown"]))
    main = _transition(rng, rng.uniform(1000.0, 2500.0), _GLASS_C.get(family, (-65.0, -38.0)))
    level = rng.uniform(0.03, 0.10)
    found = Rubber(kind, family, rubbery, (main,), rng.uniform(-0.3, 1.0))
    if kind == "power plateau":
        return replace(found, exponent=2.0 / math.pi * math.atan(level))
    loss = level * rubbery
    if kind == "flat plateau":
        x = np.linspace(-rng.uniform(4.0, 7.0), rng.uniform(1.0, 5.0), 201)
        rest = [_scaled(Process(np.ones_like(x), x, arrhenius(rng.uniform(0.0, 25e3))), loss)]
    elif kind == "log-normal plateau":
        rest = [_bell(rng, loss, rng.uniform(-4.5, 0.5), rng.uniform(1.8, 3.5), rng.uniform(0.0, 30e3))]
    else:
        rest = [
            _bell(rng, 0.6 * loss, rng.uniform(-3.0, -1.5), rng.uniform(2.0, 3.5), rng.uniform(0.0, 15e3)),
            _bell(rng, 0.6 * loss, rng.uniform(-3.5, -1.0), rng.uniform(0.8, 1.5), rng.uniform(20e3, 60e3)),
        ]
    return replace(found, processes=(main, *rest))


def _two_peaked(rng: np.random.Generator, kind: str) -> Rubber:
    rubbery = math.exp(rng.uniform(math.log(0.8), math.log(8.0)))
    glassy = rng.uniform(1000.0, 2500.0)
    main = _transition(rng, glassy, (-75.0, -40.0))
    low, high = main.log10_times[0], main.log10_times[-1]
    at = rng.uniform(low + 13.0, high - 3.0)
    x = np.linspace(at - 6.0, at + 6.0, 121)
    weights = np.exp(-0.5 * ((x - at) / rng.uniform(0.8, 1.5)) ** 2)
    second = Process(glassy * rng.uniform(0.001, 0.02) * weights / weights.sum(), x, main.ln_shift)
    return Rubber(kind, "unknown", rubbery, (main, second), rng.uniform(0.0, 1.0))


def _both_sides(rng: np.random.Generator, kind: str) -> Rubber:
    x = np.linspace(-9.0, 12.0, 211)
    weights = np.where(x < 0.0, np.exp(-0.5 * (x / rng.uniform(1.0, 2.5)) ** 2), 10.0 ** (-rng.uniform(0.3, 0.5) * x))
    law = wlf(rng.uniform(-40.0, -15.0) + ZERO_C, rng.uniform(12.0, 17.0), rng.uniform(60.0, 90.0), below=True)
    main = Process(rng.uniform(800.0, 2000.0) * weights / weights.sum(), x + rng.uniform(-1.0, 1.0), law)
    family = str(rng.choice(["nitrile", "unknown", "unknown"]))
    return Rubber(kind, family, math.exp(rng.uniform(math.log(1.0), math.log(12.0))), (main,), rng.uniform(-0.5, 1.0))


def _polyurethane(rng: np.random.Generator, kind: str) -> Rubber:
    rubbery = math.exp(rng.uniform(math.log(6.0), math.log(30.0)))
    x = np.linspace(-8.0, 14.0, 221)
    weights = np.where(
        x < 0.0, np.exp(-0.5 * (x / rng.uniform(1.0, 2.0)) ** 2), np.exp(-0.5 * (x / rng.uniform(2.5, 4.5)) ** 2)
    )
    law = wlf(rng.uniform(-48.0, -34.0) + ZERO_C, rng.uniform(13.0, 17.5), rng.uniform(48.0, 65.0))
    main = Process(rng.uniform(800.0, 1800.0) * weights / weights.sum(), x + rng.uniform(0.0, 1.0), law)
    hard = _bell(rng, rng.uniform(0.02, 0.06) * rubbery, rng.uniform(-4.0, 1.0), rng.uniform(2.0, 4.0), 20e3)
    family = str(rng.choice(["thermoplastic polyurethane ester", "thermoplastic polyurethane ether"]))
    return Rubber(kind, family, rubbery, (main, hard), rng.uniform(-3.0, 0.5))


def _gel(rng: np.random.Generator, kind: str) -> Rubber:
    rubbery, power = math.exp(rng.uniform(math.log(0.05), math.log(1.0))), rng.uniform(0.2, 0.5)
    share = rng.uniform(0.2, 2.0)
    if rng.random() < 0.5:
        energy = rng.uniform(8e3, 60e3)
        law, slow = arrhenius(energy), energy < 20e3
    else:
        bare = wlf(rng.uniform(-90.0, -50.0) + ZERO_C, rng.uniform(13.0, 18.0), rng.uniform(45.0, 70.0))
        law, slow = (lambda t: bare(t) - bare(ROOM_K)), False
    family = str(rng.choice(["silicone gel" if slow else "polyurethane gel", "unknown"]))
    return Rubber(kind, family, rubbery, (), rng.uniform(0.0, 1.0), 0.0, (share * rubbery, power, law))


_DRAW = {"two-peaked": _two_peaked, "WLF both sides": _both_sides, "polyurethane": _polyurethane, "critical gel": _gel}


def rubber(seed: int, kind: str) -> Rubber:
    """A specimen of which one would hang a camera: at 30 Hz and 23 degC a loss factor of 0.02 to 0.6, E' to 60 MPa."""
    rng = np.random.default_rng([seed, KINDS.index(kind), 15])
    stiffest = 8.0 if kind in KINDS[:5] else 30.0
    while True:
        found = _DRAW.get(kind, _rubber)(rng, kind)
        room, cold = found.at(30.0, 23.0), found.at(30.0, -18.0)
        if 0.02 < room.imag / room.real < 0.6 and room.real < 60.0 and cold.real < stiffest * room.real:
            return found


def ring_downs(
    truth: Rubber,
    temperatures_c: Sequence[float],
    rng: np.random.Generator,
    *,
    stiffness_noise: float = 0.06,
    loss_noise: float = 0.15,
    off_k: float = 0.0,
    wrong: float = 1.0,
    wrong_at: int = -1,
    stiffer: float = 1.0,
) -> list[RingDown]:
    """Ring-downs of the mass that rings near 30 Hz in the shop; ``off_k`` is what the thermometer shows too much,
    ``wrong`` the factor on the stiffness that the reading of number ``wrong_at`` shows, ``stiffer`` by how much the
    part is stiffer than the truth."""
    mass = virtual.UNIT * abs(truth.at(30.0, 23.0)) * 1e3 / _OMEGA_30**2
    found = []
    for k, t in enumerate(temperatures_c):
        f, decrement = truth.ring(t, mass / stiffer)
        f *= math.exp(0.5 * stiffness_noise * rng.standard_normal())
        f *= math.sqrt(wrong) if k == wrong_at else 1.0
        decrement = min(max(decrement * math.exp(loss_noise * rng.standard_normal()), 1e-3), 6.0)
        found.append(
            RingDown(
                part=virtual.PART.name, temperature_c=t + off_k, mass_kg=mass, frequency_hz=f, log_decrement=decrement
            )
        )
    return found
