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
    Units,
    group_precisions,
    record_variances,
)
from crosscompat.model.gaussian import GaussianPrior
from crosscompat.model.layout import Layout, lay_out
from crosscompat.model.likelihood import Counts, Floats, derivatives, log_likelihood
from crosscompat.model.root import NotPositive, Root, symmetric

__all__ = [
    "SETTLED",
    "GaussianPrior",
    "Mode",
    "NotConverged",
    "Posterior",
    "Start",
    "evidence_slope",
    "expected_bend",
    "find_mode",
    "fit_posterior",
    "stage_of",
    "told",
    "uncertainty",
]

_MOST_STEPS = 200
_MOST_HALVINGS = 45
SETTLED = 1e-12
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
class Start:
    """Where Newton's method begins.

    Attributes
    ----------
    a : ndarray of float, shape (q,)
        Columns in units of their prior scales.
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
        Columns in units of their prior scales, and as they are (less the prior mean of the coefficients).
    pulls : tuple of ndarray of float
        For each eliminated factor, the gradient summed over each group; an effect is its variance times this.
    gradient, curvature, slope : ndarray of float, shape (n_records,)
        Of the log likelihood at ``eta``; ``slope`` is that of the curvature.
    elimination : Elimination
    root : Root
        Of the precision of ``a``.
    evidence : float
        Log evidence, without binomial coefficients; per free coefficient up to a constant.
    steps : int
        Newton steps taken.
    known : (ndarray of float, ndarray of float) or None
        What `uncertainty` gives, if it is known already.
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
    root: Root
    evidence: float
    steps: int = 0
    known: tuple[Floats, Floats] | None = None

    @property
    def start(self) -> Start:
        """A warm start for neighbouring scales."""
        return Start(self.a, self.pulls)

    @property
    def covariance(self) -> Floats:
        """The whole covariance of ``a``, shape (q, q)."""
        return self.root.whole(self.root.inverse() if self.known is None else self.known[0])

    def uncertainty(self, lay: Layout, units: Units) -> tuple[Floats, Floats]:
        """Return the covariance of ``a`` as a row of cells, and the variance of each record's logit."""
        return self.known or uncertainty(lay, units, self.elimination, self.root)


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
    scale = Units(stage, mode.scales).scale
    return Posterior(stage.mean + mode.theta, scale[:, None] * mode.covariance * scale, mode.steps)


def find_mode(stage: Stage, scales: Scales, start: Start | None = None, settled: float = SETTLED) -> Mode:
    """Find the mode by Newton's method with step halving.

    Parameters
    ----------
    stage : Stage
    scales : Scales
    start : Start, optional
        A mode at neighbouring scales; the prior mean if absent.
    settled : float
        It stops once a step gains less than this share of the height.

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
        if gained <= settled * (1.0 + abs(new.height)):
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
        self.units = Units(stage, scales)
        self.variances = scales.sds[list(stage.layout.chain)] ** 2
        self.offset = stage.offset + stage.x @ stage.mean

    def origin(self) -> Start:
        """Begin at the prior mean."""
        return Start(np.zeros(self.lay.size), tuple(np.zeros(n) for n in self.lay.counts))

    def at(self, point: Start) -> _State:
        """Height and logits of a point."""
        eta = self.offset + self.lay.to_records(self.units.scale * point.a)
        height = -0.5 * self.units.energy(point.a)
        for level, (pull, v) in enumerate(zip(point.pulls, self.variances, strict=True)):
            eta = eta + v * pull[self.lay.groups[level]]
            height -= 0.5 * float(v * (pull @ pull))
        return _State(point, eta, height + log_likelihood(eta, self.stage.counts))

    def goal(self, state: _State) -> Start:
        """Where a full Newton step leads."""
        lay, scale = self.lay, self.units.scale
        gradient, curvature, _ = derivatives(state.eta, self.stage.counts)
        elimination = Elimination.of(lay, curvature, self.variances)
        weighted = curvature * (state.eta - self.offset) + gradient
        target = elimination.solve(lay, weighted)
        a = self.root(elimination).solve(scale * lay.to_columns(target))
        residual = elimination.solve(lay, weighted - curvature * lay.to_records(scale * a))
        return Start(a, tuple(lay.sums(level, residual) for level in range(len(lay.chain))))

    def root(self, elimination: Elimination) -> Root:
        """Factor the precision."""
        try:
            return Root.of(self.lay.pattern, self.units.precision(elimination.gram(self.lay)))
        except NotPositive:
            raise NotConverged("two coefficients cannot be told apart; give each a prior with a finite sd") from None

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
        self._refuse_a_plateau(elimination)
        root = self.root(elimination)
        evidence = state.height - 0.5 * (elimination.log_damping() + root.logdet + self.units.logdet)
        return Mode(
            self.scales, state.eta, state.at.a, self.units.scale * state.at.a, state.at.pulls, gradient, curvature,
            slope, elimination, root, evidence, steps,
        )  # fmt: skip

    def _refuse_a_plateau(self, elimination: Elimination) -> None:
        """Separated data have no mode but a plateau, on which the curvature of a free coefficient dies away."""
        if not self.units.free.any():
            return
        _, curvature, _ = derivatives(self.offset, self.stage.counts)
        at_start = Elimination.of(self.lay, curvature, self.variances)
        diagonal = self.lay.pattern.diagonal
        now, then = (self.units.precision(one.gram(self.lay))[diagonal] for one in (elimination, at_start))
        if np.any(now < _FLAT * then):
            raise NotConverged("takes and failures separate; give every coefficient a prior with a finite sd")


def _between(start: Start, goal: Start, step: float) -> Start:
    moved = (s + step * (g - s) for s, g in zip((start.a, *start.pulls), (goal.a, *goal.pulls), strict=True))
    a, *pulls = (np.asarray(part, dtype=np.float64) for part in moved)
    return Start(a, tuple(pulls))


def uncertainty(lay: Layout, units: Units, inner: Elimination, root: Root) -> tuple[Floats, Floats]:
    """Return the covariance of columns in their units as a row of cells, and the variance of each record's logit."""
    spread = root.inverse()
    return spread, record_variances(lay, inner, units.outer * spread)


def evidence_slope(stage: Stage, mode: Mode) -> tuple[Floats, float, Floats]:
    """Return the slope of the log evidence in the log of each sd, in the share lambda, and in each record's offset."""
    lay, scales = stage.layout, mode.scales
    units = Units(stage, scales)
    answer = _answer(lay, mode, units)
    pulled = lay.to_columns(mode.gradient)
    both = pulled + 2.0 * lay.to_columns(answer)
    by_log_sd, by_share = np.zeros(len(stage.factors)), 0.0
    learned = told(stage, mode, units)
    for i, (factor, block, sd) in enumerate(zip(stage.factors, lay.blocks, scales.sds, strict=True)):
        if i in lay.chain:
            level = lay.chain.index(i)
            h, y = mode.pulls[level], lay.sums(level, answer)
            by_log_sd[i] = sd**2 * (h @ (h + 2.0 * y)) - learned[i].sum()
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
    size, units = len(stage.factors), Units(stage, mode.scales)
    bend = np.zeros((size + 1, size + 1))
    for i, (factor, learned) in enumerate(zip(stage.factors, told(stage, mode, units), strict=True)):
        bend[i, i] = 2.0 * float(learned @ learned)
        if factor.kinship is not None and i not in stage.layout.chain:
            tilt = factor.kinship.tilt(mode.scales.share)
            bend[i, size] = bend[size, i] = float(learned**2 @ tilt)
            bend[size, size] += 0.5 * float(learned**2 @ tilt**2)
    return bend


def told(stage: Stage, mode: Mode, units: Units) -> tuple[Floats, ...]:
    """Return what share of the prior variance of each effect the records have taken away, one array a factor.

    Where levels are related it is that of the effects along the eigenvectors of their kinship.
    """
    lay, found = stage.layout, []
    spread, variance = mode.uncertainty(lay, units)
    wide = units.outer * spread
    for i, (factor, block) in enumerate(zip(stage.factors, lay.blocks, strict=True)):
        kin = factor.kinship
        if i in lay.chain:
            level = lay.chain.index(i)
            precision = group_precisions(lay, mode.elimination, variance, wide, level)
            found.append(mode.elimination.variances[level] * precision)
        elif kin is None:
            found.append(1.0 - spread[lay.pattern.diagonal[block]])
        else:
            left = np.einsum("ij,ij->j", kin.vectors, symmetric(lay.pattern, spread, block) @ kin.vectors)
            found.append(1.0 - left / kin.spectrum(mode.scales.share))
    return tuple(found)


def _answer(lay: Layout, mode: Mode, units: Units) -> Floats:
    """How the mode answers to a shift of the records' offsets, as far as it moves the evidence."""
    if not mode.slope.any():
        return np.zeros_like(mode.slope)
    inner = mode.elimination
    _, variance = mode.uncertainty(lay, units)
    answer = inner.solve(lay, -0.5 * variance * mode.slope)
    moved = units.scale * mode.root.solve(units.scale * lay.to_columns(answer))
    return answer - inner.solve(lay, mode.curvature * lay.to_records(moved))
