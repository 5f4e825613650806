"""Where tips meet, against a walk to the root."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.phylogeny.mrca import MrcaTable, met_by_one, neighbour_meets, pick
from crosscompat.phylogeny.newick import parse_newick


def walked(parent, a, b):
    above = {a}
    while parent[a] >= 0:
        a = parent[a]
        above.add(a)
    while b not in above:
        b = parent[b]
    return b


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 10**6), size=st.integers(1, 40), data=st.data())
def test_every_pair_meets_where_their_ways_to_the_root_do(seed, size, data, grow):
    tree = parse_newick(grow(seed, size).newick())
    parent, tips = tree.parent.tolist(), tree.tip_nodes
    meets = neighbour_meets(tree.parent, tips)
    a, b = (side.ravel() for side in np.indices((size, size)))
    wanted = [walked(parent, tips[i], tips[j]) for i, j in zip(a, b, strict=True)]
    assert MrcaTable(tips, meets).of(a, b).tolist() == wanted
    assert [met for tip in range(size) for met in met_by_one(tips, meets, tip)] == wanted
    chosen = np.array(sorted(data.draw(st.sets(st.integers(0, size - 1), min_size=1))))
    neighbours = [walked(parent, tips[i], tips[j]) for i, j in pairwise(chosen)]
    assert pick(meets, chosen).tolist() == neighbours


@pytest.mark.parametrize("number", [-1, 3])
def test_a_number_of_no_tip_is_refused(number):
    tree = parse_newick("((a:1,b:1):1,c:1);")
    for a, b in ((number, 0), (0, number)):
        with pytest.raises(IndexError, match="from 0 to 2"):
            tree.patristic_between(np.array([1, a]), np.array([2, b]))
