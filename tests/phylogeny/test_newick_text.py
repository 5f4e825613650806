from __future__ import annotations

import dendropy
import numpy as np
import pytest
from dendropy.calculate.treemeasure import patristic_distance
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.carried import carried_trees
from crosscompat.phylogeny.formats import read_tree
from crosscompat.phylogeny.newick import _numbers as read
from crosscompat.phylogeny.newick import newick_text, parse_newick
from crosscompat.phylogeny.text_source import NUMBER
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


@settings(max_examples=80, deadline=None)
@given(
    st.lists(
        st.one_of(
            st.from_regex(NUMBER, fullmatch=True).filter(lambda word: word.isascii()),
            st.floats(allow_nan=False, allow_infinity=False).map(repr),
            st.decimals(min_value=0, max_value=10**9, places=6).map(str),
            st.integers(0, 10**18).map(str),
        ),
        min_size=1,
        max_size=40,
    )
)
def test_numbers_are_read_to_the_last_bit(words):
    values, bad = read(words)
    assert bad == []
    assert values.tolist() == [float(word) for word in words]


@pytest.mark.parametrize("word", [".", "1..2", "", "1:2", "/", "1;", "٣", "1_0", "1 2", "infinity?"])
def test_what_is_no_number_is_named(word):
    values, bad = read(["1.5", word, "2"])
    assert bad == [1]
    assert np.array_equal(values, [1.5, np.nan, 2], equal_nan=True)


@settings(max_examples=100, deadline=None)
@given(st.lists(st.text(alphabet="0123456789./:+e", max_size=17), min_size=1, max_size=20))
def test_digits_and_points_in_any_order_are_a_number_or_none(words):
    values, bad = read(words)
    plain = [bool(NUMBER.fullmatch(word)) for word in words]
    assert bad == [place for place, fine in enumerate(plain) if not fine]
    wanted = [float(word) if fine else np.nan for word, fine in zip(words, plain, strict=True)]
    assert np.array_equal(values, wanted, equal_nan=True)
