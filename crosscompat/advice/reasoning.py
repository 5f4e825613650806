"""What is behind a chance: the reasons that add up to it, its stages with the past crosses that weigh, the priors."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from math import copysign, exp
from typing import Literal

import numpy as np

from crosscompat.advice.figures import Interval, interval_at
from crosscompat.advice.parents import spoken
from crosscompat.advice.predict import Prediction
from crosscompat.ground.names import correct_form
from crosscompat.ground.wording import say
from crosscompat.model.composition import Logits, SeedsPerPod
from crosscompat.model.fitted import FittedModel, design_of, offset_of, prior_model
from crosscompat.model.forecast import Outlook, chances, outlook, sharing_out
from crosscompat.model.prior import EffectRow, PriorRow, Priors
from crosscompat.model.reasons import TERMS, base_shift, past_weights, reasons, whole_reasons
from crosscompat.pairing import CURVES, MILLION_YEARS, DistanceScale, Feature, recipe_for
from crosscompat.stages import STAGES, WHOLE
from crosscompat.traits import FEATURES, from_memory

MILLIONS = (1.0, 4.0, 8.0, 16.0, 40.0)
"""Distances, in millions of years along both branches, for which the chances of the priors are shown."""

_SCALE = DistanceScale(8.0, (("time", float(np.log1p(8.0)), 1.0),), MILLION_YEARS)
_SEEDS = SeedsPerPod(20.0, 1.0)
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
    fact, says : str
        What it is, in plain words, and the same with how heavily it speaks.
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
    """All past crosses of one pairing, by the grower's numbers, and what they add to the logit of a stage together."""

    seed_parent: str
    pollen_parent: str
    crosses: list[str]
    adds: float


@dataclass(frozen=True, slots=True)
class PastWeights:
    """What all past crosses add to the logit of a stage, at the most likely scales and effects.

    Attributes
    ----------
    in_general : float
        What they add to every pairing alike.
    weightiest : list of WeightyPairing
        The five that add or take away most beyond that; ``others`` is what the rest adds.
    mode_logit : float
        The sum of it all with the logit before any cross.
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
    past : PastWeights or None
        Of the crosses counted at that very step; None without any.
    """

    stage: str
    chance: Interval
    logit_mean: float
    logit_sd: float
    past: PastWeights | None


def reasons_in_words(
    model: FittedModel, predicted: Prediction, distance: float, sources: Mapping[str, str] | None = None
) -> list[Reason]:
    """Return the reasons for the chance of the one pairing predicted: an average pairing first, then the weightiest.

    Their logits add up to the mean logit of the whole. A trait in which the parents do not differ weighs what the
    crosses taught of that beyond the prior; the rest is in the base. The ``distance`` is against the usual one on the
    tree; ``sources`` say where the parents' values of each trait are from.
    """
    row = predicted.rows[0]
    whole = whole_reasons(model, row, predicted.pairings, predicted.outlook)
    prior = reasons(replace(model, steps=()), WHOLE, row)
    of_distance = sum(logit for name, logit, _ in whole.terms if name in CURVES)
    terms = [_reason("distance", distance, of_distance, say(f"reasons.distance.{_how_far(distance, of_distance)}"))]
    unlearned = 0.0
    both = (_trait_terms(model.recipe.features, side.terms) for side in (whole, prior))
    for (kind, column, name, logit, value), (*_, before, _) in zip(*both, strict=True):
        taught = logit if kind not in _DIFFERENCES or value != 0 else _beyond(logit, before)
        unlearned += logit - taught
        source = None if value is None else (sources or {}).get(column) or None
        terms.append(_reason(name, value, taught, _fact(kind, column, value), source))
    for name, logit, value in whole.terms:
        if name in TERMS:
            terms.append(_reason(name, value, logit, _effect_fact(name, value, logit)))
    for name, adds in (("uneven", float(predicted.uneven[0])), ("published", float(predicted.published[0]))):
        if abs(adds) >= _NOTHING:
            terms.append(_reason(name, 1.0, adds, say(f"reasons.{name}")))
    base = Reason("base", None, whole.base + unlearned, say("reasons.base"), say("reasons.base"))
    return [base, *sorted(terms, key=lambda reason: (-abs(reason.logit), reason.feature))]


def _beyond(logit: float, prior: float) -> float:
    """Return what is left of a term where the prior says as much of it the same way; nothing if it says more."""
    return copysign(max(0.0, abs(logit) - abs(prior)), logit) if logit * prior > 0 else logit


def _reason(feature: str, value: float | None, logit: float, fact: str, source: str | None = None) -> Reason:
    """Put a reason into words; one that rests on somebody's memory says so."""
    fact = say("reasons.from_memory", fact=fact) if from_memory(source) else fact
    says = fact if value is None else say("reasons.line", fact=fact, weight=weight_in_words(logit))
    return Reason(feature, value, logit, fact, says, source)


def _trait_terms(
    features: Sequence[Feature], terms: Sequence[tuple[str, float, float | None]]
) -> Iterator[tuple[str, str, str, float, float | None]]:
    """Yield the kind, trait, name, logit and value of each trait's term.

    "Lower" and "higher" of one count are a single one, with the sign of the difference.
    """
    by_name = {name: (logit, value) for name, logit, value in terms}
    for feature in features:
        if feature.kind == "higher" or feature.column is None:
            continue
        logit, value = by_name[feature.name]
        if feature.kind != "lower":
            yield feature.kind, feature.column, feature.name, logit, value
            continue
        more, higher = by_name[Feature("higher", feature.column).name]
        sign = None if value is None else (higher or 0.0) - value
        yield "order", feature.column, f"{feature.column} order", logit + more, sign


def _shared_out(model: FittedModel, whole: Logits, believed: Outlook) -> list[tuple[str, Logits]]:
    """Return every stage as it comes to what is believed of the whole, and the whole last."""
    stages = {stage: believed.steps[stage] for stage in STAGES}
    return [*sharing_out(whole, stages, model.seeds).items(), (WHOLE, whole)]


def stage_forecasts(model: FittedModel, predicted: Prediction) -> list[StageForecast]:
    """Return what is expected at every stage of the one pairing predicted, and of the whole."""
    stages = []
    for step, logits in _shared_out(model, predicted.whole, predicted.outlook):
        (mean,), (sd,) = logits.mean.tolist(), logits.sd.tolist()
        stages.append(StageForecast(step, interval_at(chances(logits), 0), mean, sd, _past(model, step, predicted)))
    return stages


def _past(model: FittedModel, step: str, predicted: Prediction) -> PastWeights | None:
    fit = model.fit_of(step)
    past = None if fit is None else fit.past
    if past is None or not past.record.size:
        return None
    x = design_of(model.recipe, predicted.rows, model.means)
    weights, general = past_weights(past, x, predicted.pairings)[0], base_shift(past)
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
    prior = float(offset_of(model, step, x)[0]) + float(x[0] @ past.prior_mean)
    total, base = float(weights.sum()), float(general.sum())
    return PastWeights(prior, base, named, total - base - sum(pairing.adds for pairing in named), prior + total)


def _number(model: FittedModel, record: int) -> str:
    return model.records[record] if record < len(model.records) else str(record + 1)


@dataclass(frozen=True, slots=True)
class StageChances:
    """What the priors alone say of one stage, or of the ``whole`` way, for each of ``PriorTable.millions``.

    The chances are those of two species of which no more is known; ``words`` say what happens at the stage.
    """

    stage: str
    words: str
    chances: list[Interval]


@dataclass(frozen=True, slots=True)
class CoefficientPrior(PriorRow):
    """One coefficient on the logit scale, and in words what it weighs."""

    words: str


@dataclass(frozen=True, slots=True)
class EffectPrior(EffectRow):
    """How widely parents, plants, pairs or records may differ: a half-normal scale on the logit scale."""

    words: str


@dataclass(frozen=True, slots=True)
class PriorTable:
    """The priors, of which the grower has set some ``own``, and the chances they give at some ``millions`` of years."""

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
    recipe = recipe_for(None, _SCALE)
    model = prior_model(recipe, _SEEDS, priors)
    believed = outlook(model, recipe.scale.rows(np.array(MILLIONS)))
    stages = []
    for step, logits in _shared_out(model, believed.whole, believed):
        chance = chances(logits)
        intervals = [interval_at(chance, i) for i in range(len(MILLIONS))]
        stages.append(StageChances(step, say(f"stages.{step}", fruit=fruit), intervals))
    coefficients = [CoefficientPrior(**asdict(row), words=_meaning(row.coefficient)) for row in priors.rows]
    effects = [EffectPrior(**asdict(row), words=say(f"priors.differs.{row.effect}")) for row in priors.effects]
    return PriorTable(list(MILLIONS), stages, coefficients, effects, priors.own)


def _meaning(coefficient: str) -> str:
    key = f"features.{coefficient}.prior" if coefficient in FEATURES else f"priors.what.{coefficient.replace(' ', '_')}"
    return say(key)


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
    """Return how heavily something speaks for or against a pairing."""
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
