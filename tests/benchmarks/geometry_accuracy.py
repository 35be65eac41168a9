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
from test_legs import aside as aside_legs

from matdb.form import Ring, trends
from matdb.form.squeeze_law import tabulated_law


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


#: What is held aside of tilting, buckling and softening has no formula beside it that one would find first.
NONE = lambda *at: math.nan  # noqa: E731


def shown(title, by):
    """Most and median error in % of named lists of ours over finite elements, and all of them."""
    print(f"\n{title}: most, median %")
    for name, ratios in by.items():
        off = 100 * np.abs(np.array(ratios) - 1)
        print(f"{name:38s}{len(off):7d}   {off.max():12.3f} {np.median(off):9.4f}")
    return [ratio for ratios in by.values() for ratio in ratios]


def tables():
    """Each table beside the handbook; returns ours over finite elements at every point."""
    with (TESTS / "form" / "finite_elements_aside.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    print(
        f"{'form and axis':28s}{'points':>7s}   {'handbook %':>18s}   {'closed form %':>18s}   "
        f"{'matdb: most, median %':>22s}"
    )
    ratios = []
    for name in OURS:
        off = []
        for row in rows:
            if row["table"] == name:
                at = [float(row[k]) for k in ("first", "second", "third") if row[k]]
                laws = (HANDBOOK.get(name, NONE), CLOSED.get(name, NONE), OURS[name])
                off.append([float(law(*at)) / float(row["value"]) - 1 for law in laws])
        off = 100 * np.array(off)
        ours = np.abs(off[:, 2])
        ratios += list(1 + off[:, 2] / 100)
        spans = [f"{low:+8.1f} …{high:+8.1f}" for low, high in zip(off.min(axis=0), off.max(axis=0), strict=True)]
        handbook, closed = spans[:2] if name in HANDBOOK else ("-", "-")
        print(f"{name:28s}{len(off):7d}   {handbook:>18s}   {closed:>18s}   {ours.max():12.3f} {np.median(ours):9.4f}")
    return ratios


def squeezes():
    """Ours over finite elements by squeeze: forces, and tangents as their central differences."""
    forces: dict[tuple[float, float], dict[float, float]] = {}
    with (TESTS / "form" / "squeeze_aside.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            share = round(float(row["squeeze_share"]), 4)
            at = float(row["shape_factor"]), float(row["diameter_ratio"])
            forces.setdefault(at, {})[share] = float(row["relative_force"]) * share
    by: dict[str, list[float]] = {}
    for at, force in forces.items():
        law = tabulated_law(*at)
        for share in (0.1, 0.15, 0.2, 0.25, 0.3):
            low, high = round(share - 0.025, 4), round(share + 0.025, 4)
            if share in force and share <= law.most + 1e-9:
                by.setdefault(f"force at {share:.0%}", []).append(float(law.force(share)) / force[share])
            if high in force and high <= law.most + 1e-9:
                tangent = float(law.force(high) - law.force(low)) / (force[high] - force[low])
                by.setdefault(f"tangent at {share:.0%}", []).append(tangent)
    return by


def tilting():
    """How much tilting adds to roll and to its frequency, of four rings 16 x 6 x 5 on squares."""
    ring = Ring(16, 6, 5)
    along, tilt = ring.stiffness_n_per_mm(1.0), ring.tilting_stiffness_n_mm_per_rad(1.0)
    print("\ntilting of four rings 16 x 6 x 5: share of the stiffness in roll, and of its frequency")
    for wide in (80, 60, 40, 24):
        share = tilt / (along * (wide / 2) ** 2)
        print(f"square of {wide} mm{share:12.1%}{math.sqrt(1 + share) - 1:8.1%}")


def main():
    ratios = tables()
    by: dict[str, list[float]] = {}
    for neck, sleeve, mode, ratio in aside():
        by.setdefault(" ".join((neck, "on a sleeve" if sleeve == "1" else "bore free", mode)), []).append(ratio)
    ratios += shown("whole grommets, unequal flanges, another mesh", by)
    for title, kind in (("printed legs, another mesh", "printed"), ("bent legs, as solids", "bent")):
        by = {}
        for mode, ratio, leg in aside_legs(kind):
            flared = getattr(leg, "flare_mm", None)
            section = "flared " if flared else "with a bore " if getattr(leg, "inner_mm", 0.0) else ""
            by.setdefault(section + mode, []).append(ratio)
        ratios += shown(title, by)
    by = squeezes()
    beyond = {name: by.pop(name) for name in ("tangent at 25%", "tangent at 30%") if name in by}
    ratios += shown("large squeeze, a finer mesh", by)
    shown("beyond it, where finite elements of two meshes differ by 3 to 8 % (not counted below)", beyond)
    shown("all of them", {"": ratios})
    tilting()


if __name__ == "__main__":
    main()
