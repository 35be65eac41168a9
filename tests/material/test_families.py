"""The shipped family table: shape, and a source for every figure."""

import csv

import pytest

from matdb.errors import InputError
from matdb.material.families import everyday_words, families, family_named
from matdb.material.record import Material, as_sold
from matdb.shipped import data_folder

NAMES = [
    "natural rubber",
    "chloroprene",
    "nitrile",
    "EPDM",
    "butyl",
    "silicone",
    "silicone gel",
    "polyurethane gel",
    "thermoplastic polyurethane ester",
    "thermoplastic polyurethane ether",
    "thermoplastic polyurethane",
    "gel",
    "steel cable",
    "unknown",
]


def test_every_family_has_every_property():
    assert list(families()) == NAMES
    names = {frozenset(f.properties) for f in families().values()}
    assert len(names) == 1
    assert len(next(iter(names))) == 25


def test_every_figure_has_unit_basis_and_source():
    with (data_folder() / "families.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            assert row["unit"], row
            assert row["basis"] in {"published", "from memory", "common practice", "estimate"}, row
            assert len(row["source"]) > 10, row
            assert float(row["spread"]) > 0.0, row


def test_names_are_found_whatever_their_case():
    assert family_named("epdm").name == "EPDM"


@pytest.mark.parametrize(
    ("said", "family"),
    [("TPU", "thermoplastic polyurethane"), ("nbr", "nitrile"), ("Natural", "natural rubber"), (" gel ", "gel")],
)
def test_everyday_words_are_families(said, family):
    """Common practice, no source; the short codes are those of ISO 1629 and ISO 18064, from memory."""
    assert family_named(said).name == family
    assert Material(name="x", family=said).family == family


def test_every_everyday_word_names_a_family_of_the_table_and_none_twice():
    assert set(everyday_words().values()) == set(NAMES)
    with (data_folder() / "family_words.csv").open(encoding="utf-8", newline="") as file:
        words = [row["word"] for row in csv.DictReader(file)]
    assert len({*words, *(name.casefold() for name in NAMES)}) == len(words) + len(NAMES)


def test_a_label_may_hold_the_hardness_too():
    reel = Material(name="reel", family="TPU 85A")
    assert reel == Material(name="reel", family="TPU 85A", hardness="85 A")
    assert (reel.family, reel.hardness) == ("thermoplastic polyurethane", "85 A")
    assert Material(name="x", family="silicone", hardness="40 A").hardness == "40 A"
    with pytest.raises(InputError, match="family"):
        Material(name="x", family="TPU 85A", hardness="60 A")


@pytest.mark.parametrize(
    ("mixed", "kinds"),
    [
        ("thermoplastic polyurethane", ("thermoplastic polyurethane ester", "thermoplastic polyurethane ether")),
        ("gel", ("silicone gel", "polyurethane gel")),
    ],
)
def test_a_mixed_family_lies_between_its_kinds_and_is_wider_than_either_where_they_differ(mixed, kinds):
    for name, found in families()[mixed].properties.items():
        values = sorted(families()[kind][name].value for kind in kinds)
        assert values[0] * (1 - 0.01 * (values[0] > 0)) <= found.value + 1e-9 + 0.01 * abs(values[0]), name
        assert found.value <= values[1] + 0.01 * abs(values[1]), name
        if values[0] != values[1] and not name.startswith("service"):
            assert found.spread >= 0.99 * min(families()[kind][name].spread for kind in kinds), name
    for end, narrower in (("service_min", max), ("service_max", min)):
        assert families()[mixed][end].value == narrower(families()[kind][end].value for kind in kinds)


def test_wire_rope_is_known_without_a_hardness_and_has_none():
    rope = as_sold("wire rope")
    assert rope is not None
    assert (rope.family, rope.untold) == ("steel cable", "")
    with pytest.raises(InputError, match="leave it out"):
        Material(name="rope", family="steel cable", hardness="60 A")


def test_an_unknown_family_lists_the_known_ones():
    with pytest.raises(InputError, match="did you mean 'silicone'"):
        family_named("silicon")


def test_a_foam_is_sent_to_the_family_of_what_is_foamed():
    with pytest.raises(InputError, match="family of what is foamed, such as silicone; --relative-density"):
        Material(name="pad", family="foam")
