"""The model that a grower's crosses give."""

from __future__ import annotations

from crosscompat.advice.basis import basis_of, clones_of
from crosscompat.book.evidence import Evidence
from crosscompat.collection.opening import Collection
from crosscompat.model.fitted import FittedModel, fit_model
from crosscompat.model.kinship import relatedness
from crosscompat.model.likelihood import Counts
from crosscompat.model.pairings import Parents
from crosscompat.pairing import pair_rows, recipe_for
from crosscompat.phylogeny.reference import greatest_distance

__all__ = ["fitted_on"]


def fitted_on(collection: Collection, evidence: Evidence) -> FittedModel:
    """Fit some of a collection's crosses; without any it is the prior.

    Parameters
    ----------
    collection : Collection
        Its tree, traits, plants and settings.
    evidence : Evidence
        The crosses.
    """
    seed, pollen = evidence.seed, evidence.pollen
    species = tuple(dict.fromkeys((*seed, *pollen)))
    reference = _reference(collection, species)
    recipe = recipe_for(collection.traits, reference, unit=collection.distances.unit)
    rows = pair_rows(recipe, collection.distances.patristic_pairs(seed, pollen), collection.traits, seed, pollen)
    outcomes, plants = evidence.outcomes, collection.plants
    mothers = clones_of(plants, [cross.seed_plant for cross in evidence.crosses])
    fathers = clones_of(plants, [cross.pollen_plant for cross in evidence.crosses])
    return fit_model(
        recipe,
        rows,
        Counts.of(outcomes.tried, outcomes.took, outcomes.some),
        parents=Parents(seed, pollen, mothers, fathers),
        related=relatedness(collection.distances, sorted(species)) if species else None,
    )


def _reference(collection: Collection, species: tuple[str, ...]) -> float:
    """Return the distance that counts as 1: the largest among the species crossed, unless the grower has fixed it."""
    if (collection.settings.reference_fixed and collection.settings.reference) or not species:
        return basis_of(collection).model.recipe.reference
    return greatest_distance(collection.distances, species)
