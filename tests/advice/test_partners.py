from __future__ import annotations

import pytest

from crosscompat.advice.ask import ask
from crosscompat.advice.partners import partners
from crosscompat.book.current_plants import Plant
from crosscompat.ground.errors import UnknownName, WrongUse


@pytest.mark.parametrize("role", ["seed", "pollen"])
def test_every_species_of_the_tree_comes_in_its_order(trained, book, role):
    made = trained(book)
    found = partners(made, "Aus bus", role=role, flowers=3)
    assert [partner.label for partner in found.partners] == list(made.distances.tips)
    assert (found.label, found.species, found.role, found.flowers) == ("Aus_bus", "Aus bus", role, 3)
    for partner in found.partners:
        if partner.label == "Aus_bus":
            assert partner.chance is None
            assert partner.notes == []
            continue
        pair = ("Aus bus", partner.species) if role == "seed" else (partner.species, "Aus bus")
        assert partner.chance.mean == pytest.approx(ask(made, *pair, flowers=3).pairing.chance.mean)


def test_earlier_crosses_count_the_way_round_that_is_shown(collection, cross):
    made = collection(
        [
            cross("Aus bus", "Aus cus", 4, 2),
            cross("Aus cus", "A. bus", 4, 0),
            cross("Aus cus", "Aus bus", 4, 1),
            cross("Aus bus", "Aus cus"),
            cross("Aus dus", "Aus cus", 4, 4),
            cross("Aus bus", "Aus bus", 4, 4, seed_plant="A", pollen_plant="B"),
        ]
    )
    found, back = (
        {p.label: (p.took, p.failed) for p in partners(made, "Aus bus", role=role).partners}
        for role in ("seed", "pollen")
    )
    assert back["Aus_cus"] == (1, 1)
    assert found == {"Aus_bus": (1, 0), "Aus_cus": (1, 0), "Aus_dus": (0, 0), "Aus_eus": (0, 0), "Aus_fus": (0, 0)}


def test_what_stands_in_the_way_is_told_in_a_few_words(trained, cross):
    made = trained([cross("Aus bus", "Aus cus", 4, 2)])
    notes = {partner.label: partner.notes for partner in partners(made, "Aus bus", role="seed").partners}
    assert notes == {
        "Aus_bus": [],
        "Aus_cus": ["chromosome numbers differ"],
        "Aus_dus": ["flowers at another time", "farther than any cross so far"],
        "Aus_eus": ["chromosome numbers differ", "farther than any cross so far"],
        "Aus_fus": ["farther than any cross so far"],
    }


def test_a_plant_stands_for_its_species_with_its_own_count(collection):
    made = collection(plants=[Plant("T", "Aus bus", "T", chromosomes=44)])
    found = partners(made, "T", role="pollen")
    assert found.label == "Aus_bus"
    assert {p.label: p.notes for p in found.partners}["Aus_cus"] == []


def test_wrong_calls_are_refused(collection):
    with pytest.raises(WrongUse, match="at least 1"):
        partners(collection(), "Aus bus", role="seed", flowers=0)
    with pytest.raises(UnknownName):
        partners(collection(), "Aus nus", role="seed")
