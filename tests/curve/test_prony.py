"""The exported series: non-negative, within 1 % of the median curve, and usable with its shift table."""

import json

import numpy as np
import pytest
import virtual

from matdb.curve.fit import fit_curve, prior_curve
from matdb.curve.prony import prony_series
from matdb.errors import FitError
from matdb.material.modulus import maxwell_modulus
from matdb.material.record import Material

MATERIAL = Material(name="virtual", family="unknown")


@pytest.fixture(scope="module", params=["prior", "one", "three"])
def curve(request):
    if request.param == "prior":
        return prior_curve(MATERIAL)
    readings = virtual.readings(virtual.specimen(1), virtual.DESIGNS[0], np.random.default_rng(1))
    return fit_curve(MATERIAL, {"virtual": virtual.PART}, readings[1:2] if request.param == "one" else readings)


@pytest.mark.slow
def test_the_series_meets_the_median_curve_to_one_per_cent(curve):
    series = prony_series(curve)
    assert (series.moduli_mpa > 0.0).all()
    assert series.equilibrium_mpa >= 0.0
    assert (np.diff(series.times_s) > 0.0).all()
    # Checked between the points that it was fitted at.
    f = np.exp(np.linspace(*np.log(series.range_hz), 777))
    got = maxwell_modulus(2j * np.pi * f, series.equilibrium_mpa, series.moduli_mpa, series.times_s)
    value = np.exp(curve.ln_modulus(np.full(f.shape, 23.0), np.log(2.0 * np.pi * f), misfit=False))
    if curve.basis == "readings":
        assert series.target == "median curve"
        assert got.real == pytest.approx(np.median(value.real, axis=0), rel=0.011)
        assert got.imag == pytest.approx(np.median(value.imag, axis=0), rel=0.011)
    else:
        # The nearest draw must not be far from the medians either.
        assert np.log(got.real) == pytest.approx(np.log(np.median(value.real, axis=0)), abs=0.7)
    assert max(series.storage_error, series.loss_error) <= 0.01


def test_the_range_covers_the_readings_and_terms_are_few(curve):
    series = prony_series(curve)
    if curve.measured_ln_hz is not None:
        assert np.log(series.range_hz[0]) <= curve.measured_ln_hz[0] + 1e-9
        assert np.log(series.range_hz[1]) >= curve.measured_ln_hz[1] - 1e-9
    decades = np.log10(series.range_hz[1] / series.range_hz[0])
    assert series.moduli_mpa.size <= 4.0 * (decades + 4.0)
    assert series.extrapolated == (curve.measured_c is None)


@pytest.mark.slow
def test_with_its_shift_table_it_follows_the_curve_over_temperature():
    # Within the bands rather than to 1 %: a median of products is not the product of medians.
    readings = virtual.readings(virtual.specimen(1), virtual.DESIGNS[1], np.random.default_rng(1))
    curve = fit_curve(MATERIAL, {"virtual": virtual.PART}, readings)
    series = prony_series(curve)
    t = np.array([-15.0, 5.0, 23.0, 45.0])
    want = curve.modulus(t, 30.0)
    got = series.modulus(t, 30.0)
    assert (got.real > want.storage_mpa.low).all()
    assert (got.real < want.storage_mpa.high).all()


def test_plain_values_go_to_json(curve):
    plain = json.loads(json.dumps(prony_series(curve).to_dict()))
    assert set(np.diff(plain["shift_c"])) == {5.0}
    shifts = dict(zip(plain["shift_c"], plain["ln_shift"], strict=True))
    assert shifts[20.0] > 0.0 > shifts[25.0]
    assert curve.median_ln_shift(np.array([23.0])) == pytest.approx(0.0)


def test_an_impossible_goal_is_refused_with_the_best_found(curve):
    with pytest.raises(FitError, match="best"):
        prony_series(curve, goal=1e-12)
