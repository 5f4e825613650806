"""The reasons for a chance, in words that a grower would use."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import exp

from crosscompat.advice.cautions import spoken
from crosscompat.ground.wording import say
from crosscompat.model.fitted import FittedModel
from crosscompat.model.forecast import TERMS, Reasons, reasons
from crosscompat.model.likelihood import Floats
from crosscompat.model.pairings import Pairings
from crosscompat.pairing import Feature

__all__ = ["Reason", "feature_in_words", "reasons_in_words", "weight_in_words"]

_NEAR, _FAR = 1 / 3, 2 / 3
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
        ``uneven``, a hybrid with uneven chromosomes, 1.
    logit : float
        What it adds to the logit of the chance; all of them add up to the posterior mean.
    says : str
        In plain words.
    """

    feature: str
    value: float | None
    logit: float
    says: str


def reasons_in_words(
    model: FittedModel, row: Floats, asked: Pairings | None = None, stage: int = 0, uneven: float = 0.0
) -> list[Reason]:
    """Return the reasons for one pairing's chance at a stage: an average pairing first, then the weightiest.

    ``uneven`` is what uneven chromosomes of hybrids add; nothing is said of them where that is 0.
    """
    found: Reasons = reasons(model, row, asked, stage)
    base = Reason("base", None, found.base, say("reasons.base"))
    terms = [
        Reason(name, value, logit, _says(kind, column, value, logit))
        for kind, column, name, logit, value in _joined(model.recipe.features, found)
    ]
    terms += [
        Reason(name, value, logit, _effect_says(name, value, logit))
        for name, logit, value in found.terms
        if name in TERMS
    ]
    if uneven:
        words = say("reasons.line", fact=say("reasons.uneven"), weight=weight_in_words(uneven))
        terms.append(Reason("uneven", 1.0, uneven, words))
    return [base, *sorted(terms, key=lambda reason: (-abs(reason.logit), reason.feature))]


def _joined(features: Sequence[Feature], found: Reasons) -> Iterator[tuple[str, str | None, str, float, float | None]]:
    """Pass on the terms, "lower" and "higher" of one count as a single one with the sign of the difference."""
    logit_of = {name: logit for name, logit, _ in found.terms}
    value_of = {name: value for name, _, value in found.terms}
    for feature in features:
        if feature.kind == "higher":
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
    if name in {*TERMS, "uneven"}:
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


def _says(kind: str, column: str | None, value: float | None, logit: float) -> str:
    trait = "" if column is None else spoken(column)
    if value is None:
        return say("reasons.unknown", trait=trait)
    fact = say(f"reasons.{_fact(kind, value)}", trait=trait, value=f"{value:.2f}", times=f"{exp(abs(value)):.1f}")
    return say("reasons.line", fact=fact, weight=weight_in_words(logit))


def _effect_says(name: str, value: float | None, logit: float) -> str:
    whose = "own" if value else "kin"
    fact = say(f"reasons.{name.replace(' ', '_')}.{whose}_{'more' if logit > 0 else 'less'}")
    return say("reasons.line", fact=fact, weight=weight_in_words(logit))


def _fact(kind: str, value: float) -> str:
    if kind == "distance":
        return f"distance.{_how_far(value)}"
    if kind in {"order", "ratio"}:
        return f"{kind}.{'more' if value > 0 else 'less' if value < 0 else 'same'}"
    if kind == "size":
        return "size"
    return f"{kind}.{'yes' if value else 'no'}"


def _how_far(relative: float) -> str:
    if relative == 0:
        return "none"
    if relative < _NEAR:
        return "near"
    return "middling" if relative < _FAR else "far" if relative <= 1 else "beyond"
