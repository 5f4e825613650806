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

from dataclasses import dataclass, replace

import numpy as np

from crosscompat.model.elimination import Elimination, Scales, Stage, Units, record_variances
from crosscompat.model.laplace import Mode, uncertainty
from crosscompat.model.likelihood import Counts, Floats
from crosscompat.model.root import NotPositive, Root
from crosscompat.model.tilted import Tilted

__all__ = ["NotSettled", "Sites", "among_columns", "refine", "rejoined", "swept"]

_QUICK = (*(1.0,) * 8, *(0.6,) * 52)  # share of its way that a site goes, sweep by sweep
_SLOW = (0.1,) * 300  # wide scales and large counts go round in circles at a quicker pace
_SETTLED = 1e-3
_LEAST_REST, _LEAST_SITE = 1e-10, 1e-12


class NotSettled(FloatingPointError):
    """The moments of some record were still moving after the last sweep, or were no numbers any more."""


@dataclass(frozen=True, slots=True)
class Sites:
    """The little that a Gaussian follows from: terms exp(nu eta - tau eta² / 2), one a record, beside the prior.

    Attributes
    ----------
    scales : Scales
    tau, nu : ndarray of float, shape (n_records,)
    evidence : float
    """

    scales: Scales
    tau: Floats
    nu: Floats
    evidence: float


def refine(stage: Stage, mode: Mode, settled: float = _SETTLED) -> Mode:
    """Match the moments of every record's logit, beginning from a mode.

    Parameters
    ----------
    stage : Stage
    mode : Mode
        The posterior mode, or a result at neighbouring scales.
    settled : float
        It stops once no record's mean moves by more than this share of its sd, nor its variance of itself; of many
        records, once the root mean square of that does not.

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
    join = _Join(stage, mode)
    for pace in (_QUICK, _SLOW):
        found = _match(stage, join, mode, pace, settled)
        if found is not None:
            return found
    raise NotSettled("the moments of the logits do not settle; the scales are too wide for what was counted")


def among_columns(stage: Stage, mode: Mode) -> Floats:
    """Return the covariance of the columns as they are, as a row of cells."""
    units = Units(stage, mode.scales)
    return units.outer * mode.uncertainty(stage.layout, units)[0]


def swept(stage: Stage, mode: Mode, scales: Scales, among: Floats) -> Sites:
    """Match moments in one sweep, from where they lack but little.

    Parameters
    ----------
    stage : Stage
    mode : Mode
        A result of `refine` at neighbouring scales.
    scales : Scales
        Those that are wanted.
    among : ndarray of float
        What `among_columns` gives at the mode.

    Returns
    -------
    Sites
        Their evidence is that of the sites before the sweep. It is off by the square of what those lacked, for it is at
        rest where moments match. So it is in the variances of the records' logits, for which the covariance of the
        columns is that of the mode: among many records they have little part in it.
    """
    tau, nu = mode.curvature, mode.gradient + mode.curvature * mode.eta
    try:
        sweep = _sweep(_Join(stage, replace(mode, scales=scales)), _Tilting(stage.counts), tau, nu, among)
    except NotPositive:
        sweep = None
    if sweep is None:
        raise NotSettled("the moments of the logits are no numbers at these scales")
    return Sites(scales, *sweep.towards(1.0), sweep.evidence)


def rejoined(stage: Stage, belief: Mode | Sites) -> Mode:
    """Return the Gaussian of sites; of a mode, itself. The variances of its records' logits are left out."""
    if isinstance(belief, Mode):
        return belief
    return replace(_Join(stage, belief).with_sites(belief.tau, belief.nu), evidence=belief.evidence)


def _match(stage: Stage, join: _Join, mode: Mode, pace: tuple[float, ...], settled: float) -> Mode | None:
    """Match moments sweep by sweep at one pace; None if they do not settle."""
    tau, nu = mode.curvature, mode.gradient + mode.curvature * mode.eta
    tilting = _Tilting(stage.counts)
    for damp in pace:
        try:
            sweep = _sweep(join, tilting, tau, nu)
        except NotPositive:
            return None
        if sweep is None:
            return None
        far = np.sqrt(np.mean(sweep.moved**2)) if stage.many else np.max(sweep.moved, initial=0.0)
        if far < settled:
            return replace(sweep.now, evidence=sweep.evidence)
        tau, nu = sweep.towards(damp)
    return None


class _Tilting:
    """The quadrature of every record, chosen when its variance is first known."""

    def __init__(self, counts: Counts) -> None:
        self.counts = counts
        self.chosen: Tilted | None = None

    def by(self, variance: Floats) -> Tilted:
        """Return it."""
        self.chosen = self.chosen or Tilted.of(self.counts, variance)
        return self.chosen


@dataclass(frozen=True, slots=True)
class _Sweep:
    """The Gaussian at some sites, its evidence, how far each record's moments are off, and the sites they ask for."""

    now: Mode
    evidence: float
    moved: Floats
    tau: Floats
    nu: Floats
    tau_asked: Floats
    nu_asked: Floats

    def towards(self, damp: float) -> tuple[Floats, Floats]:
        """Go a share of the way to the sites that the moments ask for."""
        return self.tau + damp * (self.tau_asked - self.tau), self.nu + damp * (self.nu_asked - self.nu)


def _sweep(join: _Join, tilting: _Tilting, tau: Floats, nu: Floats, among: Floats | None = None) -> _Sweep | None:
    """Match the moments of every record once; None if they are no numbers.

    ``among`` stands for the covariance of the columns in the variances of the records' logits.
    """
    now = join.with_sites(tau, nu)
    if among is None:
        known = uncertainty(join.lay, join.units, now.elimination, now.root)
        now, variance = replace(now, known=known), known[1]
    else:
        variance = record_variances(join.lay, now.elimination, among)
    rest = np.maximum(1.0 / variance - tau, _LEAST_REST)
    cavity = (now.eta / variance - nu) / rest
    with np.errstate(invalid="ignore"):  # told by its result
        log_mass, mean, matched = tilting.by(variance).moments(cavity, 1.0 / rest, now.eta, np.sqrt(variance))
    if not (np.all(np.isfinite(mean)) and np.all(matched > 0.0)):
        return None
    moved = np.abs(mean - now.eta) / np.sqrt(variance) + np.abs(matched / variance - 1.0)
    site = log_mass - 0.5 * np.log(variance * rest) - 0.5 * now.eta**2 / variance + 0.5 * cavity**2 * rest
    tau_asked = np.maximum(1.0 / matched - rest, _LEAST_SITE)
    nu_asked = mean / matched - cavity * rest
    return _Sweep(now, now.evidence + float(site.sum()), moved, tau, nu, tau_asked, nu_asked)


class _Join:
    """Joins the prior of one stage at given scales with sites exp(nu eta - tau eta² / 2), one a record."""

    def __init__(self, stage: Stage, mode: Mode | Sites) -> None:
        self.lay, self.scales = stage.layout, mode.scales
        self.units = Units(stage, mode.scales)
        self.variances = mode.scales.sds[list(stage.layout.chain)] ** 2
        self.offset = stage.offset + stage.x @ stage.mean

    def with_sites(self, tau: Floats, nu: Floats) -> Mode:
        """Return the Gaussian, whose evidence is yet that of the sites."""
        lay, units = self.lay, self.units
        elimination = Elimination.of(lay, tau, self.variances)
        root = Root.of(lay.pattern, units.precision(elimination.gram(lay)))
        weighted = nu - tau * self.offset
        a = root.solve(units.scale * lay.to_columns(elimination.solve(lay, weighted)))
        theta = units.scale * a
        residual = elimination.solve(lay, weighted - tau * lay.to_records(theta))
        pulls = tuple(lay.sums(level, residual) for level in range(len(lay.chain)))
        eta = self.offset + lay.to_records(theta)
        height = -0.5 * units.energy(a)
        for level, (pull, v) in enumerate(zip(pulls, self.variances, strict=True)):
            eta = eta + v * pull[lay.groups[level]]
            height -= 0.5 * float(v * (pull @ pull))
        height += float(nu @ eta - 0.5 * (tau * eta) @ eta)
        evidence = height - 0.5 * (elimination.log_damping() + root.logdet + units.logdet)
        return Mode(
            self.scales, eta, a, theta, pulls, nu - tau * eta, tau, np.zeros_like(eta), elimination, root, evidence
        )
