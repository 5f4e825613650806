from __future__ import annotations

import numpy as np
import pytest

from crosscompat.advice.known_hybrids import known_near
from crosscompat.carried import KnownHybrid, carried_tree, known_hybrids
from crosscompat.collection.opening import open_carried
from crosscompat.ground.errors import UnknownName
from crosscompat.phylogeny.newick import parse_newick
from crosscompat.phylogeny.table import DistanceTable

TREE = parse_newick(
    "((((Aus_bus:1,Aus_cus:1):1,(Aus_dus:1.5,Aus_eus:1.5):.5):2,(Aus_fus:1,Aus_gus:1,Aus_hus:1):3):1,Bus_a:5);"
)


def made(seed, pollen, *, direction_known=False, outcome="hybrid", hybrid=""):
    return KnownHybrid(hybrid, seed, pollen, direction_known, outcome, "by hand", "a note", "Somebody 1999")


def near(seed, pollen, *known, distances=TREE, most=3):
    return known_near(seed, pollen, distances, known, most=most)


@pytest.mark.parametrize(
    ("pairing", "farther"),
    [
        (("Aus_bus", "Aus_dus"), 0.0),
        (("Aus_dus", "Aus_bus"), 0.0),  # direction unknown: either way round
        (("Aus_cus", "Aus_dus"), 2.0),
        (("Aus_cus", "Aus_eus"), 3.0),
        (("Aus_eus", "Aus_cus"), 3.0),
        (("Aus_bus", "Aus_cus"), None),  # on one side of the gap
        (("Aus_bus", "Aus_fus"), None),  # across a wider gap
        (("Aus_fus", "Aus_gus"), None),
        (("Bus_a", "Aus_dus"), None),
    ],
)
def test_a_hybrid_is_near_where_the_pairing_bridges_the_same_gap(pairing, farther):
    found = near(*pairing, made("Aus bus", "Aus dus"))
    assert [one.farther for one in found] == ([] if farther is None else [farther])
    assert all(one.same is (farther == 0) for one in found)


def test_where_nothing_is_resolved_the_whole_group_is_near():
    (found,) = near("Aus_fus", "Aus_hus", made("Aus fus", "Aus gus"))
    assert (found.same, found.farther) == (False, 2.0)


def test_a_direction_that_is_known_counts():
    one_way = made("Aus bus", "Aus dus", direction_known=True)
    assert [one.same for one in near("Aus_bus", "Aus_dus", one_way)] == [True]
    assert [(one.same, one.farther) for one in near("Aus_dus", "Aus_bus", one_way)] == [(False, 0.0)]
    assert near("Aus_dus", "Aus_bus", made("Aus bus", "Aus dus", direction_known=True, outcome="failure")) == []


def test_a_failure_is_near_only_to_its_own_pairing():
    failed = made("Aus bus", "Aus dus", outcome="failure")
    assert [one.outcome for one in near("Aus_bus", "Aus_dus", failed)] == ["failure"]
    assert near("Aus_cus", "Aus_dus", failed) == []


def test_the_very_pairing_comes_first_then_the_nearest_and_no_more_than_asked():
    known = [made("Aus cus", "Aus eus", hybrid="third"), made("Aus cus", "Aus dus"), made("Aus bus", "Aus dus")]
    found = near("Aus_bus", "Aus_dus", *known)
    assert [one.farther for one in found] == [0.0, 2.0, 3.0]
    assert [one.farther for one in near("Aus_bus", "Aus_dus", *known, most=1)] == [0.0]


def test_gaps_of_a_table_and_species_without_a_place_are_passed_over():
    gap = DistanceTable(("Aus_bus", "Aus_cus", "Aus_dus"), [[0, 1, np.nan], [1, 0, 4], [np.nan, 4, 0]])
    known = [made("Aus bus", "Aus dus"), made("Aus bus", "Aus zus")]
    assert near("Aus_cus", "Aus_dus", *known, distances=gap) == []
    assert [one.same for one in near("Aus_bus", "Aus_dus", *known, distances=gap)] == [True]
    with pytest.raises(UnknownName):
        near("Aus_zus", "Aus_dus", *known)


def test_the_sentence_names_parents_name_how_note_and_source():
    (found,) = near("Aus_bus", "Aus_dus", made("Aus bus", "Aus dus", hybrid="Aus x novus"))
    assert found.words == "Known hybrid: Aus bus × Aus dus, Aus ×novus, by hand: a note. Source: Somebody 1999."
    (failed,) = near("Aus_bus", "Aus_dus", made("Aus bus", "Aus dus", outcome="failure"))
    assert failed.words == "Known failure: Aus bus × Aus dus, by hand: a note. Source: Somebody 1999."


def test_every_published_spurge_hybrid_is_of_one_section_and_in_the_nearest_tenth_of_pairings():
    """Sections: NCBI Taxonomy. Of the hybrids, each with its source in the table, none is between two sections."""
    opened = open_carried(carried_tree("euphorbia"))
    tree = opened.distances
    every = tree.patristic_matrix()[np.triu_indices(tree.n_tips, 1)]
    hybrids = [entry for entry in known_hybrids() if entry.outcome == "hybrid" and "Euphorbia" in entry.seed_parent]
    assert len(hybrids) >= 6
    for entry in hybrids:
        seed, pollen = entry.seed_parent, entry.pollen_parent
        assert opened.trait(seed, "section") == opened.trait(pollen, "section") is not None
        assert (every < tree.patristic(seed, pollen)).mean() < 0.1, entry


def test_ask_would_name_what_is_published():
    tree = open_carried(carried_tree("echinocereus")).distances
    found = known_near("Echinocereus_polyacanthus", "Echinocereus_dasyacanthus", tree)
    assert [one.hybrid for one in found] == ["Echinocereus ×lloydii", "Echinocereus ×roetteri"]
    assert known_near("Echinocereus_arizonicus", "Echinocereus_coccineus", tree) == []
