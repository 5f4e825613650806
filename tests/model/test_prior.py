from __future__ import annotations

import numpy as np
import pytest

from crosscompat.ground.errors import BadInput
from crosscompat.model.fitted import EFFECTS
from crosscompat.model.prior import centre_of, published, published_weight, spread_of
from crosscompat.pairing import CURVES, Feature
from crosscompat.stages import STEPS, WHOLE
from crosscompat.traits import FEATURES as OF_TRAITS

FEATURE_KINDS = (*CURVES, *OF_TRAITS)

FEATURES = [Feature(kind, None if kind in CURVES else "trait") for kind in FEATURE_KINDS]
TABLE = published()
ROWS = {row.coefficient: row for row in TABLE.rows}


def test_every_coefficient_and_every_effect_has_its_row():
    assert {"intercept", *FEATURE_KINDS} <= ROWS.keys()
    assert {name.split()[0] for name in ROWS} <= {"intercept", *FEATURE_KINDS}  # the rest are of one column
    assert sorted(row.effect for row in TABLE.effects) == sorted(EFFECTS)
    assert TABLE.own == 0


@pytest.mark.parametrize(
    "row", [*TABLE.rows, *TABLE.effects], ids=lambda row: getattr(row, "coefficient", None) or row.effect
)
def test_every_row_is_proper_and_says_whether_it_was_learned_and_what_it_leans_on(row):
    assert 0 < (row.sd if hasattr(row, "sd") else row.scale) < 5
    assert row.basis in {"learned", "judged"}
    assert len(row.evidence.split()) > 2


def test_a_column_may_have_a_prior_of_its_own():
    named, other = Feature("same", "subgenus"), Feature("same", "growth")
    prior = TABLE.prior_for([named, other])
    assert prior.mean.tolist() == [ROWS[name].mean for name in ("intercept", "same subgenus", "same")]
    assert centre_of([named, other]).tolist() == [1.0, 0.5]
    assert (spread_of([named]) < spread_of([other])).all()


def test_effects_of_a_step_are_its_share_of_those_of_the_whole_and_its_records_its_own():
    whole = TABLE.effect_scales(WHOLE)
    assert whole == {row.effect: row.scale for row in TABLE.effects} | {"record": 0.5}
    for step in STEPS:
        half = TABLE.effect_scales(step, 0.5)
        assert all(half[name] == 0.5 * whole[name] for name in EFFECTS if name != "record")
    assert TABLE.effect_scales("fill", 0.5)["record"] == 1.0 > TABLE.effect_scales("set", 0.5)["record"] == 0.7


def test_nearer_is_better_beforehand_and_no_direction_of_a_measure_is_favoured():
    assert all(ROWS[curve].mean < 0 for curve in CURVES)
    assert ROWS["ratio"].mean == 0


def test_priors_come_in_the_order_of_the_features_the_intercept_first():
    prior = TABLE.prior_for(FEATURES)
    assert prior.mean.tolist() == [ROWS["intercept"].mean, *(ROWS[kind].mean for kind in FEATURE_KINDS)]
    assert prior.sd.tolist() == [ROWS["intercept"].sd, *(ROWS[kind].sd for kind in FEATURE_KINDS)]
    backwards = TABLE.prior_for(FEATURES[::-1])
    assert backwards.mean[1:].tolist() == prior.mean[:0:-1].tolist()
    assert TABLE.prior_for([]).mean.tolist() == [ROWS["intercept"].mean]


def test_centres_and_spreads_are_those_of_the_kinds():
    centre, spread = centre_of(FEATURES), spread_of(FEATURES)
    assert (spread > 0).all()
    assert dict(zip(FEATURE_KINDS, centre, strict=True)) == {
        **dict.fromkeys(FEATURE_KINDS, 0), "both": 0.5, "same": 0.5,
    }  # fmt: skip
    assert centre_of([]).size == spread_of([]).size == 0


def test_one_pairing_is_believed_as_likely_as_not_within_a_wide_reach():
    """Before any cross the chance per flower of a middling pairing reaches from a long shot to likely."""
    row = ROWS["intercept"]
    low, high = (1 / (1 + np.exp(-(row.mean + z * row.sd))) for z in (-1.645, 1.645))
    assert low < 0.1
    assert high > 0.8


def test_a_hybrid_that_needed_rescue_weighs_less_than_one_made_by_hand():
    by_hand, rescued, unknown = (published_weight(how)[0] for how in ("by hand", "embryo rescue", "who knows"))
    assert by_hand == 1 > unknown > rescued > 0


def test_a_change_changes_what_it_names_and_nothing_else():
    own = TABLE.changed({"linear": {"mean": -2.0, "sd": 1}, "effects": {"seed": {"scale": 2}}})
    changed = [row for row, was in zip(own.rows, TABLE.rows, strict=True) if row != was]
    assert [(row.coefficient, row.mean, row.sd, row.basis) for row in changed] == [("linear", -2.0, 1.0, "own")]
    assert [(row.effect, row.scale) for row in own.effects if row.basis == "own"] == [("seed", 2.0)]
    assert own.own == 2
    at = 1 + [feature.kind for feature in FEATURES].index("linear")
    ours, theirs = own.prior_for(FEATURES), TABLE.prior_for(FEATURES)
    assert (ours.mean[at], ours.sd[at]) == (-2.0, 1.0)
    assert np.delete(ours.mean, at).tolist() == np.delete(theirs.mean, at).tolist()
    assert own.effect_scales(WHOLE) == {**TABLE.effect_scales(WHOLE), "seed": 2.0}


def test_a_number_that_is_not_named_stays():
    [row] = [row for row in TABLE.changed({"size": {"sd": 2}}).rows if row.basis == "own"]
    assert (row.mean, row.sd) == (ROWS["size"].mean, 2.0)


def test_no_change_is_the_published_table():
    assert TABLE.changed({}) == TABLE.changed({"linear": {}, "effects": {"seed": {}}}) == TABLE


def test_a_changed_row_says_who_set_it_and_what_stood_there():
    by = {"time": {"mean": -3}, "size": {"sd": 1, "evidence": "{my} own crosses"}}
    time, size = (row for row in TABLE.changed(by).rows if row.basis == "own")
    assert time.evidence.startswith("Your setting, in place of -2, give or take 1.5, which came from: 244")
    assert time.evidence.endswith(ROWS["time"].evidence)
    assert size.evidence == "Your setting, in place of -0.6, give or take 0.75: {my} own crosses"


@pytest.mark.parametrize(
    ("by", "column", "told"),
    [
        ([], "priors", "This must be a table"),
        ({"sow": {}}, "priors.sow", "There is no prior called sow"),
        ({"centre": {"both": 0.4}}, "priors.centre", "There is no prior called centre"),
        ({"linear": -2}, "priors.linear", "This must be a table"),
        ({"linear": {"scale": 1}}, "priors.linear.scale", "There is no prior called scale"),
        *(
            ({"linear": {"mean": mean}}, "priors.linear.mean", "A mean must be a number")
            for mean in ("-2", True, np.nan, 21)
        ),
        *(
            ({"linear": {"sd": sd}}, "priors.linear.sd", "An sd or a scale must be a number above 0")
            for sd in (0, -1.0, np.inf)
        ),
        ({"linear": {"evidence": " "}}, "priors.linear.evidence", "The evidence must be text"),
        ({"effects": {"moon": {}}}, "priors.effects.moon", "There is no prior called moon"),
        ({"effects": {"seed": {"sd": 1}}}, "priors.effects.seed.sd", "There is no prior called sd"),
        ({"effects": {"seed": {"scale": 0}}}, "priors.effects.seed.scale", "An sd or a scale must"),
    ],
)
def test_a_wrong_change_is_told_with_its_place(by, column, told):
    with pytest.raises(BadInput) as caught:
        TABLE.changed(by)
    [fault] = caught.value.faults
    assert fault.place.column == column
    assert fault.what.startswith(told)


def test_every_fault_is_told_at_once_in_the_order_of_the_table():
    by = {"linear": {"sd": 0, "mean": []}, "both": 1, "sow": {}, "effects": {"seed": {"scale": ""}}}
    faults = TABLE.faults(by, "collection.toml")
    assert [fault.place.column for fault in faults] == [
        "priors.linear.sd", "priors.linear.mean", "priors.both", "priors.sow", "priors.effects.seed.scale",
    ]  # fmt: skip
    assert {fault.place.file for fault in faults} == {"collection.toml"}


def test_what_is_unknown_is_told_with_what_there_is():
    [fault] = TABLE.faults({"ratios": {}})
    assert all(kind in fault.advice for kind in ("intercept", *FEATURE_KINDS))


def test_the_fingerprint_follows_the_numbers_and_not_the_words():
    first = TABLE.fingerprint
    assert TABLE.changed({"size": {"evidence": "as published"}}).fingerprint == first
    assert TABLE.changed({"size": {"sd": 0.76}}).fingerprint != first
    assert TABLE.changed({"effects": {"seed": {"scale": 1.4}}}).fingerprint != first
