"""The chances in words: one table, a judgement of this project."""

from __future__ import annotations

from crosscompat.ground.wording import say

__all__ = ["SURE_WORDS", "VERDICTS", "how_sure", "verdict", "verdict_words"]

_FROM_MEAN = (
    (0.8, "very_likely"),
    (0.6, "likely"),
    (0.4, "even"),
    (0.2, "possible"),
    (0.05, "long_shot"),
    (0.0, "very_unlikely"),
)
_A_COIN = 0.9

VERDICTS = ("cannot_tell", *(name for _, name in _FROM_MEAN))
SURE_WORDS = ("sure", "fairly", "guess")

_SURE_WITHIN, _FAIRLY_WITHIN = 0.3, 0.6


def verdict(chance: float, low: float, high: float, *, known: bool = True) -> str:
    """Return the verdict on a chance of a seedling.

    Parameters
    ----------
    chance, low, high : float
        Mean and 90% interval, from 0 to 1.
    known : bool
        Whether anything is known of either parent or the pair: a cross of theirs, or a published one.

    Returns
    -------
    str
        ``very_likely`` from 0.8, ``likely`` from 0.6, ``even`` from 0.4, ``possible`` from 0.2, ``long_shot`` from
        0.05, and ``very_unlikely``. ``cannot_tell`` for a coin: an even chance, open over nine tenths, of which nothing
        is known.

    Examples
    --------
    >>> verdict(0.65, 0.5, 0.7), verdict(0.5, 0.01, 0.97), verdict(0.5, 0.01, 0.97, known=False)
    ('likely', 'even', 'cannot_tell')
    """
    name = next(name for least, name in _FROM_MEAN if chance >= least)
    return "cannot_tell" if name == "even" and not known and high - low > _A_COIN else name


def how_sure(low: float, high: float) -> str:
    """Return how sure a chance is, from its 90% interval: ``sure``, ``fairly`` or ``guess``.

    Examples
    --------
    >>> how_sure(0.5, 0.7), how_sure(0.2, 0.7), how_sure(0.0, 0.9)
    ('sure', 'fairly', 'guess')
    """
    width = high - low
    return "sure" if width < _SURE_WITHIN else "fairly" if width < _FAIRLY_WITHIN else "guess"


def verdict_words(name: str) -> str:
    """Return a verdict as a screen says it.

    Examples
    --------
    >>> verdict_words("likely")
    'Likely to give a seedling'
    """
    return say(f"verdict.{name}")
