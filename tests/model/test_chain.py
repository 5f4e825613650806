from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from crosscompat.model.chain import seedling_chance
from crosscompat.model.seeds import SeedsPerPod

chance = st.floats(0.02, 0.98)
stages = st.tuples(chance, chance, chance, chance)


def chained(p, seeds, units):
    return float(seedling_chance(*(np.array(x) for x in p), seeds, units))


def counted_out(p, cap, share, units):
    """Every way in which each flower can end, one by one, with its chance: no set, dropped, or so many seedlings."""
    set_, hold, fill, germinate = p
    ends = {"no set": 1 - set_, "dropped": set_ * (1 - hold)}
    for seeds in product([0, 1], repeat=cap):  # an ovule is a seed or none
        for fates in product(["empty", "not up", "up"], repeat=sum(seeds)):
            fate = {"empty": 1 - fill, "not up": fill * (1 - germinate), "up": fill * germinate}
            here = set_ * hold * np.prod([share if seed else 1 - share for seed in seeds])
            ends[seeds, fates] = here * np.prod([fate[name] for name in fates])
    assert sum(ends.values()) == pytest.approx(1)
    failures = [chance for end, chance in ends.items() if isinstance(end, str) or "up" not in end[1]]
    return 1 - sum(np.prod(way) for way in product(failures, repeat=units))


@settings(max_examples=15, deadline=None)
@given(stages, st.integers(1, 2), st.floats(0.05, 1), st.integers(1, 2))
def test_the_chain_counts_every_way_a_cross_can_end(p, cap, share, units):
    assert chained(p, SeedsPerPod(cap * share, 1.0, cap), units) == pytest.approx(counted_out(p, cap, share, units))


@settings(max_examples=30, deadline=None)
@given(stages, st.floats(0.3, 20), st.floats(0.2, 20), st.integers(1, 8))
def test_the_chain_sums_over_pods_and_over_the_seeds_in_them(p, mean, size, units):
    pods = np.arange(1, units + 1)
    seeds = np.arange(3000)
    ripe = stats.binom.pmf(pods, units, p[0] * p[1])
    up = 1 - (1 - p[2] * p[3]) ** seeds
    number = stats.nbinom.pmf(seeds, pods[:, None] * size, size / (size + mean))  # in all the pods together
    assert chained(p, SeedsPerPod(mean, size), units) == pytest.approx(ripe @ number @ up, abs=1e-6)


def test_the_chain_is_what_flowers_pods_and_seeds_do():
    rng = np.random.default_rng(1)
    p, seeds, flowers, runs = (0.5, 0.6, 0.4, 0.3), SeedsPerPod(4.0, 0.7), 3, 100_000
    pods = rng.binomial(rng.binomial(flowers, p[0], runs), p[1])
    number = rng.negative_binomial(seeds.size, seeds.size / (seeds.size + seeds.mean), (runs, flowers))
    number = np.where(np.arange(flowers) < pods[:, None], number, 0).sum(axis=1)
    share = (rng.binomial(rng.binomial(number, p[2]), p[3]) > 0).mean()
    assert chained(p, seeds, flowers) == pytest.approx(share, abs=4 * np.sqrt(share * (1 - share) / runs))


@settings(max_examples=30, deadline=None)
@given(stages, st.floats(1, 100), st.floats(0.2, 20), st.integers(1, 8))
def test_the_mean_number_of_seeds_instead_always_promises_too_much(p, mean, size, units):
    naive = 1 - (1 - p[0] * p[1] * (1 - (1 - p[2] * p[3]) ** mean)) ** units
    assert chained(p, SeedsPerPod(mean, size), units) <= naive + 1e-12


def test_the_mean_number_of_seeds_instead_is_badly_wrong_where_pods_differ():
    p = (1.0, 1.0, 0.5, 0.2)
    uneven, even = SeedsPerPod(20.0, 0.2), SeedsPerPod(20.0, 1e6)
    assert 2 * chained(p, uneven, 1) < 1 - 0.9**20
    assert chained(p, even, 1) == pytest.approx(1 - np.exp(-20 * 0.1), abs=1e-5)  # Poisson, with no spread beyond


@settings(max_examples=30, deadline=None)
@given(stages, st.integers(0, 3), st.floats(0.02, 0.98), st.floats(0.3, 20), st.floats(0.2, 20), st.integers(1, 8))
def test_no_stage_and_no_flower_makes_a_seedling_less_likely(p, stage, better, mean, size, units):
    seeds = SeedsPerPod(mean, size)
    raised = list(p)
    raised[stage] = max(better, p[stage])
    assert chained(p, seeds, units) <= chained(raised, seeds, units) + 1e-12
    assert chained(p, seeds, units) <= chained(p, seeds, units + 1) <= 1


def test_a_stage_that_never_passes_ends_it_and_sure_ones_do_not():
    seeds = SeedsPerPod(1.0, 1.0, cap=1)
    for stage in range(4):
        assert chained([0.0 if stage == i else 1.0 for i in range(4)], seeds, 50) == 0
    assert chained([1.0] * 4, seeds, 1) == 1


def test_the_smallest_chances_are_kept():
    tiny = chained((1e-6, 1e-6, 1e-3, 1e-3), SeedsPerPod(1.0, 1.0, cap=1), 3)
    assert tiny == pytest.approx(3e-18, rel=1e-6, abs=0)


def test_draws_and_units_spread_out_together():
    rng = np.random.default_rng(3)
    p, seeds, units = rng.uniform(0.1, 0.9, (4, 5, 1)), SeedsPerPod(4.0, 0.7), np.array([1.0, 2.0, 10.0])
    found = seedling_chance(*p, seeds, units)
    assert found.shape == (5, 3)
    assert found[2, 1] == pytest.approx(chained(p[:, 2, 0], seeds, 2))
