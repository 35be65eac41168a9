"""METAR, SPECI and TAF: 200 generated reports, each parsed to what was put in or refused with one line; odd ones."""

import datetime as dt
import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from matdb.errors import InputError
from matdb.weather import reports as wr


def code(value):
    return f"M{-value:02d}" if value < 0 else f"{value:02d}"


def generated(count=200, seed=11):
    """(kind, text, truth): truth is (temperature, dew) or the list of extremes, or None where it must be refused."""
    rng = random.Random(seed)
    out = []
    for i in range(count):
        station = "".join(rng.choice("ABCDEGKLPRUYZ") for _ in range(4))
        day, hour = rng.randint(1, 28), rng.randint(0, 23)
        wind = rng.choice(["00000KT", "24004MPS", "18015G28KT", "VRB02KT", "/////KT"])
        sky = rng.choice(
            ["CAVOK", "9999 FEW015 BKN040", "1 1/2SM -SN OVC008", "0600 R12/1000U DZ FG SCT010", "10SM CLR"]
        )
        t = rng.randint(-45, 44)
        dew = t - rng.randint(0, 14)
        if i % 2 == 0:
            word, auto = rng.choice(["METAR", "SPECI", "METAR COR", ""]), rng.choice(["", "AUTO"])
            head = f"{word} {station} {day:02d}{hour:02d}20Z {auto}"
            fault = rng.choice(["", "", "", "", "missing", "no dew", "none", "tenths", "three", "dash"])
            pair, remark, truth = f"{code(t)}/{code(dew)}", "", (t, dew)
            if fault == "missing":
                pair, truth = rng.choice(["/////", "///" + code(dew)]), None
            elif fault == "no dew":
                pair, truth = f"{code(t)}/" + rng.choice(["", "//"]), (t, None)
            elif fault == "none":
                pair, truth = "", None
            elif fault == "tenths":
                exact = t * 10 + rng.randint(-4, 4)
                remark = f"RMK AO2 SLP123 T{int(exact < 0)}{abs(exact):03d}{int(dew < 0)}{abs(dew) * 10:03d}"
                truth = (exact / 10, dew)
            elif fault == "three":
                pair, truth = f"{code(t)}/123", None
            elif fault == "dash":
                pair, truth = f"-{abs(t) + 1}/-{abs(t) + 2}", None
            out.append(("METAR", f"{head} {wind} {sky} {pair} Q1013 {remark}".strip() + rng.choice(["", "="]), truth))
        else:
            length = rng.choice([9, 24, 30])
            begin = dt.datetime(2026, 3, day, rng.choice([0, 6, 12, 18]))
            end = begin + dt.timedelta(hours=length)
            valid = f"{begin:%d%H}/{end:%d%H}"
            if end.hour == 0 and rng.random() < 0.5:
                valid = f"{begin:%d%H}/{end - dt.timedelta(hours=1):%d}24"
            high = begin + dt.timedelta(hours=rng.randint(0, length))
            low = begin + dt.timedelta(hours=rng.randint(0, length))
            fault = rng.choice(["", "", "", "", "one", "none", "no Z", "outside", "swapped"])
            tx, tn = f"TX{code(t)}/{high:%d%H}Z", f"TN{code(dew)}/{low:%d%H}Z"
            truth = [("highest", t, high), ("lowest", dew, low)]
            if fault == "one":
                tn, truth = "", truth[:1]
            elif fault == "none":
                tx, tn, truth = "", "", None
            elif fault == "no Z":
                tx, truth = tx[:-1], None
            elif fault == "outside":
                late = begin + dt.timedelta(hours=length + 30)
                tx, truth = f"TX{code(t)}/{late:%d%H}Z", None
            elif fault == "swapped" and t != dew:
                tx, tn, truth = f"TX{code(dew)}/{high:%d%H}Z", f"TN{code(t)}/{low:%d%H}Z", None
            head = rng.choice(["TAF", "TAF AMD", "TAF TAF", ""])
            change = f"BECMG {begin:%d%H}/{end:%d%H} 9999"
            text = f"{head} {station} {begin:%d%H}00Z {valid} {wind} CAVOK {tx} {tn} {change}".strip()
            out.append(("TAF", text, None if truth is None else (begin, truth)))
    return out


@pytest.mark.parametrize(("kind", "text", "truth"), generated())
def test_generated_reports_are_parsed_or_refused(kind, text, truth):
    parse = wr.parse_metar if kind == "METAR" else wr.parse_taf
    if truth is None:
        with pytest.raises(InputError) as caught:
            parse(text)
        assert "\n" not in str(caught.value)
        assert str(caught.value).startswith(kind)
        return
    if kind == "METAR":
        got = parse(text)
        assert got.temperature_c == pytest.approx(truth[0])
        assert (got.dew_point_c is None) == (truth[1] is None)
        if truth[1] is not None:
            assert got.dew_point_c == pytest.approx(truth[1])
    else:
        begin, extremes = truth
        for issued in (None, begin.date()):
            got = wr.parse_taf(text, issued)
            want = sorted((h - begin).total_seconds() / 3600 for _, _, h in extremes)
            assert [e.hours_on for e in got.extremes] == want
            assert sorted(e.temperature_c for e in got.extremes) == sorted(t for _, t, _ in extremes)
    assert len(wr.metar_forecast(text) if kind == "METAR" else wr.taf_forecast(text)) >= 1


def test_the_generator_makes_every_kind():
    made = generated()
    assert len(made) == 200
    for kind in ("METAR", "TAF"):
        refused = sum(t is None for k, _, t in made if k == kind)
        assert 20 <= refused <= 60


@settings(max_examples=150, deadline=None)
@given(st.text(alphabet="ATFMETRNIL XN/0123456789ZQKRM\n-=", max_size=80))
def test_any_text_is_parsed_or_refused_with_one_line(text):
    for parse in (wr.metar_forecast, wr.taf_forecast):
        try:
            parse(text)
        except InputError as error:
            assert "\n" not in str(error)  # noqa: PT017


@pytest.mark.parametrize(
    ("year", "month", "begin", "valid", "group", "hours"),
    [
        (2026, 1, 31, "3118/0124", "TN01/0106Z", 12),
        (2026, 2, 28, "2818/0124", "TN01/0106Z", 12),
        (2028, 2, 28, "2818/2924", "TN01/2906Z", 12),
        (2028, 2, 29, "2918/0124", "TN01/0106Z", 12),
        (2026, 4, 30, "3018/0124", "TN01/0106Z", 12),
        (2026, 12, 31, "3118/0124", "TN01/0106Z", 12),
        (2026, 3, 1, "0100/0124", "TN01/2823Z", -1),
        (2026, 6, 15, "1500/1524", "TN01/1524Z", 24),
    ],
)
def test_the_month_rolls_over(year, month, begin, valid, group, hours):
    text = f"TAF EDDM {valid} CAVOK {group}"
    for issued in (None, dt.date(year, month, begin)):
        assert wr.parse_taf(text, issued).extremes[0].hours_on == hours
    got = wr.taf_forecast(text, dt.date(year, month, begin))
    assert got.start == dt.datetime(year, month, begin, int(valid[2:4]), tzinfo=dt.UTC)


def test_the_date_may_be_days_off_and_settles_the_month():
    got = wr.taf_forecast("TAF EDDM 3118/0124 TN01/0106Z", dt.date(2026, 2, 3))
    assert got.start == dt.datetime(2026, 1, 31, 18, tzinfo=dt.UTC)
    with pytest.raises(InputError, match="up to 30 hours"):
        wr.parse_taf("TAF EDDM 2818/0112 TN01/0106Z", dt.date(2026, 5, 28))  # May has 31 days
    assert wr.metar_forecast("EDDM 311050Z 02/01", dt.date(2026, 4, 2)).start.month == 3


def test_hours_swing_between_extremes_and_keep_them():
    got = wr.taf_forecast("TAF EDDM 201100Z 2012/2118 TX03/2014Z TNM05/2106Z")
    assert got.times.tolist() == list(range(2, 19))
    assert (got.temperature_c[0], got.temperature_c[-1]) == (3.0, -5.0)
    assert got.temperature_c[8] == pytest.approx(-1.0)  # half way
    assert (np.diff(got.temperature_c) < 0).all()
    assert got.source == "TAF EDDM 2012/2118"


def test_one_extreme_and_two_at_one_hour():
    one = wr.taf_forecast("TAF EDDM 2012/2118 TX03/2014Z")
    assert one.temperature_c.tolist() == [3.0]
    assert any("only the highest" in n for n in one.notes)
    both = wr.taf_forecast("TAF EDDM 2012/2118 TX03/2014Z TN01/2014Z")
    assert both.times is None
    assert (both.low_c, both.high_c) == (1.0, 3.0)


def test_frost_near_the_dew_point_is_told():
    assert any("frost" in n for n in wr.metar_forecast("EDDM 201050Z M02/M03").notes)
    assert not any("frost" in n for n in wr.metar_forecast("EDDM 201050Z M02/M13").notes)
    assert not any("frost" in n for n in wr.metar_forecast("EDDM 201050Z 12/11").notes)


@pytest.mark.parametrize(
    ("parse", "text", "word"),
    [
        (wr.parse_metar, "", "the text of one METAR"),
        (wr.parse_metar, None, "the text of one METAR"),
        (wr.parse_metar, "x" * 5000, "at most 4000"),
        (wr.parse_metar, "METAR EDDM 201050Z NIL=", "NIL"),
        (wr.parse_metar, "METAR EDDM 201050Z 02/01 METAR EDDF 201050Z 02/01", "one METAR at a time"),
        (wr.parse_metar, "METAR EDDM 401050Z 02/01", "day 01 to 31"),
        (wr.parse_metar, "METAR EDDM 201050Z 02/01 05/04", "one group"),
        (wr.parse_metar, "METAR EDDM 201050Z 80/01", "to 65 degrees"),
        (wr.parse_metar, "METAR EDDM 201050Z 02/09", "dew point"),
        (wr.parse_metar, "METAR EDDM 201050Z 02/01 RMK T1022", "agree within"),
        (wr.parse_metar, "METAR EDDM 201050Z 02/01 RMK T90221011", "sign 0 or 1"),
        (wr.parse_metar, "METAR EDDM 201050Z CAVOK Q1013", "give the temperature by hand"),
        (wr.parse_metar, "TAF EDDM 2012/2118 TX03/2014Z", "read it as a TAF"),
        (wr.parse_taf, "METAR EDDM 201050Z 02/01", "read it as a METAR"),
        (wr.parse_taf, "TAF EDDM 201100Z NIL", "NIL"),
        (wr.parse_taf, "TAF AMD EDDM 201100Z 2012/2118 CNL", "cancelled"),
        (wr.parse_taf, "TAF EDDM 201100Z CAVOK TX03/2014Z", "a validity"),
        (wr.parse_taf, "TAF EDDM 201100Z 2012/2312 TX03/2014Z", "up to 30 hours"),
        (wr.parse_taf, "TAF EDDM 201100Z 2026/2112 TX03/2014Z", "hours 00 to 24"),
        (wr.parse_taf, "TAF EDDM 201100Z 2012/2118 TX03/14Z", "a group such as"),
        (wr.parse_taf, "TAF EDDM 201100Z 2012/2118 TX3/2014Z", "a group such as"),
        (wr.parse_taf, "TAF EDDM 201100Z 2012/2118 TX-3/2014Z", "a group such as"),
        (wr.parse_taf, "TAF EDDM 201100Z 2012/2118 TX99/2014Z", "to 65 degrees"),
        (wr.parse_taf, "TAF EDDM 201100Z 2012/2118 TX03/2014Z TAF EDDF 2012/2118", "one TAF at a time"),
        (wr.parse_taf, "TAF EDDM 201100Z 2012/2118 CAVOK", "many TAFs have none"),
    ],
)
def test_what_cannot_be_read_says_why(parse, text, word):
    with pytest.raises(InputError) as caught:
        parse(text)
    assert word in str(caught.value)
    assert "\n" not in str(caught.value)


def test_the_remark_alone_is_enough_and_lower_case_too():
    got = wr.parse_metar("metar ksea 251053z auto ///// rmk ao2 t10171022")
    assert (got.temperature_c, got.dew_point_c, got.tenths) == (-1.7, -2.2, True)
    assert wr.parse_metar("KSEA 251053Z 02/01 RMK T0023").temperature_c == 2.3
    assert wr.parse_metar("02/01").label == "METAR"


def test_trends_and_runways_are_not_taken_for_temperatures():
    got = wr.parse_metar("METAR LSZH 251050Z 24008KT 1200 R16/P1500 R24/29//95 FG M00/M01 Q1021 BECMG 03/02 TEMPO 0800")
    assert (got.temperature_c, got.dew_point_c) == (0.0, -1.0)
    assert str(got.temperature_c) == "0.0"
