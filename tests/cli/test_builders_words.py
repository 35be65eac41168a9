"""What a builder stumbles over is said where it stands on the screen."""

import re

import pytest


def said(told):
    assert told.code == 0, told.err
    return " ".join(told.out.split())


@pytest.mark.slow
@pytest.mark.parametrize(
    ("outer", "asks"), [("120mm", "outer of 120 mm: more than parts of this kind usually have"), ("16mm", "")]
)
def test_a_part_larger_than_usual_is_asked_about_and_stored(matdb_says, outer, asks):
    told = said(
        matdb_says(
            "part", "add", "new", "--material", "amber", "--form", "ring",
            "--outer", outer, "--inner", "6mm", "--height", "15mm",
        )
    )  # fmt: skip
    assert ("meant?" in told) == bool(asks)
    assert asks in told
    assert matdb_says("part", "show", "new").code == 0


def test_a_ring_is_said_to_be_unsqueezed_where_a_squeeze_would_stiffen_it(matdb_says):
    words = ("stiffness", "ring 16x6x5", "--temp", "5C", "--mass", "200g")
    assert said(matdb_says(*words)).startswith("ring 16x6x5 unsqueezed, axial under 200 g")
    assert "unsqueezed" not in said(matdb_says(*words, "--squeeze", "0.5mm"))
    assert "unsqueezed" not in said(matdb_says(*words, "--axis", "shear"))


@pytest.mark.parametrize(("temp", "columns"), [("5C", 1), ("-5C..5C", 2)])
def test_a_comparison_at_one_temperature_tells_it_once(matdb_says, temp, columns):
    told = said(matdb_says("compare", "ring 16x6x5", "--mass", "200g,300g", "--temp", temp))
    assert len(re.findall(r"Hz at -?5 degC", told)) == columns


def test_sideways_a_squeeze_is_said_to_change_nothing(matdb_says):
    words = ("stiffness", "ring 16x6x5", "--temp", "5C", "--mass", "200g", "--squeeze", "0.5mm", "--why")
    hardly = "a squeeze hardly changes how stiff it is sideways"
    assert hardly in said(matdb_says(*words, "--axis", "shear"))
    assert hardly not in said(matdb_says(*words))


@pytest.mark.parametrize("words", [("fit",), ("curve", "wire rope", "--temp", "5C", "--why"), ("report", "wire rope")])
def test_a_loop_of_wire_rope_has_a_factor_on_its_load_points_and_no_modulus(matdb_says, words):
    loop = ("part", "add", "loop", "--material", "wire rope", "--form", "cable-loop", "--height", "30mm")
    said(matdb_says(*loop, "--point", "0.6mm:5N", "--point", "1.5mm:10N"))
    read = ("reading", "add", "ring-down", "loop", "--temp", "21C", "--mass", "200g", "--frequency", "30Hz")
    said(matdb_says(*read, "--decrement", "0.5"))
    told = said(matdb_says(*words))
    assert "times its load points" in told
    assert "MPa" not in told


def test_the_names_of_modes_are_explained_beside_them(matdb_says):
    camera = ("--mass", "600g", "--count", "4", "--rotor", "4200rpm..8000rpm", "--spread", "80x60mm")
    assert matdb_says("mounting", "add", "six", *camera, "--box", "100x80x60mm").code == 0
    told = said(matdb_says("modes", "six", "ring 16x6x5", "--temp", "5C"))
    assert "Hz surge (fore and aft)" in told
    assert "Hz sway (sideways)" in told
