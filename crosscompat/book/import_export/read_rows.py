"""The rows of a grower's table brought under our columns: what each cell means, and what is said of it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import Any

from crosscompat.book.crosses import COUNT_COLUMNS
from crosscompat.book.current_plants import Plants
from crosscompat.book.import_export import cell_meaning as meaning
from crosscompat.book.import_export.cell_meaning import ACCIDENT, FAILED, TOOK_MEANS, our_word, put_took
from crosscompat.book.import_export.column_mapping import DAYS, NOTE, Answers, Column, Grid, TableMapping, meaning_of
from crosscompat.ground.csv_cells import BadCell, Row, Sheet, as_text, unguarded
from crosscompat.ground.errors import Fault
from crosscompat.ground.wording import say
from crosscompat.ground.workbook import Value

_DAYS = frozenset({"date", "acquired", "died", *DAYS})
_COUNTS = frozenset(COUNT_COLUMNS) - {"took"}
_WORDS = {
    **dict.fromkeys(("stamens_removed", "only_successes", "self_fertile"), "yes_no"),
    "sex": "sex",
    "proof": "proof",
    "technique": "technique",
    "pollen_kind": "pollen",
}
"""The table of words for each column that has one."""
_VERBATIM = frozenset({"id", "cross", "seed_parent", "pollen_parent", "seed_plant", "pollen_plant", "plant", "species"})
_FRIENDS = ("cross", "seed_plant", "pollen_plant", "plant", "clone")
"""What is numbered or named by each grower for himself."""


@dataclass(frozen=True, slots=True)
class Report:
    """What is wrong in a table, what was read otherwise than written, and notes to be asked, with their rows."""

    faults: list[Fault] = field(default_factory=list)
    said: list[Fault] = field(default_factory=list)
    open_notes: dict[str, list[int]] = field(default_factory=dict)


def sheet_of(grid: Grid, mapping: TableMapping, answers: Answers, bench: Plants, report: Report) -> Sheet:
    """Return a table's rows under our columns; what cannot be brought there adds a fault."""
    rows = [
        _RowReader(grid, mapping, answers, bench, report, number).read(cells)
        for number, cells in enumerate(grid.rows[mapping.row + 1 :], start=mapping.row + 2)
        if any(value is not None for value in cells)
    ]
    titles = {column.becomes: column.heading for column in reversed(mapping.columns) if column.becomes}
    if pair := mapping.column("pair"):
        titles |= dict.fromkeys(("seed_parent", "pollen_parent"), pair.heading)
    if (took := mapping.column("took")) and (means := answers.questions.get("took")):
        titles = {TOOK_MEANS[means]: took.heading} | titles
    header = tuple(dict.fromkeys(name for row in rows for name in row.cells))
    return Sheet(grid.file, header, tuple(rows), titles, grid.decimal_comma, grid.sheet)


@dataclass(slots=True)
class _RowReader:
    """Brings one row under our columns."""

    grid: Grid
    mapping: TableMapping
    answers: Answers
    bench: Plants
    report: Report
    number: int
    row: dict[str, str | None] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    wholes: list[tuple[Column, str, str]] = field(default_factory=list)

    def read(self, cells: Sequence[Value]) -> Row:
        for column in self.mapping.columns:
            value = cells[column.at] if column.at < len(cells) else None
            if column.becomes is not None and value is not None:
                self.take(column, column.becomes, value)
        if self.mapping.rows_are == "crosses":
            self.finish_cross()
        elif self.answers.friend:
            self.row.setdefault("owner", self.answers.friend)
        self.row |= {name: self.friends(text) for name in _FRIENDS if (text := self.row.get(name))}
        if self.notes:
            self.row[NOTE] = "; ".join(self.notes)
        return Row(self.number, self.row)

    @property
    def exported(self) -> bool:
        """Whether the table is one of ours, in which every cell is what it says."""
        return self.mapping.column("id") is not None

    def take(self, column: Column, name: str, value: Value) -> None:
        text = _text(value)
        if name == NOTE:
            plain = meaning_of(column.heading, self.mapping.rows_are) == NOTE
            self.remarks.append(text)
            self.notes.append(text if plain else f"{column.heading}: {text}")
        elif name in _DAYS:
            self.row[name] = self.day(column, name, value)
        elif isinstance(value, date) and name != "recorded_at":
            self.fault(column, say("sheets.made_a_date", text=text), say("sheets.made_a_date_advice"))
        elif name == "pair":
            self.take_pair(column, text)
        elif self.exported:
            self.row[name] = text
        elif name in _COUNTS:
            self.row[name] = self.count(column, name, text)
        else:
            self.row[name] = self.word(column, name, text)

    def word(self, column: Column, name: str, text: str) -> str | None:
        ours = our_word(text, _WORDS[name]) if name in _WORDS else None
        if name == "proof" and ours:
            self.keep(column, text, "sheets.meant", ours=ours)
        if ours is None and name not in _VERBATIM and meaning.says_nothing(text):
            return None
        return ours or text

    def count(self, column: Column, name: str, text: str) -> str | None:
        """Return a count in digits; where that is less than was written, the note keeps the words."""
        count, wholes = meaning.count_of(text), meaning.vocabulary()["wholes"]
        if count is None or (count.whole is not None and name not in wholes):
            return text
        if count.whole is not None:
            self.wholes.append((column, wholes[name], str(count.whole)))
        if not count.sure:
            self.keep(column, text, "sheets.uncounted" if count.number is None else "sheets.about", n=count.number)
            if name == "units" and count.number is not None:
                self.row["count_how"] = "about"
        elif count.number is None:
            self.say(column, text, "sheets.unknown")
        return None if count.number is None else str(count.number)

    def day(self, column: Column, name: str, value: Value) -> str | None:
        """Return a day; a month or season is its middle, and its words are kept beside it."""
        if isinstance(value, datetime):
            if name == "date" and value.time() != time():
                self.row.setdefault("hour", value.time().isoformat())
            return value.date().isoformat()
        text = _text(value)
        day = meaning.day_of(text, self.answers.questions.get("dates"))
        if day is None and not meaning.two_days(text) and (middle := meaning.middle_of(text, south=self.answers.south)):
            if self.mapping.rows_are == "plants":
                self.notes.append(f"{column.heading}: {text}")
            else:
                self.row[f"{name}_words"] = text
            self.say(column, text, "sheets.month", day=middle)
            return middle
        if day is None and name != "date" and not re.search(r"\d", text):
            if not meaning.says_nothing(text):
                self.keep(column, text, "sheets.no_day")
            return None
        return day or text

    def take_pair(self, column: Column, text: str) -> None:
        seed, _, last = text.rpartition(" ")
        if seed and our_word(last, "pollen") not in {None, "one", "none"} and not re.search(r"\s[xX×]$", seed):
            self.row |= {"seed_parent": seed, "pollen_parent": last}
            return
        try:
            self.row["seed_parent"], self.row["pollen_parent"] = meaning.parents_of(text)
        except BadCell as bad:
            self.fault(column, bad.what, bad.advice)
            self.row["seed_parent"] = self.row["pollen_parent"] = text

    def finish_cross(self) -> None:
        self.find_plant("seed_parent", "seed_plant")
        self.find_plant("pollen_parent", "pollen_plant")
        self.read_pollen()
        for column, name, number in self.wholes:
            if self.row.setdefault(name, number) != number:
                self.fault(column, say("sheets.whole_twice", n=number, other=self.row[name]))
        took, means = self.mapping.column("took"), self.answers.questions.get("took")
        if took is not None and means is not None and self.row.get("took") is not None:
            try:
                put_took(self.row, means)
            except BadCell as bad:
                self.fault(took, bad.what, bad.advice)
        self.read_remarks()
        only = self.answers.questions.get("only successes", "unknown")
        if self.mapping.column("only_successes") is None and only != "unknown":
            self.row["only_successes"] = only
        ended = self.mapping.column("ended_on")
        if ended and not self.row.get("lost_to") and (day := self.row.pop("ended_on", None)):
            self.notes.append(f"{ended.heading}: {self.row.pop('ended_on_words', day)}")
        if self.answers.friend:
            for name in ("grower", "friend"):
                self.row[name] = self.row.get(name) or self.answers.friend

    def find_plant(self, side: str, plant: str) -> None:
        """Tell a plant of the book from a species, whichever column it stands in."""
        named, known = (self.row.get(side) or "").strip(), self.row.get(plant)
        if known is None and self.bench.find(self.friends(named)):
            self.row |= {plant: named, side: self.bench.species(self.friends(named))}
        elif not named and known:
            self.row[side] = self.bench.species(self.friends(known.strip()))

    def friends(self, name: str) -> str:
        """Return a number or name that each grower gives for himself, with whose it is."""
        return f"{self.answers.friend} {name}" if self.answers.friend and name else name

    def read_pollen(self) -> None:
        """Tell what is no name from the pollen parent's name: selfed, open, one of two."""
        text = (self.row.get("pollen_parent") or "").strip()
        column = self.mapping.column("pollen_parent") or self.mapping.column("pair")
        if not text or column is None or self.exported or self.row.get("pollen_plant"):
            return
        kind = our_word(text, "pollen")
        if kind is None and (kind := meaning.fathers_of(text)):
            self.keep(column, text, "sheets.fathers")
        if kind is None:
            return
        self.row["pollen_parent"] = self.row.get("seed_parent") if kind in {"self", "sib"} else None
        self.row["pollen_kind"] = self.row.get("pollen_kind") or kind
        if kind == "self":
            self.row["pollen_plant"] = self.row.get("seed_plant")

    def read_remarks(self) -> None:
        """Take remarks for what the grower says they are; one that may decide and is not answered stays open."""
        came_up = any(self.row.get(name) not in {None, "0"} for name in ("seedlings", "took"))
        if self.exported or self.row.get("lost_to") or came_up:
            return
        failed = "0" in [self.row.get(name) for name in COUNT_COLUMNS if name != "units"]
        for text in self.remarks:
            kind, answer = meaning.decides(text), self.answers.notes.get(text)
            if kind is None or (kind == FAILED and failed):
                continue
            if answer is None:
                self.report.open_notes.setdefault(text, []).append(self.number)
            elif answer == ACCIDENT:
                self.row["lost_to"] = text
            elif answer == FAILED and not failed:
                self.row["took"] = "no"
                put_took(self.row, "seedling")

    def keep(self, column: Column, text: str, key: str, **values: object) -> None:
        """Keep in the note what was written, and say what became of it."""
        self.notes.append(f"{column.heading}: {text}")
        self.say(column, text, key, **values)

    def say(self, column: Column, text: str, key: str, **values: object) -> None:
        self.report.said.append(Fault(self.grid.place(self.number, column.heading), say(key, text=text, **values)))

    def fault(self, column: Column, what: str, advice: str = "") -> None:
        self.report.faults.append(Fault(self.grid.place(self.number, column.heading), what, advice))


def _text(value: Any) -> str:
    if isinstance(value, datetime):
        return value.isoformat(" ", "minutes") if value.time() != time() else value.date().isoformat()
    return unguarded(value.strip()) if isinstance(value, str) else as_text(value)
