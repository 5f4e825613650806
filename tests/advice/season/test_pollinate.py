from __future__ import annotations

from datetime import date

import pytest

from crosscompat.advice.forecast_record import PRIOR, forecast_now
from crosscompat.advice.season.pollinate import pair_of
from crosscompat.advice.season.pollination_rules import KnownPlants, misspelt
from crosscompat.book import records
from crosscompat.book.current_plants import Plant, Sighting

B1, B2, C1, S1 = (
    Plant("B1", "Aus bus", "B", self_fertile=True), Plant("B2", "Aus bus", "B2"),
    Plant("C1", "Aus cf. cus", "C1"), Plant("S1", "Aus sp.", "S1"),
)  # fmt: skip
RECORDS = {plant.plant: records.Plant(name=plant.plant, place="house 1") for plant in (B1, B2, C1, S1)}
SEEN = {RECORDS["B1"].id: [Sighting(date(2025, 5, day), flowers) for day, flowers in ((1, 2), (4, None), (9, 0))]}


@pytest.fixture
def ours(collection):
    return collection(plants=[B1, B2, C1, S1])


def find(ours, text, genus=None):
    return KnownPlants(ours, RECORDS, SEEN).find(text, genus)


@pytest.mark.parametrize(
    ("text", "plant", "species", "label"),
    [
        ("B1", "B1", "Aus bus", "Aus_bus"),
        (" B1 ", "B1", "Aus bus", "Aus_bus"),
        ("C1", "C1", "Aus cus", "Aus_cus"),
        ("S1", "S1", "Aus sp.", None),
        ("Aus dus", None, "Aus dus", "Aus_dus"),
        ("A. dus", None, "Aus dus", "Aus_dus"),
        ("Aus sp. QX 12", None, "Aus sp. QX 12", None),
        ("A. aff. dus", None, "Aus aff. dus", None),
    ],
)
def test_a_parent_is_a_plant_a_species_or_what_was_written(ours, text, plant, species, label):
    found = find(ours, text, "Aus")
    assert (found.plant and found.plant.plant, found.species, found.unknown) == (plant, species, "")
    assert (found.parent and found.parent.label) == label
    assert (found.id, found.written) == ((RECORDS[plant].id, None) if plant else (None, species))


@pytest.mark.parametrize("text", ["b9", "Aus nus", "B 3"])
def test_what_is_known_nowhere_is_told_with_the_nearest(ours, text):
    found = find(ours, text)
    assert (found.plant, found.parent, found.species) == (None, None, text)
    assert "Aus" in found.unknown or "B1" in found.unknown


def test_what_the_rules_ask_of_a_plant(ours):
    side = find(ours, "B1")
    assert (side.name, side.plant, side.place, side.self_fertile) == ("B1", B1, "house 1", True)
    assert (side.window.first, side.window.last, side.window.days) == ("05-01", "05-04", 2)
    species = find(ours, "Aus dus")
    assert (species.plant, species.window, species.self_fertile) == (None, None, None)


def sides(ours, *texts):
    return [find(ours, text) for text in texts]


@pytest.mark.parametrize(
    ("seed", "pollen", "plants"),
    [
        ("B1", ["C1"], ("B1", "C1")),
        ("B1", ["Aus cus"], ("B1", None)),
        ("C1", ["B1", "B2"], ("C1", None)),
        ("C1", ["B1", "Aus bus"], ("C1", None)),
    ],
)
def test_pollen_of_one_species_makes_a_pairing(ours, seed, pollen, plants):
    mother, *fathers = sides(ours, seed, *pollen)
    both = pair_of(mother, fathers)
    assert tuple(side.plant and side.plant.plant for side in both) == plants


@pytest.mark.parametrize(("seed", "pollen"), [("B1", ["C1", "Aus dus"]), ("B1", []), ("S1", ["B1"]), ("B1", ["S1"])])
def test_pollen_of_more_species_or_of_none_makes_no_pairing(ours, seed, pollen):
    mother, *fathers = sides(ours, seed, *pollen)
    assert pair_of(mother, fathers) is None


def test_more_flowers_have_a_better_chance_and_the_prior_says_so(ours):
    mother, father = sides(ours, "B1", "C1")
    pair = pair_of(mother, [father])
    few, many = (forecast_now(ours, pair, n) for n in (1, 9))
    assert few.model == many.model == PRIOR
    assert 0 < few.chance.mean < many.chance.mean < 1
    assert {one.kind for one in few.cautions} <= {"sex", "ploidy", "flowering"}
    line = many.record(ours, pair, "the cross", date(2026, 5, 1))
    assert (line.cross, line.flowers, line.seed_plant, line.pollen_plant) == ("the cross", 9, "B1", "C1")
    assert line.mean == float(f"{many.chance.mean:.6g}")


@pytest.mark.parametrize(
    ("text", "wrong"),
    [
        ("Aus dsu", ["Aus dsu"]),
        ("Aus cf. dsu", []),
        ("Aus sp.", []),
        ("Aus dus", []),
        ("Aus dus subsp. rosei", []),
        ("Quitealien nomenclatum", []),
        ("Aus dsu × A. bus", ["Aus dsu"]),
        ("Aus bus × A. dsu", ["Aus dsu"]),
        ("(Aus bsu × A. cus) × A. dsu", ["Aus bsu", "Aus dsu"]),
        ("A. dsu", []),
    ],
)
def test_a_name_like_one_with_a_place_is_told_with_the_nearest(ours, text, wrong):
    found = misspelt(ours.index, text)
    assert [one.split("”")[0].removeprefix("“") for one in found] == wrong
    for one in found:
        assert "The nearest names are: Aus " in one
        assert one.endswith(".")
        assert ".." not in one
