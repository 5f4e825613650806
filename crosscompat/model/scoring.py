"""How good forecasts were once the outcomes are known, and which crosses are held out together meanwhile.

Every score is over single yes-or-no outcomes with weights: a record of k takes in n units is a take of weight k and a
failure of weight n - k. Folds are places among the crosses whose parents or seasons are given.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import ArrayLike

from crosscompat.model.likelihood import Flags, Floats, Ints

MOST, FOLDS = 40, 20

_MOST_BINS = 5
_FEWEST_IN_A_BIN = 8

_LEAST = 1e-12
_Z90 = 1.6448536269514722


@dataclass(frozen=True, slots=True)
class CameOf:
    """What came of chances of about one size.

    Attributes
    ----------
    chance : float
        Mean of the chances given.
    took : float
        Share of the crosses that gave a seedling.
    low, high : float
        90% interval of that share.
    crosses : float
        How many stand behind it; one that is held out with each of two species counts half each time, and doubtful
        evidence less.
    """

    chance: float
    took: float
    low: float
    high: float
    crosses: float


@dataclass(frozen=True, slots=True)
class ForecastScore:
    """The scores of one forecast of the crosses held out.

    Attributes
    ----------
    forecast : str
        ``crosscompat``, ``distance`` or ``traits`` alone, or ``base_rate``: how often the crosses learned from gave a
        seedling.
    log_loss, brier : float
        The smaller the better.
    skill : float or None
        Share of the base rate's Brier score that is saved; below 0 it is worse than that. None where all outcomes are
        alike.
    skill_low, skill_high : float or None
        90% interval of the skill, from leaving out pair after pair; None where it cannot be told.
    auc : float or None
        How often a cross with a seedling had the larger chance than one without; 0.5 tells nothing. None where all
        outcomes are alike, and for the base rate, which says the same of all.
    """

    forecast: str
    log_loss: float
    brier: float
    skill: float | None
    skill_low: float | None
    skill_high: float | None
    auc: float | None


def log_loss(forecast: Floats, took: Floats, weight: Floats) -> float:
    """Return the mean logarithmic loss of chances; 0 and 1 are taken as a hair inside.

    The arrays are of shape (n,): chances, 1 or 0, and weights.

    Examples
    --------
    >>> round(log_loss(np.array([0.5, 0.25]), np.array([1.0, 0.0]), np.ones(2)), 4)
    0.4904
    """
    inside = np.clip(forecast, _LEAST, 1.0 - _LEAST)
    loss = -(took * np.log(inside) + (1.0 - took) * np.log1p(-inside))
    return float(weight @ loss / weight.sum())


def brier(forecast: Floats, took: Floats, weight: Floats) -> float:
    """Return the mean squared error of the chances (Brier 1950, Monthly Weather Review 78:1-3)."""
    return float(weight @ np.square(forecast - took) / weight.sum())


def auc(forecast: Floats, took: Floats, weight: Floats) -> float | None:
    """Return the chance that a take had a larger forecast than a failure; equal ones count half. None without both."""
    values, place = np.unique(forecast, return_inverse=True)
    takes = np.bincount(place, weight * took, minlength=len(values))
    failures = np.bincount(place, weight * (1.0 - took), minlength=len(values))
    pairs = takes.sum() * failures.sum()
    below = np.cumsum(failures) - failures
    return None if pairs == 0 else float((takes @ (below + 0.5 * failures)) / pairs)


def scores(
    forecast: Floats, took: Floats, weight: Floats, base_rate: Floats, group: Ints, name: str = ""
) -> ForecastScore:
    """Return all scores of forecasts, arrays as for `log_loss`, against the base rate and by group, shape (n,).

    Examples
    --------
    >>> scored = scores(np.array([0.9, 0.1]), np.array([1.0, 0.0]), np.ones(2), np.array([0.5, 0.5]), np.arange(2))
    >>> round(scored.skill, 2), scored.auc
    (0.96, 1.0)
    """
    ours, theirs = brier(forecast, took, weight), brier(base_rate, took, weight)
    skill = None if theirs == 0 or len(set(took.tolist())) == 1 else 1.0 - ours / theirs
    interval = None if skill is None else skill_interval(forecast, took, weight, base_rate, group)
    low, high = interval or (None, None)
    loss, ranks = log_loss(forecast, took, weight), auc(forecast, took, weight)
    return ForecastScore(name, loss, ours, skill, low, high, ranks)


def skill_interval(
    forecast: Floats, took: Floats, weight: Floats, base_rate: Floats, group: Ints
) -> tuple[float, float] | None:
    """Return the 90% interval of the skill, at most 1, by leaving out group after group (jackknife).

    It is None where fewer than two groups would leave something to save. Outcomes of one number in ``group`` go
    together, as those of one pair do; the arrays are as for `scores`. The standard error is that of the jackknife over
    groups (Miller 1974, The jackknife - a review, Biometrika 61:1-15), times the quantile of Student's t with a degree
    of freedom less than there are groups: with few groups the percentiles of a bootstrap are far too narrow for a ratio
    such as this.

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
        return None
    without = 1.0 - (ours.sum() - ours) / rest
    spread = (groups - 1) / groups * float(np.square(without - without.mean()).sum())
    reach = float(stdtrit(groups - 1, 0.95)) * sqrt(spread)
    skill = 1.0 - float(ours.sum() / theirs.sum())
    return skill - reach, min(1.0, skill + reach)


def calibration(forecast: Floats, took: Floats, weight: Floats, bins: int | None = None) -> list[CameOf]:
    """Return what came of forecasts of about one size, in at most so many bins of about as many outcomes each.

    Equal forecasts are never parted; the arrays are as for `log_loss`. By default there are as many bins, at most
    five, as eight outcomes each fill.

    Examples
    --------
    >>> [(b.chance, b.took, b.crosses) for b in calibration(
    ...     np.array([0.2, 0.2, 0.8, 0.8]), np.array([0.0, 1.0, 1.0, 1.0]), np.ones(4), bins=2)]
    [(0.2, 0.5, 2.0), (0.8, 1.0, 2.0)]
    """
    if bins is None:
        bins = max(1, min(_MOST_BINS, int(weight.sum()) // _FEWEST_IN_A_BIN))
    values, place = np.unique(forecast, return_inverse=True)
    cumulated = np.cumsum(np.bincount(place, weight, minlength=len(values)))
    bin_of = (
        np.minimum((bins * (cumulated - 1e-9) / cumulated[-1]).astype(np.int64), bins - 1) if len(values) else place
    )
    return [_bin(forecast, took, weight, bin_of[place] == number) for number in np.unique(bin_of)]


def _bin(forecast: Floats, took: Floats, weight: Floats, chosen: Flags) -> CameOf:
    n = float(weight[chosen].sum())
    share = float(weight[chosen] @ took[chosen]) / n
    low, high = _wilson(share, n)
    return CameOf(float(weight[chosen] @ forecast[chosen]) / n, share, low, high, n)


def _wilson(share: float, n: float) -> tuple[float, float]:
    """Interval of a share (Wilson 1927, Journal of the American Statistical Association 22:209-212)."""
    squared = _Z90**2 / n
    middle = (share + squared / 2) / (1 + squared)
    reach = _Z90 / (1 + squared) * sqrt(share * (1 - share) / n + squared / (4 * n))
    return min(share, max(0.0, middle - reach)), max(share, min(1.0, middle + reach))


@dataclass(frozen=True, slots=True)
class Fold:
    """Crosses held out of a fit, and those that it learns from: places among all, in order."""

    held: Ints
    train: Ints


def by_pair(seed: ArrayLike, pollen: ArrayLike, most: int = MOST) -> list[Fold]:
    """Hold out pair after pair, both directions together, so that every cross is held out once.

    The parents are names or numbers, shape (n_crosses,). More pairs than ``most`` are dealt out to twenty folds, by a
    fixed shuffle.

    Examples
    --------
    >>> [fold.held.tolist() for fold in by_pair(["a", "b", "a"], ["b", "a", "c"])]
    [[0, 1], [2]]
    """
    pair = pair_numbers(seed, pollen)
    numbers = np.unique(pair)
    dealt = np.array_split(np.random.default_rng(0).permutation(numbers), FOLDS) if numbers.size > most else numbers
    every = (np.isin(pair, together) for together in dealt)
    return [Fold(np.flatnonzero(held), np.flatnonzero(~held)) for held in every]


def by_species(
    seed: ArrayLike, pollen: ArrayLike, most: int = MOST, comes_of: Mapping[str, Collection[str]] | None = None
) -> list[Fold]:
    """Hold out species after species, with every cross in which it is a parent.

    A cross of two species is held out twice, one within a species once. No cross learned from has the species as a
    parent, or a hybrid that comes of it (``comes_of``: the species of each hybrid among the parents). Of more species
    than ``most``, so many are drawn, always the same.

    Examples
    --------
    >>> [fold.held.tolist() for fold in by_species(["a", "b"], ["b", "c"])]
    [[0], [0, 1], [1]]
    """
    mother, father = np.asarray(seed), np.asarray(pollen)
    species = np.unique(np.concatenate([mother, father]))
    if species.size > most:
        species = species[np.sort(np.random.default_rng(0).permutation(species.size)[:most])]
    folds = []
    for one in species:
        hybrids = [name for name, parts in (comes_of or {}).items() if one in parts]
        held = (mother == one) | (father == one)
        barred = held | np.isin(mother, hybrids) | np.isin(father, hybrids)
        folds.append(Fold(np.flatnonzero(held), np.flatnonzero(~barred)))
    return folds


def by_season(season: ArrayLike) -> list[Fold]:
    """Hold out season after season and learn from the seasons before only; the first is not held out.

    Examples
    --------
    >>> [(fold.held.tolist(), fold.train.tolist()) for fold in by_season([2024, 2022, 2023, 2022])]
    [([2], [1, 3]), ([0], [1, 2, 3])]
    """
    year = np.asarray(season, dtype=np.int64)
    return [Fold(np.flatnonzero(year == one), np.flatnonzero(year < one)) for one in np.unique(year)[1:]]


def pair_numbers(seed: ArrayLike, pollen: ArrayLike) -> Ints:
    """Return a number for the pair of each cross, the same for both of its directions, shape (n_crosses,).

    Examples
    --------
    >>> pair_numbers(["a", "b", "a"], ["b", "a", "c"])
    array([0, 0, 1])
    """
    sides = np.sort(np.column_stack([np.asarray(seed), np.asarray(pollen)]), axis=1)
    return np.unique(sides, axis=0, return_inverse=True)[1].ravel()


def verdict_on(scored: ForecastScore) -> str:
    """Return the verdict on forecasts against the base rate.

    ``better`` or ``worse`` where the interval of the skill leaves no doubt, else ``perhaps`` or ``no_better``;
    ``alike`` where all outcomes are.

    Examples
    --------
    >>> [verdict_on(ForecastScore("", 0.5, 0.2, 0.3, low, 0.5, 0.7)) for low in (0.1, -0.1)]
    ['better', 'perhaps']
    """
    if scored.skill is None:
        return "alike"
    if scored.skill_low is not None and scored.skill_low > 0:
        return "better"
    if scored.skill_high is not None and scored.skill_high < 0:
        return "worse"
    return "perhaps" if scored.skill > 0 else "no_better"
