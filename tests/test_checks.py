"""What comes in is refused in one clear line, or given back clean."""

import math

import numpy as np
import pytest

from matdb.checks import allowed_span, checked_array, checked_number, checked_whole
from matdb.errors import InputError


@pytest.mark.parametrize("value", [True, "three", None, math.nan, math.inf, -1, 0, 6])
def test_no_number_within(value):
    with pytest.raises(InputError, match="above 0 and at most 5 mm"):
        checked_number("height_mm", value, 0.0, 5.0, "mm", open_low=True)


def test_an_endless_range_holds_no_infinity():
    assert checked_number("mass_kg", 1e300, 0.0, math.inf, "kg") == 1e300
    with pytest.raises(InputError, match="0 or more kg"):
        checked_number("mass_kg", math.inf, 0.0, math.inf, "kg")


@pytest.mark.parametrize("value", [True, 0, 1.5, 11, "x"])
def test_no_whole_number(value):
    with pytest.raises(InputError, match="from 1 to 10"):
        checked_whole("count", value, 1, 10)


def test_a_whole_number():
    assert checked_whole("count", 3.0, 1, 10) == 3
    assert isinstance(checked_whole("count", np.float64(3.0), 1, 10), int)


def test_the_first_wrong_value_of_an_array_is_named():
    assert checked_array("mass_kg", [[1, 2], [3, 4]], 0.0).shape == (2, 2)
    with pytest.raises(InputError, match=r"mass_kg: -2.0 is not allowed; it must be above 0 kg"):
        checked_array("mass_kg", [1, -2, math.nan], 0.0, unit="kg", open_low=True)
    with pytest.raises(InputError, match="it must be a number above 0"):
        checked_array("mass_kg", [1, "two"], 0.0, open_low=True)


def test_ranges_in_words():
    assert allowed_span(0, 5) == "from 0 to 5"
    assert allowed_span(0, math.inf, "kg") == "0 or more kg"
