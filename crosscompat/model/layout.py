"""How the columns of one stage lie in memory, so that sums over records and groups are plain array work.

Effects that nest (record in directed pair in pair) are eliminated group by group and never become columns. Every record
touches few of the remaining columns; those touched within one coarsest group are kept side by side.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crosscompat.model.effects import Factor, Ints, nested_chain
from crosscompat.model.likelihood import Floats

__all__ = ["Layout", "lay_out"]

_CHUNK = 4_000_000


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
    columns : ndarray of int, shape (n_tops, w)
        Columns that a coarsest group touches, padded with q.
    top : ndarray of int, shape (n_records,)
        Coarsest group of each record.
    local : ndarray of float, shape (n_records, w)
        The design in those columns, 0 where padded.
    upper : pair of ndarray of int
        The pairs of local columns on and above the diagonal.
    cells : ndarray of int, shape (n_tops, n_upper)
        Where each such pair lies in a flat (q + 1) x (q + 1) matrix.
    """

    p: int
    blocks: tuple[slice, ...]
    size: int
    chain: tuple[int, ...]
    groups: tuple[Ints, ...]
    counts: tuple[int, ...]
    parents: tuple[Ints, ...]
    columns: Ints
    top: Ints
    local: Floats
    upper: tuple[Ints, Ints]
    cells: Ints

    def sums(self, level: int, values: Floats) -> Floats:
        """Sum per-record numbers over the groups of one eliminated factor; (n_records,) or (n_records, w)."""
        group, count = self.groups[level], self.counts[level]
        if values.ndim == 1:
            return np.bincount(group, values, minlength=count).astype(np.float64)
        return np.stack([np.bincount(group, v, minlength=count) for v in values.T], axis=1).astype(np.float64)

    def tops(self, level: int) -> Ints:
        """Return the coarsest group of each group of one eliminated factor."""
        place: Ints = np.arange(self.counts[level])
        for parent in self.parents[level:]:
            place = parent[place]
        return place

    def to_columns(self, weight: Floats) -> Floats:
        """Sum per-record numbers into the q columns: D' weight."""
        where = self.columns[self.top].ravel()
        summed = np.bincount(where, (self.local * weight[:, None]).ravel(), minlength=self.size + 1)
        return summed[: self.size].astype(np.float64)

    def to_records(self, theta: Floats) -> Floats:
        """Carry column values to the records: D theta."""
        padded = np.append(theta, 0.0)
        carried: Floats = np.einsum("mw,mw->m", self.local, padded[self.columns[self.top]])
        return carried

    def gram(self, rows: Floats, weight: Floats, top: Ints) -> Floats:
        """Sum weight * row row' over local rows, as a q x q matrix."""
        q1, (i, j) = self.size + 1, self.upper
        half = np.zeros(q1 * q1)
        for part in self._parts(len(rows)):
            products = rows[part][:, i] * rows[part][:, j] * weight[part, None]
            half += np.bincount(self.cells[top[part]].ravel(), products.ravel(), minlength=q1 * q1)
        square = half.reshape(q1, q1)[: self.size, : self.size]
        return square + square.T - np.diag(square.diagonal())

    def quadratic(self, rows: Floats, matrix: Floats, top: Ints) -> Floats:
        """Return row' matrix row for each local row; ``matrix`` is q x q and symmetric."""
        padded = np.zeros((self.size + 1, self.size + 1))
        padded[: self.size, : self.size] = matrix
        i, j = self.upper
        twice = np.where(i == j, 1.0, 2.0)
        flat, found = padded.ravel(), np.empty(len(rows))
        for part in self._parts(len(rows)):
            found[part] = (rows[part][:, i] * rows[part][:, j] * flat[self.cells[top[part]]]) @ twice
        return found

    def _parts(self, count: int) -> list[slice]:
        """Cut rows into parts whose products fit in memory."""
        step = max(1, _CHUNK // max(1, len(self.upper[0])))
        return [slice(at, at + step) for at in range(0, count, step)]


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
    entries = [(np.tile(np.arange(p), (m, 1)), x)]
    for i, factor in enumerate(factors):
        if i not in chain:
            inside = np.where(factor.levels >= 0, factor.levels + blocks[i].start, size)
            entries.append((inside, factor.shares))
    where = np.concatenate([entry[0] for entry in entries], axis=1)
    value = np.concatenate([entry[1] for entry in entries], axis=1)
    top = groups[-1] if chain else np.arange(m)
    columns, local = _localise(where, value, top, counts[-1] if chain else m, size)
    parents = tuple(_parents(a, b, n) for a, b, n in zip(groups, groups[1:], counts, strict=False))
    upper = np.triu_indices(local.shape[1])
    pair = np.sort(columns[:, np.array(upper)], axis=1)
    cells = pair[:, 0] * (size + 1) + pair[:, 1]
    return Layout(p, blocks, size, chain, groups, counts, parents, columns, top, local, upper, cells)


def _blocks(p: int, factors: tuple[Factor, ...], chain: tuple[int, ...]) -> tuple[tuple[slice, ...], int]:
    """Column slices of the factors, and the number of columns."""
    blocks, at = [], p
    for i, factor in enumerate(factors):
        width = 0 if i in chain else factor.size
        blocks.append(slice(at, at + width))
        at += width
    return tuple(blocks), at


def _parents(fine: Ints, coarse: Ints, count: int) -> Ints:
    """Coarse group of every fine group; 0 for one without records."""
    parent = np.zeros(count, dtype=np.intp)
    parent[fine] = coarse
    return parent


def _localise(where: Ints, value: Floats, top: Ints, tops: int, size: int) -> tuple[Ints, Floats]:
    """Columns of every coarsest group, padded, and the records' numbers in them."""
    real = where < size
    key = (top[:, None] * (size + 1) + where)[real]
    unique, inverse = np.unique(key, return_inverse=True)
    owner = unique // (size + 1)
    rank = np.arange(unique.size) - np.searchsorted(owner, owner)
    width = max(int(rank.max(initial=-1)) + 1, 1)
    columns = np.full((tops, width), size, dtype=np.intp)
    columns[owner, rank] = unique % (size + 1)
    row = np.broadcast_to(np.arange(where.shape[0])[:, None], where.shape)[real]
    flat = np.bincount(row * width + rank[inverse], value[real], minlength=where.shape[0] * width)
    return columns, flat.astype(np.float64).reshape(where.shape[0], width)
