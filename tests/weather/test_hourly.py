"""Hourly and monthly CSV of many makes, and the lines that refuse the rest."""

import datetime as dt

import numpy as np
import pytest

from matdb.errors import InputError, UnitError
from matdb.weather.hourly import hourly_csv, monthly_csv


def rows(title, cells):
    return title + "\n" + "\n".join(cells) + "\n"


ISO = [f"2026-01-31T{h:02d}:00,{h - 10}" for h in range(24)]


def test_plain_iso_with_the_unit_in_the_title():
    got = hourly_csv(rows("time,temperature (C)", ISO), what="tomorrow.csv")
    assert got.times.tolist() == list(range(24))
    assert got.temperature_c.tolist() == [h - 10 for h in range(24)]
    assert got.start == dt.datetime(2026, 1, 31)
    assert got.source == "tomorrow.csv"
    assert got.notes == ()


@pytest.mark.parametrize(
    ("title", "cells"),
    [
        ("valid_time,issue_time,temp_c,dewpoint_c", ["2026-01-31 06:00,x,-5,-7", "2026-01-31 07:00,x,-4,-7"]),
        ("Datum;Lufttemperatur [°C];Taupunkt [°C]", ["31.01.2026 06:00;-5,0;-7,1", "31.01.2026 07:00;-4,0;-7,0"]),
        ("Date,Time,Air Temperature (F)", ["01/31/2026,06:00 AM,23", "01/31/2026,07:00 AM,24.8"]),
        ("timestamp\tt2m_K", ["1769839200\t268.15", "1769842800\t269.15"]),
        ("hour,temperature in celsius", ["6,-5", "7,-4"]),
        ("time|T (K)", ["20260131T0600Z|268.15", "20260131T0700Z|269.15"]),
        ("local time,air temp", ["2026-01-31 06:00:00,-5 C", "2026-01-31 07:00:00,-4 C"]),
        ("local time;temp", ["2026-01-31 06:00:00;-5,0 °C", "2026-01-31 07:00:00;-4,0 °C"]),
        ("utc,temperature_degC", ["2026-01-31T06:00:00+01:00,\N{MINUS SIGN}5", "2026-01-31T06:00:00Z,\N{MINUS SIGN}4"]),
        ("# made by hand\ntime,temperature (°F)", ["2026-01-31 06:00,23.0", "2026-01-31 07:00,24.8"]),
        ("station,Ridge,altitude,900\n\ntime,temperature (C),wind", ["2026-01-31 06:00,-5,3", "2026-01-31 07:00,-4,2"]),
        ('"time","temperature (°C)"', ['"2026-01-31 06:00","-5"', '"2026-01-31 07:00","-4"']),
        (
            "Date (MM/DD/YYYY),Time (HH:MM),Dry-bulb (C),Dew-point (C)",
            ["01/02/1988,06:00,-5,-9", "01/02/1988,07:00,-4,-9"],
        ),
        ("date (dd/mm/yyyy),hour,temp (C)", ["03/02/2026,6,-5", "03/02/2026,7,-4"]),
        ("date.time,temp [deg C]", ["3/2/2026 11:30 PM,-5", "3/3/2026 12:30 am,-4"]),
        ("date.time,temp [deg C]", ["3/2/2026 23:30,-5", "4/2/2026 00:30,-4"]),
        ("time,temperature (C),", ["2026-01-31 06:00,-5,", "2026-01-31 07:00,-4,"]),
    ],
)
def test_many_makes_of_table_give_the_same_two_hours(title, cells):
    text = rows(title, cells)
    for variant in (text, "\N{ZERO WIDTH NO-BREAK SPACE}" + text, text.encode("utf-8-sig"), text.replace("\n", "\r\n")):
        got = hourly_csv(variant)
        assert got.temperature_c == pytest.approx([-5, -4])
        assert got.times == pytest.approx([0, 1])


def test_old_code_pages_and_utf_16():
    text = rows("Zeit;Temperatur (°C)", ["31.01.2026 06:00;-5,5", "31.01.2026 07:00;-4"])
    for code in ("cp1252", "utf-16"):
        assert hourly_csv(text.encode(code)).temperature_c.tolist() == [-5.5, -4]


def test_missing_values_are_left_out_and_counted():
    cells = [
        "2026-01-31T00:00,1",
        "2026-01-31T01:00,",
        "2026-01-31T02:00,-9999",
        "2026-01-31T03:00,NA",
        "2026-01-31T04:00,5",
    ]
    cells += [f"2026-01-31T{h:02d}:00,6" for h in range(5, 9)]
    got = hourly_csv(rows("time,temperature (C)", cells))
    assert got.times.tolist() == [0, 4, 5, 6, 7, 8]
    assert got.notes == ("3 rows without a temperature left out",)
    assert got.temperature_c[1] == 5


def test_a_leading_gap_moves_the_start():
    cells = ["2026-01-31T00:00,", "2026-01-31T01:00,2", "2026-01-31T02:00,3"]
    got = hourly_csv(rows("time,temperature (C)", cells))
    assert got.start == dt.datetime(2026, 1, 31, 1)
    assert got.times.tolist() == [0, 1]


def test_missing_hours_leave_a_gap_and_a_note():
    cells = [ISO[h] for h in range(24) if h not in (5, 6)]
    got = hourly_csv(rows("time,temperature (C)", cells))
    assert 5.0 not in got.times
    assert got.notes == ("2 hours missing in the times",)


AUTUMN = ["2026-10-25 01:00,5", "2026-10-25 02:00,4", "2026-10-25 02:00,3", "2026-10-25 03:00,2", "2026-10-25 04:00,1"]


def test_the_hour_that_comes_twice_is_two_hours():
    got = hourly_csv(rows("time,temperature (C)", AUTUMN))
    assert got.times.tolist() == [0, 1, 2, 3, 4]
    assert got.notes == ("clock set back at 2026-10-25 02:00",)
    half = [f"2026-10-25 {t},5" for t in ("01:30", "02:00", "02:30", "02:00", "02:30", "03:00")]
    assert np.diff(hourly_csv(rows("time,temperature (C)", half)).times) == pytest.approx(np.full(5, 0.5))


def test_the_hour_that_is_skipped_is_missing():
    spring = ["2026-03-29 00:00,5", "2026-03-29 01:00,4", "2026-03-29 03:00,3", "2026-03-29 04:00,2"]
    assert hourly_csv(rows("time,temperature (C)", spring)).times.tolist() == [0, 1, 3, 4]


def test_newest_first_is_turned_round():
    got = hourly_csv(rows("time,temperature (C)", ISO[::-1]))
    assert got.temperature_c[0] == -10
    assert got.notes == ("rows were newest first",)
    assert got.start == dt.datetime(2026, 1, 31)


def test_a_typical_year_of_months_from_several_years():
    cells = ["01/31/1988,23:00,1", "01/31/1988,24:00,2", "02/01/1976,01:00,3", "02/01/1976,02:00,4"]
    got = hourly_csv(rows("Date (MM/DD/YYYY),Time (HH:MM),Dry-bulb (C)", cells))
    assert got.times.tolist() == [0, 1, 2, 3]
    assert "typical year" in got.notes[0]


def test_days_first_or_months_first_is_told_from_the_column():
    day = [f"{d}/1/2026 00:00,1" for d in range(1, 14)]
    assert hourly_csv(rows("date,temp (C)", day)).start == dt.datetime(2026, 1, 1)
    month = [f"1/{d}/2026 00:00,1" for d in range(1, 14)]
    assert hourly_csv(rows("date,temp (C)", month)).times[-1] == 24 * 12
    short = [f"5/4/2026 {h:02d}:00,1" for h in range(3)]
    with pytest.raises(InputError, match="2026-01-31"):
        hourly_csv(rows("date,temp (C)", short))
    dotted = [f"5.4.2026 {h:02d}:00,1" for h in range(3)]
    assert hourly_csv(rows("date,temp (C)", dotted)).start == dt.datetime(2026, 4, 5)


def test_the_unit_may_be_told():
    text = rows("time,temperature", ["2026-01-31 00:00,32", "2026-01-31 01:00,50"])
    assert hourly_csv(text, unit="F").temperature_c.tolist() == [0, 10]


@pytest.mark.parametrize(
    ("header", "wrong"),
    [
        ("time,reading A,reading B (C)", "reading B"),
        ("time,temp a (C),temp b (C)", "temp b"),
        ("when,reading,temperature (C)", "when"),
        ("model time,local hour,temperature (C)", "model time"),
    ],
)
def test_the_cure_for_unclear_columns_cures(header, wrong):
    row = "2026-01-31 00:00,4,5"
    with pytest.raises(InputError) as caught:
        hourly_csv(rows(header, [row]))
    title = caught.value.cure.split("'")[1]
    assert hourly_csv(rows(header.replace(wrong, title), [row])).temperature_c.tolist() == [5]


@pytest.mark.parametrize(
    ("text", "options", "word"),
    [
        ("", {}, "two columns or more"),
        ("time,temperature (C)\n", {}, "one row per hour"),
        (rows("time,temperature", ISO), {}, "give --unit C"),
        (rows("time,temperature (C)", ISO), {"unit": "F"}, "as the column"),
        (rows("time,temperature", ISO), {"unit": "R"}, "C, F or K"),
        (rows("time,temperature (K)", ISO), {}, "line 2"),
        (rows("time,humidity", ISO), {}, "plainly the air temperature"),
        (rows("time,temp a (C),temp b (C)", [c + ",1" for c in ISO]), {}, "air temperature"),
        (rows("zzz,temperature (C)", ISO), {}, "valid time"),
        (rows("time,temperature (C)", ["soon,1", "later,2"]), {}, "line 2, time"),
        (rows("time,temperature (C)", ["2026-13-01 00:00,1"]), {}, "line 2, time"),
        (rows("time,temperature (C)", ["2026-01-01 25:00,1"]), {}, "line 2, time"),
        (rows("time,temperature (C)", ["2026-01-01 00:00,warm"]), {}, "'warm'"),
        (
            rows("time,temperature (C)", ["2026-01-01 00:00,1", "2026-01-01 00:00,2", "2026-01-01 00:00,3"]),
            {},
            "later than",
        ),
        (
            rows("time,temperature (C)", ["2026-01-01 05:00,1", "2026-01-01 06:00,1", "2026-01-01 03:00,2"]),
            {},
            "line 4",
        ),
        (rows("hour,temperature (C)", ["0,1", "1,1", "1,2"]), {}, "line 4"),
        (rows("time,temperature (C)", ["2026-01-01 05:00,", "2026-01-01 06:00,", "2026-01-01 07:00,2"]), {}, "missing"),
        (rows("time,temperature (C)", ["2026-01-01 05:00Z,1", "2026-01-01 06:00,2"]), {}, "all rows or on none"),
        (rows("time,temperature (C)", ["2026-01-01 05:00,1,5"]), {}, "semicolons"),
        (b"\x89PNG\x00\x00", {}, "zero bytes"),
    ],
)
def test_bad_tables_are_refused_with_one_line(text, options, word):
    with pytest.raises(InputError) as caught:
        hourly_csv(text, **options)
    assert word in str(caught.value)
    assert "\n" not in str(caught.value)


def test_missing_unit_is_a_unit_error():
    with pytest.raises(UnitError):
        hourly_csv(rows("time,temperature", ISO))


MONTHS = rows("month;low (F);high (F)", ["February;14;32", "1;5;23", "dec;23;41"])


def test_months_swing_between_their_extremes():
    got = monthly_csv(MONTHS)
    assert len(got) == 72
    assert (got.temperature_c[:24].min(), got.temperature_c[:24].max()) == pytest.approx((-15, -5))
    assert got.temperature_c[5] == pytest.approx(-15)
    assert got.temperature_c[15] == pytest.approx(-5)
    assert got.times[24] == 730.5
    assert got.times[48] == 11 * 730.5
    assert got.notes == ("each month is one day between its extremes",)


@pytest.mark.parametrize(
    ("text", "word"),
    [
        (rows("month,low (C)", ["1,2"]), "one column high"),
        (rows("month,low (C),high (C)", ["13,2,3"]), "a month, 1 to 12"),
        (rows("month,low (C),high (C)", ["1,2,3", "jan,2,3"]), "not in the table yet"),
        (rows("month,low (C),high (C)", ["1,5,3"]), "swap them"),
        (rows("month,low (C),high (C)", ["1,,3"]), "a lowest and a highest"),
        (rows("month,low,high", ["1,2,3"]), "unit"),
        ("month,low (C),high (C)\n", "one row per month"),
    ],
)
def test_bad_months_are_refused_with_one_line(text, word):
    with pytest.raises(InputError) as caught:
        monthly_csv(text)
    assert word in str(caught.value)
    assert "\n" not in str(caught.value)
