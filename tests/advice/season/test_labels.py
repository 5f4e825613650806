from __future__ import annotations

from datetime import date

import pytest

from crosscompat.advice.season.labels import labels_for
from crosscompat.book.current_plants import Plant
from crosscompat.collection.settings import Settings
from crosscompat.ground.errors import UnknownName
from crosscompat.show.label import code_text

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
        (None, {"pollen_kind": "several"}, "mixed"),
        (None, {"pollen_kind": "one"}, "unknown"),  # pollen of which nobody knows the plant is no mixture
        (None, {}, "unknown"),
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
    ("formula", "printed"),
    [
        # International Code of Nomenclature (Shenzhen, 2018), Appendix I, as read on iapt-taxon.org: Art. H.2 Ex. 1
        ("Melampsora medusae Thüm. × M. occidentalis H. S. Jacks.", ("Melampsora medusae", "Melampsora occidentalis")),
        (
            "Polypodium vulgare subsp. prionodes (Asch.) Rothm. × P. vulgare L. subsp. vulgare",
            ("Polypodium vulgare subsp. prionodes", "Polypodium vulgare subsp. vulgare"),
        ),
        # Art. H.2 Ex. 2: the genus of the second parent is never left out.
        ("Kunzea linearis (Kirk) de Lange × K. robusta de Lange & Toelken", ("Kunzea linearis", "Kunzea robusta")),
        # Names of Art. H.3 Ex. 1 as parents; the pairings are no examples of the Code.
        ("Salix ×capreola Andersson × S. caprea L.", ("Salix ×capreola", "Salix caprea")),
        ("×Agropogon littoralis (Sm.) C. E. Hubb. × Agrostis L.", ("×Agropogon littoralis", "Agrostis")),
        (
            "Polypodium vulgare nothosubsp. mantoniae (Rothm.) Schidlay × P. vulgare L.",
            ("Polypodium vulgare nothosubsp. mantoniae", "Polypodium vulgare"),
        ),
    ],
)
def test_parents_are_printed_as_the_code_writes_them(collection, cross, formula, printed):
    seed, pollen = formula.split(" × ")
    found = labels_for(collection([cross(seed, pollen, cross="1")], traits=None), ["1"]).cards[0]
    assert (found.seed_parent, found.pollen_parent) == printed
    assert code_text(found).split("\n")[1] == " × ".join(printed)


@pytest.mark.parametrize("label", ["Mentha aquatica L. × M. arvensis L.", "(Mentha aquatica × M. arvensis)"])
def test_a_parent_that_is_a_formula_is_told_from_the_cross_by_brackets(collection, cross, label):
    found = labels_for(collection([cross(label, "M. spicata L.", cross="1")], traits=None), ["1"]).cards[0]
    assert found.pollen_parent == "Mentha spicata"
    assert code_text(found).split("\n")[1] == "(Mentha aquatica × Mentha arvensis) × Mentha spicata"


@pytest.mark.parametrize(
    ("pollen", "said"),
    [
        ("Mentha aquatica × M. arvensis", "(Mentha aquatica × Mentha arvensis)"),
        ("(Mentha aquatica × M. arvensis) 'Blue'", "(Mentha aquatica × Mentha arvensis) 'Blue'"),
        (
            "Mentha aquatica × (M. arvensis × M. longifolia)",
            "(Mentha aquatica × (Mentha arvensis × Mentha longifolia))",
        ),
        ("Mentha ×smithiana", "Mentha ×smithiana"),
    ],
)
def test_the_code_says_which_of_three_species_is_the_seed_parent(collection, cross, pollen, said):
    found = labels_for(collection([cross("Mentha spicata", pollen, cross="1")], traits=None), ["1"]).cards[0]
    assert code_text(found).split("\n")[1] == f"Mentha spicata × {said}"


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


@pytest.mark.parametrize(("number", "nearest"), [("26-11", True), ("zzz", False)])
def test_a_number_that_is_none_names_the_nearest(collection, cross, number, nearest):
    made = collection([cross("Aus bus", "Aus cus", cross="26-01"), cross("Aus bus", "Aus cus")])
    with pytest.raises(UnknownName, match=f"no cross with the number .{number}") as caught:
        labels_for(made, [number])
    assert bool(caught.value.nearest) == nearest
    assert ("The nearest are: 26-01." in str(caught.value)) == nearest
