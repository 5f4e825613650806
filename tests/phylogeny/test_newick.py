from __future__ import annotations

import io
import random
import tracemalloc

import dendropy
import numpy as np
import pytest
from Bio import Phylo
from hypothesis import given, settings
from hypothesis import strategies as st
from skbio import TreeNode

from crosscompat.ground.errors import BadInput, WrongUse
from crosscompat.ground.names import fold
from crosscompat.phylogeny.newick import parse_newick, parse_newicks


def clades_of(tree):
    """Every node as the tips it holds and its length: the whole topology, whatever the order of children."""
    below = [frozenset()] * tree.n_nodes
    for node, tip in zip(tree.tip_nodes.tolist(), tree.tips, strict=True):
        below[node] = frozenset([tip])
    for node in range(tree.n_nodes - 1):
        below[tree.parent[node]] |= below[node]
    return sorted((sorted(held), float(length)) for held, length in zip(below[:-1], tree.length[:-1], strict=True))


def clades_by_dendropy(text):
    tree = dendropy.Tree.get(data=text, schema="newick", preserve_underscores=True, suppress_internal_node_taxa=True)
    nodes = [node for node in tree.postorder_node_iter() if node.parent_node]
    return sorted((sorted(leaf.taxon.label for leaf in node.leaf_iter()), node.edge.length) for node in nodes)


def clades_by_biopython(text):
    tree = Phylo.read(io.StringIO(text), "newick")
    nodes = [clade for clade in tree.find_clades() if clade is not tree.root]
    return sorted((sorted(tip.name for tip in clade.get_terminals()), clade.branch_length) for clade in nodes)


def clades_by_skbio(text):
    tree = TreeNode.read(io.StringIO(text), format="newick", convert_underscores=False)
    nodes = tree.traverse(include_self=False)
    return sorted((sorted(tip.name for tip in node.tips(include_self=True)), node.length) for node in nodes)


@pytest.mark.parametrize("seed", range(12))
def test_random_trees_are_read_as_three_libraries_read_them(seed, grow):
    text = grow(seed, 3 + 4 * seed, negative=seed % 2 == 1).newick()
    ours = clades_of(parse_newick(text))
    assert ours == clades_by_dendropy(text)
    assert ours == clades_by_biopython(text)
    assert ours == clades_by_skbio(text)


@pytest.mark.parametrize("seed", range(6))
def test_blanks_and_comments_between_change_nothing(seed, grow):
    text = grow(seed, 20).newick()
    rng = random.Random(seed)
    loose = "".join(
        mark + rng.choice(["", " ", "\r\n", "[x]", "\t[(,;:]"]) if mark in "(),:" else mark for mark in text
    )
    assert clades_of(parse_newick(loose)) == clades_of(parse_newick(text))


def test_numbers_on_inner_nodes_are_support_and_names_are_names():
    tree = parse_newick("((((a:1,b:1)95:1,c:1)0.98:1,d:1)'77':1,(e:1,f:1)95/0.9:1)Root;")
    inner = [node for node in range(tree.n_nodes) if node not in tree.tip_nodes]
    assert [tree.labels[node] for node in inner] == ["", "", "77", "95/0.9", "Root"]
    assert np.array_equal(tree.support[inner], [95, 0.98, np.nan, np.nan, np.nan], equal_nan=True)


def test_what_only_looks_like_support_stays_a_name():
    tree = parse_newick("(((((a:1,b:1)nan:1,c:1)1_0:1,d:1)1e999:1,e:1)+9.5e1:1,f:1)٣;")
    inner = [node for node in range(tree.n_nodes) if node not in tree.tip_nodes]
    assert [tree.labels[node] for node in inner] == ["nan", "1_0", "1e999", "", "٣"]
    assert tree.support[inner[3]] == 95


@pytest.mark.parametrize(
    ("text", "rooted"),
    [
        ("(a:1,b:1);", None),
        ("[&R](a:1,b:1);", True),
        ("[&r] (a:1,b:1);", True),
        ("[&U](a:1,b:1);", False),
        ("[hello][&U][&R](a:1,b:1);", True),
        ("(a:1,b:1)[&U];", None),
        ("([&U]a:1,b:1);", None),
        ("[&U]a:1;", False),
        ("[&Rate=2](a:1,b:1);", None),
    ],
)
def test_rooting_marks_stand_before_the_tree(text, rooted):
    assert parse_newick(text).rooted is rooted


def test_each_tree_has_its_own_rooting_mark():
    trees = parse_newicks("[&R](a:1,b:1);\n[&U](a:1,b:1);\n(a:1,b:1);\n[&R]\n(a:1,b:1);")
    assert [tree.rooted for tree in trees] == [True, False, None, True]


@pytest.mark.parametrize(
    ("text", "tips"),
    [
        ("(a [x [y] z] b:1,c:1);", ("a b", "c")),
        ("(a  b:1,c\nd:1);", ("a b", "c d")),
        ("('a  b':1,' c ':1);", ("a  b", " c ")),
        ('( \'a\' :1,"b""c" [x]:1);', ("a", 'b"c')),
        ("(a__b:1,_c:1);", ("a__b", "_c")),
        ("(5'-end:1,b''c:1);", ("5'-end", "b''c")),
        ("(Aloe_\u00e9:1,'\u00d7 a':1);", ("Aloe_\u00e9", "\u00d7 a")),
    ],
)
def test_labels_stay_as_written(text, tips):
    assert parse_newick(text).tips == tips


@pytest.mark.parametrize(
    ("length", "value"),
    [
        ("1", 1),
        ("1.", 1),
        (".5", 0.5),
        ("+2", 2),
        ("-0", 0),
        ("1E3", 1000),
        ("0.1", 0.1),
        ("123456789.123456789", 123456789.123456789),
        (" 3 ", 3),
    ],
)
def test_plain_numbers_are_lengths(length, value):
    assert parse_newick(f"(a:{length},b:1);").length[0] == value


@pytest.mark.parametrize("length", ["x", "1_0", "1.2.3", "0x10", "1e", "e5", "--1", "1 2", "'1'", "١", "1e5.0", "½"])
def test_anything_else_is_no_length(length):
    with pytest.raises(BadInput) as caught:
        parse_newick(f"(a:{length},b:1);")
    (fault,) = caught.value.faults
    assert fault.what == f"“{length}” is no branch length."
    assert (fault.place.character, fault.excerpt[slice(*fault.mark)]) == (4, length)


@pytest.mark.parametrize("length", ["nan", "NaN", "-inf", "Infinity", "NA", "1e999"])
def test_what_cannot_be_added_up_is_no_length(length):
    with pytest.raises(BadInput, match="cannot be added up"):
        parse_newick(f"(a:{length},b:1);")


@pytest.mark.parametrize(
    ("text", "words", "character"),
    [
        ("(a:1,b:1)(c:1,d:1);", "right after one has closed", 10),
        ("x(a:1,b:1);", "“x” stands before", 1),
        ("(a:1,b:(c:1,d:1));", "where a branch length", 8),
        ("(a:1:2,b:1);", "Two colons", 5),
        ("(a:1,b:1),c:1;", "outside all brackets", 10),
        ("(a:1,b:1):0,5;", "“0,5” looks like", 12),
        (";", "no tree before", 1),
        ("(a:1,b:1);;", "no tree before", 11),
        ("(a:1,b:1);c;", "“c” stands after", 11),
        ("(a:1,b:1);(c:1,d:1)", "semicolon", 19),
        ("hello", "neither brackets", 1),
        ("<phyloxml/>", "XML", None),
        ("('a:1,b:1);", "never ends", 2),
        ("('a'b:1,c:1);", "more text follows", 5),
        ("[a(a:1,b:1);", "never ends", 1),
        ("(a]:1,b:1);", "never began", 3),
        ("();", "no name", 2),
        ("(a:1,());", "no name", 7),
        ("(a:1,'':1);", "no name", 6),
    ],
)
def test_faults_of_structure_point_at_their_place(text, words, character):
    with pytest.raises(BadInput) as caught:
        parse_newick(text)
    fault = caught.value.faults[0]
    assert words in fault.what
    assert (fault.place.line, fault.place.character) == (1 if character else None, character)


def test_all_faults_of_a_tree_are_told_in_their_order():
    text = "(a:x,\n b:,c,\r\na:1,(d:1,b:nan):2,(e:1,f:1));"
    with pytest.raises(BadInput) as caught:
        parse_newick(text)
    where = [(fault.place.line, fault.place.character) for fault in caught.value.faults]
    assert where == [(1, 4), (2, 4), (2, 5), (3, 1), (3, 10), (3, 12), (3, 27)]
    # a:x, b:, c without, a again, b again, b:nan, and the group of e and f


def test_many_faults_are_counted_and_not_all_printed():
    text = "(" + ",".join(f"t{i}:x" for i in range(50)) + ");"
    with pytest.raises(BadInput) as caught:
        parse_newick(text)
    assert len(caught.value.faults) == 21
    assert caught.value.faults[-1].what == "30 more branch lengths are no number."


def test_a_long_line_is_shown_around_its_fault():
    text = (
        "("
        + ",".join(f"Aloe_number{i}:1" for i in range(200))
        + ",Aloe_é:oops,"
        + ",".join(f"b{i}:1" for i in range(50))
        + ");"
    )
    with pytest.raises(BadInput) as caught:
        parse_newick(text)
    (fault,) = caught.value.faults
    assert fault.place.character == text.index("oops") + 1
    assert fault.excerpt[slice(*fault.mark)] == "oops"
    assert len(fault.excerpt) <= 62
    assert fault.excerpt[0] == fault.excerpt[-1] == "…"


def test_names_that_fold_to_one_are_duplicates_and_capitals_count():
    with pytest.raises(BadInput, match="“Aloe  vera” is the same name as “Aloe_vera” at line 1, character 2"):
        parse_newick("(Aloe_vera:1,'Aloe  vera':1);")
    with pytest.raises(BadInput, match="same name"):
        parse_newick("(Aloe_\u00e9:1,Aloe_e\u0301:1);")
    assert parse_newick("(Aloe_vera:1,aloe_vera:1);").n_tips == 2


def test_a_mark_of_order_of_bytes_is_told():
    with pytest.raises(BadInput, match="UTF-16"):
        parse_newick("(a:1,b:1);".encode("utf-16"))


def test_an_index_that_is_not_there_is_a_wrong_call():
    with pytest.raises(WrongUse, match="no tree 2: the file holds 2 trees, counted from 0 to 1"):
        parse_newick("(a:1,b:1);(a:1,b:1);", index=2)
    with pytest.raises(WrongUse):
        parse_newick("(a:1,b:1);", index=-2)


def test_faults_of_another_tree_do_not_stand_in_the_way():
    assert parse_newick("(a:1,b:1);(a:1,b);", index=0).n_tips == 2


@settings(max_examples=150, deadline=None)
@given(st.text(alphabet="ab()(),,::;'\"[]1.5 \n_é&R", max_size=30))
def test_any_text_is_read_or_refused_in_our_own_words(text):
    try:
        trees = parse_newicks(text)
    except BadInput as error:
        refused = str(error)
    else:
        refused = ""
        assert trees
        assert all(tree.n_tips == len(set(tree.tips)) and np.isfinite(tree.root_distance).all() for tree in trees)
    assert refused or trees


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.text(min_size=1, max_size=8).filter(lambda name: name.strip("_ ") and name.isprintable()),
        min_size=2,
        max_size=6,
        unique_by=fold,
    )
)
def test_any_quoted_label_comes_back(names):
    quoted = ["'" + name.replace("'", "''") + "'" for name in names]
    assert parse_newick("(" + ",".join(f"{name}:1" for name in quoted) + ");").tips == tuple(names)


def test_reading_holds_less_than_twelve_times_the_file():
    parts = [f"Genus{i // 50}_species{i}:0.{i:06d}" for i in range(2**14)]
    while len(parts) > 1:
        parts = [f"({one},{other}):0.123456" for one, other in zip(parts[::2], parts[1::2], strict=True)]
    text = parts[0].encode() + b";"
    parse_newick(text)
    tracemalloc.start()
    tree = parse_newick(text)
    held, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert tree.n_tips == 2**14
    assert held < 12 * len(text)
    assert most < 12 * len(text)


@pytest.mark.parametrize("name", ["_", "__", "' '", "'_ '"])
def test_a_name_that_folds_to_nothing_is_none(name):
    with pytest.raises(BadInput, match="there is no name"):
        parse_newick(f"({name}:1,b:1);")
