"""What the field page knows: every part of a mounting over temperature, computed beforehand."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from matdb.errors import InputError
from matdb.form.thread import pitch_mm
from matdb.units import counted

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from matdb.api import Store
    from matdb.curve.band import Band
    from matdb.form.part import Part
    from matdb.mounting.record import Mounting

    Array = NDArray[np.float64]

_MOST_PARTS: Final = 12
_MOST_STEPS: Final = 161


@dataclass(frozen=True, eq=False, kw_only=True)
class PartTable:
    """One part over the page's temperatures.

    Attributes
    ----------
    name, material, basis : str
        The part, what it is made of, "readings" or "family prior".
    squeeze_mm : float
        Static squeeze of each piece that everything else holds for.
    squeeze_share : float or None
        The same over the height.
    thread, turns : str or None, float or None
        The screw, and its turns past first touch that give the squeeze on one piece.
    screw_range : str
        For two halves squeezed by a screw: which squeeze holds over the whole page; else empty.
    probability : ndarray, shape (steps,)
        That the part holds at that temperature.
    stiffness_n_per_mm, damping_ratio, natural_frequency_hz : Band
        Of one piece; under the mounting's mass on all pieces; arrays of shape (steps,).
    extrapolated : ndarray of bool, shape (steps,)
        Outside the readings.
    all_directions : bool
        Whether roll, pitch, yaw and sideways motion were judged too.
    verdict, reason, settle : str
        Over the whole range of the page.
    probability_throughout : float
        That it holds at every temperature of the page.
    sure : str
        What the numbers rest on, in one sentence.
    warnings : tuple of str
        What to know first.
    """

    name: str
    material: str
    basis: str
    squeeze_mm: float
    squeeze_share: float | None
    thread: str | None
    turns: float | None
    screw_range: str
    probability: Array
    stiffness_n_per_mm: Band
    damping_ratio: Band
    natural_frequency_hz: Band
    extrapolated: NDArray[np.bool_]
    verdict: str
    all_directions: bool
    reason: str
    settle: str
    probability_throughout: float
    sure: str
    warnings: tuple[str, ...]


@dataclass(frozen=True, eq=False, kw_only=True)
class PageTables:
    """A mounting over temperatures: what :func:`matdb.picture.page.field_page` writes down.

    Attributes
    ----------
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
        Ends of the page's temperatures, degrees Celsius, rounded outwards to whole degrees; at most 160 K apart.
    parts : sequence of str, optional
        Names; None takes the best ``most`` over the whole range.
    most : int
        1 to 12.
    squeeze_mm : float or None
        Static squeeze of every part; None takes for each part the best of those that :meth:`Store.suit` tries.
    axis : str
        Axis of the parts that carries the motion.
    made_at : datetime, optional
        The page's date; now when None.

    Raises
    ------
    NotFound
        No such mounting or part.
    InputError
        A value out of range, or no part to judge.
    """
    from matdb.exchange.fingerprint import store_fingerprint
    from matdb.version import VERSION

    if not -150.0 <= low_c < high_c <= 300.0 or math.ceil(high_c) - math.floor(low_c) >= _MOST_STEPS:
        raise InputError(
            "temperature range", f"{low_c:g} to {high_c:g} degC", f"from lower to higher, at most {_MOST_STEPS - 1} K"
        )
    if not 1 <= most <= _MOST_PARTS:
        raise InputError("most", most, f"1 to {_MOST_PARTS} parts")
    if parts is not None and not 1 <= len(parts) <= _MOST_PARTS:
        raise InputError("parts", len(parts), f"1 to {_MOST_PARTS} names")
    record = store.mounting(mounting)
    t = np.arange(math.floor(low_c), math.ceil(high_c) + 1, dtype=float)
    ranking = store.suit(record, t, parts=parts, squeeze_mm=squeeze_mm, axis=axis)
    if not ranking:
        raise InputError("parts", "none", "at least one part with this axis", "add one with 'matdb part add'")
    kept = ranking if parts is not None else ranking[:most]
    low, high = record.window_hz
    chances = _probabilities(store, record, [(r.part, r.squeeze_mm) for r in kept], t, axis)
    return PageTables(
        mounting=record,
        temperature_c=t,
        window_hz=(float(low), float(high)),
        parts=tuple(_part(store, record, row, chance, t, axis) for row, chance in zip(kept, chances, strict=True)),
        left_out=len(ranking) - len(kept),
        fingerprint=store_fingerprint(store),
        version=VERSION,
        made_at=made_at or dt.datetime.now(dt.UTC),
    )


def _probabilities(
    store: Store, mounting: Mounting, parts: Sequence[tuple[str, float]], t: Array, axis: str
) -> list[Array]:
    """That a part holds, temperature by temperature: what :meth:`Store.suit` answers for each alone."""
    from matdb.advice.exposure import exposure
    from matdb.advice.judge import Candidate, judge

    found = []
    for name, squeeze in parts:
        part = store.part(name)
        material = store.material(part.material)
        candidate = Candidate(part, material, store.current_curve(part.material))
        exposed = exposure([(part, material)], t)
        ((judged,),) = judge([candidate], mounting, exposed, squeeze_mm=squeeze, axis=axis)
        found.append(np.asarray(judged.by_step, dtype=float))
    return found


def _part(store: Store, mounting: Mounting, row: Any, probability: Array, t: Array, axis: str) -> PartTable:
    part, curve = store.part(row.part), store.current_curve(row.material)
    found = store.effective(
        row.part, t, mass_kg=mounting.mass_kg, count=mounting.count, axis=axis, squeeze_mm=row.squeeze_mm
    )
    assert found.natural_frequency_hz is not None
    height = part.form.squeezable_height_mm
    screw = part.known_screw
    return PartTable(
        name=part.name,
        material=part.material,
        basis=found.basis,
        squeeze_mm=row.squeeze_mm,
        squeeze_share=row.squeeze_mm / height if height else None,
        thread=screw,
        turns=row.squeeze_mm / pitch_mm(screw) if screw else None,
        screw_range=_screw_range(store, mounting, part, t),
        probability=probability,
        stiffness_n_per_mm=found.stiffness_n_per_mm,
        damping_ratio=found.damping_ratio,
        natural_frequency_hz=found.natural_frequency_hz,
        extrapolated=np.broadcast_to(np.asarray(found.extrapolated), t.shape),
        verdict=row.verdict,
        all_directions=row.all_directions,
        reason=row.reason,
        settle=row.settle,
        probability_throughout=row.probability,
        sure=_sure(curve, part.name),
        warnings=tuple(row.warnings),
    )


def _screw_range(store: Store, mounting: Mounting, part: Part, t: Array) -> str:
    if part.form.pair is None:
        return ""
    found = store.squeeze(part.name, temperature_c=t, mounting=mounting)
    screw = part.known_screw

    def told(mm: float) -> str:
        return f"{mm:.3g} mm" + (f" ({mm / pitch_mm(screw):.2g} turns)" if screw else "")

    chosen = found.points[0]
    if found.recommended_mm is None:
        return f"best compromise {told(chosen.squeeze_mm)}: {found.reason}"
    return f"take {told(chosen.squeeze_mm)}; {found.reason}"


def _sure(curve: Any, part: str) -> str:
    """What a part's numbers rest on."""
    if curve.basis != "readings":
        return f"No reading: this is what {curve.family} usually does, not a measurement."
    own = "this part" if part in curve.offsets else "other parts of the same material, not this one"
    when = f" of {curve.created_at:%Y-%m-%d}" if curve.created_at is not None else ""
    old = " The fit is older than the newest reading or record." if curve.stale else ""
    span = curve.measured_span.replace("degC", "°C")
    return f"{counted(curve.reading_count, 'readings')} at {span}, with {own}; fit {curve.fit_id}{when}.{old}".replace(
        " -", " −"
    )
