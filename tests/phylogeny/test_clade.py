from __future__ import annotations

import numpy as np
import pytest

from crosscompat.ground.errors import BadInput
from crosscompat.phylogeny.newick import parse_newick

TREE = "(((a:1,b:1)Ser:1,c:2):1,(d:1,e:3):1)Genus;"


@pytest.mark.parametrize(
    ("pair", "size", "depth", "name", "members"),
    [
        ("ab", 2, 2 / 3, "Ser", "ab"),
        ("ba", 2, 2 / 3, "Ser", "ab"),
        ("ac", 3, 1 / 3, "Genus", "abc"),
        ("ad", 5, 0, "Genus", "abcde"),
        ("de", 2, 1 / 3, "Genus", "de"),
        ("aa", 1, 1, "Ser", "a"),
        ("ee", 1, 1, "Genus", "e"),
    ],
)
def test_the_smallest_clade_of_two(pair, size, depth, name, members):
    clade = parse_newick(TREE).clade(*pair)
    assert (clade.size, clade.name, clade.members) == (size, name, tuple(members))
    assert clade.depth == pytest.approx(depth, abs=1e-12)


def test_without_names_there_is_no_name():
    assert parse_newick("((a:1,b:1):1,c:2);").clade("a", "b").name == ""


def test_tips_at_the_root_have_depth_one_by_agreement():
    assert parse_newick("(a:0,b:0);").clade("a", "b").depth == 1


@pytest.mark.parametrize("seed", range(4))
def test_clades_are_the_naive_ones(seed, grow):
    naive = grow(seed, 20)
    tree = parse_newick(naive.newick())
    by_label = {naive.label[tip]: tip for tip in naive.tips}
    for x, y in np.random.default_rng(seed).choice(tree.tips, (120, 2)).tolist():
        clade = tree.clade(x, y)
        _, meet = naive.between(by_label[x], by_label[y])
        assert clade.size == sum(meet in naive.path(tip) for tip in naive.tips)
        reach = [sum(naive.length[step] for step in naive.path(node)[:-1]) for node in (meet, by_label[x], by_label[y])]
        assert clade.depth == pytest.approx(2 * reach[0] / (reach[1] + reach[2]) if x != y else 1, abs=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_the_smallest_clade_of_some_is_the_naive_one(seed, grow):
    naive = grow(seed, 20)
    tree = parse_newick(naive.newick())
    by_label = {naive.label[tip]: tip for tip in naive.tips}
    for size in (1, 2, 3, 7):
        names = np.random.default_rng(seed).choice(tree.tips, size).tolist()
        shared = set.intersection(*(set(naive.path(by_label[name])) for name in names))
        smallest = min(sum(node in naive.path(tip) for tip in naive.tips) for node in shared)
        assert tree.tips_under(tree.mrca(names)).size == smallest


def test_the_unit_of_length_does_not_change_the_depth(grow):
    naive = grow(2, 15)
    tree = parse_newick(naive.newick())
    naive.length = {node: 1000 * length for node, length in naive.length.items()}
    scaled = parse_newick(naive.newick(precision=".12g"))
    for a, b in zip(tree.tips[:-1], tree.tips[1:], strict=True):
        assert scaled.clade(a, b).depth == pytest.approx(tree.clade(a, b).depth, abs=1e-9)


def test_an_unrooted_tree_has_no_clades():
    with pytest.raises(BadInput, match="unrooted"):
        parse_newick("[&U](a:1,b:1,c:1);").clade("a", "b")


def test_negative_lengths_give_no_depth():
    tree = parse_newick("((a:1,b:-1):1,c:2);")
    with pytest.raises(BadInput, match="negative"):
        tree.clade("a", "b")
    assert tree.patristic("a", "b") == 0
