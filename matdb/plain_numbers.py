"""Blocks of rows of plain decimal numbers, all of a block at once: a sixth of the time of one after another.

References
----------
.. [1] Eight digits in a word of eight bytes, summed up in three multiplications: common practice, no source.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from matdb.arrays import Array

_Words = NDArray[np.uint64]

_NEWLINE, _MINUS, _POINT, _ZERO, _NINE = (ord(c) for c in "\n-.09")
#: Stands for a semicolon.
_MARK: Final = b"\x01"
#: Digits in a word, and of a number before its point, after it, and together at most: they fit into a word of bits.
_WORD, _SIDE, _MOST = 8, 16, 19
#: Keeps the last so many bytes of a word.
_LAST: Final = np.array([(1 << 64) - (1 << 8 * (_WORD - k)) for k in range(_WORD + 1)], dtype=object).astype(np.uint64)
_TENS: Final = 10 ** np.arange(_MOST + 1, dtype=np.uint64)
_SCALES: Final = _TENS.astype(float)
#: What is kept of a word's digits, pairs of digits, and fours; how they are added up; how far down the sum is moved.
_SUMS: Final = (
    (np.uint64(0x0F0F0F0F0F0F0F0F), np.uint64(10 * 2**8 + 1), np.uint64(8)),
    (np.uint64(0x00FF00FF00FF00FF), np.uint64(100 * 2**16 + 1), np.uint64(16)),
    (np.uint64(0x0000FFFF0000FFFF), np.uint64(10_000 * 2**32 + 1), np.uint64(32)),
)


def plain_rows(block: bytes, separator: str, width: int) -> Array | None:
    """The numbers of a block of rows; None where it holds anything but digits, minus signs, points and separators.

    Parameters
    ----------
    block : bytes
        Whole rows, each with a line feed at its end.
    separator : str
        One character between cells.
    width : int
        Cells of a row.

    Returns
    -------
    array of shape (rows, width), or None
        As precise as double precision: of up to 15 digits the nearest number.
    """
    # Separators stand below digits.
    raw = np.frombuffer(b"0" * _WORD + block.replace(b";", _MARK), dtype=np.uint8)
    text, mark = raw[_WORD:], ord(_MARK if separator == ";" else separator)
    ends = np.flatnonzero(text < _MINUS)
    if not ends.size or ends.size % width or ends[-1] < text.size - 1:
        return None
    kinds = text[ends].reshape(-1, width)
    if not (kinds[:, -1] == _NEWLINE).all() or not (kinds[:, :-1] == mark).all():
        return None
    points, starts = np.flatnonzero(text == _POINT), np.append(0, ends[:-1] + 1)
    minus = text[starts] == _MINUS
    starts += minus
    signs = ends.size + points.size + np.count_nonzero(minus)
    if np.count_nonzero(text < _ZERO) != signs or text.max() > _NINE:
        return None
    if points.size < ends.size:
        # A whole number's point is its end.
        cell, some = np.searchsorted(ends, points), points
        points = ends.copy()
        points[cell] = some
        if np.any(np.diff(cell) == 0):
            return None
    elif points.size > ends.size:
        return None
    before, after = points - starts, ends - points - 1
    if before.min() < 0 or after.min() < -1:
        return None
    many = before + np.maximum(after, 0, out=after)
    if many.min() < 1 or max(before.max(), after.max()) > _SIDE or many.max() > _MOST:
        return None
    # The eight bytes before each place of the text.
    words = np.ndarray((raw.size - _WORD + 1,), dtype="<u8", buffer=raw, strides=(1,))
    digits = _whole(words, points, before)
    digits *= _TENS[after]
    digits += _whole(words, ends, after)
    values = digits.astype(float)
    values /= _SCALES[after]
    values *= 1.0 - 2.0 * minus
    return values.reshape(-1, width)


def _whole(words: _Words, ends: NDArray[np.int64], many: NDArray[np.int64]) -> _Words:
    """The whole numbers that so many digits before each end make."""
    value = _summed(words[ends] & _LAST[np.minimum(many, _WORD)])
    if many.max() > _WORD:
        more = np.flatnonzero(many > _WORD)
        value[more] += _TENS[_WORD] * _summed(words[ends[more] - _WORD] & _LAST[many[more] - _WORD])
    return value


def _summed(words: _Words) -> _Words:
    """The number that eight digits make, [1]_, in place."""
    for kept, factor, down in _SUMS:
        words &= kept
        words *= factor
        words >>= down
    return words
