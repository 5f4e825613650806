"""Branch lengths from text: a plain decimal number or nothing."""

from __future__ import annotations

import re

import numpy as np
import numpy.typing as npt

from crosscompat.phylogeny.digits import eight_digits
from crosscompat.phylogeny.postorder import Bools, Floats, Ints

__all__ = ["NUMBER", "read_numbers"]

NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")

_PLAIN = str.maketrans("", "", "0123456789.eE+-")
_NO_NUMBER = frozenset({"nan", "inf", "infinity", "na"})
_MOST_DIGITS = 15
_WORD, _TWO_WORDS = 8, 16
_CHUNK = 16_384
_POWERS = np.array([float(10**power) for power in range(_MOST_DIGITS + 1)])

Bytes = npt.NDArray[np.uint8]
Words = npt.NDArray[np.uint64]


def read_numbers(content: Bytes, start: Ints, stop: Ints) -> tuple[Floats, list[int]]:
    """Read the number in each span of a text, to the last bit as ``float`` reads it.

    Parameters
    ----------
    content : (bytes,) uint8 array
        The text.
    start, stop : (m,) int arrays
        The spans.

    Returns
    -------
    values : (m,) float array
        NaN or infinite where the text says so (also "NA"), NaN where it is no number.
    bad : list of int
        Which spans hold no number.

    Examples
    --------
    >>> content = np.frombuffer(b"1.5 2e-3 x 1_0", dtype=np.uint8)
    >>> values, bad = read_numbers(content, np.array([0, 4, 9, 11]), np.array([3, 8, 10, 14]))
    >>> values.tolist(), bad
    ([1.5, 0.002, nan, nan], [2, 3])
    """
    values = np.full(start.size, np.nan)
    done = np.zeros(start.size, dtype=np.bool_)
    if content.size >= _TWO_WORDS:
        words = np.ndarray((content.size - _WORD + 1,), "<u8", content, strides=(1,))
        for first in range(0, start.size, _CHUNK):
            piece = slice(first, first + _CHUNK)
            _plain(words, start[piece], stop[piece], values[piece], done[piece])
    rest = np.flatnonzero(~done)
    if not rest.size:
        return values, []
    text = content.tobytes()
    spans = zip(start[rest].tolist(), stop[rest].tolist(), strict=True)
    values[rest], bad = _words([text[left:right].decode("utf-8", "replace") for left, right in spans])
    return values, rest[bad].tolist()


def _plain(words: Words, start: Ints, stop: Ints, values: Floats, done: Bools) -> None:
    """Fill in the spans of up to 16 bytes that hold digits with at most one point.

    Up to 15 digits make a whole number that a float holds exactly, and so is the power of ten it is divided by: the
    quotient is rounded once, which is the right number (Clinger 1990, doi 10.1145/93542.93557).
    """
    width = stop - start
    low = eight_digits(words[np.maximum(stop - _WORD, 0)], width)
    whole, point, fine = low.value, low.point, low.fine & (stop >= _TWO_WORDS)
    after = np.where(point, low.after, 0)
    if (width > _WORD).any():
        high = eight_digits(words[np.maximum(stop - _TWO_WORDS, 0)], width - _WORD)
        whole = whole + high.value * _POWERS[_WORD - point.astype(np.int64)]
        after += np.where(high.point, high.after + _WORD, 0)
        fine &= high.fine & ~(point & high.point)
        point = point | high.point
    digits = width - point
    fine &= (digits > 0) & (digits <= _MOST_DIGITS)
    values[fine] = whole[fine] / _POWERS[after[fine]]
    done |= fine


def _words(words: list[str]) -> tuple[Floats, list[int]]:
    """Read what has signs, exponents, many digits or blanks."""
    if not "".join(words).translate(_PLAIN):  # float() alone would take "1_0", "infinity" and Arabic digits too
        try:
            return np.fromiter(map(float, words), np.float64, len(words)), []
        except ValueError:
            pass
    values, bad = np.full(len(words), np.nan), []
    for place, word in enumerate(words):
        stripped = word.strip()
        if NUMBER.fullmatch(stripped):
            values[place] = float(stripped)
        elif stripped.lstrip("+-").lower() in _NO_NUMBER:
            values[place] = np.inf if "inf" in stripped.lower() else np.nan
        else:
            bad.append(place)
    return values, bad
