"""How the chances of the steps from flower to seedling make up one another, as Gaussians on the logit scale.

The prior is of the whole way, and the stages share it out, so that a pairing has the same prior chance however it is
counted. What the stages, once learned, say of the whole is a product of independent chances, matched by a Gaussian
logit in mean and variance by Gauss-Hermite quadrature. What was counted along the way and what was counted as a whole
are joined as the Gaussians of two estimators with one prior are [1]_.

References
----------
.. [1] Tresp V (2000). A Bayesian committee machine. Neural Computation 12:2719-2741.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache, reduce

import numpy as np

from crosscompat.model.likelihood import Floats, Ints
from crosscompat.stages import STAGES, STEPS, WHOLE

_SIZES = np.geomspace(0.1, 100.0, 61)
_PRIOR_PODS = 1.0


@dataclass(frozen=True, slots=True)
class SeedsPerPod:
    """The spread of the number of seeds in a ripe pod.

    It is negative binomial, of variance mean + mean² / size; where a group has a ``cap``, the most seeds a pod can hold
    (3 in spurges), it is binomial and the size is not read.
    """

    mean: float
    size: float
    cap: int | None = None

    def any_of_them(self, comes: Floats) -> Floats:
        """Return the chance that any seed of a pod comes to something, if each does with chance ``comes``.

        It is 1 less the probability generating function; the mean number of seeds in its place would be far too high.

        Examples
        --------
        Three ovules, each a seed with chance 2/3, each seed failing half the time.

        >>> bool(np.isclose(SeedsPerPod(2.0, 1.0, cap=3).any_of_them(np.array(0.5)), 1 - (1 - 2 / 3 * 0.5) ** 3))
        True
        """
        if self.cap is None:
            return np.asarray(-np.expm1(-self.size * np.log1p(self.mean / self.size * comes)))
        with np.errstate(divide="ignore"):  # every ovule a seed, and every seed comes up
            return np.asarray(-np.expm1(self.cap * np.log1p(-min(self.mean / self.cap, 1.0) * comes)))


def fit_seeds(pods: Floats, seeds: Floats, *, expected: float, cap: int | None = None) -> SeedsPerPod:
    """Learn the seeds per pod from ripe pods that were opened together.

    ``pods``, at least 1, and the ``seeds`` in all of them are of shape (n_crosses,); ``expected`` counts as much as one
    pod. The mean is the pooled one. The size is averaged on the log scale over a grid from 0.1 to 100, weighted by the
    likelihood and a log-normal prior around 1 with an sd of log 5 [J]; sums of m pods have m times the size.

    Examples
    --------
    >>> fit_seeds(np.array([9.0]), np.array([18.0]), expected=2.0, cap=3)
    SeedsPerPod(mean=2.0, size=1.0, cap=3)
    """
    mean = float((seeds.sum() + _PRIOR_PODS * expected) / (pods.sum() + _PRIOR_PODS))
    if cap is not None:
        return SeedsPerPod(min(mean, float(cap)), 1.0, cap)
    height = _log_likelihood(pods, seeds, mean) - 0.5 * (np.log(_SIZES) / np.log(5.0)) ** 2
    weight = np.exp(height - height.max())
    return SeedsPerPod(mean, float(np.exp((weight @ np.log(_SIZES)) / weight.sum())))


def _log_likelihood(pods: Floats, seeds: Floats, mean: float) -> Floats:
    """Negative binomial with ``pods`` times mean and each size, without what does not depend on the size."""
    if not pods.size:
        return np.zeros(_SIZES.size)
    from scipy.special import gammaln  # noqa: PLC0415 - only a fit needs it

    sizes, means = pods * _SIZES[:, None], pods * mean
    spread = gammaln(seeds + sizes) - gammaln(sizes)
    terms = spread + sizes * np.log(sizes / (sizes + means)) + seeds * np.log(means / (sizes + means))
    return np.asarray(terms.sum(axis=1))


SEED_SHARE = 0.5
"""The chance of a seed is the chance of the whole to this power: where few seeds fail, few flowers do [J]."""

STAGE_SPREAD = 0.9
"""How widely a stage is spread before any cross, as a share of the whole: fruit set of published genera has .8 of the
spread of whole crosses among genera, the number of seeds .95 (``tests/benchmarks/learn_prior.py``)."""

TYPICAL_SD = 4.5
"""About how widely the logit of the whole is spread before any cross, for parents that nobody has crossed."""

_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(9)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()
_LEAST_CHANCE = 1e-300
_GRID = np.linspace(-40.0, 40.0, 401)


@dataclass(frozen=True, slots=True)
class Logits:
    """Logits of the chances of some pairings, as Gaussians with mean and sd of shape (n_pairs,)."""

    mean: Floats
    sd: Floats

    def __getitem__(self, at: slice | Ints) -> Logits:
        return Logits(self.mean[at], self.sd[at])


def together(step: str, parts: tuple[Logits, ...], seeds: SeedsPerPod) -> Logits:
    """Return the logit of a step, matched in mean and variance, given those of the steps that it joins, in their order.

    Examples
    --------
    Two even chances that both must come true: one in four.

    >>> half = Logits(np.zeros(1), np.zeros(1))
    >>> bool(np.isclose(together("pod", (half, half), SeedsPerPod(1.0, 1.0, cap=1)).mean[0], np.log(1 / 3)))
    True
    """
    if step == "fruitful":
        [seed] = parts
        values = _fruitful(seed.mean[:, None] + seed.sd[:, None] * _NODES, seeds)
        return _moments(values, _WEIGHTS)
    return reduce(_both, parts)


def composed(stages: Mapping[str, Logits], seeds: SeedsPerPod) -> dict[str, Logits]:
    """Return the logits of every step, given those of the stages."""
    made = dict(stages)
    for step, parts in STEPS.items():
        if parts:
            made[step] = together(step, tuple(made[part] for part in parts), seeds)
    return made


def joined(prior: Logits, own: Logits, of_parts: tuple[Logits, Logits]) -> Logits:
    """Join what was counted of a step itself with what was counted of its parts.

    ``prior`` and ``own`` are of the step, before any cross and given the crosses counted at it alone; ``of_parts`` of
    the step made up of its parts, before any cross and given those counted along the way. Where these say nothing the
    answer is ``own`` to the last digit; where they say all, what they say.

    Notes
    -----
    The committee machine pulls back whatever lies beyond the mean of what the parts say. A few successes say "more",
    without an end: so it pulls back only as far as the parts are learned, else one more success could lower a chance
    that is already high. A surprise may leave ``own`` less sure than the prior; what the parts say reaches no farther
    for that.

    Examples
    --------
    >>> wide, narrow = Logits(np.zeros(1), np.ones(1)), Logits(np.ones(1), np.full(1, 0.5))
    >>> joint = joined(wide, wide, (wide, narrow))
    >>> joint.mean, joint.sd
    (array([1.]), array([0.5]))
    """
    before, after = of_parts
    left = np.minimum((after.sd / before.sd) ** 2, 1.0)
    mean = after.mean + left * (prior.mean - before.mean)
    variance = left * before.sd**2 * (1.0 + left * ((prior.sd / before.sd) ** 2 - 1.0))
    gain = np.maximum(1.0 / variance - 1.0 / prior.sd**2, 0.0)
    precision = 1.0 / own.sd**2 + gain
    drag = (1.0 - left) * gain * (own.mean - prior.mean)
    reach = 1.0 / np.minimum(own.sd, prior.sd) ** 2 + gain
    shift = ((mean - prior.mean) / variance - drag) / reach
    return Logits(own.mean + shift, 1.0 / np.sqrt(precision))


def share_means(whole: Floats, seeds: SeedsPerPod) -> dict[str, Floats]:
    """Return the prior mean logit of every step, each of shape (n_pairs,), given that of the whole.

    Examples
    --------
    >>> means = share_means(np.array([0.0]), SeedsPerPod(20.0, 1.0))
    >>> bool(means["set"][0] < means["hold"][0]), means["whole"][0]
    (True, np.float64(0.0))
    """
    reached, means, _ = _shares(seeds)
    return {**{name: np.interp(whole, reached, mean) for name, mean in means.items()}, WHOLE: whole}


def prior_shares(seeds: SeedsPerPod) -> dict[str, float]:
    """Return how widely each step is spread before any cross, as a share of the whole's standard deviation."""
    return _shares(seeds)[2]


@lru_cache(maxsize=64)
def _shares(seeds: SeedsPerPod) -> tuple[Floats, dict[str, Floats], dict[str, float]]:
    """Share out a grid of chances; return the means of the whole they come to, and means and spreads of steps."""
    stages = {step: Logits(y, np.full(y.shape, STAGE_SPREAD * TYPICAL_SD)) for step, y in _split(_GRID, seeds).items()}
    made = composed(stages, seeds)
    reached = np.maximum.accumulate(made[WHOLE].mean + 1e-9 * np.arange(_GRID.size))
    means = {name: made[name].mean for name in STEPS if name != WHOLE}
    spreads = {
        name: STAGE_SPREAD if name in STAGES else float(np.interp(0.0, reached, made[name].sd)) / TYPICAL_SD
        for name in STEPS
    }
    return reached, means, {**spreads, WHOLE: 1.0}


def _split(whole: Floats, seeds: SeedsPerPod) -> dict[str, Floats]:
    """Share out chances of the whole, without uncertainty."""
    log_whole = -np.logaddexp(0.0, -whole)
    log_seed = SEED_SHARE * log_whole
    fruitful = np.clip(seeds.any_of_them(np.exp(log_seed)), _LEAST_CHANCE, 1.0)
    log_pod = np.minimum(log_whole - np.log(fruitful), SEED_SHARE * log_whole)
    of_step = {"pod": log_pod, "seed": log_seed}
    return {name: _logit(stage.share * of_step[stage.step] + np.log(stage.best)) for name, stage in STAGES.items()}


def _moments(values: Floats, weights: Floats) -> Logits:
    mean = values @ weights
    return Logits(mean, np.sqrt(np.maximum((values - mean[:, None]) ** 2 @ weights, 0.0)))


def _logit(log_chance: Floats) -> Floats:
    """Logit of a chance given by its logarithm."""
    below: Floats = np.minimum(log_chance, -1e-15)
    return np.asarray(below - np.log(-np.expm1(below)))


def _both(one: Logits, other: Logits) -> Logits:
    """Match the logit of the product of two chances."""
    first, second = (part.mean[:, None] + part.sd[:, None] * _NODES for part in (one, other))
    values = _logit(-np.logaddexp(0.0, -first)[:, :, None] - np.logaddexp(0.0, -second)[:, None, :])
    return _moments(values.reshape(len(first), _WEIGHTS.size**2), np.outer(_WEIGHTS, _WEIGHTS).ravel())


def _fruitful(seed: Floats, seeds: SeedsPerPod) -> Floats:
    """Logit of the chance that a ripe pod gives at least one seedling, given the logit of each of its seeds."""
    chance = seeds.any_of_them(np.exp(-np.logaddexp(0.0, -seed)))
    inside = np.clip(chance, _LEAST_CHANCE, 1.0 - 1e-15)
    return np.asarray(np.log(inside) - np.log1p(-inside))
