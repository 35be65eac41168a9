"""Arrays as checked bytes: what comes back, and that nothing else gets through."""

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from matdb.store.arrays import pack, unpack

NUMBERS = hnp.arrays(
    dtype=st.sampled_from(["<f8", ">f8", "<f4", "<i4", "?"]),
    shape=hnp.array_shapes(min_dims=0, max_dims=3, min_side=0, max_side=5),
)


@pytest.mark.slow
@given(st.dictionaries(st.text(max_size=10), NUMBERS, max_size=4))
def test_what_goes_in_comes_out(arrays):
    out = unpack(pack(arrays))
    assert out.keys() == arrays.keys()
    for name, values in arrays.items():
        np.testing.assert_array_equal(out[name], np.asarray(values, dtype=float))
        assert out[name].shape == np.shape(values)
        assert out[name].dtype == np.float64
        assert out[name].flags.writeable
        assert out[name].flags.owndata or out[name].base is not None


def test_the_bytes_do_not_depend_on_memory_layout():
    values = np.arange(12.0).reshape(3, 4)
    twice = np.empty((3, 8))
    twice[:, ::2] = values
    assert pack({"a": values}) == pack({"a": np.asfortranarray(values)}) == pack({"a": twice[:, ::2]})


@given(st.data())
def test_any_changed_byte_is_noticed(data):
    good = bytearray(pack({"draws": np.arange(6.0), "b": np.array(1.0)}))
    at = data.draw(st.integers(0, len(good) - 1))
    good[at] ^= data.draw(st.integers(1, 255))
    with pytest.raises(ValueError):
        unpack(bytes(good))


@given(st.binary(max_size=200))
def test_any_other_bytes_are_refused(block):
    with pytest.raises(ValueError):
        unpack(block)


@pytest.mark.parametrize("end", [0, 1, 20, 45, -1, -8])
def test_a_cut_block_is_refused(end):
    with pytest.raises(ValueError):
        unpack(pack({"a": np.arange(5.0)})[:end])


def forged(header, values=b""):
    """A block with a sound checksum around a header of somebody's own making."""
    import hashlib

    text = header if isinstance(header, bytes) else json.dumps(header).encode()
    body = b"MATDB\x00\x01\n" + len(text).to_bytes(4, "little") + text + values
    return body + hashlib.sha256(body).digest()


@pytest.mark.parametrize(
    "header",
    [
        b"{",
        b"[" * 100000,
        {"name": "a"},
        [1],
        [{"name": "a"}],
        [{"name": 1, "shape": []}],
        [{"name": "a", "shape": [-1]}],
        [{"name": "a", "shape": [1.0]}],
        [{"name": "a", "shape": [True]}],
        [{"name": "a", "shape": [2**40]}],
        [{"name": "a", "shape": [2**20] * 8}],
        [{"name": "a", "shape": [1] * 9}],
        [{"name": "a", "shape": [2]}],
        [{"name": "a", "shape": [0]}],
        [{"name": "a", "shape": [1]}, {"name": "a", "shape": [0]}],
    ],
)
def test_a_forged_header_is_refused(header):
    with pytest.raises(ValueError):
        unpack(forged(header, b"\0" * 8))


def test_a_sound_header_of_the_same_making_is_understood():
    assert unpack(forged([{"name": "a", "shape": [1]}], b"\0" * 8)) == {"a": np.zeros(1)}


@pytest.mark.parametrize("values", ["text", [None], [1j], [object()], np.array(["2024"], dtype="M8[Y]")])
def test_what_is_no_real_number_is_not_packed(values):
    with pytest.raises(ValueError, match="not real numbers"):
        pack({"a": values})
