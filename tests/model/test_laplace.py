from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sklearn.linear_model import LogisticRegression

from crosscompat.model.gaussian import GaussianPrior, NotConverged
from crosscompat.model.inference import fit_posterior
from crosscompat.model.likelihood import Counts


def flat(k):
    return GaussianPrior(np.zeros(k), np.full(k, np.inf))


def simulated(seed, n, k):
    rng = np.random.default_rng(seed)
    design = np.column_stack([np.ones(n), rng.normal(size=(n, k - 1))])
    tried = rng.integers(1, 9, n)
    took = rng.binomial(tried, 1 / (1 + np.exp(-design @ rng.normal(size=k))))
    return design, tried, took


@pytest.mark.parametrize("seed", range(5))
def test_with_the_prior_off_it_is_the_binomial_glm_of_statsmodels(seed):
    import statsmodels.api as sm

    design, tried, took = simulated(seed, 60, 4)
    judge = sm.GLM(np.column_stack([took, tried - took]), design, family=sm.families.Binomial()).fit(tol=1e-14)
    posterior = fit_posterior(design, Counts.of(tried, took), flat(4))
    assert posterior.mean == pytest.approx(judge.params, abs=1e-7)
    assert np.sqrt(np.diag(posterior.covariance)) == pytest.approx(judge.bse, rel=1e-6)


@pytest.mark.parametrize("tau", [0.3, 1.0, 4.0])
@pytest.mark.parametrize("seed", range(3))
def test_with_one_sd_and_a_free_intercept_it_is_the_ridge_of_scikit_learn(seed, tau):
    design, tried, took = simulated(seed, 80, 4)
    rows = np.repeat(design[:, 1:], 2, axis=0)
    outcomes = np.tile([1, 0], len(design))
    weights = np.column_stack([took, tried - took]).ravel()
    judge = LogisticRegression(C=tau**2, tol=1e-10, max_iter=10_000).fit(rows, outcomes, sample_weight=weights)
    prior = GaussianPrior(np.zeros(4), np.array([np.inf, tau, tau, tau]))
    mode = fit_posterior(design, Counts.of(tried, took), prior).mean
    assert mode == pytest.approx(np.append(judge.intercept_, judge.coef_), abs=1e-6)


def test_no_records_give_the_prior_back():
    prior = GaussianPrior(np.array([-0.5, 2.0]), np.array([1.5, 0.25]))
    posterior = fit_posterior(np.empty((0, 2)), Counts.of([], []), prior)
    assert posterior.mean == pytest.approx(prior.mean)
    assert posterior.covariance == pytest.approx(np.diag(prior.sd**2))


def test_weights_are_repeated_rows():
    design, tried, took = simulated(3, 30, 3)
    prior = GaussianPrior(np.zeros(3), np.ones(3))
    twice = fit_posterior(np.vstack([design, design]), Counts.of(np.tile(tried, 2), np.tile(took, 2)), prior)
    weighted = fit_posterior(design, Counts.of(tried, took, weight=np.full(30, 2.0)), prior)
    assert weighted.mean == pytest.approx(twice.mean, abs=1e-9)
    assert weighted.covariance == pytest.approx(twice.covariance, abs=1e-9)


def test_pooled_counts_are_single_units():
    design, tried, took = simulated(4, 25, 3)
    prior = GaussianPrior(np.zeros(3), np.ones(3))
    singles = np.concatenate([np.arange(n) < k for n, k in zip(tried, took, strict=True)])
    one_by_one = fit_posterior(np.repeat(design, tried, axis=0), Counts.of(np.ones(len(singles)), singles), prior)
    assert fit_posterior(design, Counts.of(tried, took), prior).mean == pytest.approx(one_by_one.mean, abs=1e-9)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.floats(0.2, 5))
def test_stretching_a_feature_and_its_prior_changes_no_forecast(seed, factor):
    design, tried, took = simulated(seed, 20, 3)
    stretch = np.array([1.0, factor, 1.0])
    plain = fit_posterior(design, Counts.of(tried, took), GaussianPrior(np.zeros(3), np.ones(3)))
    stretched = fit_posterior(design * stretch, Counts.of(tried, took), GaussianPrior(np.zeros(3), 1 / stretch))
    assert stretched.mean * stretch == pytest.approx(plain.mean, abs=1e-6)


def test_the_answer_the_data_were_built_from_is_found():
    """Rows in a square with the exact expected counts put the free mode at the chosen coefficients."""
    design = np.array([[1.0, 0.0, 0.0], [1.0, 1.0, 0.0], [1.0, 0.0, 1.0], [1.0, 1.0, 1.0]])
    chosen = np.array([-0.7, 1.2, 0.4])
    tried = np.full(4, 1000.0)
    took = tried / (1 + np.exp(-design @ chosen))
    assert fit_posterior(design, Counts.of(tried, took), flat(3)).mean == pytest.approx(chosen, abs=1e-9)


def test_separated_data_without_a_prior_are_refused():
    design = np.column_stack([np.ones(6), np.arange(6.0)])
    with pytest.raises(NotConverged):
        fit_posterior(design, Counts.of(np.ones(6), np.arange(6) > 2), flat(2))


def test_separated_data_with_a_prior_stay_finite():
    design = np.column_stack([np.ones(6), np.arange(6.0)])
    posterior = fit_posterior(
        design, Counts.of(np.ones(6), np.arange(6) > 2), GaussianPrior(np.zeros(2), np.array([5.0, 2.5]))
    )
    assert np.isfinite(posterior.mean).all()
    assert 0 < posterior.mean[1] < 10


def test_some_of_n_moves_less_than_all_of_n_and_more_than_nothing():
    prior = GaussianPrior(np.zeros(1), np.ones(1))
    one = np.ones((1, 1))
    every = fit_posterior(one, Counts.of([5], [5]), prior).mean[0]
    some = fit_posterior(one, Counts.of([5], [5], some=[True]), prior).mean[0]
    assert 0 < some < every


def test_columns_that_cannot_be_told_apart_are_refused():
    design = np.ones((6, 2))
    with pytest.raises(NotConverged, match="told apart"):
        fit_posterior(design, Counts.of(np.full(6, 4), np.arange(6) % 3), flat(2))
