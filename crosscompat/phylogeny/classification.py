"""A tree from a checklist: every rank is one step, so that a grower of any group can begin without branch lengths."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from os import PathLike
from typing import TypeAlias

import numpy as np

from crosscompat.ground.csv_cells import Cells, Row, Sheet, raise_faults, read_sheet
from crosscompat.ground.errors import BadInput, Fault, Place
from crosscompat.ground.names import fold, genus_of
from crosscompat.ground.wording import say
from crosscompat.phylogeny.tree import Phylogeny
from crosscompat.phylogeny.tree_arrays import in_postorder

__all__ = [
    "RANKS",
    "UNIT",
    "Group",
    "below_genus",
    "group_label",
    "groups_of",
    "is_classification",
    "members_of",
    "rank_tree",
    "ranks_among",
    "read_classification",
]

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
    words = fold(name).split(" ")
    marks = _MARKS.get(rank)
    if marks is None:
        return " ".join(words)
    if len(words) > 1 and words[0].casefold() in marks:
        words = words[1:]
    return " ".join((marks[0], *words))


def ranks_among(columns: Iterable[str]) -> tuple[str, ...]:
    """Return which of some columns are ranks, the highest first.

    Examples
    --------
    >>> ranks_among(["species", "2n", "section", "genus"])
    ('genus', 'section')
    """
    there = set(columns)
    return tuple(rank for rank in RANKS if rank in there)


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
        (group_label("genus", genus or "") if below_genus(rank) else "", rank, group_label(rank, whole[rank]))
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


def below_genus(rank: str) -> bool:
    """Say whether a rank is lower than that of the genus."""
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
    if sheet.header and "species" not in sheet.header:
        place = Place(sheet.file, row=1)
        faults.append(Fault(place, say("classification.no_species"), say("classification.no_species_advice")))
    raise_faults(faults)
    species, ranked = _read(sheet, faults)
    filled = _filled(sheet, ranked, faults)
    raise_faults(faults)
    if len(species) == 1:
        raise BadInput([Fault(Place(sheet.file), say("classification.one_species"))])
    if len({tuple(groups.values()) for groups in filled}) == 1:
        place, advice = Place(sheet.file, row=1), say("classification.no_ranks_advice", ranks=", ".join(RANKS))
        raise BadInput([Fault(place, say("classification.no_ranks"), advice)])
    return rank_tree(species, filled)


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


def _read(sheet: Sheet, faults: list[Fault]) -> tuple[list[str], list[tuple[Row, list[Group]]]]:
    """Return the species, and the row and the groups of each."""
    ranks = ranks_among(sheet.header)
    species: list[str] = []
    ranked: list[tuple[Row, list[Group]]] = []
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
        species.append(name)
        ranked.append((row, groups_of(name, {rank: text for rank in ranks if (text := cells.text(rank)) is not None})))
    return species, ranked


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
    genus = next((label for _, rank, label in groups if rank == "genus"), "")
    whole = {rank: label for _, rank, label in groups}
    for rank in reversed(RANKS):
        if rank in whole:
            for higher, (label, _) in above.get((genus if below_genus(rank) else "", rank, whole[rank]), {}).items():
                whole.setdefault(higher, label)
    return {rank: whole[rank] for rank in RANKS if rank in whole}
