from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.advice import reasoning
from crosscompat.advice.reasoning import feature_in_words, reasons_in_words, weight_in_words
from crosscompat.model.fitted import FittedModel, Seen, StageFit
from crosscompat.model.forecast import logits
from crosscompat.model.reasons import TERMS, Reasons
from crosscompat.pairing import FEATURE_KINDS, Feature, Recipe

FEATURES = (
    Feature("distance"),
    Feature("both", "spines_paired"),
    Feature("same", "flower_colour"),
    Feature("lower", "2n"),
    Feature("higher", "2n"),
    Feature("ratio", "style_mm"),
    Feature("size", "style_mm"),
)
CHROMOSOMES = "chromosome number (2n)"
SLOPES = np.array([0.4, -2.0, 0.6, 0.02, -1.0, -0.8, 0.3, -0.7])


def model(slopes=SLOPES):
    k = len(FEATURES)
    stage = StageFit("plain", np.asarray(slopes, dtype=float), np.eye(k + 1))
    return FittedModel(Recipe(FEATURES, 1.0), np.array([0.5, 0.5, 0.5, 0, 0, 0, 0.2]), np.ones(k), (stage,), Seen())


def row(**numbers):
    names = ("distance", "both", "same", "lower", "higher", "ratio", "size")
    return np.array([numbers.get(name, np.nan) for name in names], dtype=float)


def told(**numbers):
    return {reason.feature: reason for reason in reasons_in_words(model(), row(distance=0.4, **numbers))}


@pytest.mark.parametrize(
    ("distance", "says"),
    [
        (0.0, "they are of one species"),
        (0.2, "they stand close together on the tree (0.20 of the reference)"),
        (0.5, "they stand at a middling distance on the tree (0.50 of the reference)"),
        (0.9, "they stand far apart on the tree (0.90 of the reference)"),
        (1.0, "they stand far apart on the tree (1.00 of the reference)"),
        (1.2, "they stand farther apart than the reference (1.20 of it)"),
    ],
)
def test_distance_is_told_in_words(distance, says):
    [found] = [r for r in reasons_in_words(model(), row(distance=distance)) if r.feature == "distance"]
    assert found.says.startswith(f"{says}: ")
    assert found.value == distance


@pytest.mark.parametrize(
    ("numbers", "feature", "value", "says"),
    [
        ({"both": 1}, "spines_paired both", 1, "both have spines paired: a little for it"),
        ({"both": 0}, "spines_paired both", 0, "they do not both have spines paired: a little against it"),
        ({"same": 1}, "flower_colour same", 1, "they share flower colour: makes no difference"),
        ({"same": 0}, "flower_colour same", 0, "they differ in flower colour: makes no difference"),
        ({"lower": 1, "higher": 0}, "2n order", -1, f"the seed parent has the lower {CHROMOSOMES}: clearly against it"),
        ({"lower": 0, "higher": 1}, "2n order", 1, f"the seed parent has the higher {CHROMOSOMES}: clearly against it"),
        ({"lower": 0, "higher": 0}, "2n order", 0, "their chromosome number (2n) is the same: makes no difference"),
        (
            {"ratio": np.log(2)},
            "style_mm ratio",
            np.log(2),
            "the seed parent's style is 2.0 times the pollen parent's: a little for it",
        ),
        (
            {"ratio": -np.log(2)},
            "style_mm ratio",
            -np.log(2),
            "the pollen parent's style is 2.0 times the seed parent's: a little against it",
        ),
        ({"ratio": 0}, "style_mm ratio", 0, "their style is the same: makes no difference"),
        ({"size": 1.0}, "style_mm size", 1.0, "their style differs by a factor of 2.7: clearly against it"),
        ({}, "style_mm size", None, "style is not known for both: not counted"),
        ({}, "2n order", None, "chromosome number (2n) is not known for both: not counted"),
    ],
)
def test_every_feature_is_told_in_words(numbers, feature, value, says):
    found = told(**numbers)[feature]
    assert found.value == (None if value is None else pytest.approx(value))
    assert found.says == says


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10_000))
def test_all_reasons_add_up_and_the_weightiest_comes_first(seed):
    rng = np.random.default_rng(seed)
    order = rng.integers(-1, 2)
    numbers = {
        "distance": rng.random(), "both": rng.integers(0, 2), "same": rng.integers(0, 2), "lower": float(order < 0),
        "higher": float(order > 0), "ratio": rng.normal(), "size": rng.exponential(),
    }  # fmt: skip
    one = row(**{name: value for name, value in numbers.items() if rng.random() < 0.7 or name == "distance"})
    if np.isnan(one[3]) or np.isnan(one[4]):
        one[3:5] = np.nan
    made = model(rng.normal(size=8))
    found = reasons_in_words(made, one)
    assert sum(reason.logit for reason in found) == pytest.approx(logits(made, one[None]).mean[0], abs=1e-12)
    assert found[0].feature == "base"
    sizes = [abs(reason.logit) for reason in found[1:]]
    assert sizes == sorted(sizes, reverse=True)
    assert len(found) == 7  # the base, and "lower" and "higher" as one


@pytest.mark.parametrize(
    ("logit", "words"),
    [
        (0.0, "makes no difference"),
        (0.049, "makes no difference"),
        (0.05, "a little for it"),
        (-0.3, "a little against it"),
        (0.5, "clearly for it"),
        (-1.19, "clearly against it"),
        (1.2, "strongly for it"),
        (-5.0, "strongly against it"),
    ],
)
def test_weights_in_words(logit, words):
    assert weight_in_words(logit) == words


@pytest.mark.parametrize("kind", FEATURE_KINDS)
def test_every_kind_of_feature_has_words(kind):
    feature = Feature(kind, None if kind == "distance" else "style_mm")
    words = feature_in_words(feature.name)
    assert ("style" in words) == (kind != "distance")
    assert "_" not in words


def test_the_base_has_words_too():
    assert feature_in_words("base") == "how well crosses take in general"


@pytest.mark.parametrize("name", TERMS)
@pytest.mark.parametrize("logit", [0.7, -0.7])
@pytest.mark.parametrize("value", [0.0, 1.0])
def test_parents_and_pairs_are_told_in_words(monkeypatch, name, logit, value):
    if value == 0 and not name.endswith("parent"):
        return  # only a species has relatives that speak for it
    found = Reasons(0.1, (*((feature.name, 0.0, None) for feature in FEATURES), (name, logit, value)))
    monkeypatch.setattr(reasoning, "reasons", lambda *_: found)
    [reason] = [reason for reason in reasons_in_words(model(), row()) if reason.feature == name]
    assert (reason.logit, reason.value) == (logit, value)
    assert reason.says.endswith(": clearly for it" if logit > 0 else ": clearly against it")
    assert ("relatives" in reason.says) == (value == 0)
    assert ("better" in reason.says) == (logit > 0)
    assert "crosses show" in feature_in_words(name)
