"""What it does to a forecast that a parent is a hybrid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crosscompat.model.composition import Logits
from crosscompat.model.likelihood import Floats, Ints
from crosscompat.model.pairings import Parents, Seen
from crosscompat.model.prior import doubt_of_uneven
from crosscompat.phylogeny.hybrids import Pedigree
from crosscompat.phylogeny.taxa import Taxa

__all__ = ["InPlace", "doubted", "in_place", "no_surer"]


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
    >>> from crosscompat.phylogeny.hybrids import HybridIndex
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


def no_surer(own: Logits, of_species: Logits, weight: Floats, of: Ints) -> Logits:
    """Hold that pairings of hybrids are never surer than those of their species.

    Parameters
    ----------
    own : Logits
        Of some pairings.
    of_species : Logits
        Of the pairings that species of their hybrids would make in their place.
    weight : ndarray of float, shape (n_of_species,)
        Share of each.
    of : ndarray of int, shape (n_of_species,)
        Which of the pairings each stands for.

    Returns
    -------
    Logits
        Whose variance is at least the weighted mean of that of the species.

    Examples
    --------
    >>> hybrid, species = Logits(np.zeros(2), np.ones(2)), Logits(np.zeros(2), np.array([1.0, 3.0]))
    >>> no_surer(hybrid, species, np.array([0.5, 0.5]), np.array([1, 1])).sd ** 2
    array([1., 5.])
    """
    least = np.bincount(of, weight * of_species.sd**2, minlength=len(own.mean))
    return Logits(own.mean, np.sqrt(np.maximum(own.sd**2, least)))


def doubted(own: Logits, parents: Floats) -> Logits:
    """Return what is believed where hybrids with uneven chromosomes may be sterile.

    Parameters
    ----------
    own : Logits
    parents : ndarray of float, shape (n_pairs,)
        How many parents are hybrids that may be sterile for that.
    """
    mean, sd = doubt_of_uneven()
    return Logits(own.mean + mean * parents, np.sqrt(own.sd**2 + sd**2 * parents))
