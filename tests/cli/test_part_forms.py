"""Forms whose fields are forms or points, from words alone."""

from dataclasses import dataclass
from typing import ClassVar

import pytest

import matdb
from matdb.cli.dimensions import form_from_words, form_options, split_words
from matdb.errors import InputError
from matdb.form import FORMS, CableLoop, GrommetPair, Pad, Ring
from matdb.form.base import FormBase


def built(kind, *words):
    name, given = split_words(["name", *words])
    assert name == "name"
    return form_from_words(kind, given)


PAIR = GrommetPair(Ring(12, 5, 4), Pad(10, 3, bonded=False), plate_mm=2.0)


@pytest.mark.parametrize(
    "words",
    [
        ("--lower", "ring 12x5x4mm", "--upper", "pad 10mm x 3mm", "--upper-not-bonded", "--plate", "2mm"),
        ("--lower", "ring", "--lower-outer", "12mm", "--lower-inner=5mm", "--lower-height", "4mm", "--upper", "pad",
         "--upper-not-bonded", "--upper-diameter", "1cm", "--upper-height", "3mm", "--plate", "2mm"),
    ],
)  # fmt: skip
def test_a_pair_of_two_halves(words):
    assert built("grommet-pair", *words) == PAIR


def test_a_pair_of_equal_halves_needs_one():
    assert built("grommet-pair", "--lower", "ring 12x5x4mm") == GrommetPair(Ring(12, 5, 4), Ring(12, 5, 4))


def test_a_half_may_have_points_of_its_own():
    pair = built("grommet-pair", "--lower", "pad 10x5mm", "--lower-point", "1N:0.4mm", "--lower-point", "3N:1mm")
    assert pair.lower.load_points == ((0.4, 1.0), (1.0, 3.0))


def test_points_in_any_order_and_either_side_first():
    words = ("--height", "30mm", "--point", "10N:1.5mm", "--point", "0.6mm:5N")
    assert built("cable-loop", *words) == CableLoop(30, ((0.6, 5.0), (1.5, 10.0)))
    # 100 g weigh 0.980665 N.
    assert built("cable-loop", "--height", "30mm", "--point", "100g:0.1mm").load_points == ((0.1, 0.980665),)


def test_the_screw_of_a_pair_is_the_screw_of_its_part(matdb_says, store):
    words = ("part", "add", "pair", "--material", "amber", "--form", "grommet-pair", "--lower", "ring 12x5x4mm")
    told = matdb_says(*words, "--thread", "M3", "--spacer", "7.5mm", "--json")
    assert told.code == 0, told.err
    with matdb.open_store(store) as kept:
        part = kept.part("pair")
    assert (part.thread, part.form.thread, part.form.spacer_mm) == ("M3", "M3", 7.5)


def test_points_from_a_file(matdb_says, store, tmp_path):
    file = tmp_path / "loop.csv"
    file.write_text("Deflection (mm);Force (N)\n0,6;5\n1,5;10\n", encoding="utf-8")
    words = ("part", "add", "loop", "--material", "amber", "--form", "cable-loop", "--height", "30mm", "--points")
    assert matdb_says(*words, file).code == 0
    with matdb.open_store(store) as kept:
        assert kept.part("loop").form == CableLoop(30, ((0.6, 5.0), (1.5, 10.0)))
    told = matdb_says(*words, tmp_path / "no.csv")
    assert (told.code, told.err.count("\n")) == (1, 1)


@pytest.mark.parametrize(
    ("kind", "words", "says"),
    [
        ("grommet-pair", ("--upper", "ring 12x5x4mm"), "--lower"),
        ("grommet-pair", ("--lower", "strut 12x5x4mm"), "pad or ring"),
        ("grommet-pair", ("--lower", "ring 12x5x4"), "add the unit"),
        ("grommet-pair", ("--lower", "ring 12x5x4x3mm"), "at most 3 lengths"),
        ("grommet-pair", ("--lower", "ring 12x5x4mm", "--lower-outer", "12mm"), "--lower-outer"),
        ("grommet-pair", ("--lower", "ring", "--lower-outer", "12mm"), "--lower-inner"),
        ("grommet-pair", ("--lower", "ring", "--lower-wide", "12mm"), "--lower-wide"),
        ("grommet-pair", ("--lower-outer", "12mm"), "--lower"),
        ("grommet-pair", ("--lower", "ring 12x5x4mm", "--lower", "ring 12x5x4mm"), "given once"),
        ("grommet-pair", ("--not-lower", "ring 12x5x4mm"), "--not-lower"),
        ("cable-loop", ("--height", "30mm", "--point", "5:0.6mm"), "write the unit"),
        ("cable-loop", ("--height", "30mm", "--point", "5N"), "0.4mm:1N"),
        ("cable-loop", ("--height", "30mm", "--point", "5N:6N"), "0.4mm:1N"),
        ("cable-loop", ("--height", "30mm", "--point"), "--point"),
        ("cable-loop", ("--height", "30mm", "--points"), "CSV file"),
        ("cable-loop", ("--height", "30mm", "--point", "5N:1mm", "--points", "x.csv"), "--points"),
    ],
)
def test_what_cannot_be_built_says_why(kind, words, says):
    with pytest.raises(InputError) as caught:
        built(kind, *words)
    assert says in str(caught.value)


@dataclass(frozen=True)
class Stack(FormBase):
    """Several pads on each other."""

    kind: ClassVar[str] = "stack"

    pad: Pad | None = None
    pads: int = 2
    glue_mm: float | None = None
    wet: bool = False
    grade: str = "a"
    curve_points: tuple[tuple[float, float], ...] = ()


def test_a_new_form_needs_no_command_of_its_own(monkeypatch):
    monkeypatch.setitem(FORMS, "stack", Stack)
    words = ("--pad", "pad 10x4mm", "--pads", "3", "--glue", "0.1mm", "--wet", "--grade", "b", "--point", "1N:1mm")
    assert built("stack", *words) == Stack(Pad(10, 4), 3, 0.1, True, "b", ((1.0, 1.0),))
    assert len(form_options("stack").split(", ")) == 6
    with pytest.raises(InputError, match="whole number"):
        built("stack", "--pads", "2.5")
