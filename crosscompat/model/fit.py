"""The fit of crosses, in the form that they were counted in."""

from __future__ import annotations

import numpy as np

from crosscompat.book.chain import ChainOutcomes
from crosscompat.book.outcomes import Outcomes
from crosscompat.model.chain_fit import fit_chain
from crosscompat.model.fitted import FittedModel, fit_model
from crosscompat.model.likelihood import Counts, Floats
from crosscompat.model.pairings import Parents, seen_by
from crosscompat.model.prior import Priors
from crosscompat.pairing import Recipe

__all__ = ["entering", "fit_crosses"]


def entering(outcomes: Outcomes, chain: ChainOutcomes) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Tell which crosses say anything in the form that they were counted in, shape (n_crosses,)."""
    return np.asarray(outcomes.known | (chain.speaks & chain.counted), dtype=np.bool_)


def fit_crosses(
    recipe: Recipe,
    rows: Floats,
    outcomes: Outcomes,
    chain: ChainOutcomes,
    weight: Floats,
    *,
    parents: Parents,
    pod: tuple[float, int | None],
    related: Floats | None = None,
    priors: Priors | None = None,
    records: tuple[str, ...] = (),
) -> FittedModel:
    """Fit the chain of stages, or the plain form where no cross was counted on the way from flower to seedling.

    Parameters
    ----------
    recipe, rows, weight, parents, pod, related, priors, records
        As for `fit_chain`.
    outcomes, chain
        What every cross says as a whole, and stage by stage; all of them enter (`entering`).
    """
    if not chain.counted:
        counts = Counts.of(outcomes.tried, outcomes.took, outcomes.some, weight)
        return fit_model(recipe, rows, counts, parents=parents, related=related, priors=priors, records=records)
    seen = seen_by(
        parents,
        crosses=len(rows),
        took=int(outcomes.fruitful.sum()),
        farthest=float(rows[:, 0].max(initial=0.0)),
        related=related is not None,
        finished=int(outcomes.known.sum()),
    )
    return fit_chain(
        recipe,
        rows,
        chain,
        weight,
        parents=parents,
        seen=seen,
        pod=pod,
        related=related,
        priors=priors,
        records=records,
    )
