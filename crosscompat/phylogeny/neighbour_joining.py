"""A rooted tree from distances: neighbour joining, and the root at the midpoint or beside an outgroup."""

from __future__ import annotations

from collections.abc import Sequence
from importlib import import_module

import numpy as np

from crosscompat.ground.errors import WrongUse
from crosscompat.ground.names import fold
from crosscompat.ground.wording import say
from crosscompat.phylogeny.postorder import in_postorder
from crosscompat.phylogeny.tree import Phylogeny
from crosscompat.phylogeny.types import Floats

__all__ = ["neighbour_joining", "root_at_midpoint", "root_on_outgroup"]


def neighbour_joining(
    names: Sequence[str], distances: Floats, *, outgroup: Sequence[str] = (), unit: str | None = None
) -> Phylogeny:
    """Join species to a tree, nearest neighbours first, and root it.

    Parameters
    ----------
    names : sequence of k str
        At least three.
    distances : (k, k) float array
        Symmetric and known throughout.
    outgroup : sequence of str
        Species that parted first: the root stands in the middle of the branch to them. None: at the midpoint between
        the two species farthest apart.
    unit : str, optional
        Of the distances.

    Returns
    -------
    Phylogeny
        Rooted. A branch whose length comes out below zero is set to zero (common practice, no source).

    Raises
    ------
    UnknownName
        If the outgroup is not among the species.
    WrongUse
        If it is all of them, or does not stand apart from the others.

    Notes
    -----
    Saitou N, Nei M (1987). The neighbor-joining method. Molecular Biology and Evolution 4:406-425; as Biopython does
    it, in a time that grows with the cube of the number of species. The root is put in by this package: Biopython's own
    rooting lengthens the tree where the outgroup's branch begins at the present root (version 1.88).

    Examples
    --------
    >>> apart = np.array([[0.0, 5, 9, 9], [5, 0, 10, 10], [9, 10, 0, 8], [9, 10, 8, 0]])
    >>> tree = neighbour_joining(["a", "b", "c", "d"], apart, outgroup=["b"])
    >>> tree.patristic("a", "c"), tree.clade("a", "c").size
    (9.0, 3)
    """
    construction = import_module("Bio.Phylo.TreeConstruction")  # heavy, and few trees are made
    lower = [[float(value) for value in distances[i, : i + 1]] for i in range(len(names))]
    joined = construction.DistanceTreeConstructor().nj(construction.DistanceMatrix(list(names), lower))
    nodes, parent = in_postorder(joined.root, lambda clade: clade.clades)
    labels = ["" if clade.clades else clade.name for clade in nodes]
    length = np.maximum([clade.branch_length or 0.0 for clade in nodes], 0.0)
    tree = Phylogeny.from_arrays(parent, length, labels, unit=unit)
    return root_on_outgroup(tree, outgroup) if outgroup else root_at_midpoint(tree)


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
    away = {tree.index.resolve(name) for name in outgroup}
    others = [tip for tip in tree.tips if tip not in away]
    if not others:
        raise WrongUse(say("alignment.outgroup.whole"))
    for side in (away, others):
        node = tree.mrca(side)
        if tree.tips_under(node).size == len(side):
            return _rooted_above(tree, node)
    raise WrongUse(say("alignment.outgroup.mixed", names=", ".join(sorted(map(fold, away)))))


def _rooted_above(tree: Phylogeny, node: int, height: float | None = None) -> Phylogeny:
    """Return the tree with its root on the branch over a node, so high above it; by default in the middle."""
    branches, new = _branches(tree), tree.n_nodes
    at = next((i for i, (lower, _, _) in enumerate(branches) if lower == node), len(branches) - 1)
    lower, upper, length = branches.pop(at)
    below = length / 2 if height is None else min(height, length)
    branches += [(node, new, below), (upper if lower == node else lower, new, length - below)]
    beside: dict[int, list[tuple[int, float]]] = {}
    for lower, upper, length in branches:
        beside.setdefault(lower, []).append((upper, length))
        beside.setdefault(upper, []).append((lower, length))
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
    (lower, _, left), (upper, _, right) = at_root
    return [*(branch for branch in ends if branch[1] != top), (lower, upper, left + right)]
