"""Distances between the tips of a tree, on arrays.

Tips are numbered in postorder. ``meets[i]`` is the node where tips ``i`` and ``i + 1`` meet (their most recent common
ancestor). Where two tips i < j meet is then the highest node number in ``meets[i:j]``, because an ancestor stands after
all it holds. A *height* is any sum from the root (branch lengths, or edges): the distance of two tips is the sum of
their heights less twice the height of the node where they meet.
"""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from crosscompat.phylogeny.postorder import Bools, Floats, Ints

__all__ = ["Meeting", "all_pairs", "neighbour_meets", "pairs", "pick"]

_Whole: TypeAlias = NDArray[Any]

CHUNK = 32_768
_MOST_SMALL = 2**31  # whole numbers of four bytes keep the table in the cache
BLOCK = 256


def neighbour_meets(parent: Ints, tip_nodes: Ints) -> Ints:
    """Return the node where each tip meets the next one.

    The nodes written between two neighbouring tips are the ancestors that the earlier one closes; the parent of the
    last of them holds both.

    Examples
    --------
    The tree ((a,b)x,c)y with the nodes a 0, b 1, x 2, c 3, y 4:

    >>> neighbour_meets(np.array([2, 2, 4, 4, -1]), np.array([0, 1, 3])).tolist()
    [2, 4]
    """
    meets: Ints = parent[tip_nodes[1:] - 1]
    return meets


class Meeting:
    """Finds the node where any two tips meet, in constant time a pair (a sparse table of range maxima).

    The method is that of Bender & Farach-Colton 2000, doi 10.1007/10719839_9.

    Parameters
    ----------
    tip_nodes : (k,) int array
        The nodes of the tips.
    meets : (k - 1,) int array
        The node where each tip meets the next.

    Examples
    --------
    >>> Meeting(np.array([0, 1, 3]), np.array([2, 4])).of(np.array([0, 1, 2]), np.array([1, 1, 0])).tolist()
    [2, 1, 4]
    """

    def __init__(self, tip_nodes: Ints, meets: Ints) -> None:
        self._tip_nodes = tip_nodes
        gaps = np.arange(meets.size + 1)
        power = np.frexp(np.maximum(gaps, 1).astype(np.float64))[1].astype(np.int64) - 1
        small = np.int32 if (power[-1] + 1) * max(meets.size, 1) < _MOST_SMALL else np.int64
        rows: list[_Whole] = [meets.astype(small)]
        for step in (1 << i for i in range(int(power[-1]))):
            last = rows[-1]
            rows.append(np.maximum(last[:-step], last[step:]))
        table = np.zeros((len(rows), meets.size), dtype=small)
        for row, values in zip(table, rows, strict=True):
            row[: values.size] = values
        self._flat: _Whole = table.ravel()
        self._start: _Whole = (power * meets.size).astype(small)
        self._reach: _Whole = (1 << power).astype(small)

    def of(self, a: Ints, b: Ints) -> Ints:
        """Return the node where tips ``a[i]`` and ``b[i]`` meet; for a tip with itself, its own node."""
        low, high = np.minimum(a, b), np.maximum(a, b)
        gap = high - low
        if not self._flat.size:
            return self._tip_nodes[low]
        start = self._start.take(gap)
        first = self._flat.take(start + low, mode="clip")
        second = self._flat.take(start + high - self._reach.take(gap), mode="clip")
        met: Ints = np.maximum(first, second)
        alone = gap == 0
        if alone.any():
            met[alone] = self._tip_nodes[low[alone]]
        return met


def pairs(meeting: Meeting, height: Floats, tip_nodes: Ints, a: Ints, b: Ints) -> Floats:
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
    """
    tip_height, twice = height[tip_nodes], 2.0 * height
    out = np.empty(a.size)
    for start in range(0, a.size, CHUNK):
        piece = slice(start, start + CHUNK)
        ours, theirs = a[piece], b[piece]
        found = tip_height.take(ours)
        found += tip_height.take(theirs)
        found -= twice.take(meeting.of(ours, theirs))
        out[piece] = found
    return out


def from_one(height: Floats, tip_nodes: Ints, meets: Ints, tip: int) -> Floats:
    """Return the distance of one tip to every tip, itself included, by running maxima to both sides.

    Examples
    --------
    >>> from_one(np.array([4.0, 5.0, 3.0, 4.0, 0.0]), np.array([0, 1, 3]), np.array([2, 4]), 0).tolist()
    [0.0, 3.0, 8.0]
    """
    tip_height = height[tip_nodes]
    met = np.empty(tip_nodes.size, dtype=np.int64)
    met[tip] = tip_nodes[tip]
    np.maximum.accumulate(meets[tip:], out=met[tip + 1 :])
    met[:tip] = np.maximum.accumulate(meets[:tip][::-1])[::-1]
    row: Floats = (tip_height + tip_height[tip]) - 2.0 * height[met]
    return row


def pick(meets: Ints, chosen: Ints) -> Ints:
    """Return where each of the chosen tips (ascending, none twice) meets the next of them.

    Examples
    --------
    >>> pick(np.array([2, 4]), np.array([0, 2])).tolist()
    [4]
    """
    if chosen.size < 2:  # noqa: PLR2004 - one tip meets nobody
        return np.zeros(0, dtype=np.int64)
    return np.maximum.reduceat(meets[: chosen[-1]], chosen[:-1])


def all_pairs(height: Floats, tip_nodes: Ints, meets: Ints, *, monotone: bool) -> Floats:
    """Return the distances of all tips to all tips.

    Row by row from the last tip, the heights of the meeting nodes are kept as one running row.

    Parameters
    ----------
    height : (n,) float array
        Sum from the root for every node.
    tip_nodes : (k,) int array
        The nodes of the tips asked for.
    meets : (k - 1,) int array
        Where each of them meets the next.
    monotone : bool
        Whether no node is nearer to the root than its parent. Only then is the meeting node the lowest of a range; with
        negative branch lengths the running row holds node numbers instead.

    Returns
    -------
    (k, k) float array
        Symmetric, with a zero diagonal.

    Examples
    --------
    >>> height, tips, meets = np.array([4.0, 5.0, 3.0, 4.0, 0.0]), np.array([0, 1, 3]), np.array([2, 4])
    >>> all_pairs(height, tips, meets, monotone=True).tolist()
    [[0.0, 3.0, 8.0], [3.0, 0.0, 9.0], [8.0, 9.0, 0.0]]
    """
    tip_height, twice = height[tip_nodes], 2.0 * height
    out = np.zeros((tip_nodes.size, tip_nodes.size))
    if monotone:
        _rows_by_height(out, tip_height, twice[meets])
    else:
        _rows_by_node(out, tip_height, twice, meets)
    _mirror(out)
    return out


def _rows_by_height(out: Floats, tip_height: Floats, twice_meets: Floats) -> None:
    running = np.full(tip_height.size, np.inf)
    for row in range(tip_height.size - 2, -1, -1):
        rest = running[row + 1 :]
        np.minimum(rest, twice_meets[row], out=rest)
        target = out[row, row + 1 :]
        np.add(tip_height[row + 1 :], tip_height[row], out=target)
        target -= rest


def _rows_by_node(out: Floats, tip_height: Floats, twice: Floats, meets: Ints) -> None:
    running = np.full(tip_height.size, -1, dtype=np.int64)
    for row in range(tip_height.size - 2, -1, -1):
        rest = running[row + 1 :]
        np.maximum(rest, meets[row], out=rest)
        out[row, row + 1 :] = (tip_height[row + 1 :] + tip_height[row]) - twice[rest]


def _mirror(out: Floats) -> None:
    """Copy the upper triangle to the lower one, block by block."""
    size = out.shape[0]
    for top in range(0, size, BLOCK):
        rows = slice(top, min(top + BLOCK, size))
        square = out[rows, rows]
        square += np.triu(square, 1).T
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
