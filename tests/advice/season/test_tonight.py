"""Which plants are in flower, and what pollen they get."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crosscompat.advice.season.mating import opening_of
from crosscompat.advice.season.pollination_rules import Visit, VisitParent, risks
from crosscompat.advice.season.tonight import tonight, worth
from crosscompat.book import records
from crosscompat.book.current_plants import Plant, Sighting
from crosscompat.book.store import open_store
from crosscompat.collection.settings import Settings

MAY = date(2026, 5, 10)
ONE_YEAR = [Sighting(date(2025, 5, day)) for day in (8, 9, 12)]


@pytest.mark.parametrize(
    ("sightings", "months", "state", "how"),
    [
        ([Sighting(date(2026, 5, 8), 3)], (), "open", "seen"),
        ([Sighting(date(2026, 5, 8))], (9,), "open", "seen"),
        ([Sighting(date(2026, 5, 8), 0)], (5,), "closed", "seen"),
        ([Sighting(date(2026, 5, 2), 3)], (9,), "closed", "species"),  # more than a week ago
        ([Sighting(date(2025, 5, 10), 3)], (), "unknown", ""),  # a single sighting is no season
        ([Sighting(date(2026, 5, 12), 3)], (), "unknown", ""),  # not yet seen on the day asked about
        (ONE_YEAR, (9,), "open", "own years"),
        ([Sighting(each.date + timedelta(days=30)) for each in ONE_YEAR], (5,), "soon", "own years"),
        ([], (5, 6), "open", "species"),
        ([], (6,), "soon", "species"),
        ([], (9,), "closed", "species"),
    ],
)
def test_a_look_of_this_week_comes_first_then_own_years_then_the_species(sightings, months, state, how):
    opening = opening_of(sightings, months, MAY)
    assert (opening.state, opening.how) == (state, how)


def test_the_day_on_which_it_opens_is_the_next():
    assert opening_of([], (1, 12), MAY).opens == "2026-12-01"
    assert "December to January" in opening_of([], (1, 12), MAY).says
    assert opening_of([], (4,), MAY).opens == "2027-04-01"
    assert opening_of(ONE_YEAR, (), date(2026, 5, 13)).opens == "2027-05-08"


@given(st.floats(0, 1), st.integers(1, 5), st.integers(0, 3))
def test_what_is_wanted_more_or_has_not_taken_is_worth_more(chance, want, took):
    assert worth(chance, want, wished=True, took=0) >= worth(chance, want, wished=True, took=took)
    assert worth(chance, want, wished=True, took=took) >= worth(chance, None, wished=False, took=took)


@pytest.fixture
def greenhouse(collection):
    """Five plants, open all of May but the last; a wish either way round."""
    plants = [
        Plant("B1", "Aus bus", "B", sex="female"), Plant("B2", "Aus bus", "B2", sex="male"),
        Plant("C1", "Aus cus", "C"), Plant("C2", "Aus cus", "C"), Plant("D1", "Aus dus", "D"),
        Plant("X", "Aus cus", "X", died=date(2026, 1, 1)), Plant("E1", "Aus eus", "E"),
    ]  # fmt: skip
    return collection([], plants, [("Aus bus", "Aus cus", 5), ("Aus cus", "Aus bus", 2)])


def asked(made, day=MAY, lots=()):
    store = open_store("sqlite://")
    with store.writing("bench") as pen:
        kept = {
            name: records.Plant(name=name, received_as=plant.species) for name, plant in made.plants.by_name.items()
        }
        pen.add(*kept.values(), *lots)
    with store.reading() as page:
        return tonight(made, page, day, flowers=3)


def test_sexes_clones_and_the_dead_are_minded(greenhouse):
    answer = asked(greenhouse)
    pairs = {
        (mother.seed_plant, plant) for mother in answer.mothers for father in mother.fathers for plant in father.plants
    }
    assert pairs == {("B1", "C1"), ("B1", "C2"), ("C1", "B2"), ("C2", "B2")}
    assert answer.mothers[0].seed_plant == "B1"  # wanted 5 of 5
    assert answer.mothers[0].fathers[0].plants == ["C1", "C2"]
    assert (answer.closed, answer.unknown) == (["D1"], ["E1"])


def test_pollen_is_kept_for_what_is_wanted_and_opens_within_two_months(greenhouse):
    assert asked(greenhouse).keep == []
    keep = asked(greenhouse, date(2026, 4, 10)).keep
    assert [(each.for_plant, each.opens, each.plants) for each in keep] == [
        ("C1", "2026-05-01", ["B2"]),
        ("C2", "2026-05-01", ["B2"]),
    ]
    assert "freeze" in keep[0].says
    assert "refrigerator" in asked(greenhouse, date(2026, 4, 20)).keep[0].says
    assert "room" in asked(greenhouse, date(2026, 4, 29)).keep[0].says


@pytest.mark.parametrize(("kept", "days", "offered"), [
    ("freezer", 270, True), ("freezer", 271, False), ("Fridge, with silica gel", 30, True), ("fridge", 31, False),
    ("room", 3, True), ("at room temperature", 4, False), ("a drawer", 900, True), (None, -1, False),
])  # fmt: skip
def test_stored_pollen_is_offered_while_it_is_good(greenhouse, kept, days, offered):
    lot = records.PollenLot(name="L1", species="Aus dus", collected=MAY - timedelta(days=days), kept=kept)
    answer = asked(greenhouse, lots=[lot])
    stored = [father for mother in answer.mothers for father in mother.fathers if father.lot == "L1"]
    assert bool(stored) == offered
    assert {father.pollen_parent for father in stored} <= {"Aus dus"}
    assert all(father.says for father in stored)


@pytest.mark.parametrize("kept", ["freezer", "Fridge, with silica gel", "room"])
@pytest.mark.parametrize("days", [3, 4, 30, 31, 270, 271])
def test_what_is_offered_is_what_the_brush_is_not_warned_of(greenhouse, kept, days):
    lot = records.PollenLot(name="L1", species="Aus dus", collected=MAY - timedelta(days=days), kept=kept)
    made = records.Pollination(cross="", date=MAY, pollen_kind="one", isolation="bag")
    visit = Visit(made=made, seed=VisitParent("B1", "Aus bus"), pollen=(VisitParent("D1", "Aus dus"),), lot=lot)
    assert ("L1" in str(asked(greenhouse, lots=[lot]))) == (not risks(visit))


def test_pollen_whose_genus_is_cut_short_is_of_the_seed_plants_genus(greenhouse):
    lot = records.PollenLot(name="L1", species="A. dus", collected=MAY, kept="freezer")
    assert "L1" in str(asked(greenhouse, lots=[lot]))


def test_a_test_makes_an_old_lot_good_again(greenhouse):
    old = records.PollenLot(name="L1", species="Aus dus", collected=MAY - timedelta(days=500), kept="freezer")
    assert old.name not in str(asked(greenhouse, lots=[old]))
    tested = asked(greenhouse, lots=[replace(old, tested=MAY - timedelta(days=70))])
    assert "good for 200 more days at most" in str(tested)


def test_pollen_of_a_plant_that_gives_none_is_not_offered(greenhouse):
    lot = records.PollenLot(name="L1", species="B1", collected=MAY, kept="freezer")
    assert "L1" not in str(asked(greenhouse, lots=[lot]))


def test_in_the_south_the_seasons_turn(greenhouse, collection):
    turned = collection(plants=greenhouse.plants.by_name.values(), settings=Settings(hemisphere="south"))
    assert asked(turned).mothers == []
    assert {mother.seed_plant for mother in asked(turned, date(2026, 11, 10)).mothers} == {"B1", "C1", "C2"}
