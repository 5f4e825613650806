"""The rows of a grower's table brought under our columns: what each cell means, and what is said of it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from types import MappingProxyType
from typing import Any

from crosscompat.book.crosses import COUNT_COLUMNS
from crosscompat.book.current_plants import Plants
from crosscompat.book.import_export.cell_meaning import (
    ACCIDENT,
    FAILED,
    count_of,
    day_of,
    decides,
    fathers_of,
    middle_of,
    our_word,
    says_nothing,
    two_days,
    words,
)
from crosscompat.book.import_export.column_mapping import NOTE, Column, Grid, TableMapping, Value, meaning_of
from crosscompat.book.import_export.row_meaning import DAYS, TOOK_MEANS, parents_of, put_took, unguarded
from crosscompat.ground import csv_convert
from crosscompat.ground.csv_cells import Row, Sheet
from crosscompat.ground.errors import Fault
from crosscompat.ground.wording import say

_DAYS = frozenset({"date", "acquired", "died", *DAYS})
_COUNTS = frozenset(COUNT_COLUMNS) - {"took"}
_WORDS: Mapping[str, str] = MappingProxyType(
    dict.fromkeys(("stamens_removed", "only_successes", "self_fertile"), "yes_no")
    | {"sex": "sex", "proof": "proof", "technique": "technique", "pollen_kind": "pollen"}
)
"""The table of words for each column that has one."""
_VERBATIM = frozenset({"id", "cross", "seed_parent", "pollen_parent", "seed_plant", "pollen_plant", "plant", "species"})
_SIDES = (("seed_parent", "seed_plant"), ("pollen_parent", "pollen_plant"))
_FRIENDS = ("cross", "seed_plant", "pollen_plant", "plant", "clone")
"""What is numbered or named by each grower for himself."""


@dataclass(frozen=True, slots=True)
class Answers:
    """What the grower says of a table that it does not say itself.

    Attributes
    ----------
    order : {"day-first", "month-first"} or None
        How its days are written.
    took_means : {"pod-set", "ripe-pod", "seedling"} or None
        What its column "took" counts.
    only_successes : bool or None
        Whether failures were left out of it.
    notes : mapping of str to str
        What a note says of its cross: "accident", "failed", or "note" for neither.
    friend : str or None
        Whose book it is, where it is not the grower's own.
    south : bool
        Whether its seasons are those south of the equator.
    """

    order: str | None = None
    took_means: str | None = None
    only_successes: bool | None = None
    notes: Mapping[str, str] = field(default_factory=dict)
    friend: str | None = None
    south: bool = False


@dataclass(frozen=True, slots=True)
class Told:
    """What is to be told of a table: what is wrong, what was read otherwise than written, and notes to be asked."""

    faults: list[Fault] = field(default_factory=list)
    said: list[Fault] = field(default_factory=list)
    open_notes: dict[str, list[int]] = field(default_factory=dict)


def sheet_of(grid: Grid, mapping: TableMapping, answers: Answers, bench: Plants, told: Told) -> Sheet:
    """Return a table's rows under our columns; what cannot be brought there adds a fault."""
    rows = [
        _Reader(grid, mapping, answers, bench, told, number).read(cells)
        for number, cells in enumerate(grid.rows[mapping.row + 1 :], start=mapping.row + 2)
        if any(value is not None for value in cells)
    ]
    titles = {column.becomes: column.heading for column in reversed(mapping.columns) if column.becomes}
    if pair := mapping.column("pair"):
        titles |= {"seed_parent": pair.heading, "pollen_parent": pair.heading}
    if (took := mapping.column("took")) and answers.took_means:
        titles = {TOOK_MEANS[answers.took_means]: took.heading} | titles
    header = tuple(dict.fromkeys(name for row in rows for name in row.cells))
    return Sheet(grid.file, header, tuple(rows), titles, grid.decimal_comma, grid.sheet)


@dataclass(slots=True)
class _Reader:
    """Brings one row under our columns."""

    grid: Grid
    mapping: TableMapping
    answers: Answers
    bench: Plants
    told: Told
    number: int
    found: dict[str, str | None] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    wholes: list[tuple[Column, str, str]] = field(default_factory=list)

    def read(self, cells: Sequence[Value]) -> Row:
        for column in self.mapping.columns:
            value = cells[column.at] if column.at < len(cells) else None
            if column.becomes is not None and value is not None:
                self.take(column, value)
        if self.mapping.rows_are == "crosses":
            self.finish_cross()
        elif self.answers.friend:
            self.found.setdefault("owner", self.answers.friend)
        for name in _FRIENDS:
            if self.answers.friend and self.found.get(name):
                self.found[name] = self.friends(self.found[name] or "")
        if self.notes:
            self.found[NOTE] = "; ".join(self.notes)
        return Row(self.number, self.found)

    @property
    def exported(self) -> bool:
        """Whether the table is one of ours, in which every cell is what it says."""
        return self.mapping.column("id") is not None

    def take(self, column: Column, value: Value) -> None:
        name = column.becomes or ""
        if name == NOTE:
            plain = meaning_of(column.heading, self.mapping.rows_are) == NOTE
            self.remarks.append(_text(value))
            self.notes.append(_text(value) if plain else f"{column.heading}: {_text(value)}")
        elif name in _DAYS:
            self.found[name] = self.day(column, value)
        elif isinstance(value, date) and name != "recorded_at":
            self.fault(column, say("sheets.made_a_date", text=_text(value)), say("sheets.made_a_date_advice"))
        elif name == "pair":
            self.take_pair(column, _text(value))
        else:
            self.found[name] = _text(value) if self.exported else self.meant(column, _text(value))

    def meant(self, column: Column, text: str) -> str | None:
        """Return what a cell says in our words; where that is less than was written, the note keeps it."""
        name = column.becomes or ""
        if name in _COUNTS:
            return self.count(column, text)
        ours = our_word(text, _WORDS[name]) if name in _WORDS else None
        if name == "proof" and ours:
            self.keep(column, text, "sheets.meant", ours=ours)
        if ours is None and name not in _VERBATIM and says_nothing(text):
            return None
        return ours or text

    def count(self, column: Column, text: str) -> str | None:
        count, name = count_of(text), column.becomes or ""
        if count is None:
            return text
        if count.whole is not None:
            if name not in words()["counts"]["whole"]:
                return text
            self.wholes.append((column, words()["counts"]["whole"][name], str(count.whole)))
        if not count.sure:
            self.keep(column, text, "sheets.uncounted" if count.number is None else "sheets.about", n=count.number)
            if name == "units" and count.number is not None:
                self.found["count_how"] = "about"
        elif count.number is None:
            self.say(column, text, "sheets.unknown")
        return None if count.number is None else str(count.number)

    def day(self, column: Column, value: Value) -> str | None:
        if isinstance(value, datetime):
            if column.becomes == "date" and value.time() != time():
                self.found.setdefault("hour", value.time().isoformat())
            return value.date().isoformat()
        text, needed = _text(value), column.becomes == "date"
        day = day_of(text, self.answers.order)
        if day is None and not two_days(text) and (middle := middle_of(text, south=self.answers.south)):
            self.keep(column, text, "sheets.about_day", day=middle)
            return middle
        if day is None and not needed and not re.search(r"\d", text):
            if not says_nothing(text):
                self.keep(column, text, "sheets.no_day")
            return None
        return day or text

    def take_pair(self, column: Column, text: str) -> None:
        seed, _, last = text.rpartition(" ")
        if seed and our_word(last, "pollen") not in {None, "one", "none"} and not re.search(r"\s[xX×]$", seed):
            self.found |= {"seed_parent": seed, "pollen_parent": last}
            return
        try:
            self.found["seed_parent"], self.found["pollen_parent"] = parents_of(text)
        except csv_convert.BadCell as bad:
            self.fault(column, bad.what, bad.advice)
            self.found["seed_parent"] = self.found["pollen_parent"] = text

    def finish_cross(self) -> None:
        for side, plant in _SIDES:
            self.find_plant(side, plant)
        self.read_pollen()
        for column, name, number in self.wholes:
            if self.found.setdefault(name, number) != number:
                self.fault(column, say("sheets.whole_twice", n=number, other=self.found[name]), "")
        self.read_took()
        self.read_remarks()
        if self.mapping.column("only_successes") is None and self.answers.only_successes is not None:
            self.found["only_successes"] = csv_convert.as_text(self.answers.only_successes)
        ended = self.mapping.column("ended_on")
        if ended and not self.found.get("lost_to") and (day := self.found.pop("ended_on", None)):
            self.notes.append(f"{ended.heading}: {day}")
        if self.answers.friend:
            self.found["grower"] = self.found.get("grower") or self.answers.friend

    def read_took(self) -> None:
        took = self.mapping.column("took")
        if took is not None and self.answers.took_means and self.found.get("took") is not None:
            try:
                put_took(self.found, self.answers.took_means)
            except csv_convert.BadCell as bad:
                self.fault(took, bad.what, bad.advice)

    def find_plant(self, side: str, plant: str) -> None:
        """Tell a plant of the book from a species, whichever column it stands in."""
        named = (self.found.get(side) or "").strip()
        if self.found.get(plant) is None and self.bench.find(self.friends(named)):
            self.found |= {plant: named, side: self.bench.species(self.friends(named))}
        elif not named and (known := self.found.get(plant)):
            self.found[side] = self.bench.species(self.friends(known.strip()))

    def friends(self, name: str) -> str:
        """Return a number or name that each grower gives for himself, with whose it is."""
        return f"{self.answers.friend} {name}" if self.answers.friend and name else name

    def read_pollen(self) -> None:
        """Tell what is no name from the pollen parent's name: selfed, open, one of two."""
        text = (self.found.get("pollen_parent") or "").strip()
        column = self.mapping.column("pollen_parent") or self.mapping.column("pair")
        if not text or column is None or self.found.get("pollen_plant"):
            return
        kind = our_word(text, "pollen")
        own = kind in {"self", "sib"}
        if kind is None and (kind := fathers_of(text)):
            self.keep(column, text, "sheets.fathers")
        if kind is None:
            return
        self.found["pollen_parent"] = self.found.get("seed_parent") if own else None
        self.found["pollen_kind"] = self.found.get("pollen_kind") or kind
        if kind == "self":
            self.found["pollen_plant"] = self.found.get("seed_plant")

    def read_remarks(self) -> None:
        """Take remarks for what the grower says they are; one that may decide and is not answered stays open."""
        counted = [self.found.get(name) for name in COUNT_COLUMNS if name != "units"]
        if (
            self.exported
            or self.found.get("lost_to")
            or any(self.found.get(n) not in {None, "0"} for n in ("seedlings", "took"))
        ):
            return
        for text in self.remarks:
            kind = decides(text)
            if kind is None or (kind == FAILED and "0" in counted):
                continue
            answer = self.answers.notes.get(text)
            if answer is None:
                self.told.open_notes.setdefault(text, []).append(self.number)
            elif answer == ACCIDENT:
                self.found["lost_to"] = text
            elif answer == FAILED and "0" not in counted:
                self.found["took"] = "no"
                put_took(self.found, "seedling")

    def keep(self, column: Column, text: str, key: str, **values: object) -> None:
        """Keep in the note what was written, and say what became of it."""
        self.notes.append(f"{column.heading}: {text}")
        self.say(column, text, key, **values)

    def say(self, column: Column, text: str, key: str, **values: object) -> None:
        place = self.grid.place(self.number, column.heading)
        self.told.said.append(Fault(place, say(key, text=text, **values)))

    def fault(self, column: Column, what: str, advice: str) -> None:
        self.told.faults.append(Fault(self.grid.place(self.number, column.heading), what, advice))


def _text(value: Any) -> str:
    if isinstance(value, datetime):
        return value.isoformat(" ", "minutes") if value.time() != time() else value.date().isoformat()
    return unguarded(value.strip()) if isinstance(value, str) else csv_convert.as_text(value)
