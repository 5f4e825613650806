from __future__ import annotations

import numpy as np
import pytest

from crosscompat.ground.errors import BadInput
from crosscompat.model.prior import (
    centre_of,
    effect_rows,
    effect_scales,
    prior_for,
    prior_rows,
    published,
    spread_of,
)
from crosscompat.pairing import FEATURE_KINDS, Feature

FEATURES = [Feature(kind, None if kind == "distance" else "trait") for kind in FEATURE_KINDS]
ROWS = {(row.stage, row.coefficient): row for row in prior_rows()}


def test_every_coefficient_of_every_stage_has_its_row():
    stages = {row.stage for row in prior_rows()}
    assert stages == {"plain", "set", "hold", "fill", "germinate"}
    assert ROWS.keys() == {(stage, kind) for stage in stages for kind in ("intercept", *FEATURE_KINDS)}


@pytest.mark.parametrize("row", prior_rows(), ids=lambda row: f"{row.stage}-{row.coefficient}")
def test_every_row_is_proper_and_says_what_it_leans_on(row):
    assert 0 < row.sd < 5
    assert abs(row.mean) < 3
    assert len(row.evidence.split()) > 5


@pytest.mark.parametrize("row", effect_rows(), ids=lambda row: f"{row.stage}-{row.effect}")
def test_every_scale_of_an_effect_is_proper_and_says_what_it_leans_on(row):
    assert 0 < row.scale < 3
    assert len(row.evidence.split()) > 5


@pytest.mark.parametrize("stage", ["plain", "set", "hold", "fill", "germinate"])
def test_every_effect_of_every_stage_has_its_scale(stage):
    assert effect_scales(stage).keys() == {
        "seed", "pollen", "seed_plant", "pollen_plant", "pair", "direction", "record",
    }  # fmt: skip


def test_a_stage_may_have_a_scale_of_its_own():
    assert effect_scales("fill")["record"] == 1.0 > effect_scales("set")["record"]


def test_no_direction_of_a_measure_is_favoured_beforehand():
    assert ROWS["plain", "ratio"].mean == 0


def test_priors_come_in_the_order_of_the_features_the_intercept_first():
    prior = prior_for("plain", FEATURES)
    expected = [ROWS["plain", "intercept"], *(ROWS["plain", kind] for kind in FEATURE_KINDS)]
    assert prior.mean.tolist() == [row.mean for row in expected]
    assert prior.sd.tolist() == [row.sd for row in expected]
    backwards = prior_for("plain", FEATURES[::-1])
    assert backwards.mean[1:].tolist() == prior.mean[:0:-1].tolist()


def test_centres_and_spreads_are_those_of_the_kinds():
    centre, spread = centre_of(FEATURES), spread_of(FEATURES)
    assert centre.shape == spread.shape == (len(FEATURE_KINDS),)
    assert (spread > 0).all()
    assert dict(zip(FEATURE_KINDS, centre, strict=True)) == {
        "distance": 0.5, "both": 0.5, "same": 0.5, "lower": 0, "higher": 0, "ratio": 0, "size": 0,
    }  # fmt: skip


def test_no_features_leave_the_intercept():
    assert prior_for("plain", []).mean.tolist() == [ROWS["plain", "intercept"].mean]
    assert centre_of([]).size == 0


def test_one_pairing_is_believed_as_likely_as_not_within_a_wide_reach():
    """Before any cross the chance per flower of a middling pairing reaches from a long shot to likely."""
    row = ROWS["plain", "intercept"]
    low, high = (1 / (1 + np.exp(-(row.mean + z * row.sd))) for z in (-1.645, 1.645))
    assert low < 0.1
    assert high > 0.8


def test_the_functions_speak_of_the_published_table():
    table = published()
    assert table.rows == prior_rows()
    assert table.effects == effect_rows()
    assert not any(row.own for row in (*table.rows, *table.effects))
    for stage in table.stages:
        assert table.effect_scales(stage) == effect_scales(stage)
        assert table.prior_for(stage, FEATURES).mean.tolist() == prior_for(stage, FEATURES).mean.tolist()


def test_a_change_changes_what_it_names_and_nothing_else():
    own = published().changed({"set": {"distance": {"mean": -2.0, "sd": 1}}})
    changed = [row for row, was in zip(own.rows, published().rows, strict=True) if row != was]
    assert [(row.stage, row.coefficient, row.mean, row.sd, row.own) for row in changed] == [
        ("set", "distance", -2.0, 1.0, True)
    ]
    assert own.effects == published().effects
    [at] = [i + 1 for i, feature in enumerate(FEATURES) if feature.kind == "distance"]
    ours, theirs = own.prior_for("set", FEATURES), prior_for("set", FEATURES)
    assert (ours.mean[at], ours.sd[at]) == (-2.0, 1.0)
    assert np.delete(ours.mean, at).tolist() == np.delete(theirs.mean, at).tolist()
    assert own.prior_for("hold", FEATURES).mean.tolist() == prior_for("hold", FEATURES).mean.tolist()


def test_a_number_that_is_not_named_stays():
    row = next(row for row in published().changed({"fill": {"size": {"sd": 2}}}).rows if row.own)
    assert (row.mean, row.sd) == (ROWS["fill", "size"].mean, 2.0)


def test_no_change_is_the_published_table():
    assert published().changed({}) == published()
    assert published().changed({"set": {"distance": {}}, "effects": {"every": {}}}) == published()


def test_a_changed_row_says_who_set_it_and_what_stood_there():
    by = {"plain": {"distance": {"mean": -2}, "size": {"sd": 1, "evidence": "{my} own crosses"}}}
    distance, size = (row for row in published().changed(by).rows if row.own)
    assert distance.evidence.startswith("Set by the grower, in place of -1.5, give or take 3.5. That leant on: Crosses")
    assert distance.evidence.endswith(ROWS["plain", "distance"].evidence)
    assert size.evidence == "Set by the grower, in place of -0.5, give or take 0.75: {my} own crosses"


def test_a_scale_of_every_stage_leaves_a_stage_its_own():
    own = published().changed({"effects": {"every": {"record": {"scale": 0.2}}}})
    assert {stage: own.effect_scales(stage)["record"] for stage in own.stages} == {
        "plain": 0.2, "set": 0.2, "hold": 0.2, "fill": 1.0, "germinate": 1.0,
    }  # fmt: skip


def test_a_stage_may_be_given_a_scale_of_its_own():
    by = {"effects": {"set": {"seed": {"scale": 2}}, "fill": {"record": {"scale": 0.3}}}}
    own = published().changed(by)
    assert {stage: own.effect_scales(stage)["seed"] for stage in ("plain", "set", "fill")} == {
        "plain": 1.5, "set": 2.0, "fill": 1.5,
    }  # fmt: skip
    assert own.effect_scales("fill")["record"] == 0.3
    assert [(row.stage, row.effect) for row in own.effects if row.own] == [("fill", "record"), ("set", "seed")]
    assert all(row.evidence.startswith("Set by the grower, in place of 1") for row in own.effects if row.own)


@pytest.mark.parametrize(
    ("by", "column", "told"),
    [
        ([], "priors", "This must be a table"),
        ({"sow": {}}, "priors.sow", "There is no prior called sow"),
        ({"centre": {"distance": 0.4}}, "priors.centre", "There is no prior called centre"),
        ({"set": 1}, "priors.set", "This must be a table"),
        ({"set": {"length": {}}}, "priors.set.length", "There is no prior called length"),
        ({"set": {"distance": -2}}, "priors.set.distance", "This must be a table"),
        ({"set": {"distance": {"scale": 1}}}, "priors.set.distance.scale", "There is no prior called scale"),
        ({"set": {"distance": {"mean": "-2"}}}, "priors.set.distance.mean", "A mean must be a number"),
        ({"set": {"distance": {"mean": True}}}, "priors.set.distance.mean", "A mean must be a number"),
        ({"set": {"distance": {"mean": float("nan")}}}, "priors.set.distance.mean", "A mean must be a number"),
        ({"set": {"distance": {"sd": 0}}}, "priors.set.distance.sd", "An sd or a scale must be a number above 0"),
        ({"set": {"distance": {"sd": -1.0}}}, "priors.set.distance.sd", "An sd or a scale must be a number above 0"),
        ({"set": {"distance": {"sd": float("inf")}}}, "priors.set.distance.sd", "An sd or a scale must be a number"),
        ({"set": {"distance": {"evidence": " "}}}, "priors.set.distance.evidence", "The evidence must be text"),
        ({"effects": {"sow": {}}}, "priors.effects.sow", "There is no prior called sow"),
        ({"effects": {"every": {"moon": {}}}}, "priors.effects.every.moon", "There is no prior called moon"),
        ({"effects": {"every": {"seed": {"sd": 1}}}}, "priors.effects.every.seed.sd", "There is no prior called sd"),
        ({"effects": {"every": {"seed": {"scale": 0}}}}, "priors.effects.every.seed.scale", "An sd or a scale must"),
    ],
)
def test_a_wrong_change_is_told_with_its_place(by, column, told):
    with pytest.raises(BadInput) as caught:
        published().changed(by)
    [fault] = caught.value.faults
    assert fault.place.column == column
    assert fault.what.startswith(told)


def test_every_fault_is_told_at_once_in_the_order_of_the_table():
    by = {
        "set": {"distance": {"sd": 0, "mean": []}, "both": 1},
        "sow": {},
        "effects": {"every": {"seed": {"scale": ""}}},
    }
    assert [fault.place.column for fault in published().faults(by, "collection.toml")] == [
        "priors.set.distance.sd",
        "priors.set.distance.mean",
        "priors.set.both",
        "priors.sow",
        "priors.effects.every.seed.scale",
    ]
    assert {fault.place.file for fault in published().faults(by, "collection.toml")} == {"collection.toml"}


def test_what_is_unknown_is_told_with_what_there_is():
    [fault] = published().faults({"plain": {"ratios": {}}})
    assert all(kind in fault.advice for kind in ("intercept", *FEATURE_KINDS))


def test_the_fingerprint_follows_the_numbers_and_not_the_words():
    first = published().fingerprint
    assert published().changed({"plain": {"size": {"evidence": "as published"}}}).fingerprint == first
    assert published().changed({"plain": {"size": {"sd": 0.76}}}).fingerprint != first
    assert published().changed({"effects": {"every": {"seed": {"scale": 1.4}}}}).fingerprint != first
    assert published().changed({"effects": {"set": {"seed": {"scale": 1.5}}}}).fingerprint != first
