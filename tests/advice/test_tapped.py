"""Which mode rang when the mount was tapped: named on random mounts whose truth is off what was foretold."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

import matdb
from matdb.advice.camera import Mode, SixAxes
from matdb.advice.tapped import OTHER, SILENT, UNTOLD, tapped
from matdb.bench.trace.record import Trace, TraceMode
from matdb.curve.band import Band
from matdb.mounting.phone import sensor_places, with_phone
from matdb.mounting.six_axis import modes, suspension

PLAIN = matdb.Mounting(
    name="m", mass_kg=0.41, count=4, rpm_idle=6000, rpm_full=9000, spread_mm=(80, 60), box_mm=(90, 70, 70)
)


def foretold(mounting, axial, across):
    unit = modes(suspension(mounting), axial, across)
    told = tuple(
        Mode(
            word=w, natural_frequency_hz=Band(f, 0.96 * f, 1.04 * f), damping_ratio=Band(0.1, 0.08, 0.12), probability=1
        )
        for f, w in zip(unit.frequency_hz, unit.words, strict=True)
    )
    more = {"follows": 1.0, "isolates": 1.0, "inside": 1.0, "basis": "", "warnings": (), "turned": np.zeros((3, 6))}
    about = {"package": "main", "temperature_c": 20.0, "squeeze_mm": 0.0, "window_hz": (5.0, 30.0)}
    return unit, SixAxes(modes=told, shapes=unit.shapes, motions=unit.motions, **about, **more)


def record(rang, names=("x (m/s2)", "y (m/s2)", "z (m/s2)"), rest=(0.0, 0.0, 9.81)):
    """A fit with these modes: frequency, acceleration along each signal."""
    power = [np.sum(np.square(a)) for _, a in rang]
    told = [
        TraceMode(hz, 0.02, 0.6, 0.01, np.atleast_2d(np.abs(a)), p / sum(power))
        for (hz, a), p in zip(rang, power, strict=True)
    ]
    signal = np.zeros((40, len(names))) + np.array(rest)
    return SimpleNamespace(modes=told, trace=Trace(np.arange(40) / 400.0, signal, names))


@pytest.fixture(scope="module")
def gimbal():
    unit, six = foretold(PLAIN, 3.0, 0.55)
    hz = dict(zip(six.motions, unit.frequency_hz, strict=True))

    def says(*rang, **how):
        return {row.what: row.verdict for row in tapped(record(rang, **how), six, sensor_places(PLAIN, 0.0))}

    return says, hz


def test_a_sideways_tap_is_no_rocking_that_went_soft(gimbal):
    says, hz = gimbal
    told = says((hz["bounce"], (0, 0, 4)), (hz["sway"], (2, 0, 0)))
    assert told["bounce"] == told["surge or sway"] == "as expected"
    assert told["roll rocking"] == told["pitch rocking"] == f"{SILENT} off its middle"


def test_what_bounces_is_the_bounce_a_third_off_too(gimbal):
    says, hz = gimbal
    # Pitch rings where the bounce was foretold, and does not move along the vertical alone.
    told = says((0.8 * hz["bounce"], (0, 0, 4)), (hz["bounce"], (1.6, 0, 2)))
    assert told["bounce"].startswith("softer than foretold by 36 %")
    assert "as expected" not in told.values()


def test_all_soft_alike_is_told_of_each(gimbal):
    says, hz = gimbal
    told = says(
        (0.85 * hz["bounce"], (0, 0, 4)), (0.85 * hz["roll rocking"], (0, 2, 2)), (0.85 * hz["sway"], (1, 1, 0))
    )
    assert told["roll rocking"].startswith("softer than foretold by 28 %")
    assert told["surge or sway"].startswith("softer than foretold by 28 %")


def test_what_cannot_be_told_has_no_verdict(gimbal):
    says, hz = gimbal
    between = np.sqrt(hz["roll rocking"] * hz["pitch rocking"])
    told = says((hz["bounce"], (0, 0, 4)), (between, (1, 0, 1)))
    assert told["roll rocking or pitch rocking"] == UNTOLD
    far = says((hz["bounce"], (0, 0, 4)), (3.5 * hz["bounce"], (1, 0, 2)))
    assert far["another mode"] == OTHER


def test_gravity_tells_the_vertical_before_the_names_do(gimbal):
    says, hz = gimbal
    rang = (hz["bounce"], (4, 0, 0)), (hz["sway"], (0, 2, 0))
    assert says(*rang, rest=(9.81, 0, 0))["bounce"] == "as expected"
    # In units of weight, and on signals without gravity by their names.
    assert says(*rang, rest=(-1.0, 0, 0))["bounce"] == "as expected"
    named = says(*rang, names=("az", "ay", "ax"), rest=(0, 0, 0))
    assert (named["bounce"], named["surge or sway"]) == ("as expected", "as expected")
    assert says(*rang, rest=(0, 0, 9.81))["bounce"] == f"{SILENT} from above"


def struck(seed):
    """Modes of a random mount, off what was foretold and struck at random: frequency and motion; and what is told."""
    rng = np.random.default_rng(seed)
    mass, box = rng.uniform(0.2, 1.2), rng.uniform(50, 120, 3)
    spread, up = rng.uniform(40, 100, 2), rng.uniform(-5, 30)
    how = {"name": "m", "count": 4, "rpm_idle": 6000, "rpm_full": 9000, "spread_mm": tuple(spread)}
    nominal = matdb.Mounting(mass_kg=mass, box_mm=tuple(box), centre_mm=(0, 0, up), **how)
    phone = float(rng.choice([0.0, 0.2, 0.2]))
    axial, ratio = mass * (2 * np.pi * rng.uniform(10, 35)) ** 2 / 4e3, rng.uniform(0.4, 1.0)
    _, six = foretold(with_phone(nominal, phone), axial, axial * ratio)
    soft = np.exp(rng.normal(0, 0.25))
    as_is = replace(nominal, mass_kg=mass * rng.uniform(0.97, 1.03), box_mm=tuple(box * rng.uniform(0.93, 1.07, 3)))
    as_is = replace(as_is, centre_mm=tuple(np.array([0, 0, up]) + rng.normal(0, 1.5, 3)))
    true, _ = foretold(with_phone(as_is, phone), axial * soft, axial * soft * ratio * rng.uniform(0.9, 1.1))
    top = sensor_places(nominal, phone)[4]
    sensor, at = (top + np.append(rng.uniform(-1, 1, 2) * reach, 0.0) for reach in ((60, 25), 0.4 * box[:2]))
    hit = np.append(rng.uniform(-0.4, 0.4, 2), -1.0)
    moved = true.shapes * (true.shapes.T @ np.concatenate([hit, np.cross(at, hit)])) * true.frequency_hz
    felt = (moved[:3].T + np.cross(moved[3:].T, sensor)) @ (np.eye(3) + 0.06 * rng.normal(size=(3, 3)))
    energy = (felt**2).sum(axis=1) / true.frequency_hz
    rings = []
    for j in np.argsort(-energy):
        apart = np.abs(np.log(true.frequency_hz[j] / true.frequency_hz[rings])) if rings else np.array([1.0])
        if energy[j] > 0.01 * energy.max() and apart.min() > 0.06:
            rings.append(int(j))
    rings = rings[:3]
    # Modes nearer than a fit parts are one peak.
    what = [
        {true.motions[i] for i in range(6) if abs(np.log(true.frequency_hz[i] / true.frequency_hz[j])) < 0.06}
        for j in rings
    ]
    rows = tapped(record([(true.frequency_hz[j], felt[j]) for j in rings]), six, sensor_places(nominal, phone))
    return [(true.frequency_hz[j], each) for j, each in zip(rings, what, strict=True)], rows


def test_named_wrongly_is_one_in_thirty_at_most():
    right, wrong = 0, []
    for seed in range(150):
        true, rows = struck(seed)
        named = {row.natural_frequency_hz.median: row for row in rows if row.natural_frequency_hz is not None}
        for hz, what in true:
            row = named[hz]
            if row.foretold_hz is None or " or " in row.what:
                continue
            right += row.what in what
            wrong += [] if row.what in what else [(seed, row.what, what)]
        firm = [row.what for row in named.values() if row.foretold_hz is not None and " or " not in row.what]
        assert len(set(firm)) == len(firm)
    assert right > 200
    assert len(wrong) <= right / 30, wrong


def test_one_signal_without_a_word_is_a_tap_from_above(gimbal):
    says, hz = gimbal
    assert says((0.8 * hz["bounce"], (4,)), names=("signal",), rest=(0,))["bounce"].startswith("softer")
    sideways = says((hz["sway"], (4,)), names=("ax",), rest=(0,))
    assert sideways["bounce"] == f"{SILENT} from above"
    assert "as expected" not in sideways.values()
