from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.model.fitted import Seen, fit_model, prior_model
from crosscompat.model.laplace import GaussianPrior, fit_posterior
from crosscompat.model.likelihood import Counts
from crosscompat.model.prior import centre_of, prior_for, spread_of
from crosscompat.pairing import Feature, Recipe

PLAIN = Recipe((Feature("distance"),), 1.0)
RECIPE = Recipe((Feature("distance"), Feature("both", "spines"), Feature("lower", "2n")), 2.0, "My")


def pairings(rng, n, *, gaps=0.0):
    rows = np.column_stack([rng.random(n), rng.integers(0, 2, n), rng.integers(0, 2, n)]).astype(float)
    rows[:, 1:][rng.random((n, 2)) < gaps] = np.nan
    return rows


def chance(logit):
    return 1 / (1 + np.exp(-logit))


def test_no_records_give_the_prior_back():
    for model in (prior_model(RECIPE), fit_model(RECIPE, np.empty((0, 3)), Counts.of([], []))):
        prior = prior_for("plain", RECIPE.features)
        [stage] = model.stages
        assert stage.stage == "plain"
        assert stage.mean == pytest.approx(prior.mean, abs=1e-12)
        assert stage.covariance == pytest.approx(np.diag(prior.sd**2), abs=1e-12)
        assert model.means == pytest.approx(centre_of(RECIPE.features))
        assert model.variances == pytest.approx(spread_of(RECIPE.features))
        assert model.seen == Seen()


def test_complete_rows_are_the_logistic_regression_on_centred_features():
    rng = np.random.default_rng(1)
    rows, tried = pairings(rng, 30), rng.integers(1, 6, 30)
    counts = Counts.of(tried, rng.binomial(tried, 0.4))
    model = fit_model(RECIPE, rows, counts)
    design = np.column_stack([np.ones(30), rows - [0.5, 0.5, 0.0]])
    judge = fit_posterior(design, counts, prior_for("plain", RECIPE.features))
    assert model.stages[0].mean == pytest.approx(judge.mean)
    assert model.stages[0].covariance == pytest.approx(judge.covariance)


def test_an_unknown_number_is_put_at_the_mean_of_the_known_ones():
    rng = np.random.default_rng(2)
    rows = pairings(rng, 40, gaps=0.3)
    counts = Counts.of(np.ones(40), rng.random(40) < 0.5)
    model = fit_model(RECIPE, rows, counts)
    assert model.means == pytest.approx(np.nanmean(rows, axis=0))
    filled = np.where(np.isnan(rows), np.nanmean(rows, axis=0), rows)
    assert model.stages[0].mean == pytest.approx(fit_model(RECIPE, filled, counts).stages[0].mean)


@pytest.mark.parametrize(("known", "mean"), [(4, 0.5), (5, 1.0)])
def test_a_mean_needs_five_known_numbers(known, mean):
    rows = np.column_stack([np.full(8, 0.3), np.where(np.arange(8) < known, 1.0, np.nan), np.zeros(8)])
    model = fit_model(RECIPE, rows, Counts.of(np.ones(8), np.zeros(8)))
    assert model.means[1] == mean
    assert model.variances[1] == pytest.approx(0.25 if known < 5 else 0.25 / 4)  # never taken for certain


def test_a_feature_that_is_unknown_throughout_keeps_its_prior():
    rng = np.random.default_rng(3)
    rows = pairings(rng, 20)
    rows[:, 1] = np.nan
    stage = fit_model(RECIPE, rows, Counts.of(np.ones(20), rng.random(20) < 0.5)).stages[0]
    prior = prior_for("plain", RECIPE.features)
    assert stage.mean[2] == pytest.approx(prior.mean[2])
    assert stage.covariance[2, 2] == pytest.approx(prior.sd[2] ** 2)


def test_what_was_seen_is_kept():
    rows = np.array([[0.2, 1, 0], [1.0, 0, 0], [0.7, np.nan, 1]])
    counts = Counts.of([3, 4, 2], [0, 2, 2], some=[False, False, True])
    assert fit_model(RECIPE, rows, counts, species=("b", "a")).seen == Seen(3, 2, 1.0, ("a", "b"))


def test_the_records_are_not_changed():
    rows = pairings(np.random.default_rng(4), 12, gaps=0.4)
    before = rows.copy()
    fit_model(RECIPE, rows, Counts.of(np.ones(12), np.zeros(12)))
    np.testing.assert_array_equal(rows, before)


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000))
def test_the_order_of_records_does_not_matter(seed):
    rng = np.random.default_rng(seed)
    rows, tried = pairings(rng, 15, gaps=0.2), rng.integers(1, 5, 15)
    took = rng.binomial(tried, 0.5)
    turn = rng.permutation(15)
    one = fit_model(RECIPE, rows, Counts.of(tried, took))
    other = fit_model(RECIPE, rows[turn], Counts.of(tried[turn], took[turn]))
    assert other.stages[0].mean == pytest.approx(one.stages[0].mean, abs=1e-7)


def test_weights_are_repeated_rows():
    rng = np.random.default_rng(5)
    rows, tried = pairings(rng, 20), rng.integers(1, 5, 20)
    took = rng.binomial(tried, 0.5)
    times = rng.integers(1, 4, 20)
    weighted = fit_model(RECIPE, rows, Counts.of(tried, took, weight=times))
    repeated = fit_model(
        RECIPE, np.repeat(rows, times, axis=0), Counts.of(np.repeat(tried, times), np.repeat(took, times))
    )
    assert weighted.stages[0].mean == pytest.approx(repeated.stages[0].mean, abs=1e-8)


def test_another_prior_may_be_given():
    tight = GaussianPrior(np.array([1.0, 2.0]), np.full(2, 1e-4))
    model = fit_model(PLAIN, np.array([[0.5]]), Counts.of([9], [0]), prior=tight)
    assert model.stages[0].mean == pytest.approx(tight.mean, abs=1e-3)


def test_the_weak_prior_lets_twenty_crosses_turn_the_slope():
    """True slope +3 a unit of relative distance, against the prior's -1.5: positive in 85 of 100 and more."""
    rng = np.random.default_rng(20)
    positive = 0
    for _ in range(100):
        distance = rng.random(20)
        took = rng.random(20) < chance(-1.5 + 3 * distance)
        positive += fit_model(PLAIN, distance[:, None], Counts.of(np.ones(20), took)).stages[0].mean[1] > 0
    assert positive >= 85


def test_it_learns_that_nearer_pairs_do_better():
    """Common practice, no source."""
    rng = np.random.default_rng(6)
    distance = rng.random(60)
    took = rng.random(60) < chance(2 - 5 * distance)
    stage = fit_model(PLAIN, distance[:, None], Counts.of(np.ones(60), took)).stages[0]
    assert stage.mean[1] + 2 * np.sqrt(stage.covariance[1, 1]) < 0


def test_it_learns_that_shared_paired_spines_speak_for_a_pairing():
    """Common practice, no source; beyond what the prior says, and against it where the data show the opposite."""
    recipe = Recipe((Feature("distance"), Feature("both", "spines paired")), 1.0)
    rng = np.random.default_rng(7)
    rows = np.column_stack([rng.random(80), rng.integers(0, 2, 80)]).astype(float)
    prior = prior_for("plain", recipe.features).mean[2]
    for slope in (2.5, -2.5):
        took = rng.random(80) < chance(0.5 + slope * (rows[:, 1] - 0.5) - 2 * (rows[:, 0] - 0.5))
        learned = fit_model(recipe, rows, Counts.of(np.ones(80), took)).stages[0].mean[2]
        assert learned > 2 * prior if slope > 0 else learned < 0
