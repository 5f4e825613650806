from __future__ import annotations

import numpy as np
import pytest
from sklearn.base import clone
from sklearn.linear_model import LogisticRegression
from sklearn.utils.estimator_checks import parametrize_with_checks

from crosscompat.model.estimator import PriorLogisticRegression


@parametrize_with_checks([PriorLogisticRegression(), PriorLogisticRegression(prior_sd=1.0, intercept_sd=3.0)])
@pytest.mark.filterwarnings("ignore::sklearn.exceptions.SkipTestWarning")
def test_it_follows_the_rules_of_scikit_learn(estimator, check):
    check(estimator)


@pytest.fixture
def table():
    rng = np.random.default_rng(7)
    rows = rng.normal(size=(200, 3))
    return rows, (rng.random(200) < 1 / (1 + np.exp(-rows @ [1.0, -2.0, 0.0]))).astype(int)


def test_equal_to_ridge_logistic_regression(table):
    rows, took = table
    judge = LogisticRegression(C=1.7**2, tol=1e-10).fit(rows, took)
    ours = PriorLogisticRegression(prior_sd=1.7).fit(rows, took)
    assert ours.coef_ == pytest.approx(judge.coef_, abs=1e-6)
    assert ours.predict_proba(rows) == pytest.approx(judge.predict_proba(rows), abs=1e-6)


def test_a_prior_mean_draws_a_coefficient_to_it(table):
    rows, took = table
    drawn = PriorLogisticRegression(prior_mean=[0.0, 0.0, 5.0], prior_sd=[2.5, 2.5, 0.01]).fit(rows, took)
    assert drawn.coef_[0, 2] == pytest.approx(5.0, abs=0.05)


def test_a_copy_has_the_settings_and_nothing_learned(table):
    copy = clone(PriorLogisticRegression(prior_sd=0.5).fit(*table))
    assert copy.get_params()["prior_sd"] == 0.5
    assert not hasattr(copy, "coef_")


def test_classes_keep_their_words(table):
    rows, took = table
    words = np.where(took == 1, "took", "failed")
    fitted = PriorLogisticRegression().fit(rows, words)
    assert list(fitted.classes_) == ["failed", "took"]
    assert set(fitted.predict(rows)) == {"failed", "took"}
