"""Files of cells as they stand, and which of a grower's columns is which of ours."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from functools import cache
from importlib.resources import files
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeAlias

from crosscompat.book.crosses import HEADER as CROSSES
from crosscompat.book.current_plants import HEADER as PLANTS
from crosscompat.book.current_plants import MORE as MORE_OF_PLANTS
from crosscompat.book.import_export.cell_meaning import day_of, plain_words
from crosscompat.book.import_export.row_meaning import EXTRA, is_pair
from crosscompat.ground.csv_cells import column_name, read_records
from crosscompat.ground.errors import BadInput, Fault, Place, WrongUse
from crosscompat.ground.wording import say

Value: TypeAlias = str | int | float | date | datetime | time | timedelta | None
"""What a cell holds; None is blank. Yes and no of a workbook are texts."""

WORKBOOKS = (".xlsx", ".ods")
TEXTS = (".csv", ".tsv", ".txt")
FORMATS = (*TEXTS, *WORKBOOKS)


@dataclass(frozen=True, slots=True)
class Grid:
    """One table of cells.

    Attributes
    ----------
    file : str
        The file's name, without its folder.
    sheet : str or None
        The sheet's name in a workbook; None in a CSV.
    rows : sequence of sequences of Value
        From the first row of the file on, blank ones too; they may differ in length.
    decimal_comma : bool
        Whether a number may have a decimal comma: only where semicolons part the cells.
    """

    file: str
    sheet: str | None
    rows: Sequence[Sequence[Value]]
    decimal_comma: bool = False

    def place(self, row: int | None = None, column: str | None = None) -> Place:
        """Return where something stands in it."""
        return Place(self.file, row=row, column=column, sheet=self.sheet)

    @property
    def blank(self) -> bool:
        """Whether there is nothing in it."""
        return all(value is None for row in self.rows for value in row)


def read_grids(path: Path) -> tuple[Grid, ...]:
    """Read a CSV, XLSX or ODS, cell by cell, formulas as what they last came to.

    Raises
    ------
    BadInput
        If the file cannot be read.
    WrongUse
        If it is of no such format, or the package that reads workbooks is absent.
    """
    ending = path.suffix.lower()
    if ending in WORKBOOKS:
        return _workbook(path)
    if ending not in TEXTS:
        raise WrongUse(say("sheets.format", file=path.name, formats=", ".join(FORMATS)))
    faults: list[Fault] = []
    records, separator = read_records(path, faults)
    if faults:
        raise BadInput(faults)
    rows = [[cell if cell.strip() else None for cell in record] for record in records]
    return (Grid(path.name, None, rows, separator == ";"),)


def column_letter(place: int) -> str:
    """Return what a spreadsheet calls the column of a place, counted from 0.

    Examples
    --------
    >>> column_letter(0), column_letter(25), column_letter(26)
    ('A', 'Z', 'AA')
    """
    found = ""
    place += 1
    while place:
        place, letter = divmod(place - 1, 26)
        found = chr(ord("A") + letter) + found
    return found


def _workbook(path: Path) -> tuple[Grid, ...]:
    if not path.is_file():
        key = "cells.is_folder" if path.is_dir() else "cells.missing_file"
        raise BadInput([Fault(Place(str(path)), say(key))])
    try:
        import python_calamine as calamine  # noqa: PLC0415 - only a workbook needs it
    except ModuleNotFoundError as error:
        raise WrongUse(say("sheets.extra", package=error.name)) from None
    try:
        book = calamine.CalamineWorkbook.from_path(path)
        return tuple(
            Grid(path.name, name, [[_value(cell) for cell in row] for row in sheet.to_python(skip_empty_area=False)])
            for name, sheet in ((name, book.get_sheet_by_name(name)) for name in book.sheet_names)
        )
    except calamine.PasswordError:
        raise BadInput([Fault(Place(path.name), say("sheets.password"))]) from None
    except calamine.CalamineError as error:
        raise BadInput([Fault(Place(path.name), say("sheets.unsound", reason=str(error).rstrip(".")))]) from None


def _value(cell: Any) -> Value:
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, str):
        return cell if cell.strip() else None
    if isinstance(cell, float) and cell.is_integer() and not (cell == 0 and str(cell).startswith("-")):
        return int(cell)
    return cell  # type: ignore[no-any-return]


COLUMNS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {"crosses": (*CROSSES, *EXTRA, "pair"), "plants": (*PLANTS, *MORE_OF_PLANTS)}
)
"""The columns there may be, by what the rows are."""

_FIRST_ROWS = 10
_ENOUGH = 2
_MOSTLY = 0.5
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


@cache
def phrases(rows_are: str) -> Mapping[str, str]:
    """Return our column by each word or phrase that means it, without blanks and accents."""
    found = {_glued(column): column for column in COLUMNS[rows_are]}
    for column, known in _headings()[rows_are].items():
        for phrase in known:
            found.setdefault(_glued(phrase), column)
    return found


@cache
def _headings() -> Mapping[str, Any]:
    return tomllib.loads(files(__package__).joinpath("headings.toml").read_text(encoding="utf-8"))


def _glued(words: str) -> str:
    return re.sub(r"[ ?]", "", plain_words(words))


def meaning_of(heading: str, rows_are: str) -> str | None:
    """Return the column that a heading means, or None where its words are not known.

    Examples
    --------
    >>> meaning_of("♀ (Mother)", "crosses"), meaning_of("No. of flowers", "crosses"), meaning_of("Soil", "crosses")
    ('seed_parent', 'units', None)
    """
    known, filling = phrases(rows_are), frozenset(_headings()["filling"])
    outside = re.sub(r"\([^)]*\)", " ", heading)
    inside = " ".join(re.findall(r"\(([^)]*)\)", heading))
    for part in (heading, outside, inside):
        few = _glued(" ".join(word for word in plain_words(part).split() if word not in filling))
        found = known.get(_glued(part)) or (known.get(few) if few else None)
        if found:
            return found
    return None


def meanings(grid: Grid, row: int, rows_are: str) -> dict[int, str]:
    """Return the column that each heading of a row means, by its place; no column is meant twice.

    A heading that is the very name of a column comes before one that only means it. Where a column that would hold
    numbers holds formulas such as A × B, it is the pair; where it holds days, it is the day of what it counts. Notes
    may stand in several columns.
    """
    titles = {at: str(title) for at, title in enumerate(grid.rows[row]) if title is not None}
    found = {at: meant for at, title in titles.items() if (meant := meaning_of(title, rows_are))}
    dated = _headings()["dated"]
    for at, meant in found.items():
        if meant == "cross" and _mostly(grid, row, at, lambda value: isinstance(value, str) and is_pair(value)):
            found[at] = "pair"
        elif meant in dated and _mostly(grid, row, at, _looks_like_a_day):
            found[at] = dated[meant]
    first: dict[str, int] = {}
    for at, meant in sorted(found.items(), key=lambda item: (_glued(titles[item[0]]) != _glued(item[1]), item[0])):
        first.setdefault(meant, at)
    if "pair" in first and {"seed_parent", "pollen_parent"} & set(first):
        del first["pair"]
    return {at: meant for at, meant in found.items() if meant == NOTE or first.get(meant) == at}


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


def _mostly(grid: Grid, row: int, at: int, test: Callable[[Value], bool]) -> bool:
    below = [cells[at] for cells in grid.rows[row + 1 :] if at < len(cells) and cells[at] is not None]
    return bool(below) and sum(map(test, below)) > _MOSTLY * len(below)


def _looks_like_a_day(value: Value) -> bool:
    return isinstance(value, date) or (isinstance(value, str) and bool(day_of(value)))


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
    maps : iterable of str
        Each ``Their heading=our_column``.
    ignored : iterable of str
        Headings of columns that are left out.

    Raises
    ------
    WrongUse
        If there is no such heading or no such column of ours.
    """
    becomes: dict[int, str | None] = {named(mapping, heading).at: None for heading in ignored}
    for text in maps:
        heading, sign, name = text.rpartition("=")
        ours = column_name(name)
        if not sign:
            raise WrongUse(say("sheets.map_form", text=text))
        if ours not in COLUMNS[mapping.rows_are]:
            raise WrongUse(say("sheets.map_ours", name=name.strip(), known=", ".join(COLUMNS[mapping.rows_are])))
        if ours != NOTE and ours in becomes.values():
            raise WrongUse(say("sheets.map_twice", name=ours))
        becomes[named(mapping, heading).at] = ours
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
    taken = {column_name(column.heading) for column in columns}
    return f"{heading} ({letter})" if column_name(heading) in taken else heading


def named(mapping: TableMapping, heading: str) -> Column:
    """Find a column by its heading or its letter.

    Raises
    ------
    WrongUse
        If there is none.
    """
    wanted = column_name(heading)
    for names in (
        {column_name(column.heading): column for column in reversed(mapping.columns)},
        {column_letter(column.at).casefold(): column for column in mapping.columns},
    ):
        if wanted in names:
            return names[wanted]
    listed = ", ".join(column.heading for column in mapping.columns)
    raise WrongUse(say("sheets.map_theirs", heading=heading.strip(), known=listed))
