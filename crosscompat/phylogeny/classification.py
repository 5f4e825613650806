"""A tree from a checklist: every rank is one step, so that a grower of any group can begin without branch lengths."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from os import PathLike

import numpy as np

from crosscompat.ground.csv_cells import Cells, Row, Sheet, raise_faults, read_sheet
from crosscompat.ground.errors import BadInput, Fault, Place
from crosscompat.ground.names import fold, genus_of
from crosscompat.ground.wording import say
from crosscompat.phylogeny.postorder import in_postorder
from crosscompat.phylogeny.tree import Phylogeny

__all__ = ["RANKS", "UNIT", "group_label", "is_classification", "rank_tree", "ranks_among", "read_classification"]

RANKS = (
    "family",
    "subfamily",
    "tribe",
    "subtribe",
    "genus",
    "subgenus",
    "section",
    "subsection",
    "series",
    "subseries",
)
"""The highest first."""

_MARKS = {
    "subgenus": ("subg.", "subgen.", "subgenus"),
    "section": ("sect.", "sec.", "section"),
    "subsection": ("subsect.", "subsec.", "subsection"),
    "series": ("ser.", "series"),
    "subseries": ("subser.", "subseries"),
}

UNIT = "rank steps"

_Group = tuple[str, str]
"""Rank and label."""


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


def is_classification(path: str | PathLike[str]) -> bool:
    """Tell whether a CSV is a checklist with ranks, and not a table of distances: it has a column called by a rank.

    A file that cannot be read is none.
    """
    header = read_sheet(path, faults=[]).header
    return "species" in header and bool(ranks_among(header))


def read_classification(path: str | PathLike[str]) -> Phylogeny:
    r"""Read a checklist and return its tree.

    Parameters
    ----------
    path : path
        A CSV with a column ``species`` and one for each rank, in any order: family, subfamily, tribe, subtribe, genus,
        subgenus, section, subsection, series, subseries. Other columns are passed over. A blank rank is filled from
        other species of the same group, else the species hangs on the next higher group that it has. Without a column
        ``genus`` the genus is that of the name.

    Returns
    -------
    Phylogeny
        In rank steps, rooted, all species level; groups are named nodes.

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
    """Return the tree of species by the groups that hold them.

    Parameters
    ----------
    species : sequence of n str
        No two the same.
    groups : sequence of n mappings of str to str
        The label of the group by rank, for each species; a rank that a species lacks is passed by.

    Returns
    -------
    Phylogeny
        A group stands as many steps above its species as there are ranks in use from the lowest up to its own, so the
        distance of two species is twice the steps up to the lowest group that holds both. The root is the only group of
        the highest rank, or one step above several.

    Examples
    --------
    >>> tree = rank_tree(["a", "b"], [{"genus": "A", "section": "sect. S"}, {"genus": "A"}])
    >>> tree.labels, tree.length.tolist()[:-1]
    (('a', 'sect. S', 'b', 'A'), [1.0, 1.0, 2.0])
    """
    used = [rank for rank in RANKS if any(rank in held for held in groups)]
    height = {rank: float(len(used) - at) for at, rank in enumerate(used)}
    top = _Node("", float(len(used) + 1))
    for name, held in zip(species, groups, strict=True):
        node = top
        for rank in used:
            if rank in held:
                node = node.inside.setdefault((rank, held[rank]), _Node(held[rank], height[rank]))
        node.inside["", name] = _Node(name, 0.0)
    if len(top.inside) == 1:
        top = next(iter(top.inside.values()))
    return _as_tree(top)


@dataclass(slots=True, eq=False)
class _Node:
    """A group or a species at its height, and what it holds by rank and label; a species has no rank."""

    label: str
    height: float
    inside: dict[_Group, _Node] = field(default_factory=dict)


def _as_tree(top: _Node) -> Phylogeny:
    nodes, parent = in_postorder(top, lambda node: list(node.inside.values()))
    heights = np.array([node.height for node in nodes])
    length = np.append(heights[parent[:-1]] - heights[:-1], np.nan)
    return Phylogeny.from_arrays(parent, length, [node.label for node in nodes], unit=UNIT, rooted=True)


def _read(sheet: Sheet, faults: list[Fault]) -> tuple[list[str], list[tuple[Row, dict[str, str]]]]:
    """Return the species, and the row and the groups of each."""
    ranks = ranks_among(sheet.header)
    species: list[str] = []
    ranked: list[tuple[Row, dict[str, str]]] = []
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
        genus = given.get("genus") or genus_of(name)
        named = {**given, "genus": genus} if genus else given
        species.append(name)
        ranked.append((row, {rank: group_label(rank, named[rank]) for rank in RANKS if rank in named}))
    return species, ranked


def _filled(sheet: Sheet, ranked: list[tuple[Row, dict[str, str]]], faults: list[Fault]) -> list[dict[str, str]]:
    """Fill the higher ranks of a group from its other species; a group in two places is a fault."""
    above: dict[tuple[str, str, str], dict[str, tuple[str, Row]]] = {}
    for row, groups in ranked:
        for rank, label in groups.items():
            known = above.setdefault(_key(groups, rank, label), {})
            for higher in RANKS[: RANKS.index(rank)]:
                if higher in groups:
                    there, first = known.setdefault(higher, (groups[higher], row))
                    if there != groups[higher]:
                        what = say(
                            "classification.two_places", group=label, here=groups[higher], there=there, row=first.number
                        )
                        faults.append(Fault(sheet.place(row, rank), what, say("classification.two_places_advice")))
    return [_with_higher(groups, above) for _, groups in ranked]


def _key(groups: Mapping[str, str], rank: str, label: str) -> tuple[str, str, str]:
    """Below the genus a group is known by its genus too: two genera may each have a section of one name."""
    below_genus = RANKS.index(rank) > RANKS.index("genus")
    return (groups.get("genus", "") if below_genus else "", rank, label)


def _with_higher(
    groups: dict[str, str], above: Mapping[tuple[str, str, str], Mapping[str, tuple[str, Row]]]
) -> dict[str, str]:
    whole = dict(groups)
    for rank in reversed(RANKS):
        if rank in whole:
            for higher, (label, _) in above.get(_key(whole, rank, whole[rank]), {}).items():
                whole.setdefault(higher, label)
    return {rank: whole[rank] for rank in RANKS if rank in whole}
