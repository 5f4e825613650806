"""Nested effects integrated out exactly, and the columns that remain, in units of their prior scales."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from crosscompat.model.effects import Factor, Ints, Kinship
from crosscompat.model.layout import Layout
from crosscompat.model.likelihood import Counts, Floats

__all__ = ["Elimination", "Scales", "Stage", "Units", "group_precisions", "record_variances"]

MANY = 20_000  # records of which no single one is told apart in a belief


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

    @property
    def many(self) -> bool:
        """Whether there are so many records that scales are sought, and moments matched, by all rather than by each."""
        return len(self.x) >= MANY


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
        The product of 1 / (1 + v load) over the factors before each one, and over all of them.
    load : tuple of ndarray of float
        The sum of w * keep over each group.
    gain : tuple of ndarray of float
        v / (1 + v load).
    part : tuple of ndarray of float, shape (n_groups, w)
        The local design summed with w * keep; without rows where every record has its group for itself.
    """

    curvature: Floats
    variances: Floats
    keep: tuple[Floats, ...]
    load: tuple[Floats, ...]
    gain: tuple[Floats, ...]
    part: tuple[Floats, ...]

    @classmethod
    def of(cls, lay: Layout, curvature: Floats, variances: Floats) -> Elimination:
        """Eliminate factor by factor."""
        keep, load, gain, part = [np.ones_like(curvature)], [], [], []
        for level, variance in enumerate(variances):
            share = curvature * keep[-1]
            load.append(lay.sums(level, share))
            damp = 1.0 + variance * load[-1]
            gain.append(variance / damp)
            part.append(lay.parts(level, share) if lay.shared[level] else np.empty((0, lay.columns.shape[1])))
            keep.append(keep[-1] / damp[lay.groups[level]])
        return cls(curvature, variances, tuple(keep), tuple(load), tuple(gain), tuple(part))

    def gram(self, lay: Layout) -> Floats:
        """Return D' N^-1 D, with N = 1 / w + the nested covariances, as a row of cells."""
        return lay.gram(self.curvature * _alone(lay, self.keep), self.part, self.gain)

    def rows(self, lay: Layout, level: int) -> Floats:
        """Return the local design summed with w * keep over the groups of one factor, (n_groups, w)."""
        return self.part[level] if lay.shared[level] else lay.parts(level, self.curvature * self.keep[level])

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


def _alone(lay: Layout, keep: tuple[Floats, ...]) -> Floats:
    """Return how much of a record is left by the groups that it has for itself."""
    left = keep[0]
    for lone, after in zip(lay.lone, keep[1:], strict=True):
        left = np.where(lone, after, left)
    return left


class Units:
    """Columns in units of their prior scales: theta = scale * a, with prior precision ``own`` of a.

    A coefficient has mean + sd * a, an effect sd * a with a of covariance R = share A + (1 - share) I, so that a
    variance of 0 and a free coefficient (sd taken as 1, no prior) need no special case.

    Parameters
    ----------
    stage : Stage
    scales : Scales
    """

    def __init__(self, stage: Stage, scales: Scales) -> None:
        lay = stage.layout
        self.pattern, self.share = lay.pattern, scales.share
        self.free = np.zeros(lay.size, dtype=np.bool_)
        self.free[: lay.p] = np.isinf(stage.sd)
        self.scale = np.concatenate([np.where(np.isinf(stage.sd), 1.0, stage.sd), np.zeros(lay.size - lay.p)])
        self.related: list[tuple[slice, Kinship]] = []
        for factor, block, sd in zip(stage.factors, lay.blocks, scales.sds, strict=True):
            self.scale[block] = sd
            if factor.kinship is not None and block.stop > block.start:
                self.related.append((block, factor.kinship))

    @cached_property
    def kin(self) -> list[tuple[slice, Floats]]:
        """Columns of related levels, with R^-1."""
        inverse = {id(kinship): kinship.inverse(self.share) for _, kinship in self.related}
        return [(block, inverse[id(kinship)]) for block, kinship in self.related]

    @cached_property
    def logdet(self) -> float:
        """Sum of the log determinants of R."""
        return float(sum(np.log(kinship.spectrum(self.share)).sum() for _, kinship in self.related))

    @cached_property
    def own(self) -> Floats:
        """Prior precision of a, as a row of cells."""
        cells = self.pattern.cells
        row = np.zeros(cells.count + 1)
        row[self.pattern.diagonal] = np.where(self.free, 0.0, 1.0)
        square = cells.square(row)
        for block, inverse in self.kin:
            at = int(np.searchsorted(cells.core, block.start))
            square[at : at + len(inverse), at : at + len(inverse)] = inverse
        return row

    @cached_property
    def outer(self) -> Floats:
        """Product of the scales of the two columns of each cell."""
        return self.pattern.cells.outer(self.scale)

    def energy(self, a: Floats) -> float:
        """Return a' own a."""
        plain = ~self.free
        total = 0.0
        for block, inverse in self.kin:
            plain[block] = False
            total += float(a[block] @ inverse @ a[block])
        return total + float(a[plain] @ a[plain])

    def precision(self, gram: Floats) -> Floats:
        """Turn D' N^-1 D into the posterior precision of a; both are a row of cells, and the same one."""
        gram *= self.outer
        gram += self.own
        return gram


def record_variances(lay: Layout, inner: Elimination, spread: Floats) -> Floats:
    """Return the posterior variance of each record's logit; ``spread`` is that of the columns, as a row of cells."""
    pull = [gain[group] * keep for gain, group, keep in zip(inner.gain, lay.groups, inner.keep, strict=False)]
    found = np.zeros(len(lay.value))
    for one, keep in zip(pull, inner.keep, strict=False):
        found += one * keep
    left = _alone(lay, inner.keep)
    pull = [np.where(lone, 0.0, one) for lone, one in zip(lay.lone, pull, strict=True)]
    for some in lay.records:
        rows = lay.rows(some, left)
        for level, one in enumerate(pull):
            if lay.shared[level] and not some.lone:
                part = inner.part[level].take(lay.groups[level][some.rows], axis=0)[:, : some.width]
                rows -= one[some.rows, None] * part
        found[some.rows] += some.quadratic(rows, spread)
    return found


def group_precisions(lay: Layout, inner: Elimination, variance: Floats, spread: Floats, level: int) -> Floats:
    """Return 1' V^-1 1 of each group of one eliminated factor, with V the covariance of the working logits.

    Parameters
    ----------
    lay : Layout
    inner : Elimination
    variance : ndarray of float, shape (n_records,)
        Posterior variances of the records' logits.
    spread : ndarray of float
        Posterior covariance of the columns, as a row of cells.
    level : int
    """
    lone, w = lay.lone[level], inner.curvature
    damp = 1.0 + inner.variances[level] * inner.load[level]
    precision = np.zeros(lay.counts[level])
    precision[lay.groups[level][lone]] = (w * (1.0 - w * variance))[lone]
    for some in lay.shared[level]:
        groups: Ints = some.rows
        rows, tau = inner.part[level][groups] / damp[groups, None], (inner.load[level] / damp)[groups]
        total, place = tau.copy(), groups
        for upper in range(level + 1, len(lay.chain)):
            place = lay.parents[upper - 1][place]
            gain = inner.gain[upper][place]
            rows = rows - (gain * tau)[:, None] * inner.part[upper][place]
            total -= gain * tau**2
            tau = tau / (1.0 + inner.variances[upper] * inner.load[upper][place])
        precision[groups] = total - some.quadratic(rows[:, : some.width], spread)
    return precision
