"""Designs put before the one judge in batches, and the search for those that hold most surely.

They are looked for over a few temperatures by differential evolution [1]_, and around the best over all of them.

References
----------
.. [1] R. Storn, K. Price, J. Global Optim. 11 (1997) 341.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from typing import Final

import numpy as np

from matdb.advice.cost import Cost, cost_of
from matdb.advice.design import MOUNTING_STEP, MOVED, Design, Designs
from matdb.advice.exposure import Exposure, Temperatures, exposure
from matdb.advice.judge import judge
from matdb.advice.judgement import Judgement
from matdb.advice.requirement import CRAFT, Candidate
from matdb.arrays import Array
from matdb.curve.curve import Curve
from matdb.errors import InputError
from matdb.form.base import FormBase
from matdb.form.grommet_pair import TwoHalves
from matdb.material.record import Material

#: Demands beside those of the craft: of the picture, and of the deck.
ISOLATING, FOLLOWING, DECK = "isolating", "following", "deck"
#: What a design that cannot be lacks.
_NOTHING: Final = 100.0
#: Slack of a deck, in ln.
_HAIR: Final = 1e-9
#: Temperatures that designs are looked for over; the judge's word on a proposal is over all.
_SEARCHED: Final = 4
#: Designs a generation and generations, of one piece and of two halves, which cost the judge ten times as much.
_DESIGNS, _GENERATIONS = 12, {False: 20, True: 12}
#: Designs that a search usually judges, for its progress; mountings that parts are tried at first.
_USUAL, _MOUNTINGS = {False: 600, True: 300}, 20
#: So many times as many designs as a search begins with are looked through for those that can be.
_SPARE: Final = 8
#: Spreads of the designs around the best ones that are tried over all temperatures, as shares of what is free.
_NEAR: Final = (0.06, 0.03, 0.015, 0.006)


@dataclass(frozen=True, eq=False)
class Tried:
    """A design that was judged."""

    design: Design
    judged: Judgement
    deck_most_mm: float

    @property
    def over(self) -> float:
        """Ln of its height over the deck that is allowed; below 0 where it is lower, or has no height."""
        return math.log(self.design.part.form.deck_mm(self.judged.squeeze_mm) or 1e-9) - math.log(self.deck_most_mm)

    @property
    def holds(self) -> float:
        """The judge's probability; 0 over the deck that is allowed."""
        return 0.0 if self.over > _HAIR else self.judged.probability

    @property
    def score(self) -> float:
        """Greater is better: the probability; among equals and where nothing holds, what is nearer to holding."""
        found = self.judged
        near = 0.01 * found.share + 0.005 * found.met + 0.01 * math.tanh(found.margin)
        return self.holds + near - (1.0 + self.over if self.over > _HAIR else 0.0)

    def cost(self, material: Material) -> Cost:
        """What its pieces cost."""
        return cost_of(self.design.part, material, self.design.mounting.count, self.judged.squeeze_mm)

    @cached_property
    def rooms(self) -> dict[str, float]:
        """Room to the limit of every demand in ln, median draw at the worst temperature."""
        found = self.judged
        sides = {ISOLATING: found.isolation, FOLLOWING: found.follow}
        told = {name: 0.5 * float(np.median(room)) for name, room in sides.items()}
        told |= {each.name: math.log1p(max(each.margin, -0.99)) for each in found.requirements if each.name in CRAFT}
        return told | ({} if math.isinf(self.deck_most_mm) else {DECK: -self.over})


class Asked:
    """A question to the judge: what is held fixed over all designs."""

    def __init__(
        self,
        material: Material,
        curve: Curve,
        temperature_c: Temperatures,
        package: str | None,
        squeeze_mm: float | Sequence[float] | None,
        deck_mm: float | None = None,
    ) -> None:
        self.material, self.curve, self.temperature_c = material, curve, temperature_c
        self.deck_mm = math.inf if deck_mm is None else deck_mm
        self.package, self.squeeze_mm, self.fewer = package, squeeze_mm, _fewer_draws(curve)
        self.name = "proposal"
        while self.name in curve.offsets:
            self.name += "'"

    def with_deck(self, deck_mm: float) -> Asked:
        """The same question with another deck."""
        return Asked(self.material, self.curve, self.temperature_c, self.package, self.squeeze_mm, deck_mm)

    def tried(
        self, designs: Sequence[Design | None], *, few: bool = False, squeeze_mm: float | None = None
    ) -> list[Tried | None]:
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
        found: list[Tried | None] = [None] * len(designs)
        groups: dict[int, list[int]] = {}
        squeezes = self.squeeze_mm if squeeze_mm is None else squeeze_mm
        for index, each in enumerate(designs):
            if each is not None and (squeezes is None or _takes(each.part.form, squeezes)):
                groups.setdefault(id(each.mounting), []).append(index)
        for members in groups.values():
            some = [design for index in members if (design := designs[index]) is not None]
            curve = self.fewer if few else self.curve
            # Readings of a part that happens to be called alike say nothing of a part that is to be made.
            candidates = [Candidate(replace(each.part, name=self.name), self.material, curve) for each in some]
            exposed = exposure([(each.part, self.material) for each in candidates], self.temperature_c)
            judged = judge(
                candidates,
                some[0].mounting,
                _thinned(exposed) if few else exposed,
                package=self.package,
                squeeze_mm=squeezes,
            )
            for one in (one for together in judged for one in together):
                found[members[one.index]] = Tried(some[one.index], one, self.deck_mm)
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
    named = ("parameters", "misfit", "turned", "rest", "softening")
    offsets = {name: values[some] for name, values in curve.offsets.items()}
    return replace(curve, offsets=offsets, **{name: getattr(curve, name)[some] for name in named})


def _thinned(exposed: Exposure) -> Exposure:
    """The same over a few temperatures, both ends among them; as it is where parts lag behind the air."""
    if len(exposed.steps) <= _SEARCHED or len(exposed.weight) > 1:
        return exposed
    some = np.linspace(0, len(exposed.steps) - 1, _SEARCHED).round().astype(int)
    return replace(exposed, steps=exposed.steps[some], weight=exposed.weight[:, some])


def searched(asked: Asked, designs: Designs, tell: Callable[[float], None]) -> list[Tried]:
    """Every design that was judged over a few temperatures, the best first."""
    found: list[Tried] = []
    every, two = designs.all_places, issubclass(designs.cls, TwoHalves)

    def lacks(places: Array) -> list[Tried | None]:
        tried = asked.tried([designs.at(place) for place in places], few=True)
        found.extend(filter(None, tried))
        tell(0.7 * (1.0 - math.exp(-len(found) / _USUAL[two])))
        return tried

    def best(count: int = 1) -> Array:
        return np.array([each.design.place for each in sorted(found, key=lambda each: -each.score)[:count]])

    free, evolve = len(designs.free), partial(evolved, designs, lacks, lambda each: each.score)
    moved = [k for k, each in enumerate(designs.free) if each.name in MOVED]
    shaped = [k for k in range(free) if k not in moved]
    if every is not None:
        for some in np.array_split(every, max(len(every) // 40, 1)):
            lacks(some)
    elif not moved:
        evolve(np.full(free, 0.5), shaped, _DESIGNS, _GENERATIONS[two])
    else:
        # Each mounting costs the judge as much as ten parts: many parts at few mountings, then by turns.
        for place in _evenly(_MOUNTINGS, len(moved)):
            lacks(_joined(free, moved, place[None], shaped, _evenly(12, len(shaped))))
        for _ in range(2):
            evolve(best()[0] if found else np.full(free, 0.5), shaped, _DESIGNS, _GENERATIONS[two] // 2)
            near = best(4)
            lacks(np.concatenate([np.clip(near + step, 0.0, 1.0) for step in _steps(free, moved)]))
    return sorted(found, key=lambda each: -each.score)


def evolved(
    designs: Designs,
    judged: Callable[[Array], list[Tried | None]],
    value: Callable[[Tried], float],
    base: Array,
    some: list[int],
    count: int,
    generations: int,
) -> None:
    """Look for designs of a greater value, by differential evolution.

    Parameters
    ----------
    designs : Designs
        All there are.
    judged : callable
        Judges places.
    value : callable
        What is to be great.
    base : ndarray
        A place; what is found differs from it in ``some`` of its entries only.
    some : list of int
        Which of them.
    count, generations : int
        Designs a generation for each of them, and generations at most.
    """
    from scipy.optimize import differential_evolution

    def whole(places: Array) -> Array:
        found = np.tile(base, (len(places), 1))
        found[:, some] = places
        return found

    def lacks(places: Array) -> Array:
        return np.array([_NOTHING if each is None else -value(each) for each in judged(whole(places.T))])

    count = max(count * len(some), 24)
    start = _evenly(_SPARE * count, len(some))
    # Those whose dimensions go together first.
    start = start[np.argsort([designs.at(place) is None for place in whole(start)], kind="stable")][:count]
    start[0] = base[some]
    usual = {"tol": 0.003, "vectorized": True, "updating": "deferred", "polish": False, "seed": 0}
    try:
        differential_evolution(lacks, [(0.0, 1.0)] * len(some), init=start, maxiter=generations, **usual)
    except RuntimeError as error:  # as it tells of what the judge refuses
        raise error.__cause__ or error from None


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


def settled(asked: Asked, designs: Designs, tried: Sequence[Tried], tell: Callable[[float], None]) -> Tried:
    """The best over all temperatures, after looking around the best ones of the search."""
    rng = np.random.default_rng(0)
    near = _DESIGNS // (1 + issubclass(designs.cls, TwoHalves))
    some = [each.design for each in tried[: 2 * near]]
    known = list(filter(None, asked.tried(some)))
    best = max(known, key=lambda each: each.score)
    if designs.all_places is not None:
        return best
    for k, spread in enumerate(_NEAR):
        tell(0.7 + 0.04 * k)
        around = best.design.place + spread * rng.standard_normal((near, len(best.design.place)))
        known = list(filter(None, asked.tried([designs.at(place) for place in np.clip(around, 0.0, 1.0)])))
        best = max([best, *known], key=lambda each: each.score)
    return best
