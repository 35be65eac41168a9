"""Rest in the cold, where it decides: every answer says so, and may be asked for a shorter one."""

import numpy as np
import pytest

import matdb
from matdb.cli.answering import over_states
from matdb.curve.band import Band

CAMERA = ("--mass", "2kg", "--count", "4", "--spread", "100x80mm", "--box", "120x100x100mm")
FLOWN = ("--rotor", "7000rpm..9000rpm", "--manoeuvre", "6Hz")
WARNED = "natural rubber crystallises when it rests in such cold"


@pytest.fixture
def pads(matdb_says):
    assert matdb_says("mounting", "add", "heavy", *CAMERA, *FLOWN).code == 0
    return matdb_says


def answered(told):
    return " ".join(told.json["answer"]["lines"])


def test_suit_modes_and_next_say_that_rest_decides_and_take_how_long(pads):
    suit = ("suit", "--mounting", "heavy", "--temp", "-25C..5C", "--json")
    modes = ("modes", "heavy", "pad", "--temp", "-25C", "--json")
    for words in (suit, modes):
        assert f"Beware: {WARNED}, and stiffens; --rest 1h" in answered(pads(*words))
        assert "crystallises" not in answered(pads(*words, "--rest", "1min"))
        assert "rests for 20 h in such cold, and stiffens; counted here" in answered(pads(*words, "--rest", "20h"))
    assert "crystallises" not in answered(pads(*suit[:-2], "10C..25C", "--json"))
    assert "with parts from 20 degC, rested 20 h in the cold" in answered(pads(*suit, "--car", "20C", "--rest", "20h"))
    warm, cold = (pads(*suit, f"--car={car}") for car in ("20C", "-10C"))
    assert "rests for 8 h in such cold, and stiffens; taken as 8 h outside" in answered(warm)
    assert "rests for 20 h in such cold, and stiffens; taken as 8 h outside, 12 h more were the car" in answered(cold)
    assert any(note.startswith("rest in the cold taken as 8 h outside") for note in cold.json["air"]["notes"])
    brief, long = (pads(*modes, "--rest", hours).json["modes"] for hours in ("1min", "1000h"))
    highest = [m["natural_frequency_hz"]["high"] for m in brief], [m["natural_frequency_hz"]["high"] for m in long]
    assert np.all(np.array(highest[1]) > 1.3 * np.array(highest[0]))
    rows = [pads(*suit, "--rest", hours).json["ranking"] for hours in ("1min", "1000h")]
    (brief,), (long,) = ([row["cold"] for row in each if row["part"] == "pad"] for each in rows)
    assert long["natural_frequency_hz"]["high"] > 1.3 * brief["natural_frequency_hz"]["high"]


def test_cover_squeeze_and_the_page_say_and_take_the_same(pads, store, tmp_path):
    cold = ("--temp", "-25C..5C", "--json")
    cover = ("cover", "--mounting", "heavy", "--part", "pad", *cold)
    page = ("page", "heavy", "--part", "pad", "--out", tmp_path / "field.html", "--force", *cold)
    pair = matdb.GrommetPair(lower=matdb.Ring(16, 6, 6), plate_mm=2.0)
    with matdb.open_store(store) as kept:
        kept.add(matdb.Part(name="pair", material="tan", form=pair))
    squeeze = ("squeeze", "pair", "--mass", "2kg", *cold)
    for words in (cover, page, squeeze):
        told = answered(pads(*words))
        assert told.count("crystallises") == 1
        assert f"{WARNED}, and stiffens; --rest 1h" in told
        assert "crystallises" not in answered(pads(*words, "--rest", "1min"))
        assert "rests for 20 h in such cold, and stiffens; counted here" in answered(pads(*words, "--rest", "20h"))
    size = ("size", "heavy", "--material", "tan", "--form", "pad", "--diameter", "8mm..14mm", "--height", "8mm")
    for words, end in (((), "--rest 1h"), (("--car", "20C"), "taken as 8 h outside")):
        assert f"and stiffens; {end}" in answered(pads(*size, *cold, *words))
    assert "rests for 20 h" in (tmp_path / "field.html").read_text(encoding="utf-8")
    brief, long = (pads(*cover, "--rest", hours).json["cover"]["share"] for hours in ("1min", "1000h"))
    assert brief != long


def test_next_asks_for_a_long_soak_where_crystallisation_makes_the_band_wide(pads):
    cold = ("next", "pad", "--temp", "-25C..-20C", "--mass", "500g", "--json")
    soak = "a reading on pad after a day's soak at -25 degC (--soak 24h): natural rubber crystallises"
    # What was never read is read at all first.
    assert soak not in answered(pads(*cold))
    read = ("reading", "add", "ring-down", "pad", "--mass", "500g", "--piece", "1")
    for t, hz, decrement, soaked in (("22C", 40, 0.25, "1h"), ("-25C", 44, 0.3, "30min"), ("-5C", 42, 0.3, "30min")):
        words = ("--temp", t, "--frequency", f"{hz}Hz", "--decrement", str(decrement), "--soak", soaked)
        assert pads(*read, *words).code == 0
    told = answered(pads(*cold))
    assert soak in told
    # Half an hour tells nothing of it.
    said = pads("stiffness", "pad", "--temp", "-25C", "--mass", "500g", "--json").json["warnings"]
    assert any("the band's upper end allows for it, a reading after hours of soak settles it" in text for text in said)
    assert "24h" not in answered(pads("next", "pad", "--temp", "10C..25C", "--mass", "500g", "--json"))


def rows(*medians):
    at = {"frequency_hz": 30.0, "mass_kg": None}
    return [at | {"temperature_c": float(k), "k": Band(m, 0.9 * m, 1.1 * m)} for k, m in enumerate(medians)]


def test_what_is_highest_and_lowest_between_the_ends_is_told_and_shown():
    def told(*medians):
        return over_states("it", rows(*medians), "k", "N/mm", lambda row, _: f"{row['k'].median:g}")

    first, *states = told(50.0, 60.0, 70.0, 90.0, 116.0, 80.0, 60.0, 50.0, 40.0, 33.0)
    assert (
        first == "it at 30 Hz: 50.0 N/mm at 0 degC to 33.0 N/mm at 9 degC, at most 116 N/mm at 4 degC (4 of 10 states)."
    )
    assert [state.partition(":")[0] for state in states][::3] == ["0 degC", "9 degC"]
    assert "4 degC: 116" in states
    first, *states = told(50.0, 20.0, 30.0, 116.0, 80.0, 60.0)
    assert "at least 20.0 N/mm at 1 degC, at most 116 N/mm at 3 degC" in first
    assert [state.partition(" ")[0] for state in states] == ["0", "1", "3", "5"]
    # What only falls says no more than its ends, shown evenly.
    first, *states = told(*np.linspace(100.0, 10.0, 10))
    assert "at most" not in first
    assert [state.partition(" ")[0] for state in states] == ["0", "3", "6", "9"]
