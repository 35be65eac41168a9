"""Which set of isolators covers a season: the fewest parts, and the temperatures at which to swap them.

Whether a part is inside the window depends on the temperature alone, so a season is a histogram of temperatures and a
set is judged hour by hour by its best member. The search is exact: sets of one, of two, … are searched with bounds that
never discard a better one, so that the first size which reaches the wanted share is the smallest there is.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matdb.advice.suit import Candidate, Score, score, temperature_steps
from matdb.errors import InputError
from matdb.material.record import checked_number
from matdb.mounting.record import Mounting

__all__ = ["Cover", "Member", "Swap", "best_set", "cover"]

Array = NDArray[np.float64]

#: Swap only where the other part is better by this much probability, so that nobody swaps to and fro.
_HYSTERESIS: Final = 0.05
_LEAST_HYSTERESIS_K: Final = 1.0


@dataclass(frozen=True, kw_only=True)
class Member:
    """One part of a set: its squeeze, the share of hours that it alone would hold, and what it serves in the set."""

    part: str
    material: str
    basis: str
    squeeze_mm: float
    share_alone: float
    share_served: float
    low_c: float
    high_c: float


@dataclass(frozen=True, kw_only=True)
class Swap:
    """Change to ``colder`` below ``down_c`` on a falling thermometer, back to ``warmer`` above ``up_c``."""

    colder: str
    warmer: str
    down_c: float
    up_c: float


@dataclass(frozen=True, kw_only=True)
class Cover:
    """The smallest set that holds the window for the wanted share of hours, or the best there is.

    Attributes
    ----------
    reached : bool
        Whether the wanted share is reached.
    share, wanted : float
        Expected share of hours inside the window, and the share asked for.
    members : tuple of Member
        From cold to warm.
    swaps : tuple of Swap
        Between neighbours.
    best_by_size : tuple of (int, float)
        Best share of any set of each size that was searched: the proof that no smaller set does it.
    sets_searched : int
        Sets looked at, or excluded by a bound.
    next_gain : float or None
        Share of hours that one more part would add; None when there is no further part.
    hours : int
        Hours in the record.
    sentence : str
        The result in words.
    """

    reached: bool
    share: float
    wanted: float
    members: tuple[Member, ...]
    swaps: tuple[Swap, ...]
    best_by_size: tuple[tuple[int, float], ...]
    sets_searched: int
    next_gain: float | None
    hours: int
    sentence: str

    def to_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        values = {k: getattr(self, k) for k in self.__dataclass_fields__}
        values["members"] = [m.__dict__ for m in self.members]
        values["swaps"] = [s.__dict__ for s in self.swaps]
        values["best_by_size"] = [{"size": n, "share": share} for n, share in self.best_by_size]
        return values


def best_set(inside: ArrayLike, weight: ArrayLike, size: int) -> tuple[tuple[int, ...], float]:
    """The set of ``size`` options with the largest expected share of hours, by branch and bound.

    Parameters
    ----------
    inside : array_like, shape (options, steps)
        Probability of each option at each temperature.
    weight : array_like, shape (steps,)
        Hours at each temperature; any positive scale.
    size : int
        At least 1; at most the number of options.

    Returns
    -------
    (tuple of int, float)
        Options in rising order (of equally good sets the first in that order), and the share.
    """
    p = np.asarray(inside, dtype=float)
    w = np.asarray(weight, dtype=float)
    w = w / w.sum()
    n = len(p)
    alone = p @ w
    order = sorted(range(n), key=lambda k: (-alone[k], k))
    ranked = p[order]
    # What all later options together could still bring at each temperature.
    later = np.zeros((n + 1, p.shape[1]))
    for k in range(n - 1, -1, -1):
        later[k] = np.maximum(later[k + 1], ranked[k])
    best: list[Any] = [-1.0, ()]

    def search(start: int, chosen: tuple[int, ...], have: Array) -> None:
        left = size - len(chosen)
        if left == 0:
            share = float(have @ w)
            names = tuple(sorted(order[k] for k in chosen))
            if share > best[0] + 1e-12 or (share > best[0] - 1e-12 and names < best[1]):
                best[0], best[1] = max(share, best[0]), names
            return
        if n - start < left:
            return
        gains = np.maximum(ranked[start:] - have, 0.0) @ w
        # Two bounds: the best single gains added up, and everything that is left taken at once.
        top = float(np.sort(gains)[::-1][:left].sum())
        everything = float(np.maximum(have, later[start]) @ w)
        if min(float(have @ w) + top, everything) < best[0] - 1e-12:
            return
        for k in np.argsort(-gains, kind="stable") if left == 1 else range(n - start):
            if left == 1 and float(have @ w) + gains[k] < best[0] - 1e-12:
                break
            at = start + int(k)
            search(n if left == 1 else at + 1, (*chosen, at), np.maximum(have, ranked[at]))

    search(0, (), np.zeros(p.shape[1]))
    return best[1], best[0]


def cover(
    candidates: Sequence[Candidate],
    mounting: Mounting,
    temperature_c: ArrayLike,
    *,
    share: float = 0.95,
    most: int = 4,
    squeeze_mm: float | None = None,
    axis: str = "axial",
) -> Cover:
    """Find the fewest parts, each at one squeeze, that hold the window for a share of a season's hours.

    Parameters
    ----------
    candidates, mounting, squeeze_mm, axis
        As :func:`matdb.advice.suit.suit`.
    temperature_c : array_like, shape (hours,)
        Temperatures of the season, one an hour.
    share : float
        Wanted expected share of hours, above 0 and at most 1.
    most : int
        Largest set to look for.

    Raises
    ------
    InputError
        No candidate, or a value out of range.
    """
    checked_number("share", share, 0.0, 1.0, open_low=True)
    if not candidates:
        raise InputError("parts", "none", "at least one part", "add parts with 'matdb part add'")
    if most != int(checked_number("most", most, 1, 8)):
        raise InputError("most", most, "a whole number from 1 to 8")
    steps, repeats = temperature_steps(temperature_c)
    options = _undominated(
        score(candidates, mounting, steps, repeats, squeeze_mm=squeeze_mm, axis=axis, every_squeeze=True)
    )
    p = np.array([each.by_step for each in options])
    w = repeats / repeats.sum()
    sizes: list[tuple[int, float]] = []
    chosen: tuple[int, ...] = ()
    searched = 0
    for size in range(1, min(most, len(options)) + 1):
        names, found = best_set(p, w, size)
        searched += math.comb(len(options), size)
        if sizes and found < sizes[-1][1] + 1e-9:
            # One more part brings nothing: the smaller set is as good as any.
            sizes.append((size, found))
            break
        chosen = names
        sizes.append((size, found))
        if found >= share - 1e-12:
            break
    reached_share = max(s for _, s in sizes)
    members, swaps = _plan([options[k] for k in chosen], steps, w)
    gain = None
    if len(options) > len(chosen):
        rest = [k for k in range(len(options)) if k not in chosen]
        have = p[list(chosen)].max(axis=0)
        gain = float(max((np.maximum(p[k] - have, 0.0) @ w) for k in rest))
    done = reached_share >= share - 1e-12
    return Cover(
        reached=done,
        share=reached_share,
        wanted=share,
        members=members,
        swaps=swaps,
        best_by_size=tuple(sizes),
        sets_searched=searched,
        next_gain=gain,
        hours=int(repeats.sum()),
        sentence=_sentence(done, reached_share, share, members, sizes, int(repeats.sum())),
    )


def _undominated(options: list[Score]) -> list[Score]:
    """Options that no other is at least as good as at every temperature; of equal ones the first by content."""
    ordered = sorted(options, key=lambda s: (*s.key, s.squeeze_mm, s.candidate.part.name))
    kept: list[Score] = []
    for each in ordered:
        if not any(np.all(other.by_step >= each.by_step - 1e-12) for other in kept):
            kept.append(each)
    return kept


def _plan(members: list[Score], steps: Array, weight: Array) -> tuple[tuple[Member, ...], tuple[Swap, ...]]:
    """Who serves which temperatures, and where to swap."""
    p = np.array([m.by_step for m in members])
    serves = _server(p)
    order = sorted(
        range(len(members)), key=lambda k: float(np.mean(steps[serves == k])) if (serves == k).any() else 1e9
    )
    rows = []
    for k in order:
        mine = serves == k
        each = members[k]
        rows.append(
            Member(
                part=each.candidate.part.name,
                material=each.candidate.material.name,
                basis=each.candidate.curve.basis,
                squeeze_mm=each.squeeze_mm,
                share_alone=float(each.by_step @ weight),
                share_served=float(weight[mine].sum()),
                low_c=float(steps[mine].min()) if mine.any() else float("nan"),
                high_c=float(steps[mine].max()) if mine.any() else float("nan"),
            )
        )
    swaps = []
    for cold, warm in itertools.pairwise(order):
        if not ((serves == cold).any() and (serves == warm).any()):
            continue
        edge = _edge(serves, steps, cold, warm)
        # Either part will do where they differ by little: that stretch is the hysteresis.
        alike = np.abs(p[cold] - p[warm]) <= _HYSTERESIS
        down = up = edge
        below = steps[(steps <= edge) & ~alike]
        above = steps[(steps >= edge) & ~alike]
        down = float(below.max()) if below.size else float(steps[0])
        up = float(above.min()) if above.size else float(steps[-1])
        half = 0.5 * _LEAST_HYSTERESIS_K
        swaps.append(
            Swap(
                colder=_label(members[cold]),
                warmer=_label(members[warm]),
                down_c=min(down, edge - half),
                up_c=max(up, edge + half),
            )
        )
    return tuple(rows), tuple(swaps)


def _server(p: Array) -> NDArray[np.int64]:
    """Which member serves each temperature: the best; on a tie, the one that served the colder neighbour."""
    out = np.empty(p.shape[1], dtype=np.int64)
    last = int(np.argmax(p[:, 0] + 1e-9 * p.sum(axis=1)))
    for k in range(p.shape[1]):
        if p[last, k] < p[:, k].max() - 1e-9:
            last = int(np.argmax(p[:, k]))
        out[k] = last
    return out


def _edge(serves: NDArray[np.int64], steps: Array, cold: int, warm: int) -> float:
    """The temperature half way between the last of ``cold`` and the first of ``warm``."""
    last = float(steps[serves == cold].max())
    first = steps[(serves == warm) & (steps > last)]
    return 0.5 * (last + float(first.min())) if first.size else last


def _label(each: Score) -> str:
    name = each.candidate.part.name
    return f"{name} squeezed {each.squeeze_mm:g} mm" if each.squeeze_mm else name


def _sentence(
    done: bool, reached: float, wanted: float, members: tuple[Member, ...], sizes: list[tuple[int, float]], hours: int
) -> str:
    n = len(members)
    parts = "one part" if n == 1 else f"{n} parts"
    if done and n == 1:
        return f"one part holds the window for {100 * reached:.1f} % of {hours} hours: nothing has to be swapped"
    if done:
        less = next(s for size, s in sizes if size == n - 1)
        return (
            f"{parts} hold the window for {100 * reached:.1f} % of {hours} hours; "
            f"the best {'single part' if n == 2 else f'{n - 1} parts'} would hold it for {100 * less:.1f} %"
        )
    return (
        f"no set of up to {sizes[-1][0]} parts reaches {100 * wanted:.0f} %: the best, {parts}, holds the window for "
        f"{100 * reached:.1f} % of {hours} hours"
    )
