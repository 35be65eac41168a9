"""A bent leg as a solid body: triquadratic bricks along its path, both end faces held, nearly incompressible."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from types import SimpleNamespace
from typing import Any
from unittest.mock import patch

import numpy as np
from numpy.typing import NDArray
from skfem import Basis, BilinearForm, ElementHex2, ElementVector, MeshHex, MeshHex2, condense, solve
from skfem.helpers import ddot, sym_grad, trace

from matdb.form import BentLeg
from matdb.form.grommet_table import kernel_tables
from matdb.form.tables import Axis

from .grommet_fit import Over, fitted_entry

__all__ = ["aside_bent_legs", "bent_entry", "bent_legs", "bent_stiffness"]

Array = NDArray[np.float64]
_POISSON = 0.495
#: Of the table, as :attr:`matdb.form.BentLeg.bent_at` says.
_AXES = (
    Axis("width_ratio", "log", 0.6, 3.2, 0),
    Axis("width_over_radius", "log", 0.12, 1.4, 0),
    Axis("angle_deg", "linear", 60.0, 210.0, 0),
    Axis("far_end", "linear", 0.0, 1.0, 0),
    Axis("near_end", "linear", 0.0, 1.0, 0),
)
#: Seeds of legs that are solved for the table, how many of each, and of legs that turn by anything between.
_TRAINED, _BETWEEN = {4711: 80, 99: 48}, (31, 150)


@BilinearForm  # type: ignore[untyped-decorator]
def _sheared(u: Any, v: Any, w: Any) -> Any:
    return ddot(sym_grad(u), sym_grad(v)) / (1.0 + _POISSON)


@BilinearForm  # type: ignore[untyped-decorator]
def _dilated(u: Any, v: Any, w: Any) -> Any:
    lame = _POISSON / ((1.0 + _POISSON) * (1.0 - 2.0 * _POISSON))
    return lame * trace(sym_grad(u)) * trace(sym_grad(v))


def _bent(leg: BentLeg, x: Array) -> Array:
    """Places of a straight bar (along, across, up) on the leg's path."""
    s, y, n = x
    turn, radius = np.radians(leg.angle_deg), leg.radius_mm
    angle = np.clip((s - leg.foot_mm) / radius, 0.0, turn)
    ahead = np.maximum(s - leg.foot_mm - radius * turn, 0.0)
    along = np.minimum(s, leg.foot_mm) + radius * np.sin(angle) + ahead * np.cos(turn) - np.sin(angle) * n
    return np.array([along, y, radius * (1.0 - np.cos(angle)) + ahead * np.sin(turn) + np.cos(angle) * n])


def bent_stiffness(leg: BentLeg, size: float = 1.0) -> list[float]:
    """Stiffness at E = 1 along each of its axes, what moves across them held; ``size`` scales the elements."""
    t, rows, at = leg.thickness_mm, [np.zeros(1)], 0.0
    for length in (leg.foot_mm, leg.radius_mm * np.radians(leg.angle_deg), leg.head_mm):
        if length:
            rows.append(at + np.linspace(0.0, length, int(np.ceil(length / (0.8 * t * size))) + 1)[1:])
            at += length
    s = np.unique(np.concatenate([*rows, [x for a in (0.1, 0.4) for x in (a * t, at - a * t)]]))
    wide = max(2, round(0.8 * leg.width_mm / t / size))
    halves = [np.linspace(-0.5, 0.5, count + 1) for count in (wide, max(2, round(2.0 / size)))]
    straight = MeshHex2.from_mesh(MeshHex.init_tensor(s, halves[0] * leg.width_mm, halves[1] * t))
    element = ElementVector(ElementHex2())
    flat = Basis(straight, element, intorder=2)
    bent = replace(straight, doflocs=_bent(leg, straight.doflocs))
    # The volume is held at fewer points, so that the elements do not lock.
    basis = Basis(bent, element, intorder=4)
    matrix = _sheared.assemble(basis) + _dilated.assemble(Basis(bent, element, intorder=3))
    held = [np.flatnonzero(np.isclose(flat.doflocs[0], end, rtol=0.0, atol=1e-9)) for end in (0.0, at)]
    out = []
    for component in (3, 1, 2):
        x = np.zeros(basis.N)
        moved = basis.get_dofs(elements=True).all(f"u^{component}")
        x[np.intersect1d(moved, held[1])] = 1.0
        x = solve(*condense(matrix, x=x, D=np.concatenate(held)))
        out.append(float(x @ (matrix @ x)))
    return out


def bent_legs(count: int, seed: int) -> list[BentLeg]:
    """Random L- and C-shaped legs as they are printed for small cameras."""
    random = np.random.default_rng(seed)
    legs = []
    for i in range(count):
        thick = random.uniform(1.0, 3.0)
        sizes = [thick, thick * random.uniform(0.7, 3.0), thick * random.uniform(2.2, 6.0)]
        straight = [random.uniform(0.0, 12.0) if random.random() < 0.7 else 0.0 for _ in range(2)]
        thick, wide, radius, *straight = (round(float(x), 2) for x in (*sizes, *straight))
        legs.append(BentLeg(wide, thick, radius, (90.0, 180.0, 120.0, 180.0)[i % 4], *straight))
    return legs


def _between(seed: int, count: int) -> list[BentLeg]:
    """Random legs that turn by anything, a little beyond those."""
    random, legs = np.random.default_rng(seed), []
    for _ in range(count):
        thick = random.uniform(1.0, 3.0)
        wide, radius = thick * random.uniform(0.6, 3.2), thick * random.uniform(2.0, 6.5)
        angle = round(random.uniform(60.0, 210.0), 1)
        straight = [round(random.uniform(0.0, 12.0), 2) if random.random() < 0.7 else 0.0 for _ in range(2)]
        legs.append(BentLeg(round(wide, 3), round(thick, 3), round(radius, 3), angle, *straight))
    return legs


def bent_entry(over: Over) -> dict[str, Any]:
    """A table of what solid finite elements across a bent leg's plane depart from the beam by."""
    legs = [*(leg for seed, count in _TRAINED.items() for leg in bent_legs(count, seed)), *_between(*_BETWEEN)]
    return bent_table(legs, [values[2] for values in over(legs, bent_stiffness)])


def bent_table(legs: list[BentLeg], solved: list[float]) -> dict[str, Any]:
    """That table from legs and what was solved of each."""
    nothing = SimpleNamespace(at=lambda place: {"out-of-plane": 1.0})
    with patch.dict(kernel_tables("form_leg.json"), bent=nothing):
        beams = [leg.stiffness_n_per_mm(1.0, "out-of-plane") for leg in legs]
    places = [[axis.reduced(x) for axis, x in zip(_AXES, leg.bent_at, strict=True)] for leg in legs]
    logs = np.log(np.array(solved) / np.array(beams))[:, None]
    return fitted_entry(_AXES, ["out-of-plane"], np.array(places), logs, "ln(stiffness over a curved beam's)")


def aside_bent_legs(
    count: int, seed: int, over: Callable[[list[Any], Callable[[Any], Any]], Iterable[Any]]
) -> list[dict[str, Any]]:
    """Solve random bent legs."""
    legs = bent_legs(count, seed)
    out = []
    for leg, values in zip(legs, over(legs, bent_stiffness), strict=True):
        sizes_of = {name: value for name, value in leg.to_dict().items() if name != "form"}
        out += [sizes_of | {"mode": axis, "value": f"{x:.6g}"} for axis, x in zip(leg.axes, values, strict=True)]
    return out
