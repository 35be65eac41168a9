"""Forecasts on the command line, the set for a season, six axes."""

import dataclasses
import json
import math
import re

import numpy as np
import pytest

import matdb
from matdb.cli.screen import share_text
from matdb.cli.weather import clock_hours
from matdb.errors import InputError
from matdb.units import percent

METAR = "METAR EDDM 031150Z 24005KT 9999 M02/M05 Q1013"
TAF = "TAF EDDM 201100Z 2012/2118 24005KT 9999 TX03/2014Z TNM05/2106Z"


@pytest.fixture
def hourly(tmp_path):
    """Two January days, from -12 to 11 degC."""
    file = tmp_path / "hours.csv"
    rows = [f"2026-01-{3 + h // 24:02d} {h % 24:02d}:00,{h % 24 - 12}" for h in range(48)]
    file.write_text("time,temperature (C)\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return file


@pytest.fixture
def six(store):
    """A mounting that tells positions, inertia and the camera."""
    with matdb.open_store(store) as kept:
        kept.add(
            matdb.Mounting(
                name="six",
                mass_kg=0.6,
                count=4,
                rpm_idle=4200,
                rpm_full=8000,
                manoeuvre_hz=4.0,
                positions_mm=[(45, 35, 0), (45, -35, 0), (-45, 35, 0), (-45, -35, 0)],
                box_mm=(100, 80, 60),
                centre_mm=(0, 0, -20),
                row_time_us=12.5,
                rows=3000,
                focal_length_mm=24,
                pixel_pitch_um=4,
                packages=(matdb.CameraPackage(name="zoom", mass_kg=0.9, box_mm=(140, 90, 80)),),
            )
        )
    return store


def test_a_slow_swing_turns_the_picture_by_focal_length_over_pixel_pitch(matdb_says, six, tmp_path):
    """The camera follows at 0.5 Hz, so 0.2 rad/s2 of pitch move a picture of 4.5 mm and 2.4 um by 38 px: by hand."""
    file = tmp_path / "slow.csv"
    file.write_text("frequency (Hz),pitch (rad/s2)\n0.5,0.2\n", encoding="utf-8")
    camera = ("--focal-length", "4.5mm", "--pixel-pitch", "2.4um")
    told = matdb_says("suit", "--mounting", "six", "--temp=20C", "--spectrum", file, *camera, "--json").json
    assert told["mounting"]["pixel_pitch_um"] == 2.4
    swing = 4.5e-3 / 2.4e-6 * 0.2 / (2 * math.pi * 0.5) ** 2
    for row in told["ranking"]:
        assert row["shake"]["vertical_rms_px"]["median"] == pytest.approx(swing / math.sqrt(2), rel=0.01)
    refused = matdb_says("suit", "--mounting", "six", "--temp=20C", "--spectrum", file, "--pixel-pitch", "0.0024um")
    assert refused.code == 2
    assert "pixel pitch of six" in refused.err


def suit(matdb_says, *words):
    told = matdb_says("suit", "--mounting", "cam", *words, "--json")
    assert told.code == 0, told.err
    assert told.err == ""
    return told.json


def test_a_forecast_counts_hours_and_names_the_worst(matdb_says, hourly):
    answer = suit(matdb_says, "--forecast", hourly)
    assert answer["air"]["temperature_c"] == {"low": -12.0, "high": 11.0}
    assert answer["air"]["entries"] == 48
    for row in answer["ranking"]:
        assert row["hours"] == 48.0
        assert row["worst_when"].startswith("2026-01-03")
    shown = matdb_says("suit", "--mounting", "cam", "--forecast", hourly, "--why", "all").out
    assert "Air: hours.csv, -12.0 to 11.0 degC." in shown
    assert "(2026-01-03" in shown
    assert shown.count("room to the limit") == len(answer["ranking"])


def test_take_off_hours_altitude_and_a_warm_car(matdb_says, hourly):
    early = suit(matdb_says, "--forecast", hourly, "--take-off", "06:00..10:00")
    assert early["air"]["temperature_c"] == {"low": -6.0, "high": -2.0}
    assert early["ranking"][0]["hours"] == 10.0
    above = ("--forecast-altitude", "450m", "--site-altitude", "1450m")
    high = suit(matdb_says, "--forecast", hourly, "--take-off", "06:00..10:00", *above)
    assert high["air"]["temperature_c"] == {"low": -12.5, "high": -8.5}
    assert any("standard atmosphere" in note for note in high["air"]["notes"])
    warm = suit(matdb_says, "--forecast", hourly, "--take-off", "06:00..10:00", "--car", "22C")
    assert warm["air"]["car_c"] == 22.0
    for row in warm["ranking"]:
        assert row["warm"]["temperature_c"] == 22.0
        assert row["cold"]["temperature_c"] < 0.0
    words = ("--forecast", hourly, "--take-off", "6..10", "--car", "22C", "--why", "0042")
    shown = matdb_says("suit", "--mounting", "cam", *words).out
    assert "parts leave a car at 22 degC" in shown


def test_reports(matdb_says):
    assert suit(matdb_says, "--metar", METAR)["air"]["temperature_c"] == {"low": -2.0, "high": -2.0}
    assert suit(matdb_says, "--taf", TAF)["air"]["temperature_c"] == {"low": -5.0, "high": 3.0}
    told = matdb_says("suit", "--mounting", "cam", "--metar", "METAR EDDM 031150Z 24005KT 9999 ///// Q1013")
    assert told.code == 2
    assert "METAR temperature" in told.err
    assert told.err.count("\n") == 1


def test_a_range_is_as_before(matdb_says):
    answer = suit(matdb_says, "--temp", "-5C..5C")
    assert answer["air"]["entries"] == 11
    assert answer["ranking"][0]["hours"] == 11.0
    assert "Air:" not in matdb_says("suit", "--mounting", "cam", "--temp", "-5C..5C", "--why", "all").out


def test_every_row_shows_its_probability_and_straddling_ones_never_suit(matdb_says, hourly):
    answer = suit(matdb_says, "--forecast", hourly)
    shown = matdb_says("suit", "--mounting", "cam", "--forecast", hourly, "--why", "all").out
    low, high = answer["window_hz"]["low"], answer["window_hz"]["high"]
    for row in answer["ranking"]:
        assert 0.0 <= row["probability"] <= 1.0
        assert f"{row['part']}: {row['verdict']} ({share_text(row['probability'])})" in shown
        f = row["worst"]["natural_frequency_hz"]
        if f["low"] < low < f["high"] or f["low"] < high < f["high"]:
            assert row["verdict"] != "suits"


BAD = {
    "no source": ((), ["--temp"]),
    "two sources": (("--temp", "0C", "--metar", METAR), ["--temp and --metar"]),
    "one altitude": (("--temp", "0C", "--site-altitude", "900m"), ["--forecast-altitude"]),
    "unit without table": (("--temp", "0C", "--unit", "F"), ["--unit"]),
    "hours": (("--temp", "0C", "--take-off", "6-10"), ["--take-off", "06:00..10:00"]),
    "car": (("--temp", "0C", "--car", "22"), ["--car", "22C"]),
    "take-off outside": (("--metar", METAR, "--take-off", "06:00..10:00"), ["take-off window"]),
    "package": (("--temp", "0C", "--package", "zoom"), ["package", "main"]),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_words_are_refused_in_one_line(matdb_says, name):
    words, parts = BAD[name]
    told = matdb_says("suit", "--mounting", "cam", *words)
    assert told.code == 2
    assert told.out == ""
    assert told.err.count("\n") == 1
    for part in parts:
        assert part in told.err


def test_a_table_that_is_not_there(matdb_says, tmp_path):
    told = matdb_says("suit", "--mounting", "cam", "--forecast", tmp_path / "none.csv")
    assert told.code == 1
    assert "none.csv" in told.err


def test_clock_hours():
    assert clock_hours("06:00..10:30") == (6.0, 10.5)
    assert clock_hours("22:00 to 2:00") == (22.0, 2.0)
    assert clock_hours("6…24") == (6.0, 24.0)
    for bad in ("", "6", "6..25", "6..10..12", "06:60..7", "6..6", "six..ten"):
        with pytest.raises(InputError, match="06:00"):
            clock_hours(bad)


def test_cover_answers_in_words_and_in_one_document(matdb_says, tmp_path):
    file = tmp_path / "year.csv"
    t = np.arange(800)
    temperature = 5.0 - 18.0 * np.cos(2 * np.pi * t / 800) + 5.0 * np.sin(2 * np.pi * t / 24)
    file.write_text(
        "hour,temperature (F)\n" + "\n".join(f"{h},{1.8 * c + 32:.2f}" for h, c in zip(t, temperature, strict=True))
    )
    told = matdb_says("cover", "--mounting", "cam", "--forecast", file, "--share", "90%", "--json")
    assert told.code == 0, told.err
    cover = told.json["cover"]
    assert cover["hours"] == 800.0
    assert cover["proven"] is True
    assert cover["reached"] == (cover["share"] >= 0.9)
    assert [s["size"] for s in cover["best_by_size"]] == list(range(1, len(cover["best_by_size"]) + 1))
    with matdb.open_store(tmp_path / "bench.sqlite") as kept:
        again = kept.cover("cam", temperature, share=0.9)
    assert again.share == pytest.approx(cover["share"], abs=0.01)
    shown = matdb_says("cover", "--mounting", "cam", "--forecast", file, "--share", "0.9", "--cautions")
    assert shown.code == 0
    first = shown.out.splitlines()[0]
    assert first == told.json["answer"]["lines"][0]
    assert first.startswith(("One part does it: ", "No single part"))
    told = " ".join(shown.out.split())
    held = f"{800 * cover['share_with_swaps']:.1f}".removesuffix(".0")
    assert f"{held} of 800 hours" in told
    chosen, sizes = len(cover["members"]), cover["best_by_size"]
    gains = len(sizes) > chosen and sizes[chosen]["added_hours"] >= 0.5
    assert ("One part more would add" in told) == gains
    # Percentages are one kind: how sure a part is to hold, as the ranking says of the same hours.
    for member in cover["members"]:
        assert f"{percent(member['probability'])} sure to hold at all of its hours" in told
    if len(cover["members"]) == 1:
        held = ("--part", member["part"], "--squeeze", f"{member['squeeze_mm']}mm")
        (row,) = suit(matdb_says, "--forecast", file, *held)["ranking"]
        assert row["probability"] == pytest.approx(member["probability"])
    assert "never an airworthiness approval" in shown.out


def test_cover_of_a_months_table(matdb_says, tmp_path):
    file = tmp_path / "months.csv"
    file.write_text("month,low (C),high (C)\nJan,-9,1\nApr,2,13\nJul,13,27\nOct,4,14\n", encoding="utf-8")
    cover = matdb_says("cover", "--mounting", "cam", "--monthly", file, "--json").json
    assert cover["cover"]["hours"] == 96.0
    assert cover["air"]["temperature_c"] == {"low": -9.0, "high": 27.0}


@pytest.mark.slow
def test_the_first_screen_says_in_which_months_it_fails_as_the_document_does(matdb_says, tmp_path):
    """Each month is asked again by itself, over its own range."""
    file = tmp_path / "months.csv"
    file.write_text("month,low (C),high (C)\nJan,-40,-35\nFeb,-38,-30\nMar,-36,-30\nJul,13,27\n", encoding="utf-8")
    words = ("--mounting", "cam", "--mass", "400g", "--part", "0042", "--squeeze", "0mm")
    asked = ("suit", *words, "--monthly", file)
    (row,) = matdb_says(*asked, "--json").json["ranking"]
    listed = row["fails_in"], row["may_fail_in"]
    months = {"January": "-40C..-35C", "February": "-38C..-30C", "March": "-36C..-30C", "July": "13C..27C"}
    for month, span in months.items():
        (alone,) = matdb_says("suit", *words, "--temp", span, "--json").json["ranking"]
        least = alone["worst"]["probability"]
        assert [month in each for each in listed] == [least < 0.5, 0.5 <= least < 0.75], (month, least)
    assert listed[0] == ["January", "February", "March"]
    words_of = "it rather fails in January to March"
    assert words_of in " ".join(matdb_says(*asked).out.split("Decides")[0].split())
    told = matdb_says("cover", *words, "--monthly", file, "--json").json
    assert set(told["cover"]["fails_in"]) == set(listed[0])
    assert any(line.startswith(words_of.replace("it", "It", 1)) for line in told["answer"]["lines"])


@pytest.mark.parametrize(
    ("words", "part"), [(("--share", "0"), "share"), (("--share", "120%"), "share"), (("--most", "9"), "most")]
)
def test_cover_refuses_bad_wishes(matdb_says, words, part):
    told = matdb_says("cover", "--mounting", "cam", "--temp", "0C..5C", *words)
    assert told.code == 2
    assert part in told.err
    assert told.err.count("\n") == 1


def test_modes_in_words(matdb_says, six):
    told = matdb_says("modes", "six", "ring 16x6x5", "--temp", "-5C", "--json")
    assert told.code == 0, told.err
    assert len(told.json["modes"]) == 6
    f = [m["natural_frequency_hz"]["median"] for m in told.json["modes"]]
    assert f == sorted(f)
    assert any("couples with" in w for w in told.json["warnings"])
    shown = matdb_says("modes", "six", "ring 16x6x5", "--temp", "-5C").out
    assert "bounce" in shown
    words = ("suit", "--mounting", "six", "--temp", "-5C", "--part", "ring 16x6x5", "--package", "main")
    (row,) = matdb_says(*words, "--json").json["ranking"]
    assert f"at -5 degC: {row['verdict']} ({percent(row['probability'])})" in " ".join(shown.split())
    # A grommet is held as the ranking found it best.
    assert told.json["squeeze_mm"] == row["squeeze_mm"]
    zoom = matdb_says("modes", "six", "ring 16x6x5", "--temp", "-5C", "--package", "zoom", "--json").json
    assert zoom["modes"][0]["natural_frequency_hz"]["median"] < f[0]
    lost = matdb_says("modes", "--mounting", "six", "--part", "ring 16x6x5", "--temp", "-5C")
    assert "write matdb modes MOUNTING PART" in lost.err
    bare = matdb_says("modes", "cam", "ring 16x6x5", "--temp", "-5C")
    assert bare.code == 2
    assert "positions_mm of cam" in bare.err


def test_suit_tells_six_axes_packages_and_shake(matdb_says, six, tmp_path):
    spectrum = tmp_path / "airframe.csv"
    spectrum.write_text("frequency (Hz),z (m/s2),pitch (rad/s2)\n70,2,10\n140,1,5\n", encoding="utf-8")
    words = ("suit", "--mounting", "six", "--temp", "-5C..15C", "--spectrum", spectrum)
    answer = matdb_says(*words, "--json").json
    for row in answer["ranking"]:
        assert len(row["six_axes"]["modes"]) == 6
        assert row["shake"]["vertical_rms_px"]["median"] > 0.0
        assert row["shake"]["horizontal_rms_px"]["median"] == pytest.approx(0.0, abs=1e-9)
        assert {row["cold"]["package"], row["warm"]["package"]} == {"main", "zoom"}
    shown = matdb_says(*words, "--why", "all").out
    assert shown.count("six axes at") == len(answer["ranking"])
    assert shown.count("shake left:") == len(answer["ranking"])
    json.dumps(answer, allow_nan=False)


@pytest.mark.slow
def test_cover_and_suit_say_where_they_leave_the_readings(matdb_says):
    for temperatures, leaves in (("-10C..40C", False), ("-45C..40C", True)):
        asked = ("--mounting", "cam", "--part", "0042", "--temp", temperatures, "--share", "1%")
        told = matdb_says("cover", *asked, "--json").json
        (member,) = told["cover"]["members"]
        assert member["extrapolated"] is leaves
        # All are of the one part, which each names or is headed by.
        assert [w for w in member["warnings"] if not any(w in text for text in told["warnings"])] == []
        assert any("outside the measured temperatures" in w for w in told["warnings"]) is leaves
        cover, suit_ = matdb_says("cover", *asked, "--why").out, matdb_says("suit", *asked[:-2], "--why", "all").out
        for shown in (cover, suit_):
            assert ("guessed below -18 degC" in " ".join(shown.split())) is leaves
            if leaves:
                assert shown.index("Before you rely on it:") < shown.index("outside the measured temperatures")
        assert "temperatures more" in " ".join(cover.split())
        assert "hours" not in re.sub("24 hours|minutes to hours|after hours of soak", "", " ".join(cover.split()))


def test_one_is_singular(matdb_says):
    asked = ("--mass", "150g", "--count", "1", "--rotor", "4200rpm..8000rpm", "--temp", "20C", "--part", "0042")
    words = {"suit": ("--why", "all"), "cover": ()}
    suit_, cover = (" ".join(matdb_says(name, *asked, *more).out.split()) for name, more in words.items())
    assert "150 g on 1 isolator, rotors" in suit_
    assert "holds 1 of 1 temperature " in suit_
    assert "of 1 temperature" in cover
    assert "of 1 temperatures" not in cover


def test_the_swaps_are_told_with_one_kind_of_percentage():
    from matdb.advice.cover import Cover, Member, SizeBest, Swap
    from matdb.cli.cover import cover_lines

    member = Member(part="a", material="m", basis="readings", squeeze_mm=0.0, share_alone=0.8, share_served=0.5,
                    probability=0.7, low_c=0.0, high_c=9.0)  # fmt: skip
    found = Cover(
        reached=True,
        proven=True,
        share=0.863,
        wanted=0.8,
        share_with_swaps=0.862,
        swap_count=1,
        members=(member, dataclasses.replace(member, part="b")),
        swaps=(Swap(colder="a", warmer="b", down_c=3.0, up_c=5.0),),
        best_by_size=tuple(
            SizeBest(size=n, share=share, at_most=share, added_hours=9.0, parts=("a", "b")[:n])
            for n, share in enumerate((0.7, 0.863), 1)
        ),
        hours=36.0,
        options=2,
        sentence="two",
        counted="temperatures",
    )
    assert cover_lines(found) == [
        "No single part: 2 parts hold an expected 31 of 36 temperatures.",
        "Swap to a when it falls below 3 degC, and back to b when it rises above 5 degC.",
        "Alone the best would hold 25.2 of 36 temperatures.",
    ]
    poor = dataclasses.replace(found, reached=False, wanted=0.95)
    assert cover_lines(poor)[0] == (
        "No single part and no set of up to 2 parts does it: the best, 2 of them, holds an expected 31 of 36 "
        "temperatures; 34.2 are wanted."
    )
    assert cover_lines(poor)[1] == "At any one temperature it more likely holds than not."
    cold = dataclasses.replace(poor, fails_c=((-9.0, -4.0),), fails_in=("January",), may_fail_in=("February",))
    assert cover_lines(cold)[1] == "It rather fails in January at -9 to -4 degC and may fail in February."
    one = dataclasses.replace(found, members=(member,), swaps=(), share_with_swaps=0.9)
    assert cover_lines(one) == [
        "One part does it: a, holds an expected 32.4 of 36 temperatures.",
        "One part more would add 9 temperatures.",
    ]


def test_a_stored_mounting_is_asked_about_with_something_otherwise(matdb_says, six):
    ask = ("--temp", "-5C..15C", "--part", "ring 16x6x5", "--json")
    heavier = matdb_says("suit", "--mounting", "cam", "--mass", "0.9kg", "--count", "6", *ask)
    assert heavier.code == 0, heavier.err
    assert "For cam with mass 0.9kg, count 6, -5 to 15 degC" in heavier.json["answer"]["lines"][1]
    own = ("--rotor", "4200rpm..8000rpm", "--manoeuvre", "8Hz")
    plain = matdb_says("suit", "--mass", "0.9kg", "--count", "6", *own, *ask)
    assert heavier.json["ranking"] == plain.json["ranking"]
    assert matdb_says("mounting", "show", "cam", "--json").json["mounting"]["mass_kg"] == 0.6
    wider = ("suit", "--mounting", "cam", "--spread", "80x60mm", "--box", "110x80x60mm", *ask)
    assert matdb_says(*wider).json["ranking"][0]["all_directions"] is True
    said = matdb_says("cover", "--mounting", "cam", "--mass", "0.9kg", *ask[:-1]).out
    assert "Assumed: cam with mass 0.9kg, rotors" in " ".join(said.split())
