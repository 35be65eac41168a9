"""Forecasts, altitudes, take-off hours and warm cars become temperatures and hours."""

import datetime as dt

import numpy as np
import pytest

from matdb.advice.effective import effective
from matdb.advice.exposure import Flight, exposure, flight, temperature_steps
from matdb.advice.judge import Candidate
from matdb.curve.fit import prior_curve
from matdb.errors import InputError
from matdb.form import Bush, Pad, Part, Ring
from matdb.material.record import Material
from matdb.weather.forecast import Forecast

GEL = Material(name="gel", family="silicone gel")
SMALL = Part(name="small", material="gel", form=Pad(diameter_mm=8, height_mm=5))
LARGE = Part(name="large", material="gel", form=Pad(diameter_mm=60, height_mm=40))
CSV = "time,temperature (C)\n" + "".join(f"2026-01-03 {h:02d}:00,{h - 12}\n" for h in range(24))


def test_a_range_is_cut_into_steps_of_a_kelvin():
    assert flight(low_c=-2.0, high_c=3.0).forecast.temperature_c.tolist() == [-2, -1, 0, 1, 2, 3]
    assert flight(low_c=4.0).forecast.temperature_c.tolist() == [4.0]
    assert len(flight(low_c=-2.5, high_c=3.0).forecast) == 7
    with pytest.raises(InputError, match="swap them"):
        flight(low_c=3.0, high_c=-2.0)


def test_exactly_one_source_is_taken():
    with pytest.raises(InputError, match="missing"):
        flight()
    with pytest.raises(InputError, match="low_c and metar"):
        flight(low_c=1.0, metar="METAR EDDM 031150Z 24005KT M02/M05 Q1013")


def test_reports_tables_and_altitudes():
    assert flight(metar="METAR EDDM 031150Z 24005KT M02/M05 Q1013").forecast.temperature_c.tolist() == [-2.0]
    taf = flight(taf="TAF EDDM 201100Z 2012/2118 TX03/2014Z TNM05/2106Z").forecast
    assert (taf.low_c, taf.high_c) == (-5.0, 3.0)
    high = flight(csv=CSV, forecast_altitude_m=500.0, site_altitude_m=1500.0).forecast
    assert high.low_c == pytest.approx(-12.0 - 6.5)
    monthly = flight(monthly="month,low (C),high (C)\nJan,-8,2\nJul,12,27\n").forecast
    assert (monthly.low_c, monthly.high_c) == (-8.0, 27.0)
    with pytest.raises(InputError, match="both given"):
        flight(csv=CSV, site_altitude_m=1500.0)
    with pytest.raises(InputError, match="no unit"):
        flight(csv=CSV.replace(" (C)", ""))
    assert flight(csv=CSV.replace(" (C)", ""), unit="F").forecast.low_c == pytest.approx((-12 - 32) / 1.8)


def test_take_off_hours_narrow_a_forecast():
    told = exposure([(SMALL, GEL)], flight(csv=CSV, take_off=(6.0, 10.0)))
    assert told.steps.tolist() == [-6, -5, -4, -3, -2]
    assert told.hours == pytest.approx(5.0)
    assert told.when(0, 0) == "2026-01-03 06:00"
    with pytest.raises(InputError, match="take-off window"):
        flight(csv=CSV, take_off=(6.0, 30.0))


def test_hours_count_what_each_entry_stands_for():
    thirds = Forecast(np.array([1.0, 2.0, 3.0]), np.array([0.0, 3.0, 6.0]))
    assert exposure([(SMALL, GEL)], thirds).hours == pytest.approx(9.0)
    gap = Forecast(np.array([1.0, 2.0, 3.0, 4.0]), np.array([0.0, 1.0, 50.0, 51.0]))
    assert exposure([(SMALL, GEL)], gap).hours == pytest.approx(4.0)


def test_long_records_are_rounded_to_half_a_kelvin_and_lose_no_hour():
    t = np.random.default_rng(1).normal(5.0, 9.0, 8760)
    steps, hours, place = temperature_steps(t)
    assert hours.sum() == pytest.approx(8760.0)
    assert np.all(np.diff(steps) >= 0.5 - 1e-9)
    assert np.abs(steps[place] - t).max() <= 0.25 + 1e-9
    steps, hours, place = temperature_steps([3.0, 1.0, 3.0])
    assert steps.tolist() == [1.0, 3.0]
    assert hours.tolist() == [1.0, 2.0]
    assert place.tolist() == [1, 0, 1]


def test_a_part_from_a_warm_car_lags_behind_the_air_the_large_one_longer():
    told = exposure([(SMALL, GEL), (LARGE, GEL)], flight(csv=CSV, take_off=(2.0, 5.0), car_c=22.0))
    assert told.row.tolist() == [0, 1]
    small, large = (np.sort(told.steps[told.weight[k] > 0]) for k in (0, 1))
    assert small[-1] == large[-1] == 22.0
    mean = [np.average(told.steps, weights=told.weight[k]) for k in (0, 1)]
    assert mean[1] > mean[0] + 2.0
    assert small[0] < 0.0
    assert told.weight.sum(axis=1) == pytest.approx(3.6, abs=0.2)
    # Fanned by the rotors it takes on the air's temperature sooner.
    fanned = exposure([(LARGE, GEL)], flight(csv=CSV, take_off=(2.0, 5.0), car_c=22.0, air="fanned"))
    assert np.average(fanned.steps, weights=fanned.weight[0]) < mean[1] - 1.0


def test_from_a_car_into_a_single_report_all_between_is_met():
    told = exposure([(SMALL, GEL)], flight(metar="METAR EDDM 031150Z 24005KT M02/M05 Q1013", car_c=20.0))
    assert (told.steps[0], told.steps[-1]) == (-2.0, 20.0)
    assert np.diff(told.steps).max() <= 1.0


def test_each_day_of_a_trip_begins_in_the_car_but_not_of_a_season():
    days = 3
    air = Forecast(np.full(24 * days, -5.0), np.arange(24.0 * days), start=dt.datetime(2026, 1, 3))
    told = exposure([(SMALL, GEL)], Flight(air, (8.0, 9.0), car_c=20.0))
    assert told.weight[0][told.steps == 20.0] == pytest.approx(days * 0.25)
    season = Forecast(np.full(24 * 60, -5.0), np.arange(24.0 * 60), start=dt.datetime(2026, 1, 3))
    with pytest.raises(InputError, match="60 days"):
        exposure([(SMALL, GEL)], Flight(season, (8.0, 9.0), car_c=20.0))


def test_forms_of_equal_size_share_a_row():
    rings = [Part(name=n, material="gel", form=Ring(16, 6, 5)) for n in "ab"]
    bush = Part(name="c", material="gel", form=Bush(outer_mm=20, inner_mm=8, length_mm=15))
    told = exposure([(p, GEL) for p in (*rings, bush)], flight(csv=CSV, car_c=20.0))
    assert told.row.tolist() == [0, 0, 1]
    assert any("20 degC" in note for note in told.notes)


def test_a_car_out_of_range_is_refused():
    with pytest.raises(InputError, match="car_c"):
        flight(low_c=1.0, car_c=200.0)


def test_a_part_rests_in_the_cold_for_as_long_as_the_air_outside_is_cold():
    tan = Material(name="tan", family="natural rubber")
    curve = prior_curve(tan)
    part = Part(name="ring", material="tan", form=Ring(outer_mm=16, inner_mm=6, height_mm=5))
    # Twelve hours of frost, of which two are flown; six that melt what crystallised; three of frost.
    air = Forecast(np.repeat([-20.0, 12.0, -20.0], [12, 6, 3]), np.arange(21.0))

    def rest_h(temperature_c):
        exposed = exposure([(part, tan)], temperature_c)
        ((rested, felt),) = exposed.felt([Candidate(part=part, material=tan, curve=curve)], "axial")
        assert felt.curve.rest_h == rested.rest_h
        return rested.rest_h

    assert rest_h(air) == 12.0
    # At 8 degC it stays; each month is apart.
    milder = np.repeat([-20.0, 8.0, -20.0], [12, 6, 3])
    assert rest_h(Forecast(milder, np.arange(21.0))) == 15.0
    months = np.arange(48.0) + np.repeat([0.0, 700.0], 24)
    assert rest_h(Forecast(np.full(48, -20.0), months, monthly=True)) == 24.0
    assert rest_h(Flight(air, take_off=(2.0, 4.0))) == 12.0
    assert rest_h(np.array([-20.0, 8.0])) == np.inf
    # One moment tells no hours.
    assert rest_h(Forecast(np.array([-20.0]), np.zeros(1))) == np.inf
    # From a warm car a day's at most; a night more in a cold one, the first and each that follows.
    assert rest_h(flight(low_c=-20.0, high_c=8.0, car_c=20.0)) == 8.0
    assert rest_h(flight(low_c=-20.0, high_c=8.0, car_c=-10.0)) == 20.0
    # Where only the car is so cold, the night in it alone.
    assert rest_h(flight(low_c=0.0, high_c=8.0, car_c=-10.0)) == 12.0
    assert rest_h(flight(low_c=-20.0, car_c=-10.0, rest_h=1.0)) == 1.0
    assert 10.0 < rest_h(Flight(air, take_off=(0.0, 11.0), car_c=20.0)) < 12.0
    assert rest_h(Flight(air, take_off=(0.0, 11.0), car_c=-10.0)) == pytest.approx(24.0, abs=0.6)
    days = Forecast(np.full(48, -20.0), np.arange(48.0), start=dt.datetime(2026, 1, 3))
    assert rest_h(Flight(days, (8.0, 12.0), car_c=-10.0)) == pytest.approx(2 * (12.0 + 4.0 + 0.125 + 0.5))


def test_a_flat_pad_near_glass_is_felt_softer_than_its_rubber_alone_would_be():
    curve = prior_curve(Material(name="print", family="thermoplastic polyurethane ester", hardness="85 A"))
    part = Part(name="pad", material="print", form=Pad(diameter_mm=20, height_mm=5))
    for t, shear in ((-20.0, False), (40.0, False), (-20.0, True)):
        axis = "shear" if shear else "axial"
        modulus = curve.modulus(t, 30.0).storage_mpa.median
        got = effective(curve, Material(name="print"), part, t, frequency_hz=30.0, axis=axis).stiffness_n_per_mm.median
        known = part.form.stiffness_n_per_mm(modulus, axis, bulk_modulus_mpa=2000.0)
        assert got == pytest.approx(known, rel=0.03)


def test_what_crystallised_in_the_night_stays_through_milder_hours_until_it_melts():
    tan = Material(name="tan", family="natural rubber")
    part = Part(name="ring", material="tan", form=Ring(outer_mm=16, inner_mm=6, height_mm=5))
    # The evening, a night of frost, a milder morning, a thaw, and the morning's temperature once more.
    air = Forecast(np.array([-6.0, *[-20.0] * 12, -14.0, -6.0, 11.0, -6.0]), np.arange(17.0))
    curve = prior_curve(tan)

    def flown(take_off, rest_h=None):
        exposed = exposure([(part, tan)], Flight(air, take_off, rest_h=rest_h))
        ((rested, _),) = exposed.felt([Candidate(part=part, material=tan, curve=curve)], "axial")
        return rested

    def high(curve, temperature_c):
        return curve.modulus(temperature_c, 30.0).storage_mpa.high

    def warned(curve):
        return any("crystallises" in text for text in curve.range_notes(np.array([-6.0]), np.array([30.0])))

    evening, morning, later = flown((0.0, 0.5)), flown((14.0, 14.5)), flown((16.0, 16.5))
    assert evening.rest_h == morning.rest_h == later.rest_h == 15.0
    assert high(evening, -6.0) == high(later, -6.0) == high(curve.rested(15.0), -6.0)
    fresh, night = curve.rested(0.0), curve.rested(15.0)
    grown = high(night, -20.0) / high(fresh, -20.0)
    assert grown > 1.5
    assert high(morning, -6.0) / high(fresh, -6.0) > 0.9 * grown
    assert high(flown((13.0, 14.0)), -14.0) > high(night, -14.0)
    # A short rest that is told forms little.
    brief = flown((14.0, 14.5), rest_h=0.1)
    assert high(brief, -6.0) < 1.05 * high(fresh, -6.0)
    assert warned(morning)
    assert not warned(brief)
    assert not warned(evening)
