"""How good forecasts were, once the outcomes are known.

Every score is over single yes-or-no outcomes with weights: a record of k takes in n units is a take of weight k and a
failure of weight n - k.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from crosscompat.model.likelihood import Floats

__all__ = ["Bin", "Scores", "auc", "brier", "calibration", "log_loss", "scores", "skill_interval"]

_LEAST = 1e-12
_Z90 = 1.6448536269514722


@dataclass(frozen=True, slots=True)
class Bin:
    """Forecasts of about one size, and what came of them.

    Attributes
    ----------
    forecast : float
        Mean forecast.
    took : float
        Share that took.
    low, high : float
        90% interval of that share (Wilson).
    outcomes : float
        How many outcomes stand behind it.
    """

    forecast: float
    took: float
    low: float
    high: float
    outcomes: float


@dataclass(frozen=True, slots=True)
class Scores:
    """The scores of one set of forecasts; NaN where the outcomes cannot tell.

    Attributes
    ----------
    log_loss, brier : float
        The smaller the better.
    skill : float
        Share of the base rate's Brier score that is saved; below 0 it is worse than the base rate.
    auc : float
        Chance that of a take and a failure the take had the larger forecast; 0.5 tells nothing.
    outcomes : float
    """

    log_loss: float
    brier: float
    skill: float
    auc: float
    outcomes: float


def log_loss(forecast: Floats, took: Floats, weight: Floats) -> float:
    """Return the mean logarithmic loss.

    Parameters
    ----------
    forecast : ndarray of float, shape (n,)
        Chances; 0 and 1 are taken as a hair inside.
    took : ndarray of float, shape (n,)
        1 or 0.
    weight : ndarray of float, shape (n,)

    Examples
    --------
    >>> round(log_loss(np.array([0.5, 0.25]), np.array([1.0, 0.0]), np.ones(2)), 4)
    0.4904
    """
    inside = np.clip(forecast, _LEAST, 1.0 - _LEAST)
    loss = -(took * np.log(inside) + (1.0 - took) * np.log1p(-inside))
    return float(weight @ loss / weight.sum())


def brier(forecast: Floats, took: Floats, weight: Floats) -> float:
    """Return the mean squared error of the chances (Brier 1950, Monthly Weather Review 78:1-3).

    Examples
    --------
    >>> brier(np.array([0.5, 0.5]), np.array([1.0, 0.0]), np.ones(2))
    0.25
    """
    return float(weight @ np.square(forecast - took) / weight.sum())


def auc(forecast: Floats, took: Floats, weight: Floats) -> float:
    """Return the chance that a take had a larger forecast than a failure; equal ones count half. NaN without both.

    Examples
    --------
    >>> auc(np.array([0.2, 0.6, 0.4]), np.array([0.0, 1.0, 1.0]), np.ones(3))
    1.0
    """
    values, place = np.unique(forecast, return_inverse=True)
    takes = np.bincount(place, weight * took, minlength=len(values))
    failures = np.bincount(place, weight * (1.0 - took), minlength=len(values))
    pairs = takes.sum() * failures.sum()
    if pairs == 0:
        return float("nan")
    below = np.cumsum(failures) - failures
    return float((takes @ (below + 0.5 * failures)) / pairs)


def scores(forecast: Floats, took: Floats, weight: Floats, base_rate: Floats) -> Scores:
    """Return all scores of some forecasts against the base rate's.

    Parameters
    ----------
    forecast, took, weight : ndarray of float, shape (n,)
        As for `log_loss`.
    base_rate : ndarray of float, shape (n,)
        What a forecaster who knows only how often things took would have said.

    Examples
    --------
    >>> found = scores(np.array([0.9, 0.1]), np.array([1.0, 0.0]), np.ones(2), np.array([0.5, 0.5]))
    >>> round(found.skill, 2), found.auc
    (0.96, 1.0)
    """
    ours, theirs = brier(forecast, took, weight), brier(base_rate, took, weight)
    skill = 1.0 - ours / theirs if theirs > 0 else float("nan")
    return Scores(log_loss(forecast, took, weight), ours, skill, auc(forecast, took, weight), float(weight.sum()))


def skill_interval(
    forecast: Floats, took: Floats, weight: Floats, base_rate: Floats, group: NDArray[np.int64]
) -> tuple[float, float]:
    """Return the 90% interval of the skill, by leaving out group after group (jackknife); NaN where it cannot be told.

    Parameters
    ----------
    forecast, took, weight, base_rate : ndarray of float, shape (n,)
        As for `scores`.
    group : ndarray of int, shape (n,)
        Outcomes of one number go together, as those of one pair do; other groups are taken as independent.

    Returns
    -------
    tuple of float
        At most 1; NaN where fewer than two groups would leave something to save.

    Notes
    -----
    The standard error is that of the jackknife over groups (Tukey's; Miller 1974, The jackknife - a review, Biometrika
    61:1-15), times the quantile of Student's t with a degree of freedom less than there are groups. With few groups
    the percentiles of a bootstrap are far too narrow for a ratio such as this.

    Examples
    --------
    >>> low, high = skill_interval(
    ...     np.array([0.8, 0.4, 0.7]), np.array([1.0, 0.0, 1.0]), np.ones(3), np.full(3, 0.5), np.arange(3))
    >>> round(low, 3), round(high, 3)
    (0.207, 1.0)
    """
    from scipy.special import stdtrit  # noqa: PLC0415 - only a scorecard needs it

    ours, theirs = (np.bincount(group, weight * np.square(said - took)) for said in (forecast, base_rate))
    there = np.bincount(group, weight) > 0
    ours, theirs, groups = ours[there], theirs[there], int(there.sum())
    rest = theirs.sum() - theirs
    if groups <= 1 or (rest <= 0).any():
        return float("nan"), float("nan")
    without = 1.0 - (ours.sum() - ours) / rest
    spread = (groups - 1) / groups * float(np.square(without - without.mean()).sum())
    reach = float(stdtrit(groups - 1, 0.95)) * sqrt(spread)
    skill = 1.0 - float(ours.sum() / theirs.sum())
    return skill - reach, min(1.0, skill + reach)


def calibration(forecast: Floats, took: Floats, weight: Floats, bins: int = 5) -> list[Bin]:
    """Return what came of forecasts of about one size, in bins of about as many outcomes each.

    Parameters
    ----------
    forecast, took, weight : ndarray of float, shape (n,)
        As for `log_loss`.
    bins : int
        Most bins; equal forecasts are never parted.

    Examples
    --------
    >>> [(b.forecast, b.took, b.outcomes) for b in calibration(
    ...     np.array([0.2, 0.2, 0.8, 0.8]), np.array([0.0, 1.0, 1.0, 1.0]), np.ones(4), bins=2)]
    [(0.2, 0.5, 2.0), (0.8, 1.0, 2.0)]
    """
    values, place = np.unique(forecast, return_inverse=True)
    cumulated = np.cumsum(np.bincount(place, weight, minlength=len(values)))
    bin_of = (
        np.minimum((bins * (cumulated - 1e-9) / cumulated[-1]).astype(np.int64), bins - 1) if len(values) else place
    )
    return [_bin(forecast, took, weight, bin_of[place] == number) for number in np.unique(bin_of)]


def _bin(forecast: Floats, took: Floats, weight: Floats, chosen: NDArray[np.bool_]) -> Bin:
    n = float(weight[chosen].sum())
    share = float(weight[chosen] @ took[chosen]) / n
    low, high = _wilson(share, n)
    return Bin(float(weight[chosen] @ forecast[chosen]) / n, share, low, high, n)


def _wilson(share: float, n: float) -> tuple[float, float]:
    """Interval of a share (Wilson 1927, Journal of the American Statistical Association 22:209-212)."""
    squared = _Z90**2 / n
    middle = (share + squared / 2) / (1 + squared)
    reach = _Z90 / (1 + squared) * sqrt(share * (1 - share) / n + squared / (4 * n))
    return min(share, max(0.0, middle - reach)), max(share, min(1.0, middle + reach))
