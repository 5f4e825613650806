"""The posterior of one stage at given variances: about its mode by Laplace's method, or with matched moments.

The mode is found by Newton's method with step halving, nested effects eliminated; the posterior is the Gaussian with
the mode as its mean and the inverse curvature there as its covariance [1]_. Evidence and its gradient are those of
[2]_, sections 3.4 and 5.5.1, with grouped effects. With one or two flowers a pairing the posterior is skewed and
forecasts from the mode are too timid: expectation propagation matches the moments of every record's logit instead [3]_.

References
----------
.. [1] Tierney L, Kadane JB (1986). Accurate approximations for posterior moments and marginal densities. Journal of
   the American Statistical Association 81:82-86.
.. [2] Rasmussen CE, Williams CKI (2006). Gaussian Processes for Machine Learning. MIT Press.
.. [3] Minka TP (2001). Expectation propagation for approximate Bayesian inference. UAI 17:362-369. How much better it
   is: Kuss M, Rasmussen CE (2005). Journal of Machine Learning Research 6:1679-1704.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from crosscompat.model.gaussian import Gaussian, NotConverged, Prior, Scales, Stage
from crosscompat.model.likelihood import Floats, TiltedMoments, derivatives, log_likelihood

_MOST_STEPS = 200
_MOST_HALVINGS = 45
_RISEN = 1e-12
_FLAT = 1e-7
_QUICK = (*(1.0,) * 8, *(0.6,) * 52)  # share of its way that a site goes, sweep by sweep
_SLOW = (0.1,) * 300  # wide scales and large counts go round in circles at a quicker pace
_SETTLED = 1e-3
_LEAST_REST, _LEAST_SITE = 1e-10, 1e-12


@dataclass(frozen=True, slots=True)
class Mode:
    """A Gaussian for one stage at given scales, about the mode or, refined, about the mean.

    ``eta``, shape (n_records,), are the logits of the records; ``a`` and ``theta``, shape (q,), the columns in units of
    their prior scales, and as they are (less the prior mean of the coefficients). ``gradient``, ``curvature`` and its
    ``slope``, shape (n_records,), are those of the log likelihood at ``eta``: a nested effect is its variance times the
    gradient summed over its group. The log ``evidence`` is without binomial coefficients, and per free coefficient up
    to a constant.
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


@dataclass(frozen=True, slots=True)
class _State:
    """A point on the way to the mode, and its height."""

    a: Floats
    residual: Floats
    eta: Floats
    height: float


def find_mode(stage: Stage, scales: Scales, start: Mode | None = None) -> Mode:
    """Find the mode by Newton's method with step halving, from a mode at neighbouring scales or the prior mean.

    NotConverged if there is none: free coefficients, and outcomes that separate or columns that cannot be told apart.

    Examples
    --------
    With a free intercept alone it is the logit of the share that took.

    >>> from crosscompat.model.gaussian import GaussianPrior, stage_of
    >>> from crosscompat.model.likelihood import Counts
    >>> free = GaussianPrior(np.array([0.0]), np.array([np.inf]))
    >>> mode = find_mode(stage_of(Counts.of([4], [3]), np.ones((1, 1)), free), Scales(np.empty(0)))
    >>> bool(np.isclose(mode.theta[0], np.log(3)))
    True
    """
    prior = Prior(stage, scales)
    begin = (start.a, start.gradient) if start else (np.zeros(stage.design.size), np.zeros(len(stage.x)))
    state = _state_at(prior, *begin)
    for _ in range(_MOST_STEPS):
        gradient, curvature, _ = derivatives(state.eta, stage.counts)
        goal = Gaussian(prior, curvature).solve(curvature * (state.eta - prior.offset) + gradient)
        new = _halved(prior, state, *goal)
        gained, state = new.height - state.height, new
        if gained <= _RISEN * (1.0 + abs(new.height)):
            return _finished(prior, state)
    raise NotConverged("the likelihood has no mode; give every coefficient a prior with a finite sd")


def _state_at(prior: Prior, a: Floats, residual: Floats) -> _State:
    eta, energy = prior.logits(a, residual)
    return _State(a, residual, eta, log_likelihood(eta, prior.stage.counts) - energy)


def _halved(prior: Prior, old: _State, a: Floats, residual: Floats) -> _State:
    """Take the first of the full, half, quarter ... steps that does not go down."""
    step = 1.0
    for _ in range(_MOST_HALVINGS):
        new = _state_at(prior, old.a + step * (a - old.a), old.residual + step * (residual - old.residual))
        if new.height >= old.height - 1e-13 * (1.0 + abs(old.height)):
            return new
        step /= 2.0
    return old


def _finished(prior: Prior, state: _State) -> Mode:
    """Curvature and evidence at the mode."""
    gradient, curvature, slope = derivatives(state.eta, prior.stage.counts)
    gaussian = Gaussian(prior, curvature)
    if prior.free.any():  # separated data have no mode but a plateau, on which the curvature dies away
        at_start = Gaussian(prior, derivatives(prior.offset, prior.stage.counts)[1])
        if np.any(gaussian.curvature < _FLAT * at_start.curvature):
            raise NotConverged("takes and failures separate; give every coefficient a prior with a finite sd")
    evidence = state.height - 0.5 * gaussian.logdet
    theta = prior.scale * state.a
    return Mode(prior.scales, state.eta, state.a, theta, gradient, curvature, slope, gaussian, evidence)


def evidence_slope(stage: Stage, mode: Mode) -> tuple[Floats, float, Floats]:
    """Return the slope of the log evidence in the log of each sd, (n_factors,), in lambda, and in each offset."""
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

    It is the expected information of effects that are independent once the records are seen, as they nearly are where
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


class NotSettled(FloatingPointError):
    """The moments of some record were still moving after the last sweep, or were no numbers any more."""


def refine(stage: Stage, mode: Mode, scales: Scales | None = None, settled: float = _SETTLED) -> Mode:
    """Match the moments of every record's logit, beginning from a mode or a result at neighbouring scales.

    It stops once no record's mean moves by more than the share ``settled`` of its sd, nor its variance of itself. In
    the result ``eta`` and ``theta`` are means, ``curvature`` and ``gradient`` those of the sites, ``evidence`` that of
    expectation propagation, and ``slope`` is 0 (its slope has no such term). NotSettled if the moments settle neither
    at a quick pace nor, begun anew, at a slow one.
    """
    prior = Prior(stage, scales or mode.scales)
    for pace in (_QUICK, _SLOW):
        result = _match(prior, mode, pace, settled)
        if result is not None:
            return result
    raise NotSettled("the moments of the logits do not settle; the scales are too wide for what was counted")


def _match(prior: Prior, mode: Mode, pace: tuple[float, ...], settled: float) -> Mode | None:
    """Match moments sweep by sweep at one pace; None if they do not settle."""
    tau, nu = mode.curvature, mode.gradient + mode.curvature * mode.eta
    tilted: TiltedMoments | None = None
    for damp in pace:
        try:
            gaussian = Gaussian(prior, tau)
        except NotConverged:
            return None
        tilted = tilted or TiltedMoments.of(prior.stage.counts, gaussian.variance)
        now = _joined(gaussian, nu)
        variance = gaussian.variance
        rest = np.maximum(1.0 / variance - tau, _LEAST_REST)
        cavity = (now.eta / variance - nu) / rest
        with np.errstate(invalid="ignore"):  # what is no number shows in the result
            log_mass, mean, matched = tilted.moments(cavity, 1.0 / rest, now.eta, np.sqrt(variance))
        if not (np.all(np.isfinite(mean)) and np.all(matched > 0.0)):
            return None
        moved = np.abs(mean - now.eta) / np.sqrt(variance) + np.abs(matched / variance - 1.0)
        if np.max(moved, initial=0.0) < settled:
            site = log_mass - 0.5 * np.log(variance * rest) - 0.5 * now.eta**2 / variance + 0.5 * cavity**2 * rest
            return replace(now, evidence=now.evidence + float(site.sum()))
        tau = tau + damp * (np.maximum(1.0 / matched - rest, _LEAST_SITE) - tau)
        nu = nu + damp * (mean / matched - cavity * rest - nu)
    return None


def _joined(gaussian: Gaussian, nu: Floats) -> Mode:
    """Return the Gaussian of sites exp(nu eta - tau eta² / 2), one a record; its evidence is that of the sites."""
    prior, tau = gaussian.prior, gaussian.weight
    a, residual = gaussian.solve(nu - tau * prior.offset)
    eta, energy = prior.logits(a, residual)
    evidence = float(nu @ eta - 0.5 * (tau * eta) @ eta) - energy - 0.5 * gaussian.logdet
    return Mode(prior.scales, eta, a, prior.scale * a, nu - tau * eta, tau, np.zeros_like(eta), gaussian, evidence)
