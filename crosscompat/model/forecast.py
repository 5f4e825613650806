"""From a pairing's row of numbers to a chance with its uncertainty."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crosscompat.model.composition import Logits, joined, together
from crosscompat.model.fitted import FittedModel, StepFit, design_of, offset_of, prior_step, whole_before
from crosscompat.model.likelihood import Floats, Ints, chance
from crosscompat.model.pairings import Levels, Pairings
from crosscompat.model.posterior import Effects
from crosscompat.model.prior import doubt_of_uneven
from crosscompat.model.stages import STEPS, WHOLE

__all__ = [
    "MOST_FLOWERS",
    "NORMAL_95",
    "Chances",
    "Outlook",
    "all_joined",
    "chance_of",
    "chances",
    "doubted",
    "effect_columns",
    "flowers_for",
    "no_surer",
    "outlook",
    "parent_effects",
    "step_logits",
]

MOST_FLOWERS = 200

NORMAL_95 = 1.6448536269514722
"""The 95th percentile of a standard normal: 90% lie between it and its negative."""

_STEP, _STEPS = 1 / 6, 51
_BLOCK = 2000


@dataclass(frozen=True, slots=True)
class Outlook:
    """What is believed of some pairings.

    Attributes
    ----------
    steps : mapping of str to Logits
        Of every step, all that was counted at it and at its parts taken together. ``whole`` is the chance of a seedling
        from one flower; the fate that the flowers of one cross share is among its uncertainty.
    own : mapping of str to Logits
        The same by what was counted at the very step alone.
    """

    steps: Mapping[str, Logits]
    own: Mapping[str, Logits]

    @property
    def whole(self) -> Logits:
        """The logit of a seedling from one flower."""
        return self.steps[WHOLE]

    def at(self, i: int) -> Outlook:
        """Return what is believed of one of the pairings."""
        sides = (
            {step: Logits(y.mean[i : i + 1], y.sd[i : i + 1]) for step, y in side.items()}
            for side in (self.steps, self.own)
        )
        return Outlook(*sides)


@dataclass(frozen=True, slots=True)
class Chances:
    """Chance of at least one seedling.

    Attributes
    ----------
    mean, low, high : ndarray of float, shape (n_pairs,)
        Posterior mean, and the 5th and 95th percentiles; the mean where a long tail takes it beyond one of them.
    """

    mean: Floats
    low: Floats
    high: Floats


def outlook(
    model: FittedModel,
    rows: Floats,
    asked: Pairings | None = None,
    farther: Floats | None = None,
    *,
    stages: bool = True,
) -> Outlook:
    """Return what is believed of some pairings, at every step.

    Parameters
    ----------
    model : FittedModel
    rows : ndarray of float, shape (n_pairs, n_features)
        NaN where unknown.
    asked : Pairings, optional
        Who the parents are; by default of species and plants that no cross was made with.
    farther : ndarray of float, shape (n_pairs, n_features), optional
        What the rows gain where their distances are one standard deviation longer (`farther_rows`).
    stages : bool
        Whether the steps finer than the whole are wanted; without them they are worked out only if they speak.

    Examples
    --------
    >>> from crosscompat.model.fitted import prior_model
    >>> from crosscompat.model.composition import SeedsPerPod
    >>> from crosscompat.pairing import DistanceScale, recipe_for
    >>> recipe = recipe_for(None, DistanceScale(2.0, (("time", 2.0, 1.0),), "My"))
    >>> found = outlook(prior_model(recipe, SeedsPerPod(20.0, 1.0)), np.array([[0.0]]))
    >>> found.whole.mean, chances(found.whole, 1).mean.round(2)
    (array([0.3]), array([0.53]))
    """
    if not stages and all(fit.step == WHOLE for fit in model.steps):
        only = step_logits(model, WHOLE, rows, asked, farther)
        return Outlook({WHOLE: only}, {WHOLE: only})
    prior = {step: step_logits(model, step, rows, asked, farther, learned=False) for step in STEPS}
    own = {
        step: prior[step] if model.fit_of(step) is None else step_logits(model, step, rows, asked, farther)
        for step in STEPS
    }
    return Outlook(all_joined(model, prior, own), own)


def all_joined(model: FittedModel, prior: Mapping[str, Logits], own: Mapping[str, Logits]) -> dict[str, Logits]:
    """Join what was counted at each step with what was counted of its parts, from the stages up."""
    steps: dict[str, Logits] = {}
    told: set[str] = {fit.step for fit in model.steps}
    for step, parts in STEPS.items():
        steps[step] = own[step]
        if told.intersection(parts):
            before = together(step, tuple(prior[part] for part in parts), model.seeds)
            after = together(step, tuple(steps[part] for part in parts), model.seeds)
            steps[step] = joined(prior[step], own[step], (before, after))
            told.add(step)
    return steps


def step_logits(
    model: FittedModel,
    step: str,
    rows: Floats,
    asked: Pairings | None = None,
    farther: Floats | None = None,
    *,
    learned: bool = True,
) -> Logits:
    """Return the logit of one step of each pairing, by what was counted at it alone.

    Parameters
    ----------
    model, rows, asked, farther
        As for `outlook`. An unknown number (NaN) is put at its training mean and widens the answer by (b² + var b) s²,
        with b its coefficient and s² its variance among the crosses fitted; so does a distance that is not sure.
    step : str
    learned : bool
        Whether the crosses count; if not it is the prior.
    """
    fit = (model.fit_of(step) if learned else None) or prior_step(model, step)
    design = design_of(model.recipe, rows, model.means)
    offset = offset_of(step, whole_before(model, design), model.seeds)
    second_moment = fit.mean[1:] ** 2 + np.diag(fit.covariance)[1:]
    extra = np.isnan(rows) @ (second_moment * model.variances)
    if farther is not None:
        slope = model.prior.mean[1:] * (step != WHOLE) + fit.mean[1:]
        extra += (farther @ slope) ** 2 + np.einsum("ij,jk,ik->i", farther, fit.covariance[1:, 1:], farther)
    asked = _strangers(len(rows)) if asked is None else asked
    parts = [slice(begin, begin + _BLOCK) for begin in range(0, len(rows), _BLOCK)] or [slice(0)]
    found = [_with_effects(fit, fit.effects, design[part], asked[part]) for part in parts]
    mean, variance = (np.concatenate(side) for side in zip(*found, strict=True))
    return Logits(offset + mean, np.sqrt(variance + extra))


def _strangers(size: int) -> Pairings:
    nobody: Ints = np.full(size, -1, dtype=np.intp)
    return Pairings(Levels(nobody, nobody, nobody, nobody))


def _with_effects(fit: StepFit, effects: Effects, design: Floats, asked: Pairings) -> tuple[Floats, Floats]:
    """Mean and variance of the logits of some pairings."""
    rows, extra = effect_columns(effects, asked)
    tie = effects.pairs.find(asked.levels.seed, asked.levels.pollen)
    mean = design @ fit.mean + rows @ effects.mean
    joint = np.column_stack([design, rows])
    pair, direction, record = effects.variances[4:]
    extra += record
    if len(effects.pairs.ways):
        tied = tie >= 0
        ties = effects.pairs
        mean += np.where(tied, ties.pair[tie] + ties.direction[tie], 0.0)
        extra += np.where(tied, ties.own[tie], pair + direction)
        at, member = np.nonzero((ties.columns[tie] >= 0) & tied[:, None])
        np.subtract.at(joint, (at, ties.columns[tie][at, member]), ties.lean[tie][at, member])
    else:
        extra += pair + direction
    x, z = joint[:, : fit.mean.size], joint[:, fit.mean.size :]
    variance = np.einsum("ij,ij->i", x @ fit.covariance + 2.0 * z @ effects.cross, x)
    variance += np.einsum("ij,ij->i", z @ effects.covariance, z)
    return mean, np.maximum(variance, 0.0) + extra


def effect_columns(effects: Effects, asked: Pairings) -> tuple[Floats, Floats]:
    """Return the effects that each pairing has, and the variance that no cross says anything of."""
    size = len(asked.levels.seed)
    rows, extra = np.zeros((size, effects.mean.size)), np.zeros(size)
    for k in range(4):
        extra += parent_effects(effects, asked, k, rows)
    return rows, extra


def parent_effects(effects: Effects, asked: Pairings, k: int, rows: Floats) -> Floats:
    """Put the effects of one kind of parent into rows, and return the variance that no cross says anything of.

    Parameters
    ----------
    effects : Effects
    asked : Pairings
    k : int
        0 and 1 for the species as seed and as pollen parents, 2 and 3 for the plants.
    rows : ndarray of float, shape (n_pairs, r)
        Written to: the share that each pairing has of each of ``effects.mean``.
    """
    levels = asked.levels
    level = (levels.seed, levels.pollen, levels.seed_plant, levels.pollen_plant)[k]
    begin, end = effects.block(k)
    seen = (level >= 0) & (end > begin)  # a stage that no cross has reached has no effects yet
    at = np.flatnonzero(seen)
    rows[at, begin + level[at]] = 1.0
    extra = np.where(seen, 0.0, effects.variances[k])
    kin = (asked.seed_kin, asked.pollen_kin, None, None)[k]
    if kin is None or not effects.inherited.size:
        return extra
    new = np.flatnonzero(~seen)
    begin, end = effects.block(4 + k)
    rows[new, begin:end] = kin[new]
    extra[new] -= np.einsum("ij,ij->i", kin[new] @ effects.inherited[k], kin[new])
    return np.maximum(extra, 0.0)


def chances(answer: Logits, flowers: ArrayLike = 1) -> Chances:
    """Return the chance of at least one seedling from a number of flowers.

    Parameters
    ----------
    answer : Logits
        Logit of the chance per unit.
    flowers : array_like of int
        Units pollinated, one number or one a pairing.

    Notes
    -----
    With p the chance per unit, the chance from N units is 1 - (1 - p)^N for each p that the posterior allows; the mean
    is taken over the Gaussian by the trapezoid rule, whose error falls exponentially for so smooth a curve [1]_.

    References
    ----------
    .. [1] Trefethen LN, Weideman JAC (2014). The exponentially convergent trapezoidal rule. SIAM Review 56:385-458.

    Examples
    --------
    A logit known to be 0 is an even chance a flower, 3 in 4 from two.

    >>> import numpy as np
    >>> certain = Logits(np.zeros(1), np.zeros(1))
    >>> chances(certain).mean.round(6), chances(certain, 2).mean.round(6)
    (array([0.5]), array([0.75]))
    """
    units = np.asarray(flowers, dtype=np.float64)
    nodes, weights = _quadrature()
    mean = np.zeros(answer.mean.shape)
    for node, weight in zip(nodes, weights, strict=True):
        mean += weight * _at_least_one(answer.mean + node * answer.sd, units)
    reach = NORMAL_95 * answer.sd
    low, high = (_at_least_one(answer.mean + way * reach, units) for way in (-1.0, 1.0))
    return Chances(mean, np.minimum(low, mean), np.maximum(high, mean))


def chance_of(logit: float) -> float:
    """Return the chance that a logit stands for.

    Examples
    --------
    >>> chance_of(0.0)
    0.5
    """
    return float(chance(np.asarray(logit)))


def flowers_for(answer: Logits, target: float) -> NDArray[np.int64]:
    """Return the fewest flowers whose mean chance reaches ``target``; 0 where more than 200 are needed.

    Examples
    --------
    >>> import numpy as np
    >>> certain = Logits(np.array([0.0, -9.0]), np.zeros(2))
    >>> flowers_for(certain, 0.8)
    array([3, 0])
    """
    low = np.zeros(answer.mean.shape, dtype=np.int64)
    high = np.full(answer.mean.shape, MOST_FLOWERS + 1, dtype=np.int64)
    while np.any(high - low > 1):
        middle = (low + high) // 2
        enough = chances(answer, middle).mean >= target
        high, low = np.where(enough, middle, high), np.where(enough, low, middle)
    return np.where(high > MOST_FLOWERS, 0, high)


def _at_least_one(eta: Floats, units: Floats) -> Floats:
    found: Floats = -np.expm1(-units * np.logaddexp(0.0, eta))
    return found


@cache
def _quadrature() -> tuple[Floats, Floats]:
    nodes = _STEP * np.arange(-_STEPS, _STEPS + 1, dtype=np.float64)
    weights = np.exp(-0.5 * nodes**2)
    return nodes.astype(np.float64), np.asarray(weights / weights.sum(), dtype=np.float64)


def no_surer(own: Logits, of_species: Logits, weight: Floats, of: Ints) -> Logits:
    """Hold that pairings of hybrids are never surer than those of their species.

    Parameters
    ----------
    own : Logits
        Of some pairings.
    of_species : Logits
        Of the pairings that species of their hybrids would make in their place.
    weight : ndarray of float, shape (n_of_species,)
        Share of each.
    of : ndarray of int, shape (n_of_species,)
        Which of the pairings each stands for.

    Returns
    -------
    Logits
        Whose variance is at least the weighted mean of that of the species.

    Examples
    --------
    >>> hybrid, species = Logits(np.zeros(2), np.ones(2)), Logits(np.zeros(2), np.array([1.0, 3.0]))
    >>> no_surer(hybrid, species, np.array([0.5, 0.5]), np.array([1, 1])).sd ** 2
    array([1., 5.])
    """
    least = np.bincount(of, weight * of_species.sd**2, minlength=len(own.mean))
    return Logits(own.mean, np.sqrt(np.maximum(own.sd**2, least)))


def doubted(own: Logits, parents: Floats) -> Logits:
    """Return what is believed where hybrids with uneven chromosomes may be sterile.

    Parameters
    ----------
    own : Logits
    parents : ndarray of float, shape (n_pairs,)
        How many parents are hybrids that may be sterile for that.
    """
    mean, sd = doubt_of_uneven()
    return Logits(own.mean + mean * parents, np.sqrt(own.sd**2 + sd**2 * parents))
