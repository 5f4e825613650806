"""Putting the root of a tree elsewhere: at the midpoint, or between an outgroup and the rest."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from crosscompat.ground.errors import WrongUse
from crosscompat.ground.names import fold
from crosscompat.ground.wording import say
from crosscompat.phylogeny.postorder import Bools, in_postorder
from crosscompat.phylogeny.tree import Phylogeny

__all__ = ["root_at_midpoint", "root_on_outgroup"]


def root_at_midpoint(tree: Phylogeny) -> Phylogeny:
    """Root a tree halfway between the two tips farthest apart.

    Parameters
    ----------
    tree : Phylogeny
        Without negative lengths. Names of inner nodes and support are dropped: they may mean nothing from elsewhere.

    Notes
    -----
    Farris JS (1972). Estimating phylogenetic trees from distance matrices. American Naturalist 106:645-668.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> tree = root_at_midpoint(parse_newick("(a:1,b:1,c:5);"))
    >>> tree.root_distance[tree.tip_nodes].tolist(), tree.patristic("a", "b")
    ([3.0, 3.0, 3.0], 2.0)
    """
    end = int(np.argmax(tree.patristic_from(tree.tips[0])))
    apart = tree.patristic_from(tree.tips[end])
    if apart.max() <= 0:
        return tree
    # Halfway lies above the end that is farther from the present root, and not beyond that root.
    ends = tree.tip_nodes[[end, int(np.argmax(apart))]]
    node = int(ends[np.argmax(tree.root_distance[ends])])
    left = float(apart.max()) / 2
    while left > tree.length[node] and tree.parent[node] != tree.n_nodes - 1:
        left -= float(tree.length[node])
        node = int(tree.parent[node])
    return _rooted_above(tree, node, left)


def root_on_outgroup(tree: Phylogeny, outgroup: Sequence[str]) -> Phylogeny:
    """Root a tree in the middle of the branch that parts some species from all others.

    Parameters
    ----------
    tree : Phylogeny
        Where it is rooted now does not matter.
    outgroup : sequence of str
        At least one species, not all.

    Raises
    ------
    UnknownName
        If a name is not in the tree.
    WrongUse
        If the outgroup is all species, or is mixed with others.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> tree = root_on_outgroup(parse_newick("(a:1,b:1,(c:1,d:1):2);"), ["a", "b"])
    >>> tree.clade("a", "b").size, tree.clade("c", "d").size, tree.patristic("a", "c")
    (2, 2, 4.0)
    """
    tree = replace(tree, rooted=True)  # a tree marked as unrooted tells no clades
    away = {tree.index.resolve(name) for name in outgroup}
    inside = np.array([label in away for label in tree.tips], dtype=np.bool_)
    if inside.all():
        raise WrongUse(say("alignment.outgroup.whole"))
    for side in (inside, ~inside):
        node, held = _smallest(tree, side)
        if held == side.sum():
            return _rooted_above(tree, node)
    names = ", ".join(sorted(map(fold, away)))
    raise WrongUse(say("alignment.outgroup.mixed", names=names))


def _smallest(tree: Phylogeny, chosen: Bools) -> tuple[int, int]:
    """Return the node of the smallest clade that holds the chosen tips, and how many tips it holds."""
    tips = [tree.tips[tip] for tip in np.flatnonzero(chosen)]
    met = tree.clade_pairs([tips[0]] * len(tips), tips)
    return int(met.node.max()), int(met.size.max())


def _rooted_above(tree: Phylogeny, node: int, height: float | None = None) -> Phylogeny:
    """Return the tree with its root on the branch over a node, so high above it; by default in the middle."""
    branches, new = _branches(tree), tree.n_nodes
    at = next((i for i, (one, _, _) in enumerate(branches) if one == node), len(branches) - 1)
    one, other, length = branches.pop(at)
    below = length / 2 if height is None else min(height, length)
    branches += [(node, new, below), (other if one == node else one, new, length - below)]
    beside: dict[int, list[tuple[int, float]]] = {}
    for one, other, length in branches:
        beside.setdefault(one, []).append((other, length))
        beside.setdefault(other, []).append((one, length))
    nodes, parent = in_postorder(
        (new, -1, np.nan),
        lambda here: [(there, here[0], length) for there, length in beside[here[0]] if there != here[1]],
    )
    names = dict(zip(tree.tip_nodes.tolist(), tree.tips, strict=True))
    labels = [names.get(number, "") for number, _, _ in nodes]
    return Phylogeny.from_arrays(parent, [length for _, _, length in nodes], labels, unit=tree.unit, rooted=True)


def _branches(tree: Phylogeny) -> list[tuple[int, int, float]]:
    """Return all branches as lower end, upper end and length; two alone at the root are one branch, the last."""
    top = tree.n_nodes - 1
    ends = list(zip(range(top), tree.parent[:-1].tolist(), tree.length[:-1].tolist(), strict=True))
    at_root = [branch for branch in ends if branch[1] == top]
    if len(at_root) != 2:  # noqa: PLR2004 - two are one
        return ends
    (one, _, left), (other, _, right) = at_root
    return [*(branch for branch in ends if branch[1] != top), (one, other, left + right)]
