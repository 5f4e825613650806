"""The sharing of what is unsaid, judged by growing crosses unit by unit and keeping those that fit what is known."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.book.gaps import gaps_of
from crosscompat.model.seeds import SeedsPerPod
from crosscompat.model.sharing import shared_out

NAN = np.nan
CHANCES = np.array([0.7, 0.6, 0.5, 0.4])
PODS = {"counted cells": SeedsPerPod(2.0, 1.0, cap=3), "widely spread": SeedsPerPod(3.0, 0.8)}


def gaps(**counts):
    return gaps_of({name: np.array([float(value)]) for name, value in counts.items()}, np.array([True]))


def draw(rng, pod, size):
    if pod.cap is not None:
        return rng.binomial(pod.cap, pod.mean / pod.cap, size)
    return rng.poisson(rng.gamma(pod.size, pod.mean / pod.size, size))


def grow(rng, pod, units, size=400_000):
    """Grow crosses: pods set, pods held, seeds, filled seeds and seedlings of each."""
    pods = rng.binomial(units, CHANCES[0], size)
    held = rng.binomial(pods, CHANCES[1])
    seeds = sum(np.where(held > i, draw(rng, pod, size), 0) for i in range(units))
    filled = rng.binomial(seeds, CHANCES[2])
    return pods, held, seeds, filled, rng.binomial(filled, CHANCES[3])


@pytest.mark.parametrize("pod", PODS.values(), ids=PODS)
@pytest.mark.parametrize(
    ("counts", "kept"),
    [
        ({"units": 3, "seedlings": 0}, lambda pods, held, seeds, filled, up: up == 0),
        ({"units": 3, "pods_held": 0}, lambda pods, held, seeds, filled, up: held == 0),
        ({"units": 3, "seeds_filled": 0}, lambda pods, held, seeds, filled, up: filled == 0),
        ({"units": 3, "pods_set": 2, "seedlings": 0}, lambda pods, held, seeds, filled, up: (pods == 2) & (up == 0)),
        ({"pods_held": 2, "seedlings": 0}, lambda pods, held, seeds, filled, up: (held == 2) & (up == 0)),
        ({"pods_held": 2, "seeds_filled": 0}, lambda pods, held, seeds, filled, up: (held == 2) & (filled == 0)),
        ({"seeds": 4, "seedlings": 0}, lambda pods, held, seeds, filled, up: (seeds == 4) & (up == 0)),
        ({"pods_held": 2, "seeds_filled": 3}, lambda pods, held, seeds, filled, up: (held == 2) & (filled == 3)),
    ],
)
def test_what_is_unsaid_is_what_such_crosses_hold_on_average(counts, kept, pod):
    found = gaps(**counts)
    shared = shared_out(found, CHANCES[None, :], pod)
    pods, held, seeds, filled, up = grown = grow(np.random.default_rng(7), pod, 3)
    keep = kept(*grown)
    entered = np.array([np.full(len(pods), 3), pods, seeds, filled])[:, keep]
    came_through = np.array([pods, held, filled, up])[:, keep]
    for stage in range(4):
        if found.touches(stage)[0]:
            for value, sample in ((shared.tried, entered[stage]), (shared.took, came_through[stage])):
                error = sample.std() / np.sqrt(sample.size) + 1e-9
                assert value[0, stage] == pytest.approx(sample.mean(), abs=4 * error)
        else:
            assert shared.tried[0, stage] == shared.took[0, stage] == 0


@pytest.mark.parametrize("pod", PODS.values(), ids=PODS)
def test_a_unit_with_a_seedling_held_one_good_seed_at_least(pod):
    shared = shared_out(gaps(tried=1, took=1), CHANCES[None, :], pod)
    *_, seeds, filled, up = grow(np.random.default_rng(8), pod, 1)
    keep = up > 0
    assert shared.tried[0, :2].tolist() == shared.took[0, :2].tolist() == [1, 1]
    for value, sample in (
        (shared.tried[0, 2], seeds),
        (shared.took[0, 2], filled),
        (shared.tried[0, 3], filled),
        (shared.took[0, 3], up),
    ):
        assert value == pytest.approx(sample[keep].mean(), abs=4 * sample[keep].std() / np.sqrt(keep.sum()))


def test_counted_unit_by_unit_is_failed_and_fruitful_units_together():
    whole = shared_out(gaps(tried=5, took=2), CHANCES[None, :], PODS["counted cells"])
    failed = shared_out(gaps(units=3, seedlings=0), CHANCES[None, :], PODS["counted cells"])
    took = shared_out(gaps(tried=2, took=2), CHANCES[None, :], PODS["counted cells"])
    assert whole.tried == pytest.approx(failed.tried + took.tried)
    assert whole.took == pytest.approx(failed.took + took.took)


chance = st.floats(0.001, 0.999)


@settings(max_examples=60, deadline=None)
@given(
    st.tuples(chance, chance, chance, chance),
    st.sampled_from(
        [
            {"units": 4, "seedlings": 0},
            {"pods_set": 3, "seedlings": 0},
            {"units": 2, "pods_held": 0},
            {"seeds": 9, "seedlings": 0},
        ]
    ),
    st.sampled_from(list(PODS.values())),
)
def test_no_more_come_through_than_entered_and_nothing_is_lost_on_the_way(chances, counts, pod):
    shared = shared_out(gaps(**counts), np.array([chances]), pod)
    assert np.all(shared.took <= shared.tried + 1e-9)
    assert np.all(shared.took >= 0)
    assert shared.took[0, 0] == pytest.approx(shared.tried[0, 1] - counts.get("pods_set", 0))
    assert shared.took[0, 2] == pytest.approx(shared.tried[0, 3])
    assert shared.took[0, 3] == 0  # a seedling would be none of these
