from __future__ import annotations

import json
from dataclasses import asdict, replace
from datetime import UTC, date, datetime

import numpy as np
import pytest
from sklearn.metrics import brier_score_loss, log_loss, roc_auc_score

from crosscompat.advice.forecast_record import base_rates, forecasts_due, track_record
from crosscompat.advice.predict import training_set_of
from crosscompat.advice.retrain import learn
from crosscompat.book.records import GivenForecast

READ = date(2026, 6, 1)
PAIRS = [("Aus bus", "Aus cus"), ("Aus cus", "Aus dus"), ("Aus dus", "Aus eus"), ("Aus eus", "Aus fus")]


def given(day, seed, pollen, mean, flowers=1, **more):
    return GivenForecast(day, "model", seed, pollen, flowers, mean, mean / 2, (1 + mean) / 2, **more)


@pytest.fixture
def scored(collection, cross):
    """The record of crosses on one flower each, a day apart, each forecast the day it was made."""

    def scored(chances, takes, earlier=(), as_of=READ):
        crosses, ledger = list(earlier), []
        for i, (chance, took) in enumerate(zip(chances, takes, strict=True)):
            day, pair = date(2024, 5, 1 + i), PAIRS[i % len(PAIRS)]
            crosses.append(cross(*pair, 1, int(took), day=day, cross=f"c{i}"))
            ledger.append(given(day, *pair, chance))
        made = collection(crosses)
        return track_record(made, ledger, training_set_of(made, as_of))

    return scored


def test_the_scores_are_those_of_the_forecasts_as_they_were_given(scored):
    """Judged by scikit-learn; before any cross was finished the grower's base rate was one half."""
    chances, takes = [0.9, 0.2, 0.6, 0.35, 0.5, 0.8, 0.1], [1, 0, 1, 1, 0, 1, 0]
    record = scored(chances, takes)
    assert (record.crosses, record.took, record.under_way) == (7, 4, 0)
    assert record.log_loss == pytest.approx(log_loss(takes, chances))
    assert record.brier == pytest.approx(brier_score_loss(takes, chances))
    assert record.auc == pytest.approx(roc_auc_score(takes, chances))
    assert record.base_brier == 0.25
    assert record.base_log_loss == pytest.approx(np.log(2))
    assert record.skill == pytest.approx(1 - record.brier / 0.25)
    assert record.skill_low < record.skill < record.skill_high <= 1


def test_the_base_rate_is_what_the_grower_knew_that_day(collection, cross):
    later = datetime(2024, 9, 1, tzinfo=UTC)
    crosses = [
        cross("Aus bus", "Aus cus", 1, 1, day=date(2022, 5, 1), cross="a"),
        cross("Aus bus", "Aus cus", 2, 1, day=date(2023, 5, 1), cross="b"),
        cross("Aus bus", "Aus cus", 1, 0, day=date(2023, 5, 2), cross="c", recorded_at=later),
        cross("Aus bus", "Aus cus", 1, 0, day=date(2024, 5, 1), cross="d"),
    ]
    made = collection(crosses)
    days = [date(2023, 4, 30), date(2023, 5, 1), date(2024, 4, 30), date(2024, 5, 2), date(2024, 9, 1), READ]
    assert base_rates(made, training_set_of(made, READ), days).tolist() == [
        0.5, 1.5 / 2, 2.5 / 3, 2.5 / 3, 2.5 / 4, 2.5 / 5,
    ]  # fmt: skip


@pytest.fixture
def poor(cross):
    """Ten earlier crosses of which one took, so that the base rate is 1.5 / 11."""
    return [cross(*PAIRS[i % 4], 1, int(i == 0), day=date(2022, 4, 1 + i), cross=f"p{i}") for i in range(10)]


def test_each_forecast_stands_beside_its_base_rate(scored, poor):
    record = scored([0.9, 0.2], [1, 0], poor)
    assert [(one.cross, one.mean, one.took) for one in record.forecasts] == [("c0", 0.9, True), ("c1", 0.2, False)]
    assert [one.base_rate for one in record.forecasts] == pytest.approx([1.5 / 11] * 2)
    first = record.forecasts[0]
    assert (first.seed_parent, first.pollen_parent, first.given, first.flowers) == (
        "Aus bus", "Aus cus", "2024-05-01", 1,
    )  # fmt: skip
    assert (first.low, first.high, first.under_way) == (0.45, 0.95, False)


ALTERNATING = [1, 0] * 10


@pytest.mark.parametrize(
    ("chances", "takes", "verdict"),
    [
        ([0.95 if took else 0.05 for took in ALTERNATING], ALTERNATING, "better"),
        ([0.05 if took else 0.95 for took in ALTERNATING], ALTERNATING, "worse"),
        ([0.5] * 20, ALTERNATING, "no_better"),
        ([0.55, 0.45, 0.55, 0.5, 0.4, 0.45, 0.5], [1, 0, 1, 0, 1, 0, 1], "perhaps"),
        ([0.7] * 6, [1] * 6, "alike"),
        ([0.7] * 6, [0] * 6, "alike"),
        ([0.9, 0.1, 0.9, 0.1], [1, 0, 1, 0], "few"),
        ([0.9, 0.1, 0.9, 0.1, 0.9], [1, 0, 1, 0, 1], "better"),
    ],
)
def test_the_verdict(scored, chances, takes, verdict):
    record = scored(chances, takes)
    assert record.verdict == verdict
    assert record.says[0].startswith(f"Of {len(takes)} crosses forecast in advance")
    assert f"{sum(takes)} gave a seedling" in record.says[0]
    if verdict in {"few", "alike"}:
        assert len(record.says) == 2
    else:
        assert f"Brier score {record.brier:.2f} against {record.base_brier:.2f}" in record.says[-1]


def test_where_all_outcomes_are_alike_no_skill_is_told(scored):
    record = scored([0.7] * 6, [1] * 6)
    assert (record.skill, record.skill_low, record.skill_high, record.auc) == (None, None, None, None)
    json.dumps(asdict(record), allow_nan=False)


def test_calibration_is_said_in_words(scored):
    takes = [1] * 8 + [0] * 8
    record = scored([0.3] * 8 + [0.7] * 8, takes)
    low, high = record.calibration
    assert (low.chance, low.crosses, low.took) == (pytest.approx(0.3), 8, 8)
    assert low.says == "Said about 1 in 3 (30% on average): 8 of 8 crosses gave a seedling, more than said."
    assert high.says.endswith("0 of 8 crosses gave a seedling, fewer than said.")
    assert scored([0.5] * 8, [1, 0] * 4).calibration[0].says.endswith("no clear difference.")


def test_every_cross_stands_behind_the_calibration(scored):
    rng = np.random.default_rng(5)
    chances = rng.random(28).round(3).tolist()
    takes = (rng.random(28) < 0.5).astype(int).tolist()
    record = scored(chances, takes)
    assert sum(entry.crosses for entry in record.calibration) == 28
    assert sum(entry.took for entry in record.calibration) == sum(takes) == record.took
    assert len(record.calibration) == 3


def test_a_forecast_given_while_the_cross_was_under_way_is_told_as_such(collection, cross):
    made = collection([cross("Aus bus", "Aus cus", 3, 1, day=date(2024, 5, 1), cross="1")])
    ledger = [given(date(2024, 5, 20), "Aus bus", "Aus cus", 0.4, 3, cross="1")]
    record = track_record(made, ledger, training_set_of(made, READ))
    assert (record.under_way, record.forecasts[0].under_way) == (1, True)
    assert record.says[1].startswith("1 forecast was made after pollination.")


def test_nothing_forecast_or_nothing_finished_is_no_record(collection, cross, book):
    made = collection(book)
    assert track_record(made, [], training_set_of(made, READ)) is None
    ledger = [given(date(2026, 4, 1), "Aus bus", "Aus cus", 0.4, 5)]
    later = collection([*book, cross("Aus bus", "Aus cus", 5, 5, day=date(2026, 5, 1))])
    assert track_record(later, ledger, training_set_of(later, READ)) is None


def test_a_season_is_forecast_made_and_scored(collection, book, cross):
    """The whole round: learn, write the forecasts, make the crosses, and score what had been said."""
    wanted = [("Aus bus", "Aus cus"), ("Aus dus", "Aus fus"), ("Aus eus", "Aus fus")]
    before = collection(book, wanted=wanted)
    _, saved = learn(before, as_of=date(2025, 11, 1))
    ledger = forecasts_due(before, saved.model, saved.fingerprint, date(2025, 11, 1))
    season = [
        cross("Aus bus", "Aus cus", 5, 3, day=date(2026, 5, 1), cross="26-01"),
        cross("Aus dus", "Aus fus", 5, 0, day=date(2026, 5, 2), cross="26-02"),
        cross("Aus eus", "Aus fus", 4, 2, day=date(2026, 5, 3), cross="26-03"),  # nobody forecast four flowers
    ]
    after = replace(before, crosses=(*before.crosses, *season))
    record = track_record(after, ledger, training_set_of(after, date(2027, 11, 1)))
    said = {(line.seed_parent, line.flowers): line.mean for line in ledger}
    assert [(one.cross, one.mean, one.took) for one in record.forecasts] == [
        ("26-01", said["Aus bus", 5], True),
        ("26-02", said["Aus dus", 5], False),
    ]
    assert record.forecasts[0].base_rate == pytest.approx(6.5 / 13)  # six of the twelve crosses of the book took
    assert record.brier < record.base_brier
