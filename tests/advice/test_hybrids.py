from __future__ import annotations

import pytest

from crosscompat.advice.basis import basis_of, rows_of
from crosscompat.advice.cautions import cautions
from crosscompat.advice.hybrids import expected_chromosomes, hybrid_notes, proved_fertile
from crosscompat.advice.parents import Parent
from crosscompat.book.plants import Plant
from crosscompat.collection.missing import with_missing
from crosscompat.traits import TraitColumn, TraitTable

EVEN, UNEVEN = "Aus bus × Aus dus", "Aus bus × Aus cus"


def test_a_species_has_nothing_of_the_kind(collection):
    assert hybrid_notes(collection(), Parent("Aus_bus")) == []


def test_it_is_told_where_a_hybrid_stands_and_how_far_its_parents(collection):
    (told,) = hybrid_notes(collection(), Parent(EVEN))
    assert told.startswith(
        "Aus bus × Aus dus is a hybrid (50% Aus bus, 50% Aus dus). It is taken to stand between its parents, which are"
        " 4 My apart"
    )


@pytest.mark.parametrize(
    ("label", "count", "says"),
    [
        (EVEN, None, None),
        (UNEVEN, None, "different chromosome numbers (2n 22 and 44)"),
        (UNEVEN, 44, None),  # counted, and found even: doubled
        (EVEN, 33, "odd chromosome number (2n 33)"),
        ("Aus bus × Aus fus", None, None),  # nobody has counted Aus fus
        ("Aus dus × (Aus bus × Aus cus)", None, "(2n 22 and 33)"),
    ],
)
def test_uneven_chromosomes_are_told_where_they_are_known(collection, label, count, says):
    plant = Plant("H1", label, "H1", chromosomes=count) if count else None
    told = hybrid_notes(collection(plants=[plant] if plant else []), Parent(label, plant))
    assert len(told) == (1 if says is None else 2)
    if says:
        assert says in told[1]


def test_half_of_each_parents_chromosomes_is_expected(collection):
    made = collection()
    pedigree = made.positions.pedigree
    assert expected_chromosomes(made, pedigree(EVEN)) == 22
    assert expected_chromosomes(made, pedigree(UNEVEN)) == 33
    assert expected_chromosomes(made, pedigree(f"({UNEVEN}) × Aus bus")) == 27.5
    assert expected_chromosomes(made, pedigree("Aus bus × Aus fus")) is None
    assert expected_chromosomes(made, pedigree("Aus_bus")) is None


def test_a_hybrid_that_gave_a_seedling_is_proved(collection, cross):
    hybrid, other = Plant("H1", EVEN, "H"), Plant("H2", EVEN, "K")
    took = cross("Aus bus x A. dus", "Aus eus", 4, 2, seed_plant="H1")
    made = collection([took, cross(UNEVEN, "Aus eus", 4, 0)], [hybrid, other, Plant("H3", EVEN, "H")])
    assert proved_fertile(made, EVEN)
    assert proved_fertile(made, EVEN, made.plants.find("H3").clone)  # an offset of it
    assert not proved_fertile(made, EVEN, other.clone)
    assert not proved_fertile(made, UNEVEN)
    assert "already given a seedling" in hybrid_notes(made, Parent(EVEN))[-1]
    assert "already given a seedling" in hybrid_notes(made, Parent(EVEN, made.plants.find("H3")))[-1]
    assert len(hybrid_notes(made, Parent(EVEN, other))) == 1


def test_both_are_told_among_the_cautions(collection):
    made = collection()
    model = basis_of(made).model
    row = rows_of(made, model, ["Aus_bus"], ["Aus_eus"])[0]
    told = cautions(made, model, Parent(UNEVEN), Parent("Aus_eus"), row)
    assert [caution.kind for caution in told if caution.kind == "hybrid"] == ["hybrid", "hybrid"]


def test_a_species_that_was_only_placed_is_told(collection, tree):
    traits = TraitTable(
        ("Aus_bus", "Aus_cus", "Aus novus"), (TraitColumn("section", "text", True, ("One", "One", "One")),)
    )
    wider, placed = with_missing(tree, traits, {})
    made = collection(distances=wider, traits=traits, placed=placed)
    model = basis_of(made).model
    seed, pollen = Parent("Aus novus"), Parent("Aus_bus")
    row = rows_of(made, model, [seed.label], [pollen.label])[0]
    (told,) = [caution for caution in cautions(made, model, seed, pollen, row) if caution.kind == "placed"]
    assert told.says.startswith("Aus novus is not on the tree itself: it is placed in its group (sect. One)")
    assert not [one for one in cautions(made, model, pollen, Parent("Aus_dus"), row) if one.kind == "placed"]
