"""Is the recommended next reading worth it, and as much as said: virtual benches outside the fitted family.

Run ``python tests/benchmarks/next_reading.py [benches] [first seed] [-v]``. A bench starts with one ring-down at room
temperature or with two readings and asks for the stiffness at 30 Hz over a cold, a wide or a warm range. The
recommended reading and a random one of the other affordable ones are taken from the truth (with noise), the curve is
fitted again, and the asked bands are compared. Narrowing is 1 - width after / width before, width the mean of
ln(high / low).
"""

from __future__ import annotations

import dataclasses
import math
import sys
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2])]

import virtual

from matdb.bench.readings import Deflection, Reading, RingDown
from matdb.curve.fit import fit_curve
from matdb.curve.next_reading import Affordable, NextReading, rank_next_readings
from matdb.material.record import Material

MATERIAL = Material(name="virtual", family="unknown")
PARTS = {"virtual": virtual.PART}
RANGES = ((-20.0, 5.0), (-20.0, 40.0), (5.0, 50.0))
HERTZ = 30.0


def take(truth, kind: str, t: float, mass: float, rng: np.random.Generator) -> Reading:
    """Read the truth: 6 % noise on stiffness, 15 % on loss."""
    if kind == "ring-down":
        f, decrement = truth.ring(t, mass)
        f *= math.exp(0.03 * rng.standard_normal())
        decrement = min(max(decrement * math.exp(0.15 * rng.standard_normal()), 1e-3), 6.0)
        return RingDown(part="virtual", temperature_c=t, mass_kg=mass, frequency_hz=f, log_decrement=decrement)
    k = virtual.UNIT * float(truth.modulus(1j / virtual.STATIC_S, t).real)
    x = mass * 9.80665 / k * math.exp(0.06 * rng.standard_normal())
    return Deflection(part="virtual", temperature_c=t, mass_kg=mass, deflection_mm=x, dwell_s=virtual.STATIC_S)


def width(readings: list[Reading], asked: np.ndarray) -> float:
    """Mean ln(high / low) of the asked stiffness after a fit."""
    got = fit_curve(MATERIAL, PARTS, readings).modulus(asked, HERTZ).storage_mpa
    return float(np.mean(np.log(got.high / got.low)))


@dataclasses.dataclass
class Outcome:
    """One bench."""

    asked: tuple[float, float]
    best: NextReading
    before: float
    recommended: float
    at_random: float

    @property
    def realised(self) -> float:
        return 1.0 - self.recommended / self.before


def bench(seed: int) -> Outcome:
    """One virtual bench."""
    truth = virtual.specimen(1000 + seed)
    rng = np.random.default_rng([seed, 11])
    mass = float(virtual.UNIT * abs(truth.at(HERTZ, 23.0)) * 1e3 / (2.0 * np.pi * HERTZ) ** 2)
    low, high = RANGES[seed // 2 % len(RANGES)]
    asked = np.linspace(low, high, 9)
    start = [take(truth, "ring-down", 23.0, mass, rng)]
    if seed % 2:
        start.append(take(truth, "deflection", float(rng.choice((5.0, 40.0))), mass, rng))
    able = Affordable(temperatures_c=(-20.0, -5.0, 5.0, 23.0, 40.0, 60.0), masses_kg=(0.5 * mass, mass, 2.0 * mass))
    curve = fit_curve(MATERIAL, PARTS, start)
    ranked = rank_next_readings(curve, MATERIAL, virtual.PART, (low, high), frequency_hz=HERTZ, affordable=able)
    other = ranked[1 + int(rng.integers(len(ranked) - 1))]
    state = rng.bit_generator.state
    widths = []
    for chosen in (ranked[0], other):
        # The same luck for both.
        rng.bit_generator.state = state
        new = take(truth, chosen.kind, chosen.temperature_c, chosen.mass_kg, rng)
        widths.append(width([*start, new], asked))
    return Outcome((low, high), ranked[0], width(start, asked), *widths)


def summary(outcomes: list[Outcome]) -> dict[str, float]:
    """The figures that count."""
    said = np.array([o.best.narrowing for o in outcomes])
    done = np.array([o.realised for o in outcomes])
    better = [o.recommended < o.at_random for o in outcomes]
    return {
        "benches": len(outcomes),
        "recommended narrows more than a random one": float(np.mean(better)),
        "median said narrowing": float(np.median(said)),
        "median realised narrowing": float(np.median(done)),
        "median of |said / realised - 1|": float(np.median(np.abs(said / done - 1.0))),
        "median of said / realised": float(np.median(said / done)),
        "median of said / realised width": float(np.median([o.best.width_after / o.recommended for o in outcomes])),
    }


if __name__ == "__main__":
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    done: list[Outcome] = []
    for k in range(first, first + number):
        done.append(bench(k))
        if "-v" in sys.argv:
            o = done[-1]
            print(
                f"{k:4d} {o.best.kind:>10} at {o.best.temperature_c:5.1f} degC, {o.best.mass_kg:.2f} kg: "
                f"before {o.before:.3f} ({o.best.width_before:.3f}), said {o.best.width_after:.3f}, "
                f"realised {o.recommended:.3f}, random {o.at_random:.3f}",
                flush=True,
            )
    for asked in (None, *RANGES):
        mine = [o for o in done if asked in (None, o.asked)]
        if mine:
            print("all" if asked is None else f"{asked[0]:g} to {asked[1]:g} degC")
            for name, value in summary(mine).items():
                print(f"  {name:<50} {value:.3f}")
