"""Charts of parts under a camera: natural frequency, transmissibility, stiffness over squeeze."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

import numpy as np

from matdb.advice.effective import Effective, effective, ln_scale_at_rest
from matdb.advice.exposure import exposure
from matdb.advice.judge import judge
from matdb.advice.requirement import Candidate
from matdb.advice.size import Proposal
from matdb.arrays import Array
from matdb.curve.band import Band, band
from matdb.errors import InputError
from matdb.mounting.record import Mounting
from matdb.mounting.suspended import transmissibility
from matdb.picture.chart import Chart, Mark, Panel, Series, Span, signed
from matdb.picture.material_charts import DEGC, rests_on, temperatures

MOST_PARTS: Final = 5
_POINTS: Final = 111
#: Greatest squeeze over height that is drawn.
_MOST_SQUEEZE: Final = 0.25
#: How probable the strain must be to hold, as a band's end has it.
_SURE: Final = 0.975


def frequency_chart(
    candidates: Sequence[Candidate],
    mounting: Mounting,
    *,
    low_c: float = -30.0,
    high_c: float = 50.0,
    forecast_c: tuple[float, float] | None = None,
    squeeze_mm: Sequence[float] = (),
    axis: str = "axial",
) -> Chart:
    """Natural frequency over temperature, with the window that suits the mounting.

    Parameters
    ----------
    candidates : sequence of Candidate
        One to five parts with their curves.
    mounting : Mounting
        Payload, count, rotors, manoeuvre band.
    low_c, high_c : float
        Ends of the temperature axis, degrees Celsius, low below high.
    forecast_c : tuple of float or None
        Lowest and highest temperature expected, marked on the axis.
    squeeze_mm : sequence of float
        Static squeeze of each part, none when empty.
    axis
        As :meth:`matdb.api.Store.effective`.

    Raises
    ------
    InputError
        No or too many parts, or a value out of range.
    """
    if not 1 <= len(candidates) <= MOST_PARTS:
        raise InputError("parts", len(candidates), f"1 to {MOST_PARTS} in one picture", "name them")
    t = temperatures(low_c, high_c, _POINTS)
    held: dict[str, Any] = {"mass_kg": mounting.mass_kg, "count": mounting.count, "axis": axis}
    series = []
    for colour, (each, mm) in enumerate(zip(candidates, squeeze_mm or [0.0] * len(candidates), strict=True)):
        state = effective(each.curve, each.material, each.part, t, squeeze_mm=mm, **held)
        name = each.part.name + _squeezed(mm) + ("" if state.basis == "readings" else ", prior")
        series.append(Series.banded(name, t, _natural(state), colour))
    low_hz, high_hz = mounting.window_hz
    notes = _extrapolated(candidates, low_c, high_c)
    spans = []
    if low_hz <= high_hz:
        label = f"wanted, {low_hz:.3g} to {high_hz:.3g} Hz"
        spans.append(Span("y", float(low_hz), float(high_hz), label, "wanted"))
    else:
        notes.append(
            f"No natural frequency does both: at least {low_hz:.3g} Hz to follow, at most {high_hz:.3g} Hz to isolate."
        )
    if forecast_c is not None:
        cold, warm = forecast_c
        label = f"forecast, {signed(cold)} to {signed(warm)} °C"
        spans.append(Span("x", cold, warm, label, "forecast"))
    seen = np.concatenate([[low_hz, high_hz], *(end for s in series for end in (s.low, s.high))])
    ends: dict[str, Any] = {"x_range": (low_c, high_c), "y_range": (0.85 * float(seen.min()), 1.15 * float(seen.max()))}
    panel = Panel(DEGC, "natural frequency, Hz", tuple(series), tuple(spans), y_log=True, **ends)
    subtitle = f"{_load(mounting)}; bands hold 95 %"
    return Chart(f"{mounting.name}: natural frequency", subtitle, (panel,), tuple(notes))


def _natural(state: Effective) -> Band:
    assert state.natural_frequency_hz is not None
    return state.natural_frequency_hz


def _extrapolated(candidates: Sequence[Candidate], low_c: float, high_c: float) -> list[str]:
    """A sentence for the parts of each measured range that does not reach the ends."""
    measured: dict[str, list[str]] = {}
    for each in candidates:
        if each.curve.basis == "readings" and each.curve.measured_c is not None:
            cold, warm = (float(f"{end:.3g}") for end in each.curve.measured_c)
            if cold > low_c + 0.5 or warm < high_c - 0.5:
                measured.setdefault(f"{signed(cold)} to {signed(warm)} °C", []).append(each.part.name)
    return [f"Measured from {span}, extrapolated beyond: {', '.join(names)}." for span, names in measured.items()]


def transmissibility_chart(
    candidate: Candidate,
    mounting: Mounting,
    temperature_c: Sequence[float],
    *,
    squeeze_mm: float = 0.0,
    axis: str = "axial",
) -> Chart:
    """Transmissibility |K/(K - m w^2)| over frequency, with the rotor orders and the manoeuvre band.

    Parameters
    ----------
    candidate : Candidate
        The part with its curve.
    mounting : Mounting
        Payload, count, rotors, manoeuvre band.
    temperature_c : sequence of float
        One to four temperatures, degrees Celsius: a line each.
    squeeze_mm, axis
        As :meth:`matdb.api.Store.effective`.

    Raises
    ------
    InputError
        No or too many temperatures, or one out of range.
    """
    _few(temperature_c)
    bands = mounting.rotor_bands
    top, rotor_hz = max(b.high_hz for b in bands) * 1.5, mounting.lowest_rotor_hz
    f = np.union1d(np.geomspace(1.0, max(top, 100.0), 320), [rotor_hz])
    rotor = int(np.searchsorted(f, rotor_hz))
    series, points = [], []
    for colour, t in enumerate(temperature_c):
        scale = ln_scale_at_rest(
            candidate.curve, candidate.part, axis, squeeze_mm, np.array(float(t)), mounting.mass_kg, mounting.count
        )
        k = np.exp(candidate.curve.ln_modulus(np.full(f.shape, float(t)), np.log(2.0 * np.pi * f)) + scale[:, None])
        through = band(transmissibility(mounting.mass_kg, k, f))
        label = f"at {signed(t)} °C: {float(through.median[rotor]):.2g} at {rotor_hz:.3g} Hz"
        series.append(Series.banded(label, f, through, colour))
        at = slice(rotor, rotor + 1)
        points.append(Series(label="", x=f[at], y=np.asarray(through.median)[at], style="points", colour=colour))
    spans = [
        Span("x", b.low_hz, b.high_hz, f"rotor order {b.order:g}", "plain" if i else "rotor")
        for i, b in enumerate(bands)
    ]
    if mounting.manoeuvre_hz > 0.0:
        spans.append(Span("x", 0.0, mounting.manoeuvre_hz, "manoeuvres", "forecast"))
    log: dict[str, Any] = {"x_log": True, "y_log": True, "x_range": (float(f[0]), float(f[-1]))}
    panel = Panel("frequency, Hz", "transmissibility", (*series, *points), tuple(spans), (Mark("y", 1.0),), **log)
    title = f"{mounting.name} on {candidate.part.name}: transmissibility"
    subtitle = f"{_load(mounting, squeeze_mm)}; {rests_on(candidate.curve)}; bands hold 95 %"
    note = "Below 1 the camera shakes less than the craft. Vertical motion alone; rocking is another matter."
    return Chart(title, subtitle, (panel,), (note,))


def squeeze_chart(
    candidate: Candidate,
    temperature_c: Sequence[float],
    mounting: Mounting,
    *,
    pitch_mm: float | None = None,
    limits_mm: tuple[float, float, float] | None = None,
) -> Chart:
    """Stiffness of one part, and natural frequency under its load, over the squeeze that it carries.

    Parameters
    ----------
    candidate : Candidate
        The part with its curve.
    temperature_c : sequence of float
        One to four temperatures, degrees Celsius: a line each.
    mounting : Mounting
        Payload and count, and what the rubber may be strained.
    pitch_mm : float or None
        Pitch of the screw; gives a second axis in turns.
    limits_mm : tuple of float, optional
        For two halves squeezed by a screw (:meth:`matdb.api.Store.squeeze`): where neither half lifts off, where
        neither is strained too far, and what to take; as the judge of the mounting says when None.

    Raises
    ------
    InputError
        The part takes no squeeze, or a value out of range.
    """
    part = candidate.part
    height = part.form.squeezable_height_mm
    if height is None:
        raise InputError("part", part.name, "one that can be squeezed along its height")
    _few(temperature_c)
    squeeze = np.linspace(0.0, _MOST_SQUEEZE * height, 13)
    stiff, natural = [], []
    for colour, t in enumerate(temperature_c):
        label = f"at {signed(float(t))} °C"
        held: dict[str, Any] = {"mass_kg": mounting.mass_kg, "count": mounting.count}
        rows = [
            effective(candidate.curve, candidate.material, part, float(t), squeeze_mm=float(q), **held) for q in squeeze
        ]
        stiff.append(Series.banded(label, squeeze, Band.joined(row.stiffness_n_per_mm for row in rows), colour))
        natural.append(Series.banded(label, squeeze, Band.joined(map(_natural, rows)), colour))
    end = float(squeeze[-1])
    least_mm, most_mm, take_mm = limits_mm or _judged(candidate, mounting, temperature_c, end)
    marks = (Mark("x", take_mm, f"take {take_mm:.3g} mm"),) if take_mm else ()
    spans = _squeeze_spans(least_mm, most_mm, end)
    second = Panel("squeeze of the part, mm", "natural frequency, Hz", tuple(natural), spans, marks, x_range=(0.0, end))
    first = replace(second, y_label="stiffness, N/mm", series=tuple(stiff))
    if pitch_mm:
        first = replace(first, x_factor=1.0 / pitch_mm, x_second="turns after first touch")
    unsqueezed, squeezed = (float(part.form.stiffness_n_per_mm(1.0, squeeze_mm=q)) for q in (0.0, end))
    rests = f"{_load(mounting)}; height {height:g} mm; {rests_on(candidate.curve)}; bands hold 95 %"
    note = f"The form alone makes it {squeezed / unsqueezed:.2f} times as stiff at {end:.3g} mm as unsqueezed."
    return Chart(f"{part.name}: squeeze", rests, (first, second), (note,))


def _judged(
    candidate: Candidate, mounting: Mounting, temperature_c: Sequence[float], end_mm: float
) -> tuple[float, float, float]:
    """Least and most squeeze at which the judge is sure of the rubber's strain, and the one that it takes, mm."""
    exposed = exposure([(candidate.part, candidate.material)], np.asarray(temperature_c, dtype=float))
    ((best,),) = judge([candidate], mounting, exposed)
    low, high = 0.0, 2.0 * end_mm
    for _ in range(8):
        middle = 0.5 * (low + high)
        ((found,),) = judge([candidate], mounting, exposed, squeeze_mm=middle)
        sure = all(each.probability >= _SURE for each in found.requirements if each.name == "strain")
        low, high = (middle, high) if sure else (low, middle)
    return 0.0, high, best.squeeze_mm


def _squeeze_spans(least_mm: float, most_mm: float, end_mm: float) -> tuple[Span, ...]:
    """Where a squeeze holds."""
    spans = []
    if least_mm <= most_mm:
        spans.append(Span("x", least_mm, most_mm, "rubber bears it", "wanted"))
    if least_mm > 0.0:
        spans.append(Span("x", 0.0, least_mm, "a half lifts off"))
    if most_mm < end_mm:
        spans.append(Span("x", most_mm, math.inf, "strained too far", "rotor"))
    return tuple(spans)


def _few(temperature_c: Sequence[float]) -> None:
    if not 1 <= len(temperature_c) <= 4:
        raise InputError("temperature_c", len(temperature_c), "1 to 4 temperatures in one picture")


def _load(mounting: Mounting, squeeze_mm: float = 0.0) -> str:
    return f"{mounting.mass_kg * 1e3:g} g on {mounting.count} isolators{_squeezed(squeeze_mm)}"


def _squeezed(squeeze_mm: float) -> str:
    return f", squeezed {squeeze_mm:.3g} mm" if squeeze_mm else ""


#: Ends of both axes, percent of natural frequency; what lies beyond is drawn at the end.
_LEAST, _MOST = -60.0, 120.0
#: Designs hold where they are as probable as this share of the best.
_HOLDS: Final = 0.5


def trade_off_chart(found: Sequence[Proposal]) -> Chart:
    """Room to the limit of following over that of isolating: every design that was tried, and the proposals in it.

    Parameters
    ----------
    found : sequence of Proposal
        As :func:`matdb.advice.size.size` gives them, the best first.
    """
    best = found[0]
    rooms, chance = _percent(best.trade_off[:, :2]), best.trade_off[:, 2]
    good = chance >= max(_HOLDS * best.probability, 1e-9)
    held = f"holds with {100.0 * _HOLDS * best.probability:.0f} % or more"
    series = [
        Series(label="tried", style="crosses", x=rooms[~good, 0], y=rooms[~good, 1], colour=1),
        Series(label=held, style="points", x=rooms[good, 0], y=rooms[good, 1], colour=0),
    ]
    series = [each for each in series if each.x.size]
    for number, each in enumerate(found, 1):
        x, y = _percent(np.array([[each.isolating_room, each.following_room]])).T
        label = f"{number}: {100.0 * each.probability:.0f} %, {each.part.form.label()}"
        series.append(Series(label=label, style="points", x=x, y=y, colour=number + 1))
    panel = Panel(
        "room to isolate, % of natural frequency",
        "room to follow, %",
        tuple(series),
        (Span("x", 0.0, _MOST, "isolates in the median draw", "wanted"),),
        (Mark("y", 0.0, "follows above"),),
        x_range=(_LEAST, _MOST),
        y_range=(_LEAST, _MOST),
    )
    on = best.mounting
    title = f"{on.name}: sizes of a {best.part.form.kind} of {best.part.material}"
    return Chart(title, f"{1e3 * on.mass_kg:g} g on {on.count}, {best.low_c:g} to {best.high_c:g} °C", (panel,))


def _percent(rooms: Array) -> Array:
    """Room in ln of natural frequency as percent, between the ends of the axes."""
    return np.asarray(np.clip(100.0 * np.expm1(np.clip(rooms, -5.0, 5.0)), _LEAST, _MOST))
