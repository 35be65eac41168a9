"""How quickly a fit gives how many effective draws.

``python tests/benchmarks/fit_speed.py [seeds]`` fits each set of readings from that many seeds (20) and prints, of
ln E' at 30 Hz and -10 to 35 degC: effective draws of the mean (the posterior's variance over that of its mean between
seeds), how far the ends of the 95 % bands scatter between seeds (their worst standard deviation, %), the largest
standard deviation of a law's weight, and the quickest processor time of a fit. ``general_tools.py`` holds the same
against an ensemble sampler.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2])]

import rubbers
import virtual

from matdb.curve.fit import fit_curve
from matdb.material.record import Material

ASKED_C = np.array([-10.0, 0.0, 10.0, 35.0])
TRUTHS = {
    3: "flat plateau",
    5: "two-peaked",
    8: "polyurethane",
    14: "WLF both sides",
    15: "WLF both sides",
    40: "two processes",
    5000: "flat plateau",
}


def readings_of(count: int):
    truth = rubbers.rubber(count, TRUTHS[count])
    # The fifteenth is one more than fourteen.
    design = rubbers.DESIGNS.get(count) or np.linspace(-18.0, 50.0, count)
    return truth.family, rubbers.ring_downs(truth, design, np.random.default_rng(count))


def main(seeds: int) -> None:
    print(f"{'readings':<10}{'effective':>12}{'ends, %':>10}{'weights':>10}{'s':>8}{'a second':>10}")
    for count in TRUTHS:
        family, taken = readings_of(count)
        material, seconds, told, weights = Material(name="virtual", family=family), [], [], []
        for seed in range(seeds if count < 1000 else 3):
            start = time.process_time()
            curve = fit_curve(material, {"virtual": virtual.PART}, taken, seed=seed)
            seconds.append(time.process_time() - start)
            at = np.full(ASKED_C.shape, np.log(60.0 * np.pi))
            value = curve.ln_modulus(ASKED_C, at, misfit=False)
            told.append(value.real + np.log(np.cos(value.imag)))
            weights.append(list(curve.weights.values()))
        ends = np.std([np.quantile(each, (0.025, 0.975), axis=0) for each in told], axis=0, ddof=1).max()
        between = np.var([each.mean(axis=0) for each in told], axis=0, ddof=1).mean()
        effective = np.mean([each.var(axis=0) for each in told]) / between
        spread, least = np.std(weights, axis=0).max(), min(seconds)
        print(
            f"{count:<10}{effective:>12.0f}{100.0 * ends:>10.1f}{spread:>10.2f}{least:>8.2f}{effective / least:>10.0f}",
            flush=True,
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20)
