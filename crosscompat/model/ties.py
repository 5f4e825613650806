"""What is believed of the pairs crossed, beside their parents, matched point by point of the variances."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from crosscompat.model.effects import Ints
from crosscompat.model.likelihood import Floats
from crosscompat.model.threads import do_all

if TYPE_CHECKING:
    from crosscompat.model.effects import Factor
    from crosscompat.model.elimination import Stage
    from crosscompat.model.laplace import Mode

__all__ = ["EFFECTS", "KIN", "Tied", "Ties", "Ways", "factor_of", "parts_of"]

EFFECTS = ("seed", "pollen", "seed_plant", "pollen_plant", "pair", "direction", "record")
KIN = EFFECTS[:2]

_NESTED = EFFECTS[:3:-1]  # record, direction, pair: finest first
_BLOCK = 2_000_000
_JITTER = 1e-12


@dataclass(frozen=True, slots=True)
class Ties:
    """What is believed of the pairs crossed, beside their parents: a row a pair and direction, both ways round.

    Attributes
    ----------
    ways : ndarray of int, shape (n_ways, 2)
        Seed and pollen parent, as numbers of the species seen.
    pair, direction : ndarray of float, shape (n_ways,)
        Mean of what both directions share, and of what this one has of its own.
    own : ndarray of float, shape (n_ways,)
        Variance of the two together where everything else is known.
    columns : ndarray of int, shape (n_ways, w)
        Coefficients and effects that they lean on, -1 for none.
    lean : ndarray of float, shape (n_ways, w)
        How much higher they are believed to be where such a column is lower by 1.
    """

    ways: Ints
    pair: Floats
    direction: Floats
    own: Floats
    columns: Ints
    lean: Floats

    def find(self, seed: Ints, pollen: Ints) -> Ints:
        """Return the row of each directed pair, -1 where it was crossed neither way round."""
        if not len(self.ways):
            return np.full(len(seed), -1, dtype=np.intp)
        step = int(self.ways.max()) + 1
        keys = self.ways[:, 0] * step + self.ways[:, 1]
        order = np.argsort(keys)
        wanted = np.where((seed >= 0) & (pollen >= 0) & (pollen < step), seed * step + pollen, -1)
        place = order[np.minimum(np.searchsorted(keys, wanted, sorter=order), len(keys) - 1)]
        return np.where(keys[place] == wanted, place, -1)


def factor_of(stage: Stage, name: str) -> tuple[int, Factor]:
    """Return the place of a factor among those of a stage, and the factor."""
    return next((i, factor) for i, factor in enumerate(stage.factors) if factor.name == name)


@dataclass(frozen=True, slots=True)
class Ways:
    """The pairs crossed, both ways round: their parents, and their groups (-1 for a direction not crossed)."""

    ways: Ints
    pair: Ints
    direction: Ints

    @classmethod
    def of(cls, stage: Stage, pairs: Ints) -> Ways:
        """Find them from the seed and the pollen parent of each record, (n_records, 2)."""
        lay = stage.layout
        _, direction, pair = (lay.groups[lay.chain.index(factor_of(stage, name)[0])] for name in _NESTED)
        both = np.concatenate([np.column_stack([pairs, pair, direction]), _turned(pairs, pair)])
        order = np.lexsort((-both[:, 3], both[:, 1], both[:, 0]))
        both = both[order]
        first = np.ones(len(both), dtype=np.bool_)
        first[1:] = np.any(both[1:, :2] != both[:-1, :2], axis=1)
        kept = both[first]
        return cls(kept[:, :2], kept[:, 2], kept[:, 3])

    def columns(self, stage: Stage) -> Ints:
        """Columns that the crosses of each pair touch, then its own parents' where those have gone the other way."""
        lay = stage.layout
        touched = lay.columns[self.pair]
        own = self.ways + [lay.blocks[factor_of(stage, name)[0]].start for name in KIN]
        there = (touched[:, :, None] == own[:, None, :]).any(axis=1)
        both = np.column_stack([touched, np.where(there, lay.size, own)])
        order = np.argsort(both == lay.size, axis=1, kind="stable")  # those touched lose nothing but padding
        width = max(touched.shape[1], int((both < lay.size).sum(axis=1).max(initial=0)))
        return np.take_along_axis(both, order, axis=1)[:, :width]


def _turned(pairs: Ints, pair: Ints) -> Ints:
    return np.column_stack([pairs[:, ::-1], pair, np.full(len(pair), -1, dtype=np.intp)])


@dataclass(frozen=True, slots=True)
class Tied:
    """Pair and direction of every pair, and how they lean on the columns of that pair, matched point by point.

    Attributes
    ----------
    stage : Stage
    ways : Ways
    columns : ndarray of int, shape (n_ways, w)
        Columns of each pair, padded with q.
    pair, direction : ndarray of float, shape (n_ways,)
        Means over the points added so far.
    cross : ndarray of float, shape (n_ways, w)
        Sum, over those points, of the product of the two together with the columns.
    variance : ndarray of float, shape (n_ways,)
        That of their square.
    """

    stage: Stage
    ways: Ways
    columns: Ints
    pair: Floats
    direction: Floats
    cross: Floats
    variance: Floats

    @classmethod
    def of(cls, stage: Stage, ways: Ways) -> Tied:
        """Begin without a point."""
        columns = ways.columns(stage)
        pair, direction, variance = np.zeros((3, len(columns)))
        return cls(stage, ways, columns, pair, direction, np.zeros(columns.shape), variance)

    def add(self, mode: Mode, weight: float, spread: Floats, mean: Floats) -> None:
        """Add one point, with the covariance and the means of its columns."""
        means = np.append(mean[: self.stage.layout.size], 0.0)
        shared, alone = _tie_means(self.stage, mode, self.ways)
        self.pair[:] += weight * shared
        self.direction[:] += weight * alone
        both = shared + alone
        lean, left = _tie(self.stage, mode, self.ways, self.columns.shape[1])
        padded = _padded(spread)

        def sum_up(part: slice) -> None:
            at, ln = self.columns[part], lean[part]
            leaning = np.einsum("nij,nj->ni", padded[at[:, :, None], at[:, None, :]], ln)
            self.cross[part] += weight * (both[part, None] * means[at] - leaning)
            self.variance[part] += weight * (left[part] + np.einsum("ni,ni->n", ln, leaning) + both[part] ** 2)

        self._for_parts(sum_up)

    def matched(self, covariance: Floats, mean: Floats) -> Ties:
        """Return what is believed when all points are in, given covariance and means of the columns over all."""
        size, lean, own = self.stage.layout.size, np.zeros(self.columns.shape), np.zeros(len(self.columns))
        both, means = self.pair + self.direction, np.append(mean[:size], 0.0)
        padded = _padded(covariance[:size, :size])

        def solve(part: slice) -> None:
            among = _among(padded, self.columns[part])
            cross = self.cross[part] - both[part, None] * means[self.columns[part]]
            lean[part] = -np.linalg.solve(among, cross[:, :, None])[:, :, 0]
            own[part] = self.variance[part] - both[part] ** 2 + np.einsum("ni,ni->n", lean[part], cross)

        self._for_parts(solve)
        there = self.columns < size
        columns = np.where(there, self.columns, -1)
        return Ties(
            self.ways.ways, self.pair, self.direction, np.maximum(own, 0.0), columns, np.where(there, lean, 0.0)
        )

    def _for_parts(self, do: Callable[[slice], None]) -> None:
        """Do something with parts of the pairs, each of which is written to by itself."""
        parts = parts_of(self.columns.shape[0], self.columns.shape[1] ** 2)
        do_all(do, parts, many=self.stage.many)


def _tie_means(stage: Stage, mode: Mode, ways: Ways) -> tuple[Floats, Floats]:
    """Mean of pair and of direction at one point."""
    fine, coarse = (stage.layout.chain.index(factor_of(stage, name)[0]) for name in _NESTED[1:])
    variances, at = mode.elimination.variances, np.maximum(ways.direction, 0)
    alone = np.where(ways.direction >= 0, variances[fine] * mode.pulls[fine][at], 0.0)
    return variances[coarse] * mode.pulls[coarse][ways.pair], alone


def _tie(stage: Stage, mode: Mode, ways: Ways, width: int) -> tuple[Floats, Floats]:
    """Return what pair and direction together lean on at one point, and their variance beyond it."""
    inner, lay = mode.elimination, stage.layout
    fine, coarse = (lay.chain.index(factor_of(stage, name)[0]) for name in _NESTED[1:])
    crossed, at = ways.direction >= 0, np.maximum(ways.direction, 0)
    gain = np.where(crossed, inner.gain[fine][at], 0.0)
    keep = np.where(crossed, 1.0 / (1.0 + inner.variances[fine] * inner.load[fine][at]), 1.0)
    above = inner.gain[coarse][ways.pair]
    lean = np.zeros((len(at), width))
    known = lean[:, : lay.columns.shape[1]]
    known += gain[:, None] * inner.rows(lay, fine)[at]
    known += (above * keep)[:, None] * inner.rows(lay, coarse)[ways.pair]
    return lean, np.where(crossed, gain, inner.variances[fine]) + above * keep**2


def _padded(covariance: Floats) -> Floats:
    """Add a column and a row of 0."""
    size = len(covariance)
    padded = np.zeros((size + 1, size + 1))
    padded[:size, :size] = covariance
    return padded


def _among(padded: Floats, at: Ints) -> Floats:
    """Cut the columns of each pair out of a covariance; a padded column stands alone."""
    local, i = padded[at[:, :, None], at[:, None, :]], np.arange(at.shape[1])
    local[:, i, i] += np.where(at == len(padded) - 1, 1.0, _JITTER * (1.0 + local[:, i, i]))
    return local


def parts_of(count: int, numbers: int) -> list[slice]:
    """Cut rows of so many numbers into parts that are not too large."""
    step = max(1, _BLOCK // max(numbers, 1))
    return [slice(begin, begin + step) for begin in range(0, count, step)]
