"""Who is crossed with whom, as a model numbers them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from crosscompat.model.kinship import relatedness
from crosscompat.model.likelihood import Floats, Ints
from crosscompat.phylogeny.taxa import Pedigree, Taxa
from crosscompat.phylogeny.tree import Distances

__all__ = ["InPlace", "Levels", "Pairings", "Parents", "Seen", "in_place", "pairings_of", "seen_by"]


@dataclass(frozen=True, slots=True)
class Parents:
    """Who was crossed, record by record.

    Attributes
    ----------
    seed, pollen : sequence of str
        Species, as the tree labels them, or formulas of hybrids.
    seed_plants, pollen_plants : sequence of str or None
        The very plants, None where not told; empty if never told.
    """

    seed: Sequence[str]
    pollen: Sequence[str]
    seed_plants: Sequence[str | None] = ()
    pollen_plants: Sequence[str | None] = ()


@dataclass(frozen=True, slots=True)
class Seen:
    """What the fit has seen, for the honesty of its forecasts.

    Attributes
    ----------
    crosses : int
        Records that entered.
    took : int
        Records of them in which something took.
    farthest : float
        Largest distance among them, in the unit of the tree; 0 without records.
    species : tuple of str
        The parents among them, sorted.
    seed_plants, pollen_plants : tuple of str
        The very plants among them, as mothers and as fathers, sorted.
    related : bool
        Whether it was known how the species are related.
    finished : int or None
        Records of which the outcome as a whole is known; None for all.
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
    """Numbers of species and plants among those seen; -1 for one that is not among them.

    Attributes
    ----------
    seed, pollen, seed_plant, pollen_plant : ndarray of int, shape (n,)
    """

    seed: Ints
    pollen: Ints
    seed_plant: Ints
    pollen_plant: Ints

    @classmethod
    def of(cls, seen: Seen, parents: Parents) -> Levels:
        """Return the numbers of parents.

        Examples
        --------
        >>> Levels.of(Seen(species=("a", "b")), Parents(["b", "c"], ["a", "a"])).seed
        array([ 1, -1])
        """
        size = len(parents.seed)
        return cls(
            _numbers(seen.species, parents.seed, size),
            _numbers(seen.species, parents.pollen, size),
            _numbers(seen.seed_plants, parents.seed_plants, size),
            _numbers(seen.pollen_plants, parents.pollen_plants, size),
        )

    def __getitem__(self, at: slice | Ints) -> Levels:
        """Return those of some rows."""
        return Levels(self.seed[at], self.pollen[at], self.seed_plant[at], self.pollen_plant[at])


@dataclass(frozen=True, slots=True)
class Pairings:
    """Pairings asked about, as a model sees them.

    Attributes
    ----------
    levels : Levels
    seed_kin, pollen_kin : ndarray of float, shape (n_pairs, n_species), or None
        Entries of A between each parent and the species seen; None where A is not known.
    """

    levels: Levels
    seed_kin: Floats | None = None
    pollen_kin: Floats | None = None

    def __getitem__(self, at: slice) -> Pairings:
        """Return some of the pairings."""
        kin = (None if a is None else a[at] for a in (self.seed_kin, self.pollen_kin))
        return Pairings(self.levels[at], *kin)


def seen_by(
    parents: Parents, *, crosses: int, took: int, farthest: float, related: bool, finished: int | None = None
) -> Seen:
    """Return what a fit sees of some crosses."""
    return Seen(
        crosses,
        took,
        farthest,
        tuple(sorted({*parents.seed, *parents.pollen})),
        tuple(sorted({plant for plant in parents.seed_plants if plant is not None})),
        tuple(sorted({plant for plant in parents.pollen_plants if plant is not None})),
        related,
        finished,
    )


def pairings_of(
    seen: Seen, distances: Distances, parents: Parents, pedigree: Callable[[str], Pedigree] | None = None
) -> Pairings:
    """Return pairings as the model that saw ``seen`` numbers them.

    Parameters
    ----------
    seen : Seen
    distances : Phylogeny or DistanceTable
        The tree the model was fitted with: through it a species not seen learns from its relatives.
    parents : Parents
        Who is to be crossed with whom.
    pedigree : callable, optional
        Whose offspring a hybrid is (`Taxa.pedigree`); without it there are none.
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
    """The pairings that species of hybrids would make in their place.

    Attributes
    ----------
    parents : Parents
        Of n pairings; the plants are those of the hybrids.
    weight : ndarray of float, shape (n,)
        Share of each.
    of : ndarray of int, shape (n,)
        Which of the pairings asked about each stands for.
    """

    parents: Parents
    weight: Floats
    of: Ints


def in_place(positions: Taxa, seen: Seen, parents: Parents) -> InPlace | None:
    """Return the pairings that species would make in place of hybrids; None if there is no hybrid.

    A hybrid that the model has seen crosses of speaks for itself and stays in its place.

    Examples
    --------
    >>> from crosscompat.phylogeny.taxa import HybridIndex
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> tree = parse_newick("((Aloe_vera:1,Aloe_ferox:1):2,Aloe_rara:3);")
    >>> positions = Taxa(tree, HybridIndex(tree.tips))
    >>> found = in_place(positions, Seen(), Parents(["Aloe vera × Aloe ferox"], ["Aloe_rara"]))
    >>> found.parents.seed, found.parents.pollen, found.weight.tolist()
    (['Aloe_vera', 'Aloe_ferox'], ['Aloe_rara', 'Aloe_rara'], [0.5, 0.5])
    """
    labels = dict.fromkeys((*parents.seed, *parents.pollen))
    plants = {label: positions.pedigree(label) for label in labels}
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
    found = Parents([row[0] for row in rows], [row[1] for row in rows], *clones)
    return InPlace(found, np.array([row[2] for row in rows], dtype=np.float64), of)


def _pairs(seed: Pedigree, pollen: Pedigree) -> list[tuple[str, str, float]]:
    """Return pairs of species with their weights; a hybrid and its like are of one species at a time."""
    if seed.label == pollen.label:
        return [(species, species, share) for species, share in seed.shares.items()]
    return [(one, other, share * part) for one, share in seed.shares.items() for other, part in pollen.shares.items()]
