"""What would suit: the sizes that hold everything a mounting asks with the greatest probability over a season.

The one judge decides; what is promised of a proposal is its verdict (:mod:`matdb.advice.search` looks for them).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, Final

import numpy as np

from matdb.advice.contradiction import contradiction
from matdb.advice.cost import Cost
from matdb.advice.design import Design, Designs
from matdb.advice.exposure import Temperatures
from matdb.advice.requirement import VERDICTS, Payload, Requirement
from matdb.advice.search import FOLLOWING, ISOLATING, Asked, Tried, searched, settled
from matdb.advice.verdict import reason, verdict
from matdb.arrays import Array
from matdb.checks import check_told, checked_array, checked_number
from matdb.curve.curve import Curve
from matdb.errors import InputError
from matdb.fields import PlainRecord, low_high
from matdb.form.part import Part
from matdb.material.crystallisation import RESTS
from matdb.material.record import Material
from matdb.mounting.record import Mounting

_PROPOSALS: Final = 3
#: Designs that a picture shows.
_DRAWN: Final = 400
#: Figures are rounded to such steps, mm, and shares alike.
_ROUND: Final = (0.1, 0.05, 0.01)
#: Proposals differ in something by this share of what is free, and hold with a probability not this much less.
_APART, _LESS = 0.25, 0.25
#: A proposal fails where it is less sure by this much; and the relative deviations that are tried.
FAILS_BY: Final = 0.1
_OFF: Final = (0.01, 0.02, 0.04, 0.08, 0.16, 0.32)


@dataclass(frozen=True, kw_only=True, eq=False)
class Proposal(PlainRecord):
    """A part that could be made, and how it is to be fitted.

    Attributes
    ----------
    part : Part
        With its form and material.
    mounting : Mounting
        What it is proposed for, its isolators as many and standing as proposed.
    verdict, probability
        The judge's, over every temperature asked for.
    squeeze_mm : float
        Static squeeze of each.
    turns, spacer_mm : float or None
        The same in turns of the screw past first touch, and the spacer that stops two halves there, mm.
    listed : bool
        Whether it is one of the sizes that were given.
    all_directions : bool
        Whether every direction was judged; else up and down only.
    sizes : dict of str
        The dimensions that were told or looked for, by field: mm, shares, numbers, words.
    tolerance : dict of str to (float, float)
        How far each dimension may be off, down (0 or less) and up, mm or share, before it is less sure by 0.1; looked
        for up to 32 %. Empty where it is hardly sure by that much as it is.
    requirements : tuple of Requirement
        What was asked, the deciding one first.
    reason : str
        What decides.
    cost : Cost
        Height, weight and money of all pieces.
    gives_up : str
        What the other proposals have over it beside their probability; empty where there are none.
    contradiction : str
        Of the first, where no size holds: the two demands that contradict, and what would let something hold.
    band_limits : bool
        Whether the median draw holds everything, so that readings would settle it and no size would.
    low_c, high_c : float
        Coldest and warmest temperature, degrees Celsius.
    isolating_room, following_room : float
        Room to the limits of the picture, ln of natural frequency, median draw at the worst temperature.
    trade_off : ndarray, shape (n, 3)
        Of the first, of every design that was tried: both rooms, and the probability over a few temperatures.
    rests_on : str
        What the numbers rest on, in a builder's words.
    warnings : tuple of str
        That rest in the cold decides, and what to beware of in such a form.
    """

    part: Part
    mounting: Mounting
    verdict: str
    probability: float
    squeeze_mm: float
    turns: float | None
    spacer_mm: float | None
    listed: bool
    all_directions: bool
    sizes: Mapping[str, Any]
    tolerance: Mapping[str, tuple[float, float]]
    requirements: tuple[Requirement, ...]
    reason: str
    cost: Cost
    gives_up: str
    contradiction: str
    band_limits: bool
    low_c: float
    high_c: float
    isolating_room: float
    following_room: float
    trade_off: Array

    def to_dict(self) -> dict[str, Any]:
        """The proposal as plain values, without what else was tried."""
        found = {name: value for name, value in super().to_dict().items() if name != "trade_off"}
        return found | {"tolerance": {name: low_high(both) for name, both in self.tolerance.items()}}

    rests_on: str
    warnings: tuple[str, ...]

    @property
    def form(self) -> Any:
        """The form with its dimensions."""
        return self.part.form


def size(
    material: Material,
    curve: Curve,
    mounting: Mounting,
    temperature_c: Temperatures,
    *,
    form: str,
    sizes: Sequence[Mapping[str, Any]] = (),
    squeeze_mm: float | Sequence[float] | None = None,
    deck_mm: float | None = None,
    package: str | None = None,
    progress: Callable[[float], None] | None = None,
    told: Mapping[str, Any],
) -> list[Proposal]:
    """Propose sizes of a form that hold everything a mounting asks.

    Parameters
    ----------
    material : Material
        What it is made of.
    curve : Curve
        A fit, or the prior of its label.
    mounting : Mounting
    temperature_c : array_like of shape (hours,), Forecast or Flight
        Temperatures of the flight or season, degrees Celsius.
    form : str
        The form's short name.
    sizes : sequence of mapping
        Sizes that are owned or can be bought: dimensions of the form in mm, and "name", "thread", "mass_kg"
        and "price" of one.
    squeeze_mm : float or sequence of float, optional
        The static squeeze of each part, or those to try; without it those that the judge tries of the form.
    deck_mm : float, optional
        How high a squeezed part may hold what stands on it, mm.
    package : str, optional
        Judge only this camera package; all of them, one at a time, without it.
    progress : callable, optional
        Called with the share done, 0 to 1.
    told : mapping
        Dimensions of the form; "thread"; of the mounting "count", "spread_mm" and "centre_height_mm" (of the centre of
        gravity above the isolators). A number or word is fixed, a pair (low, high) ranged, a list gives the values to
        choose from; a needed dimension that is not told, or told to be "free", is looked for in the usual range.

    Returns
    -------
    list of Proposal
        The most probable first, then up to two that differ from it in kind and are not much less probable.

    Raises
    ------
    InputError
        No such form, dimension or package, a value out of range, demands that no natural frequency can meet, or
        dimensions that never go together.
    """
    Payload.of(mounting, package).possible(mounting)
    if deck_mm is not None:
        deck_mm = checked_number("deck_mm", deck_mm, 0.0, 1000.0, "mm", open_low=True)
    if squeeze_mm is not None:
        squeeze_mm = np.atleast_1d(checked_array("squeeze_mm", squeeze_mm, 0.0, 1000.0, "mm")).ravel().tolist()
    if not isinstance(sizes, Sequence) or not all(isinstance(row, Mapping) for row in sizes):
        raise InputError("sizes", sizes, "a list of sizes, each a mapping such as {'outer_mm': 16, 'height_mm': 5}")
    check_told(progress=progress)
    asked = Asked(material, curve, temperature_c, package, squeeze_mm, deck_mm)
    designs = Designs(form, material.name, mounting, told, sizes, asked.name)
    tell = progress or (lambda share: None)
    tried = searched(asked, designs, tell)
    if not tried:
        raise designs.refusal or InputError("dimensions", form, "some that can be meant for an isolator of a camera")
    several = _different([settled(asked, designs, tried, tell)], tried, asked)
    chosen = [_rounded(asked, designs, each) for each in several]
    tell(0.9)
    proposals = [_proposal(asked, designs, each, [other for other in chosen if other is not each]) for each in chosen]
    rooms = [(each.rooms[ISOLATING], each.rooms[FOLLOWING], each.holds) for each in tried[:: len(tried) // _DRAWN + 1]]
    proposals[0] = replace(proposals[0], trade_off=np.array(rooms))
    if chosen[0].holds < 0.5:
        relaxed = partial(Designs, form, material.name, told=told, sizes=sizes, name=asked.name)
        proposals[0] = replace(proposals[0], contradiction=contradiction(asked, relaxed, mounting, [*chosen, *tried]))
    tell(1.0)
    return proposals


def _different(chosen: list[Tried], tried: Sequence[Tried], asked: Asked) -> list[Tried]:
    """With designs that differ from those chosen in kind, and hold nearly as probably."""
    best = chosen[0].holds
    good = [each for each in tried if each.holds >= max(best - _LESS, 0.5 * best, 0.02)]
    while good and len(chosen) < _PROPOSALS:
        apart = [min(float(np.abs(c.design.place - e.design.place).max(initial=0.0)) for c in chosen) for e in good]
        value = [a + e.holds for a, e in zip(apart, good, strict=True) if a >= _APART]
        if not value:
            break
        good = [e for a, e in zip(apart, good, strict=True) if a >= _APART]
        (sure,) = asked.tried([good.pop(int(np.argmax(value))).design])
        if sure is not None and sure.holds >= max(best - _LESS, 0.5 * best):
            chosen.append(sure)
    return sorted(chosen, key=lambda each: -each.holds)


def _rounded(asked: Asked, designs: Designs, found: Tried) -> Tried:
    """The same in figures that can be printed and cut, as round as it holds as surely."""
    form = found.design.part.form
    free = [each.name for each in designs.free if each.choices is None]
    rounded: list[Design | None] = []
    for step in _ROUND:
        sizes = {name: round(round(getattr(form, name) / step) * step, 6) for name in free}
        rounded.append(found.design.reshaped(sizes))
    alike = (e for e in asked.tried(rounded) if e and e.holds >= found.holds - 0.005)
    return next(alike, found)


def _proposal(asked: Asked, designs: Designs, found: Tried, others: Sequence[Tried]) -> Proposal:
    judged, part = found.judged, found.design.part
    steps, curve = judged.judge.exposed.steps, judged.judge.curve
    rests = (text for text in curve.range_notes(steps, np.full(steps.shape, 30.0)) if RESTS in text)
    return Proposal(
        part=part,
        mounting=found.design.mounting,
        verdict=verdict(judged.probability, judged.all_directions, curve.contradicted),
        probability=judged.probability,
        squeeze_mm=judged.squeeze_mm,
        turns=part.turns_at(judged.squeeze_mm),
        spacer_mm=None if part.form.pair is None else part.form.pair.stack_mm - judged.squeeze_mm,
        listed=bool(designs.free) and designs.free[0].name == "sizes",
        all_directions=judged.all_directions,
        sizes={name: getattr(part.form, name) for name in designs.named},
        tolerance=_tolerance(asked, designs, found) if judged.probability >= FAILS_BY else {},
        requirements=judged.requirements,
        reason=reason(judged),
        cost=found.cost(asked.material),
        gives_up=_gives_up(asked.material, found, others),
        contradiction="",
        band_limits=found.holds < VERDICTS[0][0] and min(found.rooms.values()) >= 0.0,
        low_c=float(steps[0]),
        high_c=float(steps[-1]),
        isolating_room=found.rooms[ISOLATING],
        following_room=found.rooms[FOLLOWING],
        trade_off=np.zeros((0, 3)),
        rests_on=asked.curve.rests_on(asked.name, float(steps[0]), float(steps[-1])),
        warnings=(*rests, *part.form.warnings("axial")),
    )


def _gives_up(material: Material, found: Tried, others: Sequence[Tried]) -> str:
    """What others have over a design beside sureness: room, height, weight, money, each against the best of them."""
    if not others:
        return ""
    told, mine, theirs = [], found.cost(material), [each.cost(material) for each in others]
    rooms = found.rooms
    for name, room in rooms.items():
        most = max(each.rooms.get(name, -math.inf) for each in others)
        if room < 0.3 and most > room + 0.1:
            told.append(f"less room in {name} ({100.0 * math.expm1(room):.0f} %, not {100.0 * math.expm1(most):.0f} %)")
    for name, word, unit in (("deck_mm", "higher", " mm"), ("mass_g", "heavier", " g"), ("price", "dearer", "")):
        own, best = (
            getattr(mine, name),
            min((v for each in theirs if (v := getattr(each, name)) is not None), default=None),
        )
        if own is not None and best is not None and own > 1.1 * best:
            told.append(f"{word} ({own:.2g}{unit}, not {best:.2g}{unit})")
    return ", ".join(told)


def _tolerance(asked: Asked, designs: Designs, found: Tried) -> dict[str, tuple[float, float]]:
    """How far each dimension may be off before the design is less sure by ``FAILS_BY``, at the squeeze it is fitted."""
    form = found.design.part.form
    wanted = [name for name in designs.sized if isinstance(getattr(form, name), float) and getattr(form, name) > 0.0]
    off = [(name, side * share * getattr(form, name)) for name in wanted for side in (-1.0, 1.0) for share in _OFF]
    moved = [found.design.reshaped({name: getattr(form, name) + by}) for name, by in off]
    holds = [
        0.0 if each is None else each.judged.probability
        for each in asked.tried(moved, squeeze_mm=found.judged.squeeze_mm)
    ]
    least = found.judged.probability - FAILS_BY
    ends: dict[str, list[float]] = {name: [] for name in wanted}
    for start in range(0, len(off), len(_OFF)):
        name, _ = off[start]
        far, before = 0.0, found.judged.probability
        for (_, by), p in zip(off[start : start + len(_OFF)], holds[start : start + len(_OFF)], strict=True):
            if p < least:
                far += (by - far) * (before - least) / max(before - p, 1e-9)
                break
            far, before = by, p
        ends[name].append(far)
    return {name: (low, high) for name, (low, high) in ends.items()}
