"""Species that a tree lacks, placed in the group that they are known to belong to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from crosscompat.ground.names import fold
from crosscompat.phylogeny.classification import RANKS, Group, below_genus, group_label, groups_of, members_of
from crosscompat.phylogeny.tree import Phylogeny
from crosscompat.phylogeny.tree_arrays import Floats, in_postorder, inner_nodes

__all__ = ["Placed", "group_crowns", "place", "place_for", "spread_of_placed"]

Ranked = Mapping[str, str]
"""Names of groups by rank."""


@dataclass(frozen=True, slots=True)
class Placed:
    """Where a species that the tree lacks is put.

    ``rank`` and ``group`` are the lowest group of it that the tree holds together, ``node`` is that group's crown node
    in the tree without it: a tip where the group has a single species there.
    """

    species: str
    rank: str
    group: str
    node: int


def group_crowns(tree: Phylogeny, known: Mapping[str, Ranked]) -> dict[Group, int]:
    """Return the crown nodes of the groups that a tree holds together.

    A group is the named node of its label (``sect. Triglochidiati``) where there is exactly one; else the smallest
    clade with all its tips, unless a tip known to be of another group of that rank stands in it.

    The tree is not marked as unrooted. ``known`` has the ranks of tips by label; the genus of a label counts without
    being told.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> group_crowns(parse_newick("(((Aus_bus:1,Aus_cus:1)sect._One:1,Aus_dus:2):1,Bus_eus:3);"), {})
    {('', 'genus', 'Aus'): 4, ('', 'genus', 'Bus'): 5, ('Aus', 'section', 'sect. One'): 2}
    """
    held = [groups_of(label, known.get(label, {})) for label in tree.tips]
    at_rank = [{rank: label for _, rank, label in groups} for groups in held]
    crowns: dict[Group, int] = {}
    for (genus, rank, label), tips in members_of(held).items():
        node = tree.mrca(tree.tips[tip] for tip in tips)
        if all(at_rank[tip].get(rank, label) == label for tip in tree.tips_under(node).tolist()):
            crowns[genus, rank, label] = node
    return {**crowns, **_named_groups(tree, at_rank)}


def place_for(tree: Phylogeny, known: Mapping[str, Ranked], missing: Mapping[str, Ranked]) -> tuple[Placed, ...]:
    """Return where species that a tree lacks are to be put; one without a group there is passed over.

    ``known`` has the ranks of tips by label, ``missing`` those of the species that the tree lacks.
    """
    if tree.rooted is False or tree.has_negative or not missing:
        return ()
    crowns = group_crowns(tree, known)
    placed = []
    for species, ranks in missing.items():
        groups = [group for group in groups_of(species, ranks) if group in crowns]
        if groups:
            placed.append(Placed(species, *groups[-1][1:], crowns[groups[-1]]))
    return tuple(placed)


def place(tree: Phylogeny, placed: Sequence[Placed]) -> Phylogeny:
    """Return the tree with more tips.

    Each hangs on its group's crown node, as far from the root as the group's tips are on average. Where the group is a
    single tip, a node halfway up its branch holds the two: a judgement.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> tree = parse_newick("((Aus_bus:1,Aus_cus:1)sect._One:1,Aus_dus:2);")
    >>> wider = place(tree, place_for(tree, {}, {"Aus fus": {}}))
    >>> wider.tips, wider.patristic("Aus fus", "Aus bus")
    (('Aus_bus', 'Aus_cus', 'Aus_dus', 'Aus fus'), 4.0)
    """
    if not placed:
        return tree
    parents, labels, lengths = tree.parent.tolist(), list(tree.labels), tree.length.tolist()
    tips = set(tree.tip_nodes.tolist())
    for species in placed:
        node = species.node
        if node in tips:
            if parents[node] < tree.n_nodes:  # nobody was placed beside it before
                lengths[node] /= 2
                parents.append(parents[node])
                parents[node] = len(labels)
                labels.append("")
                lengths.append(lengths[node])
            node, length = parents[node], lengths[node]
        else:
            under = tree.root_distance[tree.tip_nodes[tree.tips_under(node)]]
            length = float(np.mean(under) - tree.root_distance[node])
        parents.append(node)
        labels.append(species.species)
        lengths.append(length)
    children: dict[int, list[int]] = {}
    for node, above in enumerate(parents):
        children.setdefault(above, []).append(node)
    order, parent = in_postorder(tree.n_nodes - 1, lambda node: children.get(node, []))
    support = np.append(tree.support, np.full(len(labels) - tree.n_nodes, np.nan))[order]
    named = [labels[node] for node in order]
    return Phylogeny.from_arrays(parent, np.array(lengths)[order], named, support, unit=tree.unit, rooted=tree.rooted)


def spread_of_placed(tree: Phylogeny, placed: Sequence[str], seed: Sequence[str], pollen: Sequence[str]) -> Floats:
    """Return how unsure distances are because a parent was only placed in its group.

    They are standard deviations in the unit of the tree, which holds the placed species, as an (m,) array: 0 where
    neither parent was placed, or the other one stands outside the group. Inside the group it is the root mean square of
    what the distance would be off if the placed parent stood where one of the group's own species stands, and at least
    that of a distance which may be anything from nothing to the one told (that over the root of twelve): a judgement.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> tree = parse_newick("((Aus_bus:1,Aus_cus:1,Aus_fus:1)sect._One:1,Aus_dus:2);")
    >>> spread_of_placed(tree, ["Aus_fus"], ["Aus_fus"] * 2, ["Aus_bus", "Aus_dus"]).round(4).tolist()
    [0.5774, 0.0]
    """
    node_of = dict(zip(tree.tips, tree.tip_nodes.tolist(), strict=True))
    unsure = set(placed)
    spread = np.zeros(len(seed))
    for i, pair in enumerate(zip(seed, pollen, strict=True)):
        for species, other in (pair, pair[::-1]):
            if species in unsure and species != other:
                group = [tree.tips[tip] for tip in tree.tips_under(int(tree.parent[node_of[species]])).tolist()]
                if other in group:
                    models = [tip for tip in group if tip not in {other, *unsure}]
                    spread[i] = max(spread[i], _spread(tree, tree.patristic(species, other), other, models))
    return spread


def _spread(tree: Phylogeny, distance: float, other: str, models: list[str]) -> float:
    off = tree.patristic_from(other, models) - distance
    return float(np.sqrt(max(np.mean(off**2) if models else 0.0, distance**2 / 12)))


def _named_groups(tree: Phylogeny, at_rank: Sequence[Ranked]) -> dict[Group, int]:
    """Return the inner nodes that are named as groups below the genus, without labels that come twice."""
    inner = np.flatnonzero(inner_nodes(tree.parent)).tolist()
    labels = [fold(tree.labels[node]) for node in inner]
    named: dict[Group, int] = {}
    for node, label in zip(inner, labels, strict=True):
        rank = next((rank for rank in RANKS if below_genus(rank) and label == group_label(rank, label)), None)
        genera = {at_rank[tip].get("genus", "") for tip in tree.tips_under(node).tolist()} if rank else set()
        if rank and labels.count(label) == 1 and len(genera) == 1:
            named[genera.pop(), rank, label] = node
    return named
