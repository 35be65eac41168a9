"""What is fixed, free and ranged of a part and its mounting, and the designs that lie in between."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from matdb.arrays import Array
from matdb.checks import checked_number, checked_whole
from matdb.errors import InputError
from matdb.fields import FieldInfo, record_fields
from matdb.form import Part
from matdb.form.base import form_named
from matdb.mounting.record import Mounting

#: Between which ends a dimension is looked for that nobody told, mm and shares: isolators of cameras up to some
#: kilograms, walls of one to four lines; common practice, no source.
FREE: Final[Mapping[str, tuple[float, float]]] = {
    "outer_mm": (3.0, 20.0), "inner_mm": (1.5, 12.0), "diameter_mm": (3.0, 20.0), "length_mm": (8.0, 40.0),
    "height_mm": (2.0, 15.0), "walls": (1, 4), "infill_share": (0.1, 1.0), "flange_outer_mm": (7.0, 20.0),
    "bore_mm": (2.2, 8.0), "lower_mm": (1.5, 8.0), "upper_mm": (1.5, 8.0), "hole_mm": (4.0, 14.0),
    "top_mm": (3.0, 20.0), "bottom_mm": (3.0, 20.0), "count": (3, 8),
}  # fmt: skip
#: Looked for in a form although it has them by default.
_ALSO_FREE: Final = {"printed-strut": ("walls", "infill_share")}
#: What may be moved at the mounting: its field, or the height of the camera's centre above the isolators, mm.
CENTRE_HEIGHT: Final = "centre_height_mm"
MOVED: Final = ("count", "spread_mm", CENTRE_HEIGHT)
#: What a list of sizes may tell beside dimensions.
TOLD: Final = ("name", "thread", "mass_kg", "price")
#: Spacing and height of a mounting are tried in so many steps: each mounting costs the judge as much as ten parts.
_STEPS: Final = 8
#: Designs that are all judged where they can be counted.
_MOST_LISTED: Final = 600
#: One of them, as a share of what is free.
MOUNTING_STEP: Final = 1.0 / (_STEPS + 1)


@dataclass(frozen=True)
class Free:
    """Something that is looked for: between two ends, or one of several.

    Attributes
    ----------
    name : str
        A field of the form, one of ``MOVED``, or "sizes".
    low, high : number or tuple of float
        Both ends; a tuple moves as one.
    whole : bool
        Whether it is counted.
    options : tuple
        What it is one of, in place of ends.
    """

    name: str
    low: Any = 0.0
    high: Any = 1.0
    whole: bool = False
    options: tuple[Any, ...] = ()

    @property
    def choices(self) -> int | None:
        """How many values it can have; None for any number."""
        if self.name in MOVED and not self.whole and not self.options:
            return _STEPS + 1
        return len(self.options) or (self.high - self.low + 1 if self.whole else None)

    def at(self, place: float) -> Any:
        """Its value at a place from 0 to 1; lengths go by ratios."""
        if self.choices is not None:
            step = min(int(place * self.choices), self.choices - 1)
            if self.options or self.whole:
                return self.options[step] if self.options else self.low + step
            place = step / (self.choices - 1)
        if isinstance(self.low, tuple):
            return tuple(round(a + place * (b - a), 1) for a, b in zip(self.low, self.high, strict=True))
        if self.name == CENTRE_HEIGHT or self.low <= 0.0:
            return self.low + place * (self.high - self.low)
        return self.low * (self.high / self.low) ** place


@dataclass(frozen=True, eq=False)
class Design:
    """A part and a mounting that could be built.

    Attributes
    ----------
    part, mounting
        Both as they would be.
    place : ndarray
        Where among all designs, from 0 to 1 along each free thing.
    values : mapping
        What the form is made from.
    """

    part: Part
    mounting: Mounting
    place: Array
    values: Mapping[str, Any]

    def reshaped(self, sizes: Mapping[str, float]) -> Design | None:
        """The same with other dimensions; None where they do not go together."""
        try:
            form = type(self.part.form)(**dict(self.values) | dict(sizes))
        except InputError:
            return None
        return replace(self, part=replace(self.part, form=form))


class Designs:
    """All designs of a form between what was told.

    Parameters
    ----------
    form : str
        A form's short name.
    material : str
        The material's name.
    mounting : Mounting
        Where it is to hold.
    told : mapping
        Fields of the form, its "thread", and ``MOVED``: a number or word is fixed, a pair (low, high) ranged, a list
        gives the values to choose from. Needed dimensions that are not told are free.
    sizes : sequence of mapping
        Sizes to choose from: dimensions of the form, and what ``TOLD`` names.
    name : str
        What the parts are called.

    Raises
    ------
    InputError
        No such form or dimension, a range upside down, or a dimension that must be told.
    """

    def __init__(
        self,
        form: str,
        material: str,
        mounting: Mounting,
        told: Mapping[str, Any],
        sizes: Sequence[Mapping[str, Any]] = (),
        name: str = "proposal",
    ) -> None:
        self.cls, self.material, self.mounting, self.name = form_named(form), material, mounting, name
        if not self.cls.has_geometry:
            raise InputError("form", form, "one whose dimensions say how stiff it is")
        known = record_fields(self.cls)
        listed = set().union(*sizes) if sizes else set()
        for each in (*told, *listed):
            if each not in known and each not in (MOVED if each in told else ()) and each not in TOLD:
                raise InputError("dimension", each, f"one of {form}: {', '.join(known)}; or {', '.join(MOVED)}")
        self.fixed: dict[str, Any] = {}
        self.free = [Free("sizes", options=tuple(dict(row) for row in sizes))] if sizes else []
        for field, value in told.items():
            self._told(field, value, known.get(field))
        wanted = [field for field, each in known.items() if each.needed]
        wanted += [each for each in _ALSO_FREE.get(form, ()) if not (each == "walls" and "wall_mm" in told)]
        for field in wanted:
            if field not in told and field not in listed:
                if field not in FREE:
                    raise InputError(field, None, f"given for a {form}")
                low, high = FREE[field]
                self.free.append(Free(field, low, high, known[field].dimension == "count"))
        self._refused: InputError | None = None
        self._mountings: dict[tuple[Any, ...], Mounting] = {}

    def _told(self, field: str, value: Any, known: FieldInfo | None) -> None:
        """Take note of what was told of a field."""
        if isinstance(value, str) and value == "free" and field in FREE:
            value = FREE[field]
        if isinstance(value, list):
            if not value:
                raise InputError(field, value, "at least one value to choose from")
            self.free.append(Free(field, options=tuple(value)))
            return
        whole = field == "count" or (known is not None and known.dimension == "count")
        pair = isinstance(value, tuple) and len(value) == 2 and (field != "spread_mm" or isinstance(value[0], tuple))
        if not pair:
            self.fixed[field] = value
            return

        def end(given: Any) -> Any:
            if field == "spread_mm":
                return tuple(checked_number(field, side, 0.0, 1e4, "mm", open_low=True) for side in given)
            least = -1000.0 if field == CENTRE_HEIGHT else 0.0
            return checked_whole(field, given, 1, 100) if whole else checked_number(field, given, least, 1000.0)

        low, high = map(end, value)
        if not low <= high:
            raise InputError(field, value, "a range, the lower end first")
        self.free.append(Free(field, low, high, whole))

    @property
    def all_places(self) -> Array | None:
        """Every place, where they can be counted, shape (n, free); None where one thing or more can have any value."""
        choices = [each.choices for each in self.free]
        if None in choices or (many := math.prod(filter(None, choices))) > _MOST_LISTED:
            return None
        steps = [[(k + 0.5) / n for k in range(n)] for n in filter(None, choices)]
        return np.array(list(itertools.product(*steps))).reshape(many, len(choices))

    @property
    def named(self) -> list[str]:
        """Fields of the form that were told or are looked for, in the form's order."""
        names = {*self.fixed, *(each.name for each in self.free)}
        names |= {field for each in self.free if each.name == "sizes" for field in each.options[0]}
        return [field for field in record_fields(self.cls) if field in names]

    @property
    def sized(self) -> list[str]:
        """The lengths and shares among them."""
        known = record_fields(self.cls)
        return [field for field in self.named if known[field].dimension in ("length", "dimensionless")]

    def at(self, place: Array) -> Design | None:
        """The design at a place; None where its dimensions do not go together or cannot be meant."""
        values = dict(self.fixed)
        for each, u in zip(self.free, place.tolist(), strict=True):
            value = each.at(u)
            values |= value if each.name == "sizes" else {each.name: value}
        moved: dict[str, Any] = {field: values.pop(field) for field in MOVED if field in values}
        known = record_fields(self.cls)
        told: dict[str, Any] = {"name": self.name, "material": self.material}
        told |= {field: values[field] for field in TOLD if field in values}
        values = {field: value for field, value in values.items() if field in known}
        try:
            form = self.cls(**values)
            if any(form.doubts):
                return None
        except InputError as error:
            self._refused = error
            return None
        return Design(Part(form=form, **told), self._mounting(moved), place, values)

    @property
    def refusal(self) -> InputError | None:
        """Why the last design that cannot be was refused, told at the upper ends of what is ranged where those tell."""
        last = self._refused
        self.at(np.ones(len(self.free)))
        return self._refused if last and self._refused and self._refused.field == last.field else last

    def _mounting(self, moved: Mapping[str, Any]) -> Mounting:
        """The mounting with some of its things moved; the same object for the same."""
        key = tuple(moved.items())
        if key not in self._mountings:
            self._mountings[key] = moved_mounting(self.mounting, **moved) if moved else self.mounting
        return self._mountings[key]


def moved_mounting(
    mounting: Mounting,
    *,
    count: int | None = None,
    spread_mm: tuple[float, float] | None = None,
    centre_height_mm: float | None = None,
) -> Mounting:
    """A mounting with another number of isolators, spread otherwise, or its camera's centre higher or lower.

    Parameters
    ----------
    mounting : Mounting
        The mounting; isolators that stand singly are spread anew over the same length and width.
    count, spread_mm, centre_height_mm
        As its ``count`` and ``spread_mm``; height of the centre of gravity above the isolators' plane, mm.

    Raises
    ------
    InputError
        A value out of range.
    """
    change: dict[str, Any] = {}
    x, y, z = (sorted(p[axis] for p in mounting.positions_mm) or [0.0] for axis in range(3))
    plane = sum(z) / len(z)
    height = mounting.centre_mm[2] - plane if centre_height_mm is None else centre_height_mm
    if count is not None or spread_mm is not None:
        sides = spread_mm or mounting.spread_mm or ((x[-1] - x[0], y[-1] - y[0]) if mounting.positions_mm else None)
        change = {"count": mounting.count if count is None else count, "positions_mm": (), "spread_mm": sides}
        plane = 0.0
    lifted = plane + height - mounting.centre_mm[2]
    packages = (replace(each, centre_mm=_lifted(each.centre_mm, lifted)) for each in mounting.packages)
    return replace(mounting, centre_mm=_lifted(mounting.centre_mm, lifted), packages=tuple(packages), **change)


def _lifted(centre_mm: tuple[float, float, float], by_mm: float) -> tuple[float, float, float]:
    return *centre_mm[:2], centre_mm[2] + by_mm
