from __future__ import annotations

import csv
from collections.abc import Mapping

import pytest

from crosscompat.carried import carried_file, carried_tree, carried_trees, known_hybrids, tree_for_genus
from crosscompat.collection.opening import open_carried
from crosscompat.ground.errors import WrongUse
from crosscompat.traits import KINDS


def test_trees_come_by_name():
    names = [tree.name for tree in carried_trees()]
    assert names == sorted(set(names))
    assert "echinocereus" in names


@pytest.mark.parametrize("tree", carried_trees(), ids=lambda tree: tree.name)
def test_every_carried_tree_is_whole(tree):
    opened = open_carried(tree)
    assert tree.tree.is_file()
    assert tree.traits.is_file()
    assert len(opened.distances.tips) == tree.tips + len(opened.placed)
    assert opened.distances.unit == tree.unit
    assert isinstance(tree.trait_kinds, Mapping)
    assert set(tree.trait_kinds.values()) <= set(KINDS)
    assert all((tree.title, tree.genus, tree.source, tree.doi, tree.licence, tree.fruit_word))
    assert all(label.replace("_", " ").split()[0] == tree.genus for label in opened.distances.tips)
    assert all(opened.index.find(species) for species in opened.traits.species)


def test_names_that_growers_still_use_are_found():
    opened = open_carried(carried_tree("euphorbia"))
    assert opened.synonyms
    assert all(opened.index.match(name).how == "synonym" for name in opened.synonyms)
    assert opened.index.resolve("Monadenium ritchiei") == "Euphorbia_ritchiei"
    assert opened.index.resolve("Pedilanthus tithymaloides 'Nana'") == "Euphorbia_tithymaloides"
    assert opened.trait("Euphorbia horrida", "series") == opened.trait("Euphorbia polygona", "series") == "Meleuphorbia"


def test_species_of_no_section_in_the_taxonomy_are_placed_and_said_to_be():
    opened = open_carried(carried_tree("euphorbia"))
    placed = {one.species: (one.rank, one.group) for one in opened.placed}
    assert placed["Euphorbia squarrosa"] == ("section", "sect. Euphorbia")
    assert placed["Euphorbia lambii"] == ("subsection", "subsect. Macaronesicae")
    assert len(placed) == 12
    near = opened.taxa.spread(["Euphorbia squarrosa"] * 2, ["Euphorbia_resinifera", "Euphorbia_milii"])
    assert near[0] > 1
    assert near[1] == 0


def test_published_hybrids_stand_between_their_parents():
    opened = open_carried(carried_tree("echinocereus"))
    plant = opened.taxa.pedigree(opened.taxa.index.resolve("Echinocereus x roetteri"))
    assert plant.shares == {"Echinocereus_coccineus": 0.5, "Echinocereus_dasyacanthus": 0.5}


def test_a_tree_is_found_by_name_and_by_genus():
    assert carried_tree("echinocereus").genus == "Echinocereus"
    assert tree_for_genus("ECHINOCEREUS") is carried_tree("echinocereus")
    assert tree_for_genus("Aloe") is None
    assert tree_for_genus("") is None


@pytest.mark.parametrize("name", ["Echinocereus", "aloe", "", "../trees/echinocereus"])
def test_a_name_that_is_none_is_told_with_those_there_are(name):
    with pytest.raises(WrongUse) as caught:
        carried_tree(name)
    assert str(caught.value).endswith("these do: " + ", ".join(tree.name for tree in carried_trees()) + ".")


def rows():
    with carried_file("known_hybrids.csv").open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def test_every_carried_cross_has_a_source_in_full_and_parents_on_a_carried_tree():
    trees = {tree.genus: open_carried(tree).distances for tree in carried_trees()}
    assert len(known_hybrids()) == len(rows()) > 8
    for entry, row in zip(known_hybrids(), rows(), strict=True):
        assert row["source"], row
        assert entry.source, row
        assert row["outcome"] in {"hybrid", "failure"}
        assert row["direction_known"] in {"yes", "no"}
        index = trees[entry.seed_parent.split(" ")[0]].index
        assert index.find(entry.seed_parent), row
        assert index.find(entry.pollen_parent), row
