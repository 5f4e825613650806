"""What it does to a forecast that a parent is a hybrid."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from crosscompat.model.effects import Ints
from crosscompat.model.fitted import FittedModel
from crosscompat.model.forecast import Logits
from crosscompat.model.likelihood import Floats
from crosscompat.model.outlook import Outlook
from crosscompat.model.prior import doubt_of_uneven

__all__ = ["doubted", "no_surer", "uneven_shifts"]


def no_surer(belief: Outlook, of_species: Outlook, weight: Floats, of: Ints) -> Outlook:
    """Hold that pairings of hybrids are never surer than those of their species.

    Parameters
    ----------
    belief : Outlook
        Of some pairings.
    of_species : Outlook
        Of the pairings that species of their hybrids would make in their place.
    weight : ndarray of float, shape (n_of_species,)
        Share of each.
    of : ndarray of int, shape (n_of_species,)
        Which of the pairings each stands for.

    Returns
    -------
    Outlook
        The variance of the logit of each stage is at least the weighted mean of that of the species.

    Examples
    --------
    >>> hybrid, species = Logits(np.zeros(2), np.ones(2)), Logits(np.zeros(2), np.array([1.0, 3.0]))
    >>> no_surer(Outlook((hybrid,)), Outlook((species,)), np.array([0.5, 0.5]), np.array([1, 1])).stages[0].sd ** 2
    array([1., 5.])
    """
    stages = []
    for own, theirs in zip(belief.stages, of_species.stages, strict=True):
        least = np.bincount(of, weight * theirs.sd**2, minlength=len(belief))
        stages.append(Logits(own.mean, np.sqrt(np.maximum(own.sd**2, least))))
    return replace(belief, stages=tuple(stages))


def uneven_shifts(model: FittedModel, parents: Floats) -> Floats:
    """Return what uneven chromosomes add to the logit of each stage, shape (n_stages, n_pairs).

    Parameters
    ----------
    model : FittedModel
        For the names of its stages.
    parents : ndarray of float, shape (n_pairs,)
        How many parents are hybrids that may be sterile for that.
    """
    return np.array([doubt_of_uneven(stage.stage)[0] * parents for stage in model.stages])


def doubted(model: FittedModel, belief: Outlook, parents: Floats) -> Outlook:
    """Return what is believed where hybrids with uneven chromosomes may be sterile; parameters as above."""
    sds = [doubt_of_uneven(stage.stage)[1] for stage in model.stages]
    moved = zip(belief.stages, uneven_shifts(model, parents), sds, strict=True)
    return replace(
        belief,
        stages=tuple(Logits(own.mean + shift, np.sqrt(own.sd**2 + sd**2 * parents)) for own, shift, sd in moved),
    )
