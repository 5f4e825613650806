"""A grower's rows under our own columns, as texts, ready to be read as any table of ours is."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import Any

from crosscompat.book.plants import Plants
from crosscompat.book.sheets.days import iso_day
from crosscompat.book.sheets.escapes import unguarded
from crosscompat.book.sheets.grids import Grid, Value
from crosscompat.book.sheets.headings import meaning_of
from crosscompat.book.sheets.mapping import NOTE, Column, TableMapping
from crosscompat.book.sheets.pairs import parents_of
from crosscompat.book.sheets.took import TOOK_MEANS, put_took
from crosscompat.ground import csv_convert
from crosscompat.ground.csv_cells import Row, Sheet
from crosscompat.ground.errors import Fault
from crosscompat.ground.wording import say

__all__ = ["Answers", "sheet_of"]

_DAYS = frozenset({"date", "acquired", "died"})
_SIDES = (("seed_parent", "seed_plant"), ("pollen_parent", "pollen_plant"))


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
    """

    order: str | None = None
    took_means: str | None = None
    only_successes: bool | None = None


def sheet_of(grid: Grid, mapping: TableMapping, answers: Answers, bench: Plants, faults: list[Fault]) -> Sheet:
    """Return a table's rows under our columns; what cannot be brought there adds a fault.

    Parameters
    ----------
    grid : Grid
    mapping : TableMapping
    answers : Answers
    bench : Plants
        The plants of the book: a parent that has the name of one is that plant.
    faults : list of Fault
    """
    rows = [
        _Reader(grid, mapping, answers, bench, faults, number).read(cells)
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
    faults: list[Fault]
    number: int
    found: dict[str, str | None] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)

    def read(self, cells: Any) -> Row:
        for column in self.mapping.columns:
            value = cells[column.at] if column.at < len(cells) else None
            if column.becomes is not None and value is not None:
                self.take(column, value)
        if self.notes:
            self.found[NOTE] = "; ".join(self.notes)
        if self.mapping.rows_are == "crosses":
            self.finish_cross()
        return Row(self.number, self.found)

    def take(self, column: Column, value: Value) -> None:
        name = column.becomes or ""
        if name == NOTE:
            plain = meaning_of(column.heading, self.mapping.rows_are) == NOTE
            self.notes.append(_text(value) if plain else f"{column.heading}: {_text(value)}")
        elif name in _DAYS:
            self.found[name] = self.day(column, value)
        elif isinstance(value, date) and name != "recorded_at":
            self.fault(column, say("sheets.made_a_date", text=_text(value)), say("sheets.made_a_date_advice"))
        elif name == "pair":
            self.take_pair(column, _text(value))
        else:
            self.found[name] = _text(value)

    def day(self, column: Column, value: Value) -> str:
        if isinstance(value, datetime):
            if column.becomes == "date" and value.time() != time():
                self.found.setdefault("hour", value.time().isoformat())
            return value.date().isoformat()
        return iso_day(_text(value), self.answers.order)

    def take_pair(self, column: Column, text: str) -> None:
        try:
            self.found["seed_parent"], self.found["pollen_parent"] = parents_of(text)
        except csv_convert.BadCell as bad:
            self.fault(column, bad.what, bad.advice)
            self.found["seed_parent"] = self.found["pollen_parent"] = text

    def finish_cross(self) -> None:
        for side, plant in _SIDES:
            self.find_plant(side, plant)
        took = self.mapping.column("took")
        if took is not None and self.answers.took_means and self.found.get("took") is not None:
            try:
                put_took(self.found, self.answers.took_means)
            except csv_convert.BadCell as bad:
                self.fault(took, bad.what, bad.advice)
        if self.mapping.column("only_successes") is None and self.answers.only_successes is not None:
            self.found["only_successes"] = csv_convert.as_text(self.answers.only_successes)

    def find_plant(self, side: str, plant: str) -> None:
        """Tell a plant of the book from a species, whichever column it stands in."""
        named = (self.found.get(side) or "").strip()
        if self.found.get(plant) is None and self.bench.find(named):
            self.found |= {plant: named, side: self.bench.species(named)}
        elif not named and (known := self.found.get(plant)):
            self.found[side] = self.bench.species(known.strip())

    def fault(self, column: Column, what: str, advice: str) -> None:
        self.faults.append(Fault(self.grid.place(self.number, column.heading), what, advice))


def _text(value: Value) -> str:
    if isinstance(value, datetime):
        return value.isoformat(" ", "minutes") if value.time() != time() else value.date().isoformat()
    return unguarded(value.strip()) if isinstance(value, str) else csv_convert.as_text(value)
