"""Solve printed legs at scattered sections, and draw smooth functions through what a slender beam leaves over."""

from __future__ import annotations

from collections.abc import Callable
from types import SimpleNamespace
from typing import Any
from unittest.mock import patch

import numpy as np
from numpy.typing import NDArray

from matdb.form import PrintedStrut, Strut
from matdb.form.grommet_table import kernel_tables
from matdb.form.printed_strut import FLARE_AXES, LEG_AXES, LEG_MODES
from matdb.form.strut import RoundLeg

from .bent_leg import bent_entry
from .grommet_fit import Over, coordinates, fitted_entry, scattered
from .leg import LEG_ASIDE_MESH, printed_leg

__all__ = ["aside_legs", "leg_answers", "leg_tables", "solved_leg"]

Array = NDArray[np.float64]

#: Places solved by whether there is a bore.
_COUNTS = {"solid": 96, "hollow": 144}
#: Seeds of legs with flared ends that are solved, and how many of each.
_FLARED = {101: 40, 102: 80, 103: 140}


def _leg(kind: str, place: Array) -> PrintedStrut:
    """The leg of outer diameter 1 at a place; a stretched infill's modulus is its density."""
    slender, wall, core, *hole = coordinates(place, LEG_AXES[kind])
    inner = hole[0] if hole else 0.0
    thick = wall * (1.0 - inner) / (4.0 if hole else 2.0)
    return PrintedStrut(1.0, inner, slender, wall_mm=thick, infill_share=core, pattern="stretch", build="lying")


def solved_leg(leg: PrintedStrut, **more: Any) -> list[float]:
    """What finite elements give of each of ``LEG_MODES`` for a leg whose infill is alike in every direction, E = 1."""
    size, core = leg.outer_mm, leg.core[0]
    flare = (leg.flare_mm / size, leg.flare_length_mm / size) if leg.flare_mm and leg.flare_length_mm else (1.0, 0.0)
    sizes = (leg.length_mm / size, leg.inner_mm / size, (leg.wall_mm or 0.0) / size, core, 0.3 + 0.2 * core)
    found = printed_leg(*sizes, flare=flare, **more)
    return [found[mode] * size**power for mode, power in zip(LEG_MODES, (1, 1, 3, 0), strict=True)]


def leg_answers(leg: RoundLeg) -> list[float]:
    """The same by matdb."""
    stiff = [leg.stiffness_n_per_mm(1.0, axis) for axis in leg.axes]
    return [*stiff, leg.tilting_stiffness_n_mm_per_rad(1.0), leg.buckling_share]


def _as_beam(leg: PrintedStrut) -> list[float]:
    """The solid leg by its own tables, scaled by beams."""
    solid = Strut(leg.outer_mm, leg.inner_mm, leg.length_mm)
    return [x * leg.beam_share[mode] for x, mode in zip(leg_answers(solid), LEG_MODES, strict=True)]


def _job(job: tuple[str, Array]) -> list[float]:
    return solved_leg(_leg(*job))


def flared_legs(count: int, seed: int) -> list[PrintedStrut]:
    """Random legs with flared ends, as made for small cameras."""
    random, legs = np.random.default_rng(seed), []
    for _ in range(count):
        outer, walls = round(random.uniform(3.0, 10.0), 1), int(random.integers(1, 5))
        length = round(outer * random.uniform(2.5, 8.0), 1)
        legs.append(
            PrintedStrut(
                outer,
                0.0,
                length,
                walls=walls if 0.9 * walls < outer / 2.0 else 1,
                line_mm=0.45,
                infill_share=round(random.uniform(0.1, 0.6), 2),
                pattern=("stretch", "mixed", "bend")[int(random.integers(3))],
                build="lying",
                flare_mm=round(random.uniform(1.2, 1.8) * outer, 1),
                flare_length_mm=round(random.uniform(0.08, 0.25) * length, 1),
            )
        )
    return legs


def flared_entry(legs: list[PrintedStrut], rows: Array) -> dict[str, Any]:
    """A table of what flared ends leave of finite elements over a beam on the shipped tables of straight legs."""
    nothing = SimpleNamespace(at=lambda place: dict.fromkeys(LEG_MODES, 1.0))
    with patch.dict(kernel_tables("form_leg.json"), flared=nothing):
        ours = np.array([leg_answers(leg) for leg in legs])
    at = np.array([leg.flare_at for leg in legs])
    found = np.isfinite(rows).all(axis=1)
    # It vanishes as the flare becomes straight.
    logs = (np.log(rows / ours) / np.sqrt(at[:, [2]]))[found]
    places = [[axis.reduced(x) for axis, x in zip(FLARE_AXES, row, strict=True)] for row in at[found]]
    meaning = "ln(stiffness over a beam's on the tables of straight legs) over the root of the flare's steepness"
    return fitted_entry(FLARE_AXES, LEG_MODES, np.array(places), logs, meaning)


def leg_tables(over: Over, say: Callable[[str], None] = print) -> dict[str, Any]:
    """Solve every place and fit; ``over`` does many jobs."""
    out = {}
    for kind, axes in LEG_AXES.items():
        places = scattered(len(axes), _COUNTS[kind])
        legs = [_leg(kind, place) for place in places]
        beams = np.array([_as_beam(leg) for leg in legs])
        rows = np.array(list(over([(kind, place) for place in places], _job)))
        # A thin wall around a soft core may fold at a corner of the mesh.
        found = np.isfinite(rows).all(axis=1)
        # What is missing vanishes as the leg becomes solid.
        logs = np.log(rows / beams) / np.array([[leg.missing] for leg in legs])
        meaning = "ln(stiffness over a slender beam's, scaled to the solid leg) over the share of E A that is missing"
        out[kind] = fitted_entry(axes, LEG_MODES, places[found], logs[found], meaning)
        worst, usual = max(out[kind]["left_out_error"].values()), out[kind]["median_left_out_error"]
        say(f"leg {kind}: {found.sum()} places; one left out is off by {usual:.1e}, at most {worst:.1e}")
    legs = [leg for seed, count in _FLARED.items() for leg in flared_legs(count, seed)]
    out["flared"] = flared_entry(legs, np.array(list(over(legs, solved_leg))))
    out["bent"] = bent_entry(over)
    return out


def _aside(leg: PrintedStrut) -> list[float]:
    return solved_leg(leg, fineness=LEG_ASIDE_MESH)


def aside_legs(count: int, seed: int, over: Over) -> list[dict[str, Any]]:
    """Solve random printed legs as made for small cameras, on another mesh; half have a bore or flared ends."""
    random = np.random.default_rng(seed)
    legs = []
    for i in range(count):
        outer, walls = round(random.uniform(3.0, 10.0), 1), int(random.integers(1, 5))
        bore = round(random.uniform(0.2, 0.5) * outer, 1) if i % 4 == 1 else 0.0
        flared = i % 4 == 3
        length = round(outer * random.uniform(2.5, 8.0), 1)
        legs.append(
            PrintedStrut(
                outer,
                bore,
                length,
                walls=walls if 0.9 * walls < (outer - bore) / (4.0 if bore else 2.0) else 1,
                line_mm=0.45,
                infill_share=round(random.uniform(0.1, 0.6), 2),
                pattern=("stretch", "mixed", "bend")[int(random.integers(3))],
                build="lying",
                flare_mm=round(random.uniform(1.2, 1.8) * outer, 1) if flared else None,
                flare_length_mm=round(random.uniform(0.08, 0.25) * length, 1) if flared else None,
            )
        )
    out = []
    for leg, values in zip(legs, over(legs, _aside), strict=True):
        sizes = {name: value for name, value in leg.to_dict().items() if name != "form"}
        out += [sizes | {"mode": mode, "value": f"{x:.6g}"} for mode, x in zip(LEG_MODES, values, strict=True)]
    return out
