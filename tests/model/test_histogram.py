"""The chance put together from histograms, against two hundred thousand points of a Sobol sequence (scipy)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special
from scipy.stats import norm, qmc

from crosscompat.model.chain import seedling_chance
from crosscompat.model.forecast import Logits
from crosscompat.model.histogram import (
    NARROWEST,
    at_least_one,
    fewest_units,
    from_units,
    quantiles,
    unit_histogram,
)
from crosscompat.model.means import mean_chance
from crosscompat.model.outlook import Outlook, mean_chances, seedling_chances
from crosscompat.model.seeds import SeedsPerPod

MANY, CELLS = SeedsPerPod(150.0, 2.0), SeedsPerPod(2.0, 1.0, cap=3)


@pytest.fixture(scope="module")
def normals():
    """Five standard normals: one a stage, and one for the pod."""
    return norm.ppf(qmc.Sobol(5, seed=2).random_base2(17)).T


def beliefs(seed, size, narrowest, widest):
    rng = np.random.default_rng(seed)
    return rng.normal(-0.5, 2.0, (4, size)), rng.uniform(narrowest, widest, (4, size))


def judged(normals, mean, sd, seeds, pod_sd, units):
    """Mean, 5th and 95th percentile of the chance of one pairing; pods are averaged over by 21 nodes of their own."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(21)
    set_, hold, fill, germinate = mean[:, None] + sd[:, None] * normals[:4]
    unit = sum(
        weight * seedling_chance(*map(special.expit, (set_, hold, fill + pod_sd * x, germinate)), seeds, 1.0)
        for x, weight in zip(nodes, weights / weights.sum(), strict=True)
    )
    chance = 1 - (1 - unit) ** units
    return chance.mean(), *np.quantile(chance, (0.05, 0.95))


@pytest.mark.parametrize(("narrowest", "widest"), [(NARROWEST, 1.0), (1.0, 3.8)])
@pytest.mark.parametrize(("seeds", "pod_sd"), [(MANY, 0.4), (CELLS, 0.0), (MANY, 1.0)])
def test_mean_and_interval_are_those_of_the_points(normals, narrowest, widest, seeds, pod_sd):
    mean, sd = beliefs(7, 12, narrowest, widest)
    stages = tuple(Logits(mean[k], np.hypot(sd[k], pod_sd if k == 2 else 0.0)) for k in range(4))
    for units in (1, 8, 60):
        found = seedling_chances(Outlook(stages, seeds, pod_sd), units)
        judges = [judged(normals, mean[:, i], sd[:, i], seeds, pod_sd, units) for i in range(12)]
        expected, low, high = np.transpose(judges)
        assert found.mean == pytest.approx(expected, abs=0.002)
        assert found.low == pytest.approx(low, abs=0.005)
        assert found.high == pytest.approx(high, abs=0.005)
        assert mean_chances(Outlook(stages, seeds, pod_sd), units) == pytest.approx(expected, abs=0.002)


def test_where_a_stage_is_known_closely_the_ends_are_a_little_rougher(normals):
    mean, sd = beliefs(8, 12, 0.0, 0.5)
    found = seedling_chances(Outlook(tuple(map(Logits, mean, sd)), MANY), 8)
    judges = np.transpose([judged(normals, mean[:, i], sd[:, i], MANY, 0.0, 8) for i in range(12)])
    assert found.mean == pytest.approx(judges[0], abs=0.002)
    assert found.low == pytest.approx(judges[1], abs=0.015)
    assert found.high == pytest.approx(judges[2], abs=0.015)


def test_both_ways_agree_where_one_takes_over_from_the_other():
    mean, _ = beliefs(9, 40, 1.0, 2.0)
    wide, close = (
        seedling_chances(Outlook(tuple(Logits(m, np.full(40, sd)) for m in mean), MANY), 4)
        for sd in (NARROWEST, NARROWEST - 1e-9)
    )
    assert wide.mean == pytest.approx(close.mean, abs=0.002)
    assert wide.low == pytest.approx(close.low, abs=0.012)
    assert wide.high == pytest.approx(close.high, abs=0.012)


@settings(max_examples=40)
@given(st.integers(0, 10_000), st.sampled_from([MANY, CELLS]))
def test_masses_add_up_and_more_units_or_a_better_stage_never_lower_the_chance(seed, seeds):
    mean, sd = beliefs(seed, 3, NARROWEST, 4.0)
    tables = unit_histogram(seeds, 0.3)
    masses = tables.masses(mean, sd)
    assert masses.sum(axis=1) == pytest.approx(1.0, abs=1e-9)
    means = masses @ np.column_stack([at_least_one(n) for n in (1, 2, 7, 100)])
    assert np.all(np.diff(means, axis=1) >= -1e-9)
    assert np.all(quantiles(masses, 0.05) < quantiles(masses, 0.95))
    better = mean.copy()
    better[seed % 4] += 1.0
    assert np.all(tables.masses(better, sd) @ at_least_one(1) >= means[:, 0] - 1e-3)


def test_single_precision_says_the_same():
    mean, sd = beliefs(3, 500, NARROWEST, 4.0)
    double, single = (unit_histogram(MANY, 0.3, single=flag).masses(mean, sd) for flag in (False, True))
    assert single.dtype == np.float32
    assert single @ at_least_one(3) == pytest.approx(double @ at_least_one(3), abs=1e-5)
    assert from_units(quantiles(single, 0.95), 3) == pytest.approx(from_units(quantiles(double, 0.95), 3), abs=1e-4)


def test_so_many_pairings_that_they_are_told_in_single_precision_are_answered_as_few_are():
    mean, sd = beliefs(4, 20_001, NARROWEST, 4.0)
    many = seedling_chances(Outlook(tuple(map(Logits, mean, sd)), CELLS), 3)
    few = seedling_chances(Outlook(tuple(map(Logits, mean[:, :50], sd[:, :50])), CELLS), 3)
    for one, other in zip((many.mean, many.low, many.high), (few.mean, few.low, few.high), strict=True):
        assert one[:50] == pytest.approx(other, abs=1e-4)


def test_the_fewest_units_are_those_of_the_mean():
    mean, sd = beliefs(5, 60, NARROWEST, 2.0)
    masses = unit_histogram(MANY, 0.3).masses(mean, sd)
    needed = fewest_units(masses, 0.5, 200)
    means = np.column_stack([masses @ at_least_one(n) for n in range(201)])
    for row, n in zip(means, needed, strict=True):
        assert (row < 0.5).all() if n == 0 else row[n] >= 0.5 > row[n - 1]
    assert 0 < (needed == 0).sum() < 60


def test_one_unit_is_one_product_of_two_means():
    """The chance from one unit is a product, so that one term is all of it."""
    factors = mean_chance(MANY, 0.3, 1)
    assert factors.ripe.shape[1] == factors.seedling.shape[1] == 1
