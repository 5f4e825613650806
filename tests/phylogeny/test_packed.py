from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from crosscompat.phylogeny.newick import parse_newick
from crosscompat.phylogeny.packed import packed, unpacked
from crosscompat.phylogeny.tree import Phylogeny


def assert_same(found, tree):
    for item in fields(Phylogeny):
        ours, theirs = getattr(found, item.name), getattr(tree, item.name)
        if isinstance(theirs, np.ndarray):
            assert ours.dtype == theirs.dtype
            assert ours.tobytes() == theirs.tobytes()  # to the last bit, and NaN is NaN
            assert not ours.flags.writeable
        else:
            assert (type(ours), ours) == (type(theirs), theirs)


@pytest.mark.parametrize(
    "newick",
    [
        "(Aloe_vera:1,Aloe_ferox:1);",
        "[&U]((a:1,b:-2)0.9:3,'it''s; odd':4e-300)root:7;",
        "[&R](((a:0.1,b:0.1)100/x:0.2,c:0.3)Sect. Übel:0.4,Aloë:1);",
        "(a:1);",
    ],
)
@pytest.mark.parametrize("unit", [None, "My", "unit"])
def test_a_tree_comes_back_to_the_last_bit(newick, unit):
    tree = parse_newick(newick.encode(), unit=unit)
    assert_same(unpacked(packed(tree)), tree)


@given(
    st.lists(st.text(st.characters(exclude_characters="\n")), min_size=2, max_size=6),
    st.data(),
    st.sampled_from([True, False, None]),
    st.none() | st.text(),
)
def test_any_labels_lengths_and_supports_come_back(labels, data, rooted, unit):
    size = len(labels)
    numbers = st.lists(st.floats(), min_size=size, max_size=size)
    length, support = np.array(data.draw(numbers)), np.array(data.draw(numbers))
    parent = np.append(np.full(size - 1, size - 1), -1)
    tree = Phylogeny(parent, length, tuple(labels), support, unit, rooted)
    assert_same(unpacked(packed(tree)), tree)


def test_a_label_with_a_line_end_cannot_be_packed():
    tree = Phylogeny(np.array([2, 2, -1]), np.ones(3), ("a\nb", "c", ""), np.full(3, np.nan))
    assert packed(tree) is None
