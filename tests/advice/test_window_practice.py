"""The trade's facts on the window and on what to warn of: common practice, no source."""

import dataclasses

import numpy as np
import pytest

from matdb.advice.judge import Candidate
from matdb.advice.suit import suit
from matdb.form import Pad, Part, Ring
from matdb.mounting.record import Mounting, rectangle_positions
from matdb.mounting.suspended import FOLLOW_LEAST, ISOLATION_LEAST, window_limits


def steady(sure, name, form):
    """A part without any uncertainty, geometry included."""
    material, curve = sure[name]
    curve = dataclasses.replace(curve, offsets={"part": np.zeros(len(curve.parameters))})
    return Candidate(Part(name="part", material=name, form=form), material, curve)


def mounted(**more):
    return Mounting(
        **{"name": "m", "mass_kg": 0.6, "count": 4, "rpm_idle": 4500, "rpm_full": 9000, "strain_most": 0.9} | more
    )


def tuned(part, hz, temperature_c=23.0, **more):
    mounting = mounted(**more)
    for _ in range(40):
        f = suit([part], mounting, [temperature_c], squeeze_mm=0.0)[0].cold.natural_frequency_hz.median
        mounting = dataclasses.replace(mounting, mass_kg=mounting.mass_kg * (f / hz) ** 2)
    return mounting


RING = Ring(outer_mm=12, inner_mm=5, height_mm=10)


def test_the_lowest_rotor_order_is_once_per_revolution_at_the_lowest_speed_in_flight():
    assert mounted(rpm_idle=4200, rpm_hover=5400).lowest_rotor_hz == pytest.approx(70.0)
    assert [b.label for b in mounted(blades=3).rotor_bands] == ["1/rev", "3/rev"]


def test_the_rotor_turns_at_least_two_and_a_half_times_faster_than_the_camera_swings():
    assert ISOLATION_LEAST == 2.5
    assert FOLLOW_LEAST == 2.0
    low, high = window_limits(75.0, 5.0)
    assert (low, high) == (10.0, 30.0)


@pytest.mark.slow
@pytest.mark.parametrize(("ratio", "holds"), [(2.45, False), (2.55, True), (3.0, True)])
def test_the_stiff_end_of_the_window(sure, ratio, holds):
    part = steady(sure, "silicone", RING)
    row = suit([part], tuned(part, 75.0 / ratio, manoeuvre_hz=4.0), [23.0], squeeze_mm=0.0)[0]
    assert (row.probability == 1.0) is holds
    assert any("below 2.5" in text for text in row.warnings) is not holds


@pytest.mark.slow
@pytest.mark.parametrize(("ratio", "holds"), [(1.95, False), (2.05, True), (3.0, True)])
def test_the_soft_end_of_the_window(sure, ratio, holds):
    part = steady(sure, "silicone", RING)
    row = suit([part], tuned(part, ratio * 8.0, manoeuvre_hz=8.0), [23.0], squeeze_mm=0.0)[0]
    assert (row.probability == 1.0) is holds
    # At three times the band, an eighth of the manoeuvre is missed, and more where the part is softer that slowly.
    if ratio == 3.0:
        slow, fast = np.exp(
            part.curve.ln_modulus(np.full(2, 23.0), np.log(2.0 * np.pi * np.array([8.0, 24.0])))[0]
        ).real
        assert 1.0 < fast / slow < 1.1
        assert row.follow_error.median == pytest.approx(1.0 / (9.0 * slow / fast - 1.0), rel=0.02)


def test_one_cold_hour_below_the_ratio_is_enough_for_a_warning(sure):
    part = steady(sure, "urethane", Pad(diameter_mm=4, height_mm=20))
    mounting = tuned(part, 25.0, manoeuvre_hz=4.0)
    row = suit([part], mounting, [23.0] * 23 + [-10.0], squeeze_mm=0.0)[0]
    assert row.worst.temperature_c == -10.0
    assert row.share_of_temperatures == pytest.approx(23 / 24)
    assert row.probability == 0.0
    assert any("below 2.5" in text for text in row.warnings)


@pytest.mark.slow
def test_a_polyurethane_leg_tuned_in_the_shop_is_too_stiff_in_the_frost_and_gel_is_not(sure):
    leg = steady(sure, "urethane", Pad(diameter_mm=4, height_mm=20))
    gel = steady(sure, "gel", RING)
    cold = [-10.0, -5.0]
    for part, holds in ((leg, False), (gel, True)):
        mounting = tuned(part, 22.0, manoeuvre_hz=4.0)
        assert suit([part], mounting, [23.0], squeeze_mm=0.0)[0].verdict == "probably suits"
        row = suit([part], mounting, cold, squeeze_mm=0.0)[0]
        assert (row.verdict == "probably suits") is holds
    assert suit([leg], tuned(leg, 22.0, manoeuvre_hz=4.0), cold, squeeze_mm=0.0)[0].reason.startswith("too stiff")


def test_a_heavier_camera_swings_slower(sure):
    part = steady(sure, "silicone", RING)
    f = [
        suit([part], mounted(mass_kg=m), [23.0], squeeze_mm=0.0)[0].cold.natural_frequency_hz.median for m in (0.3, 1.2)
    ]
    assert f[0] / f[1] == pytest.approx(2.0, rel=0.05)


def test_squeezing_stiffens(sure):
    part = steady(sure, "silicone", RING)
    f = [
        suit([part], mounted(), [23.0], squeeze_mm=q)[0].cold.natural_frequency_hz.median for q in (0.0, 0.5, 1.0, 2.0)
    ]
    assert f == sorted(f)
    assert f[2] / f[0] > 1.08


@pytest.mark.slow
def test_more_than_15_percent_of_sag_and_25_of_squeeze_are_warned_of(sure):
    part = steady(sure, "gel", RING)
    soft = suit([part], tuned(part, 9.5, manoeuvre_hz=4.0), [23.0], squeeze_mm=0.0)[0]
    assert any("more than 15 % of its height" in text for text in soft.warnings)
    tight = suit([part], tuned(part, 25.0), [23.0], squeeze_mm=3.0)[0]
    assert any("more than 25 % sets and tears" in text for text in tight.warnings)
    free = suit([part], tuned(part, 25.0), [23.0], squeeze_mm=0.0)[0]
    assert not any("height" in text for text in free.warnings)


def test_a_natural_frequency_inside_the_manoeuvre_band_is_warned_of(sure):
    part = steady(sure, "gel", RING)
    row = suit([part], tuned(part, 13.0, manoeuvre_hz=14.0), [23.0], squeeze_mm=0.0)[0]
    assert any("inside the manoeuvre band" in text for text in row.warnings)


def test_glass_transition_service_range_extrapolation_and_labels_are_warned_of(sure, materials):
    part = steady(sure, "urethane", RING)
    row = suit([part], mounted(), [-45.0, 23.0], squeeze_mm=0.0)[0]
    said = " / ".join(row.warnings)
    assert "glass transition" in said
    assert "outside the service range" in said
    assert "outside the measured temperatures" in said
    assert row.service_margin_k == pytest.approx(-15.0)
    label = Candidate(part.part, *materials["urethane"])
    assert any("not a measurement" in text for text in suit([label], mounted(), [23.0])[0].warnings)


def test_a_centre_of_gravity_off_the_elastic_plane_is_warned_of(sure):
    part = steady(sure, "gel", RING)
    where = {"positions_mm": rectangle_positions(90, 70), "box_mm": (100, 80, 60)}
    flat = suit([part], mounted(**where), [23.0])[0]
    hanging = suit([part], mounted(**where, centre_mm=(0.0, 0.0, -25.0)), [23.0])[0]
    assert not any("centre of gravity" in text for text in flat.warnings)
    assert any("25 mm above the centre of gravity" in text for text in hanging.warnings)
