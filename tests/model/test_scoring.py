from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sklearn import metrics
from statsmodels.stats.proportion import proportion_confint

from crosscompat.model.scoring import (
    auc,
    brier,
    by_pair,
    by_season,
    by_species,
    calibration,
    log_loss,
    pair_numbers,
    scores,
    skill_interval,
)


@st.composite
def forecasts(draw):
    n = draw(st.integers(2, 30))
    grid = st.integers(1, 19).map(lambda k: k / 20)
    forecast = np.array(draw(st.lists(grid, min_size=n, max_size=n)))
    took = np.array(draw(st.lists(st.sampled_from([0.0, 1.0]), min_size=n, max_size=n)))
    weight = np.array(draw(st.lists(st.integers(1, 5).map(float), min_size=n, max_size=n)))
    return forecast, took, weight


@settings(max_examples=60, deadline=None)
@given(forecasts())
def test_the_scores_are_those_of_scikit_learn(drawn):
    forecast, took, weight = drawn
    assert log_loss(forecast, took, weight) == pytest.approx(
        metrics.log_loss(took, forecast, sample_weight=weight, labels=[0, 1])
    )
    assert brier(forecast, took, weight) == pytest.approx(
        metrics.brier_score_loss(took, forecast, sample_weight=weight, pos_label=1)
    )
    if 0 < took.sum() < len(took):
        assert auc(forecast, took, weight) == pytest.approx(metrics.roc_auc_score(took, forecast, sample_weight=weight))
    else:
        assert auc(forecast, took, weight) is None


@settings(max_examples=40, deadline=None)
@given(forecasts(), st.integers(1, 6))
def test_bins_hold_every_outcome_once_and_in_order(drawn, bins):
    forecast, took, weight = drawn
    found = calibration(forecast, took, weight, bins)
    assert len(found) <= bins
    assert sum(b.crosses for b in found) == weight.sum()
    assert sum(b.crosses * b.took for b in found) == pytest.approx(weight @ took)
    assert [b.chance for b in found] == sorted(b.chance for b in found)
    assert all(b.low <= b.took <= b.high for b in found)


def test_the_interval_of_a_share_is_wilsons():
    b = calibration(np.full(40, 0.3), np.array([1.0] * 14 + [0.0] * 26), np.ones(40))[0]
    assert (b.low, b.high) == pytest.approx(proportion_confint(14, 40, alpha=0.1, method="wilson"))


def test_a_forecast_that_was_certain_and_wrong_costs_much_but_not_everything():
    assert 20 < log_loss(np.array([0.0]), np.array([1.0]), np.ones(1)) < 40


def test_the_base_rate_has_no_skill():
    took, rate = np.array([1.0, 0.0, 0.0, 1.0]), np.full(4, 0.5)
    assert scores(rate, took, np.ones(4), rate, np.arange(4)).skill == 0
    assert scores(rate, np.ones(4), np.ones(4), np.ones(4), np.arange(4)).skill is None


def test_no_forecasts_make_no_bins():
    assert calibration(np.array([]), np.array([]), np.array([])) == []


def test_the_interval_of_the_skill_is_that_of_skills_without_one_group_each():
    """The jackknife written out, with the published quantile of Student's t for 4 degrees of freedom, 2.132."""
    rng = np.random.default_rng(5)
    group = np.array([7, 0, 0, 3, 3, 3, 1, 1, 5])
    forecast, took, weight = rng.random(9), np.array([1.0, 0, 1, 0, 1, 0, 0, 1, 1]), rng.integers(1, 4, 9).astype(float)
    rate = np.full(9, 0.4)
    keep = [group != one for one in (0, 1, 3, 5, 7)]
    skills = np.array([1 - brier(forecast[k], took[k], weight[k]) / brier(rate[k], took[k], weight[k]) for k in keep])
    error = np.sqrt(4 / 5 * np.sum((skills - skills.mean()) ** 2))
    scored = scores(forecast, took, weight, rate, group)
    skill, low, high = scored.skill, scored.skill_low, scored.skill_high
    assert (skill - low) / error == pytest.approx(2.132, abs=5e-4)
    assert high == pytest.approx(min(1.0, skill + skill - low))


@pytest.mark.parametrize("took", [[1.0, 1.0], [1.0, 0.0]])
def test_one_group_or_nothing_to_save_has_no_interval(took):
    took, one = np.array(took), np.zeros(2, dtype=np.int64)
    assert skill_interval(np.full(2, 0.5), took, np.ones(2), np.full(2, 0.4), one) is None
    assert skill_interval(np.full(2, 0.5), took, np.ones(2), took, np.arange(2)) is None


@pytest.mark.parametrize("groups", [4, 12])
def test_the_interval_of_the_skill_holds_the_skill_of_endless_crosses(groups):
    """In 90 of 100 draws of pairs whose crosses share their chance, give or take three standard errors."""
    rng = np.random.default_rng(2)

    def draw(size):
        logit = rng.normal(0.2, 1.2, size)
        group = np.repeat(np.arange(size), rng.integers(1, 5, size))
        said = 1 / (1 + np.exp(-(0.8 * logit + rng.normal(0, 0.6, size))))[group]
        took = (rng.random(group.size) < 1 / (1 + np.exp(-logit[group]))).astype(float)
        return said, took, np.ones(group.size), np.full(group.size, 0.55), group

    truth = scores(*draw(100_000)).skill
    held = np.mean([low <= truth <= high for low, high in (skill_interval(*draw(groups)) for _ in range(1000))])
    assert 0.90 - 3 * np.sqrt(0.09 / 1000) < held < 0.90 + 3 * np.sqrt(0.09 / 1000)


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
