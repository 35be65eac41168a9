"""Mounting mechanics against values from outside the project, each with its source."""

import numpy as np
import pytest
from oracles.suspended import rotor_speed_from_thrust

from matdb.mounting import six_axis as sa
from matdb.mounting import suspended as sus


@pytest.mark.parametrize(("r", "want", "within"), [(1.0, 5.099, 5e-4), (np.sqrt(2), 1.000, 5e-4), (3.0, 0.1454, 5e-5)])
def test_viscous_transmissibility_at_a_tenth_of_critical(r, want, within):
    # Den Hartog, Mechanical Vibrations, section 2.12: |T| of a spring and damper (memory).
    k = 4 * np.pi**2 * 1e-3 * (1 + 2j * 0.1 * r)  # 1 kg at 1 Hz
    assert sus.transmissibility(1.0, k, r) == pytest.approx(want, abs=within)


def test_hysteretic_transmissibility_at_three_times_the_natural_frequency():
    # Nashif, Jones, Henderson, Vibration Damping: |T| with structural damping, loss factor 0.2 (memory).
    k = (2 * np.pi * 10) ** 2 * 1e-3 * (1 + 0.2j)
    assert sus.transmissibility(1.0, k, 30.0) == pytest.approx(0.1274, abs=5e-5)


@pytest.mark.parametrize(("sag", "want"), [(0.5, 22.29), (1.0, 15.76), (10.0, 4.984)])
def test_static_deflection_gives_the_natural_frequency(sag, want):
    # Harris' Shock and Vibration Handbook, chapter 2: f = sqrt(g/x)/2pi (memory).
    ln_w = np.log(1e3 * 9.80665 / sag)  # a mass that sinks so far under its weight, at a constant modulus of 1 MPa
    found = np.exp(sus.natural_ln_omega(ln_w, lambda u: (0.0, 0.0))) / (2 * np.pi)
    assert found == pytest.approx(want, abs=6e-3 if sag < 5 else 6e-4)


def test_rotor_speed_from_thrust():
    # Definition of the thrust coefficient (McCormick, memory): 3.43 N, 0.10, 0.254 m, 1.225 kg/m3.
    assert rotor_speed_from_thrust(3.43, 254.0, 0.10, 1.225) == pytest.approx(82.0, abs=0.05)


def test_rolling_shutter():
    # Arithmetic: 100 Hz, 1 px, 12.5 us per row, 4000 rows.
    assert sus.rolling_shutter_shear(100.0, 1.0, 12.5) == pytest.approx(0.00785, abs=5e-6)
    assert sus.bands_per_frame(100.0, 4000, 12.5) == pytest.approx(5.0)


def test_window_facts_of_the_trade():
    # Common practice, no source: rotor over natural frequency at least 2.5, better 3;
    # natural frequency at least 2 to 3 times the manoeuvre band, which goes up to 10 Hz.
    assert sus.ISOLATION_LEAST == 2.5
    assert sus.FOLLOW_LEAST == 2.0
    assert sus.MANOEUVRE_HZ == 10.0
    # What they mean: undamped, at those ratios a fifth or an eighth of the rotor's motion passes ...
    k = 4 * np.pi**2 * 1e-3  # 1 kg at 1 Hz
    assert sus.transmissibility(1.0, k, 2.5) == pytest.approx(1 / 5.25)
    assert sus.transmissibility(1.0, k, 3.0) == pytest.approx(1 / 8)
    assert sus.follow_error(1.0, k, 1 / 2) == pytest.approx(1 / 3)
    assert sus.follow_error(1.0, k, 1 / 3) == pytest.approx(1 / 8)
    # ... and below 1.41 it amplifies, whatever its damping.
    assert (sus.transmissibility(1.0, k * (1 + 2j * np.array([0.0, 0.1, 0.5]) * 1.4), 1.4) > 1.0).all()


def handbook_body(ax, ay, az):
    """A body on four upright isolators at (+-ax, +-ay, az) from its centre of gravity."""
    corners = [(sx * ax, sy * ay, az) for sx in (1, -1) for sy in (1, -1)]
    inertia = np.diag([210.0, 390.0, 470.0])
    return sa.Suspension(0.6, inertia, np.array(corners), np.tile([0.0, 0.0, 1.0], (4, 1)), np.zeros(3))


@pytest.mark.parametrize("az", [0.0, 18.0, -32.0])
@pytest.mark.parametrize("kappa", [0.25, 1.0, 3.0])
def test_six_frequencies_of_a_body_with_two_planes_of_symmetry(az, kappa):
    # Harris' Shock and Vibration Handbook, 5th ed., chapter 3, "Two planes of symmetry with orthogonal
    # resilient supports", Fig. 3.15, eq. (3.37) f_z = sqrt(4 kz / m) / 2 pi and the closed forms that follow
    # it for yaw and for the two coupled pairs (memory, eq. (3.37) read). Deviation: rounding only.
    kz, ax, ay, m = 7.0, 42.0, 31.0, 0.6
    kx = kappa * kz
    body = handbook_body(ax, ay, az)
    ixx, iyy, izz = np.diag(body.inertia_kg_mm2)
    fz = np.sqrt(4 * kz * 1e3 / m) / (2 * np.pi)
    yaw = np.sqrt(4 * 1e3 * kx * (ax**2 + ay**2) / izz) / (2 * np.pi)

    def pair(arm, radius):
        a, e = arm / radius, az / radius
        total = kappa * (1 + e**2) + a**2
        root = np.sqrt(total**2 - 4 * kappa * a**2)
        return fz * np.sqrt((total - root) / 2), fz * np.sqrt((total + root) / 2)

    want = np.sort([fz, yaw, *pair(ax, np.sqrt(iyy / m)), *pair(ay, np.sqrt(ixx / m))])
    assert sa.modes(body, kz, kx).frequency_hz == pytest.approx(want, rel=1e-9)


def test_foundation_motion_of_a_body_with_two_planes_of_symmetry():
    # Harris, chapter 3, eqs. (3.55) and (3.56): surge u of the foundation drives x and pitch alone. Here as
    # the two undamped equations of motion themselves, m x'' = -kx (x + az b - u), I b'' = -kz a^2 b - kx az
    # (x + az b - u).
    kx, kz, ax, ay, az, m, iyy = 12.0, 7.0, 42.0, 31.0, 18.0, 0.6, 390.0
    body = handbook_body(ax, ay, az)
    f = np.array([2.0, 15.0, 40.0, 90.0])
    got = sa.camera_transmissibility(body, kz / 4, kx / 4, f)
    for x, t in zip(f, got, strict=True):
        w2 = (2 * np.pi * x) ** 2 * 1e-3
        left = np.array([[kx - m * w2, kx * az], [kx * az, kz * ax**2 + kx * az**2 - iyy * w2]])
        surge, pitch = np.linalg.solve(left, [kx, kx * az])
        assert t[0, 0] == pytest.approx(surge, rel=1e-9)
        assert t[4, 0] == pytest.approx(pitch, rel=1e-9)
        assert np.abs(t[[1, 2, 3, 5], 0]).max() < 1e-12


def test_bounce_and_pitch_of_a_car_body():
    # Thomson, W. T.: Theory of Vibration with Applications, chapter on systems with two degrees of freedom,
    # example of an automobile (memory): W = 3220 lb, radius of gyration 4 ft, front springs 2400 lb/ft at 4.5
    # ft, rear springs 2600 lb/ft at 5.5 ft; the answers are 6.90 and 9.06 rad/s (1.10 and 1.44 Hz), x/theta =
    # -14.6 and +1.09 ft/rad (9.06 and 1.09 in print; exactly 9.05 and 1.10: tolerances of the print's
    # rounding).
    pound, foot = 4.4482216, 304.8
    mass = 100.0 * pound / 0.3048  # 3220 lb / 32.2 ft/s2 = 100 slug, in kg
    k = np.array([2400.0, 2400.0, 2600.0, 2600.0]) * pound / foot / 2.0  # N/mm, two isolators per axle
    points = np.array([[4.5, 3, 0], [4.5, -3, 0], [-5.5, 3, 0], [-5.5, -3, 0]]) * foot
    inertia = np.diag([1.0, 16.0, 16.0]) * mass * foot**2
    body = sa.Suspension(mass, inertia, points, np.tile([0.0, 0.0, 1.0], (4, 1)), np.zeros(3))
    m = sa.modes(body, k, k * 50.0)  # stiff sideways: bounce and pitch are the lowest but roll
    pick = [j for j in range(6) if m.energy[2, j] + m.energy[4, j] > 0.999 and m.energy[2, j] > 0.01]
    assert len(pick) == 2
    assert 2 * np.pi * m.frequency_hz[pick] == pytest.approx([6.90, 9.06], abs=0.02)
    # Thomson counts x down and theta so that the front goes down with it: x/theta = -z/pitch up to sign of
    # both.
    ratio = m.shapes[2, pick] / m.shapes[4, pick] / foot
    assert np.abs(ratio) == pytest.approx([14.6, 1.09], rel=0.02)
    assert ratio[0] * ratio[1] < 0.0
    assert "coupled" in m.words[pick[1]]


def test_six_frequencies_of_an_avionics_box_on_four_isolators():
    # Irvine, T.: tutorial notes on the isolation of avionics, the worked example in six degrees of freedom (the
    # author of "Avionics Isolation Design Guidelines", 2009). All numbers, inputs and answers, from memory:
    # 4.28 lbm; Jx, Jy, Jz = 44.9, 39.9, 18.8 lbm in2; four isolators of 80 lbf/in along every axis, b = 3.85 in
    # to one side, a1 = 6.18 and a2 = 2.68 in along x, c = 3 in to either side along z; the answers are 7.338,
    # 12.02, 27.04, 27.47, 63.06 and 83.19 Hz. That a1 and a2 lie on the same side is read off the answers: of
    # twelve arrangements of these inputs it is the only one that gives them, and to every printed digit.
    # 1 lbf s2/in = 386 lbm, as the notes take it.
    inch, newton_per_lbf = 25.4, 4.4482216
    k = 80.0 * newton_per_lbf / inch  # N/mm
    pound = newton_per_lbf / inch * 1e3 / 386.0  # kg, so that f = sqrt(k / m) / 2 pi keeps the notes' 386
    points = np.array([[a, 3.85, c] for a in (6.18, 2.68) for c in (3.0, -3.0)]) * inch
    inertia = np.diag([44.9, 39.9, 18.8]) * pound * inch**2
    body = sa.Suspension(4.28 * pound, inertia, points, np.tile([0.0, 0.0, 1.0], (4, 1)), np.zeros(3))
    m = sa.modes(body, k, k)
    printed = [7.338, 12.02, 27.04, 27.47, 63.06, 83.19]
    half_a_digit = [0.0005, 0.005, 0.005, 0.005, 0.005, 0.005]
    assert np.all(np.abs(m.frequency_hz - printed) <= half_a_digit), m.frequency_hz
    # The 27.04 Hz are those of the box on 320 lbf/in, nothing but a sideways motion: the one uncoupled mode.
    alone = [j for j in range(6) if m.energy[:3, j].sum() > 0.9999]
    assert len(alone) == 1
    assert m.frequency_hz[alone[0]] == pytest.approx(np.sqrt(4 * k * 1e3 / body.mass_kg) / (2 * np.pi), rel=1e-9)
    # Nothing depends on how the four are turned: they are equally stiff all round.
    sideways = sa.Suspension(body.mass_kg, inertia, points, np.tile([0.6, -0.48, 0.64], (4, 1)), np.zeros(3))
    assert sa.modes(sideways, k, k).frequency_hz == pytest.approx(m.frequency_hz, rel=1e-9)


def test_pitch_and_bounce_of_an_automobile():
    # Rao, S. S.: Mechanical Vibrations, chapter 5, example "Frequencies and mode shapes of an automobile"
    # (example 5.7 of the 4th and 5th editions; from memory): 1000 kg, radius of gyration 0.9 m, front springs
    # 18 kN/m at 1.0 m, rear springs 22 kN/m at 1.5 m; the answers are 5.8593 and 9.4341 rad/s with X/Theta =
    # -2.6461 and 0.3061 m/rad. Here the same body in six axes, two isolators per axle.
    k = np.array([18.0, 18.0, 22.0, 22.0]) / 2.0
    points = np.array([[1.0, 0.7, 0.0], [1.0, -0.7, 0.0], [-1.5, 0.7, 0.0], [-1.5, -0.7, 0.0]]) * 1e3
    inertia = np.diag([0.25, 0.81, 0.9]) * 1e9
    body = sa.Suspension(1000.0, inertia, points, np.tile([0.0, 0.0, 1.0], (4, 1)), np.zeros(3))
    m = sa.modes(body, k, k * 40.0)
    pick = [j for j in range(6) if m.energy[2, j] + m.energy[4, j] > 0.9999 and m.energy[2, j] > 0.01]
    assert 2 * np.pi * m.frequency_hz[pick] == pytest.approx([5.8593, 9.4341], abs=5e-5)
    # Rao's front end moves x - l1 theta, as here z - x pitch: the signs are the same.
    ratio = m.shapes[2, pick] / m.shapes[4, pick] / 1e3
    assert ratio == pytest.approx([-2.6461, 0.3061], abs=5e-5)
