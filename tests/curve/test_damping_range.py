"""Where damping was read, where not, and that the answer says so."""

import dataclasses
import math

import numpy as np
import pytest
import virtual

from matdb.advice.effective import effective
from matdb.curve.curve import DAMPING_UNREAD, Curve
from matdb.curve.fit import fit_curve
from matdb.exchange.tables import curve_warnings
from matdb.material.record import Material

MATERIAL = Material(name="virtual", family="unknown")
PARTS = {"virtual": virtual.PART}


@pytest.fixture(scope="module")
def readings():
    return virtual.readings(virtual.specimen(3), virtual.DESIGNS[2], np.random.default_rng(3))


@pytest.fixture(scope="module")
def curve(readings):
    return fit_curve(MATERIAL, PARTS, readings)


@pytest.mark.slow
def test_deflections_widen_the_range_of_stiffness_but_not_that_of_damping(curve):
    low, high = curve.measured_ln_hz
    assert curve.measured_loss_ln_hz[0] == curve.measured_loss_ln_hz[1] == pytest.approx(math.log(30.0), abs=0.2)
    assert low < math.log(0.02) < math.log(30.0) <= high + 0.2


def test_damping_far_from_its_only_reading_is_said_to_lean_on_the_prior(curve):
    slow, usual = np.array([1.0 / (2.0 * math.pi * virtual.STATIC_S)]), np.array([30.0])
    warm = np.array([36.0])
    assert DAMPING_UNREAD in curve.range_notes(warm, slow)
    assert DAMPING_UNREAD not in curve.range_notes(np.array([23.0]), usual)
    assert DAMPING_UNREAD in curve_warnings(curve, warm, slow)
    assert DAMPING_UNREAD not in curve_warnings(curve, np.array([23.0]), usual)
    found = effective(curve, MATERIAL, virtual.PART, 36.0, frequency_hz=float(slow[0]))
    assert DAMPING_UNREAD in found.warnings


def test_its_band_is_wider_than_if_damping_had_been_read_there(curve):
    meta, arrays = curve.to_meta_and_arrays()
    read = Curve.from_meta_and_arrays("virtual", {**meta, "measured_loss_ln_hz": meta["measured_ln_hz"]}, arrays)
    ours, theirs = (c.modulus(36.0, 0.016).loss_factor for c in (curve, read))
    assert ours.high / ours.low > 1.1 * theirs.high / theirs.low


def test_a_fit_stored_before_damping_had_a_range_takes_that_of_the_stiffness(curve):
    meta, arrays = curve.to_meta_and_arrays()
    del meta["measured_loss_ln_hz"]
    old = Curve.from_meta_and_arrays("virtual", meta, arrays)
    assert old.measured_loss_ln_hz == old.measured_ln_hz


@pytest.mark.slow
def test_deflections_alone_tell_nothing_of_damping_and_the_fit_says_so(readings):
    curve = fit_curve(MATERIAL, PARTS, readings[:-1])
    assert curve.measured_loss_ln_hz is None
    assert any("no reading tells of damping" in warning for warning in curve.report["warnings"])


@pytest.mark.slow
def test_a_reading_that_does_not_fit_is_named_by_its_number(readings):
    wrong = dataclasses.replace(readings[2], mass_kg=10.0 * readings[2].mass_kg)
    given = [*readings[:2], wrong, *readings[3:]]
    curve = fit_curve(MATERIAL, PARTS, given, numbers=range(41, 41 + len(given)))
    (said,) = [text for text in curve.report["warnings"] if "does not fit" in text]
    assert said.startswith("reading 43, the deflection of virtual at 8 degC, does not fit the others")
