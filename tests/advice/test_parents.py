from __future__ import annotations

import pytest

from crosscompat.advice.parents import Parent, find_parent, find_parents
from crosscompat.book.current_plants import Plant
from crosscompat.ground.errors import NoPairing, UnknownName

BENCH = [
    Plant("A1", "Aus bus", "A"), Plant("A2", "Aus bus", "A"), Plant("B", "Aus bus", "B"), Plant("C", "Aus cus", "C"),
    Plant("lost", "Aus gus", "lost"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("seed", "pollen", "labels", "plants"),
    [
        ("Aus bus", "Aus_cus", ("Aus_bus", "Aus_cus"), (None, None)),
        ("Aus bus", "A. cus", ("Aus_bus", "Aus_cus"), (None, None)),
        ("A1", "A. cus", ("Aus_bus", "Aus_cus"), ("A1", None)),
        (" A1 ", "C", ("Aus_bus", "Aus_cus"), ("A1", "C")),
        ("A1", "B", ("Aus_bus", "Aus_bus"), ("A1", "B")),
        ("A1", "Aus bus", ("Aus_bus", "Aus_bus"), ("A1", None)),  # another plant of the species is meant
        ("Aus bus", "Aus bus", ("Aus_bus", "Aus_bus"), (None, None)),
    ],
)
def test_both_sides_are_found_among_plants_and_species(collection, seed, pollen, labels, plants):
    found = find_parents(collection(plants=BENCH), seed, pollen)
    assert tuple(parent.label for parent in found) == labels
    assert tuple(parent.plant and parent.plant.plant for parent in found) == plants


@pytest.mark.parametrize(("seed", "pollen"), [("A1", "A2"), ("A1", "A1"), ("A2", "A1")])
def test_two_offsets_of_one_plant_are_no_pairing(collection, seed, pollen):
    with pytest.raises(NoPairing, match=f"{seed} and {pollen} are one plant"):
        find_parents(collection(plants=BENCH), seed, pollen)


@pytest.mark.parametrize(
    ("seed", "pollen", "told"),
    [
        ("Aus bos", "Aus cus", "Aus bos"),
        ("Aus bus", "Aus cuss", "Aus cuss"),
        ("X. bus", "Aus cus", "could stand for any genus"),
        ("Aus bus", "B. cus", "does not stand for Aus"),
        ("lost", "Aus bus", "Aus gus"),
    ],
)
def test_a_name_that_stands_nowhere_names_the_nearest(collection, seed, pollen, told):
    with pytest.raises(UnknownName, match=told) as caught:
        find_parents(collection(plants=BENCH), seed, pollen)
    assert len(caught.value.nearest) == 3


@pytest.mark.parametrize(
    ("text", "read_as"),
    [
        ("Aus bus", ""),
        ("aus  bus", ""),
        ("Aus bus L.", ""),
        (
            "Aus bus subsp. longus",
            "“Aus bus subsp. longus” itself is not listed here; its species, Aus bus, is used instead",
        ),
        ("Aus bus 'Red'", "“Aus bus 'Red'” itself is not listed here"),
    ],
)
def test_a_name_read_as_another_is_told(collection, text, read_as):
    found = find_parent(collection(), text)
    assert found.label == "Aus_bus"
    assert found.read_as.startswith(read_as)
    assert bool(found.read_as) == bool(read_as)


def test_a_parent_is_printed_in_correct_form():
    assert Parent("Echinocereus_x_roetteri").name == "Echinocereus ×roetteri"
