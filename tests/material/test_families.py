"""The shipped family table: shape, and a source for every figure."""

import csv

import pytest

from matdb.errors import InputError
from matdb.material.families import families, family_named
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
    "unknown",
]


def test_every_family_has_every_property():
    assert list(families()) == NAMES
    names = {frozenset(f.properties) for f in families().values()}
    assert len(names) == 1
    assert len(next(iter(names))) == 24


def test_every_figure_has_unit_basis_and_source():
    with (data_folder() / "families.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            assert row["unit"], row
            assert row["basis"] in {"published", "from memory", "common practice", "estimate"}, row
            assert len(row["source"]) > 10, row
            assert float(row["spread"]) > 0.0, row


def test_names_are_found_whatever_their_case():
    assert family_named("epdm").name == "EPDM"


def test_an_unknown_family_lists_the_known_ones():
    with pytest.raises(InputError, match="did you mean 'silicone'"):
        family_named("silicon")
