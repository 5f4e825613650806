"""Species that a tree lacks, placed in the group that they are known to belong to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from crosscompat.ground.names import fold, genus_of
from crosscompat.phylogeny.classification import RANKS, group_label
from crosscompat.phylogeny.postorder import in_postorder, inner_nodes
from crosscompat.phylogeny.tree import Phylogeny
from crosscompat.phylogeny.types import Floats, Ints

__all__ = ["Groups", "Placed", "group_crowns", "groups_of", "place", "place_for", "spread_of_placed"]

Ranked = Mapping[str, str]
"""Names of groups by rank."""


@dataclass(frozen=True, slots=True)
class Placed:
    """Where a species that the tree lacks is put.

    Attributes
    ----------
    species : str
        As it is to be labelled.
    rank, group : str
        The lowest group of it that the tree holds together.
    node : int
        That group's crown node in the tree without it; a tip where the group has a single species there.
    """

    species: str
    rank: str
    group: str
    node: int


@dataclass(frozen=True, slots=True)
class Groups:
    """The groups that a tree holds together.

    Attributes
    ----------
    crowns : mapping of (str, str, str) to int
        Crown node by genus ("" from the genus up), rank and label.
    """

    crowns: Mapping[tuple[str, str, str], int]

    def of(self, species: str, ranks: Ranked) -> tuple[str, str, int] | None:
        """Return rank, label and crown node of the lowest group of a species, or None."""
        for genus, rank, label in reversed(groups_of(species, ranks)):
            node = self.crowns.get((genus, rank, label))
            if node is not None:
                return rank, label, node
        return None


def groups_of(species: str, ranks: Ranked) -> list[tuple[str, str, str]]:
    """Return genus, rank and label of the groups that hold a species, the highest first.

    Below the genus a group is known by its genus too: two genera may each have a section of one name.

    Examples
    --------
    >>> groups_of("Aus bus", {"section": "One"})
    [('', 'genus', 'Aus'), ('Aus', 'section', 'sect. One')]
    """
    genus = ranks.get("genus") or genus_of(species)
    whole = {**ranks, "genus": genus} if genus else dict(ranks)
    own = group_label("genus", genus) if genus else ""
    return [
        (own if _below_genus(rank) else "", rank, group_label(rank, whole[rank])) for rank in RANKS if rank in whole
    ]


def group_crowns(tree: Phylogeny, known: Mapping[str, Ranked]) -> Groups:
    """Find the groups that a tree holds together.

    Parameters
    ----------
    tree : Phylogeny
        Not marked as unrooted.
    known : mapping of str to mapping
        Ranks of tips, by label; the genus of a label counts without being told.

    Returns
    -------
    Groups
        A group is the named node of its label (``sect. Triglochidiati``) where there is exactly one; else the smallest
        clade with all its tips, unless a tip known to be of another group of that rank stands in it.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> tree = parse_newick("(((Aus_bus:1,Aus_cus:1)sect._One:1,Aus_dus:2):1,Bus_eus:3);")
    >>> groups = group_crowns(tree, {})
    >>> groups.of("Aus fus", {"section": "One"}), groups.of("Aus fus", {"section": "Two"})
    (('section', 'sect. One', 2), ('genus', 'Aus', 4))
    """
    held = [groups_of(label, known.get(label, {})) for label in tree.tips]
    members: dict[tuple[str, str, str], list[int]] = {}
    for tip, groups in enumerate(held):
        for group in groups:
            members.setdefault(group, []).append(tip)
    at_rank = [{rank: label for _, rank, label in groups} for groups in held]
    crowns: dict[tuple[str, str, str], int] = {}
    for (genus, rank, label), tips in members.items():
        node = tree.mrca([tree.tips[tip] for tip in tips])
        if all(at_rank[tip].get(rank, label) == label for tip in tree.tips_under(node).tolist()):
            crowns[genus, rank, label] = node
    return Groups({**crowns, **_named_groups(tree, at_rank)})


def place_for(tree: Phylogeny, known: Mapping[str, Ranked], missing: Mapping[str, Ranked]) -> tuple[Placed, ...]:
    """Return where species that a tree lacks are to be put; one without a group there is passed over.

    Parameters
    ----------
    tree : Phylogeny
    known : mapping of str to mapping
        Ranks of tips, by label.
    missing : mapping of str to mapping
        Ranks of the species that the tree lacks.
    """
    if tree.rooted is False or tree.has_negative or not missing:
        return ()
    groups = group_crowns(tree, known)
    found = [(species, groups.of(species, ranks)) for species, ranks in missing.items()]
    return tuple(Placed(species, *group) for species, group in found if group is not None)


def place(tree: Phylogeny, placed: Sequence[Placed]) -> Phylogeny:
    """Return the tree with more tips.

    Parameters
    ----------
    tree : Phylogeny
    placed : sequence of Placed
        Each hangs on its group's crown node, as far from the root as the group's tips are on average. Where the group
        is a single tip, a node halfway up its branch holds the two: a judgement.

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
    children: dict[int, list[int]] = {}
    for node, above in enumerate(tree.parent.tolist()):
        children.setdefault(above, []).append(node)
    labels, lengths = list(tree.labels), tree.length.tolist()
    tips = set(tree.tip_nodes.tolist())
    halfway: dict[int, int] = {}
    for one in placed:
        node = one.node
        if node in tips:
            if node not in halfway:
                halfway[node] = _split(children, int(tree.parent[node]), node, labels, lengths)
            node = halfway[node]
            length = lengths[one.node]
        else:
            under = tree.root_distance[tree.tip_nodes[tree.tips_under(node)]]
            length = float(np.mean(under) - tree.root_distance[node])
        children.setdefault(node, []).append(len(labels))
        labels.append(one.species)
        lengths.append(length)
    order, parent = in_postorder(tree.n_nodes - 1, lambda node: children.get(node, []))
    support = np.append(tree.support, np.full(len(labels) - tree.n_nodes, np.nan))
    return Phylogeny.from_arrays(
        parent,
        np.array(lengths)[order],
        [labels[node] for node in order],
        support[order],
        unit=tree.unit,
        rooted=tree.rooted,
    )


def spread_of_placed(tree: Phylogeny, placed: Sequence[str], seed: Sequence[str], pollen: Sequence[str]) -> Floats:
    """Return how unsure distances are because a parent was only placed in its group.

    Parameters
    ----------
    tree : Phylogeny
        With the placed species in it.
    placed : sequence of str
        Their labels.
    seed, pollen : sequence of m str
        Labels of pairs.

    Returns
    -------
    (m,) float array
        Standard deviations in the unit of the tree: 0 where neither parent was placed, or the other one stands outside
        the group. Inside the group it is the root mean square of what the distance would be off if the placed parent
        stood where one of the group's own species stands, and at least that of a distance which may be anything from
        nothing to the one told (that over the root of twelve): a judgement.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> tree = parse_newick("((Aus_bus:1,Aus_cus:1,Aus_fus:1)sect._One:1,Aus_dus:2);")
    >>> spread_of_placed(tree, ["Aus_fus"], ["Aus_fus"] * 2, ["Aus_bus", "Aus_dus"]).round(4).tolist()
    [0.5774, 0.0]
    """
    node_of = dict(zip(tree.tips, tree.tip_nodes.tolist(), strict=True))
    unsure = set(placed)
    found = np.zeros(len(seed))
    for i, pair in enumerate(zip(seed, pollen, strict=True)):
        for one, other in (pair, pair[::-1]):
            if one in unsure and one != other:
                held = tree.tips_under(int(tree.parent[node_of[one]]))
                if other in {tree.tips[tip] for tip in held}:
                    found[i] = max(found[i], _spread(tree, one, other, held, unsure))
    return found


def _spread(tree: Phylogeny, one: str, other: str, held: Ints, unsure: set[str]) -> float:
    told = tree.patristic(one, other)
    models = [tree.tips[tip] for tip in held if tree.tips[tip] not in {other, *unsure}]
    off = tree.patristic_from(other, models) - told
    return float(np.sqrt(max(np.mean(off**2) if models else 0.0, told**2 / 12)))


def _split(children: dict[int, list[int]], above: int, tip: int, labels: list[str], lengths: list[float]) -> int:
    """Put a node halfway up the branch of a tip and return its number."""
    node = len(labels)
    labels.append("")
    lengths.append(lengths[tip] / 2)
    lengths[tip] /= 2
    siblings = children[above]
    siblings[siblings.index(tip)] = node
    children[node] = [tip]
    return node


def _below_genus(rank: str) -> bool:
    return RANKS.index(rank) > RANKS.index("genus")


def _named_groups(tree: Phylogeny, at_rank: Sequence[Ranked]) -> dict[tuple[str, str, str], int]:
    """Return the inner nodes that are named as groups below the genus, without labels that come twice."""
    inner = np.flatnonzero(inner_nodes(tree.parent)).tolist()
    labels = [fold(tree.labels[node]) for node in inner]
    found: dict[tuple[str, str, str], int] = {}
    for node, label in zip(inner, labels, strict=True):
        rank = next((rank for rank in RANKS if _below_genus(rank) and label == group_label(rank, label)), None)
        genera = {at_rank[tip].get("genus", "") for tip in tree.tips_under(node).tolist()} if rank else set()
        if rank and labels.count(label) == 1 and len(genera) == 1:
            found[genera.pop(), rank, label] = node
    return found
