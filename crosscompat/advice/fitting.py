"""The model that a grower's crosses give."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np

from crosscompat.advice.basis import basis_of, clones_of, own_findings, prior_of
from crosscompat.book.evidence import Evidence, evidence_from
from crosscompat.book.placing import find_label
from crosscompat.collection.opening import Collection
from crosscompat.model.chain_fit import fit_chain
from crosscompat.model.fitted import FittedModel, fit_model
from crosscompat.model.kinship import relatedness
from crosscompat.model.likelihood import Counts
from crosscompat.model.pairings import Parents, seen_by
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
    if not evidence.by_stage:
        evidence = evidence[[int(i) for i in np.flatnonzero(evidence.outcomes.known)]]
    if not evidence.crosses:
        return prior_of(collection)
    seed, pollen, outcomes = evidence.seed, evidence.pollen, evidence.outcomes
    species = sorted({*seed, *pollen})
    recipe = recipe_for(collection.traits, _reference(collection, species), unit=collection.distances.unit)
    distance = collection.distances.patristic_pairs(seed, pollen)
    mothers = clones_of(collection.plants, [cross.seed_plant for cross in evidence.crosses])
    fathers = clones_of(collection.plants, [cross.pollen_plant for cross in evidence.crosses])
    parents = Parents(seed, pollen, mothers, fathers)
    own = own_findings(collection.plants, (mothers, fathers), len(seed))
    rows = pair_rows(recipe, distance, collection.traits, seed, pollen, own)
    related = relatedness(collection.distances, species) if species else None
    records = tuple(cross.number for cross in evidence.crosses)
    if not evidence.by_stage:
        counts = Counts.of(outcomes.tried, outcomes.took, outcomes.some, evidence.weight)
        return fit_model(
            recipe, rows, counts, parents=parents, related=related, priors=collection.priors, records=records
        )
    seen = seen_by(
        parents,
        crosses=len(rows),
        took=int((outcomes.known & (outcomes.some | (outcomes.took > 0))).sum()),
        farthest=float(rows[:, 0].max()),
        related=related is not None,
        finished=int(outcomes.known.sum()),
    )
    return fit_chain(
        recipe,
        rows,
        evidence.chain,
        evidence.weight,
        parents=parents,
        seen=seen,
        pod=collection.settings.pod,
        related=related,
        priors=collection.priors,
        records=records,
    )


def _reference(collection: Collection, species: Sequence[str]) -> float:
    """Return the distance that counts as 1: the largest among the species crossed, unless the grower has fixed it."""
    if (collection.settings.reference_fixed and collection.settings.reference) or not species:
        return basis_of(collection).model.recipe.reference
    return greatest_distance(collection.distances, species)
