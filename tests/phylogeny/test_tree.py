from __future__ import annotations

import copy
import pickle
import subprocess
import sys

import numpy as np
import pytest

from crosscompat.ground.errors import BadInput
from crosscompat.phylogeny import tree_arrays
from crosscompat.phylogeny.distances import DistanceTable
from crosscompat.phylogeny.newick import parse_newick, parse_newicks
from crosscompat.phylogeny.tree import Distances, Phylogeny


def test_the_arrays_cannot_be_written_to():
    tree = parse_newick("((a:1,b:2):3,c:4);")
    for name in ("parent", "length", "support", "tip_nodes", "level", "root_distance"):
        with pytest.raises(ValueError, match="read-only"):
            getattr(tree, name)[0] = 9
    with pytest.raises(AttributeError):
        tree.unit = "My"


def test_copies_are_the_same_tree_and_as_fixed():
    tree = parse_newick("[&R]((a:1,b:2)x:3,c:4);", unit="My")
    known = DistanceTable(tree.tips, tree.patristic_matrix(), "My")
    for made in (tree, known):
        for again in (copy.deepcopy(made), pickle.loads(pickle.dumps(made))):
            assert again.fingerprint == made.fingerprint
            assert repr(again) == repr(made)
            assert len(repr(again)) < 80
    with pytest.raises(ValueError, match="read-only"):
        copy.deepcopy(tree).length[0] = 9


def test_reading_and_measuring_a_newick_loads_no_other_library():
    program = (
        "import sys; from crosscompat.phylogeny.newick import parse_newick; import crosscompat.phylogeny.formats;"
        "import crosscompat.phylogeny.distances; parse_newick('(a:1,b:2);').patristic('a', 'b');"
        "print([name for name in ('pandas', 'scipy', 'sklearn', 'dendropy', 'Bio') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_the_arrays_given_stay_the_callers_own():
    length = np.array([1.0, 2.0, 0.0])
    tree = Phylogeny.from_arrays([2, 2, -1], length, ["a", "b", ""])
    length[0] = 100
    assert tree.patristic("a", "b") == 3


@pytest.mark.parametrize("seed", range(10))
def test_sums_and_counts_are_the_naive_ones(seed, grow):
    naive = grow(seed, 5 * seed + 1, negative=True)
    tree = parse_newick(naive.newick())
    by_label = {naive.label[tip]: tip for tip in naive.tips}
    for node, name in zip(tree.tip_nodes.tolist(), tree.tips, strict=True):
        way = naive.path(by_label[name])[:-1]
        assert tree.level[node] == len(way)
        assert tree.root_distance[node] == pytest.approx(sum(naive.length[step] for step in way), abs=1e-9)
    held = [0] * tree.n_nodes
    for node in tree.tip_nodes.tolist():
        at = node
        while at >= 0:
            held[at] += 1
            at = tree.parent[at]
    assert tree_arrays.tips_below(tree.parent).tolist() == held


def test_the_roots_own_edge_never_counts():
    tree = parse_newick("((a:1,b:2):3,c:4):128.7;")
    assert tree.root_distance[-1] == 0
    assert tree.patristic("a", "c") == 8


@pytest.mark.parametrize(
    ("parent", "length", "labels"),
    [
        ([2, 2, -1], [1, 1], ["a", "b", ""]),
        ([2, 2, -1], [1, 1, 0], ["a", "b"]),
        ([2, 2, 2], [1, 1, 0], ["a", "b", ""]),
        ([-1, 0, 0], [0, 1, 1], ["", "a", "b"]),
        ([4, 3, 4, 4, -1], [1, 1, 1, 1, 0], ["a", "b", "c", "", ""]),
        ([2, 2, -1], [1, np.nan, 0], ["a", "b", ""]),
        ([2, 2, -1], [1, np.inf, 0], ["a", "b", ""]),
        ([3, 2, -1], [1, 1, 0], ["a", "b", ""]),
        ([], [], []),
    ],
)
def test_arrays_that_are_no_tree_in_postorder_are_refused(parent, length, labels):
    with pytest.raises(ValueError, match="must"):
        Phylogeny.from_arrays(parent, length, labels)


def test_from_arrays_refuses_a_name_twice():
    with pytest.raises(BadInput):
        Phylogeny.from_arrays([2, 2, -1], [1, 1, 0], ["a_b", "a b", ""])


@pytest.mark.parametrize("seed", range(5))
def test_from_arrays_takes_every_tree_that_was_read(seed, grow):
    tree = parse_newick(grow(seed, 30).newick())
    again = Phylogeny.from_arrays(tree.parent, tree.length, tree.labels, tree.support)
    assert again.fingerprint == tree.fingerprint


def test_trees_and_tables_are_both_distances():
    def sizes(known: Distances) -> tuple[int, int, int]:
        return len(known.tips), len(known.index.labels), known.patristic_matrix().size

    tree = parse_newick("((a:1,b:2):3,c:4);")
    assert sizes(tree) == sizes(DistanceTable(tree.tips, tree.patristic_matrix())) == (3, 3, 9)


def test_a_fingerprint_tells_what_matters_and_nothing_else():
    base = "((a:1,b:2):3,c:4);"
    prints = {parse_newick(text).fingerprint for text in (base, "(c:4,(b:2,a:1):3);", "((a:1.0,b:2)95:3,c:4):9;")}
    assert len(prints) == 1
    others = [
        "((a:1,b:2):3,d:4);",
        "((a:1,c:2):3,b:4);",
        "((a:1,b:2):3,c:4.5);",
        "((a:1,b:2)x:3,c:4);",
        "[&R]" + base,
        "(a:1,b:2,c:4);",
        "((a:1,b:2):3,(c:4):0);",
    ]
    prints |= {parse_newick(text).fingerprint for text in others}
    prints.add(parse_newick(base, unit="My").fingerprint)
    prints.add(parse_newick(base, unit="unit").fingerprint)
    assert len(prints) == 3 + len(others)


def test_a_fingerprint_is_the_same_on_every_day_and_machine():
    assert parse_newick("((a:1,b:2):3,c:4);").fingerprint == (
        "6bbaa296523429b806eebeb6cad0d4569286c3370c0535239b5b10eb433818ed"
    )


def test_many_trees_of_one_file_stand_for_themselves(grow):
    texts = [grow(seed, 4 + seed).newick() for seed in range(5)]
    together = parse_newicks("\n".join(texts))
    assert [tree.fingerprint for tree in together] == [parse_newick(text).fingerprint for text in texts]


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
