"""Weather against values from outside the project, each with its source."""

import datetime as dt
import random
from importlib import resources

import numpy as np
import pytest

from matdb.errors import InputError
from matdb.weather.forecast import Forecast, at_altitude
from matdb.weather.hourly import hourly_csv
from matdb.weather.reports import parse_metar, parse_taf


def _lifted_c(altitude_m):
    """15 degC at sea level, moved to an altitude."""
    return float(at_altitude(Forecast(np.array([15.0])), 0.0, altitude_m).temperature_c[0])


def test_standard_atmosphere_at_1500_m():
    # ICAO Doc 7488: 15 - 6.5 h.
    assert _lifted_c(1500.0) == pytest.approx(5.25, abs=1e-12)


@pytest.mark.parametrize("altitude", [-500.0, 0.0, 500.0, 1500.0, 3000.0, 8000.0])
def test_standard_atmosphere_against_a_general_library(altitude):
    # fluids.ATMOSPHERE_1976 (US Standard Atmosphere 1976, the same below 11 km) takes geometric altitude:
    # that of the geopotential one here is h r / (r - h), r = 6356.766 km. Deviation: constants in the sixth
    # digit.
    from fluids import ATMOSPHERE_1976

    air = ATMOSPHERE_1976(altitude * 6356766.0 / (6356766.0 - altitude))
    assert _lifted_c(altitude) + 273.15 == pytest.approx(air.T, abs=1e-6)


@pytest.mark.parametrize(
    ("text", "temperature", "dew"),
    [
        # ICAO Annex 3, appendix 3, example of a routine and of a special report (memory).
        ("METAR YUDO 221630Z 24004MPS 0600 R12/1000U DZ FG SCT010 OVC020 17/16 Q1018", 17.0, 16.0),
        ("SPECI YUDO 151115Z 05025G37KT 3000 1200NE +TSRA BKN005CB 25/22 Q1008", 25.0, 22.0),
        # Federal Meteorological Handbook No. 1, chapter 12, sample report (memory).
        (
            "METAR KABC 121755Z AUTO 21016G24KT 180V240 1SM R11/P6000FT -RA BR BKN015 OVC025 06/04 A2990 RMK AO2 "
            "PK WND 20032/25 WSHFT 1715 VIS 3/4V1 1/2 VIS 3/4 RWY11 RAB07 CIG 013V017 CIG 017 RWY11 PRESFR SLP125 "
            "P0003 60009 T00640036 10066 21012 58033 TSNO $",
            6.4,
            3.6,
        ),
        # Ibid., additive temperature group: "T00261015 would indicate 2.6 and -1.5" (memory).
        ("METAR KABC 121755Z 03/M02 RMK T00261015", 2.6, -1.5),
        ("METAR KABC 121755Z M02/M02 RMK T10171022", -1.7, -2.2),
    ],
)
def test_the_codes_own_examples_of_temperature(text, temperature, dew):
    got = parse_metar(text)
    assert (got.temperature_c, got.dew_point_c) == (temperature, dew)


def test_the_codes_own_examples_of_a_forecast():
    # ICAO Annex 3, appendix 5, example of a TAF (memory): it forecasts no temperature, and is refused for it.
    text = (
        "TAF YUDO 151800Z 1600/1618 13005MPS 9000 BKN020 BECMG 1606/1608 SCT015CB BKN020 TEMPO 1608/1612 17006G12MPS "
        "1000 TSRA SCT010CB BKN020 FM161230 15004MPS 9999 BKN020"
    )
    with pytest.raises(InputError, match="many TAFs have none"):
        parse_taf(text)
    # Ibid., table A5-1, examples of temperature: TX25/1013Z TN09/1005Z and TX05/2112Z TNM02/2103Z (memory).
    got = parse_taf(text.replace("BECMG", "TX25/1613Z TN09/1605Z BECMG"))
    assert [(e.kind, e.temperature_c, e.hours_on) for e in got.extremes] == [("lowest", 9, 5), ("highest", 25, 13)]
    got = parse_taf("TAF YUDO 201800Z 2100/2124 TX05/2112Z TNM02/2103Z")
    assert [e.temperature_c for e in got.extremes] == [-2.0, 5.0]
    with pytest.raises(InputError, match="cancelled"):
        parse_taf("TAF AMD YUDO 161500Z 1600/1618 CNL")


def test_reports_against_a_general_parser():
    # metar-taf-parser-mivek, an open parser of the same codes: temperatures and days of 200 generated
    # reports.
    parser = pytest.importorskip("metar_taf_parser.parser.parser")
    rng = random.Random(3)
    for _ in range(100):
        t = rng.randint(-45, 45)
        dew = t - rng.randint(0, 12)
        pair = "/".join(f"M{-v:02d}" if v < 0 else f"{v:02d}" for v in (t, dew))
        text = f"EDDM {rng.randint(1, 28):02d}1050Z 24008KT 9999 FEW020 {pair} Q1013"
        theirs = parser.MetarParser().parse(text)
        ours = parse_metar(text)
        assert (ours.temperature_c, ours.dew_point_c, ours.when[0]) == (
            theirs.temperature,
            theirs.dew_point,
            theirs.day,
        )
        begin = dt.datetime(2026, rng.choice([1, 2, 4, 12]), rng.randint(1, 28), 12) + dt.timedelta(
            days=rng.randint(0, 3)
        )
        hot, cold = (begin + dt.timedelta(hours=rng.randint(0, 29)) for _ in range(2))
        groups = [f"T{k}{'M' if v < 0 else ''}{abs(v):02d}/{w:%d%H}Z" for k, v, w in (("X", t, hot), ("N", dew, cold))]
        end = begin + dt.timedelta(hours=30)
        text = f"TAF EDDM {begin:%d%H}00Z {begin:%d%H}/{end:%d%H} 24008KT CAVOK {' '.join(groups)}"
        theirs = parser.TAFParser().parse(text)
        ours = {e.kind: e for e in parse_taf(text, begin.date()).extremes}
        for kind, other in (("highest", theirs.max_temperature), ("lowest", theirs.min_temperature)):
            at = begin + dt.timedelta(hours=ours[kind].hours_on)
            assert (ours[kind].temperature_c, at.day, at.hour) == (other.temperature, other.day, other.hour)
        assert ours["highest"].hours_on == (hot - begin).total_seconds() / 3600


@pytest.mark.parametrize(("name", "low", "high"), [("seattle-temps.csv", 25.0, 85.0), ("sf-temps.csv", 40.0, 75.0)])
def test_a_year_of_open_hourly_weather(name, low, high):
    # vega-datasets: hourly normals of two cities for 2010, degrees Fahrenheit (unit from its description),
    # local time with the hour of the clock change missing in spring.
    package = pytest.importorskip("vega_datasets")
    data = (resources.files(package) / "_data" / name).read_bytes()
    year = hourly_csv(data, what=name, unit="F")
    assert len(year) == 8759
    assert year.start == dt.datetime(2010, 1, 1)
    assert year.notes == ("1 hour missing in the times",)
    assert low < np.min(year.temperature_c) * 1.8 + 32 < np.max(year.temperature_c) * 1.8 + 32 < high
