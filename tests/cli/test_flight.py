"""``matdb flight``: from two logs to what was foretold, into the mounting and into the store; and the tap."""

import json

import numpy as np
import pytest
from bench.flight_simulator import Mount, fly

import matdb
from matdb.mounting.phone import with_phone

MOUNT = Mount(0.62, (110, 80, 60), (40, 30), 0.0, 1.377, 1.1, 0.2)


@pytest.fixture(scope="module")
def logs(tmp_path_factory):
    folder = tmp_path_factory.mktemp("logs")
    flown = fly(
        np.random.default_rng(5), seconds=60, rate_hz=400.0, camera_rate_hz=250.0, mount=MOUNT, hover_hz=80.0, blades=2
    )
    head = "time (s),gyro_x (deg/s),gyro_y (deg/s),gyro_z (deg/s),acc_x (m/s2),acc_y (m/s2),acc_z (m/s2)"
    save = {"delimiter": ",", "fmt": "%.7g", "comments": ""}
    airframe = np.column_stack([flown.time_s, np.degrees(flown.rate), flown.acceleration])
    np.savetxt(folder / "craft.csv", airframe, header=head, **save)
    camera = np.column_stack([flown.camera_time_s, flown.camera_rate])
    np.savetxt(folder / "camera.csv", camera, header="t (s),wx (rad/s),wy (rad/s),wz (rad/s)", **save)
    return folder / "craft.csv", folder / "camera.csv", flown.truth


@pytest.fixture
def pod(store):
    with matdb.open_store(store) as kept:
        kept.add(matdb.Material(name="gel", family="silicone", hardness="5 A"))
        kept.add(matdb.Part(name="gel pad", material="gel", form=matdb.Ring(outer_mm=12, inner_mm=5, height_mm=8)))
        camera = {"box_mm": (110, 80, 60), "focal_length_mm": 4.5, "pixel_pitch_um": 2.4, "row_time_us": 12.0}
        kept.add(
            matdb.Mounting(
                name="flown", mass_kg=0.62, count=4, rpm_idle=3000, rpm_full=9000, spread_mm=(80, 60), **camera
            )
        )
    return "--mounting", "flown", "--part", "gel pad", "--temp", "20C"


@pytest.mark.slow
def test_the_loop(matdb_says, logs, pod, store, tmp_path):
    craft, camera, truth = logs
    spectrum, chart = tmp_path / "flown.csv", tmp_path / "flown.svg"
    told = matdb_says(
        "flight", "read", craft, "--camera", camera, *pod, "--stabilised", "2Hz", "--keep", "--log",
        "--spectrum", spectrum, "--picture", chart, "--json",
    )  # fmt: skip
    assert told.code == 0, told.err
    said = json.loads(told.out)
    assert said["rotor"]["hover_hz"] == pytest.approx(truth.hover_hz, rel=0.02)
    for axis, row in enumerate(said["axes"]):
        mode = truth.modes_hz[np.argmax(np.abs(truth.share[axis]))]
        assert row["natural_frequency_hz"]["median"] == pytest.approx(mode, rel=0.03)
        assert row["foretold_hz"]["low"] < row["foretold_hz"]["high"]
        assert row["verdict"].startswith(("as expected", "softer", "stiffer"))
    assert said["picture"]["pitch_px"] > 0.0
    assert 0.0 < said["picture"]["kept_share"] < 1.0
    assert "pitch" in chart.read_text(encoding="utf-8")
    assert matdb.read_spectrum(spectrum.read_bytes()).density
    with matdb.open_store(store) as kept:
        flown = kept.mounting("flown")
        assert flown.rpm_hover == pytest.approx(60.0 * truth.hover_hz, rel=0.02)
        assert flown.manoeuvre_hz == pytest.approx(said["manoeuvre_hz"], abs=0.051)
        readings = [kept.records.reading(number).reading for number in said["readings"]]
    assert [reading.axis for reading in readings] == ["rocking", "rocking", "shear"]
    # Sideways stiffness of one isolator, as the simulated mount has it: 1.1 N/mm.
    yaw = readings[2]
    assert 1e-3 * yaw.mass_kg / 4 * (2 * np.pi * yaw.frequency_hz) ** 2 == pytest.approx(1.1, rel=0.06)


@pytest.mark.slow
def test_a_flight_settles_what_a_later_one_is_foretold(matdb_says, logs, pod):
    craft, camera, _ = logs
    matdb_says("flight", "read", craft, "--camera", camera, *pod, "--log")
    told = matdb_says("flight", "read", craft, "--camera", camera, *pod)
    assert told.out.count("as expected") == 3, told.out
    assert told.out.startswith("The mount does as foretold.")
    alone = matdb_says("flight", "read", craft, "--camera", camera, "--part", "gel pad")
    assert alone.code == 2
    assert "--mounting" in alone.err


def test_a_flight_counts_once(matdb_says, logs, pod):
    craft, camera, _ = logs
    first = json.loads(matdb_says("flight", "read", craft, "--camera", camera, *pod, "--log", "--json").out)
    assert first["readings"]
    assert not any("logged already" in text for text in first["warnings"])
    for more in ((), ("--log",)):
        again = json.loads(matdb_says("flight", "read", craft, "--camera", camera, *pod, *more, "--json").out)
        assert again["readings"] == []
        numbers = ", ".join(map(str, first["readings"]))
        assert f"{len(first['readings'])} readings of gel pad: {numbers}; what is foretold has" in again["warnings"][0]


def test_a_rotor_range_that_is_too_narrow_is_doubted(matdb_says, logs):
    craft, _, _ = logs
    told = matdb_says("flight", "read", craft, "--rotor", "5200rpm..5400rpm")
    assert (told.code, told.out) == (2, "")
    assert "--rotor is too narrow" in told.err or "check --rotor" in told.err
    assert "narrower" not in told.err


def test_parts_lag_behind_the_air_and_another_part_is_judged(matdb_says, logs, pod, store):
    craft, camera, _ = logs
    with matdb.open_store(store) as kept:
        kept.add(matdb.Part(name="tall pad", material="gel", form=matdb.Ring(outer_mm=12, inner_mm=5, height_mm=16)))
    words = ("--mounting", "flown", "--part", "gel pad", "--temp", "-5C", "--car", "21C", "--instead", "tall pad")
    told = matdb_says("flight", "read", craft, "--camera", camera, *words, "--log", "--json")
    assert told.code == 0, told.err
    said = json.loads(told.out)
    # A rubber ring of 8 mm keeps part of its warmth over the first minute, and not all of it.
    assert 0.0 < said["temperature_c"] < 19.0
    (other,) = said["instead"]
    assert other["part"] == "tall pad"
    shaken = other["shake"]["horizontal_rms_px"]["median"]
    # Manoeuvres shake most, and stabilising afterwards takes them out of the other part's picture too.
    steadied = matdb_says("flight", "read", craft, *words, "--stabilised", "2Hz", "--json")
    (less,) = json.loads(steadied.out)["instead"]
    assert 0.0 < less["shake"]["horizontal_rms_px"]["median"] < 0.5 * shaken
    assert any(line.startswith("On tall pad instead: ") for line in said["answer"]["lines"])
    with matdb.open_store(store) as kept:
        reading = kept.records.reading(said["readings"][0]).reading
    assert reading.temperature_c == pytest.approx(said["temperature_c"])
    assert reading.thermometer_sd_k >= 0.5


def test_what_the_log_leaves_open_the_mounting_tells(matdb_says, store, tmp_path):
    """At 200 readings a second 82 turns look like 118; a mounting whose rotors turn 55 to 99 times tells them apart."""
    low = fly(
        np.random.default_rng(7), seconds=60, rate_hz=200.0, camera_rate_hz=200.0, mount=MOUNT, hover_hz=82.0, blades=2
    )
    head = "time (s),gyro_x (rad/s),gyro_y (rad/s),gyro_z (rad/s)"
    np.savetxt(tmp_path / "low.csv", np.column_stack([low.time_s, low.rate]), delimiter=",", header=head, comments="")
    with matdb.open_store(store) as kept:
        kept.add(matdb.Mounting(name="slow", mass_kg=0.62, count=4, rpm_idle=3300, rpm_full=5940))
    alone = matdb_says("flight", "read", tmp_path / "low.csv")
    assert (alone.code, alone.out) == (2, "")
    assert "give --rotor" in alone.err
    told = matdb_says("flight", "read", tmp_path / "low.csv", "--mounting", "slow", "--json")
    assert told.code == 0, told.err
    said = json.loads(told.out)
    assert said["rotor"]["hover_hz"] == pytest.approx(low.truth.hover_hz, rel=0.03)
    assert "within that of the mounting, 3300 to 5940 rpm" in " ".join(said["warnings"])


def test_what_does_not_go_together(matdb_says, logs, pod):
    craft, camera, _ = logs
    for words, says in {
        ("--log", *pod): "--camera",
        ("--keep",): "--mounting",
        ("--instead", "gel pad"): "--mounting",
        ("--mounting", "flown", "--car", "21C"): "--part",
        ("--camera", camera, "--mounting", "flown", "--log"): "--part",
        ("--camera", camera, "--mounting", "flown", "--part", "gel pad"): "--temp",
    }.items():
        told = matdb_says("flight", "read", craft, *words)
        assert (told.code, told.out) == (2, ""), words
        assert says in told.err


def test_a_log_of_another_flight_is_refused(matdb_says, logs, tmp_path):
    craft, camera, _ = logs
    rows = camera.read_text(encoding="utf-8").splitlines()
    turned = np.loadtxt(rows[1:], delimiter=",")
    turned[:, 1:] = turned[::-1, 1:]
    other = tmp_path / "other.csv"
    np.savetxt(other, turned, delimiter=",", header=rows[0], comments="")
    told = matdb_says("flight", "read", craft, "--camera", other)
    assert told.code == 2
    assert "one flight, two gyros" in told.err


def ringing(file, hz):
    t = np.arange(0.0, 6.0, 0.002)
    x = sum(
        np.where(t > s, np.exp(-0.1 * 2 * np.pi * hz * (t - s)) * np.sin(2 * np.pi * hz * (t - s)), 0)
        for s in (0.5, 3.0)
    )
    x = x + 0.002 * np.random.default_rng(0).standard_normal(t.size)
    np.savetxt(file, np.column_stack([t, x]), delimiter=",", header="time (s),z (m/s2)", comments="")
    return file


def test_a_tap_rings_as_foretold_or_not(matdb_says, pod, store, tmp_path):
    flown = matdb.Mounting(
        name="flown", mass_kg=0.62, count=4, rpm_idle=3000, rpm_full=9000, spread_mm=(80, 60), box_mm=(110, 80, 60)
    )
    with matdb.open_store(store) as kept:
        bare, laden = (kept.modes(each, "gel pad", 20.0) for each in (flown, with_phone(flown)))
    bounce, with_it = (each.modes[each.motions.index("bounce")].natural_frequency_hz.median for each in (bare, laden))
    right = matdb_says("flight", "tap", ringing(tmp_path / "a.csv", with_it), *pod)
    # No word that might be read as a permission: whether the mount suits is another question.
    assert right.out.startswith("Partly told: bounce is as foretold"), right.out + right.err
    assert "'matdb suit' says" in right.out
    assert "Foretold for 620 g with 200 g on top" in right.out
    assert f"{with_it:.3g} Hz, foretold" in right.out
    alone = matdb_says("flight", "tap", ringing(tmp_path / "c.csv", bounce), *pod, "--phone", "0g", "--json")
    row = json.loads(alone.out)["modes"][0]
    assert (row["what"], row["verdict"]) == ("bounce", "as expected")
    assert row["foretold_hz"]["median"] == pytest.approx(bounce)
    wrong = matdb_says("flight", "tap", ringing(tmp_path / "b.csv", 0.6 * with_it), *pod)
    assert wrong.out.startswith("Not as foretold: bounce: softer than foretold by 6"), wrong.out + wrong.err
