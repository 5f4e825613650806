"""What a table to be imported leaves open: asked at the terminal, else gathered to be answered in a file."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from crosscompat.book.import_export.cell_meaning import ACCIDENT, FAILED, two_days
from crosscompat.book.import_export.column_mapping import (
    COLUMNS,
    NOTE,
    OPEN,
    QUESTIONS,
    Answers,
    Column,
    Grid,
    TableMapping,
    best_guess,
    map_columns,
    open_questions,
    read_answers,
    samples,
    with_ours,
    write_answers,
)
from crosscompat.book.import_export.import_table import ImportedRows, read_table
from crosscompat.book.store import Reading, Store
from crosscompat.cli.options import choose, confirm
from crosscompat.cli.output import line, paragraph
from crosscompat.ground.dates import today
from crosscompat.ground.errors import UnknownName, WrongUse
from crosscompat.ground.wording import say


@dataclass(slots=True)
class OpenTable:
    """A table as it is understood so far, what is said of it, and what nobody has answered yet.

    ``path`` is the file of answers, ``open_notes`` those that may decide, with their rows, ``still_open`` what is not
    answered, in words, by the question or what else it is.
    """

    grid: Grid
    path: Path
    answers: Answers
    at_terminal: bool
    open_notes: Mapping[str, list[int]] = field(default_factory=dict)
    still_open: dict[str, str] = field(default_factory=dict)

    @property
    def mapping(self) -> TableMapping:
        """What the columns are by what is said so far."""
        return map_columns(self.grid, self.answers.questions.get("rows"), self.answers.columns)

    def _answer(self, question: str, answer: str) -> None:
        self.answers = replace(self.answers, questions={**self.answers.questions, question: answer})

    def _keep(self) -> None:
        """Write down the answers and what is open; while anything is, with a guess for each unknown column."""
        open_questions = {question: OPEN for question in self.still_open if question in QUESTIONS}
        answers = replace(self.answers, questions={**self.answers.questions, **open_questions})
        mapping = self.mapping
        for column in self._unknown(mapping) if self.still_open else ():
            answers = _with_column(answers, column, best_guess(mapping, column.heading))
            mapping = map_columns(self.grid, answers.questions.get("rows"), answers.columns)
        write_answers(self.path, self.grid, mapping, answers, self.open_notes)

    def ask_columns(self) -> None:
        """Ask what each column is that is not known, showing three things in it and the best guess."""
        for column in self._unknown(self.mapping) if self.at_terminal else ():
            mapping = self.mapping
            likely, examples = best_guess(mapping, column.heading), "; ".join(samples(self.grid, mapping, column))
            free = [name for name in COLUMNS[mapping.rows_are] if name == NOTE or not mapping.column(name)]
            prompt = say("import.ask.column", heading=column.heading, examples=examples, guess=likely)
            while (answer := _typed(prompt) or likely) not in {"-", *free}:
                paragraph(say("import.ask.column_words", words=", ".join(free)))
            self.answers = _with_column(self.answers, column, answer.strip("-"))

    def read(self, page: Reading) -> ImportedRows:
        """Read the table against a book by what is said so far."""
        return read_table(page, self.grid, self.mapping, self.answers, today())

    def _ask_rows(self, store: Store) -> None:
        """Ask what the rows need, and then what their notes mean."""
        mapping = self.mapping
        self.answers = with_ours(self.answers, mapping)
        for question in open_questions(mapping, self.answers):
            self._ask(question)
        if self.at_terminal and self._two_ways(mapping) and "dates" not in self.answers.questions:
            self._ask("dates")
        if mapping.column(NOTE) and mapping.rows_are == "crosses":
            with store.reading() as page:
                self.open_notes = self.read(page).open_notes
        if self.open_notes and self.at_terminal:
            notes = {**self.answers.notes, **_ask_notes(self.open_notes)}
            self.answers, self.open_notes = replace(self.answers, notes=notes), {}
        if self.open_notes:
            listed = "; ".join(say("import.quoted", text=text) for text in self.open_notes)
            self.still_open["notes"] = say("import.ask.notes_option", notes=listed)

    def settle(self, store: Store, *, yes: bool, keep: bool) -> bool:
        """Ask what is open, keep the answers, and tell whether the rows can be read by them.

        `WrongUse` says what every row must say and no column does.
        """
        mapping = self.mapping
        if not mapping.missing:
            self._ask_rows(store)
        else:
            columns = "; ".join(say("import.or").join(group) for group in mapping.missing)
            self.still_open["missing"] = say("import.missing", columns=columns, file=str(self.path))
        readable = self.still_open.keys() <= {"notes"}
        accepted = self.answers.questions.get("columns") == "yes" and not self._unknown(mapping)
        known = yes or mapping.is_ours or accepted
        if known or (self.at_terminal and not self.still_open and confirm(say("import.ask.mapping"))):
            self._answer("columns", "yes")
        else:
            self.still_open["columns"] = say("import.ask.mapping_option", file=str(self.path))
        if keep and not mapping.is_ours:
            self._keep()
        if mapping.missing:
            raise WrongUse(self.still_open["missing"])
        return readable

    def _ask(self, question: str) -> None:
        key = question.partition(" ")[0]
        if self.at_terminal and (answer := choose(say(f"import.ask.{key}"), QUESTIONS[question])):
            self._answer(question, answer)
        else:
            self.still_open[question] = say(f"import.ask.{key}_option", words=", ".join(QUESTIONS[question]))

    def _unknown(self, mapping: TableMapping) -> list[Column]:
        """Return the columns of which nobody knows what they are."""
        said = self.answers.columns
        return [one for one in mapping.columns if one.example and not one.becomes and one.heading not in said]

    def _two_ways(self, mapping: TableMapping) -> bool:
        """Tell whether a day of the table could be two days."""
        day = mapping.column("date") or mapping.column("acquired")
        cells = self.grid.below(mapping.row, day.at) if day else ()
        return any(isinstance(cell, str) and two_days(cell) for cell in cells)


def open_table(grid: Grid, path: Path | None, folder: Path, answers: Answers, *, at_terminal: bool) -> OpenTable:
    """Return a table with what was said of it before and what is said of it now."""
    kept = re.sub(r"[^\w -]+", "_", " ".join(filter(None, (Path(grid.file).stem, grid.sheet))))
    mine = folder / "imports" / f"{kept}.csv"
    if path is None and (mine.is_symlink() or mine.parent.is_symlink()):
        raise WrongUse(say("import.linked", file=str(mine)))
    path = path or mine
    saved = read_answers(path) if path.exists() else Answers()
    questions = {**saved.questions, **answers.questions}
    return OpenTable(
        grid, path, replace(answers, columns=saved.columns, notes=saved.notes, questions=questions), at_terminal
    )


def _with_column(answers: Answers, column: Column, ours: str) -> Answers:
    return replace(answers, columns={**answers.columns, column.heading: ours})


def _ask_notes(notes: Mapping[str, Sequence[int]]) -> dict[str, str]:
    """Show the notes that may decide, and ask which of them tell of an accident, and which of a failure."""
    texts, answers = list(notes), dict.fromkeys(notes, NOTE)
    line(say("import.ask.notes"))
    for number, (text, rows) in enumerate(notes.items(), start=1):
        where = say("sheets.rows", rows=", ".join(map(str, rows)))
        line(say("import.ask.one_note", number=str(number), text=text, where=where))
    for kind in (ACCIDENT, FAILED):
        left = {at for at, text in enumerate(texts, start=1) if answers[text] == NOTE}
        for at in _numbers(say(f"import.ask.{kind}"), left) if left else ():
            answers[texts[at - 1]] = kind
    return answers


def _numbers(question: str, allowed: Collection[int]) -> Iterable[int]:
    while True:
        typed = _typed(question).casefold()
        if typed in {"all", "none", ""}:
            return allowed if typed == "all" else ()
        parts = typed.replace(",", " ").split()
        if all(part.isdecimal() and int(part) in allowed for part in parts):
            return [int(part) for part in parts]
        paragraph(say("import.ask.numbers", numbers=", ".join(map(str, sorted(allowed)))))


def ask_names(unplaced: Mapping[str, str], with_place: Callable[[str], str]) -> dict[str, str]:
    """Ask what each name is that has no place, until what is typed has one; a blank leaves it, a dash all that follow.

    ``unplaced`` is what is said of each; ``with_place`` returns what is typed in full, or raises `UnknownName`.
    """
    meanings: dict[str, str] = {}
    for name, says in unplaced.items():
        paragraph(says, bullet="- ")
        while typed := _typed(say("import.ask.name", name=name)):
            if typed == "-":
                return meanings
            try:
                meanings[name] = with_place(typed)
                break
            except UnknownName as unknown:
                paragraph(str(unknown))
    return meanings


def _typed(question: str) -> str:
    try:
        return input(f"{question} ").strip()
    except EOFError:
        return ""
