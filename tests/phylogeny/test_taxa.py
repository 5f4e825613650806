from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.ground.errors import BadInput, UnknownName
from crosscompat.phylogeny.classification import place, place_for
from crosscompat.phylogeny.distances import DistanceTable
from crosscompat.phylogeny.formats import TreeSample
from crosscompat.phylogeny.newick import parse_newick, parse_newicks
from crosscompat.phylogeny.taxa import HybridIndex, Pedigree, Taxa, pairs_of, share_matrix

TREE = parse_newick("((Aus_bus:1,Aus_cus:1)sect._One:1,Aus_dus:2,Aus_eus:2);", unit="My")
HYBRID = "Aus bus × Aus dus"


def taxa(tree=TREE, *, missing=None, sample=None):
    placed = place_for(tree, {}, missing or {})
    wider = place(tree, placed)
    return Taxa(wider, HybridIndex(wider.tips), placed, sample)


def test_species_stand_where_the_tree_has_them():
    found = taxa()
    assert found.apart(["Aus_bus", "Aus_bus"], ["Aus_cus", "Aus_dus"]).tolist() == [2, 4]
    assert found.spread(["Aus_bus", "Aus_bus"], ["Aus_cus", "Aus_dus"]).tolist() == [0, 0]


def test_a_hybrid_stands_between_its_parents():
    found = taxa()
    seed, pollen = [HYBRID] * 4, ["Aus_bus", "Aus_cus", "Aus_eus", HYBRID]
    assert found.apart(seed, pollen).tolist() == [2, 3, 4, 0]
    assert found.apart([HYBRID], ["Aus cus × Aus eus"]).tolist() == [(2 + 4 + 4 + 4) / 4]
    assert found.pedigree(HYBRID).parents == ("Aus_bus", "Aus_dus")
    with pytest.raises(UnknownName):
        found.apart(["Aus zus"], ["Aus_bus"])


def test_a_species_that_was_placed_is_unsure_inside_its_group_alone():
    found = taxa(missing={"Aus fus": {"section": "One"}})
    assert found.apart(["Aus fus"] * 2, ["Aus_bus", "Aus_dus"]).tolist() == [2, 4]
    assert found.spread(["Aus fus"] * 2, ["Aus_bus", "Aus_dus"]) == pytest.approx([2 / np.sqrt(12), 0])


def test_a_sample_leaves_unsure_what_its_trees_do_not_agree_on():
    """By hand: the third tree is off by 2 and by 2 the other way; all have the same mean distance."""
    same = "((Aus_bus:1,Aus_cus:1):1,Aus_dus:2,Aus_eus:2);"
    other = "((Aus_bus:1,Aus_dus:1):1,Aus_cus:2,Aus_eus:2);"
    found = taxa(sample=TreeSample(parse_newicks(same + same + other)))
    spread = found.spread(["Aus_bus", "Aus_bus", "Aus_cus", "Aus_bus"], ["Aus_cus", "Aus_dus", "Aus_dus", "Aus_bus"])
    assert spread == pytest.approx([np.sqrt(4 / 3), np.sqrt(4 / 3), 0, 0])


def test_a_sample_in_another_unit_is_brought_to_the_pace_of_the_tree():
    fast = TreeSample(parse_newicks("((Aus_bus:5,Aus_cus:5):5,Aus_dus:10,Aus_eus:10);" * 2))
    assert taxa(sample=fast).spread(["Aus_bus"], ["Aus_dus"]) == pytest.approx([0], abs=1e-12)


def test_what_the_sample_lacks_it_says_nothing_of():
    sample = TreeSample(parse_newicks("(Aus_bus:1,Aus_cus:3);(Aus_bus:3,Aus_cus:1);"))
    found = taxa(sample=sample, missing={"Aus fus": {}})
    assert found.spread(["Aus_bus", "Aus_bus"], ["Aus_dus", "Aus_cus"]) == pytest.approx([0, 0])
    assert found.spread(["Aus fus"], ["Aus_dus"]) == pytest.approx([4 / np.sqrt(12)])


def test_a_hybrid_is_no_surer_than_its_parents():
    """By hand: what is open of its species in the mean, and half the distance between them."""
    found = taxa(missing={"Aus fus": {}, "Aus gus": {}})
    parents = found.spread(["Aus fus", "Aus gus"], ["Aus_bus"] * 2)
    assert found.apart(["Aus fus"], ["Aus gus"]) == 4
    assert found.spread(["Aus fus × Aus gus"], ["Aus_bus"]) == pytest.approx(np.sqrt([(parents**2).mean() + 4]))
    assert found.spread(["Aus fus × Aus dus"], ["Aus_bus"]) == pytest.approx(np.sqrt([parents[0] ** 2 / 2 + 4]))


def test_the_farther_apart_its_parents_the_less_sure_a_hybrid_is_with_every_partner():
    found = taxa()
    near, far = "Aus bus × Aus cus", "Aus bus × Aus dus"
    for partner in TREE.tips:
        assert found.spread([near, far], [partner] * 2).tolist() == [1, 2]
        assert found.spread([partner] * 2, [near, far]).tolist() == [1, 2]
    assert found.spread([far, far], [far, near]) == pytest.approx(np.sqrt([8, 5]))
    assert found.scatter([f"({far}) × Aus bus", "Aus_bus"]).tolist() == [0.75 * 0.25 * 16, 0]


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000), st.lists(st.integers(0, 7), min_size=2, max_size=5), st.integers(0, 7))
def test_no_partner_tells_apart_what_a_hybrid_scatters(seed, species, partner):
    """The variance of its species' distances to any partner is at most its scatter: by the triangle inequality."""
    tree = random_tree(seed)
    found = Taxa(tree, HybridIndex(tree.tips))
    formula = tree.tips[species[0]]
    for other in species[1:]:
        formula = f"({formula}) × {tree.tips[other]}"
    hybrid = found.pedigree(formula)
    far = tree.patristic_from(tree.tips[partner], hybrid.shares)
    share = np.array(list(hybrid.shares.values()))
    variance = share @ (far - share @ far) ** 2
    assert found.apart([hybrid.label], [tree.tips[partner]]) == pytest.approx([share @ far])
    assert found.spread([hybrid.label], [tree.tips[partner]])[0] ** 2 >= variance - 1e-9


def random_tree(seed, tips=8):
    rng = np.random.default_rng(seed)
    parts = [f"Aus_t{'abcdefgh'[i]}us" for i in range(tips)]
    while len(parts) > 1:
        i, j = sorted(rng.choice(len(parts), 2, replace=False))
        right, left = parts.pop(j), parts.pop(i)
        parts.append(f"({left}:{rng.exponential():.6f},{right}:{rng.exponential():.6f})")
    return parse_newick(f"{parts[0]};")


def test_a_table_of_distances_has_hybrids_too():
    table = DistanceTable(("Aus bus", "Aus cus", "Aus dus"), [[0, 1, 3], [1, 0, 4], [3, 4, 0]])
    found = Taxa(table, HybridIndex(table.tips))
    assert found.apart(["Aus bus × Aus cus"], ["Aus dus"]).tolist() == [3.5]
    assert found.spread(["Aus bus × Aus cus"], ["Aus dus"]).tolist() == [0.5]
    assert found.apart([], []).tolist() == found.spread([], []).tolist() == []


CROSSED = parse_newick("(((Aus_bus:1,Aus_cus:1):1,Aus_dus:2):2,(Bus_eus:3,Bus_fus:3):1);")
INDEX = HybridIndex(CROSSED.tips, {"Aus ×novus": "Aus bus × Aus dus", "Cus vetus": "Bus eus"})


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
    labels = [[plant.label for plant in side] for side in (seed, pollen)]
    found = Taxa(CROSSED, INDEX).apart(*labels)
    for i, (one, other) in enumerate(zip(seed, pollen, strict=True)):
        expected = sum(v * w * CROSSED.patristic(a, b) for a, v in one.shares.items() for b, w in other.shares.items())
        assert found[i] == pytest.approx(0 if one.label == other.label else expected)
    assert Taxa(CROSSED, INDEX).apart(*labels[::-1]) == pytest.approx(found)


def test_a_hybrid_is_no_farther_than_its_farther_parent():
    for tip in CROSSED.tips:
        (far,) = Taxa(CROSSED, INDEX).apart(["Aus bus × Bus eus"], [tip])
        ends = sorted((CROSSED.patristic("Aus_bus", tip), CROSSED.patristic("Bus_eus", tip)))
        assert far == pytest.approx(sum(ends) / 2)
        assert ends[0] <= far <= ends[1]


def test_only_the_gaps_that_matter_are_told():
    table = DistanceTable(("Aus bus", "Aus cus", "Aus dus"), [[0, 1, np.nan], [1, 0, 4], [np.nan, 4, 0]])
    found = Taxa(table, HybridIndex(table.tips))
    assert found.apart(["Aus bus × Aus cus"], ["Aus cus"]).tolist() == [0.5]
    with pytest.raises(BadInput, match="Aus dus"):
        found.apart(["Aus bus × Aus cus"], ["Aus dus"])


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
    assert Taxa(CROSSED, INDEX).apart([], []).tolist() == []
    assert share_matrix([])[1].shape == (0, 0)
    assert Pedigree("a", {"a": 1.0}).is_hybrid is False


def test_a_hybrid_that_is_its_own_parent_is_unknown_and_doubled_parents_take_no_doubled_time():
    own = HybridIndex(["Aus_bus"], {"Aus novus": "Aus cus × Aus bus", "Aus cus": "Aus novus × Aus bus"})
    with pytest.raises(UnknownName):
        own.pedigree("Aus novus")
    names = [f"Aus n{letter}vus" for letter in "abcdefghijklmnopqrst"]
    doubled = {name: f"{below} × {below}" for name, below in itertools.pairwise(names)}
    assert HybridIndex([names[-1]], doubled).pedigree(names[0]).shares == {names[-1]: 1.0}
