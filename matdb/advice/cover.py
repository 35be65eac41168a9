"""Which set of isolators covers a season: the fewest parts, and the temperatures at which to swap them.

Whether a part holds depends on the temperature alone, so a season is a histogram of temperatures and a set is judged
hour by hour by its best member. The search is exact, so the first size that reaches the wanted share is the smallest
there is.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from matdb.advice.exposure import Exposure, Temperatures, exposure
from matdb.advice.judge import judge
from matdb.advice.judgement import Judgement
from matdb.advice.requirement import Candidate, Payload
from matdb.advice.subset import Best, best_set, undominated
from matdb.advice.suit import suit
from matdb.advice.summary import how_to_fit
from matdb.arrays import Array, Flags, Whole
from matdb.checks import checked_number, checked_whole
from matdb.errors import InputError
from matdb.fields import PlainRecord
from matdb.mounting.record import Mounting
from matdb.units import counted, counted_of

#: Two parts serve a temperature alike when their probabilities differ by no more: that stretch is the hysteresis.
_ALIKE: Final = 0.02
#: Never swap to and fro within less than this.
_LEAST_HYSTERESIS_K: Final = 1.0
#: A swap more in the plan has to bring this share of the hours.
_WORTH_A_SWAP: Final = 5e-4
#: A part more that does not bring the wanted share has to add this share of the hours to be told to be taken.
_WORTH_A_PART: Final = 5e-3
#: So many options are searched for sets of two, of three, of more; beyond, nearly equal ones are merged.
_MOST_OPTIONS: Final = {1: 10**9, 2: 1000, 3: 250}
_MOST_OPTIONS_BEYOND: Final = 120
_TOLERANCES: Final = (0.0, 0.001, 0.002, 0.005, 0.01, 0.02, 0.05)


@dataclass(frozen=True, kw_only=True)
class Member:
    """One part of a set.

    Attributes
    ----------
    part, material, basis, squeeze_mm
        The part, what its answer rests on, its squeeze.
    share_alone : float
        Expected share of the hours that it would hold alone.
    share_served : float
        Share of the hours at which it is the one to fly.
    probability : float
        That it holds at every temperature that it is used at, as :func:`matdb.advice.suit.suit` has it.
    low_c, high_c : float or None
        Coldest and warmest temperature that it serves; None when the others need no help after all.
    extrapolated : bool
        Whether it is used outside the measured temperatures or frequencies (always so for a prior).
    warnings : tuple of str
        What :func:`matdb.advice.suit.suit` tells of it for the temperatures that it is used at, hysteresis included.
    """

    part: str
    material: str
    basis: str
    squeeze_mm: float
    share_alone: float
    share_served: float
    probability: float
    low_c: float | None
    high_c: float | None
    extrapolated: bool = False
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Swap:
    """Change to ``colder`` when the thermometer falls below ``down_c``, to ``warmer`` when it rises above ``up_c``."""

    colder: str
    warmer: str
    down_c: float
    up_c: float


@dataclass(frozen=True, kw_only=True)
class SizeBest:
    """The best set of a size: its share, what no set of that size exceeds, and the hours it adds to the size before."""

    size: int
    share: float
    at_most: float
    added_hours: float
    parts: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Cover(PlainRecord):
    """The smallest set that holds the window for the wanted share of hours, or the best there is.

    Attributes
    ----------
    reached : bool
        Whether the wanted share is reached.
    proven : bool
        Whether it is certain that no smaller set reaches it (and, when it is not reached, that none does).
    share, wanted : float
        Expected share of hours at which the best member of the moment holds, and the share asked for.
    share_with_swaps : float
        The same when the swapping temperatures are followed through the record; less, because of their hysteresis.
    swap_count : int
        How often that means to swap.
    members : tuple of Member
        From cold to warm.
    swaps : tuple of Swap
        From cold to warm.
    best_by_size : tuple of SizeBest
        Best of each size up to the one chosen: the proof; and of more parts: the price of the hours that are left.
    hours : float
        Hours in the record, or temperatures where no times are known.
    counted : str
        "hours" or "temperatures": what ``hours`` and the shares count.
    fails_c : tuple of (float, float)
        From where to where the one to fly then rather fails than holds, degrees Celsius.
    fails_in, may_fail_in : tuple of str
        The months of it, of a table of months, and those in which it is open.
    options : int
        Parts times squeezes that were judged.
    sentence : str
        The result in words.
    notes : tuple of str
        What was assumed of the temperatures.
    """

    reached: bool
    proven: bool
    share: float
    wanted: float
    share_with_swaps: float
    swap_count: int
    members: tuple[Member, ...]
    swaps: tuple[Swap, ...]
    best_by_size: tuple[SizeBest, ...]
    hours: float
    options: int
    sentence: str
    notes: tuple[str, ...] = ()
    counted: str = "hours"
    fails_c: tuple[tuple[float, float], ...] = ()
    fails_in: tuple[str, ...] = ()
    may_fail_in: tuple[str, ...] = ()

    def __str__(self) -> str:
        return self.sentence

    def held(self, share: float) -> str:
        """A share of the hours as their number: percentages tell how sure something is, nothing else."""
        return counted_of(share, self.hours, self.counted)


def cover(
    candidates: Sequence[Candidate],
    mounting: Mounting,
    temperature_c: Temperatures,
    *,
    share: float = 0.95,
    most: int = 4,
    squeeze_mm: float | None = None,
    axis: str = "axial",
    package: str | None = None,
) -> Cover:
    """Find the fewest parts, each at one squeeze, that hold the window for a share of a season's hours.

    Parameters
    ----------
    candidates, mounting, squeeze_mm, axis, package
        As :func:`matdb.advice.suit.suit`.
    temperature_c : array_like of shape (hours,), Forecast or Flight
        Temperatures of the season, one an hour.
    share : float
        Wanted expected share of hours, above 0 and at most 1.
    most : int
        Largest set to look for, 1 to 8.

    Returns
    -------
    Cover
        One part is preferred to two that hold more, once it reaches the wanted share; where nothing reaches it, a part
        more is taken only if it adds at least 0.5 % of the hours.

    Raises
    ------
    InputError
        No candidate, a value out of range, or demands that no natural frequency can meet.
    """
    wanted = checked_number("share", share, 0.0, 1.0, open_low=True)
    if not candidates:
        raise InputError("parts", None, "at least one part", "add parts with 'matdb part add'")
    most = checked_whole("most", most, 1, 8)
    exposed = exposure([(each.part, each.material) for each in candidates], temperature_c)
    if len(exposed.weight) > 1:
        raise InputError("car_c", "given", "left out for a season", "ask for one flight with 'matdb suit'")
    Payload.of(mounting, package).possible(mounting)
    judging = judge(
        candidates, mounting, exposed, package=package, axis=axis, squeeze_mm=squeeze_mm, every_squeeze=True
    )
    options = [each for found in judging for each in found]
    judged = len(options)
    # Content decides among equals, names only among parts that cannot be told apart.
    options.sort(key=lambda s: (*s.key, s.squeeze_mm, s.candidate.part.name))
    p = np.array([each.by_step for each in options])
    best = undominated(p)
    options, p = [options[k] for k in best], p[best]
    weight = exposed.weight[0]
    sizes, chosen, exhausted = _sizes(p, weight, wanted, most)
    table = _by_size(sizes, options, exposed.hours)
    enough = wanted - 1e-12
    reached = sizes[chosen].share >= enough
    proven = all(each.at_most < enough for each in sizes[:chosen]) and (reached or sizes[-1].at_most < enough)
    plan = _Plan([options[k] for k in sizes[chosen].options], exposed)
    swapped, count, flown = plan.followed()
    members = tuple(plan.members(flown, mounting, axis=axis, package=package))
    answer = Cover(
        reached=reached,
        proven=proven,
        share=sizes[chosen].share,
        wanted=wanted,
        share_with_swaps=swapped,
        swap_count=count,
        members=members,
        swaps=plan.swaps,
        best_by_size=table,
        hours=exposed.hours,
        options=judged,
        sentence="",
        notes=exposed.notes,
        counted=exposed.counted,
        **plan.failing(),
    )
    return dataclasses.replace(answer, sentence=_sentence(answer, exhausted))


def _by_size(sizes: Sequence[Best], options: Sequence[Judgement], hours: float) -> tuple[SizeBest, ...]:
    """The best of each size in words, with the hours that it adds."""
    before = [0.0, *(each.share for each in sizes)]
    return tuple(
        SizeBest(
            size=size,
            share=each.share,
            at_most=each.at_most,
            added_hours=hours * (each.share - before[size - 1]),
            parts=tuple(_label(options[k]) for k in each.options),
        )
        for size, each in enumerate(sizes, start=1)
    )


def _sizes(p: Array, weight: Array, wanted: float, most: int) -> tuple[list[Best], int, bool]:
    """Best set of each size up to one more than needed, which is chosen, and whether more bring nothing.

    Where no size reaches the wanted share, a part that adds next to nothing is not chosen.
    """
    sizes: list[Best] = []
    chosen: int | None = None
    exhausted = len(p) <= most
    for size in range(1, min(most + 1, len(p)) + 1):
        found = _best(p, weight, size)
        if sizes and found.share <= sizes[-1].share + 1e-9:
            exhausted = True
            break
        sizes.append(found)
        if chosen is not None or (size > most):
            break
        if found.share >= wanted - 1e-12:
            chosen = size - 1
    if chosen is None:
        chosen = min(len(sizes), most) - 1
        while chosen > 0 and sizes[chosen].share - sizes[chosen - 1].share < _WORTH_A_PART:
            chosen -= 1
    return sizes, chosen, exhausted


def _best(p: Array, weight: Array, size: int) -> Best:
    """The best set of a size, nearly equal options merged when there are too many to search them all."""
    most = _MOST_OPTIONS.get(size, _MOST_OPTIONS_BEYOND)
    for tolerance in _TOLERANCES:
        some = np.arange(len(p)) if tolerance == 0.0 else np.sort(undominated(p, tolerance))
        if some.size <= most or tolerance == _TOLERANCES[-1]:
            break
    found = best_set(p[some], weight, min(size, some.size))
    options = tuple(int(some[k]) for k in found.options)
    if len(options) < size:
        rest = [k for k in range(len(p)) if k not in options]
        options = tuple(sorted((*options, *rest[: size - len(options)])))
    return Best(options, found.share, min(found.at_most + tolerance, 1.0))


class _Plan:
    """Who serves which temperatures, and where to swap."""

    def __init__(self, members: list[Judgement], exposed: Exposure) -> None:
        self.scores, self.exposed = members, exposed
        self.p = np.array([m.by_step for m in members])
        self.weight = exposed.weight[0] / exposed.weight[0].sum()
        self.serves = _servers(self.p, self.weight)
        starts = np.flatnonzero(np.diff(self.serves)) + 1
        #: First step of each run of temperatures that one member serves.
        self.starts = [0, *(int(k) for k in starts)]
        self.swaps = tuple(self._swap(k) for k in range(1, len(self.starts)))

    def members(self, flown: Flags, mounting: Mounting, **how: Any) -> Iterator[Member]:
        """Each member as the ranking tells of it at the temperatures it is used at: those it serves or is flown at."""
        steps = self.exposed.steps
        first = {int(m): int(np.argmax(self.serves == m)) for m in np.unique(self.serves)}
        for k in sorted(range(len(self.scores)), key=lambda m: first.get(m, len(steps))):
            each, mine = self.scores[k], self.serves == k
            used = mine | flown[k]
            # One that is never flown is told of as if it were flown throughout.
            at = steps[used] if used.any() else steps
            (row,) = suit([each.candidate], mounting, at, squeeze_mm=each.squeeze_mm, **how)
            yield Member(
                part=row.part,
                material=row.material,
                basis=row.basis,
                squeeze_mm=each.squeeze_mm,
                share_alone=each.share,
                share_served=float(self.weight[mine].sum()),
                probability=row.probability,
                low_c=float(steps[mine].min()) if mine.any() else None,
                high_c=float(steps[mine].max()) if mine.any() else None,
                extrapolated=row.extrapolated,
                warnings=row.warnings,
            )

    def failing(self) -> dict[str, Any]:
        """Where who serves rather fails than holds: stretches of temperature, and their months where known."""
        steps = self.exposed.steps
        served = self.p[self.serves, np.arange(steps.size)]
        fails = (served < 0.5) & (self.weight > 0.0)
        runs = np.split(steps[fails], np.flatnonzero(np.diff(np.flatnonzero(fails)) > 1) + 1)
        spans = tuple((float(run[0]), float(run[-1])) for run in runs if run.size)
        return {"fails_c": spans, **self.exposed.failing(0, served)}

    def _swap(self, run: int) -> Swap:
        steps, start = self.exposed.steps, self.starts[run]
        cold, warm = int(self.serves[start - 1]), int(self.serves[start])
        edge = 0.5 * float(steps[start - 1] + steps[start])
        alike = np.abs(self.p[cold] - self.p[warm]) <= _ALIKE
        # Either will do where they hold alike; no farther than the middle of their own runs.
        lowest = start - (start - self.starts[run - 1] + 1) // 2
        end = self.starts[run + 1] if run + 1 < len(self.starts) else len(steps)
        highest = start + (end - start) // 2
        down, up = start - 1, start
        while down > lowest and alike[down]:
            down -= 1
        while up < highest and up < len(steps) - 1 and alike[up]:
            up += 1
        half = 0.5 * _LEAST_HYSTERESIS_K
        return Swap(
            colder=_label(self.scores[cold]),
            warmer=_label(self.scores[warm]),
            down_c=min(float(steps[down]), edge - half),
            up_c=max(float(steps[up]), edge + half),
        )

    def followed(self) -> tuple[float, int, Flags]:
        """Share held, number of swaps, and who flies at which step, the thermometer followed through the record."""
        steps, sequence = self.exposed.steps, self.exposed.sequence[0]
        owners = [int(self.serves[start]) for start in self.starts]
        counts = np.bincount(sequence, minlength=steps.size)
        hours = self.exposed.weight[0] / np.maximum(counts, 1)
        run = int(np.searchsorted(self.starts, sequence[0], side="right")) - 1
        held, swapped = 0.0, 0
        flown = np.zeros(self.p.shape, dtype=np.bool_)
        for step in sequence:
            t = float(steps[step])
            while run > 0 and t < self.swaps[run - 1].down_c:
                run, swapped = run - 1, swapped + 1
            while run < len(self.swaps) and t > self.swaps[run].up_c:
                run, swapped = run + 1, swapped + 1
            held += float(self.p[owners[run], step] * hours[step])
            flown[owners[run], step] = True
        return held / float(self.exposed.weight[0].sum()), swapped, flown


def _servers(p: Array, weight: Array) -> Whole:
    """Which member serves each temperature: the best, but no swap for next to nothing (dynamic programming)."""
    members, steps = p.shape
    value = p[:, 0] * weight[0]
    came = np.zeros((steps, members), dtype=np.int64)
    for k in range(1, steps):
        best = int(np.argmax(value))
        stay = value >= value[best] - _WORTH_A_SWAP
        came[k] = np.where(stay, np.arange(members), best)
        value = np.where(stay, value, value[best] - _WORTH_A_SWAP) + p[:, k] * weight[k]
    out = np.empty(steps, dtype=np.int64)
    out[-1] = int(np.argmax(value))
    for k in range(steps - 1, 0, -1):
        out[k - 1] = came[k, out[k]]
    return out


def _label(each: Judgement) -> str:
    part = each.candidate.part
    how = how_to_fit(each.squeeze_mm, part.turns_at(each.squeeze_mm), None)
    return f"{part.name} {how}" if how else part.name


def _parts(n: int) -> str:
    return "one part" if n == 1 else f"{n} parts"


def _sentence(found: Cover, exhausted: bool) -> str:
    """The result in words; ``exhausted`` when more parts than were looked at bring nothing."""
    sizes, n, swaps = found.best_by_size, len(found.members), counted(found.swap_count, "swaps")
    have = sizes[n - 1]
    best, real = found.held(have.share), found.held(found.share_with_swaps)
    text = f"{_parts(n)} hold{'s' if n == 1 else ''} the window for {best}"
    if n > 1 and best == real:
        text += f" with {swaps}"
    elif n > 1:
        text += f" with the best part at each, for {real} with {swaps}: "
        text += "none comes the very moment it would pay, so as not to go to and fro"
    if not found.reached:
        sure = "no set" if found.proven else "no set that was found"
        up_to = "" if exhausted else f" of up to {_parts(len(sizes))}"
        text = f"{sure}{up_to} reaches {found.held(found.wanted)}: {text}"
    elif n > 1:
        most = found.held(max(sizes[n - 2].at_most, sizes[n - 2].share))
        text += f"; no {'single part' if n == 2 else f'set of {n - 1}'} holds it for more than {most}"
        if not found.proven:
            text += ", which does not exclude a smaller set"
    if len(sizes) > n:
        more = sizes[n].share - have.share
        text += f"; one part more would add {found.held(more)}"
        if more < _WORTH_A_PART:
            text += ": not worth a part"
    elif found.reached and found.hours * (1.0 - have.share) >= 0.05:
        text += f"; one part more would add nothing to the {found.held(1.0 - have.share)} that are left"
    return text
