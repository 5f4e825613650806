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
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from crosscompat.model.design_matrix import DesignMatrix, Elimination, design_matrix
from crosscompat.model.effects import Factor, GaussianPrior
from crosscompat.model.likelihood import Counts, Floats, derivatives, log_likelihood

__all__ = [
    "Gaussian",
    "GaussianPrior",
    "Mode",
    "NotConverged",
    "Posterior",
    "Prior",
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


class NotConverged(ArithmeticError):
    """The mode runs away: without a prior, the data separate takes from failures."""


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
class Stage:
    """Everything about one stage but its variances.

    The logit is offset + x coefficients + the sum of the effects; coefficients are normal with ``mean`` and ``sd``,
    effects normal with mean 0 and variance sd² (share A + (1 - share) I).

    Attributes
    ----------
    counts : Counts
    x : ndarray of float, shape (n_records, p)
    mean, sd : ndarray of float, shape (p,)
        Normal prior of the coefficients; an infinite sd leaves one free.
    factors : tuple of Factor
    design : DesignMatrix
    offset : ndarray of float, shape (n_records,)
        Known part of each logit.
    """

    counts: Counts
    x: Floats
    mean: Floats
    sd: Floats
    factors: tuple[Factor, ...]
    design: DesignMatrix
    offset: Floats


@dataclass(frozen=True, slots=True)
class Scales:
    """How much the effects vary.

    Attributes
    ----------
    sds : ndarray of float, shape (n_factors,)
        Standard deviation of the effects of each factor, in logits.
    share : float
        The phylogenetic share lambda of those with a kinship, between 0 and 1.
    """

    sds: Floats
    share: float = 0.5


class Prior:
    """The prior of one stage at given scales, its columns in units of their scales: theta = scale * a.

    A coefficient has mean + sd * a, an effect sd * a with a of covariance R = share A + (1 - share) I, so that a
    variance of 0 and a free coefficient (sd taken as 1, no prior) need no special case.

    Parameters
    ----------
    stage : Stage
    scales : Scales

    Attributes
    ----------
    scale : ndarray of float, shape (q,)
    outer : ndarray of float, shape (q, q)
        Products of two scales.
    precision : ndarray of float, shape (q, q)
        Of a; 0 of a free coefficient.
    variances : ndarray of float
        Of the nested factors, finest first.
    logdet : float
        Sum of the log determinants of R.
    offset : ndarray of float, shape (n_records,)
        Prior mean of each logit.
    """

    def __init__(self, stage: Stage, scales: Scales) -> None:
        self.stage, self.scales, self.design = stage, scales, stage.design
        self.free = np.isinf(stage.sd)
        self.scale = np.concatenate([np.where(self.free, 1.0, stage.sd), np.zeros(self.design.size - self.design.p)])
        self.variances = scales.sds[list(self.design.chain)] ** 2
        self.offset = stage.offset + stage.x @ stage.mean
        self.precision, self.logdet = np.eye(self.design.size), 0.0
        self.precision[: self.design.p, : self.design.p] = np.diag(np.where(self.free, 0.0, 1.0))
        for factor, block, sd in zip(stage.factors, self.design.blocks, scales.sds, strict=True):
            self.scale[block] = sd
            if factor.kinship is not None:
                self.precision[block, block] = factor.kinship.inverse(scales.share)
                self.logdet += float(np.log(factor.kinship.spectrum(scales.share)).sum())
        self.outer = self.scale[:, None] * self.scale

    def logits(self, a: Floats, residual: Floats) -> tuple[Floats, float]:
        """Return the logits of the records, and minus the log prior density of what they are made of.

        Parameters
        ----------
        a : ndarray of float, shape (q,)
        residual : ndarray of float, shape (n_records,)
            Nested effects are their variance times its sum over each group.
        """
        eta = self.offset + self.design.to_records(self.scale * a)
        energy = 0.5 * float(a @ self.precision @ a)
        for nest, variance in zip(self.design.nested, self.variances, strict=True):
            pull = nest.sums(residual)
            eta = eta + variance * pull[nest.groups]
            energy += 0.5 * float(variance * (pull @ pull))
        return eta, energy

    def given(self, weight: Floats) -> Gaussian:
        """Return the posterior given working logits of precision ``weight``, shape (n_records,)."""
        return Gaussian(self, weight)


class Gaussian:
    """A prior joined with one working logit a record.

    Parameters
    ----------
    prior : Prior
    weight : ndarray of float, shape (n_records,)
        Precision of the working logits.

    Raises
    ------
    NotConverged
        If two free coefficients cannot be told apart.
    """

    def __init__(self, prior: Prior, weight: Floats) -> None:
        from scipy.linalg import lapack  # noqa: PLC0415 - only a fit needs it

        self.prior, self.weight = prior, weight
        self.elimination = Elimination.of(prior.design, weight, prior.variances)
        precision = self.elimination.gram()
        precision *= prior.outer
        precision += prior.precision
        self.curvature = precision.diagonal().copy()
        self.root: Floats = precision.T
        if len(precision):  # LAPACK complains on the screen of a matrix without rows
            self.root, failed = lapack.dpotrf(precision.T, lower=1, overwrite_a=1)
            if failed or not np.all(np.isfinite(self.curvature)):
                raise NotConverged("two coefficients cannot be told apart; give each a prior with a finite sd")
        logdet = 2.0 * float(np.log(self.root.diagonal()).sum())
        self.logdet = self.elimination.log_damping() + logdet + prior.logdet

    def columns(self, vector: Floats) -> Floats:
        """Return the covariance of a times a vector, shape (q,)."""
        from scipy.linalg import lapack  # noqa: PLC0415 - as above

        return np.asarray(lapack.dpotrs(self.root, vector, lower=1)[0]) if len(vector) else vector

    def solve(self, weighted: Floats) -> tuple[Floats, Floats]:
        """Return the mean of a, and the residual that the nested effects follow from.

        Parameters
        ----------
        weighted : ndarray of float, shape (n_records,)
            Working logits less their prior means, times their precisions.
        """
        design, scale = self.prior.design, self.prior.scale
        a = self.columns(scale * design.to_columns(self.elimination.solve(weighted)))
        return a, self.elimination.solve(weighted - self.weight * design.to_records(scale * a))

    @cached_property
    def _half(self) -> Floats:
        """Upper half of the covariance of a."""
        from scipy.linalg import lapack  # noqa: PLC0415 - as above

        return np.asarray(lapack.dpotri(self.root, lower=1)[0].T if len(self.root) else self.root)

    @cached_property
    def spread(self) -> Floats:
        """Covariance of a, shape (q, q)."""
        spread: Floats = self._half + self._half.T
        np.fill_diagonal(spread, self._half.diagonal())
        return spread

    @cached_property
    def covariance(self) -> Floats:
        """Covariance of the columns as they are, shape (q, q)."""
        return np.asarray(self.spread * self.prior.outer)

    @cached_property
    def variance(self) -> Floats:
        """Variance of each record's logit, shape (n_records,)."""
        return self.elimination.variance(self.prior.scale, self._half if self.prior.design.products else self.spread)


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


def stage_of(
    counts: Counts,
    x: ArrayLike,
    prior: GaussianPrior,
    factors: tuple[Factor, ...] = (),
    offset: Floats | None = None,
) -> Stage:
    """Lay out a stage: its records, the design of its coefficients with their prior, and its effects.

    Raises
    ------
    ValueError
        If the nested factors do not lie within one another.
    """
    table = np.asarray(x, dtype=np.float64)
    mean = np.where(np.isinf(prior.sd), 0.0, prior.mean)
    base = np.zeros(table.shape[0]) if offset is None else offset
    return Stage(counts, table, mean, prior.sd, factors, design_matrix(table, factors), base)


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
    gaussian, found = mode.gaussian, []
    for i, (factor, block) in enumerate(zip(stage.factors, stage.design.blocks, strict=True)):
        if factor.nested:
            level = stage.design.chain.index(i)
            precision = gaussian.elimination.group_precisions(level, gaussian.variance, gaussian.covariance)
            found.append(mode.scales.sds[i] ** 2 * precision)
        elif factor.kinship is None:
            found.append(1.0 - gaussian.spread.diagonal()[block])
        else:
            vectors = factor.kinship.vectors
            left = np.einsum("ij,ij->j", vectors, gaussian.spread[block, block] @ vectors)
            found.append(1.0 - left / factor.kinship.spectrum(mode.scales.share))
    return tuple(found)


def _answer(mode: Mode) -> Floats:
    """How the mode answers to a shift of the records' offsets, as far as it moves the evidence."""
    if not mode.slope.any():
        return np.zeros_like(mode.slope)
    gaussian = mode.gaussian
    return gaussian.solve(-0.5 * gaussian.variance * mode.slope)[1]
