from __future__ import annotations

from datetime import date

import pytest

from crosscompat.advice.labels import labels_for
from crosscompat.book.plants import Plant
from crosscompat.collection.settings import Settings
from crosscompat.errors import UnknownName

ID = "6574aef3-81db-5ea1-a894-ad2fa9ccc1e5"
BENCH = [Plant("A1", "Aus bus", "A"), Plant("A2", "Aus bus", "A"), Plant("C", "Aus cus", "C")]


@pytest.fixture
def card(collection, cross):
    """The label of a single cross."""

    def make(pollen="A. cus", *, settings=None, **more):
        made = collection([cross("Aus_bus", pollen, cross="26-01", **more)], plants=BENCH, settings=settings)
        [found] = labels_for(made, ["26-01"]).cards
        return found

    return make


def test_a_label_says_what_the_book_says(card):
    found = card(
        seed_plant="A1", pollen_plant="C", units=4, grower="Ida", note="at noon", day=date(2026, 4, 3),
        settings=Settings(group="cactus"),
    )  # fmt: skip
    assert (found.number, found.seed_parent, found.pollen_parent) == ("26-01", "Aus bus", "Aus cus")
    assert (found.seed_plant, found.pollen_plant, found.kind) == ("A1", "C", "cross")
    assert (found.date, found.units, found.grower, found.note) == ("2026-04-03", "4 flowers", "Ida", "at noon")
    assert found.caution.startswith("Spines and glochids")


@pytest.mark.parametrize(
    ("pollen", "more", "kind"),
    [
        ("Aus cus", {}, "cross"),
        ("Aus cus", {"pollen_kind": "one"}, "cross"),
        ("Aus cus", {"pollen_kind": "several"}, "cross"),
        ("Aus bus", {"pollen_kind": "sib"}, "sib"),
        (None, {"pollen_kind": "open"}, "open"),
        ("Aus cus", {"pollen_kind": "open"}, "open"),
        (None, {"pollen_kind": "none"}, "none"),
        ("Aus cus", {"pollen_kind": "none"}, "none"),
        ("Aus bus", {"pollen_kind": "self"}, "self"),
        ("Aus bus", {"seed_plant": "A1", "pollen_plant": "A2"}, "self"),
        ("Aus bus", {"seed_plant": "A1", "pollen_plant": "B"}, "cross"),
    ],
)
def test_where_the_pollen_came_from_is_told(card, pollen, more, kind):
    assert card(pollen, **more).kind == kind


@pytest.mark.parametrize(
    ("more", "units"),
    [
        ({}, ""),
        ({"units": 1}, "1 flower"),
        ({"units": 3, "unit_kind": "cyathium"}, "3 cyathia"),
        ({"units": 1, "unit_kind": "raceme"}, "1 raceme"),
        ({"units": 3, "unit_kind": "umbel"}, "umbel: 3"),
        ({"units": 3, "unit_kind": "{odd}"}, "{odd}: 3"),
        ({"tried": 5, "took": 1}, "5 flowers"),
        ({"units": 1200}, "1,200 flowers"),
    ],
)
def test_any_kind_of_unit_can_be_printed(card, more, units):
    assert card(**more).units == units


@pytest.mark.parametrize(
    ("pollen", "printed"),
    [
        ("A. cus", "Aus cus"),
        ("Aus cus subsp. longus", "Aus cus subsp. longus"),  # as received: more than the tree knows
        ("A. cus 'Red'", "Aus cus 'Red'"),
        ("aus_cus", "Aus cus"),
        ("E. nus", "E. nus"),  # no genus named first begins with an E
        ("seedling 7", "seedling 7"),
    ],
)
def test_names_are_printed_as_received_with_the_genus_in_full(card, pollen, printed):
    assert card(pollen).pollen_parent == printed


def test_a_name_that_could_be_two_is_printed_as_it_is(collection, cross):
    from crosscompat.phylogeny.newick import parse_newick

    tree = parse_newick("('Aus bus subsp. cus':1,'Aus bus var. cus':1);")
    made = collection([cross("Aus bus cus", "Aus bus cus", cross="1")], distances=tree, traits=None)
    assert labels_for(made, ["1"]).cards[0].seed_parent == "Aus bus cus"


def test_labels_come_in_the_order_asked_by_number_or_identifier(collection, cross):
    made = collection(
        [cross("Aus bus", "Aus cus", cross="26-01", id=ID), cross("Aus cus", "Aus bus", cross="26-02")],
        settings=Settings(invented=True),
    )
    found = labels_for(made, ["26-02", ID, "26-02"])
    assert [card.number for card in found.cards] == ["26-02", "26-01", "26-02"]
    assert found.invented
    assert labels_for(made, []).cards == []


@pytest.mark.parametrize(("number", "nearest"), [("26-1", True), ("zzz", False)])
def test_a_number_that_is_none_names_the_nearest(collection, cross, number, nearest):
    made = collection([cross("Aus bus", "Aus cus", cross="26-01"), cross("Aus bus", "Aus cus")])
    with pytest.raises(UnknownName, match=f"no cross with the number .{number}") as caught:
        labels_for(made, [number])
    assert bool(caught.value.nearest) == nearest
    assert ("The nearest are: 26-01." in str(caught.value)) == nearest
