from __future__ import annotations

import dendropy
import numpy as np
import pytest
from dendropy.calculate.treemeasure import patristic_distance
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.carried import carried_trees
from crosscompat.phylogeny.formats import read_tree
from crosscompat.phylogeny.newick import newick_text, parse_newick
from crosscompat.phylogeny.tree import Phylogeny


def same(one, other):
    assert one.labels == other.labels
    assert one.rooted is other.rooted
    assert one.parent.tolist() == other.parent.tolist()
    np.testing.assert_array_equal(one.length, other.length)
    np.testing.assert_array_equal(one.support, other.support)


@pytest.mark.parametrize(
    "text",
    [
        "[&R]((a:1,b:2)95:3,c:4)root:9;",
        "[&U](a:1,b:2,c:1e-7);",
        "(a:1,(b:2,c:1)0.98765432109:1);",
        "(a:-1,('b c':1,'d''e':2)'95':3,('f(g)':1,\"h'i\":0)x_y:1);",
        "((((a:1):1):1):1,b:0.1);",
        "(Aus_×_bus:1,naïve:2);",
    ],
)
def test_what_is_written_reads_back_the_same(text):
    tree = parse_newick(text)
    same(parse_newick(newick_text(tree)), tree)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.text(
            st.characters(exclude_categories=("Cs", "Cc", "Zl", "Zp", "Zs", "Cn", "Cf")) | st.just(" "), min_size=1
        ),
        min_size=2,
        max_size=5,
        unique_by=lambda name: " ".join(name.replace("_", " ").split()).casefold(),
    ).filter(lambda names: all(name.replace("_", " ").strip() for name in names)),
    st.lists(st.floats(allow_nan=False, allow_infinity=False), min_size=5, max_size=5),
)
def test_any_name_and_length_reads_back(names, lengths):
    size = len(names)
    tree = Phylogeny.from_arrays([size] * size + [-1], [*lengths[:size], np.nan], [*names, ""])
    same(parse_newick(newick_text(tree)), tree)


@pytest.mark.parametrize("carried", carried_trees(), ids=lambda tree: tree.name)
def test_another_library_reads_the_same_distances(carried):
    tree = read_tree(carried.tree, unit=carried.unit)
    text = newick_text(tree)
    same(parse_newick(text, unit=carried.unit), tree)
    theirs = dendropy.Tree.get(data=text, schema="newick", preserve_underscores=True)
    theirs.is_rooted = True
    taxa = {taxon.label: taxon for taxon in theirs.taxon_namespace}
    for a, b in zip(tree.tips[:25], tree.tips[::-1], strict=False):
        assert patristic_distance(theirs, taxa[a], taxa[b]) == pytest.approx(tree.patristic(a, b))
