"""The matrix in pieces and in order of names, against a naive walk, scipy's order of pairs, and the whole matrix."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.distance import squareform

from crosscompat.ground.errors import BadInput, UnknownName
from crosscompat.phylogeny.newick import parse_newick


def naive_matrix(naive, names):
    by_label = {naive.label[tip]: tip for tip in naive.tips}
    return np.array([[naive.patristic(by_label[a], by_label[b]) for b in names] for a in names])


@settings(max_examples=40, deadline=None)
@given(
    seed=st.integers(0, 10**6),
    size=st.integers(1, 18),
    negative=st.booleans(),
    rows=st.integers(1, 20),
    data=st.data(),
)
def test_pieces_in_any_order_of_names_are_the_naive_distances(seed, size, negative, rows, data, grow):
    naive = grow(seed, size, negative=negative)
    tree = parse_newick(naive.newick())
    names = data.draw(st.none() | st.lists(st.sampled_from(tree.tips), max_size=25))
    whole = tree.patristic_matrix(names)
    asked = tree.tips if names is None else names
    np.testing.assert_allclose(whole, naive_matrix(naive, asked).reshape(whole.shape), rtol=0, atol=1e-9)
    assert np.array_equal(tree.patristic_condensed(names), squareform(whole, checks=False))
    blocks = list(tree.patristic_blocks(names, rows=rows))
    assert [first for first, _ in blocks] == list(range(0, len(asked), rows))
    assert all(len(block) <= rows for _, block in blocks)
    assert np.array_equal(np.concatenate([block for _, block in blocks] or [whole]), whole)


@pytest.mark.parametrize("negative", [False, True])
@pytest.mark.parametrize("names", [None, "some"])
def test_four_bytes_are_the_eight_rounded_once(negative, names, grow):
    tree = parse_newick(grow(5, 300, negative=negative).newick())
    chosen = None if names is None else tree.tips[::-3]
    whole = tree.patristic_matrix(chosen)
    rounded = whole.astype(np.float32)
    assert not np.array_equal(whole, rounded)
    for found in (
        tree.patristic_matrix(chosen, dtype=np.float32),
        np.concatenate([block for _, block in tree.patristic_blocks(chosen, rows=7, dtype=np.float32)]),
    ):
        assert found.dtype == np.float32
        assert np.array_equal(found, rounded)
    half = tree.patristic_condensed(chosen, dtype=np.float32)
    assert half.dtype == np.float32
    assert np.array_equal(half, squareform(rounded, checks=False))


def test_blocks_of_the_mirrors_size_and_beyond_join(grow):
    tree = parse_newick(grow(1, 600).newick())
    whole = tree.patristic_matrix()
    assert np.array_equal(whole, whole.T)
    for rows in (255, 256, 257):
        assert np.array_equal(np.concatenate([block for _, block in tree.patristic_blocks(rows=rows)]), whole)


@pytest.mark.parametrize("seed", range(6))
def test_all_three_distances_from_one_are_those_of_each_pair(seed, grow):
    tree = parse_newick(grow(seed, [1, 2, 5, 13, 30, 41][seed]).newick())
    for tip in tree.tips:
        found = tree.distances_from(tip)
        assert np.array_equal(found.patristic, tree.patristic_from(tip))
        assert found.nodes.tolist() == [tree.node_distance(tip, other) for other in tree.tips]
        clades = [tree.clade(tip, other) for other in tree.tips]
        assert found.size.tolist() == [clade.size for clade in clades]
        assert found.depth.tolist() == [clade.depth for clade in clades]
    names = [*tree.tips[::-2], tree.tips[0]]
    some = tree.distances_from(tree.tips[-1], names)
    assert np.array_equal(some.patristic, tree.patristic_pairs([tree.tips[-1]] * len(names), names))
    assert some.nodes.tolist() == [tree.node_distance(tree.tips[-1], other) for other in names]
    assert some.size.tolist() == [tree.clade(tree.tips[-1], other).size for other in names]


def test_where_clades_mean_nothing_all_three_are_refused():
    with pytest.raises(BadInput, match="unrooted"):
        parse_newick("[&U](a:1,b:1,c:1);").distances_from("a")
    with pytest.raises(BadInput, match="negative"):
        parse_newick("(a:-1,b:1,c:1);").distances_from("a")
    with pytest.raises(UnknownName):
        parse_newick("(a:1,b:1,c:1);").distances_from("x")


def test_a_block_of_no_rows_is_a_wrong_call():
    with pytest.raises(ValueError, match="at least one row"):
        parse_newick("(a:1,b:1,c:1);").patristic_blocks(rows=0)
