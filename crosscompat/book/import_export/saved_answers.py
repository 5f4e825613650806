"""What a grower said of a table, kept in a CSV that a person can fill in, for the next import of the same table."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from pathlib import Path
from types import MappingProxyType

from crosscompat.book.import_export.cell_meaning import ACCIDENT, FAILED, plain_words
from crosscompat.book.import_export.column_mapping import COLUMNS, NOTE, Column, Grid, TableMapping, changed, phrases
from crosscompat.book.import_export.row_meaning import TOOK_MEANS
from crosscompat.ground.csv_cells import Cells, raise_faults, read_sheet, write_sheet
from crosscompat.ground.csv_convert import choice
from crosscompat.ground.errors import Fault
from crosscompat.ground.wording import say

OPEN = "?"
NOTE_ANSWERS = (ACCIDENT, FAILED, NOTE)
QUESTIONS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "rows": tuple(COLUMNS),
        "took": tuple(TOOK_MEANS),
        "only successes": ("yes", "no", "unknown"),
        "dates": ("day-first", "month-first"),
        "columns": ("yes",),
    }
)
_HEADER = ("what", "yours", "answer", "for_example")
_EXAMPLES = 3


@dataclass(frozen=True, slots=True)
class SavedAnswers:
    """Answers by what was asked; what is not answered is not in it.

    Attributes
    ----------
    columns : mapping of str to str
        Our column by heading; blank where it is left out.
    notes : mapping of str to str
        What a note says of its cross: "accident", "failed" or "note".
    questions : mapping of str to str
        By the words of ``QUESTIONS``.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    notes: Mapping[str, str] = field(default_factory=dict)
    questions: Mapping[str, str] = field(default_factory=dict)


def read_answers(path: Path) -> SavedAnswers:
    """Read a file of answers.

    Raises
    ------
    BadInput
        With every answer that is none.
    """
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
    return SavedAnswers(answers["column"], answers["note"], answers["question"])


def write_answers(
    path: Path, grid: Grid, mapping: TableMapping, saved: SavedAnswers, open_notes: Mapping[str, Sequence[int]]
) -> None:
    """Write what is answered, and what is not with a ``?``: the columns, what the notes decide, and the questions."""
    path.parent.mkdir(parents=True, exist_ok=True)
    write_sheet(
        path, _HEADER, (dict(zip(_HEADER, row, strict=True)) for row in _rows(grid, mapping, saved, open_notes))
    )


def _rows(
    grid: Grid, mapping: TableMapping, saved: SavedAnswers, open_notes: Mapping[str, Sequence[int]]
) -> Iterator[tuple[str, str, str, str]]:
    for column in mapping.columns:
        yield "column", column.heading, column.becomes or "", "; ".join(samples(grid, mapping, column))
    for note, rows in {**dict.fromkeys(saved.notes, ()), **open_notes}.items():
        where = say("sheets.rows", rows=", ".join(map(str, rows))) if rows else ""
        yield "note", note, saved.notes.get(note, OPEN), ". ".join(filter(None, (", ".join(NOTE_ANSWERS), where)))
    for question, answer in {"rows": mapping.rows_are, **saved.questions}.items():
        yield "question", question, answer, ", ".join(QUESTIONS[question])


def with_saved(mapping: TableMapping, saved: SavedAnswers) -> TableMapping:
    """Return a mapping with the columns as they were answered, where the table has them."""
    there = {
        column.heading: saved.columns[column.heading] for column in mapping.columns if column.heading in saved.columns
    }
    maps = [f"{heading}={ours}" for heading, ours in there.items() if ours]
    return changed(mapping, maps, [heading for heading, ours in there.items() if not ours])


def samples(grid: Grid, mapping: TableMapping, column: Column) -> list[str]:
    """Return the first three different things in a column, as texts."""
    below = (row[column.at] for row in grid.rows[mapping.row + 1 :] if column.at < len(row))
    return list(dict.fromkeys(" ".join(str(value).split()) for value in below if value is not None))[:_EXAMPLES]


def best_guess(mapping: TableMapping, heading: str) -> str:
    """Return the column that is not yet there and that a heading is most like; else the note, where nothing is lost.

    Examples
    --------
    >>> best_guess(TableMapping("crosses", 0, ()), "Seedlingz"), best_guess(TableMapping("crosses", 0, ()), "Soil")
    ('seedlings', 'note')
    """
    known = phrases(mapping.rows_are)
    near = get_close_matches(plain_words(heading).replace(" ", ""), known, 1, 0.75)
    ours = known[near[0]] if near else NOTE
    return NOTE if mapping.column(ours) else ours
