"""What a forecast rests on: the grower's own crosses, or what is published for want of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike

from crosscompat.advice.hybrids import uneven_parents
from crosscompat.advice.parents import Parent
from crosscompat.book.current_plants import Plants
from crosscompat.book.placing import placed
from crosscompat.book.training_set import stages_counted
from crosscompat.collection.opening import Collection
from crosscompat.model.between import doubted, in_place, no_surer, uneven_shifts
from crosscompat.model.fitted import FittedModel, prior_model
from crosscompat.model.forecast import Chances
from crosscompat.model.likelihood import Floats
from crosscompat.model.outlook import Outlook, outlook, seedling_chances
from crosscompat.model.pairings import Pairings, Parents, pairings_of
from crosscompat.model.seeds import fit_seeds
from crosscompat.pairing import pair_rows, recipe_for
from crosscompat.phylogeny.reference import greatest_distance

__all__ = [
    "Asked",
    "Basis",
    "asked_of",
    "basis_of",
    "chances_of",
    "clones_of",
    "clones_on_both_sides",
    "collection_reference",
    "own_findings",
    "parents_of",
    "prior_of",
    "rows_of",
    "spread_of",
]


class _WithPlants(Protocol):
    @property
    def seed_plant(self) -> str | None: ...
    @property
    def pollen_plant(self) -> str | None: ...


@dataclass(frozen=True, slots=True)
class Basis:
    """The model that answers, and where it comes from.

    Attributes
    ----------
    model : FittedModel
    as_of : str or None
        The day on which the season was read; None for the prior.
    changed : tuple of str
        Which of ``tree``, ``traits``, ``crosses`` are no longer what the model was fitted on.
    fingerprint : str or None
        Of the saved model; None for the prior.
    """

    model: FittedModel
    as_of: str | None = None
    changed: tuple[str, ...] = ()
    fingerprint: str | None = None


@dataclass(frozen=True, slots=True)
class Asked:
    """Pairings as they were put to a model.

    Attributes
    ----------
    rows : ndarray of float, shape (n_pairs, n_features)
        Their numbers, NaN where unknown.
    pairings : Pairings
        Their parents, as the model numbers them.
    outlook : Outlook
        What it expects of them.
    uneven : ndarray of float, shape (n_stages, n_pairs)
        What uneven chromosomes of hybrids add to their logits.
    """

    rows: Floats
    pairings: Pairings
    outlook: Outlook
    uneven: Floats


def basis_of(collection: Collection) -> Basis:
    """Return the model of the last retraining, or the prior if there was none."""
    saved = collection.saved
    if saved is None:
        return Basis(prior_of(collection))
    now = collection.fingerprints
    changed = tuple(name for name in now if saved.fingerprints.get(name) != now[name])
    return Basis(saved.model, saved.as_of, changed, saved.fingerprint)


def prior_of(collection: Collection) -> FittedModel:
    """Return the model of a collection before any cross: stage by stage, unless crosses are kept in the plain form."""
    reference = collection.settings.reference or collection_reference(collection)
    recipe = recipe_for(collection.traits, reference, unit=collection.distances.unit)
    if collection.crosses and not stages_counted(collection.crosses):
        return prior_model(recipe, priors=collection.priors)
    expected, most = collection.settings.pod
    none = np.empty(0)
    return prior_model(recipe, fit_seeds(none, none, expected=expected, cap=most), collection.priors)


def collection_reference(collection: Collection) -> float:
    """Return the greatest distance among the species that the collection grows, crosses or wants, in the tree's unit.

    A collection without any of them takes the whole tree.
    """
    species = collection.plants.species
    named: list[tuple[str, str | None]] = [
        *((plant.species, None) for plant in collection.plants.by_name.values()),
        *((cross.seed_parent, cross.pollen_parent) for cross in collection.crosses),
        *((species(wanted.seed_parent), species(wanted.pollen_parent)) for wanted in collection.wanted),
    ]
    labels = [label for pair in placed(collection.index, named) for label in pair if label is not None]
    return greatest_distance(collection.distances, collection.taxa.species_of(labels))


def rows_of(
    collection: Collection,
    model: FittedModel,
    seed: Sequence[str],
    pollen: Sequence[str],
    clones: tuple[Sequence[str | None], Sequence[str | None]] = ((), ()),
) -> Floats:
    """Return the rows of numbers of directed pairs of labels, shape (n_pairs, n_features).

    What was found on the very plants, where their ``clones`` are named, overrides their species.
    """
    distance = collection.taxa.apart(seed, pollen)
    own = own_findings(collection.plants, clones, len(seed))
    return pair_rows(model.recipe, distance, collection.traits, seed, pollen, own)


def own_findings(
    plants: Plants, clones: tuple[Sequence[str | None], Sequence[str | None]], size: int
) -> dict[str, tuple[Floats, Floats]]:
    """Return what was counted on the very plants, by trait column, each of shape (size,); NaN where nothing was."""
    sides = [
        np.array([np.nan if n is None else n for n in plants.chromosomes(side or [None] * size)], dtype=np.float64)
        for side in clones
    ]
    return {"2n": (sides[0], sides[1])}


def spread_of(collection: Collection, model: FittedModel, seed: Sequence[str], pollen: Sequence[str]) -> Floats | None:
    """Return how unsure the distances of directed pairs of labels are, relative to the reference, shape (n_pairs,).

    None where no sample of trees, no species that was only placed and no hybrid leaves any of them open.
    """
    species = set(collection.distances.tips).issuperset
    if collection.sample is None and not collection.placed and species(seed) and species(pollen):
        return None
    return collection.taxa.spread(seed, pollen) / model.recipe.reference


def asked_of(collection: Collection, model: FittedModel, parents: Parents) -> Asked:
    """Put pairings to a model.

    Parameters
    ----------
    collection : Collection
    model : FittedModel
    parents : Parents
        Labels of the tree or of hybrids, with the clones of the very plants where they are named.
    """
    found = _by_numbers(collection, model, parents)
    species = in_place(collection.taxa, model.seen, parents)
    if species is None:
        return found
    of_species = _by_numbers(collection, model, species.parents).outlook
    belief = no_surer(found.outlook, of_species, species.weight, species.of)
    uneven = uneven_parents(collection, model.seen, parents)
    return replace(found, outlook=doubted(model, belief, uneven), uneven=uneven_shifts(model, uneven))


def _by_numbers(collection: Collection, model: FittedModel, parents: Parents) -> Asked:
    """Put pairings to a model by their numbers alone."""
    rows = rows_of(collection, model, parents.seed, parents.pollen, (parents.seed_plants, parents.pollen_plants))
    pairings = pairings_of(model.seen, collection.distances, parents, collection.taxa.pedigree)
    spread = spread_of(collection, model, parents.seed, parents.pollen)
    return Asked(rows, pairings, outlook(model, rows, pairings, spread), np.zeros((len(model.stages), len(rows))))


def chances_of(collection: Collection, model: FittedModel, parents: Parents, flowers: ArrayLike = 1) -> Chances:
    """Return the chance of at least one seedling of some pairings; ``flowers`` is one number, or one a pairing."""
    return seedling_chances(asked_of(collection, model, parents).outlook, flowers)


def parents_of(pairs: Sequence[tuple[Parent, Parent]]) -> Parents:
    """Return the labels of pairings, with the clones of the very plants where they are named."""
    sides = [one for one, _ in pairs], [other for _, other in pairs]
    labels = ([parent.label for parent in side] for side in sides)
    clones = ([parent.plant.clone if parent.plant else None for parent in side] for side in sides)
    return Parents(*labels, *clones)


def clones_of(plants: Plants, names: Sequence[str | None]) -> list[str | None]:
    """Return the clone of each plant: offsets of one plant are that plant. A name that is not listed is its own."""
    found = [plants.find(name) for name in names]
    return [name if plant is None else plant.clone for name, plant in zip(names, found, strict=True)]


def clones_on_both_sides(plants: Plants, rows: Sequence[_WithPlants]) -> tuple[list[str | None], list[str | None]]:
    """Return the clones of the seed plants and of the pollen plants that rows name."""
    return clones_of(plants, [row.seed_plant for row in rows]), clones_of(plants, [row.pollen_plant for row in rows])
