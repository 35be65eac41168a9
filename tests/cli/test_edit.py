"""Records that are edited, renamed and moved: what they said before is kept."""

import pytest

READING = ("reading", "add", "ring-down", "0042", "--temp", "-5C", "--mass", "150g", "--frequency", "22Hz")


def test_a_material_is_edited_with_a_reason_and_renamed_without(matdb_says):
    refused = matdb_says("material", "edit", "amber", "--hardness", "50 A")
    assert (refused.code, "--why" in refused.err) == (2, True)
    assert matdb_says("material", "edit", "amber", "--hardness", "50 A", "--why", "label misread").code == 0
    assert matdb_says("material", "edit", "amber", "--rename", "honey").code == 0
    shown = matdb_says("material", "show", "honey", "--json").json
    assert shown["material"]["hardness"] == "50 A"
    assert [each["why"] for each in shown["history"]] == ["label misread", "edited: name"]
    assert shown["history"][0]["before"]["hardness"] == "40 A"
    assert matdb_says("part", "show", "0042", "--json").json["part"]["material"] == "honey"


def test_a_part_keeps_what_is_not_said_and_its_readings(matdb_says):
    told = matdb_says("part", "edit", "0042", "--outer", "6.5mm", "--rename", "leg 42", "--why", "caliper", "--json")
    assert told.json["changed"] == ["name", "form"]
    form = told.json["part"]["form"]
    assert (form["outer_mm"], form["inner_mm"], form["length_mm"]) == (6.5, 4.0, 10.0)
    assert len(matdb_says("reading", "list", "--part", "leg 42", "--json").json["readings"]) == 3


def test_a_half_of_a_pair_is_edited_in_its_place(matdb_says):
    halves = ("--lower", "ring 14x5x7mm", "--upper", "ring 14x5x5mm", "--plate", "2mm", "--thread", "M3")
    assert matdb_says("part", "add", "pair", "--material", "amber", "--form", "grommet-pair", *halves).code == 0
    form = matdb_says("part", "edit", "pair", "--lower-height", "6mm", "--why", "caliper", "--json").json["part"][
        "form"
    ]
    assert [form[half]["height_mm"] for half in ("lower", "upper")] == [6.0, 5.0]
    assert (form["lower"]["outer_mm"], form["thread"]) == (14.0, "M3")


def test_a_mounting_is_edited(matdb_says):
    told = matdb_says("mounting", "edit", "cam", "--mass", "700g", "--why", "heavier lens", "--json").json
    assert told["changed"] == ["mass_kg"]
    assert (told["mounting"]["mass_kg"], told["mounting"]["rpm_full"]) == (0.7, 8000)


def test_a_reading_on_the_wrong_part_is_moved(matdb_says):
    number = matdb_says(*READING, "--json").json["number"]
    moved = matdb_says("reading", "correct", number, "--part", "pad", "--why", "wrong part", "--json").json
    assert moved["reading"]["part"] == "pad"
    assert [each["part"] for each in matdb_says("reading", "list", "--json").json["readings"]].count("pad") == 1


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("material", "edit", "amber"), "changes"),
        (("material", "edit", "nut", "--note", "x"), "'nut'"),
        (("material", "edit", "amber", "--rename", "tan"), "tan"),
        (("part", "edit", "0042", "--outer", "1mm", "--why", "x"), "inner"),
        (("part", "edit", "0042", "--form", "ring", "--outer", "9mm", "--why", "x"), "--inner"),
        (("part", "edit", "0042", "--material", "nut", "--why", "x"), "'nut'"),
        (("mounting", "edit", "cam", "--hover", "50%", "--why", "x"), "--hover"),
        (("reading", "correct", 1, "--part", "nut", "--why", "x"), "'nut'"),
        (("reading", "correct", 1, "--material", "amber", "--why", "x"), "--material"),
    ],
)
def test_what_cannot_be_edited_is_told_in_one_line_and_leaves_the_store_alone(matdb_says, dump, words, says):
    before = dump()
    told = matdb_says(*words)
    assert told.code in (1, 2)
    assert told.err.count("\n") == 1
    assert says in told.err
    assert dump() == before
