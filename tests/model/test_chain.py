from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from crosscompat.model.chain import seedling_chance
from crosscompat.model.seeds import SeedsPerPod, fit_seeds

chance = st.floats(0.02, 0.98)


@settings(max_examples=40, deadline=None)
@given(st.floats(0.3, 20), st.floats(0.2, 20), chance)
def test_no_seed_comes_to_anything_as_the_negative_binomial_has_it(mean, size, fails):
    seeds = np.arange(2000)
    judge = stats.nbinom.pmf(seeds, size, size / (size + mean)) @ fails**seeds
    assert SeedsPerPod(mean, size).none_of_them(np.array(fails)) == pytest.approx(judge, abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(st.floats(0.1, 3), chance)
def test_with_a_cap_the_seeds_are_binomial(mean, fails):
    judge = stats.binom.pmf(np.arange(4), 3, mean / 3) @ fails ** np.arange(4)
    assert SeedsPerPod(mean, 1.0, cap=3).none_of_them(np.array(fails)) == pytest.approx(judge)


def test_the_chain_is_what_flowers_pods_and_seeds_do():
    rng = np.random.default_rng(1)
    p, seeds, flowers, runs = (0.5, 0.6, 0.4, 0.3), SeedsPerPod(4.0, 0.7), 3, 100_000
    ripe = rng.binomial(flowers, p[0] * p[1], runs)
    number = rng.negative_binomial(np.maximum(ripe, 1) * seeds.size, seeds.size / (seeds.size + seeds.mean))
    number = np.where(ripe > 0, number, 0)
    share = (rng.binomial(number, p[2] * p[3]) > 0).mean()
    found = seedling_chance(*(np.array(x) for x in p), seeds, flowers)
    assert found == pytest.approx(share, abs=4 * np.sqrt(share * (1 - share) / runs))


def test_the_mean_number_of_seeds_instead_promises_too_much():
    p = [np.array(x) for x in (1.0, 1.0, 0.5, 0.2)]
    uneven, even = SeedsPerPod(20.0, 0.2), SeedsPerPod(20.0, 1e6)
    assert seedling_chance(*p, even, 1) > 1.5 * seedling_chance(*p, uneven, 1)


def test_seeds_are_learned_from_pods():
    rng = np.random.default_rng(2)
    pods = rng.integers(1, 6, 200).astype(float)
    seeds = rng.negative_binomial(pods * 2.0, 2.0 / (2.0 + 50.0)).astype(float)
    found = fit_seeds(pods, seeds, expected=100.0)
    assert found.mean == pytest.approx(50, rel=0.1)
    assert found.size == pytest.approx(2.0, rel=0.3)
