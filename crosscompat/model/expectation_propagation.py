"""A better Gaussian for one stage than that about the mode: expectation propagation.

With one or two flowers a pairing the posterior is skewed, its mode lies nearer 0 than its mean, and forecasts from the
mode are too timid. Expectation propagation matches the mean and variance of every record's logit instead [1]_; of how
much better it is than the mode see [2]_.

References
----------
.. [1] Minka TP (2001). Expectation propagation for approximate Bayesian inference. UAI 17:362-369.
.. [2] Kuss M, Rasmussen CE (2005). Assessing approximate inference for binary Gaussian process classification.
   Journal of Machine Learning Research 6:1679-1704.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from crosscompat.model.gaussian import Gaussian, NotConverged, Prior, Scales, Stage
from crosscompat.model.laplace import Mode
from crosscompat.model.likelihood import Floats
from crosscompat.model.quadrature import TiltedMoments

__all__ = ["NotSettled", "refine"]

_QUICK = (*(1.0,) * 8, *(0.6,) * 52)  # share of its way that a site goes, sweep by sweep
_SLOW = (0.1,) * 300  # wide scales and large counts go round in circles at a quicker pace
_SETTLED = 1e-3
_LEAST_REST, _LEAST_SITE = 1e-10, 1e-12


class NotSettled(FloatingPointError):
    """The moments of some record were still moving after the last sweep, or were no numbers any more."""


def refine(stage: Stage, mode: Mode, scales: Scales | None = None, settled: float = _SETTLED) -> Mode:
    """Match the moments of every record's logit, beginning from a mode.

    Parameters
    ----------
    stage : Stage
    mode : Mode
        The posterior mode, or a result at neighbouring scales.
    scales : Scales, optional
        Those wanted; by default those of the mode.
    settled : float
        It stops once no record's mean moves by more than this share of its sd, nor its variance of itself.

    Returns
    -------
    Mode
        With matched moments: ``eta`` and ``theta`` are means, ``curvature`` and ``gradient`` those of the sites,
        ``evidence`` that of expectation propagation, and ``slope`` is 0 (its slope has no such term).

    Raises
    ------
    NotSettled
        If the moments settle neither at a quick pace nor, begun anew, at a slow one.
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
            gaussian = prior.given(tau)
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
