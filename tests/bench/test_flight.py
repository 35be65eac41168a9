"""Flights of known truth: rotor speed, clock, axes and modes as read, and what is refused."""

import dataclasses

import numpy as np
import pytest
from bench.flight_simulator import Mount, fly
from scipy.signal import butter, sosfiltfilt
from scipy.spatial.transform import Rotation

from matdb.bench.flight.following import followed, motion
from matdb.bench.flight.log import check_turns, evened, read_log
from matdb.bench.flight.rotor import follow_rotors
from matdb.bench.flight.two_logs import align
from matdb.bench.trace.record import Refused
from matdb.errors import InputError, UnitError

MOUNT = Mount(0.62, (110, 80, 60), (40, 30), 0.0, 1.377, 1.1, 0.2)


@pytest.fixture(scope="module")
def flight():
    return fly(
        np.random.default_rng(5), seconds=90, rate_hz=500.0, camera_rate_hz=400.0, mount=MOUNT, hover_hz=80.0, blades=2
    )


def logs(flight):
    airframe = evened("craft", flight.time_s, {"rate": flight.rate, "acceleration": flight.acceleration})
    return airframe, evened("camera", flight.camera_time_s, {"rate": flight.camera_rate})


def axes_of(flown, rates_hz):
    track = follow_rotors(logs(flown)[0], flown.truth.blades)
    return followed(align(*logs(flown), track.flew_s), track, 2.0, rates_hz)[0]


@pytest.fixture(scope="module")
def seen(flight):
    airframe, camera = logs(flight)
    track = follow_rotors(airframe, 2)
    both = align(airframe, camera, track.flew_s)
    slow = motion(airframe, track.flew_s, track)
    return track, slow, *followed(both, track, slow.manoeuvre_hz, (airframe.hz, camera.hz))


def test_rotor_speed_within_a_hundredth(flight, seen):
    track, *_ = seen
    true = flight.truth.rotor(track.time_s)
    assert np.median(np.abs(track.hz / true - 1.0)) < 0.01
    for told, share in ((track.lowest_hz, 0.01), (track.hover_hz, 0.5), (track.highest_hz, 0.99)):
        assert told == pytest.approx(np.quantile(true, share), rel=0.01)
    assert [line.aliased for line in track.lines] == [False, False, True]


@pytest.mark.parametrize("lasts_s", [0.4, 0.5, 0.6, 0.8])
def test_a_throttle_that_drops_for_a_moment_is_followed_or_told(lasts_s):
    """Rotors lose a third of their speed for a second now and then: a chirp by its phase, no simulated craft."""
    rng, hz = np.random.default_rng(1), 500.0
    t = np.arange(0.0, 70.0, 1.0 / hz)
    rotor = 80.0 * (1.0 - 0.3 * np.exp(-0.5 * ((t % 20.0 - 10.0) / lasts_s) ** 2)) * (1.0 + 0.01 * np.sin(t))
    turned = 2.0 * np.pi * np.cumsum(rotor) / hz
    lines = np.outer(np.sin(turned), (1.0, 0.8, 0.6)) + np.outer(np.sin(2.0 * turned), (0.7, 1.0, 0.5))
    sways = np.sin(2.0 * np.pi * np.outer(t, (0.5, 0.7, 0.9)) + (0.5, 0.7, 0.9))
    flies = ((t > 5.0) & (t < 65.0))[:, None]
    rate = flies * (0.05 * lines * (rotor / 80.0)[:, None] ** 2 + 0.2 * sways) + 0.02 * rng.standard_normal((t.size, 3))
    track = follow_rotors(evened("craft", t, {"rate": rate}))
    true = np.quantile(np.interp(track.time_s, t, rotor), 0.01)
    assert abs(track.lowest_hz - true) < 2.0 * track.sd_hz
    assert track.sd_hz < 0.05 * track.hover_hz


def test_it_flew_between_take_off_and_landing(flight, seen):
    start, end = flight.truth.flew_s
    assert start < seen[0].flew_s[0] < start + 8.0
    assert end - 8.0 < seen[0].flew_s[1] < end


def test_clock_and_axes(flight, seen):
    both, truth = seen[3], flight.truth
    t = np.linspace(*seen[0].flew_s, 5)
    assert np.abs(both.camera_time(t) - (t - truth.offset_s) * (1.0 + truth.drift)).max() < 2e-3
    assert np.degrees((Rotation.from_matrix(both.matrix) * truth.turn.inv()).magnitude()) < 1.0


def test_modes_and_damping(flight, seen):
    for each, share in zip(seen[2], flight.truth.share, strict=True):
        assert not each.refused
        mode = flight.truth.modes_hz[np.argmax(np.abs(share))]
        assert each.fit.frequency_hz == pytest.approx(mode, rel=0.03)
        assert each.fit.damping_ratio == pytest.approx(flight.truth.damping[0], rel=0.15)


@pytest.mark.slow
def test_two_modes_closer_than_their_width_are_told_apart():
    """A third of pitch lies in a mode an eighth lower; one mode alone fits 4 % low and 11 % too damped."""
    flight = fly(np.random.default_rng(585), rate_hz=1000.0, camera_rate_hz=1000.0)
    axes = axes_of(flight, (1000.0, 1000.0))
    pitch, truth = axes[1].fit, flight.truth
    mode = truth.modes_hz[np.argmax(truth.share[1])]
    assert sorted(np.abs(truth.share[1]))[-2] > 0.3
    assert not axes[1].refused
    assert abs(pitch.frequency_hz - mode) < min(1.96 * pitch.frequency_sd_hz, 0.03 * mode)
    assert pitch.damping_ratio == pytest.approx(truth.damping[0], rel=0.05)


@pytest.mark.slow
def test_two_modes_too_close_to_tell_apart_are_not_told_as_one():
    """Roll's modes at 9.55 and 10.24 Hz share it by two and three; one mode fits both at 9.9."""
    close = fly(np.random.default_rng(3048), rate_hz=500.0, camera_rate_hz=500.0)
    airframe = evened("craft", close.time_s, {"rate": close.rate})
    camera = evened("camera", close.camera_time_s, {"rate": close.camera_rate})
    track = follow_rotors(airframe, close.truth.blades)
    axes, _ = followed(align(airframe, camera, track.flew_s), track, 3.0, (airframe.hz, camera.hz))
    roll = axes[0]
    assert "closer than they are wide" in roll.refused
    apart = np.abs(close.truth.modes_hz[np.abs(close.truth.share[0]) > 0.2] - roll.fit.frequency_hz)
    assert apart.min() < 1.96 * roll.fit.frequency_sd_hz


@pytest.mark.slow
@pytest.mark.parametrize("law", ["causal", "growing"])
def test_stiffness_that_grows_with_frequency_is_no_damping(law):
    """Fitted with a stiffness that does not grow, damping is told 7 % high in all three, as known to 1 %.

    Fitted with a loss that does not grow, frequencies are told up to 0.9 % low, as known to 0.1 %.
    """
    causal = fly(np.random.default_rng(7403), rate_hz=1000.0, camera_rate_hz=1000.0, law=law)
    axes = axes_of(causal, (1000.0, 1000.0))
    for each, share in zip(axes, causal.truth.share, strict=True):
        mode = causal.truth.modes_hz[np.argmax(np.abs(share))]
        assert not each.refused
        assert abs(each.fit.frequency_hz - mode) < 1.96 * each.fit.frequency_sd_hz < 0.01 * mode
        assert each.fit.frequency_hz == pytest.approx(mode, rel=0.01)
        assert each.fit.damping_ratio == pytest.approx(causal.truth.damping[np.argmax(np.abs(share))], rel=0.04)


@pytest.mark.slow
def test_axes_share_one_delay():
    """Fitted by itself, roll's phase at 250 readings a second goes into a delay of its own, 16 % into damping.

    What the mounts' law leaves open beside that is too much for roll, and is said.
    """
    close = fly(np.random.default_rng(4131), rate_hz=250.0, camera_rate_hz=2000.0)
    axes = axes_of(close, (250.0, 2000.0))
    assert np.ptp([each.fit.delay_s for each in axes]) < 0.3e-3
    roll, *others = axes
    assert "loss factor is known to 5 % only" in roll.refused
    assert abs(roll.fit.damping_ratio - close.truth.damping[0]) < 1.5 * roll.fit.loss_factor_sd
    for each in others:
        assert each.fit.damping_ratio == pytest.approx(close.truth.damping[0], rel=0.05)


@pytest.mark.slow
def test_axes_that_tell_nothing_move_no_clock():
    """Coherence of a third in pitch and yaw: their delays lie 3 ms off."""
    torn = fly(np.random.default_rng(5084), rate_hz=400.0, camera_rate_hz=1000.0)
    airframe = evened("craft", torn.time_s, {"rate": torn.rate})
    camera = evened("camera", torn.camera_time_s, {"rate": torn.camera_rate})
    track = follow_rotors(airframe, torn.truth.blades)
    both = align(airframe, camera, track.flew_s)
    axes, after = followed(both, track, 3.0, (airframe.hz, camera.hz))
    assert all(each.refused for each in axes)
    assert after.offset_s == both.offset_s


@pytest.mark.slow
def test_noise_and_folded_lines_in_the_airframes_log_are_no_damping():
    """At 400 readings a second a seventh of what it logs near pitch's 14 Hz is no motion: damping fits a fifth low."""
    flight = fly(np.random.default_rng(1458), rate_hz=400.0, camera_rate_hz=1000.0)
    track = follow_rotors(logs(flight)[0], flight.truth.blades)
    axes, _ = followed(align(*logs(flight), track.flew_s), track, 2.0, (400.0, 1000.0))
    assert "log faster" in axes[1].refused
    assert axes[2].fit.damping_ratio == pytest.approx(flight.truth.damping[0], rel=0.05)


def test_a_folded_line_that_wanders_over_a_resonance_is_noise_there():
    """Four times a turn shows from 1 to 52 Hz at 400 readings a second. As white noise, pitch fits 1.3 % low."""
    folded = fly(np.random.default_rng(8045), rate_hz=400.0, camera_rate_hz=200.0)
    _, pitch, yaw = axes_of(folded, (400.0, 200.0))
    for each, k in ((pitch, 1), (yaw, 2)):
        assert "log faster" in each.refused
        mode = folded.truth.modes_hz[np.argmax(folded.truth.share[k])]
        assert abs(each.fit.frequency_hz - mode) < min(1.96 * each.fit.frequency_sd_hz, 0.01 * mode)


def test_a_faint_mode_does_not_settle_whether_the_first_is_two():
    """Pitch's modes at 17.9 and 19.2 Hz have half of it each; one fits both at 18.5, and a faint one beside better."""
    pair = fly(np.random.default_rng(8050), rate_hz=200.0, camera_rate_hz=400.0)
    assert "closer than they are wide" in axes_of(pair, (200.0, 400.0))[1].refused


def test_what_was_missed_is_what_a_hysteretic_mount_misses(flight, seen):
    _, slow, axes, _ = seen
    assert 0.5 < slow.manoeuvre_hz < 6.0
    # Written apart: 1/(1 - r^2 + i eta) without its own unity, at the top of the band the most.
    for each in axes:
        r = slow.manoeuvre_hz / each.fit.frequency_hz
        assert each.missed < abs((1 + 0.2j) / (1 - r * r + 0.2j) - 1.0)


def test_the_spectrum_holds_the_rates_that_were_logged(flight, seen):
    track, slow, *_ = seen
    f, power = slow.frequency_hz, slow.density[:, 3:].sum(axis=1) / (2 * np.pi * slow.frequency_hz) ** 2
    inside = (flight.time_s > track.flew_s[0]) & (flight.time_s < track.flew_s[1])
    fast = sosfiltfilt(butter(8, 4.0, "highpass", fs=500.0, output="sos"), flight.rate[inside], axis=0)
    assert np.sum(power[f > 4.0]) * (f[1] - f[0]) == pytest.approx(fast.var(axis=0).sum(), rel=0.1)


def test_a_folded_rotor_line_is_no_manoeuvre():
    """216 turns a second look like 16 Hz at 200 readings a second; the craft swings at 0.7 and 2.6 Hz."""
    rng, t = np.random.default_rng(4), np.arange(6000) / 200.0
    swing = 8.0 * np.sin(2 * np.pi * 0.7 * t) + 3.0 * np.sin(2 * np.pi * 2.6 * t + 1.0)
    rate = np.outer(swing, (1.0, 0.8, 0.3)) + np.outer(4.0 * np.sin(2 * np.pi * 216.0 * t), (1.0, 0.7, 0.2))
    log = evened("craft", t, {"rate": np.radians(rate + 0.5 * rng.standard_normal(rate.shape))})
    track = follow_rotors(log, 2, (207.0, 223.0))
    told = motion(log, track.flew_s, track)
    assert 2.3 < told.manoeuvre_hz < 3.0
    # What swung stays in the spectrum: 59 (deg/s)^2 of roll in all, 4.5 of them at 2.6 Hz.
    f, roll = told.frequency_hz, told.density[:, 3] / (2 * np.pi * told.frequency_hz) ** 2
    assert 0.25 * roll[f < 5.0].sum() == pytest.approx(np.radians(1) ** 2 * (8.0**2 + 3.0**2) / 2, rel=0.1)
    assert 0.25 * roll[(f > 14.0) & (f < 18.0)].sum() < 0.02 * np.radians(4) ** 2


def test_a_folded_line_that_wanders_is_no_manoeuvre():
    """213 turns a second, 1 % up and down, show from 11 to 15 Hz at 200 readings a second; it swings to 1.9 Hz."""
    rng, t = np.random.default_rng(3), np.arange(6000) / 200.0
    turn = 2 * np.pi * np.cumsum(213.0 * (1.0 + 0.01 * np.sin(2 * np.pi * 0.11 * t))) / 200.0
    swing = [12 * np.sin(2 * np.pi * 0.7 * t), 8 * np.sin(2 * np.pi * 1.9 * t + 1), 5 * np.sin(2 * np.pi * 0.3 * t)]
    lines = sum(a * np.sin(order * turn) for order, a in ((1, 1.0), (2, 0.7), (4, 0.2)))
    rate = np.stack(swing, axis=1) + np.outer(lines, (9.0, 6.0, 3.0)) + 0.8 * rng.standard_normal((6000, 3))
    log = evened("craft", t, {"rate": np.radians(rate)})
    track = follow_rotors(log, 2, (202.0, 225.0))
    assert 1.7 < motion(log, track.flew_s, track).manoeuvre_hz < 2.5


def test_a_craft_on_the_ground_did_not_fly():
    still = fly(np.random.default_rng(1), seconds=40, rate_hz=400.0, camera_rate_hz=200.0, mount=MOUNT, flies=False)
    with pytest.raises(Refused, match="did not fly"):
        follow_rotors(logs(still)[0], 2)


@pytest.mark.parametrize("by_s", [0.005, 0.012, 0.05])
def test_a_clock_that_jumps_is_refused(flight, seen, by_s):
    late = flight.camera_time_s + by_s * (flight.camera_time_s > np.quantile(flight.camera_time_s, 0.6))
    with pytest.raises(Refused, match="jumps"):
        align(*logs(dataclasses.replace(flight, camera_time_s=late)), seen[0].flew_s)


def test_logs_of_two_flights_are_refused(flight, seen):
    other = fly(np.random.default_rng(8), seconds=90, rate_hz=400.0, camera_rate_hz=400.0, mount=MOUNT, hover_hz=80.0)
    with pytest.raises(Refused, match="one flight, two gyros"):
        align(logs(flight)[0], logs(other)[1], seen[0].flew_s)


def test_a_mirrored_sensor_is_refused(flight, seen):
    mirrored = dataclasses.replace(flight, camera_rate=flight.camera_rate * [1.0, 1.0, -1.0])
    with pytest.raises(Refused):
        align(*logs(mirrored), seen[0].flew_s)


def test_rates_in_another_unit_are_refused(flight, seen):
    airframe, camera = logs(flight)
    degrees = dataclasses.replace(airframe, rate=np.degrees(airframe.rate))
    with pytest.raises(Refused, match=r"57\.\d times the airframe's rotation"):
        align(airframe, dataclasses.replace(camera, rate=np.degrees(camera.rate)), seen[0].flew_s)
    with pytest.raises(Refused, match=r"0\.017\d times the airframe's rotation"):
        align(degrees, camera, seen[0].flew_s)
    check_turns(airframe, seen[0].flew_s)
    with pytest.raises(Refused, match="check the unit"):
        check_turns(degrees, seen[0].flew_s)


def test_turning_about_one_axis_only_is_refused(flight, seen):
    airframe, camera = logs(flight)
    rng, only = np.random.default_rng(2), [1.0, 0.0, 0.0]
    one = dataclasses.replace(airframe, rate=airframe.rate * only + 1e-5 * rng.standard_normal(airframe.rate.shape))
    matrix = flight.truth.turn.as_matrix()
    seen_one = camera.rate @ matrix * only @ matrix.T
    two = dataclasses.replace(camera, rate=seen_one + 1e-5 * rng.standard_normal(seen_one.shape))
    with pytest.raises(Refused, match="about one axis only"):
        align(one, two, seen[0].flew_s)


def test_a_speed_and_its_mirror_are_told_apart_or_refused():
    low = fly(
        np.random.default_rng(7), seconds=60, rate_hz=200.0, camera_rate_hz=200.0, mount=MOUNT, hover_hz=82.0, blades=2
    )
    airframe = evened("craft", low.time_s, {"rate": low.rate})
    with pytest.raises(Refused, match="look the same: give --rotor"):
        follow_rotors(airframe, 2)
    with pytest.raises(Refused, match="look the same: give --rotor a narrower range"):
        follow_rotors(airframe, 2, (55.0, 150.0))
    track = follow_rotors(airframe, 2, (55.0, 99.0))
    assert track.hover_hz == pytest.approx(low.truth.hover_hz, rel=0.03)


@pytest.mark.slow
def test_what_the_frame_always_swings_at_is_no_rotor_line():
    """Rotors at 66 to 92 turns a second, arms that swing at half of that: a hump that does not go along with them."""
    air = fly(np.random.default_rng(2032), rate_hz=400.0, camera_rate_hz=500.0, vary="gusts")
    with pytest.raises(Refused, match="leaves open"):
        follow_rotors(evened("craft", air.time_s, {"rate": air.rate}), air.truth.blades)


@pytest.mark.slow
def test_a_speed_that_is_doubled_for_a_while_is_refused():
    """Once a turn is weak where the rotors turn slowest, so its multiples are taken."""
    air = fly(np.random.default_rng(1812), rate_hz=4000.0, camera_rate_hz=400.0)
    with pytest.raises(Refused, match="lost for a while"):
        follow_rotors(evened("craft", air.time_s, {"rate": air.rate}), air.truth.blades)


def test_a_faint_line_pulls_no_speed():
    """Four times a turn stands at 20 to 50 Hz among what else the craft does, at 500 readings a second."""
    air = fly(np.random.default_rng(1564), rate_hz=500.0, camera_rate_hz=200.0)
    track = follow_rotors(evened("craft", air.time_s, {"rate": air.rate}), air.truth.blades)
    true = air.truth.rotor(track.time_s)
    assert track.hover_hz == pytest.approx(np.median(true), rel=0.01)
    assert np.abs(track.hz / true - 1.0).max() < 0.02


@pytest.mark.slow
def test_a_path_that_may_have_turned_back_at_half_the_rate_is_no_path():
    """Rotors at 74 to 136 turns a second, 250 readings: near 125 the blades' line falls below what is looked at."""
    low = fly(np.random.default_rng(610), rate_hz=250.0, camera_rate_hz=1000.0)
    with pytest.raises(Refused, match="look the same"):
        follow_rotors(logs(low)[0], low.truth.blades)


@pytest.mark.slow
def test_a_path_that_turned_back_where_blades_pass_at_half_the_rate_is_no_path():
    """Two blades, 400 readings a second: for 2 s the rotors turn 87 times a second, which looks like 113."""
    air = fly(np.random.default_rng(4090), rate_hz=400.0, camera_rate_hz=1000.0)
    with pytest.raises(Refused, match=r"turned back|one is lost behind another"):
        follow_rotors(evened("craft", air.time_s, {"rate": air.rate, "acceleration": air.acceleration}), 2)


def test_a_line_below_what_is_told_of_the_rotors_is_said(flight):
    with pytest.raises(Refused, match="below what --rotor tells"):
        follow_rotors(logs(flight)[0], 2, (140.0, 200.0))


def test_a_throttle_tells_a_speed_from_its_mirror():
    low = fly(
        np.random.default_rng(7), seconds=60, rate_hz=250.0, camera_rate_hz=200.0, mount=MOUNT, hover_hz=62.0, blades=2
    )
    with pytest.raises(Refused, match="look the same"):
        follow_rotors(evened("craft", low.time_s, {"rate": low.rate}), 2)
    track = follow_rotors(evened("craft", low.time_s, {"rate": low.rate, "throttle": low.throttle}), 2)
    assert track.hover_hz == pytest.approx(low.truth.hover_hz, rel=0.01)
    # One that goes the other way, as of a log of something else, tells nothing.
    with pytest.raises(Refused, match="look the same"):
        follow_rotors(evened("craft", low.time_s, {"rate": low.rate, "throttle": 2.0 - low.throttle}), 2)


@pytest.mark.parametrize(
    ("header", "unit", "factor"),
    [
        ("time (s),gyro_x (deg/s),gyro_y (deg/s),gyro_z (deg/s)", None, np.pi / 180),
        ("t,roll [rad/s],pitch [rad/s],yaw [rad/s]", None, 1.0),
        ("timestamp (s),rate_x_dps,rate_y_dps,rate_z_dps", None, np.pi / 180),
        ("t (s),gx (deg/s),gy (deg/s),gz (deg/s)", None, np.pi / 180),
        ("time,gyroADC[0],gyroADC[1],gyroADC[2]", "deg/s", np.pi / 180),
    ],
)
def test_columns_by_their_titles(tmp_path, header, unit, factor):
    t = np.arange(0.0, 12.0, 0.01)
    values = np.column_stack([t, np.sin(t), np.cos(t), t])
    file = tmp_path / "log.csv"
    np.savetxt(file, values, delimiter=",", header=header, comments="")
    log = read_log(file, unit=unit)
    assert log.hz == pytest.approx(100.0)
    assert np.allclose(log.rate, factor * values[:, 1:], atol=1e-6)


def test_rates_without_a_unit_and_logs_without_rates_are_refused(tmp_path):
    file = tmp_path / "log.csv"
    t = np.arange(0.0, 12.0, 0.01)
    np.savetxt(file, np.column_stack([t, t, t, t]), delimiter=",", header="time,gyro_x,gyro_y,gyro_z", comments="")
    with pytest.raises(InputError, match="no unit"):
        read_log(file)
    with pytest.raises(UnitError):
        read_log(file, unit="furlong")
    np.savetxt(file, np.column_stack([t, t]), delimiter=",", header="time,height (m)", comments="")
    with pytest.raises(InputError, match="three angular rates"):
        read_log(file)
    # What is told to do names the file's own columns, by the option that was meant.
    np.savetxt(file, np.column_stack([t, t, t, t]), delimiter=",", header="time,a,b,c", comments="")
    with pytest.raises(InputError, match="--camera-column 'a' --camera-column 'b' --camera-column 'c'"):
        read_log(file, field="--camera-column")


def test_stamps_stand_by_their_own_clock(tmp_path):
    t = np.arange(0.0, 12.0, 0.01)
    for name, unit in (("time (s)", 1.0), ("time (ms)", 1e3)):
        np.savetxt(tmp_path / "log.csv", np.column_stack([unit * (t + 4000.5), np.sin(t), t, t]), fmt="%.6f",
                   delimiter=",", header=f"{name},gx (deg/s),gy (deg/s),gz (deg/s)", comments="")  # fmt: skip
        log = read_log(tmp_path / "log.csv")
        assert log.stamp_s == pytest.approx(4000.5)
        assert log.start_s == pytest.approx(0.0, abs=1e-6)


def test_lost_rows_do_not_move_the_clock():
    rng = np.random.default_rng(3)
    t = np.arange(0.0, 60.0, 0.004)
    kept = np.ones(t.size, bool)
    for at in rng.integers(0, t.size - 40, 8):
        kept[at : at + rng.integers(1, 30)] = False
    x = np.sin(2 * np.pi * 0.7 * t)[:, None] * [1.0, 2.0, 3.0]
    log = evened("log", np.round(t[kept] + 5.0, 3), {"rate": x[kept]})
    assert log.hz == pytest.approx(250.0, rel=1e-5)
    assert np.allclose(log.rate, np.sin(2 * np.pi * 0.7 * (log.time_s - 5.0))[:, None] * [1.0, 2.0, 3.0], atol=0.05)
    assert "missing" in log.notes[0]
