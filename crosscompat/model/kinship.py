"""How related the effects of two species are: the correlation matrix A of a tree, or of a table of distances.

A hybrid has a share of its species: its effect is the mean of theirs as they are related through the tree, weighted by
the shares, and what is its own, so that it varies as much as a species does.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from functools import lru_cache
from typing import cast

import numpy as np

from crosscompat.ground.errors import BadInput, Fault, Place, UnknownName
from crosscompat.ground.wording import say
from crosscompat.model.likelihood import Floats
from crosscompat.pairing import MILLION_YEARS
from crosscompat.phylogeny.taxa import Pedigree, share_matrix
from crosscompat.phylogeny.tree import Distances, Phylogeny

__all__ = ["OLDEST_KIN", "average_linkage", "correlation", "relatedness"]

OLDEST_KIN = 20.0
"""Millions of years before the tips beyond which kinship tells nothing: on published crosses of 39 genera, a genus left
out was forecast worse with relatives in other families speaking for it (log loss .639) than with this limit (.605)."""


def relatedness(
    distances: Distances,
    species: Sequence[str],
    others: Sequence[str] | None = None,
    pedigree: Callable[[str], Pedigree] | None = None,
) -> Floats | None:
    """Return the entries of A between some species and those that a model was fitted on.

    Parameters
    ----------
    distances : Phylogeny or DistanceTable
    species : sequence of str
        Labels of those fitted; paths count from their most recent common ancestor on. One that is no longer on the
        tree is related to nobody.
    others : sequence of str, optional
        Labels of the rows; by default the species themselves.
    pedigree : callable, optional
        Whose offspring a label that is no tip is (`Taxa.pedigree`); without it there are no hybrids.

    Returns
    -------
    ndarray of float, shape (n_others, n_species), or None
        None where A is not known: a table with gaps.

    Raises
    ------
    BadInput
        If the tree has negative lengths: depths, and so A, have no meaning there.

    Notes
    -----
    A is the shared path over the root of the product of the two paths, below the common ancestor of the species
    fitted, and on a tree in millions of years no more than 20 before the tips. It is positive semi-definite on every
    tree without negative lengths; 1 - d / max d is not. A complete table, or a tree marked as unrooted, is joined by
    average linkage first.

    Of hybrids with shares w and v of their species it is w'Av, and 1 of a hybrid with itself: w'Aw is what it has of
    its species, the rest its own. That is W A W' with something added to its diagonal, so it stays positive
    semi-definite.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> tree = parse_newick("(((a:1,b:1):1,c:2):1,d:3);")
    >>> relatedness(tree, ["a", "b", "c"]).tolist()
    [[1.0, 0.5, 0.0], [0.5, 1.0, 0.0], [0.0, 0.0, 1.0]]
    >>> relatedness(tree, ["a", "c"], ["b", "d"]).tolist()
    [[0.5, 0.0], [0.0, 0.0]]
    """
    if pedigree is not None and not {*species, *(others or ())} <= set(distances.tips):
        return _with_hybrids(distances, species, species if others is None else others, pedigree)
    place = {label: i for i, label in enumerate(distances.tips)}
    rows = [name if name in place else distances.index.resolve(name) for name in others or ()]
    rows = list(species) if others is None else rows
    known = [label for label in species if label in place]
    names = list(dict.fromkeys((*known, *rows)))
    depths = _depths(distances, names)
    if depths is None:
        return None
    at = {name: i for i, name in enumerate(names)}
    oldest = OLDEST_KIN if distances.unit == MILLION_YEARS else None
    among = correlation(*depths, fitted=len(known), oldest=oldest)
    found = np.zeros((len(rows), len(species)))
    columns = [j for j, label in enumerate(species) if label in place]
    found[:, columns] = among[np.ix_([at[name] for name in rows], [at[species[j]] for j in columns])]
    return found


def _with_hybrids(
    distances: Distances, species: Sequence[str], others: Sequence[str], pedigree: Callable[[str], Pedigree]
) -> Floats | None:
    """Share out the entries of A among the species that hybrids come of."""
    columns, shares = share_matrix([_known(label, pedigree) for label in species])
    rows, parts = share_matrix([_known(label, pedigree) for label in others])
    among = relatedness(distances, columns, rows)
    if among is None:
        return None
    found: Floats = parts @ among @ shares.T
    own = np.array([[one == other for other in species] for one in others], dtype=np.bool_)
    return np.where(own.reshape(found.shape), 1.0, found)


def _known(label: str, pedigree: Callable[[str], Pedigree]) -> Pedigree:
    """Return whose offspring a label is; one that is no longer known comes of nobody."""
    try:
        found = pedigree(label)
    except UnknownName:
        return Pedigree(label, {})
    return found if found.is_hybrid or label in found.shares else Pedigree(label, {})


def correlation(tip: Floats, shared: Floats, fitted: int, oldest: float | None = None) -> Floats:
    """Return A from depths below any point above all species.

    Parameters
    ----------
    tip : ndarray of float, shape (k,)
        Depth of each species.
    shared : ndarray of float, shape (k, k)
        Depth of the most recent common ancestor of each pair.
    fitted : int
        The first so many are those fitted: their common ancestor is where paths begin. What ends or branches off above
        it is related to nobody.
    oldest : float, optional
        Paths begin no farther above the tips than this: what parted earlier is related to nobody.

    Examples
    --------
    >>> correlation(np.array([3.0, 3.0]), np.array([[3.0, 2.0], [2.0, 3.0]]), fitted=2).tolist()
    [[1.0, 0.0], [0.0, 1.0]]
    """
    crown = float(shared[:fitted, :fitted].min()) if fitted else 0.0
    if oldest is not None and fitted:
        crown = max(crown, float(np.median(tip[:fitted])) - oldest)
    below = np.maximum(tip - crown, 0.0)
    path = np.maximum(shared - crown, 0.0)
    scale = np.sqrt(np.outer(below, below))
    a: Floats = np.minimum(np.divide(path, scale, out=np.zeros_like(path), where=scale > 0.0), 1.0)
    np.fill_diagonal(a, 1.0)
    return a


def average_linkage(distances: Floats) -> Floats:
    """Return the distances on the average-linkage (UPGMA) tree of a complete table.

    Parameters
    ----------
    distances : ndarray of float, shape (k, k)
        Symmetric, no gaps.

    Notes
    -----
    Sokal RR, Michener CD (1958). A statistical method for evaluating systematic relationships. University of Kansas
    Science Bulletin 38:1409-1438.

    Examples
    --------
    >>> average_linkage(np.array([[0.0, 2.0, 5.0], [2.0, 0.0, 7.0], [5.0, 7.0, 0.0]]))[0].tolist()
    [0.0, 2.0, 6.0]
    """
    gap = np.array(distances, dtype=np.float64)
    joined = np.zeros_like(gap)
    np.fill_diagonal(gap, np.inf)
    members = {i: np.array([i]) for i in range(len(gap))}
    while len(members) > 1:
        i, j = sorted(int(v) for v in np.unravel_index(np.argmin(gap), gap.shape))
        a, b = members[i], members.pop(j)
        joined[np.ix_(a, b)] = joined[np.ix_(b, a)] = gap[i, j]
        mean = (a.size * gap[i] + b.size * gap[j]) / (a.size + b.size)
        gap[i], gap[:, i] = mean, mean
        gap[j], gap[:, j], gap[i, i] = np.inf, np.inf, np.inf
        members[i] = np.concatenate([a, b])
    return joined


def _depths(distances: Distances, names: list[str]) -> tuple[Floats, Floats] | None:
    """Depths of species and of their common ancestors; None where they are not known."""
    if isinstance(distances, Phylogeny) and distances.rooted is not False:
        if distances.has_negative:
            raise BadInput([Fault(Place(), say("take.negative.what"), say("take.negative.advice"))])
        place = {label: i for i, label in enumerate(distances.tips)}
        depth = distances.root_distance[distances.tip_nodes]
        tip = np.array([depth[place[name]] for name in names], dtype=np.float64)
        return tip, 0.5 * (tip[:, None] + tip[None, :] - distances.patristic_matrix(names))
    joined = _joined(cast("Hashable", distances))
    if joined is None:
        return None
    top = 0.5 * float(joined.max(initial=0.0))
    place = {label: i for i, label in enumerate(distances.tips)}
    at = [place[name] for name in names]
    return np.full(len(at), top), top - 0.5 * joined[np.ix_(at, at)]


@lru_cache(maxsize=4)
def _joined(distances: Hashable) -> Floats | None:
    """Average-linkage distances of a whole table; None if it has gaps."""
    table = cast("Distances", distances).patristic_matrix()
    return None if np.isnan(table).any() else average_linkage(np.maximum(table, 0.0))
