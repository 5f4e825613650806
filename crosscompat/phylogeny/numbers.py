"""Branch lengths from text: a plain decimal number or nothing."""

from __future__ import annotations

import re

import numpy as np
import numpy.typing as npt

from crosscompat.phylogeny.postorder import Bools, Floats, Ints

__all__ = ["NUMBER", "read_numbers"]

NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")

_PLAIN = str.maketrans("", "", "0123456789.eE+-")
_NO_NUMBER = frozenset({"nan", "inf", "infinity", "na"})
_MOST_DIGITS = 15
_CHUNK = 16_384
_POWERS = np.array([float(10**power) for power in range(_MOST_DIGITS + 1)])

Bytes = npt.NDArray[np.uint8]


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
    width = stop - start
    counts = np.bincount(np.clip(width, 0, _MOST_DIGITS + 2), minlength=_MOST_DIGITS + 2)
    for size in range(1, _MOST_DIGITS + 2):
        if counts[size]:
            of_size = np.flatnonzero(width == size)
            for first in range(0, of_size.size, _CHUNK):
                rows = of_size[first : first + _CHUNK]
                _digits(content, start[rows], size, rows, values, done)
    rest = np.flatnonzero(~done)
    if not rest.size:
        return values, []
    text = content.tobytes()
    spans = zip(start[rest].tolist(), stop[rest].tolist(), strict=True)
    values[rest], bad = _words([text[left:right].decode("utf-8", "replace") for left, right in spans])
    return values, rest[bad].tolist()


def _digits(content: Bytes, start: Ints, size: int, rows: Ints, values: Floats, done: Bools) -> None:
    """Fill in the spans of one size that hold digits with at most one point.

    Up to 15 digits make a whole number that a float holds exactly, and so is the power of ten it is divided by: the
    quotient is rounded once, which is the right number (Clinger 1990, doi 10.1145/93542.93557).
    """
    block = np.ascontiguousarray(np.lib.stride_tricks.sliding_window_view(content, size)[start].T)
    point = block == ord(".")
    digit = block - np.uint8(ord("0"))
    points = point.sum(axis=0)
    fine = ((digit <= 9) | point).all(axis=0) & (points <= 1) & (size - points > 0) & (size - points <= _MOST_DIGITS)  # noqa: PLR2004 - digits
    at = np.where(points == 1, point.argmax(axis=0), size)
    for row in np.flatnonzero(np.bincount(at[fine], minlength=size + 1)).tolist():
        places = np.flatnonzero(np.arange(size) != row)
        chosen = np.flatnonzero(fine & (at == row))
        whole = _POWERS[: places.size][::-1] @ digit[np.ix_(places, chosen)].astype(np.float64)
        values[rows[chosen]] = whole / _POWERS[max(0, size - 1 - row)]
    done[rows[fine]] = True


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
