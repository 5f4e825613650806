from __future__ import annotations

import numpy as np
import pytest

from crosscompat.advice.priors import FAR, NEAR, one_stage, prior_table
from crosscompat.model.fitted import prior_model
from crosscompat.model.forecast import logits
from crosscompat.model.prior import published
from crosscompat.pairing import Feature, Recipe, recipe_for

BETWEEN_STRANGERS = ("seed", "pollen", "pair", "direction", "record")
OWN = published().changed(
    {"set": {"distance": {"mean": -4, "sd": 0.5}}, "effects": {"every": {"seed": {"scale": 0.1}}}}
)


def naive(priors, stage, distance):
    """The chance of one unit and its 90% interval, by sums over a fine grid of logits."""
    row = {row.coefficient: row for row in priors.rows if row.stage == stage}
    lever = distance - 0.5
    mean = row["intercept"].mean + lever * row["distance"].mean
    variance = row["intercept"].sd ** 2 + (lever * row["distance"].sd) ** 2
    variance += sum(priors.effect_scales(stage)[effect] ** 2 for effect in BETWEEN_STRANGERS)
    z = np.linspace(-9, 9, 200_001)
    weight = np.exp(-0.5 * z**2)
    chance = 1 / (1 + np.exp(-(mean + np.sqrt(variance) * z)))
    cumulated = np.cumsum(weight) / weight.sum()
    return weight @ chance / weight.sum(), *np.interp([0.05, 0.95], cumulated, chance)


@pytest.mark.parametrize("priors", [published(), OWN], ids=["published", "own"])
@pytest.mark.parametrize("at", range(5))
def test_the_chances_are_those_of_the_numbers_in_the_table(priors, at):
    entry = prior_table(priors).chances[at]
    assert entry.stage == priors.stages[at]
    for found, distance in ((entry.near, NEAR), (entry.far, FAR)):
        assert [found.mean, found.low, found.high] == pytest.approx(naive(priors, entry.stage, distance), abs=1e-4)


def test_near_is_better_than_far_at_every_stage_but_far_is_never_hopeless():
    for entry in prior_table(published()).chances:
        assert entry.far.mean < entry.near.mean
        assert entry.far.high > 0.9


def test_a_setting_shows_in_the_chances_of_its_stage_alone():
    ours, theirs = (prior_table(priors).chances for priors in (OWN, published()))
    own = {entry.stage: entry for entry in ours}
    for entry in theirs:
        if entry.stage == "set":
            assert own["set"].near.mean > entry.near.mean
            assert own["set"].far.mean < entry.far.mean
        else:
            assert own[entry.stage].near.high < entry.near.high  # species differ less as seed parents


def test_every_number_is_there_with_its_words_and_evidence():
    table = prior_table(OWN, fruit="pod")
    assert [(row.stage, row.coefficient, row.mean, row.sd, row.evidence, row.own) for row in table.coefficients] == [
        (row.stage, row.coefficient, row.mean, row.sd, row.evidence, row.own) for row in OWN.rows
    ]
    assert [(row.stage, row.effect, row.scale, row.own) for row in table.effects] == [
        (row.stage, row.effect, row.scale, row.own) for row in OWN.effects
    ]
    assert all(len(row.words.split()) > 2 for row in (*table.coefficients, *table.effects))
    assert table.own == 2
    assert prior_table(published()).own == 0


def test_the_fruit_has_the_word_of_the_group():
    words = {entry.stage: entry.words for entry in prior_table(published(), fruit="pod").chances}
    assert words["set"] == "A flower sets a pod"
    assert "pod" in words["hold"]


def test_the_plain_stage_alone_is_the_model_of_a_grower_without_crosses():
    recipe = Recipe((Feature("distance"), Feature("size", "style")), 2.0)
    rows = np.array([[0.2, 1.0], [0.9, np.nan]])
    ours, theirs = logits(one_stage(published(), "plain", recipe), rows), logits(prior_model(recipe), rows)
    assert ours.mean.tolist() == theirs.mean.tolist()
    assert ours.sd.tolist() == theirs.sd.tolist()


@pytest.mark.parametrize("stage", published().stages)
def test_a_stage_alone_has_its_own_numbers(stage):
    found = logits(one_stage(published(), stage, recipe_for(None, 1.0)), np.array([[0.5]]))
    assert found.mean[0] == next(
        row.mean for row in published().rows if (row.stage, row.coefficient) == (stage, "intercept")
    )
