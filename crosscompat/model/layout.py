"""How the columns of one stage lie in memory, so that sums over records and groups are plain array work.

Effects that nest (record in directed pair in pair) are eliminated group by group and never become columns. Every record
touches few of the remaining columns; those touched within one coarsest group are kept side by side.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crosscompat.model.columns import Pattern
from crosscompat.model.effects import Factor, Ints, nested_chain
from crosscompat.model.likelihood import Floats
from crosscompat.model.rows import Alike, Crowd, alike, crowds

__all__ = ["Layout", "lay_out"]


@dataclass(frozen=True, slots=True)
class Layout:
    """Columns and nested groups of one stage.

    Attributes
    ----------
    p : int
        Coefficients; their columns come first.
    blocks : tuple of slice
        Columns of each factor, an empty slice for an eliminated one.
    size : int
        All columns, q.
    chain : tuple of int
        Eliminated factors, finest first.
    groups : tuple of ndarray of int, shape (n_records,)
        Group of each record, one array an eliminated factor.
    counts : tuple of int
        Groups of each.
    parents : tuple of ndarray of int
        For each eliminated factor but the last, the next coarser group of each of its groups.
    lone : tuple of ndarray of bool, shape (n_records,)
        For each eliminated factor, which records have their group for themselves.
    columns : ndarray of int, shape (n_tops, w)
        Columns that a coarsest group touches, padded with q.
    where, place : ndarray of int, shape (n_records, k)
        Columns that a record touches, padded with q, and where they stand among those of its coarsest group.
    value : ndarray of float, shape (n_records, k)
        The design in those columns, 0 where padded.
    pattern : Pattern
        The cells of a q x q matrix that are kept.
    own : Alike
        The records, by the columns that they touch.
    records : tuple of Alike or Crowd
        The records, by the columns that their coarsest group touches.
    shared : tuple of tuple of Alike
        For each eliminated factor, its groups of two records and more, by the columns of their coarsest group.
    cells : ndarray of int
        Cells of ``own`` and ``shared``, one after the other.
    """

    p: int
    blocks: tuple[slice, ...]
    size: int
    chain: tuple[int, ...]
    groups: tuple[Ints, ...]
    counts: tuple[int, ...]
    parents: tuple[Ints, ...]
    lone: tuple[NDArray[np.bool_], ...]
    columns: Ints
    where: Ints
    place: Ints
    value: Floats
    pattern: Pattern
    own: Alike
    records: tuple[Alike | Crowd, ...]
    shared: tuple[tuple[Alike, ...], ...]
    cells: Ints

    def sums(self, level: int, values: Floats) -> Floats:
        """Sum per-record numbers over the groups of one eliminated factor."""
        return np.bincount(self.groups[level], values, minlength=self.counts[level]).astype(np.float64, copy=False)

    def parts(self, level: int, weight: Floats) -> Floats:
        """Sum the weighted design over the groups of one eliminated factor, in the columns of their coarsest group."""
        wide = self.columns.shape[1]
        where = self.groups[level][:, None] * wide + self.place
        found = np.bincount(where.ravel(), (self.value * weight[:, None]).ravel(), minlength=self.counts[level] * wide)
        return found.astype(np.float64, copy=False).reshape(-1, wide)

    def tops(self, level: int) -> Ints:
        """Return the coarsest group of each group of one eliminated factor."""
        return _tops(self.counts, self.parents, level)

    def to_columns(self, weight: Floats) -> Floats:
        """Sum per-record numbers into the q columns: D' weight."""
        summed = np.bincount(self.where.ravel(), (self.value * weight[:, None]).ravel(), minlength=self.size + 1)
        return summed[: self.size].astype(np.float64, copy=False)

    def to_records(self, theta: Floats) -> Floats:
        """Carry column values to the records: D theta."""
        carried: Floats = np.einsum("mk,mk->m", self.value, np.append(theta, 0.0)[self.where])
        return carried

    def rows(self, some: Alike | Crowd, weight: Floats) -> Floats:
        """Return the weighted design of some records in the columns of their coarsest group, (n, w)."""
        where = np.arange(len(some.rows))[:, None] * some.width + self.place[some.rows]
        weighted = self.value[some.rows] * weight[some.rows, None]
        found = np.bincount(where.ravel(), weighted.ravel(), minlength=len(some.rows) * some.width)
        return found.astype(np.float64, copy=False).reshape(len(some.rows), some.width)

    def gram(self, weight: Floats, parts: tuple[Floats, ...], gains: tuple[Floats, ...]) -> Floats:
        """Return D' diag(weight) D less gain * part part' of every shared group, as a row of cells."""
        found = [self.own.products(self.value, weight)]
        for some, part, gain in zip(self.shared, parts, gains, strict=True):
            found += [one.products(part.take(one.rows, axis=0)[:, : one.width], -gain[one.rows]) for one in some]
        flat = np.concatenate([one.ravel() for one in found])
        row = np.bincount(self.cells, flat, minlength=self.pattern.cells.count + 1).astype(np.float64, copy=False)
        row[-1] = 0.0
        return row


def lay_out(x: Floats, factors: tuple[Factor, ...]) -> Layout:
    """Choose the eliminated factors and lay the others out as columns.

    Parameters
    ----------
    x : ndarray of float, shape (n_records, p)
        Columns of the coefficients.
    factors : tuple of Factor

    Examples
    --------
    The mothers are eliminated; one intercept and two fathers stay.

    >>> import numpy as np
    >>> lay = lay_out(np.ones((4, 1)), (Factor.of("mother", [0, 0, 1, 1]), Factor.of("father", [0, 1, 0, 1])))
    >>> lay.size, lay.chain
    (3, (0,))
    """
    m, p = x.shape
    chain = nested_chain(factors)
    groups = tuple(factors[i].levels[:, 0] for i in chain)
    counts = tuple(factors[i].size for i in chain)
    blocks, size = _blocks(p, factors, chain)
    where, value = _entries(x, factors, blocks, size)
    top = groups[-1] if chain else np.arange(m)
    columns, place = _localise(where, top, counts[-1] if chain else m, size)
    pattern = Pattern.of(size, columns, _sparse(size, factors, blocks))
    parents = tuple(_parents(a, b, n) for a, b, n in zip(groups, groups[1:], counts, strict=False))
    records = [np.bincount(group, minlength=count) for group, count in zip(groups, counts, strict=True)]
    lone = tuple(number[group] == 1 for group, number in zip(groups, records, strict=True))
    many = (np.flatnonzero(number > 1) for number in records)
    shared = tuple(alike(pattern, columns, g, _tops(counts, parents, i)[g]) for i, g in enumerate(many))
    own = Alike.of(pattern, np.arange(m), where)
    cells = np.concatenate([one.cells.ravel() for one in (own, *(one for some in shared for one in some))])
    return Layout(
        p, blocks, size, chain, groups, counts, parents, lone, columns, where, place, value, pattern, own,
        crowds(pattern, columns, top), shared, cells,
    )  # fmt: skip


def _blocks(p: int, factors: tuple[Factor, ...], chain: tuple[int, ...]) -> tuple[tuple[slice, ...], int]:
    """Column slices of the factors, and the number of columns."""
    blocks, at = [], p
    for i, factor in enumerate(factors):
        width = 0 if i in chain else factor.size
        blocks.append(slice(at, at + width))
        at += width
    return tuple(blocks), at


def _entries(x: Floats, factors: tuple[Factor, ...], blocks: tuple[slice, ...], size: int) -> tuple[Ints, Floats]:
    """Columns that each record touches, each once, and the numbers there."""
    found = [(np.tile(np.arange(x.shape[1]), (len(x), 1)), x)]
    for factor, block in zip(factors, blocks, strict=True):
        if block.stop > block.start:
            inside = np.where(factor.levels >= 0, factor.levels + block.start, size)
            found.append((inside, np.where(factor.levels >= 0, factor.shares, 0.0)))
    where, value = (np.concatenate([entry[k] for entry in found], axis=1) for k in (0, 1))
    for j in range(where.shape[1]):
        for i in range(j):
            again = (where[:, i] == where[:, j]) & (where[:, j] < size)
            value[again, i] += value[again, j]
            where[again, j], value[again, j] = size, 0.0
    return where.astype(np.intp), value.astype(np.float64, copy=False)


def _sparse(size: int, factors: tuple[Factor, ...], blocks: tuple[slice, ...]) -> NDArray[np.bool_]:
    """Tell which columns stand for unrelated levels."""
    sparse = np.zeros(size, dtype=np.bool_)
    for factor, block in zip(factors, blocks, strict=True):
        sparse[block] = factor.kinship is None
    return sparse


def _parents(fine: Ints, coarse: Ints, count: int) -> Ints:
    """Coarse group of every fine group; 0 for one without records."""
    parent = np.zeros(count, dtype=np.intp)
    parent[fine] = coarse
    return parent


def _tops(counts: tuple[int, ...], parents: tuple[Ints, ...], level: int) -> Ints:
    place: Ints = np.arange(counts[level])
    for parent in parents[level:]:
        place = parent[place]
    return place


def _localise(where: Ints, top: Ints, tops: int, size: int) -> tuple[Ints, Ints]:
    """Columns of every coarsest group, padded, and where those of each record stand among them."""
    real = where < size
    key = (top[:, None] * (size + 1) + where)[real]
    unique, inverse = np.unique(key, return_inverse=True)
    owner = unique // (size + 1)
    rank = np.arange(unique.size) - np.searchsorted(owner, owner)
    columns = np.full((tops, max(int(rank.max(initial=-1)) + 1, 1)), size, dtype=np.intp)
    columns[owner, rank] = unique % (size + 1)
    place = np.zeros(where.shape, dtype=np.intp)
    place[real] = rank[inverse]
    return columns, place
