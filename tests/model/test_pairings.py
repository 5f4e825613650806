from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.ground.errors import BadInput, UnknownName
from crosscompat.model.composition import Logits
from crosscompat.model.design_matrix import Kinship
from crosscompat.model.forecast import chances, doubted
from crosscompat.model.pairings import Parents, Seen, in_place, no_surer, relatedness
from crosscompat.phylogeny.distances import DistanceTable
from crosscompat.phylogeny.newick import parse_newick
from crosscompat.phylogeny.taxa import HybridIndex, Pedigree, Taxa

ULTRAMETRIC = "(((a:1,b:1):1,c:2):2,(d:1,e:1):3);"


def random_tree(seed, tips=8):
    """A tree with branches of any length above 0."""
    rng = np.random.default_rng(seed)
    parts = [f"t{i}" for i in range(tips)]
    while len(parts) > 1:
        i, j = sorted(rng.choice(len(parts), 2, replace=False))
        right, left = parts.pop(j), parts.pop(i)
        parts.append(f"({left}:{rng.exponential():.6f},{right}:{rng.exponential():.6f})")
    return parse_newick(f"{parts[0]};")


def path_below(tree, names, a, b):
    """Shared path below the common ancestor of ``names``, by walking up from the tips."""
    at = {tree.labels[node]: node for node in tree.tip_nodes.tolist()}

    def upwards(node):
        found = [node]
        while tree.parent[node] >= 0:
            node = int(tree.parent[node])
            found.append(node)
        return found

    crown = next(node for node in upwards(at[names[0]]) if all(node in upwards(at[name]) for name in names))
    shared = [node for node in upwards(at[a]) if node in upwards(at[b])]
    return sum(tree.length[node] for node in shared if crown in upwards(node)[1:])


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000))
def test_it_is_the_shared_path_below_the_common_ancestor(seed):
    tree = random_tree(seed)
    names = list(np.random.default_rng(seed).choice(tree.tips, 5, replace=False))
    a = relatedness(tree, names)
    path = np.array([[path_below(tree, names, one, other) for other in names] for one in names])
    depth = np.diag(path)
    wanted = path / np.sqrt(np.outer(depth, depth))
    assert a == pytest.approx(wanted, abs=1e-6)
    assert np.linalg.eigvalsh(a)[0] > -1e-9


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000))
def test_with_those_asked_about_it_stays_a_correlation(seed):
    tree = random_tree(seed)
    seen, new = list(tree.tips[:4]), list(tree.tips[4:])
    among, towards = relatedness(tree, seen), relatedness(tree, seen, new)
    left = 1.0 - np.einsum("ij,jk,ik->i", towards, np.linalg.pinv(among), towards)
    assert left.min() > -1e-6


def test_the_edge_above_the_common_ancestor_never_counts():
    below = relatedness(parse_newick(ULTRAMETRIC), ["a", "b", "c"])
    assert below.tolist() == [[1.0, 0.5, 0.0], [0.5, 1.0, 0.0], [0.0, 0.0, 1.0]]
    rooted = parse_newick(ULTRAMETRIC[:-1] + ":128;")
    outgroup = parse_newick(f"({ULTRAMETRIC[:-1]}:50,z:54);")
    for tree in (rooted, outgroup):
        assert relatedness(tree, ["a", "b", "c"]) == pytest.approx(below)


HYBRIDS = {"h": {"a": 0.5, "c": 0.5}, "k": {"a": 0.25, "d": 0.75}, "l": {"a": 0.5, "c": 0.5}}


def of(label):
    if label == "z":
        raise UnknownName(label, label)
    return Pedigree(label, HYBRIDS[label], ("a", "b")) if label in HYBRIDS else Pedigree(label, {label: 1.0})


def test_a_hybrid_is_related_as_its_species_are_in_the_mean():
    """By hand: of species A is 3/4 for a and b, 1/2 for either and c, 0 for d and any of them."""
    tree = parse_newick(ULTRAMETRIC)
    found = relatedness(tree, ["a", "c", "d", "h"], pedigree=of)
    assert relatedness(tree, ["a", "c", "d"])[0].tolist() == pytest.approx([1, 1 / 2, 0])
    assert found[3] == pytest.approx([3 / 4, 3 / 4, 0, 1])
    towards = relatedness(tree, ["a", "c", "d", "h"], ["b", "k", "l", "h"], pedigree=of)
    assert towards[0] == pytest.approx([3 / 4, 1 / 2, 0, 5 / 8])
    assert towards[1] == pytest.approx([1 / 4, 1 / 8, 3 / 4, 3 / 16])
    assert towards[2] == pytest.approx([3 / 4, 3 / 4, 0, 3 / 4])  # of the same species, and yet another hybrid
    assert towards[3] == pytest.approx(found[3])


def test_species_alone_are_related_as_ever_to_the_last_bit():
    tree = random_tree(3)
    names, others = list(tree.tips[:5]), list(tree.tips[3:])
    np.testing.assert_array_equal(relatedness(tree, names, others, of), relatedness(tree, names, others))
    np.testing.assert_array_equal(relatedness(tree, names, pedigree=of), relatedness(tree, names))


def test_a_hybrid_whose_parents_are_gone_is_related_to_nobody():
    tree = parse_newick(ULTRAMETRIC)
    assert relatedness(tree, ["a", "z", "h"], ["b", "h"], of)[:, 1].tolist() == [0, 0]
    assert relatedness(tree, ["a", "z", "h"], pedigree=of)[1].tolist() == [0, 1, 0]


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.booleans())
def test_species_and_hybrids_together_are_a_correlation(seed, table):
    """Positive semi-definite with those asked about too, on any tree, or any complete table, for any shares."""
    rng = np.random.default_rng(seed)
    tree = random_tree(seed)
    distances = DistanceTable(tree.tips, tree.patristic_matrix()) if table else tree
    hybrids = {}
    for i in range(6):
        species = rng.choice(tree.tips, rng.integers(2, 5), replace=False).tolist()
        hybrids[f"h{i}"] = dict(zip(species, rng.dirichlet(np.ones(len(species))).tolist(), strict=True))

    def mixed(label):
        return Pedigree(label, hybrids[label], ("a", "b")) if label in hybrids else Pedigree(label, {label: 1.0})

    seen, new = [*tree.tips[:4], "h0", "h1", "h2"], [*tree.tips[4:], "h3", "h4", "h5"]
    among = relatedness(distances, seen, pedigree=mixed)
    assert np.diag(among) == pytest.approx(np.ones(7))
    assert among == pytest.approx(among.T)
    assert Kinship.of(among).values.min() >= 0.0  # refuses what is no correlation
    towards = relatedness(distances, seen, new, mixed)
    left = 1.0 - np.einsum("ij,jk,ik->i", towards, np.linalg.pinv(among), towards)
    assert left.min() > -1e-6


def test_a_complete_table_gives_what_its_tree_gives():
    tree = parse_newick(ULTRAMETRIC)
    table = DistanceTable(tree.tips, tree.patristic_matrix())
    names = ["d", "a", "b", "e"]
    assert relatedness(table, names) == pytest.approx(relatedness(tree, names))
    assert relatedness(table, names, ["c"]) == pytest.approx(relatedness(tree, names, ["c"]))


def test_a_table_with_gaps_gives_none():
    values = np.array([[0, 1, np.nan], [1, 0, 2], [np.nan, 2, 0]])
    assert relatedness(DistanceTable(("a", "b", "c"), values), ["a", "b"]) is None


def test_negative_lengths_are_refused():
    with pytest.raises(BadInput, match="negative branch lengths"):
        relatedness(parse_newick("((a:1,b:-0.1):1,c:2);"), ["a", "b"])


def test_one_that_is_gone_from_the_tree_is_related_to_nobody():
    tree = parse_newick(ULTRAMETRIC)
    found = relatedness(tree, ["a", "gone", "c"], ["b"])
    assert found[0, 1] == 0.0
    assert found[0, [0, 2]] == pytest.approx(relatedness(tree, ["a", "c"], ["b"])[0])


def test_an_unrooted_tree_is_joined_first():
    unrooted = parse_newick("[&U] (a:1,b:1,(c:1,d:1):4);")
    found = relatedness(unrooted, ["a", "c", "d"])
    assert found[1, 2] > 0.5 > found[0, 1] == 0


TREE = parse_newick("((Aloe_vera:1,Aloe_ferox:1):2,Aloe_rara:3);")
POSITIONS = Taxa(TREE, HybridIndex(TREE.tips))
HYBRID = "Aloe vera × Aloe ferox"


def test_variances_rise_to_the_weighted_mean_of_those_of_the_species_and_none_falls():
    of_species = Logits(np.arange(2.0), np.array([2.0, 4.0]))
    for sd, least in (([1.0, 9.0], [np.sqrt(13), 9.0]), ([5.0, 3.0], [5.0, 3.0])):
        own = Logits(np.arange(2.0), np.array(sd))
        found = no_surer(own, of_species, np.array([0.25, 0.75]), np.array([0, 0]))
        assert found.sd.tolist() == least
        assert found.mean.tolist() == [0, 1]


def test_a_hybrid_is_stood_for_by_its_species_and_by_one_at_a_time_against_its_like():
    asked = Parents(["Aloe_rara", HYBRID, HYBRID], ["Aloe_vera", "Aloe_rara", HYBRID])
    found = in_place(POSITIONS, Seen(), asked)
    named = list(zip(found.parents.seed, found.parents.pollen, found.weight.tolist(), found.of.tolist(), strict=True))
    assert named == [
        ("Aloe_vera", "Aloe_rara", 0.5, 1), ("Aloe_ferox", "Aloe_rara", 0.5, 1),
        ("Aloe_vera", "Aloe_vera", 0.5, 2), ("Aloe_ferox", "Aloe_ferox", 0.5, 2),
    ]  # fmt: skip
    assert in_place(POSITIONS, Seen(species=(HYBRID,)), asked) is None  # it speaks for itself
    assert in_place(POSITIONS, Seen(), Parents(["Aloe_rara"], ["Aloe_vera"])) is None


def test_each_uneven_parent_lowers_the_chance_and_widens_it():
    plain = Logits(np.full(3, 0.5), np.full(3, 2.0))
    found = doubted(plain, np.array([0.0, 1.0, 2.0]))
    assert found.mean.tolist() == [0.5, -0.5, -1.5]
    assert found.sd.tolist() == [2.0, np.sqrt(5), np.sqrt(6)]
    assert (np.diff(chances(found).mean) < 0).all()
