"""What is believed before a single cross of the grower's own: the table of priors, and the chances that it gives."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from crosscompat.advice.figures import Interval, interval_at
from crosscompat.ground.wording import say
from crosscompat.model.fitted import FittedModel, Seen, prior_stage, training_moments
from crosscompat.model.forecast import chances, logits
from crosscompat.model.prior import Priors
from crosscompat.pairing import Recipe, recipe_for

__all__ = ["FAR", "NEAR", "CoefficientPrior", "EffectPrior", "PriorTable", "StageChances", "one_stage", "prior_table"]

NEAR, FAR = 0.1, 1.0
"""Distances of a near and of a far pair, as shares of the reference."""


@dataclass(frozen=True, slots=True)
class StageChances:
    """What the priors alone say of one stage.

    Attributes
    ----------
    stage : str
        ``plain`` is from a flower to a seedling in one step; the others follow each other.
    words : str
        What happens at it.
    near, far : Interval
        Of a near and of a far pair of which no more is known, neither its species nor its plants crossed before.
    """

    stage: str
    words: str
    near: Interval
    far: Interval


@dataclass(frozen=True, slots=True)
class CoefficientPrior:
    """One coefficient of one stage.

    Attributes
    ----------
    stage, coefficient : str
    words : str
        What it weighs.
    mean, sd : float
        On the logit scale.
    evidence : str
        What it leans on.
    own : bool
        Whether the grower has set it.
    """

    stage: str
    coefficient: str
    words: str
    mean: float
    sd: float
    evidence: str
    own: bool


@dataclass(frozen=True, slots=True)
class EffectPrior:
    """How widely parents, plants, pairs or records may differ at a stage.

    Attributes
    ----------
    stage : str
        ``every``, or the one stage at which it stands in place of that.
    effect : str
    words : str
        What differs.
    scale : float
        Of the half-normal prior on their standard deviation, on the logit scale.
    evidence : str
        What it leans on.
    own : bool
        Whether the grower has set it.
    """

    stage: str
    effect: str
    words: str
    scale: float
    evidence: str
    own: bool


@dataclass(frozen=True, slots=True)
class PriorTable:
    """The priors, and the chances they give by themselves.

    Attributes
    ----------
    near_distance, far_distance : float
        Of the reference.
    chances : list of StageChances
    coefficients : list of CoefficientPrior
    effects : list of EffectPrior
    own : int
        How many rows the grower has set.
    """

    near_distance: float
    far_distance: float
    chances: list[StageChances]
    coefficients: list[CoefficientPrior]
    effects: list[EffectPrior]
    own: int
    schema: Literal["crosscompat.priors/1"] = "crosscompat.priors/1"


def prior_table(priors: Priors, *, fruit: str = "fruit") -> PriorTable:
    """Return a table of priors in plain words.

    Parameters
    ----------
    priors : Priors
    fruit : str
        The group's own word for a seed vessel.

    Examples
    --------
    >>> from crosscompat.model.prior import published
    >>> table = prior_table(published())
    >>> [(entry.stage, entry.near.words, entry.far.words) for entry in table.chances][:2]
    [('plain', 'about 1 in 2', 'about 2 in 5'), ('set', 'about 3 in 5', 'about 1 in 2')]
    """
    coefficients = [
        CoefficientPrior(
            row.stage, row.coefficient, say(f"priors.what.{row.coefficient}"), row.mean, row.sd, row.evidence, row.own
        )
        for row in priors.rows
    ]
    effects = [
        EffectPrior(row.stage, row.effect, say(f"priors.differs.{row.effect}"), row.scale, row.evidence, row.own)
        for row in priors.effects
    ]
    return PriorTable(
        NEAR,
        FAR,
        [_stage_chances(priors, stage, fruit) for stage in priors.stages],
        coefficients,
        effects,
        sum(row.own for row in priors.rows) + sum(row.own for row in priors.effects),
    )


def one_stage(priors: Priors, stage: str, recipe: Recipe) -> FittedModel:
    """Return the model of one stage before any cross.

    Parameters
    ----------
    priors : Priors
    stage : str
        One of ``priors.stages``.
    recipe : Recipe
        What is known of a pairing.
    """
    moments = training_moments(recipe, np.empty((0, len(recipe.features))))
    return FittedModel(recipe, *moments, (prior_stage(stage, recipe, priors),), Seen())


def _stage_chances(priors: Priors, stage: str, fruit: str) -> StageChances:
    model = one_stage(priors, stage, recipe_for(None, 1.0))
    found = chances(logits(model, np.array([[NEAR], [FAR]])))
    return StageChances(stage, say(f"stages.{stage}", fruit=fruit), interval_at(found, 0), interval_at(found, 1))
