"""The chances in words: one table, a judgement of this project."""

from __future__ import annotations

from crosscompat.ground.wording import say

__all__ = ["VERDICTS", "verdict", "verdict_words"]

_UNSURE_BELOW, _UNSURE_ABOVE = 0.2, 0.5

_FROM_MEAN = ((0.8, "very_likely"), (0.5, "likely"), (0.2, "possible"), (0.05, "long_shot"), (0.0, "very_unlikely"))

VERDICTS = ("cannot_tell", *(name for _, name in _FROM_MEAN))


def verdict(chance: float, low: float, high: float) -> str:
    """Return the verdict on a chance of a seedling.

    Parameters
    ----------
    chance, low, high : float
        Mean and 90% interval, from 0 to 1.

    Returns
    -------
    str
        ``cannot_tell`` when the interval reaches below 0.2 and above 0.5; otherwise ``very_likely`` from 0.8,
        ``likely`` from 0.5, ``possible`` from 0.2, ``long_shot`` from 0.05, and ``very_unlikely``.

    Examples
    --------
    >>> verdict(0.6, 0.5, 0.7), verdict(0.4, 0.1, 0.7), verdict(0.02, 0.0, 0.1)
    ('likely', 'cannot_tell', 'very_unlikely')
    """
    if low < _UNSURE_BELOW and high > _UNSURE_ABOVE:
        return "cannot_tell"
    return next(name for least, name in _FROM_MEAN if chance >= least)


def verdict_words(name: str) -> str:
    """Return a verdict as a screen says it.

    Examples
    --------
    >>> verdict_words("likely")
    'Likely to give a seedling'
    """
    return say(f"verdict.{name}")
