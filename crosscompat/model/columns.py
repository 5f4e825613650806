"""The precision matrix of the columns of a stage: the cells of it that matter, its root, and the inverse in them.

Each of many plants meets few others, so that their columns are sparse. They are eliminated first, those that touch the
fewest others before the rest, and many that do not touch one another at once [1]_. What remains is the core, kept as a
dense matrix. Where there are more columns than crosses the core is thus the smaller of the two. The inverse is computed
in the cells of the pattern only, from the core outwards [2]_.

References
----------
.. [1] Liu JWH (1985). Modification of the minimum-degree algorithm by multiple elimination. ACM Transactions on
   Mathematical Software 11:141-153.
.. [2] Erisman AM, Tinney WF (1975). On computing certain elements of the inverse of a sparse matrix. Communications of
   the ACM 18:177-179.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crosscompat.model.effects import Ints
from crosscompat.model.likelihood import Floats

__all__ = ["Cells", "Pattern", "Round"]

_DENSE = 9  # a column that touches more than one in so many of the others is cheaper in the core
_ALIKE = 1.5  # how many more others than the fewest a column of the same round may touch


@dataclass(frozen=True, slots=True)
class Cells:
    """Which cells of a symmetric matrix are kept, in one row: those of the core, then those of eliminated columns.

    Attributes
    ----------
    size : int
        Columns, q.
    core : ndarray of int
        Columns that are not eliminated, ascending. Their cells come first, as a square whose upper half is read.
    rank : ndarray of int, shape (q + 1,)
        Turn of each column that is eliminated, q and more for the core, -1 at the end for padding.
    keys : ndarray of int
        Eliminated column times (q + 1) plus a column eliminated later, ascending, of the cells beyond the square.
    """

    size: int
    core: Ints
    rank: Ints
    keys: Ints

    @property
    def count(self) -> int:
        """Number of cells. A row of cells has one more, which stands for all that is padded and holds 0."""
        return self.core.size**2 + self.keys.size

    def find(self, one: Ints, other: Ints) -> Ints:
        """Return the cells of pairs of columns; where either is padded (q), the cell that holds 0."""
        first = np.where(self.rank[one] <= self.rank[other], one, other)
        second = one + other - first
        inside = self.rank[first] - self.size
        square = inside * self.core.size + self.rank[second] - self.size
        beyond = self.core.size**2 + np.searchsorted(self.keys, first * (self.size + 1) + second)
        cell: Ints = np.where(inside >= 0, square, beyond)
        return np.where((one == self.size) | (other == self.size), self.count, cell)

    def outer(self, scale: Floats) -> Floats:
        """Return the product of a number of each column with that of every other, as a row of cells."""
        core, (one, other) = scale[self.core], np.divmod(self.keys, self.size + 1)
        row = np.zeros(self.count + 1)
        np.multiply(core[:, None], core, out=self.square(row))
        np.multiply(scale[one], scale[other], out=row[core.size**2 : -1])
        return row

    def square(self, row: Floats) -> Floats:
        """Return the core of a row of cells as a square, of which the upper half is read; it shares the memory."""
        size = self.core.size
        return row[: size**2].reshape(size, size)


@dataclass(frozen=True, slots=True)
class Round:
    """Columns eliminated at once, of which no two touch.

    Attributes
    ----------
    members : ndarray of int, shape (n,)
    beside : ndarray of int, shape (n, d)
        Columns that each touches among those not yet eliminated, padded with q.
    pivots : ndarray of int, shape (n,)
        Cells of the members on the diagonal.
    near : ndarray of int, shape (k,)
        The distinct columns among those, and q.
    spot : ndarray of int, shape (n, d)
        Where each of ``beside`` stands in ``near``.
    edges : ndarray of int, shape (n, d)
        Cells of each member with the columns beside it.
    corners : ndarray of int, shape (n, d, d)
        Cells of every two columns beside a member.
    half : pair of ndarray of int
        The pairs of columns beside a member on and above the diagonal.
    filled : ndarray of int, shape (k,)
        The distinct cells among those.
    order : ndarray of int, shape (n * d * (d + 1) / 2,)
        Where each stands among the distinct ones.
    """

    members: Ints
    beside: Ints
    pivots: Ints
    near: Ints
    spot: Ints
    edges: Ints
    corners: Ints
    half: tuple[Ints, Ints]
    filled: Ints
    order: Ints

    @classmethod
    def of(cls, cells: Cells, turn: list[tuple[int, list[int]]]) -> Round:
        """Find the cells of some columns and of those that each touches."""
        members = np.array([v for v, _ in turn], dtype=np.intp)
        width = max(len(near) for _, near in turn)
        beside = np.array([near + [cells.size] * (width - len(near)) for _, near in turn], dtype=np.intp)
        corners = cells.find(*np.broadcast_arrays(beside[:, :, None], beside[:, None, :]))
        half = np.triu_indices(width)
        filled, order = np.unique(corners[:, half[0], half[1]], return_inverse=True)
        edges = cells.find(np.broadcast_to(members[:, None], beside.shape), beside)
        near = np.unique(np.append(beside, cells.size))
        spot, pivots = np.searchsorted(near, beside), cells.find(members, members)
        return cls(members, beside, pivots, near, spot, edges, corners, half, filled, order.ravel())

    def eliminate(self, row: Floats) -> None:
        """Take the members out of a row of cells, which then holds the precision of the others without them."""
        rows = row[self.edges]
        taken = rows[:, self.half[0]] * (rows / row[self.pivots, None])[:, self.half[1]]
        row[self.filled] -= np.bincount(self.order, taken.ravel(), minlength=self.filled.size)

    def invert(self, row: Floats, inverse: Floats) -> None:
        """Extend the inverse to the members, from the cells of the columns beside them."""
        pull = row[self.edges] / row[self.pivots, None]
        across = np.einsum("nij,nj->ni", inverse[self.corners], pull)
        inverse[self.edges] = -across
        inverse[self.pivots] = 1.0 / row[self.pivots] + np.einsum("ni,ni->n", pull, across)
        inverse[-1] = 0.0

    def pull(self, row: Floats) -> Floats:
        """Return how much each member leans on each of the distinct columns but q, (n, k - 1)."""
        dense = np.zeros((self.members.size, self.near.size))
        dense[np.arange(self.members.size)[:, None], self.spot] = row[self.edges] / row[self.pivots, None]
        return dense[:, :-1]

    def reduce(self, row: Floats, b: Floats) -> None:
        """Carry a right-hand side, which ends with a 0 for padding, from the members to the columns beside them."""
        share = row[self.edges] * (b[self.members] / row[self.pivots])[:, None]
        b -= np.bincount(self.beside.ravel(), share.ravel(), minlength=b.size)

    def extend(self, row: Floats, x: Floats) -> None:
        """Solve for the members, from a solution for the others and their own reduced right-hand side."""
        pull = np.einsum("nd,nd->n", row[self.edges], x[self.beside])
        x[self.members] = (x[self.members] - pull) / row[self.pivots]


@dataclass(frozen=True, slots=True)
class Pattern:
    """The cells of the precision matrix, and the rounds in which its sparse columns are eliminated.

    Attributes
    ----------
    cells : Cells
    rounds : tuple of Round
    diagonal : ndarray of int, shape (q,)
        Cells on the diagonal.
    """

    cells: Cells
    rounds: tuple[Round, ...]
    diagonal: Ints

    @classmethod
    def of(cls, size: int, cliques: Ints, sparse: NDArray[np.bool_]) -> Pattern:
        """Choose what to eliminate, and number the cells.

        Parameters
        ----------
        size : int
            Columns, q.
        cliques : ndarray of int, shape (n, w)
            Columns that all touch each other, padded with q.
        sparse : ndarray of bool, shape (q,)
            Columns that may be eliminated; all others touch each other.

        Examples
        --------
        Ten plants of which each meets the intercept alone.

        >>> cliques = np.column_stack([np.zeros(10, dtype=int), np.arange(1, 11)])
        >>> pattern = Pattern.of(11, cliques, np.arange(11) > 0)
        >>> pattern.cells.core.tolist(), pattern.rounds[0].members.tolist(), pattern.cells.count
        ([0], [1, 2, 3, 4, 5, 6, 7, 8, 9, 10], 21)
        """
        turns = _turns(_touching(size, cliques, sparse), set(np.flatnonzero(sparse).tolist()), size)
        gone = np.array([v for turn in turns for v, _ in turn], dtype=np.intp)
        core = np.setdiff1d(np.arange(size), gone)
        rank = np.full(size + 1, -1, dtype=np.intp)
        rank[gone], rank[core] = np.arange(gone.size), size + np.arange(core.size)
        keys = sorted(v * (size + 1) + a for turn in turns for v, near in turn for a in (v, *near))
        cells = Cells(size, core, rank, np.array(keys, dtype=np.intp))
        everything = np.arange(size)
        return cls(cells, tuple(Round.of(cells, turn) for turn in turns), cells.find(everything, everything))


def _touching(size: int, cliques: Ints, sparse: NDArray[np.bool_]) -> list[set[int]]:
    """Columns that each column touches."""
    touching: list[set[int]] = [set() for _ in range(size)]
    if not sparse.any():
        return touching
    dense = set(np.flatnonzero(~sparse).tolist())
    for column in dense:
        touching[column] |= dense
    for row in cliques.tolist():
        clique = {column for column in row if column < size}
        for column in clique:
            touching[column] |= clique
    for column in range(size):
        touching[column].discard(column)
    return touching


def _turns(touching: list[set[int]], waiting: set[int], left: int) -> list[list[tuple[int, list[int]]]]:
    """Eliminate round by round those that touch the fewest others, each with the columns that it then touches."""
    turns = []
    while waiting:
        order = sorted(waiting, key=lambda v: (len(touching[v]), v))
        most = min(_ALIKE * len(touching[order[0]]) + 1.0, left / _DENSE)
        turn, blocked = [], set[int]()
        for v in order:
            if len(touching[v]) > most:
                break
            if v not in blocked:
                turn.append((v, sorted(touching[v])))
                blocked |= touching[v]
        if not turn:
            break
        for v, near in turn:
            for a in near:
                touching[a] |= touching[v]
                touching[a] -= {a, v}
        waiting -= {v for v, _ in turn}
        left -= len(turn)
        turns.append(turn)
    return turns
