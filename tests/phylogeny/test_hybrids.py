from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.ground.errors import BadInput, UnknownName
from crosscompat.phylogeny.hybrids import HybridIndex, Pedigree, pairs_of, share_matrix, weighted_pairs
from crosscompat.phylogeny.newick import parse_newick
from crosscompat.phylogeny.table import DistanceTable

TREE = parse_newick("(((Aus_bus:1,Aus_cus:1):1,Aus_dus:2):2,(Bus_eus:3,Bus_fus:3):1);")
INDEX = HybridIndex(TREE.tips, {"Aus ×novus": "Aus bus × Aus dus", "Cus vetus": "Bus eus"})


@pytest.mark.parametrize(
    ("text", "label", "how"),
    [
        ("Aus bus × A. dus", "Aus bus × Aus dus", "hybrid"),
        ("Aus_bus x Aus_dus", "Aus bus × Aus dus", "hybrid"),
        ("Aus dus × Aus bus", "Aus dus × Aus bus", "hybrid"),
        ("Aus ×novus", "Aus bus × Aus dus", "hybrid"),
        ("Aus x novus × Bus eus", "Aus bus × Aus dus × Bus eus", "hybrid"),
        ("Bus eus × (Aus bus × Aus dus)", "Bus eus × (Aus bus × Aus dus)", "hybrid"),
        ("Aus bus subsp. minor × Aus dus", "Aus bus × Aus dus", "species"),
        ("Aus bus × Cus vetus", "Aus bus × Bus eus", "hybrid"),
        ("Aus bus × A. bus", "Aus_bus", "species"),
        ("(Aus bus × A. bus) × Aus dus", "Aus bus × Aus dus", "species"),
        ("Aus ×novus × (Aus bus × Aus dus)", "Aus bus × Aus dus × (Aus bus × Aus dus)", "hybrid"),
        ("Cus vetus", "Bus_eus", "synonym"),
        ("Aus bus", "Aus_bus", "exact"),
    ],
)
def test_a_formula_is_found_by_its_parents(text, label, how):
    found = INDEX.match(text)
    assert (found.label, found.how) == (label, how)
    assert INDEX.resolve(found.label) == label  # the label finds itself again
    assert found.sentence or how == "exact"


@pytest.mark.parametrize("text", ["Aus bus × Aus zus", "Aus ×nullus", "Aus zus", "Aus bus × zus", "Aus bus ×"])
def test_a_hybrid_of_what_is_not_known_is_not_found(text):
    with pytest.raises(UnknownName):
        INDEX.match(text)
    with pytest.raises(UnknownName):
        INDEX.pedigree(text)


def test_a_hybrid_that_stands_on_the_tree_is_that_tip():
    index = HybridIndex(["Aus_bus", "Aus_dus", "Aus bus x Aus dus"])
    assert index.match("Aus bus × Aus dus").label == "Aus bus x Aus dus"
    assert index.pedigree("Aus bus × Aus dus").shares == {"Aus bus x Aus dus": 1.0}


@pytest.mark.parametrize(
    ("text", "shares"),
    [
        ("Aus bus", {"Aus_bus": 1}),
        ("Aus bus × Aus dus", {"Aus_bus": 0.5, "Aus_dus": 0.5}),
        ("Aus ×novus × Aus bus", {"Aus_bus": 0.75, "Aus_dus": 0.25}),
        ("(Aus bus × Aus dus) × (Bus eus × Aus bus)", {"Aus_bus": 0.5, "Aus_dus": 0.25, "Bus_eus": 0.25}),
        ("Aus bus × Aus bus", {"Aus_bus": 1}),
    ],
)
def test_every_generation_halves(text, shares):
    plant = INDEX.pedigree(text)
    assert plant.shares == shares
    assert plant.is_hybrid is (len(shares) > 1)


def test_parents_are_told_seed_parent_first():
    assert INDEX.pedigree("Bus eus × Aus ×novus").parents == ("Bus_eus", "Aus bus × Aus dus")


NAMES = ["Aus bus", "Aus cus × Aus dus", "Aus ×novus × Bus fus", "Bus eus × (Aus bus × Bus fus)", "Bus fus"]


@settings(max_examples=30, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(NAMES), st.sampled_from(NAMES)), min_size=1, max_size=6))
def test_distances_are_double_averages(pairs):
    seed, pollen = ([INDEX.pedigree(name) for name in side] for side in zip(*pairs, strict=True))
    found = weighted_pairs(TREE, seed, pollen)
    for i, (one, other) in enumerate(zip(seed, pollen, strict=True)):
        expected = sum(v * w * TREE.patristic(a, b) for a, v in one.shares.items() for b, w in other.shares.items())
        assert found[i] == pytest.approx(0 if one.label == other.label else expected)
    assert weighted_pairs(TREE, pollen, seed) == pytest.approx(found)


def test_a_hybrid_is_no_farther_than_its_farther_parent():
    hybrid = INDEX.pedigree("Aus bus × Bus eus")
    for tip in TREE.tips:
        (far,) = weighted_pairs(TREE, [hybrid], [INDEX.pedigree(tip)])
        ends = sorted((TREE.patristic("Aus_bus", tip), TREE.patristic("Bus_eus", tip)))
        assert far == pytest.approx(sum(ends) / 2)
        assert ends[0] <= far <= ends[1]


def test_only_the_gaps_that_matter_are_told():
    table = DistanceTable(("Aus bus", "Aus cus", "Aus dus"), [[0, 1, np.nan], [1, 0, 4], [np.nan, 4, 0]])
    index = HybridIndex(table.tips)
    hybrid = index.pedigree("Aus bus × Aus cus")
    assert weighted_pairs(table, [hybrid], [index.pedigree("Aus cus")]).tolist() == [0.5]
    with pytest.raises(BadInput, match="Aus dus"):
        weighted_pairs(table, [hybrid], [index.pedigree("Aus dus")])


def test_shares_carry_a_correlation_over_to_hybrids():
    """The covariance of w·u is w A w'."""
    plants = [INDEX.pedigree(name) for name in ("Aus bus", "Aus cus", "Aus bus × Aus cus")]
    species, shares = share_matrix(plants)
    assert species == ("Aus_bus", "Aus_cus")
    assert shares.tolist() == [[1, 0], [0, 1], [0.5, 0.5]]
    a = np.array([[1, 0.5], [0.5, 1]])
    assert (shares @ a @ shares.T)[2].tolist() == [0.75, 0.75, 0.75]
    assert shares.sum(axis=1).tolist() == [1, 1, 1]


def test_pairs_of_species_have_the_product_of_their_shares():
    pairs = pairs_of(
        [INDEX.pedigree("Aus ×novus")] * 2, [INDEX.pedigree("Bus eus × Bus fus"), INDEX.pedigree("Aus ×novus")]
    )
    assert pairs.weight.tolist() == [0.25] * 4 + [0.0] * 4
    assert pairs.of.tolist() == [0] * 4 + [1] * 4
    assert pairs.size == 2


def test_nobody_crossed_is_no_distance():
    assert weighted_pairs(TREE, [], []).tolist() == []
    assert share_matrix([])[1].shape == (0, 0)
    assert Pedigree("a", {"a": 1.0}).is_hybrid is False
