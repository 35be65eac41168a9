"""How far to turn the screw, from the command line."""

import json

import pytest

import matdb
from matdb.form import GrommetPair


@pytest.fixture
def pair(store):
    with matdb.open_store(store) as kept:
        form = GrommetPair(matdb.Ring(12, 5, 4), plate_mm=2.0, thread="M3")
        kept.add(matdb.Part(name="pair", material="amber", form=form))
    return "pair"


ASK = ("--mass", "600g", "--count", "4", "--temp", "-10C..25C", "--load", "-1..3")


@pytest.mark.slow
def test_the_answer_in_words_and_in_json(matdb_says, store, pair):
    told = matdb_says("squeeze", pair, *ASK, "--turns", "1.5")
    assert told.code == 0, told.err
    answer = matdb_says("squeeze", pair, *ASK, "--turns", "1.5", "--json").json
    assert answer["command"] == "squeeze"
    assert [p["name"] for p in answer["points"]] == ["recommended", "asked"]
    points = {p["name"]: p for p in answer["points"]}
    assert points["asked"]["squeeze_mm"] == pytest.approx(0.75)
    assert points["recommended"]["squeeze_mm"] == answer["recommended_mm"]
    with matdb.open_store(store) as kept:
        direct = kept.squeeze(pair, 0.6, [-10, -5, 0, 5, 10, 15, 20, 25], count=4, turns=1.5, load_factors=(-1.0, 3.0))
    assert direct.recommended_mm == pytest.approx(answer["recommended_mm"])
    first, *rest = told.out.splitlines()
    assert f"turns past first touch, spacer {points['recommended']['spacer_mm']:.4g} mm" in first
    assert len(rest) < 12
    assert "As asked: 1.5 turns past first touch, spacer" in told.out
    why = matdb_says("squeeze", pair, *ASK, "--turns", "1.5", "--why").out
    for word in ("recommended", "asked", "turns of M3", "sag, mm", "natural frequency", "Why:", "24 hours"):
        assert word in why
    for reason in answer["reasons"]:
        assert reason.split(";")[0][:40] in why


@pytest.mark.slow
def test_a_mounting_brings_payload_count_and_load(matdb_says, pair):
    stored = matdb_says("squeeze", pair, "--mounting", "cam", "--temp", "-10C..25C", "--json").json
    assert (stored["mass_kg"], stored["count"]) == (0.6, 4)
    assert stored["load_factors"] == [0.5, 2.0]
    # The mounting asks for a steady picture too, which so stiff a pair cannot give.
    assert stored["recommended_mm"] is None
    assert stored["best_of_poor_mm"] > 0.0
    assert "stiff" in stored["reason"]


@pytest.mark.slow
def test_the_best_compromise_is_not_called_recommended(matdb_says, store):
    with matdb.open_store(store) as kept:
        kept.add(matdb.Material(name="label", family="silicone", hardness="40 A"))
        form = GrommetPair(matdb.Ring(12, 5, 4), plate_mm=2.0, thread="M3")
        kept.add(matdb.Part(name="unread", material="label", form=form))
    words = ("squeeze", "unread", "--mass", "10kg", "--temp", "-10C..25C", "--load", "-1..3")
    told = matdb_says(*words)
    assert told.code == 0, told.err
    assert told.out.startswith("unread: no squeeze holds; best compromise: ")
    answer = matdb_says(*words, "--json").json
    assert answer["recommended_mm"] is None
    assert [p["name"] for p in answer["points"]] == ["best compromise"]
    least, most = (answer[f"{end}_mm"]["median"] for end in ("least", "most"))
    shown = " ".join(matdb_says(*words, "--why").out.split())
    # Ends that cross are no range.
    assert (f"Least squeeze without lift-off {least:.2f} (" in shown) == (least <= most)
    assert (f"No squeeze does both: it takes {least:.2f} (" in shown) == (least > most)


@pytest.mark.slow
def test_ends_that_cross_are_never_shown_as_a_range(matdb_says, pair):
    told = " ".join(matdb_says("squeeze", pair, "--mass", "40kg", "--temp", "-10C..25C", "--why").out.split())
    assert "No squeeze does both: it takes" in told
    assert "the load alone strains a half too far" in told
    assert "Least squeeze" not in told


@pytest.mark.slow
def test_too_heavy_a_payload_gets_no_recommendation(matdb_says, pair):
    told = matdb_says("squeeze", pair, "--mass", "40kg", "--temp", "-10C..25C", "--turns", "2")
    assert told.code == 0, told.err
    assert "best compromise" in told.out
    assert "nan" not in told.out
    answer = matdb_says("squeeze", pair, "--mass", "40kg", "--temp", "-10C..25C", "--json").json
    assert (answer["recommended_mm"], answer["feasible"]) == (None, False)
    assert answer["best_of_poor_mm"] > 0.0


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("0042", *ASK), "grommet-pair"),
        (("ring 16x6x5", *ASK), "describe both halves"),
        (("pair", "--temp", "0C"), "--mass 600g"),
        (("pair", "--temp", "0C", "--mounting", "cam", "--load", "-1..2"), "the mounting has its own"),
        (("pair", *ASK, "--turns", "1", "--squeeze", "1mm"), "one of the two"),
        (("pair", "--temp", "0C", "--mass", "1kg", "--load", "2..3"), "--load"),
        (("pair", "--temp", "0C", "--mass", "1kg", "--turns", "nan"), "turns"),
        (("none", *ASK), "none"),
    ],
)
def test_what_is_refused_is_refused_in_one_line(matdb_says, pair, words, says):
    told = matdb_says("squeeze", *words)
    assert told.code in (1, 2)
    assert told.err.count("\n") == 1
    assert says in told.err
    assert told.out == ""


@pytest.mark.slow
def test_screws_for_several_payloads_are_told_at_once(matdb_says):
    halves = ("--lower", "ring 14x5x7mm", "--upper", "ring 14x5x5mm", "--plate", "2mm", "--thread", "M3")
    assert matdb_says("part", "add", "a pair", "--material", "amber", "--form", "grommet-pair", *halves).code == 0
    ask = ("squeeze", "a pair", "--temp", "-10C..25C", "--count", "4")
    both = matdb_says(*ask, "--mass", "600g,1.2kg")
    lines = " ".join(both.out.split())
    told = matdb_says(*ask, "--mass", "600g,1.2kg", "--json").json
    for mass, each in zip(("600g", "1.2kg"), told["payloads"], strict=True):
        alone = matdb_says(*ask, "--mass", mass, "--json").json
        assert each["recommended_mm"] == alone["recommended_mm"]
        assert alone["answer"]["lines"][0].removeprefix("a pair: ") in lines
    assert "a pair under 600 g: " in lines


@pytest.mark.slow
def test_a_mounting_with_other_payloads_is_judged_for_each(matdb_says, pair):
    both = json.loads(
        matdb_says("squeeze", "pair", "--temp", "0C", "--mounting", "cam", "--mass", "400g,1kg", "--json").out
    )
    alone = [
        json.loads(matdb_says("squeeze", "pair", "--temp", "0C", "--mounting", "cam", "--mass", mass, "--json").out)
        for mass in ("400g", "1kg")
    ]
    assert [each["mass_kg"] for each in both["payloads"]] == [0.4, 1.0]
    assert [each["points"] for each in both["payloads"]] == [each["points"] for each in alone]


def test_a_reading_is_logged_by_the_turns_of_its_screw(matdb_says, pair):
    told = (
        "reading",
        "add",
        "ring-down",
        "pair",
        "--temp",
        "20C",
        "--mass",
        "1kg",
        "--count",
        "4",
        "--frequency",
        "30Hz",
    )
    by_turns = json.loads(matdb_says(*told, "--turns", "2", "--json").out)["reading"]
    by_squeeze = json.loads(matdb_says(*told, "--squeeze", "2turns", "--json").out)["reading"]
    assert by_turns["squeeze_mm"] == by_squeeze["squeeze_mm"] > 0.0
    both = matdb_says(*told, "--turns", "2", "--squeeze", "1mm")
    assert both.code == 2
    assert "give one of the two" in both.err
