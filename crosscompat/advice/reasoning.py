"""The reasons for a chance, in words that a grower would use."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import exp

from crosscompat.advice.cautions import spoken
from crosscompat.advice.predict import Asked
from crosscompat.ground.wording import say
from crosscompat.model.fitted import FittedModel
from crosscompat.model.reasons import TERMS, Reasons, whole_reasons
from crosscompat.pairing import CURVES, Feature
from crosscompat.traits import from_memory

__all__ = ["Reason", "feature_in_words", "reasons_in_words", "weight_in_words"]

_NEAR, _FAR = 0.5, 1.25
_NOTHING = 1e-3
_SLIGHT, _CLEAR, _STRONG = 0.05, 0.5, 1.2


@dataclass(frozen=True, slots=True)
class Reason:
    """One step of the way to the chance.

    Attributes
    ----------
    feature : str
        ``base`` for an average pairing, else the feature; ``order`` joins the "lower" and "higher" of a count. What
        parents and pairs add beyond their features has the names ``TERMS`` of `crosscompat.model.forecast`.
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


def reasons_in_words(
    model: FittedModel, asked: Asked, i: int, distance: float, sources: Mapping[str, str] | None = None
) -> list[Reason]:
    """Return the reasons for one pairing's chance of a seedling: an average pairing first, then the weightiest.

    Parameters
    ----------
    model : FittedModel
    asked : Asked
        Some pairings, as they were put to it.
    i : int
        Which of them.
    distance : float
        Between its parents, against the usual distance on the tree.
    sources : mapping of str to str, optional
        Where the parents' values of each trait are from.

    Returns
    -------
    list of Reason
        Their logits add up to the mean logit of the whole.
    """
    row = asked.rows[i]
    found: Reasons = whole_reasons(model, row, asked.pairings[i : i + 1], asked.outlook.at(i))
    features = model.recipe.features
    of_distance = sum(logit for name, logit, _ in found.terms if name in CURVES)
    base = Reason("base", None, found.base, say("reasons.base"), say("reasons.base"))
    fact = say(f"reasons.distance.{_how_far(distance, of_distance)}")
    terms = [_reason("distance", distance, of_distance, fact)]
    terms += [
        _reason(
            name,
            value,
            logit,
            _fact(kind, column, value),
            (sources or {}).get(column or "") if value is not None else None,
        )
        for kind, column, name, logit, value in _joined(features, found)
    ]
    terms += [
        _reason(name, value, logit, _effect_fact(name, value, logit))
        for name, logit, value in found.terms
        if name in TERMS
    ]
    for name, adds in (("uneven", float(asked.uneven[i])), ("published", float(asked.published[i]))):
        if abs(adds) >= _NOTHING:
            terms.append(_reason(name, 1.0, adds, say(f"reasons.{name}")))
    return [base, *sorted(terms, key=lambda reason: (-abs(reason.logit), reason.feature))]


def _reason(feature: str, value: float | None, logit: float, fact: str, source: str | None = None) -> Reason:
    """Put a reason into words; one that rests on somebody's memory says so."""
    fact = say("reasons.from_memory", fact=fact) if from_memory(source) else fact
    says = fact if value is None else say("reasons.line", fact=fact, weight=weight_in_words(logit))
    return Reason(feature, value, logit, fact, says, source)


def _joined(features: Sequence[Feature], found: Reasons) -> Iterator[tuple[str, str | None, str, float, float | None]]:
    """Pass on the terms, "lower" and "higher" of one count as a single one with the sign of the difference."""
    logit_of = {name: logit for name, logit, _ in found.terms}
    value_of = {name: value for name, _, value in found.terms}
    for feature in features:
        if feature.kind == "higher" or feature.column is None:
            continue
        logit, value = logit_of[feature.name], value_of[feature.name]
        if feature.kind != "lower":
            yield feature.kind, feature.column, feature.name, logit, value
            continue
        higher = Feature("higher", feature.column).name
        sign = None if value is None else (value_of[higher] or 0.0) - value
        yield "order", feature.column, f"{feature.column} order", logit + logit_of[higher], sign


def feature_in_words(name: str) -> str:
    """Return a feature's name as words.

    Examples
    --------
    >>> feature_in_words("distance"), feature_in_words("2n lower")
    ('distance on the tree', 'lower chromosome number (2n) of the seed parent')
    """
    if name in {*TERMS, "uneven", "published"}:
        return say(f"reasons.features.{name.replace(' ', '_')}")
    column, _, kind = name.rpartition(" ")
    return say(f"reasons.features.{kind}", trait=spoken(column))


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


def _fact(kind: str, column: str | None, value: float | None) -> str:
    """Say how two parents stand in one trait; never that they differ where they do not."""
    trait = "" if column is None else spoken(column)
    if value is None:
        return say("reasons.unknown", trait=trait)
    if kind in {"order", "ratio"}:
        way = "more" if value > 0 else "less" if value < 0 else "same"
    else:
        way = "yes" if value else "no"
    return say(f"reasons.{kind}.{way}", trait=trait, times=f"{exp(abs(value)):.1f}")


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
