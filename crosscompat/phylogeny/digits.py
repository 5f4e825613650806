"""Eight digits at once: the bytes of a number held in one word of 64 bits.

The first byte is the lowest. Neighbours are joined to numbers of two digits, those to four, those to eight (Lemire
2021, doi 10.1002/spe.2984).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from crosscompat.phylogeny.postorder import Bools, Floats, Ints

__all__ = ["Eight", "eight_digits"]

Words = npt.NDArray[np.uint64]

_BYTES = 8
_EACH = 0x0101010101010101
_KEPT = np.array([((1 << 64) - 1) ^ ((1 << 8 * (_BYTES - kept)) - 1) for kept in range(_BYTES + 1)], dtype=np.uint64)


def _each(byte: int) -> np.uint64:
    return np.uint64(byte * _EACH)


_ZEROS, _POINTS, _LOW, _HIGH, _TEN = _each(ord("0")), _each(ord(".")), _each(0x7F), _each(0x80), _each(0xF0)
_ONE, _BYTE, _LAST, _SIX = np.uint64(1), np.uint64(8), np.uint64(56), _each(6)
_PAIRS, _FOURS = np.uint64(0x00FF00FF00FF00FF), np.uint64(0x0000FFFF0000FFFF)


class Eight(NamedTuple):
    """What stands in many words, each array of shape (m,).

    ``value`` is the whole number of the digits without the point, ``point`` says whether there is one, ``after`` how
    many bytes stand behind it (-1 without), and ``fine`` whether there is nothing but digits and at most one point.
    """

    value: Floats
    point: Bools
    after: Ints
    fine: Bools


def eight_digits(words: Words, size: Ints) -> Eight:
    """Read the last ``size`` bytes of each word; the bytes before them count as zeros.

    Parameters
    ----------
    words : (m,) uint64 array
        Eight bytes each, the first the lowest.
    size : (m,) int array
        Taken as 8 if more, as 0 if less.

    Examples
    --------
    >>> words = np.frombuffer(b"x,y:1.25 2000000 12.5.00", dtype="<u8")
    >>> eight = eight_digits(words, np.array([4, 7, 8]))
    >>> eight.value[:2].tolist(), eight.after.tolist(), eight.fine.tolist()
    ([125.0, 2000000.0], [2, -1, 3], [True, True, False])
    """
    kept = _KEPT[np.clip(size, 0, _BYTES)]
    words = (words & kept) | (_ZEROS & ~kept)
    unlike = words ^ _POINTS
    at = ~(((unlike & _LOW) + _LOW) | unlike | _LOW) >> np.uint64(7)
    before = at - _ONE
    point = at != 0
    closed = ((words & before) << _BYTE) | (words & ~before & ~(at * np.uint64(0xFF))) | np.uint64(ord("0"))
    digits = np.where(point, closed, words) ^ _ZEROS
    fine = ((digits | (digits + _SIX)) & _TEN) == 0
    pairs = (digits * np.uint64(10) + (digits >> _BYTE)) & _PAIRS
    fours = (pairs * np.uint64(100) + (pairs >> np.uint64(16))) & _FOURS
    value = (fours * np.uint64(10_000) + (fours >> np.uint64(32))) & np.uint64(0xFFFFFFFF)
    bytes_before = ((before & np.uint64(_EACH)) * np.uint64(_EACH)) >> _LAST
    return Eight(value.astype(np.float64), point, 7 - bytes_before.astype(np.int64), fine)
