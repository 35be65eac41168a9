"""Solve flanges with half a neck at scattered geometries, and draw smooth functions through them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any
from unittest.mock import patch

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve
from scipy.optimize import minimize
from scipy.stats import qmc

from matdb.form.grommet_table import _MESH, GROMMET_COMPRESSIBILITY, none_trend, quadratic
from matdb.form.tables import MAPS, Axis

from .grommet import MODES, half_grommet, whole_grommet
from .mesh import Fineness

__all__ = ["aside_grommets", "grommet_tables"]

Array = NDArray[np.float64]
#: A way of doing many jobs at once.
Over = Callable[[list[Any], Callable[[Any], Any]], Iterable[Any]]

_AXES = (
    Axis("bore_over_flange", "linear", 0.12, 0.66, 0),
    Axis("neck_over_wall", "log", 0.1, 0.88, 0),
    Axis("height_over_wall", "log", 0.18, 2.4, 0),
    Axis("half_plate_over_neck", "log", 0.12, 4.0, 0),
)
#: Of the tables, in which a thin neck and a thin bearing are alike.
_TABLE_AXES = tuple(replace(axis, map="logit") if axis.name == "neck_over_wall" else axis for axis in _AXES)
_BORES = ("free", "sleeve")
_NECKS = [(state, sleeve, mode) for state in ("loose", "pressed") for sleeve in (False, True) for mode in MODES]
_NONE = [("none", sleeve, mode) for sleeve in (False, True) for mode in MODES]
_NECK_NAMES = [f"{state} {_BORES[sleeve]} {mode}" for state, sleeve, mode in _NECKS]
_NONE_NAMES = [f"{bore} {mode}" for bore in _BORES for mode in ("axial", "shear", "turn", "lever")]
#: Its stiffness is off by 0.1 % in the median and by up to 0.3 % at a loose neck on a sleeve.
TABLE_MESH = Fineness(growth=6.0, most=1, least=1e-3)
#: Another one, for what is held aside.
ASIDE_MESH = Fineness(growth=4.0, most=1, least=7e-4)
_SEED = 3
#: Places solved, without and with a neck; and those of them whose softening is.
_COUNTS = {"none": (192, 24), "neck": (288, 48)}


def scattered(axes: int, count: int) -> Array:
    """Scattered places within −1…1, denser towards the ends."""
    unit: Array = qmc.Sobol(axes, seed=_SEED).random(count)
    return -np.cos(np.pi * unit)


def coordinates(place: Array, axes: tuple[Axis, ...] = _AXES) -> list[float]:
    """The axes' values at a place."""
    values = []
    for axis, x in zip(axes, place, strict=False):
        low, high = (MAPS[axis.map][0](end) for end in (axis.low, axis.high))
        values.append(float(MAPS[axis.map][1](low + (high - low) * (x + 1.0) / 2.0)))
    return values


def _lengths(place: Array) -> tuple[float, float, float, float]:
    """Bore, hole, height, half plate over the flange's radius; the last 0 where the place has none."""
    values = coordinates(place)
    bore, neck, height = values[0], values[1] * (1.0 - values[0]), values[2] * (1.0 - values[0])
    return bore, bore + neck, height, values[3] * neck if len(values) > 3 else 0.0


def solved(job: tuple[str, Array, float]) -> list[float]:
    """What is solved at one place: with a neck each of ``_NECKS``; without one ``_NONE``, and turned twice."""
    kind, place, compressibility = job
    bore, hole, height, plate = _lengths(place)
    more: dict[str, Any] = {"compressibility": compressibility, "fineness": TABLE_MESH}
    if kind == "neck":
        return half_grommet(bore, hole, height, plate, _NECKS, **more)
    # About two planes at a distance from the face: what turns, what shears, and what both share.
    return half_grommet(bore, hole, height, 1.0, _NONE, **more) + half_grommet(
        bore, hole, height, 2.0, [case for case in _NONE if case[2] == "tilt"], **more
    )


def _none_values(rows: Array) -> Array:
    """Axial, shear, turn, lever of each bore from :func:`solved`."""
    out = []
    for i in range(2):
        axial, shear, once, twice = (*rows[:, 3 * i : 3 * i + 3].T, rows[:, 6 + i])
        lever = twice - once - 3.0 * shear
        out += [axial, shear, once - lever - shear, lever]
    return np.column_stack(out)


def _fit(places: Array, target: Array) -> tuple[Array, Array, Array]:
    """Widths of the bumps by restricted maximum likelihood, weights, and the error of each place left out."""
    terms = quadratic(places)

    def system(p: Array) -> tuple[Any, Array, Array, Array]:
        away = (places[:, None] - places) / np.exp(p[:-1])
        covariance = np.exp(-0.5 * np.sum(away * away, axis=-1)) + np.exp(p[-1]) * np.eye(len(places))
        factor = cho_factor(covariance, lower=True)
        normal = terms.T @ cho_solve(factor, terms)
        smooth = np.linalg.solve(normal, terms.T @ cho_solve(factor, target))
        return factor, normal, smooth, cho_solve(factor, target - terms @ smooth)

    def cost(p: Array) -> float:
        try:
            factor, normal, smooth, bumps = system(p)
        except np.linalg.LinAlgError:
            return 1e9
        free = len(target) - terms.shape[1]
        variance = max(float((target - terms @ smooth) @ bumps) / free, 1e-300)
        return float(
            0.5 * (free * np.log(variance) + 2.0 * np.log(np.diag(factor[0])).sum() + np.linalg.slogdet(normal)[1])
        )

    bounds = [(-2.0, 3.0)] * places.shape[1] + [(np.log(1e-9), np.log(1e-3))]
    starts = [np.append(np.full(places.shape[1], width), np.log(1e-6)) for width in (0.0,)]
    found = [minimize(cost, start, method="L-BFGS-B", bounds=bounds, options={"maxiter": 12}) for start in starts]
    best = min(found, key=lambda each: each.fun).x
    factor, normal, smooth, bumps = system(best)
    inverse = cho_solve(factor, np.eye(len(places)))
    spread = inverse - inverse @ terms @ np.linalg.solve(normal, terms.T @ inverse)
    left_out = np.abs(bumps / np.diag(spread))
    return np.exp(best[:-1]), np.concatenate([smooth, bumps]), left_out


def _entry(axes: tuple[Axis, ...], names: list[str], places: Array, values: Array, meaning: str) -> dict[str, Any]:
    reduced = [[axis.reduced(x) for axis, x in zip(axes, coordinates(row), strict=True)] for row in places]
    return fitted_entry(axes, names, np.array(reduced), np.log(values), meaning)


def fitted_entry(axes: tuple[Axis, ...], names: Any, places: Array, logs: Array, meaning: str) -> dict[str, Any]:
    """A table of :class:`matdb.form.grommet_table.KernelTable` through logarithms solved at places within −1…1."""
    fits = [_fit(places, column) for column in logs.T]
    return {
        "meaning": meaning,
        "axes": [vars(axis) for axis in axes],
        "names": list(names),
        "points": len(places),
        "left_out_error": {name: float(f"{fit[2].max():.2g}") for name, fit in zip(names, fits, strict=True)},
        "median_left_out_error": float(f"{np.median([fit[2] for fit in fits]):.2g}"),
        "places": [float(f"{x:.9g}") for x in places.ravel()],
        "scales": [float(f"{x:.6g}") for fit in fits for x in fit[0]],
        "values": [float(f"{x:.11g}") for fit in fits for x in fit[1]],
    }


def grommet_tables(over: Over, say: Callable[[str], None] = print) -> dict[str, Any]:
    """Solve every place and fit; ``over`` does many jobs."""
    at = {"none": scattered(3, _COUNTS["none"][0]), "neck": scattered(4, _COUNTS["neck"][0])}
    jobs = [(kind, place, GROMMET_COMPRESSIBILITY) for kind in at for place in at[kind]]
    jobs += [(kind, place, 0.0) for kind in at for place in at[kind][: _COUNTS[kind][1]]]
    out = fitted(at, list(over(jobs, solved)), say)
    sizes = uneven_sizes()
    return out | {"uneven": uneven_entry(sizes, np.array(list(over(sizes, solved_whole))))}


def fitted(at: dict[str, Array], rows: list[list[float]], say: Callable[[str], None] = print) -> dict[str, Any]:
    """The tables from what was solved, in the order of :func:`grommet_tables`."""
    parts, start = [], 0
    for count in (*(len(at[kind]) for kind in at), *(_COUNTS[kind][1] for kind in at)):
        parts.append(np.array(rows[start : start + count]))
        start += count
    none, neck = _none_values(parts[0]), parts[1]
    trends = [none_trend(*_lengths(place)[:3]) for place in at["none"]]
    none_ratio = none / np.array([[t[name.split()[1]] for name in _NONE_NAMES] for t in trends])
    out = {"none": _entry(_TABLE_AXES[:3], _NONE_NAMES, at["none"], none_ratio, "stiffness over trend, no neck")}
    base = _none_at(out["none"], at["neck"])
    ratios = [
        neck[:, i] / (neck[:, i - 6] if name.startswith("pressed") else base[name.removeprefix("loose ")])
        for i, name in enumerate(_NECK_NAMES)
    ]
    meaning = "stiffness over that without a neck (loose), over that of a loose one (pressed)"
    out["neck"] = _entry(_TABLE_AXES, _NECK_NAMES, at["neck"], np.column_stack(ratios), meaning)
    few = {kind: at[kind][: _COUNTS[kind][1]] for kind in at}
    soft = {"none": (_none_values(parts[2]), none), "neck": (parts[3], neck)}
    for kind, (rigid, usual) in soft.items():
        lost = (rigid / usual[: len(rigid)] - 1.0) / GROMMET_COMPRESSIBILITY
        names = _NECK_NAMES
        if kind == "none":
            lost, names = lost[:, [0, 1, 2, 4, 5, 6]], [f"{bore} {mode}" for bore in _BORES for mode in MODES]
        axes = _TABLE_AXES if kind == "neck" else _TABLE_AXES[:3]
        out[f"{kind} softening"] = _entry(axes, names, few[kind], np.maximum(lost, 1e-2), "share lost per E / B")
    for name, entry in out.items():
        worst, usual = max(entry["left_out_error"].values()), entry["median_left_out_error"]
        say(f"grommet {name}: {entry['points']} places; one left out is off by {usual:.1e}, at most {worst:.1e}")
    return out


def _none_at(entry: dict[str, Any], places: Array) -> dict[str, Array]:
    """The fitted stiffness without a neck at places with one."""
    from matdb.form.grommet_table import KernelTable

    axes = tuple(Axis(**axis) for axis in entry["axes"])
    at, scales = (np.array(entry[key]).reshape(-1, len(axes)) for key in ("places", "scales"))
    weights = np.array(entry["values"]).reshape(len(entry["names"]), -1)
    table = KernelTable(axes, tuple(entry["names"]), at, scales, weights)
    out: dict[str, list[float]] = {f"{bore} {mode}": [] for bore in _BORES for mode in MODES}
    for place in places:
        bore, hole, height, plate = _lengths(place)
        trend = none_trend(bore, hole, height)
        found = table.at((bore, (hole - bore) / (1.0 - bore), height / (1.0 - bore)))
        for side in _BORES:
            axial, shear, turn, lever = (found[f"{side} {m}"] * trend[m] for m in ("axial", "shear", "turn", "lever"))
            for mode, value in zip(MODES, (axial, shear, turn + plate * (lever + plate * shear)), strict=True):
                out[f"{side} {mode}"].append(value)
    return {name: np.array(values) for name, values in out.items()}


#: What is drawn at random for :func:`aside_grommets`, in mm: grommets of the trade for small cameras.
_DRAWN = {"flange_outer_mm": (8.0, 20.0), "lower_mm": (2.0, 6.0), "upper_mm": (2.0, 6.0), "plate_mm": (1.0, 3.0)}


#: Seeds of random grommets that are solved whole, and how many of each; those of nearly equal flanges tell nothing.
_UNEVEN = {31: 160, 32: 200}
_LEAST_UNEVEN = 0.15
UNEVEN_AXES = (
    Axis("bore_over_flange", "linear", 0.2, 0.5, 0),
    Axis("neck_over_wall", "log", 0.15, 0.7, 0),
    Axis("height_over_wall", "log", 0.12, 1.3, 0),
    Axis("ln_heights_ratio", "linear", _LEAST_UNEVEN, 1.1, 0),
    Axis("plate_over_neck", "log", 0.08, 4.0, 0),
)


def drawn_size(random: np.random.Generator) -> dict[str, float]:
    """A random grommet."""
    size = {name: round(random.uniform(*ends), 1) for name, ends in _DRAWN.items()}
    size["bore_mm"] = round(random.uniform(0.2, 0.5) * size["flange_outer_mm"], 1)
    wall = size["flange_outer_mm"] - size["bore_mm"]
    size["hole_mm"] = round(size["bore_mm"] + random.uniform(0.15, 0.7) * wall, 1)
    return size


def uneven_sizes() -> list[dict[str, float]]:
    """The random grommets that are solved whole."""
    streams = [(np.random.default_rng(seed), count) for seed, count in _UNEVEN.items()]
    return [drawn_size(random) for random, count in streams for _ in range(count)]


def solved_whole(size: dict[str, float]) -> list[float]:
    """Stiffness of a whole grommet in each of ``_NECKS``."""
    return _whole(size, _NECKS, TABLE_MESH)


def uneven_entry(sizes: list[dict[str, float]], rows: Array) -> dict[str, Any]:
    """A table of what unequal flanges make of the sum of their halves, by the shipped tables of equal ones."""
    from matdb.form import Grommet

    places, logs = [], []
    for size, values in zip(sizes, rows, strict=True):
        wall, neck = size["flange_outer_mm"] - size["bore_mm"], size["hole_mm"] - size["bore_mm"]
        heights = size["lower_mm"], size["upper_mm"]
        uneven = abs(np.log(heights[0] / heights[1]))
        if uneven < _LEAST_UNEVEN:
            continue
        bore, plate = size["bore_mm"] / size["flange_outer_mm"], size["plate_mm"] / neck
        at = bore, neck / wall, min(heights) / wall, uneven, plate
        places.append([axis.reduced(x) for axis, x in zip(UNEVEN_AXES, at, strict=True)])
        with patch("matdb.form.grommet.uneven_share", lambda *sizes: {}):
            parts = [
                Grommet(neck=neck, sleeve_mm=size["bore_mm"] if sleeve else None, **size)  # type: ignore[arg-type]
                for neck, sleeve, mode in _NECKS[::3]
            ]
            more = {"bulk_modulus_mpa": 1.0 / GROMMET_COMPRESSIBILITY}
            ours = [
                value
                for part in parts
                for value in (
                    part.stiffness_n_per_mm(axis="axial", **more),
                    part.stiffness_n_per_mm(axis="shear", **more),
                    part.tilting_stiffness_n_mm_per_rad(**more),
                )
            ]
        logs.append(np.log(values / _MESH / np.array(ours)) / uneven)
    meaning = "ln(whole over the sum of its halves) over that of the flanges' heights"
    return fitted_entry(UNEVEN_AXES, _NECK_NAMES, np.array(places), np.array(logs), meaning)


def _whole(size: dict[str, float], cases: list[tuple[str, bool, str]], fineness: Fineness) -> list[float]:
    radius = size["flange_outer_mm"] / 2.0
    bore, hole = (size[name] / 2.0 / radius for name in ("bore_mm", "hole_mm"))
    lower, upper, plate = (size[name] / radius for name in ("lower_mm", "upper_mm", "plate_mm"))
    values = whole_grommet(
        bore, hole, lower, upper, plate / 2.0, cases, compressibility=GROMMET_COMPRESSIBILITY, fineness=fineness
    )
    return [value * radius ** (3 if case[2] == "tilt" else 1) for value, case in zip(values, cases, strict=True)]


def _aside(job: tuple[dict[str, float], str, bool]) -> list[float]:
    size, neck, sleeve = job
    return _whole(size, [(neck, sleeve, mode) for mode in MODES], ASIDE_MESH)


def aside_grommets(count: int, seed: int, over: Over) -> list[dict[str, Any]]:
    """Solve random whole grommets with unequal flanges, ``count`` for each neck, at Young's modulus 1 and B 500 MPa."""
    random = np.random.default_rng(seed)
    jobs = []
    for neck in ("none", "loose", "pressed"):
        for i in range(count):
            jobs.append((drawn_size(random), neck, i % 2 == 1))
    out = []
    for (size, neck, sleeve), values in zip(jobs, over(jobs, _aside), strict=True):
        for mode, value in zip(MODES, values, strict=True):
            row: dict[str, Any] = {"neck": neck, "sleeve": int(sleeve), "mode": mode, "bulk_modulus_mpa": 500.0}
            out.append(row | size | {"value": f"{value:.6g}"})
    return out
