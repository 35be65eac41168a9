"""Charts hold the numbers that the library answers with."""

import math
from dataclasses import replace

import numpy as np
import pytest

import matdb
from matdb.curve.band import median
from matdb.errors import InputError
from matdb.form.grommet_pair import GrommetPair
from matdb.picture.material_charts import master_chart, modulus_chart, residual_chart
from matdb.picture.mounting_charts import frequency_chart, squeeze_chart, transmissibility_chart

PAIR = GrommetPair(matdb.Ring(12, 5, 4), plate_mm=2.0, thread="M3")


def line(panel, style="line", colour=None):
    return next(s for s in panel.series if s.style == style and colour in (None, s.colour))


@pytest.mark.slow
def test_the_modulus_chart_is_the_curve(store):
    curve = store.curve("amber 40A")
    chart = modulus_chart(curve, low_c=-30.0, high_c=60.0, frequency_hz=20.0)
    for panel, name in zip(chart.panels, ("storage_mpa", "loss_factor"), strict=True):
        inside, outside = line(panel), line(panel, "dashed")
        for series in (inside, outside):
            shown = np.isfinite(series.y)
            found = getattr(curve.modulus(series.x[shown], 20.0), name)
            np.testing.assert_allclose(series.y[shown], found.median, rtol=1e-12)
            np.testing.assert_allclose(series.low[shown], found.low, rtol=1e-12)
            np.testing.assert_allclose(series.high[shown], found.high, rtol=1e-12)
        # Nothing is left out, and what was measured is told from what was not.
        assert np.all(np.isfinite(inside.y) | np.isfinite(outside.y))
        measured = inside.x[np.isfinite(inside.y)]
        assert measured.min() >= -18.6
        assert measured.max() <= 50.6


def test_readings_lie_at_their_temperatures_and_near_the_curve(store):
    chart = modulus_chart(store.curve("amber 40A"), frequency_hz=20.0)
    points = [s for s in chart.panels[0].series if s.style == "points"]
    assert sorted(np.concatenate([s.x for s in points])) == [-18.0, 0.0, 23.0, 23.0, 23.0, 50.0]
    hardness = next(s for s in points if s.label.startswith("hardness"))
    assert list(hardness.x) == [23.0]
    curve = store.curve("amber 40A")
    for series in points:
        if series is hardness:
            continue
        median = curve.modulus(series.x, 20.0).storage_mpa.median
        assert np.abs(np.log(series.y / median)).max() < 0.2


def test_a_prior_says_so_in_its_chart(store):
    chart = modulus_chart(store.curve("coral"))
    assert "family prior" in chart.subtitle
    assert {s.label for s in chart.panels[0].series} == {"family prior, not measured"}


def test_the_master_chart_reduces_to_23_degrees(store):
    curve = store.curve("amber 40A")
    chart = master_chart(curve)
    storage, loss, shift = chart.panels
    inside = line(storage)
    shown = np.isfinite(inside.y)
    np.testing.assert_allclose(inside.y[shown], curve.modulus(23.0, inside.x[shown]).storage_mpa.median, rtol=1e-12)
    ends = np.exp(curve.measured_ln_hz)
    assert inside.x[shown].min() >= ends[0] * 0.999
    assert inside.x[shown].max() <= ends[1] * 1.001
    assert loss.y_label == "loss factor"
    # The shift is one at the reference temperature, falls with temperature, and is the curve's own.
    law = line(shift)
    shown = np.isfinite(law.y)
    assert np.interp(23.0, law.x[shown], law.y[shown]) == pytest.approx(0.0, abs=1e-3)
    assert np.all(np.diff(law.y[shown]) < 0.0)
    np.testing.assert_allclose(law.y[shown] * math.log(10.0), curve.median_ln_shift(law.x[shown]), atol=1e-9)


def test_residuals_are_the_report_s(store):
    curve = store.curve("amber 40A")
    chart = residual_chart(curve)
    drawn = sorted(v for s in chart.panels[0].series for v in s.y)
    assert drawn == sorted(r["stiffness"]["standardised"] for r in curve.report["readings"] if "stiffness" in r)
    kinds = {s.label: s.x.size for s in chart.panels[0].series}
    assert kinds == {"ring-down": 4, "deflection": 1, "hardness": 1}


def test_a_prior_has_no_residuals(store):
    with pytest.raises(InputError, match="matdb fit"):
        residual_chart(store.curve("coral"))


def test_the_frequency_chart_is_the_answer(store, candidate):
    chart = frequency_chart(
        [candidate("ring"), candidate("leg <1>")],
        store.mounting("nose"),
        low_c=-18.0,
        high_c=40.0,
        forecast_c=(-6.0, 9.0),
    )
    (panel,) = chart.panels
    for series, name in zip(panel.series, ("ring", "leg <1>"), strict=True):
        found = store.effective(name, series.x, mass_kg=0.6, count=4).natural_frequency_hz
        np.testing.assert_allclose(series.y, found.median, rtol=1e-12)
        np.testing.assert_allclose(series.high, found.high, rtol=1e-12)
    wanted, forecast = panel.spans
    assert (wanted.axis, wanted.low, wanted.high) == ("y", pytest.approx(16.0), pytest.approx(28.0))
    assert (forecast.axis, forecast.low, forecast.high) == ("x", -6.0, 9.0)
    assert panel.series[1].label.endswith("prior")
    # The measured range has a note; what was not measured needs none.
    assert chart.notes == ()


def test_beyond_the_readings_a_note_says_so(store, candidate):
    chart = frequency_chart([candidate("ring")], store.mounting("nose"), low_c=-30.0, high_c=40.0)
    assert chart.notes == ("Measured from −18 to 50 °C, extrapolated beyond: ring.",)


def test_transmissibility_is_complex_stiffness_over_motion(store, candidate):
    chosen = candidate("tube")
    chart = transmissibility_chart(chosen, store.mounting("nose"), [-10.0, 23.0])
    (panel,) = chart.panels
    series = panel.series[1]
    # Draw by draw, by the definition.
    unit = 4 * chosen.part.form.stiffness_n_per_mm(1.0)
    curve = chosen.curve
    k = int(np.argmin(np.abs(series.x - 60.0)))
    omega = 2 * np.pi * series.x[k]
    stiff = unit * np.exp(curve.ln_modulus(np.array(23.0), np.log(omega)) + curve.offsets["tube"])
    expected = median(np.abs(stiff / (stiff - 0.6 * omega**2 / 1e3)))
    assert series.y[k] == pytest.approx(expected, rel=1e-9)
    assert series.y[0] == pytest.approx(1.0, abs=0.01)
    rotor = [s for s in panel.spans if s.kind in ("rotor", "plain")]
    assert [(round(s.low, 6), round(s.high, 4)) for s in rotor] == [(70.0, 133.3333), (140.0, 266.6667)]


def test_squeeze_stiffens_and_counts_turns(store, candidate):
    chart = squeeze_chart(candidate("ring"), [-10.0, 23.0], store.mounting("nose"), pitch_mm=0.5)
    stiff, natural = chart.panels
    series = stiff.series[1]
    assert series.x[0] == 0.0
    assert series.x[-1] == pytest.approx(0.25 * 6.0)
    at = 6
    found = store.effective("ring", 23.0, mass_kg=0.6, count=4, squeeze_mm=float(series.x[at]))
    assert series.y[at] == pytest.approx(found.stiffness_n_per_mm.median, rel=1e-12)
    assert natural.series[1].low[at] == pytest.approx(found.natural_frequency_hz.low, rel=1e-12)
    assert np.all(np.diff(series.y) > 0.0)
    assert (stiff.x_factor, natural.x_second) == (2.0, "")


def test_the_squeeze_taken_and_where_rubber_is_strained_too_far_are_the_judge_s(store, candidate):
    mounting = store.mounting("nose")
    (first, second) = squeeze_chart(candidate("ring"), [-10.0, 23.0], mounting).panels
    assert first.spans == second.spans
    bears, far = first.spans
    assert (bears.label, far.label, far.low) == ("rubber bears it", "strained too far", bears.high)

    def strain(mm):
        (row,) = store.suit(mounting, [-10.0, 23.0], parts=["ring"], squeeze_mm=mm)
        return next(each.probability for each in row.requirements if each.name == "strain")

    assert strain(bears.high - 0.02) >= 0.975 > strain(bears.high + 0.02)
    best = store.suit(mounting, [-10.0, 23.0], parts=["ring"])[0].squeeze_mm
    assert [mark.at for mark in first.marks] == ([best] if best else [])


def test_what_gets_through_at_the_lowest_rotor_order_is_told_and_marked(store, candidate):
    chart = transmissibility_chart(candidate("tube"), store.mounting("nose"), [-10.0, 23.0])
    cold, warm, *points = chart.panels[0].series
    for line_, point in zip((cold, warm), points, strict=True):
        assert (point.style, point.colour, point.x.tolist()) == ("points", line_.colour, [pytest.approx(70.0)])
        value = line_.y[np.flatnonzero(line_.x == point.x[0])[0]]
        assert point.y.tolist() == [value]
        assert line_.label.endswith(f": {value:.2g} at 70 Hz")


def test_no_footer_has_more_digits_than_a_builder_reads(store, candidate):
    mounting = store.mounting("nose")
    odd = replace(candidate("ring"), curve=replace(candidate("ring").curve, measured_c=(-17.0245123456, 49.1249876543)))
    chart = frequency_chart([odd], mounting, low_c=-30.0, high_c=60.0, forecast_c=(21.6666666, 30.0))
    assert chart.notes == ("Measured from −17 to 49.1 °C, extrapolated beyond: ring.",)
    assert chart.panels[0].spans[1].label == "forecast, 21.67 to 30 °C"
    assert transmissibility_chart(odd, mounting, [70 / 3]).panels[0].series[0].label.startswith("at 23.33 °C")


def test_what_cannot_be_drawn_is_refused_in_one_line(store, candidate):
    mounting = store.mounting("nose")
    with pytest.raises(InputError, match="1 to 5"):
        frequency_chart([], mounting)
    with pytest.raises(InputError, match="lower to the higher"):
        modulus_chart(store.curve("amber 40A"), low_c=5.0, high_c=5.0)
    tube = candidate("tube")
    bush = replace(tube, part=replace(tube.part, form=matdb.Bush(outer_mm=16, inner_mm=8, length_mm=12)))
    with pytest.raises(InputError, match="squeezed"):
        squeeze_chart(bush, [0.0], mounting)
    with pytest.raises(InputError, match="1 to 4"):
        transmissibility_chart(candidate("tube"), mounting, [])


@pytest.mark.parametrize(
    ("thread", "screw"), [("M3", "M3"), ("M3x0.35", "M3x0.35"), (None, None), ("1/4-20", None), ("M99", None)]
)
def test_a_screw_counts_when_its_pitch_is_known(thread, screw):
    assert matdb.Part(name="a", material="b", form=matdb.Pad(10, 5), thread=thread).known_screw == screw


def test_a_pair_shows_where_it_holds(store, candidate):
    pair = replace(candidate("ring"), part=matdb.Part(name="pair", material="amber 40A", form=PAIR))
    chart = squeeze_chart(pair, [-10.0], store.mounting("nose"), pitch_mm=0.5, limits_mm=(0.4, 1.1, 0.6))
    (panel, _) = chart.panels
    assert [(s.kind, s.low, s.high) for s in panel.spans] == [
        ("wanted", 0.4, 1.1),
        ("plain", 0.0, 0.4),
        ("rotor", 1.1, math.inf),
    ]
    assert (panel.marks[0].at, panel.marks[0].label) == (0.6, "take 0.6 mm")
    assert np.all(np.diff(panel.series[0].y) > 0.0)
