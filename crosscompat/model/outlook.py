"""What a model expects of pairings: the chance of each stage, and of a seedling from so many units.

The stages of the chain are independent given the crosses, each logit a Gaussian. The chance of the whole has no closed
form; it is averaged over a fixed set of points spread evenly through four standard normals, so that the same question
always gets the same answer.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crosscompat.model.chain import seedling_chance
from crosscompat.model.fitted import FittedModel
from crosscompat.model.forecast import MOST_FLOWERS, Chances, Logits, chances, flowers_for, logits
from crosscompat.model.likelihood import Floats, chance
from crosscompat.model.pairings import Pairings
from crosscompat.model.seeds import SeedsPerPod
from crosscompat.model.variances import normal_points

__all__ = ["Outlook", "flowers_needed", "outlook", "seedling_chances"]

_DRAWS = 2048
_BLOCK = 128
_FILL = 2
_POD_NODES = 5

_POD_X, _POD_W = np.polynomial.hermite_e.hermegauss(_POD_NODES)


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
    effects = model.stages[_FILL].effects
    return Outlook(answers, model.seeds, 0.0 if effects is None else float(np.sqrt(effects.variances[-1])))


def seedling_chances(belief: Outlook, units: ArrayLike = 1) -> Chances:
    """Return the chance of at least one seedling from a number of units.

    Parameters
    ----------
    belief : Outlook
    units : array_like of int
        Units pollinated, one number or one a pairing.

    Examples
    --------
    Every stage known to be an even chance, one seed a pod: one flower in sixteen gives a seedling.

    >>> even = Logits(np.zeros(1), np.zeros(1))
    >>> float(seedling_chances(Outlook((even,) * 4, SeedsPerPod(1.0, 1.0, cap=1))).mean[0])
    0.0625
    """
    if belief.seeds is None:
        return chances(belief.stages[0], units)
    number = np.broadcast_to(np.asarray(units, dtype=np.float64), len(belief))
    parts = [_summed_up(draws, number[part]) for part, draws in _per_unit(belief)]
    return Chances(*(np.concatenate(side) for side in zip(*parts, strict=True))) if parts else _nobody()


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
    for part, draws in _per_unit(belief):
        low, high = (np.full(len(draws), n, dtype=np.int64) for n in (0, MOST_FLOWERS + 1))
        while np.any(high - low > 1):
            middle = (low + high) // 2
            enough = _from_units(draws, middle).mean(axis=1) >= target
            high, low = np.where(enough, middle, high), np.where(enough, low, middle)
        found[part] = np.where(high > MOST_FLOWERS, 0, high)
    return found


def _per_unit(belief: Outlook) -> Iterator[tuple[slice, Floats]]:
    """Yield the chance of a seedling from one unit at every point, some pairings at a time.

    The fate of a pod is drawn anew for every pod, so that it is averaged over at each point.
    """
    assert belief.seeds is not None  # noqa: S101 - the callers have looked
    points = _points()
    for begin in range(0, len(belief), _BLOCK):
        part = slice(begin, begin + _BLOCK)
        mean, sd = (np.array([getattr(s, key)[part] for s in belief.stages]) for key in ("mean", "sd"))
        sd[_FILL] = np.sqrt(np.maximum(sd[_FILL] ** 2 - belief.pod_sd**2, 0.0))
        eta = mean[:, :, None] + sd[:, :, None] * points[:, None, :]
        set_, hold, _, germinate = chance(eta)
        found = np.zeros_like(set_)
        for x, weight in zip(_POD_X, _POD_W / _POD_W.sum(), strict=True):
            fill = chance(eta[_FILL] + belief.pod_sd * x)
            found += weight * seedling_chance(set_, hold, fill, germinate, belief.seeds, 1.0)
        yield part, found


def _summed_up(draws: Floats, units: Floats) -> tuple[Floats, Floats, Floats]:
    found = _from_units(draws, units)
    low, high = np.quantile(found, (0.05, 0.95), axis=1)
    return found.mean(axis=1), low, high


def _from_units(draws: Floats, units: ArrayLike) -> Floats:
    """Chance from a number of units of each pairing, at every point."""
    inside = np.minimum(draws, 1.0 - 1e-16)
    found: Floats = -np.expm1(np.asarray(units, dtype=np.float64)[:, None] * np.log1p(-inside))
    return found


def _nobody() -> Chances:
    none = np.empty(0)
    return Chances(none, none, none)


@cache
def _points() -> Floats:
    """Points spread evenly through four standard normals, shape (4, n_draws)."""
    return np.ascontiguousarray(normal_points(_DRAWS, 4).T)
