"""A pairing stage by stage: its chance, the reasons that add up to it, and the past crosses that weigh in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from crosscompat.advice.figures import Interval, interval_at
from crosscompat.advice.reasoning import Reason, reasons_in_words
from crosscompat.ground.names import correct_form
from crosscompat.model.fitted import FittedModel, design_of
from crosscompat.model.forecast import chances
from crosscompat.model.likelihood import Floats
from crosscompat.model.outlook import Outlook
from crosscompat.model.pairings import Pairings
from crosscompat.model.past import base_shift, past_weights, prior_logits

__all__ = ["PastWeights", "StageForecast", "WeightyPairing", "stage_forecasts"]

_MOST_NAMED = 5


@dataclass(frozen=True, slots=True)
class WeightyPairing:
    """All past crosses of one pairing, and what they add to the logit of a stage together.

    Attributes
    ----------
    seed_parent, pollen_parent : str
        Species in correct form.
    crosses : list of str
        The grower's numbers.
    adds : float
    """

    seed_parent: str
    pollen_parent: str
    crosses: list[str]
    adds: float


@dataclass(frozen=True, slots=True)
class PastWeights:
    """What all past crosses add to the logit of a stage, at the most likely scales and effects.

    Attributes
    ----------
    prior_logit : float
        Before any cross.
    in_general : float
        What they add to every pairing alike.
    weightiest : list of WeightyPairing
        The five that add or take away most beyond that.
    others : float
        What all other crosses add together, beyond that.
    mode_logit : float
        The sum of the four.
    """

    prior_logit: float
    in_general: float
    weightiest: list[WeightyPairing]
    others: float
    mode_logit: float


@dataclass(frozen=True, slots=True)
class StageForecast:
    """What is expected of one stage.

    Attributes
    ----------
    stage : str
        ``set``, ``hold``, ``fill``, ``germinate``; ``plain`` for the way from flower to seedling in one.
    chance : Interval
        That a flower sets, a set fruit is held, a seed is filled, a filled seed comes up.
    logit_mean, logit_sd : float
        The Gaussian belief behind it.
    reasons : list of Reason
        Their logits add up to ``logit_mean``.
    past : PastWeights or None
        None without crosses.
    """

    stage: str
    chance: Interval
    logit_mean: float
    logit_sd: float
    reasons: list[Reason]
    past: PastWeights | None


def stage_forecasts(
    model: FittedModel, row: Floats, asked: Pairings, belief: Outlook, uneven: Floats | None = None
) -> list[StageForecast]:
    """Return what is expected of one pairing at every stage.

    Parameters
    ----------
    model : FittedModel
    row : ndarray of float, shape (n_features,)
        The pairing's numbers, NaN where unknown.
    asked : Pairings
        That one pairing.
    belief : Outlook
        Of that one pairing.
    uneven : ndarray of float, shape (n_stages,), optional
        What uneven chromosomes of hybrids add to its logits.
    """
    adds = [0.0] * len(model.stages) if uneven is None else uneven.tolist()
    return [
        StageForecast(
            fit.stage,
            interval_at(chances(answer), 0),
            float(answer.mean[0]),
            float(answer.sd[0]),
            reasons_in_words(model, row, asked, stage=i, uneven=adds[i]),
            _past(model, i, row, asked, adds[i]),
        )
        for i, (fit, answer) in enumerate(zip(model.stages, belief.stages, strict=True))
    ]


def _past(model: FittedModel, stage: int, row: Floats, asked: Pairings, uneven: float) -> PastWeights | None:
    past = model.stages[stage].past
    if past is None or not past.record.size:
        return None
    x = design_of(model.recipe, row[None, :], model.means)
    weights = past_weights(past, x, asked)[0]
    general = base_shift(past)
    pairs = np.column_stack([past.levels.seed, past.levels.pollen])
    ways, way = np.unique(pairs, axis=0, return_inverse=True)
    adds = np.bincount(way.ravel(), weights - general, minlength=len(ways))
    heaviest: Sequence[int] = np.argsort(-np.abs(adds), kind="stable")[:_MOST_NAMED].tolist()
    named = [
        WeightyPairing(
            correct_form(model.seen.species[ways[i, 0]]),
            correct_form(model.seen.species[ways[i, 1]]),
            [_number(model, int(record)) for record in past.record[way.ravel() == i]],
            float(adds[i]),
        )
        for i in heaviest
    ]
    prior, total = float(prior_logits(past, x)[0]) + uneven, float(weights.sum())
    base = float(general.sum())
    return PastWeights(prior, base, named, total - base - sum(one.adds for one in named), prior + total)


def _number(model: FittedModel, record: int) -> str:
    return model.records[record] if record < len(model.records) else str(record + 1)
