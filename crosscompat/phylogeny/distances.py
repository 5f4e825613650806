"""Distances between the tips of a tree, on arrays.

Tips are numbered in postorder, and ``meets[i]`` is the node where tips ``i`` and ``i + 1`` meet (see `meeting`). A
*height* is any sum from the root (branch lengths, or edges): the distance of two tips is the sum of their heights less
twice the height of the node where they meet. *Monotone* says that no node is nearer to the root than its parent. Only
then is the meeting node the lowest of a range, so that a running row may hold heights; with negative branch lengths it
holds node numbers instead.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from crosscompat.phylogeny.mrca import MrcaTable
from crosscompat.phylogeny.postorder import Bools, Floats, Ints

__all__ = ["Reals", "all_pairs", "condensed", "crossing_edges", "from_one", "pairs", "row_block"]

Reals: TypeAlias = NDArray[Any]
"""Numbers of eight bytes, or of four where that was asked for."""

CHUNK = 16_384
BLOCK = 256


def pairs(meeting: MrcaTable, height: Floats, tip_nodes: Ints, a: Ints, b: Ints) -> Floats:
    """Return the distance of each pair of tips, taken in chunks that stay in the cache.

    Parameters
    ----------
    height : (n,) float array
        Sum from the root for every node.
    a, b : (m,) int arrays
        Numbers of tips.

    Returns
    -------
    (m,) float array

    Raises
    ------
    IndexError
        If there is no tip of a number.
    """
    tip_height, twice = height[tip_nodes], 2.0 * height[meeting.nodes]
    out = np.empty(a.size)
    for start in range(0, a.size, CHUNK):
        piece = slice(start, start + CHUNK)
        ours, theirs = a[piece], b[piece]
        met = meeting.places(ours, theirs)
        total = tip_height.take(ours, mode="wrap")
        total += tip_height.take(theirs, mode="wrap")
        np.subtract(total, twice.take(met, mode="wrap"), out=out[piece])
    return out


def from_one(height: Floats, node: int, others: Ints, met: Ints) -> Floats:
    """Return the distance of one node to others, from the nodes where it meets them.

    Examples
    --------
    >>> height = np.array([4.0, 5.0, 3.0, 4.0, 0.0])
    >>> from_one(height, 0, np.array([0, 1, 3]), np.array([0, 2, 4])).tolist()
    [0.0, 3.0, 8.0]
    """
    row: Floats = (height[others] + height[node]) - 2.0 * height[met]
    return row


def all_pairs(height: Floats, tip_nodes: Ints, meets: Ints, *, monotone: bool, dtype: type = np.float64) -> Reals:
    """Return the distances of all tips to all tips.

    Parameters
    ----------
    height : (n,) float array
        Sum from the root for every node.
    tip_nodes : (k,) int array
        The nodes of the tips asked for.
    meets : (k - 1,) int array
        Where each of them meets the next.
    monotone : bool
        Whether no node is nearer to the root than its parent.
    dtype : type
        Every distance is rounded once to it.

    Returns
    -------
    (k, k) array
        Symmetric, with a zero diagonal.

    Examples
    --------
    >>> height, tips, meets = np.array([4.0, 5.0, 3.0, 4.0, 0.0]), np.array([0, 1, 3]), np.array([2, 4])
    >>> all_pairs(height, tips, meets, monotone=True).tolist()
    [[0.0, 3.0, 8.0], [3.0, 0.0, 9.0], [8.0, 9.0, 0.0]]
    """
    out: Reals = np.empty((tip_nodes.size, tip_nodes.size), dtype=dtype)
    np.fill_diagonal(out, 0)
    for row, total, twice_met in _Rows(height, tip_nodes, meets, monotone=monotone).upwards():
        np.subtract(total, twice_met, out=out[row, row + 1 :], casting="same_kind")
    _mirror(out)
    return out


def condensed(height: Floats, tip_nodes: Ints, meets: Ints, *, monotone: bool, dtype: type = np.float64) -> Reals:
    """Return the distances above the diagonal, row by row, as a (k * (k - 1) / 2,) array; see `all_pairs`.

    Examples
    --------
    >>> height, tips, meets = np.array([4.0, 5.0, 3.0, 4.0, 0.0]), np.array([0, 1, 3]), np.array([2, 4])
    >>> condensed(height, tips, meets, monotone=True).tolist()
    [3.0, 8.0, 9.0]
    """
    stop = tip_nodes.size * (tip_nodes.size - 1) // 2
    out: Reals = np.empty(stop, dtype=dtype)
    for _, total, twice_met in _Rows(height, tip_nodes, meets, monotone=monotone).upwards():
        start = stop - total.size
        np.subtract(total, twice_met, out=out[start:stop], casting="same_kind")
        stop = start
    return out


def row_block(
    height: Floats, tip_nodes: Ints, meets: Ints, rows: range, *, monotone: bool, dtype: type = np.float64
) -> Reals:
    """Return some rows of `all_pairs`, that stand one after another, as a (len(rows), k) array.

    Examples
    --------
    >>> height, tips, meets = np.array([4.0, 5.0, 3.0, 4.0, 0.0]), np.array([0, 1, 3]), np.array([2, 4])
    >>> row_block(height, tips, meets, range(1, 3), monotone=True).tolist()
    [[3.0, 0.0, 9.0], [8.0, 9.0, 0.0]]
    """
    out: Reals = np.zeros((len(rows), tip_nodes.size), dtype=dtype)
    walk = _Rows(height, tip_nodes, meets, monotone=monotone)
    for row, total, twice_met in walk.upwards(rows):
        np.subtract(total, twice_met, out=out[row - rows.start, row + 1 :], casting="same_kind")
    for row, total, twice_met in walk.downwards(rows):
        np.subtract(total, twice_met, out=out[row - rows.start, :row], casting="same_kind")
    return out


class _Rows:
    """Goes through the rows of a matrix; what is known of the meeting nodes is kept as one running row.

    Each step yields a row's number, the sums of two heights and twice the height where they meet. The arrays are used
    again in the next step.
    """

    def __init__(self, height: Floats, tip_nodes: Ints, meets: Ints, *, monotone: bool) -> None:
        self._height, self._twice, self._size = height[tip_nodes], 2.0 * height, tip_nodes.size
        self._monotone = monotone
        self._meets: Reals = self._twice[meets] if monotone else meets
        self._join: np.ufunc = np.minimum if monotone else np.maximum
        self._running: Reals = np.full(self._size, np.inf if monotone else -1, dtype=self._meets.dtype)
        self._total = np.empty(self._size)

    def upwards(self, rows: range | None = None) -> Iterator[tuple[int, Floats, Floats]]:
        """Yield the part of each row behind the diagonal, the last row first."""
        first, stop = (rows.start, rows.stop) if rows else (0, self._size)
        self._running[stop:] = self._join.accumulate(self._meets[stop - 1 :])
        self._running[:stop] = np.inf if self._monotone else -1
        for row in range(min(stop, self._size - 1) - 1, first - 1, -1):
            behind = self._running[row + 1 :]
            self._join(behind, self._meets[row], out=behind)
            yield self._step(row, slice(row + 1, self._size), behind)

    def downwards(self, rows: range) -> Iterator[tuple[int, Floats, Floats]]:
        """Yield the part of each row before the diagonal, the first row first."""
        self._running[: rows.start] = self._join.accumulate(self._meets[: rows.start][::-1])[::-1]
        self._running[rows.start :] = np.inf if self._monotone else -1
        for row in rows:
            before = self._running[:row]
            if row > rows.start:
                self._join(before, self._meets[row - 1], out=before)
            yield self._step(row, slice(row), before)

    def _step(self, row: int, others: slice, met: Reals) -> tuple[int, Floats, Floats]:
        total = np.add(self._height[others], self._height[row], out=self._total[others])
        return row, total, met if self._monotone else self._twice[met]


def _mirror(out: Reals) -> None:
    """Copy the upper triangle to the lower one, block by block."""
    size = out.shape[0]
    below = np.tri(BLOCK, k=-1, dtype=np.bool_)
    for top in range(0, size, BLOCK):
        rows = slice(top, min(top + BLOCK, size))
        square = out[rows, rows]
        np.copyto(square, square.T, where=below[: square.shape[0], : square.shape[0]])
        for left in range(top + BLOCK, size, BLOCK):
            columns = slice(left, left + BLOCK)
            out[columns, rows] = out[rows, columns].T


def crossing_edges(parent: Ints, *, root_counts: bool) -> Floats:
    """Return what each edge adds to a count of edges: 1, but 0 for one of two edges at a root that is no real node."""
    edge = np.ones(parent.size)
    at_root: Bools = parent == parent.size - 1
    if not root_counts and np.count_nonzero(at_root) == 2:  # noqa: PLR2004 - two edges that are one
        edge[np.argmax(at_root)] = 0.0
    return edge
