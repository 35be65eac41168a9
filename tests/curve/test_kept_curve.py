"""A curve out of a store: whole, or refused in one line."""

import numpy as np
import pytest

from matdb.curve.curve import Curve
from matdb.curve.fit import prior_curve
from matdb.errors import InputError
from matdb.material.record import Material

META, ARRAYS = prior_curve(Material(name="amber", family="silicone")).to_meta_and_arrays()
N = len(ARRAYS["draws"])


def test_what_goes_in_comes_out():
    curve = Curve.from_meta_and_arrays("amber", META, ARRAYS, seed=3)
    assert curve.to_meta_and_arrays()[0] == META
    assert curve.seed == 3


@pytest.mark.parametrize("meta", [[], "x", None, {}, {"format": 1}, META | {"format": 2}])
def test_meta_of_another_shape(meta):
    with pytest.raises(InputError, match="fit the material again"):
        Curve.from_meta_and_arrays("amber", meta, ARRAYS)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("family", 1), ("basis", "guess"), ("parts", ["ring"]), ("parts", None), ("common_sd", -1.0),
        ("common_sd", "nan"), ("measured_c", [20.0, -20.0]), ("measured_c", [1.0]), ("measured_ln_hz", ["a", "b"]),
        ("measured_c", [0.0, float("inf")]), ("weights", 7), ("report", [1]), ("reading_count", "many"),
    ],
)  # fmt: skip
def test_values_that_cannot_be(key, value):
    with pytest.raises(InputError, match="fit the material again"):
        Curve.from_meta_and_arrays("amber", META | {key: value}, ARRAYS)


@pytest.mark.parametrize("seed", [-1, 0.5, "1", None, b"\x00"])
def test_a_seed_that_is_none(seed):
    with pytest.raises(InputError, match="seed"):
        Curve.from_meta_and_arrays("amber", META, ARRAYS, seed=seed)


@pytest.mark.parametrize(
    "arrays",
    [
        {"draws": np.zeros((0, 12))},
        {"draws": np.zeros((N, 11))},
        {"draws": np.full((N, 12), np.nan)},
        {"draws": np.full((N, 12), np.inf)},
        {"offsets": np.zeros((N, 1))},
        {"offsets": np.zeros(N)},
        {"misfit": np.zeros(N - 1)},
        {"misfit": np.zeros((N, 1))},
    ],
)
def test_arrays_that_do_not_belong_together(arrays):
    with pytest.raises(InputError, match="fit the material again"):
        Curve.from_meta_and_arrays("amber", META, ARRAYS | arrays)


def test_a_missing_array():
    for name in ARRAYS:
        with pytest.raises(InputError):
            Curve.from_meta_and_arrays("amber", META, {k: v for k, v in ARRAYS.items() if k != name})
