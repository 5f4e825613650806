"""A number for what a tree or a table holds, the same between runs and machines."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

import numpy as np

from crosscompat.phylogeny.postorder import Floats, Ints

if TYPE_CHECKING:
    from collections.abc import Iterable

    from crosscompat.phylogeny.nodes import TreeNodes

__all__ = ["of_table", "of_tree"]


def of_tree(tree: TreeNodes) -> str:
    """Return the SHA-256 of a tree, in which the order of children does not matter.

    A node is known by its lowest-sorting tip and its level: no two nodes share both.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> of_tree(parse_newick("((a:1,b:2):3,c:4);")) == of_tree(parse_newick("(c:4,(b:2,a:1):3);"))
    True
    """
    order = np.lexsort((tree.level, _lowest_tip(tree)))
    place = np.empty(order.size + 1, dtype=np.int64)
    place[order] = np.arange(order.size)
    place[-1] = -1
    lengths = tree.length.copy()
    lengths[-1] = 0.0
    labels = [tree.labels[node] for node in order.tolist()]
    return _hash(["tree", tree.unit or "", str(tree.rooted), *labels], place[tree.parent[order]], lengths[order])


def of_table(labels: tuple[str, ...], values: Floats, unit: str | None) -> str:
    """Return the SHA-256 of a table of distances, in which the order of rows does not matter; a gap is a gap.

    Examples
    --------
    >>> ab = np.array([[0.0, np.nan], [np.nan, 0.0]])
    >>> of_table(("a", "b"), ab, None) == of_table(("b", "a"), ab, None)
    True
    """
    order = np.array(sorted(range(len(labels)), key=labels.__getitem__), dtype=np.int64)
    gaps = np.isnan(values)
    filled = np.where(gaps, 0.0, values)
    return _hash(
        ["table", unit or "", *(labels[place] for place in order.tolist())],
        gaps[np.ix_(order, order)].astype(np.int64),
        filled[np.ix_(order, order)],
    )


def _lowest_tip(tree: TreeNodes) -> Ints:
    """Return for each node the rank of its lowest-sorting tip."""
    ranked = sorted(range(tree.n_tips), key=tree.tips.__getitem__)
    lowest = np.full(tree.n_nodes, tree.n_tips, dtype=np.int64)
    lowest[tree.tip_nodes[np.array(ranked, dtype=np.int64)]] = np.arange(tree.n_tips)
    ranks, above = lowest.tolist(), tree.parent.tolist()
    for node in range(tree.n_nodes - 1):
        over = above[node]
        ranks[over] = min(ranks[over], ranks[node])
    return np.array(ranks, dtype=np.int64)


def _hash(words: Iterable[str], whole: Ints, real: Floats) -> str:
    digest = hashlib.sha256()
    for word in words:
        content = word.encode("utf-8")
        digest.update(len(content).to_bytes(8, "little") + content)
    digest.update(whole.astype("<i8").tobytes())
    digest.update((real + 0.0).astype("<f8").tobytes())  # adding zero turns -0.0 into 0.0
    return digest.hexdigest()
