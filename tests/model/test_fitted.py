from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.model.composition import SeedsPerPod, prior_shares
from crosscompat.model.fitted import design_of, fit_crosses, prior_model, prior_step, training_moments
from crosscompat.model.likelihood import Counts
from crosscompat.model.pairings import Parents
from crosscompat.model.prior import centre_of, published, spread_of
from crosscompat.model.training_set import step_counts
from crosscompat.pairing import DistanceScale, Feature, Recipe
from crosscompat.stages import STAGES, STEPS, WHOLE

SCALE = DistanceScale(2.0, (("linear", 1.0, 0.5),))
PLAIN = Recipe((Feature("linear"),), SCALE)
RECIPE = Recipe((Feature("linear"), Feature("both", "spines"), Feature("lower", "2n")), SCALE)
SEEDS = SeedsPerPod(20.0, 1.0)


def pairings(rng, n, *, gaps=0.0):
    rows = np.column_stack([rng.random(n), rng.integers(0, 2, n), rng.integers(0, 2, n)]).astype(float)
    rows[:, 1:][rng.random((n, 2)) < gaps] = np.nan
    return rows


def chance(logit):
    return 1 / (1 + np.exp(-logit))


def test_no_records_give_the_prior_back():
    prior = published().prior_for(RECIPE.features)
    none = step_counts({}, np.empty(0), dict.fromkeys(STAGES, 0.0))
    parents, nothing = Parents([], []), np.empty((0, 3))
    learned = fit_crosses(
        RECIPE, nothing, none, np.empty(0), parents=parents, pod=(20.0, None), took=0, finished=0
    )  # fmt: skip
    for model in (prior_model(RECIPE, SEEDS), learned):
        assert model.steps == ()
        assert model.prior.mean.tolist() == prior.mean.tolist()
        assert model.seeds.mean == 20
        assert model.means == pytest.approx(centre_of(RECIPE.features))
        assert model.variances == pytest.approx(spread_of(RECIPE.features))
        assert (model.seen.crosses, model.seen.species) == (0, ())
        whole = prior_step(model, WHOLE)
        assert whole.mean.tolist() == prior.mean.tolist()
        assert whole.covariance == pytest.approx(np.diag(prior.sd**2))


@pytest.mark.parametrize("step", [step for step in STEPS if step != WHOLE])
def test_a_step_before_any_cross_differs_from_its_share_by_nothing_that_is_known(step):
    model = prior_model(RECIPE, SEEDS)
    fit, share = prior_step(model, step), prior_shares(SEEDS)[step]
    assert not fit.mean.any()
    assert np.diag(fit.covariance) == pytest.approx((share * model.prior.sd) ** 2)
    seed, *_, record = np.sqrt(fit.variances)
    assert seed == pytest.approx(share * model.scales["seed"])
    assert record == published().effect_scales(step)["record"]


def test_a_step_is_fitted_where_a_cross_was_counted_at_it():
    """And only there: flowers counted one by one are of the whole, and four stages are four fits."""
    counts = {name: np.array(column, dtype=float) for name, column in {
        "units": [4, 6, np.nan], "pods_set": [4, 5, np.nan], "pods_held": [2, 5, np.nan], "seeds": [30, 60, np.nan],
        "seeds_filled": [20, 50, np.nan], "seeds_sown": [20, np.nan, np.nan], "seedlings": [9, np.nan, np.nan],
        "tried": [np.nan, np.nan, 3], "took": [np.nan, np.nan, 0],
    }.items()}  # fmt: skip
    told = step_counts(counts, np.full(3, 400.0), dict.fromkeys(STAGES, 0.0))
    model = fit_crosses(
        PLAIN, np.zeros((3, 1)), told, np.ones(3), parents=Parents(["a", "b", "c"], ["b", "c", "a"]), pod=(8.0, None),
        took=1, finished=2,
    )  # fmt: skip
    assert [fit.step for fit in model.steps] == [*STAGES, WHOLE]
    assert {fit.step: fit.past.record.tolist() for fit in model.steps} == {
        "set": [0, 1], "hold": [0, 1], "fill": [0, 1], "germinate": [0], "whole": [2],
    }  # fmt: skip
    assert model.seeds.mean == pytest.approx((90 + 8) / (7 + 1))
    assert model.fit_of("pod") is None


def test_half_a_record_moves_half_as_much_as_none_to_all():
    told = step_counts({"units": np.full(30, 3.0), "pods_set": np.r_[np.zeros(20), np.full(10, 3.0)]},
                       np.full(30, 400.0), dict.fromkeys(STAGES, 0.0))  # fmt: skip
    parents = Parents([f"s{i % 5}" for i in range(30)], [f"s{(i + 1 + i // 10) % 5}" for i in range(30)])
    none, half, whole = (
        fit_crosses(
            PLAIN, np.zeros((30, 1)), told, np.where(np.arange(30) < 20, 1.0, share), parents=parents, pod=(8.0, None),
            took=0, finished=0,
        ).steps[0].mean[0]
        for share in (1e-9, 0.5, 1.0)
    )  # fmt: skip
    assert none < half < whole


def test_complete_rows_are_read_as_an_intercept_and_centred_features():
    rows = pairings(np.random.default_rng(1), 30)
    design = np.column_stack([np.ones(30), rows - [0.0, 0.5, 0.0]])
    assert design_of(RECIPE, rows, training_moments(RECIPE, rows)[0]) == pytest.approx(design)


def test_an_unknown_number_is_put_at_the_mean_of_the_known_ones():
    rows = pairings(np.random.default_rng(2), 40, gaps=0.3)
    before = rows.copy()
    means, _ = training_moments(RECIPE, rows)
    assert means == pytest.approx(np.nanmean(rows, axis=0))
    filled = np.where(np.isnan(rows), np.nanmean(rows, axis=0), rows)
    np.testing.assert_array_equal(design_of(RECIPE, rows, means), design_of(RECIPE, filled, means))
    np.testing.assert_array_equal(rows, before)


@pytest.mark.parametrize(("known", "mean"), [(4, 0.5), (5, 1.0)])
def test_a_mean_needs_five_known_numbers(known, mean):
    rows = np.column_stack([np.full(8, 0.3), np.where(np.arange(8) < known, 1.0, np.nan), np.zeros(8)])
    means, variances = training_moments(RECIPE, rows)
    assert means[1] == mean
    assert variances[1] == pytest.approx(0.25 if known < 5 else 0.25 / 4)  # never taken for certain


def test_a_feature_that_is_unknown_throughout_keeps_its_prior(fit_plain):
    rng = np.random.default_rng(3)
    rows = pairings(rng, 20)
    rows[:, 1] = np.nan
    stage = fit_plain(RECIPE, rows, Counts.of(np.ones(20), rng.random(20) < 0.5)).steps[0]
    prior = published().prior_for(RECIPE.features)
    assert stage.mean[2] == pytest.approx(prior.mean[2])
    assert stage.covariance[2, 2] == pytest.approx(prior.sd[2] ** 2)


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000))
def test_the_order_of_records_does_not_matter(fit_plain, seed):
    rng = np.random.default_rng(seed)
    rows, tried = pairings(rng, 15, gaps=0.2), rng.integers(1, 5, 15)
    took = rng.binomial(tried, 0.5)
    turn = rng.permutation(15)
    one = fit_plain(RECIPE, rows, Counts.of(tried, took))
    other = fit_plain(RECIPE, rows[turn], Counts.of(tried[turn], took[turn]))
    assert other.steps[0].mean == pytest.approx(one.steps[0].mean, abs=1e-7)


def test_weights_are_repeated_rows(fit_plain):
    rng = np.random.default_rng(5)
    rows, tried = pairings(rng, 20), rng.integers(1, 5, 20)
    took = rng.binomial(tried, 0.5)
    times = rng.integers(1, 4, 20)
    weighted = fit_plain(RECIPE, rows, Counts.of(tried, took, weight=times))
    repeated = fit_plain(
        RECIPE, np.repeat(rows, times, axis=0), Counts.of(np.repeat(tried, times), np.repeat(took, times))
    )
    assert weighted.steps[0].mean == pytest.approx(repeated.steps[0].mean, abs=1e-8)


def test_it_learns_that_nearer_pairs_do_better(fit_plain):
    """Common practice, no source."""
    rng = np.random.default_rng(6)
    distance = rng.random(60)
    took = rng.random(60) < chance(2 - 5 * distance)
    stage = fit_plain(PLAIN, distance[:, None], Counts.of(np.ones(60), took)).steps[0]
    assert stage.mean[1] + 2 * np.sqrt(stage.covariance[1, 1]) < 0


def test_it_learns_that_shared_paired_spines_speak_for_a_pairing(fit_plain):
    """Common practice, no source; beyond what the prior says, and against it where the data show the opposite."""
    recipe = Recipe((Feature("linear"), Feature("both", "spines paired")), SCALE)
    rng = np.random.default_rng(7)
    rows = np.column_stack([rng.random(80), rng.integers(0, 2, 80)]).astype(float)
    prior = published().prior_for(recipe.features).mean[2]
    for slope in (2.5, -2.5):
        took = rng.random(80) < chance(0.5 + slope * (rows[:, 1] - 0.5) - 2 * (rows[:, 0] - 0.5))
        learned = fit_plain(recipe, rows, Counts.of(np.ones(80), took)).steps[0].mean[2]
        assert learned > 2 * prior if slope > 0 else learned < 0
