from __future__ import annotations

from collections.abc import Mapping

import pytest

from crosscompat.carried import carried_tree, carried_trees, tree_for_genus
from crosscompat.collection.opening import open_carried
from crosscompat.errors import WrongUse
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
    assert len(opened.distances.tips) == tree.tips
    assert opened.distances.unit == tree.unit
    assert isinstance(tree.trait_kinds, Mapping)
    assert set(tree.trait_kinds.values()) <= set(KINDS)
    assert all((tree.title, tree.genus, tree.source, tree.doi, tree.licence, tree.fruit_word))
    assert all(label.replace("_", " ").split()[0] == tree.genus for label in opened.distances.tips)
    assert all(opened.index.find(name) or opened.trait(name, "section") for name in opened.traits.species)


def test_a_tree_is_found_by_name_and_by_genus():
    assert carried_tree("echinocereus").genus == "Echinocereus"
    assert tree_for_genus("ECHINOCEREUS") is carried_tree("echinocereus")
    assert tree_for_genus("Aloe") is None
    assert tree_for_genus("") is None


@pytest.mark.parametrize("name", ["Echinocereus", "aloe", "", "../trees/echinocereus"])
def test_a_name_that_is_none_is_told_with_those_there_are(name):
    with pytest.raises(WrongUse, match=r"these do: echinocereus, euphorbia\.$"):
        carried_tree(name)
