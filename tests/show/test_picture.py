from __future__ import annotations

import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.phylogeny.newick import parse_newick
from crosscompat.show.picture import (
    TipMark,
    children_of,
    lay_out,
    likeliest,
    mark_in_words,
    nice_step,
    past_in_words,
    prune,
    worth_drawing,
)

LENGTH = st.integers(0, 40).map(lambda n: n / 8)


@st.composite
def nested(draw):
    """A tree as nested lists of (child, length), its tips named t0, t1 …"""
    groups = [f"t{place}" for place in range(draw(st.integers(2, 14)))]
    while len(groups) > 1:
        size = draw(st.integers(2, min(4, len(groups))))
        taken = [groups.pop(draw(st.integers(0, len(groups) - 1))) for _ in range(size)]
        groups.append([(child, draw(LENGTH)) for child in taken])
    return groups[0]


def written(tree, shuffle=None):
    if isinstance(tree, str):
        return tree
    children = list(tree)
    if shuffle:
        shuffle(children)
    return "(" + ",".join(f"{written(child, shuffle)}:{length}" for child, length in children) + ")"


def read(tree, shuffle=None):
    return parse_newick(written(tree, shuffle) + ";", unit="My")


@given(nested(), st.integers(0, 10))
@settings(max_examples=60)
def test_the_picture_does_not_depend_on_the_order_of_children(tree, seed):
    one, other = read(tree), read(tree, random.Random(seed).shuffle)
    first, second = lay_out(one), lay_out(other)
    assert [one.labels[tip] for tip in first.tips] == [other.labels[tip] for tip in second.tips]
    places = [sorted(zip(layout.x.round(9), layout.y.round(9), strict=True)) for layout in (first, second)]
    assert places[0] == places[1]


@given(nested())
@settings(max_examples=60)
def test_every_node_stands_where_its_lengths_and_children_say(tree):
    phylogeny = read(tree)
    layout = lay_out(phylogeny)
    if layout.to_scale:
        assert np.allclose(layout.x, phylogeny.root_distance)
    assert sorted(layout.y[list(layout.tips)]) == list(range(phylogeny.n_tips))
    sizes = np.zeros(phylogeny.n_nodes)
    for node, below in enumerate(children_of(phylogeny.parent)):
        sizes[node] = sum(sizes[child] for child in below) or 1
        if below:
            drawn = sorted(below, key=lambda child: layout.y[child])
            assert layout.y[node] == (layout.y[drawn[0]] + layout.y[drawn[-1]]) / 2
            assert [sizes[child] for child in drawn] == sorted(sizes[child] for child in drawn)


@given(nested(), st.data())
@settings(max_examples=60)
def test_pruning_keeps_every_distance(tree, data):
    phylogeny = read(tree)
    kept = data.draw(st.lists(st.sampled_from(phylogeny.tips), min_size=2, unique=True))
    small = prune(phylogeny, kept)
    assert {small.labels[node] for node, below in enumerate(children_of(small.parent)) if not below} == set(kept)
    assert all(len(below) != 1 for below in children_of(small.parent))
    again = type(phylogeny).from_arrays(small.parent, small.length, small.labels, unit="My")
    assert np.allclose(again.patristic_matrix(kept), phylogeny.patristic_matrix(kept))


def test_a_tie_between_equal_clades_goes_by_name():
    layout_of = {
        text: lay_out(parse_newick(text)) for text in ("((b:1,c:1):1,(d:1,a:1):1);", "((a:1,d:1):1,(c:1,b:1):1);")
    }
    for text, layout in layout_of.items():
        labels = parse_newick(text).labels
        assert [labels[tip] for tip in layout.tips] == ["a", "d", "b", "c"]


def test_without_lengths_levels_are_drawn_and_tips_stand_in_line():
    tree = parse_newick("((a:0,b:0):0,c:0);")
    layout = lay_out(tree)
    assert not layout.to_scale
    assert [layout.x[tip] for tip in layout.tips] == [2, 2, 2]
    assert sorted(layout.x) == [0, 1, 2, 2, 2]


def test_a_negative_length_keeps_the_picture_right_of_its_edge():
    layout = lay_out(parse_newick("((a:1,b:2):-0.5,c:3);"))
    assert layout.x.min() == 0
    assert layout.x.max() == 3.5


def test_a_ladder_of_many_levels_needs_no_recursion():
    n = 5000
    text = "(" * n + "t0:1" + "".join(f",t{level}:1):1" for level in range(1, n + 1)) + ";"
    tree = parse_newick(text)
    layout = lay_out(tree)
    assert layout.x.max() == n
    assert lay_out(prune(tree, {"t0", "t3", "t4000"})).x.max() == 4000


def test_pruning_to_unknown_tips_or_none_is_refused():
    tree = parse_newick("((a:1,b:1):1,c:1);")
    with pytest.raises(ValueError, match="'z'"):
        prune(tree, {"a", "z"})
    with pytest.raises(ValueError, match="no tip"):
        prune(tree, set())


@given(st.floats(1e-9, 1e9))
def test_a_scale_bar_is_a_round_number_that_fits(span):
    step = nice_step(span)
    assert step <= span < 2.5 * step * (1 + 1e-12)
    assert f"{step:e}"[0] in "125"
    assert set(f"{step:e}"[2:8]) == {"0"}


@pytest.mark.parametrize("span", [0, -1, float("nan"), float("inf")])
def test_a_scale_needs_a_span(span):
    with pytest.raises(ValueError, match="positive span"):
        nice_step(span)


MARKS = [
    TipMark("a", "Aus aus", 0.3, 0.1, 0.5, took=1),
    TipMark("b", "Bus bus", 0.9, 0.8, 0.95),
    TipMark("c", "Cus cus", None, failed=2),
    TipMark("d", "Dus dus", 0.3),
    TipMark("e", "Eus eus", 0.0),
]


def test_the_likeliest_come_first_and_equal_ones_by_name():
    assert [mark.label for mark in likeliest(reversed(MARKS), "x")] == ["b", "a", "d", "e"]


def test_the_species_asked_about_is_no_partner_of_its_own():
    assert [mark.label for mark in likeliest(MARKS, "b")] == ["a", "d", "e"]


def test_a_tree_that_fits_is_drawn_whole():
    assert worth_drawing("abcde", "a", MARKS, most=5) is None


def test_what_was_tried_is_drawn_before_what_is_merely_likely():
    assert worth_drawing("abcdefgh", "d", MARKS, most=3) == {"d", "a", "c"}
    assert worth_drawing("abcdefgh", "d", MARKS, most=4) == {"d", "a", "c", "b"}
    assert worth_drawing("abcdefgh", "h", [], most=4) == {"h"}


def test_a_mark_is_said_in_one_line():
    assert mark_in_words(MARKS[0]) == "Aus aus: about 1 in 3, 30%, between 10% and 50%; 1 took"
    assert mark_in_words(MARKS[2]) == "Cus cus; 2 failed"
    assert mark_in_words(MARKS[3]) == "Dus dus: about 1 in 3, 30%"


def test_what_never_happened_is_not_said():
    assert past_in_words(MARKS[1]) == ()
