"""A sample of trees (posterior or bootstrap): distances with what the sample leaves unsure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from os import PathLike
from typing import NamedTuple

import numpy as np

from crosscompat.ground.errors import BadInput, Fault, Place
from crosscompat.ground.names import NameIndex, fold
from crosscompat.phylogeny.formats import read_trees
from crosscompat.phylogeny.postorder import tips_below
from crosscompat.phylogeny.text_source import SHOWN, first_faults, worded
from crosscompat.phylogeny.tree import Phylogeny
from crosscompat.phylogeny.types import Floats

__all__ = ["MOST", "Spread", "TreeSample", "mean_distance", "read_sample"]

MOST = 500
"""So many trees are kept, evenly over the file: more would not change a standard deviation that anybody sees."""


class Spread(NamedTuple):
    """Distances of pairs over a sample: mean and standard deviation, each of shape (m,)."""

    mean: Floats
    sd: Floats


@dataclass(frozen=True, eq=False, repr=False)
class TreeSample:
    """Trees of one analysis.

    Attributes
    ----------
    trees : tuple of Phylogeny
        All of the same species.

    Notes
    -----
    Trees of a sample may differ in how fast they run as well as in shape. Only relative distance counts here, so every
    tree is scaled to the mean distance over the whole sample first.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newicks
    >>> sample = TreeSample(parse_newicks("((a:1,b:1):1,c:2);((a:1,c:1):1,b:2);"))
    >>> sample.of_pairs(["a", "b"], ["b", "c"])
    Spread(mean=array([3., 4.]), sd=array([1., 0.]))
    """

    trees: tuple[Phylogeny, ...]

    def __repr__(self) -> str:
        return f"<TreeSample of {len(self.trees)} trees, {self.trees[0].n_tips} tips>"

    @property
    def index(self) -> NameIndex:
        """The species that the trees hold."""
        return self.trees[0].index

    @cached_property
    def scales(self) -> Floats:
        """What the distances of each tree are multiplied by, shape (n_trees,)."""
        means = np.array([mean_distance(tree) for tree in self.trees])
        scales: Floats = means.mean() / means
        return scales

    def of_pairs(self, a: Sequence[str], b: Sequence[str]) -> Spread:
        """Return mean and standard deviation of the distance of each ``a[i]`` to ``b[i]``.

        Raises
        ------
        UnknownName
            If a name is not in the trees.
        """
        total, square = np.zeros(len(a)), np.zeros(len(a))
        first = self.trees[0].patristic_pairs(a, b) * self.scales[0]
        for tree, scale in zip(self.trees, self.scales.tolist(), strict=True):
            off = tree.patristic_pairs(a, b) * scale - first  # off the first, so that no digits are lost
            total += off
            square += off**2
        count = len(self.trees)
        variance = np.maximum(square - total**2 / count, 0.0) / count
        return Spread(first + total / count, np.sqrt(variance))


def mean_distance(tree: Phylogeny) -> float:
    """Return the mean distance of two different tips.

    A branch with k of n tips below it lies between k (n - k) of the pairs.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> mean_distance(parse_newick("((a:1,b:1):1,c:2);"))
    3.3333333333333335
    """
    held = tips_below(tree.parent)[:-1].astype(np.float64)
    pairs = tree.n_tips * (tree.n_tips - 1) / 2
    return float(np.sum(tree.length[:-1] * held * (tree.n_tips - held)) / pairs)


def read_sample(path: str | PathLike[str], *, unit: str | None = None) -> TreeSample:
    """Read a sample of trees from a file (NEXUS, Newick, phyloXML) that holds several.

    Parameters
    ----------
    path : path
        Trees before the chain had settled (burn-in) should have been taken out.
    unit : str, optional
        Of the branch lengths.

    Raises
    ------
    BadInput
        With every fault: as `read_trees`; one tree only; trees of other species than the first; trees without length.
    """
    trees = read_trees(path, unit=unit)
    place = Place(str(getattr(path, "name", path)))
    if len(trees) == 1:
        raise BadInput([worded("sample", "few", place)])
    kept = sorted({round(at) for at in np.linspace(0, len(trees) - 1, min(len(trees), MOST))})
    unlike = [at for at in kept if _tips(trees[at]) != _tips(trees[0])]
    flat = [at for at in kept if at not in set(unlike) and mean_distance(trees[at]) <= 0]
    faults = [
        *first_faults(unlike, lambda at: _unlike(trees, at, place), "sample.unlike", place.file),
        *first_faults(flat, lambda at: worded("sample", "flat", place, number=at), "sample.flat", place.file),
    ]
    if faults:
        raise BadInput(faults)
    return TreeSample(tuple(trees[at] for at in kept))


def _tips(tree: Phylogeny) -> frozenset[str]:
    return frozenset(map(fold, tree.tips))


def _unlike(trees: Sequence[Phylogeny], at: int, place: Place) -> Fault:
    names = sorted(_tips(trees[at]) ^ _tips(trees[0]))
    return worded("sample", "unlike", place, number=at, names=", ".join(names[:SHOWN]))
