"""The part's own temperature: against conduction's own series, a fine integration, and its limits."""

import numpy as np
import pytest

from matdb.bench.thermal.body import Body, Thermal, body_theta, film_coefficient, thermal_of
from matdb.errors import InputError
from matdb.weather.forecast import Forecast, forecast_range
from matdb.weather.lag import part_temperature, response_rates

RUBBER = Thermal(conductivity_w_mk=0.2, diffusivity_mm2_s=0.1, relative_sd=0.1)
BODIES = [Body(height_mm=8), Body(diameter_mm=12), Body(height_mm=8, diameter_mm=10), Body(10, 20, 8)]


@pytest.mark.parametrize("body", BODIES[:3])
def test_steady_air_gives_the_conduction_series(body):
    air = Forecast(np.full(4, -10.0), np.arange(4.0))
    got = part_temperature(air, body, start_c=20.0, air="fanned", thermal=RUBBER)
    film = film_coefficient("fanned", 5.0, -10.0)
    want = -10.0 + 30.0 * body_theta(body, film, 0.2, 0.1, "mean")(3600.0 * got.times)
    assert got.temperature_c == pytest.approx(want, abs=0.02)
    assert got.temperature_c[0] == 20.0
    assert got.times[1] == 0.25


@pytest.mark.parametrize("body", BODIES)
def test_changing_air_agrees_with_a_fine_integration(body):
    hours = np.arange(13.0)
    air = Forecast(5 * np.sin(hours), hours)
    got = part_temperature(air, body, start_c=18.0, thermal=RUBBER)
    rates, weights = response_rates(body, RUBBER, float(film_coefficient("still", 9.0, 0.0)))
    fine = np.linspace(0, 12, 240001)
    slope = np.diff(np.interp(fine, hours, air.temperature_c))
    excess = np.full(rates.size, 18.0)
    want = np.empty((fine.size, rates.size))
    want[0] = excess
    left = np.exp(-rates * (fine[1] - fine[0]))
    for i in range(1, 24001):  # the first 1.2 hours, where it lags
        excess = (excess - 0.5 * slope[i - 1]) * left - 0.5 * slope[i - 1]
        want[i] = excess
    early = got.times < 1.2
    mean = np.interp(fine[:24001], hours, air.temperature_c) + want[:24001] @ weights
    assert got.temperature_c[early] == pytest.approx(np.interp(got.times[early], fine[:24001], mean), abs=1e-3)


def test_weights_add_up_and_the_slowest_is_lumped_for_a_thin_body():
    thermal = thermal_of("silicone")
    rates, weights = response_rates(Body(height_mm=2.0), thermal, 10.0)
    assert weights.sum() == pytest.approx(1.0)
    assert weights[0] > 0.999
    assert np.all(np.diff(rates) >= 0)
    heat_mj_m3k = thermal.conductivity_w_mk / thermal.diffusivity_mm2_s
    lumped = heat_mj_m3k * 1e6 * 1e-3 / 10.0 / 3600.0  # rho c V/A / h
    assert 1.0 / rates[0] == pytest.approx(lumped, rel=0.03)


def test_it_lags_and_catches_up():
    air = Forecast(np.linspace(0, -10, 11), np.arange(11.0), notes=("given",))
    got = part_temperature(air, Body(height_mm=8), start_c=20.0, thermal=RUBBER)
    assert got.times[0] == 0.0
    assert got.times[-1] == 10.0
    assert got.temperature_c[0] == 20.0
    assert (got.temperature_c[1:] > np.interp(got.times[1:], air.times, air.temperature_c)).all()
    assert got.temperature_c[-1] == pytest.approx(-10.0, abs=1.0)
    assert "time constant of" in got.notes[-1]
    assert got.notes[0] == "given"


def test_wind_shortens_the_lag():
    air, thick = Forecast(np.zeros(3), np.arange(3.0)), Body(height_mm=30)
    still = part_temperature(air, thick, start_c=20.0, thermal=RUBBER)
    fanned = part_temperature(air, thick, start_c=20.0, air="fanned", thermal=RUBBER)
    assert fanned.temperature_c[1] < still.temperature_c[1] - 1


def test_a_range_widens_to_the_start():
    got = part_temperature(forecast_range(-12, -2), BODIES[0], start_c=20.0, thermal=RUBBER)
    assert (got.low_c, got.high_c) == (-12, 20)
    same = forecast_range(-12, 25)
    assert part_temperature(same, BODIES[0], start_c=20.0, thermal=RUBBER) is same


def test_what_cannot_be_is_refused():
    air = Forecast(np.zeros(3), np.arange(3.0))
    with pytest.raises(InputError, match="start_c"):
        part_temperature(air, BODIES[0], start_c=200.0, thermal=RUBBER)
