"""Whether the groups that a taxonomist names are clades on a tree, and who stands out of line."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from crosscompat.phylogeny.placement import groups_of
from crosscompat.phylogeny.postorder import Ints
from crosscompat.phylogeny.ranks import RANKS
from crosscompat.phylogeny.tree import Phylogeny

__all__ = ["Census", "Scattered", "group_census"]


@dataclass(frozen=True, slots=True)
class Scattered:
    """A group that is no clade.

    Attributes
    ----------
    rank, group : str
    together : int
        Members in its largest clade without a stranger.
    strays : tuple of str
        Its other members, as the tree labels them.
    strangers : tuple of str
        Tips of other groups in the smallest clade that holds all members.
    """

    rank: str
    group: str
    together: int
    strays: tuple[str, ...]
    strangers: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Census:
    """How many groups of two members or more there are, but the one of all, and those that are no clade."""

    groups: int
    scattered: tuple[Scattered, ...]


def group_census(tree: Phylogeny, known: Mapping[str, Mapping[str, str]]) -> Census:
    """Look whether groups are clades.

    Parameters
    ----------
    tree : Phylogeny
        Not marked as unrooted, no negative lengths.
    known : mapping of str to mapping
        Ranks of tips, by label; the genus of a label counts without being told. A tip whose group of a rank is not
        known is no stranger to any.

    Returns
    -------
    Census
        By rank, the highest first, and by label.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> tree = parse_newick("(((Aus_bus:1,Aus_cus:1):1,(Aus_dus:1,Aus_eus:1):1):1,Aus_fus:3);")
    >>> section = {"Aus_bus": "One", "Aus_cus": "One", "Aus_dus": "Two", "Aus_eus": "Two", "Aus_fus": "One"}
    >>> census = group_census(tree, {tip: {"section": name} for tip, name in section.items()})
    >>> census.groups, [(found.group, found.strays) for found in census.scattered]
    (2, [('sect. One', ('Aus_fus',))])
    """
    held = [dict(_keyed(label, known.get(label, {}))) for label in tree.tips]
    members: dict[tuple[str, tuple[str, str]], list[int]] = {}
    for tip, groups in enumerate(held):
        for rank, group in groups.items():
            members.setdefault((rank, group), []).append(tip)
    shared = {key: tips for key, tips in members.items() if 1 < len(tips) < tree.n_tips}
    scattered = []
    for (rank, group), tips in shared.items():
        others = [tip for tip, groups in enumerate(held) if groups.get(rank, group) != group]
        found = _scattered(tree, np.array(tips), np.array(others, dtype=np.int64))
        if found is not None:
            together, strays, strangers = found
            scattered.append(Scattered(rank, group[1], together, _labels(tree, strays), _labels(tree, strangers)))
    return Census(len(shared), tuple(sorted(scattered, key=lambda one: (RANKS.index(one.rank), one.group))))


def _keyed(label: str, ranks: Mapping[str, str]) -> list[tuple[str, tuple[str, str]]]:
    return [(rank, (genus, group)) for genus, rank, group in groups_of(label, ranks)]


def _scattered(tree: Phylogeny, tips: Ints, others: Ints) -> tuple[int, Ints, Ints] | None:
    """Return how many members stand together, the strays and the strangers; None if the group is a clade."""
    ours, theirs = _counts(tree, tips), _counts(tree, others)
    whole = int(np.flatnonzero(ours == tips.size)[0])
    if theirs[whole] == 0:
        return None
    pure = np.where(theirs == 0, ours, 0)
    core = tree.tips_under(int(np.argmax(pure)))
    return int(pure.max()), np.setdiff1d(tips, core), np.intersect1d(others, tree.tips_under(whole))


def _counts(tree: Phylogeny, tips: Ints) -> Ints:
    """Return how many of some tips each node holds."""
    count = np.zeros(tree.n_nodes, dtype=np.int64)
    count[tree.tip_nodes[tips]] = 1
    below, above = count.tolist(), tree.parent.tolist()
    for node in range(tree.n_nodes - 1):
        below[above[node]] += below[node]
    return np.array(below, dtype=np.int64)


def _labels(tree: Phylogeny, tips: Ints) -> tuple[str, ...]:
    return tuple(sorted(tree.tips[tip] for tip in tips.tolist()))
