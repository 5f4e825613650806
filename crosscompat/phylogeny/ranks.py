"""The ranks of a classification, and what a group of each is called in a tree."""

from __future__ import annotations

from collections.abc import Iterable

from crosscompat.ground.names import fold

__all__ = ["RANKS", "group_label", "ranks_among"]

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
