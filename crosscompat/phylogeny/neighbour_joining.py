"""A rooted tree from distances, by neighbour joining."""

from __future__ import annotations

from collections.abc import Sequence
from importlib import import_module
from typing import Any

import numpy as np

from crosscompat.phylogeny.postorder import Floats, in_postorder
from crosscompat.phylogeny.rooting import root_at_midpoint, root_on_outgroup
from crosscompat.phylogeny.tree import Phylogeny

__all__ = ["neighbour_joining"]


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
    tree = construction.DistanceTreeConstructor().nj(construction.DistanceMatrix(list(names), lower))
    joined = _as_tree(tree, set(names), unit)
    return root_on_outgroup(joined, outgroup) if outgroup else root_at_midpoint(joined)


def _as_tree(tree: Any, names: set[str], unit: str | None) -> Phylogeny:
    nodes, parent = in_postorder(tree.root, lambda clade: clade.clades)
    labels = [clade.name if clade.name in names and not clade.clades else "" for clade in nodes]
    length = np.maximum([clade.branch_length or 0.0 for clade in nodes], 0.0)
    return Phylogeny.from_arrays(parent, length, labels, unit=unit)
