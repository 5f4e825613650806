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

from crosscompat.model.elimination import Elimination, Stage, Whitener, record_variances
from crosscompat.model.laplace import Mode, NotConverged, invert
from crosscompat.model.likelihood import Floats
from crosscompat.model.tilted import Tilted

__all__ = ["NotSettled", "refine"]

_QUICK = (*(1.0,) * 8, *(0.6,) * 52)  # share of its way that a site goes, sweep by sweep
_SLOW = (0.1,) * 300  # wide scales and large counts go round in circles at a quicker pace
_SETTLED = 1e-3
_LEAST_REST, _LEAST_SITE = 1e-10, 1e-12


class NotSettled(FloatingPointError):
    """The moments of some record were still moving after the last sweep, or were no numbers any more."""


def refine(stage: Stage, mode: Mode, settled: float = _SETTLED) -> Mode:
    """Match the moments of every record's logit, beginning from a mode.

    Parameters
    ----------
    stage : Stage
    mode : Mode
        The posterior mode, or a result at neighbouring scales.
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
    for pace in (_QUICK, _SLOW):
        found = _match(stage, mode, pace, settled)
        if found is not None:
            return found
    raise NotSettled("the moments of the logits do not settle; the scales are too wide for what was counted")


def _match(stage: Stage, mode: Mode, pace: tuple[float, ...], settled: float) -> Mode | None:
    """Match moments sweep by sweep at one pace; None if they do not settle."""
    tau, nu, now = mode.curvature, mode.gradient + mode.curvature * mode.eta, mode
    tilted = None
    for damp in pace:
        try:
            now, variance = _normal(stage, now, tau, nu)
        except NotConverged:
            return None
        tilted = tilted or Tilted.of(stage.counts, variance)
        rest = np.maximum(1.0 / variance - tau, _LEAST_REST)
        cavity = (now.eta / variance - nu) / rest
        with np.errstate(invalid="ignore"):  # told by its result
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


def _normal(stage: Stage, last: Mode, tau: Floats, nu: Floats) -> tuple[Mode, Floats]:
    """Join the prior with given sites exp(nu eta - tau eta² / 2); with the variances of the records' logits."""
    lay, white = stage.layout, Whitener(stage, last.scales)
    variances = last.scales.sds[list(lay.chain)] ** 2
    offset = stage.offset + stage.x @ stage.mean
    elimination = Elimination.of(lay, tau, variances)
    covariance, logdet = invert(white.precision(elimination.matrix))
    weighted = nu - tau * offset
    a = covariance @ white.back(lay.to_columns(elimination.solve(lay, weighted)))
    theta = white.out(a)
    residual = elimination.solve(lay, weighted - tau * lay.to_records(theta))
    pulls = tuple(lay.sums(level, residual) for level in range(len(lay.chain)))
    eta = offset + lay.to_records(theta)
    kept = a[~white.flat]
    height = -0.5 * float(kept @ kept)
    for level, (pull, v) in enumerate(zip(pulls, variances, strict=True)):
        eta = eta + v * pull[lay.groups[level]]
        height -= 0.5 * float(v * (pull @ pull))
    height += float(nu @ eta - 0.5 * (tau * eta) @ eta)
    evidence = height - 0.5 * (elimination.log_damping() + logdet)
    found = Mode(
        last.scales, eta, a, theta, pulls, nu - tau * eta, tau, np.zeros_like(eta), elimination, covariance, evidence
    )
    return found, record_variances(lay, elimination, white.both(covariance))
