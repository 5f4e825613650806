"""What a table to be imported leaves open: asked at the terminal, else gathered to be answered in a file."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from crosscompat.book.import_export.cell_meaning import ACCIDENT, FAILED, two_days
from crosscompat.book.import_export.column_mapping import COLUMNS, NOTE, Grid, TableMapping, changed, guess, named
from crosscompat.book.import_export.import_table import read_table
from crosscompat.book.import_export.read_rows import Answers
from crosscompat.book.import_export.saved_answers import (
    OPEN,
    QUESTIONS,
    SavedAnswers,
    best_guess,
    read_answers,
    samples,
    with_saved,
    write_answers,
)
from crosscompat.cli.output import line, paragraph
from crosscompat.cli.prompts import choose, confirm, on_a_terminal, today
from crosscompat.ground.wording import say

if TYPE_CHECKING:
    from crosscompat.book.store import Store
    from crosscompat.cli.book.import_table import Request
    from crosscompat.collection.opening import Collection

_ONLY_SUCCESSES = {"yes": True, "no": False, "unknown": None}


@dataclass(slots=True)
class TableInHand:
    """A table as it is understood so far, what is said of it, and what nobody has answered yet.

    Attributes
    ----------
    path : Path
        The file of what is said of it.
    settled : frozenset of str
        Headings of which the grower has said what they are.
    answers : dict of str to str
        By the questions of `saved_answers`.
    notes : dict of str to str
        What notes say of their crosses.
    open_notes : mapping of str to list of int
        Notes that may decide and are not answered.
    still_open : dict of str to str
        What is not answered, in words, by the question or what else it is.
    """

    grid: Grid
    mapping: TableMapping
    path: Path
    settled: frozenset[str]
    answers: dict[str, str]
    notes: dict[str, str]
    at_terminal: bool
    open_notes: Mapping[str, list[int]] = field(default_factory=dict)
    still_open: dict[str, str] = field(default_factory=dict)

    @property
    def unknown(self) -> list[str]:
        """Headings of which nobody knows what they are."""
        every = (column for column in self.mapping.columns if column.example and not column.becomes)
        return [column.heading for column in every if column.heading not in self.settled]

    def keep(self) -> None:
        """Write down the answers and what is open; while anything is, with a guess for each unknown column."""
        mapping = self.mapping
        for heading in self.unknown if self.still_open else ():
            mapping = changed(mapping, [f"{heading}={best_guess(mapping, heading)}"])
        headings = {column.heading: column.becomes or "" for column in mapping.columns}
        open_questions = {question: OPEN for question in self.still_open if question in QUESTIONS}
        saved = SavedAnswers(headings, self.notes, {**self.answers, **open_questions})
        write_answers(self.path, self.grid, mapping, saved, self.open_notes)

    def ask(self, question: str, key: str) -> None:
        """Ask one question, unless it is answered."""
        if question not in self.answers:
            answer = choose(say(f"import.ask.{key}"), QUESTIONS[question]) if self.at_terminal else None
            if answer:
                self.answers[question] = answer
            else:
                self.still_open[question] = say(f"import.ask.{key}_option", words=", ".join(QUESTIONS[question]))

    def accept(self, *, yes: bool) -> None:
        """Ask whether the columns are right, unless they were accepted before and no other is there."""
        known = yes or self.mapping.is_ours or (self.answers.get("columns") == "yes" and not self.unknown)
        if known or (self.at_terminal and not self.still_open and confirm(say("import.ask.mapping"))):
            self.answers["columns"] = "yes"
        else:
            self.still_open["columns"] = say("import.ask.mapping_option")


def take_in_hand(grid: Grid, collection: Collection, request: Request) -> TableInHand:
    """Return a table with what its headings seem to mean, what was said of it before, and what is said of it now."""
    kept = re.sub(r"[^\w -]+", "_", " ".join(filter(None, (Path(grid.file).stem, grid.sheet))))
    path = request.answers_file or (collection.folder or Path()) / "imports" / f"{kept}.csv"
    saved = read_answers(path) if path.exists() else SavedAnswers()
    answers = {**saved.questions, **request.answers}
    mapping = with_saved(guess(grid, answers.get("rows")), saved)
    settled = frozenset({*saved.columns, *(named(mapping, heading).heading for heading in request.ignored)})
    mapping = changed(mapping, request.maps, request.ignored)
    at_terminal = on_a_terminal() and not (request.as_json or request.dry_run)
    table = TableInHand(grid, mapping, path, settled, answers, dict(saved.notes), at_terminal)
    for heading in table.unknown if at_terminal and not request.yes else ():
        table.mapping = _ask_column(table, heading)
    return table


def answers_to(table: TableInHand, store: Store, collection: Collection, friend: str | None) -> Answers | None:
    """Ask what the rows of a table need, and then of their notes; None where an answer is lacking."""
    mapping = table.mapping
    if mapping.is_ours:
        table.answers = {"took": "seedling"} | table.answers
    if mapping.column("took") is not None:
        table.ask("took", "took")
    if mapping.rows_are == "crosses" and not (mapping.is_ours or mapping.column("only_successes")):
        table.ask("only successes", "only")
    if table.at_terminal and _two_ways(table):
        table.ask("dates", "dates")
    given, south = table.answers, collection.settings.hemisphere == "south"
    only = _ONLY_SUCCESSES[given.get("only successes", "unknown")]
    answers = Answers(given.get("dates"), given.get("took"), only, table.notes, friend, south)
    if mapping.column(NOTE) and mapping.rows_are == "crosses":
        with store.reading() as page:
            table.open_notes = read_table(page, table.grid, mapping, answers, today()).open_notes
    if table.open_notes and table.at_terminal:
        table.notes, table.open_notes = table.notes | _ask_notes(table.open_notes), {}
    if table.open_notes:
        listed = "; ".join(say("import.quoted", text=text) for text in table.open_notes)
        table.still_open["notes"] = say("import.ask.notes_option", notes=listed)
    return None if table.still_open.keys() & QUESTIONS else replace(answers, notes=table.notes)


def _ask_column(table: TableInHand, heading: str) -> TableMapping:
    """Ask what a column is that is not known, showing three things in it and the best guess."""
    mapping = table.mapping
    likely, examples = best_guess(mapping, heading), "; ".join(samples(table.grid, mapping, named(mapping, heading)))
    allowed = ["-", *(name for name in COLUMNS[mapping.rows_are] if name == NOTE or not mapping.column(name))]
    prompt = say("import.ask.column", heading=heading, examples=examples, guess=likely)
    while (answer := _typed(prompt) or likely) not in allowed:
        paragraph(say("import.ask.column_words", words=", ".join(allowed[1:])))
    return mapping if answer == "-" else changed(mapping, [f"{heading}={answer}"])


def _two_ways(table: TableInHand) -> bool:
    """Tell whether a day of the table could be two days."""
    day = table.mapping.column("date") or table.mapping.column("acquired")
    below = (row[day.at] for row in table.grid.rows[table.mapping.row + 1 :] if day and day.at < len(row))
    return any(isinstance(cell, str) and two_days(cell) for cell in below)


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


def _numbers(question: str, allowed: set[int]) -> Iterable[int]:
    while True:
        typed = _typed(question).casefold()
        if typed in {"all", "none", ""}:
            return allowed if typed == "all" else ()
        parts = typed.replace(",", " ").split()
        if all(part.isdecimal() and int(part) in allowed for part in parts):
            return [int(part) for part in parts]
        paragraph(say("import.ask.numbers", numbers=", ".join(map(str, sorted(allowed)))))


def _typed(question: str) -> str:
    try:
        return input(f"{question} ").strip()
    except EOFError:
        return ""
