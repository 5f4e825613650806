"""Chances in the words of growers, and in percent for those who want the number."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from math import floor, isnan, sqrt
from typing import Final

from crosscompat.ground.wording import say

# The small shares are said more finely than the large: "1 in 7" is plain speech, "6 in 7" is not.
_SMALL: Final = tuple(Fraction(1, n) for n in (100, 50, 30, 20, 15, 10, 7, 5, 4, 3))
_LARGE: Final = tuple(Fraction(n - 1, n) for n in (3, 4, 5, 10, 20, 50, 100))
_SPOKEN: Final = (*_SMALL, Fraction(2, 5), Fraction(1, 2), Fraction(3, 5), *_LARGE)
_LEAST_PERCENT: Final = 0.01

TELLS_APART: Final = 0.02
"""Chances nearer than this are equal: the figures are no finer."""


def _odds(share: float | Fraction) -> float:
    return float(share) / (1.0 - float(share))


# On the scale of odds the step from 1 in 50 to 1 in 20 is as long as the one from 1 in 5 to 2 in 5, so the border
# between two fractions lies at the geometric mean of their odds.
_BORDERS: Final = tuple(sqrt(_odds(a) * _odds(b)) for a, b in pairwise(_SPOKEN))


def _checked(chance: float) -> float:
    if not 0.0 <= chance <= 1.0:
        raise ValueError(f"a chance lies between 0 and 1, not {chance}")
    return chance


def spoken_fraction(chance: float) -> Fraction:
    """Return the simple fraction that a chance is spoken as, the nearest in odds (our own table); errors as `one_in`.

    Examples
    --------
    >>> spoken_fraction(0.34), spoken_fraction(0.91)
    (Fraction(1, 3), Fraction(9, 10))
    """
    if _checked(chance) == 1.0:
        return _SPOKEN[-1]
    odds = _odds(chance)
    return _SPOKEN[sum(border <= odds for border in _BORDERS)]


def one_in(chance: float | None) -> str:
    """Return a chance as a grower says it; None or NaN is "not known", what lies outside 0 to 1 a `ValueError`.

    Examples
    --------
    >>> one_in(0.34), one_in(0.88), one_in(0.004)
    ('about 1 in 3', 'about 9 in 10', 'less than 1 in 100')
    >>> one_in(None)
    'not known'
    """
    if chance is None or isnan(chance):
        return say("chances.unknown")
    share = spoken_fraction(chance)
    word = "less" if chance < _SPOKEN[0] else "more" if chance > _SPOKEN[-1] else "about"
    return say(f"chances.{word}", k=share.numerator, n=share.denominator)


def percent(chance: float | None) -> str:
    """Return a chance in whole percent; never a certainty, for no cross is one. Unknown values and errors as `one_in`.

    Examples
    --------
    >>> percent(0.345), percent(0.002), percent(0.999)
    ('35%', 'under 1%', 'over 99%')
    """
    if chance is None or isnan(chance):
        return say("chances.unknown")
    whole = whole_percent(chance)
    return say({0: "chances.percent_less", 100: "chances.percent_more"}.get(whole, "chances.percent"), whole=whole)


def whole_percent(chance: float) -> int:
    """Return a chance in whole percent: 0 stands for less than 1, and 100 for more than 99; errors as `one_in`.

    Examples
    --------
    >>> whole_percent(0.345), whole_percent(0.002), whole_percent(0.01), whole_percent(0.999)
    (35, 0, 1, 100)
    """
    if _checked(chance) < _LEAST_PERCENT:
        return 0
    # The nudge lets 0.345, a hair below itself in binary, round as it reads.
    return 100 if chance > 1 - _LEAST_PERCENT else floor(100 * chance + 0.5 + 1e-9)


def percent_range(chance: float, low: float, high: float, *, short: bool = False) -> str:
    """Return a chance with the interval it may well lie in, all in percent, ``short`` for a column; errors as `one_in`.

    Examples
    --------
    >>> percent_range(0.34, 0.12, 0.61)
    '34%, between 12% and 61%'
    >>> percent_range(0.34, 0.12, 0.61, short=True)
    '34% (12% to 61%)'
    >>> percent_range(0.001, 0.0, 0.004)
    'under 1%'
    """
    if percent(low) == percent(chance) == percent(high):
        return percent(chance)
    key = "chances.percent_short" if short else "chances.percent_range"
    return say(key, chance=percent(chance), low=percent(low), high=percent(high))


def ties(falling: Sequence[float]) -> list[int]:
    """Return how many share each place among chances that fall: those that the best of them is not told apart from."""
    sizes, best = [], float("inf")
    for chance in falling:
        if best - chance > TELLS_APART:
            sizes.append(0)
            best = chance
        sizes[-1] += 1
    return sizes
