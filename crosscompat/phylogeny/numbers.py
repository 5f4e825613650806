"""Branch lengths from text: a plain decimal number or nothing."""

from __future__ import annotations

import numpy as np

from crosscompat.phylogeny.postorder import Floats
from crosscompat.phylogeny.raw import NUMBER

__all__ = ["read_numbers"]

_PLAIN = str.maketrans("", "", "0123456789.eE+-")
_NO_NUMBER = frozenset({"nan", "inf", "infinity", "na"})


def read_numbers(text: str | bytes, starts: list[int], stops: list[int]) -> tuple[Floats, list[int]]:
    """Read the number in each span of a text.

    Returns
    -------
    values : (m,) float array
        NaN or infinite where the text says so (also "NA"), NaN where it is no number.
    bad : list of int
        Which spans hold no number.

    Examples
    --------
    >>> values, bad = read_numbers("1.5 2e-3 x 1_0", [0, 4, 9, 11], [3, 8, 10, 14])
    >>> values.tolist(), bad
    ([1.5, 0.002, nan, nan], [2, 3])
    """
    pieces = [text[start:stop] for start, stop in zip(starts, stops, strict=True)]
    words = [piece if isinstance(piece, str) else piece.decode("utf-8", "replace") for piece in pieces]
    if not "".join(words).translate(_PLAIN):  # float() alone would take "1_0", "infinity" and Arabic digits too
        try:
            return np.fromiter(map(float, words), np.float64, len(words)), []
        except ValueError:
            pass
    return _one_by_one(words)


def _one_by_one(words: list[str]) -> tuple[Floats, list[int]]:
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
