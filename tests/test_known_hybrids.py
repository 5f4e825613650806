from __future__ import annotations

import csv

from crosscompat.carried import carried_file, carried_trees
from crosscompat.collection.opening import open_carried
from crosscompat.known_hybrids import known_hybrids


def rows():
    with carried_file("known_hybrids.csv").open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def test_every_carried_cross_has_a_source_in_full_and_parents_on_a_carried_tree():
    trees = {tree.genus: open_carried(tree).distances for tree in carried_trees()}
    assert len(known_hybrids()) == len(rows()) > 8
    for entry, row in zip(known_hybrids(), rows(), strict=True):
        assert row["source"], row
        assert entry.source, row
        assert row["outcome"] in {"hybrid", "failure"}
        assert row["direction_known"] in {"yes", "no"}
        index = trees[entry.seed_parent.split(" ")[0]].index
        assert index.find(entry.seed_parent), row
        assert index.find(entry.pollen_parent), row
