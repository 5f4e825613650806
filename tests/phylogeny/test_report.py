from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.phylogeny.formats import read_tree
from crosscompat.phylogeny.newick import parse_newick
from crosscompat.phylogeny.report import group_census, is_ultrametric, tree_report


def said(text, **how):
    return tree_report(parse_newick(text, **how))


@pytest.mark.parametrize(
    ("text", "how", "keys"),
    [
        ("[&R]((a:1,b:1)95:1,c:2);", {"unit": "My"}, ["size", "rooted", "unit", "ultrametric", "support"]),
        ("((a:1,b:2):1,c:2);", {}, ["size", "rooting_unsaid", "unit_unsaid", "uneven"]),
        ("[&U](a:1,b:2,c:2);", {}, ["size", "unrooted", "unit_unsaid", "uneven"]),
        ("[&U](a:1,b:2,c:2,d:2);", {}, ["size", "unrooted", "unit_unsaid", "uneven", "polytomies"]),
        (
            "((a:1):0,b:-2);",
            {},
            ["size", "rooting_unsaid", "unit_unsaid", "uneven", "single_child", "negative", "zero"],
        ),
        ("(a,b,c);", {"unit": "unit"}, ["size", "rooting_unsaid", "unit_lengths", "polytomies"]),
        ("a:1;", {}, ["size", "rooting_unsaid", "unit_unsaid", "ultrametric"]),
    ],
)
def test_what_stands_out(text, how, keys):
    assert list(said(text, **how)) == keys


def test_figures_are_in_the_sentences():
    notes = said("((a:1,b:2,c:3,d:-0.5)60:1,e:0)0.9;", unit="My")
    assert "5 species" in notes["size"]
    assert "My" in notes["unit"]
    assert "0 to 4" in notes["uneven"]
    assert "at most 4" in notes["polytomies"]
    assert "-0.5" in notes["negative"]
    assert "2 nodes" in notes["support"]
    assert "0.9 to 60" in notes["support"]


def test_a_ladder_is_unusually_deep_and_an_even_tree_is_not(comb):
    assert "deep" in said(comb(150))
    assert "deep" not in said(comb(50))


@pytest.mark.parametrize(("length", "even"), [("1", True), ("1.00005", True), ("1.0003", False)])
def test_rounding_does_not_make_a_dated_tree_uneven(length, even):
    assert is_ultrametric(parse_newick(f"(a:1,b:{length});")) is even


TREE = parse_newick(
    "((((Aus_bus:1,Aus_cus:1):1,Aus_dus:2):1,(Aus_eus:1,Aus_fus:1):2):1,((Bus_gus:1,Bus_hus:1):2,Bus_ius:3):1);"
)


def census(**section):
    return group_census(TREE, {f"Aus_{name}": {"section": group} for name, group in section.items()})


def test_groups_that_are_clades_are_counted_and_not_told():
    found = census(bus="One", cus="One", dus="One", eus="Two", fus="Two")
    assert (found.groups, found.scattered) == (4, ())  # the two genera too


def test_a_group_of_all_is_not_worth_a_word():
    assert group_census(parse_newick("((Aus_bus:1,Aus_cus:1):1,Aus_dus:2);"), {}).groups == 0


def test_who_strays_is_told_beside_those_that_stand_together():
    (found,) = census(bus="One", cus="One", dus="Two", eus="Two", fus="One").scattered[:1]
    assert (found.rank, found.group, found.together) == ("section", "sect. One", 2)
    assert (found.strays, found.strangers) == (("Aus_fus",), ("Aus_dus", "Aus_eus"))


def test_a_species_of_no_known_group_is_no_stranger():
    assert census(bus="One", dus="One").scattered == ()


def test_a_genus_may_be_scattered_too():
    tree = parse_newick("(((Aus_bus:1,Aus_cus:1):1,Bus_dus:2):1,(Aus_eus:1,Cus_fus:1):2);")
    (found,) = group_census(tree, {}).scattered
    assert (found.rank, found.group, found.together) == ("genus", "Aus", 2)
    assert (found.strays, found.strangers) == (("Aus_eus",), ("Bus_dus", "Cus_fus"))


@settings(max_examples=60, deadline=None)
@given(st.lists(st.sampled_from(["One", "Two", "Three", None]), min_size=5, max_size=5))
def test_a_group_is_a_clade_if_no_other_is_under_its_smallest_clade(groups):
    names = ["Aus_bus", "Aus_cus", "Aus_dus", "Aus_eus", "Aus_fus"]
    known = {name: {"section": group} for name, group in zip(names, groups, strict=True) if group}
    found = {one.group: one for one in group_census(TREE, known).scattered if one.rank == "section"}
    for group in ("One", "Two", "Three"):
        members = [name for name, own in zip(names, groups, strict=True) if own == group]
        if len(members) < 2:
            assert f"sect. {group}" not in found
            continue
        under = [TREE.tips[tip] for tip in TREE.tips_under(TREE.mrca(members))]
        strangers = sorted(name for name in under if known.get(name, {}).get("section", group) != group)
        one = found.get(f"sect. {group}")
        assert (one is None) is (not strangers)
        if one is not None:
            assert list(one.strangers) == strangers
            assert one.together + len(one.strays) == len(members)
            assert set(one.strays) < set(members)


@pytest.mark.shared
def test_every_section_and_subsection_is_a_clade_on_the_dated_tree(shared):
    """Smith & Brown 2018, doi 10.1002/ajb2.1019, without the species that NCBI Taxonomy has in no section."""
    import csv

    tree = read_tree(shared / "data" / "trees" / "euphorbia_gbotb.nwk", unit="My")
    with (shared / "facts" / "ncbi_euphorbia_sections.tsv").open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines, delimiter="\t"))
    ranks = ("subgenus", "section", "subsection")
    known = {row["species"].replace(" ", "_"): {rank: row[rank] for rank in ranks if row[rank]} for row in rows}
    found = group_census(tree, known)
    assert found.groups > 70
    assert found.scattered == ()


@pytest.mark.shared
def test_a_species_in_the_wrong_place_of_a_megatree_is_named(shared):
    """The known clash: species of no section sit in false basal clades of the megatree, away from their section."""
    text = (shared / "data" / "trees" / "euphorbia_gbotb.nwk").read_text(encoding="utf-8").strip().rstrip(";")
    tree = parse_newick(f"({text.rsplit(')', 1)[0]}):1,Euphorbia_ledienii:22.9);")
    known = {"Euphorbia_ledienii": {"section": "Euphorbia"}}
    sect = ("resinifera", "ingens", "abyssinica", "cooperi", "canariensis")
    known |= {f"Euphorbia_{name}": {"section": "Euphorbia"} for name in sect}
    known |= {f"Euphorbia_{name}": {"section": "Goniostema"} for name in ("milii", "lophogona", "viguieri")}
    (found,) = group_census(tree, known).scattered
    assert (found.group, found.strays) == ("sect. Euphorbia", ("Euphorbia_ledienii",))


def test_nodes_with_a_single_branch_above_are_counted():
    report = tree_report(parse_newick("((a:1):1,((b:1):1,c:1):1);"))
    assert report["single_child"].startswith("2 nodes have a single branch above")
    assert tree_report(parse_newick("((a:1):1,b:1);"))["single_child"].startswith("1 node has a single")


def test_a_tree_without_lengths_is_told_and_not_called_dated():
    assert list(tree_report(parse_newick("(a:0,(b:0,c:0):0);"))) == ["size", "rooting_unsaid", "unit_unsaid", "flat"]
