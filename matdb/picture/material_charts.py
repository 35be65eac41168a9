"""Charts of one material: modulus over temperature, master curve and shift factors, residuals of the fit."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

import numpy as np

from matdb.arrays import Array, Flags
from matdb.curve.band import Band, band
from matdb.curve.curve import Curve
from matdb.curve.parameters import REFERENCE_K, ln_shift
from matdb.errors import InputError
from matdb.material.shift import ZERO_C
from matdb.picture.chart import Chart, Mark, Panel, Series, Span, Style
from matdb.units import counted

DEGC: Final = "temperature, °C"
_POINTS: Final = 161
_LN10: Final = math.log(10.0)
#: The two components of a reading, their axis, and the field of :class:`matdb.curve.curve.Modulus` that they speak of.
_PARTS: Final = (("stiffness", "storage modulus, MPa", "storage_mpa"), ("loss", "loss factor", "loss_factor"))


def rests_on(curve: Curve) -> str:
    """What a curve rests on, for the line under a title."""
    if curve.basis != "readings":
        return f"family prior of {curve.family}, no reading"
    fit = f", fit {curve.fit_id}" if curve.fit_id is not None else ""
    old = ", older than the newest reading" if curve.stale else ""
    return f"{counted(curve.reading_count, 'readings')}{fit}{old}"


def modulus_chart(curve: Curve, *, low_c: float = -30.0, high_c: float = 60.0, frequency_hz: float = 30.0) -> Chart:
    """Storage modulus and loss factor over temperature at one frequency, with the readings.

    Parameters
    ----------
    curve : Curve
        A fit or a prior.
    low_c, high_c : float
        Ends of the temperature axis, degrees Celsius, low below high.
    frequency_hz : float
        Hz, above 0.

    Returns
    -------
    Chart
        Two panels. Every reading is drawn at its own temperature, as far above or below the median curve as it is
        above or below what the fit predicts for it, so that readings at other frequencies can be compared.

    Raises
    ------
    InputError
        A temperature or frequency out of range, or low not below high.
    """
    t = temperatures(low_c, high_c, _POINTS, curve.measured_c)
    found = curve.modulus(t, frequency_hz)
    outside = np.asarray(found.extrapolated)
    rows = [r for r in curve.report.get("readings", ()) if low_c <= r["temperature_c"] <= high_c]
    panels = []
    for colour, (key, label, field) in enumerate(_PARTS):
        points = []
        mine_by_label: dict[str, list[Mapping[str, Any]]] = {}
        for row in rows:
            if key in row:
                mine_by_label.setdefault(_label_of(row, frequency_hz), []).append(row)
        for label_of, mine in mine_by_label.items():
            at = np.array([r["temperature_c"] for r in mine])
            middle = np.asarray(getattr(curve.modulus(at, frequency_hz), field).median)
            y = middle * np.array([r[key]["measured_over_predicted"] for r in mine])
            style: Style = "crosses" if mine[0]["fumbled"] else "points"
            shown_as = 3 if label_of.startswith("hardness") else colour
            points.append(Series(label=label_of, x=at, y=y, style=style, colour=shown_as))
        lines = _inside_and_outside(t, getattr(found, field), outside, curve.basis, colour)
        panels.append(Panel(DEGC, label, (*lines, *points), x_range=(low_c, high_c), y_log=True))
    subtitle = f"at {frequency_hz:g} Hz; {rests_on(curve)}; bands hold 95 %"
    return Chart(f"{curve.material} over temperature", subtitle, tuple(panels), tuple(curve.report.get("warnings", ())))


def master_chart(curve: Curve, *, low_c: float = -30.0, high_c: float = 60.0) -> Chart:
    """Master curve at 23 degC over reduced frequency, and the shift factors that make it.

    Parameters
    ----------
    curve : Curve
        A fit or a prior.
    low_c, high_c : float
        Ends of the temperature axis of the shift factors, degrees Celsius.

    Returns
    -------
    Chart
        Three panels: storage modulus and loss factor over reduced frequency, log10 a_T over temperature.

    Raises
    ------
    InputError
        Low not below high.
    """
    t = temperatures(low_c, high_c, _POINTS, curve.measured_c)
    low, high = curve.measured_ln_hz or (math.log(0.1), math.log(1e4))
    f = np.exp(np.linspace(low - 1.5 * _LN10, high + 1.5 * _LN10, _POINTS))
    reference = REFERENCE_K - ZERO_C
    found = curve.modulus(reference, f)
    outside = _beyond(np.log(f), curve.measured_ln_hz)
    panels = []
    for colour, (_, label, field) in enumerate(_PARTS):
        lines = _inside_and_outside(f, getattr(found, field), outside, curve.basis, colour)
        panels.append(Panel("reduced frequency f·a_T, Hz", label, lines, x_log=True, y_log=True))
    shift = replace(band(ln_shift(curve.parameters, t + ZERO_C) / _LN10), median=curve.median_ln_shift(t) / _LN10)
    lines = _inside_and_outside(t, shift, _beyond(t, curve.measured_c), curve.basis, 2)
    marks = (Mark("x", reference), Mark("y", 0.0))
    panels.append(Panel(DEGC, "log10 of shift factor a_T", lines, marks=marks, x_range=(low_c, high_c)))
    by_weight = sorted(curve.weights.items(), key=lambda item: -item[1])
    laws = "; ".join(f"{name} {100 * share:.0f} %" for name, share in by_weight if share >= 0.05)
    title, subtitle = f"{curve.material}: master curve at {reference:g} °C", f"{rests_on(curve)}; bands hold 95 %"
    return Chart(title, subtitle, tuple(panels), (f"Weight of the laws of shift: {laws}.",) if laws else ())


def residual_chart(curve: Curve) -> Chart:
    """Standardised residuals of every reading over temperature: stiffness and loss.

    Parameters
    ----------
    curve : Curve
        A fit.

    Returns
    -------
    Chart
        One panel for each component that was read; a residual of 2 is as far as one reading in twenty lies.

    Raises
    ------
    InputError
        The curve is a prior, which has no residuals.
    """
    rows: Sequence[Mapping[str, Any]] = curve.report.get("readings", ())
    if not rows:
        raise InputError("material", curve.material, "one with a fit", f"run 'matdb fit \"{curve.material}\"'")
    kinds = list(dict.fromkeys(r["kind"] for r in rows))
    panels = []
    for key, label, _ in _PARTS:
        series = []
        for fumbled in (False, True):
            for colour, kind in enumerate(kinds):
                mine = [r for r in rows if key in r and r["kind"] == kind and r["fumbled"] is fumbled]
                if mine:
                    x, y = np.array([(r["temperature_c"], r[key]["standardised"]) for r in mine]).T
                    name = f"{kind}, does not fit" if fumbled else kind
                    style: Style = "crosses" if fumbled else "points"
                    series.append(Series(label=name, x=x, y=y, style=style, colour=colour))
        if not series:
            continue
        t = np.concatenate([s.x for s in series])
        farthest = max(3.0, 1.15 * float(np.abs(np.concatenate([s.y for s in series])).max()))
        room = max(0.05 * float(np.ptp(t)), 2.0)
        usual = Span("y", -2.0, 2.0, "95 % belong here", "wanted")
        x_range, y_range = (float(t.min()) - room, float(t.max()) + room), (-farthest, farthest)
        name = f"{label.removesuffix(', MPa')}: residual"
        marks = (Mark("y", 0.0),)
        panels.append(Panel(DEGC, name, tuple(series), (usual,), marks, x_range=x_range, y_range=y_range))
    subtitle = f"{rests_on(curve)}; measured minus predicted, in standard deviations"
    title, notes = f"{curve.material}: residuals of the fit", tuple(curve.report.get("warnings", ()))
    return Chart(title, subtitle, tuple(panels), notes)


def _label_of(row: Mapping[str, Any], frequency_hz: float) -> str:
    if row["fumbled"]:
        return "reading that does not fit"
    return "hardness, a surface value" if row["kind"] == "hardness" else f"readings, brought to {frequency_hz:g} Hz"


def temperatures(low_c: float, high_c: float, count: int, also: tuple[float, float] | None = None) -> Array:
    """Evenly spaced temperatures, those of the measured range's ends that lie within among them. Raises InputError."""
    if not low_c < high_c:
        raise InputError("temperature range", f"{low_c:g} to {high_c:g} degC", "from the lower to the higher")
    return np.union1d(np.linspace(low_c, high_c, count), [v for v in also or () if low_c < v < high_c])


def _beyond(values: Array, measured: tuple[float, float] | None) -> Flags:
    """Where values lie outside what was measured; everywhere without that."""
    return np.ones(values.shape, dtype=bool) if measured is None else (values < measured[0]) | (values > measured[1])


def _inside_and_outside(x: Array, values: Band, outside: Any, basis: str, colour: int) -> tuple[Series, ...]:
    """A band as one series where it was measured and one where it was not; they share their joints."""
    beyond = np.asarray(outside, dtype=bool)
    found = []
    if not beyond.all():
        found.append(Series.banded("median and band", x, _only(values, ~beyond), colour))
    if beyond.any():
        # One more point on either side, so that no gap shows.
        wider = beyond | np.r_[beyond[1:], False] | np.r_[False, beyond[:-1]]
        label = "extrapolated" if basis == "readings" else "family prior, not measured"
        found.append(Series.banded(label, x, _only(values, wider), colour, "dashed"))
    return tuple(found)


def _only(values: Band, wanted: Flags) -> Band:
    """A band with nan where it is not wanted."""
    return Band(*(np.where(wanted, np.asarray(v), np.nan) for v in (values.median, values.low, values.high)))
