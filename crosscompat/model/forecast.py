"""From a pairing's row of numbers to a chance with its uncertainty, and the reasons that add up to it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crosscompat.model.beliefs import Effects
from crosscompat.model.effects import Ints
from crosscompat.model.fitted import FittedModel, StageFit, design_of
from crosscompat.model.likelihood import Floats, chance
from crosscompat.model.pairings import Levels, Pairings

__all__ = [
    "MOST_FLOWERS",
    "NORMAL_95",
    "TERMS",
    "Chances",
    "Logits",
    "Reasons",
    "chance_of",
    "chances",
    "flowers_for",
    "logits",
    "parent_effects",
    "reasons",
]

MOST_FLOWERS = 200

NORMAL_95 = 1.6448536269514722
"""The 95th percentile of a standard normal: 90% lie between it and its negative."""

_STEP, _STEPS = 1 / 6, 51
_BLOCK = 2000

TERMS = ("seed parent", "pollen parent", "seed plant", "pollen plant", "pair", "direction")


@dataclass(frozen=True, slots=True)
class Logits:
    """Logit of the chance per unit, as a Gaussian.

    Attributes
    ----------
    mean, sd : ndarray of float, shape (n_pairs,)
    """

    mean: Floats
    sd: Floats


@dataclass(frozen=True, slots=True)
class Chances:
    """Chance of at least one seedling.

    Attributes
    ----------
    mean, low, high : ndarray of float, shape (n_pairs,)
        Posterior mean, and the 5th and 95th percentiles.
    """

    mean: Floats
    low: Floats
    high: Floats


@dataclass(frozen=True, slots=True)
class Reasons:
    """Why one pairing's logit is what it is: ``base`` and ``terms`` add up to the posterior mean exactly.

    Attributes
    ----------
    base : float
        Logit of a pairing that is average in everything.
    terms : tuple of (str, float, float or None)
        Name of the feature, what it adds, and its value; None where unknown, which adds nothing. Then those of
        ``TERMS`` of which the crosses say something; their value is 1 if the parent, plant or pair is among the crosses
        fitted, 0 if its relatives or the other direction speak for it.
    """

    base: float
    terms: tuple[tuple[str, float, float | None], ...]


def logits(
    model: FittedModel,
    rows: Floats,
    asked: Pairings | None = None,
    stage: int = 0,
    spread: Floats | None = None,
) -> Logits:
    """Return the logit of the chance per unit of each pairing.

    Parameters
    ----------
    model : FittedModel
        What was learned.
    rows : ndarray of float, shape (n_pairs, n_features)
        An unknown number (NaN) is put at its training mean and widens the answer by (b² + var b) s², with b its
        coefficient and s² its variance among the crosses fitted.
    asked : Pairings, optional
        Who the parents are. By default of species and plants that no cross was made with: then every effect adds its
        prior variance.
    stage : int
        Which of the model's stages.
    spread : ndarray of float, shape (n_pairs,), optional
        Standard deviation of the distance, in units of the reference; 0 or NaN where nothing is left open. It widens
        the answer by (b² + var b) spread², with b the coefficient of the distance.

    Examples
    --------
    Halfway to the reference the intercept of the prior speaks alone; its sd of 1.5 is widened by what parents and
    pairs may differ by.

    >>> from crosscompat.model.fitted import prior_model
    >>> from crosscompat.pairing import recipe_for
    >>> answer = logits(prior_model(recipe_for(None, reference=2.0)), np.array([[0.5]]))
    >>> answer.mean, answer.sd.round(3)
    (array([-0.5]), array([2.955]))
    """
    fit = model.stages[stage]
    design = design_of(model.recipe, rows, model.means)
    second_moment = fit.mean[1:] ** 2 + np.diag(fit.covariance)[1:]
    extra = np.isnan(rows) @ (second_moment * model.variances)
    if spread is not None:
        of_distance = np.array([feature.column is None for feature in model.recipe.features], dtype=np.float64)
        extra += second_moment @ of_distance * np.nan_to_num(spread) ** 2
    if fit.effects is None:
        variance = np.einsum("ij,jk,ik->i", design, fit.covariance, design)
        return Logits(design @ fit.mean, np.sqrt(variance + extra))
    asked = _strangers(len(rows)) if asked is None else asked
    parts = [slice(begin, begin + _BLOCK) for begin in range(0, len(rows), _BLOCK)] or [slice(0)]
    found = [_with_effects(fit, fit.effects, design[part], asked[part]) for part in parts]
    mean, variance = (np.concatenate(side) for side in zip(*found, strict=True))
    return Logits(mean, np.sqrt(variance + extra))


def _strangers(size: int) -> Pairings:
    nobody: Ints = np.full(size, -1, dtype=np.intp)
    return Pairings(Levels(nobody, nobody, nobody, nobody))


def _with_effects(fit: StageFit, effects: Effects, design: Floats, asked: Pairings) -> tuple[Floats, Floats]:
    """Mean and variance of the logits of some pairings."""
    rows, extra = _columns(effects, asked)
    tie = effects.ties.find(asked.levels.seed, asked.levels.pollen)
    mean = design @ fit.mean + rows @ effects.mean
    joint = np.column_stack([design, rows])
    pair, direction, record = effects.variances[4:]
    extra += record
    if len(effects.ties.ways):
        tied = tie >= 0
        ties = effects.ties
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


def _columns(effects: Effects, asked: Pairings) -> tuple[Floats, Floats]:
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
    return Chances(mean, _at_least_one(answer.mean - reach, units), _at_least_one(answer.mean + reach, units))


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


def reasons(model: FittedModel, row: Floats, asked: Pairings | None = None, stage: int = 0) -> Reasons:
    """Return what each feature of one pairing adds to the logit of its chance, against an average pairing.

    Parameters
    ----------
    model : FittedModel
        What was learned.
    row : ndarray of float, shape (n_features,)
        The pairing's numbers, NaN where unknown.
    asked : Pairings, optional
        The one pairing; by default of parents that no cross was made with.
    stage : int
        Which of the model's stages.
    """
    slopes = model.stages[stage].mean
    base = float(slopes[0] + (model.means - model.centre) @ slopes[1:])
    terms = []
    for name, value, mean, slope in zip(model.recipe.names, row, model.means, slopes[1:], strict=True):
        unknown = bool(np.isnan(value))
        added = 0.0 if unknown else float(slope * (value - mean)) + 0.0  # the last zero clears the sign of -0.0
        terms.append((name, added, None if unknown else float(value)))
    effects = model.stages[stage].effects
    if effects is not None and asked is not None and effects.mean.size:
        terms += _effect_terms(effects, asked)
    return Reasons(base, tuple(terms))


def _effect_terms(effects: Effects, asked: Pairings) -> list[tuple[str, float, float | None]]:
    """Return what the effects of one pairing add, where the crosses say something of them."""
    rows, _ = _columns(effects, asked)
    levels, terms = asked.levels, []
    seen = (levels.seed, levels.pollen, levels.seed_plant, levels.pollen_plant)
    for k, name in enumerate(TERMS[:4]):
        added = 0.0
        for block in (k, 4 + k) if k < len(effects.inherited) else (k,):
            begin, end = effects.block(block)
            added += float(rows[0, begin:end] @ effects.mean[begin:end])
        if effects.variances[k] > 0:
            terms.append((name, added, float(seen[k][0] >= 0)))
    [tie] = effects.ties.find(levels.seed, levels.pollen)
    if tie >= 0:
        own = effects.ties.direction[tie]
        terms += [("pair", float(effects.ties.pair[tie]), 1.0), ("direction", float(own), float(own != 0))]
    return [(name, added, value) for name, added, value in terms if added != 0]


def _at_least_one(eta: Floats, units: Floats) -> Floats:
    found: Floats = -np.expm1(-units * np.logaddexp(0.0, eta))
    return found


@cache
def _quadrature() -> tuple[Floats, Floats]:
    nodes = _STEP * np.arange(-_STEPS, _STEPS + 1, dtype=np.float64)
    weights = np.exp(-0.5 * nodes**2)
    return nodes.astype(np.float64), np.asarray(weights / weights.sum(), dtype=np.float64)
