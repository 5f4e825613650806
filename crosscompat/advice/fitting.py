"""The model that a grower's crosses give."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np

from crosscompat.advice.basis import basis_of, clones_on_both_sides, own_findings, prior_of
from crosscompat.book.placing import find_label
from crosscompat.book.training_set import Evidence, evidence_from
from crosscompat.collection.opening import Collection
from crosscompat.model.fit import entering, fit_crosses
from crosscompat.model.fitted import FittedModel
from crosscompat.model.kinship import relatedness
from crosscompat.model.pairings import Parents
from crosscompat.pairing import pair_rows, recipe_for
from crosscompat.phylogeny.reference import greatest_distance

__all__ = ["evidence_of", "fitted_on"]


def evidence_of(collection: Collection, as_of: date) -> Evidence:
    """Return the crosses of a collection that speak, as its settings read them, on some day."""
    settings, traits = collection.settings, collection.traits
    column = None if traits is None else next((c for c in traits.columns if c.name == "self_fertile"), None)
    selfs = () if traits is None or column is None else zip(traits.species, column.values, strict=True)
    return evidence_from(
        collection.crosses,
        collection.plants,
        collection.index,
        as_of=as_of,
        windows=settings.windows,
        self_fertile={label for name, yes in selfs if yes is True and (label := find_label(collection.index, name))},
        doubtful=settings.doubtful_weight,
    )


def fitted_on(collection: Collection, evidence: Evidence) -> FittedModel:
    """Fit some of a collection's crosses; without any it is the prior.

    Parameters
    ----------
    collection : Collection
        Its tree, traits, plants and settings.
    evidence : Evidence
        The crosses. Where none of them was counted on the way from flower to seedling, the plain form is fitted to
        those that are finished; else the chain of stages to all of them.
    """
    enters = entering(evidence.outcomes, evidence.chain)
    if not enters.all():
        evidence = evidence[np.flatnonzero(enters).tolist()]
    if not evidence.crosses:
        return prior_of(collection)
    seed, pollen = evidence.seed, evidence.pollen
    species = sorted({*seed, *pollen})
    recipe = recipe_for(collection.traits, _reference(collection, species), unit=collection.distances.unit)
    clones = clones_on_both_sides(collection.plants, evidence.crosses)
    own = own_findings(collection.plants, clones, len(seed))
    distance = collection.taxa.apart(seed, pollen)
    return fit_crosses(
        recipe,
        pair_rows(recipe, distance, collection.traits, seed, pollen, own),
        evidence.outcomes,
        evidence.chain,
        evidence.weight,
        parents=Parents(seed, pollen, *clones),
        pod=collection.settings.pod,
        related=relatedness(collection.distances, species, pedigree=collection.taxa.pedigree),
        priors=collection.priors,
        records=tuple(cross.number for cross in evidence.crosses),
    )


def _reference(collection: Collection, species: Sequence[str]) -> float:
    """Return the distance that counts as 1: the largest among the species crossed, unless the grower has fixed it."""
    if (collection.settings.reference_fixed and collection.settings.reference) or not species:
        return basis_of(collection).model.recipe.reference
    return greatest_distance(collection.distances, collection.taxa.species_of(species))
