"""Distances against a naive walk, against three libraries, and by the axioms of a metric."""

from __future__ import annotations

import io
import random
from functools import partial
from itertools import pairwise

import dendropy
import numpy as np
import pytest
from Bio import Phylo
from hypothesis import given, settings
from hypothesis import strategies as st
from skbio import TreeNode

from crosscompat.ground.errors import UnknownName
from crosscompat.phylogeny.newick import parse_newick
from crosscompat.phylogeny.tree_arrays import MrcaTable, pick

close = partial(np.testing.assert_allclose, rtol=0, atol=1e-9)


def naive_matrix(tree, labels, measure):
    by_label = {tree.label[tip]: tip for tip in tree.tips}
    return np.array([[measure(by_label[a], by_label[b]) for b in labels] for a in labels])


@pytest.mark.parametrize("negative", [False, True])
@pytest.mark.parametrize("seed", range(8))
def test_every_form_of_distance_is_the_naive_one(seed, negative, grow):
    naive = grow(seed, [1, 2, 3, 7, 15, 24, 33, 40][seed], negative=negative)
    tree = parse_newick(naive.newick())
    assert tree.has_negative is any(length < 0 for length in naive.length.values())
    wanted = naive_matrix(naive, tree.tips, naive.patristic)
    edges = naive_matrix(naive, tree.tips, naive.nodes_between)
    close(tree.patristic_matrix(), wanted)
    assert np.array_equal(tree.node_distance_matrix(), edges)
    a, b = ([tree.tips[i] for i in side.ravel()] for side in np.indices(wanted.shape))
    close(tree.patristic_pairs(a, b), wanted.ravel())
    for i, name in enumerate(tree.tips):
        close(tree.patristic_from(name), wanted[i])
        close([tree.patristic(name, other) for other in tree.tips], wanted[i])
        assert [tree.node_distance(name, other) for other in tree.tips] == edges[i].tolist()


@pytest.mark.parametrize("seed", range(4))
def test_all_forms_give_the_same_bits(seed, grow):
    tree = parse_newick(grow(seed, 60).newick())
    matrix = tree.patristic_matrix()
    a, b = ([tree.tips[i] for i in side.ravel()] for side in np.indices(matrix.shape))
    assert np.array_equal(tree.patristic_pairs(a, b), matrix.ravel())
    assert np.array_equal([tree.patristic_from(tip) for tip in tree.tips], matrix)
    assert [tree.patristic(x, y) for x, y in zip(a, b, strict=True)] == matrix.ravel().tolist()


@pytest.mark.parametrize("seed", range(4))
def test_patristic_distances_are_dendropys_biopythons_and_scikit_bios(seed, grow):
    text = grow(seed, 25, negative=seed == 3).newick()
    tree = parse_newick(text)
    matrix = tree.patristic_matrix()
    by_skbio = TreeNode.read(io.StringIO(text), format="newick", convert_underscores=False).cophenet()
    close(matrix, by_skbio.filter(tree.tips).data)
    other = dendropy.Tree.get(data=text, schema="newick", preserve_underscores=True, suppress_internal_node_taxa=True)
    by_dendropy = other.phylogenetic_distance_matrix()
    taxa = {taxon.label: taxon for taxon in other.taxon_namespace}
    close(matrix, [[by_dendropy(taxa[a], taxa[b]) for b in tree.tips] for a in tree.tips])
    by_biopython = Phylo.read(io.StringIO(text), "newick")
    close(matrix[:6], [[by_biopython.distance(a, b) for b in tree.tips] for a in tree.tips[:6]])


@pytest.mark.parametrize("seed", range(4))
def test_node_distances_are_dendropys_and_biopythons(seed, grow):
    text = grow(seed, 25).newick()
    tree = parse_newick(text)
    matrix = tree.node_distance_matrix()
    other = dendropy.Tree.get(data=text, schema="newick", preserve_underscores=True, suppress_internal_node_taxa=True)
    edges = other.phylogenetic_distance_matrix()
    taxa = {taxon.label: taxon for taxon in other.taxon_namespace}
    by_dendropy = [[max(0, edges.path_edge_count(taxa[a], taxa[b]) - 1) for b in tree.tips] for a in tree.tips]
    assert matrix.tolist() == by_dendropy
    by_biopython = Phylo.read(io.StringIO(text), "newick")
    on_the_way = [[max(0, len(by_biopython.trace(a, b)) - 1) for b in tree.tips] for a in tree.tips[:6]]
    assert matrix[:6].tolist() == on_the_way


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 10**6), size=st.integers(2, 25))
def test_distances_are_a_metric_and_fit_four_points(seed, size, grow):
    """On a tree of two pairs of four points the larger two of the three sums are equal (Buneman 1974)."""
    tree = parse_newick(grow(seed, size).newick())
    for matrix in (tree.patristic_matrix(), tree.node_distance_matrix() + 1.0 - np.eye(size)):
        assert np.array_equal(matrix, matrix.T)
        assert (np.diag(matrix) == 0).all()
        assert (matrix >= 0).all()
        assert (matrix[:, None, :] <= matrix[:, :, None] + matrix[None, :, :] + 1e-9).all()
        rng = random.Random(seed)
        a, b, c, d = (rng.randrange(size) for _ in range(4))
        sums = sorted([matrix[a, b] + matrix[c, d], matrix[a, c] + matrix[b, d], matrix[a, d] + matrix[b, c]])
        assert sums[2] - sums[1] < 1e-9


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 10**6), size=st.integers(2, 25))
def test_order_of_children_and_names_of_tips_change_nothing(seed, size, grow):
    naive = grow(seed, size, negative=seed % 2 == 1)
    tree, turned = parse_newick(naive.newick()), parse_newick(naive.newick(random.Random(seed)))
    close(turned.patristic_matrix(tree.tips), tree.patristic_matrix())
    assert np.array_equal(turned.node_distance_matrix(tree.tips), tree.node_distance_matrix())
    assert turned.fingerprint == tree.fingerprint
    naive.label = {node: f"x{node}" for node in naive.label}
    assert np.array_equal(parse_newick(naive.newick()).patristic_matrix(), tree.patristic_matrix())


@pytest.mark.parametrize("negative", [False, True])
def test_a_matrix_of_some_names_keeps_their_order_and_repeats(negative, grow):
    tree = parse_newick(grow(5, 30, negative=negative).newick())
    rng = random.Random(1)
    for count in (1, 2, 5, 30):
        names = rng.choices(tree.tips, k=count)
        places = [tree.tips.index(name) for name in names]
        close(tree.patristic_matrix(names), tree.patristic_matrix()[np.ix_(places, places)])
        close(tree.patristic_from(names[0], names), tree.patristic_matrix(names)[0])
    assert tree.patristic_matrix([]).shape == (0, 0)


def test_equal_tips_on_branches_of_no_length_are_at_exactly_zero():
    tree = parse_newick("((((a:0,b:0):0.1,c:0.1):0.2,d:0):0.3,((e:0):0,f:0):0);")
    assert tree.patristic("a", "b") == 0
    assert tree.patristic("e", "f") == 0
    assert tree.patristic_matrix().min() == 0


@settings(max_examples=40, deadline=None)
@given(
    seed=st.integers(0, 10**6),
    size=st.integers(1, 18),
    negative=st.booleans(),
    rows=st.integers(1, 20),
    data=st.data(),
)
def test_blocks_in_any_order_of_names_join_to_the_naive_distances(seed, size, negative, rows, data, grow):
    naive = grow(seed, size, negative=negative)
    tree = parse_newick(naive.newick())
    names = data.draw(st.none() | st.lists(st.sampled_from(tree.tips), max_size=25))
    whole = tree.patristic_matrix(names)
    listed = tree.tips if names is None else names
    close(whole, naive_matrix(naive, listed, naive.patristic).reshape(whole.shape))
    blocks = list(tree.patristic_blocks(names, rows=rows))
    assert [first for first, _ in blocks] == list(range(0, len(listed), rows))
    assert all(len(block) <= rows for _, block in blocks)
    assert np.array_equal(np.concatenate([block for _, block in blocks] or [whole]), whole)


def test_a_block_of_no_rows_is_a_wrong_call():
    with pytest.raises(ValueError, match="must not be zero"):
        parse_newick("(a:1,b:1,c:1);").patristic_blocks(rows=0)


def test_an_unrooted_trees_root_of_two_branches_is_no_node():
    text = "((a:1,b:1):1,(c:1,(d:1):1):1);"
    for marked, across in (("", 3), ("[&R]", 3), ("[&U]", 2)):
        tree = parse_newick(marked + text)
        assert tree.node_distance("a", "c") == across
        assert tree.node_distance("a", "b") == 1
        assert tree.node_distance("c", "d") == 2  # the node with a single child counts
        assert tree.node_distance_matrix(["a", "c"])[0, 1] == across
    assert parse_newick("[&U](a:1,b:1);").node_distance("a", "b") == 0
    assert parse_newick("[&U](a:1,b:1,c:1);").node_distance("a", "b") == 1


def test_names_are_taken_with_underscores_or_spaces_or_as_plant_names():
    tree = parse_newick("(Aloe_vera:1,'Aloe ferox':2,t-7:3);")
    for first in ("Aloe_vera", "Aloe vera", " Aloe  vera", "Aloe vera (L.) Burm. f."):
        assert tree.patristic(first, "Aloe_ferox") == 3
    assert tree.patristic_pairs(["Aloe vera", "t-7"], ["t-7", "Aloe ferox"]).tolist() == [4, 5]
    with pytest.raises(UnknownName) as caught:
        tree.patristic("Aloe veraa", "t-7")
    assert caught.value.nearest[0] == "Aloe_vera"
    with pytest.raises(UnknownName):
        tree.patristic_pairs(["Aloe vera"], ["no such plant"])


def test_lists_of_two_lengths_are_refused():
    tree = parse_newick("(a:1,b:2);")
    with pytest.raises(ValueError, match="one length"):
        tree.patristic_pairs(["a", "b"], ["a"])


def walked(parent, a, b):
    above = {a}
    while parent[a] >= 0:
        a = parent[a]
        above.add(a)
    while b not in above:
        b = parent[b]
    return b


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 10**6), size=st.integers(1, 40), data=st.data())
def test_every_pair_meets_where_their_ways_to_the_root_do(seed, size, data, grow):
    tree = parse_newick(grow(seed, size).newick())
    parent, tips = tree.parent.tolist(), tree.tip_nodes
    meets = tree._meets
    a, b = (side.ravel() for side in np.indices((size, size)))
    wanted = [walked(parent, tips[i], tips[j]) for i, j in zip(a, b, strict=True)]
    assert MrcaTable(tips, meets).of(a, b).tolist() == wanted
    chosen = np.array(sorted(data.draw(st.sets(st.integers(0, size - 1), min_size=1))))
    neighbours = [walked(parent, tips[i], tips[j]) for i, j in pairwise(chosen)]
    assert pick(meets, chosen).tolist() == neighbours


@pytest.mark.parametrize("number", [-1, 3])
def test_a_number_of_no_tip_is_refused(number):
    tree = parse_newick("((a:1,b:1):1,c:1);")
    for a, b in ((number, 0), (0, number)):
        with pytest.raises(IndexError, match="from 0 to 2"):
            tree.patristic_between(np.array([1, a]), np.array([2, b]))
