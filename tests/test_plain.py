"""One way from any record to plain values."""

import datetime as dt
import math
from dataclasses import dataclass

import numpy as np
import pytest

from matdb.curve.band import Band
from matdb.errors import InputError
from matdb.fields import PlainRecord, from_plain, plain


@dataclass(frozen=True)
class Pair(PlainRecord):
    left: float
    right: tuple[float, ...] = ()


def test_records_in_records_become_plain():
    band = Band(1.0, 0.5, np.float64(2.0))
    when = dt.datetime(2024, 1, 31, 14, 5, tzinfo=dt.UTC)
    found = plain({"a": Pair(1.0, (2.0, 3.0)), 2: [band, np.arange(2)], "when": when, "none": None, "yes": True})
    assert found == {
        "a": {"left": 1.0, "right": [2.0, 3.0]},
        "2": [{"median": 1.0, "low": 0.5, "high": 2.0}, [0, 1]],
        "when": "2024-01-31T14:05:00+00:00",
        "none": None,
        "yes": True,
    }
    assert Pair(1.0, (2.0,)).to_dict() == {"left": 1.0, "right": [2.0]}


def test_what_is_not_finite_is_none_where_json_is_wanted():
    assert plain([1.0, math.inf, np.float64("nan")], finite=True) == [1.0, None, None]
    assert plain(math.inf) == math.inf


def test_and_back():
    assert from_plain(Pair, {"left": 1.0}, "pair") == Pair(1.0)
    with pytest.raises(InputError, match="pair middle: 3 is not allowed; it must be one of the fields left, right"):
        from_plain(Pair, {"left": 1.0, "middle": 3}, "pair")
    with pytest.raises(InputError, match="pair left: missing; it must be given"):
        from_plain(Pair, {}, "pair")
    with pytest.raises(InputError, match="a set of named values"):
        from_plain(Pair, [1.0], "pair")
