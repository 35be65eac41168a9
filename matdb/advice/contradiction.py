"""Where no size holds: which two demands contradict, and the least that would let something hold."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from matdb.advice.design import Designs
from matdb.advice.search import DECK, FOLLOWING, ISOLATING, Asked, Tried, evolved
from matdb.arrays import Array
from matdb.form.grommet_pair import TwoHalves
from matdb.material.record import service_range
from matdb.mounting.record import Mounting

#: How far the best may miss a demand before the demands are said to contradict, in ln.
_MISSES: Final = 0.005
#: Designs of a search whose rooms are looked at.
_LOOKED: Final = 250
#: What is missing of the other demands weighs so much more than what is missing of the one that is relaxed.
_STRICT: Final = 10.0
#: Generations of the search for what lacks least of one demand, of one piece and of two halves, and how many of those
#: that do are judged when it is relaxed: first by what they lack in the median draw, then by steps of this factor, till
#: one holds as likely as not.
_GENERATIONS, _NEAREST = {False: 8, True: 3}, {False: 12, True: 6}
_STEP, _STEPS = 1.03, 24
#: Nobody relaxes a demand further; and how far around the best others are looked for.
_MOST, _NEAR = 4.0, 0.05


@dataclass(frozen=True)
class _Demand:
    """A demand that may contradict another: its words, how a mounting relaxes it by a factor, and what it then asks."""

    words: Callable[[Asked, Mounting], str]
    relaxed: Callable[[Mounting, float], Mounting] | None = None
    asks: Callable[[Mounting, Mounting], str] = lambda _, __: ""


def _loads(mounting: Mounting, factor: float) -> Mounting:
    """Load factors nearer to 1."""
    low, high = (1.0 + (each - 1.0) / factor for each in mounting.load_factors)
    return replace(mounting, load_factors=(low, high))


def _idle(mounting: Mounting, factor: float) -> Mounting:
    idle = mounting.rpm_idle * factor
    hover = None if mounting.rpm_hover is None else max(mounting.rpm_hover, idle)
    return replace(mounting, rpm_idle=idle, rpm_full=max(mounting.rpm_full, idle), rpm_hover=hover)


def _room(mounting: Mounting, factor: float) -> Mounting:
    if mounting.clearance_mm is None:
        return _loads(mounting, factor)
    return replace(mounting, clearance_mm=min(mounting.clearance_mm * factor, 1e3))


def _ask_loads(new: Mounting, old: Mounting) -> str:
    if new.clearance_mm != old.clearance_mm:
        return f"{new.clearance_mm:.3g} mm of clearance, not {old.clearance_mm:.3g}"
    return "load factors {:.2g} to {:.2g}, not {:g} to {:g}".format(*new.load_factors, *old.load_factors)


_DEMANDS: Final[Mapping[str, _Demand]] = {
    ISOLATING: _Demand(
        lambda _, on: f"isolating from the rotors' {on.lowest_rotor_hz:.3g} Hz",
        _idle,
        lambda new, old: f"rotors from {new.rpm_idle:.0f} rpm on, not {old.rpm_idle:.0f}",
    ),
    FOLLOWING: _Demand(
        lambda _, on: f"following to {on.manoeuvre_hz:.3g} Hz",
        lambda on, factor: replace(on, manoeuvre_hz=on.manoeuvre_hz / factor),
        lambda new, old: f"following to {new.manoeuvre_hz:.2g} Hz, not {old.manoeuvre_hz:.3g}",
    ),
    "travel": _Demand(lambda _, on: f"not bottoming out at load factor {on.load_factor:g}", _room, _ask_loads),
    "buckling": _Demand(lambda _, on: f"not buckling at load factor {on.load_factor:g}", _loads, _ask_loads),
    "lift-off": _Demand(
        lambda _, on: "no lift-off at load factors {:g} to {:g}".format(*on.load_factors), _loads, _ask_loads
    ),
    "strain": _Demand(
        lambda _, on: f"being pressed by {100.0 * on.strain_most:.0f} % at most",
        lambda on, factor: replace(on, strain_most=min(on.strain_most * factor, 0.9)),
        lambda new, old: f"pressed by up to {100.0 * new.strain_most:.0f} %, not {100.0 * old.strain_most:.0f} %",
    ),
    "service": _Demand(
        lambda asked, _: "{}'s service range of {:g} to {:g} degC".format(
            asked.material.name, *service_range(asked.material)
        )
    ),
    DECK: _Demand(lambda asked, _: f"a deck of {asked.deck_mm:.3g} mm at most"),
}


def contradiction(
    asked: Asked, designs: Callable[[Mounting], Designs], mounting: Mounting, tried: Sequence[Tried]
) -> str:
    """The two demands that no size holds together and the least relaxation that lets something hold, in one sentence.

    Empty where a size holds everything in the median draw: then only the band is too wide.

    Parameters
    ----------
    asked : Asked
        The question.
    designs : callable
        All designs for a mounting.
    mounting : Mounting
        The one asked about.
    tried : sequence of Tried
        Designs that were judged, the best first.
    """
    rooms = [each.rooms for each in (*tried[:_LOOKED], *tried[_LOOKED :: max(len(tried) // _LOOKED, 1)])]
    if max(min(each.values()) for each in rooms) >= -_MISSES:
        return ""
    names = dict.fromkeys(name for each in rooms for name in each)
    # How well everything else could be held without one of them.
    without = {name: max(min(room for n, room in each.items() if n != name) for each in rooms) for name in names}
    first, second = sorted(names, key=lambda name: -without[name])[:2]
    two = " and ".join(_DEMANDS[name].words(asked, mounting) for name in (first, second))
    found = sorted(filter(None, (_relaxed(asked, designs, mounting, name, tried) for name in (first, second))))
    if not found:
        return f"{two} contradict: no size holds both, and relaxing either would not do"
    return f"{two} contradict; the least that lets something hold: {', or '.join(text for _, text in found)}"


def _relaxed(
    asked: Asked, designs: Callable[[Mounting], Designs], mounting: Mounting, name: str, tried: Sequence[Tried]
) -> tuple[float, str] | None:
    """The least factor to relax a demand by, and what it then asks; None where it cannot be or does not help."""
    demand, every = _DEMANDS[name], designs(mounting)
    if demand.relaxed is None and name != DECK:
        return None
    looked, two = list(tried[:_LOOKED]), issubclass(every.cls, TwoHalves)
    nearest = _NEAREST[two]

    def judged(places: Array) -> list[Tried | None]:
        found = asked.tried([every.at(place) for place in places], few=True)
        looked.extend(filter(None, found))
        return found

    def value(each: Tried) -> float:
        """Room in the demand that is relaxed, once the others are held."""
        others = min(room for other, room in each.rooms.items() if other != name)
        return each.rooms.get(name, 0.0) + _STRICT * min(others, 0.0)

    if every.all_places is None:
        start = max(looked, key=value).design.place
        evolved(every, judged, value, start, list(range(len(start))), nearest, _GENERATIONS[two])
    places = np.array([each.design.place for each in sorted(looked, key=value)[-nearest:]])
    lacking, rng = max(-max(map(value, looked)), 0.0), np.random.default_rng(0)
    for step in range(_STEPS):
        factor = math.exp(lacking) * _STEP**step
        if factor > _MOST:
            return None
        on = mounting if demand.relaxed is None else demand.relaxed(mounting, factor)
        lower, those = asked.with_deck(asked.deck_mm * factor) if name == DECK else asked, designs(on)
        found = filter(None, lower.tried([those.at(place) for place in places], few=True))
        best = sorted(found, key=lambda each: -each.score)
        if best and best[0].holds >= 0.5:
            return factor, f"a deck of {lower.deck_mm:.3g} mm" if name == DECK else demand.asks(on, mounting)
        if best:
            near = best[0].design.place + _NEAR * rng.standard_normal(places.shape)
            places = np.clip(np.concatenate([[each.design.place for each in best[:4]], near])[:nearest], 0.0, 1.0)
    return None
