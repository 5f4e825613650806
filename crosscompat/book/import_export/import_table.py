"""A grower's table taken into a book: what is new as records, what is wrong as faults, no number changed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import date
from itertools import pairwise
from types import MappingProxyType
from typing import Any

from crosscompat.book import records
from crosscompat.book.cross_summary import crosses_of
from crosscompat.book.crosses import Cross, crosses_in
from crosscompat.book.current_plants import MORE, Plant, Plants, plants_in, plants_of
from crosscompat.book.import_export.cell_meaning import two_days
from crosscompat.book.import_export.column_mapping import Grid, TableMapping
from crosscompat.book.import_export.read_rows import Answers, Told, sheet_of
from crosscompat.book.import_export.row_meaning import DAYS, extra_in, extra_noted, records_of, with_extra
from crosscompat.book.record_fields import read_fields
from crosscompat.book.records import Record, new_id
from crosscompat.book.store import Reading
from crosscompat.ground.csv_cells import Cells, Row, Sheet
from crosscompat.ground.csv_convert import as_text
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
        if known is not None:
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
    said : tuple of Fault
        What was read otherwise than it is written, and how.
    open_notes : mapping of str to list of int
        Notes that may say that a cross was lost or failed, and in which rows they stand.
    """

    rows: int
    crosses: tuple[Cross, ...]
    plants: tuple[Plant, ...]
    more: Mapping[str, Mapping[str, Any]]
    extra: Mapping[int, Mapping[str, Any]]
    same: int
    faults: tuple[Fault, ...]
    values: tuple[str | None, ...]
    said: tuple[Fault, ...]
    open_notes: Mapping[str, list[int]]


def read_table(page: Reading, grid: Grid, mapping: TableMapping, answers: Answers, today: date) -> ImportedRows:
    """Read a table against a book; nothing is written."""
    faults: list[Fault] = []
    told = Told(faults)
    sheet = sheet_of(grid, mapping, answers, plants_of(page), told)
    crosses: list[Cross] = []
    plants: list[Plant] = []
    more: Mapping[str, Mapping[str, Any]] = {}
    extra: Mapping[int, Mapping[str, Any]] = {}
    if mapping.rows_are == "crosses":
        extra = extra_in(sheet, faults)
        read = crosses_in(sheet, faults)
        _refuse_days(sheet, read, extra, today, faults)
        crosses, same = new_crosses(page, sheet, read, extra, faults)
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
        said=tuple(told.said),
        open_notes=told.open_notes,
    )


def _refuse_days(
    sheet: Sheet, crosses: Iterable[Cross], extra: Mapping[int, Mapping[str, Any]], today: date, faults: list[Fault]
) -> None:
    """Refuse days to come, days in an order that cannot be, and a first seedling where none came up."""
    for cross in crosses:
        days = {"date": cross.date} | {name: extra[cross.row][name] for name in DAYS if name in extra[cross.row]}
        for name, day in days.items():
            if day > today:
                faults.append(_fault(sheet, cross.row, name, say("sheets.future", day=day.isoformat())))
        for (name, first), (later, day) in pairwise(days.items()):
            if day < first:
                values = {"day": day.isoformat(), "first": first.isoformat(), "column": sheet.titles.get(name, name)}
                what = say("sheets.before", **values)
                faults.append(_fault(sheet, cross.row, later, what, say("sheets.before_advice")))
        if "first_seedling_on" in days and cross.seedlings == 0:
            faults.append(_fault(sheet, cross.row, "seedlings", say("sheets.none_came_up")))


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
    two = value is not None and two_days(value)
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
