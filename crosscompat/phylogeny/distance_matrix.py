"""The distances of chosen tips to each other, row by row, in the order in which they were named.

A *height* is any sum from the root (branch lengths, or edges): the distance of two tips is the sum of their heights
less twice the height of the node where they meet.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crosscompat.phylogeny.mrca import met_by_one, pick
from crosscompat.phylogeny.types import Bools, Floats, Ints

__all__ = ["DistanceMatrix", "crossing_edges", "path_lengths"]

_BLOCK = 256


def path_lengths(height: Floats, a: Ints | int, b: Ints, met: Ints) -> Floats:
    """Return the distance of nodes to others, from the nodes where they meet, as an (m,) array.

    Examples
    --------
    >>> path_lengths(np.array([4.0, 5.0, 3.0, 4.0, 0.0]), 0, np.array([0, 1, 3]), np.array([0, 2, 4])).tolist()
    [0.0, 3.0, 8.0]
    """
    lengths: Floats = (height[a] + height[b]) - 2.0 * height[met]
    return lengths


@dataclass(frozen=True, slots=True)
class DistanceMatrix:
    """Chosen tips of a tree, whose distances are worked out when they are asked for.

    ``height`` (n,) is of every node; ``tip_nodes`` (k,) are the nodes of the tips, ascending, none twice, ``meets``
    (k - 1,) where each of them meets the next, ``places`` (m,) which of them each row and column stands for.

    Examples
    --------
    The tree ((a:1,b:2)x:3,c:4)y, asked for c and a:

    >>> height, tips, meets = np.array([4.0, 5.0, 3.0, 4.0, 0.0]), np.array([0, 1, 3]), np.array([2, 4])
    >>> DistanceMatrix.of(height, tips, meets, np.array([2, 0])).whole().tolist()
    [[0.0, 8.0], [8.0, 0.0]]
    """

    height: Floats
    tip_nodes: Ints
    meets: Ints
    places: Ints

    @classmethod
    def of(cls, height: Floats, tip_nodes: Ints, meets: Ints, tips: Ints) -> DistanceMatrix:
        """Choose tips by their numbers, in any order and more than once."""
        chosen, places = np.unique(tips, return_inverse=True)
        return cls(height, tip_nodes[chosen], pick(meets, chosen), places)

    def rows(self, first: int, stop: int) -> Floats:
        """Return some rows, as a (rows, m) array."""
        out = np.empty((self.places[first:stop].size, self.places.size))
        for row, tip in enumerate(self.places[first:stop].tolist()):
            met = met_by_one(self.tip_nodes, self.meets, tip)
            out[row] = path_lengths(self.height, int(self.tip_nodes[tip]), self.tip_nodes, met)[self.places]
        return out

    def whole(self) -> Floats:
        """Return all rows, as an (m, m) array: the upper half from the last row upwards, then mirrored."""
        size = self.tip_nodes.size
        out = np.empty((size, size))
        at_tip, twice = self.height[self.tip_nodes], 2.0 * self.height
        joins, met = np.append(self.meets, 0), self.tip_nodes.copy()
        for row in range(size - 1, -1, -1):
            np.maximum(met[row + 1 :], joins[row], out=met[row + 1 :])
            np.subtract(at_tip[row:] + at_tip[row], twice[met[row:]], out=out[row, row:])
        _mirror(out)
        in_order = np.array_equal(self.places, np.arange(size))
        return out if in_order else out[np.ix_(self.places, self.places)]


def _mirror(out: Floats) -> None:
    """Copy the upper half to the lower one, in blocks that the cache holds."""
    starts = range(0, out.shape[0], _BLOCK)
    for top in starts:
        rows = slice(top, top + _BLOCK)
        out[rows, rows] = np.triu(out[rows, rows]) + np.triu(out[rows, rows], 1).T
        for left in starts[top // _BLOCK + 1 :]:
            out[left : left + _BLOCK, rows] = out[rows, left : left + _BLOCK].T


def crossing_edges(parent: Ints, *, root_counts: bool) -> Floats:
    """Return what each edge adds to a count of edges, as an (n,) array.

    That is 1, but 0 for one of two edges at a root that is no real node.
    """
    edge = np.ones(parent.size)
    at_root: Bools = parent == parent.size - 1
    if not root_counts and np.count_nonzero(at_root) == 2:  # noqa: PLR2004 - two edges that are one
        edge[np.argmax(at_root)] = 0.0
    return edge
