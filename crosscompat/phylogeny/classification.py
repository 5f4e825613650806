"""Ranks and groups: a tree from a checklist, so that a grower can begin without one; species placed in their group."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from os import PathLike
from typing import NamedTuple, TypeAlias

import numpy as np

from crosscompat.ground.csv_cells import Cells, Row, Sheet, raise_faults, read_sheet
from crosscompat.ground.errors import Fault, Place
from crosscompat.ground.names import fold, genus_of, somewhere_in
from crosscompat.ground.wording import say
from crosscompat.phylogeny.tree import Phylogeny
from crosscompat.phylogeny.tree_arrays import Floats, in_postorder, inner_nodes

RANKS = (
    "family", "subfamily", "tribe", "subtribe", "genus", "subgenus", "section", "subsection", "series", "subseries",
)  # fmt: skip
"""The highest first."""

_MARKS = {
    "subgenus": ("subg.", "subgen.", "subgenus"),
    "section": ("sect.", "sec.", "section"),
    "subsection": ("subsect.", "subsec.", "subsection"),
    "series": ("ser.", "series"),
    "subseries": ("subser.", "subseries"),
}

UNIT = "rank steps"

Group: TypeAlias = tuple[str, str, str]
"""A group by the label of its genus ("" from the genus up), its rank and its label.

Two genera may each have a section of one name.
"""

_Node: TypeAlias = "tuple[str, float, dict[tuple[str, str], _Node]]"
"""A group or a species: label, height, and what it holds by rank and label; a species has no rank."""


def group_label(rank: str, name: str) -> str:
    """Return what a group is called in a tree: below the genus with the mark of its rank, else by its name alone.

    Examples
    --------
    >>> group_label("section", "Triglochidiati"), group_label("section", "sect. Triglochidiati")
    ('sect. Triglochidiati', 'sect. Triglochidiati')
    >>> group_label("genus", "Echinocereus")
    'Echinocereus'
    """
    if rank not in _MARKS:
        return fold(name)
    mark, _, rest = fold(name).partition(" ")
    return f"{_MARKS[rank][0]} {rest if rest and mark.casefold() in _MARKS[rank] else fold(name)}"


def ranks_said(name: str) -> dict[str, str]:
    """Return the ranks of a name that says no more than where a plant belongs, none of any other.

    Examples
    --------
    >>> ranks_said("Echinocereus sect. Triglochidiati"), ranks_said("Echinocereus coccineus")
    ({'genus': 'Echinocereus', 'section': 'Triglochidiati'}, {})
    """
    genus, mark, group = somewhere_in(name) or ("", "", "")
    rank = next((rank for rank, marks in _MARKS.items() if mark.casefold() in marks or f"{mark}." in marks), None)
    return {"genus": genus, rank: group} if rank else {}


def ranks_among(columns: Iterable[str]) -> tuple[str, ...]:
    """Return which of some columns are ranks, the highest first.

    Examples
    --------
    >>> ranks_among(["species", "2n", "section", "genus"])
    ('genus', 'section')
    """
    return tuple(sorted(set(columns).intersection(RANKS), key=RANKS.index))


def groups_of(species: str, ranks: Mapping[str, str]) -> list[Group]:
    """Return the groups that hold a species, the highest first; the genus of its name counts without being told.

    Examples
    --------
    >>> groups_of("Aus bus", {"section": "One"})
    [('', 'genus', 'Aus'), ('Aus', 'section', 'sect. One')]
    """
    genus = ranks.get("genus") or genus_of(species)
    whole = {**ranks, "genus": genus} if genus else ranks
    return [
        (group_label("genus", genus or "") if _below_genus(rank) else "", rank, group_label(rank, whole[rank]))
        for rank in RANKS
        if rank in whole
    ]


def members_of(held: Iterable[Iterable[Group]]) -> dict[Group, list[int]]:
    """Return the numbers of the members of each group, from the groups that hold each of them."""
    members: dict[Group, list[int]] = {}
    for number, groups in enumerate(held):
        for group in groups:
            members.setdefault(group, []).append(number)
    return members


def _below_genus(rank: str) -> bool:
    return RANKS.index(rank) > RANKS.index("genus")


def is_classification(path: str | PathLike[str]) -> bool:
    """Tell whether a CSV, if it can be read, is a checklist and no table of distances: it has a column for a rank."""
    header = read_sheet(path, faults=[]).header
    return "species" in header and bool(ranks_among(header))


def read_classification(path: str | PathLike[str]) -> Phylogeny:
    r"""Read a checklist and return its tree: in rank steps, rooted, all species level; groups are named nodes.

    The CSV has a column ``species`` and one for each of `RANKS`, in any order; other columns are passed over. A blank
    rank is filled from other species of the same group, else the species hangs on the next higher group that it has.
    Without a column ``genus`` the genus is that of the name.

    Raises
    ------
    BadInput
        With every fault: no species, one twice, a group in two places, nothing that tells them apart.

    Examples
    --------
    >>> from pathlib import Path
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     path = Path(folder, "checklist.csv")
    ...     _ = path.write_text("species,section\nAloe vera,A\nAloe ferox,B\nAloe africana,B\n")
    ...     tree = read_classification(path)
    >>> tree.patristic("Aloe ferox", "Aloe africana"), tree.patristic("Aloe ferox", "Aloe vera"), tree.unit
    (2.0, 4.0, 'rank steps')
    """
    faults: list[Fault] = []
    sheet = read_sheet(path, faults=faults)
    header = Place(sheet.file, row=1)
    if sheet.header and "species" not in sheet.header:
        faults.append(Fault(header, say("classification.no_species"), say("classification.no_species_advice")))
    raise_faults(faults)
    species = _species(sheet, faults)
    filled = _filled(sheet, list(species.values()), faults)
    if not faults and len(species) == 1:
        faults.append(Fault(Place(sheet.file), say("classification.one_species")))
    elif not faults and len({tuple(groups.values()) for groups in filled}) == 1:
        advice = say("classification.no_ranks_advice", ranks=", ".join(RANKS))
        faults.append(Fault(header, say("classification.no_ranks"), advice))
    raise_faults(faults)
    return rank_tree(list(species), filled)


def rank_tree(species: Sequence[str], groups: Sequence[Mapping[str, str]]) -> Phylogeny:
    """Return the tree of species, no two the same, by the label of the group of each rank that holds each of them.

    A group stands as many steps above its species as there are ranks in use from the lowest up to its own, so the
    distance of two species is twice the steps up to the lowest group that holds both; a rank that a species lacks is
    passed by. The root is the only group of the highest rank, or one step above several.

    Examples
    --------
    >>> tree = rank_tree(["a", "b"], [{"genus": "A", "section": "sect. S"}, {"genus": "A"}])
    >>> tree.labels, tree.length.tolist()[:-1]
    (('a', 'sect. S', 'b', 'A'), [1.0, 1.0, 2.0])
    """
    used = [rank for rank in RANKS if any(rank in held for held in groups)]
    height = {rank: float(len(used) - at) for at, rank in enumerate(used)}
    top: _Node = ("", float(len(used) + 1), {})
    for name, held in zip(species, groups, strict=True):
        _, _, inside = top
        for rank in used:
            if rank in held:
                _, _, inside = inside.setdefault((rank, held[rank]), (held[rank], height[rank], {}))
        inside["", name] = (name, 0.0, {})
    if len(top[2]) == 1:
        top = next(iter(top[2].values()))
    nodes, parent = in_postorder(top, lambda node: list(node[2].values()))
    heights = np.array([node[1] for node in nodes])
    length = np.append(heights[parent[:-1]] - heights[:-1], np.nan)
    return Phylogeny.from_arrays(parent, length, [node[0] for node in nodes], unit=UNIT, rooted=True)


def _species(sheet: Sheet, faults: list[Fault]) -> dict[str, tuple[Row, list[Group]]]:
    """Return the row and the groups of each species."""
    ranks = ranks_among(sheet.header)
    species: dict[str, tuple[Row, list[Group]]] = {}
    first: dict[str, int] = {}
    for row in sheet.rows:
        cells = Cells(sheet, row, faults)
        name = cells.text("species", needed=True)
        if name is None:
            continue
        before = first.setdefault(fold(name), row.number)
        if before != row.number:
            twice = say("classification.twice", species=name, row=before)
            cells.fault("species", twice, say("classification.twice_advice"))
        given = {rank: text for rank in ranks if (text := cells.text(rank)) is not None}
        species[name] = row, groups_of(name, given)
    return species


def _filled(sheet: Sheet, ranked: list[tuple[Row, list[Group]]], faults: list[Fault]) -> list[dict[str, str]]:
    """Return the label of each species' group by rank, the higher ranks of a group filled from its other species.

    A group in two places is a fault.
    """
    above: dict[Group, dict[str, tuple[str, Row]]] = {}
    for row, groups in ranked:
        for at, group in enumerate(groups):
            known = above.setdefault(group, {})
            for _, rank, label in groups[:at]:
                there, first = known.setdefault(rank, (label, row))
                if there != label:
                    what = say("classification.two_places", group=group[2], here=label, there=there, row=first.number)
                    place = sheet.place(row, group[1])
                    faults.append(Fault(place, what, say("classification.two_places_advice")))
    return [_with_higher(groups, above) for _, groups in ranked]


def _with_higher(groups: list[Group], above: Mapping[Group, Mapping[str, tuple[str, Row]]]) -> dict[str, str]:
    whole = {rank: label for _, rank, label in groups}
    genus = whole.get("genus", "")
    for rank in reversed(RANKS):
        if rank in whole:
            for higher, (label, _) in above.get((genus if _below_genus(rank) else "", rank, whole[rank]), {}).items():
                whole.setdefault(higher, label)
    return {rank: whole[rank] for rank in RANKS if rank in whole}


class Placed(NamedTuple):
    """Where a species that the tree lacks is put.

    ``rank`` and ``group`` are the lowest group of it that the tree holds together, ``node`` is that group's crown node
    in the tree without it: a tip where the group has a single species there.
    """

    species: str
    rank: str
    group: str
    node: int


def group_crowns(tree: Phylogeny, known: Mapping[str, Mapping[str, str]]) -> dict[Group, int]:
    """Return the crown nodes of the groups that a tree holds together.

    A group is the named node of its label (``sect. Triglochidiati``) where there is exactly one; else the smallest
    clade with all its tips, unless a tip known to be of another group of that rank stands in it. The tree is not marked
    as unrooted; ``known`` has the ranks of tips by label.

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


def place_for(
    tree: Phylogeny, known: Mapping[str, Mapping[str, str]], missing: Mapping[str, Mapping[str, str]]
) -> tuple[Placed, ...]:
    """Return where species that a tree lacks are to be put; one without a group there is passed over.

    ``known`` has the ranks of tips by label, ``missing`` those of the species that the tree lacks.
    """
    if tree.rooted is False or tree.has_negative or not missing:
        return ()
    crowns = group_crowns(tree, known)
    lowest = {
        species: [group for group in groups_of(species, ranks) if group in crowns][-1:]
        for species, ranks in missing.items()
    }
    return tuple(Placed(name, *group[1:], crowns[group]) for name, groups in lowest.items() for group in groups)


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
    """Return how unsure distances are because a parent was only placed in its group: standard deviations, (m,).

    They are 0 where neither parent was placed, or the other one stands outside the group. Inside it, the root mean
    square of what the distance would be off if the placed parent stood where one of the group's own species stands, and
    at least that of a distance which may be anything from nothing to this one (over the root of twelve): a judgement.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> tree = parse_newick("((Aus_bus:1,Aus_cus:1,Aus_fus:1)sect._One:1,Aus_dus:2);")
    >>> spread_of_placed(tree, ["Aus_fus"], ["Aus_fus"] * 2, ["Aus_bus", "Aus_dus"]).round(4).tolist()
    [0.5774, 0.0]
    """
    node_of, unsure = dict(zip(tree.tips, tree.tip_nodes.tolist(), strict=True)), set(placed)
    spread = np.zeros(len(seed))
    for i, pair in enumerate(zip(seed, pollen, strict=True)):
        for species, other in (pair, pair[::-1]):
            if species not in unsure or species == other:
                continue
            group = {tree.tips[tip] for tip in tree.tips_under(int(tree.parent[node_of[species]])).tolist()}
            if other in group:
                distance = tree.patristic(species, other)
                off = tree.patristic_from(other, sorted(group - unsure - {other})) - distance
                spread[i] = max(spread[i], np.sqrt(max(np.mean(off**2) if off.size else 0.0, distance**2 / 12)))
    return spread


def _named_groups(tree: Phylogeny, at_rank: Sequence[Mapping[str, str]]) -> dict[Group, int]:
    """Return the inner nodes that are named as groups below the genus, without labels that come twice."""
    inner = np.flatnonzero(inner_nodes(tree.parent)).tolist()
    labels = [fold(tree.labels[node]) for node in inner]
    named: dict[Group, int] = {}
    for node, label in zip(inner, labels, strict=True):
        rank = next((rank for rank in RANKS if _below_genus(rank) and label == group_label(rank, label)), None)
        genera = {at_rank[tip].get("genus", "") for tip in tree.tips_under(node).tolist()} if rank else set()
        if rank and labels.count(label) == 1 and len(genera) == 1:
            named[genera.pop(), rank, label] = node
    return named
