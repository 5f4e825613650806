"""Who is crossed with whom, as a model numbers them, and how related their effects are.

Relatedness is the correlation matrix A of a tree, or of a table of distances. A hybrid's effect is the mean of its
species', weighted by its shares of them, and what is its own, so that it varies as much as a species does.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import cast

import numpy as np

from crosscompat.ground.errors import BadInput, Fault, Place, UnknownName
from crosscompat.ground.wording import say
from crosscompat.model.composition import Logits
from crosscompat.model.likelihood import Floats, Ints
from crosscompat.pairing import MILLION_YEARS
from crosscompat.phylogeny.taxa import Pedigree, Taxa, share_matrix
from crosscompat.phylogeny.tree import Distances, Phylogeny


@dataclass(frozen=True, slots=True)
class Parents:
    """Who was crossed, record by record: species as the tree labels them, or formulas of hybrids.

    The very plants are None where not said; their sequences are empty if they are never said.
    """

    seed: Sequence[str]
    pollen: Sequence[str]
    seed_plants: Sequence[str | None] = ()
    pollen_plants: Sequence[str | None] = ()


@dataclass(frozen=True, slots=True)
class Seen:
    """What the fit has seen, for the honesty of its forecasts.

    Of the ``crosses`` that entered, something ``took`` in so many; ``finished`` is of how many the outcome as a whole
    is known, None for all; ``farthest`` the largest distance among them, in the unit of the tree, 0 without any. The
    parents among them and the very plants, as mothers and as fathers, are sorted; ``related`` is whether it was known
    how the species are.
    """

    crosses: int = 0
    took: int = 0
    farthest: float = 0.0
    species: tuple[str, ...] = ()
    seed_plants: tuple[str, ...] = ()
    pollen_plants: tuple[str, ...] = ()
    related: bool = False
    finished: int | None = None


@dataclass(frozen=True, slots=True)
class Levels:
    """Numbers of species and plants among those seen, shape (n,); -1 for one that is not among them."""

    seed: Ints
    pollen: Ints
    seed_plant: Ints
    pollen_plant: Ints

    @classmethod
    def of(cls, seen: Seen, parents: Parents) -> Levels:
        """Return the numbers of parents."""
        size = len(parents.seed)
        return cls(
            _numbers(seen.species, parents.seed, size),
            _numbers(seen.species, parents.pollen, size),
            _numbers(seen.seed_plants, parents.seed_plants, size),
            _numbers(seen.pollen_plants, parents.pollen_plants, size),
        )

    def __getitem__(self, at: slice | Ints) -> Levels:
        return Levels(self.seed[at], self.pollen[at], self.seed_plant[at], self.pollen_plant[at])


@dataclass(frozen=True, slots=True)
class Pairings:
    """Pairings asked about, as a model sees them.

    ``seed_kin`` and ``pollen_kin``, shape (n_pairs, n_species), are the entries of A between each parent and the
    species seen; None where A is not known.
    """

    levels: Levels
    seed_kin: Floats | None = None
    pollen_kin: Floats | None = None

    def __getitem__(self, at: slice | Ints) -> Pairings:
        kin = (None if a is None else a[at] for a in (self.seed_kin, self.pollen_kin))
        return Pairings(self.levels[at], *kin)


def strangers(n: int) -> Pairings:
    """Return so many pairings of species and plants that no cross was made with."""
    nobody: Ints = np.full(n, -1, dtype=np.intp)
    return Pairings(Levels(nobody, nobody, nobody, nobody))


def pairings_of(
    seen: Seen, distances: Distances, parents: Parents, pedigree: Callable[[str], Pedigree] | None = None
) -> Pairings:
    """Return pairings as the model that saw ``seen`` numbers them.

    ``distances`` are those that it was fitted with: through them a species not seen learns from its relatives.
    ``pedigree`` tells whose offspring a hybrid is (`Taxa.pedigree`); without it there are none.
    """
    levels = Levels.of(seen, parents)
    if not seen.related:
        return Pairings(levels)
    names = list(dict.fromkeys((*parents.seed, *parents.pollen)))
    kin = relatedness(distances, seen.species, names, pedigree)
    if kin is None:
        return Pairings(levels)
    at = {name: i for i, name in enumerate(names)}
    seed, pollen = ([at[name] for name in side] for side in (parents.seed, parents.pollen))
    return Pairings(levels, kin[seed], kin[pollen])


def _numbers(labels: tuple[str, ...], names: Sequence[str | None], size: int) -> Ints:
    """Place of each name among sorted labels, -1 for none."""
    place: dict[str | None, int] = {label: i for i, label in enumerate(labels)}
    if not len(names):
        return np.full(size, -1, dtype=np.intp)
    return np.fromiter((place.get(name, -1) for name in names), dtype=np.intp, count=size)


@dataclass(frozen=True, slots=True)
class InPlace:
    """The n pairings that species of hybrids would make in their place, with the plants of the hybrids.

    ``weight`` and ``of``, shape (n,), are the share of each, and which of the pairings asked about it stands for.
    """

    parents: Parents
    weight: Floats
    of: Ints


def in_place(taxa: Taxa, seen: Seen, parents: Parents) -> InPlace | None:
    """Return the pairings that species would make in place of hybrids; None if there is no hybrid.

    A hybrid that the model has seen crosses of speaks for itself and stays in its place.
    """
    labels = dict.fromkeys((*parents.seed, *parents.pollen))
    plants = {label: taxa.pedigree(label) for label in labels}
    mixed = {label for label, plant in plants.items() if plant.is_hybrid and label not in seen.species}
    if not mixed:
        return None
    rows = [
        (*pair, at)
        for at, both in enumerate(zip(parents.seed, parents.pollen, strict=True))
        if not mixed.isdisjoint(both)
        for pair in _pairs(*(plants[label] if label in mixed else Pedigree(label, {label: 1.0}) for label in both))
    ]
    of = np.array([row[3] for row in rows], dtype=np.intp)
    clones = ([side[i] for i in of.tolist()] if side else () for side in (parents.seed_plants, parents.pollen_plants))
    result = Parents([row[0] for row in rows], [row[1] for row in rows], *clones)
    return InPlace(result, np.array([row[2] for row in rows], dtype=np.float64), of)


def no_surer(own: Logits, of_species: Logits, weight: Floats, of: Ints) -> Logits:
    """Hold that pairings of hybrids are never surer than the weighted mean of those of their species (`in_place`).

    ``weight`` and ``of``, shape (n_of_species,), are the share of each pairing of species, and which it stands for.

    Examples
    --------
    >>> hybrid, species = Logits(np.zeros(2), np.ones(2)), Logits(np.zeros(2), np.array([1.0, 3.0]))
    >>> no_surer(hybrid, species, np.array([0.5, 0.5]), np.array([1, 1])).sd ** 2
    array([1., 5.])
    """
    least = np.bincount(of, weight * of_species.sd**2, minlength=len(own.mean))
    return Logits(own.mean, np.sqrt(np.maximum(own.sd**2, least)))


def _pairs(seed: Pedigree, pollen: Pedigree) -> list[tuple[str, str, float]]:
    """Return pairs of species with their weights; a hybrid and its like are of one species at a time."""
    if seed.label == pollen.label:
        return [(species, species, share) for species, share in seed.shares.items()]
    return [(one, other, share * part) for one, share in seed.shares.items() for other, part in pollen.shares.items()]


OLDEST_KIN = 20.0
"""Millions of years before the tips beyond which kinship tells nothing: on published crosses of 39 genera, a genus left
out was forecast worse with relatives in other families speaking for it (log loss .639) than with this limit (.605)."""


def relatedness(
    distances: Distances,
    species: Sequence[str],
    others: Sequence[str] | None = None,
    pedigree: Callable[[str], Pedigree] | None = None,
) -> Floats | None:
    """Return the entries of A between ``others`` and the ``species`` that a model was fitted on, (n_others, n_species).

    By default the others are the species themselves. A species no longer on the tree is related to nobody; of a table
    with gaps A is not known, None. ``pedigree`` is as for `pairings_of`. BadInput if the tree has negative lengths:
    depths, and so A, have no meaning there.

    Notes
    -----
    A is the shared path over the root of the product of the two paths, below the common ancestor of the species fitted,
    and on a tree in My no more than 20 before the tips. It is positive semi-definite on every tree without negative
    lengths; 1 - d / max d is not. A complete table, or a tree marked as unrooted, is joined by average linkage first.

    Of hybrids with shares w and v of their species it is w'Av, and 1 of a hybrid with itself: w'Aw is what it has of
    its species, the rest its own. So A stays positive semi-definite.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> tree = parse_newick("(((a:1,b:1):1,c:2):1,d:3);")
    >>> relatedness(tree, ["a", "b", "c"]).tolist()
    [[1.0, 0.5, 0.0], [0.5, 1.0, 0.0], [0.0, 0.0, 1.0]]
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
    result = np.zeros((len(rows), len(species)))
    columns = [j for j, label in enumerate(species) if label in place]
    result[:, columns] = among[np.ix_([at[name] for name in rows], [at[species[j]] for j in columns])]
    return result


def _with_hybrids(
    distances: Distances, species: Sequence[str], others: Sequence[str], pedigree: Callable[[str], Pedigree]
) -> Floats | None:
    """Share out the entries of A among the species that hybrids come of."""
    columns, shares = share_matrix([_known(label, pedigree) for label in species])
    rows, parts = share_matrix([_known(label, pedigree) for label in others])
    among = relatedness(distances, columns, rows)
    if among is None:
        return None
    result: Floats = parts @ among @ shares.T
    own = np.array([[one == other for other in species] for one in others], dtype=np.bool_)
    return np.where(own.reshape(result.shape), 1.0, result)


def _known(label: str, pedigree: Callable[[str], Pedigree]) -> Pedigree:
    """Return whose offspring a label is; one that is no longer known comes of nobody."""
    try:
        result = pedigree(label)
    except UnknownName:
        return Pedigree(label, {})
    return result if result.is_hybrid or label in result.shares else Pedigree(label, {})


def correlation(tip: Floats, shared: Floats, fitted: int, oldest: float | None = None) -> Floats:
    """Return A from depths of species, shape (k,), and of common ancestors, (k, k), below any point above them all.

    Paths begin at the common ancestor of the first so many, those ``fitted``, and no farther above the tips than
    ``oldest``: what branches off above is related to nobody.

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
    """Return the distances on the average-linkage (UPGMA) tree of a complete table, shape (k, k) as the table's.

    Sokal RR, Michener CD (1958), University of Kansas Science Bulletin 38:1409-1438.

    Examples
    --------
    >>> average_linkage(np.array([[0.0, 2.0, 5.0], [2.0, 0.0, 7.0], [5.0, 7.0, 0.0]]))[0].tolist()
    [0.0, 2.0, 6.0]
    """
    from scipy.cluster.hierarchy import cophenet, linkage  # noqa: PLC0415 - only a table of distances needs it
    from scipy.spatial.distance import squareform  # noqa: PLC0415 - as above

    if len(distances) < 2:  # noqa: PLR2004 - there is nothing to join
        return np.zeros_like(distances)
    tree = linkage(squareform(distances, checks=False), "average")
    return np.asarray(squareform(cophenet(tree)), dtype=np.float64)


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
