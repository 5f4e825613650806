"""From a pairing's row of numbers to a chance with its uncertainty, and the reasons that add up to it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crosscompat.model.composition import Logits, joined, together
from crosscompat.model.effects import Ints
from crosscompat.model.fitted import FittedModel, StepFit, design_of, offset_of, prior_step, whole_before
from crosscompat.model.likelihood import Floats, chance
from crosscompat.model.pairings import Levels, Pairings
from crosscompat.model.posterior import Effects
from crosscompat.model.stages import STEPS, WHOLE

__all__ = [
    "MOST_FLOWERS",
    "NORMAL_95",
    "TERMS",
    "Chances",
    "Logits",
    "Outlook",
    "Reasons",
    "chance_of",
    "chances",
    "flowers_for",
    "outlook",
    "parent_effects",
    "reasons",
    "step_logits",
    "whole_reasons",
]

MOST_FLOWERS = 200

NORMAL_95 = 1.6448536269514722
"""The 95th percentile of a standard normal: 90% lie between it and its negative."""

_STEP, _STEPS = 1 / 6, 51
_MOST_SCALE = 2.0
_BLOCK = 2000

TERMS = ("seed parent", "pollen parent", "seed plant", "pollen plant", "pair", "direction")


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
    >>> from crosscompat.model.seeds import SeedsPerPod
    >>> from crosscompat.pairing import DistanceScale, recipe_for
    >>> recipe = recipe_for(None, DistanceScale(2.0, (("time", 2.0, 1.0),), "My"))
    >>> found = outlook(prior_model(recipe, SeedsPerPod(20.0, 1.0)), np.array([[0.0]]))
    >>> found.whole.mean, chances(found.whole, 1).mean.round(2)
    (array([0.3]), array([0.53]))
    """
    fitted = {fit.step: fit for fit in model.steps}
    without_effects = WHOLE in fitted and fitted[WHOLE].effects is None
    if without_effects or not (stages or fitted.keys() - {WHOLE}):
        only = step_logits(model, WHOLE, rows, asked, farther)
        return Outlook({WHOLE: only}, {WHOLE: only})
    prior = {step: step_logits(model, step, rows, asked, farther, learned=False) for step in STEPS}
    own = {
        step: prior[step] if model.fit_of(step) is None else step_logits(model, step, rows, asked, farther)
        for step in STEPS
    }
    return Outlook(_all_joined(model, prior, own), own)


def _all_joined(model: FittedModel, prior: Mapping[str, Logits], own: Mapping[str, Logits]) -> dict[str, Logits]:
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
    if fit.effects is None:
        variance = np.einsum("ij,jk,ik->i", design, fit.covariance, design)
        return Logits(offset + design @ fit.mean, np.sqrt(variance + extra))
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
    rows, extra = _columns(effects, asked)
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


def reasons(model: FittedModel, step: str, row: Floats, asked: Pairings | None = None) -> Reasons:
    """Return what each feature of one pairing adds to the logit of a step, against an average pairing.

    Parameters
    ----------
    model : FittedModel
        What was learned.
    step : str
        One of ``STEPS``; what is counted of its parts says nothing here (`whole_reasons`).
    row : ndarray of float, shape (n_features,)
        The pairing's numbers, NaN where unknown.
    asked : Pairings, optional
        The one pairing; by default of parents that no cross was made with.
    """
    fit = model.fit_of(step) or prior_step(model, step)
    slopes = fit.mean if step == WHOLE else fit.mean + _share_of_whole(model, step, row)
    base = float(slopes[0] + (model.means - model.centre) @ slopes[1:])
    design = design_of(model.recipe, row[None, :], model.means)
    offset = float(offset_of(step, whole_before(model, design), model.seeds)[0] + design[0] @ fit.mean)
    terms = []
    for name, value, mean, slope in zip(model.recipe.names, row, model.means, slopes[1:], strict=True):
        unknown = bool(np.isnan(value))
        added = 0.0 if unknown else float(slope * (value - mean)) + 0.0  # the last zero clears the sign of -0.0
        terms.append((name, added, None if unknown else float(value)))
    base += offset - base - sum(added for _, added, _ in terms)
    if fit.effects is not None and asked is not None and fit.effects.mean.size:
        terms += _effect_terms(fit.effects, asked)
    return Reasons(base, tuple(terms))


def _share_of_whole(model: FittedModel, step: str, row: Floats) -> Floats:
    """Return the prior coefficients of a step: those of the whole, as steep as the share is at this pairing."""
    design = design_of(model.recipe, row[None, :], model.means)
    whole = float(whole_before(model, design)[0])
    near = offset_of(step, np.array([whole - 0.5, whole + 0.5]), model.seeds)
    return np.asarray((near[1] - near[0]) * model.prior.mean)


def whole_reasons(model: FittedModel, row: Floats, asked: Pairings, believed: Outlook) -> Reasons:
    """Return what each feature, parent and pair of one pairing adds to the logit of a seedling from one flower.

    Parameters
    ----------
    model, row, asked
        As for `reasons`.
    believed : Outlook
        Of that one pairing.

    Notes
    -----
    What the counts along the way add is told apart step by step, each step joining those before it; within a step it
    goes to features, parents and pairs as they move the logit of that step. What no term accounts for is in the base.
    """
    found = reasons(model, WHOLE, row, asked)
    terms = {name: added for name, added, _ in found.terms}
    values = {name: value for name, _, value in found.terms}
    for step, gain in _gains(model, row, asked, believed):
        moved = _moved_at(model, step, row, asked)
        total = sum(added for added, _ in moved.values())
        scale = gain / total if total else np.inf
        if not 0.0 <= scale <= _MOST_SCALE:
            continue
        for name, (added, value) in moved.items():
            if name == "base":
                continue
            terms[name] = terms.get(name, 0.0) + scale * added
            values.setdefault(name, value)
    base = float(believed.whole.mean[0]) - sum(terms.values())
    return Reasons(base, tuple((name, added, values[name]) for name, added in terms.items()))


def _gains(model: FittedModel, row: Floats, asked: Pairings, believed: Outlook) -> list[tuple[str, float]]:
    """Return what each step that was counted along the way adds to the logit of the whole, one after the other."""
    prior = {step: step_logits(model, step, row[None, :], asked, learned=False) for step in STEPS}
    own = {**prior, WHOLE: believed.own[WHOLE]}
    reached, gains = float(own[WHOLE].mean[0]), []
    learned = [fit.step for fit in model.steps if fit.step != WHOLE]
    for i, step in enumerate(learned):
        own[step] = believed.own[step]
        so_far = replace(model, steps=tuple(fit for fit in model.steps if fit.step in {*learned[: i + 1], WHOLE}))
        now = float(_all_joined(so_far, prior, own)[WHOLE].mean[0])
        gains.append((step, now - reached))
        reached = now
    return gains


def _moved_at(model: FittedModel, step: str, row: Floats, asked: Pairings) -> dict[str, tuple[float, float | None]]:
    """Return how far the crosses counted at a step moved its logit from the prior, by what moved it."""
    after = reasons(model, step, row, asked)
    before = reasons(replace(model, steps=()), step, row)
    was = {name: added for name, added, _ in before.terms}
    moved: dict[str, tuple[float, float | None]] = {"base": (after.base - before.base, None)}
    return moved | {name: (added - was.get(name, 0.0), value) for name, added, value in after.terms}


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
    [tie] = effects.pairs.find(levels.seed, levels.pollen)
    if tie >= 0:
        own = effects.pairs.direction[tie]
        terms += [("pair", float(effects.pairs.pair[tie]), 1.0), ("direction", float(own), float(own != 0))]
    return [(name, added, value) for name, added, value in terms if added != 0]


def _at_least_one(eta: Floats, units: Floats) -> Floats:
    found: Floats = -np.expm1(-units * np.logaddexp(0.0, eta))
    return found


@cache
def _quadrature() -> tuple[Floats, Floats]:
    nodes = _STEP * np.arange(-_STEPS, _STEPS + 1, dtype=np.float64)
    weights = np.exp(-0.5 * nodes**2)
    return nodes.astype(np.float64), np.asarray(weights / weights.sum(), dtype=np.float64)
