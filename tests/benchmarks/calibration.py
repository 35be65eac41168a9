"""How right the bands are: virtual specimens outside the fitted family, three designs of readings.

Run ``python tests/benchmarks/calibration.py [specimens] [first seed] [family]``; it prints a table. ``loss`` stands for the
loss factor, ``hi/lo`` for the width of a 95 % band of the storage modulus; inside is -12, 0, 12 and 35 degC, outside is
-28 and 60 degC (10 K beyond the readings). All are judged at 30 Hz, where the camera hangs; deflections speak for another
frequency (1/(2 pi 10 s)), and are judged there as well.
"""

from __future__ import annotations

import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2])]

import virtual

from matdb.curve.fit import fit_curve
from matdb.material.record import Material

INSIDE = (-12.0, 0.0, 12.0, 35.0)
OUTSIDE = (-28.0, 60.0)
HERTZ = 30.0
STATIC_HERTZ = 1.0 / (2.0 * np.pi * virtual.STATIC_S)


def judge(task: tuple[int, str, float, str, float]) -> dict[str, np.ndarray]:
    """One specimen, one design: error, coverage and width at every temperature."""
    seed, design, hertz, family, fumbled = task
    truth = virtual.specimen(seed)
    rng = np.random.default_rng([seed, virtual.DESIGNS.index(design), 7])
    taken = virtual.readings(truth, design, rng, fumbled=fumbled)
    curve = fit_curve(Material(name="virtual", family=family), {"virtual": virtual.PART}, taken)
    t = np.array(INSIDE + OUTSIDE)
    got = curve.modulus(t, hertz)
    want = truth.at(hertz * np.ones_like(t), t)
    storage, loss = want.real, want.imag / want.real
    return {
        "error": got.storage_mpa.median / storage - 1.0,
        "covered": (got.storage_mpa.low <= storage) & (storage <= got.storage_mpa.high),
        "width": got.storage_mpa.high / got.storage_mpa.low,
        "loss error": got.loss_factor.median / loss - 1.0,
        "loss covered": (got.loss_factor.low <= loss) & (loss <= got.loss_factor.high),
        "kind": truth.kind,
    }


def table(
    specimens: int, first: int = 0, family: str = "unknown", fumbled: float = 0.05, designs=virtual.DESIGNS
) -> list[dict]:
    """Rows of the table; prints nothing."""
    rows = []
    inside = slice(0, len(INSIDE))
    with ProcessPoolExecutor(2) as pool:
        for design, hertz in [(d, HERTZ) for d in designs] + [(d, STATIC_HERTZ) for d in designs if "deflection" in d]:
            found = list(
                pool.map(judge, [(first + k, design, hertz, family, fumbled) for k in range(specimens)], chunksize=4)
            )
            for kind in (*virtual.KINDS, "all"):
                mine = [f for f in found if kind in (f["kind"], "all")]
                stack = {key: np.array([f[key] for f in mine]) for key in found[0] if key != "kind"}
                rows.append(
                    {
                        "design": design,
                        "Hz": hertz,
                        "truth": kind,
                        "n": len(mine),
                        "|error|": np.median(np.abs(stack["error"][:, inside])),
                        "hi/lo": np.median(stack["width"][:, inside]),
                        "E' in": stack["covered"][:, inside].mean(),
                        "E' out": stack["covered"][:, len(INSIDE) :].mean(),
                        "E' all": stack["covered"].mean(),
                        "|loss error|": np.median(np.abs(stack["loss error"][:, inside])),
                        "loss in": stack["loss covered"][:, inside].mean(),
                        "loss out": stack["loss covered"][:, len(INSIDE) :].mean(),
                        "loss all": stack["loss covered"].mean(),
                    }
                )
    return rows


def show(rows: list[dict]) -> None:
    """Print the table."""
    print(" ".join(f"{k:>12}" if k != "design" else f"{k:<28}" for k in rows[0]))
    for row in rows:
        print(
            " ".join(
                f"{v:<28}" if k == "design" else f"{v:>12.3f}" if isinstance(v, float) else f"{v:>12}"
                for k, v in row.items()
            )
        )


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    start = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    show(table(count, start, sys.argv[3] if len(sys.argv) > 3 else "unknown"))
