"""Where the tips of a tree meet: the node of their most recent common ancestor, on arrays.

Tips are numbered in postorder. ``meets[i]`` is the node where tips ``i`` and ``i + 1`` meet. Where two tips i < j meet
is then the highest node number in ``meets[i:j]``, because an ancestor stands after all it holds.
"""

from __future__ import annotations

import numpy as np

from crosscompat.phylogeny.types import Ints

__all__ = ["MrcaTable", "met_by_one", "neighbour_meets", "pick"]


def neighbour_meets(parent: Ints, tip_nodes: Ints) -> Ints:
    """Return the node where each of k tips meets the next one, as a (k - 1,) array.

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

    The method is that of Bender & Farach-Colton 2000, doi 10.1007/10719839_9: row r of the table holds the highest of
    each 2 ** r neighbours.

    It is made of the nodes of the tips (k,), and of those where each tip meets the next (k - 1,).

    Examples
    --------
    >>> MrcaTable(np.array([0, 1, 3]), np.array([2, 4])).of(np.array([0, 1, 2]), np.array([1, 1, 0])).tolist()
    [2, 1, 4]
    """

    def __init__(self, tip_nodes: Ints, meets: Ints) -> None:
        self._tip_nodes = tip_nodes
        rows = [np.append(meets, 0)]
        step = 1
        while 2 * step <= meets.size:
            wider = rows[-1].copy()
            np.maximum(wider[:-step], wider[step:], out=wider[:-step])
            rows.append(wider)
            step *= 2
        self._table = np.array(rows)

    def of(self, a: Ints, b: Ints) -> Ints:
        """Return the node where tips ``a[i]`` and ``b[i]`` meet, as an (m,) array; for a tip with itself, its own node.

        Raises
        ------
        IndexError
            If there is no tip of a number.
        """
        first, last = np.minimum(a, b), np.maximum(a, b)
        if first.min(initial=0) < 0 or last.max(initial=0) >= self._tip_nodes.size:
            raise IndexError(f"tips are numbered from 0 to {self._tip_nodes.size - 1}")
        row = np.maximum(np.frexp(last - first)[1] - 1, 0)
        met = np.maximum(self._table[row, first], self._table[row, last - (1 << row)])
        return np.where(first == last, self._tip_nodes[first], met)


def met_by_one(tip_nodes: Ints, meets: Ints, tip: int) -> Ints:
    """Return the node where one tip meets each of k tips, itself included, as a (k,) array: running maxima both ways.

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
    """Return where each of m chosen tips (ascending, none twice) meets the next of them, as an (m - 1,) array.

    Examples
    --------
    >>> pick(np.array([2, 4]), np.array([0, 2])).tolist()
    [4]
    """
    if chosen.size < 2:  # noqa: PLR2004 - one tip meets nobody
        return np.zeros(0, dtype=np.int64)
    return np.maximum.reduceat(meets[: chosen[-1]], chosen[:-1])
