"""A grower's table as it stands, which of its columns is which of ours, and what the grower says of it in a CSV."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from difflib import get_close_matches
from functools import cache
from pathlib import Path

from crosscompat.book import records
from crosscompat.book.crosses import HEADER as CROSSES
from crosscompat.book.current_plants import HEADER as PLANTS
from crosscompat.book.current_plants import MORE as MORE_OF_PLANTS
from crosscompat.book.import_export.cell_meaning import (
    ACCIDENT,
    FAILED,
    TOOK_MEANS,
    day_of,
    is_pair,
    plain_words,
    vocabulary,
)
from crosscompat.book.records import Record
from crosscompat.ground.csv_cells import Cells, choice, column_name, raise_faults, read_records, read_sheet, write_sheet
from crosscompat.ground.errors import Fault, Place, WrongUse
from crosscompat.ground.wording import say
from crosscompat.ground.workbook import Value, read_workbook

_WORKBOOKS, _TEXTS = (".xlsx", ".ods"), (".csv", ".tsv", ".txt")


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
    if ending in _WORKBOOKS:
        return tuple(Grid(path.name, name, rows) for name, rows in read_workbook(path))
    if ending not in _TEXTS:
        raise WrongUse(say("sheets.format", file=path.name, formats=", ".join((*_TEXTS, *_WORKBOOKS))))
    faults: list[Fault] = []
    lines, separator = read_records(path, faults)
    rows = [[cell if cell.strip() else None for cell in record] for record in lines]
    raise_faults(faults)
    return (Grid(path.name, None, rows, separator == ";"),)


EXTRA: Mapping[str, tuple[type[Record], str]] = {
    **{name: (records.Cross, name) for name in ("aim", "wanted")},
    **{name: (records.Pollination, name) for name in ("hour", "marker", "temperature", "humidity", "count_how")},
    "weight": (records.SeedLot, "weight"),
    "harvested_on": (records.SeedLot, "date"),
    "sown_on": (records.Sowing, "date"),
    "first_seedling_on": (records.Emergence, "date"),
    "ended_on": (records.Loss, "date"),
}
"""Columns of crosses beyond the summary, and the kind of record and the field that hold each."""

DAYS = tuple(column for column, (_, name) in EXTRA.items() if name == "date")
"""Those that hold days, in the order in which they come."""

WORDS_OF = {f"{day}_words": (EXTRA[day][0], "date_words") for day in DAYS}
"""Columns that hold the month or season, where no more is known of a day, as `EXTRA`; growers have none such."""

COLUMNS: Mapping[str, tuple[str, ...]] = {
    "crosses": (*CROSSES, *EXTRA, "pair"),
    "plants": (*PLANTS, *MORE_OF_PLANTS),
}
"""The columns there may be, by what the rows are."""

NOTE = "note"
"""The one column that several of a grower's may go into."""

_FIRST_ROWS, _ENOUGH, _MOSTLY, _EXAMPLE_LETTERS = 10, 2, 0.5, 30
_POLLEN = ("pollen_parent", "pollen_plant", "pair", "pollen_kind")
_NEEDED: Mapping[str, tuple[tuple[str, ...], ...]] = {
    "crosses": (("date",), ("seed_parent", "seed_plant", "pair"), _POLLEN),
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
        return tuple(group for group in _NEEDED[self.rows_are] if found.isdisjoint(group))

    @property
    def is_ours(self) -> bool:
        """Whether all headings are the very names of our columns."""
        return all(column_name(column.heading) == column.becomes for column in self.columns)


def map_columns(grid: Grid, rows_are: str | None = None, answers: Mapping[str, str] | None = None) -> TableMapping:
    """Return what the headings of a table mean: what the grower says of them, else what they seem to.

    ``answers`` are our column by heading, blank where it is left out. `WrongUse` is raised if one is no column here,
    if two are the same, or if one holds both parents and another a parent.
    """
    row, kind = heading_row(grid, (rows_are,) if rows_are else tuple(COLUMNS))
    meant = meanings(grid, row, kind) if grid.rows else {}
    below = {at: grid.below(row, at) for at in range(max(map(len, grid.rows), default=0))}
    titles = _titles(grid.rows[row] if grid.rows else (), below)
    said = {at: answers[title] or None for at, title in titles.items() if answers and title in answers}
    found = {at: ours for at, ours in meant.items() if ours == NOTE or ours not in said.values()} | said
    columns = tuple(
        Column(at, title, found.get(at), str(next(iter(below[at]), ""))[:_EXAMPLE_LETTERS])
        for at, title in titles.items()
    )
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
        if meant == "cross" and _mostly(grid.below(row, at), lambda cell: isinstance(cell, str) and is_pair(cell)):
            found[at] = "pair"
        elif meant in dated and _mostly(
            grid.below(row, at), lambda cell: isinstance(cell, date) or bool(day_of(str(cell)))
        ):
            found[at] = dated[meant]
    first: dict[str, int] = {}
    for at, meant in sorted(found.items(), key=lambda item: (_glued(titles[item[0]]) != _glued(item[1]), item[0])):
        first.setdefault(meant, at)
    if "pair" in first and {"seed_parent", "pollen_parent"} & set(first):
        del first["pair"]
    return {at: meant for at, meant in found.items() if meant == NOTE or first.get(meant) == at}


def _mostly(cells: Sequence[Value], test: Callable[[Value], object]) -> bool:
    return sum(bool(test(cell)) for cell in cells) > _MOSTLY * len(cells)


def meaning_of(heading: str, rows_are: str) -> str | None:
    """Return the column that a heading means, or None where its words are not known."""
    known, filling = _phrases(rows_are), vocabulary()["headings"]["filling"]
    bracketed = re.compile(r"\(([^)]*)\)")
    for part in (heading, bracketed.sub(" ", heading), " ".join(bracketed.findall(heading))):
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
    """Return the column that is not yet there and that a heading is most like; else the note, where nothing is lost."""
    known = _phrases(mapping.rows_are)
    near = get_close_matches(_glued(heading), known, 1, 0.75)
    ours = known[near[0]] if near else NOTE
    return NOTE if mapping.column(ours) else ours


OPEN = "?"
NOTE_ANSWERS = (ACCIDENT, FAILED, NOTE)
QUESTIONS: Mapping[str, tuple[str, ...]] = {
    "rows": tuple(COLUMNS),
    "took": tuple(TOOK_MEANS),
    "only successes": ("yes", "no", "unknown"),
    "dates": ("day-first", "month-first"),
    "columns": ("yes",),
}
_HEADER = ("what", "yours", "answer", "for_example")
_EXAMPLES = 3


@dataclass(frozen=True, slots=True)
class Answers:
    """What the grower says of a table; what is not answered is not in it.

    ``columns`` are our columns by heading, blank where one is left out, ``notes`` of ``NOTE_ANSWERS`` what a note says
    of its cross, ``questions`` of ``QUESTIONS``; ``friend`` is whose book it is, where it is not the grower's own.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    notes: Mapping[str, str] = field(default_factory=dict)
    questions: Mapping[str, str] = field(default_factory=dict)
    friend: str | None = None
    south: bool = False


def with_ours(answers: Answers, mapping: TableMapping) -> Answers:
    """Return the answers, of a table with our own headings with what those mean."""
    return replace(answers, questions={"took": "seedling", **answers.questions}) if mapping.is_ours else answers


def open_questions(mapping: TableMapping, answers: Answers) -> list[str]:
    """Return what must be said of a table before its rows can be read, of ``QUESTIONS``, and has not been."""
    needed = {
        "took": mapping.column("took") is not None,
        "only successes": mapping.rows_are == "crosses" and not (mapping.is_ours or mapping.column("only_successes")),
    }
    return [question for question, must in needed.items() if must and question not in answers.questions]


def read_answers(path: Path) -> Answers:
    """Read a file of answers, in which a ``?`` is none; `BadInput` tells every answer that cannot be."""
    faults: list[Fault] = []
    sheet = read_sheet(path, known=_HEADER, required=_HEADER[:3], faults=faults)
    answers: dict[str, dict[str, str]] = {"column": {}, "note": {}, "question": {}}
    every = sorted({name for names in COLUMNS.values() for name in names})
    for row in sheet.rows:
        cells = Cells(sheet, row, faults)
        what = cells.read("what", lambda text: choice(text, answers), needed=True)
        yours = cells.text("yours", needed=True)
        if what is None or yours is None or cells.text("answer") == OPEN:
            continue
        allowed = {"column": every, "note": NOTE_ANSWERS}.get(what, QUESTIONS.get(yours, ()))
        answer = cells.read("answer", lambda text, words=allowed: choice(text, words))  # type: ignore[misc]
        if answer is not None or what == "column":
            answers[what][yours] = answer or ""
    raise_faults(faults)
    return Answers(answers["column"], answers["note"], answers["question"])


def write_answers(
    path: Path, grid: Grid, mapping: TableMapping, answers: Answers, open_notes: Mapping[str, Sequence[int]]
) -> None:
    """Write what is answered, and what is not with a ``?``: the columns, what the notes decide, and the questions."""
    rows: list[tuple[str, str, str, str]] = []
    for column in mapping.columns:
        answer = answers.columns.get(column.heading, column.becomes or "")
        rows.append(("column", column.heading, answer, "; ".join(samples(grid, mapping, column))))
    for note, places in {**dict.fromkeys(answers.notes, ()), **open_notes}.items():
        where = [say("sheets.rows", rows=", ".join(map(str, places)))] if places else []
        rows.append(("note", note, answers.notes.get(note, OPEN), ". ".join([", ".join(NOTE_ANSWERS), *where])))
    for question, answer in {"rows": mapping.rows_are, **answers.questions}.items():
        rows.append(("question", question, answer, ", ".join(QUESTIONS[question])))
    path.parent.mkdir(parents=True, exist_ok=True)
    write_sheet(path, _HEADER, (dict(zip(_HEADER, row, strict=True)) for row in rows))


def samples(grid: Grid, mapping: TableMapping, column: Column) -> list[str]:
    """Return the first three different things in a column, as texts."""
    below = grid.below(mapping.row, column.at)
    return list(dict.fromkeys(" ".join(str(value).split()) for value in below))[:_EXAMPLES]
