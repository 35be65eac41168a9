"""One million stiffness evaluations in one call, as a ratio to the plain formula in NumPy in the same run.

    python tests/benchmarks/geometry_speed.py

Exits with 1 when a ratio passes 5.
"""

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from matdb.form import Bush, GrommetPair, Pad, Ring, Strut
from matdb.form.column import column_axial

COUNT = 1_000_000


def best(work, rounds=7):
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def main():
    random = np.random.default_rng(1)
    modulus = random.uniform(0.5, 5.0, COUNT)
    complex_modulus = modulus * (1.0 + 0.15j)
    pad, ring = Pad(10, 5), Ring(16, 6, 5)
    squeeze = random.uniform(0.0, 0.3 * 5, COUNT)

    def plain(e):
        return e * (np.pi / 4 * 10.0**2 / 5.0) * (1.0 + 2.0 * 0.5**2)

    def plain_squeezed(e, q):
        stretch = 1.0 - q / 5.0
        inverse = 1.0 / (stretch * stretch * stretch)
        return e * (np.pi / 4 * 10.0**2 / 5.0) * ((1.0 + 2.0 * inverse) / 3.0 + 2.0 * 0.5**2 * inverse)

    plain_time, plain_complex = best(lambda: plain(modulus)), best(lambda: plain(complex_modulus))
    squeezed_time = best(lambda: plain_squeezed(modulus, squeeze))
    shape, hole = random.uniform(0.1, 6.0, COUNT), random.uniform(0.0, 0.8, COUNT)

    def plain_shapes():
        return modulus * (1.0 + 2.0 * shape**2)

    rows = [
        ("pad axial", plain_time, lambda: pad.stiffness_n_per_mm(modulus)),
        ("ring shear", plain_time, lambda: ring.stiffness_n_per_mm(modulus, "shear")),
        ("bush radial", plain_time, lambda: Bush(12, 6, 10).stiffness_n_per_mm(modulus, "radial")),
        ("strut lateral", plain_time, lambda: Strut(8, length_mm=20).stiffness_n_per_mm(modulus, "lateral")),
        ("grommet pair", plain_time, lambda: GrommetPair(ring).stiffness_n_per_mm(modulus)),
        ("pad, complex modulus", plain_complex, lambda: pad.stiffness_n_per_mm(complex_modulus)),
        ("pad, each its squeeze", squeezed_time, lambda: pad.stiffness_n_per_mm(modulus, squeeze_mm=squeeze)),
    ]
    worst = 0.0
    for name, reference, work in rows:
        ratio = best(work) / reference
        worst = max(worst, ratio)
        print(f"{name:28s} {ratio:6.2f} times the plain formula ({1e3 * reference:.1f} ms)")
    # Beyond the promise: a million different geometries, each through the two-variable table.
    reference = best(plain_shapes)
    ratio = best(lambda: modulus * column_axial((1.0 - hole) / (4.0 * shape), hole), 2) / reference
    print(f"{'a million ring shapes':28s} {ratio:6.1f} times 1 + 2 S² ({1e3 * reference:.1f} ms); not promised")
    return int(worst > 5.0)


if __name__ == "__main__":
    sys.exit(main())
