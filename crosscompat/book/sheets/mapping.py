"""Which of a grower's columns is which of ours: guessed from the headings, changed by the grower."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from crosscompat.book.sheets.grids import Grid, Value, column_letter
from crosscompat.book.sheets.headings import COLUMNS, heading_row, meanings
from crosscompat.ground.csv_cells import column_name
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

__all__ = ["NOTE", "Column", "TableMapping", "changed", "guess"]

NOTE = "note"
"""The one column that several of a grower's may go into."""

_EXAMPLE_LETTERS = 30
_SIDES: Mapping[str, tuple[tuple[str, ...], ...]] = {
    "crosses": (
        ("date",),
        ("seed_parent", "seed_plant", "pair"),
        ("pollen_parent", "pollen_plant", "pair", "pollen_kind"),
    ),
    "plants": (("plant",), ("species",)),
}


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a grower's table.

    Attributes
    ----------
    at : int
        Its place, from 0.
    heading : str
        As the file writes it; one without a heading is called by its letter, as is the second of two alike.
    becomes : str or None
        What it is here; None is left out.
    example : str
        The first thing in it.
    """

    at: int
    heading: str
    becomes: str | None
    example: str = ""


@dataclass(frozen=True, slots=True)
class TableMapping:
    """What the rows are, in which row the headings stand (from 0), and the columns with anything in them."""

    rows_are: str
    row: int
    columns: tuple[Column, ...]

    def column(self, name: str) -> Column | None:
        """Return the first column that becomes one of ours, or None."""
        return next((column for column in self.columns if column.becomes == name), None)

    @property
    def missing(self) -> tuple[tuple[str, ...], ...]:
        """What no column says and every row must say; one of each group would do."""
        found = {column.becomes for column in self.columns}
        return tuple(group for group in _SIDES[self.rows_are] if found.isdisjoint(group))

    @property
    def is_ours(self) -> bool:
        """Whether all headings are the very names of our columns."""
        return all(column_name(column.heading) == column.becomes for column in self.columns)


def guess(grid: Grid, rows_are: str | None = None) -> TableMapping:
    """Return what the headings of a table seem to mean.

    Parameters
    ----------
    grid : Grid
    rows_are : {"crosses", "plants"}, optional
        By default whatever more headings speak for.

    Raises
    ------
    WrongUse
        If rows can be no such thing.
    """
    if rows_are is not None and rows_are not in COLUMNS:
        raise WrongUse(say("sheets.rows_are", word=rows_are, words=", ".join(COLUMNS)))
    row, kind = heading_row(grid, (rows_are,) if rows_are else tuple(COLUMNS))
    meant = meanings(grid, row, kind) if grid.rows else {}
    columns: list[Column] = []
    for at in range(max(map(len, grid.rows), default=0)):
        heading = _cell(grid, row, at)
        example = next(
            (str(value) for i in range(row + 1, len(grid.rows)) if (value := _cell(grid, i, at)) is not None), ""
        )
        if heading is not None or example:
            name = _free(str(heading).strip() if heading is not None else "", at, columns)
            columns.append(Column(at, name, meant.get(at), example[:_EXAMPLE_LETTERS]))
    return TableMapping(kind, row, tuple(columns))


def changed(mapping: TableMapping, maps: Iterable[str] = (), ignored: Iterable[str] = ()) -> TableMapping:
    """Return a mapping with what the grower says of some columns.

    Parameters
    ----------
    mapping : TableMapping
    maps : iterable of str
        Each ``Their heading=our_column``.
    ignored : iterable of str
        Headings of columns that are left out.

    Raises
    ------
    WrongUse
        If there is no such heading or no such column of ours.
    """
    becomes: dict[int, str | None] = {_named(mapping, heading).at: None for heading in ignored}
    for text in maps:
        heading, sign, name = text.rpartition("=")
        ours = column_name(name)
        if not sign:
            raise WrongUse(say("sheets.map_form", text=text))
        if ours not in COLUMNS[mapping.rows_are]:
            raise WrongUse(say("sheets.map_ours", name=name.strip(), known=", ".join(COLUMNS[mapping.rows_are])))
        if ours != NOTE and ours in becomes.values():
            raise WrongUse(say("sheets.map_twice", name=ours))
        becomes[_named(mapping, heading).at] = ours
    said = set(becomes.values()) - {NOTE}
    columns = (
        replace(column, becomes=becomes.get(column.at, None if column.becomes in said else column.becomes))
        for column in mapping.columns
    )
    found = replace(mapping, columns=tuple(columns))
    if found.column("pair") and (found.column("seed_parent") or found.column("pollen_parent")):
        raise WrongUse(say("sheets.map_pair"))
    return found


def _cell(grid: Grid, row: int, at: int) -> Value:
    return grid.rows[row][at] if row < len(grid.rows) and at < len(grid.rows[row]) else None


def _free(heading: str, at: int, columns: Iterable[Column]) -> str:
    letter = say("sheets.column_letter", letter=column_letter(at))
    if not heading:
        return letter
    return f"{heading} ({letter})" if heading in {column.heading for column in columns} else heading


def _named(mapping: TableMapping, heading: str) -> Column:
    """Find a column by its heading or its letter."""
    wanted = column_name(heading)
    for names in (
        {column_name(column.heading): column for column in reversed(mapping.columns)},
        {column_letter(column.at).casefold(): column for column in mapping.columns},
    ):
        if wanted in names:
            return names[wanted]
    listed = ", ".join(column.heading for column in mapping.columns)
    raise WrongUse(say("sheets.map_theirs", heading=heading.strip(), known=listed))
