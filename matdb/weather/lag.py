r"""The part's own temperature, which lags behind the air after a warm car or a cold night.

.. math:: T(t) = T_{air}(t) + \sum_n w_n e_n(t), \quad \dot e_n = -r_n e_n - \dot T_{air}

with the rates and weights of transient conduction (:mod:`matdb.bench.thermal.body`): exact for air that changes
linearly from hour to hour and a steady film coefficient.

Sources
-------
.. [1] Cengel, Y. A.: Heat and Mass Transfer, chapter 4 (memory): roots and weights, lumped solution.
.. [2] Carslaw, H. S.; Jaeger, J. C.: Conduction of Heat in Solids, 2nd ed., 1.14 (memory): Duhamel's theorem.
"""

from __future__ import annotations

import numpy as np

from matdb.arrays import Array
from matdb.bench.thermal.body import Body, Decay, Thermal, film_coefficient
from matdb.checks import checked_number
from matdb.weather.forecast import COLDEST_C, HOTTEST_C, Forecast

_TERMS = 8
#: How finely the first hours after the start are shown, hours.
STEP_H = 0.25
#: A part closer than this to the air is taken as having caught up, K.
CAUGHT_UP_K = 0.5


def response_rates(body: Body, thermal: Thermal, film_w_m2k: float) -> tuple[Array, Array]:
    """Rates in 1/h and weights of a body's mean temperature after a step of the air.

    Parameters
    ----------
    body : Body
        Dimensions, mm: a slab, a long cylinder or a disc; a ring takes the faster of its disc and its wall.
    thermal : Thermal
        Of the material.
    film_w_m2k : float
        Film coefficient, W/(m2 K), above 0.

    Returns
    -------
    tuple of ndarray
        Rates and weights of the same shape; the weights add up to 1. The slowest term alone is the one-term
        solution, and for a thin body the lumped one.

    Source: [1]_.

    """

    def terms(shape: str, half_mm: float) -> tuple[Array, Array]:
        series = Decay(shape, 1e-3 * film_w_m2k * half_mm / thermal.conductivity_w_mk, "mean", _TERMS)
        return 3600.0 * thermal.diffusivity_mm2_s / half_mm**2 * np.ravel(series.rate), np.ravel(series.weight)

    rates, weights = np.zeros(1), np.ones(1)
    if body.height_mm is not None:
        rates, weights = terms("slab", 0.5 * body.height_mm)
    if body.diameter_mm is not None:
        around = terms("cylinder", 0.5 * body.diameter_mm)
        if body.bore_mm > 0.0:
            wall = terms("slab", 0.5 * (body.diameter_mm - body.bore_mm))
            around = wall if wall[0][0] > around[0][0] else around
        rates = np.add.outer(rates, around[0]).ravel()
        weights = np.multiply.outer(weights, around[1]).ravel()
    order = np.argsort(rates)
    return rates[order], weights[order] / weights.sum()


def part_temperature(
    forecast: Forecast, body: Body, *, start_c: float, thermal: Thermal, air: str = "still"
) -> Forecast:
    """The part's mean temperature in the forecast's air, from leaving the car at the forecast's first hour.

    Parameters
    ----------
    forecast : Forecast
        With times; of a range the part is simply taken to lag between the start and the range.
    body : Body
        The part's dimensions; ``body_of(form)`` gives them.
    start_c : float
        Its temperature on leaving, degrees Celsius.
    thermal : Thermal
        Of the material: ``thermal_of(family)`` gives it.
    air : str
        ``"still"`` or ``"fanned"`` (in the rotors' wash).

    Returns
    -------
    Forecast
        With quarter hours added where the part has not caught up yet. For a range
        without times: the range widened by the start temperature.

    Raises
    ------
    InputError
        A start temperature out of range.

    Notes
    -----
    The steel and the plate that the part touches slow it down further: it may lag by more. Sources: [1]_, [2]_.

    """
    start = checked_number("start_c", start_c, COLDEST_C, HOTTEST_C, "degrees Celsius")
    warm_note = f"the part starts at {start:g} °C"
    if forecast.times is None:
        if forecast.low_c <= start <= forecast.high_c:
            return forecast
        low, high = min(forecast.low_c, start), max(forecast.high_c, start)
        grid = np.linspace(low, high, max(2, len(forecast)))
        return forecast.with_note(f"{warm_note}: the range is widened to it", temperature_c=grid)
    hours, t = forecast.times, forecast.temperature_c
    leave, mean_air = float(hours[0]), float(t[0])
    film = float(film_coefficient(air, 0.5 * (start + mean_air), mean_air))
    rates, weights = response_rates(body, thermal, film)
    catching_up = np.log(max(abs(start - mean_air), CAUGHT_UP_K) / CAUGHT_UP_K) / rates[0] + STEP_H
    quarters = leave + np.arange(0.0, min(catching_up, 48.0), STEP_H)
    grid = np.unique(np.concatenate([[leave], quarters[quarters <= hours[-1]], hours[hours > leave]]))
    air_c = np.interp(grid, hours, t)
    # Kinks of the air between the added quarters are the forecast's own hours, which the grid holds.
    excess = np.full(rates.shape, start - air_c[0])
    out = np.empty(grid.size)
    out[0] = start
    for i in range(1, grid.size):
        step = grid[i] - grid[i - 1]
        left = np.exp(-rates * step)
        excess = excess * left - (air_c[i] - air_c[i - 1]) / step * (1.0 - left) / rates
        out[i] = air_c[i] + weights @ excess
    note = f"{warm_note} and follows the air with a time constant of {60.0 / rates[0]:.0f} min"
    return forecast.with_note(note, times=grid, temperature_c=out)
