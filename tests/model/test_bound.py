from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special

from crosscompat.model.bound import most_chance
from crosscompat.model.forecast import Logits
from crosscompat.model.outlook import Outlook, mean_chances, seedling_chances
from crosscompat.model.seeds import SeedsPerPod

KINDS = [SeedsPerPod(150.0, 2.0), SeedsPerPod(2.0, 1.0, cap=3), SeedsPerPod(0.4, 0.3), None]


@settings(max_examples=60)
@given(st.integers(0, 100_000), st.sampled_from(KINDS), st.sampled_from([1, 4, 50]), st.sampled_from([0.0, 0.8]))
def test_no_mean_chance_is_above_it(seed, seeds, units, pod_sd):
    rng = np.random.default_rng(seed)
    count = 1 if seeds is None else 4
    mean, sd = rng.normal(0, 3, (count, 8)), rng.uniform(0.8, 5.0, (count, 8))
    belief = Outlook(tuple(map(Logits, mean, sd)), seeds, pod_sd if seeds is not None else 0.0)
    bound = most_chance(mean, sd, seeds, units)
    assert np.all(seedling_chances(belief, units).mean <= bound)
    assert np.all(mean_chances(belief, units) <= bound)


def test_the_formula_for_the_mean_of_a_chance_is_off_by_less_than_the_bound_allows():
    z = np.linspace(-9, 9, 2001)
    weight = np.exp(-0.5 * z**2)
    weight /= weight.sum()
    mean, sd = np.meshgrid(np.linspace(-40, 40, 161), np.linspace(0, 30, 61))
    exact = special.expit(mean[..., None] + sd[..., None] * z) @ weight
    assert (exact - special.expit(mean / np.sqrt(1 + np.pi * sd**2 / 8))).max() < 0.018


def test_what_is_certain_is_bounded_closely():
    even = np.zeros((4, 1))
    assert most_chance(even, even, SeedsPerPod(1.0, 1.0, cap=1), 1)[0] == pytest.approx(0.52**4)
