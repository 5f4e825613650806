from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from sklearn import metrics

from crosscompat.advice import score as score_room
from crosscompat.advice.predict import training_set_of
from crosscompat.advice.score import WAYS, ForecastScore, blind_forecasts, gave_a_seedling, score
from crosscompat.book.crosses import Cross
from crosscompat.collection.settings import Settings
from crosscompat.ground.errors import WrongUse
from crosscompat.model.scoring import by_species
from crosscompat.phylogeny.newick import parse_newick

DAY = date(2026, 1, 1)
TWELVE = parse_newick(
    "((((A_a:1,A_b:1):1,A_c:2):1,((A_d:1,A_e:1):1,A_f:2):1):3,(((A_g:1,A_h:1):1,A_i:2):1,((A_j:1,A_k:1):1,A_l:2):1):3);",
    unit="My",
)


@pytest.fixture
def nursery(collection):
    """Build a collection of so many crosses of twelve species over three seasons; a rule says which of them take."""

    def build(rule, crosses=40, seed=0, **more):
        rng = np.random.default_rng(seed)
        made = []
        for i in range(crosses):
            mother, father = (TWELVE.tips[at] for at in rng.choice(12, 2, replace=False))
            tried = int(rng.integers(2, 6))
            took = tried if rule(TWELVE.patristic(mother, father), rng) else 0
            made.append(Cross(date(2022 + i % 3, 5, 1), mother, father, tried=tried, took=took))
        return collection(made, distances=TWELVE, traits=None, **more)

    return build


def near_takes(distance, rng):
    return distance < 8


def a_coin(distance, rng):
    return rng.random() < 0.5


def whole(way):
    return way.forecasts[0]


@pytest.fixture
def carded(collection, book):
    """Twelve crosses in four seasons, their scorecard, and the collection."""
    made = collection([replace(cross, date=date(2020 + i % 4, 5, 1)) for i, cross in enumerate(book)])
    return made, score(made, as_of=DAY)


def test_the_numbers_are_those_of_scikit_learn(carded):
    """Every forecast of every way, held against the library's own scores of the same chances."""
    made, card = carded
    evidence = training_set_of(made, DAY)
    folds = score_room._folds(made, evidence, WAYS)
    for way, blind in zip(card.ways, blind_forecasts(made, evidence, folds).values(), strict=True):
        took = gave_a_seedling(evidence)[blind.at]
        twice = [evidence.seed[at] != evidence.pollen[at] and way.way == "species" for at in blind.at]
        weight = np.where(twice, 0.5, 1.0)
        base = metrics.brier_score_loss(took, blind.chances["base_rate"], sample_weight=weight, pos_label=1)
        assert [entry.forecast for entry in way.forecasts] == list(blind.chances)
        for entry in way.forecasts:
            said = blind.chances[entry.forecast]
            brier = metrics.brier_score_loss(took, said, sample_weight=weight, pos_label=1)
            assert entry.log_loss == pytest.approx(metrics.log_loss(took, said, sample_weight=weight))
            assert entry.brier == pytest.approx(brier)
            assert entry.skill == pytest.approx(1 - brier / base, abs=1e-12)
            if entry.forecast == "base_rate":
                assert (entry.auc, entry.skill_low, entry.skill_high) == (None, None, None)
            else:
                assert entry.auc == pytest.approx(metrics.roc_auc_score(took, said, sample_weight=weight))
                assert entry.skill_low < entry.skill < entry.skill_high or entry.skill_high == 1


def test_what_was_held_out_is_told(carded):
    made, card = carded
    assert (card.as_of, card.crosses, card.took, card.pairs, card.invented) == ("2026-01-01", 12, 6, 5, False)
    assert [(way.way, way.crosses, way.pairs, way.folds) for way in card.ways] == [
        ("pairs", 12, 5, 5), ("species", 12, 5, 5), ("seasons", 9, 5, 3),
    ]  # fmt: skip
    for way in card.ways:
        assert sum(entry.crosses for entry in way.calibration) == pytest.approx(way.crosses)
        assert sum(entry.crosses * entry.took for entry in way.calibration) == pytest.approx(
            6 if way.crosses == 12 else sum(cross.took > 0 for cross in made.crosses if cross.date.year > 2020)
        )
    assert card.says.startswith("12 finished crosses of 5 pairs, 6 with a seedling")


def test_where_distance_decides_everything_the_chances_are_worth_much(nursery):
    """Common practice, no source: a forecast that may read the only cause there is must beat the base rate by far."""
    made = nursery(near_takes)
    for way in score(made, as_of=DAY, ways=["pairs", "seasons"]).ways:
        assert way.verdict == "better"
        assert whole(way).skill > 0.4
        assert whole(way).auc > 0.9
        assert way.forecasts[1].skill > 0.4
        assert "beat your own average" in way.says


def test_where_nothing_decides_the_chances_are_worth_nothing(nursery):
    found = [score(nursery(a_coin, seed=seed), as_of=DAY, ways=["seasons"]).ways[0] for seed in range(10)]
    assert np.mean([whole(way).skill for way in found]) < 0.05
    assert sum(way.verdict == "better" for way in found) == 0


def test_two_runs_are_equal_and_the_order_of_the_records_does_not_matter(carded):
    made, card = carded
    assert score(made, as_of=DAY) == card
    turned = score(replace(made, crosses=made.crosses[::-1]), as_of=DAY)
    for way, other in zip(card.ways, turned.ways, strict=True):
        for entry, same in zip(way.forecasts, other.forecasts, strict=True):
            assert same.brier == pytest.approx(entry.brier, abs=1e-6)
            assert same.log_loss == pytest.approx(entry.log_loss, abs=1e-6)
        assert way.says == other.says


def test_ways_can_be_chosen_and_stand_in_one_order(carded):
    made, card = carded
    chosen = score(made, as_of=DAY, ways=["seasons", "pairs"])
    assert chosen.ways == [card.ways[0], card.ways[2]]
    with pytest.raises(WrongUse, match="pairs, species, seasons"):
        score(made, as_of=DAY, ways=["years"])


@pytest.mark.parametrize(
    ("rows", "crosses", "pairs"),
    [
        ([], 0, 0),
        ([("Aus bus", "Aus cus", 3, 1), ("Aus bus", "Aus dus", 3, 0)] * 2, 4, 2),
        ([("Aus bus", "Aus cus", 3, 1), ("Aus cus", "Aus bus", 3, 0)] * 9, 18, 1),
    ],
)
def test_too_few_crosses_are_not_scored_and_it_says_why(collection, cross, rows, crosses, pairs):
    card = score(collection([cross(*row) for row in rows]), as_of=DAY)
    assert (card.crosses, card.pairs, card.ways) == (crosses, pairs, [])
    assert "at least 5 crosses of two pairs" in card.says


def test_five_crosses_of_two_pairs_are_enough(collection, cross):
    rows = [("Aus bus", "Aus cus", 3, 1), ("Aus bus", "Aus dus", 3, 0)]
    card = score(collection([cross(*rows[i % 2]) for i in range(5)]), as_of=DAY, ways=["pairs"])
    assert card.ways[0].crosses == 5


def test_crosses_of_one_season_cannot_be_forecast_from_seasons_before(collection, book):
    [way] = score(collection(book), as_of=DAY, ways=["seasons"]).ways
    assert (way.crosses, way.pairs, way.folds, way.forecasts, way.calibration, way.verdict) == (
        0,
        0,
        0,
        [],
        [],
        "nothing",
    )
    assert "one season" in way.says


def test_a_southern_season_runs_over_the_new_year(collection, book):
    days = [date(2022, 8, 1), date(2023, 2, 1), date(2023, 8, 1)]
    rows = [replace(cross, date=days[i % 3]) for i, cross in enumerate(book)]
    south = collection(rows, settings=Settings(hemisphere="south", season_start="07-01"))
    north = collection(rows)
    assert [score(made, as_of=DAY, ways=["seasons"]).ways[0].crosses for made in (south, north)] == [4, 8]


@pytest.mark.parametrize(("took", "word"), [(3, "all of the crosses"), (0, "none of the crosses")])
def test_outcomes_all_alike_tell_nothing(collection, book, took, word):
    card = score(collection([replace(cross, took=took) for cross in book]), as_of=DAY, ways=["pairs"])
    [way] = card.ways
    assert way.verdict == "alike"
    assert word in way.says
    assert "did as well" not in way.says
    assert all((entry.skill, entry.skill_low, entry.auc) == (None, None, None) for entry in way.forecasts)


def test_doubtful_evidence_weighs_less(collection, book):
    made = collection(book)
    evidence = training_set_of(made, DAY)
    doubted = replace(evidence, weight=np.where(np.arange(12) < 3, 0.5, 1.0))
    folds = {"species": by_species(evidence.seed, evidence.pollen)}
    blind = blind_forecasts(made, doubted, folds)["species"]
    way = score_room._way_score(doubted, np.zeros(12, dtype=np.int64), "species", blind)
    assert sum(entry.crosses for entry in way.calibration) == pytest.approx(10.5)
    assert way.crosses == 12


@pytest.mark.parametrize(
    ("skill", "low", "high", "verdict", "says"),
    [
        (0.3, 0.1, 0.5, "better", "use them, within"),
        (0.3, -0.1, 0.5, "perhaps", "7 pairs are too few to be sure"),
        (0.3, None, None, "perhaps", "use them with care"),
        (0.0, -0.1, 0.1, "no_better", "do not rely on them yet"),
        (-0.3, -0.7, 0.1, "no_better", "no better"),
        (-0.3, None, None, "no_better", "no better"),
        (-0.3, -0.5, -0.1, "worse", "worse than your own average"),
        (None, None, None, "alike", "too early to say"),
    ],
)
def test_the_verdict_goes_by_the_interval_of_the_skill(skill, low, high, verdict, says):
    ours = ForecastScore("crosscompat", 0.5, 0.2, skill, low, high, 0.7)
    assert score_room._verdict(ours) == verdict
    for brier, as_well in ((0.1, True), (0.3, False)):
        alone = [ours, replace(ours, forecast="distance", brier=brier), replace(ours, forecast="base_rate")]
        words = score_room._in_words("pairs", verdict, alone, 7, np.ones(9))
        assert says in words
        assert words.startswith("For a pair not crossed yet ")
        assert ("The distance alone did as well" in words) == (as_well and verdict != "alike")
