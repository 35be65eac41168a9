"""Time and memory of the ranking, and their growth with each factor.

Run: ``python tests/benchmarks/suit.py`` (about two minutes). Every case runs in a process of its own, on one thread, so
that its largest memory is its own. First the full size in all six directions, in turn with the code of the last commit
that judged up and down alone, which is checked out for it beside (``--no-old`` leaves that out). Then growth. Columns:
wall and processor seconds of the ranking, largest memory of the process (interpreter, NumPy and curves in it), and the
ratio of processor time to the base case. A factor grows linearly or better when its ratio stays below the factor's own.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

BASE = {"parts": 2000, "squeezes": 5, "hours": 72, "draws": 200, "frequencies": 60, "materials": 20, "directions": 6}
#: Factor to the values that it is varied over, the others at a base of their own small enough to run often.
SMALL = {"parts": 400, "squeezes": 5, "hours": 72, "draws": 200, "frequencies": 60, "materials": 8, "directions": 6}
GROWTH = {
    "parts": (400, 800, 1600, 3200),
    "squeezes": (1, 5, 10, 20),
    "hours": (18, 36, 72, 144),
    "draws": (50, 100, 200, 400),
    "frequencies": (30, 60, 120, 240),
    "materials": (4, 8, 16, 32),
}
TOP = Path(__file__).parents[2]
#: The last commit that judged up and down alone, without strain, clearance or what turns the camera.
OLD = "ed7638a"
#: At full size in all directions: processor time over that commit's, wall time, memory.
LIMIT_RATIO, LIMIT_S, LIMIT_MIB = 3.0, 20.0, 200.0
LABELS = (
    ("silicone", "40 A"),
    ("silicone gel", "30 OO"),
    ("thermoplastic polyurethane ester", "85 A"),
    ("natural rubber", "45 A"),
)


def case(factors: dict[str, int]) -> dict[str, float]:
    """Rank once in this process."""
    import resource

    import numpy as np

    from matdb.advice import judge as judging
    from matdb.advice import suit as ranking
    from matdb.advice.requirement import Candidate
    from matdb.curve.fit import prior_curve
    from matdb.form import Part, Ring
    from matdb.form import base as forms
    from matdb.material.record import Material
    from matdb.mounting import suspended
    from matdb.mounting.record import Mounting

    n, m, draws = factors["parts"], factors["materials"], factors["draws"]
    bases = [prior_curve(Material(name=family, family=family, hardness=label)) for family, label in LABELS]
    curves, materials = [], []
    for k in range(m):
        family, label = LABELS[k % len(LABELS)]
        base = bases[k % len(LABELS)]
        some = np.arange(draws) % len(base.parameters)
        materials.append(Material(name=f"material {k}", family=family, hardness=label))
        # A fitted curve has a misfit, which takes time as well.
        curves.append(dataclasses.replace(base, parameters=base.parameters[some], misfit=np.full(draws, 0.02), seed=k))
    candidates = [
        Candidate(
            Part(
                name=f"part {k}",
                material=materials[k % m].name,
                form=Ring(outer_mm=10.0 + 12.0 * k / n, inner_mm=4.0, height_mm=5.0 + k % 5),
            ),
            materials[k % m],
            curves[k % m],
        )
        for k in range(n)
    ]
    shares = tuple(0.2 * k / max(factors["squeezes"] - 1, 1) for k in range(factors["squeezes"]))
    forms.SQUEEZE_SHARES = shares
    f = np.geomspace(suspended.FREQUENCIES_HZ[0], suspended.FREQUENCIES_HZ[-1], factors["frequencies"])
    judging._LOOKED = factors["frequencies"] // 2  # in the band of each of two orders
    suspended._LN_OMEGA, suspended._PLACES = np.log(2 * np.pi * f), np.arange(float(f.size))
    more = {"spread_mm": (80, 60), "box_mm": (110, 80, 60)} if factors["directions"] == 6 else {}
    mounting = Mounting(name="camera", mass_kg=0.6, count=4, rpm_idle=4200, rpm_full=8000, manoeuvre_hz=5.0, **more)
    hours = np.random.default_rng(0).uniform(-15.0, 20.0, factors["hours"])
    started, used = time.perf_counter(), time.process_time()
    rows = ranking.suit(candidates, mounting, hours)
    wall, cpu = time.perf_counter() - started, time.process_time() - used
    assert len(rows) == n
    return {"wall": wall, "cpu": cpu, "mib": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0}


def told(factors: dict[str, int], times: int = 1, top: Path = TOP) -> dict[str, float]:
    """The case in processes of their own: the quickest of some."""
    threads = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
    found = []
    for _ in range(times):
        done = subprocess.run(
            [sys.executable, top / "tests/benchmarks/suit.py", "--case", json.dumps(factors)],
            env={**os.environ, **threads, "PYTHONPATH": str(top)},
            capture_output=True,
            text=True,
            check=True,
        )
        found.append(json.loads(done.stdout))
    return min(found, key=lambda each: each["cpu"])


def side_by_side(with_old: bool) -> dict[str, dict[str, float]]:
    """The full size in all directions, up and down alone and by the old code, in turn: what else runs falls on all."""
    with tempfile.TemporaryDirectory() as folder:
        cases = {"all": (BASE, TOP), "up and down": (BASE | {"directions": 1}, TOP)}
        git = ("git", "-C", str(TOP), "worktree")
        if with_old:
            cases["old"] = BASE, Path(folder) / "old"
            subprocess.run([*git, "add", "--detach", str(cases["old"][1]), OLD], check=True, capture_output=True)
        try:
            found = [{name: told(factors, top=top) for name, (factors, top) in cases.items()} for _ in range(2)]
        finally:
            if with_old:
                subprocess.run([*git, "remove", "--force", str(cases["old"][1])], check=True)
    return {name: min((each[name] for each in found), key=lambda each: each["cpu"]) for name in cases}


def main() -> int:
    """Print the table; exit code 1 when the limits are not kept."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--case", help=argparse.SUPPRESS)
    parser.add_argument("--no-old", action="store_true", help="do not check out and time the old code")
    given = parser.parse_args()
    if given.case:
        print(json.dumps(case(json.loads(given.case))))
        return 0
    print(", ".join(f"{value} {name}" for name, value in BASE.items()))
    best = side_by_side(with_old=not given.no_old)
    whole, up_down, old = (best.get(name) for name in ("all", "up and down", "old"))
    assert whole is not None
    assert up_down is not None
    print(
        f"  wall {whole['wall']:.1f} s (limit {LIMIT_S:g}), processor {whole['cpu']:.1f} s, "
        f"memory {whole['mib']:.0f} MiB (limit {LIMIT_MIB:g})"
    )
    print(f"  up and down alone: processor {up_down['cpu']:.1f} s")
    ratio = whole["cpu"] / old["cpu"] if old else 0.0
    if old:
        print(f"  {OLD}, up and down alone: processor {old['cpu']:.1f} s; ratio {ratio:.2f} (limit {LIMIT_RATIO:g})")
    print()
    small = told(SMALL, 2)
    print("growth from " + ", ".join(f"{value} {name}" for name, value in SMALL.items()))
    print(
        f"{'factor':12}{'value':>8}{'wall, s':>10}{'proc., s':>10}{'MiB':>8}{'growth of time':>16}{'of the factor':>15}"
    )
    worst = 0.0
    for name, values in GROWTH.items():
        first: dict[str, float] | None = None
        for value in values:
            each = small if value == SMALL[name] else told(SMALL | {name: value}, 2)
            first = first or each
            time_ratio, grown = each["cpu"] / first["cpu"], value / values[0]
            worst = max(worst, time_ratio / grown)
            print(
                f"{name:12}{value:8d}{each['wall']:10.2f}{each['cpu']:10.2f}{each['mib']:8.0f}"
                f"{time_ratio:16.2f}{grown:15.2f}"
            )
    print(f"\nlargest growth of time over growth of its factor: {worst:.2f} (1 is linear)")
    kept = ratio < LIMIT_RATIO and whole["wall"] < LIMIT_S and whole["mib"] < LIMIT_MIB
    return 0 if kept and worst < 1.3 else 1


if __name__ == "__main__":
    raise SystemExit(main())
