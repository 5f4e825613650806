"""How forecasts are judged by what came of them, whether they were held out or written before."""

from __future__ import annotations

from math import isnan

from crosscompat.model.likelihood import Floats
from crosscompat.model.scoring import Bin, calibration

__all__ = ["calibrated", "known", "verdict_on"]

_MOST_BINS = 5
_FEWEST_IN_A_BIN = 8


def known(value: float) -> float | None:
    """Return a score, None for one that the outcomes cannot tell (NaN)."""
    return None if isnan(value) else value


def verdict_on(skill: float, low: float | None, high: float | None) -> str:
    """Return the verdict on a skill against the base rate and its 90% interval.

    Returns
    -------
    str
        ``better`` or ``worse`` where the interval leaves no doubt, else ``perhaps`` or ``no_better``.

    Examples
    --------
    >>> verdict_on(0.3, 0.1, 0.5), verdict_on(0.3, -0.1, 0.7), verdict_on(-0.1, None, None)
    ('better', 'perhaps', 'no_better')
    """
    if low is not None and low > 0:
        return "better"
    if high is not None and high < 0:
        return "worse"
    return "perhaps" if skill > 0 else "no_better"


def calibrated(said: Floats, took: Floats, weight: Floats) -> list[Bin]:
    """Return what came of chances of about one size, in as many bins as the outcomes fill; as `calibration`."""
    return calibration(said, took, weight, max(1, min(_MOST_BINS, int(weight.sum()) // _FEWEST_IN_A_BIN)))
