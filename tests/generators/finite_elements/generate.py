"""Compute the tables in ``data/`` by finite elements, and points held aside to check them by."""

from __future__ import annotations

import json
import platform
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matdb.form.tables import Axis, checksum

from .leg import LEG_ASIDE_MESH, LEG_MESH, printed_leg
from .linear import bush_stiffness, column_stiffness, taper_stiffness
from .mesh import COARSE, FINE, FINER, ROUGH, Fineness
from .squeeze import ASIDE_SQUEEZE, SQUEEZE_MESHES, Squeezed, squeeze_column

__all__ = [
    "CASES",
    "TABLE_VERSION",
    "aside_points",
    "aside_squeeze",
    "linear_tables",
    "over",
    "solve_case",
    "squeeze_fit",
    "write_json",
]

Array = NDArray[np.float64]

#: Raised when the meaning of a table changes.
TABLE_VERSION = 1

_SHAPE = Axis("shape_factor", "log", 0.08, 8.0, 16)
_HOLE = Axis("diameter_ratio", "square root", 0.0, 0.88, 14)
_SLENDER = Axis("slenderness", "log", 0.8, 12.0, 10)
_RATIO = Axis("radius_ratio", "log of excess over 1", 1.2, 4.5, 10)
_LENGTH = Axis("length_ratio", "log", 0.08, 5.0, 14)
_TOP = Axis("diameter_ratio", "linear", 0.4, 1.0, 7)
_TALL = Axis("slenderness", "log", 0.15, 4.0, 9)
_SOFT = Axis("compressibility", "log1p of E/B over 0.003", 0.0, 0.6, 7)


def _with(axis: Axis, count: int) -> Axis:
    return Axis(axis.name, axis.map, axis.low, axis.high, count)


def _pad(axis: str) -> Callable[..., float]:
    def solve(shape: float, hole: float, compressibility: float = 0.0, *, fineness: Fineness) -> float:
        slenderness = (1.0 - hole) / (4.0 * shape)
        return column_stiffness(slenderness, hole, axis, compressibility=compressibility, fineness=fineness)

    return solve


def _strut(axis: str) -> Callable[..., float]:
    def solve(slenderness: float, hole: float, *, fineness: Fineness) -> float:
        return column_stiffness(slenderness, hole, axis, fineness=fineness)

    return solve


def _bush(axis: str, bonded: bool = True) -> Callable[..., float]:
    def solve(ratio: float, length: float, compressibility: float = 0.0, *, fineness: Fineness) -> float:
        return bush_stiffness(ratio, length, axis, bonded=bonded, compressibility=compressibility, fineness=fineness)

    return solve


def _taper(axis: str) -> Callable[..., float]:
    def solve(top: float, height: float, *, fineness: Fineness) -> float:
        return taper_stiffness(top, height, axis, fineness=fineness)

    return solve


def _buckling(slenderness: float, hole: float, *, fineness: Fineness) -> float:
    return printed_leg(slenderness, hole, (1.0 - hole) / 5.0, 1.0, 0.5, fineness=fineness)["buckling"]


def _shear(shape: float, hole: float, *, fineness: Fineness) -> float:
    return 3.0 * _pad("sideways")(shape, hole, fineness=fineness)


#: Table name → what a value is, its axes, and how it is solved.
CASES: dict[str, tuple[str, tuple[Axis, ...], Callable[..., float]]] = {
    "pad axial": ("k h / (E A), bonded, incompressible", (_SHAPE, _HOLE), _pad("axial")),
    "pad shear": ("k h / (G A), bonded, faces parallel, incompressible", (_SHAPE, _HOLE), _shear),
    "pad softening": ("k h / (E A), bonded, by E / B", (_with(_SHAPE, 9), _with(_HOLE, 10), _SOFT), _pad("axial")),
    "strut axial": ("k L / (E A), bonded, incompressible", (_SLENDER, _with(_HOLE, 10)), _strut("axial")),
    "strut lateral": (
        "k L / (E A), bonded, ends parallel, incompressible",
        (_SLENDER, _with(_HOLE, 10)),
        _strut("sideways"),
    ),
    "bush axial": ("k / (E b), bonded, incompressible", (_RATIO, _LENGTH), _bush("axial")),
    "bush radial": ("k / (E b), bonded, incompressible", (_RATIO, _LENGTH), _bush("radial")),
    "bush radial frictionless": (
        "k / (E b), frictionless sleeves in touch, incompressible",
        (_RATIO, _LENGTH),
        _bush("radial", bonded=False),
    ),
    "pad tilt": (
        "k h / (E I), bonded, faces turned, incompressible",
        (_with(_SHAPE, 13), _with(_HOLE, 11)),
        _pad("tilt"),
    ),
    "strut buckling": (
        "squeeze over length at buckling, bonded, ends parallel, incompressible, neo-Hookean",
        (Axis("slenderness", "log", 2.0, 12.0, 7), Axis("diameter_ratio", "square root", 0.0, 0.8, 6)),
        _buckling,
    ),
    "strut tilt": (
        "k L / (E I), bonded, ends turned, incompressible",
        (_with(_SLENDER, 8), _with(_HOLE, 8)),
        _strut("tilt"),
    ),
    "bush tilt": ("k / (E b^3), bonded, incompressible", (_with(_RATIO, 9), _with(_LENGTH, 11)), _bush("tilt")),
    "taper axial": ("k / (E D), bonded, by small over large diameter, incompressible", (_TOP, _TALL), _taper("axial")),
    "taper shear": (
        "k / (E D), bonded, faces parallel, by small over large diameter, incompressible",
        (_TOP, _TALL),
        _taper("sideways"),
    ),
    "pad tilt softening": (
        "k h / (E I), bonded, faces turned, by E / B",
        (_with(_SHAPE, 9), _with(_HOLE, 8), _SOFT),
        _pad("tilt"),
    ),
    "bush tilt softening": (
        "k / (E b^3), bonded, by E / B",
        (_with(_RATIO, 7), _with(_LENGTH, 9), _SOFT),
        _bush("tilt"),
    ),
    "bush radial softening": (
        "k / (E b), bonded, by E / B",
        (_with(_RATIO, 8), _with(_LENGTH, 10), _SOFT),
        _bush("radial"),
    ),
}


def solve_case(job: tuple[str, tuple[float, ...], bool | None]) -> tuple[float, float]:
    """Value of a case at its coordinates, and its relative difference from another mesh, nan where none was solved.

    Of softening a rough mesh serves, and only where asked is another compared; None takes the finer one alone.
    """
    name, at, compare = job
    solve = CASES[name][2]
    if name.endswith("softening"):
        # Only the ratio to the incompressible value is kept, in which most of the error of a rough mesh cancels.
        first, second = (COARSE, ROUGH) if compare is None else (ROUGH, COARSE)
        value = solve(*at, fineness=first)
        return value, abs(value / solve(*at, fineness=second) - 1.0) if compare else np.nan
    meshes = (COARSE, FINE)
    if name.endswith("tilt"):
        meshes = (ROUGH, COARSE)
    if name.endswith("buckling"):
        meshes = (LEG_MESH, LEG_ASIDE_MESH)
    if name.startswith("taper"):
        meshes = (FINE, FINER)
    coarse, fine = (solve(*at, fineness=mesh) for mesh in meshes)
    return fine, abs(coarse / fine - 1.0)


def over(jobs: list[Any], work: Callable[[Any], Any], processes: int) -> Iterator[Any]:
    """Do many jobs, in their order, in several processes."""
    if processes <= 1:
        yield from map(work, jobs)
        return
    with ProcessPoolExecutor(processes) as pool:
        yield from pool.map(work, jobs, chunksize=4)


def linear_tables(names: list[str], processes: int = 1, say: Callable[[str], None] = print) -> dict[str, Any]:
    """Solve every point of the named tables."""
    out = {}
    for name in names:
        meaning, axes, _ = CASES[name]
        grid = np.meshgrid(*(a.points() for a in axes), indexing="ij")
        places = zip(*(g.ravel() for g in grid), strict=True)
        jobs = [(name, tuple(map(float, at)), i % 8 == 0) for i, at in enumerate(places)]
        solved = np.array(list(over(jobs, solve_case, processes)))
        out[name] = {
            "meaning": meaning,
            "axes": [vars(a) for a in axes],
            "mesh_error": float(f"{np.nanmax(solved[:, 1]):.2g}"),
            "median_mesh_error": float(f"{np.nanmedian(solved[:, 1]):.2g}"),
            "values": [float(f"{v:.8g}") for v in solved[:, 0]],
        }
        say(f"{name}: {len(jobs)} points, meshes differ by at most {np.nanmax(solved[:, 1]):.1e}")
    return out


#: Ranges within which points are held aside (those of the stated accuracy, not the tables' own).
_ASIDE: dict[str, tuple[tuple[str, float, float], ...]] = {
    "pad axial": (("log", 0.1, 6.0), ("", 0.0, 0.8)),
    "pad shear": (("log", 0.1, 6.0), ("", 0.0, 0.8)),
    "pad softening": (("log", 0.5, 6.0), ("", 0.0, 0.8), ("log", 1e-4, 0.5)),
    "pad tilt softening": (("log", 0.5, 6.0), ("", 0.0, 0.8), ("log", 1e-4, 0.5)),
    "bush tilt softening": (("", 1.25, 4.0), ("log", 0.1, 4.0), ("log", 1e-4, 0.5)),
    "strut axial": (("", 1.0, 8.0), ("", 0.0, 0.8)),
    "strut lateral": (("", 1.0, 8.0), ("", 0.0, 0.8)),
    "strut buckling": (("", 2.0, 8.0), ("", 0.0, 0.8)),
    "pad tilt": (("log", 0.1, 6.0), ("", 0.0, 0.8)),
    "strut tilt": (("", 1.0, 8.0), ("", 0.0, 0.8)),
    "bush tilt": (("", 1.25, 4.0), ("log", 0.1, 4.0)),
    "bush axial": (("", 1.25, 4.0), ("log", 0.1, 4.0)),
    "bush radial": (("", 1.25, 4.0), ("log", 0.1, 4.0)),
    "bush radial frictionless": (("", 1.25, 4.0), ("log", 0.1, 4.0)),
    "taper axial": (("", 0.45, 1.0), ("log", 0.17, 3.0)),
    "taper shear": (("", 0.45, 1.0), ("log", 0.17, 3.0)),
    "bush radial softening": (("", 1.25, 4.0), ("log", 0.1, 4.0), ("log", 1e-4, 0.5)),
}


def aside_points(
    count: int, seed: int, names: list[str], processes: int = 1
) -> list[tuple[str, tuple[float, ...], float]]:
    """Solve points of the named tables at random geometries, for tests; a third of the pads have no hole."""
    random = np.random.default_rng(seed)
    jobs: list[tuple[str, tuple[float, ...], bool | None]] = []
    for name in names:
        ranges = _ASIDE[name]
        for i in range(count):
            at = []
            for kind, low, high in ranges:
                x = random.uniform(np.log(low), np.log(high)) if kind else random.uniform(low, high)
                at.append(float(f"{np.exp(x) if kind else x:.4g}"))
            if i % 3 == 0 and name.startswith(("pad", "strut")):
                at[1] = 0.0
            jobs.append((name, tuple(at), None))
    solved = over(jobs, solve_case, processes)
    return [(name, at, value) for (name, at, _), (value, _) in zip(jobs, solved, strict=True)]


_SQUEEZE_SHAPE = Axis("shape_factor", "log", 0.08, 5.0, 15)
_SQUEEZE_HOLE = Axis("diameter_ratio", "square root", 0.0, 0.82, 10)
#: Twelve squeezes of the table, with one between each two to see how the slope goes.
_SHARES = np.linspace(0.0, 0.3, 25)[1:]
#: Weight of a coefficient against growing with the square of its degree: keeps the fit calm where points are missing.
_CALM = 1e-4


def _squeeze_job(job: tuple[tuple[float, float], tuple[Fineness, ...]]) -> list[tuple[float, float]]:
    """(share, F / (k₀ h e)) of one geometry, as far as it is a mount to fly.

    Where the elements of a corner fail on one mesh, they may hold on the next, which goes on from there in its measure.
    """
    (shape, hole), meshes = job
    found: dict[float, float] = {}
    for mesh in meshes:
        rows = _flown(squeeze_column((1.0 - hole) / (4.0 * shape), hole, _SHARES, mesh))
        end = max(found, default=0.0)
        if max(rows, default=0.0) > end:
            scale = found[end] / rows[end] if found else 1.0
            found |= {share: scale * value for share, value in rows.items() if share > end}
        if len(found) == _SHARES.size:
            break
    return sorted(found.items())


def _flown(run: Squeezed) -> dict[float, float]:
    """F / (k₀ h e) of one run by share."""
    rows: dict[float, float] = {}
    before, slope = (0.0, 0.0), 1.0
    for share, force, narrowest in zip(run.share.tolist(), run.force, run.narrowest, strict=True):
        value = float(force / run.linear / share)
        slope, last = (value * share - before[1]) / (share - before[0]), slope
        before = (share, value * share)
        # A hole's wall that has nearly closed would touch itself; a slope that falls is a wall that folds, or a
        # corner's elements that fail: neither is a mount to fly.
        if narrowest <= 0.1 or slope < 0.98 * last:
            break
        rows[share] = value
    return rows


def squeeze_fit(over: Callable[..., Any], say: Callable[[str], None] = print) -> dict[str, Any]:
    """Solve large squeeze over pads and rings, and fit it smoothly over geometry, squeeze by squeeze."""
    grid = np.meshgrid(_SQUEEZE_SHAPE.points(), _SQUEEZE_HOLE.points(), indexing="ij")
    places = list(zip(*(g.ravel().tolist() for g in grid), strict=True))
    jobs = [(at, SQUEEZE_MESHES[: None if at[0] < 2.0 else 3]) for at in places]
    solved = [dict(rows) for rows in over(jobs, _squeeze_job)]
    shares = [float(f"{share:.6g}") for share in _SHARES[1::2]]
    coefficients, residuals, points = [], [], 0
    bases = [
        np.polynomial.chebyshev.chebvander(axis.reduced(g.ravel()), axis.count - 1)
        for axis, g in zip((_SQUEEZE_SHAPE, _SQUEEZE_HOLE), grid, strict=True)
    ]
    design = np.einsum("pi,pj->pij", *bases).reshape(len(places), -1)
    orders = np.add.outer(np.arange(_SQUEEZE_SHAPE.count), np.arange(_SQUEEZE_HOLE.count)).ravel()
    calm = np.diag(_CALM * orders.astype(float) ** 2)
    for share in _SHARES[1::2]:
        known = [i for i, rows in enumerate(solved) if float(share) in rows]
        target = np.log([solved[i][float(share)] * 2.0 * share / ((1.0 - share) ** -2 - 1.0) for i in known])
        padded = np.concatenate([target, np.zeros(len(calm))])
        found = np.linalg.lstsq(np.vstack([design[known], calm]), padded, rcond=None)[0]
        coefficients.append(found)
        residuals.append(design[known] @ found - target)
        points += len(known)
    residual = np.concatenate(residuals)
    say(f"squeeze: {points} points, fit rms {residual.std():.1e}, most {np.abs(residual).max():.1e}")
    few = places[:: len(places) // 12]
    meshes = []
    for at, finer in zip(few, over([(at, ASIDE_SQUEEZE) for at in few], _squeeze_job), strict=True):
        mine = solved[places.index(at)]
        meshes += [abs(mine[share] / value - 1.0) for share, value in finer if share in mine]
    return {
        "squeeze": {
            "meaning": "Chebyshev coefficients of ln[F / (k0 squeeze) * 2e / (lambda^-2 - 1)] at each squeeze share e, "
            "bonded, incompressible, neo-Hookean, bulging walls stick to the plates",
            "axes": [vars(_SQUEEZE_SHAPE), vars(_SQUEEZE_HOLE)],
            "places": shares,
            "reach": [round(max(rows, default=0.0), 6) for rows in solved],
            "points": points,
            "fit_error": float(f"{np.sqrt(np.mean(residual**2)):.2g}"),
            "largest_fit_error": float(f"{np.abs(residual).max():.2g}"),
            "mesh_error": float(f"{max(meshes):.2g}"),
            "median_mesh_error": float(f"{np.median(meshes):.2g}"),
            "values": [float(f"{c:.7g}") for c in np.concatenate(coefficients)],
        }
    }


def aside_squeeze(count: int, seed: int, over: Callable[..., Any]) -> list[tuple[float, ...]]:
    """Solve large squeeze at random geometries on a finer mesh: shape factor, diameter ratio, share, F / (k₀ h e)."""
    random = np.random.default_rng(seed)
    jobs = []
    for i in range(count):
        shape = float(f"{np.exp(random.uniform(np.log(0.15), np.log(3.0))):.4g}")
        jobs.append(((shape, 0.0 if i % 3 == 0 else float(f"{random.uniform(0.0, 0.7):.4g}")), ASIDE_SQUEEZE))
    rows: list[tuple[float, ...]] = []
    for (at, _), solved in zip(jobs, over(jobs, _squeeze_job), strict=True):
        rows += [(*at, share, value) for share, value in solved[1::2]]
    return rows


def write_json(path: Path, contents: dict[str, Any], about: str) -> None:
    """Write a table file with its version, tools and checksum."""
    whole = {
        "about": about,
        "version": TABLE_VERSION,
        "made_by": "python -m tests.generators.finite_elements",
        "tools": {
            "python": platform.python_version(),
            "numpy": version("numpy"),
            "scipy": version("scipy"),
            "scikit-fem": version("scikit-fem"),
        },
        "sha256": checksum(contents),
        "tables": contents,
    }
    text = json.dumps(whole, indent=1, ensure_ascii=False)
    # One line per list of numbers.
    lines, joined = [], ""
    for line in text.splitlines():
        bare = line.strip()
        number = bare.rstrip(",").replace(".", "").replace("-", "").replace("e", "").replace("+", "").isdigit()
        if number:
            joined += (" " if joined else line[: len(line) - len(line.lstrip())]) + bare
            if len(joined) > 100:
                lines.append(joined)
                joined = ""
            continue
        if joined:
            lines.append(joined)
            joined = ""
        lines.append(line)
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
