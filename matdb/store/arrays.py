r"""Named arrays as checked bytes: how a fit's draws are kept. No pickle: nothing in them can run.

Layout: ``MATDB\\x00\\x01\\n``, the header's length (4 bytes, little-endian), the header (JSON: a list of
``{"name", "shape"}``), the values (float64, little-endian, C order, one array after the other), and the
SHA-256 of all that came before.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

_MAGIC = b"MATDB\x00\x01\n"
_MOST = 256 * 1024 * 1024
_DIGEST = 32


def pack(arrays: Mapping[str, ArrayLike]) -> bytes:
    """Turn named arrays of numbers into bytes; integers and booleans become float64.

    Raises
    ------
    ValueError
        Not numbers, complex, or more than 256 MiB in all.

    """
    header, blocks = [], []
    for name, values in arrays.items():
        given = np.asarray(values)
        if given.dtype.kind not in "fiub":
            raise ValueError(f"array {name!r} holds {given.dtype}, not real numbers")
        array = np.ascontiguousarray(given, dtype="<f8").reshape(given.shape)
        header.append({"name": str(name), "shape": list(array.shape)})
        blocks.append(array.tobytes())
    text = json.dumps(header, separators=(",", ":")).encode()
    body = b"".join([_MAGIC, len(text).to_bytes(4, "little"), text, *blocks])
    if len(body) > _MOST:
        raise ValueError(f"the arrays take {len(body)} bytes, more than {_MOST}")
    return body + hashlib.sha256(body).digest()


def unpack(data: Any) -> dict[str, NDArray[np.float64]]:
    """Turn the bytes of :func:`pack` back into arrays that own their memory.

    Raises
    ------
    ValueError
        Cut, changed, too large, or not made by :func:`pack`.

    """
    # The bytes of a number would be so many zeros.
    data = bytes(data) if isinstance(data, bytes | bytearray | memoryview) else b""
    start = len(_MAGIC) + 4
    if not len(_MAGIC) + 4 + _DIGEST <= len(data) <= _MOST + _DIGEST or not data.startswith(_MAGIC):
        raise ValueError("not an array block, or one of another version")
    if hashlib.sha256(memoryview(data)[:-_DIGEST]).digest() != data[-_DIGEST:]:
        raise ValueError("the checksum does not match")
    at = start + int.from_bytes(data[len(_MAGIC) : start], "little")
    end = len(data) - _DIGEST
    if at > end:
        raise ValueError("the header is cut")
    out: dict[str, Any] = {}
    for name, shape in _header(data[start:at]):
        count = math.prod(shape)
        if count * 8 > end - at or name in out:
            raise ValueError("the header does not fit the values")
        out[name] = np.frombuffer(data, dtype="<f8", count=count, offset=at).reshape(shape).astype(np.float64)
        at += 8 * count
    if at != end:
        raise ValueError("the header does not fit the values")
    return out


def _header(text: bytes) -> list[tuple[str, tuple[int, ...]]]:
    try:
        entries = json.loads(text)
        found = [(entry["name"], tuple(entry["shape"])) for entry in entries]
    except (ValueError, TypeError, KeyError, RecursionError):
        raise ValueError("the header is not understood") from None
    for name, shape in found:
        if not isinstance(name, str) or len(shape) > 8 or not all(type(n) is int and 0 <= n <= _MOST for n in shape):
            raise ValueError("the header is not understood")
    return found
