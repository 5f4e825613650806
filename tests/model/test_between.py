from __future__ import annotations

import numpy as np

from crosscompat.model.composition import Logits
from crosscompat.model.forecast import chances, doubted, no_surer
from crosscompat.model.pairings import Parents, Seen, in_place
from crosscompat.phylogeny.newick import parse_newick
from crosscompat.phylogeny.taxa import HybridIndex, Taxa

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
