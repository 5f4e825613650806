"""What a grower says of a table that it does not say itself, kept in a CSV that a person can fill in."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType

from crosscompat.book.import_export.cell_meaning import ACCIDENT, FAILED, TOOK_MEANS
from crosscompat.book.import_export.column_mapping import COLUMNS, NOTE, Column, Grid, TableMapping
from crosscompat.ground.csv_cells import Cells, choice, raise_faults, read_sheet, write_sheet
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
class Answers:
    """What the grower says of a table; what is not answered is not in it.

    ``columns`` are our columns by heading, blank where one is left out; ``notes`` what a note says of its cross:
    "accident", "failed" or "note"; ``questions`` the answers to ``QUESTIONS``; ``friend`` whose book it is, where it is
    not the grower's own; ``south`` whether its seasons are those south of the equator.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    notes: Mapping[str, str] = field(default_factory=dict)
    questions: Mapping[str, str] = field(default_factory=dict)
    friend: str | None = None
    south: bool = False


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
    path.parent.mkdir(parents=True, exist_ok=True)
    rows = _rows(grid, mapping, answers, open_notes)
    write_sheet(path, _HEADER, (dict(zip(_HEADER, row, strict=True)) for row in rows))


def _rows(
    grid: Grid, mapping: TableMapping, answers: Answers, open_notes: Mapping[str, Sequence[int]]
) -> Iterator[tuple[str, str, str, str]]:
    for column in mapping.columns:
        answer = answers.columns.get(column.heading, column.becomes or "")
        yield "column", column.heading, answer, "; ".join(samples(grid, mapping, column))
    for note, rows in {**dict.fromkeys(answers.notes, ()), **open_notes}.items():
        where = say("sheets.rows", rows=", ".join(map(str, rows))) if rows else ""
        yield "note", note, answers.notes.get(note, OPEN), ". ".join(filter(None, (", ".join(NOTE_ANSWERS), where)))
    for question, answer in {"rows": mapping.rows_are, **answers.questions}.items():
        yield "question", question, answer, ", ".join(QUESTIONS[question])


def samples(grid: Grid, mapping: TableMapping, column: Column) -> list[str]:
    """Return the first three different things in a column, as texts."""
    below = grid.below(mapping.row, column.at)
    return list(dict.fromkeys(" ".join(str(value).split()) for value in below))[:_EXAMPLES]
