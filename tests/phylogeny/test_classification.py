from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.ground.errors import BadInput
from crosscompat.phylogeny.classification import (
    RANKS,
    group_label,
    is_classification,
    rank_tree,
    ranks_among,
    read_classification,
)
from crosscompat.phylogeny.report import is_ultrametric

CHECKLIST = """species,Section,subgenus,growth
Aus_bus,One,First,low
Aus cus,One,,tall
Aus dus,sect. Two,First,low
Aus eus,,Second,low
Aus fus,,,low
Bus gus,One,,low
"""


@pytest.fixture
def read(tmp_path):
    def read(text):
        path = tmp_path / "checklist.csv"
        path.write_text(text, encoding="utf-8")
        return read_classification(path)

    return read


def test_distances_are_twice_the_steps_to_the_lowest_group_that_holds_both(read):
    tree = read(CHECKLIST)
    names = ["Aus bus", "Aus cus", "Aus dus", "Aus eus", "Aus fus", "Bus gus"]
    assert tree.patristic_matrix(names).tolist() == [
        [0, 2, 4, 6, 6, 8],
        [2, 0, 4, 6, 6, 8],
        [4, 4, 0, 6, 6, 8],
        [6, 6, 6, 0, 6, 8],
        [6, 6, 6, 6, 0, 8],
        [8, 8, 8, 8, 8, 0],
    ]
    assert (tree.unit, tree.rooted, is_ultrametric(tree)) == ("rank steps", True, True)
    assert tree.clade("Aus bus", "Aus cus").name == "sect. One"
    assert tree.clade("Aus bus", "Aus dus").name == "subg. First"
    assert tree.clade("Aus bus", "Aus fus").name == "Aus"
    assert tree.clade("Aus bus", "Bus gus").name == ""
    assert tree.tips == ("Aus_bus", "Aus cus", "Aus dus", "Aus eus", "Aus fus", "Bus gus")


def test_a_section_of_the_same_name_in_another_genus_is_another(read):
    tree = read(CHECKLIST)
    assert tree.clade("Bus gus", "Bus gus").size == 1
    assert tree.labels.count("sect. One") == 2


def test_ranks_above_the_genus_join_genera(read):
    tree = read("species,family,tribe\nAus bus,F,T\nAus cus,F,T\nBus a,F,T\nCus a,F,U\nDus a,G,\n")
    assert tree.patristic_matrix(["Aus bus", "Aus cus", "Bus a", "Cus a", "Dus a"])[0].tolist() == [0, 2, 4, 6, 8]


def test_genera_alone_are_a_classification(read):
    tree = read("species\nAus bus\nAus cus\nBus a\n")
    assert tree.patristic_matrix(["Aus bus", "Aus cus", "Bus a"])[0].tolist() == [0, 2, 4]


def test_a_genus_column_goes_before_the_name(read):
    tree = read("species,genus\nAus bus,Novus\nBus cus,Novus\nBus dus,Bus\n")
    assert tree.clade("Aus bus", "Bus cus").name == "Novus"


def test_every_fault_is_told_with_its_row(read):
    text = (
        "species,subgenus,section\nAus bus,First,One\nAus_bus,First,One\n,First,One\nAus dus,Second,One\n"
        "Aus eus,Second,One\nBus eus,Second,One\n"
    )
    with pytest.raises(BadInput) as caught:
        read(text)
    told = [(fault.place.row, fault.place.column) for fault in caught.value.faults]
    assert told == [(3, "species"), (4, "species"), (5, "section"), (6, "section")]
    assert "sect. One stands in subg. Second here, and in subg. First in row 2" in str(caught.value)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("name,section\nAus bus,One\n", "No column is called “species”"),
        ("species,growth\nAus bus,low\nAus cus,tall\n", "No column is called by a rank"),
        ("species,section\nAus bus,One\nAus cus,One\n", "nothing tells how they are related"),
        ("species,section\nAus bus,One\n", "only one species"),
        ("", "empty"),
    ],
)
def test_a_table_that_makes_no_tree_says_why(read, text, says):
    with pytest.raises(BadInput, match=re.escape(says)):
        read(text)


@pytest.mark.parametrize(
    ("text", "answer"),
    [
        ("species,section\nAus bus,One\n", True),
        ("species;Genus\nAus bus;Aus\n", True),
        ("species,Aus bus,Aus cus\nAus bus,0,1\nAus cus,1,0\n", False),
        (",Aus bus,Aus cus\nAus bus,0,1\nAus cus,1,0\n", False),
        ("species,growth\nAus bus,low\n", False),
    ],
)
def test_a_checklist_is_told_from_a_table_of_distances(tmp_path, text, answer):
    (tmp_path / "t.csv").write_text(text, encoding="utf-8")
    assert is_classification(tmp_path / "t.csv") is answer


@pytest.mark.parametrize(
    ("rank", "name", "label"),
    [
        ("section", "Sect. One", "sect. One"),
        ("section", "Section", "sect. Section"),
        ("series", "ser._One", "ser. One"),
        ("subgenus", "subgen. One", "subg. One"),
        ("tribe", "sect. One", "sect. One"),
    ],
)
def test_a_mark_of_rank_is_written_once(rank, name, label):
    assert group_label(rank, name) == label


def test_ranks_are_ordered_whatever_the_columns():
    assert ranks_among(reversed(("species", *RANKS, "growth"))) == RANKS


def naive(one, other, used):
    """Steps up to the lowest rank from which on all groups are shared."""
    height = {rank: len(used) - at for at, rank in enumerate(used)}
    shared = len(used) + 1
    for rank in used:
        mine, theirs = one.get(rank), other.get(rank)
        if mine is None and theirs is None:
            continue
        if mine != theirs:
            break
        shared = height[rank]
    return 2.0 * shared


ranked = st.lists(
    st.fixed_dictionaries({"genus": st.sampled_from("AB")}, optional={"section": st.sampled_from("ST")}),
    min_size=2,
    max_size=8,
)


@settings(max_examples=60, deadline=None)
@given(ranked)
def test_a_rank_tree_is_what_counting_steps_gives(groups):
    names = [f"s{i}" for i in range(len(groups))]
    tree = rank_tree(names, groups)
    used = [rank for rank in RANKS if any(rank in held for held in groups)]
    found = tree.patristic_matrix(names)
    for i, one in enumerate(groups):
        for j, other in enumerate(groups):
            assert found[i, j] == (0 if i == j else naive(one, other, used))
    assert np.ptp(tree.root_distance[tree.tip_nodes]) == 0
