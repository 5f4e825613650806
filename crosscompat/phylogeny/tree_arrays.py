"""Trees as arrays in postorder (every node after its children, the root last), and what distances need of them.

Nothing here knows about files or names. ``parent`` (n,) holds the number of each node's parent, -1 for the root. Tips
are numbered in postorder, and ``meets[i]`` is the node where tips ``i`` and ``i + 1`` meet: tips i < j meet at the
highest node number in ``meets[i:j]``, because an ancestor stands after all it holds. A *height* (n,) is any sum from
the root (branch lengths, or edges): the distance of two tips is the sum of their heights less twice that of the node
where they meet.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Sequence
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_BLOCK = 256
_Node = TypeVar("_Node")


def parents_from_depth(depth: Ints, inner: Bools) -> Ints:
    """Return the parent of every node of one or several trees that stand one after another in postorder.

    The last child of a node stands right before it, so the siblings that end there are its children; the k-th such
    group at one depth belongs to the k-th inner node of the depth above.

    ``depth`` (n,) are the edges between a node and its root, ``inner`` (n,) whether it has children; a root has -1.

    Examples
    --------
    >>> parents_from_depth(np.array([2, 2, 1, 1, 0]), np.array([False, False, True, False, True])).tolist()
    [2, 2, 4, 4, -1]
    """
    # Sixteen bits sort ten times faster, but only where they hold the deepest level.
    key = depth.astype(np.uint16) if depth.size and depth.max() < np.iinfo(np.uint16).max else depth
    order = np.argsort(key, kind="stable")
    ends_group = np.append(inner[1:], False)[order]
    group = np.cumsum(ends_group) - ends_group
    below = depth[order] > 0
    parent = np.full(depth.size, -1, dtype=np.int64)
    parent[order[below]] = order[inner[order]][group[below]]
    return parent


def in_postorder(root: _Node, children: Callable[[_Node], Sequence[_Node]]) -> tuple[list[_Node], list[int]]:
    """Return all nodes that can be reached from a root, children first, and the number of each one's parent.

    Examples
    --------
    >>> inside = {"y": ["x", "c"], "x": ["a", "b"]}
    >>> in_postorder("y", lambda node: inside.get(node, []))
    (['a', 'b', 'x', 'c', 'y'], [2, 2, 4, 4, -1])
    """
    turned: list[tuple[_Node, int]] = []
    stack = [(root, -1)]
    while stack:
        node, above = stack.pop()
        stack.extend((child, len(turned)) for child in children(node))
        turned.append((node, above))
    last = len(turned) - 1
    parent = [last - above if above >= 0 else -1 for _, above in reversed(turned)]
    return [node for node, _ in reversed(turned)], parent


def inner_nodes(parent: Ints) -> Bools:
    """Return which nodes have children, as an (n,) array.

    Examples
    --------
    >>> inner_nodes(np.array([2, 2, 4, 4, -1])).tolist()
    [False, False, True, False, True]
    """
    inner = np.zeros(parent.size, dtype=np.bool_)
    inner[parent[parent >= 0]] = True
    return inner


def sums_from_root(parent: Ints, edge: Floats) -> Floats:
    """Return the sum of edge values between the root and each node, (n,); the root's own edge never counts."""
    total = [0.0] * parent.size  # step by step: with no edge below zero, no node is nearer to the root than its parent
    above, values = parent.tolist(), edge.tolist()
    for node in range(parent.size - 2, -1, -1):
        total[node] = total[above[node]] + values[node]
    return np.array(total)


def tips_below(parent: Ints, tips: Ints | None = None) -> Ints:
    """Return how many tips, or how many of the nodes ``tips``, each node holds, as an (n,) array; a tip holds itself.

    Examples
    --------
    >>> tips_below(np.array([2, 2, 4, 4, -1])).tolist(), tips_below(np.array([2, 2, 4, 4, -1]), np.array([1])).tolist()
    ([1, 1, 2, 1, 3], [0, 1, 1, 0, 1])
    """
    count = np.zeros(parent.size, dtype=np.int64)
    count[~inner_nodes(parent) if tips is None else tips] = 1
    held, above = count.tolist(), parent.tolist()
    for node in range(parent.size - 1):
        held[above[node]] += held[node]
    return np.array(held, dtype=np.int64)


def is_postorder(parent: Ints) -> bool:
    """Say whether ``parent`` is one tree in true postorder: built again from its levels it is the same."""
    node = np.arange(parent.size)
    if not parent.size or parent[-1] != -1 or not (parent[:-1] > node[:-1]).all() or parent.max() >= parent.size:
        return False
    level, inner = sums_from_root(parent, np.ones(parent.size)).astype(np.int64), inner_nodes(parent)
    if not np.where(inner[1:], parent[:-1] == node[1:], level[1:] >= level[:-1]).all():
        return False
    return bool(np.array_equal(parents_from_depth(level, inner), parent))


def content_hash(words: Iterable[str], whole: Ints, real: Floats) -> str:
    """Return the SHA-256 of words and numbers in hexadecimal, the same between runs and machines."""
    digest = hashlib.sha256()
    for word in words:
        content = word.encode("utf-8")
        digest.update(len(content).to_bytes(8, "little") + content)
    digest.update(whole.astype("<i8").tobytes())
    digest.update((real + 0.0).astype("<f8").tobytes())  # adding zero turns -0.0 into 0.0
    return digest.hexdigest()


def all_distances(height: Floats, tip_nodes: Ints, meets: Ints) -> Floats:
    """Return the distances of k tips to each other, as a (k, k) array.

    ``height`` (n,) is of every node; ``tip_nodes`` (k,) are the nodes of tips, ascending, none twice, and ``meets``
    (k - 1,) is where each of them meets the next.
    """
    size = tip_nodes.size
    out = np.empty((size, size))  # the upper half from the last row upwards, then mirrored
    at_tip, twice = height[tip_nodes], 2.0 * height
    joins, met = np.append(meets, 0), tip_nodes.copy()
    for row in range(size - 1, -1, -1):
        np.maximum(met[row + 1 :], joins[row], out=met[row + 1 :])
        np.subtract(at_tip[row:] + at_tip[row], twice[met[row:]], out=out[row, row:])
    _mirror(out)
    return out


def _mirror(out: Floats) -> None:
    """Copy the upper half to the lower one, in blocks that the cache holds."""
    starts = range(0, out.shape[0], _BLOCK)
    for top in starts:
        rows = slice(top, top + _BLOCK)
        out[rows, rows] = np.triu(out[rows, rows]) + np.triu(out[rows, rows], 1).T
        for left in starts[top // _BLOCK + 1 :]:
            out[left : left + _BLOCK, rows] = out[rows, left : left + _BLOCK].T


class MrcaTable:
    """Finds the node where any two tips meet, in constant time a pair: row r holds the highest of 2 ** r neighbours.

    It is made of the nodes of the tips (k,), and of those where each tip meets the next (k - 1,): the sparse table of
    Bender & Farach-Colton 2000, doi 10.1007/10719839_9.
    """

    def __init__(self, tip_nodes: Ints, meets: Ints) -> None:
        self._tip_nodes = tip_nodes
        rows = [np.append(meets, 0)]
        for step in (1 << row for row in range(int(meets.size).bit_length() - 1)):
            rows.append(np.append(np.maximum(rows[-1][:-step], rows[-1][step:]), rows[-1][-step:]))
        self._table = np.array(rows)

    def of(self, a: Ints, b: Ints) -> Ints:
        """Return the node where tips ``a[i]`` and ``b[i]`` meet, as an (m,) array; for a tip with itself, its own node.

        An `IndexError` says that there is no tip of a number.
        """
        first, last = np.minimum(a, b), np.maximum(a, b)
        if first.min(initial=0) < 0 or last.max(initial=0) >= self._tip_nodes.size:
            raise IndexError(f"tips are numbered from 0 to {self._tip_nodes.size - 1}")
        row = np.maximum(np.frexp(last - first)[1] - 1, 0)
        met = np.maximum(self._table[row, first], self._table[row, last - (1 << row)])
        return np.where(first == last, self._tip_nodes[first], met)


def distances_of_one(height: Floats, tip_nodes: Ints, meets: Ints, tip: int) -> Floats:
    """Return the row of one tip in `all_distances`, (k,): where it meets them are running maxima both ways."""
    met = np.empty(tip_nodes.size, dtype=np.int64)
    met[tip] = tip_nodes[tip]
    np.maximum.accumulate(meets[tip:], out=met[tip + 1 :])
    met[:tip] = np.maximum.accumulate(meets[:tip][::-1])[::-1]
    lengths: Floats = (height[tip_nodes[tip]] + height[tip_nodes]) - 2.0 * height[met]
    return lengths


def pick(meets: Ints, chosen: Ints) -> Ints:
    """Return where each of m chosen tips (ascending, none twice) meets the next of them, as an (m - 1,) array."""
    if chosen.size < 2:  # noqa: PLR2004 - one tip meets nobody
        return np.zeros(0, dtype=np.int64)
    return np.maximum.reduceat(meets[: chosen[-1]], chosen[:-1])
