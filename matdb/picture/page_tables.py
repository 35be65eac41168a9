"""What the field page knows: every part of a mounting over temperature, computed beforehand."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from matdb.advice.effective import Effective
from matdb.advice.exposure import Flight, exposure
from matdb.advice.judge import judge
from matdb.advice.requirement import Candidate
from matdb.advice.suit import Suitability
from matdb.advice.summary import WhatToFit, summary
from matdb.api import Store
from matdb.arrays import Array
from matdb.bench.thermal.body import body_of, film_coefficient, thermal_of
from matdb.curve.band import Band
from matdb.errors import InputError
from matdb.exchange.whole_store import store_fingerprint
from matdb.form.part import Part
from matdb.form.thread import turns_text
from matdb.material.record import Material
from matdb.mounting.phone import with_phone
from matdb.mounting.record import Mounting
from matdb.mounting.shake import AirframeSpectrum
from matdb.version import VERSION
from matdb.weather.forecast import COLDEST_C, HOTTEST_C, forecast_range
from matdb.weather.lag import response_rates

_MOST_PARTS: Final = 12
#: A warm car, degrees Celsius.
CAR_C: Final = 20.0
#: For how many minutes a part is followed that left a warm car.
_MINUTES: Final = np.arange(0.0, 125.0, 5.0)
#: Modes are computed at every so many degrees, for they move little.
_COARSE: Final = 10


@dataclass(frozen=True, eq=False, kw_only=True)
class PartTable:
    """One part over the page's temperatures.

    Attributes
    ----------
    part : Part
        The record.
    row : Suitability
        The judgement over the whole range of the page; its squeeze is what everything else holds for.
    state : Effective
        One piece at every temperature, and all of them under the mounting's mass: arrays of shape (steps,).
    probability : ndarray, shape (steps,)
        That the part holds at that temperature.
    tapped_hz : Band
        Natural frequency with a phone on top, shape (steps,).
    rocking_hz : ndarray, shape (2, steps), or None
        The lower and the higher rocking mode with a phone on top; None where they are not known.
    left : ndarray or None
        Share of the difference to the air that is left every five minutes; None where dimensions do not say.
    """

    part: Part
    row: Suitability
    state: Effective
    probability: Array
    tapped_hz: Band
    rocking_hz: Array | None
    left: Array | None

    @property
    def natural_frequency_hz(self) -> Band:
        """Under the mounting's mass on all pieces, shape (steps,)."""
        assert self.state.natural_frequency_hz is not None
        return self.state.natural_frequency_hz

    @property
    def squeeze(self) -> str:
        """The squeeze in words: turns of the screw where its pitch is known, mm, share of the height, and spacer."""
        mm, height = self.row.squeeze_mm, self.part.form.squeezable_height_mm
        if mm == 0.0:
            return "none"
        told = f"{mm:.3g} mm" + (f" ({100 * mm / height:.0f}\u00a0%)" if height else "")
        told = told if self.row.turns is None else f"{turns_text(self.row.turns)}, {told}"
        return told + (f", spacer {self.row.spacer_mm:.4g}\u00a0mm" if self.row.spacer_mm is not None else "")


@dataclass(frozen=True, eq=False, kw_only=True)
class PageTables:
    """A mounting over temperatures: what :func:`matdb.picture.page.field_page` writes down.

    Attributes
    ----------
    answer : WhatToFit
        What to fit over the whole range, as the screen says it.
    mounting : Mounting
        The record.
    temperature_c : ndarray, shape (steps,)
        Evenly spaced, degrees Celsius.
    window_hz : tuple of float
        Ends of the window of natural frequencies.
    parts : tuple of PartTable
        Best first.
    left_out : int
        Parts of the store that are not on the page.
    fingerprint, version : str
        Of the store's content; of the program.
    made_at : datetime
        When the page was computed.
    """

    answer: WhatToFit
    mounting: Mounting
    temperature_c: Array
    window_hz: tuple[float, float]
    parts: tuple[PartTable, ...]
    left_out: int
    fingerprint: str
    version: str
    made_at: dt.datetime


def page_tables(
    store: Store,
    mounting: str,
    *,
    low_c: float = -30.0,
    high_c: float = 50.0,
    parts: Sequence[str] | None = None,
    most: int = 8,
    squeeze_mm: float | None = None,
    axis: str = "axial",
    spectrum: AirframeSpectrum | None = None,
    rest_h: float | None = None,
    made_at: dt.datetime | None = None,
) -> PageTables:
    """Compute a mounting's parts over temperature, a kelvin a step.

    Parameters
    ----------
    store : Store
        Open.
    mounting : str
        The mounting's name.
    low_c, high_c : float
        Ends of the page's temperatures, degrees Celsius, rounded outwards to whole degrees.
    parts : sequence of str, optional
        Names; None takes the best ``most`` over the whole range.
    most : int
        1 to 12.
    squeeze_mm : float or None
        Static squeeze of every part; None takes for each part the best of those that :meth:`Store.suit` tries.
    axis : str
        Axis of the parts that carries the motion.
    spectrum : AirframeSpectrum, optional
        What the airframe was measured to do, for requirements in pixels.
    rest_h : float, optional
        Hours of rest in the cold; however many when None.
    made_at : datetime, optional
        The page's date; now when None.

    Raises
    ------
    NotFound
        No such mounting or part.
    InputError
        A value out of range, or no part to judge.
    """
    if not COLDEST_C <= low_c < high_c <= HOTTEST_C:
        allowed = f"from lower to higher, within {COLDEST_C:g} to {HOTTEST_C:g} degC"
        raise InputError("temperature range", f"{low_c:g} to {high_c:g} degC", allowed)
    if not 1 <= most <= _MOST_PARTS:
        raise InputError("most", most, f"1 to {_MOST_PARTS} parts")
    if parts is not None and not 1 <= len(parts) <= _MOST_PARTS:
        raise InputError("parts", len(parts), f"1 to {_MOST_PARTS} names")
    record = store.mounting(mounting)
    flown = Flight(forecast_range(math.floor(low_c), math.ceil(high_c)), rest_h=rest_h)
    t = flown.flown.temperature_c
    ranking = store.suit(record, flown, parts=parts, squeeze_mm=squeeze_mm, axis=axis, spectrum=spectrum)
    if not ranking:
        raise InputError("parts", None, "at least one part with this axis", "add one with 'matdb part add'")
    kept = ranking if parts is not None else ranking[:most]
    low, high = record.window_hz
    return PageTables(
        answer=summary(record, t, ranking, flown),
        mounting=record,
        temperature_c=t,
        window_hz=(float(low), float(high)),
        parts=tuple(_part(store, record, row, flown, axis) for row in kept),
        left_out=len(ranking) - len(kept),
        fingerprint=store_fingerprint(store),
        version=VERSION,
        made_at=made_at or dt.datetime.now(dt.UTC),
    )


def _part(store: Store, mounting: Mounting, row: Suitability, flown: Flight, axis: str) -> PartTable:
    part, material, curve = store.part(row.part), store.material(row.material), store.current_curve(row.material)
    # That it holds, temperature by temperature: what Store.suit answers for each alone.
    candidate, exposed = Candidate(part, material, curve), exposure([(part, material)], flown)
    ((judged,),) = judge([candidate], mounting, exposed, squeeze_mm=row.squeeze_mm, axis=axis)
    t, count = flown.flown.temperature_c, mounting.count
    how: dict[str, Any] = {"axis": axis, "squeeze_mm": row.squeeze_mm, "rest_h": flown.rest_h}
    heavier = with_phone(mounting)
    state = store.effective(row.part, t, mass_kg=mounting.mass_kg, count=count, **how)
    tapped = store.effective(row.part, t, mass_kg=heavier.mass_kg, count=count, **how).natural_frequency_hz
    assert tapped is not None
    rocking = None
    if row.all_directions:
        # Six axes move the bounce by what couples with it, which hardly changes with temperature.
        some, (bounce, *rocks) = _with_phone(store, heavier, row, t, flown.rest_h)
        ln_more = np.interp(t, some, np.log(bounce / tapped.median[np.searchsorted(t, some)]))
        tapped = Band(*(end * np.exp(ln_more) for end in (tapped.median, tapped.low, tapped.high)))
        rocking = np.stack([np.exp(np.interp(t, some, np.log(hz))) for hz in rocks])
    return PartTable(
        part=part,
        row=row,
        state=state,
        probability=np.asarray(judged.by_step, dtype=float),
        tapped_hz=tapped,
        rocking_hz=rocking,
        left=_left(part, material),
    )


def _with_phone(store: Store, laden: Mounting, row: Suitability, t: Array, rest_h: float | None) -> tuple[Array, Array]:
    """Some of the temperatures; bounce and the lower and higher of the modes that rock at each, Hz, shape (3, some)."""
    some = np.append(t[:-1:_COARSE], t[-1])
    hz = np.empty((3, some.size))
    for k, each in enumerate(some):
        found = store.modes(laden, row.part, each, squeeze_mm=row.squeeze_mm, rest_h=rest_h)
        told = {what: m.natural_frequency_hz.median for what, m in zip(found.motions, found.modes, strict=True)}
        rocking = sorted(told[what] for what in ("roll rocking", "pitch rocking"))
        hz[:, k] = np.maximum((told["bounce"], *rocking), 1e-3)
    return some, hz


def _left(part: Part, material: Material) -> Array | None:
    """Share of the difference between part and still air that is left, every five minutes."""
    body = body_of(part.form)
    if body is None:
        return None
    film = float(film_coefficient("still", CAR_C, 0.0))
    rates, weights = response_rates(body, thermal_of(material.family), film)
    return np.asarray(weights @ np.exp(-np.outer(rates, _MINUTES / 60.0)))
