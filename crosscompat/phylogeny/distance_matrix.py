"""The distances of chosen tips to each other, in the order in which they were named, whole or piece by piece."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from crosscompat.phylogeny import distances
from crosscompat.phylogeny.distances import Reals
from crosscompat.phylogeny.mrca import met_by_one, pick
from crosscompat.phylogeny.postorder import Floats, Ints

__all__ = ["Among"]


@dataclass(frozen=True, slots=True)
class Among:
    """Chosen tips of a tree.

    Attributes
    ----------
    height : (n,) float array
        Sum from the root for every node.
    tip_nodes : (k,) int array
        The nodes of the tips, ascending, none twice.
    meets : (k - 1,) int array
        Where each of them meets the next.
    monotone : bool
        Whether no node is nearer to the root than its parent.
    places : (m,) int array or None
        Which of the tips is meant, name by name; None if they are named as they stand.

    Examples
    --------
    The tree ((a:1,b:2)x:3,c:4)y, asked for c and a:

    >>> height, tips, meets = np.array([4.0, 5.0, 3.0, 4.0, 0.0]), np.array([0, 1, 3]), np.array([2, 4])
    >>> among = Among.of(height, tips, meets, np.array([2, 0]), monotone=True)
    >>> among.matrix(np.float64).tolist(), among.condensed(np.float64).tolist()
    ([[0.0, 8.0], [8.0, 0.0]], [8.0])
    """

    height: Floats
    tip_nodes: Ints
    meets: Ints
    monotone: bool
    places: Ints | None = None

    @classmethod
    def of(cls, height: Floats, tip_nodes: Ints, meets: Ints, named: Ints, *, monotone: bool) -> Among:
        """Choose tips by their numbers, in any order and more than once."""
        chosen, places = np.unique(named, return_inverse=True)
        as_they_stand = bool((np.diff(named) > 0).all())
        return cls(height, tip_nodes[chosen], pick(meets, chosen), monotone, None if as_they_stand else places)

    def matrix(self, dtype: type) -> Reals:
        """Return all distances, as an (m, m) array."""
        whole = distances.all_pairs(self.height, self.tip_nodes, self.meets, monotone=self.monotone, dtype=dtype)
        return whole if self.places is None else whole[np.ix_(self.places, self.places)]

    def condensed(self, dtype: type) -> Reals:
        """Return the distances above the diagonal, row by row, as an (m * (m - 1) / 2,) array."""
        if self.places is None:
            return distances.condensed(self.height, self.tip_nodes, self.meets, monotone=self.monotone, dtype=dtype)
        size = self.places.size
        out: Reals = np.empty(size * (size - 1) // 2, dtype=dtype)
        start = 0
        for row in range(size - 1):
            out[start : start + size - 1 - row] = self._row(row, self.places)[row + 1 :]
            start += size - 1 - row
        return out

    def blocks(self, rows: int, dtype: type) -> Iterator[tuple[int, Reals]]:
        """Yield the matrix by so many rows: the number of the first row, and the rows."""
        size = self.tip_nodes.size if self.places is None else self.places.size
        for first in range(0, size, rows):
            yield first, self._block(range(first, min(first + rows, size)), dtype)

    def _block(self, rows: range, dtype: type) -> Reals:
        if self.places is None:
            return distances.row_block(
                self.height, self.tip_nodes, self.meets, rows, monotone=self.monotone, dtype=dtype
            )
        return np.array([self._row(row, self.places) for row in rows], dtype=dtype)

    def _row(self, row: int, places: Ints) -> Floats:
        tip = int(places[row])
        met = met_by_one(self.tip_nodes, self.meets, tip)
        return distances.from_one(self.height, int(self.tip_nodes[tip]), self.tip_nodes, met)[places]
