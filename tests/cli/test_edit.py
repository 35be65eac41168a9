"""Records that are edited, renamed and moved: what they said before is kept."""

import io
import re

import pytest

READING = ("reading", "add", "ring-down", "0042", "--temp", "-5C", "--mass", "150g", "--frequency", "22Hz")


@pytest.mark.slow
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


def test_walls_take_the_place_of_a_stored_wall_and_the_other_way_round(matdb_says):
    sizes = ("--outer", "8mm", "--length", "25mm", "--wall", "1.2mm")
    assert matdb_says("part", "add", "leg", "--material", "tan", "--form", "printed-strut", *sizes).code == 0
    for told, holds in (
        (("--walls", "2", "--line", "0.45mm"), (0.9, 2, 0.45)),
        (("--walls", "3"), (1.35, 3, 0.45)),
        (("--wall", "1mm"), (1.0, None, None)),
        (("--line", "0.4mm", "--walls", "3"), (1.2, 3, 0.4)),
    ):
        form = matdb_says("part", "edit", "leg", *told, "--why", "sliced anew", "--json").json["part"]["form"]
        assert (form["wall_mm"], form["walls"], form["line_mm"]) == holds


def _names(matdb_says, what):
    return [each["name"] for each in matdb_says(what, "list", "--json").json[f"{what}s"]]


@pytest.mark.slow
def test_a_part_is_removed_with_its_readings_and_comes_back(matdb_says):
    refused = matdb_says("part", "remove", "0042")
    assert (refused.code, refused.err.count("\n"), "--why" in refused.err) == (2, 1, True)
    told = matdb_says("part", "remove", "0042", "--why", "never flew")
    assert told.out.startswith("removed 0042 with its 3 readings; kept, and 'matdb undo' brings it back")
    assert "0042" not in _names(matdb_says, "part")
    assert matdb_says("reading", "list", "--json").json["readings"] == []
    assert len(matdb_says("reading", "list", "--all", "--json").json["readings"]) == 3
    asked = matdb_says("part", "show", "0042")
    assert (asked.code, "0042 (removed " in asked.err) == (1, True)
    # Its name is free again, and what a removed record is called is not.
    leg = ("--material", "tan", "--form", "pad", "--diameter", "9mm", "--height", "9mm")
    assert matdb_says("part", "add", "0042", *leg).code == 0
    assert matdb_says("part", "add", "x (removed 7)", *leg).code == 2
    assert matdb_says("undo").code == 0
    told = matdb_says("undo")
    assert "part '0042' is back" in told.out
    assert {len(matdb_says("reading", "list", "--part", "0042", "--json").json["readings"])} == {3}
    assert matdb_says("part", "show", "0042", "--json").json["history"][0]["why"] == "removed: never flew"


def test_a_material_is_removed_after_its_parts(matdb_says):
    refused = matdb_says("material", "remove", "tan")
    assert (refused.code, "remove 'pad' first" in refused.err) == (2, True)
    assert matdb_says("part", "remove", "pad").code == 0
    assert matdb_says("material", "remove", "tan").code == 0
    assert _names(matdb_says, "material") == ["amber"]
    assert matdb_says("mounting", "remove", "cam").code == 0
    assert _names(matdb_says, "mounting") == []


def test_a_reading_logged_twice_is_told(matdb_says):
    assert "exactly the same" not in matdb_says(*READING).out
    told = matdb_says(*READING)
    assert "reading 4 says exactly the same" in " ".join(told.out.split())
    assert "reading 5 (ring-down on 0042 at -5 degC) counts no more" in matdb_says("undo").out


def test_readings_of_a_part_fit_a_width_of_80(matdb_says, monkeypatch):
    more = (
        "--decrement",
        "0.5",
        "--soak",
        "45min",
        "--out",
        "8s",
        "--squeeze",
        "0.5mm",
        "--who",
        "Anne",
        "--note",
        "x" * 50,
    )
    matdb_says(*READING, *more)
    monkeypatch.setenv("COLUMNS", "80")
    out = matdb_says("reading", "list", "--part", "0042").out.splitlines()
    # A line each, but where the soak was told too.
    assert len(out) == 2 + 4 + 1
    assert max(map(len, out)) <= 80
    assert "22 Hz, decrement 0.5, 150 g on 1, squeezed 0.5 mm" in out[-2]
    assert "soaked 45 min" in out[-1]


def test_a_soft_material_without_its_hardness_says_first_what_to_tell(matdb_says):
    told = matdb_says("material", "add", "putty", "--family", "gel")
    assert "until you tell its hardness" in told.out
    sizes = ("--form", "ring", "--outer", "ø14mm", "--inner", "O5mm", "--height", "7mm")
    assert (
        matdb_says("part", "add", "soft", "--material", "putty", *sizes, "--json").json["part"]["form"]["outer_mm"]
        == 14
    )
    ask = ("stiffness", "soft", "--temp", "5C", "--mass", "155g")
    first = matdb_says(*ask).out.splitlines()[0]
    assert first.startswith("Tell the hardness of putty first")
    # The command that it names is a command.
    assert matdb_says("material", "edit", "putty", "--hardness", "30 OO", "--why", "label").code == 0
    assert matdb_says(*ask).out.startswith("soft unsqueezed, axial under 155 g")


def test_a_mounting_of_a_spread_takes_another_count_and_spread(matdb_says):
    assert matdb_says("mounting", "edit", "cam", "--spread", "80x60mm", "--box", "110x80x60mm", "--why", "b").code == 0
    told = matdb_says("mounting", "edit", "cam", "--count", "6", "--why", "two more", "--json")
    assert told.code == 0, told.err
    assert len(told.json["mounting"]["positions_mm"]) == 6
    assert matdb_says("mounting", "edit", "cam", "--spread", "90x60mm", "--why", "wider").code == 0


class Terminal(io.StringIO):
    """What somebody types."""

    def isatty(self):
        return True


def test_undo_asks_in_a_terminal_and_says_what_whose_and_when(matdb_says, monkeypatch):
    def typed(text):
        monkeypatch.setattr("sys.stdin", Terminal(text))
        return matdb_says("undo")

    assert matdb_says(*READING, "--who", "Ann").code == 0
    told = typed("no\n")
    assert told.code == 0
    assert re.search(r"the last change is of \d{4}-\d\d-\d\d \d\d:\d\d:\d\d:", told.out)
    assert "reading 4 (ring-down on 0042 at -5 degC, by Ann) counts no more" in told.out
    assert "nothing was changed" in told.out
    assert len(matdb_says("reading", "list", "--json").json["readings"]) == 4

    def meanwhile(*_):
        assert matdb_says(*READING[:-1], "23Hz").code == 0
        return True

    with monkeypatch.context() as late:
        late.setattr("matdb.cli.undo.until", meanwhile)
        refused = typed("")
    assert (refused.code, "another was made meanwhile" in refused.err) == (2, True)
    assert len(matdb_says("reading", "list", "--json").json["readings"]) == 5
    assert "took back the change of" in typed("\n").out
    assert matdb_says("undo", "--yes").code == 0
    assert len(matdb_says("reading", "list", "--json").json["readings"]) == 3


def test_a_material_as_sold_is_added_with_its_part(matdb_says):
    ring = ("--form", "ring", "--outer", "14mm", "--inner", "5mm", "--height", "7mm")
    told = matdb_says("part", "add", "soft", "--material", "silicone 30A", *ring)
    assert (told.code, told.err) == (
        0,
        "matdb: added material silicone 30A (silicone, 30 A), which the store did not have\n",
    )
    known = {each["name"]: each for each in matdb_says("material", "list", "--json").json["materials"]}
    assert known["silicone 30A"]["hardness"] == "30 A"
    # One change: taken back together.
    assert "silicone 30A" in matdb_says("undo").out
    assert "silicone 30A" not in matdb_says("material", "list").out
    refused = matdb_says("part", "add", "soft", "--material", "amper", *ring)
    assert (refused.code, refused.err.count("\n")) == (1, 1)
    assert "close names: 'amber'; add it with 'matdb material add', or say what it is" in refused.err
    assert matdb_says("material", "add", "TPU 85A", "--json").json["material"]["family"] == "thermoplastic polyurethane"


def test_a_correction_takes_a_squeeze_in_turns(matdb_says):
    halves = ("--lower", "ring 14x5x7mm", "--upper", "ring 14x5x5mm", "--plate", "2mm", "--thread", "M3")
    assert matdb_says("part", "add", "pair", "--material", "amber", "--form", "grommet-pair", *halves).code == 0
    assert matdb_says(*READING).code == 0
    moved = matdb_says("reading", "correct", "4", "--part", "pair", "--squeeze", "2turns", "--why", "wrong", "--json")
    assert moved.code == 0, moved.err
    assert moved.json["reading"]["squeeze_mm"] == 1.0
    again = matdb_says("reading", "correct", "5", "--squeeze", "3turns", "--why", "miscounted", "--json")
    assert again.json["reading"]["squeeze_mm"] == 1.5
