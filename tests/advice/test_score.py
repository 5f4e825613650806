from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from sklearn import metrics

from crosscompat.advice import score as score_room
from crosscompat.advice.predict import chances_of, training_set_of
from crosscompat.advice.retrain import learn
from crosscompat.advice.score import FORECASTS, WAYS, blind_forecasts, score
from crosscompat.book.crosses import Cross
from crosscompat.book.current_plants import Plant
from crosscompat.collection.settings import Settings
from crosscompat.ground.errors import WrongUse
from crosscompat.model.pairings import Parents
from crosscompat.model.scoring import Fold, ForecastScore, by_pair, by_season, by_species, verdict_on
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
        took = evidence.outcomes.fruitful[blind.at]
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
    assert verdict_on(ours) == verdict
    for brier, as_well in ((0.1, True), (0.3, False)):
        alone = [ours, replace(ours, forecast="distance", brier=brier), replace(ours, forecast="base_rate")]
        words = score_room._in_words("pairs", verdict, alone, 7, np.ones(9))
        assert says in words
        assert words.startswith("For a pair not crossed yet ")
        assert ("The distance alone did as well" in words) == (as_well and verdict != "alike")


DAY = date(2026, 1, 1)
PLANTS = [Plant("B1", "Aus bus", "B"), Plant("B2", "Aus bus", "B"), Plant("C1", "Aus cus", "C1")]
CLONES = {"B1": "B", "B2": "B", "C1": "C1", None: None}


@pytest.fixture
def records(cross):
    """Crosses of six pairs in three seasons."""
    rows = [
        ("Aus bus", "Aus cus", 5, 4, 2022, "B1"), ("Aus cus", "Aus bus", 2, 0, 2022, "C1"),
        ("Aus bus", "Aus dus", 3, 1, 2022, "B2"), ("Aus eus", "Aus fus", 4, 4, 2023, None),
        ("Aus bus", "Aus eus", 6, 0, 2023, "B2"), ("Aus fus", "Aus cus", 3, 0, 2023, None),
        ("Aus cus", "Aus bus", 4, 3, 2024, "C1"), ("Aus eus", "Aus bus", 2, 1, 2024, None),
        ("Aus dus", "Aus cus", 1, 1, 2024, None), ("Aus dus", "Aus cus", 8, 0, 2024, None),
    ]  # fmt: skip
    return [cross(*row[:4], day=date(row[4], 5, 1), seed_plant=row[5]) for row in rows]


@pytest.fixture
def with_some(records, cross):
    """One more, of which is known only that some of three flowers gave a seedling."""
    return [*records, cross("Aus fus", "Aus eus", units=3, seedlings=7, day=date(2024, 6, 1))]


def ways_of(evidence):
    return {
        "pairs": by_pair(evidence.seed, evidence.pollen),
        "species": by_species(evidence.seed, evidence.pollen),
        "seasons": by_season([cross.date.year for cross in evidence.crosses]),
    }


def blind_of(made, way, evidence=None):
    """What is said of the crosses held out in one of the ways, or fold by fold as given."""
    evidence = evidence or training_set_of(made, DAY)
    folds = ways_of(evidence)[way] if isinstance(way, str) else way
    return blind_forecasts(made, evidence, {"one": folds})["one"]


def flipped(crosses, chosen):
    """The same crosses, some of them with the opposite outcome."""
    return [replace(cross, took=0 if cross.took else cross.tried) if chosen(cross) else cross for cross in crosses]


def of(*species):
    return lambda cross: {cross.seed_parent, cross.pollen_parent} >= set(species)


def since(year):
    return lambda cross: cross.date.year >= year


def within(year):
    return lambda cross: cross.date.year == year


@pytest.mark.parametrize(
    ("way", "turned_round", "own"),
    [
        ("pairs", of("Aus bus", "Aus cus"), of("Aus bus", "Aus cus")),
        ("pairs", of("Aus dus", "Aus cus"), of("Aus dus", "Aus cus")),
        ("seasons", since(2024), within(2024)),
        ("seasons", since(2023), within(2023)),
    ],
    ids=["pair both ways", "pair one way", "last season", "season before"],
)
def test_what_is_held_out_changes_no_forecast_of_it(collection, records, way, turned_round, own):
    """The very outcomes that are forecast are turned round, and all later ones: others may change, these never."""
    told = blind_of(collection(records, PLANTS), way)
    turned = blind_of(collection(flipped(records, turned_round), PLANTS), way)
    assert (told.at == turned.at).all()
    held = np.array([own(records[at]) for at in told.at])
    assert held.any()
    for name in FORECASTS:
        assert (told.chances[name][held] == turned.chances[name][held]).all()
    if way == "pairs":
        assert (told.chances["crosscompat"][~held] != turned.chances["crosscompat"][~held]).all()


@pytest.mark.parametrize("species", ["Aus bus", "Aus cus", "Aus eus"])
def test_a_species_held_out_is_forecast_as_if_none_of_its_crosses_had_been(collection, records, species):
    straight, turned = (collection(rows, PLANTS) for rows in (records, flipped(records, of(species))))
    folds = ways_of(training_set_of(straight, DAY))["species"]
    [fold] = [fold for fold in folds if all(of(species)(records[at]) for at in fold.held) and len(fold.held) > 1]
    told, after = blind_of(straight, [fold]), blind_of(turned, [fold])
    for name in FORECASTS:
        assert (told.chances[name] == after.chances[name]).all()


def test_a_forecast_is_that_of_a_grower_who_made_the_other_crosses_only(collection, with_some):
    """Taught through the usual door on the crosses learned from alone, the reference and all else of its own."""
    made = collection(with_some, PLANTS)
    evidence = training_set_of(made, DAY)
    units = [cross.tried or cross.units for cross in with_some]
    for fold in (folds[i] for folds in ways_of(evidence).values() for i in (0, -1)):
        found = blind_of(made, [fold])
        other = collection([with_some[at] for at in fold.train], PLANTS)
        parents = Parents(
            [evidence.seed[at] for at in fold.held],
            [evidence.pollen[at] for at in fold.held],
            [CLONES[with_some[at].seed_plant] for at in fold.held],
        )
        model = learn(other, as_of=DAY)[1].model
        expected = chances_of(other, model, parents, [units[at] for at in fold.held]).mean
        assert found.chances["crosscompat"] == pytest.approx(expected, abs=1e-12)
        took = [evidence.outcomes.fruitful[at] for at in fold.train]
        assert found.chances["base_rate"] == pytest.approx((sum(took) + 0.5) / (len(took) + 1))


def test_distance_alone_reads_no_trait_and_traits_alone_no_distance(collection, records, traits):
    other_2n = tuple(
        replace(column, values=(22, 22, 44, 44)) if column.name == "2n" else column for column in traits.columns
    )
    moved = parse_newick("(((Aus_bus:3,Aus_eus:3):1,Aus_dus:4)Austera:2,(Aus_cus:0.5,Aus_fus:0.5):5.5);", unit="My")
    folds = ways_of(training_set_of(collection(records), DAY))["pairs"][:2]
    plain, unlike, elsewhere = (
        blind_of(made, folds).chances
        for made in (
            collection(records),
            collection(records, traits=replace(traits, columns=other_2n)),
            collection(records, distances=moved),
        )
    )
    assert (plain["distance"] == unlike["distance"]).all()
    assert (plain["traits"] != unlike["traits"]).any()
    assert (plain["traits"] == elsewhere["traits"]).all()
    assert (plain["distance"] != elsewhere["distance"]).any()


def test_without_traits_nothing_is_said_of_them(collection, records):
    said = blind_of(collection(records, traits=None), "seasons").chances
    assert list(said) == ["crosscompat", "distance", "base_rate"]


def test_a_cross_whose_outcome_is_open_is_neither_scored_nor_counted(collection, records):
    made = collection(records)
    evidence = training_set_of(made, DAY)
    known = evidence.outcomes.known.copy()
    known[0] = False
    open_yet = replace(evidence, outcomes=replace(evidence.outcomes, known=known))
    found = blind_of(made, [Fold(np.arange(10), np.arange(4))], open_yet)
    assert found.at.tolist() == list(range(1, 10))
    assert found.chances["base_rate"] == pytest.approx((2 + 0.5) / (3 + 1))
    assert blind_of(made, [Fold(np.arange(1), np.arange(4))], open_yet).folds == 0


def test_more_flowers_make_a_seedling_likelier(collection, records, cross):
    more = [*records, cross("Aus bus", "Aus fus", 1, 0), cross("Aus bus", "Aus fus", 9, 0)]
    one, nine = blind_of(collection(more), [Fold(np.array([10, 11]), np.arange(10))]).chances["crosscompat"]
    assert one < nine


def test_the_same_crosses_are_learned_from_once(collection, records):
    made, seen = collection(records), []
    evidence = training_set_of(made, DAY)
    folds = by_pair(evidence.seed, evidence.pollen)[:2]

    def work(function, jobs):
        seen.extend(jobs)
        return map(function, jobs)

    found = blind_forecasts(made, evidence, {"once": folds, "again": folds[::-1]}, work)
    assert [len(job.held) for job in seen] == [2, 2]
    assert sorted(found["once"].chances["crosscompat"]) == sorted(found["again"].chances["crosscompat"])


def test_nothing_to_learn_from_is_the_published_prior(collection, records):
    found = blind_of(collection(records), [Fold(np.arange(10), np.arange(0))]).chances
    assert found["base_rate"] == pytest.approx(0.5)
    assert all(((said > 0) & (said < 1)).all() for said in found.values())
