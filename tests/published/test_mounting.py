"""Mounting mechanics against values from outside the project, each with its source."""

import numpy as np
import pytest

from matdb.mounting import one_axis as oa


@pytest.mark.parametrize(
    ("r", "want", "within"), [(1.0, 5.099, 5e-4), (np.sqrt(2), 1.000, 5e-4), (3.0, 0.1454, 5e-5)]
)
def test_viscous_transmissibility_at_a_tenth_of_critical(r, want, within):
    # Den Hartog, Mechanical Vibrations, section 2.12: |T| of a spring and damper (memory).
    assert oa.viscous_transmissibility(0.1, r) == pytest.approx(want, abs=within)


def test_hysteretic_transmissibility_at_three_times_the_natural_frequency():
    # Nashif, Jones, Henderson, Vibration Damping: |T| with structural damping, loss factor 0.2 (memory).
    k = (2 * np.pi * 10) ** 2 * 1e-3 * (1 + 0.2j)
    assert oa.transmissibility(1.0, k, 30.0) == pytest.approx(0.1274, abs=5e-5)


@pytest.mark.parametrize(("sag", "want"), [(0.5, 22.29), (1.0, 15.76), (10.0, 4.984)])
def test_static_deflection_gives_the_natural_frequency(sag, want):
    # Harris' Shock and Vibration Handbook, chapter 2: f = sqrt(g/x)/2pi (memory).
    assert oa.frequency_of_sag(sag) == pytest.approx(want, abs=6e-3 if sag < 5 else 6e-4)


def test_rotor_speed_from_thrust():
    # Definition of the thrust coefficient (McCormick, memory): 3.43 N, 0.10, 0.254 m, 1.225 kg/m3.
    assert oa.rotor_speed_from_thrust(3.43, 254.0, 0.10, 1.225) == pytest.approx(82.0, abs=0.05)


def test_rolling_shutter():
    # Arithmetic: 100 Hz, 1 px, 12.5 us per row, 4000 rows.
    assert oa.rolling_shutter_shear(100.0, 1.0, 12.5) == pytest.approx(0.00785, abs=5e-6)
    assert oa.bands_per_frame(100.0, 4000, 12.5) == pytest.approx(5.0)


def test_window_facts_of_the_trade():
    # Common practice, no source: rotor over natural frequency at least 2.5, better 3;
    # natural frequency at least 2 to 3 times the manoeuvre band, which goes up to 10 Hz.
    assert (oa.ISOLATION_LEAST, oa.ISOLATION_GOOD) == (2.5, 3.0)
    assert (oa.FOLLOW_LEAST, oa.FOLLOW_GOOD) == (2.0, 3.0)
    assert oa.MANOEUVRE_HZ == 10.0
    # What they mean: undamped, at those ratios a fifth or an eighth of the rotor's motion passes ...
    assert oa.viscous_transmissibility(0.0, 2.5) == pytest.approx(1 / 5.25)
    assert oa.viscous_transmissibility(0.0, 3.0) == pytest.approx(1 / 8)
    # ... and below 1.41 it amplifies, whatever its damping.
    assert (oa.viscous_transmissibility(np.array([0.0, 0.1, 0.5]), 1.4) > 1.0).all()
