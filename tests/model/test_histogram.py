"""The chance put together from histograms, against 65,536 points of a Sobol sequence (scipy)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special
from scipy.stats import norm, qmc

from crosscompat.model.chain import seedling_chance
from crosscompat.model.cumulants import WIDEST
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
KINDS = [(MANY, 0.4), (CELLS, 0.0), (MANY, 1.0)]
UNITS = (1, 8, 60)


@pytest.fixture(scope="module")
def normals():
    """Four standard normals: one a stage."""
    return norm.ppf(qmc.Sobol(4, seed=2).random_base2(16)).T


def beliefs(seed, size, narrowest, widest):
    rng = np.random.default_rng(seed)
    return rng.normal(-0.5, 2.0, (4, size)), rng.uniform(narrowest, widest, (4, size))


def judged(normals, mean, sd, seeds, pod_sd, units):
    """Mean, 5th and 95th percentile of the chance of each pairing; pods have nine nodes of their own."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(9)
    found = []
    for at in range(mean.shape[1]):
        set_, hold, fill, germinate = mean[:, at, None] + sd[:, at, None] * normals
        unit = sum(
            weight * seedling_chance(*map(special.expit, (set_, hold, fill + pod_sd * x, germinate)), seeds, 1.0)
            for x, weight in zip(nodes, weights / weights.sum(), strict=True)
        )
        chances = [1 - (1 - unit) ** n for n in units]
        found.append([(chance.mean(), *np.quantile(chance, (0.05, 0.95))) for chance in chances])
    return np.transpose(found, (1, 2, 0))


def held_against(normals, mean, sd, seeds, pod_sd, *, of_mean, of_ends):
    stages = tuple(Logits(mean[k], np.hypot(sd[k], pod_sd if k == 2 else 0.0)) for k in range(4))
    belief = Outlook(stages, seeds, pod_sd)
    for units, (expected, low, high) in zip(UNITS, judged(normals, mean, sd, seeds, pod_sd, UNITS), strict=True):
        found = seedling_chances(belief, units)
        assert found.mean == pytest.approx(expected, abs=of_mean)
        assert mean_chances(belief, units) == pytest.approx(expected, abs=of_mean)
        assert found.low == pytest.approx(low, abs=of_ends)
        assert found.high == pytest.approx(high, abs=of_ends)


@pytest.mark.parametrize(("narrowest", "widest"), [(NARROWEST, 1.0), (1.0, 3.8)])
@pytest.mark.parametrize(("seeds", "pod_sd"), KINDS)
def test_mean_and_interval_are_those_of_the_points(normals, narrowest, widest, seeds, pod_sd):
    mean, sd = beliefs(7, 8, narrowest, widest)
    held_against(normals, mean, sd, seeds, pod_sd, of_mean=0.002, of_ends=0.006)


@pytest.mark.parametrize(("seeds", "pod_sd"), KINDS)
def test_where_every_stage_is_known_closely_cumulants_tell_as_much(normals, seeds, pod_sd):
    mean, sd = beliefs(8, 8, 0.0, WIDEST)
    sd[0] = np.minimum(sd[0], NARROWEST - 0.01)
    held_against(normals, mean, sd, seeds, pod_sd, of_mean=0.001, of_ends=0.006)


def test_where_only_some_stages_are_known_closely_the_ends_are_a_little_rougher(normals):
    mean, sd = beliefs(8, 8, 0.0, 0.5)
    sd[1] = 1.5
    held_against(normals, mean, sd, MANY, 0.4, of_mean=0.002, of_ends=0.015)


@pytest.mark.parametrize("others", [NARROWEST, 1.5])
def test_all_ways_agree_where_one_takes_over_from_another(others):
    mean, _ = beliefs(9, 40, 1.0, 2.0)
    wide, close = (
        seedling_chances(Outlook(tuple(Logits(m, np.full(40, sd)) for m, sd in zip(mean, sds, strict=True)), MANY), 4)
        for sds in ([NARROWEST, *[others] * 3], [NARROWEST - 1e-9, *[others] * 3])
    )
    assert wide.mean == pytest.approx(close.mean, abs=0.003)
    assert wide.low == pytest.approx(close.low, abs=0.015)
    assert wide.high == pytest.approx(close.high, abs=0.015)


@settings(max_examples=40)
@given(st.integers(0, 10_000), st.sampled_from([MANY, CELLS]))
def test_masses_add_up_and_more_units_or_a_better_stage_never_lower_the_chance(seed, seeds):
    mean, sd = beliefs(seed, 3, NARROWEST, 4.0)
    tables = unit_histogram(seeds, 0.3)
    masses = tables.masses(mean, sd)
    assert masses.sum(axis=1) == pytest.approx(1.0, abs=1e-9)
    means = masses @ np.column_stack([at_least_one(n) for n in (1, 2, 7, 100)])
    assert np.all(np.diff(means, axis=1) >= -1e-9)
    low, high = quantiles(masses, (0.05, 0.95))
    assert np.all(low < high)
    better = mean.copy()
    better[seed % 4] += 1.0
    assert np.all(tables.masses(better, sd) @ at_least_one(1) >= means[:, 0] - 1e-3)


def test_single_precision_says_the_same():
    mean, sd = beliefs(3, 500, NARROWEST, 4.0)
    double, single = (unit_histogram(MANY, 0.3, single=flag).masses(mean, sd) for flag in (False, True))
    assert single.dtype == np.float32
    assert single @ at_least_one(3) == pytest.approx(double @ at_least_one(3), abs=1e-5)
    [end], [exact] = quantiles(single, (0.95,)), quantiles(double, (0.95,))
    assert from_units(end, 3) == pytest.approx(from_units(exact, 3), abs=1e-4)


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
