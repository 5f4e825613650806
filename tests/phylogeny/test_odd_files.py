"""Small files that tree libraries refuse, misread or die of, each with the answer it must get."""

from __future__ import annotations

import io

import dendropy
import numpy as np
import pytest
from Bio import Phylo
from skbio import TreeNode

from crosscompat.ground.errors import BadInput
from crosscompat.phylogeny.newick import parse_newick, parse_newicks

# name: text, and tips with their lengths as they must be read
READ = {
    "quoted_space": ("('Aloe vera':1,b:2);", {"Aloe vera": 1, "b": 2}),
    "quoted_special": ("('a,(b):c;d[e]':1,b:2);", {"a,(b):c;d[e]": 1, "b": 2}),
    "quoted_doubled": ("('O''Brien':1,b:2);", {"O'Brien": 1, "b": 2}),
    "cultivar_quote_inside": ("(Malus_'Gala':1,b:2);", {"Malus_'Gala'": 1, "b": 2}),
    "apostrophe_inside": ("(O'Brien:1,b:2);", {"O'Brien": 1, "b": 2}),
    "doublequoted": ('("Aloe vera":1,b:2);', {"Aloe vera": 1, "b": 2}),
    "underscore": ("(Aloe_vera:1,b:2);", {"Aloe_vera": 1, "b": 2}),
    "unquoted_space": ("(Aloe vera:1,b:2);", {"Aloe vera": 1, "b": 2}),
    "comment": ("(a[first]:1,b:[second]2);", {"a": 1, "b": 2}),
    "comment_special": ("(a[x,(y):3;]:1,b:2);", {"a": 1, "b": 2}),
    "rooted_marker": ("[&R](a:1,b:2);", {"a": 1, "b": 2}),
    "support_label": ("((a:1,b:2)95:1,c:3);", {"a": 1, "b": 2, "c": 3}),
    "support_dup": ("((a:1,b:2)95:1,(c:3,d:4)95:1);", {"a": 1, "b": 2, "c": 3, "d": 4}),
    "named_internal": ("((a:1,b:2)Aloe:1,c:3)root;", {"a": 1, "b": 2, "c": 3}),
    "negative": ("(a:-1,b:2);", {"a": -1, "b": 2}),
    "scientific": ("(a:1e-3,b:2.5E+2);", {"a": 0.001, "b": 250}),
    "polytomy": ("(a:1,b:2,c:3,d:4);", {"a": 1, "b": 2, "c": 3, "d": 4}),
    "unifurcation": ("((a:1):1,(b:2,c:3):1);", {"a": 1, "b": 2, "c": 3}),
    "bom": (b"\xef\xbb\xbf(a:1,b:2);", {"a": 1, "b": 2}),
    "crlf": ("(a:1,b:2);\r\n", {"a": 1, "b": 2}),
    "newline_in_tree": ("(a:1,\n(b:2,\r\n c:3):1);", {"a": 1, "b": 2, "c": 3}),
    "single_tip": ("a:1;", {"a": 1}),
    "single_tip_paren": ("(a:1);", {"a": 1}),
    "root_length": ("(a:1,b:2):7;", {"a": 1, "b": 2}),
    "utf8_hybrid": (
        "(×Gasteraloe_beguinii:1,Aloe_×_spinosissima:2);",
        {"×Gasteraloe_beguinii": 1, "Aloe_×_spinosissima": 2},
    ),
    "leading_space_name": ("( a:1, b:2);", {"a": 1, "b": 2}),
    "numeric_tip": ("(1:0.5,2:0.25);", {"1": 0.5, "2": 0.25}),
}

# name: text, a word of the answer, line and character
REFUSED = {
    "missing_some": ("(a:1,b);", "no length", 1, 6),
    "missing_all": ("((a,b),c);", "No branch of this tree", 1, 3),
    "dup_tips": ("(a:1,(b:1,a:2):1);", "twice; the first is at line 1, character 2", 1, 11),
    "trailing_garbage": ("(a:1,b:2);garbage", "after the end of the tree", 1, 11),
    "two_trees": ("(a:1,b:2);\n(c:1,d:2);", "2 trees", None, None),
    "no_semicolon": ("(a:1,b:2)", "does not end with a semicolon", 1, 9),
    "missing_close": ("((a:1,b:2):1,c:3;", "still open", 1, 1),
    "extra_close": ("(a:1,b:2));", "closes nothing", 1, 10),
    "truncated": ("((a:1,b:2):1,(c:3,d", "in the middle of the tree", 1, 14),
    "empty": ("", "empty", None, None),
    "whitespace": (" \n\t\n", "empty", None, None),
    "bad_length": ("(a:x,b:2);", "“x” is no branch length", 1, 4),
    "comma_decimal": ("(a:1,5,b:2);", "decimal comma", 1, 6),
    "empty_length": ("(a:,b:2);", "there is no branch length", 1, 4),
    "nan_length": ("(a:nan,b:2);", "“nan”, which is no number", 1, 4),
    "empty_name": ("(:1,b:2);", "no name", 1, 2),
    "double_comma": ("(a:1,,b:2);", "no name", 1, 6),
    "csv_file": ("name,spines\nAloe vera,yes\n", "looks like a table", None, None),
    "nexus_file": ("#NEXUS\nbegin trees;\ntree t = (a:1,b:2);\nend;\n", "NEXUS", None, None),
    "latin1": ("(a:1,\nAloe_×:2);".encode("latin-1"), "0xD7 is not UTF-8", 2, 6),
}

LADDERS = (5_000, 20_000)

# Files that the libraries read, in their own way, without a word.
MISREAD = {
    "dendropy": (
        "missing_some",
        "missing_all",
        "trailing_garbage",
        "two_trees",
        "comma_decimal",
        "nan_length",
        "empty_name",
        "double_comma",
    ),
    "biopython": (
        "missing_some",
        "missing_all",
        "dup_tips",
        "no_semicolon",
        "bad_length",
        "comma_decimal",
        "empty_length",
        "nan_length",
        "empty_name",
        "double_comma",
        "csv_file",
    ),
    "skbio": (
        "missing_some",
        "missing_all",
        "dup_tips",
        "trailing_garbage",
        "two_trees",
        "comma_decimal",
        "nan_length",
        "empty_name",
        "double_comma",
    ),
}

# Files that are right and that the libraries refuse or read as something else.
DENDROPY_CANNOT = {"doublequoted", "unquoted_space", "bom"}
BIOPYTHON_CANNOT = {"comment", "cultivar_quote_inside", "apostrophe_inside", "doublequoted", "unquoted_space", "bom"}
SKBIO_CANNOT = {"cultivar_quote_inside", "apostrophe_inside", "doublequoted", "unquoted_space", "bom"}


def by_dendropy(text):
    tree = dendropy.Tree.get(data=text, schema="newick", preserve_underscores=True, suppress_internal_node_taxa=True)
    return {leaf.taxon and leaf.taxon.label: leaf.edge.length for leaf in tree.leaf_node_iter()}


def by_biopython(text):
    tree = Phylo.read(io.StringIO(text), "newick")
    return {clade.name: clade.branch_length for clade in tree.get_terminals()}


def by_skbio(text):
    tree = TreeNode.read(io.StringIO(text), format="newick", convert_underscores=False, verify=False)
    return {tip.name: tip.length for tip in tree.tips(include_self=True)}


JUDGES = {"dendropy": by_dendropy, "biopython": by_biopython, "skbio": by_skbio}


def test_every_odd_file_has_its_answer():
    assert len(READ) + len(REFUSED) + len(LADDERS) == 49


@pytest.mark.parametrize("name", READ)
def test_what_is_right_is_read(name):
    text, tips = READ[name]
    tree = parse_newick(text)
    assert dict(zip(tree.tips, tree.length[tree.tip_nodes], strict=True)) == tips


@pytest.mark.parametrize("name", REFUSED)
def test_what_is_wrong_is_told_with_its_place(name):
    text, words, line, character = REFUSED[name]
    with pytest.raises(BadInput) as caught:
        parse_newick(text, file="odd.nwk")
    (fault,) = caught.value.faults
    assert words in fault.what
    assert fault.advice
    assert (fault.place.file, fault.place.line, fault.place.character) == ("odd.nwk", line, character)
    if line:
        start, stop = fault.mark
        assert 0 <= start < stop <= len(fault.excerpt) + 1


@pytest.mark.parametrize("text", ["(a:1,b:2)", "(a:1,b:22)", "(a:1,b:2)root", "(a:1,b:2)root:10"])
def test_behind_what_the_semicolon_is_missing_is_marked(text):
    with pytest.raises(BadInput) as caught:
        parse_newick(text)
    (fault,) = caught.value.faults
    assert fault.mark == (len(text) - 1, len(text))


@pytest.mark.parametrize("levels", LADDERS)
def test_ladders_are_read(levels, comb):
    tree = parse_newick(comb(levels))
    assert tree.n_tips == levels + 1
    assert tree.patristic("t0", f"t{levels}") == levels + 1
    assert tree.node_distance("t0", "t1") == 1


def test_the_deepest_ladder_is_read(comb):
    tree = parse_newick(comb(74_000))
    assert tree.level.max() == 74_000
    assert tree.patristic("t0", "t74000") == 74_001
    assert tree.patristic("t10", "t70000") == 70_000 - 10 + 2


@pytest.mark.parametrize("name", sorted(READ.keys() - DENDROPY_CANNOT))
def test_dendropy_reads_the_same(name):
    assert by_dendropy(READ[name][0]) == READ[name][1]


@pytest.mark.parametrize("name", sorted(READ.keys() - BIOPYTHON_CANNOT))
def test_biopython_reads_the_same(name):
    assert by_biopython(READ[name][0]) == READ[name][1]


@pytest.mark.parametrize("name", sorted(READ.keys() - SKBIO_CANNOT))
def test_scikit_bio_reads_the_same(name):
    assert by_skbio(READ[name][0]) == READ[name][1]


@pytest.mark.parametrize(("judge", "name"), [(judge, name) for judge, names in MISREAD.items() for name in names])
def test_we_speak_where_a_library_says_nothing(judge, name):
    text = REFUSED[name][0]
    JUDGES[judge](text)  # takes it without a word
    with pytest.raises(BadInput):
        parse_newick(text)


def test_two_trees_can_be_chosen_from():
    text = REFUSED["two_trees"][0]
    assert parse_newick(text, index=0).tips == ("a", "b")
    assert parse_newick(text, index=-1).tips == ("c", "d")
    assert [tree.tips for tree in parse_newicks(text)] == [("a", "b"), ("c", "d")]


def test_missing_lengths_are_read_with_unit_lengths():
    tree = parse_newick(REFUSED["missing_all"][0], unit="unit")
    assert np.array_equal(tree.patristic_matrix(), [[0, 2, 3], [2, 0, 3], [3, 3, 0]])
    assert parse_newick(REFUSED["missing_some"][0], unit="unit").patristic("a", "b") == 2


def test_a_decimal_comma_is_told_under_unit_lengths_too():
    with pytest.raises(BadInput, match="decimal comma"):
        parse_newick(REFUSED["comma_decimal"][0], unit="unit")
