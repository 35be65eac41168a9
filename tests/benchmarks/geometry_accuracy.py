"""Handbook formulas and matdb's tables beside finite elements at geometries off the tables' grids.

    python tests/benchmarks/geometry_accuracy.py

Points as in ``tests/form/finite_elements_aside.csv``, which says nothing to the tables. ``handbook`` is the formula one
finds first: disc 1 + 2 S^2 (also for rings, with their own S), shear G A / h, strut E A / L and 12 E I / L^3,
taper a cylinder of diameter sqrt(D1 D2), bush
2 pi G L / ln(b/a) and the nearer of the short and the long limit of Adkins and Gent; for a finite bulk modulus
1/Ea + 1/B. ``closed form`` is what the tables are divided by, and for rings the best that the literature has. All
errors are relative to finite elements.
"""

import csv
import math
import sys
from pathlib import Path

import numpy as np

TESTS = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(TESTS.parent), str(TESTS), str(TESTS / "form")]

from oracles.closed_form import bulk_softened, ring_axial
from test_form_tables import OURS
from test_grommet import aside

from matdb.form import trends


def _radial(q, length):
    a2 = 1 / q**2
    short = 80 * math.pi * (a2 + 1) / (25 * (a2 + 1) * math.log(q) - 9 * (1 - a2))
    long = 4 * math.pi * (a2 + 1) / ((a2 + 1) * math.log(q) - (1 - a2))
    return length / 3 * (short if length < 1 + 1 / q else long)


HANDBOOK = {
    "pad axial": lambda s, e: 1 + 2 * s**2,
    "pad shear": lambda s, e: 1.0,
    "pad softening": lambda s, e, c: (1 + 2 * s**2) / (1 + c * (1 + 2 * s**2)),
    "strut axial": lambda h, e: 1.0,
    "strut lateral": lambda h, e: 12 * (1 + e**2) / 16 / h**2,
    "taper axial": lambda t, h: math.pi / 4 * t / h,
    "taper shear": lambda t, h: math.pi / 12 * t / h,
    "bush axial": lambda q, length: 2 * math.pi / 3 * length / math.log(q),
    "bush radial": _radial,
    "bush radial frictionless": _radial,
    "bush radial softening": lambda q, length, c: _radial(q, length),
}


def _column(s, e, c=0.0):
    stiff = trends.disc_axial(s) if e == 0 else ring_axial(s, e)
    return bulk_softened(stiff, c)


CLOSED = {
    "pad axial": _column,
    "pad shear": lambda s, e: 3 * trends.sideways((1 - e) / (4 * s), e),
    "pad softening": _column,
    "strut axial": trends.strut_axial,
    "strut lateral": trends.sideways,
    "taper axial": trends.TRENDS["taper axial"],
    "taper shear": trends.TRENDS["taper shear"],
    "bush axial": trends.bush_axial,
    "bush radial": trends.bush_radial,
    "bush radial frictionless": trends.bush_radial,
    "bush radial softening": lambda q, length, c: trends.bush_radial(q, length),
}


def main():
    with (TESTS / "form" / "finite_elements_aside.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    print(
        f"{'form and axis':28s}{'points':>7s}   {'handbook %':>18s}   {'closed form %':>16s}   "
        f"{'matdb: most, median %':>22s}"
    )
    for name in OURS:
        off = []
        for row in rows:
            if row["table"] == name:
                at = [float(row[k]) for k in ("first", "second", "third") if row[k]]
                off.append([float(f[name](*at)) / float(row["value"]) - 1 for f in (HANDBOOK, CLOSED, OURS)])
        off = 100 * np.array(off)
        ours = np.abs(off[:, 2])
        print(
            f"{name:28s}{len(off):7d}   {off[:, 0].min():+8.1f} …{off[:, 0].max():+8.1f}   "
            f"{off[:, 1].min():+7.1f} …{off[:, 1].max():+7.1f}   {ours.max():12.3f} {np.median(ours):9.4f}"
        )
    by: dict[tuple[str, ...], list[float]] = {}
    for neck, sleeve, mode, ratio in aside():
        by.setdefault((neck, "on a sleeve" if sleeve == "1" else "bore free", mode), []).append(abs(ratio - 1.0))
    print("\nwhole grommets, unequal flanges, another mesh: most, median %")
    for name, off in [*by.items(), (("all",), [x for values in by.values() for x in values])]:
        print(f"{' '.join(name):28s}{len(off):7d}   {100 * max(off):12.3f} {100 * np.median(off):9.4f}")


if __name__ == "__main__":
    main()
