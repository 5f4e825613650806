"""What is believed before a single cross of the grower's own: the table of priors, and the chances that it gives."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from crosscompat.advice.figures import Interval, interval_at
from crosscompat.ground.wording import say
from crosscompat.model.composition import SeedsPerPod
from crosscompat.model.fitted import prior_model
from crosscompat.model.forecast import chances, outlook, sharing_out
from crosscompat.model.prior import Priors
from crosscompat.pairing import MILLION_YEARS, DistanceScale, recipe_for
from crosscompat.stages import STAGES, WHOLE
from crosscompat.traits import FEATURES

MILLIONS = (1.0, 4.0, 8.0, 16.0, 40.0)
"""Distances, in millions of years along both branches, for which the chances are shown."""

_SCALE = DistanceScale(8.0, (("time", float(np.log1p(8.0)), 1.0),), MILLION_YEARS)
_SEEDS = SeedsPerPod(20.0, 1.0)


@dataclass(frozen=True, slots=True)
class StageChances:
    """What the priors alone say of one stage, or of the whole way.

    Attributes
    ----------
    stage : str
        ``whole`` is from a flower to a seedling; the others follow each other.
    words : str
        What happens at it.
    chances : list of Interval
        For each of ``PriorTable.millions``, of two species of which no more is known.
    """

    stage: str
    words: str
    chances: list[Interval]


@dataclass(frozen=True, slots=True)
class CoefficientPrior:
    """One coefficient, on the logit scale.

    Attributes
    ----------
    words : str
        What it weighs.
    basis : str
        ``learned``, ``judged`` or ``own``.
    evidence : str
        What it leans on.
    """

    coefficient: str
    words: str
    mean: float
    sd: float
    basis: str
    evidence: str


@dataclass(frozen=True, slots=True)
class EffectPrior:
    """How widely parents, plants, pairs or records may differ: a half-normal scale, on the logit scale.

    Attributes
    ----------
    words : str
        What differs.
    basis, evidence : str
        As of a coefficient.
    """

    effect: str
    words: str
    scale: float
    basis: str
    evidence: str


@dataclass(frozen=True, slots=True)
class PriorTable:
    """The priors, and the chances they give by themselves.

    Attributes
    ----------
    millions : list of float
        Distances in millions of years.
    own : int
        How many rows the grower has set.
    """

    millions: list[float]
    chances: list[StageChances]
    coefficients: list[CoefficientPrior]
    effects: list[EffectPrior]
    own: int
    schema: Literal["crosscompat.priors/2"] = "crosscompat.priors/2"


def prior_table(priors: Priors, *, fruit: str = "fruit") -> PriorTable:
    """Return a table of priors in plain words; ``fruit`` is the group's own word for a seed vessel.

    Examples
    --------
    >>> from crosscompat.model.prior import published
    >>> whole = prior_table(published()).chances[-1]
    >>> whole.stage, [chance.words for chance in whole.chances][:2]
    ('whole', ['about 2 in 3', 'about 3 in 5'])
    """
    coefficients = [
        CoefficientPrior(row.coefficient, _meaning(row.coefficient), row.mean, row.sd, row.basis, row.evidence)
        for row in priors.rows
    ]  # fmt: skip
    effects = [
        EffectPrior(row.effect, say(f"priors.differs.{row.effect}"), row.scale, row.basis, row.evidence)
        for row in priors.effects
    ]
    own = priors.own
    return PriorTable(list(MILLIONS), _chances(priors, fruit), coefficients, effects, own)


def _meaning(coefficient: str) -> str:
    if coefficient in FEATURES:
        return say(f"features.{coefficient}.prior")
    return say(f"priors.what.{coefficient.replace(' ', '_')}")


def _chances(priors: Priors, fruit: str) -> list[StageChances]:
    """Ask the priors of two species of some age, of which no more is known."""
    recipe = recipe_for(None, _SCALE)
    model = prior_model(recipe, _SEEDS, priors)
    believed = outlook(model, recipe.scale.rows(np.array(MILLIONS)))
    found = []
    steps = sharing_out(believed.whole, {stage: believed.steps[stage] for stage in STAGES}, model.seeds)
    for step, logits in (*steps.items(), (WHOLE, believed.whole)):
        chance = chances(logits)
        intervals = [interval_at(chance, i) for i in range(len(MILLIONS))]
        found.append(StageChances(step, say(f"stages.{step}", fruit=fruit), intervals))
    return found
