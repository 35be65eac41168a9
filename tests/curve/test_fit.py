"""The fit: what it must not depend on, what it must say, and how right its bands are."""

import dataclasses
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import virtual

from matdb.bench.readings import Deflection, HardnessReading, ModulusPoint, Resonance, RingDown
from matdb.curve.fit import fit_curve, prior_curve
from matdb.curve.gathering import gather
from matdb.errors import FitError
from matdb.form import Pad, Part, Ring
from matdb.material.record import Material

MATERIAL = Material(name="virtual", family="unknown")
STATES = (np.array([-20.0, 0.0, 23.0, 45.0]), 30.0)


def three(seed=0, **more):
    return virtual.readings(virtual.specimen(seed), virtual.DESIGNS[0], np.random.default_rng(seed), **more)


def draws_of_three():
    return fit_curve(MATERIAL, {"virtual": virtual.PART}, three()).parameters.ravel()


def test_the_report_tells_the_noise_of_stiffness_and_of_loss():
    quiet = dataclasses.replace(three()[0], log_decrement=None)
    told = [
        fit_curve(MATERIAL, {"virtual": virtual.PART}, taken).report["noise_factors"] for taken in (three(), [quiet])
    ]
    assert [list(each) for each in told] == [["bench stiffness", "bench loss"], ["bench stiffness"]]


def test_ring_down_is_predicted_by_the_characteristic_equation():
    # The prediction for a known draw must solve m s^2 + B E(s) = 0, checked by fixed-point iteration to the end.
    curve = prior_curve(MATERIAL)
    readings = [RingDown(part="virtual", temperature_c=5.0, mass_kg=0.2, frequency_hz=140.0, log_decrement=0.9)]
    evidence = gather(readings, {"virtual": virtual.PART})
    from oracles.fractional import ln_fractional_modulus

    stiff, loss, _, _ = evidence.predict(curve.parameters, np.zeros((len(curve.parameters), 1)))
    from matdb.curve.parameters import ln_time

    near = 0
    for k in range(0, len(curve.parameters), 7):
        d = curve.parameters[k]
        tau = float(np.exp(ln_time(curve.parameters[[k]], np.array([278.15]))[0, 0]))
        s, w = 900j, virtual.UNIT * 1e3 / 0.2 * (278.15 / 296.15) ** d[4]
        for _ in range(300):
            ln_e, _ = ln_fractional_modulus(np.array(np.log(s * tau)), *d[:4])
            # The eleventh column: plateau loss, a power law around 30 Hz that no temperature moves.
            s = 1j * np.sqrt(w * complex(np.exp(ln_e)) * (s / (60.0 * np.pi)) ** d[11])
        f, decrement = s.imag / (2 * np.pi), -2 * np.pi * s.real / s.imag
        if 50.0 < f < 400.0:
            near += 1
            assert np.exp(stiff[k, 0]) == pytest.approx(f, rel=2e-3)
            assert np.exp(loss[k, 0]) == pytest.approx(decrement, rel=1e-2)
    assert near > 10


@pytest.mark.slow
def test_order_of_readings_and_names_of_parts_change_nothing():
    rng = np.random.default_rng(5)
    truth = virtual.specimen(4)
    pad = Part(name="pad", material="virtual", form=Pad(diameter_mm=12, height_mm=8))
    readings = virtual.readings(truth, virtual.DESIGNS[0], rng)
    readings += [dataclasses.replace(r, part="pad", mass_kg=r.mass_kg / 4) for r in readings[:2]]
    readings.append(HardnessReading(material="virtual", temperature_c=23.0, value="45 A"))
    here = fit_curve(MATERIAL, {"virtual": virtual.PART, "pad": pad}, readings).modulus(*STATES)

    renamed = [
        dataclasses.replace(r, part={"virtual": "zz", "pad": "aa"}[r.part]) if hasattr(r, "part") else r
        for r in readings
    ]
    parts = {"zz": dataclasses.replace(virtual.PART, name="zz"), "aa": dataclasses.replace(pad, name="aa")}
    there = fit_curve(MATERIAL, parts, renamed[::-1]).modulus(*STATES)
    for name in ("median", "low", "high"):
        assert getattr(here.storage_mpa, name) == pytest.approx(getattr(there.storage_mpa, name), rel=1e-6)
        assert getattr(here.loss_factor, name) == pytest.approx(getattr(there.loss_factor, name), rel=1e-6)


@pytest.mark.slow
def test_seeds_agree_within_monte_carlo_error():
    readings = three(2)
    curves = [fit_curve(MATERIAL, {"virtual": virtual.PART}, readings, seed=s).modulus(*STATES) for s in range(4)]
    medians = np.array([np.log(c.storage_mpa.median) for c in curves])
    widths = np.array([np.log(c.storage_mpa.high / c.storage_mpa.low) for c in curves])
    # A median of some 200 effective draws wanders by a twelfth of a standard deviation or so.
    assert np.all(medians.std(axis=0) < 0.06 * widths.mean(axis=0))


@pytest.mark.slow
def test_a_fumbled_reading_is_named_and_hardly_moves_the_answer():
    truth = virtual.specimen(0)
    readings = virtual.readings(truth, virtual.DESIGNS[1], np.random.default_rng(0))
    clean = fit_curve(MATERIAL, {"virtual": virtual.PART}, readings)
    assert not any(row["fumbled"] for row in clean.report["readings"])
    bad = [dataclasses.replace(readings[3], mass_kg=readings[3].mass_kg * 2.5), *readings[:3], *readings[4:]]
    curve = fit_curve(MATERIAL, {"virtual": virtual.PART}, bad)
    assert [row["index"] for row in curve.report["readings"] if row["fumbled"]] == [0]
    assert any("does not fit the others" in text for text in curve.report["warnings"])
    moved = curve.modulus(*STATES).storage_mpa.median / clean.modulus(*STATES).storage_mpa.median
    assert moved == pytest.approx(np.ones(4), abs=0.08)


@pytest.mark.slow
def test_readings_on_a_part_overrule_its_geometry():
    # Twice as soft as drawn, read three times: the part's own offset takes it, not the curve of the laboratory.
    truth = virtual.specimen(7)
    lab = [
        ModulusPoint(
            material="virtual", temperature_c=t, frequency_hz=f, storage_mpa=e.real, loss_factor=e.imag / e.real
        )
        for t in (-18.0, 0.0, 23.0, 50.0)
        for f in (5.0, 30.0)
        for e in [complex(truth.at(f, t))]
    ]
    soft = [
        dataclasses.replace(r, mass_kg=r.mass_kg / 2.0)
        for r in virtual.readings(truth, virtual.DESIGNS[0], np.random.default_rng(1))
    ]
    curve = fit_curve(MATERIAL, {"virtual": virtual.PART}, lab + soft)
    offset = float(np.exp(np.median(curve.offsets["virtual"])))
    assert offset == pytest.approx(0.5, rel=0.12)
    assert not any(row["fumbled"] for row in curve.report["readings"])


def test_hardness_alone_says_so():
    curve = fit_curve(MATERIAL, {}, [HardnessReading(material="virtual", temperature_c=23.0, value="40 A")])
    assert any("only hardness" in text for text in curve.report["warnings"])
    got = curve.modulus(23.0, 0.1).storage_mpa
    assert got.low < 1.69 < got.high
    assert got.high / got.low > 1.5


@pytest.mark.slow
def test_every_kind_of_reading_counts():
    truth = virtual.specimen(3)
    e = complex(truth.at(20.0, 10.0))
    mass = virtual.UNIT * e.real * 1e3 / (2 * np.pi * 20.0) ** 2
    k = virtual.UNIT * float(truth.modulus(1j / 10.0, 10.0).real)
    for reading in (
        Resonance(
            part="virtual",
            temperature_c=10.0,
            mass_kg=mass,
            frequency_hz=20.0,
            half_power_width_hz=20.0 * e.imag / e.real,
        ),
        Deflection(part="virtual", temperature_c=10.0, mass_kg=1.0, deflection_mm=9.80665 / k),
        ModulusPoint(
            material="virtual", temperature_c=10.0, frequency_hz=20.0, storage_mpa=e.real, loss_factor=e.imag / e.real
        ),
        RingDown(part="virtual", temperature_c=10.0, mass_kg=mass, frequency_hz=20.0),
    ):
        curve = fit_curve(MATERIAL, {"virtual": virtual.PART}, [reading])
        got = curve.modulus(10.0, 20.0 if not isinstance(reading, Deflection) else 1.0 / (20.0 * np.pi)).storage_mpa
        want = e.real if not isinstance(reading, Deflection) else k / virtual.UNIT
        assert got.median == pytest.approx(want, rel=0.15), reading.kind
        before = prior_curve(MATERIAL).modulus(10.0, 20.0).storage_mpa
        assert np.log(got.high / got.low) < 0.3 * np.log(before.high / before.low), reading.kind


def test_no_reading_is_refused_with_the_command_that_cures_it():
    with pytest.raises(FitError, match="matdb reading add"):
        fit_curve(MATERIAL, {}, [])


@pytest.mark.slow
def test_progress_runs_from_nought_to_one():
    seen = []
    fit_curve(MATERIAL, {"virtual": virtual.PART}, three(1), progress=seen.append)
    assert seen == sorted(seen)
    assert seen[-1] == pytest.approx(1.0)


@pytest.mark.slow
def test_bands_are_calibrated_on_specimens_outside_the_family():
    # A small version of tests/benchmarks/calibration.py.
    inside = np.array([-12.0, 0.0, 12.0, 35.0])
    errors, covered, loss_covered, widths = [], [], [], []
    for seed in range(100, 118):
        truth = virtual.specimen(seed)
        got = fit_curve(MATERIAL, {"virtual": virtual.PART}, three(seed)).modulus(inside, 30.0)
        want = truth.at(30.0 * np.ones(4), inside)
        errors.append(got.storage_mpa.median / want.real - 1.0)
        covered.append((got.storage_mpa.low <= want.real) & (want.real <= got.storage_mpa.high))
        loss = want.imag / want.real
        loss_covered.append((got.loss_factor.low <= loss) & (loss <= got.loss_factor.high))
        widths.append(got.storage_mpa.high / got.storage_mpa.low)
    assert np.median(np.abs(errors)) <= 0.06
    assert np.mean(covered) >= 0.90
    assert np.mean(loss_covered) >= 0.85
    assert np.median(widths) <= 1.45


@pytest.mark.slow
def test_a_reading_that_does_not_fit_widens_no_measured_range():
    truth = virtual.specimen(0)
    readings = virtual.readings(truth, virtual.DESIGNS[1], np.random.default_rng(0))
    slip = RingDown(
        part="virtual", temperature_c=-21.0, mass_kg=readings[0].mass_kg * 12.0, frequency_hz=readings[0].frequency_hz
    )
    curve = fit_curve(MATERIAL, {"virtual": virtual.PART}, [*readings, slip])
    assert curve.report["readings"][-1]["fumbled"]
    assert curve.measured_c == (-18.0, 50.0)
    assert curve.modulus(-21.0, 30.0).extrapolated is True


def test_the_modulus_is_a_passive_spring_however_far_out():
    curve = fit_curve(MATERIAL, {"virtual": virtual.PART}, three(5)[:1])
    got = curve.modulus(np.linspace(-120.0, 200.0, 65)[:, None], np.array([1e-4, 1.0, 1e5]))
    assert np.all(got.storage_mpa.low > 0.0)
    assert np.all(got.loss_factor.low > 0.0)
    assert np.all(np.isfinite(got.loss_factor.high))


@pytest.mark.slow
def test_another_processor_finds_the_same_draws():
    """Its vector instructions change last digits, which must decide nothing: a fit is its readings' and its seed's."""
    from numpy._core._multiarray_umath import __cpu_dispatch__, __cpu_features__

    fewer = [name for name in __cpu_dispatch__ if __cpu_features__.get(name)]
    if not fewer:
        pytest.skip("this processor has no instructions that NumPy could do without")
    code = "import test_fit as t; print(*t.draws_of_three())"
    places = (Path(__file__).parent, Path(__file__).parents[1], Path(__file__).parents[2])
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(map(str, places))}
    env["NPY_DISABLE_CPU_FEATURES"] = " ".join(fewer)
    found = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True, check=True).stdout
    assert np.array(found.split(), dtype=float) == pytest.approx(draws_of_three(), rel=1e-9, abs=1e-12)


@pytest.mark.slow
def test_a_wrong_mode_read_finely_hardly_widens_what_the_others_say():
    material = Material(name="gel", family="silicone gel", hardness="30 OO")
    parts = {"ring": Part(name="ring", material="gel", form=Ring(16, 5, 8))}

    def ring_down(t, f, decrement, **more):
        held = {"mass_kg": 0.41, "count": 4}
        return RingDown(part="ring", temperature_c=t, frequency_hz=f, log_decrement=decrement, **held, **more)

    good = [ring_down(t, f, d) for t, f, d in ((21, 27, 0.6), (-18, 30, 0.9), (45, 26.3, 0.5), (12, 26.9, 0.6))]
    wrong = ring_down(12, 11.5, 0.25, frequency_sd_hz=0.05)
    alone, beside = (fit_curve(material, parts, read).modulus(12.0, 27.0) for read in (good, [*good, wrong]))
    for name, factor in (("storage_mpa", 1.1), ("loss_factor", 1.6)):
        plain, wide = (getattr(each, name) for each in (alone, beside))
        assert wide.high / wide.low < factor * plain.high / plain.low
        assert wide.median == pytest.approx(plain.median, rel=0.08)
    assert fit_curve(material, parts, [*good, wrong]).report["readings"][-1]["fumbled"]


@pytest.mark.slow
def test_a_session_whose_thermometer_is_told_in_two_ways_is_told_of():
    def read(sd, session="shop"):
        return RingDown(
            part="virtual", temperature_c=20.0, frequency_hz=30.0, mass_kg=0.2, session=session, thermometer_sd_k=sd
        )

    def told(*readings):
        report = fit_curve(MATERIAL, {"virtual": virtual.PART}, list(readings)).report
        return [text for text in report["warnings"] if "thermometer" in text]

    (said,) = told(read(1.0), read(3.0))
    assert said == "the thermometer of session 'shop' was told to be off by 1 K and 3 K: the largest counts for all"
    assert told(read(1.0), read(3.0, "oven")) == []
