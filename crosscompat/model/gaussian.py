"""Everything about one stage, and its prior joined with one working logit a record: a Gaussian by one Cholesky root."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from crosscompat.model.design_matrix import DesignMatrix, Factor, design_matrix
from crosscompat.model.likelihood import Counts, Floats


@dataclass(frozen=True, slots=True)
class GaussianPrior:
    """Independent normal priors, shape (n_coefficients,); an infinite ``sd`` leaves the coefficient free."""

    mean: Floats
    sd: Floats


class NotConverged(ArithmeticError):
    """The mode runs away: without a prior, the data separate takes from failures."""


@dataclass(frozen=True, slots=True)
class Stage:
    """Everything about one stage but its variances.

    The logit is offset (n_records,) + x (n_records, p) coefficients + the sum of the effects; coefficients are normal
    with ``mean`` and ``sd``, shape (p,), an infinite sd leaving one free; effects are normal with mean 0 and variance
    sd² (share A + (1 - share) I).
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
    """How much the effects of each factor vary, sds in logits, and the phylogenetic share lambda."""

    sds: Floats
    share: float = 0.5


def stage_of(
    counts: Counts,
    x: ArrayLike,
    prior: GaussianPrior,
    factors: tuple[Factor, ...] = (),
    offset: Floats | None = None,
) -> Stage:
    """Lay out a stage; ValueError if the nested factors do not lie within one another."""
    table = np.asarray(x, dtype=np.float64)
    mean = np.where(np.isinf(prior.sd), 0.0, prior.mean)
    base = np.zeros(table.shape[0]) if offset is None else offset
    return Stage(counts, table, mean, prior.sd, factors, design_matrix(table, factors), base)


class Elimination:
    """The nested effects, integrated out of records with noise of precision w: N = 1 / w + their covariance.

    They are eliminated from the finest factor up by the formula of Sherman and Morrison (1950, Annals of Mathematical
    Statistics 21:124-127), which needs sums over groups alone. ``keep``, shape (n_records,) a factor, is the product of
    1 / (1 + v load) over the factors before, v their variance; ``load`` the sum of w * keep over each group, ``gain`` v
    / (1 + v load). ``leaning``, shape (n_records, w), are rows of w^-1 N^-1 D with D the design matrix: how logits,
    given the records, lean on the columns.
    """

    def __init__(self, design: DesignMatrix, weight: Floats, variances: Floats) -> None:
        self.design, self.weight, self.variances = design, weight, variances
        self.keep: list[Floats] = []
        self.load: list[Floats] = []
        self.gain: list[Floats] = []
        keep, own, parts = np.ones_like(weight), np.ones_like(weight), []
        for nest, variance in zip(design.nested, variances, strict=True):
            share = weight * keep
            load = nest.sums(share)
            damp = 1.0 + variance * load
            gain = variance / damp
            pull = keep * gain[nest.groups]
            if nest.single:
                own = own - pull * share
            else:
                parts.append((pull, nest, share))
            self.keep.append(keep)
            self.load.append(load)
            self.gain.append(gain)
            keep = keep / damp[nest.groups]
        self.leaning: Floats = design.rows * own[:, None]
        for pull, nest, share in parts:
            self.leaning -= pull[:, None] * nest.sums(design.rows * share[:, None])[nest.groups]

    def gram(self) -> Floats:
        """Return D' N^-1 D, shape (q, q)."""
        return self.design.gram(self.weight[:, None] * self.leaning)

    def solve(self, weighted: Floats) -> Floats:
        """Return N^-1 x from w * x, shape (n_records,)."""
        y = weighted.copy()
        for nest, keep, gain in zip(self.design.nested, self.keep, self.gain, strict=True):
            y -= self.weight * keep * (gain * nest.sums(keep * weighted))[nest.groups]
        return y

    def log_damping(self) -> float:
        """Return log det(I + nested covariance * w)."""
        return float(sum(np.log1p(v * load).sum() for v, load in zip(self.variances, self.load, strict=True)))

    def variance(self, scale: Floats, spread: Floats) -> Floats:
        """Return the posterior variance of each record's logit, given scales of the columns and their covariance."""
        scales = scale[self.design.columns] if self.design.products else scale
        result = self.design.quadratic(self.leaning * scales, spread)
        for nest, keep, gain in zip(self.design.nested, self.keep, self.gain, strict=True):
            result += gain[nest.groups] * keep**2
        return result

    def group_rows(self, level: int) -> Floats:
        """Return 1' N^-1 D of each group of one nested factor, shape (n_groups, w)."""
        return self.design.nested[level].sums(self.weight[:, None] * self.leaning)

    def group_precisions(self, level: int, variance: Floats, covariance: Floats) -> Floats:
        """Return 1' V^-1 1 of each group of one nested factor, with V the covariance of the working logits.

        ``variance`` are those of the records' logits after the fact, ``covariance`` that of the columns.
        """
        nest = self.design.nested[level]
        if nest.single:
            return nest.sums(self.weight * (1.0 - self.weight * variance))
        tau = self.load[level] / (1.0 + self.variances[level] * self.load[level])
        total, place = tau.copy(), np.arange(nest.size)
        for upper in range(level + 1, len(self.design.nested)):
            place = self.design.nested[upper - 1].parent[place]
            total -= self.gain[upper][place] * tau**2
            tau = tau / (1.0 + self.variances[upper] * self.load[upper][place])
        return np.asarray(total - self.design.quadratic_of_groups(self.group_rows(level), nest.top, covariance))


class Prior:
    """The prior of one stage at given scales, its columns in units of their scales: theta = scale * a.

    A coefficient has mean + sd * a, an effect sd * a with a of covariance R = share A + (1 - share) I, so that a
    variance of 0 and a free coefficient (sd taken as 1, no prior) need no special case. ``scale``, shape (q,), and
    products of two of them, ``outer``; ``precision``, shape (q, q), is of a, 0 of a free coefficient; ``variances`` are
    of the nested factors, finest first; ``logdet`` is the sum of the log determinants of R; ``offset``, shape
    (n_records,), the prior mean of each logit.
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

        Nested effects are their variance times the sum over each group of ``residual``, shape (n_records,).
        """
        eta = self.offset + self.design.to_records(self.scale * a)
        energy = 0.5 * float(a @ self.precision @ a)
        for nest, variance in zip(self.design.nested, self.variances, strict=True):
            pull = nest.sums(residual)
            eta = eta + variance * pull[nest.groups]
            energy += 0.5 * float(variance * (pull @ pull))
        return eta, energy


class Gaussian:
    """A prior joined with one working logit a record, of precision ``weight``, shape (n_records,).

    NotConverged if two free coefficients cannot be told apart.
    """

    def __init__(self, prior: Prior, weight: Floats) -> None:
        from scipy.linalg import lapack  # noqa: PLC0415 - only a fit needs it

        self._lapack = lapack
        self.prior, self.weight = prior, weight
        self.elimination = Elimination(prior.design, weight, prior.variances)
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
        return np.asarray(self._lapack.dpotrs(self.root, vector, lower=1)[0]) if len(vector) else vector

    def solve(self, weighted: Floats) -> tuple[Floats, Floats]:
        """Return the mean of a, and the residual that the nested effects follow from, shapes (q,) and (n_records,).

        ``weighted`` are working logits less their prior means, times their precisions.
        """
        design, scale = self.prior.design, self.prior.scale
        a = self.columns(scale * design.to_columns(self.elimination.solve(weighted)))
        return a, self.elimination.solve(weighted - self.weight * design.to_records(scale * a))

    @cached_property
    def _half(self) -> Floats:
        """Upper half of the covariance of a."""
        return np.asarray(self._lapack.dpotri(self.root, lower=1)[0].T if len(self.root) else self.root)

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
