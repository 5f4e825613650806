"""A grower's table taken into a book: what is new as records, what is wrong as faults, no number changed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from types import MappingProxyType
from typing import Any

from crosscompat.book import records
from crosscompat.book.bench import plants_of
from crosscompat.book.crosses import Cross, crosses_in
from crosscompat.book.plants import MORE, Plant, Plants, plants_in
from crosscompat.book.records import Record, new_id
from crosscompat.book.sheets.days import is_open
from crosscompat.book.sheets.further import further_in, with_further
from crosscompat.book.sheets.grids import Grid
from crosscompat.book.sheets.mapping import TableMapping
from crosscompat.book.sheets.new import new_crosses, new_plants
from crosscompat.book.sheets.rows import Answers, sheet_of
from crosscompat.book.store import Reading
from crosscompat.book.taking_in import records_of
from crosscompat.ground.csv_cells import Cells, Sheet
from crosscompat.ground.errors import Fault
from crosscompat.ground.wording import say

__all__ = ["Taken", "records_taken", "take_table"]

_DAYS = ("acquired", "died")


@dataclass(frozen=True, slots=True)
class Taken:
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
    further : mapping
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
    further: Mapping[int, Mapping[str, Any]]
    same: int
    faults: tuple[Fault, ...]
    values: tuple[str | None, ...]


def take_table(page: Reading, grid: Grid, mapping: TableMapping, answers: Answers, today: date) -> Taken:
    """Read a table against a book; nothing is written.

    Parameters
    ----------
    page : Reading
    grid : Grid
    mapping : TableMapping
    answers : Answers
    today : date
        No cross can have been made after it.
    """
    faults: list[Fault] = []
    sheet = sheet_of(grid, mapping, answers, plants_of(page), faults)
    crosses: list[Cross] = []
    plants: list[Plant] = []
    more: Mapping[str, Mapping[str, Any]] = {}
    further: Mapping[int, Mapping[str, Any]] = {}
    if mapping.rows_are == "crosses":
        further = further_in(sheet, faults)
        crosses, same = new_crosses(page, sheet, crosses_in(sheet, faults), further, today, faults)
    else:
        more = _more(sheet, faults)
        plants, same = new_plants(page, sheet, plants_in(sheet, faults), more, faults)
    bad = {fault.place.row or 0 for fault in faults}
    faults.sort(key=lambda fault: fault.place.row or 0)
    values = [_value(grid, mapping, fault) for fault in faults]
    return Taken(
        rows=len(sheet.rows),
        crosses=tuple(cross for cross in crosses if cross.row not in bad),
        plants=tuple(plant for plant in plants if plant.row not in bad),
        more=MappingProxyType(more),
        further=MappingProxyType(further),
        same=len(same - bad),
        faults=tuple(map(_with_order, faults, values)),
        values=tuple(values),
    )


def records_taken(page: Reading, taken: Taken) -> list[Record]:
    """Return the records that are to be written; an identifier that the book has used before is not used again."""
    species = plants_of(page)
    standing = {plant.name: (plant.id, species.species(plant.name)) for plant in page.current(records.Plant)}
    used = {cross.id for cross in taken.crosses if cross.id and page.kind_of(cross.id)}
    crosses = [
        replace(cross, id=new_id() if cross.id is None or cross.id in used else cross.id) for cross in taken.crosses
    ]
    found = records_of(Plants.of(taken.plants), crosses, standing)
    told = {cross.id or "": taken.further[cross.row] for cross in crosses}
    return list(with_further(_with_more(found, taken.more), told))


def _value(grid: Grid, mapping: TableMapping, fault: Fault) -> str | None:
    """Return what stands in the cell of a fault, as text."""
    at = next((column.at for column in mapping.columns if column.heading == fault.place.column), None)
    cells = grid.rows[fault.place.row - 1] if fault.place.row else ()
    value = cells[at] if at is not None and at < len(cells) else None
    return None if value is None else str(value)


def _with_order(fault: Fault, value: str | None) -> Fault:
    """Add to what is advised for a day that could be two how to say the order for all days."""
    return replace(fault, advice=f"{fault.advice} {say('sheets.order')}") if value and is_open(value) else fault


def _with_more(found: Iterable[Record], more: Mapping[str, Mapping[str, Any]]) -> Iterable[Record]:
    for record in found:
        told = more.get(record.name, {}) if isinstance(record, records.Plant) else {}
        yield replace(record, **told) if told else record


def _more(sheet: Sheet, faults: list[Fault]) -> dict[str, Mapping[str, Any]]:
    """Read what is said of plants beyond the columns of `book.plants`."""
    found: dict[str, Mapping[str, Any]] = {}
    for row in sheet.rows:
        cells = Cells(sheet, row, faults)
        told = {name: cells.day(name) if name in _DAYS else cells.text(name) for name in MORE}
        found.setdefault((row.cells.get("plant") or "").strip(), told)
    return found
