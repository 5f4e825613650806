"""Which rows of a grower's table a book does not have yet, which it has, and which contradict it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import fields
from datetime import date
from typing import Any

from crosscompat.book import records
from crosscompat.book.cross_summary import crosses_of
from crosscompat.book.crosses import Cross
from crosscompat.book.current_plants import Plant, plants_of
from crosscompat.book.import_export.extra_columns import extra_noted
from crosscompat.book.store import Reading
from crosscompat.ground.csv_cells import Row, Sheet
from crosscompat.ground.csv_convert import as_text
from crosscompat.ground.errors import Fault
from crosscompat.ground.wording import say

__all__ = ["new_crosses", "new_plants"]

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

    Parameters
    ----------
    extra : mapping
        What each row says beyond the summary, by its number.
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
    """Return the plants that a book does not have yet, and the rows that say what it says already.

    Parameters
    ----------
    more : mapping
        What else is said of each plant, by its name and the column.
    """
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
