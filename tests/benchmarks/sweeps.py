"""How long a fit of thousands of sweep rows takes against one of forty, in one run.

Run ``python tests/benchmarks/sweeps.py [rows]``.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2])]

import virtual

from matdb.bench.readings import ModulusPoint
from matdb.curve.fit import fit_curve
from matdb.curve.gathering import gather
from matdb.material.record import Material


def sweep(truth, temperatures: np.ndarray, frequencies: np.ndarray, rng: np.random.Generator) -> list[ModulusPoint]:
    """Rows with 2 % noise on the modulus and 5 % on the loss factor."""
    rows = []
    for t in temperatures:
        for f, e in zip(frequencies, truth.at(frequencies, t * np.ones_like(frequencies)), strict=True):
            storage, loss = e.real, e.imag / e.real
            storage *= np.exp(0.02 * rng.standard_normal())
            loss *= np.exp(0.05 * rng.standard_normal())
            rows.append(
                ModulusPoint(
                    material="virtual",
                    temperature_c=float(t),
                    frequency_hz=float(f),
                    storage_mpa=storage,
                    loss_factor=loss,
                )
            )
    return rows


def main(rows: int) -> None:
    """Print both times and their ratio (should be at most 5)."""
    truth, material = virtual.specimen(1), Material(name="virtual", family="unknown")
    seconds = []
    fit_curve(material, {}, sweep(truth, np.array([20.0]), np.array([1.0, 10.0]), np.random.default_rng(0)))
    for temperatures, number in ((5, 8), (20, rows // 20)):
        taken = sweep(
            truth, np.linspace(-40.0, 60.0, temperatures), np.geomspace(0.1, 100.0, number), np.random.default_rng(0)
        )
        start = time.process_time()
        curve = fit_curve(material, {}, taken)
        seconds.append(time.process_time() - start)
        t = np.linspace(-35.0, 55.0, 10)
        error = curve.modulus(t, 10.0).storage_mpa.median / truth.at(10.0 * np.ones(10), t).real - 1.0
        print(
            f"{len(taken):6d} readings -> {gather(taken, {}).size:3d} rows: {seconds[-1]:6.2f} s of CPU, "
            f"median |error| of E' at 10 Hz {np.median(np.abs(error)):.3f}"
        )
    print(f"ratio {seconds[1] / seconds[0]:.2f} (at most 5)")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5000)
