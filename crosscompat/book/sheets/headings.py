"""What a grower's headings mean: found by their words, never by the order of the columns."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from functools import cache
from importlib.resources import files
from types import MappingProxyType

from crosscompat.book.crosses import HEADER as CROSSES
from crosscompat.book.plants import HEADER as PLANTS
from crosscompat.book.plants import MORE as MORE_OF_PLANTS
from crosscompat.book.sheets.further import FURTHER
from crosscompat.book.sheets.grids import Grid, Value
from crosscompat.book.sheets.pairs import is_pair
from crosscompat.ground.names import fold

__all__ = ["COLUMNS", "heading_row", "meaning_of", "meanings"]

COLUMNS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {"crosses": (*CROSSES, *FURTHER, "pair"), "plants": (*PLANTS, *MORE_OF_PLANTS)}
)
"""The columns there may be, by what the rows are."""

_FILLING = frozenset({"of", "the", "a", "no", "nr", "number", "count", "total", "all", "in"})
_FIRST_ROWS = 10
_ENOUGH = 2
_MOSTLY = 0.5


@cache
def _known(rows_are: str) -> Mapping[str, str]:
    """Return our column by each word or phrase that means it."""
    text = files("crosscompat.book.sheets").joinpath("headings.toml").read_text(encoding="utf-8")
    found = {_plain(column): column for column in COLUMNS[rows_are]}
    for column, phrases in tomllib.loads(text)[rows_are].items():
        for phrase in phrases:
            found.setdefault(_plain(phrase), column)
    return found


def meaning_of(heading: str, rows_are: str) -> str | None:
    """Return the column that a heading means, or None where its words are not known.

    Examples
    --------
    >>> meaning_of("♀ (Mother)", "crosses"), meaning_of("No. of flowers", "crosses"), meaning_of("Soil", "crosses")
    ('seed_parent', 'units', None)
    """
    known = _known(rows_are)
    outside = re.sub(r"\([^)]*\)", " ", heading)
    inside = " ".join(re.findall(r"\(([^)]*)\)", heading))
    for part in (heading, outside, inside):
        words = _plain(part)
        few = " ".join(word for word in words.split() if word not in _FILLING)
        found = known.get(words) or (known.get(few) if few else None)
        if found:
            return found
    return None


def meanings(grid: Grid, row: int, rows_are: str) -> dict[int, str]:
    """Return the column that each heading of a row means, by its place; no column is meant twice.

    A heading that is the very name of a column comes before one that only means it. Where a column that would hold
    numbers holds formulas such as A × B, it is the pair.
    """
    titles = {at: str(title) for at, title in enumerate(grid.rows[row]) if title is not None}
    found = {at: meant for at, title in titles.items() if (meant := meaning_of(title, rows_are))}
    found = {at: "pair" if meant == "cross" and _holds_pairs(grid, row, at) else meant for at, meant in found.items()}
    first: dict[str, int] = {}
    for at, meant in sorted(found.items(), key=lambda item: (_plain(titles[item[0]]) != _plain(item[1]), item[0])):
        first.setdefault(meant, at)
    if "pair" in first and {"seed_parent", "pollen_parent"} & set(first):
        del first["pair"]
    return {at: meant for meant, at in sorted(first.items(), key=lambda item: item[1])}


def heading_row(grid: Grid, kinds: Sequence[str] = tuple(COLUMNS)) -> tuple[int, str]:
    """Return the place of the row of headings and what the rows below are.

    It is the one of the first ten rows in which most headings are known, and at least two; else the first that is not
    blank.
    """
    filled = [at for at, row in enumerate(grid.rows) if any(value is not None for value in row)]
    tries = [(len(meanings(grid, at, kind)), -at, -i) for at in filled[:_FIRST_ROWS] for i, kind in enumerate(kinds)]
    most, at, i = max(tries, default=(0, 0, 0))
    if most < _ENOUGH:
        return (filled[0] if filled else 0), kinds[0]
    return -at, kinds[-i]


def _holds_pairs(grid: Grid, row: int, at: int) -> bool:
    below = [cells[at] for cells in grid.rows[row + 1 :] if at < len(cells) and cells[at] is not None]
    return bool(below) and sum(map(_looks_like_a_pair, below)) > _MOSTLY * len(below)


def _looks_like_a_pair(value: Value) -> bool:
    return isinstance(value, str) and is_pair(value)


def _plain(text: str) -> str:
    """Return a heading in small letters, without points, brackets, underscores and the style of ♀ and ♂."""
    letters = fold(text).casefold().replace("\ufe0f", "").replace("\ufe0e", "")
    return " ".join(re.sub(r"[_\-.:?!()\[\]]+", " ", letters).split())
