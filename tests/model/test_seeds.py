from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from crosscompat.model.composition import SeedsPerPod, fit_seeds

chance = st.floats(0.02, 0.98)


@settings(max_examples=40, deadline=None)
@given(st.floats(0.3, 20), st.floats(0.2, 20), chance)
def test_no_seed_comes_to_anything_as_the_negative_binomial_has_it(mean, size, fails):
    seeds = np.arange(2000)
    judge = stats.nbinom.pmf(seeds, size, size / (size + mean)) @ fails**seeds
    assert SeedsPerPod(mean, size).none_of_them(np.array(fails)) == pytest.approx(judge, abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 9), st.floats(0.02, 1), chance)
def test_with_a_cap_the_seeds_are_binomial(cap, share, fails):
    seeds = np.arange(cap + 1)
    judge = stats.binom.pmf(seeds, cap, share) @ fails**seeds
    assert SeedsPerPod(cap * share, 1.0, cap).none_of_them(np.array(fails)) == pytest.approx(judge)


@pytest.mark.parametrize("spread", [SeedsPerPod(30.0, 0.5), SeedsPerPod(2.0, 1.0, cap=3)])
def test_the_ends_are_exact_and_a_surer_failure_is_likelier(spread):
    found = spread.none_of_them(np.linspace(0, 1, 21))
    empty = stats.nbinom.pmf(0, 0.5, 0.5 / 30.5) if spread.cap is None else (1 - 2 / 3) ** 3
    assert found[[0, -1]] == pytest.approx([empty, 1.0])
    assert (np.diff(found) > 0).all()


def test_seeds_are_learned_from_pods():
    rng = np.random.default_rng(2)
    pods = rng.integers(1, 6, 200).astype(float)
    seeds = rng.negative_binomial(pods * 2.0, 2.0 / (2.0 + 50.0)).astype(float)
    found = fit_seeds(pods, seeds, expected=100.0)
    assert found.mean == pytest.approx(50, rel=0.1)
    assert found.size == pytest.approx(2.0, rel=0.3)


PODS = [(), ((1, 0),), ((2, 0), (5, 0)), ((1, 3), (4, 90), (2, 0)), ((1, 20), (1, 20), (1, 21), (1, 19)), ((50, 4000),)]


@pytest.mark.parametrize("book", PODS)
@pytest.mark.parametrize("expected", [0.5, 100.0])
def test_the_size_is_averaged_over_a_likelihood_and_a_prior(book, expected):
    """Against SciPy's negative binomial and normal, 61 sizes even on the log scale."""
    pods, seeds = np.array(book, float).reshape(-1, 2).T
    found = fit_seeds(pods, seeds, expected=expected)
    assert found.mean == pytest.approx((seeds.sum() + expected) / (pods.sum() + 1))
    logs = np.linspace(np.log(0.1), np.log(100), 61)
    size = np.exp(logs)[:, None]
    height = stats.nbinom.logpmf(seeds, pods * size, size / (size + found.mean)).sum(axis=1)
    weight = np.exp(height - height.max()) * stats.norm.pdf(logs, 0, np.log(5))
    assert found.size == pytest.approx(np.exp((weight @ logs) / weight.sum()))


def test_the_order_of_the_crosses_does_not_matter():
    pods, seeds = np.array([1.0, 4.0, 2.0]), np.array([3.0, 90.0, 0.0])
    one, other = (fit_seeds(p, s, expected=10.0) for p, s in ((pods, seeds), (pods[::-1], seeds[::-1])))
    assert (one.mean, one.size) == pytest.approx((other.mean, other.size))


def test_uneven_pods_are_learned_as_uneven():
    pods = np.ones(12)
    even = fit_seeds(pods, np.full(12, 20.0), expected=20.0)
    uneven = fit_seeds(pods, np.array([0.0] * 8 + [60.0] * 4), expected=20.0)
    assert even.mean == uneven.mean
    assert uneven.size < 1 < even.size


def test_a_pod_never_holds_more_than_its_cap():
    found = fit_seeds(np.array([2.0]), np.array([9.0]), expected=3.0, cap=3)
    assert (found.mean, found.cap) == (3.0, 3)
    assert found.none_of_them(np.array(0.5)) == pytest.approx(0.5**3)
