"""What a table to be imported leaves open: asked at the terminal, else gathered to be answered in a file."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from crosscompat.cli.output import line, paragraph
from crosscompat.cli.prompts import choose, confirm
from crosscompat.ground.wording import say

if TYPE_CHECKING:
    from crosscompat.book.import_export.column_mapping import Grid, TableMapping


@dataclass(slots=True)
class Questions:
    """Asks what is not answered yet.

    Attributes
    ----------
    at_terminal : bool
        Whether somebody can answer.
    answers : dict of str to str
        By what was asked, as `saved_answers` has it.
    still_open : list of str
        What nobody has answered, in words.
    """

    at_terminal: bool
    answers: dict[str, str]
    still_open: list[str] = field(default_factory=list)

    def ask(self, question: str, key: str, allowed: Sequence[str]) -> None:
        """Ask one question, unless it is answered."""
        if question not in self.answers:
            answer = choose(say(f"import.ask.{key}"), allowed) if self.at_terminal else None
            if answer:
                self.answers[question] = answer
            else:
                self.still_open.append(say(f"import.ask.{key}_option", words=", ".join(allowed)))

    def accept(self, *, known: bool) -> None:
        """Ask whether the columns are right, unless they are known to be."""
        if not known and not (self.at_terminal and not self.still_open and confirm(say("import.ask.mapping"))):
            self.still_open.append(say("import.ask.mapping_option"))


def ask_columns(grid: Grid, mapping: TableMapping, settled: Collection[str]) -> TableMapping:
    """Ask of each column that is not known what it is, showing three things in it and the best guess."""
    from crosscompat.book.import_export.column_mapping import COLUMNS, NOTE, changed
    from crosscompat.book.import_export.saved_answers import best_guess, samples

    for column in mapping.columns:
        if not column.example or column.becomes or column.heading in settled:
            continue
        guess = best_guess(mapping, column.heading)
        examples = "; ".join(samples(grid, mapping, column))
        prompt = say("import.ask.column", heading=column.heading, examples=examples, guess=guess)
        allowed = [name for name in COLUMNS[mapping.rows_are] if name == NOTE or not mapping.column(name)]
        while True:
            answer = _typed(prompt) or guess
            if answer == "-":
                break
            if answer in allowed:
                mapping = changed(mapping, [f"{column.heading}={answer}"])
                break
            paragraph(say("import.ask.column_words", words=", ".join(allowed)))
    return mapping


def with_guesses(mapping: TableMapping, settled: Collection[str]) -> TableMapping:
    """Return a mapping in which columns that are not known are what they are most like."""
    from crosscompat.book.import_export.column_mapping import changed
    from crosscompat.book.import_export.saved_answers import best_guess

    for column in mapping.columns:
        if column.example and not column.becomes and column.heading not in settled:
            mapping = changed(mapping, [f"{column.heading}={best_guess(mapping, column.heading)}"])
    return mapping


def ask_notes(notes: Mapping[str, Sequence[int]]) -> dict[str, str]:
    """Show the notes that may decide, and ask which of them tell of an accident, and which of a failure."""
    from crosscompat.book.import_export.cell_meaning import ACCIDENT, FAILED
    from crosscompat.book.import_export.column_mapping import NOTE

    texts, answers = list(notes), dict.fromkeys(notes, NOTE)
    line(say("import.ask.notes"))
    for number, (text, rows) in enumerate(notes.items(), start=1):
        where = say("sheets.rows", n=len(rows), rows=", ".join(map(str, rows)))
        line(say("import.ask.one_note", number=str(number), text=text, where=where))
    for kind in (ACCIDENT, FAILED):
        left = {at for at, text in enumerate(texts, start=1) if answers[text] == NOTE}
        for at in _numbers(say(f"import.ask.{kind}"), left) if left else ():
            answers[texts[at - 1]] = kind
    return answers


def _numbers(question: str, allowed: Collection[int]) -> Collection[int]:
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
