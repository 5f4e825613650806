from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from crosscompat.advice.predict import chances_of, training_set_of
from crosscompat.advice.retrain import learn
from crosscompat.advice.score import FORECASTS, blind_forecasts, gave_a_seedling
from crosscompat.book.current_plants import Plant
from crosscompat.model.pairings import Parents
from crosscompat.model.scoring import Fold, by_pair, by_season, by_species
from crosscompat.phylogeny.newick import parse_newick

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
        took = [gave_a_seedling(evidence)[at] for at in fold.train]
        assert found.chances["base_rate"] == pytest.approx((sum(took) + 0.5) / (len(took) + 1))


def test_distance_alone_reads_no_trait_and_traits_alone_no_distance(collection, records, traits):
    reversed_2n = tuple(
        replace(column, values=column.values[::-1]) if column.name == "2n" else column for column in traits.columns
    )
    moved = parse_newick("(((Aus_bus:3,Aus_eus:3):1,Aus_dus:4)Austera:2,(Aus_cus:0.5,Aus_fus:0.5):5.5);", unit="My")
    folds = ways_of(training_set_of(collection(records), DAY))["pairs"][:2]
    plain, unlike, elsewhere = (
        blind_of(made, folds).chances
        for made in (
            collection(records),
            collection(records, traits=replace(traits, columns=reversed_2n)),
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
    found = blind_of(collection(more), [Fold(np.array([10, 11]), np.arange(10))])
    for name in ("crosscompat", "distance", "traits"):
        one, nine = found.chances[name]
        assert one < nine


def test_the_same_crosses_are_learned_from_once(collection, records):
    made, seen = collection(records), []
    evidence = training_set_of(made, DAY)
    folds = by_pair(evidence.seed, evidence.pollen)[:2]

    def work(function, jobs):
        seen.extend(jobs)
        return map(function, jobs)

    found = blind_forecasts(made, evidence, {"once": folds, "again": folds[::-1]}, work)
    assert [len(job.asked) for job in seen] == [2, 2]
    assert sorted(found["once"].chances["crosscompat"]) == sorted(found["again"].chances["crosscompat"])


def test_nothing_to_learn_from_is_the_published_prior(collection, records):
    found = blind_of(collection(records), [Fold(np.arange(10), np.arange(0))]).chances
    assert found["base_rate"] == pytest.approx(0.5)
    assert all(((said > 0) & (said < 1)).all() for said in found.values())
