"""From a pairing's row of numbers to a chance with its uncertainty, and how the chances of several go together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crosscompat.model.composition import Logits, SeedsPerPod, composed, joined, together
from crosscompat.model.fitted import FittedModel, StepFit, design_of, offset_of, prior_step
from crosscompat.model.likelihood import Floats, Ints, chance
from crosscompat.model.pairings import Pairings, Parents, pairings_of, strangers
from crosscompat.model.prior import doubt_of_uneven
from crosscompat.pairing import farther_rows, pair_rows
from crosscompat.phylogeny.taxa import Taxa
from crosscompat.stages import STEPS, WHOLE
from crosscompat.traits import TraitTable

MOST_FLOWERS = 200

NORMAL_95 = 1.6448536269514722
"""The 95th percentile of a standard normal: 90% lie between it and its negative."""

_STEP, _STEPS = 1 / 6, 51
_BLOCK = 2000
_FARTHEST, _HALVINGS = 500.0, 60


@dataclass(frozen=True, slots=True)
class Outlook:
    """What is believed of some pairings.

    ``steps`` is of every step, by all that was counted at it and at its parts; ``whole`` is the chance of a seedling
    from one flower, the fate that the flowers of one cross share among its uncertainty. ``own`` is the same by what was
    counted at the very step alone.
    """

    steps: Mapping[str, Logits]
    own: Mapping[str, Logits]

    @property
    def whole(self) -> Logits:
        """The logit of a seedling from one flower."""
        return self.steps[WHOLE]

    def at(self, i: int) -> Outlook:
        """Return what is believed of one of the pairings."""
        return Outlook(*({step: y[i : i + 1] for step, y in side.items()} for side in (self.steps, self.own)))


@dataclass(frozen=True, slots=True)
class Chances:
    """Chance of at least one seedling, arrays of shape (n_pairs,).

    The posterior mean, and the 5th and 95th percentiles; the mean where a long tail takes it beyond one of them.
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
    >>> from crosscompat.pairing import DistanceScale, recipe_for
    >>> recipe = recipe_for(None, DistanceScale(2.0, (("time", 2.0, 1.0),), "My"))
    >>> outlook(prior_model(recipe, SeedsPerPod(20.0, 1.0)), np.array([[0.0]])).whole.mean
    array([0.3])
    """
    if not stages and all(fit.step == WHOLE for fit in model.steps):
        only = step_logits(model, WHOLE, rows, asked, farther)
        return Outlook({WHOLE: only}, {WHOLE: only})
    prior = {step: step_logits(model, step, rows, asked, farther, learned=False) for step in STEPS}
    own = {
        step: step_logits(model, step, rows, asked, farther) if model.fit_of(step) else prior[step] for step in STEPS
    }
    return Outlook(all_joined(model, prior, own), own)


def all_joined(model: FittedModel, prior: Mapping[str, Logits], own: Mapping[str, Logits]) -> dict[str, Logits]:
    """Join what was counted at each step with what was counted of its parts, from the stages up."""
    steps: dict[str, Logits] = {}
    counted: set[str] = {fit.step for fit in model.steps}
    for step, parts in STEPS.items():
        steps[step] = own[step]
        if counted.intersection(parts):
            before = together(step, tuple(prior[part] for part in parts), model.seeds)
            after = together(step, tuple(steps[part] for part in parts), model.seeds)
            steps[step] = joined(prior[step], own[step], (before, after))
            counted.add(step)
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
    """Return the logit of one step of each pairing, by what was counted at it alone; unless ``learned``, its prior.

    The arguments are those of `outlook`. An unknown number is put at its training mean and widens the answer by (b² +
    var b) s², with b its coefficient and s² its variance among the crosses; so does a distance that is not sure.
    """
    fit = (model.fit_of(step) if learned else None) or prior_step(model, step)
    design = design_of(model.recipe, rows, model.means)
    offset = offset_of(model, step, design)
    slopes, among = fit.coefficients[1:], fit.covariance[1 : fit.sizes[0], 1 : fit.sizes[0]]
    second_moment = slopes**2 + np.diag(among)
    extra = np.isnan(rows) @ (second_moment * model.variances)
    if farther is not None:
        slope = model.prior.mean[1:] * (step != WHOLE) + slopes
        extra += (farther @ slope) ** 2 + np.einsum("ij,jk,ik->i", farther, among, farther)
    asked = strangers(len(rows)) if asked is None else asked
    result = [_with_effects(fit, design[part], asked[part]) for part in _blocks(len(rows))]
    mean, variance = (np.concatenate(side) for side in zip(*result, strict=True))
    return Logits(offset + mean, np.sqrt(variance + extra))


def _blocks(n: int) -> list[slice]:
    """Cut so many pairings into blocks whose numbers stay near the processor; of none there is an empty one."""
    return [slice(begin, begin + _BLOCK) for begin in range(0, n, _BLOCK)] or [slice(0)]


def _with_effects(fit: StepFit, design: Floats, asked: Pairings) -> tuple[Floats, Floats]:
    """Mean and variance of the logits of some pairings."""
    rows, extra = effect_columns(fit, asked)
    rows[:, : fit.sizes[0]] = design
    mean, pairs = rows @ fit.mean, fit.pairs
    pair, direction, record = fit.variances[4:]
    way = pairs.find(asked.levels.seed, asked.levels.pollen)
    crossed = np.flatnonzero(way >= 0)
    way = way[crossed]
    mean[crossed] += pairs.pair[way] + pairs.direction[way]
    extra += record + pair + direction
    extra[crossed] += pairs.own[way] - pair - direction
    at, member = np.nonzero(pairs.columns[way] >= 0)
    np.subtract.at(rows, (crossed[at], pairs.columns[way[at], member]), pairs.lean[way[at], member])
    return mean, np.maximum(np.einsum("ij,ij->i", rows @ fit.covariance, rows), 0.0) + extra


def effect_columns(fit: StepFit, asked: Pairings) -> tuple[Floats, Floats]:
    """Return the share that each pairing has of each of ``fit.mean``, and the variance that no cross says anything of.

    Of shapes (n_pairs, q), 0 of the coefficients, and (n_pairs,).
    """
    levels, size = asked.levels, len(asked.levels.seed)
    rows, extra = np.zeros((size, fit.mean.size)), np.zeros(size)
    kinds = (
        (levels.seed, asked.seed_kin),
        (levels.pollen, asked.pollen_kin),
        (levels.seed_plant, None),
        (levels.pollen_plant, None),
    )
    for k, (level, kin) in enumerate(kinds):
        begin, end = fit.block(k)
        seen = (level >= 0) & (end > begin)  # a stage that no cross has reached has no effects yet
        at, new = np.flatnonzero(seen), np.flatnonzero(~seen)
        rows[at, begin + level[at]] = 1.0
        unsaid = np.full(new.size, fit.variances[k])
        if kin is not None and fit.inherited.size:
            begin, end = fit.block(4 + k)
            rows[new, begin:end] = kin[new]
            unsaid -= np.einsum("ij,ij->i", kin[new] @ fit.inherited[k], kin[new])
        extra[new] += np.maximum(unsaid, 0.0)
    return rows, extra


def chances(answer: Logits, flowers: ArrayLike = 1) -> Chances:
    """Return the chance of at least one seedling from a number of flowers, one or one a pairing.

    Notes
    -----
    With p the chance per unit, the chance from N units is 1 - (1 - p)^N; its mean is taken over the Gaussian by the
    trapezoid rule (Trefethen LN, Weideman JAC 2014, SIAM Review 56:385-458).

    Examples
    --------
    A logit known to be 0 is an even chance a flower, 3 in 4 from two.

    >>> certain = Logits(np.zeros(1), np.zeros(1))
    >>> chances(certain).mean.round(6), chances(certain, 2).mean.round(6)
    (array([0.5]), array([0.75]))
    """
    units = np.broadcast_to(np.asarray(flowers, dtype=np.float64), answer.mean.shape)
    nodes, weights = _quadrature()
    mean = np.empty(answer.mean.shape)
    for part in _blocks(mean.size):
        at_nodes = answer.mean[part] + nodes[:, None] * answer.sd[part]
        # Added up in order, so that no chance depends on those beside it, to the last bit.
        mean[part] = np.cumsum(weights[:, None] * _at_least_one(at_nodes, units[part]), axis=0)[-1]
    reach = NORMAL_95 * answer.sd
    low, high = (_at_least_one(answer.mean + way * reach, units) for way in (-1.0, 1.0))
    return Chances(mean, np.minimum(low, mean), np.maximum(high, mean))


def sharing_out(whole: Logits, stages: Mapping[str, Logits], seeds: SeedsPerPod) -> dict[str, Logits]:
    """Return the stages, in place of what was counted along the way, as they come to what is believed of the whole.

    All are logits of shape (n_pairs,). What is known of the whole tells of its stages too: each moves as far as it is
    unsure, all together until the mean chances come to that of the whole, or as near as empty pods let them.

    Examples
    --------
    Four even chances make a seedling of one flower in ten. If it is one in two, each of them is better than even.

    >>> even = dict.fromkeys(("set", "hold", "fill", "germinate"), Logits(np.zeros(1), np.ones(1)))
    >>> whole, three = Logits(np.zeros(1), np.zeros(1)), SeedsPerPod(2.0, 1.0, cap=3)
    >>> [round(float(chances(stage).mean[0]), 2) for stage in sharing_out(whole, even, three).values()]
    [0.8, 0.8, 0.8, 0.8]
    """
    target = chances(whole).mean
    high = _FARTHEST / np.max([logits.sd**2 for logits in stages.values()], axis=0)
    low = -high
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        short = chances(composed(_moved(stages, middle), seeds)[WHOLE]).mean < target
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return _moved(stages, 0.5 * (low + high))


def _moved(stages: Mapping[str, Logits], by: Floats) -> dict[str, Logits]:
    return {step: Logits(logits.mean + by * logits.sd**2, logits.sd) for step, logits in stages.items()}


def chance_of(logit: float) -> float:
    """Return the chance that a logit stands for."""
    return float(chance(np.asarray(logit)))


def flowers_for(answer: Logits, target: float) -> NDArray[np.int64]:
    """Return the fewest flowers whose mean chance reaches ``target``; 0 where more than 200 are needed.

    Examples
    --------
    >>> flowers_for(Logits(np.array([0.0, -9.0]), np.zeros(2)), 0.8)
    array([3, 0])
    """
    low = np.zeros(answer.mean.shape, dtype=np.int64)
    high = np.full(answer.mean.shape, MOST_FLOWERS + 1, dtype=np.int64)
    while np.any(high - low > 1):
        middle = (low + high) // 2
        enough = chances(answer, middle).mean >= target
        high, low = np.where(enough, middle, high), np.where(enough, low, middle)
    return np.where(high > MOST_FLOWERS, 0, high)


def _at_least_one(eta: Floats, units: Floats | Ints) -> Floats:
    return np.asarray(-np.expm1(-units * np.logaddexp(0.0, eta)))


@cache
def _quadrature() -> tuple[Floats, Floats]:
    nodes = _STEP * np.arange(-_STEPS, _STEPS + 1, dtype=np.float64)
    weights = np.exp(-0.5 * nodes**2)
    return nodes.astype(np.float64), np.asarray(weights / weights.sum(), dtype=np.float64)


def doubted(own: Logits, parents: Floats) -> Logits:
    """Return what is believed where so many parents of each pairing are hybrids with uneven chromosomes."""
    mean, sd = doubt_of_uneven()
    return Logits(own.mean + mean * parents, np.sqrt(own.sd**2 + sd**2 * parents))


def put_to(
    model: FittedModel,
    taxa: Taxa,
    traits: TraitTable | None,
    parents: Parents,
    own: Mapping[str, tuple[Floats, Floats]] | None = None,
    *,
    stages: bool = False,
) -> tuple[Floats, Pairings, Outlook]:
    """Put pairings to a model by their numbers alone; ``own`` is as for `pair_rows`, ``stages`` as for `outlook`.

    Returns the numbers, (n_pairs, n_features), the parents as the model knows them, and what it expects.
    """
    seed, pollen = parents.seed, parents.pollen
    apart, spread = taxa.apart(seed, pollen), taxa.spread(seed, pollen)
    rows = pair_rows(model.recipe, apart, traits, seed, pollen, own, taxa.pedigree)
    asked = pairings_of(model.seen, taxa.distances, parents, taxa.pedigree)
    farther = farther_rows(model.recipe, apart, spread) if spread.any() else None
    return rows, asked, outlook(model, rows, asked, farther, stages=stages)


_NUDGE = 1e-3
_DRAWS, _SEED = 4_000, 18


def correlations(model: FittedModel, rows: Floats, asked: Pairings, parents: Parents) -> Floats:
    """Return how the logits of some pairings go together, shape (n_pairs, n_pairs): a poor mother fails all of hers.

    Each step that was counted adds its covariance, as far as the logit of the whole follows it (the delta method). Two
    pairings share the coefficients, the effects of parents crossed before, and those of a parent that both have and
    nobody crossed; the fate of one cross is its own.

    Examples
    --------
    Before any cross, two pairings of one mother go together more than two that share nobody.

    >>> from crosscompat.model.fitted import prior_model
    >>> from crosscompat.pairing import DistanceScale, recipe_for
    >>> model = prior_model(recipe_for(None, DistanceScale(1.0, ())), SeedsPerPod(20.0, 1.0))
    >>> found = correlations(model, np.zeros((3, 0)), strangers(3), Parents(["a", "a", "c"], ["x", "y", "z"]))
    >>> bool(found[0, 1] > found[0, 2] > 0), np.diag(found).tolist()
    (True, [1.0, 1.0, 1.0])
    """
    found = np.zeros((len(rows), len(rows)))
    for step, share in _sensitivities(model, rows, asked).items():
        found += np.outer(share, share) * _covariances(model, step, rows, asked, parents)
    sd = np.sqrt(np.diag(found))
    found /= np.outer(sd, sd)
    return np.asarray(np.clip(found, -1.0, 1.0))


def number_that_take(correlation: Floats, whole: Logits, flowers: Ints) -> tuple[int, int]:
    """Return between which two numbers lies, nine times in ten, how many of some pairings give a seedling.

    ``correlation`` is from `correlations`, ``whole`` of a seedling from one flower, ``flowers`` of shape (n_pairs,).

    Examples
    --------
    Two even chances of pairings that fail together: none or both.

    >>> number_that_take(np.ones((2, 2)), Logits(np.zeros(2), np.full(2, 50.0)), np.ones(2, dtype=np.intp))
    (0, 2)
    """
    random = np.random.default_rng(_SEED)
    values, vectors = np.linalg.eigh(correlation)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    logits = whole.mean + whole.sd * (random.standard_normal((_DRAWS, whole.mean.size)) @ root.T)
    takes = random.random(logits.shape) < _at_least_one(logits, flowers)
    low, high = np.quantile(takes.sum(axis=1), (0.05, 0.95))
    return int(low), int(high)


def _sensitivities(model: FittedModel, rows: Floats, asked: Pairings) -> dict[str, Floats]:
    """Return how far the logit of the whole follows that of each step that was counted, shape (n_pairs,) each."""
    counted = [fit.step for fit in model.steps if fit.step != WHOLE]
    shares = {WHOLE: np.ones(len(rows))}
    if not counted:
        return shares
    prior = {step: step_logits(model, step, rows, asked, learned=False) for step in STEPS}
    own = prior | {fit.step: step_logits(model, fit.step, rows, asked) for fit in model.steps}
    here = all_joined(model, prior, own)[WHOLE].mean
    for step in (WHOLE, *counted):
        moved = Logits(own[step].mean + _NUDGE, own[step].sd)
        shares[step] = (all_joined(model, prior, {**own, step: moved})[WHOLE].mean - here) / _NUDGE
    return shares


def _covariances(model: FittedModel, step: str, rows: Floats, asked: Pairings, parents: Parents) -> Floats:
    """Return the covariances of the logits of one step, by what was counted at it, shape (n_pairs, n_pairs)."""
    fit, levels = model.fit_of(step) or prior_step(model, step), asked.levels
    columns, extra = effect_columns(fit, asked)
    columns[:, : fit.sizes[0]] = design_of(model.recipe, rows, model.means)
    found: Floats = columns @ fit.covariance @ columns.T
    own = np.diag(found) + extra + fit.variances[4:].sum()
    sides = (
        (levels.seed, parents.seed), (levels.pollen, parents.pollen),
        (levels.seed_plant, parents.seed_plants), (levels.pollen_plant, parents.pollen_plants),
    )  # fmt: skip
    for variance, (level, names) in zip(fit.variances[:4], sides, strict=True):
        if len(names):
            named = np.array([name or "" for name in names])
            new = (level < 0) & (named != "")
            found += variance * (np.equal.outer(named, named) & np.logical_and.outer(new, new))
    found[np.diag_indices(len(found))] = own
    return found
