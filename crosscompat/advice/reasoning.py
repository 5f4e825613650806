"""What is behind a chance: the reasons that add up to it, and each stage with the past crosses that weigh in it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import copysign, exp

import numpy as np

from crosscompat.advice.figures import Interval, interval_at
from crosscompat.advice.parents import spoken
from crosscompat.advice.predict import Prediction
from crosscompat.ground.names import correct_form
from crosscompat.ground.wording import say
from crosscompat.model.fitted import FittedModel, design_of, offset_of
from crosscompat.model.forecast import chances, sharing_out
from crosscompat.model.likelihood import Floats
from crosscompat.model.pairings import Pairings
from crosscompat.model.reasons import TERMS, base_shift, past_weights, reasons, whole_reasons
from crosscompat.pairing import CURVES, Feature
from crosscompat.stages import STAGES, WHOLE
from crosscompat.traits import from_memory

_NEAR, _FAR = 0.5, 1.25
_NOTHING = 1e-3
_SLIGHT, _CLEAR, _STRONG = 0.05, 0.5, 1.2
_MOST_NAMED = 5
_DIFFERENCES = ("order", "ratio", "size")
"""Kinds of reasons that are 0 where the parents do not differ."""


@dataclass(frozen=True, slots=True)
class Reason:
    """One step of the way to the chance.

    Attributes
    ----------
    feature : str
        ``base`` for an average pairing, alike in what these parents are alike in; else the feature. ``order`` joins
        the "lower" and "higher" of a count. What parents and pairs add beyond their features has the names ``TERMS``
        of `crosscompat.model.reasons`.
    value : float or None
        The feature's number for this pairing; of an order 1 if the seed parent's count is the higher, 0 if they are the
        same, -1 if it is the lower; None where unknown. Of a parent or pair 1 if it was crossed before, else 0; of
        ``uneven``, a hybrid with uneven chromosomes, and of ``published`` 1; of ``distance`` what it is against the
        usual distance on the tree.
    logit : float
        What it adds to the logit of the chance; all of them add up to the posterior mean.
    fact : str
        What it is, in plain words.
    says : str
        The same with how heavily it speaks.
    source : str or None
        Where the parents' values are from, in keys of the table of sources; None where nothing says it.
    """

    feature: str
    value: float | None
    logit: float
    fact: str
    says: str
    source: str | None = None


@dataclass(frozen=True, slots=True)
class WeightyPairing:
    """All past crosses of one pairing, and what they add to the logit of a stage together.

    Attributes
    ----------
    seed_parent, pollen_parent : str
        Species in correct form.
    crosses : list of str
        The grower's numbers.
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


def reasons_in_words(
    model: FittedModel, asked: Prediction, distance: float, sources: Mapping[str, str] | None = None
) -> list[Reason]:
    """Return the reasons for a pairing's chance of a seedling: an average pairing first, then the weightiest.

    Parameters
    ----------
    model : FittedModel
    asked : Prediction
        The one pairing, as it was put to it.
    distance : float
        Between its parents, against the usual distance on the tree.
    sources : mapping of str to str, optional
        Where the parents' values of each trait are from.

    Returns
    -------
    list of Reason
        Their logits add up to the mean logit of the whole. A trait in which the parents do not differ weighs what the
        crosses taught of that beyond the prior; the rest is in the base.
    """
    found = whole_reasons(model, asked.rows[0], asked.pairings, asked.outlook)
    prior = reasons(replace(model, steps=()), WHOLE, asked.rows[0])
    of_distance = sum(logit for name, logit, _ in found.terms if name in CURVES)
    fact = say(f"reasons.distance.{_how_far(distance, of_distance)}")
    terms = [_reason("distance", distance, of_distance, fact)]
    unlearned = 0.0
    judged = _joined(model.recipe.features, prior.terms)
    for (kind, column, name, logit, value), (*_, before, _) in zip(
        _joined(model.recipe.features, found.terms), judged, strict=True
    ):
        taught = logit if kind not in _DIFFERENCES or value != 0 else _beyond(logit, before)
        unlearned += logit - taught
        source = (sources or {}).get(column) or None
        terms.append(_reason(name, value, taught, _fact(kind, column, value), None if value is None else source))
    terms += [
        _reason(name, value, logit, _effect_fact(name, value, logit))
        for name, logit, value in found.terms
        if name in TERMS
    ]
    terms += [
        _reason(name, 1.0, adds, say(f"reasons.{name}"))
        for name, adds in (("uneven", float(asked.uneven[0])), ("published", float(asked.published[0])))
        if abs(adds) >= _NOTHING
    ]
    base = Reason("base", None, found.base + unlearned, say("reasons.base"), say("reasons.base"))
    return [base, *sorted(terms, key=lambda reason: (-abs(reason.logit), reason.feature))]


def _beyond(logit: float, prior: float) -> float:
    """Return what is left of a term where the prior says as much of it the same way; nothing if it says more."""
    return copysign(max(0.0, abs(logit) - abs(prior)), logit) if logit * prior > 0 else logit


def _reason(feature: str, value: float | None, logit: float, fact: str, source: str | None = None) -> Reason:
    """Put a reason into words; one that rests on somebody's memory says so."""
    fact = say("reasons.from_memory", fact=fact) if from_memory(source) else fact
    says = fact if value is None else say("reasons.line", fact=fact, weight=weight_in_words(logit))
    return Reason(feature, value, logit, fact, says, source)


def _joined(
    features: Sequence[Feature], terms: Sequence[tuple[str, float, float | None]]
) -> Iterator[tuple[str, str, str, float, float | None]]:
    """Pass on the terms of traits, "lower" and "higher" of one count as a single one with the sign of the difference.

    Each is a kind, a trait, a name, what it adds and its value.
    """
    found = {name: (logit, value) for name, logit, value in terms}
    for feature in features:
        if feature.kind == "higher" or feature.column is None:
            continue
        logit, value = found[feature.name]
        if feature.kind != "lower":
            yield feature.kind, feature.column, feature.name, logit, value
            continue
        more, higher = found[Feature("higher", feature.column).name]
        sign = None if value is None else (higher or 0.0) - value
        yield "order", feature.column, f"{feature.column} order", logit + more, sign


def stage_forecasts(model: FittedModel, asked: Prediction) -> list[StageForecast]:
    """Return what is expected of the one pairing that was put to a model at every stage, and of the whole."""
    found = []
    steps = sharing_out(asked.whole, {stage: asked.outlook.steps[stage] for stage in STAGES}, model.seeds)
    for step, logits in (*steps.items(), (WHOLE, asked.whole)):
        chance = interval_at(chances(logits), 0)
        past = _past(model, step, asked.rows, asked.pairings)
        found.append(StageForecast(step, chance, float(logits.mean[0]), float(logits.sd[0]), past))
    return found


def _past(model: FittedModel, step: str, rows: Floats, asked: Pairings) -> PastWeights | None:
    fit = model.fit_of(step)
    past = None if fit is None else fit.past
    if past is None or not past.record.size:
        return None
    x = design_of(model.recipe, rows, model.means)
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
            [_number(model, record) for record in past.record[way.ravel() == k].tolist()],
            float(adds[k]),
        )
        for k in heaviest
    ]
    prior, total = offset + float(x[0] @ past.prior_mean), float(weights.sum())
    base = float(general.sum())
    return PastWeights(prior, base, named, total - base - sum(pairing.adds for pairing in named), prior + total)


def _number(model: FittedModel, record: int) -> str:
    return model.records[record] if record < len(model.records) else str(record + 1)


def feature_in_words(name: str) -> str:
    """Return a feature's name as words.

    Examples
    --------
    >>> feature_in_words("distance"), feature_in_words("2n lower")
    ('distance on the tree', 'lower chromosome number (2n) of the seed parent')
    """
    column, _, kind = name.rpartition(" ")
    if not column or name in TERMS:
        return say(f"reasons.features.{name.replace(' ', '_')}")
    return say(f"features.{kind}.name", trait=spoken(column))


def weight_in_words(logit: float) -> str:
    """Return how heavily something speaks for or against a pairing.

    Examples
    --------
    >>> weight_in_words(0.7), weight_in_words(-1.5), weight_in_words(0.01)
    ('clearly for it', 'strongly against it', 'makes no difference')
    """
    size = abs(logit)
    if size < _SLIGHT:
        return say("reasons.weight.none")
    word = "slight" if size < _CLEAR else "clear" if size < _STRONG else "strong"
    return say(f"reasons.weight.{word}_{'for' if logit > 0 else 'against'}")


def _fact(kind: str, column: str, value: float | None) -> str:
    """Say how two parents stand in one trait; never that they differ where they do not."""
    trait = spoken(column)
    if value is None:
        return say("reasons.unknown", trait=trait)
    if kind in {"order", "ratio"}:
        way = "more" if value > 0 else "less" if value < 0 else "same"
    else:
        way = "yes" if value else "no"
    return say(f"features.{kind}.{way}", trait=trait, times=f"{exp(abs(value)):.1f}")


def _effect_fact(name: str, value: float | None, logit: float) -> str:
    whose = "own" if value else "kin"
    return say(f"reasons.{name.replace(' ', '_')}.{whose}_{'more' if logit > 0 else 'less'}")


def _how_far(relative: float, logit: float) -> str:
    """Say how far apart two parents are, between near and far as the distance speaks for or against them."""
    if relative == 0:
        return "none"
    if relative < _NEAR:
        return "near"
    if relative < _FAR:
        return "not_far" if logit > 0 else "some_way"
    return "far"
