"""The logistic regression inside, as a scikit-learn estimator."""

from __future__ import annotations

from typing import Any, Self

import numpy as np
from numpy.typing import ArrayLike
from sklearn.base import BaseEstimator, ClassifierMixin
from sklearn.utils.multiclass import check_classification_targets
from sklearn.utils.validation import _check_sample_weight, check_is_fitted, validate_data

from crosscompat.model.gaussian import GaussianPrior
from crosscompat.model.inference import fit_posterior
from crosscompat.model.likelihood import Counts, Floats

__all__ = ["PriorLogisticRegression"]

_TWO = 2


class PriorLogisticRegression(ClassifierMixin, BaseEstimator):  # type: ignore[misc]
    """Logistic regression with a normal prior on every coefficient, fitted by Laplace's method.

    Parameters
    ----------
    prior_mean, prior_sd : float or array_like of float, shape (n_features,)
        Normal prior of the coefficients; an infinite sd leaves a coefficient free.
    intercept_mean, intercept_sd : float
        Normal prior of the intercept.

    Attributes
    ----------
    classes_ : ndarray, shape (2,)
        The two outcomes; ``predict_proba`` follows their order.
    coef_, intercept_ : ndarray of float, shape (1, n_features) and (1,)
    covariance_ : ndarray of float, shape (1 + n_features, 1 + n_features)
        Posterior covariance, the intercept first.
    n_features_in_, n_iter_ : int

    Notes
    -----
    With ``prior_mean=0``, one common ``prior_sd`` and a free intercept the mode is the ridge solution of
    :class:`sklearn.linear_model.LogisticRegression` with ``C = prior_sd ** 2``.

    Examples
    --------
    >>> near_takes = PriorLogisticRegression(intercept_sd=10.0).fit([[0.0], [0.1], [0.9], [1.0]], [1, 1, 0, 0])
    >>> near_takes.predict([[0.2], [0.8]])
    array([1, 0])
    """

    def __init__(
        self,
        *,
        prior_mean: float | ArrayLike = 0.0,
        prior_sd: float | ArrayLike = 2.5,
        intercept_mean: float = 0.0,
        intercept_sd: float = np.inf,
    ) -> None:
        self.prior_mean = prior_mean
        self.prior_sd = prior_sd
        self.intercept_mean = intercept_mean
        self.intercept_sd = intercept_sd

    def fit(self, X: ArrayLike, y: ArrayLike, sample_weight: ArrayLike | None = None) -> Self:  # noqa: N803
        """Fit to rows of features and one of two outcomes each.

        Parameters
        ----------
        X : array_like of float, shape (n_samples, n_features)
            No missing values.
        y : array_like, shape (n_samples,)
            Two classes; the larger is "took".
        sample_weight : array_like of float, shape (n_samples,), optional
            How often each row counts.
        """
        rows, outcomes = validate_data(self, X, y, dtype=np.float64)
        check_classification_targets(outcomes)
        weight = _check_sample_weight(sample_weight, rows, dtype=np.float64)
        self.classes_, took = np.unique(outcomes, return_inverse=True)
        _need_two_classes(outcomes, outcomes[weight > 0])
        counts = Counts.of(np.ones(len(rows)), took, weight=weight)
        design = np.column_stack([np.ones(len(rows)), rows])
        posterior = fit_posterior(design, counts, self._prior(rows.shape[1]))
        self.intercept_, self.coef_ = posterior.mean[:1], posterior.mean[None, 1:]
        self.covariance_, self.n_iter_ = posterior.covariance, posterior.steps
        return self

    def decision_function(self, X: ArrayLike) -> Floats:  # noqa: N803
        """Return the logit of "took" at the mode, shape (n_samples,)."""
        check_is_fitted(self)
        rows = validate_data(self, X, dtype=np.float64, reset=False)
        logit: Floats = rows @ self.coef_[0] + self.intercept_[0]
        return logit

    def predict_proba(self, X: ArrayLike) -> Floats:  # noqa: N803
        """Return the chance of each class at the mode, shape (n_samples, 2)."""
        logit = self.decision_function(X)
        return np.column_stack([np.exp(-np.logaddexp(0.0, logit)), np.exp(-np.logaddexp(0.0, -logit))])

    def predict(self, X: ArrayLike) -> Any:  # noqa: N803
        """Return the likelier class of each row, shape (n_samples,)."""
        took = self.decision_function(X) > 0
        return self.classes_[took.astype(int)]

    def _prior(self, n_features: int) -> GaussianPrior:
        mean = np.broadcast_to(np.asarray(self.prior_mean, dtype=np.float64), n_features)
        sd = np.broadcast_to(np.asarray(self.prior_sd, dtype=np.float64), n_features)
        return GaussianPrior(np.append(self.intercept_mean, mean), np.append(self.intercept_sd, sd))

    def __sklearn_tags__(self) -> Any:
        tags = super().__sklearn_tags__()
        tags.classifier_tags.multi_class = False
        return tags


def _need_two_classes(outcomes: Any, counted: Any) -> None:
    for seen in (outcomes, counted):
        classes = len(np.unique(seen))
        if classes != _TWO:
            raise ValueError(
                "Only binary classification is supported: the outcomes that count must be of two classes, "
                f"got {classes} class(es)"
            )
