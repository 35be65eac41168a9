"""What would suit: the sizes that hold everything a mounting asks with the greatest probability over a season.

The one judge decides: designs are put before it in batches, over a few temperatures while they are looked for by
differential evolution [1]_, over all of them once they are near; what is promised of a proposal is its verdict.

References
----------
.. [1] R. Storn, K. Price, J. Global Optim. 11 (1997) 341.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from matdb.advice.design import MOUNTING_STEP, MOVED, Design, Designs
from matdb.advice.exposure import Exposure, Temperatures, exposure
from matdb.advice.judge import judge
from matdb.advice.judgement import Judgement
from matdb.advice.requirement import Candidate, Payload, Requirement
from matdb.advice.verdict import reason, verdict
from matdb.arrays import Array
from matdb.curve.curve import Curve
from matdb.errors import InputError
from matdb.fields import PlainRecord
from matdb.form.base import FormBase
from matdb.form.grommet_pair import TwoHalves
from matdb.form.part import Part
from matdb.material.record import Material
from matdb.mounting.record import Mounting

#: Designs a generation and generations, of one piece and of two halves, which cost the judge ten times as much.
_DESIGNS, _GENERATIONS = 12, {False: 20, True: 8}
#: Designs that a search usually judges, for its progress; mountings that parts are tried at first.
_USUAL, _MOUNTINGS = {False: 600, True: 300}, 20
#: Spreads of the designs around the best ones that are tried over all temperatures, as shares of what is free.
_NEAR: Final = (0.06, 0.03, 0.015, 0.006)
_PROPOSALS: Final = 3
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
        for up to 32 %.
    requirements : tuple of Requirement
        What was asked, the deciding one first.
    reason, settle : str
        What decides; the reading that would settle it, empty where none would.
    gives_up : str
        What another proposal has over it; empty where none has anything.
    rests_on : str
        What the numbers rest on, in a builder's words.
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
    settle: str
    gives_up: str
    rests_on: str

    @property
    def form(self) -> Any:
        """The form with its dimensions."""
        return self.part.form


@dataclass(frozen=True, eq=False)
class _Tried:
    """A design that was judged."""

    design: Design
    judged: Judgement

    @property
    def score(self) -> float:
        """Greater is better: the probability; among equals and where nothing holds, what is nearer to holding."""
        found = self.judged
        return found.probability + 0.01 * found.share + 0.005 * found.met + 0.01 * math.tanh(found.margin)


class _Asked:
    """A question to the judge: what is held fixed over all designs."""

    def __init__(
        self,
        material: Material,
        curve: Curve,
        temperature_c: Temperatures,
        package: str | None,
        squeeze_mm: float | Sequence[float] | None,
    ) -> None:
        self.material, self.curve, self.temperature_c = material, curve, temperature_c
        self.package, self.squeeze_mm = package, squeeze_mm
        self.name = "proposal"
        while self.name in curve.offsets:
            self.name += "'"

    def tried(
        self, designs: Sequence[Design | None], *, few: bool = False, squeeze_mm: float | None = None
    ) -> list[_Tried | None]:
        """Designs as the judge finds them, those of a mounting together; None for one that cannot be.

        Parameters
        ----------
        designs : sequence of Design or None
            What to judge.
        few : bool
            Over a few temperatures only.
        squeeze_mm : float, optional
            In place of the squeezes that were asked for.
        """
        found: list[_Tried | None] = [None] * len(designs)
        groups: dict[int, list[int]] = {}
        squeezes = self.squeeze_mm if squeeze_mm is None else squeeze_mm
        for index, each in enumerate(designs):
            if each is not None and (squeezes is None or _takes(each.part.form, squeezes)):
                groups.setdefault(id(each.mounting), []).append(index)
        for members in groups.values():
            some = [design for index in members if (design := designs[index]) is not None]
            two = some[0].part.form.pair is not None
            curve = _fewer_draws(self.curve) if few and two else self.curve
            # Readings of a part that happens to be called alike say nothing of a part that is to be made.
            candidates = [Candidate(replace(each.part, name=self.name), self.material, curve) for each in some]
            exposed = exposure([(each.part, self.material) for each in candidates], self.temperature_c)
            judged = judge(
                candidates,
                some[0].mounting,
                _thinned(exposed, 3 if two else 5) if few else exposed,
                package=self.package,
                squeeze_mm=squeezes,
            )
            for one in (one for together in judged for one in together):
                found[members[one.index]] = _Tried(some[one.index], one)
        return found


def _takes(form: FormBase, squeeze_mm: float | Sequence[float]) -> bool:
    """Whether a form can be squeezed so far."""
    try:
        for axis in filter(None, ("axial", form.cross_axis)):
            form.stiffness_n_per_mm(1.0, axis, squeeze_mm=np.asarray(squeeze_mm, dtype=float))
    except InputError:
        return False
    return True


def _fewer_draws(curve: Curve) -> Curve:
    """A curve of a quarter of the draws, which serves to look around."""
    some = slice(None, None, 4)
    named = ("draws", "misfit", "turned", "rest", "softening")
    offsets = {name: values[some] for name, values in curve.offsets.items()}
    return replace(curve, offsets=offsets, **{name: getattr(curve, name)[some] for name in named})


def _thinned(exposed: Exposure, steps: int) -> Exposure:
    """The same over a few temperatures, both ends among them; as it is where parts lag behind the air."""
    if len(exposed.steps) <= steps or len(exposed.weight) > 1:
        return exposed
    some = np.linspace(0, len(exposed.steps) - 1, steps).round().astype(int)
    return replace(exposed, steps=exposed.steps[some], weight=exposed.weight[:, some])


def size(
    material: Material,
    curve: Curve,
    mounting: Mounting,
    temperature_c: Temperatures,
    *,
    form: str,
    sizes: Sequence[Mapping[str, Any]] = (),
    squeeze_mm: float | Sequence[float] | None = None,
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
        Its curve: a fit, or the prior of its label.
    mounting : Mounting
        What is to be held.
    temperature_c : array_like of shape (hours,), Forecast or Flight
        Temperatures of the flight or season, degrees Celsius.
    form : str
        The form's short name.
    sizes : sequence of mapping
        Sizes that are owned or can be bought: dimensions of the form in mm, and "name" and "thread".
    squeeze_mm : float or sequence of float, optional
        The static squeeze of each part, or those to try; without it those that the judge tries of the form.
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
    asked = _Asked(material, curve, temperature_c, package, squeeze_mm)
    designs = Designs(form, material.name, mounting, told, sizes, asked.name)
    tell = progress or (lambda share: None)
    tried = _searched(asked, designs, tell)
    if not tried:
        raise designs.refused or InputError("dimensions", form, "some that can be meant for an isolator of a camera")
    chosen = _different([_settled(asked, designs, tried, tell)], tried, asked)
    chosen = [_rounded(asked, designs, each) for each in chosen]
    tell(0.9)
    proposals = [_proposal(asked, designs, each, [other for other in chosen if other is not each]) for each in chosen]
    tell(1.0)
    return proposals


def _searched(asked: _Asked, designs: Designs, tell: Callable[[float], None]) -> list[_Tried]:
    """Every design that was judged over a few temperatures, the best first."""
    found: list[_Tried] = []
    free, every, two = len(designs.free), designs.all_places, issubclass(designs.cls, TwoHalves)

    def lacks(places: Array) -> Array:
        tried = asked.tried([designs.at(place) for place in places], few=True)
        found.extend(filter(None, tried))
        tell(0.7 * (1.0 - math.exp(-len(found) / _USUAL[two])))
        return np.array([2.0 if each is None else -each.score for each in tried])

    def best(count: int = 1) -> Array:
        return np.array([each.design.place for each in sorted(found, key=lambda each: -each.score)[:count]])

    def evolve(some: list[int], generations: int) -> None:
        """Look for better ones that differ in some things only from the best so far."""
        from scipy.optimize import differential_evolution

        base = best()[0] if found else np.full(free, 0.5)

        def there(places: Array) -> Array:
            whole = np.tile(base, (places.shape[1], 1))
            whole[:, some] = places.T
            return lacks(whole)

        start = _evenly(max(_DESIGNS * len(some), 24), len(some))
        usual = {"tol": 0.003, "vectorized": True, "updating": "deferred", "polish": False, "seed": 0}
        try:
            differential_evolution(there, [(0.0, 1.0)] * len(some), init=start, maxiter=generations, **usual)
        except RuntimeError as error:  # as it tells of what the judge refuses
            raise error.__cause__ or error from None

    moved = [k for k, each in enumerate(designs.free) if each.name in MOVED]
    shaped = [k for k in range(free) if k not in moved]
    if every is not None:
        for some in np.array_split(every, max(len(every) // 40, 1)):
            lacks(some)
    elif not moved:
        evolve(shaped, _GENERATIONS[two])
    else:
        # Each mounting costs the judge as much as ten parts: many parts at few mountings, then by turns.
        for place in _evenly(_MOUNTINGS, len(moved)):
            lacks(_joined(free, moved, place[None], shaped, _evenly(12, len(shaped))))
        for _ in range(2):
            evolve(shaped, _GENERATIONS[two] // 2)
            near = best(4)
            lacks(np.concatenate([np.clip(near + step, 0.0, 1.0) for step in _steps(free, moved)]))
    return sorted(found, key=lambda each: -each.score)


def _joined(free: int, moved: list[int], mountings: Array, shaped: list[int], forms: Array) -> Array:
    """Places of every form at every mounting."""
    places = np.empty((len(mountings) * len(forms), free))
    places[:, moved] = np.repeat(mountings, len(forms), axis=0)
    places[:, shaped] = np.tile(forms, (len(mountings), 1))
    return places


def _steps(free: int, moved: list[int]) -> list[Array]:
    """A step up and down along each of some things."""
    return [side * MOUNTING_STEP * np.eye(free)[k] for k in moved for side in (-1.0, 1.0)]


def _evenly(count: int, dimensions: int) -> Array:
    """Points that fill the unit cube evenly, shape (count, dimensions): an additive sequence of low discrepancy."""
    base = 2.0
    for _ in range(40):
        base = (1.0 + base) ** (1.0 / (dimensions + 1))
    steps = base ** -np.arange(1.0, dimensions + 1)
    return np.asarray((0.5 + np.arange(1, count + 1)[:, None] * steps) % 1.0)


def _settled(asked: _Asked, designs: Designs, tried: Sequence[_Tried], tell: Callable[[float], None]) -> _Tried:
    """The best over all temperatures, after looking around the best ones of the search."""
    rng = np.random.default_rng(0)
    some = [each.design for each in tried[: 2 * _DESIGNS]]
    known = list(filter(None, asked.tried(some)))
    best = max(known, key=lambda each: each.score)
    if designs.all_places is not None:
        return best
    for k, spread in enumerate(_NEAR):
        tell(0.7 + 0.04 * k)
        around = best.design.place + spread * rng.standard_normal((_DESIGNS, len(best.design.place)))
        known = list(filter(None, asked.tried([designs.at(place) for place in np.clip(around, 0.0, 1.0)])))
        best = max([best, *known], key=lambda each: each.score)
    return best


def _different(chosen: list[_Tried], tried: Sequence[_Tried], asked: _Asked) -> list[_Tried]:
    """With designs that differ from those chosen in kind, and hold nearly as probably."""
    best = chosen[0].judged.probability
    good = [each for each in tried if each.judged.probability >= max(best - _LESS, 0.5 * best, 0.02)]
    while good and len(chosen) < _PROPOSALS:
        apart = [min(float(np.abs(c.design.place - e.design.place).max(initial=0.0)) for c in chosen) for e in good]
        value = [a + e.judged.probability for a, e in zip(apart, good, strict=True) if a >= _APART]
        if not value:
            break
        good = [e for a, e in zip(apart, good, strict=True) if a >= _APART]
        (sure,) = asked.tried([good.pop(int(np.argmax(value))).design])
        if sure is not None and sure.judged.probability >= max(best - _LESS, 0.5 * best):
            chosen.append(sure)
    return sorted(chosen, key=lambda each: -each.judged.probability)


def _rounded(asked: _Asked, designs: Designs, found: _Tried) -> _Tried:
    """The same in figures that can be printed and cut, as round as it holds as surely."""
    form = found.design.part.form
    free = [each.name for each in designs.free if each.choices is None]
    rounded: list[Design | None] = []
    for step in _ROUND:
        sizes = {name: round(round(getattr(form, name) / step) * step, 6) for name in free}
        rounded.append(found.design.reshaped(sizes))
    alike = (e for e in asked.tried(rounded) if e and e.judged.probability >= found.judged.probability - 0.005)
    return next(alike, found)


def _proposal(asked: _Asked, designs: Designs, found: _Tried, others: Sequence[_Tried]) -> Proposal:
    judged, part = found.judged, found.design.part
    steps = judged.judge.exposed.steps
    return Proposal(
        part=part,
        mounting=found.design.mounting,
        verdict=verdict(judged.probability, judged.all_directions),
        probability=judged.probability,
        squeeze_mm=judged.squeeze_mm,
        turns=part.turns_at(judged.squeeze_mm),
        spacer_mm=None if part.form.pair is None else part.form.pair.stack_mm - judged.squeeze_mm,
        listed=bool(designs.free) and designs.free[0].name == "sizes",
        all_directions=judged.all_directions,
        sizes={name: getattr(part.form, name) for name in designs.named},
        tolerance=_tolerance(asked, designs, found),
        requirements=judged.requirements,
        reason=reason(judged),
        settle="",
        gives_up="",
        rests_on=asked.curve.rests_on(asked.name, float(steps[0]), float(steps[-1])),
    )


def _tolerance(asked: _Asked, designs: Designs, found: _Tried) -> dict[str, tuple[float, float]]:
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
