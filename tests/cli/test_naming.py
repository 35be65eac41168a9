"""Errors name the option that was typed, not the field behind it."""

import re

import pytest

from matdb.cli.run import as_typed
from matdb.errors import InputError, UnitError

BASE = {"--temp": "-18C", "--mass": "150g", "--frequency": "23Hz"}
ADD = ("reading", "add")


def words(kind, on, good, **wrong):
    given = good | {f"--{name.replace('_', '-')}": text for name, text in wrong.items()}
    return (*ADD, kind, on, *(each for pair in given.items() for each in pair))


@pytest.mark.parametrize(
    ("option", "text"),
    [
        ("temp_sd", "99K"), ("mass", "2t"), ("frequency", "0Hz"), ("decrement", "7"), ("decrement_sd", "0"),
        ("frequency_sd", "0Hz"), ("count", "5000"), ("axis", "sideways"), ("squeeze", "9mm"), ("soak", "9999999min"),
        ("out", "999999s"), ("who", "x" * 500), ("note", "\x07"), ("temp", "500C"),
    ],
)  # fmt: skip
def test_a_ring_down(matdb_says, option, text):
    told = matdb_says(*words("ring-down", "0042", BASE, **{option: text}))
    assert told.code == 2
    assert told.err.startswith(f"matdb: --{option.replace('_', '-')}: "), told.err
    assert not re.search(r"\b[a-z]+_[a-z_]+\b", told.err), told.err


def test_other_commands(matdb_says):
    for typed, option in (
        (words("resonance", "0042", BASE, width="90Hz"), "--width"),
        (words("deflection", "0042", {"--temp": "0C", "--mass": "1kg"}, deflection="2m"), "--deflection"),
        (("material", "add", "x", "--density", "1kg/m3"), "--density"),
        (
            ("part", "add", "x", "--material=tan", "--form=ring", "--outer=9mm", "--inner=9mm", "--height=4mm"),
            "--inner",
        ),
        (("material", "add", "x", "--service-min", "50C", "--service-max", "10C"), "--service-min"),
        (("mounting", "add", "x", "--mass=0g", "--count=4", "--rotor=4200rpm..8000rpm"), "--mass"),
        (("stiffness", "0042", "--temp=0C", "--mass=1kg", "--squeeze=9mm"), "--squeeze"),
    ):
        told = matdb_says(*typed)
        assert told.code == 2, told.err
        assert told.err.startswith(f"matdb: {option}: "), told.err
        assert not re.search(r"\b[a-z]+_[a-z_]+\b", told.err), told.err


def test_a_field_that_was_not_typed_keeps_its_name():
    error = InputError("mass_kg", -1, "above 0 kg")
    assert as_typed(error, ["mounting", "add", "x", "--from", "m.json"]) is error
    assert error.field == "mass_kg"


def test_the_kind_of_error_and_its_other_words_stay():
    error = UnitError("service_min_c", 50.0, "below service_max_c (10 C)", "see service_min_c and mass_kg")
    told = as_typed(error, ["--service-min=50C", "--service-max=10C"])
    assert type(told) is UnitError
    assert str(told) == (
        "--service-min: 50.0 is not allowed; it must be below --service-max (10 C); see --service-min and mass_kg"
    )
