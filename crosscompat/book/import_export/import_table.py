"""A grower's table taken into a book: what is new as records, what is wrong as faults, no number changed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from datetime import date, datetime, time
from types import MappingProxyType
from typing import Any

from crosscompat.book import records
from crosscompat.book.cross_summary import crosses_of
from crosscompat.book.crosses import Cross, crosses_in
from crosscompat.book.current_plants import MORE, Plant, Plants, plants_in, plants_of
from crosscompat.book.import_export.column_mapping import NOTE, Column, Grid, TableMapping, Value, meaning_of
from crosscompat.book.import_export.row_meaning import (
    TOOK_MEANS,
    extra_in,
    extra_noted,
    iso_day,
    parents_of,
    put_took,
    records_of,
    unguarded,
    with_extra,
)
from crosscompat.book.record_fields import read_fields
from crosscompat.book.records import Record, new_id
from crosscompat.book.store import Reading
from crosscompat.ground import csv_convert
from crosscompat.ground.csv_cells import Cells, Row, Sheet
from crosscompat.ground.csv_convert import as_text
from crosscompat.ground.dates import readings
from crosscompat.ground.errors import Fault
from crosscompat.ground.wording import say

_OF_CROSSES = tuple(item.name for item in fields(Cross) if item.name not in {"id", "row", "recorded_at", "kind"})
_OF_PLANTS = tuple(item.name for item in fields(Plant) if item.name != "row")

Difference = tuple[str, Any, Any]


def new_crosses(
    page: Reading,
    sheet: Sheet,
    crosses: Sequence[Cross],
    extra: Mapping[int, Mapping[str, Any]],
    today: date,
    faults: list[Fault],
) -> tuple[list[Cross], set[int]]:
    """Return the crosses that a book does not have yet, and the rows that say what it says already.

    A number is never given twice: a row whose number is in the book must agree with it in all that it says, and so
    must one with an identifier. A row with neither is known where a cross of the book without a number agrees.
    """
    book = _Book(page, extra)
    fresh: dict[str | int, Cross] = {}
    same: set[int] = set()
    bad = {fault.place.row for fault in faults}
    for cross in crosses:
        known = book.find(cross)
        first = fresh.get(cross.cross or cross.row)
        if cross.date > today:
            faults.append(_fault(sheet, cross.row, "date", say("sheets.future", day=cross.date.isoformat())))
        elif known is not None:
            differences = book.differing(cross, known)
            faults += [_taken(sheet, cross.row, "cross", cross.number, differences)] if differences else []
            same |= set() if differences else {cross.row}
        elif cross.row not in bad and book.take_alike(cross):
            same.add(cross.row)
        elif first is not None:
            what = say("sheets.number_twice", number=first.number, row=str(first.row))
            faults.append(_fault(sheet, cross.row, "cross", what))
        elif cross.row not in bad:
            fresh[cross.cross or cross.row] = cross
    return list(fresh.values()), same


class _Book:
    """The crosses of a book, by what a row may be known by."""

    def __init__(self, page: Reading, extra: Mapping[int, Mapping[str, Any]]) -> None:
        self._extra, self._noted = extra, extra_noted(page)
        self._by_name: dict[str, Cross] = {}
        self._unnumbered: dict[tuple[date, str], list[Cross]] = defaultdict(list)
        for cross in crosses_of(page):
            self._by_name |= {name: cross for name in (cross.id, cross.cross) if name is not None}
            if cross.cross is None:
                self._unnumbered[cross.date, cross.seed_parent].append(cross)

    def find(self, cross: Cross) -> Cross | None:
        """Return the cross of a row's identifier, else of its number."""
        return self._by_name.get(cross.id or "") or self._by_name.get(cross.cross or "")

    def differing(self, row: Cross, known: Cross) -> list[Difference]:
        there = self._noted[known.id or ""]
        more = [(name, value, _any(there[name])) for name, value in self._extra[row.row].items()]
        return _differing(row, known, _OF_CROSSES) + [one for one in more if one[1] not in there[one[0]]]

    def take_alike(self, cross: Cross) -> bool:
        """Use up a cross without a number that agrees with a row without one: the one of which least is known."""
        there = self._unnumbered[cross.date, cross.seed_parent] if cross.cross is None else []
        alike = [one for one in there if not self.differing(cross, one)]
        if alike:
            there.remove(min(alike, key=self._how_much_is_known))
        return bool(alike)

    def _how_much_is_known(self, cross: Cross) -> int:
        more = map(_any, self._noted[cross.id or ""].values())
        return sum(value is not None for value in (*more, *(getattr(cross, name) for name in _OF_CROSSES)))


def new_plants(
    page: Reading,
    sheet: Sheet,
    plants: Sequence[Plant],
    more: Mapping[str, Mapping[str, Any]],
    faults: list[Fault],
) -> tuple[list[Plant], set[int]]:
    """Return the plants that a book does not have yet, and the rows that say what it says already."""
    bench = plants_of(page)
    noted = {plant.name: plant for plant in page.current(records.Plant)}
    fresh: list[Plant] = []
    same: set[int] = set()
    for plant in plants:
        known = bench.find(plant.plant)
        if known is None:
            fresh.append(plant)
            continue
        names = [name for name in _OF_PLANTS if name != "clone" or plant.clone != plant.plant]
        pairs = [(name, value, getattr(noted[plant.plant], name)) for name, value in more[plant.plant].items()]
        differences = _differing(plant, known, names) + [one for one in pairs if one[1] not in {None, one[2]}]
        faults += [_taken(sheet, plant.row, "plant", plant.plant, differences)] if differences else []
        same |= set() if differences else {plant.row}
    return fresh, same


def _any(values: Iterable[Any]) -> Any:
    return next((value for value in values if value is not None), None)


def _differing(row: Any, known: Any, names: Sequence[str]) -> list[Difference]:
    """Return what a row says otherwise than the book: column, here, there; what it leaves blank it does not say."""
    pairs = [(name, getattr(row, name), getattr(known, name)) for name in names]
    return [(name, here, there) for name, here, there in pairs if here is not None and here != there]


def _taken(sheet: Sheet, row: int, column: str, number: str, differing: Sequence[Difference]) -> Fault:
    differences = "; ".join(
        say("sheets.differs", column=name, here=as_text(here), there=as_text(there) or say("sheets.nothing"))
        for name, here, there in differing
    )
    return _fault(sheet, row, column, say("sheets.taken", number=number, told=differences), say("sheets.taken_advice"))


def _fault(sheet: Sheet, row: int, column: str, what: str, advice: str = "") -> Fault:
    return Fault(sheet.place(Row(row, {}), column if column in sheet.titles else None), what, advice)


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
    """Return a table's rows under our columns; what cannot be brought there adds a fault."""
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


@dataclass(frozen=True, slots=True)
class ImportedRows:
    """What comes of a table.

    Attributes
    ----------
    rows : int
        With anything in them.
    crosses : tuple of Cross
        New ones, of rows without a fault.
    plants : tuple of Plant
        New ones, of rows without a fault.
    more : mapping
        What else is said of plants, by name and column.
    extra : mapping
        What else is said of crosses, by row and column.
    same : int
        Rows without a fault that say what the book says already.
    faults : tuple of Fault
        In the order of the file.
    values : tuple of str or None
        What stands in the cell of each fault.
    """

    rows: int
    crosses: tuple[Cross, ...]
    plants: tuple[Plant, ...]
    more: Mapping[str, Mapping[str, Any]]
    extra: Mapping[int, Mapping[str, Any]]
    same: int
    faults: tuple[Fault, ...]
    values: tuple[str | None, ...]


def read_table(page: Reading, grid: Grid, mapping: TableMapping, answers: Answers, today: date) -> ImportedRows:
    """Read a table against a book; nothing is written."""
    faults: list[Fault] = []
    sheet = sheet_of(grid, mapping, answers, plants_of(page), faults)
    crosses: list[Cross] = []
    plants: list[Plant] = []
    more: Mapping[str, Mapping[str, Any]] = {}
    extra: Mapping[int, Mapping[str, Any]] = {}
    if mapping.rows_are == "crosses":
        extra = extra_in(sheet, faults)
        crosses, same = new_crosses(page, sheet, crosses_in(sheet, faults), extra, today, faults)
    else:
        more = _more(sheet, faults)
        plants, same = new_plants(page, sheet, plants_in(sheet, faults), more, faults)
    bad = {fault.place.row or 0 for fault in faults}
    faults.sort(key=lambda fault: fault.place.row or 0)
    values = [_value(grid, mapping, fault) for fault in faults]
    return ImportedRows(
        rows=len(sheet.rows),
        crosses=tuple(cross for cross in crosses if cross.row not in bad),
        plants=tuple(plant for plant in plants if plant.row not in bad),
        more=MappingProxyType(more),
        extra=MappingProxyType(extra),
        same=len(same - bad),
        faults=tuple(map(_with_order, faults, values)),
        values=tuple(values),
    )


def records_of_rows(page: Reading, taken: ImportedRows) -> list[Record]:
    """Return the records that are to be written; an identifier that the book has used before is not used again."""
    species = plants_of(page)
    standing = {plant.name: (plant.id, species.species(plant.name)) for plant in page.current(records.Plant)}
    used = {cross.id for cross in taken.crosses if cross.id and page.kind_of(cross.id)}
    crosses = [
        replace(cross, id=new_id() if cross.id is None or cross.id in used else cross.id) for cross in taken.crosses
    ]
    found = records_of(Plants.of(taken.plants), crosses, standing)
    extra = {cross.id or "": taken.extra[cross.row] for cross in crosses}
    return list(with_extra(_with_more(found, taken.more), extra))


def _value(grid: Grid, mapping: TableMapping, fault: Fault) -> str | None:
    """Return what stands in the cell of a fault, as text."""
    at = next((column.at for column in mapping.columns if column.heading == fault.place.column), None)
    cells = grid.rows[fault.place.row - 1] if fault.place.row else ()
    value = cells[at] if at is not None and at < len(cells) else None
    return None if value is None else str(value)


def _with_order(fault: Fault, value: str | None) -> Fault:
    """Add to what is advised for a day that could be two how to say the order for all days."""
    two = value is not None and len(readings(value)) > 1
    return replace(fault, advice=f"{fault.advice} {say('sheets.order')}") if two else fault


def _with_more(found: Iterable[Record], more: Mapping[str, Mapping[str, Any]]) -> Iterable[Record]:
    for record in found:
        own = more.get(record.name) if isinstance(record, records.Plant) else None
        yield replace(record, **own) if own else record


def _more(sheet: Sheet, faults: list[Fault]) -> dict[str, Mapping[str, Any]]:
    """Read what is said of plants beyond the columns of `book.plants`."""
    found: dict[str, Mapping[str, Any]] = {}
    for row in sheet.rows:
        cells = Cells(sheet, row, faults)
        found.setdefault((row.cells.get("plant") or "").strip(), read_fields(cells, records.Plant, MORE))
    return found
