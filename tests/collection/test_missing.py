from __future__ import annotations

import pytest

from crosscompat.collection.opening import ranks_by_species, with_missing
from crosscompat.phylogeny.newick import parse_newick
from crosscompat.phylogeny.table import DistanceTable
from crosscompat.traits import TraitColumn, TraitTable

TREE = parse_newick("((Aus_bus:1,Aus_cus:1):1,(Aus_dus:1,Aus_eus:1):1);")
TRAITS = TraitTable(
    ("Aus bus", "Aus cus", "Aus_dus", "Aus novus", "Aus vetus", "Cus alienus"),
    (
        TraitColumn("section", "category", True, ("One", "One", "Two", "One", "Two", "One")),
        TraitColumn("growth", "category", True, ("low",) * 6),
    ),
)


def test_what_only_the_traits_know_is_placed_by_its_section():
    tree, placed = with_missing(TREE, TRAITS, {})
    assert [(one.species, one.group) for one in placed] == [("Aus novus", "sect. One"), ("Aus vetus", "sect. Two")]
    assert tree.patristic("Aus novus", "Aus bus") == 2
    assert tree.patristic("Aus novus", "Aus_dus") == 4


def test_a_species_that_stands_there_under_another_name_is_not_missing():
    tree, placed = with_missing(TREE, TRAITS, {"Aus vetus": "Aus eus"})
    assert [one.species for one in placed] == ["Aus novus"]
    assert "Aus vetus" not in tree.tips


@pytest.mark.parametrize("traits", [None, TraitTable(("Aus bus", "Aus_cus"), ())])
def test_where_nothing_is_missing_the_tree_is_the_same(traits):
    assert with_missing(TREE, traits, {}) == (TREE, ())


def test_a_table_of_distances_stays_as_it_is():
    table = DistanceTable(("Aus bus", "Aus cus"), [[0, 1], [1, 0]])
    assert with_missing(table, TRAITS, {}) == (table, ())


def test_only_ranks_are_taken_from_the_traits():
    assert ranks_by_species(TRAITS)["Aus_dus"] == {"section": "Two"}


def test_a_hybrid_among_the_traits_stands_between_its_parents_and_not_in_its_genus():
    tree = parse_newick("((Echinocereus_coccineus:1,Echinocereus_scheeri:1):1,Echinocereus_dasyacanthus:2);")
    names = ("Echinocereus ×roetteri", "Echinocereus scheeri × E. coccineus", "Red Giant", "Echinocereus ×novus")
    synonyms = {"Red Giant": "Echinocereus scheeri × E. dasyacanthus"}
    _, placed = with_missing(tree, TraitTable(names, ()), synonyms)
    assert [one.species for one in placed] == ["Echinocereus ×novus"]
