"""Soak times, short soaks, drift outside the chamber."""

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import jv, yv

from matdb.bench.thermal import soak as bench
from matdb.bench.thermal.body import AIR, Body, body_theta, film_coefficient, share_left, thermal_of
from matdb.errors import InputError


def _disc_by_finite_volumes(height, diameter, film, conductivity, diffusivity, seconds, n=24):
    """Temperature difference left in a disc, r and z, explicit in time: core and mean (mm, s)."""
    r = np.linspace(0, diameter / 2, n + 1)
    z = np.linspace(0, height / 2, n + 1)
    ring = np.diff(r**2) / 2
    dz, dr = z[1], r[1]
    volume = ring[:, None] * dz
    radial = (r[1:-1] * dz / dr)[:, None]
    axial = (ring / dz)[:, None]
    h = film * 1e-3 / conductivity
    rim = r[-1] * dz / (1 / h + dr / 2)
    face = ring / (1 / h + dz / 2)
    theta, steps = np.ones((n, n)), int(np.ceil(seconds * diffusivity * 6 / min(dr, dz) ** 2))
    dt = seconds / steps
    for _ in range(steps):
        flow = np.zeros((n, n))
        across = radial * np.diff(theta, axis=0)
        flow[:-1] += across
        flow[1:] -= across
        along = axial * np.diff(theta, axis=1)
        flow[:, :-1] += along
        flow[:, 1:] -= along
        flow[-1] -= rim * theta[-1]
        flow[:, -1] -= face * theta[:, -1]
        theta = theta + dt * diffusivity * flow / volume
    return theta[0, 0], np.sum(theta * volume) / (n * np.sum(volume))


@pytest.mark.parametrize("minutes", [1.0, 6.0])
def test_disc_against_finite_volumes(minutes):
    core, mean = _disc_by_finite_volumes(8.0, 10.0, 25.0, 0.2, 0.09, minutes * 60)
    for at, value in (("core", core), ("mean", mean)):
        left = body_theta(Body(8.0, 10.0), 25.0, 0.2, 0.09, at)(np.array(60.0 * minutes))
        assert left == pytest.approx(value, rel=0.01)


def test_soak_time_is_where_the_core_reaches_the_limit():
    last = 0.0
    for body in (Body(3.0, 6.0), Body(8.0, 10.0), Body(20.0, 40.0)):
        found = bench.soak(body, [-20.0, 50.0], family="silicone")
        at_that = bench.check_soak(body, found.minutes, [-20.0, 50.0], family="silicone")
        np.testing.assert_allclose(at_that.core_c, [-19.0, 49.0], atol=1e-6)
        assert np.all(found.minutes > last)
        assert np.all(found.minutes_safe > found.minutes)
        assert np.all(bench.soak(body, -20.0, air="fanned", family="silicone").minutes < found.minutes)
        last = found.minutes


def test_nothing_to_soak():
    assert bench.soak(Body(8, 10), 23.5).minutes == 0.0
    assert bench.check_soak(Body(8, 10), 0.0, 23.0).enough


def test_short_soak_is_flagged_with_the_core_temperature():
    check = bench.check_soak(Body(8, 10), [5.0, 60.0], -20.0, family="natural rubber")
    assert list(check.enough) == [False, True]
    assert -20 < check.mean_c[0] < check.core_c[0] < 23
    assert check.core_sd_k[0] > 1.0
    assert "5 min of about" in check.warning
    assert "\n" not in check.warning


def test_ring_soaks_faster_than_the_full_disc_and_bore_does_not_matter_when_tiny():
    full, ring = bench.soak(Body(20, 30), -20.0).minutes, bench.soak(Body(20, 30, 26), -20.0).minutes
    assert ring < 0.5 * full
    assert bench.soak(Body(20, 30, 1e-6), -20.0).minutes == pytest.approx(full)


@pytest.mark.parametrize(("outer", "bore"), [(10.0, 2.0), (16.0, 5.6), (16.0, 9.6), (30.0, 6.0)])
def test_a_ring_follows_the_exact_series_of_the_hollow_cylinder(outer, bore):
    # Carslaw and Jaeger, 2nd ed., 7.10 (from memory): -k u' = h u outside, k u' = h u in the bore; the first root.
    large, small, h, k = outer / 2, bore / 2, 12e-3, 0.2

    def wall(root):
        inside = [k * root * f(1, root * small) + h * f(0, root * small) for f in (jv, yv)]
        outside = [k * root * f(1, root * large) - h * f(0, root * large) for f in (jv, yv)]
        return inside[0] * outside[1] - outside[0] * inside[1]

    roots = np.linspace(1e-3, 3.2, 2000) / (large - small)
    values = np.array([wall(x) for x in roots])
    at = np.flatnonzero(np.sign(values[1:]) != np.sign(values[:-1]))[0]
    exact = brentq(wall, roots[at], roots[at + 1]) ** 2
    left = body_theta(Body(None, outer, bore), 12.0, k, 0.1)
    late = np.array([300.0, 900.0]) * (large / 5.0) ** 2
    rate = -np.diff(np.log(left(late)))[0] / np.diff(late)[0] / 0.1
    assert -0.045 < rate / exact - 1.0 < 0.001


def test_drift_corrects_and_widens():
    seconds = np.array([0.0, 5.0, 20.0, 60.0])
    d = bench.drift(Body(8, 10), -20.0, seconds, family="natural rubber")
    assert d.temperature_c[0] == pytest.approx(-20.0)
    assert np.all(np.diff(d.temperature_c) > 0)
    assert np.all(np.diff(d.temperature_sd_k) > 0)
    np.testing.assert_allclose(d.temperature_c, -20.0 + d.drift_k)
    # what is left counts down second by second, and hits zero where the drift passes 2 K
    assert d.seconds_left[0] - d.seconds_left[1] == pytest.approx(5.0)
    assert d.seconds_left[3] == 0.0
    there = bench.drift(Body(8, 10), -20.0, d.seconds_left[0], family="natural rubber")
    assert there.drift_k == pytest.approx(2.0, abs=1e-6)
    assert "drifted" in d.warning


def test_drift_from_an_oven_and_at_room_temperature():
    hot = bench.drift(Body(8, 10), 50.0, 10.0)
    assert hot.drift_k < -0.5
    room = bench.drift(Body(8, 10), 23.0, 1000.0)
    assert room.drift_k == 0.0
    assert room.seconds_left == np.inf
    assert room.warning == ""


def test_drift_uncertainty_covers_the_spread_of_films_and_heat_capacities():
    rng = np.random.default_rng(5)
    body, seconds = Body(8, 10), 15.0
    thermal, film = thermal_of("natural rubber"), film_coefficient("still", -20.0, 23.0)
    left = share_left(body, film, thermal, np.array(seconds))
    _, variance = bench.doubted(left, "mean", AIR["still"][1], thermal.relative_sd)
    h = film * np.exp(rng.normal(0, AIR["still"][1], 400))
    alpha = thermal.diffusivity_mm2_s * np.exp(rng.normal(0, thermal.relative_sd, 400))
    drawn = body_theta(body, h, thermal.conductivity_w_mk, alpha, "mean")(np.array(seconds))
    assert np.sqrt(variance) == pytest.approx(np.std(drawn), rel=0.25)
    full = bench.drift(body, -20.0, seconds, family="natural rubber", chamber_sd_k=0.0)
    assert full.temperature_sd_k > 43.0 * np.std(drawn)


def test_film_adds_radiation():
    assert 3.5 < film_coefficient("still", -20, 23) - AIR["still"][0] < 5.5
    assert film_coefficient("fanned", 23.0, 23.0) - AIR["fanned"][0] == pytest.approx(4 * 0.9 * 5.670374e-8 * 296.15**3)


def test_an_oven_too_hot_for_natural_rubber_is_named():
    assert "natural rubber (-50 to 70 degC)" in bench.service_note("natural rubber", 250.0)
    assert "smoke" in bench.service_note("natural rubber", 250.0)
    assert "brittle" in bench.service_note("natural rubber", -80.0)
    assert bench.service_note("natural rubber", 23.0) == ""


@pytest.mark.parametrize(
    ("family", "temperature", "minutes", "word"),
    [
        ("natural rubber", -25.0, 30.0, "short soak does not show it"),
        ("chloroprene", -12.0, 600.0, "long soak may show it"),
        ("natural rubber", 23.0, 30.0, ""),
        ("EPDM", -25.0, 30.0, ""),
        ("silicone gel", -45.0, 30.0, ""),
    ],
)
def test_crystallisation_note(family, temperature, minutes, word):
    note = bench.crystallisation_note(family, temperature, minutes)
    assert word in note
    assert bool(note) == bool(word)


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: bench.soak(Body(5.0), -20.0, air="windy"), "air"),
        (lambda: bench.soak(Body(5.0), -20.0, family="granite"), "family"),
        (lambda: bench.soak(Body(5.0), -300.0), "air_c"),
        (lambda: bench.check_soak(Body(5.0), -1.0, -20.0), "minutes"),
        (lambda: bench.drift(Body(5.0), -20.0, "soon"), "seconds_out"),
    ],
)
def test_refusals_name_the_field(call, field):
    with pytest.raises(InputError) as caught:
        call()
    assert caught.value.field == field
