from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.advice import reasoning
from crosscompat.advice.ask import ask
from crosscompat.advice.predict import Prediction
from crosscompat.advice.reasoning import feature_in_words, reasons_in_words, weight_in_words
from crosscompat.advice.retrain import learn
from crosscompat.model.composition import SeedsPerPod
from crosscompat.model.fitted import EFFECTS, FittedModel, unlearned
from crosscompat.model.forecast import outlook
from crosscompat.model.gaussian import GaussianPrior
from crosscompat.model.pairings import Levels, Pairings, Seen
from crosscompat.model.reasons import TERMS, Reasons
from crosscompat.pairing import CURVES, DistanceScale, Feature, Recipe
from crosscompat.stages import STAGES, WHOLE
from crosscompat.traits import FEATURES as OF_TRAITS

FEATURE_KINDS = (*CURVES, *OF_TRAITS)

TRAITS = (
    Feature("both", "spines_paired"),
    Feature("same", "flower_colour"),
    Feature("lower", "2n"),
    Feature("higher", "2n"),
    Feature("ratio", "style_mm"),
    Feature("size", "style_mm"),
)
FEATURES = (Feature("root"), Feature("linear"), *TRAITS)
SCALE = DistanceScale(2.0, (("root", 1.0, 0.5), ("linear", 1.0, 0.5)))
CHROMOSOMES = "chromosome number (2n)"
SLOPES = np.array([0.4, -1.5, -0.5, 0.6, 0.02, -1.0, -0.8, 0.3, -0.7])
NOBODY = np.full(1, -1)


def model(slopes=SLOPES):
    k = len(FEATURES)
    prior = GaussianPrior(np.zeros(k + 1), np.ones(k + 1))
    fit = unlearned("whole", np.asarray(slopes, dtype=float), np.eye(k + 1), np.zeros(7))
    means = np.array([0, 0, 0.5, 0.5, 0, 0, 0, 0.2])
    return FittedModel(
        Recipe(FEATURES, SCALE),
        means,
        np.ones(k),
        prior,
        dict.fromkeys(EFFECTS, 0.0),
        (fit,),
        Seen(),
        SeedsPerPod(20.0, 1.0),
    )


def row(distance=0.4, **numbers):
    names = ("both", "same", "lower", "higher", "ratio", "size")
    return np.array([distance, distance, *(numbers.get(name, np.nan) for name in names)], dtype=float)


def reasons_of(made, numbers, *, distance=0.4, uneven=0.0, published=0.0, sources=None):
    pairings = Pairings(Levels(NOBODY, NOBODY, NOBODY, NOBODY))
    believed = outlook(made, numbers[None], pairings)
    shifts = np.array([published]), np.array([uneven])
    return reasons_in_words(
        made, Prediction(numbers[None], pairings, believed, believed.whole, *shifts), distance, sources
    )


def told(**numbers):
    return {reason.feature: reason for reason in reasons_of(model(), row(**numbers))}


@pytest.mark.parametrize(
    ("distance", "says"),
    [
        (0.0, "plants of one species"),
        (0.2, "close together on the tree"),
        (0.5, "some way apart on the tree"),
        (1.2, "some way apart on the tree"),
        (1.3, "far apart on the tree"),
    ],
)
def test_distance_is_told_in_words_its_curves_together(distance, says):
    [found] = [r for r in reasons_of(model(), row(0.4), distance=distance) if r.feature == "distance"]
    assert found.says == f"{says}: clearly against it"
    assert found.fact == says
    assert (found.value, found.logit) == (distance, pytest.approx(-2.0 * 0.4))


def test_a_middling_distance_that_speaks_for_a_pairing_is_not_far():
    [found] = [r for r in reasons_of(model(), row(-0.4), distance=0.8) if r.feature == "distance"]
    assert found.says == "not far apart on the tree: clearly for it"


def test_published_crosses_and_uneven_chromosomes_are_reasons_where_they_say_anything():
    silent, found = (reasons_of(model(), row(), published=p, uneven=u) for p, u in ((0.0, 0.0), (0.7, -1.5)))
    assert not {"published", "uneven"} & {reason.feature for reason in silent}
    said = {reason.feature: reason.says for reason in found}
    assert said["published"] == "published crosses of these species or their relatives: clearly for it"
    assert said["uneven"] == "a hybrid parent has uneven chromosomes: strongly against it"


def test_what_rests_on_memory_says_so_and_where_it_is_from_goes_along():
    sources = {"2n": "Xue 2007; from memory", "style_mm": "Flora of North America"}
    found = {r.feature: r for r in reasons_of(model(), row(lower=1, higher=0, size=1.0), sources=sources)}
    assert found["2n order"].fact == f"the seed parent has the lower {CHROMOSOMES} (from memory)"
    assert found["2n order"].source == "Xue 2007; from memory"
    assert (found["style_mm size"].source, "memory" in found["style_mm size"].says) == ("Flora of North America", False)
    assert found["style_mm ratio"].source is None  # it is not known, and counts for nothing


@pytest.mark.parametrize(
    ("numbers", "feature", "value", "says"),
    [
        ({"both": 1}, "spines_paired both", 1, "both have spines paired: a little for it"),
        ({"both": 0}, "spines_paired both", 0, "they do not both have spines paired: a little against it"),
        ({"same": 1}, "flower_colour same", 1, "same flower colour: makes no difference"),
        ({"same": 0}, "flower_colour same", 0, "different flower colour: makes no difference"),
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
        ({"size": 1.0}, "style_mm size", 1.0, "their style differs 2.7 times: clearly against it"),
        ({}, "style_mm size", None, "style: not known for both, so not counted"),
        ({}, "2n order", None, "chromosome number (2n): not known for both, so not counted"),
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
        "both": rng.integers(0, 2), "same": rng.integers(0, 2), "lower": float(order < 0),
        "higher": float(order > 0), "ratio": rng.normal(), "size": rng.exponential(),
    }  # fmt: skip
    one = row(rng.normal(), **{name: value for name, value in numbers.items() if rng.random() < 0.7})
    if np.isnan(one[4]) or np.isnan(one[5]):
        one[4:6] = np.nan
    made = model(rng.normal(size=9))
    found = reasons_of(made, one)
    whole = outlook(made, one[None], Pairings(Levels(NOBODY, NOBODY, NOBODY, NOBODY))).whole
    assert sum(reason.logit for reason in found) == pytest.approx(whole.mean[0], abs=1e-12)
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
    feature = Feature(kind, None if kind in CURVES else "style_mm")
    words = feature_in_words(feature.name)
    assert ("style" in words) == (kind not in CURVES)
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
    monkeypatch.setattr(reasoning, "whole_reasons", lambda *_: found)
    [reason] = [reason for reason in reasons_of(model(), row()) if reason.feature == name]
    assert (reason.logit, reason.value) == (logit, value)
    assert reason.says.endswith(": clearly for it" if logit > 0 else ": clearly against it")
    assert ("relatives" in reason.says) == (value == 0)
    assert ("better" in reason.says) == (logit > 0)
    assert "has done so far" in feature_in_words(name)


PAIRS = [
    ("Aus bus", "Aus cus"), ("Aus cus", "Aus bus"), ("Aus dus", "Aus eus"),
    ("Aus bus", "Aus eus"), ("Aus cus", "Aus fus"), ("Aus bus", "Aus dus"),
]  # fmt: skip


@pytest.fixture
def by_stage(cross):
    """Crosses that all set; the near ones fill their seed, the far ones hardly, and one is told unit by unit."""
    counted = [
        cross(
            seed, pollen, units=4, pods_set=4 - i % 2, pods_held=2, seeds=40, seeds_filled=36 - 7 * i,
            seeds_sown=36 - 7 * i, seedlings=5 - i, cross=f"24-{i:02}",
        )
        for i, (seed, pollen) in enumerate(PAIRS[:5])
    ]  # fmt: skip
    return [*counted, cross("Aus cus", "Aus dus", 5, 0, cross="old"), cross("Aus dus", "Aus cus", units=3, seedlings=0)]


@pytest.fixture
def answered(trained, by_stage):
    return [
        pair for one in PAIRS for a in [ask(trained(by_stage), *one, flowers=4)] for pair in (a.pairing, a.reciprocal)
    ]


def test_the_reasons_of_the_whole_add_up_exactly(answered):
    for pair in answered:
        assert tuple(stage.stage for stage in pair.stages) == (*STAGES, WHOLE)
        whole = pair.stages[-1]
        assert sum(reason.logit for reason in pair.reasons) == pytest.approx(whole.logit_mean, abs=1e-9)
        assert pair.per_flower.mean == whole.chance.mean


def test_the_weights_of_past_crosses_add_up_exactly(answered):
    for pair in answered:
        for stage in pair.stages:
            past = stage.past
            if past is None:
                continue
            total = past.prior_logit + past.in_general + sum(one.adds for one in past.weightiest) + past.others
            assert total == pytest.approx(past.mode_logit, abs=1e-9)
            sizes = [abs(one.adds) for one in past.weightiest]
            assert sizes == sorted(sizes, reverse=True)


def test_past_crosses_are_named_as_the_grower_names_them(answered):
    named = {
        number
        for pair in answered
        for stage in pair.stages
        if stage.past
        for one in stage.past.weightiest
        for number in one.crosses
    }
    assert {"24-00", "old"} <= named
    one = next(w for w in answered[0].stages[0].past.weightiest if "24-00" in w.crosses)
    assert (one.seed_parent, one.pollen_parent) == ("Aus bus", "Aus cus")


def test_a_lower_chance_of_any_stage_is_said_where_it_lies(answered):
    near, far = answered[0], answered[6]
    fill = [*STAGES].index("fill")
    assert near.stages[fill].chance.mean > far.stages[fill].chance.mean + 0.2
    assert near.seeds_per_pod == pytest.approx((200 + 20) / 11, rel=0.05)
    assert near.per_flower.mean > far.per_flower.mean


def test_a_cross_under_way_counts_for_what_is_over(trained, by_stage, cross, collection):
    young = cross("Aus eus", "Aus fus", units=6, pods_set=0, day=date(2025, 11, 1), cross="25-01")
    lesson, saved = learn(collection([*by_stage, young]), as_of=date(2026, 1, 1))
    assert (lesson.after.crosses, lesson.after.under_way) == (7, 1)
    assert "1 unfinished cross counts" in lesson.after.words
    assert saved.model.fit_of("set").past.record.tolist()[-1] == saved.model.records.index("25-01")
    assert {entry.stage for entry in lesson.weightings} == {fit.step for fit in saved.model.steps}


@pytest.mark.parametrize(
    ("learned", "weighs"),
    [(-1.0, 0.0), (-0.4, 0.0), (0.0, 0.0), (-3.0, 1.0), (0.6, -0.3)],
)
def test_a_trait_in_which_the_parents_do_not_differ_weighs_what_the_crosses_taught_of_it(learned, weighs):
    """The prior has -1 for the higher count, which half of the pairings have: 0.5 for a pairing of like counts."""
    plain = model(np.where(np.arange(9) == 6, learned, 0.0))
    mean = np.where(np.arange(9) == 6, -1.0, 0.0)
    means = np.where(np.arange(8) == 5, 0.5, 0.0)
    made = replace(plain, prior=GaussianPrior(mean, np.ones(9)), means=means)
    found = {reason.feature: reason for reason in reasons_of(made, row(lower=0, higher=0))}
    assert found["2n order"].logit == pytest.approx(weighs)
    whole = outlook(made, row(lower=0, higher=0)[None], Pairings(Levels(NOBODY, NOBODY, NOBODY, NOBODY))).whole
    assert sum(reason.logit for reason in found.values()) == pytest.approx(whole.mean[0], abs=1e-12)
    differing = {reason.feature: reason for reason in reasons_of(made, row(lower=0, higher=1))}
    assert differing["2n order"].logit == pytest.approx(learned / 2)
