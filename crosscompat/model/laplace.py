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
from numpy.typing import ArrayLike

from crosscompat.model.effects import Factor
from crosscompat.model.elimination import (
    Elimination,
    Scales,
    Stage,
    Whitener,
    group_precisions,
    record_variances,
)
from crosscompat.model.layout import lay_out
from crosscompat.model.likelihood import Counts, Floats, derivatives, log_likelihood

__all__ = [
    "GaussianPrior",
    "Mode",
    "NotConverged",
    "Posterior",
    "Start",
    "evidence_slope",
    "find_mode",
    "fit_posterior",
    "invert",
    "stage_of",
]

_MOST_STEPS = 200
_MOST_HALVINGS = 45
_SETTLED = 1e-12
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
class Start:
    """Where Newton's method begins.

    Attributes
    ----------
    a : ndarray of float, shape (q,)
        Whitened columns.
    pulls : tuple of ndarray of float
        For each eliminated factor, the gradient summed over each group.
    """

    a: Floats
    pulls: tuple[Floats, ...]


@dataclass(frozen=True, slots=True)
class Mode:
    """A Gaussian for one stage at given scales, about the mode or, refined, about the mean.

    Attributes
    ----------
    scales : Scales
    eta : ndarray of float, shape (n_records,)
        Logits of the records.
    a, theta : ndarray of float, shape (q,)
        Whitened columns, and columns (less the prior mean of the coefficients).
    pulls : tuple of ndarray of float
        For each eliminated factor, the gradient summed over each group; an effect is its variance times this.
    gradient, curvature, slope : ndarray of float, shape (n_records,)
        Of the log likelihood at ``eta``; ``slope`` is that of the curvature.
    elimination : Elimination
    covariance : ndarray of float, shape (q, q)
        Of ``a``.
    evidence : float
        Log evidence, without binomial coefficients; per free coefficient up to a constant.
    steps : int
        Newton steps taken.
    """

    scales: Scales
    eta: Floats
    a: Floats
    theta: Floats
    pulls: tuple[Floats, ...]
    gradient: Floats
    curvature: Floats
    slope: Floats
    elimination: Elimination
    covariance: Floats
    evidence: float
    steps: int = 0

    @property
    def start(self) -> Start:
        """A warm start for neighbouring scales."""
        return Start(self.a, self.pulls)


def stage_of(
    counts: Counts,
    x: ArrayLike,
    prior: GaussianPrior,
    factors: tuple[Factor, ...] = (),
    offset: Floats | None = None,
) -> Stage:
    """Lay out a stage: its records, the design of its coefficients with their prior, and its effects."""
    table = np.asarray(x, dtype=np.float64)
    mean = np.where(np.isinf(prior.sd), 0.0, prior.mean)
    base = np.zeros(table.shape[0]) if offset is None else offset
    return Stage(counts, table, mean, prior.sd, factors, lay_out(table, factors), base)


def fit_posterior(design: Floats, counts: Counts, prior: GaussianPrior) -> Posterior:
    """Return the Laplace posterior of logit p = design @ coefficients, without effects.

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
    spread = Whitener(stage, mode.scales).both(mode.covariance)
    return Posterior(stage.mean + mode.theta, spread, mode.steps)


def find_mode(stage: Stage, scales: Scales, start: Start | None = None) -> Mode:
    """Find the mode by Newton's method with step halving.

    Parameters
    ----------
    stage : Stage
    scales : Scales
    start : Start, optional
        A mode at neighbouring scales; the prior mean if absent.

    Raises
    ------
    NotConverged
        If there is no mode: free coefficients, and outcomes that separate or columns that cannot be told apart.
    """
    climb = _Climb(stage, scales)
    state = climb.at(start or climb.origin())
    for steps in range(1, _MOST_STEPS + 1):
        new = climb.halve(state, climb.goal(state))
        gained = new.height - state.height
        state = new
        if gained <= _SETTLED * (1.0 + abs(new.height)):
            return climb.finish(state, steps)
    raise NotConverged("the likelihood has no mode; give every coefficient a prior with a finite sd")


@dataclass(frozen=True, slots=True)
class _State:
    """A point on the way to the mode, and its height."""

    at: Start
    eta: Floats
    height: float


class _Climb:
    """Newton's method for one stage at given scales."""

    def __init__(self, stage: Stage, scales: Scales) -> None:
        self.stage, self.scales, self.lay = stage, scales, stage.layout
        self.white = Whitener(stage, scales)
        self.variances = scales.sds[list(stage.layout.chain)] ** 2
        self.offset = stage.offset + stage.x @ stage.mean

    def origin(self) -> Start:
        """Begin at the prior mean."""
        return Start(np.zeros(self.lay.size), tuple(np.zeros(n) for n in self.lay.counts))

    def at(self, point: Start) -> _State:
        """Height and logits of a point."""
        kept = point.a[~self.white.flat]
        eta = self.offset + self.lay.to_records(self.white.out(point.a))
        height = -0.5 * float(kept @ kept)
        for level, (pull, v) in enumerate(zip(point.pulls, self.variances, strict=True)):
            eta = eta + v * pull[self.lay.groups[level]]
            height -= 0.5 * float(v * (pull @ pull))
        return _State(point, eta, height + log_likelihood(eta, self.stage.counts))

    def goal(self, state: _State) -> Start:
        """Where a full Newton step leads."""
        lay = self.lay
        gradient, curvature, _ = derivatives(state.eta, self.stage.counts)
        elimination = Elimination.of(lay, curvature, self.variances)
        weighted = curvature * (state.eta - self.offset) + gradient
        target = elimination.solve(lay, weighted)
        try:
            precision = self.white.precision(elimination.matrix)
            a: Floats = np.asarray(np.linalg.solve(precision, self.white.back(lay.to_columns(target))), np.float64)
        except np.linalg.LinAlgError:
            raise NotConverged("two coefficients cannot be told apart; give each a prior with a finite sd") from None
        residual = elimination.solve(lay, weighted - curvature * lay.to_records(self.white.out(a)))
        return Start(a, tuple(lay.sums(level, residual) for level in range(len(lay.chain))))

    def halve(self, old: _State, goal: Start) -> _State:
        """Take the first of the full, half, quarter ... steps that does not go down."""
        step = 1.0
        for _ in range(_MOST_HALVINGS):
            new = self.at(_between(old.at, goal, step))
            if new.height >= old.height - 1e-13 * (1.0 + abs(old.height)):
                return new
            step /= 2.0
        return old

    def finish(self, state: _State, steps: int) -> Mode:
        """Curvature and evidence at the mode."""
        gradient, curvature, slope = derivatives(state.eta, self.stage.counts)
        elimination = Elimination.of(self.lay, curvature, self.variances)
        precision = self.white.precision(elimination.matrix)
        self._refuse_a_plateau(precision)
        covariance, logdet = invert(precision)
        evidence = state.height - 0.5 * (elimination.log_damping() + logdet)
        theta = self.white.out(state.at.a)
        return Mode(
            self.scales, state.eta, state.at.a, theta, state.at.pulls, gradient, curvature, slope, elimination,
            covariance, evidence, steps,
        )  # fmt: skip

    def _refuse_a_plateau(self, precision: Floats) -> None:
        """Separated data have no mode but a plateau, on which the curvature of a free coefficient dies away."""
        if not self.white.flat.any():
            return
        _, curvature, _ = derivatives(self.offset, self.stage.counts)
        at_start = self.white.precision(Elimination.of(self.lay, curvature, self.variances).matrix)
        if np.any(np.diag(precision) < _FLAT * np.diag(at_start)):
            raise NotConverged("takes and failures separate; give every coefficient a prior with a finite sd")


def _between(start: Start, goal: Start, step: float) -> Start:
    moved = (s + step * (g - s) for s, g in zip((start.a, *start.pulls), (goal.a, *goal.pulls), strict=True))
    a, *pulls = (np.asarray(part, dtype=np.float64) for part in moved)
    return Start(a, tuple(pulls))


def invert(precision: Floats) -> tuple[Floats, float]:
    """Return the inverse and the log determinant of a positive definite matrix.

    Examples
    --------
    >>> import numpy as np
    >>> inverse, logdet = invert(np.diag([2.0, 4.0]))
    >>> np.diag(inverse).round(6).tolist(), round(logdet, 4)  # log 8
    ([0.5, 0.25], 2.0794)
    """
    if not precision.size:
        return np.zeros(precision.shape), 0.0  # LAPACK complains on the screen of a matrix without rows
    from scipy.linalg import lapack  # noqa: PLC0415 - only a fit needs it; thrice as fast as a general inverse

    root, failed = lapack.dpotrf(precision, lower=1)
    if failed:
        raise NotConverged("two coefficients cannot be told apart; give each a prior with a finite sd")
    lower = np.tril(lapack.dpotri(root, lower=1)[0])
    inverse: Floats = lower + np.tril(lower, -1).T
    return inverse, 2.0 * float(np.log(np.diag(root)).sum())


def evidence_slope(stage: Stage, mode: Mode) -> tuple[Floats, float, Floats]:
    """Return the slope of the log evidence in the log of each sd, in the share lambda, and in each record's offset."""
    lay, scales, inner = stage.layout, mode.scales, mode.elimination
    spread = Whitener(stage, scales).both(mode.covariance)
    inside = inner.matrix - inner.matrix @ spread @ inner.matrix
    shift = -0.5 * record_variances(lay, inner, spread) * mode.slope
    answer = inner.solve(lay, shift)
    answer -= inner.solve(lay, mode.curvature * lay.to_records(spread @ lay.to_columns(answer)))
    pulled = lay.to_columns(mode.gradient)
    both = pulled + 2.0 * lay.to_columns(answer)
    by_log_sd, by_share = np.zeros(len(stage.factors)), 0.0
    for i, (factor, block, sd) in enumerate(zip(stage.factors, lay.blocks, scales.sds, strict=True)):
        if i in lay.chain:
            level = lay.chain.index(i)
            h, y = mode.pulls[level], lay.sums(level, answer)
            by_log_sd[i] = sd**2 * (h @ (h + 2.0 * y) - group_precisions(lay, inner, spread, level).sum())
            continue
        plain, related = _column_slopes(factor, pulled[block], both[block], inside[block, block])
        by_log_sd[i] = sd**2 * (scales.share * related + (1.0 - scales.share) * plain)
        by_share += 0.5 * sd**2 * (related - plain)
    return by_log_sd, by_share, mode.gradient + answer


def _column_slopes(factor: Factor, pulled: Floats, both: Floats, inside: Floats) -> tuple[float, float]:
    """Slope of the evidence per unit of variance in the unrelated and in the related part of one factor."""
    plain = float(pulled @ both - np.trace(inside))
    if factor.kinship is None:
        return plain, plain
    a = factor.kinship.matrix
    return plain, float(pulled @ a @ both - np.einsum("ij,ij->", a, inside))
