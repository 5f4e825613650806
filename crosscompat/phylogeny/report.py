"""What a grower should know about a tree before trusting its distances."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from crosscompat.ground.wording import say

if TYPE_CHECKING:
    from crosscompat.phylogeny.tree import Phylogeny

__all__ = ["Note", "is_ultrametric", "tree_report"]

DEEP = 100
"""More levels than this, where the tips would fit in far fewer, is unusual: trees of 74,000 species have about 40."""

SPREAD = 1e-4
"""Tips count as level with each other if their root distances differ by no more than this, relative to the longest."""


@dataclass(frozen=True, slots=True)
class Note:
    """One thing to know: ``key`` for programs, ``text`` for people."""

    key: str
    text: str

    def __str__(self) -> str:
        return self.text


def tree_report(tree: Phylogeny) -> tuple[Note, ...]:
    """Return what stands out in a tree: rooting, unit, level tips, polytomies, odd branch lengths, support, depth.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> [note.key for note in tree_report(parse_newick("[&R](a:1,b:1,c:-1);", unit="My"))]
    ['size', 'rooted', 'unit', 'uneven', 'polytomies', 'negative']
    """
    return tuple(Note(key, say(f"trees.report.{key}", **values)) for key, values in _found(tree))


def is_ultrametric(tree: Phylogeny) -> bool:
    """Say whether all tips are equally far from the root, to one part in ten thousand.

    Files print few digits, and each branch on the way adds its own rounding.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> is_ultrametric(parse_newick("((a:1,b:1):1,c:2);")), is_ultrametric(parse_newick("(a:1,b:2);"))
    (True, False)
    """
    reach = tree.root_distance[tree.tip_nodes]
    return bool(np.ptp(reach) <= SPREAD * np.abs(reach).max())


def _found(tree: Phylogeny) -> Iterator[tuple[str, dict[str, object]]]:
    yield "size", {"n": tree.n_tips}
    yield {True: "rooted", False: "unrooted", None: "rooting_unsaid"}[tree.rooted], {}
    if tree.unit == "unit":
        yield "unit_lengths", {}
    else:
        yield ("unit", {"unit": tree.unit}) if tree.unit else ("unit_unsaid", {})
    reach = tree.root_distance[tree.tip_nodes]
    if tree.unit != "unit":
        if is_ultrametric(tree):
            yield "ultrametric", {"reach": f"{reach.max():.4g}"}
        else:
            yield "uneven", {"low": f"{reach.min():.4g}", "high": f"{reach.max():.4g}"}
    yield from _shape(tree)
    yield from _branches(tree)


def _shape(tree: Phylogeny) -> Iterator[tuple[str, dict[str, object]]]:
    children = np.bincount(tree.parent[:-1], minlength=tree.n_nodes)
    # Three branches at the root of an unrooted tree are how such trees are written, and no polytomy.
    free = tree.rooted is False and int(children[-1]) == 3  # noqa: PLR2004
    polytomies = int((children > 2).sum()) - free  # noqa: PLR2004 - two is a plain parting
    if polytomies > 0:
        yield "polytomies", {"n": polytomies, "most": int(children.max())}
    if (children == 1).any():
        yield "single_child", {"n": int((children == 1).sum())}
    deepest = int(tree.level.max())
    if deepest > max(DEEP, 4 * np.log2(tree.n_tips + 1)):
        yield "deep", {"n": deepest}


def _branches(tree: Phylogeny) -> Iterator[tuple[str, dict[str, object]]]:
    lengths = tree.length[:-1]
    if (lengths < 0).any():
        node = int(lengths.argmin())
        yield "negative", {"n": int((lengths < 0).sum()), "lowest": f"{lengths[node]:.4g}"}
    if (lengths == 0).any():
        yield "zero", {"n": int((lengths == 0).sum())}
    known = tree.support[~np.isnan(tree.support)]
    if known.size:
        yield "support", {"n": known.size, "low": f"{known.min():.4g}", "high": f"{known.max():.4g}"}
