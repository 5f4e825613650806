from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.ground.errors import BadInput, UnknownName
from crosscompat.phylogeny.newick import parse_newick, parse_newicks
from crosscompat.phylogeny.sample import MOST, TreeSample, mean_distance, read_sample

NEXUS = """#NEXUS
BEGIN TREES;
  TRANSLATE 1 Aus_bus, 2 Aus_cus, 3 Aus_dus;
  TREE STATE_0 = [&R] ((1:1,2:1):1,3:2);
  TREE STATE_1 = [&R] ((1:1,3:1):1,2:2);
  TREE STATE_2 = [&R] ((1:2,2:2):2,3:4);
END;
"""


@pytest.fixture
def read(tmp_path):
    def read(text, name="posterior.nex"):
        (tmp_path / name).write_text(text, encoding="utf-8")
        return read_sample(tmp_path / name, unit="My")

    return read


def test_a_posterior_in_nexus_gives_distances_with_their_spread(read):
    """By hand: the third tree is the first at twice the pace, so it counts as the first."""
    sample = read(NEXUS)
    assert len(sample.trees) == 3
    assert sample.trees[0].unit == "My"
    scaled = 40 / 9 / (10 / 3)  # the mean of the mean distances 10/3, 10/3 and 20/3, over the first
    found = sample.of_pairs(["Aus bus", "Aus_bus", "Aus cus"], ["Aus cus", "Aus_dus", "Aus dus"])
    assert found.mean == pytest.approx(np.array([(2 + 4 + 2) / 3, (4 + 2 + 4) / 3, 4]) * scaled)
    assert found.sd == pytest.approx(np.array([np.std([2, 4, 2]), np.std([4, 2, 4]), 0]) * scaled)


def test_trees_that_agree_leave_nothing_unsure(read):
    found = read("((a:1,b:1):1,c:2);((a:3,b:3):3,c:6);", "two.nwk").of_pairs(["a", "c"], ["b", "c"])
    assert found.mean.tolist() == pytest.approx([4, 0])
    assert found.sd.tolist() == pytest.approx([0, 0], abs=1e-12)


def test_a_name_that_no_tree_holds_is_told(read):
    with pytest.raises(UnknownName):
        read(NEXUS).of_pairs(["Aus bus"], ["Aus zus"])


def test_every_tree_that_does_not_belong_is_named(read):
    with pytest.raises(BadInput) as caught:
        read("(a:1,b:1,c:1);(a:1,b:1,d:1);(a:0,b:0,c:0);(a:1,b:1);", "odd.nwk")
    told = [fault.what for fault in caught.value.faults]
    assert len(told) == 3
    assert "Tree 1 of the sample" in told[0]
    assert "c, d" in told[0]
    assert "Tree 3" in told[1]
    assert "tree 2" in told[2]


def test_one_tree_is_no_sample(read):
    with pytest.raises(BadInput, match="only one tree"):
        read("(a:1,b:1,c:1);", "one.nwk")


def test_a_long_sample_is_thinned_evenly(read):
    texts = [f"(a:{i + 1},b:1,c:1);" for i in range(3 * MOST)]
    sample = read("".join(texts), "long.nwk")
    firsts = [tree.length[0] for tree in sample.trees]
    assert len(firsts) == MOST
    assert (firsts[0], firsts[-1]) == (1, 3 * MOST)
    assert set(np.diff(firsts)) <= {3, 4, 2}


def random_newick(rng, tips):
    parts = [f"t{i}" for i in range(tips)]
    while len(parts) > 1:
        i, j = sorted(rng.choice(len(parts), 2, replace=False))
        right, left = parts.pop(j), parts.pop(i)
        parts.append(f"({left}:{rng.uniform(0.1, 1):.4f},{right}:{rng.uniform(0.1, 1):.4f})")
    return f"{parts[0]};"


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.integers(2, 8), st.integers(2, 6))
def test_it_is_what_averaging_scaled_matrices_gives(seed, tips, trees):
    rng = np.random.default_rng(seed)
    sample = TreeSample(parse_newicks("".join(random_newick(rng, tips) for _ in range(trees))))
    names = [f"t{i}" for i in range(tips)]
    tables = np.array([tree.patristic_matrix(names) for tree in sample.trees])
    upper = np.triu_indices(tips, 1)
    means = np.array([table[upper].mean() for table in tables])
    assert [mean_distance(tree) for tree in sample.trees] == pytest.approx(means)
    scaled = tables * (means.mean() / means)[:, None, None]
    found = sample.of_pairs([names[i] for i in upper[0]], [names[j] for j in upper[1]])
    assert found.mean == pytest.approx(scaled.mean(axis=0)[upper])
    assert found.sd == pytest.approx(scaled.std(axis=0)[upper], abs=1e-7)


def test_a_mean_distance_counts_no_branch_of_the_root():
    assert mean_distance(parse_newick("(a:1,b:2):50;")) == 3
