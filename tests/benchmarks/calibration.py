"""How right the bands are: virtual specimens outside the fitted family, three designs of readings.

``python tests/benchmarks/calibration.py [specimens] [first seed] [family]`` prints two tables.

The first: one reading in twenty is grossly wrong. Inside is every 10 K that was not measured (-10, 0, 10, 30, 40 degC),
outside is 10 K beyond the readings (-28 and 60 degC). All are judged at 30 Hz, where the camera hangs; deflections
speak for another frequency (1/(2 pi 10 s)), and are judged there as well: at 30 Hz only one of that design's seven
readings was taken, and most answers are marked as extrapolated (``flagged`` is their share, inside). The second: three
ring-downs, none of them wrong, at -12, 0, 12 and 35 degC. ``loss`` stands for the loss factor, ``hi/lo`` for the width
of a 95 % band of the storage modulus.

``python tests/benchmarks/calibration.py rubber [specimens] [first seed] [kind of truth ...] [exact | real]`` prints
what :mod:`benchmarks.rubber` measures: truths of rubber as it is, for 3, 5 and 8 readings; how often right and wrong
readings are named; what is said and not said of readings. The truths' thermometers are exact; with ``exact`` the first
table's fits are told so, and leave out the kelvin that a thermometer usually may be off; with ``real`` the thermometers
of the first table are off as the fits allow for (one a set, standard deviation 1 K).
"""

from __future__ import annotations

import sys
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2])]

import virtual

from matdb.curve.fit import fit_curve
from matdb.material.record import Material

INSIDE = (-10.0, 0.0, 10.0, 30.0, 40.0)
OUTSIDE = (-28.0, 60.0)
FOUR = (-12.0, 0.0, 12.0, 35.0)
HERTZ = 30.0
STATIC_HERTZ = 1.0 / (2.0 * np.pi * virtual.STATIC_S)


def judge(task: tuple[int, str, str, float, tuple[float, ...], tuple[float, ...]]) -> list[dict]:
    """One specimen, one design: error, coverage and width at every temperature, at one or two frequencies."""
    seed, design, family, fumbled, inside, outside = task
    truth = virtual.specimen(seed)
    rng = np.random.default_rng([seed, virtual.DESIGNS.index(design), 7])
    taken = virtual.readings(truth, design, rng, fumbled=fumbled)
    start = time.perf_counter()
    curve = fit_curve(Material(name="virtual", family=family), {"virtual": virtual.PART}, taken)
    seconds = time.perf_counter() - start
    t = np.array(inside + outside)
    found = []
    for hertz in (HERTZ, STATIC_HERTZ) if "deflection" in design else (HERTZ,):
        got = curve.modulus(t, hertz)
        want = truth.at(hertz * np.ones_like(t), t)
        storage, loss = want.real, want.imag / want.real
        found.append(
            {
                "kind": truth.kind,
                "Hz": hertz,
                "seconds": seconds,
                "error": got.storage_mpa.median / storage - 1.0,
                "covered": (got.storage_mpa.low <= storage) & (storage <= got.storage_mpa.high),
                "width": got.storage_mpa.high / got.storage_mpa.low,
                "loss error": got.loss_factor.median / loss - 1.0,
                "flagged": np.asarray(got.extrapolated, dtype=float),
                "loss covered": (got.loss_factor.low <= loss) & (loss <= got.loss_factor.high),
            }
        )
    return found


def table(
    specimens: int,
    first: int = 0,
    family: str = "unknown",
    fumbled: float = 0.05,
    designs: tuple[str, ...] = virtual.DESIGNS,
    inside: tuple[float, ...] = INSIDE,
    outside: tuple[float, ...] = OUTSIDE,
) -> list[dict]:
    """Rows of the table; prints nothing."""
    rows = []
    n = len(inside)
    with ProcessPoolExecutor(2) as pool:
        for design in designs:
            tasks = [(first + k, design, family, fumbled, inside, outside) for k in range(specimens)]
            found = [each for some in pool.map(judge, tasks, chunksize=4) for each in some]
            for hertz in sorted({f["Hz"] for f in found}, reverse=True):
                for kind in (*virtual.KINDS, "all"):
                    mine = [f for f in found if f["Hz"] == hertz and kind in (f["kind"], "all")]
                    of = {key: np.array([f[key] for f in mine]) for key in found[0] if key not in ("kind", "Hz")}
                    row = {
                        "design": design,
                        "Hz": round(hertz, 3),
                        "truth": kind,
                        "n": len(mine),
                        "|error|": np.median(np.abs(of["error"][:, :n])),
                        "hi/lo": np.median(of["width"][:, :n]),
                        "E' in": of["covered"][:, :n].mean(),
                        "E' out": of["covered"][:, n:].mean() if outside else np.nan,
                        "E' all": of["covered"].mean(),
                        "|loss err|": np.median(np.abs(of["loss error"][:, :n])),
                        "loss in": of["loss covered"][:, :n].mean(),
                        "loss out": of["loss covered"][:, n:].mean() if outside else np.nan,
                        "loss all": of["loss covered"].mean(),
                        "flagged": of["flagged"][:, :n].mean(),
                        "s/fit": np.median(of["seconds"]),
                    }
                    rows.append(row)
    return rows


def show(rows: list[dict]) -> None:
    """Print the table."""
    wide = {"design": 26, "truth": 10}
    print(" ".join(f"{k:<{wide[k]}}" if k in wide else f"{k:>10}" for k in rows[0]))
    for row in rows:
        cells = []
        for k, v in row.items():
            cells.append(f"{v:<{wide[k]}}" if k in wide else f"{v:>10.3f}" if isinstance(v, float) else f"{v:>10}")
        print(" ".join(cells), flush=True)


if __name__ == "__main__" and sys.argv[1:2] == ["rubber"]:
    import benchmarks.rubber

    benchmarks.rubber.main(sys.argv[2:])
elif __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    start_seed = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    kin = sys.argv[3] if len(sys.argv) > 3 else "unknown"
    show(table(count, start_seed, kin))
    print()
    show(table(count, start_seed, kin, 0.0, virtual.DESIGNS[:1], FOUR, ()))
