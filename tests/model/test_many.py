"""What is spared with many records, against what is done with few: made to take few records for many."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from crosscompat.model import elimination, tilted
from crosscompat.model.beliefs import matched
from crosscompat.model.elimination import Scales
from crosscompat.model.expectation import Sites, among_columns, refine, rejoined, swept
from crosscompat.model.fitted import design_of, fit_crosses, laid_out, training_moments
from crosscompat.model.laplace import find_mode
from crosscompat.model.likelihood import Counts
from crosscompat.model.pairings import Levels, Parents, seen_by
from crosscompat.model.part import part_of
from crosscompat.model.prior import published
from crosscompat.model.stages import STEPS, WHOLE, CrossCounts, StepCounts
from crosscompat.model.variances import integrate
from crosscompat.pairing import DistanceScale, Feature, Recipe

RECIPE = Recipe((Feature("linear"),), DistanceScale(1.0, (("linear", 0.0, 1.0),)))
BELIEF = published().prior_for(RECIPE.features)


def scales_of(stage):
    of_effects = published().effect_scales(WHOLE)
    return np.array([of_effects[factor.name] for factor in stage.factors])


class Crosses:
    """Random crosses among species in clades of four, some of them of the same pair."""

    def __init__(self, seed, species=12, records=400, *, plants=0):
        rng = np.random.default_rng(seed)
        names = np.array([f"s{i:03}" for i in range(species)], dtype=object)
        a, b = rng.integers(0, species, (2, records))
        kind, mother, father = (1.2 * rng.normal(size=n) for n in (species // 4, species, species))
        self.related = np.where(np.arange(species)[:, None] // 4 == np.arange(species) // 4, 0.6, 0.0)
        np.fill_diagonal(self.related, 1.0)
        self.rows = rng.random((records, 1))
        logit = kind[a // 4] + mother[a] + 0.5 * father[b] - 1.5 * self.rows[:, 0] + 0.7 * rng.normal(size=records)
        tried = rng.integers(3, 10, records)
        self.counts = Counts.of(tried, rng.binomial(tried, 1 / (1 + np.exp(-logit))))
        numbers = rng.integers(0, max(plants, 1), (2, records))
        sides = zip((a, b), numbers, strict=True) if plants else ()
        named = [[f"{s} {i}" for s, i in zip(names[side], number, strict=True)] for side, number in sides]
        self.parents = Parents(list(names[a]), list(names[b]), *named)
        self.seen = seen_by(self.parents, crosses=records, took=1, farthest=1.0, related=True)
        self.levels = Levels.of(self.seen, self.parents)

    @property
    def stage(self):
        design = design_of(RECIPE, self.rows, training_moments(RECIPE, self.rows)[0])
        return laid_out(design, self.counts, BELIEF, self.levels, self.seen, self.related)

    def fit(self):
        size = len(self.rows)
        never = np.zeros(size, dtype=bool)
        steps = dict.fromkeys(STEPS, StepCounts.of(np.ones(size), np.zeros(size), never, never))
        steps[WHOLE] = StepCounts.of(self.counts.tried, self.counts.took, ~never, self.counts.some)
        [fit] = fit_crosses(
            RECIPE, self.rows, CrossCounts(steps, np.zeros(size), np.zeros(size)), np.ones(size), parents=self.parents,
            pod=(20.0, None), took=0, finished=size, related=self.related,
        ).steps  # fmt: skip
        return fit


@pytest.fixture
def few_are_many(monkeypatch):
    monkeypatch.setattr(elimination, "MANY", 50)
    monkeypatch.setattr(tilted, "_CHUNK", 500)
    monkeypatch.setattr(tilted, "_HEAP", 2)


def sites_of(mode):
    return Sites(mode.scales, mode.curvature, mode.gradient + mode.curvature * mode.eta, mode.evidence)


@pytest.mark.parametrize("plants", [0, 2])
def test_sites_alone_give_the_same_belief_as_what_was_kept_whole(plants, monkeypatch):
    """To rounding, with all points at one lambda: what relatives inherit is then one matrix."""
    crosses = Crosses(1, plants=plants)
    stage = crosses.stage
    prior = scales_of(stage)
    _, points = integrate(stage, prior, 8)
    scales = [Scales(point.mode.scales.sds, 0.4) for point in points]
    points = tuple(
        replace(point, mode=refine(stage, replace(point.mode, scales=one)))
        for point, one in zip(points, scales, strict=True)
    )
    pairs = np.column_stack([crosses.levels.seed, crosses.levels.pollen])
    kept = matched(stage, points, pairs)
    monkeypatch.setattr(elimination, "MANY", 50)
    spared = matched(stage, tuple(replace(point, mode=sites_of(point.mode)) for point in points), pairs)
    for one, other in zip(spared[:2], kept[:2], strict=True):
        assert one == pytest.approx(other, abs=1e-9)
    for name in ("variances", "mean", "covariance", "cross", "inherited"):
        assert getattr(spared[2], name) == pytest.approx(getattr(kept[2], name), abs=1e-8), name
    for name in ("ways", "pair", "direction", "own", "columns", "lean"):
        assert getattr(spared[2].ties, name) == pytest.approx(getattr(kept[2].ties, name), abs=1e-8), name


@pytest.mark.parametrize("seed", range(3))
def test_one_sweep_misses_the_evidence_by_the_square_of_the_way(seed, few_are_many):
    stage = Crosses(seed).stage
    near = Scales(scales_of(stage), 0.5)
    begun = refine(stage, find_mode(stage, near), settled=1e-9)
    missed = []
    for way in (0.1, 0.05):
        wanted = Scales((1 + way) * near.sds, 0.5 - way)
        sought = refine(stage, replace(begun, scales=wanted), settled=1e-9)
        once = swept(stage, begun, wanted, among_columns(stage, begun))
        missed.append(abs(once.evidence - sought.evidence))
        assert rejoined(stage, once).theta == pytest.approx(sought.theta, abs=0.3 * way)
    assert missed[0] < 0.1
    assert missed[1] < 0.35 * missed[0]
    again = swept(stage, sought, wanted, among_columns(stage, sought))
    assert rejoined(stage, again).theta == pytest.approx(sought.theta, abs=1e-7)
    assert again.evidence == pytest.approx(sought.evidence, abs=1e-6)


@pytest.mark.parametrize("plants", [0, 3])
def test_a_part_is_the_stage_of_its_own_crosses(plants):
    crosses = Crosses(2, species=100, records=2500, plants=plants)
    part = part_of(crosses.stage)
    inside = np.isin(crosses.levels.seed, np.unique(crosses.levels.seed[part_rows(crosses, part)]))
    assert 400 < len(part.stage.x) < 900
    assert inside.sum() > len(part.stage.x)
    rows = part_rows(crosses, part)
    own = laid_out(
        crosses.stage.x[rows], crosses.counts[rows], BELIEF, crosses.levels[rows], crosses.seen, crosses.related
    )
    scales = Scales(scales_of(own), 0.3)
    here, there = find_mode(part.stage, scales), find_mode(own, scales)
    assert here.evidence == pytest.approx(there.evidence, rel=1e-9)
    assert here.eta == pytest.approx(there.eta, abs=1e-6)
    assert part.tells[0] == pytest.approx(2500 / len(rows))


def part_rows(crosses, part):
    """Find the crosses of a part by their distances, of which no two are the same."""
    return np.flatnonzero(np.isin(crosses.stage.x[:, 1], part.stage.x[:, 1]))


def test_too_few_species_have_no_part():
    assert part_of(Crosses(3).stage) is None


@pytest.mark.parametrize(("species", "records", "plants"), [(12, 400, 0), (12, 400, 2), (100, 2500, 0)])
def test_many_records_are_believed_as_few_are(species, records, plants, few_are_many, monkeypatch):
    """Both integrate over two dozen points of their own choice: what is left is the error of those."""
    crosses = Crosses(4, species, records, plants=plants)
    many = crosses.fit()
    monkeypatch.setattr(elimination, "MANY", 10**9)
    few = crosses.fit()
    sd = np.sqrt(np.diag(few.covariance))
    assert (many.mean - few.mean) / sd == pytest.approx(0.0, abs=0.1)
    assert np.sqrt(np.diag(many.covariance)) / sd == pytest.approx(1.0, abs=0.08)
    parents = slice(0, 2 * len(crosses.seen.species))
    sd = np.sqrt(np.diag(few.effects.covariance))[parents]
    assert (many.effects.mean - few.effects.mean)[parents] / sd == pytest.approx(0.0, abs=0.15)
    assert np.sqrt(np.diag(many.effects.covariance))[parents] / sd == pytest.approx(1.0, abs=0.08)
    assert sorted(many.past.record.tolist()) == list(range(records))
    order = many.past.record
    assert many.past.levels.seed.tolist() == few.past.levels.seed[order].tolist()
    assert many.past.x == pytest.approx(few.past.x[order], abs=1e-12)
    assert many.past.gradient == pytest.approx(few.past.gradient[order], abs=0.2)
