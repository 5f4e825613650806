"""The smallest clade that holds two species: how big it is, how deep it lies, what it is called."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from crosscompat.phylogeny.postorder import Floats, Ints

__all__ = ["Clade", "CladePairs", "DistancesFrom", "nearest_named", "relative_depth"]


@dataclass(frozen=True, slots=True)
class Clade:
    """The smallest clade that holds two tips.

    Attributes
    ----------
    node : int
        Its crown node.
    size : int
        How many tips it holds.
    depth : float
        Root distance of its crown node over the mean root distance of the two tips; no unit. 0: they meet at the root
        only; near 1: they parted just now; 1 for a tip with itself.
    name : str
        The lowest named inner node at or above its crown node, "" where none is named.
    members : tuple of str
        Its tips as written, in postorder.
    """

    node: int
    size: int
    depth: float
    name: str
    members: tuple[str, ...]


class CladePairs(NamedTuple):
    """The smallest clades of many pairs: crown node, tips held and relative depth, each of shape (m,)."""

    node: Ints
    size: Ints
    depth: Floats


class DistancesFrom(NamedTuple):
    """How far one tip stands from k others.

    Attributes
    ----------
    patristic : (k,) float array
        Sum of branch lengths on the path, in the tree's unit.
    nodes : (k,) int array
        Nodes on the path.
    size : (k,) int array
        Tips in the smallest clade that holds both.
    depth : (k,) float array
        Relative depth of that clade, as in `Clade`.
    """

    patristic: Floats
    nodes: Ints
    size: Ints
    depth: Floats


def relative_depth(met: Floats, a: Floats, b: Floats) -> Floats:
    """Return root distance of the meeting node over the mean root distance of the two tips; 1 where that mean is 0.

    Parameters
    ----------
    met, a, b : (m,) float arrays
        Root distances, none negative.

    Examples
    --------
    >>> relative_depth(np.array([3.0, 0.0, 0.0]), np.array([4.0, 4.0, 0.0]), np.array([6.0, 4.0, 0.0])).tolist()
    [0.6, 0.0, 1.0]
    """
    mean = (a + b) / 2
    return np.divide(met, mean, out=np.ones_like(mean), where=mean > 0)


def nearest_named(parent: Ints, labels: tuple[str, ...], node: int) -> str:
    """Return the label of the lowest named inner node at or above a node, "" where there is none.

    Examples
    --------
    >>> nearest_named(np.array([2, 2, 4, 4, -1]), ("a", "b", "", "c", "Aloe"), 2)
    'Aloe'
    """
    while node >= 0:
        if labels[node] and (parent == node).any():
            return labels[node]
        node = int(parent[node])
    return ""
