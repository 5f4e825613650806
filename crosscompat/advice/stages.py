"""A pairing stage by stage: its chance, and the past crosses that weigh in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from crosscompat.advice.figures import Interval, interval_at
from crosscompat.advice.predict import Asked
from crosscompat.ground.names import correct_form
from crosscompat.model.composition import Logits
from crosscompat.model.fitted import FittedModel, design_of, offset_of
from crosscompat.model.forecast import chances
from crosscompat.model.likelihood import Floats
from crosscompat.model.pairings import Pairings
from crosscompat.model.reasons import base_shift, past_weights
from crosscompat.model.stages import STAGES, WHOLE

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
    """What is expected of one step from flower to seedling.

    Attributes
    ----------
    stage : str
        ``set``, ``hold``, ``fill``, ``germinate``; ``whole`` for the way from a flower to a seedling.
    chance : Interval
        That a flower sets, a set fruit is held, a seed is filled, a filled seed comes up.
    logit_mean, logit_sd : float
        The Gaussian behind it.
    past : PastWeights or None
        Of the crosses counted at that very step; None without any.
    """

    stage: str
    chance: Interval
    logit_mean: float
    logit_sd: float
    past: PastWeights | None


def stage_forecasts(model: FittedModel, asked: Asked, i: int) -> list[StageForecast]:
    """Return what is expected of one pairing at every stage, and of the whole.

    Parameters
    ----------
    model : FittedModel
    asked : Asked
        Some pairings, as they were put to it.
    i : int
        Which of them.
    """
    found = []
    for step in (*STAGES, WHOLE):
        logits = asked.whole if step == WHOLE else asked.outlook.steps[step]
        own = Logits(logits.mean[i : i + 1], logits.sd[i : i + 1])
        past = _past(model, step, asked.rows[i], asked.pairings[i : i + 1])
        found.append(StageForecast(step, interval_at(chances(own), 0), float(own.mean[0]), float(own.sd[0]), past))
    return found


def _past(model: FittedModel, step: str, row: Floats, asked: Pairings) -> PastWeights | None:
    fit = model.fit_of(step)
    past = None if fit is None else fit.past
    if past is None or not past.record.size:
        return None
    x = design_of(model.recipe, row[None, :], model.means)
    offset = float(offset_of(model, step, x)[0])
    weights = past_weights(past, x, asked)[0]
    general = base_shift(past)
    pairs = np.column_stack([past.levels.seed, past.levels.pollen])
    ways, way = np.unique(pairs, axis=0, return_inverse=True)
    adds = np.bincount(way.ravel(), weights - general, minlength=len(ways))
    heaviest: Sequence[int] = np.argsort(-np.abs(adds), kind="stable")[:_MOST_NAMED].tolist()
    named = [
        WeightyPairing(
            correct_form(model.seen.species[ways[k, 0]]),
            correct_form(model.seen.species[ways[k, 1]]),
            [_number(model, int(record)) for record in past.record[way.ravel() == k]],
            float(adds[k]),
        )
        for k in heaviest
    ]
    prior, total = offset + float(x[0] @ past.prior_mean), float(weights.sum())
    base = float(general.sum())
    return PastWeights(prior, base, named, total - base - sum(pairing.adds for pairing in named), prior + total)


def _number(model: FittedModel, record: int) -> str:
    return model.records[record] if record < len(model.records) else str(record + 1)
