"""Nested effects integrated out exactly, and the columns that remain written without their prior scales."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crosscompat.model.effects import Factor, Ints
from crosscompat.model.layout import Layout
from crosscompat.model.likelihood import Counts, Floats

__all__ = ["Elimination", "Scales", "Stage", "Whitener", "group_precisions", "record_variances"]


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
    layout : Layout
    offset : ndarray of float, shape (n_records,)
        Known part of each logit.
    """

    counts: Counts
    x: Floats
    mean: Floats
    sd: Floats
    factors: tuple[Factor, ...]
    layout: Layout
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


@dataclass(frozen=True, slots=True)
class Elimination:
    """The nested effects, integrated out at given curvatures w.

    Attributes
    ----------
    curvature : ndarray of float, shape (n_records,)
        w.
    variances : ndarray of float
        v, one an eliminated factor, finest first.
    keep : tuple of ndarray of float, shape (n_records,)
        The product of 1 / (1 + v load) over the factors before each one.
    load : tuple of ndarray of float
        The sum of w * keep over each group.
    gain : tuple of ndarray of float
        v / (1 + v load).
    part : tuple of ndarray of float
        The local design summed with w * keep.
    matrix : ndarray of float, shape (q, q)
        D' N^-1 D, with N = 1 / w + the nested covariances.
    """

    curvature: Floats
    variances: Floats
    keep: tuple[Floats, ...]
    load: tuple[Floats, ...]
    gain: tuple[Floats, ...]
    part: tuple[Floats, ...]
    matrix: Floats

    @classmethod
    def of(cls, lay: Layout, curvature: Floats, variances: Floats) -> Elimination:
        """Eliminate factor by factor."""
        keep, load, gain, part = [np.ones_like(curvature)], [], [], []
        single = bool(lay.counts) and lay.counts[0] == curvature.size
        alone, matrix = curvature, np.zeros((lay.size, lay.size))
        for level, variance in enumerate(variances):
            share = curvature * keep[-1]
            load.append(lay.sums(level, share))
            damp = 1.0 + variance * load[-1]
            gain.append(variance / damp)
            part.append(lay.sums(level, share[:, None] * lay.local))
            if level == 0 and single:
                alone = curvature / damp[lay.groups[0]]
            else:
                matrix -= lay.gram(part[-1], gain[-1], lay.tops(level))
            keep.append(keep[-1] / damp[lay.groups[level]])
        matrix += lay.gram(lay.local, alone, lay.top)
        return cls(curvature, variances, tuple(keep), tuple(load), tuple(gain), tuple(part), matrix)

    def solve(self, lay: Layout, weighted: Floats) -> Floats:
        """Return N^-1 x from w * x."""
        y = weighted.copy()
        for level, gain in enumerate(self.gain):
            hub = gain * lay.sums(level, self.keep[level] * weighted)
            y -= self.curvature * self.keep[level] * hub[lay.groups[level]]
        return y

    def log_damping(self) -> float:
        """Return log det(I + nested covariance * w)."""
        return float(sum(np.log1p(v * t).sum() for v, t in zip(self.variances, self.load, strict=True)))


class Whitener:
    """Moves between columns and whitened columns, which are standard normal before any record.

    With mean and sd of a coefficient it is mean + sd * a, an effect sd * R a with R R' = share A + (1 - share) I, so
    that a variance of 0 and a free coefficient (sd taken as 1, no prior) need no special case.

    Parameters
    ----------
    stage : Stage
    scales : Scales
    """

    def __init__(self, stage: Stage, scales: Scales) -> None:
        lay = stage.layout
        self.flat = np.zeros(lay.size, dtype=np.bool_)
        self.flat[: lay.p] = np.isinf(stage.sd)
        self.scale = np.concatenate([np.where(np.isinf(stage.sd), 1.0, stage.sd), np.zeros(lay.size - lay.p)])
        self.turns: list[tuple[slice, Floats]] = []
        for factor, block, sd in zip(stage.factors, lay.blocks, scales.sds, strict=True):
            self.scale[block] = sd
            if factor.kinship is not None and block.stop > block.start:
                self.scale[block] = sd * np.sqrt(factor.kinship.spectrum(scales.share))
                self.turns.append((block, factor.kinship.vectors))

    def out(self, a: Floats) -> Floats:
        """Return the columns of whitened columns: L a."""
        theta = self.scale * a if a.ndim == 1 else self.scale[:, None] * a
        for block, vectors in self.turns:
            theta[block] = vectors @ theta[block]
        return theta

    def back(self, b: Floats) -> Floats:
        """Return L' b."""
        turned = b.copy()
        for block, vectors in self.turns:
            turned[block] = vectors.T @ b[block]
        scaled: Floats = self.scale * turned if b.ndim == 1 else self.scale[:, None] * turned
        return scaled

    def both(self, covariance: Floats) -> Floats:
        """Return L covariance L'."""
        return self.out(self.out(covariance).T)

    def precision(self, matrix: Floats) -> Floats:
        """Return the posterior precision of the whitened columns, given D' N^-1 D."""
        whitened = self.back(self.back(matrix).T)
        whitened[np.diag_indices_from(whitened)] += np.where(self.flat, 0.0, 1.0)
        return 0.5 * (whitened + whitened.T)


def record_variances(lay: Layout, inner: Elimination, spread: Floats) -> Floats:
    """Return the posterior variance of each record's logit; ``spread`` is that of the columns."""
    rows = lay.local.copy()
    extra = np.zeros(rows.shape[0])
    for level, gain in enumerate(inner.gain):
        group, keep = lay.groups[level], inner.keep[level]
        rows -= (gain[group] * keep)[:, None] * inner.part[level][group]
        extra += gain[group] * keep**2
    return extra + lay.quadratic(rows, spread, lay.top)


def group_precisions(lay: Layout, inner: Elimination, spread: Floats, level: int) -> Floats:
    """Return 1' V^-1 1 of each group of one eliminated factor, with V the covariance of the working logits."""
    damp = 1.0 + inner.variances[level] * inner.load[level]
    rows, tau = inner.part[level] / damp[:, None], inner.load[level] / damp
    total = tau.copy()
    place: Ints = np.arange(lay.counts[level])
    for upper in range(level + 1, len(lay.chain)):
        place = lay.parents[upper - 1][place]
        gain = inner.gain[upper][place]
        rows = rows - (gain * tau)[:, None] * inner.part[upper][place]
        total -= gain * tau**2
        tau = tau / (1.0 + inner.variances[upper] * inner.load[upper][place])
    precision: Floats = total - lay.quadratic(rows, spread, lay.tops(level))
    return precision
