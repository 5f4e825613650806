"""How alike the carried spurge tree and a dated species tree are.

Run it as ``python tests/benchmarks/euphorbia.py ../shared/data/trees``.

Prints Spearman's correlation of all distances among the species that both trees hold, in all and inside each subgenus,
and what a few pairs are at. Ages stand in our tables to 0.01 My, so distances are compared to 0.01 My: below that,
equal ages differ by how sums of branches were rounded, and the ranks of equal distances would be left to chance.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.stats import spearmanr

from crosscompat import read_traits, read_tree

TREES = Path(__file__).resolve().parents[2] / "trees"
PAIRS = (
    ("milii", "lophogona"),
    ("milii", "viguieri"),
    ("pulcherrima", "cornastra"),
    ("characias", "amygdaloides"),
    ("mellifera", "stygiana"),
    ("esula", "cyparissias"),
    ("meloformis", "polygona"),
    ("ingens", "abyssinica"),
    ("milii", "resinifera"),
    ("resinifera", "meloformis"),
    ("milii", "pulcherrima"),
    ("milii", "esula"),
)


@dataclass(frozen=True, slots=True)
class Likeness:
    """Spearman's correlation among the shared species of one group."""

    group: str
    species: int
    correlation: float


def both_trees(folder):
    """Return the carried tree and the published one."""
    return read_tree(TREES / "euphorbia" / "tree.nwk", unit="My"), read_tree(folder / "euphorbia_gbotb.nwk", unit="My")


def shared_species(ours, published):
    """Return what both hold, by subgenus."""
    traits = read_traits(TREES / "euphorbia" / "traits.csv")
    groups = {}
    for tip in published.tips:
        if ours.index.find(tip) is not None:
            groups.setdefault(traits.value(tip, "subgenus"), []).append(tip)
    return groups


def likeness(folder):
    """Return how alike all distances are, then those inside each subgenus."""
    ours, published = both_trees(folder)
    groups = shared_species(ours, published)
    everything = {"all": [tip for tips in groups.values() for tip in tips], **dict(sorted(groups.items()))}
    return [Likeness(name, len(tips), _correlation(ours, published, tips)) for name, tips in everything.items()]


def _correlation(ours, published, tips):
    upper = np.triu_indices(len(tips), 1)
    a, b = (tree.patristic_matrix(tips)[upper].round(2) for tree in (ours, published))
    return float(spearmanr(a, b).statistic)


def main():
    folder = Path(sys.argv[1])
    for found in likeness(folder):
        sys.stdout.write(f"{found.group:12} {found.species:4} species  Spearman {found.correlation:.4f}\n")
    ours, published = both_trees(folder)
    sys.stdout.write(f"\n{'My between':28}{'ours':>8}{'theirs':>8}\n")
    for pair in PAIRS:
        a, b = (f"Euphorbia {epithet}" for epithet in pair)
        sys.stdout.write(f"{' and '.join(pair):28}{ours.patristic(a, b):8.2f}{published.patristic(a, b):8.2f}\n")


if __name__ == "__main__":
    main()
