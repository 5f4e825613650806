"""The greatest distance among some species: what a relative distance of 1 stands for."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from crosscompat.phylogeny.tree import Distances, Phylogeny

__all__ = ["greatest_distance"]


def greatest_distance(distances: Distances, names: Sequence[str] = ()) -> float:
    """Return the greatest distance among some species, in the unit of the tree.

    Parameters
    ----------
    distances : Phylogeny or DistanceTable
        Where they stand.
    names : sequence of str
        The species; none, or species that all stand in one place, mean all the tips. A gap in a table is passed over.

    Returns
    -------
    float
        1 if everything stands in one place.

    Notes
    -----
    On a tree without negative lengths the farthest tip from any tip is one end of a greatest distance, so that two
    sweeps find it.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> tree = parse_newick("((a:1,b:1):2,(c:1,d:1):2);")
    >>> greatest_distance(tree), greatest_distance(tree, ["a", "b"])
    (6.0, 2.0)
    """
    among = list(names) or list(distances.tips)
    greatest = _greatest(distances, among)
    if greatest > 0:
        return greatest
    return _greatest(distances, list(distances.tips)) or 1.0


def _greatest(distances: Distances, names: list[str]) -> float:
    if isinstance(distances, Phylogeny):
        farthest = names[int(np.argmax(distances.patristic_from(names[0], names)))]
        return float(distances.patristic_from(farthest, names).max())
    known = distances.patristic_matrix(names)
    return float(np.nanmax(known, initial=0.0))
