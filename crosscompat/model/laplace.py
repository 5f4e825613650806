"""The posterior of a logistic regression with a Gaussian prior, by Laplace's method.

The mode is found by Newton's method with step halving; the posterior is taken as the Gaussian with the mode as its
mean and the inverse curvature there as its covariance [1]_.

References
----------
.. [1] Tierney L, Kadane JB (1986). Accurate approximations for posterior moments and marginal densities. Journal of
   the American Statistical Association 81:82-86.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crosscompat.model.likelihood import Counts, Floats, curvature, log_likelihood, score

__all__ = ["GaussianPrior", "NotConverged", "Posterior", "fit_posterior"]

_MOST_STEPS = 200
_SETTLED = 1e-10
_FLAT = 1e-7


class NotConverged(ArithmeticError):
    """The mode runs away: without a prior, the data separate takes from failures."""


@dataclass(frozen=True, slots=True)
class GaussianPrior:
    """Independent normal priors, one a coefficient; an infinite ``sd`` leaves the coefficient free.

    Attributes
    ----------
    mean, sd : ndarray of float, shape (n_coefficients,)
    """

    mean: Floats
    sd: Floats

    @property
    def precision(self) -> Floats:
        """Inverse variances, 0 for a free coefficient."""
        return 1.0 / np.square(self.sd)


@dataclass(frozen=True, slots=True)
class Posterior:
    """A Gaussian over the coefficients.

    Attributes
    ----------
    mean : ndarray of float, shape (n_coefficients,)
    covariance : ndarray of float, shape (n_coefficients, n_coefficients)
    steps : int
        Newton steps taken.
    """

    mean: Floats
    covariance: Floats
    steps: int


def fit_posterior(design: Floats, counts: Counts, prior: GaussianPrior) -> Posterior:
    """Return the Laplace posterior of logit p = design @ coefficients.

    Parameters
    ----------
    design : ndarray of float, shape (n_records, n_coefficients)
        No missing values. No records at all give the prior back.
    counts : Counts
        What was counted, one entry a row of ``design``.
    prior : GaussianPrior
        Prior mean and sd of each coefficient.

    Raises
    ------
    NotConverged
        If the mode is not found, which happens only to free coefficients of separated data.

    Examples
    --------
    With a free intercept alone the mode is the logit of the share that took, and the variance 1 / (n p (1 - p)).

    >>> import numpy as np
    >>> free = GaussianPrior(np.array([0.0]), np.array([np.inf]))
    >>> posterior = fit_posterior(np.ones((1, 1)), Counts.of([4], [3]), free)
    >>> bool(np.isclose(posterior.mean[0], np.log(3))), round(float(posterior.covariance[0, 0]), 6)
    (True, 1.333333)
    """
    mode = prior.mean.copy()
    height = _height(mode, design, counts, prior)
    for steps in range(1, _MOST_STEPS + 1):
        gradient, hessian = _slopes(mode, design, counts, prior)
        move = _solve(hessian, gradient)
        gain = float(gradient @ move)
        mode, height = _step(mode, move, height, design, counts, prior)
        if gain < _SETTLED:
            _, hessian = _slopes(mode, design, counts, prior)
            _refuse_a_plateau(hessian, _slopes(prior.mean, design, counts, prior)[1])
            return Posterior(mode, _inverse(hessian), steps)
    raise NotConverged("the likelihood has no mode; give every coefficient a prior with a finite sd")


def _height(at: Floats, design: Floats, counts: Counts, prior: GaussianPrior) -> float:
    away = at - prior.mean
    return log_likelihood(design @ at, counts) - 0.5 * float(away @ (prior.precision * away))


def _slopes(at: Floats, design: Floats, counts: Counts, prior: GaussianPrior) -> tuple[Floats, Floats]:
    eta = design @ at
    gradient = design.T @ score(eta, counts) - prior.precision * (at - prior.mean)
    root = np.sqrt(curvature(eta, counts))[:, None] * design
    return gradient, root.T @ root + np.diag(prior.precision)


def _step(
    at: Floats, move: Floats, height: float, design: Floats, counts: Counts, prior: GaussianPrior
) -> tuple[Floats, float]:
    """Go the largest halving of ``move`` that does not lose height."""
    share = 1.0
    while share > 1e-12:  # noqa: PLR2004 - below this the step is rounding noise
        there = at + share * move
        reached = _height(there, design, counts, prior)
        if reached >= height - 1e-13 * abs(height):
            return there, reached
        share /= 2
    return at, height


def _refuse_a_plateau(hessian: Floats, at_start: Floats) -> None:
    """Separated data have no mode but a plateau, on which the curvature of a free coefficient dies away."""
    if np.any(np.diag(hessian) < _FLAT * np.diag(at_start)):
        raise NotConverged("takes and failures separate; give every coefficient a prior with a finite sd")


def _solve(hessian: Floats, gradient: Floats) -> Floats:
    try:
        return np.asarray(np.linalg.solve(hessian, gradient), dtype=np.float64)
    except np.linalg.LinAlgError:
        raise NotConverged("two coefficients cannot be told apart; give each a prior with a finite sd") from None


def _inverse(hessian: Floats) -> Floats:
    half = np.linalg.inv(np.linalg.cholesky(hessian))
    return np.asarray(half.T @ half, dtype=np.float64)
