from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.ground.errors import UnknownName, WrongUse
from crosscompat.phylogeny.neighbour_joining import root_at_midpoint, root_on_outgroup
from crosscompat.phylogeny.newick import parse_newick


def random_newick(seed, tips, *, widest=3):
    """A tree of any shape: two or three parts are joined at a time, some branches have no length."""
    rng = np.random.default_rng(seed)
    parts = [f"t{i}" for i in range(tips)]
    while len(parts) > 1:
        some = sorted(rng.choice(len(parts), min(len(parts), int(rng.integers(2, widest + 1))), replace=False))[::-1]
        inside = ",".join(f"{parts.pop(i)}:{rng.choice([0.0, rng.uniform(0.1, 2)]):.4f}" for i in some)
        parts.append(f"({inside})")
    return f"{parts[0]};"


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 100_000), st.integers(3, 10))
def test_the_midpoint_keeps_distances_and_levels_the_farthest_two(seed, tips):
    tree = parse_newick(random_newick(seed, tips), unit="My")
    rooted = root_at_midpoint(tree)
    names = list(tree.tips)
    assert rooted.patristic_matrix(names) == pytest.approx(tree.patristic_matrix(names), abs=1e-9)
    reach = np.sort(rooted.root_distance[rooted.tip_nodes])
    if tree.patristic_matrix().max() > 0:
        assert reach[-1] == pytest.approx(tree.patristic_matrix().max() / 2)
        assert reach[-2] == pytest.approx(reach[-1])
        assert rooted.rooted is True
    assert rooted.unit == "My"


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 100_000), st.integers(3, 10), st.data())
def test_an_outgroup_parts_first_and_distances_stay(seed, tips, data):
    tree = parse_newick(random_newick(seed, tips))
    node = data.draw(st.integers(0, tree.n_nodes - 2))
    names = list(tree.tips)
    members = [name for name in names if _holds(tree, node, name)]
    if len(members) == tips:
        return
    rooted = root_on_outgroup(tree, members)
    assert rooted.patristic_matrix(names) == pytest.approx(tree.patristic_matrix(names), abs=1e-9)
    others = [name for name in names if name not in members]
    at_root = np.flatnonzero(rooted.parent == rooted.n_nodes - 1)
    assert len(at_root) == 2
    assert rooted.length[at_root[0]] == pytest.approx(rooted.length[at_root[1]])
    sides = [{name for name in names if _holds(rooted, int(side), name)} for side in at_root]
    assert set(members) in sides
    assert set(others) in sides


def _holds(tree, node, name):
    at = int(tree.tip_nodes[tree.tips.index(name)])
    while at >= 0:
        if at == node:
            return True
        at = int(tree.parent[at])
    return False


def test_a_tree_marked_as_unrooted_can_be_rooted():
    rooted = root_on_outgroup(parse_newick("[&U](a:1,b:1,(c:1,d:1)95:2);"), ["c", "d"])
    assert rooted.rooted is True
    assert rooted.clade("a", "b").size == 2
    assert np.isnan(rooted.support).all()


def test_a_tree_without_lengths_has_no_midpoint_and_stays():
    tree = parse_newick("(a:0,b:0,c:0);")
    assert root_at_midpoint(tree) is tree


def test_an_outgroup_that_is_none_is_refused():
    tree = parse_newick("((a:1,b:1):1,(c:1,d:1):1);")
    with pytest.raises(WrongUse, match="at least one"):
        root_on_outgroup(tree, list("abcd"))
    with pytest.raises(WrongUse, match="other species stand among"):
        root_on_outgroup(tree, ["a", "c"])
    with pytest.raises(UnknownName):
        root_on_outgroup(tree, ["e"])
