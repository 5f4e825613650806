"""What a grower should know about a tree before trusting its distances, and whether named groups are clades on it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import NamedTuple

import numpy as np

from crosscompat.ground.wording import say
from crosscompat.phylogeny.classification import RANKS, Group, groups_of, members_of
from crosscompat.phylogeny.tree import Phylogeny
from crosscompat.phylogeny.tree_arrays import Ints, tips_below

DEEP = 100
"""More levels than this, where the tips would fit in far fewer, is unusual: trees of 74,000 species have about 40."""

SPREAD = 1e-4
"""Tips count as level with each other if their root distances differ by no more than this, relative to the longest."""


def tree_report(tree: Phylogeny) -> dict[str, str]:
    """Return what a grower should know of a tree, in sentences: rooting, unit, level tips, polytomies and odd lengths.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> list(tree_report(parse_newick("[&R](a:1,b:1,c:-1);", unit="My")))
    ['size', 'rooted', 'unit', 'uneven', 'polytomies', 'negative']
    """
    return {key: say(f"trees.report.{key}", **values) for key, values in _notes(tree)}


def is_ultrametric(tree: Phylogeny) -> bool:
    """Say whether all tips are equally far from the root, to one part in ten thousand: files print few digits.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> is_ultrametric(parse_newick("((a:1,b:1):1,c:2);")), is_ultrametric(parse_newick("(a:1,b:2);"))
    (True, False)
    """
    reach = tree.root_distance[tree.tip_nodes]
    return bool(np.ptp(reach) <= SPREAD * np.abs(reach).max())


def _notes(tree: Phylogeny) -> Iterator[tuple[str, dict[str, object]]]:
    yield "size", {"n": tree.n_tips}
    yield {True: "rooted", False: "unrooted", None: "rooting_unsaid"}[tree.rooted], {}
    if tree.unit == "unit":
        yield "unit_lengths", {}
    else:
        yield ("unit", {"unit": tree.unit}) if tree.unit else ("unit_unsaid", {})
        reach = tree.root_distance[tree.tip_nodes]
        low, high = f"{reach.min():.4g}", f"{reach.max():.4g}"
        if tree.n_tips > 1 and not tree.length[:-1].any():
            yield "flat", {}
        else:
            yield ("ultrametric", {"reach": high}) if is_ultrametric(tree) else ("uneven", {"low": low, "high": high})
    yield from _shape(tree)


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
    lengths = tree.length[:-1]
    if (lengths < 0).any():
        node = int(lengths.argmin())
        yield "negative", {"n": int((lengths < 0).sum()), "lowest": f"{lengths[node]:.4g}"}
    if (lengths == 0).any() and lengths.any():
        yield "zero", {"n": int((lengths == 0).sum())}
    known = tree.support[~np.isnan(tree.support)]
    if known.size:
        yield "support", {"n": known.size, "low": f"{known.min():.4g}", "high": f"{known.max():.4g}"}


class Scattered(NamedTuple):
    """A group that is no clade.

    ``together`` members stand in its largest clade without a stranger, its ``strays`` elsewhere; ``strangers`` are tips
    of other groups in the smallest clade that holds all members.
    """

    rank: str
    group: str
    together: int
    strays: tuple[str, ...]
    strangers: tuple[str, ...]


class Census(NamedTuple):
    """How many groups of two members or more there are, but the one of all, and those that are no clade."""

    groups: int
    scattered: tuple[Scattered, ...]


def group_census(tree: Phylogeny, known: Mapping[str, Mapping[str, str]]) -> Census:
    """Look whether groups are clades of a rooted tree without negative lengths, by rank, the highest first, and label.

    ``known`` has the ranks of tips by label; a tip whose group of a rank is not known is no stranger to any.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> tree = parse_newick("(((Aus_bus:1,Aus_cus:1):1,(Aus_dus:1,Aus_eus:1):1):1,Aus_fus:3);")
    >>> section = {"Aus_bus": "One", "Aus_cus": "One", "Aus_dus": "Two", "Aus_eus": "Two", "Aus_fus": "One"}
    >>> census = group_census(tree, {tip: {"section": name} for tip, name in section.items()})
    >>> census.groups, [(group.group, group.strays) for group in census.scattered]
    (2, [('sect. One', ('Aus_fus',))])
    """
    held = [groups_of(label, known.get(label, {})) for label in tree.tips]
    shared = {group: tips for group, tips in members_of(held).items() if 1 < len(tips) < tree.n_tips}
    scattered = []
    for group, tips in shared.items():
        of_rank = [tip for tip, groups in enumerate(held) if any(rank == group[1] for _, rank, _ in groups)]
        scattered += _scattered(tree, group, np.array(tips), np.setdiff1d(of_rank, tips))
    return Census(len(shared), tuple(sorted(scattered, key=lambda group: (RANKS.index(group.rank), group.group))))


def _scattered(tree: Phylogeny, group: Group, tips: Ints, others: Ints) -> list[Scattered]:
    """Return what is wrong with a group; nothing if it is a clade."""
    ours, theirs = (tips_below(tree.parent, tree.tip_nodes[side]) for side in (tips, others))
    whole = int(np.flatnonzero(ours == tips.size)[0])
    if theirs[whole] == 0:
        return []
    pure = np.where(theirs == 0, ours, 0)
    core = tree.tips_under(int(np.argmax(pure)))
    strays, strangers = np.setdiff1d(tips, core), np.intersect1d(others, tree.tips_under(whole))
    return [Scattered(*group[1:], int(pure.max()), _labels(tree, strays), _labels(tree, strangers))]


def _labels(tree: Phylogeny, tips: Ints) -> tuple[str, ...]:
    return tuple(sorted(tree.tips[tip] for tip in tips.tolist()))
