"""The fit of the whole chain from flower to seedling: four stages, and what crosses leave unsaid shared among them."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from crosscompat.book.chain import ChainOutcomes
from crosscompat.model.common_share import agree_on_share
from crosscompat.model.effects import Ints
from crosscompat.model.elimination import Scales, Stage
from crosscompat.model.fitted import (
    CHAIN,
    FittedModel,
    StageFit,
    believed,
    design_of,
    laid_out,
    prior_stage,
    scales_for,
    training_moments,
)
from crosscompat.model.laplace import Mode, Start, find_mode
from crosscompat.model.likelihood import Counts, Floats, chance
from crosscompat.model.pairings import Levels, Parents, Seen
from crosscompat.model.prior import Priors, published
from crosscompat.model.scale_prior import half_normal
from crosscompat.model.seeds import SeedsPerPod, fit_seeds
from crosscompat.model.sharing import shared_out
from crosscompat.model.threads import one_thread
from crosscompat.model.variances import POINTS, Point, integrate
from crosscompat.pairing import Recipe

__all__ = ["fit_chain"]

_MANY_RECORDS = 20_000
_MOST_ROUNDS = 40
_SETTLED = 3e-3
_LEAST_WEIGHT = 1e-6
_START_TRIED, _START_TOOK = 2.0, 1.0  # of every stage, before the first round


@dataclass(frozen=True, slots=True)
class _Work:
    """One stage while it is fitted: which crosses speak there, and the scales of its effects so far."""

    stage: Stage
    levels: Levels
    record: Ints
    prior: Floats
    scales: Scales
    start: Start | None = None


def fit_chain(
    recipe: Recipe,
    rows: Floats,
    chain: ChainOutcomes,
    weight: Floats,
    *,
    parents: Parents,
    seen: Seen,
    pod: tuple[float, int | None],
    related: Floats | None = None,
    priors: Priors | None = None,
    records: tuple[str, ...] = (),
) -> FittedModel:
    """Fit all stages.

    Parameters
    ----------
    recipe : Recipe
        What the columns of ``rows`` are.
    rows : ndarray of float, shape (n_crosses, n_features)
        NaN where unknown; such a number is put at the mean of the known ones.
    chain : ChainOutcomes
        What every cross says.
    weight : ndarray of float, shape (n_crosses,)
        How much of a full record each cross is.
    parents : Parents
    seen : Seen
        What the fit sees of the crosses.
    pod : (float, int or None)
        Seeds expected in a ripe pod before any was counted, and the most it can hold.
    related : ndarray of float, shape (n_species, n_species), optional
        A among the species seen; None if it is not known.
    priors : Priors, optional
        In place of the published ones.
    records : tuple of str
        What the grower calls the crosses.

    Notes
    -----
    What is unsaid is shared out by expectation-maximisation at fixed scales of the effects (`shared_out`): first at
    their prior medians, then at the most likely ones. The chances for it are those of the pairing and its plants,
    without the fate of the very cross, which what was imputed to it would else drag along. The variances are integrated
    at the end, with the shares fixed.
    """
    with one_thread():
        return _fit_chain(
            recipe,
            rows,
            _Shares(chain, weight, pod),
            Levels.of(seen, parents),
            seen,
            related,
            priors or published(),
            records,
        )


def _fit_chain(
    recipe: Recipe,
    rows: Floats,
    shares: _Shares,
    levels: Levels,
    seen: Seen,
    related: Floats | None,
    table: Priors,
    records: tuple[str, ...],
) -> FittedModel:
    moments = training_moments(recipe, rows)
    design = design_of(recipe, rows, moments[0])
    works: dict[int, _Work] = {}
    for at, name in enumerate(CHAIN):
        record = shares.records(at)
        if record.size:
            here = levels[record]
            counts = shares.counts(at, record)
            stage = laid_out(design[record], counts, table.prior_for(name, recipe.features), here, seen, related)
            prior = scales_for(stage, table.effect_scales(name))
            works[at] = _Work(stage, here, record, prior, Scales(prior * half_normal(0.0)[0]))
    if shares.chain.gaps.there.any():
        works = shares.settle(works)
        works = {at: _with_likely_scales(work) for at, work in works.items()}
        works = shares.settle(works)
    return FittedModel(recipe, *moments, _stages(works, recipe, table, seen), seen, shares.seeds, records)


def _with_likely_scales(work: _Work) -> _Work:
    most_likely, _ = integrate(work.stage, work.prior, 0, refined=False)
    return replace(work, scales=most_likely.scales, start=most_likely.start)


def _stages(works: dict[int, _Work], recipe: Recipe, table: Priors, seen: Seen) -> tuple[StageFit, ...]:
    """Integrate every stage, with one lambda for all."""
    found = dict(zip(works, _integrated(tuple(works.values())), strict=True))
    points = dict(zip(found, agree_on_share(tuple(points for _, points in found.values())), strict=True))
    return tuple(
        believed(name, works[at].stage, found[at][0], points[at], works[at].levels, works[at].record)
        if at in works
        else prior_stage(name, recipe, table, seen=seen)
        for at, name in enumerate(CHAIN)
    )


def _without_own_fate(stage: Stage, mode: Mode) -> Floats:
    """Return the logits without the effect of each record alone: what was imputed to it must not speak for itself."""
    [factor] = (i for i, factor in enumerate(stage.factors) if factor.name == "record")
    level = stage.layout.chain.index(factor)
    own = mode.scales.sds[factor] ** 2 * mode.pulls[level][stage.layout.groups[level]]
    return np.asarray(mode.eta - own, dtype=np.float64)


def _integrated(works: tuple[_Work, ...]) -> list[tuple[Mode, tuple[Point, ...]]]:
    """Integrate stages, which know nothing of each other: side by side where they are large enough to gain by it."""
    large = sum(work.record.size for work in works) >= _MANY_RECORDS
    with ThreadPoolExecutor(max_workers=(os.cpu_count() or 1) if large else 1) as pool:
        return list(pool.map(lambda work: integrate(work.stage, work.prior, POINTS), works))


class _Shares:
    """What every cross counts at every stage, its gaps shared out by the chances so far."""

    def __init__(self, chain: ChainOutcomes, weight: Floats, pod: tuple[float, int | None]) -> None:
        self.chain, self.weight, self.pod = chain, weight, pod
        self.outcomes = list(chain.stages.values())
        self.touched = [chain.gaps.touches(at) for at in range(len(CHAIN))]
        self.seeds = self._seeds_per_pod(None)
        self.share(np.tile(self._first_chances(), (weight.size, 1)))

    def records(self, at: int) -> Ints:
        """Return the crosses that say something of a stage."""
        return np.flatnonzero(self.outcomes[at].known | self.touched[at])

    def counts(self, at: int, record: Ints) -> Counts:
        """Return what they count there."""
        counted, some = self.outcomes[at].known[record], self.outcomes[at].some[record]
        tried, took = self.shared.tried[record, at], self.shared.took[record, at]
        share = np.divide(took, tried, out=np.zeros_like(took), where=tried > 0)
        return Counts(
            np.where(counted, self.outcomes[at].tried[record], 1.0),
            np.where(counted, self.outcomes[at].took[record], share),
            some & counted,
            self.weight[record] * np.where(counted, 1.0, np.maximum(tried, _LEAST_WEIGHT)),
        )

    def share(self, chances: Floats) -> None:
        """Share the gaps out anew, and learn the seeds per pod with the empty ones that were not counted."""
        self.shared = shared_out(self.chain.gaps, chances, self.seeds)
        self.seeds = self._seeds_per_pod(self.shared.tried[:, 2])

    def settle(self, works: dict[int, _Work]) -> dict[int, _Work]:
        """Share out and fit in turns until the chances stand still."""
        chances = np.tile(self._first_chances(), (self.weight.size, 1))
        for _ in range(_MOST_ROUNDS):
            before = chances.copy()
            for at, work in works.items():
                mode = find_mode(work.stage, work.scales, work.start)
                chances[work.record, at] = chance(_without_own_fate(work.stage, mode))
                works[at] = replace(work, start=mode.start)
            self.share(chances)
            works = {at: self._recounted(at, work) for at, work in works.items()}
            if np.max(np.abs(chances - before), initial=0.0) < _SETTLED:
                break
        return works

    def _recounted(self, at: int, work: _Work) -> _Work:
        return replace(work, stage=replace(work.stage, counts=self.counts(at, work.record)))

    def _first_chances(self) -> Floats:
        """Pool each stage over the crosses that counted it."""
        sums = [(o.tried[o.known & ~o.some].sum(), o.took[o.known & ~o.some].sum()) for o in self.outcomes]
        return np.array([(took + _START_TOOK) / (tried + _START_TRIED) for tried, took in sums], dtype=np.float64)

    def _seeds_per_pod(self, in_pods: Floats | None) -> SeedsPerPod:
        expected, cap = self.pod
        pods, seeds = self.chain.pods, self.chain.seeds
        if in_pods is not None:
            only_good = self.chain.gaps.pods > 0
            pods, seeds = np.where(only_good, self.chain.gaps.pods, pods), np.where(only_good, in_pods, seeds)
        there = pods > 0
        return fit_seeds(pods[there], seeds[there], expected=expected, cap=cap)
