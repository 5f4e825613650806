"""The posterior mode of one stage at given variances, its Laplace evidence, and the slope of that evidence.

The mode is found by Newton's method with step halving, nested effects eliminated; the posterior is taken as the
Gaussian with the mode as its mean and the inverse curvature there as its covariance [1]_. Evidence and its gradient are
those of [2]_, sections 3.4 and 5.5.1, with grouped effects.

References
----------
.. [1] Tierney L, Kadane JB (1986). Accurate approximations for posterior moments and marginal densities. Journal of
   the American Statistical Association 81:82-86.
.. [2] Rasmussen CE, Williams CKI (2006). Gaussian Processes for Machine Learning. MIT Press.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crosscompat.model.effects import GaussianPrior
from crosscompat.model.gaussian import Gaussian, NotConverged, Prior, Scales, Stage, stage_of
from crosscompat.model.likelihood import Counts, Floats, derivatives, log_likelihood

__all__ = [
    "GaussianPrior",
    "Mode",
    "NotConverged",
    "Posterior",
    "Scales",
    "Stage",
    "evidence_slope",
    "expected_bend",
    "find_mode",
    "fit_posterior",
    "stage_of",
]

_MOST_STEPS = 200
_MOST_HALVINGS = 45
_SETTLED = 1e-12
_FLAT = 1e-7


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


@dataclass(frozen=True, slots=True)
class Mode:
    """A Gaussian for one stage at given scales, about the mode or, refined, about the mean.

    Attributes
    ----------
    scales : Scales
    eta : ndarray of float, shape (n_records,)
        Logits of the records.
    a, theta : ndarray of float, shape (q,)
        Columns in units of their prior scales, and as they are (less the prior mean of the coefficients).
    gradient, curvature, slope : ndarray of float, shape (n_records,)
        Of the log likelihood at ``eta``; ``slope`` is that of the curvature. A nested effect is its variance times the
        gradient summed over its group.
    gaussian : Gaussian
        The posterior.
    evidence : float
        Log evidence, without binomial coefficients; per free coefficient up to a constant.
    steps : int
        Newton steps taken.
    """

    scales: Scales
    eta: Floats
    a: Floats
    theta: Floats
    gradient: Floats
    curvature: Floats
    slope: Floats
    gaussian: Gaussian
    evidence: float
    steps: int = 0


def fit_posterior(design: Floats, counts: Counts, prior: GaussianPrior) -> Posterior:
    """Fit a logistic regression with independent normal priors.

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
    stage = stage_of(counts, design, prior)
    mode = find_mode(stage, Scales(np.empty(0)))
    return Posterior(stage.mean + mode.theta, mode.gaussian.covariance, mode.steps)


@dataclass(frozen=True, slots=True)
class _State:
    """A point on the way to the mode, and its height."""

    a: Floats
    residual: Floats
    eta: Floats
    height: float


def find_mode(stage: Stage, scales: Scales, start: Mode | None = None) -> Mode:
    """Find the mode by Newton's method with step halving.

    Parameters
    ----------
    stage : Stage
    scales : Scales
    start : Mode, optional
        A mode at neighbouring scales; the prior mean if absent.

    Raises
    ------
    NotConverged
        If there is no mode: free coefficients, and outcomes that separate or columns that cannot be told apart.
    """
    prior = Prior(stage, scales)
    begin = (start.a, start.gradient) if start else (np.zeros(stage.design.size), np.zeros(len(stage.x)))
    state = _state(prior, *begin)
    for steps in range(1, _MOST_STEPS + 1):
        gradient, curvature, _ = derivatives(state.eta, stage.counts)
        goal = prior.given(curvature).solve(curvature * (state.eta - prior.offset) + gradient)
        new = _halved(prior, state, *goal)
        gained, state = new.height - state.height, new
        if gained <= _SETTLED * (1.0 + abs(new.height)):
            return _finished(prior, state, steps)
    raise NotConverged("the likelihood has no mode; give every coefficient a prior with a finite sd")


def _state(prior: Prior, a: Floats, residual: Floats) -> _State:
    eta, energy = prior.logits(a, residual)
    return _State(a, residual, eta, log_likelihood(eta, prior.stage.counts) - energy)


def _halved(prior: Prior, old: _State, a: Floats, residual: Floats) -> _State:
    """Take the first of the full, half, quarter ... steps that does not go down."""
    step = 1.0
    for _ in range(_MOST_HALVINGS):
        new = _state(prior, old.a + step * (a - old.a), old.residual + step * (residual - old.residual))
        if new.height >= old.height - 1e-13 * (1.0 + abs(old.height)):
            return new
        step /= 2.0
    return old


def _finished(prior: Prior, state: _State, steps: int) -> Mode:
    """Curvature and evidence at the mode."""
    gradient, curvature, slope = derivatives(state.eta, prior.stage.counts)
    gaussian = prior.given(curvature)
    if prior.free.any():  # separated data have no mode but a plateau, on which the curvature dies away
        at_start = prior.given(derivatives(prior.offset, prior.stage.counts)[1])
        if np.any(gaussian.curvature < _FLAT * at_start.curvature):
            raise NotConverged("takes and failures separate; give every coefficient a prior with a finite sd")
    evidence = state.height - 0.5 * gaussian.logdet
    theta = prior.scale * state.a
    return Mode(prior.scales, state.eta, state.a, theta, gradient, curvature, slope, gaussian, evidence, steps)


def evidence_slope(stage: Stage, mode: Mode) -> tuple[Floats, float, Floats]:
    """Return the slope of the log evidence in the log of each sd, in the share lambda, and in each record's offset.

    Returns
    -------
    by_log_sd : ndarray of float, shape (n_factors,)
    by_share : float
    by_offset : ndarray of float, shape (n_records,)
    """
    design, scales = stage.design, mode.scales
    answer = _answer(mode)
    pulled = design.to_columns(mode.gradient)
    both = pulled + 2.0 * design.to_columns(answer)
    by_log_sd, by_share = np.zeros(len(stage.factors)), 0.0
    learned = _learned(stage, mode)
    for i, (factor, block, sd) in enumerate(zip(stage.factors, design.blocks, scales.sds, strict=True)):
        if factor.nested:
            nest = design.nested[design.chain.index(i)]
            pull = nest.sums(mode.gradient)
            by_log_sd[i] = sd**2 * (pull @ (pull + 2.0 * nest.sums(answer))) - learned[i].sum()
            continue
        plain = float(pulled[block] @ both[block])
        by_log_sd[i] = sd**2 * plain - learned[i].sum()
        if factor.kinship is not None:
            more = sd**2 * (float(pulled[block] @ factor.kinship.matrix @ both[block]) - plain)
            by_log_sd[i] += scales.share * more
            by_share += 0.5 * (more - float(learned[i] @ factor.kinship.tilt(scales.share)))
    return by_log_sd, by_share, mode.gradient + answer


def expected_bend(stage: Stage, mode: Mode) -> Floats:
    """Return about how much the log evidence bends in the log of each sd and in lambda, shape (n_factors + 1, same).

    It is the expected information of effects that are independent after the records are seen, as they nearly are where
    the records tell much of each.
    """
    size = len(stage.factors)
    bend = np.zeros((size + 1, size + 1))
    for i, (factor, learned) in enumerate(zip(stage.factors, _learned(stage, mode), strict=True)):
        bend[i, i] = 2.0 * float(learned @ learned)
        if factor.kinship is not None:
            tilt = factor.kinship.tilt(mode.scales.share)
            bend[i, size] = bend[size, i] = float(learned**2 @ tilt)
            bend[size, size] += 0.5 * float(learned**2 @ tilt**2)
    return bend


def _learned(stage: Stage, mode: Mode) -> tuple[Floats, ...]:
    """Return what share of the prior variance of each effect the records have taken away, one array a factor.

    Where levels are related it is that of the effects along the eigenvectors of their kinship.
    """
    gaussian, result = mode.gaussian, []
    for i, (factor, block) in enumerate(zip(stage.factors, stage.design.blocks, strict=True)):
        if factor.nested:
            level = stage.design.chain.index(i)
            precision = gaussian.elimination.group_precisions(level, gaussian.variance, gaussian.covariance)
            result.append(mode.scales.sds[i] ** 2 * precision)
        elif factor.kinship is None:
            result.append(1.0 - gaussian.spread.diagonal()[block])
        else:
            vectors = factor.kinship.vectors
            left = np.einsum("ij,ij->j", vectors, gaussian.spread[block, block] @ vectors)
            result.append(1.0 - left / factor.kinship.spectrum(mode.scales.share))
    return tuple(result)


def _answer(mode: Mode) -> Floats:
    """How the mode answers to a shift of the records' offsets, as far as it moves the evidence."""
    if not mode.slope.any():
        return np.zeros_like(mode.slope)
    gaussian = mode.gaussian
    return gaussian.solve(-0.5 * gaussian.variance * mode.slope)[1]
