"""Where the tips of a tree meet: the node of their most recent common ancestor, on arrays.

Tips are numbered in postorder. ``meets[i]`` is the node where tips ``i`` and ``i + 1`` meet. Where two tips i < j meet
is then the highest node number in ``meets[i:j]``, because an ancestor stands after all it holds.
"""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from crosscompat.phylogeny.postorder import Ints

__all__ = ["MrcaTable", "met_by_one", "neighbour_meets", "pick"]

_Whole: TypeAlias = NDArray[Any]

_MOST_SMALL = 2**31  # whole numbers of four bytes keep the table in the cache


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


class MrcaTable:
    """Finds the node where any two tips meet, in constant time a pair (a sparse table of range maxima).

    The method is that of Bender & Farach-Colton 2000, doi 10.1007/10719839_9. The first row holds the tips themselves,
    so that a tip meets itself in its own node; row k holds the maxima over 2 ** (k - 1) neighbours. The tips come first
    in ``nodes`` and those where neighbours meet behind them, each in their order, so that what is read of them lies
    close together.

    Parameters
    ----------
    tip_nodes : (k,) int array
        The nodes of the tips.
    meets : (k - 1,) int array
        The node where each tip meets the next.

    Attributes
    ----------
    nodes : int array
        All nodes where tips meet.

    Examples
    --------
    >>> MrcaTable(np.array([0, 1, 3]), np.array([2, 4])).of(np.array([0, 1, 2]), np.array([1, 1, 0])).tolist()
    [2, 1, 4]
    """

    def __init__(self, tip_nodes: Ints, meets: Ints) -> None:
        size = tip_nodes.size
        inner, place = np.unique(meets, return_inverse=True)
        self.nodes: Ints = np.concatenate([tip_nodes, inner])
        self._row: _Whole = np.frexp(np.arange(size, dtype=np.float64))[1].astype(np.int8)
        rows = int(self._row[-1]) + 1
        reach = [0, *(1 << row for row in range(rows - 1))]
        self._start: Ints = np.arange(rows) * size
        self._back: Ints = self._start - np.array(reach)
        table: _Whole = np.zeros((rows, size), dtype=np.int32 if rows * size < _MOST_SMALL else np.int64)
        table[0] = np.arange(size)
        table[1:2, : meets.size] = size + place
        for row in range(2, rows):
            step, last = reach[row - 1], table[row - 1]
            np.maximum(last[:-step], last[step:], out=table[row, :-step])
        self._flat: _Whole = table.ravel()

    def of(self, a: Ints, b: Ints) -> Ints:
        """Return the node where tips ``a[i]`` and ``b[i]`` meet; for a tip with itself, its own node."""
        return self.nodes[self.places(a, b)]

    def places(self, a: Ints, b: Ints) -> Ints:
        """Return where in ``nodes`` the node stands in which tips ``a[i]`` and ``b[i]`` meet.

        Raises
        ------
        IndexError
            If there is no tip of a number.
        """
        first, last = np.minimum(a, b), np.maximum(a, b)
        if first.min(initial=0) < 0 or last.max(initial=0) >= self._row.size:
            raise IndexError(f"tips are numbered from 0 to {self._row.size - 1}")
        row = self._row.take(last - first, mode="wrap")  # every place is there; "wrap" only spares the question
        first += self._start.take(row, mode="wrap")
        last += self._back.take(row, mode="wrap")
        found: Ints = np.maximum(self._flat.take(first, mode="wrap"), self._flat.take(last, mode="wrap"))
        return found


def met_by_one(tip_nodes: Ints, meets: Ints, tip: int) -> Ints:
    """Return the node where one tip meets every tip, itself included, by running maxima to both sides.

    Examples
    --------
    >>> met_by_one(np.array([0, 1, 3]), np.array([2, 4]), 0).tolist()
    [0, 2, 4]
    """
    met = np.empty(tip_nodes.size, dtype=np.int64)
    met[tip] = tip_nodes[tip]
    np.maximum.accumulate(meets[tip:], out=met[tip + 1 :])
    met[:tip] = np.maximum.accumulate(meets[:tip][::-1])[::-1]
    return met


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
