from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.model.scoring import by_pair, by_season, by_species, pair_numbers


@st.composite
def crosses(draw, most=30):
    """Parents by name, as many species as may be."""
    n = draw(st.integers(0, most))
    species = st.sampled_from("abcdefg")
    return [draw(st.lists(species, min_size=n, max_size=n)) for _ in range(2)]


def pairs_of(seed, pollen):
    return [frozenset(pair) for pair in zip(seed, pollen, strict=True)]


def all_of(fold):
    return sorted([*fold.held.tolist(), *fold.train.tolist()])


@settings(max_examples=60, deadline=None)
@given(crosses(), st.sampled_from([0, 3, 40]))
def test_every_cross_is_held_out_once_with_all_of_its_pair(drawn, most):
    pairs, folds = pairs_of(*drawn), by_pair(*drawn, most=most)
    assert sorted(np.concatenate([fold.held for fold in folds]).tolist() if folds else []) == list(range(len(pairs)))
    for fold in folds:
        assert all_of(fold) == list(range(len(pairs)))
        assert not {pairs[i] for i in fold.held} & {pairs[i] for i in fold.train}


@settings(max_examples=60, deadline=None)
@given(crosses())
def test_no_cross_learned_from_has_a_species_that_is_held_out(drawn):
    seed, pollen = drawn
    folds = by_species(seed, pollen)
    assert len(folds) == len({*seed, *pollen})
    times = np.bincount(np.concatenate([np.empty(0, int), *(fold.held for fold in folds)]), minlength=len(seed))
    assert times.tolist() == [len({a, b}) for a, b in zip(seed, pollen, strict=True)]
    for fold, species in zip(folds, sorted({*seed, *pollen}), strict=True):
        assert all_of(fold) == list(range(len(seed)))
        assert all(species in {seed[i], pollen[i]} for i in fold.held)
        assert not any(species in {seed[i], pollen[i]} for i in fold.train)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(2019, 2024), max_size=30))
def test_only_seasons_before_are_learned_from(season):
    folds = by_season(season)
    assert len(folds) == max(len(set(season)) - 1, 0)
    later = [i for i, year in enumerate(season) if year > min(season)]
    assert sorted(np.concatenate([np.empty(0, int), *(fold.held for fold in folds)]).tolist()) == later
    for fold in folds:
        [year] = {season[i] for i in fold.held}
        assert fold.train.tolist() == [i for i in range(len(season)) if season[i] < year]


def test_more_pairs_than_can_be_taken_one_by_one_are_dealt_out_evenly():
    seed, pollen = np.triu_indices(12, 1)
    folds = by_pair([*seed, *pollen], [*pollen, *seed], most=40)
    assert [len(fold.held) for fold in folds] == [8] * 6 + [6] * 14
    assert len(by_pair(seed, pollen, most=66)) == 66


def test_more_species_than_can_be_taken_are_drawn_and_always_the_same():
    seed, pollen = np.triu_indices(12, 1)
    first, again = (by_species(seed, pollen, most=5) for _ in range(2))
    assert [fold.held.tolist() for fold in first] == [fold.held.tolist() for fold in again]
    assert [len(fold.held) for fold in first] == [11] * 5


@settings(max_examples=40, deadline=None)
@given(crosses())
def test_a_pair_has_one_number_both_ways_round(drawn):
    seed, pollen = drawn
    number, pairs = pair_numbers(seed, pollen), pairs_of(seed, pollen)
    assert number.tolist() == pair_numbers(pollen, seed).tolist()
    assert len({*zip(number, pairs, strict=True)}) == len({*number}) == len({*pairs})


@pytest.mark.parametrize("split", [by_pair, by_species])
def test_the_order_of_the_crosses_changes_no_fold(split):
    rng = np.random.default_rng(3)
    seed, pollen = rng.integers(0, 30, (2, 200))
    turned = rng.permutation(200)
    straight = {frozenset(fold.held.tolist()) for fold in split(seed, pollen, most=12)}
    shuffled = {frozenset(turned[fold.held].tolist()) for fold in split(seed[turned], pollen[turned], most=12)}
    assert straight == shuffled
