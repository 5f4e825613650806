"""Neighbour joining against published and worked examples; average linkage of the same tables."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from skbio import DistanceMatrix
from skbio.tree import nj

from crosscompat.ground.errors import BadInput, UnknownName, WrongUse
from crosscompat.model.pairings import average_linkage
from crosscompat.phylogeny.neighbour_joining import MOST, Alignment, jukes_cantor, neighbour_joining, read_alignment
from crosscompat.phylogeny.newick import parse_newick


def square(names, rows):
    """A table from the rows of its upper triangle."""
    size = len(names)
    table = np.zeros((size, size))
    table[np.triu_indices(size, 1)] = [value for row in rows for value in row]
    return names, table + table.T


# A: stated in the tests of scikit-bio (skbio/tree/tests/test_me.py). Additive, so distances come back.
A = square("abcde", [[5, 9, 9, 8], [10, 10, 9], [8, 7], [3]])
# B: 5S ribosomal RNA of five bacteria, as in textbooks on average linkage (from memory).
B = square("abcde", [[17, 21, 31, 23], [30, 34, 21], [28, 39], [43]])
# C: Saitou & Nei 1987, Mol Biol Evol 4:406-425 (the matrix from memory). Additive.
C = square(
    "12345678",
    [[7, 8, 11, 13, 16, 13, 17], [5, 8, 10, 13, 10, 14], [5, 7, 10, 7, 11], [8, 11, 8, 12], [5, 6, 10], [9, 13], [8]],
)
# D: the test set of PHYLIP's program neighbor (from memory).
D = square(
    ("Bovine", "Mouse", "Gibbon", "Orang", "Gorilla", "Chimp", "Human"),
    [
        [1.6866, 1.7198, 1.6606, 1.5243, 1.6043, 1.5905],
        [1.5232, 1.4841, 1.4465, 1.4389, 1.4629],
        [0.7115, 0.5958, 0.6179, 0.5583],
        [0.4631, 0.5061, 0.4710],
        [0.3484, 0.3083],
        [0.2692],
    ],
)
# E: immunological distances of carnivores, Sarich 1969 (the matrix from memory).
E = square(
    ("dog", "bear", "raccoon", "weasel", "seal", "sea_lion", "cat", "monkey"),
    [
        [32, 48, 51, 50, 48, 98, 148],
        [26, 34, 29, 33, 84, 136],
        [42, 44, 44, 92, 152],
        [44, 38, 86, 142],
        [24, 89, 142],
        [90, 142],
        [148],
    ],
)


def tip_lengths(tree, outgroup):
    """Lengths of the tips' own branches; the outgroup's is cut in two by the root."""
    own = {tip: float(tree.length[node]) for tip, node in zip(tree.tips, tree.tip_nodes.tolist(), strict=True)}
    return {tip: length * (2 if tip == outgroup else 1) for tip, length in own.items()}


def inner_lengths(tree, outgroup):
    """Lengths of the inner branches, but the one that the root cuts."""
    tips = set(tree.tip_nodes.tolist())
    own = [float(tree.length[node]) for node in range(tree.n_nodes - 1) if node not in tips]
    halves = [float(tree.length[node]) for node in range(tree.n_nodes - 1) if tree.parent[node] == tree.n_nodes - 1]
    assert halves[0] == pytest.approx(halves[1])
    own.remove(halves[0] if halves[0] in own else halves[1])
    return sorted(own)


@pytest.mark.parametrize(
    ("example", "tips", "inner"),
    [
        (A, {"a": 2, "b": 3, "c": 4, "d": 2, "e": 1}, [2, 3]),
        (C, {"1": 5, "2": 2, "3": 1, "4": 3, "5": 1, "6": 4, "7": 2, "8": 6}, [1, 1, 2, 2, 2]),
        (
            D,
            {
                "Chimp": 0.15167,
                "Human": 0.11753,
                "Gorilla": 0.15393,
                "Orang": 0.28469,
                "Gibbon": 0.35793,
                "Mouse": 0.76891,
                "Bovine": 0.91769,
            },
            [0.02696, 0.03982, 0.04648, 0.42027],
        ),
        (E, {"seal": 12.35, "sea_lion": 11.65, "dog": 25.25, "cat": 47.0833, "monkey": 100.9167}, None),
    ],
    ids="ACDE",
)
def test_neighbours_join_as_published(example, tips, inner):
    names, table = example
    outgroup = names[0]
    tree = neighbour_joining(names, table, outgroup=[outgroup])
    found = tip_lengths(tree, outgroup)
    assert {name: found[name] for name in tips} == pytest.approx(tips, abs=5e-5)
    if inner is not None:
        assert inner_lengths(tree, outgroup) == pytest.approx(inner, abs=5e-5)


@pytest.mark.parametrize("example", [A, C], ids="AC")
@pytest.mark.parametrize("rooting", ["midpoint", "outgroup"])
def test_additive_distances_come_back(example, rooting):
    names, table = example
    tree = neighbour_joining(names, table, outgroup=[] if rooting == "midpoint" else [names[1]], unit="steps")
    assert tree.patristic_matrix(list(names)) == pytest.approx(table)
    assert (tree.unit, tree.rooted) == ("steps", True)


def heights(table):
    """Heights at which average linkage joins."""
    joined = average_linkage(table)
    return sorted(set(np.round(joined[np.triu_indices(len(joined), 1)] / 2, 6)))


@pytest.mark.parametrize(
    ("example", "published"),
    [
        (B, [8.5, 11, 14, 16.5]),
        (D, [0.1346, 0.1642, 0.2400, 0.3104, 0.7356, 0.8155]),
        (E, [12, 13, 18.75, 19.75, 22.9, 44.9167, 72.1429]),
    ],
    ids="BDE",
)
def test_average_linkage_joins_at_the_published_heights(example, published):
    assert heights(example[1]) == pytest.approx(published, abs=6e-5)


def random_tree(seed, tips):
    rng = np.random.default_rng(seed)
    parts = [f"t{i}" for i in range(tips)]
    while len(parts) > 1:
        i, j = sorted(rng.choice(len(parts), 2, replace=False))
        right, left = parts.pop(j), parts.pop(i)
        parts.append(f"({left}:{rng.uniform(0.1, 1):.6f},{right}:{rng.uniform(0.1, 1):.6f})")
    return parse_newick(f"{parts[0]};")


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.integers(3, 10), st.booleans())
def test_distances_of_any_tree_come_back(seed, tips, midpoint):
    first = random_tree(seed, tips)
    names, table = list(first.tips), first.patristic_matrix()
    tree = neighbour_joining(names, table, outgroup=[] if midpoint else names[:1])
    assert tree.patristic_matrix(names) == pytest.approx(table, abs=1e-9)
    if midpoint:
        reach = sorted(tree.root_distance[tree.tip_nodes])
        assert reach[-1] == pytest.approx(reach[-2]) == pytest.approx(table.max() / 2)
    else:
        (away,) = [node for node in tree.tip_nodes.tolist() if tree.labels[node] == names[0]]
        assert tree.parent[away] == tree.n_nodes - 1


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10_000), st.sampled_from([4, 7, 30]))
def test_noisy_distances_join_as_in_scikit_bio(seed, tips):
    rng = np.random.default_rng(seed)
    first = random_tree(seed, tips)
    names, table = list(first.tips), first.patristic_matrix()
    noise = np.triu(rng.uniform(-0.05, 0.05, table.shape), 1)
    table = table + noise + noise.T
    theirs = nj(DistanceMatrix(table, names), neg_as_zero=True)
    wanted = theirs.cophenet().filter(names).data
    assert neighbour_joining(names, table, outgroup=names[:1]).patristic_matrix(names) == pytest.approx(
        wanted, abs=1e-9
    )


def test_an_outgroup_of_several_species_stands_apart_from_the_rest():
    names, table = C
    tree = neighbour_joining(names, table, outgroup=["1", "2"])
    assert tree.clade("3", "8").size == 6
    assert tree.patristic_matrix(list(names)) == pytest.approx(table)


@pytest.mark.parametrize(
    ("outgroup", "says"),
    [(list("12345678"), "at least one"), (["1", "8"], r"outgroup \(1, 8\) does not stand apart")],
)
def test_an_outgroup_that_is_none_is_refused(outgroup, says):
    with pytest.raises(WrongUse, match=says):
        neighbour_joining(*C, outgroup=outgroup)


def test_an_outgroup_may_be_named_as_any_plant():
    names = ["Aus_bus", "Aus_cus", "Bus_dus", "Bus_eus"]
    tree = neighbour_joining(names, square(names, [[2, 6, 6], [6, 6], [2]])[1], outgroup=["Bus dus", "bus eus"])
    assert tree.clade("Aus bus", "Aus cus").size == 2
    with pytest.raises(UnknownName):
        neighbour_joining(names, square(names, [[2, 6, 6], [6, 6], [2]])[1], outgroup=["Cus dus"])


def test_species_that_do_not_differ_make_a_tree_without_length():
    tree = neighbour_joining(["a", "b", "c"], np.zeros((3, 3)))
    assert tree.patristic_matrix().max() == 0


def test_a_branch_below_zero_becomes_zero():
    names, table = square("abcde", [[0, 4, 6, 9], [9, 6, 3], [8, 2], [7]])
    theirs = nj(DistanceMatrix(table, list(names)), neg_as_zero=False)
    assert min(node.length for node in theirs.traverse() if node.length is not None) < 0
    assert not neighbour_joining(names, table).has_negative


def test_seven_hundred_species_are_joined_as_in_scikit_bio_and_too_many_refused():
    rng = np.random.default_rng(7)
    places = rng.normal(size=(700, 12))
    table = np.sqrt(((places[:, None] - places) ** 2).sum(-1))
    names = [f"t{number}" for number in range(700)]
    tree = neighbour_joining(names, table)
    theirs = nj(DistanceMatrix(table, names), neg_as_zero=True).cophenet().filter(names).data
    assert tree.patristic_matrix(names) == pytest.approx(theirs, abs=1e-9)
    many = MOST + 1
    with pytest.raises(BadInput, match="2,001 species: joining more than 2,000 of them would take too long"):
        neighbour_joining([str(number) for number in range(many)], np.zeros((many, many)))


@pytest.fixture
def read(tmp_path):
    def read(text):
        path = tmp_path / "its.fasta"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return read_alignment(path)

    return read


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_letters_are_read_over_lines_whatever_their_case(read, end):
    found = read(end.join([">Aus bus  one", "AC gt", "", "u-", ">b", "ACGTNR", ">c", "??????"]) + end)
    assert found.names == ("Aus bus one", "b", "c")
    assert found.sites.tolist() == [[0, 1, 2, 3, 3, 4], [0, 1, 2, 3, 4, 4], [4] * 6]


def test_more_sequences_than_can_be_joined_are_refused_before_they_are_compared(read):
    with pytest.raises(BadInput, match="2,001 species"):
        read("".join(f">s{number}\nACGT\n" for number in range(MOST + 1)))
    assert len(read("".join(f">s{number}\nACGT\n" for number in range(MOST))).names) == MOST


def test_every_fault_is_told_with_its_line(read):
    text = ">a\nACGT\n>\nACGT\n>c\nAC\n>a\nACGT\n>d\n>e\nACGE\n"
    with pytest.raises(BadInput) as caught:
        read(text)
    assert [fault.place.line for fault in caught.value.faults] == [3, 5, 7, 9, 11]
    for word in (
        "name after this >",
        "“c” has 2 letters, and the first sequence has 4",
        "line 1",
        "“d” has no letters",
        "“E”",
    ):
        assert word in str(caught.value)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "not a FASTA"),
        ("(a:1,b:1);\n", "not a FASTA"),
        (">a\nACGT\n>b\nACGT\n", "2 sequences; a tree needs three"),
        (b">a\nAC\xff\n", "UTF-8"),
    ],
)
def test_what_is_no_alignment_says_so(read, text, says):
    with pytest.raises(BadInput, match=says):
        read(text)


def test_pairs_whose_distance_cannot_be_told_are_all_named():
    sites = np.array([[0, 0, 0, 0, 4], [1, 1, 1, 0, 4], [4, 4, 4, 4, 0]], dtype=np.uint8)
    with pytest.raises(BadInput) as caught:
        jukes_cantor(Alignment(("a", "b", "c"), sites))
    told = [fault.what for fault in caught.value.faults]
    assert [("“a”" in one, "“b”" in one, "“c”" in one) for one in told] == [
        (True, False, True),
        (False, True, True),
        (True, True, False),
    ]
    assert "75%" in told[2]


@settings(max_examples=40, deadline=None)
@given(st.lists(st.lists(st.integers(0, 4), min_size=12, max_size=12), min_size=2, max_size=5))
def test_distances_are_what_counting_sites_gives(rows):
    """Jukes & Cantor 1969."""
    alignment = Alignment(tuple(map(str, range(len(rows)))), np.array(rows, dtype=np.uint8))
    expected = np.zeros((len(rows), len(rows)))
    for i, one in enumerate(rows):
        for j, other in enumerate(rows):
            known = [(a, b) for a, b in zip(one, other, strict=True) if a < 4 and b < 4]
            share = sum(a != b for a, b in known) / len(known) if known else 1.0
            expected[i, j] = 0.0 if i == j else math.inf if share >= 0.75 else -0.75 * math.log(1 - 4 * share / 3)
    if np.isinf(expected).any():
        with pytest.raises(BadInput):
            jukes_cantor(alignment)
    else:
        assert jukes_cantor(alignment) == pytest.approx(expected, abs=1e-12)
