from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.carried import carried_tree
from crosscompat.collection.opening import open_carried
from crosscompat.ground.errors import BadInput
from crosscompat.phylogeny.classification import (
    RANKS,
    group_crowns,
    group_label,
    is_classification,
    place,
    place_for,
    rank_tree,
    ranks_among,
    read_classification,
    spread_of_placed,
)
from crosscompat.phylogeny.formats import read_tree
from crosscompat.phylogeny.newick import parse_newick
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


TREE = parse_newick(
    "[&R]((((Aus_bus:1,Aus_cus:1):1,(Aus_dus:1.5,Aus_eus:1.5):.5)sect._One:2,Aus_fus:4):1,(Bus_gus:2,Bus_hus:2):3);",
    unit="My",
)
KNOWN = {
    "Aus_bus": {"section": "One", "series": "Low"},
    "Aus_cus": {"section": "One", "series": "Low"},
    "Aus_dus": {"section": "sect. One"},
    "Aus_fus": {"section": "Two"},
    "Bus_gus": {"section": "One"},
}


def placed(species, **ranks):
    return place_for(TREE, KNOWN, {species: ranks})


@pytest.mark.parametrize(
    ("species", "ranks", "rank", "group", "partner", "distance"),
    [
        ("Aus xus", {"section": "One"}, "section", "sect. One", "Aus_bus", 4),
        ("Aus xus", {"section": "One", "series": "Low"}, "series", "ser. Low", "Aus_bus", 2),
        ("Aus xus", {"section": "One", "series": "High"}, "section", "sect. One", "Aus_eus", 4),
        ("Aus xus", {"section": "Two"}, "section", "sect. Two", "Aus_fus", 4),  # halfway up the only branch
        ("Aus xus", {"section": "Three"}, "genus", "Aus", "Aus_bus", 8),
        ("Aus xus", {}, "genus", "Aus", "Aus_fus", 8),
        ("Bus xus", {}, "genus", "Bus", "Bus_gus", 4),
        ("Bus xus", {"section": "One"}, "section", "sect. One", "Bus_gus", 2),  # not the one of Aus
        ("Novus xus", {"genus": "Bus"}, "genus", "Bus", "Bus_gus", 4),
    ],
)
def test_a_species_hangs_on_its_lowest_group(species, ranks, rank, group, partner, distance):
    (found,) = placed(species, **ranks)
    assert (found.rank, found.group) == (rank, group)
    wider = place(TREE, [found])
    assert wider.patristic(species, partner) == pytest.approx(distance)
    assert wider.root_distance[wider.tip_nodes] == pytest.approx(5)


@pytest.mark.parametrize("species", ["Cus xus", "tip 12"])
def test_a_species_without_a_group_there_is_passed_over(species):
    assert placed(species) == ()


def test_a_group_with_a_stranger_in_it_is_passed_by():
    """As incertae sedis species do in megatrees: one stray member would move the group to the root."""
    known = {
        "Aus_bus": {"section": "One"},
        "Bus_gus": {"section": "One", "genus": "Aus"},
        "Aus_cus": {"section": "Two"},
    }
    tree = parse_newick("(((Aus_bus:1,Aus_cus:1):1,Aus_dus:2):1,(Bus_gus:1,Bus_hus:1):2);")
    crowns = group_crowns(tree, known)
    assert ("Aus", "section", "sect. One") not in crowns
    assert crowns["Aus", "section", "sect. Two"] == 1


def test_a_name_that_two_nodes_share_tells_nothing():
    tree = parse_newick("(((Aus_bus:1,Aus_cus:1)sect._One:1,(Aus_dus:1,Aus_eus:1)sect._One:1):1,Bus_fus:3);")
    (found,) = place_for(tree, {}, {"Aus xus": {"section": "One"}})
    assert found.rank == "genus"


@pytest.mark.parametrize("text", ["[&U](a_b:1,a_c:1,a_d:1);", "((a_b:1,a_c:-1):1,a_d:2);"])
def test_no_clade_can_be_told_where_there_is_no_root_or_a_length_below_zero(text):
    assert place_for(parse_newick(text), {}, {"a e": {}}) == ()


def test_nothing_to_place_leaves_the_tree_alone():
    assert place(TREE, ()) is TREE


def test_several_species_of_one_group_meet_at_its_crown():
    found = place_for(TREE, KNOWN, {f"Aus x{i}": {"section": "Two"} for i in "ab"} | {"Aus y": {"section": "One"}})
    wider = place(TREE, found)
    assert wider.patristic_matrix(["Aus xa", "Aus xb", "Aus_fus"]) == pytest.approx(4 * (1 - np.eye(3)))
    assert wider.clade("Aus xa", "Aus_fus").size == 3
    assert wider.clade("Aus_bus", "Aus y").name == "sect._One"


def random_tree(seed, tips):
    rng = np.random.default_rng(seed)
    parts = [f"Gus_{letter * 3}" for letter in "abcdefgh"[:tips]]
    while len(parts) > 1:
        i, j = sorted(rng.choice(len(parts), 2, replace=False))
        right, left = parts.pop(j), parts.pop(i)
        parts.append(f"({left}:{rng.uniform(0.1, 1):.4f},{right}:{rng.uniform(0.1, 1):.4f}){rng.integers(1, 100)}")
    return parse_newick(f"{parts[0]};", unit="My")


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.integers(2, 8), st.data())
def test_placing_moves_nobody_and_hangs_the_species_on_the_crown(seed, tips, data):
    tree = random_tree(seed, tips)
    names = list(tree.tips)
    members = data.draw(st.lists(st.sampled_from(names), min_size=1, unique=True))
    known = {name: {"section": "S" if name in members else "T"} for name in names}
    found = place_for(tree, known, {"Gus novus": {"section": "S"}})
    wider = place(tree, found)
    assert wider.patristic_matrix(names) == pytest.approx(tree.patristic_matrix(names))
    assert (wider.unit, wider.rooted, wider.n_tips) == (tree.unit, tree.rooted, tips + 1)
    node = tree.mrca(members)
    whole = tree.tips_under(node).size == len(members)
    assert found[0].rank == ("section" if whole else "genus")
    if whole and len(members) > 1:
        depth = {tip: float(d) for tip, d in zip(tree.tips, tree.root_distance[tree.tip_nodes], strict=True)}
        crown = float(tree.root_distance[node])
        mean = np.mean([depth[name] for name in members])
        for name in members:
            assert wider.patristic("Gus novus", name) == pytest.approx((mean - crown) + (depth[name] - crown))


def test_a_placed_distance_is_as_unsure_as_the_group_is_wide():
    wider = place(TREE, placed("Aus xus", section="One"))
    spread = spread_of_placed(wider, ["Aus xus"], ["Aus xus", "Aus xus", "Aus_bus"], ["Aus_bus", "Aus_fus", "Aus_cus"])
    off = [2 - 4, 4 - 4, 4 - 4]  # as near to Aus bus as its own relatives of the section, told as 4
    assert spread == pytest.approx([max(np.sqrt(np.mean(np.square(off))), 4 / np.sqrt(12)), 0, 0])
    assert spread_of_placed(wider, ["Aus xus"], ["Aus_bus"], ["Aus xus"]) == pytest.approx(spread[:1])
    assert spread_of_placed(wider, ["Aus xus"], ["Aus xus"], ["Aus xus"]).tolist() == [0]


def test_two_placed_species_are_as_unsure_as_the_wider_group():
    found = place_for(TREE, KNOWN, {"Aus ax": {"section": "One"}, "Aus ay": {}})
    wider = place(TREE, found)
    one, other = spread_of_placed(wider, ["Aus ax", "Aus ay"], ["Aus ax", "Aus ay"], ["Aus ay", "Aus_bus"])
    assert one >= 8 / np.sqrt(12)
    assert other >= 8 / np.sqrt(12)


def test_spurges_without_a_section_in_the_taxonomy_stand_in_the_sections_growers_know():
    """E. ledienii, squarrosa, gymnocalycioides: sect. Euphorbia; ambovombensis: Goniostema (trees/README.md)."""
    carried = carried_tree("euphorbia")
    tree, traits = read_tree(carried.tree, unit="My"), open_carried(carried).traits
    ranks = {name: {"section": traits.value(name, "section")} for name in traits.species}
    missing = {name: ranks[name] for name in traits.species if tree.index.find(name) is None}
    found = place_for(tree, {tip: ranks[tip.replace("_", " ")] for tip in tree.tips}, missing)
    assert {one.species: one.group for one in found} == {
        name: f"sect. {groups['section']}" for name, groups in missing.items()
    }
    wider = place(tree, found)
    assert wider.clade("Euphorbia ledienii", "Euphorbia squarrosa").name == "sect._Euphorbia"
    assert wider.patristic("Euphorbia ledienii", "Euphorbia resinifera") == pytest.approx(7.36)
