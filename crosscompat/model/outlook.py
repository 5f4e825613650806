"""What a model expects of pairings: the chance of each stage, and of a seedling from so many units.

The stages of the chain are independent given the crosses, each logit a Gaussian. The chance of the whole has no closed
form. Where no stage is known closely, histograms of the stages are put together; where all are, cumulants tell enough;
where only some are, the chance is averaged over a fixed set of points spread evenly through four standard normals. No
number is drawn, so that the same question always gets the same answer.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import nullcontext
from dataclasses import dataclass, replace
from functools import cache
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crosscompat.model.cumulants import WIDEST, UnitAtNodes, unit_at_nodes
from crosscompat.model.fitted import FittedModel
from crosscompat.model.forecast import MOST_FLOWERS, NORMAL_95, Chances, Logits, chances, flowers_for, logits
from crosscompat.model.histogram import (
    NARROWEST,
    Masses,
    at_least_one,
    fewest_units,
    from_seed,
    from_units,
    quantiles,
    unit_histogram,
)
from crosscompat.model.likelihood import Floats, chance
from crosscompat.model.means import mean_chance
from crosscompat.model.normal_points import normal_points
from crosscompat.model.pairings import Pairings
from crosscompat.model.seeds import SeedsPerPod
from crosscompat.model.threads import one_thread

__all__ = ["Outlook", "flowers_needed", "mean_chances", "outlook", "pods_differ", "seedling_chances"]

_DRAWS = 8192
_POINTS_AT_ONCE = 32
_NODES_AT_ONCE = 256
_HISTOGRAMS_AT_ONCE = 4096
_SEVERAL, _MANY = 100, 20_000
_FILL = 2
_LOW, _HIGH = 0.05, 0.95


@dataclass(frozen=True, slots=True)
class Outlook:
    """What is believed of some pairings.

    Attributes
    ----------
    stages : tuple of Logits
        Of the chance of each stage of the model, the fate of the cross (at filling: of a pod) among its uncertainty.
    seeds : SeedsPerPod or None
        Of a ripe pod; None for the plain form.
    pod_sd : float
        How widely pods of one cross differ in filling, in logits; it is part of the uncertainty of that stage.
    """

    stages: tuple[Logits, ...]
    seeds: SeedsPerPod | None = None
    pod_sd: float = 0.0

    def __len__(self) -> int:
        return len(self.stages[0].mean)


def outlook(model: FittedModel, rows: Floats, asked: Pairings | None = None, spread: Floats | None = None) -> Outlook:
    """Return what a model expects of pairings; parameters as for `logits`."""
    answers = tuple(logits(model, rows, asked, i, spread) for i in range(len(model.stages)))
    if model.seeds is None:
        return Outlook(answers)
    return Outlook(answers, model.seeds, pods_differ(model))


def pods_differ(model: FittedModel) -> float:
    """Return how widely pods of one cross differ in filling, in logits; 0 for the plain form."""
    effects = model.stages[_FILL].effects if model.seeds is not None else None
    return 0.0 if effects is None else float(np.sqrt(effects.variances[-1]))


def seedling_chances(belief: Outlook, units: ArrayLike = 1) -> Chances:
    """Return the chance of at least one seedling from a number of units.

    Parameters
    ----------
    belief : Outlook
    units : array_like of int
        Units pollinated, one number or one a pairing.

    Notes
    -----
    Against a million draws the mean is off by at most 0.002 and the ends of the interval by at most 0.006; where some
    stages are known closely (`histogram.NARROWEST`) and others are not, the ends by at most 0.015.

    Examples
    --------
    Every stage known to be an even chance, one seed a pod: one flower in sixteen gives a seedling.

    >>> even = Logits(np.zeros(1), np.zeros(1))
    >>> seedling_chances(Outlook((even,) * 4, SeedsPerPod(1.0, 1.0, cap=1))).mean.round(9)
    array([0.0625])
    """
    if belief.seeds is None:
        return chances(belief.stages[0], units)
    number = np.broadcast_to(np.asarray(units, dtype=np.float64), len(belief))
    found = np.empty((3, len(belief)))
    with one_thread() if len(belief) > _SEVERAL else nullcontext():
        for at, some in _by_method(belief):
            found[:, at] = some.chances(number[at])
    return Chances(*found)


def mean_chances(belief: Outlook, units: int = 1) -> Floats:
    """Return the mean of `seedling_chances` alone, many times faster and within 0.002 of it, shape (n_pairs,)."""
    if belief.seeds is None:
        return chances(belief.stages[0], units).mean
    mean, sd = _stages(belief)
    broad = (sd >= NARROWEST).all(axis=0)
    found = np.empty(len(belief))
    found[broad] = mean_chance(belief.seeds, belief.pod_sd, units).of(mean[:, broad], sd[:, broad])
    if not broad.all():
        narrow = tuple(Logits(stage.mean[~broad], stage.sd[~broad]) for stage in belief.stages)
        found[~broad] = seedling_chances(replace(belief, stages=narrow), units).mean
    return found


def flowers_needed(belief: Outlook, target: float) -> NDArray[np.int64]:
    """Return the fewest flowers whose mean chance reaches ``target``; 0 where more than 200 are needed.

    Examples
    --------
    >>> even = Logits(np.zeros(1), np.zeros(1))
    >>> flowers_needed(Outlook((even,) * 4, SeedsPerPod(1.0, 1.0, cap=1)), 0.5)  # 1 - (15/16)^11 = 0.508
    array([11])
    """
    if belief.seeds is None:
        return flowers_for(belief.stages[0], target)
    found = np.zeros(len(belief), dtype=np.int64)
    for at, some in _by_method(belief):
        found[at] = some.fewest(target)
    return found


class _Answers(Protocol):
    """What some pairings come to."""

    def chances(self, units: Floats) -> tuple[Floats, Floats, Floats]:
        """Return mean, low and high of the chance from a number of units of each."""

    def fewest(self, target: float) -> NDArray[np.int64]:
        """Return the fewest units whose mean chance reaches the target, 0 beyond `MOST_FLOWERS`."""


@dataclass(frozen=True, slots=True)
class _InBins:
    """The chance of a unit as histograms, a row a pairing."""

    masses: Masses

    def chances(self, units: Floats) -> tuple[Floats, Floats, Floats]:
        low, high = (from_units(end, units) for end in quantiles(self.masses, (_LOW, _HIGH)))
        number, which = np.unique(units, return_inverse=True)
        each = np.stack([at_least_one(float(n)) for n in number])
        mean = self.masses @ each[0] if len(number) == 1 else np.einsum("nk,nk->n", self.masses, each[which])
        return np.asarray(np.clip(mean, 0.0, 1.0), dtype=np.float64), low, high

    def fewest(self, target: float) -> NDArray[np.int64]:
        return fewest_units(self.masses, target, MOST_FLOWERS)


@dataclass(frozen=True, slots=True)
class _AtNodes:
    """The chance of a unit by the nodes of the stages."""

    unit: UnitAtNodes

    def chances(self, units: Floats) -> tuple[Floats, Floats, Floats]:
        low, high = (from_units(end, units) for end in self.unit.quantiles((-NORMAL_95, NORMAL_95)))
        return self.unit.mean(units), low, high

    def fewest(self, target: float) -> NDArray[np.int64]:
        return _fewest(len(self.unit.logit), target, self.unit.mean)


@dataclass(frozen=True, slots=True)
class _AtPoints:
    """The chance of a unit at every point, shape (n_pairs, n_points)."""

    draws: Floats

    def chances(self, units: Floats) -> tuple[Floats, Floats, Floats]:
        found = self._from_units(units)
        low, high = np.quantile(found, (_LOW, _HIGH), axis=1)
        return found.mean(axis=1), low, high

    def fewest(self, target: float) -> NDArray[np.int64]:
        return _fewest(len(self.draws), target, lambda units: self._from_units(units).mean(axis=1))

    def _from_units(self, units: ArrayLike) -> Floats:
        inside = np.minimum(self.draws, 1.0 - 1e-16)
        found: Floats = -np.expm1(np.asarray(units, dtype=np.float64)[:, None] * np.log1p(-inside))
        return found


def _fewest(size: int, target: float, mean: Callable[[Floats], Floats]) -> NDArray[np.int64]:
    """Return the fewest units whose mean chance reaches the target, by halving; 0 beyond `MOST_FLOWERS`."""
    low, high = (np.full(size, n, dtype=np.int64) for n in (0, MOST_FLOWERS + 1))
    while np.any(high - low > 1):
        middle = (low + high) // 2
        enough = mean(middle.astype(np.float64)) >= target
        high, low = np.where(enough, middle, high), np.where(enough, low, middle)
    return np.where(high > MOST_FLOWERS, 0, high)


def _by_method(belief: Outlook) -> Iterator[tuple[NDArray[np.intp], _Answers]]:
    """Yield some pairings at a time, by their numbers, with what they come to."""
    assert belief.seeds is not None  # noqa: S101 - the callers have looked
    mean, sd = _stages(belief)
    broad = (sd >= NARROWEST).all(axis=0)
    for at in _parts(np.flatnonzero(broad), _HISTOGRAMS_AT_ONCE):
        tables = unit_histogram(belief.seeds, belief.pod_sd, single=len(belief) > _MANY)
        yield at, _InBins(tables.masses(mean[:, at], sd[:, at]))
    close = ~broad & (sd <= WIDEST).all(axis=0)
    for at in _parts(np.flatnonzero(close), _NODES_AT_ONCE):
        yield at, _AtNodes(unit_at_nodes(mean[:, at], sd[:, at], belief.seeds, belief.pod_sd))
    for at in _parts(np.flatnonzero(~broad & ~close), _POINTS_AT_ONCE):
        eta = mean[:, at, None] + sd[:, at, None] * _points()[:, None, :]
        ripe = chance(eta[0]) * chance(eta[1])
        yield at, _AtPoints(ripe * from_seed(belief.seeds, eta[_FILL], eta[_FILL + 1], belief.pod_sd))


def _stages(belief: Outlook) -> tuple[Floats, Floats]:
    """Return mean and sd of the logit of each stage, shape (4, n_pairs); pods differ beyond that."""
    mean, sd = (np.array([getattr(stage, key) for stage in belief.stages]) for key in ("mean", "sd"))
    sd[_FILL] = np.sqrt(np.maximum(sd[_FILL] ** 2 - belief.pod_sd**2, 0.0))
    return mean, sd


def _parts(numbers: NDArray[np.intp], size: int) -> list[NDArray[np.intp]]:
    return [numbers[begin : begin + size] for begin in range(0, len(numbers), size)]


@cache
def _points() -> Floats:
    """Points spread evenly through four standard normals, shape (4, n_draws)."""
    return np.ascontiguousarray(normal_points(_DRAWS, 4).T)
