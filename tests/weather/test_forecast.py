"""Forecasts: ranges, altitude, take-off windows, and what cannot be."""

import datetime as dt
import json

import numpy as np
import pytest

from matdb.errors import InputError
from matdb.weather.forecast import Forecast, at_altitude, forecast_range, months_text, take_off_window

DAY = Forecast(np.arange(49.0) - 20, np.arange(49.0), source="ramp", start=dt.datetime(2026, 1, 31, 6, 30))


def test_a_range_holds_both_ends():
    got = forecast_range(-12, 9)
    assert (got.low_c, got.high_c, len(got)) == (-12, 9, 22)
    assert got.times is None
    assert forecast_range(5, 5).temperature_c.tolist() == [5]
    assert got.label(0) == "-12.0 °C"


@pytest.mark.parametrize(
    ("months", "text"),
    [
        (["July"], "July"),
        (["June", "July", "August", "December"], "June to August, December"),
        (["January", "February", "November", "December"], "November to February"),
        (["December", "January"], "December, January"),
        (["May", "July", "January"], "January, May, July"),
        ([dt.date(2026, k, 1).strftime("%B") for k in range(1, 13)], "every month"),
    ],
)
def test_months_in_a_row_are_told_by_their_ends_over_the_turn_of_the_year_too(months, text):
    assert months_text(months) == text


def test_labels_are_dates_hours_or_temperatures():
    assert DAY.label(18) == "2026-02-01 00:30"
    assert Forecast(np.array([1.0]), np.array([2.5])).label(0) == "hour 2.5"


def test_a_forecast_cannot_be_changed_afterwards():
    source = np.array([1.0, 2.0])
    got = Forecast(source)
    source[0] = 9
    assert got.temperature_c[0] == 1
    with pytest.raises(ValueError, match="read-only"):
        got.temperature_c[0] = 3


def test_it_goes_to_json():
    text = json.loads(json.dumps(DAY.to_dict()))
    assert text["start"] == "2026-01-31T06:30:00"
    assert len(text["hours"]) == len(text["temperature_c"]) == 49


def test_altitude_shifts_by_the_standard_lapse_and_says_so():
    got = at_altitude(DAY, 500, 1500)
    assert got.temperature_c == pytest.approx(DAY.temperature_c - 6.5)
    assert "1000 m above" in got.notes[-1]
    assert "-6.5 K" in got.notes[-1]
    assert at_altitude(DAY, 700, 700) is DAY
    assert at_altitude(at_altitude(DAY, 0, 900), 900, 0).temperature_c == pytest.approx(DAY.temperature_c)


def test_window_keeps_and_interpolates_its_ends():
    got = take_off_window(DAY, 3.25, 5)
    assert got.times.tolist() == [3.25, 4, 5]
    assert got.temperature_c.tolist() == [-16.75, -16, -15]
    short = take_off_window(DAY, 3.25, 3.5)
    assert short.times.tolist() == [3.25, 3.5]
    assert take_off_window(DAY, 7, 7).times.tolist() == [7]


def test_daily_window_takes_every_days_hours():
    got = take_off_window(DAY, 8, 10, daily=True)  # the clock runs at 6:30 in hour 0
    assert got.times.tolist() == [1.5, 2, 3, 3.5, 25.5, 26, 27, 27.5]
    night = take_off_window(DAY, 23, 1, daily=True)
    assert night.times.tolist() == [16.5, 17, 18, 18.5, 40.5, 41, 42, 42.5]
    assert len(take_off_window(DAY, 0, 24, daily=True)) >= 49


def test_a_range_is_not_narrowed_by_hours():
    got = take_off_window(forecast_range(0, 5), 8, 10)
    assert (got.low_c, got.high_c) == (0, 5)
    assert "does not narrow" in got.notes[-1]


@pytest.mark.parametrize(
    ("call", "word"),
    [
        (lambda: Forecast(np.array([])), "one or more temperatures"),
        (lambda: Forecast(np.array([np.nan])), "-95 to 65"),
        (lambda: Forecast(np.array([300.0])), "check the unit"),
        (lambda: Forecast(np.array([1.0, 2.0]), np.array([1.0, 1.0])), "2 rising hours"),
        (lambda: Forecast(np.array([1.0, 2.0]), np.array([1.0])), "2 rising hours"),
        (lambda: forecast_range(5, -5), "swap them"),
        (lambda: forecast_range("cold", 5), "low temperature"),
        (lambda: take_off_window(DAY, 5, 3), "not after the end"),
        (lambda: take_off_window(DAY, -5, 3), "take-off window begin"),
        (lambda: take_off_window(DAY, 60, 70), "within the forecast"),
        (lambda: take_off_window(DAY, 20, 25, daily=True), "take-off window end"),
        (lambda: take_off_window(Forecast(np.zeros(2), np.arange(2.0)), 1, 2, daily=True), "date and time"),
        (lambda: at_altitude(DAY, 0, 20000), "-1000 to 11000 m"),
        (lambda: at_altitude(DAY, "high", 500), "altitude_m"),
    ],
)
def test_what_cannot_be_is_refused_with_one_line(call, word):
    with pytest.raises(InputError) as caught:
        call()
    assert word in str(caught.value)
    assert "\n" not in str(caught.value)
