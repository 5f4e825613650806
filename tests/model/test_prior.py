from __future__ import annotations

import numpy as np
import pytest

from crosscompat.model.prior import centre_of, effect_rows, effect_scales, prior_for, prior_rows, spread_of
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


def test_distance_speaks_against_a_pairing_but_zero_is_possible():
    """Weak in two genera of three (Moyle, Olson & Tiffin 2004, Evolution 58:1195-1208)."""
    for (_, coefficient), row in ROWS.items():
        if coefficient == "distance":
            assert row.mean < 0
            assert row.mean + row.sd > 0


def test_ploidy_is_a_slope_and_no_wall():
    """Crosses between 2n of unlike size are hindered, and some succeed: zero is within two standard deviations."""
    for kind in ("lower", "higher"):
        row = ROWS["plain", kind]
        assert row.mean < 0 < row.mean + 2 * row.sd


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


def test_distance_is_steeper_once_there_is_seed():
    """Jewell et al. 2012, Evolution, doi 10.1111/j.1558-5646.2012.01607.x."""
    early, late = (
        [ROWS[stage, "distance"].mean for stage in stages] for stages in (("set", "hold"), ("fill", "germinate"))
    )
    assert max(late) < min(early)


def test_chromosomes_decide_at_the_filling_of_seed():
    """Poinsettia, fewer than 1 in 100 viable seedlings though pods swell (Milbocker & Sink 1969, from memory)."""
    for kind in ("lower", "higher"):
        assert ROWS["fill", kind].mean < -1 < -0.5 < ROWS["set", kind].mean < 0


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
