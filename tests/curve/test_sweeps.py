"""Long sweeps and many repeats: averaged in cells without losing what they say."""

import dataclasses

import numpy as np
import pytest
import virtual

from matdb.bench.readings import ModulusPoint, RingDown
from matdb.curve.averaging import average, split
from matdb.curve.fit import fit_curve
from matdb.curve.gathering import _MOST_ALONE, MOST_ROWS, gather
from matdb.material.record import Material

MATERIAL = Material(name="virtual", family="unknown")


def sweep(truth, temperatures, frequencies, *, noise=0.02, loss_noise=0.05, seed=0):
    """Rows of a temperature and frequency sweep; temperatures wander by some tenths of a kelvin."""
    rng = np.random.default_rng(seed)
    t = np.repeat(temperatures, len(frequencies)) + 0.2 * rng.standard_normal(len(temperatures) * len(frequencies))
    f = np.tile(frequencies, len(temperatures))
    e = truth.at(f, t)
    storage = e.real * np.exp(noise * rng.standard_normal(t.size))
    loss = e.imag / e.real * np.exp(loss_noise * rng.standard_normal(t.size))
    return [
        ModulusPoint(material="virtual", temperature_c=a, frequency_hz=b, storage_mpa=c, loss_factor=d)
        for a, b, c, d in zip(t.tolist(), f.tolist(), storage.tolist(), loss.tolist(), strict=True)
    ]


def same(left, right):
    for field in dataclasses.fields(left):
        a, b = getattr(left, field.name), getattr(right, field.name)
        if isinstance(a, np.ndarray) and a.dtype.kind in "fc":
            assert np.allclose(a, b, rtol=1e-12, atol=1e-12, equal_nan=True), field.name
        elif isinstance(a, np.ndarray):
            assert np.array_equal(a, b), field.name


def test_few_readings_are_left_alone():
    rows = sweep(virtual.specimen(0), [-20.0, 20.0], np.geomspace(0.1, 100.0, MOST_ROWS // 2))
    assert gather(rows, {}).size == len(rows)


def test_averages_lie_on_the_curve_they_came_from():
    truth = virtual.specimen(3)
    rows = sweep(truth, np.linspace(-40.0, 60.0, 21), np.geomspace(0.1, 100.0, 100), noise=1e-6, loss_noise=1e-6)
    got = gather(rows, {})
    assert got.size <= MOST_ROWS + _MOST_ALONE
    want = truth.at(np.exp(got.ln_s.real) / (2.0 * np.pi), got.temperature_k - 273.15)
    # What is left is the curvature of the curve within a cell.
    assert np.abs(got.stiff - np.log(want.real)).max() < 0.03
    assert np.abs(got.loss - np.log(want.imag / want.real)).max() < 0.06


def test_every_reading_belongs_to_exactly_one_row():
    rows = sweep(virtual.specimen(1), np.linspace(-30.0, 50.0, 9), np.geomspace(0.1, 100.0, 60), noise=0.05)
    got = gather(rows, {})
    assert sorted(i for indices in got.rows_of for i in indices) == list(range(len(rows)))


def test_order_of_readings_and_names_change_nothing():
    truth = virtual.specimen(2)
    rows = sweep(truth, np.linspace(-30.0, 50.0, 9), np.geomspace(0.1, 100.0, 40))
    rows += virtual.readings(truth, virtual.DESIGNS[1], np.random.default_rng(0))
    shuffled = [rows[k] for k in np.random.default_rng(1).permutation(len(rows))]
    renamed = [dataclasses.replace(r, part="a") if hasattr(r, "part") else r for r in shuffled]
    here = gather(rows, {"virtual": virtual.PART})
    there = gather(renamed, {"a": dataclasses.replace(virtual.PART, name="a")})
    same(here, there)


def test_a_bench_reading_is_never_drowned_in_a_sweep():
    truth = virtual.specimen(2)
    rows = sweep(truth, np.linspace(-30.0, 50.0, 9), np.geomspace(0.1, 100.0, 400))
    bench = virtual.readings(truth, virtual.DESIGNS[1], np.random.default_rng(0))
    got = gather(rows + bench, {"virtual": virtual.PART})
    assert (got.group == 0).sum() == len(bench)


@pytest.mark.parametrize("repeats", [3, 12])
def test_one_fumbled_repeat_does_not_spoil_its_cell_and_is_named(repeats):
    truth = virtual.specimen(0)
    rng = np.random.default_rng(0)
    readings = []
    for t in np.linspace(-20.0, 50.0, 30):
        f, decrement = truth.ring(t, 0.2)
        readings += [
            RingDown(
                part="virtual",
                temperature_c=t,
                mass_kg=0.2,
                frequency_hz=f * np.exp(0.03 * rng.standard_normal()),
                log_decrement=decrement * np.exp(0.15 * rng.standard_normal()),
            )
            for _ in range(repeats)
        ]
    bad = list(readings)
    bad[4] = dataclasses.replace(readings[4], frequency_hz=3.0 * readings[4].frequency_hz)
    clean, spoilt = (gather(r, {"virtual": virtual.PART}) for r in (readings, bad))
    assert clean.size <= MOST_ROWS
    alone = [k for k, indices in enumerate(spoilt.rows_of) if 4 in indices]
    assert [spoilt.rows_of[k] for k in alone] == [(4,)]
    others = np.delete(spoilt.stiff, alone)
    assert others == pytest.approx(clean.stiff[: others.size], abs=0.06)


def test_mean_of_many_keeps_the_error_that_they_share():
    rng = np.random.default_rng(0)
    places = np.column_stack([np.full(4000, 300.0), np.zeros(4000)])
    values, spreads = 1.0 + 0.06 * rng.standard_normal((4000, 1)), np.full((4000, 1), 0.06)
    got = average(places, values, spreads)
    assert got.values[0] == pytest.approx(1.0, abs=0.005)
    assert got.spreads[0] == pytest.approx(0.06 * np.sqrt(0.1), rel=0.01)


def test_cells_take_distinct_temperatures_apart_first():
    places = np.array([[t, f] for t in (250.0, 270.0, 290.0) for f in np.linspace(0.0, 2.0, 50)])
    cells = split(places, np.zeros(150, dtype=np.int64), np.ones(150), 3)
    assert [np.ptp(places[cell, 0]) for cell in cells] == [0.0, 0.0, 0.0]


@pytest.mark.slow
def test_a_long_sweep_is_fitted_right():
    truth = virtual.specimen(1)
    rows = sweep(truth, np.linspace(-40.0, 60.0, 11), np.geomspace(0.1, 100.0, 90))
    curve = fit_curve(MATERIAL, {}, rows)
    assert len(curve.report["readings"]) == len(rows)
    t = np.array([-30.0, 0.0, 23.0, 50.0])
    got, want = curve.modulus(t, 10.0), truth.at(10.0 * np.ones(4), t)
    assert got.storage_mpa.median == pytest.approx(want.real, rel=0.15)
    assert got.loss_factor.median == pytest.approx(want.imag / want.real, rel=0.2)
