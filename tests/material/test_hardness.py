"""Hardness: reading labels, and a modulus that rises with them."""

import numpy as np
import pytest

from matdb.errors import InputError
from matdb.material.hardness import Hardness, modulus_from_hardness, parse_hardness


@pytest.mark.parametrize(
    ("text", "value", "scale"),
    [
        ("40 A", 40, "A"),
        ("A40", 40, "A"),
        ("40A", 40, "A"),
        ("Shore OO 30", 30, "OO"),
        ("62.5 d", 62.5, "D"),
        ("5 OOO", 5, "OOO"),
    ],
)
def test_labels(text, value, scale):
    assert parse_hardness(text) == Hardness(value, scale)


@pytest.mark.parametrize(
    "text", ["40", "A", "40 B", "140 A", "-4 A", "4 0 A", "forty A", "", "40 A D", None, "nan A", "1e3 A"]
)
def test_a_label_that_cannot_be_is_refused(text):
    with pytest.raises(InputError, match="hardness"):
        parse_hardness(text)


@pytest.mark.parametrize("scale", ["A", "D", "OO", "OOO"])
def test_harder_is_stiffer(scale):
    moduli = [modulus_from_hardness(Hardness(h, scale))[0] for h in np.arange(10, 91, 1.0)]
    assert np.all(np.diff(moduli) > 0.0)


def test_the_spread_grows_above_50_a():
    assert modulus_from_hardness(Hardness(40, "A"))[1] == pytest.approx(0.28)
    assert modulus_from_hardness(Hardness(80, "A"))[1] > 0.4
