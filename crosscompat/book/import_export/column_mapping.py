"""Files of cells as they stand, and which of a grower's columns is which of ours."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from difflib import get_close_matches
from functools import cache
from pathlib import Path
from types import MappingProxyType

from crosscompat.book import records
from crosscompat.book.crosses import HEADER as CROSSES
from crosscompat.book.current_plants import HEADER as PLANTS
from crosscompat.book.current_plants import MORE as MORE_OF_PLANTS
from crosscompat.book.import_export.cell_meaning import day_of, is_pair, plain_words, vocabulary
from crosscompat.book.records import Record
from crosscompat.ground.csv_cells import column_name, read_records
from crosscompat.ground.errors import BadInput, Fault, Place, WrongUse
from crosscompat.ground.wording import say
from crosscompat.ground.workbook import Value, read_workbook

WORKBOOKS = (".xlsx", ".ods")
TEXTS = (".csv", ".tsv", ".txt")
FORMATS = (*TEXTS, *WORKBOOKS)


@dataclass(frozen=True, slots=True)
class Grid:
    """One table of cells, from the first row of the file on, blank rows too; rows may differ in length.

    ``sheet`` is its name in a workbook. A number may have a decimal comma where semicolons part the cells.
    """

    file: str
    sheet: str | None
    rows: Sequence[Sequence[Value]]
    decimal_comma: bool = False

    def place(self, row: int | None = None, column: str | None = None) -> Place:
        """Return where something stands in it."""
        return Place(self.file, row=row, column=column, sheet=self.sheet)

    def below(self, row: int, at: int) -> list[Value]:
        """Return what stands in a column below a row, blanks aside."""
        return [cells[at] for cells in self.rows[row + 1 :] if at < len(cells) and cells[at] is not None]

    @property
    def blank(self) -> bool:
        """Whether there is nothing in it."""
        return all(value is None for row in self.rows for value in row)


def read_grids(path: Path) -> tuple[Grid, ...]:
    """Read a CSV, XLSX or ODS, cell by cell, formulas as what they last came to.

    `BadInput` says why a file cannot be read; `WrongUse` that it is of no such format, or that the package is absent.
    """
    ending = path.suffix.lower()
    if ending in WORKBOOKS:
        return tuple(Grid(path.name, name, rows) for name, rows in read_workbook(path))
    if ending not in TEXTS:
        raise WrongUse(say("sheets.format", file=path.name, formats=", ".join(FORMATS)))
    faults: list[Fault] = []
    lines, separator = read_records(path, faults)
    rows = [[cell if cell.strip() else None for cell in record] for record in lines]
    if faults:
        raise BadInput(faults)
    return (Grid(path.name, None, rows, separator == ";"),)


EXTRA: Mapping[str, tuple[type[Record], str]] = MappingProxyType(
    {name: (records.Cross, name) for name in ("aim", "wanted")}
    | {name: (records.Pollination, name) for name in ("hour", "marker", "temperature", "humidity", "count_how")}
    | {"weight": (records.SeedLot, "weight"), "harvested_on": (records.SeedLot, "date")}
    | {"sown_on": (records.Sowing, "date"), "first_seedling_on": (records.Emergence, "date")}
    | {"ended_on": (records.Loss, "date")}
)
"""Columns of crosses beyond the summary, and the kind of record and the field that hold each."""

DAYS = tuple(column for column, (_, name) in EXTRA.items() if name == "date")
"""Those that hold days, in the order in which they come."""

WORDS_OF = {f"{day}_words": (EXTRA[day][0], "date_words") for day in DAYS}
"""Columns that hold the month or season, where no more is known of a day, as `EXTRA`; growers have none such."""

COLUMNS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {"crosses": (*CROSSES, *EXTRA, "pair"), "plants": (*PLANTS, *MORE_OF_PLANTS)}
)
"""The columns there may be, by what the rows are."""

NOTE = "note"
"""The one column that several of a grower's may go into."""

_FIRST_ROWS, _ENOUGH, _MOSTLY, _EXAMPLE_LETTERS = 10, 2, 0.5, 30
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
    """One column of a grower's table: its place from 0, its heading, what it becomes here, and the first thing in it.

    One without a heading is called by its letter, as is the second of two alike; one that becomes None is left out.
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


def map_columns(
    grid: Grid, rows_are: str | None = None, answers: Mapping[str, str] = MappingProxyType({})
) -> TableMapping:
    """Return what the headings of a table mean: what the grower says of them, else what they seem to.

    ``answers`` are our column by heading, blank where it is left out. `WrongUse` is raised if one is no column here,
    if two are the same, or if one holds both parents and another a parent.
    """
    row, kind = heading_row(grid, (rows_are,) if rows_are else tuple(COLUMNS))
    meant = meanings(grid, row, kind) if grid.rows else {}
    below = {at: grid.below(row, at) for at in range(max(map(len, grid.rows), default=0))}
    titles = _titles(grid.rows[row] if grid.rows else (), below)
    said = {at: answers[title] or None for at, title in titles.items() if title in answers}
    found = {at: ours for at, ours in meant.items() if ours == NOTE or ours not in said.values()} | said
    columns = tuple(Column(at, title, found.get(at), _example(below[at])) for at, title in titles.items())
    for ours in filter(None, said.values()):
        if ours not in COLUMNS[kind]:
            raise WrongUse(say("sheets.map_ours", name=ours, known=", ".join(COLUMNS[kind])))
    times = Counter(column.becomes for column in columns if column.becomes not in {None, NOTE})
    if twice := [ours for ours, n in times.items() if n > 1]:
        raise WrongUse(say("sheets.map_twice", name=twice[0]))
    if "pair" in times and {"seed_parent", "pollen_parent"} & times.keys():
        raise WrongUse(say("sheets.map_pair"))
    return TableMapping(kind, row, columns)


def _titles(headings: Sequence[Value], below: Mapping[int, Sequence[Value]]) -> dict[int, str]:
    """Return what each column with anything in it is called."""
    titles: dict[int, str] = {}
    for at, cells in below.items():
        title = str(headings[at]).strip() if at < len(headings) and headings[at] is not None else ""
        letter = say("sheets.column_letter", letter=_letter(at))
        if title and column_name(title) in map(column_name, titles.values()):
            title = f"{title} ({letter})"
        if title or cells:
            titles[at] = title or letter
    return titles


def _letter(place: int) -> str:
    """Return what a spreadsheet calls the column of a place, counted from 0."""
    more, last = divmod(place, 26)
    return (_letter(more - 1) if more else "") + chr(ord("A") + last)


def _example(cells: Sequence[Value]) -> str:
    return str(cells[0])[:_EXAMPLE_LETTERS] if cells else ""


def heading_row(grid: Grid, kinds: Sequence[str] = tuple(COLUMNS)) -> tuple[int, str]:
    """Return the place of the row of headings and what the rows below are.

    Of the first ten rows it is the one with most headings that are known, two at least; else the first with anything.
    """
    filled = [at for at, row in enumerate(grid.rows) if any(value is not None for value in row)]
    tries = [(len(meanings(grid, at, kind)), -at, -i) for at in filled[:_FIRST_ROWS] for i, kind in enumerate(kinds)]
    most, at, i = max(tries, default=(0, 0, 0))
    if most < _ENOUGH:
        return (filled[0] if filled else 0), kinds[0]
    return -at, kinds[-i]


def meanings(grid: Grid, row: int, rows_are: str) -> dict[int, str]:
    """Return the column that each heading of a row means, by its place; no column is meant twice.

    A heading that is the very name of a column comes first. A column of numbers that holds formulas such as A × B is
    the pair, one that holds days is the day of what it counts. Notes may stand in several columns.
    """
    titles = {at: str(title) for at, title in enumerate(grid.rows[row]) if title is not None}
    found = {at: meant for at, title in titles.items() if (meant := meaning_of(title, rows_are))}
    dated = vocabulary()["headings"]["dated"]
    for at, meant in found.items():
        if meant == "cross" and _mostly(grid.below(row, at), lambda value: isinstance(value, str) and is_pair(value)):
            found[at] = "pair"
        elif meant in dated and _mostly(grid.below(row, at), _looks_like_a_day):
            found[at] = dated[meant]
    first: dict[str, int] = {}
    for at, meant in sorted(found.items(), key=lambda item: (_glued(titles[item[0]]) != _glued(item[1]), item[0])):
        first.setdefault(meant, at)
    if "pair" in first and {"seed_parent", "pollen_parent"} & set(first):
        del first["pair"]
    return {at: meant for at, meant in found.items() if meant == NOTE or first.get(meant) == at}


def _mostly(cells: Sequence[Value], test: Callable[[Value], bool]) -> bool:
    return bool(cells) and sum(map(test, cells)) > _MOSTLY * len(cells)


def _looks_like_a_day(value: Value) -> bool:
    return isinstance(value, date) or (isinstance(value, str) and bool(day_of(value)))


def meaning_of(heading: str, rows_are: str) -> str | None:
    """Return the column that a heading means, or None where its words are not known.

    Examples
    --------
    >>> meaning_of("♀ (Mother)", "crosses"), meaning_of("No. of flowers", "crosses"), meaning_of("Soil", "crosses")
    ('seed_parent', 'units', None)
    """
    known, filling = _phrases(rows_are), vocabulary()["headings"]["filling"]
    outside = re.sub(r"\([^)]*\)", " ", heading)
    inside = " ".join(re.findall(r"\(([^)]*)\)", heading))
    for part in (heading, outside, inside):
        few = _glued(" ".join(word for word in plain_words(part).split() if word not in filling))
        found = known.get(_glued(part)) or (known.get(few) if few else None)
        if found:
            return found
    return None


@cache
def _phrases(rows_are: str) -> Mapping[str, str]:
    """Return our column by each word or phrase that means it, without blanks and accents."""
    found = {_glued(column): column for column in COLUMNS[rows_are]}
    for column, known in vocabulary()["headings"][rows_are].items():
        for phrase in known:
            found.setdefault(_glued(phrase), column)
    return found


def _glued(words: str) -> str:
    return re.sub(r"[ ?]", "", plain_words(words))


def best_guess(mapping: TableMapping, heading: str) -> str:
    """Return the column that is not yet there and that a heading is most like; else the note, where nothing is lost.

    Examples
    --------
    >>> best_guess(TableMapping("crosses", 0, ()), "Seedlingz"), best_guess(TableMapping("crosses", 0, ()), "Soil")
    ('seedlings', 'note')
    """
    known = _phrases(mapping.rows_are)
    near = get_close_matches(_glued(heading), known, 1, 0.75)
    ours = known[near[0]] if near else NOTE
    return NOTE if mapping.column(ours) else ours
